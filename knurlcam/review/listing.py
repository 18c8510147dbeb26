"""The program's lines as the page lists them."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from typing import NamedTuple

from knurlcam.gcode.motion import Motion
from knurlcam.verification.findings import Verification

__all__ = ["Line", "listing"]

GROUP = 100
"""Lines of the listing that a browser lays out at once."""


class Line(NamedTuple):
    """A line of the listing.

    Attributes:
        place: Of its block among the motion's blocks.
        text: What is written.
        severity: Of the worst finding on it; empty for none.
    """

    place: int
    text: str
    severity: str


def listing(motion: Motion, result: Verification) -> Iterator[list[Line]]:
    """Yield the program's lines in groups."""
    worst: dict[int, str] = {}
    for finding in sorted(result.findings, key=lambda f: f.severity):
        worst.setdefault(finding.line, finding.severity)
    lines = [Line(i, visible(b.text), worst.get(b.line, "")) for i, b in enumerate(motion.blocks)]
    for first in range(0, len(lines), GROUP):
        yield lines[first : first + GROUP]


def visible(text: str) -> str:
    """Return a line with characters that cannot be seen, or turn the others round, named.

    A text that somebody else wrote could else look like another one.
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(
        f"‹U+{ord(c):04X}›" if unicodedata.category(c) in ("Cc", "Cf") and c != "\t" else c
        for c in text
    )
