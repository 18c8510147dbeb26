"""Tooth height, penetration and growth: no chips, so the volume is kept.

Three families of tooth (shared/knurls.toml says which form belongs to which):

- ``straight``: grooves in one direction (RAA, RBL, RBR);
- ``raised``: two crossing families of grooves leave points (RGE, RKE);
- ``indented``: pits between crossing ridges (RGV, RKV).

A tooth of height *H* is a slice of the full sharp profile of height *H_f*.
"""

from __future__ import annotations

import math
from typing import Literal

from knurlcam.errors import require

__all__ = [
    "Family",
    "full_tooth_height",
    "height_for_penetration",
    "height_for_rise",
    "penetration",
    "rise",
]

Family = Literal["straight", "raised", "indented"]

HEIGHT_SLACK = 1e-9
"""Relative slack on H <= H_f and r <= r_f: a full profile reached by arithmetic
may stand a rounding error above its limit."""

MAX_LENGTH_MM = 1e5
"""Beyond any lathe; catches a wrong unit and infinity."""


def full_tooth_height(pitch_mm: float, profile_deg: float) -> float:
    """Return the tooth height of the full, sharp profile.

    .. math:: H_f = t / (2 tan(alpha / 2))

    Args:
        pitch_mm: Pitch t normal to the teeth, > 0 [mm]
        profile_deg: Profile angle alpha, 10 to 170 [deg]

    Returns:
        Full tooth height H_f [mm]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        >>> round(full_tooth_height(1.0, 90.0), 6)
        0.5
        >>> round(full_tooth_height(1.0, 105.0), 6)
        0.383663

    Sources:
        [1] Geometry of a sharp V profile. DIN 82:1973-01 section 2.4 holds its
            factors for a profile angle of 90 degrees (primary source seen: yes).
    """
    require("pitch_mm", pitch_mm, 1e-6, MAX_LENGTH_MM, "mm")
    require("profile_deg", profile_deg, 10.0, 170.0, "deg")
    return pitch_mm / (2.0 * math.tan(math.radians(profile_deg) / 2.0))


def penetration(height_mm: float, full_height_mm: float, family: Family) -> float:
    """Return how far the roll stands below the blank when teeth of height H are made.

    The mean height of the finished surface above the root equals the penetration:

    - straight: c = H - H^2 / (2 H_f)
    - raised: c = (H_f / 3) (1 - (1 - H / H_f)^3)
    - indented: c = H - H^3 / (3 H_f^2)

    Args:
        height_mm: Tooth height made H, 0 to H_f [mm]
        full_height_mm: Tooth height of the full profile H_f, > 0 [mm]
        family: Which of the three families the form belongs to [-]

    Returns:
        Penetration c below the blank surface, radial [mm]

    Raises:
        OutOfRangeError: if a height is outside its range.

    Example:
        A full 90 degree profile of 1 mm pitch:

        >>> [round(penetration(0.5, 0.5, f), 4) for f in ("straight", "raised", "indented")]
        [0.25, 0.1667, 0.3333]

    Sources:
        [1] Conservation of volume. At full profile it gives the three factors of
            DIN 82:1973-01 section 2.4 (0.33 seen; 0.5 and 0.67 from memory).
    """
    require("full_height_mm", full_height_mm, 1e-6, MAX_LENGTH_MM, "mm")
    require("height_mm", height_mm, 0.0, full_height_mm * (1.0 + HEIGHT_SLACK), "mm")
    full = full_height_mm
    if family == "straight":
        return height_mm - height_mm**2 / (2.0 * full)
    if family == "raised":
        return full / 3.0 * (1.0 - (1.0 - height_mm / full) ** 3)
    return height_mm - height_mm**3 / (3.0 * full**2)


