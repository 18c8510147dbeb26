"""Comments in a dialect's characters: what a person wrote, and nothing that a control runs.

A part's name may hold any character. What the dialect does not allow in a comment becomes a
space, so that no name can end a comment and go on as words.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.marks import CONTINUED
from knurlcam.text import SIGNS, in_ascii

__all__ = ["Commenter", "commenter"]

Commenter = Callable[[str], tuple[str, ...]]
"""Makes the comment lines of a text; none of a text without characters."""

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
