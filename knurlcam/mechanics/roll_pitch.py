"""Teeth, diameter and pitch of a roll: whole teeth, so pitch and diameter are not both round."""

from __future__ import annotations

import math

from knurlcam.errors import require

__all__ = ["roll_diameter_for", "roll_pitch"]


def roll_pitch(diameter_mm: float, teeth: int, helix_deg: float = 0.0) -> float:
    """Return the pitch across the teeth of a roll.

    .. math:: t = (pi D_r / N_r) cos(psi_r)

    Args:
        diameter_mm: Diameter of the roll over the tips of its teeth D_r, > 0 [mm]
        teeth: Its teeth N_r, >= 1 [-]
        helix_deg: Helix angle of its teeth psi_r, 0 to 80 [deg]

    Returns:
        Pitch t normal to the teeth [mm]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        The standard's helical roll of about 20 mm and 1 mm pitch has 54 teeth; of exactly
        20 mm it has another pitch:

        >>> round(roll_pitch(19.848, 54, 30.0), 4), round(roll_pitch(20.0, 54, 30.0), 4)
        (1.0, 1.0077)

    Sources:
        [1] Definition of the pitch; teeth of DIN 403:1973-01, 2.1 (seen: yes).
    """
    require("diameter_mm", diameter_mm, 1e-6, 1e5, "mm")
    require("teeth", teeth, 1, 1e6, "teeth")
    require("helix_deg", helix_deg, 0.0, 80.0, "deg")
    return math.pi * diameter_mm / teeth * math.cos(math.radians(helix_deg))


def roll_diameter_for(teeth: int, pitch_mm: float, helix_deg: float = 0.0) -> float:
    """Return the diameter of a roll with a pitch: the inverse of :func:`roll_pitch`.

    .. math:: D_r = N_r t / (pi cos(psi_r))

    Args:
        teeth: Teeth of the roll N_r, >= 1 [-]
        pitch_mm: Pitch t normal to the teeth, > 0 [mm]
        helix_deg: Helix angle of its teeth psi_r, 0 to 80 [deg]

    Returns:
        Diameter over the tips of its teeth D_r [mm]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        >>> round(roll_diameter_for(54, 1.0, 30.0), 3)
        19.848

    Sources:
        [1] Definition of the pitch.
    """
    require("teeth", teeth, 1, 1e6, "teeth")
    require("pitch_mm", pitch_mm, 1e-6, 1e5, "mm")
    require("helix_deg", helix_deg, 0.0, 80.0, "deg")
    return teeth * pitch_mm / (math.pi * math.cos(math.radians(helix_deg)))
