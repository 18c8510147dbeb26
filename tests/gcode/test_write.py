"""Program texts: goldens, number formats, comments that cannot do harm, forms.

``golden`` beside this file holds whole programs as plain files, ``<case>.<dialect>.<form>.nc``, the
case being a key of ``GOLDEN`` below. A new file with such a name is a new case. They are
regression values: our own output, read by a person once. To write them anew, and all that
are missing, after a change that is meant::

    PYTHONPATH=. python tests/gcode/test_write.py

and look through the difference before it is kept.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knurlcam import InputError, Job, lay_out, make_plan, read_program, verify, write_program
from knurlcam.data.caches import clear_caches
from knurlcam.gcode.dialect_files import load_dialect
from knurlcam.gcode.marks import FORMS, Form
from knurlcam.gcode.write import write_text
from knurlcam.path import Dwell
from knurlcam.program import UnprovenProgramError, write_programs
from tests.support.breaking import RS274
from tests.support.dialects import Shop
from tests.support.jobs import base_job
from tests.support.written import GOLDEN, INCH, POSTS, each_post, job_of, word_lines, write

FOLDER = Path(__file__).parent / "golden"
WANTED = [f"{case}.{post}.program.nc" for case in ("diamond", "inch") for post in POSTS]
WANTED += ["trial.iso6983.program.nc", "trial.uw-lathe.program.nc", "plunge.rs274.program.nc"]
WANTED += ["straddle.iso6983-integer.program.nc", "diamond.iso6983.subprogram.nc"]
WANTED += ["diamond.uw-lathe.subprogram.nc", "diamond.rs274.blocks.nc"]
WANTED += [f"diamond.{post}.section.nc" for post in POSTS]


def golden(file: Path) -> str:
    """Return what a golden file must hold, by its name."""
    case, post, form, _ = file.name.split(".")
    assert form in get_args(Form)
    return write(GOLDEN[case], post, form)  # type: ignore[arg-type]


FILES = sorted(FOLDER.glob("*.nc"))


@pytest.mark.few(6)
@pytest.mark.parametrize("file", FILES, ids=lambda f: f.name)
def test_a_program_is_letter_by_letter_what_was_read_by_a_person(file: Path) -> None:
    assert golden(file) == file.read_text(encoding="ascii")


@pytest.mark.few(6)
@pytest.mark.parametrize("file", FILES, ids=lambda f: f.name)
def test_a_kept_program_verifies_without_any_finding(file: Path) -> None:
    case, post, form, _ = file.name.split(".")
    result = verify(file.read_text(encoding="ascii"), job_of(GOLDEN[case]), post)
    assert result.findings == ()
    assert result.form == form


def test_every_dialect_case_and_form_has_a_kept_program() -> None:
    names = {f.name for f in FILES}
    assert set(WANTED) <= names
    parts = [n.split(".") for n in names]
    assert {p[0] for p in parts} == set(GOLDEN)
    assert {p[1] for p in parts} == set(POSTS)
    assert {p[2] for p in parts} == set(FORMS)


# -- layout --------------------------------------------------------------------

each_case = pytest.mark.parametrize("changes", GOLDEN.values(), ids=GOLDEN)


@pytest.mark.few(6)
@each_post
@each_case
def test_the_same_job_gives_the_same_text_to_the_letter(post: str, changes: dict[str, Any]) -> None:
    assert write(changes, post) == write(changes, post)


@pytest.mark.few(6)
@each_post
@each_case
def test_no_line_is_longer_than_the_control_takes(post: str, changes: dict[str, Any]) -> None:
    longest = load_dialect(post).line_length
    assert max(map(len, write(changes, post).splitlines())) <= longest


@pytest.mark.few(6)
@each_post
@each_case
def test_a_text_is_plain_ascii_with_one_line_feed_at_each_end(
    post: str, changes: dict[str, Any]
) -> None:
    text = write(changes, post)
    assert text.isascii()
    assert text.endswith("\n")
    assert "\n\n" not in text
    assert "\r" not in text
    assert text == "".join(f"{line.rstrip()}\n" for line in text.splitlines())


FRAMES = {
    "iso6983": ("%1201", "M30"),
    "iso6983-integer": ("%1201", "M30"),
    "rs274": ("%", "%"),
    "rs274-turning": ("%", "%"),
    "uw-lathe": ("%\nO1201", "M30\n%"),
}


@each_post
def test_a_program_starts_and_ends_as_the_dialect_does(post: str) -> None:
    start, end = FRAMES[post]
    text = re.sub(r"^N\d+ ", "", write(None, post), flags=re.M)
    assert text.startswith(f"{start}\n(KNURL FOCUS KNOB)\n")
    assert text.endswith(f"\n{end}\n")


STATED = {
    "iso6983": ("G71 G90 G95 G97", "G70 G90 G95 G97"),
    "iso6983-integer": ("G71 G90 G95 G97", "G70 G90 G95 G97"),
    "rs274": ("G21 G90 G94", "G20 G90 G94"),
    "rs274-turning": ("G21 G90 G7 G95 G97", "G20 G90 G7 G95 G97"),
    "uw-lathe": ("G21 G99 G97", "G20 G99 G97"),
}


@each_post
@pytest.mark.parametrize("inch", [False, True])
def test_units_distance_feed_and_speed_mode_are_stated_first(post: str, inch: bool) -> None:
    words = word_lines(write(INCH if inch else None, post))
    first = next(w for w in words if "G" in w)
    assert re.sub(r"^N\d+ ", "", first) == STATED[post][inch]


@each_post
def test_tool_call_and_cancel_are_the_dialects(post: str) -> None:
    text = write({"tool.station": 3, "tool.offset": 12}, post)
    if post in RS274:
        assert "\nT3 M06\nG43 H12\n" in text
        assert "\nG49\n" in text
    else:
        assert re.search(r"^(N\d+ )?T0312$", text, flags=re.M)
        assert re.search(r"^(N\d+ )?T0300$", text, flags=re.M)


def test_only_uw_lathe_limits_the_speed_and_goes_to_the_reference_point() -> None:
    for post in POSTS:
        text = write(None, post)
        assert ("\nG50 S150\n" in text) == (post == "uw-lathe")
        assert ("\nG28 U0.000\nG28 W0.000\n" in text) == (post == "uw-lathe")
    assert "G92" not in write(None, "iso6983")


@each_post
@pytest.mark.parametrize(("direction", "word"), [("forward", "M03"), ("reverse", "M04")])
def test_the_spindle_turns_as_the_job_says(post: str, direction: str, word: str) -> None:
    text = write({"machine.spindle_direction": direction}, post)
    other = {"M03": "M04", "M04": "M03"}[word]
    assert re.search(rf"\bS110 {word}$", text, flags=re.M)
    assert other not in text


@pytest.mark.parametrize(
    ("post", "wanted"), [("iso6983", None), ("rs274", 0), ("uw-lathe", 1)], ids=str
)
def test_blocks_are_numbered_as_the_dialect_does(post: str, wanted: int | None) -> None:
    lines = word_lines(write(None, post))
    numbers = [int(n) for line in lines for n in re.findall(r"^N(\d+) ", line)]
    if wanted is None:
        assert numbers == [10 * (i + 1) for i in range(len(lines) - 1)]
    else:
        assert len(numbers) == wanted


@pytest.mark.few(8)
@each_post
@each_case
@pytest.mark.parametrize("form", ["program", "subprogram"])
def test_nothing_moves_after_the_offset_is_cancelled(
    changes: dict[str, Any], post: str, form: Form
) -> None:
    if form == "subprogram" and post in RS274:
        return  # refused: see below
    lines = [re.sub(r"^N\d+ ", "", line) for line in word_lines(write(changes, post, form))]
    cancel = "G49" if post in RS274 else "T0500"
    behind = lines[lines.index(cancel) + 1 :]
    assert [line for line in behind if line != "%"] == ["M99" if form == "subprogram" else "M30"]


@each_post
def test_blocks_with_a_trial_strip_call_the_tool_again_after_the_stop_and_say_so(post: str) -> None:
    text = write({"process.trial_strip": True}, post, "blocks")
    assert "(BLOCKS TO PASTE, NO START, FIRST TOOL CALL OR END)" in text
    assert "(AFTER THE STOP TOOL 5 OFFSET 5 IS CALLED AGAIN)" in text
    before, after = text.split("M00\n")
    call = "T5 M06\nG43 H5" if post in RS274 else "T0505"
    assert call not in before
    assert call in after


# -- numbers -------------------------------------------------------------------

FORMATS: dict[tuple[str, bool], tuple[str, str]] = {
    ("iso6983", False): (r"-?\d+\.\d{3}", r"\d+\.\d{3}"),
    ("iso6983", True): (r"-?\d+\.\d{4}", r"\d+\.\d{4}"),
    ("iso6983-integer", False): (r"-?\d+", r"\d+"),
    ("iso6983-integer", True): (r"-?\d+", r"\d+"),
    ("rs274", False): (r"-?\d+\.\d{4}", r"\d+\.\d{4}"),
    ("rs274", True): (r"-?\d+\.\d{5}", r"\d+\.\d{5}"),
    ("rs274-turning", False): (r"-?\d+\.\d{4}", r"\d+\.\d{4}"),
    ("rs274-turning", True): (r"-?\d+\.\d{5}", r"\d+\.\d{5}"),
    ("uw-lathe", False): (r"-?\d+\.\d{3}", r"\d+\.\d{3}"),
    ("uw-lathe", True): (r"-?\d+\.\d{4}", r"\d+\.\d{4}"),
}


@pytest.mark.parametrize(("post", "inch"), FORMATS)
def test_lengths_and_feeds_have_the_dialects_form(post: str, inch: bool) -> None:
    length, feed = FORMATS[post, inch]
    moves = [w for w in word_lines(write(INCH if inch else None, post)) if re.search("G0[01]", w)]
    assert len(moves) > 10
    for line in moves:
        assert re.fullmatch(rf"(N\d+ )?G0[01] [XZ]{length}( F{feed})?", line)


@pytest.mark.few(6)
@pytest.mark.parametrize(
    ("post", "inch", "word"),
    [
        # safe X 120 mm or 5 inch on the diameter
        ("iso6983", False, "X120.000"),
        ("iso6983", True, "X5.0000"),
        ("iso6983-integer", False, "X120000"),
        ("iso6983-integer", True, "X50000"),
        ("rs274", False, "X60.0000"),
        ("rs274", True, "X2.50000"),
        ("rs274-turning", False, "X120.0000"),
        ("rs274-turning", True, "X5.00000"),
        ("uw-lathe", False, "X120.000"),
        # feed 0.5 mm/rev or 0.02 inch/rev at 110 rev/min
        ("iso6983", False, "F0.500"),
        ("iso6983", True, "F0.0200"),
        ("iso6983-integer", False, "F500"),
        ("iso6983-integer", True, "F200"),
        ("rs274", False, "F55.0000"),
        ("rs274", True, "F2.20000"),
        ("rs274-turning", False, "F0.5000"),
        ("rs274-turning", True, "F0.02000"),
        ("uw-lathe", False, "F0.500"),
    ],
)
def test_a_length_and_a_feed_come_out_in_the_dialects_measure(
    post: str, inch: bool, word: str
) -> None:
    assert re.search(rf" {re.escape(word)}$", write(INCH if inch else None, post), flags=re.M)


@each_post
def test_nothing_is_minus_zero(post: str) -> None:
    straddle = "\n".join(word_lines(write(GOLDEN["straddle"], post)))
    assert not re.search(r"[A-Z]-0*\.?0*\b(?![.\d])", straddle)
    assert re.search(r"X0(\.0+)? ", straddle)


@each_post
@settings(max_examples=25, deadline=None)
@given(rpm=st.integers(5, 150), turns=st.integers(1, 20))
def test_a_dwell_is_rounded_up_to_the_millisecond(post: str, rpm: int, turns: int) -> None:
    changes = {"process.spindle_speed": rpm, "process.dwell_revolutions": turns}
    path = lay_out(make_plan(job_of(changes)))
    (planned,) = {s.seconds for s in path.steps if isinstance(s, Dwell)}
    unit = 1000.0 if load_dialect(post).dwell_unit == "ms" else 1.0
    written = re.findall(r"G04 [XP](\S+)", write_text(path, load_dialect(post)))
    assert written
    for text in written:
        assert planned - 1e-9 <= float(text) / unit < planned + 0.001
        assert ("." in text) == (unit == 1.0)


def test_a_feed_that_rounds_to_nothing_is_refused_with_dialect_and_value() -> None:
    with pytest.raises(InputError, match="it rounds to zero") as error:
        write({"process.infeed_rate": 0.0004}, "iso6983")
    assert (error.value.where, error.value.value) == ("dialect iso6983", 0.0004)
    assert "F0.0440" in write({"process.infeed_rate": 0.0004}, "rs274")


def test_a_feed_that_a_coarse_last_place_makes_much_faster_is_refused() -> None:
    path = lay_out(make_plan(job_of({"process.infeed_rate": 0.06})))
    dialect = load_dialect("iso6983")
    with pytest.raises(InputError, match=r"0\.06 mm/rev: the nearest is F0\.1"):
        write_text(path, dialect.model_copy(update={"feed_places_mm": 1}))
    assert "F0.06\n" in write_text(path, dialect.model_copy(update={"feed_places_mm": 2}))


@pytest.mark.parametrize("post", ["iso6983", "iso6983-integer"])
def test_a_length_of_more_digits_than_the_control_reads_is_refused(
    tmp_path: Path, post: str
) -> None:
    shop = Shop(tmp_path)
    for digits in (7, 6):
        shop.copy(f"of-{digits}", post)
        shop.edit(f"of-{digits}", "most_digits = 8", f"most_digits = {digits}")
        shop.edit(f"of-{digits}", "length_places_inch = 4", "length_places_inch = 3")
        shop.edit(f"of-{digits}", "feed_places_inch = 4", "feed_places_inch = 3")
    path = lay_out(make_plan(job_of({"machine.safe_x": 1200.0})))
    assert "X1200" in write_text(path, load_dialect("of-7", [tmp_path]))
    with pytest.raises(InputError, match=r"cannot write 1200.*has 7 digits") as error:
        write_text(path, load_dialect("of-6", [tmp_path]))
    assert (error.value.where, error.value.key) == ("dialect of-6", "most_digits")


# -- forms ---------------------------------------------------------------------


@pytest.mark.parametrize("post", [p for p in POSTS if p not in RS274])
def test_a_subprogram_returns_instead_of_ending(post: str) -> None:
    text = write(None, post, "subprogram")
    lines = [re.sub(r"^N\d+ ", "", line) for line in text.splitlines()]
    assert "M99" in lines
    assert "M30" not in lines
    assert "(SUBPROGRAM 1201, CALLED BY M98 P1201)" in lines
    assert verify(text, job_of(), post).findings == ()


@pytest.mark.parametrize("post", RS274)
def test_rs274_has_no_subprograms_and_says_what_to_do(post: str) -> None:
    with pytest.raises(InputError, match="no word for a subprogram") as error:
        write(None, post, "subprogram")
    assert error.value.where == f"dialect {post}"
    assert "--as blocks" in (error.value.remedy or "")


@each_post
def test_blocks_to_paste_have_no_start_tool_call_or_end(post: str) -> None:
    text = write(None, post, "blocks")
    words = " ".join(word_lines(text))
    assert not re.search(r"%|\bO\d|\bT\d|M06|G43|G49|G28|M30|M99", words)
    assert text.startswith("(KNURL FOCUS KNOB)\n")
    assert "(BLOCKS TO PASTE, NO START, TOOL CALL OR END)" in text
    assert verify(text, job_of(), post).findings == ()


@each_post
@pytest.mark.parametrize("form", ["section", "subprogram", "blocks"])
def test_every_form_moves_the_rolls_alike(post: str, form: Form) -> None:
    if post in RS274 and form == "subprogram":
        return  # refused: see above

    def feeds(text: str) -> list[tuple[float | None, ...]]:
        moves = read_program(text, post).moves
        return [(m.x1, m.z1, m.feed_mm_per_rev) for m in moves if m.kind == "feed"]

    assert feeds(write(None, post, form)) == feeds(write(None, post))


def regenerate() -> None:
    """Write every golden file anew."""
    FOLDER.mkdir(exist_ok=True)
    for name in sorted({*WANTED, *(f.name for f in FILES)}):
        file = FOLDER / name
        file.write_text(golden(file), encoding="ascii")
        print(name)


if __name__ == "__main__":
    regenerate()


def family() -> list[dict[str, Any]]:
    """Return the keys of jobs that share their sections, in both units."""
    base = Job.build(base_job({"machine.safe_x": 300.0}))
    sections = {s: getattr(base, s) for s in ("knurl", "holding", "tool", "process", "machine")}
    return [
        {
            **sections,
            "units": units,
            "part": {
                "name": name,
                "material": "6082-T6",
                "knurled_diameter": f"{diameter} mm",
                "length": "70 mm",
            },
        }
        for units in ("mm", "inch")
        for diameter in (25, 31, 44)
        for name in ("A", "A  longer name ± 1")
    ]


@each_post
def test_a_program_does_not_depend_on_the_programs_before(post: str) -> None:
    jobs = family()

    def written(of: list[dict[str, Any]]) -> list[str]:
        return [write_program(lay_out(make_plan(Job.build(data))), post) for data in of]

    first = written(jobs)
    clear_caches()
    assert written(jobs[::-1]) == first[::-1]
    assert len(set(first)) == len(jobs)
    paths = [lay_out(make_plan(Job.build(data))) for data in jobs]
    assert write_programs(iter(paths), post) == first


def test_of_many_programs_each_is_held_against_its_own_job() -> None:
    small, large = (lay_out(make_plan(Job.build(data))) for data in family()[:3:2])
    assert len(write_programs([small, large])) == 2
    swapped = replace(small, steps=large.steps)
    with pytest.raises(UnprovenProgramError) as caught:
        write_programs([large, swapped, small])
    assert "KNURL A" in caught.value.text
    assert not verify(caught.value.text, small.plan.job).ok
    assert write_programs([]) == []
