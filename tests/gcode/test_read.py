"""Program text to blocks and motion: what is read, and what is said about the rest.

Clauses of NISTIR 6556 (Kramer, Proctor, Messina, The NIST RS274/NGC Interpreter, version 3,
17 August 2000) are named where a rule comes from it; all were seen.
"""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pygcode import Line

from knurlcam import Job, lay_out, make_plan, read_program, write_program
from knurlcam.gcode.marks import FORMS, Form
from knurlcam.gcode.motion import Change, End, Move, State, Stop
from knurlcam.verification.rules import RULES
from tests.support.breaking import RS274
from tests.support.examples import counts, examples
from tests.support.jobs import REMOVE, base_job
from tests.support.reading import POSTS, close, codes, each_post, ends, problems, read

# -- state ---------------------------------------------------------------------


def test_modes_last_until_another_word_of_their_group() -> None:
    motion = read("G97 S110 M03\nM08\nT0507\nG00 X10.0\nG01 Z-1.0 F0.5\nM05\nM09\nT0500")
    rapid, feed = motion.moves
    assert rapid.state == State(
        "mm", "absolute", "per revolution", "constant speed", None, 110, None, "forward", True, 5, 7
    )
    assert feed.state.feed == 0.5
    assert motion.state == feed.state._replace(spindle="off", coolant=False, offset=0)


def test_what_a_program_does_not_state_is_unknown() -> None:
    motion = read_program("G00 X1.0", "iso6983")
    (move,) = motion.moves
    assert move.state == State()
    assert (move.x0, move.z0, move.x1, move.z1) == (None, None, 1.0, None)


def test_a_motion_word_stays_in_force() -> None:
    kinds = [m.kind for m in read("G00 X10.0\nZ1.0\nG01 X9.0 F0.1\nZ-5.0\nG00 X20.0").moves]
    assert kinds == ["rapid", "rapid", "feed", "feed", "rapid"]


def test_an_axis_word_before_any_motion_word_is_misplaced() -> None:
    assert problems("X1.0") == [("misplaced-word", "an axis word where no G00 or G01 is in force")]
    assert read("X1.0").moves == []


def test_words_of_one_block_take_effect_before_its_motion() -> None:
    # 3.8, Table 8: feed mode, F, S, T, M6, spindle, coolant, dwell, units, distance, motion
    (move,) = read("G01 X1.0 F0.5 M08").moves
    assert move.state.coolant
    assert move.state.feed == 0.5


def test_increments_add_up_by_code_or_by_letter() -> None:
    assert ends("G00 X10.0 Z5.0\nG91\nX-1.0\nZ2.0") == close((10, 5), (9, 5), (9, 7))
    assert ends("G00 X10. Z5.\nU-1.\nW2. U.5", "uw-lathe") == close((10, 5), (9, 5), (9.5, 7))
    assert ends("G00 X5 Z5\nG91 X-1", "rs274") == close((10, 5), (8, 5))


def test_an_increment_from_an_unknown_place_leads_to_an_unknown_place() -> None:
    assert ends("G91 G00 X1.0") == [(None, None)]
    assert ends("G00 U1.0", "uw-lathe") == [(None, None)]


def test_the_reference_point_is_a_place_that_the_program_does_not_know() -> None:
    motion = read("G00 X10. Z5.\nG28 U0.\nG28 W0.", "uw-lathe")
    assert [(m.kind, m.x1, m.z1) for m in motion.moves] == [
        ("rapid", 10.0, 5.0),
        ("reference", None, 5.0),
        ("reference", None, None),
    ]
    assert motion.problems == []


def test_the_way_to_the_reference_point_leads_by_the_point_that_is_named() -> None:
    motion = read("G00 X10. Z5.\nG28 U4. W0.", "uw-lathe")
    assert [(m.kind, m.x1, m.z1) for m in motion.moves[1:]] == [
        ("rapid", 14.0, 5.0),
        ("reference", None, None),
    ]


