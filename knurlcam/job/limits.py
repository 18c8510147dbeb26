"""Least and greatest values of a job's keys, each stated once.

They are knurlcam's own and not a standard's: set well outside what is in use, so that a slipped
decimal sign or a wrong unit is caught and nothing sensible is refused.
"""

from __future__ import annotations

__all__ = [
    "LEAST_FACE_MM",
    "LEAST_FEED_MM",
    "MAX_LENGTH_MM",
]

MAX_LENGTH_MM = 20_000.0
"""Longer than any lathe; catches a wrong unit."""
LEAST_FEED_MM = 0.0001
"""Per revolution; what no control can be told. Far less would take longer than a number tells."""
LEAST_FACE_MM = 0.5
"""A fifth of the narrowest roll there is; a feed of half of less would take hours."""
