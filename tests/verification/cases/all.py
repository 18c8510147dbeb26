"""All cases: importing a table fills it."""

from __future__ import annotations

from tests.verification.cases import (  # noqa: F401
    ending,
    envelope,
    feeds,
    machine,
    modes,
    near_misses,
    obstacles,
    on_part,
    section,
    sequence,
    slide,
    stops,
    strokes,
    text,
)
from tests.verification.cases.table import CASES, MISSES

__all__ = ["CASES", "MISSES"]
