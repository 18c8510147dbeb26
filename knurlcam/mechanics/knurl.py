"""A knurl's geometry from form and pitch, the blanks that suit it, and its class limits.

A callout (``job/callout``) names form and pitch; what follows from them is here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal, NamedTuple

from knurlcam.data.knurls import Form, forms, tooth_families
from knurlcam.mechanics.tooth import (
    Family,
    full_tooth_height,
    height_for_penetration,
    height_for_rise,
    rise,
)
from knurlcam.mechanics.tracking import (
    blank_diameter,
    diametral_pitch_row,
    nearest_teeth,
    pitch_from_diametral_pitch,
    pitch_from_tpi,
    transverse_pitch,
)
from knurlcam.units.kinds import MM_PER_INCH

__all__ = [
    "DEFAULT_PROFILE_DEG",
    "FULLNESS_SLACK",
    "LEAST_FULLNESS",
    "Candidate",
    "KnurlGeometry",
    "PitchSystem",
    "blanks_near",
    "class_limits_mm",
    "knurl_geometry",
]

PitchSystem = Literal["pitch", "tpi", "dp"]
"""What a figure of a callout is: a pitch, teeth per inch or a diametral pitch."""

DEFAULT_PROFILE_DEG = 90.0
"""Profile angle where neither callout nor job gives one (DIN 82) [deg]."""

LEAST_FULLNESS = 0.3
"""Share of the full tooth height below which there is no knurl to speak of [-]."""

FULLNESS_SLACK = 1e-9
"""Rounding of arithmetic in a share of the full tooth height [-]."""


@dataclass(frozen=True)
class KnurlGeometry:
    """The knurl as its callout and its rolls define it.

    Attributes:
        form: Form of DIN 82.
        family: Which volume formula holds.
        pitch_mm: Pitch t normal to the teeth [mm]
        transverse_pitch_mm: Pitch t_t round the work [mm]
        helix_deg: Helix angle psi [deg]
        profile_deg: Profile angle alpha [deg]
        full_height_mm: Tooth height H_f of the full profile [mm]
        diametral_pitch: Where the callout gives one [1/in]
        callout: The callout, written the usual way.
        called_pitch_mm: Pitch that the callout says, where the rolls have another [mm]
        growth_share: Share of the growth by volume that comes, where it was measured [-]
    """

    form: str
    family: Family
    pitch_mm: float
    transverse_pitch_mm: float
    helix_deg: float
    profile_deg: float
    full_height_mm: float
    diametral_pitch: float | None
    callout: str
    called_pitch_mm: float | None = None
    growth_share: float = 1.0

    @cached_property
    def full_growth_mm(self) -> float:
        """Growth of the diameter at full profile, 2 r [mm]."""
        return self.growth_mm(1.0)

    @cached_property
    def least_growth_mm(self) -> float:
        """Growth of the diameter at the least fullness that is a knurl, 2 r [mm]."""
        return self.growth_mm(LEAST_FULLNESS)

    def with_pitch(self, pitch_mm: float) -> KnurlGeometry:
        """Return the knurl that rolls of another pitch make of the same callout.

        Args:
            pitch_mm: Pitch t normal to the teeth, > 0 [mm]

        Returns:
            The geometry; :attr:`called_pitch_mm` keeps the callout's pitch [-]

        Raises:
            OutOfRangeError: if the pitch is outside its range.

        Example:
            >>> made = knurl_geometry("RAA", "pitch", 1.0).with_pitch(1.01)
            >>> round(made.full_height_mm, 6), made.called_pitch_mm
            (0.505, 1.0)

        Sources:
            [1] :func:`transverse_pitch` and :func:`full_tooth_height`.
        """
        return replace(
            self,
            pitch_mm=pitch_mm,
            transverse_pitch_mm=transverse_pitch(pitch_mm, self.helix_deg),
            full_height_mm=full_tooth_height(pitch_mm, self.profile_deg),
            called_pitch_mm=self.pitch_mm,
        )

    @property
    def usual_fullness(self) -> float:
        """Share of the full tooth height that is usual for this form [-]."""
        return tooth_families()[self.family].usual_fullness

    @property
    def good_fullness(self) -> float:
        """Share of the full tooth height from which on a knurl of this form is good [-]."""
        return tooth_families()[self.family].good_fullness

    def is_good(self, fullness: float) -> bool:
        """Return whether teeth are of good height.

        Args:
            fullness: H / H_f [-]

        Returns:
            Whether it is that of a good knurl or more [-]

        Example:
            >>> straight = knurl_geometry("RAA", "pitch", 1.0)
            >>> straight.is_good(0.67), straight.is_good(0.66)
            (True, False)

        Sources:
            [1] ``shared/knurls.toml``.
        """
        return fullness >= self.good_fullness - FULLNESS_SLACK

    def growth_mm(self, fullness: float) -> float:
        """Return the growth of the diameter at a fullness.

        Args:
            fullness: H / H_f, 0 to 1 [-]

        Returns:
            Growth of the diameter 2 r [mm]

        Raises:
            OutOfRangeError: if the fullness is outside its range.

        Example:
            >>> round(knurl_geometry("RAA", "pitch", 1.0).growth_mm(1.0), 6)
            0.5

        Sources:
            [1] :func:`rise` of ``tooth``.
        """
        height = fullness * self.full_height_mm
        return 2.0 * rise(height, self.full_height_mm, self.family) * self.growth_share

    def height_for_growth_mm(self, growth_mm: float) -> float:
        """Return the tooth height that makes a diameter grow.

        Args:
            growth_mm: Growth of the diameter 2 r, 0 to that of the full profile [mm]

        Returns:
            Tooth height H [mm]

        Raises:
            OutOfRangeError: if the growth is outside its range.

        Example:
            >>> round(knurl_geometry("RAA", "pitch", 1.0).height_for_growth_mm(0.5), 6)
            0.5

        Sources:
            [1] :func:`height_for_rise` of ``tooth``; the measured share of the growth.
        """
        # Not beyond the full profile by the rounding of a share.
        most = rise(self.full_height_mm, self.full_height_mm, self.family)
        risen = growth_mm / 2.0
        if self.growth_share != 1.0:
            risen = min(risen / self.growth_share, most)
        return height_for_rise(risen, self.full_height_mm, self.family)

    def rise_mm(self, penetration_mm: float) -> float:
        """Return how far the crests rise above the blank when the rolls stand so deep.

        Args:
            penetration_mm: Penetration c below the blank surface, radial, >= 0; beyond that of
                the full profile the crests rise no higher [mm]

        Returns:
            Rise r above the blank surface, radial [mm]

        Raises:
            OutOfRangeError: if the penetration is outside its range.

        Example:
            >>> round(knurl_geometry("RAA", "pitch", 1.0).rise_mm(0.25), 6)
            0.25

        Sources:
            [1] :func:`height_for_penetration` and :func:`rise` of ``tooth``.
        """
        height = height_for_penetration(penetration_mm, self.full_height_mm, self.family)
        return rise(height, self.full_height_mm, self.family) * self.growth_share


class Candidate(NamedTuple):
    """A blank round which a whole number of teeth fits.

    Attributes:
        teeth: Whole teeth N [-]
        blank_diameter_mm: D_b [mm]
        fullness: H / H_f that the knurled diameter needs [-]
        knurled_diameter_mm: D_k [mm]
    """

    teeth: int
    blank_diameter_mm: float
    fullness: float
    knurled_diameter_mm: float


def knurl_geometry(
    form: str,
    system: PitchSystem,
    value: float,
    *,
    helix_deg: float | None = None,
    profile_deg: float | None = None,
    swivelled: bool = False,
    callout: str = "",
) -> KnurlGeometry:
    """Return a knurl's geometry, defaults filled in.

    Args:
        form: Form of DIN 82 [-]
        system: What *value* is: a pitch, teeth per inch or a diametral pitch [-]
        value: Pitch [mm], teeth per inch or diametral pitch [1/in]
        helix_deg: Helix angle; None for the form's usual one [deg]
        profile_deg: Profile angle; None for 90 [deg]
        swivelled: Whether straight rolls are turned by the helix angle [-]
        callout: The callout to show [-]

    Returns:
        The geometry [-]

    Raises:
        OutOfRangeError: if a figure is outside the range of its formula.

    Example:
        >>> round(knurl_geometry("RGE", "dp", 96.0).transverse_pitch_mm, 4)
        0.8312

    Sources:
        [1] Defaults: DIN 82, ``shared/knurls.toml``; formulas of ``tooth`` and ``tracking``.
    """
    row: Form = forms()[form]
    helix = row.helix_deg if helix_deg is None else helix_deg
    profile = DEFAULT_PROFILE_DEG if profile_deg is None else profile_deg
    if system == "dp":
        pitch = pitch_from_diametral_pitch(value, helix, swivelled=swivelled)
    elif system == "tpi":
        pitch = pitch_from_tpi(value)
    else:
        pitch = value
    return KnurlGeometry(
        form=form,
        family=row.family,
        pitch_mm=pitch,
        transverse_pitch_mm=transverse_pitch(pitch, helix),
        helix_deg=helix,
        profile_deg=profile,
        full_height_mm=full_tooth_height(pitch, profile),
        diametral_pitch=value if system == "dp" else None,
        callout=callout,
    )


def blanks_near(
    knurl: KnurlGeometry, diameter_mm: float, count: int = 5, correction_mm: float = 0.0
) -> tuple[Candidate, ...]:
    """Return the blanks nearest a diameter round which a whole number of teeth fits.

    Args:
        knurl: The knurl's geometry [-]
        diameter_mm: Diameter to look near, > 0 [mm]
        count: How many [-]
        correction_mm: Tracking correction delta, on the diameter [mm]

    Returns:
        Candidates at full profile, smallest first [mm]

    Raises:
        OutOfRangeError: if the diameter is outside its range.

    Example:
        >>> [c.teeth for c in blanks_near(knurl_geometry("RAA", "pitch", 1.0), 25.0, 3)]
        [78, 79, 80]

    Sources:
        [1] Machinery's Handbook, 31st ed., p. 1059 (seen: yes): where the nearest whole
            number is the larger one, the blank is turned smaller.
    """
    pitch = knurl.transverse_pitch_mm
    teeth, misfit = nearest_teeth(diameter_mm, pitch, correction_mm)
    # The handbook turns the blank smaller, never larger: the odd one out goes below.
    first = teeth - count // 2 - (1 if misfit < 0 and count % 2 == 0 else 0)
    first = max(1, first)
    return tuple(
        Candidate(
            n,
            blank_diameter(n, pitch, correction_mm),
            1.0,
            blank_diameter(n, pitch, correction_mm) + knurl.full_growth_mm,
        )
        for n in range(first, first + count)
    )


def class_limits_mm(
    knurl: KnurlGeometry, purpose: str, of: Literal["knurled_in", "blank_in"]
) -> tuple[float, float] | None:
    """Return the limits on a diameter of a standard diametral pitch, by its class.

    Class I for grip and appearance, class III for a press fit.

    Args:
        knurl: The knurl's geometry [-]
        purpose: ``grip``, ``appearance`` or ``press fit`` [-]
        of: The diameter: over the crests or of the blank [-]

    Returns:
        Upper and lower limit [mm]; None for other pitches

    Example:
        >>> upper, lower = class_limits_mm(knurl_geometry("RAA", "dp", 96.0), "grip", "blank_in")
        >>> round(upper, 4), round(lower, 4)
        (0.0254, -0.0254)

    Sources:
        [1] ANSI/ASME B94.6 as tabulated in Machinery's Handbook, 31st ed., p. 1059, Table 4
            (seen: yes; class III from memory).
    """
    row = diametral_pitch_row(knurl.diametral_pitch)
    if row is None:
        return None
    limits = (row.knurled_in if of == "knurled_in" else row.blank_in)[
        "III" if purpose == "press fit" else "I"
    ]
    return limits[0] * MM_PER_INCH, limits[1] * MM_PER_INCH
