"""Random programs, read by the reader and by two others: all make the same of them.

Words are held against pygcode, an outside parser; motion against :mod:`tests.support.naive`, an
interpreter that shares nothing with the package.

``KNURLCAM_HYPOTHESIS=explore`` draws many more programs, and new ones every time.
"""

from __future__ import annotations

import itertools
import math
import random
import re
from dataclasses import replace
from typing import Any, NamedTuple

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from pygcode.comment import split_line
from pygcode.exceptions import GCodeWordStrError
from pygcode.words import text2words

from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.dialect_files import load_dialect
from knurlcam.gcode.motion import Change, Dwell, End, Motion, Move, Problem, State, Stop
from knurlcam.gcode.read import read_program
from tests.support.breaking import RS274
from tests.support.examples import counts, examples
from tests.support.grammar import GRAMMARS, legal_programs, slipped_programs
from tests.support.naive import HOME, Naive, NotUnderstoodError

each_post = pytest.mark.parametrize("post", GRAMMARS)


# -- words -----------------------------------------------------------------------------


class Untaken(NamedTuple):
    """What pygcode cannot take, what it is given in its place, and why."""

    pattern: str
    replacement: str
    reason: str
    instance: str


UNTAKEN = (
    Untaken(r"\+", "", "it knows a minus before a number, and no plus", "X+1.5"),
    Untaken(
        r"(?<=[-.0-9])[ \t]+(?=[.0-9])",
        "",
        "spaces end a number for it, also where the dialect lets them stand inside",
        "X1 2.5",
    ),
    Untaken(r"^\s*/\s*$", "", "it passes a slash over before words, not alone", "/"),
)


def by_pygcode(line: str) -> list[tuple[str, float]]:
    """Return the words of a line as pygcode reads them, without its comments."""
    block, _ = split_line(line)
    for pattern, replacement, *_ in UNTAKEN:
        block = re.sub(pattern, replacement, block)
    return [(str(w.letter), float(w.value)) for w in text2words(block)]


def lines_of(text: str) -> list[str]:
    """Return the lines that are not blank, whatever ends them."""
    return [line for line in re.split(r"\r\n|\r|\n", text) if line.strip()]


def words_of(motion: Motion) -> list[list[tuple[str, float]]]:
    """Return every block's words as the reader has them, the block number first."""
    return [
        ([] if b.number is None else [("N", float(b.number))])
        + [(w.letter, w.value) for w in b.words]
        for b in motion.blocks
    ]


@counts(10, 50)
@each_post
def test_an_outside_parser_reads_the_same_words_in_any_legal_program(post: str, count: int) -> None:
    @examples(count, exploring=5_000)
    @given(legal_programs(post))
    def same(text: str) -> None:
        # Lines with the mark or number of a program have no words, to us as to pygcode.
        theirs = [[] if line[0] in "%Oo" else by_pygcode(line) for line in lines_of(text)]
        assert words_of(read_program(text, post)) == theirs

    same()


@pytest.mark.parametrize("untaken", UNTAKEN, ids=lambda one: one.instance)
def test_what_pygcode_cannot_take_it_still_refuses(untaken: Untaken) -> None:
    with pytest.raises(GCodeWordStrError):
        list(text2words(untaken.instance))


# -- motion ----------------------------------------------------------------------------

_SAID = {
    "increments": "incremental",
    "a turn": "per revolution",
    "a minute": "per minute",
    "speed": "constant speed",
    "surface": "surface speed",
    "diameters": "diameter",
    "radii": "radius",
    "wet": True,
    "dry": False,
}
"""The interpreter's words for what is in force, where they are not the reader's."""

_FEED = State._fields.index("feed")
"""What the moves tell that use it: its change alone is no event."""

_COMMENT = r"([ \t]*\([^()]*\))*"
_STARTS = {**{post: ["%"] for post in RS274}, "uw-lathe": ["%", r"O *(\d+)" + _COMMENT]}
_ENDED_BY_A_MARK = (*RS274, "uw-lathe")


