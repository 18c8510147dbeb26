"""Which blanks a whole number of teeth closes on, and how true they must be."""

from __future__ import annotations

import math
from typing import NamedTuple

from knurlcam.data.knurls import DiametralPitch, diametral_pitches
from knurlcam.errors import require
from knurlcam.units.kinds import MM_PER_INCH

__all__ = [
    "Tracking",
    "blank_diameter",
    "blank_tolerance",
    "diametral_pitch_row",
    "nearest_teeth",
    "pitch_from_diametral_pitch",
    "pitch_from_tpi",
    "teeth_around",
    "transverse_pitch",
]

TOLERANCE_IN_PITCHES = 0.03
"""Half width of the blank's tolerance in transverse pitches, for pitches that the
handbook's table does not list: about what its own rows come to (0.025 to 0.031)."""

DIAMETRAL_PITCH_MATCH = 1e-6
"""A diametral pitch this near to a row of the table is that row."""


class Tracking(NamedTuple):
    """Where the rolls of a set-up roll without slip, and how far that is from sure.

    Teeth go into the work while they roll, so the circle on which their pitch holds lies below
    the blank's surface: N = pi (D_b - delta) / t_t.

    Attributes:
        pitch_mm: Pitch t normal to the teeth, as the rolls have it [mm]
        transverse_pitch_mm: Pitch t_t round the work [mm]
        correction_mm: Tracking correction delta, on the diameter [mm]
        correction_low_mm: Least that it may be [mm]
        correction_high_mm: Most that it may be [mm]
        source: Where the correction comes from.
    """

    pitch_mm: float
    transverse_pitch_mm: float
    correction_mm: float
    correction_low_mm: float
    correction_high_mm: float
    source: str

    def teeth_around(self, diameter_mm: float) -> float:
        """Return how many teeth fit round a blank.

        Args:
            diameter_mm: Blank diameter D_b, > 0 [mm]

        Returns:
            Teeth N, seldom whole [-]

        Raises:
            OutOfRangeError: if the diameter is outside its range.

        Example:
            >>> Tracking(1.0, math.pi, 0.05, 0.0, 0.1, "estimate").teeth_around(20.05)
            20.0

        Sources:
            [1] :func:`teeth_around`.
        """
        return teeth_around(diameter_mm, self.transverse_pitch_mm, self.correction_mm)

    def blank_diameter(self, teeth: int) -> float:
        """Return the blank on which a whole number of teeth fits.

        Args:
            teeth: Teeth N round the work, >= 1 [-]

        Returns:
            Blank diameter D_b [mm]

        Raises:
            OutOfRangeError: if the number of teeth is outside its range.

        Example:
            >>> Tracking(1.0, math.pi, 0.05, 0.0, 0.1, "estimate").blank_diameter(20)
            20.05

        Sources:
            [1] :func:`blank_diameter`.
        """
        return blank_diameter(teeth, self.transverse_pitch_mm, self.correction_mm)


def pitch_from_tpi(teeth_per_inch: float) -> float:
    """Return the pitch across the teeth of a roll with so many teeth per inch.

    .. math:: t = 25.4 / n

    Args:
        teeth_per_inch: Teeth per inch n, measured across the teeth, > 0 [1/in]

    Returns:
        Pitch t normal to the teeth [mm]

    Raises:
        OutOfRangeError: if the argument is outside its range.

    Example:
        >>> round(pitch_from_tpi(21), 4)
        1.2095

    Sources:
        [1] Definition; 14, 21 and 33 teeth per inch are the trade's coarse, medium
            and fine (common practice).
    """
    require("teeth_per_inch", teeth_per_inch, 1e-3, 1e5, "1/in")
    return MM_PER_INCH / teeth_per_inch


def pitch_from_diametral_pitch(
    diametral_pitch: float, helix_deg: float, *, swivelled: bool = False
) -> float:
    """Return the pitch normal to the teeth of a diametral-pitch roll.

    With parallel axes the diametral pitch is transverse, so t = (25.4 pi / P) cos(psi).
    Straight rolls swivelled by psi have it across their teeth, so t = 25.4 pi / P.

    Args:
        diametral_pitch: Diametral pitch P, teeth per inch of diameter, > 0 [1/in]
        helix_deg: Helix angle psi of the knurl, 0 to 80 [deg]
        swivelled: Whether straight rolls are turned by the helix angle [-]

    Returns:
        Pitch t normal to the teeth [mm]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        >>> round(pitch_from_diametral_pitch(96, 0.0), 4)
        0.8312
        >>> round(pitch_from_diametral_pitch(160, 30.0, swivelled=True), 4)
        0.4987

    Sources:
        [1] ASME B94.6-1984 as given in Machinery's Handbook, 31st ed., p. 1059,
            eqs. (12)-(18) (primary source seen: yes).
    """
    require("diametral_pitch", diametral_pitch, 1e-3, 1e5, "1/in")
    require("helix_deg", helix_deg, 0.0, 80.0, "deg")
    circular = MM_PER_INCH * math.pi / diametral_pitch
    return circular if swivelled else circular * math.cos(math.radians(helix_deg))


def transverse_pitch(pitch_mm: float, helix_deg: float) -> float:
    """Return the pitch measured round the work.

    .. math:: t_t = t / cos(psi)

    Args:
        pitch_mm: Pitch t normal to the teeth, > 0 [mm]
        helix_deg: Helix angle psi, 0 to 80 [deg]

    Returns:
        Transverse pitch t_t [mm]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        >>> round(transverse_pitch(1.0, 30.0), 4)
        1.1547

    Sources:
        [1] Machinery's Handbook, 31st ed., p. 1059, eqs. (12)-(18) (seen: yes).
    """
    require("pitch_mm", pitch_mm, 1e-6, 1e5, "mm")
    require("helix_deg", helix_deg, 0.0, 80.0, "deg")
    return pitch_mm / math.cos(math.radians(helix_deg))


