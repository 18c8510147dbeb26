"""Text made safe to show, cut to length, and spelled in ASCII.

What a file says may stand in a message, a comment of a program or a file name. Here it loses
whatever would steer a terminal, flood a screen or be refused by a control.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping

__all__ = [
    "MOST_CHARACTERS",
    "SIGNS",
    "cut",
    "harmless",
    "in_ascii",
    "joined",
    "plain",
    "shortened",
]

MOST_CHARACTERS = 4_000
"""Characters of a message; what is longer is cut, for a file's own words may stand in it."""


def harmless(text: str) -> str:
    r"""Return text with an escape for each character that is not seen or steers a terminal.

    Example:
        >>> harmless("knob \x1b[2J")
        'knob \\x1b[2J'
    """
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in text)


def cut(text: str, limit: int) -> str:
    """Return at most *limit* characters of a text, the last three dots if some are missing."""
    return text if len(text) <= limit else f"{text[: limit - 3]}..."


def plain(text: str, limit: int = 200) -> str:
    """Return a text that a file brought along, cut, and with nothing in it that a terminal obeys.

    Args:
        text: The text.
        limit: Most characters that are kept.
    """
    return harmless(cut(text, limit))


def shortened(value: object, limit: int = 60) -> str:
    """Return ``repr(value)``, cut so that a huge value cannot flood a message."""
    try:
        return cut(repr(value), limit)
    except (ValueError, RecursionError):  # Python shows no number of thousands of digits
        return f"a {type(value).__name__} too large to be shown"


def joined(lines: Iterable[str]) -> str:
    """Return lines as one message: as many as are read, and how many there are more."""
    lines = list(lines)
    shown: list[str] = []
    room = MOST_CHARACTERS - 100
    for line in lines:
        room -= len(line)
        # The first line always: a message without one says nothing.
        if shown and room < 0:
            return "\n".join([*shown, f"... and {len(lines) - len(shown)} more"])
        shown.append(line)
    return "\n".join(shown)


_LETTERS = {
    "ß": "ss",
    "æ": "ae",
    "ø": "o",
    "œ": "oe",
    "ł": "l",
    "đ": "d",
    "þ": "th",
    "ð": "d",
}
_LETTERS |= {letter.upper(): spelled.upper() for letter, spelled in _LETTERS.items()}
"""Letters that Unicode takes for letters of their own, and not for one with an accent."""

SIGNS: Mapping[str, str] = {
    "−": "-",
    "–": "-",
    "—": "-",
    "×": "x",
    "µ": "u",
    "μ": "u",
    "\N{GREEK CAPITAL LETTER MU}": "U",  # what the micro sign becomes in capitals
    "≤": "<=",
    "≥": ">=",
    "→": "->",
    "½": "1/2",
}
"""Signs of drawings and how they are typed without them."""


def in_ascii(text: str, signs: Mapping[str, str] | None = None) -> str:
    """Return a text without accents, its signs spelled out.

    Characters that have no such spelling stay, for the caller knows what stands for them:
    a space in a comment, a hyphen in a file name, a question mark in a picture.

    Args:
        text: The text.
        signs: How signs are spelled, such as :data:`SIGNS`; it is asked before the letters, so
            that a comment can write ``Ö`` as two letters. None where signs stay as they are.

    Example:
        >>> in_ascii("Größe 5 µm"), in_ascii("25 × 30", SIGNS)
        ('Grosse 5 μm', '25 x 30')
    """
    table = _LETTERS | dict(signs or {})
    # Letters first: taken apart, Ö would be an O with a mark before a table could say Oe.
    spelled = "".join([table.get(c, c) for c in text])
    parts = unicodedata.normalize("NFKD", spelled)
    return "".join([c for c in parts if not unicodedata.combining(c)])