class Recorder(Naive):
    """Keeps all that happens, each with what is in force meanwhile.

    A program may lack its start or its end here: the checker, not the reader, asks for them.
    """

    def __init__(self, post: str, *, skip: bool = False) -> None:
        super().__init__(post, 0, "any", skip=skip)
        self.events: list[tuple[Any, ...]] = []
        self.starts = 0
        self.closed = post not in _ENDED_BY_A_MARK
        self.before = self.in_force()
        self.at: int | None = None
        """Place of the line that is carried out, among those that are not blank."""

    def run(self, text: str) -> None:
        lines = self.framed(self.lines(re.sub(r"\r\n|\r", "\n", text)))
        for place, line in enumerate(lines, start=self.starts):
            self.at = place
            if self.line(line):
                words = re.sub(r"\([^()]*\)|[ \t]", "", line).upper()
                returns = re.search(r"M0*99(?![0-9])", words) is not None
                self.events.append(("end", self.in_force(), returns))
                return

    def framed(self, lines: list[str]) -> list[str]:
        for pattern in _STARTS.get(self.post, [r"% *(\d+)" + _COMMENT]):
            found = re.fullmatch(pattern, lines[0].upper()) if lines else None
            if found:
                self.number = int(found[1]) if found.groups() else self.number
                lines = lines[1:]
                self.starts += 1
        if self.post in _ENDED_BY_A_MARK and "%" in lines:
            self.closed = True
            lines = lines[: lines.index("%")]
        return lines

    def in_force(self) -> tuple[Any, ...]:
        """Return what is in force, in the order of the reader's state."""
        s = self.state
        told = (s.units, s.distance, s.feeds, s.speeds, s.feed, s.rpm, s.limit, s.spindle)
        values = (*told, s.coolant)
        xs = _SAID.get(s.xs, s.xs)
        return (*(_SAID.get(v, v) for v in values), s.station, s.offset, None, xs, ())

    def feed_mm_per_rev(self, kind: str) -> float | None:
        s = self.state
        if kind != "feed" or s.feed is None:
            return None
        if (s.feeds or ("a minute" if self.post == "rs274" else "a turn")) == "a turn":
            return s.feed
        return s.feed / s.rpm if s.rpm and s.speeds != "surface" else None

    def state_set(self, before: Any) -> None:
        # A feed before units and feed mode, or beside the first units, says nothing to the
        # reader; nor does a speed before the speed mode, where there are two.
        s = self.state
        if before.units is None or s.feeds is None:
            s.feed = None
        if s.speeds is None and self.post != "rs274":
            s.rpm = None
        was, self.before = self.before, self.in_force()
        others = [n for n in range(len(was)) if n != _FEED]
        if any(was[n] != self.before[n] for n in others):
            self.events.append(("change", self.before))

    def moved(
        self, kind: str, x0: float | None, z0: float | None, x1: float | None, z1: float | None
    ) -> None:
        places = [None if place == HOME else place for place in (x0, z0, x1, z1)]
        self.events.append((kind, self.in_force(), *places, self.feed_mm_per_rev(kind)))

    def dwelt(self, seconds: float) -> None:
        self.events.append(("dwell", self.in_force(), seconds))

    def stopped(self, word: str) -> None:
        self.events.append(("stop", self.in_force(), word))

    def ended_by_stop(self, word: str) -> None:
        """Leave spindle and coolant on: what a stop ends is the checker's matter."""


def told(motion: Motion) -> list[tuple[Any, ...]]:
    """Return what happens in a motion, in the recorder's words."""
    events: list[tuple[Any, ...]] = []
    for e in motion.events:
        match e:
            case Change():
                # A call of the tool in force changes nothing, but is told for the checker.
                pairs = zip(e.state._fields, e.state, e.before, strict=True)
                if any(name != "feed" and new != old for name, new, old in pairs):
                    events.append(("change", tuple(e.state)))
            case Move():
                places = (e.x0, e.z0, e.x1, e.z1)
                events.append((e.kind, tuple(e.state), *places, e.feed_mm_per_rev))
            case Dwell():
                events.append(("dwell", tuple(e.state), e.seconds))
            case Stop():
                events.append(("stop", tuple(e.state), "M01" if e.optional else "M00"))
            case End():
                events.append(("end", tuple(e.state), e.returns))
    return events


def near(one: Any, other: Any) -> bool:
    """Whether two are the same, but for the last digits of numbers."""
    if isinstance(one, tuple | list) and isinstance(other, tuple | list):
        return len(one) == len(other) and all(map(near, one, other))
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=1e-9, abs_tol=1e-9)
    return bool(one == other)


