"""The press fit of a plan: what the joint is, and what it comes to with a knurled diameter.

All figures are estimates; ``mechanics/press_fit`` says of what model. What can be counted on
is friction alone, at the loosest fit that the limits allow; the joining force and the stress
of the hub are those of the tightest.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any, NamedTuple

from knurlcam.data.fits import FitFriction, fit_friction
from knurlcam.data.materials import Material
from knurlcam.job.model import Job
from knurlcam.job.press_fit import Fit
from knurlcam.mechanics.knurl import KnurlGeometry, class_limits_mm
from knurlcam.mechanics.loads import LOW_ELONGATION_PERCENT, strength_mpa
from knurlcam.mechanics.press_fit import (
    bearing_share,
    collapse_pressure,
    equivalent_stress,
    fit_pressure,
    friction_force,
    hole_limits,
    hoop_stress,
    joint_compliance,
    mean_bite,
    ploughing_force,
    pressure_for_equivalent_stress,
    pressure_for_hoop_stress,
    shear_force,
)
from knurlcam.mechanics.tooth import Family
from knurlcam.plan.remarks import COMMON, Remarks
from knurlcam.units.kinds import Kind, Units
from knurlcam.units.show import show, show_about

__all__ = [
    "BITE_SLACK_MM",
    "MODEL",
    "Joint",
    "PressFit",
    "Sized",
    "Toothed",
    "fitted",
    "is_overfilled",
    "is_too_tight",
    "joint_of",
    "stress_texts",
]

MODEL = "estimate of this program: thick rings, friction, shear"

KNURLED_TOLERANCE = 0.15
"""Tolerance of the knurled diameter, downwards, in pitches: class III allows the standard
diametral pitches 0.12 to 0.16 [-]."""

USUAL_POISSON = 0.3
"""Poisson's ratio that most metals have, taken where a row gives none [-]."""

BRITTLE_SHARE = 0.5
"""Permissible share of its tensile strength in a brittle hub (rule of this program): the
figures are estimates, and where a ductile hub yields a little, in a brittle one a crack
runs [-]."""

BITE_SLACK_MM = 1e-9
"""Rounding of arithmetic in a bite [mm]."""

MOST_PLACES = 12
"""Decimal places that are added at most to tell a stress from its limit."""


