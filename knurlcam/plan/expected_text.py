"""The expected part in words: header, plan, page and index take them from here."""

from __future__ import annotations

import math

from knurlcam.plan.results import Expected
from knurlcam.units.kinds import MM_PER_INCH, Units

__all__ = ["expected_range_text", "expected_text"]

_PLACES: dict[Units, int] = {"mm": 2, "inch": 3}
"""Decimal places of an expected diameter, one less than those of a length: it is an estimate."""


def expected_range_text(low_mm: float, high_mm: float, units: Units) -> str:
    """Return the range of the expected diameter over the crests, rounded outward.

    Args:
        low_mm: Its low end [mm]
        high_mm: Its high end [mm]
        units: The job's units.

    Example:
        >>> expected_range_text(24.951, 25.0, "mm"), expected_range_text(24.13, 25.4, "inch")
        ('24.95 to 25.00 mm', '0.950 to 1.000 in')
    """
    places = _PLACES[units]
    step = (MM_PER_INCH if units == "inch" else 1.0) / 10**places
    # A figure that is whole but for rounding stays as it is.
    low = math.floor(low_mm / step + 1e-6) / 10**places
    high = math.ceil(high_mm / step - 1e-6) / 10**places
    return f"{low:.{places}f} to {high:.{places}f} {'in' if units == 'inch' else 'mm'}"


def expected_text(expected: Expected, units: Units) -> str:
    """Return the range of the expected diameter over the crests of a part.

    Args:
        expected: What the part is expected to measure.
        units: The job's units.
    """
    _, low, high = expected.knurled_diameter_mm
    return expected_range_text(low, high, units)