def assert_same_motion(motion: Motion, other: Recorder) -> None:
    for ours, theirs in zip(told(motion), other.events, strict=True):
        assert near(ours, theirs), f"read as {ours}, but it is {theirs}"
    assert near(tuple(motion.state), other.in_force())
    assert (motion.starts, motion.closed) == (other.starts, other.closed)
    assert (motion.number or 0) == other.number


def errors(motion: Motion) -> list[tuple[str, str]]:
    return [(p.code, p.message) for p in motion.problems if p.severity == "error"]


@counts(20, 100)
@each_post
def test_any_legal_program_moves_as_a_naive_interpreter_has_it(post: str, count: int) -> None:
    @examples(count, exploring=10_000)
    @given(legal_programs(post), st.booleans())
    def same(text: str, skip: bool) -> None:
        motion = read_program(text, post, skip=skip)
        assert errors(motion) == []
        other = Recorder(post, skip=skip)
        other.run(text)
        assert_same_motion(motion, other)

    same()


# -- slips -----------------------------------------------------------------------------


class Stricter(NamedTuple):
    """What the reader refuses and the naive interpreter does not: code and reason.

    ``pattern`` is found in the message or in the block's text in capitals.
    """

    code: str
    pattern: str
    reason: str


STRICTER = (
    Stricter(
        "contradictory-words",
        r"M0*([01]?|2|30|99) and M0*([01]?|2|30|99) contradict",
        "two kinds of stop, or of end, are one to the naive interpreter",
    ),
    Stricter(
        "contradictory-words",
        r"M words in one block",
        "the naive interpreter does not count them (NISTIR 6556, 3.3.5: four at most; one "
        "elsewhere)",
    ),
    Stricter(
        "misplaced-word",
        r" are in one block; ",
        "a dwell beside a motion word, or two words for one address: both are obeyed there",
    ),
    Stricter(
        "comment-character",
        r"%",
        "the end of a tape in a comment is a comment to the naive interpreter",
    ),
    Stricter(
        "number-format",
        r"[XZUW]",
        "a number in the wrong form is one, also in an increment that leads nowhere",
    ),
)


def not_understood(interpreter: Naive, text: str) -> NotUnderstoodError | None:
    """Carry a text out; return what is wrong with it, or nothing."""
    try:
        interpreter.run(text)
    except NotUnderstoodError as error:
        return error
    return None


def has_reason(problem: Problem) -> bool:
    text = f"{problem.message}\n{problem.block.text.upper()}"
    return any(problem.code == one.code and re.search(one.pattern, text) for one in STRICTER)


@counts(12, 60)
@each_post
def test_what_the_naive_interpreter_does_not_understand_is_an_error_on_that_line(
    post: str,
    count: int,
) -> None:
    @examples(count, exploring=10_000)
    @given(slipped_programs(post))
    @example("\n".join(GRAMMARS[post].start) + "\nM30 M02")
    def judged(text: str) -> None:
        motion, other = read_program(text, post), Recorder(post)
        wrong = [p for p in motion.problems if p.severity == "error"]
        fault = not_understood(other, text)
        if fault is None:
            assert all(map(has_reason, wrong)), [(p.message, p.block.text) for p in wrong]
            if not wrong:
                assert_same_motion(motion, other)
        elif other.at is None:
            # Found in looking the text through, perhaps behind the end, where nothing is run.
            assert wrong or "after-the-end" in {p.code for p in motion.problems}, fault
        else:
            assert motion.blocks[other.at].line in {p.block.line for p in wrong}, fault

    judged()


@counts(6, 20)
@each_post
def test_what_was_read_before_changes_nothing(post: str, count: int) -> None:
    titles = map(str, itertools.count())

    def unread() -> Dialect:
        return load_dialect(post).model_copy(update={"title": next(titles)})

    @examples(count, exploring=2_000)
    @given(slipped_programs(post), st.randoms(use_true_random=False))
    def same(text: str, rng: random.Random) -> None:
        first, second = unread(), unread()
        lines = text.splitlines(keepends=True)
        others = "".join(rng.sample(lines, len(lines)))
        fresh = read_program(text, first)
        read_program(others, first)
        read_program(others, second)
        assert read_program(text, first) == fresh
        assert replace(read_program(text, second), dialect=first) == fresh

    same()