@dataclass(frozen=True)
class PressFit:
    """What a press fit comes to; all but the diameters are estimates.

    Attributes:
        knurled_diameter_mm: D_k over the crests [mm]
        knurled_limits_mm: Upper and lower limit on it, from D_k [mm]
        bore_limits_mm: Smallest and largest bore [mm]
        length_mm: Engaged length L [mm]
        interference_mm: D_k less the nominal bore [mm]
        interference_smallest_mm: ... at the loosest fit [mm]
        interference_largest_mm: ... at the tightest fit [mm]
        bite_mm: Bite of a crest at the nominal sizes, radial [mm]
        pressure_smallest_mpa: Pressure in the bore at the loosest fit, all elastic [MPa]
        pressure_mpa: ... and at the tightest [MPa]
        hub_stress_mpa: Hoop stress at the bore at the tightest fit [MPa]
        hub_equivalent_stress_mpa: Equivalent stress (von Mises) there [MPa]
        hub_strength_mpa: Yield strength of the hub, or tensile without one [MPa]
        hub_limit_mpa: Permissible stress: of a ductile hub the equivalent stress up to its yield
            strength, of a brittle one the hoop stress up to half of its tensile strength [MPa]
        hub_brittle: Whether the hub breaks before it yields
        joining_force_n: What the press must be able to give: dry, tightest fit [N]
        joining_force_low_n: ... and what it may be: oiled, loosest fit [N]
        holding_torque_nm: What can be counted on: friction alone, loosest fit [N*m]
        holding_torque_high_nm: ... and at best: full shear of the crests [N*m]
        holding_force_n: Along the axis, friction alone, loosest fit [N]
        holding_force_high_n: ... and at best [N]
        wanted_torque_nm: Torque that the job wants held [N*m]; None where none is
        wanted_force_n: Axial force that the job wants held [N]; None where none is
    """

    knurled_diameter_mm: float
    knurled_limits_mm: tuple[float, float]
    bore_limits_mm: tuple[float, float]
    length_mm: float
    interference_mm: float
    interference_smallest_mm: float
    interference_largest_mm: float
    bite_mm: float
    pressure_smallest_mpa: float
    pressure_mpa: float
    hub_stress_mpa: float
    hub_equivalent_stress_mpa: float
    hub_strength_mpa: float
    hub_limit_mpa: float
    hub_brittle: bool
    joining_force_n: float
    joining_force_low_n: float
    holding_torque_nm: float
    holding_torque_high_nm: float
    holding_force_n: float
    holding_force_high_n: float
    wanted_torque_nm: float | None
    wanted_force_n: float | None

    @property
    def holds(self) -> bool:
        """Whether friction alone holds the wanted load; torque and force act at once."""
        return self.used <= 1.0

    @property
    def can_hold(self) -> bool:
        """Whether the wanted load is within the upper bounds."""
        return self._used(self.holding_torque_high_nm, self.holding_force_high_n) <= 1.0

    @property
    def hub_within_limit(self) -> bool:
        """Whether the hub stays elastic, a brittle one well below breaking, at the tightest fit."""
        return self.hub_governing_mpa <= self.hub_limit_mpa

    @property
    def hub_governing_mpa(self) -> float:
        """The stress that the limit is for [MPa]."""
        # A ductile hub yields by von Mises; in a brittle one a crack follows the hoop stress.
        return self.hub_stress_mpa if self.hub_brittle else self.hub_equivalent_stress_mpa

    @property
    def used(self) -> float:
        """Wanted load over what friction alone holds at the loosest fit."""
        return self._used(self.holding_torque_nm, self.holding_force_n)

    def _used(self, torque_nm: float, force_n: float) -> float:
        torque, force = self.wanted_torque_nm or 0.0, self.wanted_force_n or 0.0
        if not torque and not force:
            return 0.0
        if not torque_nm or not force_n:
            return math.inf
        return math.hypot(torque / torque_nm, force / force_n)

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain data, figures unrounded."""
        data = asdict(self)
        for key in ("knurled_limits_mm", "bore_limits_mm"):
            data[key] = list(data[key])
        return data


class Toothed(NamedTuple):
    """The knurl that planning makes for a diameter over the crests.

    Attributes:
        blank_mm: D_b [mm]
        height_mm: Tooth height H [mm]
        good: Whether the teeth are of good height.
    """

    blank_mm: float
    height_mm: float
    good: bool


Sized = Callable[[float], Toothed | None]
"""Which knurl is made for a diameter over the crests; None where none can be."""


class Elastic(NamedTuple):
    """The elastic figures of hub and shaft, as the formulas name them."""

    hub_modulus_mpa: float
    hub_poisson: float
    shaft_modulus_mpa: float
    shaft_poisson: float


class Joint(NamedTuple):
    """What a fit has before the diameter of the knurl is known.

    Attributes:
        fit: The job's section.
        bore_limits: Smallest and largest bore [mm]
        knurled_limits: Upper and lower limit on the knurled diameter [mm]
        length: Engaged length [mm]
        full_height: H_f [mm]
        family: Which volume formula holds.
        along: Whether the crests run along the axis, so that they go in in their own grooves.
        elastic: Young's modulus and Poisson's ratio of both.
        shaft_strength: [MPa]
        hub_strength: Yield strength, or tensile without one [MPa]
        hub_limit: Permissible stress at the bore [MPa]
        brittle: Whether that is of the hoop stress; else of the equivalent stress.
        hub_ultimate: Strength at which the hub breaks [MPa]
        hub_flow: Flow stress of the hub [MPa]
        compliance: Of the joint [1/MPa]
        friction: Coefficients.
        spacing: What one tooth more adds to the diameter [mm]
        knurl_length: L of the knurl alone [mm]
        room: How long the knurl could be on this part [mm]
    """

    fit: Fit
    bore_limits: tuple[float, float]
    knurled_limits: tuple[float, float]
    length: float
    full_height: float
    family: Family
    along: bool
    elastic: Elastic
    shaft_strength: float
    hub_strength: float
    hub_limit: float
    brittle: bool
    hub_ultimate: float
    hub_flow: float
    compliance: float
    friction: FitFriction
    spacing: float
    knurl_length: float
    room: float

    def with_fit(
        self, *, limits: tuple[float, float] | None = None, **changes: float | str
    ) -> Joint:
        """Return the joint with another hub, another bore, or other limits of it."""
        fit = self.fit.model_copy(update=changes)
        if limits is None:
            limits = self.bore_limits
            if fit.bore_tolerance is not None:
                limits = hole_limits(fit.nominal_bore, fit.bore_tolerance)
        compliance = joint_compliance(fit.nominal_bore, fit.hub_diameter, **self.elastic._asdict())
        return self._replace(fit=fit, bore_limits=limits, compliance=compliance)

    def with_length(self, length: float) -> Joint:
        """Return the joint with another engaged length."""
        return self._replace(length=length)


# -- the joint -----------------------------------------------------------------


def joint_of(remarks: Remarks, job: Job, knurl: KnurlGeometry) -> Joint:
    """Return what a job's fit has before the knurl's diameter is known.

    Args:
        remarks: Where it is said.
        job: A job with a [fit].
        knurl: The knurl's geometry.

    Raises:
        CannotBeDoneError: if a material lacks a figure.
    """
    fit = job.fit
    assert fit is not None  # asked for jobs with a fit only
    shaft, hub = job.part.material_row, fit.hub_row
    elastic = _elastic(remarks, shaft, hub)
    shaft_strength = _strength(remarks, shaft, "part.material")
    hub_strength = _strength(remarks, hub, "fit.hub_material")
    remarks.stop_if_refused()  # here, for a strength that is not known is not a number
    ultimate = hub.tensile_strength_mpa or hub_strength
    brittle = _is_brittle(hub)
    return Joint(
        fit=fit,
        bore_limits=_bore_limits(remarks, fit),
        knurled_limits=_knurled_limits(job, knurl),
        length=min(job.knurl.length, fit.hub_length or math.inf),
        full_height=knurl.full_height_mm,
        family=knurl.family,
        along=knurl.helix_deg == 0 and knurl.family != "indented",
        elastic=elastic,
        shaft_strength=shaft_strength,
        hub_strength=hub_strength,
        hub_limit=min(hub_strength, BRITTLE_SHARE * ultimate) if brittle else hub_strength,
        brittle=brittle,
        hub_ultimate=ultimate,
        hub_flow=(hub_strength + ultimate) / 2.0,
        compliance=joint_compliance(fit.nominal_bore, fit.hub_diameter, **elastic._asdict()),
        friction=fit_friction(),
        spacing=knurl.transverse_pitch_mm / math.pi,
        knurl_length=job.knurl.length,
        room=job.part.length - job.knurl.start,
    )


def _elastic(remarks: Remarks, shaft: Material, hub: Material) -> Elastic:
    shaft_modulus = _modulus(remarks, shaft, "part.material")
    return Elastic(
        hub_modulus_mpa=_modulus(remarks, hub, "fit.hub_material"),
        hub_poisson=_poisson(remarks, hub),
        shaft_modulus_mpa=shaft_modulus,
        shaft_poisson=_poisson(remarks, shaft),
    )


def _knurled_limits(job: Job, knurl: KnurlGeometry) -> tuple[float, float]:
    """Upper and lower limit on the knurled diameter: its class's, or those common here."""
    of_class = class_limits_mm(knurl, job.purpose, "knurled_in")
    return of_class or (0.0, -KNURLED_TOLERANCE * knurl.transverse_pitch_mm)