def test_a_reference_return_without_an_axis_is_misplaced() -> None:
    assert problems("G28", "uw-lathe") == [("misplaced-word", "a reference return without an axis")]


def test_a_speed_limit_is_no_speed() -> None:
    state = read("G50 S1500\nG97 S110 M03", "uw-lathe").state
    assert (state.limit_rpm, state.rpm, state.spindle) == (1500, 110, "forward")


@pytest.mark.parametrize(
    ("text", "feed", "rpm"),
    [
        ("F0.5 S100\nG71 G90 G95 G97", None, None),
        ("G71\nF0.5\nG95 S100\nG97", None, None),
        ("G95 G97\nF0.5 S100\nG71", None, 100),
        ("G71 G95 G97 F0.5 S100", None, 100),  # 3.8, Table 8: F before the units of its block
        ("G71\nG95 F0.5\nG97 S100", 0.5, 100),
        ("G71 G95 G97\nG01 X10.0 F0.5", 0.5, None),
        ("G01 X10.0 F0.5\nG71 G95 G97", None, None),
    ],
)
def test_a_feed_or_speed_before_its_modes_says_nothing(
    text: str, feed: float | None, rpm: float | None
) -> None:
    state = read_program(f"%1\n{text}", "iso6983").state
    assert (state.feed, state.rpm) == (feed, rpm)


def test_a_block_whose_feed_or_speed_comes_too_early_is_kept() -> None:
    motion = read_program("%1\nF0.5\nS100 F0.6\nG71 G95 G97\nF0.7 S110", "iso6983")
    assert {letter: block.line for letter, block in motion.too_early.items()} == {"F": 3, "S": 3}


def test_a_speed_says_something_where_there_is_one_way_to_state_it() -> None:
    assert read_program("%\nS100\nG21 G94", "rs274").state.rpm == 100


@pytest.mark.parametrize("post", RS274)
def test_a_shift_by_g92_is_taken_back_before_the_first_motion_only(post: str) -> None:
    # NISTIR 6556, 3.5.18: G92.1 and G92.2 take it back, G92.3 puts it on again
    assert codes("G92.1\nG92.2\nG00 X5\nG92.2", post) == []
    assert [codes(f"G00 X5\nG92.{n}", post) for n in (1, 2)] == [["misplaced-word"]] * 2
    assert codes("G54\nG00 X5\nG92.2", post) == ["misplaced-word"]
    assert codes("G92.2 G04 P1", post) == ["contradictory-words"]
    assert [codes(word, post) for word in ("G92.3", "G92.10", "G92")] == [["unknown-word"]] * 3
    assert codes("G92.2") == ["unknown-word"]


def test_x_words_hold_what_the_word_in_force_says() -> None:
    text = "G00 X5\nG8\nX5\nG91 X1\nG7 X1\nG90 X5 Z1"
    places = [x for x, _ in ends(text, "rs274-turning")]
    assert places == [5, 10, 12, 13, 5]
    assert codes("G7 G8", "rs274-turning") == ["contradictory-words"]
    assert codes("G7", "rs274") == ["unknown-word"]


def test_stops_and_ends_are_events_with_the_state_they_stand_in() -> None:
    events = read("S100 M03\nM01\nM00\nM30").events
    stops = [e for e in events if isinstance(e, Stop)]
    assert [(s.optional, s.state.spindle) for s in stops] == [(True, "forward"), (False, "forward")]
    assert [e.returns for e in events if isinstance(e, End)] == [False]
    assert [e.returns for e in read("M99").events if isinstance(e, End)] == [True]
    assert [e.returns for e in read("M02").events if isinstance(e, End)] == [False]


def test_a_change_of_state_is_an_event_and_saying_it_again_is_none() -> None:
    events = read("M08\nM08").events
    changes = [e for e in events if isinstance(e, Change)]
    assert [(c.before.coolant, c.state.coolant) for c in changes[1:]] == [(False, True)]


