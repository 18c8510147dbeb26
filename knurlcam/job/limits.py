"""Least and greatest values of a job's keys, each stated once.

They are knurlcam's own and not a standard's: set well outside what is in use, so that a slipped
decimal sign or a wrong unit is caught and nothing sensible is refused.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

__all__ = [
    "HIGHEST_NUMBER",
    "LEAST_FACE_MM",
    "LEAST_FEED_MM",
    "LIMITS",
    "MAX_LENGTH_MM",
    "bounds",
]

MAX_LENGTH_MM = 20_000.0
"""Greatest length [mm]: longer than any lathe, so that a wrong unit is caught."""

LEAST_FEED_MM = 0.0001
"""Least feed [mm/rev]: finer than any control reads. Of far less, the time would not be finite."""

LEAST_FACE_MM = 0.5
"""Least face width of rolls [mm], a fifth of the narrowest that is made.

A traverse feeds by half a face at most, and of a narrower one would take hours."""

HIGHEST_NUMBER = 99_999_999
"""Highest program number: no control takes more than eight digits (from memory). A dialect says
what its own takes."""

LIMITS: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "pitch": (0.1, 6.0),
        "tpi": (4, 250),
        "dp": (12, 800),
        "helix": (0, 60),  # both excluded; a form without a helix has 0
        "profile": (60, 120),
    }
)
"""Lowest and highest pitch [mm], teeth per inch [1/in], diametral pitch [1/in] and angles [deg].

In use are 0.5 to 1.6 mm in DIN 82, 14 to 33 TPI and 64 to 160 DP.
"""


def bounds(figure: str) -> dict[str, Any]:
    """Return the limits of a figure of the knurl as bounds of a key, both of them allowed."""
    low, high = LIMITS[figure]
    return {"ge": low, "le": high}
