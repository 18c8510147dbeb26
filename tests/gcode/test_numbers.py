"""Numbers: lengths, feeds and dwells as a dialect writes them."""

from __future__ import annotations

import pytest

from knurlcam.gcode.motion import Dwell
from tests.support.reading import close, codes, ends, problems, read


@pytest.mark.few(6)
@pytest.mark.parametrize(
    ("post", "text", "x"),
    [
        ("iso6983", "G00 X12.5", 12.5),
        ("iso6983", "G00 X+12.5", 12.5),
        ("iso6983", "G00 X-.5", -0.5),
        ("iso6983", "G00 X12.", 12.0),
        ("iso6983", "G00 X0", 0.0),
        ("iso6983", "G00 X0012.500", 12.5),
        ("iso6983", "G70 G00 X1.5", 38.1),
        ("iso6983-integer", "G00 X12500", 12.5),
        ("iso6983-integer", "G00 X-7", -0.007),
        ("iso6983-integer", "G70 G00 X15000", 38.1),
        ("rs274", "G00 X12.5", 25.0),
        ("rs274", "G00 X12", 24.0),
        ("rs274", "G20 G00 X1.5", 76.2),
        ("uw-lathe", "G00 X12.5", 12.5),
        ("uw-lathe", "G20 G00 X1.5", 38.1),
    ],
)
def test_a_length_is_read_in_the_dialects_measure_and_the_programs_units(
    post: str, text: str, x: float
) -> None:
    assert ends(text, post) == close((x, None))
    assert codes(text, post) == []


@pytest.mark.few(6)
@pytest.mark.parametrize(
    ("post", "text", "words"),
    [
        ("iso6983", "G00 X12", "X12 has no decimal point"),
        ("iso6983", "G01 X1.0 F1", "F1 has no decimal point"),
        ("iso6983", "G04 X2", "X2 has no decimal point"),
        ("iso6983-integer", "G00 X12.5", "X12.5 has a decimal point"),
        ("iso6983-integer", "G04 P12.5", "P12.5 must be whole milliseconds"),
        ("uw-lathe", "G00 Z7", "Z7 has no decimal point"),
        ("uw-lathe", "G04 P1.5", "P1.5 must be whole milliseconds"),
        ("iso6983", "G97 S110.5 M03", "S110.5 must be a whole number"),
        ("iso6983", "T505", "T505 must be two digits of station and two of offset"),
        ("uw-lathe", "T55", "T55 must be two digits of station and two of offset"),
        ("uw-lathe", "G97 S110.0 M03", "S110.0 must be a whole number"),
        ("iso6983-integer", "G97 S110. M03", "S110. must be a whole number"),
        ("iso6983", "T05050", "T05050 must be two digits"),
        ("iso6983", "G00 X120.000000", "X120.000000 has more than the 8 digits"),
        ("iso6983", "N10 G01 X-00000024.5 F0.5", "X-00000024.5 has more than the 8 digits"),
        ("iso6983-integer", "G01 Z-123456789", "Z-123456789 has more than the 8 digits"),
        ("uw-lathe", "G97 S000000110", "S000000110 has more than the 8 digits"),
        ("rs274", "T.5 M06", "T.5 must be a whole number"),
        ("rs274", "G43 H1.5", "H1.5 must be a whole number"),
        ("rs274", "G04 P-1", "a dwell cannot be negative"),  # 3.5.4
        ("rs274", "S-100", "S-100 is negative"),  # 3.7.2
        ("rs274", "G01 X1 F-5", "F-5 is negative"),
    ],
)
def test_a_number_that_the_dialect_does_not_write_so_is_a_fault(
    post: str, text: str, words: str
) -> None:
    found = problems(text, post)
    assert {code for code, _ in found} == {"number-format"}
    assert any(words in message for _, message in found)


@pytest.mark.parametrize(
    ("post", "text"),
    [
        ("iso6983", "G00 X120.00000"),
        ("iso6983", "G01 X-00024.500 F.00000005"),
        ("iso6983-integer", "G00 X12345678"),
        ("rs274", "G00 X24.50000000000000"),
    ],
)
def test_as_many_digits_as_the_control_reads_are_no_fault(post: str, text: str) -> None:
    assert codes(text, post) == []


def test_a_feed_per_revolution_is_taken_as_it_stands() -> None:
    (move,) = read("G01 X1.0 F0.5").moves
    assert move.feed_mm_per_rev == 0.5
    (move,) = read("G70\nG01 X1.0 F0.02").moves
    assert move.feed_mm_per_rev == pytest.approx(0.508)
    (move,) = read("G01 X1 F500", "iso6983-integer").moves
    assert move.feed_mm_per_rev == pytest.approx(0.5)


def test_a_feed_per_minute_is_divided_by_the_speed() -> None:
    move = read("S110 M03\nG01 X1 F55", "rs274").moves[-1]
    assert move.feed_mm_per_rev == pytest.approx(0.5)
    assert read("G01 X1 F55", "rs274").moves[-1].feed_mm_per_rev is None
    assert read("G94\nS100 M03\nG01 X1.0 F50.0").moves[-1].feed_mm_per_rev == pytest.approx(0.5)


def test_a_feed_does_not_outlive_a_change_of_feed_mode() -> None:
    moves = read("G01 X1.0 F0.5\nG94\nG01 X2.0").moves
    assert [m.feed_mm_per_rev for m in moves] == [0.5, None]


def test_a_speed_does_not_outlive_a_change_of_speed_mode() -> None:
    moves = read("S110 M03\nG01 X1.0 F0.5\nG96\nX2.0\nG97\nX3.0\nS110\nX4.0").moves
    assert [m.state.rpm for m in moves] == [110.0, None, None, 110.0]
    (move,) = read("S110 M03\nG96 S50\nG97 S120\nG01 X1.0 F0.5").moves
    assert move.state.rpm == 120.0


def test_a_feed_per_minute_is_no_feed_per_revolution_at_constant_surface_speed() -> None:
    moves = read("G94 G96 S110 M03\nG01 X1.0 F50.0\nG97 S100\nX2.0").moves
    assert [m.feed_mm_per_rev for m in moves] == [None, 0.5]


@pytest.mark.parametrize(
    ("post", "text", "seconds"),
    [
        ("iso6983", "G04 X2.5", 2.5),
        ("iso6983-integer", "G04 P2500", 2.5),
        ("rs274", "G4 P2.5", 2.5),  # 3.5.4: P is in seconds
        ("rs274", "G4 P2", 2.0),
        ("uw-lathe", "G04 P2500", 2.5),
    ],
)
def test_a_dwell_is_read_in_the_dialects_unit(post: str, text: str, seconds: float) -> None:
    motion = read(text, post)
    assert [e.seconds for e in motion.events if isinstance(e, Dwell)] == [seconds]
    assert motion.moves == []
    assert motion.problems == []