def test_a_tool_of_rs274_is_called_by_m06_and_its_offset_by_h() -> None:
    # 3.7.3: T selects, M06 changes
    state = read("T5 M06\nG43 H7", "rs274").state
    assert (state.station, state.offset) == (5, 7)
    selected = read("T5", "rs274").events[-1]
    assert isinstance(selected, Change)
    assert (selected.selects, selected.calls, selected.state.station) == (5, (), None)
    assert read("T5 M06\nG43 H7\nG49", "rs274").state.offset == 0


# -- block numbers -------------------------------------------------------------


def test_a_block_number_is_kept_apart_from_the_words() -> None:
    block = read("N10 G00 X1.0").blocks[-1]
    assert block.number == 10
    assert [w.letter for w in block.words] == ["G", "X"]


@pytest.mark.parametrize(
    ("text", "code", "severity"),
    [
        ("N100000 G00 X1", "numbering", "warning"),  # 3.3.1: 0 to 99999
        ("N99999 G00 X1", None, None),
        ("N0 G00 X1", None, None),
        ("N20 G00 X1\nN10 X2", "numbering", "warning"),
        ("N20 G00 X1\nN20 X2", "numbering", "warning"),
        ("N-1 G00 X1", "unknown-word", "error"),
        ("N1.5 G00 X1", "unknown-word", "error"),
        ("N1 N2 G00 X1", "misplaced-word", "error"),
        ("G00 N1 X1", "misplaced-word", "error"),
    ],
)
def test_block_numbers_are_whole_rising_and_in_front(
    text: str, code: str | None, severity: str | None
) -> None:
    found = [(p.code, p.severity) for p in read(text, "rs274").problems]
    assert found == ([(code, severity)] if code else [])


# -- any text ------------------------------------------------------------------

WORDY = st.text("GMXZUWFSTPHNO%/() .+-0123456789\n", max_size=200)
WORDS = (
    "G0 G1 G4 G28 G50 G43 G49 G90 G91 G94 G95 G96 G20 M3 M5 M6 M8 M30 M99 T5 T0505 T. T.5 H H.1 "
    "S-.5 X1. Z-2 U.5 W9 F0 F-1.5 P1 P-1. N5 N.5 / ( ) % %7 O7"
)
PIECES = WORDS.split()
LINES = st.lists(st.sampled_from([*PIECES, "\n", "\n", "\n"]), max_size=40).map(" ".join)


@counts(40, 250)
@each_post
def test_no_text_raises(post: str, count: int) -> None:
    @examples(count)
    @given(text=st.text(max_size=200) | WORDY | LINES)
    def is_read(text: str) -> None:
        motion = read_program(text, post)
        assert motion.duration_s(10.0) >= 0.0
        for problem in motion.problems:
            assert RULES[problem.code].severity == problem.severity
            assert problem.block in motion.blocks
            assert problem.message

    is_read()


@counts(25, 100)
@each_post
def test_no_word_is_passed_over_in_silence(post: str, count: int) -> None:
    @examples(count)
    @given(text=WORDY | LINES)
    def is_read_whole(text: str) -> None:
        # What is neither a word, a comment, a frame line nor a fault does not exist.
        motion = read_program(text, post)
        faulty = {p.block.line for p in motion.problems}
        ended = False
        for block in motion.blocks:
            if (
                ended
                or block.line in faulty
                or "(" in block.text
                or block.text.startswith(("%", "O"))
            ):
                continue
            left = "".join(block.text.split()).removeprefix("/").upper()
            said = "".join(w.letter + w.text for w in block.words)
            number = left[: len(left) - len(said)] if said else left
            assert left.endswith(said)
            assert number == "" or int(number.removeprefix("N") or 0) == (block.number or 0)
            ended = any(w.letter == "M" and w.value in (2, 30, 99) for w in block.words)

    is_read_whole()


