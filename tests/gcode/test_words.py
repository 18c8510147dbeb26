"""Words that are unknown, contradict each other or stand where they cannot."""

from __future__ import annotations

import pytest

from knurlcam.gcode.motion import End, Problem, Stop
from tests.support.breaking import RS274
from tests.support.reading import codes, each_post, problems, read


@pytest.mark.few(6)
@pytest.mark.parametrize(
    ("post", "text", "shown"),
    [
        ("iso6983", "G00 X1.0 Y2.0", "Y2.0"),
        ("iso6983", "G02 X1.0", "G02"),
        ("iso6983", "G92 S1000", "G92"),
        ("iso6983", "T0505 M06", "M06"),
        ("iso6983", "G00 U1.0", "U1.0"),
        ("rs274", "G95", "G95"),
        ("rs274", "G0.5 X1", "G0.5"),
        ("uw-lathe", "G90 X1.", "G90"),
        ("iso6983", "#1=5", "#1=5"),
        ("iso6983", "G00 X", "X"),
        ("iso6983", "G00 X1.0e3", "E3"),
        ("iso6983", "G00 X1.0;comment", ";COMMENT"),
        ("rs274", "G00 X[1+1]", "X[1+1]"),
        ("uw-lathe", "O5", "O5"),
        ("iso6983", "hello", "HELLO"),
    ],
)
def test_a_word_that_the_dialect_does_not_have_is_a_fault_with_its_text(
    post: str, text: str, shown: str
) -> None:
    found = [m for code, m in problems(text, post) if code == "unknown-word"]
    assert any(shown in message for message in found), found


@pytest.mark.few(5)
@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("G0 G1 X1", "G0 and G1 contradict each other"),  # 3.3.5, Table 4
        ("G1 X1 X2", "X is written twice"),  # 3.3.5
        ("G21 G20", "G21 and G20"),
        ("G90 G91", "G90 and G91"),
        ("M3 M4 S100", "M3 and M4"),
        ("M3 M5", "M3 and M5"),
        ("M08 M09", "M08 and M09"),
        ("M00 M30", "M00 and M30"),
        ("G43 H1 G49", "G43 and G49"),
        ("F1 G1 X1 F2", "F is written twice"),
        ("M3 M8 M6 M0 M8 T5 S5", "5 M words"),  # 3.3.5: at most four
    ],
)
def test_words_that_contradict_each_other_are_a_fault(text: str, words: str) -> None:
    found = [m for code, m in problems(text, "rs274") if code == "contradictory-words"]
    assert any(words in message for message in found), found


@each_post
def test_a_block_has_as_many_m_words_as_its_dialect_takes(post: str) -> None:
    few, most = ("M05 M09 M00 M06 T5", 4) if post in RS274 else ("M05", 1)
    assert codes(few, post) == []
    found = [m for code, m in problems(f"{few} M5", post) if code == "contradictory-words"]
    takes = "one" if most == 1 else f"at most {most}"
    assert any(f"{most + 1} M words in one block, the control takes {takes}" in m for m in found)


def test_increments_stand_beside_a_dwell_whose_time_is_no_axis_word() -> None:
    assert codes("G91 G04 P1.0", "rs274") == []
    assert codes("G91 G04 P1000", "iso6983-integer") == []
    assert codes("G90 G04 X1.0") == []


def test_absolute_and_increment_of_one_axis_contradict_each_other() -> None:
    assert codes("G00 X1. U1.", "uw-lathe") == ["contradictory-words"]
    assert codes("G00 Z1. W1.", "uw-lathe") == ["contradictory-words"]
    assert codes("G00 X1. W1.", "uw-lathe") == []


def test_the_same_word_twice_does_not_contradict_itself() -> None:
    assert codes("G00 G0 X1.0") == []
    assert [type(e) for e in read("M00 M0").events[1:]] == [Stop]
    assert [type(e) for e in read("M30 M030").events[1:]] == [End]


@pytest.mark.few(8)
@pytest.mark.parametrize(
    ("post", "text", "words"),
    [
        ("rs274", "G1", "without X or Z"),  # 3.5.2
        ("rs274", "G0", "without X or Z"),  # 3.5.1
        ("rs274", "G01 F10", "without X or Z"),
        ("rs274", "G1 F10", "without X or Z"),
        ("rs274", "G01 G04 P1", "G04 and G01 are in one block; a dwell has"),
        (
            "iso6983",
            "G00 G04 X1.0",
            "G04 and G00 are in one block; a dwell has",
        ),
        ("uw-lathe", "G04 P1 G1", "G04 and G01 are in one block; a dwell has"),
        (
            "iso6983",
            "G91 G04 X1.0",
            "G04 and G91 are in one block; one control takes X",
        ),
        ("uw-lathe", "G01 G28 U0", "G28 and G01 are in one block; both want its axis words"),
        ("uw-lathe", "G50 S1500 G97", "G50 and G97 are in one block; both want its S"),
        ("iso6983", "G04", "a dwell without its time: G04 takes its time as X in seconds"),
        ("uw-lathe", "G04 X1.", "takes its time as P in milliseconds, not as X1."),
        ("iso6983", "G04 X1.0 Z5.0", "Z5.0 is not allowed in a dwell block"),
        ("iso6983", "G04 X1.0 F0.5", "F0.5 is not allowed in a dwell block"),
        ("rs274", "G43", "a tool offset is called without its number"),
        ("rs274", "M06", "a tool change without a T word"),
        ("uw-lathe", "G50", "a speed limit without S"),
        ("uw-lathe", "G50 S100 X1.", "an axis word is in the block of a speed limit"),
        ("rs274", "H5", "H5 is allowed with a tool offset only"),
        ("rs274", "G04 P1.0 G01", "G04 and G01 are in one block; a dwell has"),
        ("uw-lathe", "M98 P10", "M98 calls another program"),
        ("iso6983", "M98", "M98 calls another program"),
        ("iso6983", "G00 X1.0 M05", "M05 is in a block that moves"),
        ("iso6983", "G00 X1.0 M30", "M30 is in a block that moves"),
        ("iso6983", "G00 X1.0 T0505", "T0505 is in a block that moves"),
    ],
)
def test_a_word_where_it_cannot_stand_is_a_fault(post: str, text: str, words: str) -> None:
    found = [m for code, m in problems(text, post) if code == "misplaced-word"]
    assert any(words in message for message in found), found


def test_a_motion_word_alone_is_none_where_the_dialect_allows_it() -> None:
    assert codes("G01\nX1.0 F0.5") == []


def test_a_problem_is_data_code_severity_line_text_and_message() -> None:
    problem = read("G00 X1.0\nN7 G00 Q5 X2.0").problems[0]
    assert isinstance(problem, Problem)
    assert (problem.code, problem.severity) == ("unknown-word", "error")
    assert (problem.block.line, problem.block.number) == (4, 7)
    assert problem.block.text == "N7 G00 Q5 X2.0"
    assert problem.message == "Q5 is not a word of this dialect"