def _is_brittle(material: Material) -> bool:
    """Whether a hub breaks before it yields, or next to no later."""
    if material.yield_strength_mpa is None:
        return True
    elongation = material.elongation_percent
    return elongation is not None and elongation < LOW_ELONGATION_PERCENT


def _bore_limits(remarks: Remarks, fit: Fit) -> tuple[float, float]:
    if fit.bore_smallest is not None and fit.bore_largest is not None:
        return fit.bore_smallest, fit.bore_largest
    assert fit.bore_tolerance is not None  # the job model sees to it
    remarks.choose(
        "fit.bore_tolerance",
        fit.bore_tolerance,
        None,
        given="bore_tolerance" in fit.model_fields_set,
        why=f"a reamed bore ({COMMON})",
    )
    return hole_limits(fit.nominal_bore, fit.bore_tolerance)


def _modulus(remarks: Remarks, material: Material, key: str) -> float:
    if material.youngs_modulus_gpa is None:
        remarks.refuse(
            "fit-needs-modulus",
            f"{key}.youngs_modulus",
            f"{material.name} has no Young's modulus, without which the pressure of the fit "
            'is not known; give it, such as youngs_modulus = "200 GPa"',
            source=MODEL,
        )
        return math.nan
    return material.youngs_modulus_gpa * 1000.0