@each_post
def test_a_line_of_a_megabyte_is_refused_and_not_searched(post: str) -> None:
    assert codes("G00 X" + "(" * 1_000_000, post) == ["line-too-long"]


@pytest.mark.parametrize(
    "post", [POSTS[0], *(pytest.param(post, marks=pytest.mark.long) for post in POSTS[1:])]
)
def test_a_hundred_thousand_lines_are_read(post: str) -> None:
    x = "X1500" if post == "iso6983-integer" else "X1.5"
    motion = read(f"G01 {x} F1\n".replace("F1", "") * 100_000, post)
    assert len(motion.moves) == 100_000


# -- an outside parser ---------------------------------------------------------

SINGLE = {"tool.style": "single roll", "tool.roll_spacing": REMOVE}
JOBS: dict[str, dict[str, Any]] = {
    "diamond": {},
    "straight": {**SINGLE, "knurl.callout": "DIN 82 RAA 1.0"},
    "straddle": {"tool.style": "straddle", "tool.roll_spacing": REMOVE},
    "trial": {"process.trial_strip": True},
    "plunge": {"knurl.length": 8.0},
    "reverse": {"machine.spindle_direction": "reverse", "process.coolant": False},
}
SAMPLES = sorted((Path(__file__).parents[2] / "samples").glob("*.toml"))


def by_pygcode(line: str) -> list[tuple[str, float]]:
    """Return the words of a line as pygcode 0.2.1 reads them, its N left out.

    pygcode takes ``%1201`` and ``%`` for a macro with no words, as we do; it keeps T and O
    as text and all else as a number; it knows no G70 or G71 as modes, so only words are
    compared. It refuses ``:1234`` and ``X+1.``, which no dialect here writes.
    """
    words = Line(line).block.words
    return [(str(w.letter), float(w.value)) for w in words if w.letter != "N"]


def assert_read_alike(text: str, post: str) -> None:
    motion = read_program(text, post)
    assert len(motion.blocks) == len([t for t in text.splitlines() if t.strip()])
    for block in motion.blocks:
        theirs = by_pygcode(block.text)
        if block.text.startswith("O"):
            # A program number: a start line to us, an O word to pygcode.
            assert theirs == [("O", float(block.text[1:]))]
            continue
        assert [(w.letter, w.value) for w in block.words] == theirs, block.text
        given_number = [int(w.value) for w in Line(block.text).block.words if w.letter == "N"]
        assert given_number == ([] if block.number is None else [block.number])
        comment = Line(block.text).comment
        assert (None if comment is None else str(comment).strip("()")) == block.comment


@pytest.mark.few(12)
@each_post
@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("changes", JOBS.values(), ids=JOBS)
def test_an_outside_parser_reads_the_same_words(
    post: str, form: Form, changes: dict[str, Any]
) -> None:
    if post in RS274 and form == "subprogram":
        return  # that dialect has none, and says so: test_writer.py
    job = Job.model_validate(base_job(changes))
    assert_read_alike(write_program(lay_out(make_plan(job)), post, form=form), post)


@pytest.mark.few(8)
@each_post
@pytest.mark.parametrize("file", SAMPLES, ids=lambda f: f.name)
def test_an_outside_parser_reads_the_samples_alike(post: str, file: Path) -> None:
    path = lay_out(make_plan(Job.load(file)))
    for form in FORMS:
        if post not in RS274 or form != "subprogram":
            assert_read_alike(write_program(path, post, form=form), post)


@each_post
def test_a_move_knows_where_it_came_from(post: str) -> None:
    job = Job.model_validate(base_job())
    moves = read_program(write_program(lay_out(make_plan(job)), post), post).moves
    for one, following in itertools.pairwise(moves):
        assert isinstance(one, Move)
        assert (one.x1, one.z1) == (following.x0, following.z0)
