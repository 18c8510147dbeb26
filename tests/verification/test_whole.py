"""Whole part programs: the knurl in them is judged, and nothing else is called clean."""

from __future__ import annotations

import pytest

from knurlcam import verify
from knurlcam.gcode.dialect_files import load_dialect
from knurlcam.program import read_and_verify
from knurlcam.verification.findings import Verification
from tests.support.breaking import POSTS, RS274, good_job, good_plan, good_program
from tests.support.whole import around, blocks_around, whole
from tests.verification.cases.table import NEEDS_NUMBERS

each_post = pytest.mark.parametrize("post", POSTS)


def judged(text: str, post: str, job: str = "diamond") -> Verification:
    return verify(text, good_job(job), post)


def codes(text: str, post: str, job: str = "diamond") -> list[str]:
    return [finding.code for finding in judged(text, post, job).findings]


# -- sections ----------------------------------------------------------------------------


@each_post
def test_a_section_in_a_program_of_several_tools_is_clean(post: str) -> None:
    result = judged(whole(post), post)
    assert (result.form, result.findings) == ("section", ())


@each_post
def test_the_blocks_of_other_tools_are_counted_as_not_judged(post: str) -> None:
    result = judged(whole(post), post)
    assert result.not_judged_blocks == blocks_around(post)
    assert result.to_dict()["not_judged_blocks"] == result.not_judged_blocks


@each_post
def test_findings_stand_at_their_lines_in_the_whole(post: str) -> None:
    section = good_program("diamond", post, "section").replace("M08\n", "")
    text = whole(post, section)
    (finding,) = judged(text, post).findings
    assert finding.code == "no-coolant"
    assert "G01 X" in text.splitlines()[finding.line - 1]


@pytest.mark.parametrize("block", ["G02 X28.626 Z-\ue00024.0 R2.0", "GOTO \u202e9", "G#\ue000[1]"])
def test_characters_that_nobody_sees_stand_escaped_in_a_finding(block: str) -> None:
    first, rest = whole("iso6983").split("\n", 1)
    findings = judged(f"{first}\n{block}\n{rest}", "iso6983").findings
    assert any("\\u" in finding.message for finding in findings)
    assert all(finding.message.isprintable() for finding in findings)


def test_a_word_of_thousands_of_digits_before_the_knurl_is_read() -> None:
    first, rest = whole("iso6983").split("\n", 1)
    assert judged(f"{first}\nG{'1' * 5000}\n{rest}", "iso6983").not_judged_blocks


@each_post
def test_the_same_section_twice_is_judged_twice(post: str) -> None:
    section = good_program("diamond", post, "section")
    spoilt = section.replace("M08\n", "")
    assert codes(whole(post, section, section), post) == []
    assert codes(whole(post, section, spoilt), post) == ["no-coolant"]
    assert len(judged(whole(post, section, section), post).judged_lines) == 2


@each_post
def test_a_section_of_another_job_is_counted_as_not_judged(post: str) -> None:
    other = good_program("plunge", post, "section").replace("M08\n", "")
    result = judged(whole(post, good_program("diamond", post, "section"), other), post)
    assert result.findings == ()
    assert result.not_judged_blocks > blocks_around(post)


@each_post
def test_a_second_knurl_of_which_the_marks_are_gone_is_found(post: str) -> None:
    section = good_program("diamond", post, "section")
    bare = section.replace("KNURLING SECTION", "KNURLING SEKTION")
    assert codes(whole(post, section, bare), post) == ["section-not-closed"]


@pytest.mark.parametrize("post", ["iso6983", "uw-lathe"])
def test_a_word_in_letters_that_only_look_like_it_is_unknown(post: str) -> None:
    assert codes(whole(post, before="G\uff15\uff15\n"), post) == ["entered-unknown"]


@each_post
def test_a_program_with_sections_of_other_jobs_alone_is_not_clean(post: str) -> None:
    assert "other-job" in codes(whole(post, job="plunge"), post)


@each_post
def test_a_program_without_any_section_is_judged_as_the_jobs_program(post: str) -> None:
    result = judged("".join(around(post)), post)
    assert (result.form, result.ok) == ("program", False)


@pytest.mark.parametrize(
    ("post", "code"),
    [
        *((post, "G55") for post in NEEDS_NUMBERS),
        *((post, code) for post in POSTS for code in ("G10 L2 P1 Z5.", "G52 Z5.", "G68 R5.")),
    ],
)
def test_what_moves_every_place_is_found_where_the_section_begins(post: str, code: str) -> None:
    text = whole(post, before=f"{code}\n")
    (finding,) = judged(text, post).findings
    assert finding.code == "entered-shifted"
    assert "(KNURLING SECTION)" in text.splitlines()[finding.line - 1]


@pytest.mark.parametrize("code", ["G55", "G64 P0.5", "G17", "G92 Z5."])
@pytest.mark.parametrize("post", RS274)
def test_a_section_that_states_its_datum_and_modes_takes_others_back(post: str, code: str) -> None:
    assert codes(whole(post, before=f"{code}\n"), post) == []


@each_post
def test_a_shift_that_ends_before_the_section_is_no_finding(post: str) -> None:
    assert codes(whole(post, before="G52 Z5.\nG00 X5.\nG52 Z0\n"), post) == []


@each_post
def test_a_call_that_is_not_in_the_text_is_warned_of(post: str) -> None:
    assert codes(whole(post, before="G65 P9010 A1.\n"), post) == ["entered-unknown"]


@pytest.mark.parametrize("post", ["rs274"])
def test_diameters_are_found_where_radii_cannot_be_stated(post: str) -> None:
    assert codes(whole(post, before="G7\n"), post) == ["entered-shifted"]
    assert codes(whole(post, before="G7\nG8\n"), post) == []