def _strength(remarks: Remarks, material: Material, key: str) -> float:
    strength = strength_mpa(material)
    if strength is None:
        remarks.refuse(
            "fit-needs-strength",
            f"{key}.yield_strength",
            f"{material.name} has neither yield nor tensile strength, without which its "
            'permissible stress is not known; give one, such as yield_strength = "250 MPa"',
            source=MODEL,
        )
        return math.nan
    return strength


def _poisson(remarks: Remarks, material: Material) -> float:
    if material.poisson_ratio is not None:
        return material.poisson_ratio
    remarks.note(
        "note",
        "fit-poisson",
        f"{material.name} has no Poisson's ratio: {USUAL_POISSON:g}, which most metals have, is "
        "taken for the press fit",
    )
    return USUAL_POISSON


# -- what a diameter comes to --------------------------------------------------


class _Held(NamedTuple):
    """What holds along the axis, or round it [N]."""

    counted_on: float
    by_friction: float
    at_best: float


def fitted(joint: Joint, knurled_mm: float, height_mm: float) -> PressFit:
    """Return what the fit comes to with a knurled diameter.

    At its limits the knurl is taken to have teeth of the same height: of shallower ones more
    stands in the hub for the same bite.

    Args:
        joint: The fit but for the knurl.
        knurled_mm: D_k [mm]
        height_mm: Tooth height H [mm]
    """
    fit, bore = joint.fit, joint.fit.nominal_bore
    smallest, largest = joint.bore_limits
    upper, lower = joint.knurled_limits
    loosest, tightest = knurled_mm + lower - largest, knurled_mm + upper - smallest
    slack, tight = max(0.0, loosest) / 2.0, max(0.0, tightest) / 2.0
    low, high = (_pressure(joint, bite, height_mm) for bite in (slack, tight))
    held = _held(joint, (low, high), _shear(joint, slack, tight, height_mm))
    arm = bore / 2000.0
    # The crests are spread evenly round the bore: their mean depth in the hub, by volume, is the
    # interference of a smooth fit. Nothing published was found to compare that with; so the
    # plan counts on friction alone, at the loosest fit, and shows full shear as the other bound.
    return PressFit(
        knurled_diameter_mm=knurled_mm,
        knurled_limits_mm=joint.knurled_limits,
        bore_limits_mm=joint.bore_limits,
        length_mm=joint.length,
        interference_mm=knurled_mm - bore,
        interference_smallest_mm=loosest,
        interference_largest_mm=tightest,
        bite_mm=(knurled_mm - bore) / 2.0,
        pressure_smallest_mpa=low,
        pressure_mpa=high,
        hub_stress_mpa=hoop_stress(high, bore, fit.hub_diameter),
        hub_equivalent_stress_mpa=equivalent_stress(high, bore, fit.hub_diameter),
        hub_strength_mpa=joint.hub_strength,
        hub_limit_mpa=joint.hub_limit,
        hub_brittle=joint.brittle,
        joining_force_n=held.by_friction + _ploughing(joint, tight, height_mm),
        joining_force_low_n=held.counted_on + _ploughing(joint, slack, height_mm),
        holding_torque_nm=held.counted_on * arm,
        holding_torque_high_nm=held.at_best * arm,
        holding_force_n=held.counted_on,
        # Crests along the axis go out in the grooves in which they came.
        holding_force_high_n=held.by_friction if joint.along else held.at_best,
        wanted_torque_nm=fit.torque,
        wanted_force_n=fit.axial_force,
    )


