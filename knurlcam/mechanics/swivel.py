"""Rolls that are swivelled a little, so that a whole number of teeth fits round a blank as it is.

Turned in its fork, a roll makes teeth at another helix angle, whose pitch round the work is
another one: t_t = t / cos(psi). A blank that is there already may track so.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from knurlcam.errors import require

__all__ = ["SWIVEL_RANGE_DEG", "Swivel", "swivels_that_fit"]

SWIVEL_RANGE_DEG = 5.0
"""Degrees by which rolls are swivelled at most to fit a blank [deg]: at 5 degrees the ends of a
face of 10 mm stand off work of 25 mm by a hundredth of a millimetre (crossed cylinders), beyond
it the ends print visibly less deep (rule of this program)."""


class Swivel(NamedTuple):
    """How far rolls are turned for a number of teeth, beyond the helix that they have.

    Attributes:
        teeth: Whole teeth N round the work [-]
        exact_deg: Where they fit exactly [deg]
        from_deg: Least angle at which the rolls still track [deg]
        to_deg: Greatest angle at which they still track [deg]
    """

    teeth: int
    exact_deg: float
    from_deg: float
    to_deg: float


def swivels_that_fit(
    rolling_mm: float, pitch_mm: float, helix_deg: float, reach_mm: float
) -> tuple[Swivel, ...]:
    """Return the swivel angles at which a whole number of teeth fits, within the range.

    N = pi D cos(psi) / t, solved for psi; the rolls track while the misfit across the teeth is
    within the reach of their first print: |pi D cos(psi) - N t| <= reach.

    Args:
        rolling_mm: Diameter of the circle on which they roll, D_b less the tracking
            correction, > 0 [mm]
        pitch_mm: Pitch t across the teeth, > 0 [mm]
        helix_deg: Helix angle psi of the teeth as the rolls stand, 0 to 60 [deg]
        reach_mm: How far beside a track the rolls still fall into it, >= 0 [mm]

    Returns:
        The angles beyond *helix_deg*, from -5 to 5, for teeth along the axis from 0; the
        smallest turn first [deg]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        The handbook's 160 DP rolls on 1 inch, swivelled by 30 degrees, take 138.56 teeth;
        turned a little further they take 138, cos(psi) = 0.8625:

        >>> found = swivels_that_fit(25.4, 25.4 * math.pi / 160, 30.0, 0.0)
        >>> found[0].teeth, round(found[0].exact_deg, 2)
        (139, -0.31)
        >>> found[1].teeth, round(math.cos(math.radians(30.0 + found[1].exact_deg)), 4)
        (138, 0.8625)

    Sources:
        [1] Machinery's Handbook, 31st ed., p. 1059, eq. (18) and example (seen: yes).
    """
    require("rolling_mm", rolling_mm, 1e-6, 1e5, "mm")
    require("pitch_mm", pitch_mm, 1e-6, 1e5, "mm")
    require("helix_deg", helix_deg, 0.0, 60.0, "deg")
    require("reach_mm", reach_mm, 0.0, 1e3, "mm")
    around = math.pi * rolling_mm
    low = max(0.0, helix_deg - SWIVEL_RANGE_DEG)
    high = helix_deg + SWIVEL_RANGE_DEG
    most = math.floor((around * _cos(low) + reach_mm) / pitch_mm)
    fewest = max(1, math.ceil((around * _cos(high) - reach_mm) / pitch_mm))
    found = [
        Swivel(n, *(angle - helix_deg for angle in _angles(around, n * pitch_mm, reach_mm)))
        for n in range(fewest, most + 1)
    ]
    return tuple(sorted(found, key=_least_turn))


def _least_turn(swivel: Swivel) -> tuple[float, float]:
    """Return by how much rolls must be turned at least, and where they fit exactly [deg]."""
    turn = max(0.0, swivel.from_deg, -swivel.to_deg)
    return turn, abs(swivel.exact_deg)


def _angles(around_mm: float, teeth_mm: float, reach_mm: float) -> tuple[float, float, float]:
    """Return the helix at which teeth of a length fit, and the ends of where they track [deg]."""
    exact, low, high = (
        math.degrees(math.acos(min(1.0, max(0.0, length / around_mm))))
        for length in (teeth_mm, teeth_mm + reach_mm, teeth_mm - reach_mm)
    )
    return exact, low, high


def _cos(degrees: float) -> float:
    return math.cos(math.radians(degrees))
