"""Letters: which are drawn, how wide a text is, and where it is broken into lines.

PNG is painted with Pillow's own typeface, an SVG with what the reader's machine has. Widths are
measured with the former and widened, so that a text fits in either.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from functools import lru_cache
from typing import Any

from PIL import ImageFont

from knurlcam.text import SIGNS, in_ascii

__all__ = ["font", "is_unwritable", "text_width", "wrapped", "writable"]


@lru_cache(maxsize=16)
def font(size: float) -> Any:
    """Return Pillow's own typeface: the same letters on every machine.

    Args:
        size: Height of its letters [pixels]
    """
    return ImageFont.load_default(size)


def is_unwritable(character: str) -> bool:
    """Return whether XML cannot hold a character: controls, halves of pairs, non-characters.

    Args:
        character: One character.
    """
    return unicodedata.category(character) in ("Cc", "Cs") or character in "\ufffe\uffff"


_SPELT = {**SIGNS, "Ø": "dia. "}
"""Spelling of signs that the typeface lacks."""


def writable(text: str) -> str:
    """Return a text in the letters that Pillow's own typeface has.

    Args:
        text: Any text.

    Returns:
        Accents left out, what has no spelling as a question mark.
    """
    kept = (c for c in in_ascii(text, _SPELT) if not is_unwritable(c))
    return "".join(c if c.isascii() or c in "°±·…" else "?" for c in kept)


WIDER = 1.25
"""Width of the widest common sans-serif typeface over that of Pillow's own [-]"""


def text_width(text: str, size: float) -> float:
    """Return a width that a text does not exceed.

    Args:
        text: The text.
        size: Of its letters [drawing units]

    Returns:
        Its width in the widest typeface of the kind [drawing units]
    """
    return float(font(size).getlength(writable(text))) * WIDER


_WORD_GAP = re.compile(r"(?<!±)\s+(?!(?:mm|in)\b)")
"""Where a text may be broken: a number keeps its sign and its unit beside it."""


def wrapped(text: str, size: float, width: float) -> list[str]:
    """Return a text in as many lines as it needs; only a word wider than one is broken.

    Args:
        text: The text.
        size: Of its letters [drawing units]
        width: That no line is to exceed [drawing units]

    Returns:
        Its lines, from the top; an empty one for an empty text.
    """
    lines = [""]
    for word in _WORD_GAP.split(text.strip()):
        for piece in _broken(word, size, width):
            longer = f"{lines[-1]} {piece}".lstrip()
            if not lines[-1] or text_width(longer, size) <= width:
                lines[-1] = longer
            else:
                lines.append(piece)
    return lines


def _broken(word: str, size: float, width: float) -> Iterator[str]:
    """Yield a word in pieces that fit a line."""
    while len(word) > 1 and text_width(word, size) > width:
        # At least one letter a line, so that this ends whatever the width.
        fits = len(word) - 1
        while fits > 1 and text_width(word[:fits], size) > width:
            fits -= 1
        yield word[:fits]
        word = word[fits:]
    yield word
