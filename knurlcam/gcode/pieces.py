"""Where sections, subprograms and blocks to paste stand in a whole part program.

They are found by their own comments (:mod:`knurlcam.gcode.marks`), among blocks of any other
tools and with words that the dialect does not have. Block numbers before a comment are passed
over: an editor that renumbers a program puts them before comments as well.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.frame import start_number
from knurlcam.gcode.marks import (
    BLOCKS_END_MARK,
    BLOCKS_MARK,
    IDENTITY_MARK,
    NAME_MARK,
    SECTION_END_MARK,
    SECTION_MARK,
    SUBPROGRAM_MARK,
    Form,
)
from knurlcam.gcode.tokens import without_comments

__all__ = ["Piece", "Source", "comment_of", "find_pieces", "words_of"]

Source = Sequence[tuple[int, str]]
"""Lines that are not blank, with their numbers."""

_BEFORE_A_COMMENT = re.compile(r"\s*(?:N\s*[0-9]+\s*)?", re.I)
_SUBPROGRAM = re.compile(rf"{SUBPROGRAM_MARK} ([0-9]{{1,8}})\b")
_IDENTITY = re.compile(rf"{IDENTITY_MARK}([0-9A-F]{{12}})")

MOST_HEADER_LINES = 20
"""Comments between the name of a part and the comment that says the form: a long name is
wrapped."""


class Piece(NamedTuple):
    """A section, a subprogram or blocks to paste in a text.

    Attributes:
        form: What it is.
        first: Place of its first line among those that are not blank.
        last: ... and of its last.
        identity: The job that its comment names; None without one.
        closed: Whether both comments by which it is found, or its return, are there.
        number: Program number of a subprogram by its start line; None without one.
    """

    form: Form
    first: int
    last: int
    identity: str | None
    closed: bool
    number: int | None = None


def words_of(text: str, dialect: Dialect) -> str:
    """Return a line without its comments."""
    if dialect.comment_open in text:
        text = without_comments(text, dialect, [])[0].replace("\n", " ")
    return text.strip()


def comment_of(text: str, dialect: Dialect) -> str | None:
    """Return the comment of a line that holds nothing else, but for a block number."""
    place = _BEFORE_A_COMMENT.match(text)
    rest = text[place.end() :] if place else text
    mark, close = dialect.comment_open, dialect.comment_close
    if not (rest.startswith(mark) and rest.endswith(close)):
        return None
    inside = rest[len(mark) : len(rest) - len(close)]
    return None if close and close in inside else inside.strip().upper()


def find_pieces(lines: Source, dialect: Dialect) -> list[Piece]:
    """Find the pieces in a text, in order.

    Args:
        lines: Its lines that are not blank.
        dialect: Its dialect.
    """
    return _Finder(lines, dialect).pieces()


_STARTS: tuple[tuple[str, Form], ...] = (
    (BLOCKS_MARK, "blocks"),
    (SUBPROGRAM_MARK, "subprogram"),
)
_ENDS: tuple[tuple[str, Form], ...] = ((SECTION_END_MARK, "section"), (BLOCKS_END_MARK, "blocks"))


class _Mark(NamedTuple):
    """A comment by which a piece is found."""

    place: int
    form: Form
    ends: bool


class _Finder:
    def __init__(self, lines: Source, dialect: Dialect) -> None:
        self.lines, self.dialect = lines, dialect

    def pieces(self) -> list[Piece]:
        marks, found = self.marks(), []
        for i, mark in enumerate(marks):
            following = marks[i + 1] if i + 1 < len(marks) else None
            before = marks[i - 1] if i else None
            if not mark.ends:
                found.append(self.piece(mark, following))
            elif mark.form == "section" and (
                before is None or before.ends or before.form != mark.form
            ):
                found.append(Piece(mark.form, mark.place, mark.place, None, False))
        return found

    def marks(self) -> list[_Mark]:
        opened = self.dialect.comment_open
        comments = (
            (place, comment_of(text, self.dialect) or "")
            for place, (_, text) in enumerate(self.lines)
            if opened in text
        )
        return [mark for place, comment in comments if (mark := self.mark(place, comment))]

    def mark(self, place: int, comment: str) -> _Mark | None:
        for text, form in _ENDS:
            if comment == text:
                return _Mark(place, form, True)
        if comment == SECTION_MARK:
            return _Mark(place, "section", False)
        for text, form in _STARTS:
            if comment.startswith(text) and self.header_from(place) is not None:
                numbered = form != "subprogram" or _SUBPROGRAM.match(comment)
                return _Mark(place, form, False) if numbered else None
        return None

    def header_from(self, place: int) -> int | None:
        """Return where the header begins that a comment belongs to; None where it has none."""
        for at in range(place, max(-1, place - MOST_HEADER_LINES), -1):
            comment = comment_of(self.lines[at][1], self.dialect)
            if comment is None:
                return None
            if comment.startswith(NAME_MARK):
                return at
        return None

    def piece(self, mark: _Mark, following: _Mark | None) -> Piece:
        """Return the piece that a mark begins; it ends before the next one at the latest."""
        if mark.form == "subprogram":
            return self.subprogram(mark, following)
        first = mark.place
        if mark.form == "blocks":
            first = self.header_from(mark.place) or 0
        closed = following is not None and following.ends and following.form == mark.form
        if following is None:
            last = len(self.lines) - 1
        elif closed:
            last = following.place
        else:
            last = (self.header_from(following.place) or following.place) - 1
        last = max(mark.place, last)
        return Piece(mark.form, first, last, self.identity(first, last), closed)

    def subprogram(self, mark: _Mark, following: _Mark | None) -> Piece:
        """Return a subprogram: from its start line to its return."""
        first = self.header_from(mark.place) or 0
        number = start_number(self.lines[first - 1][1], self.dialect) if first else None
        first -= number is not None
        end = len(self.lines) if following is None else following.place
        last = next((at for at in range(mark.place, end) if self.returns(at)), None)
        if last is None:
            last = end - 1
            return Piece("subprogram", first, last, self.identity(first, last), False, number)
        return Piece("subprogram", first, last, self.identity(first, last), True, number)

    def returns(self, place: int) -> bool:
        code = self.dialect.codes.subprogram_return
        words = words_of(self.lines[place][1], self.dialect).upper()
        return (
            code is not None and re.search(rf"{code[0]}0*{code[1:]}(?![0-9.])", words) is not None
        )

    def identity(self, first: int, last: int) -> str | None:
        for _, text in self.lines[first : last + 1]:
            comment = comment_of(text, self.dialect)
            match = comment and _IDENTITY.fullmatch(comment)
            if match:
                return match[1]
        return None