@each_post
def test_a_part_that_is_called_by_a_mark_makes_no_piece(post: str) -> None:
    comment = "(KNURLING OF SECTION A)\n(SUBPROGRAM OF THE BAR FEEDER)\n"
    assert codes(whole(post, before=comment), post) == []


def test_a_carriage_return_alone_is_found_in_a_section() -> None:
    post = "iso6983"
    section = good_program("diamond", post, "section").replace("G40 G80\n", "G40 G80\r", 1)
    assert codes(whole(post, section), post) == ["unreadable-character"]


def test_of_a_slash_before_it_only_what_both_ways_leave_is_known() -> None:
    post = "iso6983"
    section = good_program("diamond", post, "section").replace("G71 G90 G95 G97\n", "")
    assert codes(whole(post, section), post) == []
    assert "units-not-stated" in codes(whole(post, section, before="/G70\n"), post)


def test_modes_are_unknown_where_the_way_of_the_program_is() -> None:
    post = "iso6983"
    section = good_program("diamond", post, "section").replace("G71 G90 G95 G97\n", "")
    found = codes(whole(post, section, before="IF [#1 GT 5] GOTO 100\n"), post)
    assert {"entered-unknown", "units-not-stated", "distance-not-stated"} <= set(found)


@each_post
def test_the_setters_page_shows_the_section_alone(post: str) -> None:
    plan, dialect = good_plan("diamond"), load_dialect(post)
    shown = read_and_verify(plan, whole(post), dialect)
    alone = read_and_verify(plan, good_program("diamond", post, "section"), dialect)
    assert [block.text for block in shown.motion.blocks] == [
        block.text for block in alone.motion.blocks
    ]
    assert shown.motion.blocks[0].line == shown.verification.judged_lines[0][0]


@pytest.mark.parametrize("mark", ["(KNURLING SECTION)", "(END KNURLING SECTION)"])
def test_very_many_marks_make_no_clean_program(mark: str) -> None:
    assert not judged(whole("iso6983", before=f"{mark}\n" * 5_000), "iso6983").ok


def test_calls_without_end_leave_nothing_known() -> None:
    call = "M98 P2000\n"
    text = whole("iso6983", before=call) + f"%2000\n{call * 50}M99\n"
    assert codes(text, "iso6983") == ["entered-unknown"]


# -- blocks to paste ---------------------------------------------------------------------

_CALL = dict.fromkeys(NEEDS_NUMBERS, "T0505\n") | dict.fromkeys(RS274, "T5 M06\nG43 H5\n")
_CANCEL = dict.fromkeys(NEEDS_NUMBERS, "T0500\n") | dict.fromkeys(RS274, "G49\n")


@each_post
def test_blocks_are_judged_with_the_tool_that_the_program_has_called(post: str) -> None:
    blocks = good_program("diamond", post, "blocks")
    result = judged(whole(post, _CALL[post], blocks, _CANCEL[post]), post)
    assert (result.form, result.findings) == ("blocks", ())


@each_post
def test_blocks_behind_another_tool_are_found(post: str) -> None:
    blocks = good_program("diamond", post, "blocks")
    other = _CALL[post].replace("5", "7")
    assert set(codes(whole(post, other, blocks, _CANCEL[post]), post)) == {"wrong-tool"}


# -- subprograms -------------------------------------------------------------------------


def with_subprogram(post: str, before: str = "", *, called: bool = True) -> str:
    """Return a part program that calls a subprogram, which stands behind its end."""
    lines = good_program("diamond", post, "subprogram").splitlines(keepends=True)
    sub = "".join(line for line in lines if line != "%\n")
    text = whole(post, "M98 P1201\n" if called else "", before=before)
    mark = "%\n" if text.endswith("%\n") else ""
    return text.removesuffix(mark) + sub + mark


@pytest.mark.parametrize("post", NEEDS_NUMBERS)
def test_a_subprogram_is_judged_where_the_main_program_calls_it(post: str) -> None:
    result = judged(with_subprogram(post), post)
    assert (result.form, result.findings) == ("subprogram", ())
    assert result.not_judged_blocks == blocks_around(post) + 1
    assert codes(with_subprogram(post, "G55\n"), post) == ["entered-shifted"]


CALLS = [
    "M98 P31201", "M98 P00021201", "M98 L2 P1201", "M98 P#1", "M98 P[1200+#2]", "CALL O1201",
    "G66 P1201 L1", "M198 P1201", "L1201 P2", "IF [#1 EQ 1] M98 P1201",
]  # fmt: skip
"""Ways in which controls call a subprogram (common practice, from memory)."""


@pytest.mark.parametrize("call", CALLS)
def test_a_subprogram_takes_the_state_of_its_call_however_that_is_written(call: str) -> None:
    text = with_subprogram("uw-lathe", "G55\n").replace("M98 P1201", call)
    assert "entered-shifted" in codes(text, "uw-lathe")


@pytest.mark.parametrize("post", NEEDS_NUMBERS)
def test_a_subprogram_that_nothing_calls_is_judged_as_it_stands(post: str) -> None:
    assert codes(with_subprogram(post, "G55\n", called=False), post) == []


@pytest.mark.parametrize("post", NEEDS_NUMBERS)
def test_a_section_in_a_called_subprogram_takes_the_state_of_the_call(post: str) -> None:
    section = good_program("diamond", post, "section")
    start = "%2000\n" if post != "uw-lathe" else "O2000\n"
    first, last = around(post)
    mark = "%\n" if last.endswith("%\n") else ""
    body = last.removesuffix(mark)
    for shift, found in (("", []), ("G55\n", ["entered-shifted"])):
        text = f"{first}{shift}M98 P2000\n{body}{start}{section}M99\n{mark}"
        assert codes(text, post) == found
