"""Least and greatest values of a job's keys, each stated once.

They are knurlcam's own and not a standard's: set well outside what is in use, so that a slipped
decimal sign or a wrong unit is caught and nothing sensible is refused.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

__all__ = [
    "LEAST_FACE_MM",
    "LEAST_FEED_MM",
    "LIMITS",
    "MAX_LENGTH_MM",
    "bounds",
]

MAX_LENGTH_MM = 20_000.0
"""Longer than any lathe; catches a wrong unit."""
LEAST_FEED_MM = 0.0001
"""Per revolution; what no control can be told. Far less would take longer than a number tells."""
LEAST_FACE_MM = 0.5
"""A fifth of the narrowest roll there is; a feed of half of less would take hours."""

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
