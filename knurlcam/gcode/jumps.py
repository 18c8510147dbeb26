"""Blocks of a part program that lead into the middle of a piece, past what it states at first."""

from __future__ import annotations

import re
from collections.abc import Iterator

from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.frame import start_number
from knurlcam.gcode.pieces import Piece, Source, words_of

__all__ = ["jump_into"]

_NUMBER = re.compile(r"\s*/?[0-9]?\s*N\s*([0-9]+)", re.I)
_JUMP = re.compile(r"\bGOTO[A-Z]? ?N?([0-9]+|[#\[])|\bM9[79] ?P([0-9]+|[#\[])|\bM98 ?H([0-9]+)")
_CONTOUR = re.compile(r"\bG7[0-3](?![0-9.]).*?P([0-9]+).*?Q([0-9]+)")
"""Cycles that run the blocks from one number to another (common practice on lathes)."""


def jump_into(lines: Source, piece: Piece, dialect: Dialect) -> tuple[int, str] | None:
    """Return the first block around a piece that leads to a number in it.

    Args:
        lines: The lines of the part program that are not blank.
        piece: The piece.
        dialect: Its dialect.

    Returns:
        The block's line and its words; None where there is none.
    """
    inside = set(_numbers(lines[piece.first : piece.last + 1]))
    if not inside:
        return None
    around = [lines[at] for at in _program(lines, piece, dialect) if not _is_in(at, piece)]
    outside = set(_numbers(around))
    for line, text in around:
        words = words_of(text, dialect).upper()
        if any(target in inside or not target for target in _jumps(words)):
            return line, words
        if any(number in inside - outside for number in _contour(words)):
            return line, words
    return None


def _is_in(place: int, piece: Piece) -> bool:
    return piece.first <= place <= piece.last


def _program(lines: Source, piece: Piece, dialect: Dialect) -> range:
    """Return the places of the program in which a piece stands: each has its own numbers."""
    first, last = piece.first, piece.last + 1
    while first > 0 and start_number(lines[first][1], dialect) is None:
        first -= 1
    while last < len(lines) and start_number(lines[last][1], dialect) is None:
        last += 1
    return range(first, last)


def _numbers(lines: Source) -> Iterator[int]:
    for _, text in lines:
        found = _NUMBER.match(text)
        if found:
            yield int(found[1])


def _jumps(words: str) -> Iterator[int]:
    """Yield where a block leads; 0 for a number that the program works out."""
    for found in _JUMP.findall(words):
        target = "".join(found)
        yield int(target) if target.isdigit() else 0


def _contour(words: str) -> Iterator[int]:
    for found in _CONTOUR.findall(words):
        yield from map(int, found)