def _pressure(joint: Joint, bite: float, height: float) -> float:
    """Return the elastic pressure of a bite [MPa]."""
    mean = mean_bite(bite, height, joint.full_height, joint.family)
    return fit_pressure(2.0 * mean, joint.fit.nominal_bore, joint.compliance)


def _held(joint: Joint, pressures: tuple[float, float], shear: float) -> _Held:
    """Return what friction and shear hold, from the pressures at the loosest and tightest."""
    # A hub that yields presses no harder: little more than where it begins, in the end no
    # more than where all of its wall flows. A brittle one is not counted on for more than is
    # permissible.
    fit, (low, high) = joint.fit, pressures
    pressure_for = pressure_for_hoop_stress if joint.brittle else pressure_for_equivalent_stress
    yields = pressure_for(joint.hub_limit, fit.nominal_bore, fit.hub_diameter)
    flows = collapse_pressure(joint.hub_ultimate, fit.nominal_bore, fit.hub_diameter)
    friction = _rub(joint, min(high, flows), joint.friction.to_press)
    return _Held(
        counted_on=_rub(joint, min(low, yields), joint.friction.counted_on),
        by_friction=friction,
        at_best=max(shear, friction),
    )


def _shear(joint: Joint, slack: float, tight: float, height: float) -> float:
    """Return the full shear of the fit at which it is greatest: crests and ribs alike."""
    low, high = (
        bearing_share(bite, height, joint.full_height, joint.family) for bite in (slack, tight)
    )
    even = joint.hub_strength / (joint.shaft_strength + joint.hub_strength)
    share = min(max(low, even), high)
    return shear_force(
        share, joint.shaft_strength, joint.hub_strength, joint.fit.nominal_bore, joint.length
    )


def _rub(joint: Joint, pressure: float, friction: float) -> float:
    return friction_force(pressure, friction, joint.fit.nominal_bore, joint.length)


def _ploughing(joint: Joint, bite: float, height: float) -> float:
    """Crests along the axis plough their own section, others all of the bore's wall."""
    layer = mean_bite(bite, height, joint.full_height, "straight") if joint.along else bite
    return ploughing_force(layer, joint.fit.nominal_bore, joint.hub_flow)


def is_too_tight(fit: PressFit, height_mm: float) -> bool:
    """Return whether the core of the knurl, below its grooves, is larger than the bore may be.

    Args:
        fit: What the fit comes to.
        height_mm: Tooth height H [mm]
    """
    return fit.interference_largest_mm / 2.0 > height_mm + BITE_SLACK_MM


def is_overfilled(fit: PressFit, toothed: Toothed) -> bool:
    """Return whether the crests displace more metal than the grooves have room for.

    Volume is kept in the knurl as well, so that is so where the bore is smaller than the
    blank was: the crests' bite is then deeper than they rose above it.

    Args:
        fit: What the fit comes to.
        toothed: The knurl that is made.
    """
    risen = (fit.knurled_diameter_mm - toothed.blank_mm) / 2.0
    return fit.interference_largest_mm / 2.0 > risen + BITE_SLACK_MM


# -- in words ------------------------------------------------------------------


def stress_texts(stress_mpa: float, limit_mpa: float, units: Units) -> tuple[str, str]:
    """Return an estimated stress and its limit for people, ordered as the figures are.

    Places are added where rounding would let one that is above its limit look as if it were
    not, or the other way round.

    Args:
        stress_mpa: The estimate [MPa]
        limit_mpa: What is permissible [MPa]
        units: The job's units.

    Example:
        >>> stress_texts(179.4, 179.0, "mm"), stress_texts(178.6, 179.0, "mm")
        (('179.4 MPa', '179.0 MPa'), ('179 MPa', '179 MPa'))
    """
    texts = show_about(stress_mpa, Kind.STRESS, units), show(limit_mpa, Kind.STRESS, units)
    for places in range(MOST_PLACES):
        stress, limit = (float(text.split()[0]) for text in texts)
        if (stress <= limit) == (stress_mpa <= limit_mpa):
            break
        texts = (
            show(stress_mpa, Kind.STRESS, units, places),
            show(limit_mpa, Kind.STRESS, units, places),
        )
    return texts