def teeth_around(
    diameter_mm: float, transverse_pitch_mm: float, correction_mm: float = 0.0
) -> float:
    """Return how many teeth fit round a blank; tracking wants a whole number.

    .. math:: N = pi (D_b - delta) / t_t

    Args:
        diameter_mm: Blank diameter D_b, > 0 [mm]
        transverse_pitch_mm: Transverse pitch t_t, > 0 [mm]
        correction_mm: Tracking correction delta, on the diameter [mm]

    Returns:
        Teeth N, seldom whole [-]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        The handbook's swivelled 160 DP rolls on a 1 inch blank:

        >>> t = pitch_from_diametral_pitch(160, 30.0, swivelled=True)
        >>> round(teeth_around(25.4, transverse_pitch(t, 30.0)), 2)
        138.56

    Sources:
        [1] Machinery's Handbook, 31st ed., p. 1059, eq. (18) and example (seen: yes).
    """
    require("diameter_mm", diameter_mm, 1e-6, 1e5, "mm")
    require("transverse_pitch_mm", transverse_pitch_mm, 1e-6, 1e5, "mm")
    return math.pi * (diameter_mm - correction_mm) / transverse_pitch_mm


def blank_diameter(teeth: int, transverse_pitch_mm: float, correction_mm: float = 0.0) -> float:
    """Return the blank diameter on which a whole number of teeth closes.

    .. math:: D_b = N t_t / pi + delta

    Args:
        teeth: Teeth N round the work, >= 1 [-]
        transverse_pitch_mm: Transverse pitch t_t, > 0 [mm]
        correction_mm: Tracking correction delta, on the diameter [mm]

    Returns:
        Blank diameter D_b [mm]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        >>> t = pitch_from_diametral_pitch(160, 30.0, swivelled=True)
        >>> round(blank_diameter(138, transverse_pitch(t, 30.0)) / 25.4, 3)
        0.996

    Sources:
        [1] Machinery's Handbook, 31st ed., p. 1059, example: 0.996 in (seen: yes).
    """
    require("teeth", teeth, 1, 1e6, "teeth")
    require("transverse_pitch_mm", transverse_pitch_mm, 1e-6, 1e5, "mm")
    return teeth * transverse_pitch_mm / math.pi + correction_mm


def nearest_teeth(
    diameter_mm: float, transverse_pitch_mm: float, correction_mm: float = 0.0
) -> tuple[int, float]:
    """Return the nearest whole number of teeth and the misfit of a given blank.

    Args:
        diameter_mm: Blank diameter D_b, > 0 [mm]
        transverse_pitch_mm: Transverse pitch t_t, > 0 [mm]
        correction_mm: Tracking correction delta, on the diameter [mm]

    Returns:
        Whole teeth N >= 1 [-], and the misfit N_exact - N, in (-0.5, 0.5] [teeth]
        (larger where less than half a tooth fits)

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        >>> teeth, misfit = nearest_teeth(25.0, 1.0)
        >>> teeth, round(misfit, 2)
        (79, -0.46)

    Sources:
        [1] Machinery's Handbook, 31st ed., p. 1059 (seen: yes).
    """
    exact = teeth_around(diameter_mm, transverse_pitch_mm, correction_mm)
    teeth = max(1, math.ceil(exact - 0.5))
    return teeth, exact - teeth


def blank_tolerance(transverse_pitch_mm: float, diametral_pitch: float | None = None) -> float:
    """Return the half width of the blank's tolerance for good tracking.

    Args:
        transverse_pitch_mm: Transverse pitch t_t, > 0 [mm]
        diametral_pitch: Diametral pitch P, where the callout gives one [1/in]

    Returns:
        Half width of the tolerance on the blank diameter [mm]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        >>> round(blank_tolerance(0.8312, 96) / 25.4, 4)
        0.001
        >>> round(blank_tolerance(1.0), 3)
        0.03

    Sources:
        [1] Machinery's Handbook, 31st ed., p. 1059, Table 4, Class I, blank (seen: yes):
            64, 96, 128 and 160 DP. Other pitches: 0.03 t_t, what those rows come to.
    """
    require("transverse_pitch_mm", transverse_pitch_mm, 1e-6, 1e5, "mm")
    row = diametral_pitch_row(diametral_pitch)
    if row is not None:
        upper, _lower = row.blank_in["I"]
        return upper * MM_PER_INCH
    return TOLERANCE_IN_PITCHES * transverse_pitch_mm


def diametral_pitch_row(diametral_pitch: float | None) -> DiametralPitch | None:
    """Return the row of a standard diametral pitch.

    Args:
        diametral_pitch: Diametral pitch P, where the callout gives one [1/in]

    Returns:
        Its row of the table [-]; None for other pitches

    Example:
        >>> diametral_pitch_row(96.0).blank_in["I"]
        (0.001, -0.001)

    Sources:
        [1] Machinery's Handbook, 31st ed., p. 1059, Table 4 (seen: yes).
    """
    if diametral_pitch is None:
        return None
    for pitch, row in diametral_pitches().items():
        if abs(pitch - diametral_pitch) <= DIAMETRAL_PITCH_MATCH:
            return row
    return None
