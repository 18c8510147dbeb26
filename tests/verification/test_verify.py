"""Every rule: broken in one way it is found in the right block; nearly broken it is not."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import NamedTuple

import pytest

from knurlcam.gcode.read import read_program
from knurlcam.gcode.tokens import MOST_LINES
from knurlcam.job.identity import with_check_digits
from knurlcam.job.model import Job
from knurlcam.path import lay_out
from knurlcam.plan.planner import make_plan
from knurlcam.program import write_program
from knurlcam.verification.findings import Finding, Verification
from knurlcam.verification.rules import RULES
from knurlcam.verification.verify import check_motion, check_motions, verify
from tests.support.breaking import (
    JOBS,
    POSTS,
    WORDS,
    Line,
    Text,
    good_job,
    good_plan,
    good_program,
    job_dict,
)


class Case(NamedTuple):
    code: str
    name: str
    job: str
    post: str
    form: str
    also: tuple[str, ...]
    edit: Callable[[Text], Line]


CASES: list[Case] = []
MISSES: list[Case] = []


def breaks(
    code: str,
    *jobs: str,
    posts: Iterable[str] = POSTS,
    form: str = "program",
    also: Iterable[str] = (),
) -> Callable[[Callable[[Text], Line]], Callable[[Text], Line]]:
    """Register a way to break a rule; it returns the line that must be pointed at.

    *also* are the codes that the same slip cannot help causing; the reason stands
    beside each.
    """

    def register(edit: Callable[[Text], Line]) -> Callable[[Text], Line]:
        for job in jobs or ("diamond",):
            for post in posts:
                CASES.append(Case(code, edit.__name__, job, post, form, tuple(also), edit))
        return edit

    return register


def near_miss(
    *jobs: str, posts: Iterable[str] = POSTS, form: str = "program"
) -> Callable[[Callable[[Text], object]], Callable[[Text], object]]:
    """Register a change that breaks no rule."""

    def register(edit: Callable[[Text], object]) -> Callable[[Text], object]:
        for job in jobs or ("diamond",):
            for post in posts:
                MISSES.append(Case("", edit.__name__, job, post, form, (), edit))  # type: ignore[arg-type]
        return edit

    return register


def name_of(case: Case) -> str:
    return "-".join(filter(None, (case.code, case.name, case.job, case.post)))


def judged(case: Case, text: Text) -> Verification:
    """Verify a text; the plan of each job is made once, for there are thousands of cases."""
    return check_motion(read_program(str(text), case.post), good_plan(case.job))


ALL = tuple(JOBS)
TRAVERSING = tuple(name for name in JOBS if "plunge" not in name)
NEEDS_NUMBERS = ("iso6983", "iso6983-integer", "uw-lathe")
POINTED = ("iso6983", "uw-lathe")


# == the text itself =================================================================


@breaks("unknown-word")
def a_word_of_no_dialect(t: Text) -> Line:
    return t.before(t.traverses[0], "G187")


@breaks("unknown-word")
def a_letter_that_no_block_has(t: Text) -> Line:
    return t.find("M08").sub("M08", "M08 Q1")


@breaks("unknown-word", also=["reversal-missing"], posts=NEEDS_NUMBERS)
@breaks("unknown-word", also=["reversal-missing", "misplaced-word"], posts=["rs274"])
def a_sign_among_the_words(t: Text) -> Line:
    # Nobody knows where such a block goes: the motion stays away.
    return t.traverses[1].sub("Z", "Z#")


@breaks("unknown-word", posts=["rs274"], also=["speed-not-planned"])
def a_limit_word_that_the_dialect_lacks(t: Text) -> Line:
    # The S that stands beside it is taken for the spindle's speed, as a control may.
    return t.behind(t.start, "G50 S150")


@breaks("unknown-word", posts=["iso6983", "iso6983-integer", "rs274"])
def an_increment_by_a_letter_that_the_dialect_lacks(t: Text) -> Line:
    return t.behind(t.find("G00 X"), "W1.0")


@breaks("unknown-word", also=["speed-not-stated"])
def a_letter_that_becomes_a_word_in_capitals(t: Text) -> Line:
    # The capital of a long s is S, of which a control knows nothing: it has no speed.
    return t.start.sub("S", "\u017f")


@breaks("unreadable-character", "diamond", "inch")
def a_mark_that_turns_a_comment_round(t: Text) -> Line:
    line = t.find("(KNURL")
    line.text = line.text.replace("KNURL", "KNURL\u202e")
    return line


@breaks("unreadable-character")
def a_space_of_no_width_in_a_block(t: Text) -> Line:
    line = t.modes
    line.text += " (MODES\u200b)"
    return line


@breaks("unreadable-character")
def a_line_that_only_some_readers_end(t: Text) -> Line:
    # What ends a line for an editor may be comment for a control, and the other way round.
    return t.before(t.traverses[0], "(LOOK\u2028M00)")


@breaks("unreadable-character")
def a_bell_in_a_comment(t: Text) -> Line:
    return t.before(t.start, "(\x07)")


@breaks("misplaced-word")
def units_change_beside_a_feed(t: Text) -> Line:
    # Back at once, so that the moves are in the job's units; the F in between may not be.
    unit, other = ("G20", "G21") if t.post in ("rs274", "uw-lathe") else ("G70", "G71")
    if not t.inch:
        unit, other = other, unit
    line = t.before(t.infeeds[0], f"{other} {t.written('F', 0.3)}")
    t.behind(line, unit)
    return line


@breaks("program-too-long", posts=["iso6983"], also=["after-the-end"])
def a_text_without_end(t: Text) -> Line:
    t.lines += [Line("(MORE)") for _ in range(MOST_LINES - len(t.lines) + 1)]
    return t.lines[-2]


@breaks("misplaced-word", posts=["uw-lathe"])
def another_program_is_called(t: Text) -> Line:
    return t.before(t.traverses[1], "M98 P1202")


@breaks("contradictory-words")
def rapid_and_feed_in_one_block(t: Text) -> Line:
    return t.traverses[0].sub("G01", "G00 G01")


@breaks("contradictory-words")
def spindle_forward_and_stop_in_one_block(t: Text) -> Line:
    return t.start.sub("M03", "M05 M03")


@breaks("contradictory-words")
def two_z_words_in_one_block(t: Text) -> Line:
    z = t.written("Z", t.value(t.traverses[0], "Z"))
    return t.traverses[0].sub(z, f"{z} {z}")


@breaks("contradictory-words", posts=["uw-lathe"])
def z_and_its_increment_in_one_block(t: Text) -> Line:
    return t.find("G00 Z", 0).sub("G00", "G00 W0.0")


@breaks("misplaced-word")
def spindle_word_in_a_block_that_moves(t: Text) -> Line:
    return t.find("G00 X").sub("G00", "M03 G00")


@breaks("misplaced-word", posts=["rs274"])
def a_motion_word_without_an_axis(t: Text) -> Line:
    return t.before(t.find("G00 X"), "G00")


@breaks("misplaced-word", posts=["iso6983"], also=["dwell-missing"])
def a_dwell_without_its_time(t: Text) -> Line:
    # Without a time nobody knows how long the rolls stand: no dwell is counted.
    return t.drop(t.dwells[0], "X")


@breaks("misplaced-word", posts=["rs274"], also=["wrong-offset"])
def an_offset_called_without_its_number(t: Text) -> Line:
    # And so none is in force.
    return t.drop(t.tool, "H")


@breaks("number-format", posts=POINTED)
def a_length_without_its_point(t: Text) -> Line:
    line = t.find("G00 X")
    line.text = line.text.replace(".000", "")
    return line


@breaks("number-format", posts=["iso6983-integer"], also=["outside-known-room"])
def a_length_with_a_point_among_least_increments(t: Text) -> Line:
    # As millimetres it would be 120 m away.
    return t.find("G00 X").sub("X120000", "X120000.")


@breaks("number-format", posts=["uw-lathe", "iso6983-integer"])
def a_dwell_with_a_point_among_milliseconds(t: Text) -> Line:
    line = t.dwells[0]
    line.text += ".0"
    return line


@breaks("number-format", posts=["iso6983"], also=["dwell-long"])
def a_dwell_without_its_point(t: Text) -> Line:
    # The number, taken as it stands, is seconds.
    return t.dwells[0].sub("X1.091", "X1091")


@breaks("number-format")
def a_speed_with_a_point(t: Text) -> Line:
    return t.start.sub("S110", "S110.5")


@breaks("comment-open")
def a_comment_that_is_not_closed(t: Text) -> Line:
    return t.find("(PASS 2").sub(")", "")


@breaks("comment-nested")
def a_comment_inside_a_comment(t: Text) -> Line:
    return t.find("(PASS 2").sub("PASS", "(PASS")


@breaks("comment-nested")
def a_comment_closed_twice(t: Text) -> Line:
    return t.find("(RETRACT").sub(")", "))")


@breaks("line-too-long")
def a_line_of_three_hundred_characters(t: Text) -> Line:
    return t.before(t.find("(RETRACT"), "(" + "X" * 300 + ")")


@breaks("program-start-missing")
def the_first_line_is_gone(t: Text) -> Line:
    t.delete(t.lines[0])
    return t.lines[0]


@breaks("program-start-missing", posts=["uw-lathe"])
def the_number_line_is_gone(t: Text) -> Line:
    t.delete(t.lines[1])
    return t.lines[0]


@breaks("program-end-missing")
def the_end_word_is_gone(t: Text) -> Line:
    t.delete(t.end)
    return t.lines[-1]


@breaks("program-end-missing", posts=["rs274", "uw-lathe"])
def the_percent_sign_at_the_end_is_gone(t: Text) -> Line:
    t.delete(t.lines[-1])
    return t.lines[-1]


@breaks("program-end-missing", posts=["rs274", "uw-lathe"])
def the_end_is_cut_off(t: Text) -> Line:
    t.delete(*t.lines[-2:])
    return t.lines[-1]


@breaks("program-end-missing", form="subprogram", posts=NEEDS_NUMBERS)
def a_subprogram_does_not_return(t: Text) -> Line:
    t.delete(t.find("M99"))
    return t.lines[-1]


@breaks("misplaced-word", form="blocks")
def blocks_to_paste_end_the_program(t: Text) -> Line:
    return t.behind(t.lines[-1], "M30")


@breaks("after-the-end")
def a_block_after_the_end(t: Text) -> Line:
    return t.behind(t.end, "M09")


@breaks("after-the-end")
def a_comment_after_the_end(t: Text) -> Line:
    return t.behind(t.end, "(SECOND SIDE)")


@breaks("numbering", posts=["iso6983", "iso6983-integer"])
def two_block_numbers_change_places(t: Text) -> Line:
    first, second = t.find("G04", 1), t.find("G01 Z", 1)
    a, b = f"N{first.number} ", f"N{second.number} "
    first.sub(a, b)
    return second.sub(b, a)


@breaks("numbering")
def a_block_number_above_the_highest(t: Text) -> Line:
    line = t.end
    line.text = "N100000 M30"
    return line


OTHER_IDENTITY = with_check_digits("0123456789")


@breaks("other-job")
def the_identity_of_another_job(t: Text) -> Line:
    line = t.find("(JOB ")
    line.text = f"(JOB {OTHER_IDENTITY})"
    return line


@breaks("other-job", posts=NEEDS_NUMBERS)
def the_number_of_another_job(t: Text) -> Line:
    line = next(one for one in t.lines if "1201" in one.text)
    return line.sub("1201", "1202")


# == what is stated before the first motion ============================================


@breaks("units-not-stated", "diamond", "inch")
def no_units_stated(t: Text) -> Line:
    for code in (WORDS[t.post]["mm"], WORDS[t.post]["inch"]):
        t.modes.text = t.modes.text.replace(f"{code} ", "")
        if not any(one.block.startswith(("G71", "G70", "G21", "G20")) for one in t.lines):
            break
    return t.find("G00 X")


@breaks("units-not-stated")
def units_stated_after_the_first_motion(t: Text) -> Line:
    code = WORDS[t.post]["mm"]
    t.modes.sub(f"{code} ", "")
    t.behind(t.find("G00 X"), code)
    return t.find("G00 X")


@breaks("units-wrong")
def inches_in_a_metric_program(t: Text) -> Line:
    return t.modes.sub(WORDS[t.post]["mm"], WORDS[t.post]["inch"])


@breaks("units-wrong", "inch")
def millimetres_in_an_inch_program(t: Text) -> Line:
    return t.modes.sub(WORDS[t.post]["inch"], WORDS[t.post]["mm"])


@breaks("units-wrong")
def inches_from_the_second_pass_on(t: Text) -> Line:
    return t.before(t.infeeds[1], WORDS[t.post]["inch"])


@breaks("distance-not-stated", posts=["iso6983", "iso6983-integer", "rs274"])
def no_distance_mode_stated(t: Text) -> Line:
    t.modes.sub("G90 ", "")
    return t.find("G00 X")


@breaks("distance-wrong", posts=["iso6983", "iso6983-integer", "rs274"])
def increments_from_the_start(t: Text) -> Line:
    return t.modes.sub("G90", "G91")


@breaks("distance-wrong", posts=["iso6983", "iso6983-integer", "rs274"])
def increments_from_the_second_pass_on(t: Text) -> Line:
    return t.before(t.infeeds[1], "G91")


@breaks("feed-mode-not-stated")
def no_feed_mode_stated(t: Text) -> Line:
    words = WORDS[t.post]
    t.modes.sub(f" {words['per min' if t.post == 'rs274' else 'per rev']}", "")
    return t.find("G00 X")


@breaks("feed-mode-wrong", posts=NEEDS_NUMBERS)
def feed_a_minute_instead_of_a_turn(t: Text) -> Line:
    return t.modes.sub(WORDS[t.post]["per rev"], WORDS[t.post]["per min"])


@breaks("feed-mode-wrong", posts=NEEDS_NUMBERS)
def feed_a_minute_from_the_second_pass_on(t: Text) -> Line:
    return t.before(t.infeeds[1], WORDS[t.post]["per min"])


@breaks("speed-mode-not-stated", posts=NEEDS_NUMBERS)
def no_speed_mode_stated(t: Text) -> Line:
    t.modes.sub(" G97", "")
    t.start.sub("G97 ", "")
    return t.find("G00 X")


@breaks("speed-mode-wrong", posts=NEEDS_NUMBERS)
def constant_surface_speed_from_the_start(t: Text) -> Line:
    return t.start.sub("G97", "G96")


@breaks("speed-mode-wrong", posts=NEEDS_NUMBERS)
def constant_surface_speed_before_the_infeed(t: Text) -> Line:
    return t.before(t.infeeds[0], "G96")


@breaks("surface-speed-in-contact", posts=NEEDS_NUMBERS)
def constant_surface_speed_in_the_work(t: Text) -> Line:
    return t.before(t.traverses[1], "G96")


# == rapids and what stands around =======================================================


@breaks("rapid-in-contact", *TRAVERSING)
def a_traverse_is_a_rapid(t: Text) -> Line:
    return t.drop(t.traverses[0].sub("G01", "G00"), "F")


@breaks("rapid-in-contact", *ALL)
def the_retract_is_a_rapid(t: Text) -> Line:
    return t.drop(t.retract.sub("G01", "G00"), "F")


@breaks("rapid-in-contact")
def a_second_infeed_is_a_rapid(t: Text) -> Line:
    return t.drop(t.infeeds[1].sub("G01", "G00"), "F")


@breaks("rapid-in-contact")
def the_retract_to_clearance_is_gone(t: Text) -> Line:
    line = t.after(t.retract)
    t.delete(t.retract)
    return line


@breaks("rapid-in-contact")
def a_rapid_out_of_the_work_between_two_passes(t: Text) -> Line:
    return t.before(t.infeeds[2], f"G00 {t.written('X', 120)}")


@breaks("rapid-through-work", *ALL)
def the_first_infeed_is_a_rapid(t: Text) -> Line:
    return t.drop(t.infeeds[0].sub("G01", "G00"), "F")


@breaks("rapid-through-work", also=["rapid-in-contact"])
def the_approach_goes_in_too_far_and_out_again(t: Text) -> Line:
    # In and out are two rapids, each in the work.
    line = t.before(t.infeeds[0], f"G00 {t.written('X', 24.0)}")
    t.behind(line, f"G00 {t.written('X', 40)}")
    return line


@breaks("rapid-below-clearance", "diamond", "plunge", "inch", "reverse", "dry", "chuck", "zone")
def the_approach_ends_inside_the_clearance(t: Text) -> Line:
    return t.shift(t.find("G00 X", 1), "X", -0.5)


@breaks("rapid-below-clearance")
def the_retract_ends_inside_the_clearance(t: Text) -> Line:
    t.shift(t.retract, "X", -0.5)
    return t.after(t.retract)


@breaks("rapid-through-chuck")
def the_approach_goes_down_at_the_chuck(t: Text) -> Line:
    line = t.before(t.find("G00 X", 1), f"G00 {t.written('Z', -75)}")
    down = t.behind(line, f"G00 {t.written('X', 60)}")
    t.behind(t.behind(down, f"G00 {t.written('X', 120)}"), f"G00 {t.written('Z', -3.3333)}")
    return down


@breaks("feed-into-chuck")
def a_feed_reaches_the_chuck_in_air(t: Text) -> Line:
    down = t.behind(t.find("G00 X", 1), f"G01 {t.written('Z', -75)} {t.written('F', 0.5)}")
    t.behind(t.behind(down, f"G00 {t.written('X', 120)}"), f"G00 {t.written('Z', -3.3333)}")
    return down


@breaks("rapid-through-centre")
def the_approach_goes_down_at_the_centre(t: Text) -> Line:
    line = t.before(t.find("G00 Z"), f"G00 {t.written('Z', 2)}")
    down = t.behind(line, f"G00 {t.written('X', 4)}")
    t.behind(down, f"G00 {t.written('X', 120)}")
    return down


@breaks("feed-into-centre")
def a_feed_reaches_the_centre(t: Text) -> Line:
    line = t.before(t.find("G00 Z"), f"G00 {t.written('Z', 2)}")
    down = t.behind(line, f"G01 {t.written('X', 4)} {t.written('F', 0.5)}")
    t.behind(down, f"G00 {t.written('X', 120)}")
    return down


@breaks("position-unknown", posts=["uw-lathe"])
def an_increment_from_wherever_the_turret_stands(t: Text) -> Line:
    return t.before(t.start, "G00 U-80.0")


@breaks("feed-missing", "diamond", "inch")
def a_feed_without_f_before_z_is_known(t: Text) -> Line:
    x = t.plan.job.machine.safe_x + 1
    return t.behind(t.find("G00 X"), f"G01 {t.written('X', x)}")


@breaks("feed-missing")
def a_feed_of_nothing_in_air(t: Text) -> Line:
    return t.behind(t.find("G00 X", 1), f"G01 {t.written('X', 28.0)} {t.written('F', 0.0)}")


@breaks("position-unknown", *ALL)
def the_first_rapid_in_x_is_gone(t: Text) -> Line:
    t.delete(t.find("G00 X"))
    return t.find("G00 Z")


@breaks("position-unknown", *TRAVERSING)
def the_first_rapid_in_z_is_gone(t: Text) -> Line:
    t.delete(t.find("G00 Z"))
    return t.find("G00 X", 1)


# == contact =============================================================================


@breaks("contact-entered-sideways")
def the_first_infeed_moves_z_as_well(t: Text) -> Line:
    z = t.value(t.find("G00 Z"), "Z")
    t.shift(t.find("G00 Z"), "Z", 1.0)
    line = t.infeeds[0]
    return line.sub("G01", f"G01 {t.written('Z', z)}")


@breaks("contact-left-sideways")
def the_retract_moves_z_as_well(t: Text) -> Line:
    return t.retract.sub("G01", f"G01 {t.written('Z', -15)}")


@breaks("slanted-in-contact")
def a_traverse_goes_in_as_well(t: Text) -> Line:
    x = t.value(t.infeeds[0], "X")
    return t.traverses[0].sub("G01", f"G01 {t.written('X', x - 0.04)}")


@breaks("slanted-in-contact")
def a_traverse_creeps_out_block_by_block(t: Text) -> Line:
    line, x = t.traverses[0], t.value(t.infeeds[0], "X")
    new = []
    for i in range(1, 5):
        z = t.written("Z", -3.333 - 3 * i)
        new.append(t.before(line, f"G01 {t.written('X', x + 0.009 * i)} {z} {t.written('F', 0.5)}"))
    return new[2]


@breaks("slanted-in-contact")
def the_last_traverse_comes_out_slowly(t: Text) -> Line:
    x = t.value(t.infeeds[-1], "X")
    return t.traverses[-1].sub("G01", f"G01 {t.written('X', x + 0.06)}")


@breaks("not-following", "followed")
def one_block_of_a_slide_that_follows_stands_too_deep(t: Text) -> Line:
    return t.shift(t.followed[-20], "X", -0.2)


@breaks("not-following", "followed")
def one_block_of_a_slide_that_follows_stands_too_far_out(t: Text) -> Line:
    return t.shift(t.followed[40], "X", 0.2)


@breaks("not-following", "followed")
def blocks_in_the_middle_of_the_last_traverse_are_lost(t: Text) -> Line:
    last = t.followed[-45:]
    t.delete(*last[10:35])
    return last[35]


@breaks("not-following", "followed")
def the_last_traverse_goes_straight(t: Text) -> Line:
    last = t.followed[-1]
    end, z = t.value(last, "Z"), t.value(t.followed[-2], "Z")
    run = t.before(last, f"G01 {t.written('Z', end)} {t.written('F', 0.5)}")
    blocks = [i for i in t.followed if t.at(i) > t.at(t.infeeds[-len(t.followed) // 5 + 3])]
    assert z > end
    t.delete(*blocks)
    return run


@breaks("rapid-through-shoulder", "shouldered")
def a_rapid_at_the_clearance_runs_along_to_the_shoulder(t: Text) -> Line:
    clearance = t.find("G00 X", 1)
    t.behind(clearance, f"G00 {t.written('Z', -10 / 3)}")
    return t.behind(clearance, f"G00 {t.written('Z', -30)}")


@breaks("feed-into-shoulder", "shouldered")
def a_feed_in_air_runs_against_the_shoulder(t: Text) -> Line:
    clearance, feed = t.find("G00 X", 1), t.written("F", 0.5)
    t.behind(clearance, f"G01 {t.written('Z', -10 / 3)} {feed}")
    return t.behind(clearance, f"G01 {t.written('Z', -30)} {feed}")


@breaks("rapid-below-clearance", "shouldered")
def a_rapid_closer_to_the_shoulder_than_the_clearance(t: Text) -> Line:
    room = t.plan.contact.x_diameter_mm(t.plan.contact.blank_radius_mm - 20.0)
    there = t.behind(t.after(t.retract), f"G00 {t.written('Z', -30)}")
    close = t.behind(there, f"G00 {t.written('X', room + 3.9)}")
    t.behind(close, f"G01 {t.written('X', t.plan.job.machine.safe_x)} {t.written('F', 0.5)}")
    return close


@breaks("outside-known-room", *ALL)
def a_rapid_far_beyond_the_safe_position(t: Text) -> Line:
    z = t.plan.job.machine.safe_z + 26
    return t.before(t.find("G00 Z"), f"G00 {t.written('Z', z)}")


@breaks("outside-known-room", *ALL)
def a_rapid_along_the_chuck_at_safe_x(t: Text) -> Line:
    tool = t.plan.job.tool
    edge = -t.plan.job.part.length - 26
    at = {"left edge": 0.0, "centre": 0.5, "right edge": 1.0}[tool.z_datum]
    z = edge + at * tool.face_width
    return t.before(t.find("G00 Z"), f"G00 {t.written('Z', z)}")


@breaks("outside-known-room", "diamond", "straddle", "inch")
def a_rapid_far_out(t: Text) -> Line:
    return t.put(t.find("G00 X"), "X", t.plan.job.machine.safe_x + 52)


@breaks("outside-known-room", "chuck")
def a_feed_far_beyond_the_axis(t: Text) -> Line:
    # Nothing stands beyond the end face; but so far over the axis a tool has no business.
    out = t.after(t.retract, 2)
    back = t.behind(out, f"G00 {t.written('X', t.plan.job.machine.safe_x)}")
    return t.before(back, f"G01 {t.written('X', -60)} {t.written('F', 0.5)}")


@breaks("outside-known-room", "diamond", "trial", "inch", "straddle")
def the_approach_passes_the_tailstock(t: Text) -> Line:
    # The centre's diameter is known; how thick the tailstock is behind it nobody has said.
    down = t.find("G00 X", 1)
    start = t.before(t.find("G00 Z"), f"G00 {t.written('Z', t.plan.job.machine.safe_z)}")
    return t.behind(start, down.block)


@breaks("z-before-x", "trial")
def the_tool_passes_the_tailstock_after_the_trial_strip(t: Text) -> Line:
    out = t.after(next(i for i in t.all("G01 X") if t.value(i, "X") > 28))
    return t.before(out, f"G00 {t.written('Z', 20)}")


@breaks("outside-known-room")
def the_tool_goes_in_by_the_tailstock_after_all_is_done(t: Text) -> Line:
    line = t.behind(t.after(t.retract, 2), f"G00 {t.written('X', 28.6)}")
    t.behind(line, f"G00 {t.written('X', t.plan.job.machine.safe_x)}")
    return line


@breaks("tool-change-near-work", posts=NEEDS_NUMBERS)
@breaks("tool-change-near-work", posts=["rs274"], also=["spindle-stopped"])
def the_turret_turns_in_the_work_and_back(t: Text) -> Line:
    call = ["T6 M06", "T5 M06"] if t.post == "rs274" else ["T0606", "T0505"]
    line = t.before(t.traverses[1], call[0])
    t.behind(line, call[1])
    return line


@breaks("tool-change-near-work", posts=["iso6983", "uw-lathe"])
def the_offset_goes_and_comes_at_the_clearance(t: Text) -> Line:
    line = t.before(t.infeeds[0], "T0500")
    t.behind(line, "T0505")
    return line


@breaks("wrong-offset", posts=["rs274"], form="blocks")
def an_offset_is_cancelled_among_blocks_to_paste(t: Text) -> Line:
    return t.before(t.start, "G49")


@breaks("tool-change-near-work", posts=NEEDS_NUMBERS)
def the_same_tool_is_called_again_in_the_work(t: Text) -> Line:
    # Nothing changes on paper; the control takes the offset anew, and the turret may turn.
    return t.before(t.traverses[1], "T0505")


@breaks("tool-change-near-work", posts=["rs274"])
def the_same_offset_is_called_again_in_the_work(t: Text) -> Line:
    return t.before(t.traverses[1], "G43 H5")


@breaks("spindle-stopped", posts=["rs274"])
def the_tool_is_changed_with_the_spindle_turning(t: Text) -> Line:
    # NISTIR 6556, 3.6.3: a tool change stops the spindle.
    t.delete(t.find("T5"))
    t.behind(t.start, "T5 M06")
    return t.infeeds[0]


@breaks("position-unknown", posts=NEEDS_NUMBERS)
def the_offset_is_called_after_z_was_stated(t: Text) -> Line:
    # Z was reached without it: the same word is another place now.
    tool = t.find("T0505")
    number = tool.text[: -len(tool.block)]
    tool.text = f"{number}T0500"
    down = t.find("G00 X", 1)
    t.before(down, "T0505")
    return down


@breaks("position-unknown", posts=["uw-lathe"])
def z_goes_home_from_wherever_x_stands(t: Text) -> Line:
    line = t.behind(t.tool, "G28 W0.0")
    t.behind(line, "G28 U0.0")
    return line


@breaks("outside-known-room", posts=["uw-lathe"])
def x_goes_in_at_the_reference_point_of_z(t: Text) -> Line:
    home = t.before(t.find("G00 X"), "G28 U0.0")
    z = t.behind(home, "G28 W0.0")
    return t.behind(z, "G00 X0.0")


@breaks("feed-not-planned", posts=POINTED)
def an_infeed_in_a_hundred_fast_little_steps(t: Text) -> Line:
    line, x = t.infeeds[0], t.value(t.infeeds[0], "X")
    steps = [
        t.before(line, f"G01 {t.written('X', x + 0.009 * i)} {t.written('F', 5.0)}")
        for i in range(16, 0, -1)
    ]
    t.put(steps[0], "F", 0.05)  # it meets the work as planned
    return steps[3]


@breaks("contact-entered-sideways")
def a_way_along_where_a_larger_blank_begins(t: Text) -> Line:
    x = t.plan.blank_diameter_mm + 0.005
    out = t.behind(t.find("G00 X", 1), f"G01 {t.written('X', x)} {t.written('F', 0.05)}")
    away = t.behind(out, f"G01 {t.written('Z', -10)} {t.written('F', 0.5)}")
    t.behind(away, f"G01 {t.written('X', t.plan.clearance_x_mm)} {t.written('F', 0.5)}")
    back = t.behind(t.after(away), f"G00 {t.written('Z', t.plan.passes[0].z_start_mm)}")
    assert back
    return away


@breaks("rapid-below-clearance")
def a_feed_as_fast_as_a_rapid_inside_the_clearance(t: Text) -> Line:
    x = t.plan.blank_diameter_mm + 0.005
    return t.before(t.infeeds[0], f"G01 {t.written('X', x)} {t.written('F', 50.0)}")


@breaks("stop-in-contact")
def a_stop_where_a_larger_blank_begins(t: Text) -> Line:
    x = t.plan.blank_diameter_mm + 0.005
    near = t.before(t.infeeds[0], f"G01 {t.written('X', x)} {t.written('F', 0.05)}")
    return t.behind(near, "M00")


@breaks("step-too-deep")
def two_steps_within_the_tolerance_come_to_more(t: Text) -> Line:
    first = t.deepen(t.infeeds[1], 0.009)
    along = t.after(first, 2)
    half = t.value(along, "Z") - 5
    t.before(along, f"G01 {t.written('Z', half)} {t.written('F', 0.5)}")
    x = t.written("X", t.value(first, "X"))
    line = t.after(first, 3)
    line.text = line.text.replace("G01 ", f"G01 {x} ")
    return t.deepen(line, 0.009)


@breaks("dwell-long")
def a_hundred_little_moves_to_and_fro_in_the_work(t: Text) -> Line:
    x = t.value(t.infeeds[-1], "X")
    steps = [
        t.before(t.retract, f"G01 {t.written('X', x + 0.008 * (i % 2))} {t.written('F', 0.05)}")
        for i in range(100)
    ]
    return steps[76]  # after three times as long as a dwell


@breaks("misplaced-word", posts=["iso6983", "iso6983-integer"], form="blocks")
def blocks_to_paste_begin_a_program(t: Text) -> Line:
    return t.before(t.lines[0], "%1201")


@breaks("position-unknown", posts=NEEDS_NUMBERS)
def the_offset_is_called_after_x_was_stated(t: Text) -> Line:
    # The same X is another place now, and Z runs along at it.
    tool = t.find("T0505")
    tool.text = f"{tool.text[: -len(tool.block)]}T0500"
    t.behind(t.find("G00 X"), "T0505")
    return t.find("G00 Z")


@breaks("position-unknown", posts=["rs274"], form="blocks")
def the_offset_is_called_after_z_was_stated_among_blocks(t: Text) -> Line:
    t.before(t.find("G00 Z"), "G49")
    down = t.find("G00 X", 1)
    t.before(down, "G43 H5")
    return down


@breaks("wrong-offset", posts=["iso6983", "uw-lathe"])
def z_goes_in_with_the_offset_cancelled(t: Text) -> Line:
    cancel = t.behind(t.find("G00 X"), "T0500")
    z = t.behind(cancel, f"G00 {t.written('Z', t.plan.job.machine.safe_z)}")
    home = t.behind(z, f"G00 {t.written('Z', -30)}")
    call = t.behind(home, "T0505")
    t.behind(call, t.find("G00 X").block)
    return cancel


@breaks("spindle-stopped")
def the_spindle_starts_where_a_larger_blank_is_met(t: Text) -> Line:
    start, infeed = t.start, t.infeeds[0]
    x = t.plan.blank_diameter_mm + 0.005
    near = t.before(infeed, f"G01 {t.written('X', x)} {t.written('F', 0.05)}")
    t.delete(start)
    t.behind(near, start.block)
    return near


@breaks("feed-not-planned")
def a_hundred_times_the_infeed_where_a_larger_blank_is_met(t: Text) -> Line:
    x = t.plan.blank_diameter_mm + 0.005
    return t.before(t.infeeds[0], f"G01 {t.written('X', x)} {t.written('F', 4.9)}")


@breaks("dwell-long")
def a_long_dwell_where_a_larger_blank_is_met(t: Text) -> Line:
    x = t.plan.blank_diameter_mm + 0.005
    near = t.before(t.infeeds[0], f"G01 {t.written('X', x)} {t.written('F', 0.05)}")
    return t.behind(near, f"G04 {t.written('D', 20.0)}")


@breaks("rapid-below-clearance", "chuck")
def a_feed_as_fast_as_a_rapid_against_the_end_of_the_work(t: Text) -> Line:
    z = t.plan.passes[0].z_start_mm
    start = t.find("G00 Z")
    t.put(start, "Z", 10.0)
    line = t.before(t.infeeds[0], f"G01 {t.written('X', 20.0)} {t.written('F', 0.5)}")
    fast = t.behind(line, f"G01 {t.written('Z', 0.5)} {t.written('F', 50.0)}")
    out = t.behind(fast, f"G01 {t.written('X', t.plan.clearance_x_mm)} {t.written('F', 0.5)}")
    back = t.behind(out, f"G00 {t.written('Z', z)}")
    assert back
    return fast


@breaks("misplaced-word", posts=["rs274", "uw-lathe"], form="blocks")
def blocks_to_paste_end_with_a_programs_mark(t: Text) -> Line:
    return t.behind(t.lines[-1], "%")


@breaks("wrong-offset", posts=["rs274"], form="blocks")
def blocks_to_paste_cancel_the_offset_behind_all(t: Text) -> Line:
    return t.behind(t.after(t.retract), "G49")


@breaks("spindle-stopped", *ALL)
def the_spindle_is_never_started(t: Text) -> Line:
    for line in t.all("G97 S110") + t.all("S110"):
        for word in (" M03", " M04"):
            line.text = line.text.replace(word, "")
    return t.infeeds[0]


@breaks("spindle-stopped", "trial", "plunge trial")
def the_spindle_is_not_started_again_after_the_trial_strip(t: Text) -> Line:
    again = [one for one in t.lines if "S110" in one.block][1]
    t.delete(again)
    return (
        t.infeeds[2 if "DIN 82 RAA" not in str(t) else 1] if False else t.after(t.find("G00 X", 4))
    )


@breaks("spindle-stopped")
def the_spindle_stops_in_the_work(t: Text) -> Line:
    line = t.before(t.traverses[1], "M05")
    t.behind(t.traverses[1], "M03")
    return line


@breaks("spindle-reversed", *(j for j in ALL if j not in ("reverse", "trial", "plunge trial")))
def the_spindle_turns_backward(t: Text) -> Line:
    return t.start.sub("M03", "M04")


@breaks("spindle-reversed", "reverse")
def the_reverse_spindle_turns_forward(t: Text) -> Line:
    return t.start.sub("M04", "M03")


@breaks("speed-not-planned", *(j for j in ALL if "trial" not in j))
def the_speed_is_six_percent_low(t: Text) -> Line:
    return t.start.sub("S110", "S103")


@breaks("speed-not-planned")
def the_speed_changes_in_the_work(t: Text) -> Line:
    line = t.before(t.traverses[1], "S90")
    t.behind(t.traverses[1], "S110")
    return line


@breaks("speed-not-stated")
def the_speed_is_not_stated(t: Text) -> Line:
    return t.start.sub(" S110" if t.post != "rs274" else "S110 ", "")


@breaks("speed-not-stated", "diamond", "reverse")
def the_spindle_starts_before_its_speed_is_stated(t: Text) -> Line:
    word = "M04" if "M04" in t.start.block else "M03"
    # Stated in good time before the rolls meet the work, but the spindle turns already.
    return t.before(t.start, word)


@breaks("spindle-reversed", "diamond", "trial", "inch")
def the_spindle_turns_the_wrong_way_in_air(t: Text) -> Line:
    line = t.before(t.start, t.start.block.replace("M03", "M04"))
    t.behind(line, "M05")
    return line


@breaks("speed-not-planned", "plunge")
def a_plunge_with_a_digit_of_speed_too_many(t: Text) -> Line:
    # The machine allows it, and nothing reverses.
    return t.start.sub("S110", "S1100")


@breaks("speed-too-fast", *(j for j in TRAVERSING if j != "trial"))
def the_speed_has_a_digit_too_many(t: Text) -> Line:
    return t.start.sub("S110", "S1100")


@breaks("speed-too-fast")
def the_machine_is_overrun_in_air(t: Text) -> Line:
    line = t.before(t.find("G00 X"), "S2500")
    t.before(t.infeeds[0], "S110")
    return line


@breaks("feed-missing")
def the_first_feed_word_is_gone(t: Text) -> Line:
    return t.drop(t.infeeds[0], "F")


@breaks("feed-missing")
def a_feed_of_nothing(t: Text) -> Line:
    return t.put(t.traverses[1], "F", 0.0)


@breaks("feed-missing")
def a_feed_move_in_air_without_a_feed(t: Text) -> Line:
    return t.find("G00 X", 1).sub("G00", "G01")


@breaks("feed-missing", *ALL)
def the_very_first_motion_is_a_feed_without_a_feed(t: Text) -> Line:
    return t.find("G00 X").sub("G00", "G01")


@breaks("feed-not-planned", *TRAVERSING)
def a_traverse_at_the_infeed_rate(t: Text) -> Line:
    return t.drop(t.traverses[0], "F")


@breaks("feed-not-planned", "diamond", "plunge", "straddle", "zone", "chuck", "reverse", "dry")
def an_infeed_six_percent_fast(t: Text) -> Line:
    return t.put(t.infeeds[0], "F", 0.053)


@breaks("feed-not-planned", *TRAVERSING)
def a_traverse_six_percent_slow(t: Text) -> Line:
    return t.put(t.traverses[-1], "F", 0.5 * 0.94)


@breaks("feed-not-planned", *ALL)
def the_first_of_two_blocks_of_the_retract_is_fast(t: Text) -> Line:
    x = t.value(t.infeeds[-1], "X")
    line = t.before(t.retract, f"G01 {t.written('X', x)} {t.written('F', 0.6)}")
    return t.deepen(line, -0.03)


@breaks("feed-out-of-range")
def a_traverse_of_six_millimetres_a_turn(t: Text) -> Line:
    return t.put(t.traverses[1], "F", 6.0)


@breaks("no-coolant", *(j for j in ALL if j not in ("dry", "trial", "plunge trial")))
def the_coolant_is_never_on(t: Text) -> Line:
    t.delete(t.find("M08"))
    return t.infeeds[0]


@breaks("no-coolant", "trial", "plunge trial")
def the_coolant_is_not_on_again_after_the_trial_strip(t: Text) -> Line:
    t.delete(t.find("M08", 1))
    return t.after(t.find("G00 X", 4))


@breaks("no-coolant")
def the_coolant_goes_off_in_the_work(t: Text) -> Line:
    line = t.before(t.traverses[1], "M09")
    t.behind(t.traverses[1], "M08")
    return line


@breaks("too-deep", *(j for j in ALL if j not in ("straddle",)))
def the_last_infeed_is_a_tenth_too_deep(t: Text) -> Line:
    return t.deepen(t.infeeds[-1], 0.05)


@breaks("too-deep", "straddle")
def the_straddle_goes_past_the_axis(t: Text) -> Line:
    return t.put(t.infeeds[-1], "X", -1.0)


@breaks("too-deep", "chuck")
def the_first_infeed_has_its_sign_flipped(t: Text) -> Line:
    line = t.infeeds[0]
    return t.put(line, "X", -t.value(line, "X"))


@breaks("too-deep", also=["feed-into-centre"])
def the_first_infeed_has_its_sign_flipped_before_a_centre(t: Text) -> Line:
    # The face hangs over the end: it meets the centre as well.
    line = t.infeeds[0]
    return t.put(line, "X", -t.value(line, "X"))


@breaks("not-to-depth", *(j for j in TRAVERSING if j != "inch"), "plunge")
def the_last_infeed_is_too_shallow(t: Text) -> Line:
    return t.deepen(t.infeeds[-1], -0.012)


@breaks("not-to-depth", *TRAVERSING)
def a_middle_infeed_is_gone(t: Text) -> Line:
    i = 2 if "TRIAL" in str(t) else 1
    t.delete(t.infeeds[i])
    return t.dwells[i]


@breaks("not-to-depth")
def the_rolls_ease_out_before_the_clean_up_pass(t: Text) -> Line:
    x = t.value(t.infeeds[-1], "X")
    return t.before(t.traverses[-1], f"G01 {t.written('X', x + 0.05)} {t.written('F', 0.5)}")


@breaks("step-too-deep", *TRAVERSING)
def the_first_infeed_is_too_deep(t: Text) -> Line:
    return t.deepen(t.infeeds[0], 0.0125)


@breaks("past-the-line", *TRAVERSING)
def the_first_pass_goes_past_the_line(t: Text) -> Line:
    i = 1 if "TRIAL" in str(t) else 0
    return t.shift(t.traverses[i], "Z", -0.05)


@breaks("short-of-the-line", *TRAVERSING)
def a_pass_ends_short_of_the_line(t: Text) -> Line:
    i = 1 if "TRIAL" in str(t) else 0
    return t.shift(t.traverses[i], "Z", 0.05)


@breaks("too-much-overhang", *TRAVERSING)
def a_return_hangs_over_too_far(t: Text) -> Line:
    i = 2 if "TRIAL" in str(t) else 1
    return t.shift(t.traverses[i], "Z", 0.05)


@breaks("return-short", *TRAVERSING)
def a_return_ends_too_early(t: Text) -> Line:
    i = 2 if "TRIAL" in str(t) else 1
    return t.shift(t.traverses[i], "Z", -0.05)


@breaks("off-the-end", "zone")
def the_last_return_runs_off_the_end(t: Text) -> Line:
    return t.put(t.traverses[-1], "Z", 15.0)


@breaks("off-the-end", also=["contact-entered-sideways", "z-before-x", "outside-known-room"])
def a_return_runs_off_the_end(t: Text) -> Line:
    # The next infeed goes in by the tailstock, comes back along it and meets the work again
    # from the side.
    return t.put(t.traverses[1], "Z", 5.0)


@breaks("wrong-start", *TRAVERSING)
def the_first_infeed_stands_too_far_on(t: Text) -> Line:
    return t.shift(t.find("G00 Z", 1 if "TRIAL" in str(t) else 0), "Z", -0.05)


@breaks("wrong-start", "plunge")
def the_plunge_stands_past_the_line(t: Text) -> Line:
    return t.shift(t.find("G00 Z"), "Z", -0.05)


@breaks("pass-missing")
def the_clean_up_pass_is_gone(t: Text) -> Line:
    t.delete(t.traverses[-1])
    return t.retract


@breaks("pass-missing", "zone")
def the_last_pass_is_gone(t: Text) -> Line:
    t.delete(t.traverses[-1])
    return t.retract


@breaks("pass-missing")
def the_work_is_never_touched(t: Text) -> Line:
    for line in (*t.infeeds, *t.traverses, *t.dwells):
        t.delete(line)
    return t.lines[-1]


@breaks("pass-missing", "trial", "plunge trial")
def nothing_follows_the_trial_strip(t: Text) -> Line:
    first, last = t.at(t.find("M01")), t.at(t.retract)
    t.delete(*t.lines[first:last])
    return t.lines[-1]


@breaks("extra-pass")
def a_pass_after_the_clean_up_pass(t: Text) -> Line:
    z = t.value(t.traverses[-2], "Z")
    return t.before(t.retract, f"G01 {t.written('Z', z)} {t.written('F', 0.5)}")


@breaks("reversal-missing")
def a_return_is_gone(t: Text) -> Line:
    t.delete(t.traverses[1])
    return t.infeeds[2]


@breaks("pass-missing")
def the_return_before_the_clean_up_pass_is_gone(t: Text) -> Line:
    # The clean-up pass then moves nothing.
    t.delete(t.traverses[3])
    return t.retract


@breaks("track-left")
def the_rolls_leave_the_work_between_passes(t: Text) -> Line:
    x = t.written("X", t.value(t.retract, "X"))
    return t.before(t.infeeds[2], f"G01 {x} {t.written('F', 0.5)}")


@breaks("track-left", "plunge trial")
def the_rolls_leave_the_work_between_two_infeeds(t: Text) -> Line:
    x = t.written("X", t.value(t.retract, "X"))
    return t.before(t.infeeds[2], f"G01 {x} {t.written('F', 0.5)}")


@breaks("extra-contact", *ALL)
def the_rolls_touch_once_more(t: Text) -> Line:
    x = t.value(t.infeeds[-1], "X")
    out = t.retract
    line = t.behind(out, f"G01 {t.written('X', x)} {t.written('F', 0.05)}")
    t.behind(line, f"G01 {t.written('X', t.value(out, 'X'))} {t.written('F', 0.5)}")
    return line


@breaks("contact-not-left", also=["spindle-stopped", "no-coolant", "tool-change-near-work"])
def the_program_ends_in_the_work(t: Text) -> Line:
    # Nothing moves any more, and what must be off at the end goes off in the work: spindle,
    # coolant and tool offset.
    last = t.find("G01 Z", -1)
    for line in t.lines[t.at(last) :]:
        if line.block.startswith(("G00", "G01", "G28")):
            t.delete(line)
    return t.lines[-1]


@breaks("dwell-missing", *ALL)
def a_dwell_is_gone(t: Text) -> Line:
    line = t.after(t.dwells[-1])
    t.delete(t.dwells[-1])
    return line


@breaks("dwell-missing")
def a_dwell_stands_before_its_infeed(t: Text) -> Line:
    t.swap(t.infeeds[2], t.dwells[2])
    return t.traverses[2]


@breaks("dwell-short", *ALL)
def a_dwell_is_one_percent_short(t: Text) -> Line:
    return t.put(t.dwells[-1], "D", t.plan.dwell_s * 0.99)


@breaks("dwell-long", *ALL)
def a_dwell_is_four_times_as_long(t: Text) -> Line:
    return t.put(t.dwells[-1], "D", t.plan.dwell_s * 4)


@breaks("dwell-long")
def a_long_dwell_where_none_is_planned(t: Text) -> Line:
    return t.before(t.retract, f"G04 {t.written('D', t.plan.dwell_s * 4)}")


@breaks("trial-missing", "trial")
def the_trial_strip_is_gone(t: Text) -> Line:
    first, last = t.at(t.find("G00 X")), t.at(t.find("M01"))
    t.delete(*t.lines[first:last])
    return t.infeeds[0]


@breaks("trial-missing", "plunge trial")
def the_trial_print_is_gone(t: Text) -> Line:
    first, last = t.at(t.find("G00 X")), t.at(t.find("M01"))
    t.delete(*t.lines[first:last])
    return t.infeeds[0]


@breaks("trial-not-planned", "trial")
def the_trial_strip_is_too_long(t: Text) -> Line:
    return t.shift(t.traverses[0], "Z", -0.05)


@breaks("trial-not-planned", "trial")
def the_trial_strip_is_too_short(t: Text) -> Line:
    return t.shift(t.traverses[0], "Z", 0.05)


@breaks("trial-stop-missing", "trial", "plunge trial")
def no_stop_after_the_trial_strip(t: Text) -> Line:
    line = t.after(t.find("M01"), -4)
    t.delete(t.find("M01"))
    return line


# == leaving, tool, stops, end ============================================================


@breaks("z-before-x", *ALL, also=["tool-change-near-work"])
def the_rapid_out_in_x_is_gone(t: Text) -> Line:
    # The offset is then cancelled at the clearance, too.
    line = t.after(t.retract, 2)
    t.delete(t.after(t.retract))
    return line


@breaks("z-before-x")
def the_rapid_out_in_x_comes_after_z(t: Text) -> Line:
    first, second = t.after(t.retract), t.after(t.retract, 2)
    t.swap(first, second)
    return first


@breaks("z-before-x", posts=["uw-lathe"], also=["tool-change-near-work"])
def the_reference_point_is_reached_along_z_first(t: Text) -> Line:
    # The offset is cancelled before, at the clearance.
    t.delete(t.after(t.retract), t.after(t.retract, 2))
    first, second = t.find("G28"), t.find("G28", 1)
    t.swap(first, second)
    return first


@breaks("wrong-tool", *(j for j in ALL if j != "inch"))
def another_tool_is_called(t: Text) -> Line:
    line = t.find("T")
    line.text = line.text.replace("T05", "T06").replace("T5 ", "T6 ")
    return line


@breaks("wrong-tool")
def no_tool_is_called(t: Text) -> Line:
    t.delete(t.find("T"))
    if t.post == "rs274":
        t.find("G43").sub("H5", "H5 (T5)")
    return t.find("G00 X")


@breaks("wrong-offset", "diamond", "plunge", "inch")
def another_offset_is_called(t: Text) -> Line:
    line = t.tool
    line.text = line.text.replace("T0505", "T0506").replace("H5", "H6")
    return line


@breaks("wrong-offset", "chuck")
def the_station_number_is_taken_for_the_offset(t: Text) -> Line:
    line = t.tool
    line.text = line.text.replace("T0515", "T0505").replace("H15", "H5")
    return line


@breaks("wrong-offset")
def the_offset_is_cancelled_too_early(t: Text) -> Line:
    return t.before(t.find("G00 X", 1), "G49" if t.post == "rs274" else "T0500")


@breaks("stop-in-contact", *ALL)
def a_stop_before_the_retract(t: Text) -> Line:
    return t.before(t.retract, "M00")


@breaks("stop-in-contact")
def an_optional_stop_between_passes(t: Text) -> Line:
    return t.before(t.infeeds[2], "M01")


@breaks("spindle-turning-at-stop", *ALL)
def a_stop_before_the_first_infeed(t: Text) -> Line:
    return t.before(t.infeeds[0], "M00")


@breaks("spindle-turning-at-stop", "trial", "plunge trial")
def the_spindle_turns_while_the_trial_strip_is_looked_at(t: Text) -> Line:
    t.delete(t.find("M05"))
    return t.find("M01")


@breaks("speed-limit-low", posts=["uw-lathe"])
def the_speed_limit_is_below_the_speed(t: Text) -> Line:
    return t.find("G50").sub("S150", "S100")


@breaks("speed-limit-high", posts=["uw-lathe"])
def the_speed_limit_is_above_the_machines(t: Text) -> Line:
    return t.find("G50").sub("S150", "S2500")


@breaks("speed-limit-missing", *ALL, posts=["uw-lathe"])
def the_speed_limit_is_gone(t: Text) -> Line:
    t.delete(t.find("G50"))
    return t.infeeds[0]


@breaks("speed-limit-missing", "diamond", "trial", posts=["uw-lathe"])
def the_speed_limit_comes_after_the_knurl(t: Text) -> Line:
    limit = t.find("G50")
    t.delete(limit)
    t.behind(t.after(t.retract), limit.text)
    return t.infeeds[0]


@breaks("spindle-on-at-end", *ALL)
def the_last_spindle_stop_is_gone(t: Text) -> Line:
    t.delete(t.find("M05", -1))
    return t.end


@breaks("coolant-on-at-end", *(j for j in ALL if j != "dry"))
def the_last_coolant_off_is_gone(t: Text) -> Line:
    t.delete(t.find("M09", -1))
    return t.end


@breaks("coolant-on-at-end", "dry")
def the_coolant_is_turned_on_though_none_is_asked_for(t: Text) -> Line:
    t.before(t.infeeds[0], "M08")
    return t.end


@breaks("offset-on-at-end", *ALL)
def the_offset_is_not_cancelled(t: Text) -> Line:
    t.delete(t.find("G49") if t.post == "rs274" else t.find("T", -1))
    return t.end


@breaks("offset-on-at-end", form="subprogram", posts=NEEDS_NUMBERS)
def a_subprogram_does_not_cancel_the_offset(t: Text) -> Line:
    t.delete(t.find("T", -1))
    return t.find("M99")


@breaks(
    "not-at-safe-position", posts=["iso6983", "rs274", "iso6983-integer"], also=["wrong-offset"]
)
def the_last_rapid_in_z_ends_elsewhere(t: Text) -> Line:
    # It goes in there, with the offset cancelled.
    t.put(t.find("G00 Z", -1), "Z", 30)
    return t.end


@breaks("not-at-safe-position", posts=["uw-lathe"])
def the_reference_point_is_not_reached(t: Text) -> Line:
    t.delete(t.find("G28", 1))
    return t.end


@breaks("not-at-safe-position", form="blocks")
def the_blocks_end_at_clearance(t: Text) -> Line:
    t.delete(t.after(t.retract))
    return t.lines[-1]


# == near misses ==========================================================================


@near_miss(*ALL)
def nothing_is_changed(t: Text) -> None:
    pass


@near_miss(*ALL)
def the_speed_is_four_percent_low(t: Text) -> None:
    for line in t.lines:
        line.text = line.text.replace("S110", "S106")


@near_miss(*ALL)
def the_speed_is_four_percent_high(t: Text) -> None:
    for line in t.lines:
        line.text = line.text.replace("S110", "S114")


@near_miss(*ALL)
def every_feed_is_four_percent_high(t: Text) -> None:
    # An infeed of two ten-thousandths of an inch cannot be written four percent higher.
    for line in t.traverses if t.inch else t.all("G01"):
        t.put(line, "F", t.value(line, "F") * 1.04)


@near_miss(*ALL)
def every_feed_is_four_percent_low(t: Text) -> None:
    for line in t.all("G01"):
        t.put(line, "F", t.value(line, "F") * 0.96)


@near_miss(*ALL)
def every_infeed_is_eight_thousandths_deep(t: Text) -> None:
    for line in t.infeeds[:-1]:
        t.deepen(line, 0.008)


@near_miss(*ALL)
def every_infeed_is_eight_thousandths_shallow(t: Text) -> None:
    for line in t.infeeds:
        t.deepen(line, -0.008)


@near_miss("diamond", "plunge", "zone", "inch", "chuck")
def the_last_infeed_is_eight_thousandths_deep(t: Text) -> None:
    t.deepen(t.infeeds[-1], 0.008)


@near_miss(*ALL)
def every_z_is_fifteen_thousandths_to_the_headstock(t: Text) -> None:
    for line in [*t.traverses, *t.all("G00 Z")]:
        t.shift(line, "Z", -0.015)


@near_miss(*ALL)
def every_z_is_fifteen_thousandths_to_the_tailstock(t: Text) -> None:
    for line in [*t.traverses, *t.all("G00 Z")]:
        t.shift(line, "Z", 0.015)


@near_miss(*ALL)
def every_dwell_is_twice_and_a_half_as_long(t: Text) -> None:
    for line in t.dwells:
        t.put(line, "D", t.plan.dwell_s * 2.5)


@near_miss(*ALL)
def a_dwell_in_two_blocks(t: Text) -> None:
    for line in t.dwells:
        half = t.written("D", t.plan.dwell_s / 2 + 0.0005)
        t.before(line, f"G04 {half}")
        t.put(line, "D", t.plan.dwell_s / 2 + 0.0005)


@near_miss(*ALL)
def a_dwell_before_the_retract(t: Text) -> None:
    t.before(t.retract, f"G04 {t.written('D', 1.0)}")


@near_miss(*ALL)
def a_dwell_in_air(t: Text) -> None:
    t.before(t.infeeds[0], f"G04 {t.written('D', 20.0)}")


@near_miss(*ALL)
def wider_rapids(t: Text) -> None:
    wide = 150 if not t.inch else 150.0
    t.put(t.find("G00 X"), "X", wide)
    t.put(t.find("G00 X", 1), "X", 40)
    t.put(t.after(t.retract), "X", wide)


@near_miss(*TRAVERSING)
def a_feed_move_back_to_where_the_tool_stands(t: Text) -> None:
    for line in t.infeeds:
        t.behind(line, line.block.replace("G01 ", "G01  "))


@near_miss(*ALL)
def a_retract_that_feeds_out_further(t: Text) -> None:
    t.shift(t.retract, "X", 20)


@near_miss(*ALL)
def other_comments(t: Text) -> None:
    for line in t.lines:
        if line.text.startswith("(") and not line.text.startswith("(JOB"):
            line.text = "(OTHER WORDS, JOB 12 FOR THE NIGHT SHIFT)"


@near_miss(*ALL)
def no_comments(t: Text) -> None:
    t.lines = [one for one in t.lines if not one.text.startswith("(")]


@near_miss(*ALL)
def a_comment_behind_every_block(t: Text) -> None:
    for line in t.lines:
        if line.block[:1] in "GMT" and line.block:
            line.text += " (AS PROVED)"


@near_miss(*ALL)
def no_block_numbers(t: Text) -> None:
    for line in t.lines:
        line.text = line.block


@near_miss(*ALL)
def other_block_numbers(t: Text) -> None:
    number = 1
    for line in t.lines:
        if line.block[:1] in ("G", "M", "T"):
            line.text = f"N{number} {line.block}"
            number += 3


@near_miss(*ALL)
def redundant_modal_words(t: Text) -> None:
    for line in t.all("G01"):
        t.before(line, t.modes.block)
    for line in t.all("G04"):
        t.before(line, "M03" if any("M03" in one.text for one in t.lines) else "M04")


@near_miss(*ALL)
def no_redundant_motion_words(t: Text) -> None:
    last = ""
    for line in t.lines:
        code = line.block[:3]
        if code in ("G00", "G01"):
            if code == last:
                line.text = line.text.replace(f"{code} ", "")
            last = code


@near_miss(*ALL)
def short_motion_words(t: Text) -> None:
    for line in t.lines:
        if not line.text.startswith("("):
            for digit in "01345689":
                line.text = line.text.replace(f"G0{digit}", f"G{digit}")
                line.text = line.text.replace(f"M0{digit}", f"M{digit}")


@near_miss(*ALL)
def a_retract_in_two_blocks(t: Text) -> None:
    x = t.value(t.infeeds[-1], "X")
    t.before(t.retract, f"G01 {t.written('X', x + 0.04)} {t.written('F', 0.5)}")


@near_miss(*TRAVERSING)
def an_infeed_that_is_pressed_on_a_little_after_its_dwell(t: Text) -> None:
    line = t.infeeds[1]
    again = t.behind(t.after(line), line.block)
    t.deepen(line, -0.004)
    t.deepen(again, 0.0)


@near_miss(*ALL)
def a_feed_word_stated_once(t: Text) -> None:
    last = ""
    for line in t.all("G01"):
        feed = line.block.split()[-1]
        if feed == last:
            t.drop(line, "F")
        last = feed


@near_miss(*ALL)
def extra_spaces(t: Text) -> None:
    for line in t.lines:
        if not line.text.startswith("("):
            line.text = "  " + line.text.replace(" ", "   ") + "  "


@near_miss(*ALL)
def no_spaces(t: Text) -> None:
    for line in t.lines:
        if not line.text.startswith("("):
            line.text = line.text.replace(" ", "")


@near_miss(*ALL)
def lower_case(t: Text) -> None:
    for line in t.lines:
        if not line.text.startswith("("):
            line.text = line.text.lower()


@near_miss(*TRAVERSING)
def a_traverse_in_two_blocks(t: Text) -> None:
    i = 1 if "TRIAL" in str(t) else 0
    line = t.traverses[i]
    half = t.value(line, "Z") + 2.5
    t.before(line, f"G01 {t.written('Z', half)} {t.written('F', t.plan.feed_mm_per_rev)}")


@near_miss(*ALL)
def an_infeed_in_two_blocks(t: Text) -> None:
    line = t.infeeds[0]
    x = t.value(line, "X") + 0.05
    t.before(line, f"G01 {t.written('X', x)} {t.written('F', t.plan.infeed_mm_per_rev)}")


@near_miss(*ALL)
def a_block_that_moves_nothing(t: Text) -> None:
    for line in [*t.traverses, *t.infeeds]:
        t.behind(line, line.block)


@near_miss(*ALL)
def x_restated_on_a_traverse(t: Text) -> None:
    x = ""
    for line in t.all("G01"):
        if " X" in line.text:
            x = t.written("X", t.value(line, "X"))
        else:
            line.sub("G01", f"G01 {x}")


@near_miss(*(j for j in ALL if j != "dry"))
def coolant_on_with_a_rapid(t: Text) -> None:
    for line in t.all("M08"):
        t.delete(line)
    for line in t.all("G00 X"):
        if t.at(line) < t.at(t.infeeds[-1]):
            line.text += " M08"


@near_miss(*ALL)
def an_approach_by_a_slow_feed(t: Text) -> None:
    line = t.find("G00 X", 1)
    line.sub("G00", "G01")
    line.text += f" {t.written('F', 0.3)}"


@near_miss(*ALL)
def coolant_and_spindle_off_in_one_block(t: Text) -> None:
    if t.all("M09"):
        t.find("M05", -1).sub("M05", "M05 M09")
        t.delete(t.find("M09", -1))


@near_miss(*ALL)
def a_stop_while_the_spindle_stands(t: Text) -> None:
    t.before(t.start, "M00")


@near_miss(*ALL)
def the_plane_and_no_cutter_radius_are_stated(t: Text) -> None:
    t.behind(t.modes, "G18 G40")


@near_miss(*ALL)
def another_word_for_the_end(t: Text) -> None:
    t.end.sub("M30", "M02")


@near_miss("diamond", posts=["uw-lathe"])
def a_speed_limit_between_speed_and_machine(t: Text) -> None:
    t.find("G50").sub("S150", "S2000")


@near_miss("diamond", posts=["uw-lathe"])
def an_increment_that_ends_where_planned(t: Text) -> None:
    t.traverses[0].sub("Z-20.000", "W-16.667")


@near_miss("diamond", posts=["iso6983", "iso6983-integer", "rs274"])
def increments_stated_and_taken_back_without_a_motion(t: Text) -> None:
    t.before(t.find("G00 Z"), "G91")
    t.before(t.find("G00 Z"), "G90")


@near_miss("followed")
def a_block_of_a_slide_that_follows_is_less_than_the_tolerance_off(t: Text) -> None:
    t.shift(t.followed[-20], "X", -0.01)


@near_miss("followed")
def one_of_many_blocks_of_a_slide_that_follows_is_lost(t: Text) -> None:
    t.delete(t.followed[-30])


@near_miss("shouldered")
def the_tool_goes_out_over_the_shoulder(t: Text) -> None:
    t.behind(t.after(t.retract), f"G00 {t.written('Z', -30)}")


@near_miss("shouldered")
def a_rapid_over_the_shoulder_at_its_clearance(t: Text) -> None:
    # A head's rolls touch a step of 40 mm at another X than they touch the blank.
    x = t.plan.job.machine.safe_x
    room = t.plan.contact.x_diameter_mm(t.plan.contact.blank_radius_mm - 20.0)
    there = t.behind(t.after(t.retract), f"G00 {t.written('Z', -30)}")
    in_ = t.behind(there, f"G00 {t.written('X', room + 2 * t.plan.job.machine.clearance)}")
    t.behind(in_, f"G00 {t.written('X', x)}")


@near_miss(*ALL)
def a_rapid_a_little_beyond_the_safe_position(t: Text) -> None:
    z = t.plan.job.machine.safe_z + 24
    t.before(t.find("G00 Z"), f"G00 {t.written('Z', z)}")


@near_miss("chuck")
def an_approach_where_no_tailstock_stands(t: Text) -> None:
    down = t.find("G00 X", 1)
    start = t.before(t.find("G00 Z"), f"G00 {t.written('Z', t.plan.job.machine.safe_z)}")
    t.behind(start, down.block)


@near_miss("diamond")
def as_many_lines_as_are_read(t: Text) -> None:
    line, blank = t.start, Line("")
    t.lines[t.at(line) - 1 : t.at(line) - 1] = [blank] * (MOST_LINES - len(t.lines))


@near_miss("diamond", "trial", "plunge", "followed")
def x_said_again_a_little_further_in(t: Text) -> None:
    # As of a figure that was rounded otherwise.
    for line in [t.retract, *t.traverses[-1:]]:
        x = t.value(t.infeeds[-1], "X") - 0.0006
        t.before(line, f"G01 {t.written('X', x)} {t.written('F', 0.5)}")


@near_miss("diamond", posts=["rs274"], form="blocks")
def the_tool_is_called_among_blocks_to_paste(t: Text) -> None:
    t.before(t.modes, "G43 H5")


@near_miss("diamond", posts=["uw-lathe"])
def an_increment_of_nothing_from_wherever_the_turret_stands(t: Text) -> None:
    t.before(t.start, "G00 U0.0")


@near_miss("diamond", posts=["rs274"])
def a_feed_per_minute_while_the_spindle_stands(t: Text) -> None:
    stop = t.find("M05", -1)
    t.lines.remove(stop)
    t.behind(t.retract, "M05")
    t.after(t.retract, 2).sub("G00", "G01")


@near_miss("diamond", posts=NEEDS_NUMBERS)
def another_offset_is_called_for_a_moment_at_safe_x(t: Text) -> None:
    line = t.find("G00 Z")
    for block in ("T0505", "T0515"):
        t.behind(line, block)


@near_miss("diamond", "inch", "plunge")
def a_fast_feed_outward_in_air(t: Text) -> None:
    x = t.plan.clearance_x_mm
    t.behind(t.retract, f"G01 {t.written('X', x + 10)} {t.written('F', 9.0)}")


@near_miss("diamond", "plunge", posts=["iso6983", "uw-lathe"])
def every_feed_is_five_percent_off(t: Text) -> None:
    for line in t.all("G01"):
        t.put(line, "F", t.value(line, "F") * 0.95)


@near_miss("diamond", "inch")
def letters_of_other_languages_in_a_comment(t: Text) -> None:
    t.before(t.start, "(RÄNDELN, MOLETAGE, \u6eda\u82b1)")
    t.before(t.start, "(WITH\u00a0SPACES\u202fOF\u3000OTHERS)")


@near_miss("diamond")
def tabs_between_the_words(t: Text) -> None:
    for line in t.lines:
        line.text = line.text.replace(" ", "\t")


@near_miss("diamond", "trial")
def the_tool_is_called_once_more_at_the_safe_position(t: Text) -> None:
    at_safe = t.after(t.retract)
    for block in ("G43 H5", "T5 M06", "G49") if t.post == "rs274" else ("T0505", "T0500"):
        t.behind(at_safe, block)


@near_miss("diamond", posts=NEEDS_NUMBERS)
def the_spindle_starts_before_the_tool_call(t: Text) -> None:
    line = t.start
    line.text = line.block
    t.lines.remove(line)
    t.lines.insert(t.at(t.modes), line)


# == the tests ============================================================================


@pytest.mark.parametrize("case", CASES, ids=name_of)
def test_a_broken_program_has_that_finding_in_that_block(case: Case) -> None:
    text = Text.of(case.job, case.post, case.form)
    line = case.edit(text)
    result = judged(case, text)
    codes = {f.code for f in result.findings}
    assert codes == {case.code, *case.also}, result.findings
    where = [(f.line, f.block) for f in result.findings if f.code == case.code]
    assert where[0] == (text.at(line), line.number), (result.findings, line)
    if not case.also:
        assert len(where) == 1, "one thing broken, one finding"
    assert result.ok == (RULES[case.code].severity == "warning" and not case.also)


@pytest.mark.parametrize("case", MISSES, ids=name_of)
def test_what_breaks_no_rule_is_no_finding(case: Case) -> None:
    text = Text.of(case.job, case.post, case.form)
    case.edit(text)
    assert judged(case, text).findings == ()


@pytest.mark.parametrize("post", NEEDS_NUMBERS)
def test_the_switch_for_slashes_may_be_changed_at_a_stop(post: str) -> None:
    text = Text.of("trial", post)
    stop = text.find("M01")
    text.before(stop, "/T0606")
    text.behind(stop, "/T0505")
    result = verify(str(text), good_job("trial"), post)
    assert {f.code for f in result.findings} == {"wrong-tool"}


def test_slashes_among_many_stops_are_trusted_no_more() -> None:
    text = Text.of("trial", "iso6983")
    for _ in range(3):
        text.before(text.find("M01"), "M00")
    assert verify(str(text), good_job("trial")).ok
    line = text.before(text.find("M00"), "/M09")
    result = verify(str(text), good_job("trial"))
    assert [(f.code, f.line) for f in result.findings] == [("misplaced-word", text.at(line))]


def test_a_straddle_of_many_passes_has_no_finding() -> None:
    # The last steps are of two thousandths of a millimetre of penetration, yet infeeds.
    job = Job.model_validate(job_dict({**JOBS["straddle"], "process.passes": 12}))
    assert verify(write_program(lay_out(make_plan(job))), job).findings == ()


@pytest.mark.parametrize("post", POSTS)
def test_of_many_programs_each_has_the_findings_that_it_has_alone(post: str) -> None:
    spoilt = ["".join(good_program(job, post).splitlines(keepends=True)[:-5]) for job in JOBS]
    texts = [text for job, bad in zip(JOBS, spoilt, strict=True) for text in (
        good_program(job, post), bad, bad.replace("G21", "").replace("G71", "")
    )]  # fmt: skip
    plans = [good_plan(job) for job in JOBS for _ in range(3)]
    motions = [read_program(text, post) for text in texts]
    pairs = list(zip(motions, plans, strict=True))
    together = check_motions(pairs, "program")
    assert together == [check_motion(motion, plan, "program") for motion, plan in pairs]
    assert [result.ok for result in together] == [True, False, False] * len(JOBS)


def test_every_rule_is_provoked_by_some_case() -> None:
    assert set(RULES) - {case.code for case in CASES} == set()


RULES_EVER = Path(__file__).with_name("rules.txt")


def test_the_code_of_a_rule_stays_what_it_is() -> None:
    # Scripts of shops ask for codes: one that was published goes on to mean the same.
    published = RULES_EVER.read_text(encoding="utf-8").split()
    assert sorted(RULES) == published, "a new rule is added to rules.txt, none is taken out"


def test_no_case_expects_a_rule_that_does_not_exist() -> None:
    assert {c for case in CASES for c in (case.code, *case.also)} <= set(RULES)


def test_every_finding_says_what_its_rule_is_for() -> None:
    for case in CASES:
        if case.post == "iso6983" and not case.also:
            text = Text.of(case.job, case.post, case.form)
            case.edit(text)
            for finding in judged(case, text).findings:
                assert finding.severity == RULES[finding.code].severity
                assert len(finding.message) > 15


# -- the verification as a whole ---------------------------------------------------------


@pytest.mark.parametrize("post", POSTS)
@pytest.mark.parametrize("job", ALL)
def test_verify_finds_nothing_in_a_good_program(job: str, post: str) -> None:
    result = verify(good_program(job, post), good_job(job), post)
    assert (result.ok, result.post, result.form, result.findings) == (True, post, "program", ())


def test_verify_takes_the_jobs_dialect_unless_one_is_named() -> None:
    assert verify(good_program("diamond", "iso6983"), good_job("diamond")).post == "iso6983"


def test_ok_ignores_warnings() -> None:
    warning = Finding("warning", "numbering", 20, 3, "out of order")
    error = Finding("error", "no-coolant", 80, 9, "off")
    assert Verification("iso6983", "program", (warning,)).ok
    assert not Verification("iso6983", "program", (warning, error)).ok


def test_a_dwell_that_is_long_leaves_the_program_ok() -> None:
    text = Text.of("diamond", "iso6983")
    text.put(text.dwells[0], "D", 10.0)
    result = verify(str(text), good_job("diamond"), "iso6983")
    assert result.ok
    assert [f.code for f in result.findings] == ["dwell-long"]


def test_findings_come_by_line() -> None:
    text = Text.of("diamond", "iso6983")
    text.delete(text.find("M05"))
    text.put(text.dwells[2], "D", 0.5)
    text.modes.sub(" G95", "")
    lines = [f.line for f in verify(str(text), good_job("diamond"), "iso6983").findings]
    assert len(lines) == 3
    assert lines == sorted(lines)


def test_plain_data_has_the_keys_that_scripts_rely_on() -> None:
    text = Text.of("diamond", "iso6983")
    line = text.find("M08")
    text.delete(line)
    data = verify(str(text), good_job("diamond"), "iso6983").to_dict()
    assert (data["ok"], data["post"]) == (False, "iso6983")
    (finding,) = data["findings"]
    assert set(finding) == {"severity", "code", "block", "line", "message"}
    assert (finding["severity"], finding["code"], finding["block"]) == ("error", "no-coolant", 80)


@pytest.mark.parametrize("post", POSTS)
@pytest.mark.parametrize("end", ["\r\n", "\r", "\n\n", "\n \n"])
def test_line_ends_and_blank_lines_are_no_finding(post: str, end: str) -> None:
    text = good_program("diamond", post).replace("\n", end)
    assert verify(text, good_job("diamond"), post).findings == ()


def test_blank_lines_count_when_a_line_is_named() -> None:
    text = good_program("diamond", "iso6983").replace("N90 G04 X1.091\n", "\n\n", 1)
    (finding,) = verify(text, good_job("diamond"), "iso6983").findings
    assert text.splitlines()[finding.line - 1].startswith("N100 ")


# -- forms -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("post", "form"),
    [
        (p, f)
        for p in POSTS
        for f in ("program", "subprogram", "blocks")
        if (p, f) != ("rs274", "subprogram")
    ],
)
def test_the_form_is_told_from_the_texts_own_remark(post: str, form: str) -> None:
    result = verify(good_program("diamond", post, form), good_job("diamond"), post)
    assert (result.form, result.findings) == (form, ())


@pytest.mark.parametrize("post", NEEDS_NUMBERS)
def test_a_subprogram_without_its_remark_is_judged_as_a_program(post: str) -> None:
    text = Text.of("diamond", post, "subprogram")
    text.lines = [line for line in text.lines if not line.text.startswith("(SUBPROGRAM")]
    job = good_job("diamond")
    assert [f.code for f in verify(str(text), job, post).findings] == ["program-end-missing"]
    assert verify(str(text), job, post, form="subprogram").findings == ()


@pytest.mark.parametrize("post", POSTS)
def test_blocks_are_no_program_when_a_program_is_asked_for(post: str) -> None:
    text = good_program("diamond", post, "blocks")
    codes = {f.code for f in verify(text, good_job("diamond"), post, form="program").findings}
    assert codes == {
        "program-start-missing",
        "program-end-missing",
        "wrong-tool",
        "not-at-safe-position",
    }


@pytest.mark.parametrize("post", NEEDS_NUMBERS)
def test_a_program_is_no_subprogram(post: str) -> None:
    text = good_program("diamond", post)
    found = verify(text, good_job("diamond"), post, form="subprogram").findings
    assert [f.code for f in found] == ["program-end-missing"]


@pytest.mark.parametrize("post", POSTS)
def test_an_empty_text_is_a_program_without_anything(post: str) -> None:
    codes = {f.code for f in verify("", good_job("diamond"), post).findings}
    assert codes == {
        "program-start-missing",
        "program-end-missing",
        "pass-missing",
        "not-at-safe-position",
    }


# -- block skip --------------------------------------------------------------------------


@pytest.mark.parametrize("post", POSTS)
def test_a_block_with_a_slash_is_judged_skipped(post: str) -> None:
    text = Text.of("diamond", post)
    line = text.find("M08")
    line.text = "/" + line.text
    (finding,) = verify(str(text), good_job("diamond"), post).findings
    assert (finding.code, finding.line) == ("no-coolant", text.at(text.infeeds[0]))


@pytest.mark.parametrize("post", POSTS)
def test_a_block_with_a_slash_is_judged_carried_out(post: str) -> None:
    text = Text.of("diamond", post)
    line = text.before(text.infeeds[2], "/M01")
    (finding,) = verify(str(text), good_job("diamond"), post).findings
    assert (finding.code, finding.line) == ("stop-in-contact", text.at(line))


@pytest.mark.parametrize("post", POSTS)
def test_a_slash_before_what_may_be_left_out_is_no_finding(post: str) -> None:
    text = Text.of("diamond", post)
    text.before(text.start, "/M00")
    text.before(text.infeeds[0], f"/G04 {text.written('D', 2.0)}")
    assert verify(str(text), good_job("diamond"), post).findings == ()


def test_a_finding_that_both_readings_have_is_said_once() -> None:
    text = Text.of("diamond", "iso6983")
    text.before(text.start, "/M00")
    text.delete(text.find("M08"))
    found = verify(str(text), good_job("diamond"), "iso6983").findings
    assert [f.code for f in found] == ["no-coolant"]


# -- whose program it is -----------------------------------------------------------------


@pytest.mark.parametrize("post", POSTS)
@pytest.mark.parametrize("place", range(12))
def test_a_slip_in_the_identity_comment_is_no_finding(post: str, place: int) -> None:
    text = Text.of("diamond", post)
    line = text.find("(JOB ")
    at = len("(JOB ") + place
    other = "0" if line.text[at] != "0" else "1"
    line.text = line.text[:at] + other + line.text[at + 1 :]
    assert verify(str(text), good_job("diamond"), post).findings == ()


@pytest.mark.parametrize("post", POSTS)
def test_a_program_of_a_like_job_is_told_by_its_identity(post: str) -> None:
    result = verify(good_program("diamond", post), good_job("reverse"), post)
    assert [f.code for f in result.findings] == ["other-job", "spindle-reversed"]


def test_the_dialect_does_not_make_another_job() -> None:
    for post in POSTS:
        assert f"(JOB {good_job('diamond').identity})" in good_program("diamond", post)


def test_a_program_without_its_identity_is_judged_by_its_motion() -> None:
    text = Text.of("diamond", "iso6983")
    text.delete(text.find("(JOB "))
    assert verify(str(text), good_job("diamond"), "iso6983").findings == ()
