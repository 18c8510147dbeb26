"""Speed, feed and the depth of each pass."""

from __future__ import annotations

import math

from knurlcam.errors import require

__all__ = ["pass_penetrations", "recommended_passes", "spindle_speed"]

PASSES_STRAIGHT = 3
PASSES_CROSSED = 4
"""A straight knurl needs fewer passes than a diamond (common practice)."""


def spindle_speed(surface_speed_m_min: float, diameter_mm: float) -> float:
    """Return the spindle speed that gives a surface speed.

    .. math:: n = 1000 v / (pi D)

    Args:
        surface_speed_m_min: Surface speed v, > 0 [m/min]
        diameter_mm: Work diameter D, > 0 [mm]

    Returns:
        Spindle speed n [rev/min]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        The worked part of a vocational course, 6 m/min on 41.5 mm:

        >>> round(spindle_speed(6.0, 41.5), 2)
        46.02

    Sources:
        [1] Definition of surface speed; inputs of the example from New Zealand Digital
            Library, "Knurling", example 7.4 (speed 6 m/min and 41.5 mm seen).
    """
    require("surface_speed_m_min", surface_speed_m_min, 1e-6, 1e6, "m/min")
    require("diameter_mm", diameter_mm, 1e-6, 1e5, "mm")
    return 1000.0 * surface_speed_m_min / (math.pi * diameter_mm)


def recommended_passes(*, crossed: bool, plunge: bool) -> int:
    """Return how many pressing passes to take when the job does not say.

    A plunge takes one infeed, for the surface work-hardens; a traverse takes three
    for grooves in one direction and four for crossing ones.

    Args:
        crossed: Whether two families of grooves cross [-]
        plunge: Whether the rolls are pressed in without traversing [-]

    Returns:
        Number of passes [-]

    Example:
        >>> recommended_passes(crossed=True, plunge=False)
        4

    Sources:
        [1] Common practice; one infeed if possible: New Zealand Digital Library,
            "Knurling", example 7.4 (seen: yes).
    """
    if plunge:
        return 1
    return PASSES_CROSSED if crossed else PASSES_STRAIGHT


def pass_penetrations(full_penetration_mm: float, passes: int) -> tuple[float, ...]:
    """Return the penetration at the end of each pass; the first takes the largest share.

    The shares fall evenly: of n passes the k-th takes (n + 1 - k) parts of n (n + 1) / 2.

    Args:
        full_penetration_mm: Penetration of the last pass, > 0, radial [mm]
        passes: Number of pressing passes n, 1 to 99 [-]

    Returns:
        Penetrations, rising; the last is exactly the full one [mm]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        >>> [round(c, 3) for c in pass_penetrations(0.2, 4)]
        [0.08, 0.14, 0.18, 0.2]

    Sources:
        [1] Common practice: a deep first print makes the rolls track, later passes
            never take more than the one before.
    """
    require("full_penetration_mm", full_penetration_mm, 1e-9, 1e3, "mm")
    require("passes", passes, 1, 99, "passes")
    parts = passes * (passes + 1) / 2
    taken = 0
    depths = []
    for k in range(passes):
        taken += passes - k
        # The share first: of the last pass it is 1 exactly, and its penetration the full one.
        depths.append(full_penetration_mm * (taken / parts))
    return tuple(depths)
