"""What programmers do every day: twenty-five edits that change nothing in the work.

Each is tried in the dialects whose words and whose standard or common practice allow it, and
leaves a program without any finding, a warning neither.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import NamedTuple

import pytest

from knurlcam import InputError
from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.dialect_files import load_dialect
from knurlcam.verification.findings import Finding
from knurlcam.verification.verify import verify
from tests.support.breaking import POSTS, RS274, Text, good_job
from tests.support.dialects import Shop
from tests.verification.cases.table import NEEDS_NUMBERS, PER_TURN, POINTED

JOBS = ("diamond", "trial", "plunge", "inch")
"""Jobs in which each edit is tried: to and fro, with a trial strip, one infeed, in inches."""


class Edit(NamedTuple):
    """An edit: its name, the dialects that allow it, and what it does to a text."""

    name: str
    posts: tuple[str, ...]
    make: Callable[[Text], object]


EDITS: list[Edit] = []


def everyday(*posts: str) -> Callable[[Callable[[Text], object]], Callable[[Text], object]]:
    """Register an edit, for some dialects or for all."""

    def register(make: Callable[[Text], object]) -> Callable[[Text], object]:
        EDITS.append(Edit(make.__name__, posts or POSTS, make))
        return make

    return register


def cases() -> Iterable[object]:
    for i, edit in enumerate(EDITS):
        for k, (job, post) in enumerate((j, p) for p in edit.posts for j in JOBS):
            # Each dialect once in the short suite, with another job from edit to edit.
            marks = () if k % len(JOBS) == (i + k // len(JOBS)) % len(JOBS) else pytest.mark.long
            yield pytest.param(edit, job, post, id=f"{edit.name}-{job}-{post}", marks=marks)


def found(text: Text, job: str, post: str) -> tuple[Finding, ...]:
    return verify(str(text), good_job(job), post).findings


def test_there_are_twenty_five_of_them_at_least() -> None:
    assert len(EDITS) >= 25


# -- at the start ------------------------------------------------------------------------


@everyday()
def the_first_datum_at_the_start(t: Text) -> None:
    # ISO 6983-1 and NISTIR 6556: the datum in force from power on, stated to be sure.
    t.behind(t.modes, "G54")


@everyday()
def a_safe_line_of_plane_cutter_radius_and_cycle(t: Text) -> None:
    t.behind(t.modes, "G18 G40 G80")


@everyday()
def no_cutter_radius_compensation_stated(t: Text) -> None:
    t.before(t.modes, "G40")


@everyday()
def canned_cycles_off_before_any_motion(t: Text) -> None:
    t.before(t.start, "G80")


@everyday("uw-lathe")
def a_reference_return_before_the_tool_call(t: Text) -> None:
    line = t.before(t.tool, "G28 U0.")
    t.behind(line, "G28 W0.")


@everyday("uw-lathe")
def a_reference_return_of_both_axes_in_one_block(t: Text) -> None:
    t.before(t.tool, "G28 U0. W0.")


@everyday(*RS274)
def home_before_the_tool_change(t: Text) -> None:
    # NISTIR 6556, 3.5.8: without an axis word it goes home with every axis.
    t.before(t.find("T5"), "G28")


@everyday(*RS274)
def the_tool_is_selected_and_changed_on_two_lines(t: Text) -> None:
    # NISTIR 6556, 3.7.3: T selects, M06 changes; all controls with a changer read ahead so.
    for line in t.all("T5 M06"):
        t.before(line, "T5")
        line.sub("T5 ", "")


@everyday("uw-lathe", *RS274)
def keyed_in_without_the_percent_lines(t: Text) -> None:
    # NISTIR 6556, 3.1: they may be left out where M02 or M30 ends the program; they frame a
    # transmission, and at a control's keyboard nobody types them.
    t.delete(*t.all("%"))


@everyday(*NEEDS_NUMBERS)
def the_spindle_starts_before_the_tool_is_called(t: Text) -> None:
    line = t.start
    t.delete(line)
    line.text = line.block
    t.before(t.tool, line.text)


@everyday(*RS274)
def the_spindle_starts_before_the_offset_is_called(t: Text) -> None:
    line = t.start
    t.delete(line)
    t.before(t.tool, line.text)


@everyday()
def the_coolant_comes_on_before_the_spindle(t: Text) -> None:
    line = t.find("M08")
    t.delete(line)
    t.before(t.start, line.block)


# -- through the air ---------------------------------------------------------------------


@everyday()
def both_axes_in_the_first_move(t: Text) -> None:
    x, z = t.find("G00 X"), t.find("G00 Z")
    x.text += " " + t.written("Z", t.value(z, "Z"))
    t.delete(z)


@everyday()
def rapids_a_little_wider(t: Text) -> None:
    first = t.find("G00 X")
    t.put(first, "X", t.value(first, "X") + 10.0)
    line = t.find("G00 X", 1)
    t.put(line, "X", t.value(line, "X") + 6.0)


@everyday()
def the_coolant_goes_off_on_the_way_out(t: Text) -> None:
    # ISO 6983-1 and NISTIR 6556 allow M words in a block that moves.
    off = t.find("M09", -1)
    t.delete(off)
    t.after(t.retract).text += f" {off.block}"


@everyday()
def the_coolant_goes_off_on_the_way_along(t: Text) -> None:
    off = t.find("M09", -1)
    t.delete(off)
    t.after(t.retract, 2).text += f" {off.block}"


@everyday("iso6983", "iso6983-integer", *RS274)
def the_safe_position_within_two_hundredths(t: Text) -> None:
    for line, axis in ((t.after(t.retract), "X"), (t.after(t.retract, 2), "Z")):
        t.shift(line, axis, -0.01)


@everyday()
def a_long_retract_in_two_blocks(t: Text) -> None:
    line = t.after(t.retract)
    t.before(line, f"G00 {t.written('X', t.value(line, 'X') - 40.0)}")


@everyday()
def a_retract_by_feed_in_two_blocks(t: Text) -> None:
    feed = t.written("F", t.plan.feed_mm_per_rev)
    t.before(t.retract, f"G01 {t.written('X', t.plan.blank_diameter_mm + 1.0)} {feed}")


# -- in the work -------------------------------------------------------------------------


@everyday()
def infeeds_at_half_the_rate(t: Text) -> None:
    # The rolls go in more softly. In inches the last place of F leaves no exact half.
    share = 0.6 if t.inch else 0.5
    for line in t.infeeds:
        t.put(line, "F", share * t.plan.infeed_mm_per_rev)


@everyday()
def a_slower_retract(t: Text) -> None:
    t.put(t.retract, "F", 0.2 * t.plan.feed_mm_per_rev)


@everyday()
def dwells_three_times_as_long(t: Text) -> None:
    for line in t.dwells:
        t.put(line, "D", 3.0 * t.plan.dwell_s)


# -- words and how they are written ------------------------------------------------------


@everyday()
def another_comment(t: Text) -> None:
    t.before(t.start, "(PROVED 12 MAY, SECOND SHIFT)")


@everyday(*NEEDS_NUMBERS)
def other_block_numbers(t: Text) -> None:
    number = 5
    for line in t.lines:
        if line.block[:1] in ("G", "M", "T"):
            line.text = f"N{number} {line.block}"
            number += 5


@everyday("iso6983", "iso6983-integer")
def no_block_numbers(t: Text) -> None:
    for line in t.lines:
        line.text = line.block


@everyday()
def modal_words_stated_again(t: Text) -> None:
    for line in t.infeeds:
        t.before(line, t.modes.block)


@everyday(*PER_TURN)
def feed_and_speed_mode_stated_again(t: Text) -> None:
    for line in t.infeeds:
        line.sub("G01", "G99 G01" if t.post == "uw-lathe" else "G95 G01")
    t.before(t.find("G00 Z"), "G97")


@everyday()
def more_spaces(t: Text) -> None:
    for line in t.lines:
        if not line.text.startswith("("):
            line.text = " " + line.text.replace(" ", "  ")


@everyday()
def small_letters(t: Text) -> None:
    # NISTIR 6556, 3.3: either case; at other controls it is a habit of the editor.
    for line in t.lines:
        if not line.text.startswith("("):
            line.text = line.text.lower()


@everyday()
def motion_words_without_their_zero(t: Text) -> None:
    for line in t.lines:
        if line.block.startswith(("G00", "G01", "G04")):
            line.text = line.text.replace("G0", "G", 1)


@everyday(*RS274)
def a_spindle_speed_with_a_point(t: Text) -> None:
    # NISTIR 6556, 3.7.2: S takes a real number; other controls count its digits.
    t.start.sub("S110", "S110.0")


@everyday(*POINTED, *RS274)
def a_spindle_speed_with_a_point_behind_it(t: Text) -> None:
    # Common practice: typed so, as all lengths are, and the figure is the same.
    t.start.sub("S110", "S110.")


@everyday(*RS274)
def codes_with_a_point(t: Text) -> None:
    # NISTIR 6556, 3.3.2 (from memory): a code is a number close to a whole one.
    t.start.sub("M03", "M3.")
    t.find("G01").sub("G01", "G1.0")


@everyday("uw-lathe")
def a_tool_without_its_first_zero(t: Text) -> None:
    # Common practice on lathes; elsewhere how the digits are counted is the control's.
    for line in t.all("T0505"):
        line.sub("T0505", "T505")


@everyday()
def line_ends_with_a_carriage_return_too_many(t: Text) -> None:
    # A transfer puts one before each line feed, though there was one already.
    for line in t.lines:
        line.text += "\r\r"


@everyday(*NEEDS_NUMBERS)
def a_comment_before_the_first_mark(t: Text) -> None:
    # Common practice: what comes before it is the leader of the tape.
    t.before(t.lines[0], "(KNOB, SECOND SHIFT)")


@everyday(*POINTED, *RS274)
def figures_without_their_last_zeros(t: Text) -> None:
    for line in t.lines:
        if line.block.startswith(("G00", "G01")):
            line.text = " ".join(w.rstrip("0") if "." in w else w for w in line.text.split())


@everyday()
def the_other_program_end(t: Text) -> None:
    # ISO 6983-1: M02 ends the program, M30 rewinds it as well.
    t.end.sub("M30", "M02")


# -- gear ranges, which a shop's own dialect lists ---------------------------------------


@pytest.fixture
def geared(tmp_path: Path) -> Dialect:
    shop = Shop(tmp_path)
    shop.copy("geared")
    shop.edit("geared", "[codes]", 'gears = ["M41", "M42"]\n\n[codes]')
    return load_dialect("geared", [tmp_path])


def judged(text: Text, dialect: Dialect) -> list[tuple[str, int]]:
    return [(f.code, f.line) for f in verify(str(text), good_job("diamond"), dialect).findings]


@pytest.mark.parametrize("gear", ["M41", "M42"])
def test_a_gear_range_that_the_dialect_lists_is_no_finding(geared: Dialect, gear: str) -> None:
    text = Text.of("diamond", "iso6983")
    text.before(text.start, gear)
    text.before(text.traverses[0], gear)
    assert judged(text, geared) == []


def test_a_gear_range_is_not_changed_in_the_work(geared: Dialect) -> None:
    text = Text.of("diamond", "iso6983")
    line = text.before(text.traverses[0], "M42")
    assert judged(text, geared) == [("spindle-stopped", text.at(line))]


def test_one_gear_range_in_a_block(geared: Dialect) -> None:
    text = Text.of("diamond", "iso6983")
    line = text.before(text.start, "M41 M42")
    assert judged(text, geared)[0] == ("contradictory-words", text.at(line))


def test_a_word_that_is_no_gear_range_is_refused_in_the_list(tmp_path: Path) -> None:
    shop = Shop(tmp_path)
    shop.copy("geared")
    shop.edit("geared", "[codes]", 'gears = ["M10"]\n\n[codes]')
    with pytest.raises(InputError, match=r"gears.*M10 means clamping.*M40 or M41"):
        load_dialect("geared", [tmp_path])


# At the end, when every edit is registered.
@pytest.mark.parametrize(("edit", "job", "post"), list(cases()))
def test_what_programmers_do_every_day_is_no_finding(edit: Edit, job: str, post: str) -> None:
    text = Text.of(job, post)
    before = str(text)
    edit.make(text)
    assert str(text) != before, "the edit changes nothing"
    assert found(text, job, post) == ()
