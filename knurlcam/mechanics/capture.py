"""Which blanks track: how far beside their first print rolls still fall into it.

Rolls that come round a little beside their first print slide into it, if the first turn has
pressed it deep enough. So each program has a window of blanks about the one on which a whole
number of teeth fits. Plan, verification and imprint all take it from here.
"""

from __future__ import annotations

import math

from knurlcam.errors import require
from knurlcam.mechanics.contact import Contact
from knurlcam.mechanics.loads import wedge_width

__all__ = [
    "CAPTURE",
    "first_turn_mm",
    "first_turn_to_capture_mm",
    "reach_per_mm",
    "tracking_window_mm",
]

CAPTURE = 1.0
"""Distance from the middle of a track at which the tips of a roll still fall into it, in half
widths of the track's mouth [-]: the model's one parameter. The mouth is as wide as a
wedge and the lips that it raises touch (:func:`knurlcam.mechanics.loads.wedge_width`, 2.84
times the depth at 90 degrees). A tip that comes down within it stands on a flank that leans by
half of the profile angle, 45 degrees, and slides to its bottom, for steel on oiled metal grips
only up to some 10 degrees; one that comes down beyond stands on the lip and cuts a track of
its own. So a deep first turn makes rolls track on a blank that is a little off, and a shallow one
does not: as the handbooks have it."""


def reach_per_mm(profile_deg: float, capture: float = CAPTURE) -> float:
    """Return how far from a track the rolls fall into it, over the depth of its print.

    .. math:: a = CAPTURE w / (2 c)

    Args:
        profile_deg: Profile angle alpha of the teeth, 60 to 120 [deg]
        capture: See :data:`CAPTURE`, in half widths of a mouth [-]

    Returns:
        Reach across the teeth over the depth of the print [-]

    Raises:
        OutOfRangeError: if the angle is outside its range.

    Example:
        >>> round(reach_per_mm(90.0), 4)
        1.4196

    Sources:
        [1] :func:`wedge_width` of ``loads``; the parameter is this project's own.
    """
    return capture * wedge_width(profile_deg) / 2.0


def first_turn_mm(contact: Contact, infeed_mm: float, first_pass_mm: float) -> float:
    """Return the penetration after the slide has moved one turn of infeed from first touch.

    c_1 = R_b + R_r - hypot(x(0) - f, v), at most the first pass's; the work taken as rigid

    Args:
        contact: Where the slide stands for a penetration [-]
        infeed_mm: Infeed of the slide in one turn f, >= 0 [mm]
        first_pass_mm: Penetration of the first pass, radial, >= 0 [mm]

    Returns:
        Penetration c_1 of the first turn, radial [mm]

    Raises:
        OutOfRangeError: if a length is outside its range.

    Example:
        A single roll presses in by the whole infeed, a head with two rolls by less:

        >>> round(first_turn_mm(Contact(12.5, 10.0, 0.0, "touch-off"), 0.05, 0.1), 4)
        0.05
        >>> round(first_turn_mm(Contact(12.5, 10.0, 10.5, "touch-off"), 0.05, 0.1), 4)
        0.0442

    Sources:
        [1] Geometry of circles in contact.
    """
    require("infeed_mm", infeed_mm, 0.0, 1e3, "mm")
    require("first_pass_mm", first_pass_mm, 0.0, 1e3, "mm")
    across = max(0.0, contact.touch_mm - infeed_mm)
    apart = contact.blank_radius_mm + contact.roll_radius_mm
    return min(first_pass_mm, max(0.0, apart - math.hypot(across, contact.half_spacing_mm)))


