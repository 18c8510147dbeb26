"""Programs that no sample has."""

from __future__ import annotations

import re

from tests.support.breaking import Text


def long_program(blocks: int) -> str:
    """Return the diamond's program with its first traverse cut into many blocks."""
    text = Text.of("diamond", "rs274")
    first = text.traverses[0]
    at = text.at(first) - 1
    steps = [f"G01 Z{-3.3333 - 16.66 * i / blocks:.4f}" for i in range(1, blocks)]
    lines = [line.text for line in text.lines]
    feed = re.search(r"F[0-9.]+", lines[at])
    assert feed
    steps[0] += f" {feed[0]}"
    return "\n".join(lines[:at] + steps + lines[at:]) + "\n"
