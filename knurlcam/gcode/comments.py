"""Comments in a dialect's characters: what a person wrote, and nothing that a control runs.

A part's name may hold any character. What the dialect does not allow in a comment becomes a
space, so that no name can end a comment and go on as words.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.marks import (
    BLOCKS_END_MARK,
    BLOCKS_MARK,
    CONTINUED,
    IDENTITY_MARK,
    LEAVES_MARK,
    MEASURED_MARK,
    NAME_MARK,
    SECTION_END_MARK,
    SECTION_MARK,
    SUBPROGRAM_MARK,
)
from knurlcam.gcode.numbers import Faults
from knurlcam.gcode.tokens import check_comment
from knurlcam.text import SIGNS, in_ascii

__all__ = ["Commenter", "commenter", "name_in_comment"]

Commenter = Callable[[str], tuple[str, ...]]
"""Makes the comment lines of a text; none of a text without characters."""

_MARKS = (
    BLOCKS_END_MARK,
    BLOCKS_MARK,
    IDENTITY_MARK,
    LEAVES_MARK,
    MEASURED_MARK,
    NAME_MARK,
    SECTION_END_MARK,
    SECTION_MARK,
    SUBPROGRAM_MARK,
)
"""First words of comments that verification looks for."""

_NAMELESS = "KNURL"
"""What stands for a name of which a comment holds no character."""

HIGHEST_DIGITS = 8
"""Digits of a program number, at most."""

_SPELLED = {
    **SIGNS,
    "°": " DEG",
    "Ä": "AE",
    "Ö": "OE",
    "Ü": "UE",
    "Æ": "AE",
    "Ø": "OE",
    "Å": "AA",
    "±": "+-",
    "×": " X ",
    ";": ",",
    "<": " BELOW ",
    ">": " ABOVE ",
    "≤": " AT MOST ",
    "≥": " AT LEAST ",
    "→": " TO ",
}
"""Signs that a shop's text may hold, in characters that controls take."""


@lru_cache(maxsize=64)
def commenter(dialect: Dialect) -> Commenter:
    """Return the function that makes comment lines of a text in a dialect."""
    mark, close = dialect.comment_open, dialect.comment_close
    longest, allowed = dialect.comment_length, dialect.comment_set

    @lru_cache(maxsize=1024)
    def comment(text: str) -> tuple[str, ...]:
        upper = text.upper()
        if len(upper) <= longest and allowed.issuperset(upper) and "  " not in upper:
            if not upper or upper.isspace():
                return ()
            return (f"{mark}{upper}{close}",)
        pieces = _wrapped(_in_characters_of(dialect, upper), dialect)
        return tuple([f"{mark}{piece}{close}" for piece in pieces])

    return comment


@lru_cache(maxsize=1024)
def name_in_comment(dialect: Dialect, name: str) -> str:
    """Return a part's name as it stands beside the program number: what fits of it there.

    A name that begins as a comment of ours does, or as one that a control obeys, stands behind
    another word.
    """
    pieces = _wrapped(_in_characters_of(dialect, name.upper()), dialect)
    text = pieces[0] if pieces else _NAMELESS
    faults: Faults = []
    check_comment(text, faults)
    if faults or text.startswith(_MARKS):
        text = f"PART {text}"
    lines = (*dialect.start, *(dialect.subprogram_start or ()))
    longest = max(len(line.replace("{name}", "").replace("{number}", "")) for line in lines)
    room = dialect.line_length - longest - HIGHEST_DIGITS
    return text[: min(dialect.comment_length, room)].rstrip() or _NAMELESS


def _in_characters_of(dialect: Dialect, upper: str) -> str:
    """Return a text in capitals with a space for each character that the dialect lacks."""
    allowed = dialect.comment_set
    return "".join([c if c in allowed else " " for c in in_ascii(upper, _SPELLED)])


def _wrapped(text: str, dialect: Dialect) -> tuple[str, ...]:
    """Return a text in pieces no longer than a comment: cut between words where it can be."""
    longest = dialect.comment_length
    continued = CONTINUED if dialect.comment_set.issuperset(CONTINUED) else ""
    pieces: list[str] = []
    for word in text.split():
        while word:
            room = longest - (len(pieces[-1]) + 1 if pieces else 0)
            if pieces and len(word) <= room:
                pieces[-1] += f" {word}"
                break
            lead = continued if pieces else ""
            room = longest - len(lead)
            pieces.append(lead + word[:room])
            word = word[room:]
    return tuple(pieces)