def rise(height_mm: float, full_height_mm: float, family: Family) -> float:
    """Return how far the crests rise above the blank, r = H - c.

    Args:
        height_mm: Tooth height made H, 0 to H_f [mm]
        full_height_mm: Tooth height of the full profile H_f, > 0 [mm]
        family: Which of the three families the form belongs to [-]

    Returns:
        Rise r above the blank surface, radial [mm]; the diameter grows by 2 r.

    Raises:
        OutOfRangeError: if a height is outside its range.

    Example:
        Growth of the diameter at full profile, pitch 1 mm, 90 degrees:

        >>> [round(2 * rise(0.5, 0.5, f), 2) for f in ("straight", "raised", "indented")]
        [0.5, 0.67, 0.33]

    Sources:
        [1] DIN 82:1973-01 section 2.4, d2 = d1 - k t with k = 0.5, 0.67, 0.33
            (0.33 seen; 0.5 and 0.67 from memory).
    """
    # Of next to no height a rounding error below zero could be left.
    return max(0.0, height_mm - penetration(height_mm, full_height_mm, family))


def height_for_rise(rise_mm: float, full_height_mm: float, family: Family) -> float:
    """Return the tooth height whose crests rise by r: the inverse of :func:`rise`.

    - straight: H = sqrt(2 H_f r)
    - raised: with y = 1 - H / H_f, y^3 - 3 y + 2 = 3 r / H_f, solved by the cosine
      of a third of an angle
    - indented: H = (3 H_f^2 r)^(1/3)

    Args:
        rise_mm: Rise r above the blank surface, 0 to the rise of the full profile [mm]
        full_height_mm: Tooth height of the full profile H_f, > 0 [mm]
        family: Which of the three families the form belongs to [-]

    Returns:
        Tooth height H [mm]

    Raises:
        OutOfRangeError: if *rise_mm* is more than the full profile gives.

    Example:
        >>> round(height_for_rise(rise(0.4, 0.5, "raised"), 0.5, "raised"), 9)
        0.4

    Sources:
        [1] Inverse of the balance of volume in :func:`penetration`.
    """
    require("full_height_mm", full_height_mm, 1e-6, MAX_LENGTH_MM, "mm")
    full_rise = rise(full_height_mm, full_height_mm, family)
    require("rise_mm", rise_mm, 0.0, full_rise * (1.0 + HEIGHT_SLACK), "mm")
    full = full_height_mm
    if family == "straight":
        height = math.sqrt(2.0 * full * rise_mm)
    elif family == "raised":
        cosine = max(-1.0, min(1.0, 1.5 * rise_mm / full - 1.0))
        height = full * (1.0 - 2.0 * math.cos((math.acos(cosine) - 2.0 * math.pi) / 3.0))
    else:
        height = (3.0 * full**2 * rise_mm) ** (1.0 / 3.0)
    return max(0.0, min(full, height))


def height_for_penetration(penetration_mm: float, full_height_mm: float, family: Family) -> float:
    """Return the tooth height that a penetration makes: the inverse of :func:`penetration`.

    - straight: H = H_f (1 - sqrt(1 - 2 c / H_f))
    - raised: H = H_f (1 - (1 - 3 c / H_f)^(1/3))
    - indented: H = 2 H_f sin(asin(3 c / (2 H_f)) / 3)

    Args:
        penetration_mm: Penetration c below the blank surface, radial, >= 0; beyond that of the
            full profile the teeth stay full [mm]
        full_height_mm: Tooth height of the full profile H_f, > 0 [mm]
        family: Which of the three families the form belongs to [-]

    Returns:
        Tooth height H, H_f at most [mm]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        >>> round(height_for_penetration(penetration(0.4, 0.5, "raised"), 0.5, "raised"), 9)
        0.4

    Sources:
        [1] Inverse of the balance of volume in :func:`penetration`.
    """
    require("full_height_mm", full_height_mm, 1e-6, MAX_LENGTH_MM, "mm")
    require("penetration_mm", penetration_mm, 0.0, MAX_LENGTH_MM, "mm")
    full, share = full_height_mm, penetration_mm / full_height_mm
    if family == "straight":
        return full * (1.0 - math.sqrt(max(0.0, 1.0 - 2.0 * share)))
    if family == "raised":
        return full * (1.0 - math.cbrt(max(0.0, 1.0 - 3.0 * share)))
    return 2.0 * full * math.sin(math.asin(min(1.0, 1.5 * share)) / 3.0)
