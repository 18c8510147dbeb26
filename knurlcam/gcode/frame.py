"""The lines around the blocks: before the first one and after the last, which run nothing."""

from __future__ import annotations

from typing import NamedTuple

from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.numbers import Faults
from knurlcam.gcode.tokens import without_comments, without_spaces

__all__ = ["Frame", "find_frame", "start_number"]

TAPE_MARK = "%"
"""Line before the first and after the last block of a program that is sent, not typed."""

Lines = list[tuple[int, str]]
"""Lines that are not blank, with their numbers."""


class Frame(NamedTuple):
    """Where a text's blocks begin and end.

    Attributes:
        starts: How many start lines were found in their place.
        last: The place behind the last block.
        number: Program number, if a start line gives one.
        closed: Whether the lines after the last block are all there.
        unframed: Whether the tape marks at both ends, which carry no number, are left out:
            they may be where a word ends the program (NISTIR 6556, 3.1; from memory), and at
            a control's keyboard nobody types them.
        leader: How many comments stand before the start lines, which come behind them.
    """

    starts: int
    last: int
    number: int | None
    closed: bool
    unframed: bool = False
    leader: int = 0

    @property
    def first(self) -> int:
        """The place of the first block."""
        return self.leader + self.starts


def find_frame(lines: Lines, dialect: Dialect) -> Frame:
    """Find where the start lines end and where the end lines begin, by place."""
    leader = _leader(lines, dialect)
    starts, number = _matching_start(lines[leader:], dialect, dialect.start_marks())
    if not starts and dialect.subprogram_start:
        starts, number = _matching_start(
            lines[leader:], dialect, dialect.start_marks(subprogram=True)
        )
    end = list(dialect.end)
    first = leader + starts
    candidates = lines[first : len(lines) - len(end) + 1] if end else []
    # The first place where the end lines stand, not the last lines of the text: what a person
    # wrote behind them is behind the end, and reported as such.
    for place, (_, candidate) in enumerate(candidates, start=first):
        if candidate[0] == end[0][0]:
            have = [without_spaces(text) for _, text in lines[place : place + len(end)]]
            if have == end:
                return Frame(starts, place, number, True, leader=leader)
    unframed = TAPE_MARK in dialect.start and end == [TAPE_MARK] and not _has_tape_mark(lines)
    return Frame(starts, len(lines), number, not end, unframed, leader)


def _leader(lines: Lines, dialect: Dialect) -> int:
    """Return how many comments stand before the start lines; none unless all of those follow.

    What comes before the tape mark is for people (ISO 6983-1, from memory). Words there are not
    passed over here: at a control that looks for no mark they would be run.
    """
    if not dialect.leader:
        return 0
    count = next((i for i, (_, text) in enumerate(lines) if not _is_comment(text, dialect)), 0)
    for start in (dialect.start_marks(), dialect.start_marks(subprogram=True)):
        if start and _matching_start(lines[count:], dialect, start)[0] == len(start):
            return count
    return 0


def _is_comment(text: str, dialect: Dialect) -> bool:
    return text.startswith(dialect.comment_open) and not _uncommented(text, dialect)


def _has_tape_mark(lines: Lines) -> bool:
    return any(text[0] == TAPE_MARK and without_spaces(text) == TAPE_MARK for _, text in lines)


def _matching_start(
    lines: Lines, dialect: Dialect, start: tuple[str, ...]
) -> tuple[int, int | None]:
    """Return how many lines begin the program as the dialect does, and the number in them."""
    first, number = 0, None
    for want in start:
        if first == len(lines):
            break
        text = lines[first][1]
        if "{number}" in want:
            have = _uncommented(text, dialect)
            match = dialect.start_pattern.fullmatch(have) if have.isascii() else None
            if match is None:
                continue
            number = int(next(g for g in match.groups() if g is not None))
        # A start line that is missing is a finding of verification; the others still count.
        elif without_spaces(text).upper() != want:
            continue
        first += 1
    return first, number


def _uncommented(text: str, dialect: Dialect) -> str:
    """Return a program's number without the comment behind it, which is often its name.

    A line with which anything is wrong is returned whole, and is then no such line.
    """
    bare = text
    readable = text.replace("\t", " ").isprintable() and len(text) <= dialect.line_length
    if readable and dialect.comment_open in text:
        faults: Faults = []
        pieces, _ = without_comments(text, dialect, faults)
        bare = text if faults else pieces.rstrip()
    return without_spaces(bare).upper()


def start_number(text: str, dialect: Dialect) -> int | None:
    """Return the program number that a line begins a program with; None for any other line."""
    have = _uncommented(text, dialect)
    match = dialect.start_pattern.fullmatch(have) if have.isascii() else None
    return None if match is None else int(next(g for g in match.groups() if g is not None))