def tracking_window_mm(
    tracking_blank_mm: float,
    turn_mm: float,
    first_pass_mm: float,
    *,
    helix_deg: float,
    profile_deg: float,
    correction_follows: bool = False,
) -> tuple[float, float]:
    """Return the smallest and the largest blank that track under one program.

    On a blank D the rolls come round beside their print by pi |D - D_b| / t_t teeth, which is
    pi |D - D_b| cos(psi) across the teeth; they track while the print of the first turn reaches
    so far. A smaller blank is met later: where the first pass is done within the first turn, it
    presses it less deep by (D_b - D) / 2. Where the tracking correction is what the first turn
    presses, it is less by as much, and the rolls come round only half as far beside.

    Args:
        tracking_blank_mm: Blank D_b on which a whole number of teeth fits, > 0 [mm]
        turn_mm: Penetration that one turn of infeed would leave, radial, >= 0 [mm]
        first_pass_mm: Penetration that the first pass leaves, radial, >= 0 [mm]
        helix_deg: Helix angle psi, 0 to 80 [deg]
        profile_deg: Profile angle alpha of the teeth, 60 to 120 [deg]
        correction_follows: Whether the tracking correction of each blank is what its own first
            turn presses in; else it is the same for all [-]

    Returns:
        Smallest and largest blank diameter [mm]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        >>> low, high = tracking_window_mm(
        ...     25.0, 0.05, 0.1, helix_deg=30.0, profile_deg=90.0)
        >>> round(low, 3), round(high, 3)
        (24.974, 25.026)

    Sources:
        [1] :func:`reach_per_mm`; a misfit in teeth as in Machinery's Handbook, 31st ed.,
            p. 1059, eq. (18).
    """
    require("tracking_blank_mm", tracking_blank_mm, 1e-6, 1e5, "mm")
    require("turn_mm", turn_mm, 0.0, 1e3, "mm")
    require("first_pass_mm", first_pass_mm, 0.0, 1e3, "mm")
    wide = _half_width_per_mm(helix_deg, profile_deg)
    if correction_follows:
        below, above = _reaches_mm(wide, turn_mm, first_pass_mm)
        return tracking_blank_mm - below, tracking_blank_mm + above
    below = min(turn_mm, first_pass_mm / (1.0 + wide / 2.0))
    # A blank that is larger by so much is pressed deeper than the window grows.
    above = turn_mm if wide >= 2.0 else min(turn_mm, first_pass_mm / (1.0 - wide / 2.0))
    return tracking_blank_mm - wide * below, tracking_blank_mm + wide * above


def _reaches_mm(wide: float, turn_mm: float, first_pass_mm: float) -> tuple[float, float]:
    """Return how far below and above the window reaches where the correction follows [mm].

    On blanks within 2 (turn - first pass) above D_b, or below it, the first pass is done within
    the first turn; on the others the first turn presses one infeed, and the correction stays.
    """
    spare = turn_mm - first_pass_mm
    if spare < 0.0:
        # Down to this blank the first turn is not done; from there on the correction falls.
        whole = -2.0 * spare
        below = wide * turn_mm
        if below > whole:
            below = 2.0 * (wide * first_pass_mm + spare) / (1.0 + wide)
        return below, wide * turn_mm
    above = wide * turn_mm + spare
    if above < 2.0 * spare:
        above = 2.0 * wide * first_pass_mm / (1.0 - wide)
    return 2.0 * wide * first_pass_mm / (1.0 + wide), above


def first_turn_to_capture_mm(
    half_width_mm: float, *, helix_deg: float, profile_deg: float
) -> float:
    """Return the penetration of a first turn whose window is so wide.

    Args:
        half_width_mm: Half width on the blank diameter, >= 0 [mm]
        helix_deg: Helix angle psi, 0 to 80 [deg]
        profile_deg: Profile angle alpha of the teeth, 60 to 120 [deg]

    Returns:
        Penetration c_1 that the first turn must leave, radial [mm]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        >>> round(first_turn_to_capture_mm(0.03, helix_deg=0.0, profile_deg=90.0), 4)
        0.0664

    Sources:
        [1] :func:`tracking_window_mm`, solved for the penetration.
    """
    require("half_width_mm", half_width_mm, 0.0, 1e5, "mm")
    return half_width_mm / _half_width_per_mm(helix_deg, profile_deg)


def _half_width_per_mm(helix_deg: float, profile_deg: float) -> float:
    """Return half the width of the window over the penetration of the first turn [-]."""
    require("helix_deg", helix_deg, 0.0, 80.0, "deg")
    return reach_per_mm(profile_deg) / (math.pi * math.cos(math.radians(helix_deg)))
