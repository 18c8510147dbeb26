"""Speed, feed and the depth of each pass."""

from __future__ import annotations

import math

from knurlcam.errors import require

__all__ = ["hardens_readily", "pass_penetrations", "recommended_passes", "spindle_speed"]

PASSES_STRAIGHT = 3
PASSES_CROSSED = 4
"""A straight knurl needs fewer passes than a diamond (common practice)."""

LEAST_GAIN = 2.0
"""Tensile over yield strength of a metal that hardens readily (rule of this program) [-]: drawn
and tempered bar has 1.1 to 1.5, rolled carbon steel up to 1.9, austenitic stainless steel 2.5."""

LEAST_STRETCH_PERCENT = 35.0
"""Elongation of such a metal (rule of this program) [%]: what breaks sooner does not come to
harden so far."""


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


def hardens_readily(
    yield_mpa: float | None, tensile_mpa: float | None, elongation_percent: float | None
) -> bool:
    """Return whether cold work makes a metal much stronger than it was.

    It does where the metal gains as much again as it has, R_m / R_p >= 2, and stretches far on
    the way there: annealed austenitic stainless steel, copper and cartridge brass.

    Args:
        yield_mpa: Yield or 0.2 % proof strength R_p; None where not known [MPa]
        tensile_mpa: Tensile strength R_m; None where not known [MPa]
        elongation_percent: Elongation at fracture; None where not known [%]

    Returns:
        Whether it hardens readily; not where one of the three is not known [-]

    Example:
        Stainless 304, then 1018 as rolled:

        >>> hardens_readily(207.0, 517.0, 40.0), hardens_readily(220.0, 400.0, 25.0)
        (True, False)

    Sources:
        [1] Rule of this program; that austenitic stainless steel hardens under the rolls is
            common practice.
    """
    if yield_mpa is None or tensile_mpa is None or elongation_percent is None:
        return False
    return tensile_mpa >= LEAST_GAIN * yield_mpa and elongation_percent >= LEAST_STRETCH_PERCENT


def recommended_passes(*, crossed: bool, plunge: bool, hardens: bool = False) -> int:
    """Return how many pressing passes to take when the job does not say.

    A plunge takes one infeed, for the surface work-hardens; a traverse takes three
    for grooves in one direction and four for crossing ones. A metal that hardens readily
    takes one fewer, each so much deeper: every pass over a hardened surface presses less.

    Args:
        crossed: Whether two families of grooves cross [-]
        plunge: Whether the rolls are pressed in without traversing [-]
        hardens: Whether the metal hardens readily [-]

    Returns:
        Number of passes [-]

    Example:
        >>> recommended_passes(crossed=True, plunge=False)
        4
        >>> recommended_passes(crossed=True, plunge=False, hardens=True)
        3

    Sources:
        [1] Common practice; one infeed if possible, and no longer than needed because the
            surface work-hardens: New Zealand Digital Library, "Knurling", example 7.4
            (seen: yes).
    """
    if plunge:
        return 1
    return (PASSES_CROSSED if crossed else PASSES_STRAIGHT) - hardens


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
