"""The press fit of a plan: which diameter, what it holds, and what speaks against it.

All figures are estimates; ``fit.py`` says of what model. What can be counted on is friction
alone, at the loosest fit that the limits allow; what the press must give and what the hub
must bear are those of the tightest.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import asdict, dataclass
from functools import cache
from typing import Any, NamedTuple

from knurlcam.data.fits import FitFriction, fit_friction, standard_tolerances
from knurlcam.data.materials import Material
from knurlcam.job.model import Job
from knurlcam.job.press_fit import BORE_NEAR_MM, Fit
from knurlcam.mechanics.knurl import KnurlGeometry
from knurlcam.mechanics.loads import LOW_ELONGATION_PERCENT, strength_mpa
from knurlcam.mechanics.press_fit import (
    bearing_share,
    collapse_pressure,
    equivalent_stress,
    fit_pressure,
    friction_force,
    hole_limits,
    hoop_stress,
    hubs_for_equivalent_stress,
    joint_compliance,
    least_hub_diameter,
    mean_bite,
    ploughing_force,
    pressure_for_equivalent_stress,
    pressure_for_hoop_stress,
    shear_force,
)
from knurlcam.mechanics.tooth import Family, rise
from knurlcam.plan.remarks import COMMON, CONTRACT, Remarks
from knurlcam.units.kinds import Kind, Units
from knurlcam.units.show import show, show_about

__all__ = ["Joint", "PressFit", "Toothed", "choose_diameter", "fitted", "joint_of", "judge"]

CHOSEN = "fit.bore"
"""The key to change where neither diameter is given: the knurl's is chosen."""

MODEL = "estimate of this program: thick rings, friction, shear"

KNURLED_TOLERANCE = 0.15
"""In pitches, downwards: class III allows the standard diametral pitches 0.12 to 0.16."""

USUAL_BITE = 1.0 / 3.0
"""Of the tooth height, where no load is wanted."""

USUAL_POISSON = 0.3

BRITTLE_SHARE = 0.5
"""Of its tensile strength that a brittle hub is allowed (rule of this program): the figures
are estimates, and where a ductile hub yields a little, in a brittle one a crack runs."""

STEPS = 96
"""Diameters tried between one that just holds no more and full teeth on a blank as large as
the bore: steps of about a hundredth of the pitch."""

BITE_SLACK_MM = 1e-9

MOST_PLACES = 12

SMALL_LOAD = 10.0
"""In N or N*m."""

HUB_STEPS = 12
LARGEST_HUB = 4.0
"""In bores: thicker hubs are stiffer by a few per cent only, and are not advised."""

MOST_TOLD = 1e5
"""In millimetres: of a knurl that would have to be longer nothing is told."""

BORE_STEPS = 16
"""Other bores tried, either way, within what one tooth more changes the diameter."""


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
        hub_limit_mpa: What is allowed: of a ductile hub the equivalent stress up to its yield
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
    def hub_bears(self) -> bool:
        """Whether the hub stays elastic, a brittle one well below breaking, at the tightest fit."""
        return self.hub_judged_mpa <= self.hub_limit_mpa

    @property
    def hub_judged_mpa(self) -> float:
        """The stress that the limit is for [MPa]."""
        return self.hub_stress_mpa if self.hub_brittle else self.hub_equivalent_stress_mpa

    @property
    def used(self) -> float:
        """Wanted load over what friction alone holds at the loosest fit."""
        return self._used(self.holding_torque_nm, self.holding_force_n)

    def hub_texts(self, units: Units) -> tuple[str, str]:
        """Return the hoop stress at the bore, and what it is judged by, for people."""
        judged, limit = stress_texts(self.hub_judged_mpa, self.hub_limit_mpa, units)
        if self.hub_brittle:
            return judged, f"at the tightest; {limit} is allowed, as it may crack"
        hoop = show_about(self.hub_stress_mpa, Kind.STRESS, units)
        return hoop, f"at the tightest; equivalent (von Mises) {judged}, it yields at {limit}"

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


def stress_texts(stress_mpa: float, limit_mpa: float, units: Units) -> tuple[str, str]:
    """Return an estimated stress and its limit for people, ordered as the figures are.

    Places are added where rounding would let one that is above its limit look as if it were
    not, or the other way round.

    Args:
        stress_mpa: The estimate [MPa]
        limit_mpa: What is allowed [MPa]
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
        hub_limit: What is allowed at the bore [MPa]
        brittle: Whether that is of the hoop stress; else of the equivalent stress.
        hub_ultimate: What the hub bears before it breaks [MPa]
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
                limits = hole_limits(fit.bore, fit.bore_tolerance)
        compliance = joint_compliance(fit.bore, fit.hub_diameter, **self.elastic._asdict())
        return self._replace(fit=fit, bore_limits=limits, compliance=compliance)

    def with_length(self, length: float) -> Joint:
        """Return the joint with another engaged length."""
        return self._replace(length=length)


# -- the joint -----------------------------------------------------------------


def joint_of(
    say: Remarks, job: Job, knurl: KnurlGeometry, class_limits: tuple[float, float] | None
) -> Joint:
    """Return what a job's fit has before the knurl's diameter is known.

    Args:
        say: Where it is said.
        job: A job with a [fit].
        knurl: The knurl's geometry.
        class_limits: Upper and lower limit on the knurled diameter, where published [mm]

    Raises:
        CannotBeDoneError: if a material lacks a figure.
    """
    fit = job.fit
    assert fit is not None  # the planner asks for jobs with a fit only
    shaft, hub = job.part.material_row, fit.hub_row
    shaft_modulus = _modulus(say, shaft, "part.material")
    hub_modulus = _modulus(say, hub, "fit.hub_material")
    shaft_strength = _strength(say, shaft, "part.material")
    hub_strength = _strength(say, hub, "fit.hub_material")
    say.stop_if_refused()
    elastic = Elastic(
        hub_modulus_mpa=hub_modulus,
        hub_poisson=_poisson(say, hub),
        shaft_modulus_mpa=shaft_modulus,
        shaft_poisson=_poisson(say, shaft),
    )
    ultimate = hub.tensile_strength_mpa or hub_strength
    brittle = _is_brittle(hub)
    return Joint(
        fit=fit,
        bore_limits=_bore_limits(say, fit),
        knurled_limits=class_limits or (0.0, -KNURLED_TOLERANCE * knurl.transverse_pitch_mm),
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
        compliance=joint_compliance(fit.bore, fit.hub_diameter, **elastic._asdict()),
        friction=fit_friction(),
        spacing=knurl.transverse_pitch_mm / math.pi,
        knurl_length=job.knurl.length,
        room=job.part.length - job.knurl.start,
    )


def _is_brittle(material: Material) -> bool:
    """Whether a hub breaks before it yields, or next to no later."""
    if material.yield_strength_mpa is None:
        return True
    elongation = material.elongation_percent
    return elongation is not None and elongation < LOW_ELONGATION_PERCENT


def _bore_limits(say: Remarks, fit: Fit) -> tuple[float, float]:
    if fit.bore_smallest is not None and fit.bore_largest is not None:
        return fit.bore_smallest, fit.bore_largest
    assert fit.bore_tolerance is not None  # the job model sees to it
    say.choose(
        "fit.bore_tolerance",
        fit.bore_tolerance,
        None,
        given="bore_tolerance" in fit.model_fields_set,
        why=f"a reamed bore ({COMMON})",
    )
    return hole_limits(fit.bore, fit.bore_tolerance)


def _modulus(say: Remarks, material: Material, key: str) -> float:
    if material.youngs_modulus_gpa is None:
        say.refuse(
            "fit-needs-modulus",
            f"{key}.youngs_modulus",
            f"{material.name} has no Young's modulus, without which the pressure of the fit "
            'is not known; give it, such as youngs_modulus = "200 GPa"',
            source=MODEL,
        )
        return math.nan
    return material.youngs_modulus_gpa * 1000.0


def _strength(say: Remarks, material: Material, key: str) -> float:
    strength = strength_mpa(material)
    if strength is None:
        say.refuse(
            "fit-needs-strength",
            f"{key}.yield_strength",
            f"{material.name} has neither yield nor tensile strength, without which nothing "
            'is known of what it bears; give one, such as yield_strength = "250 MPa"',
            source=MODEL,
        )
        return math.nan
    return strength


def _poisson(say: Remarks, material: Material) -> float:
    if material.poisson_ratio is not None:
        return material.poisson_ratio
    say.note(
        "note",
        "fit-poisson",
        f"{material.name} has no Poisson's ratio: {USUAL_POISSON:g}, which most metals have, is "
        "taken for the press fit",
    )
    return USUAL_POISSON


# -- what a diameter comes to --------------------------------------------------


def fitted(joint: Joint, knurled_mm: float, height_mm: float) -> PressFit:
    """Return what the fit comes to with a knurled diameter.

    At its limits the knurl is taken to have teeth of the same height: of shallower ones more
    stands in the hub for the same bite.

    Args:
        joint: The fit but for the knurl.
        knurled_mm: D_k [mm]
        height_mm: Tooth height H [mm]
    """
    fit, friction, bore = joint.fit, joint.friction, joint.fit.bore
    smallest, largest = joint.bore_limits
    upper, lower = joint.knurled_limits
    loosest, tightest = knurled_mm + lower - largest, knurled_mm + upper - smallest
    slack, tight = max(0.0, loosest) / 2.0, max(0.0, tightest) / 2.0

    def pressure(bite: float) -> float:
        mean = mean_bite(bite, height_mm, joint.full_height, joint.family)
        return fit_pressure(2.0 * mean, bore, joint.compliance)

    # A hub that yields presses no harder: little more than where it begins, in the end no
    # more than where all of its wall flows. A brittle one is not counted on for more than it
    # is allowed.
    pressure_for = pressure_for_hoop_stress if joint.brittle else pressure_for_equivalent_stress
    yields = pressure_for(joint.hub_limit, bore, fit.hub_diameter)
    flows = collapse_pressure(joint.hub_ultimate, bore, fit.hub_diameter)
    low, high = pressure(slack), pressure(tight)
    holding = _rub(joint, min(low, yields), friction.counted_on)
    rub_high = _rub(joint, min(high, flows), friction.to_press)
    best = max(_shear(joint, slack, tight, height_mm), rub_high)
    arm = bore / 2000.0
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
        joining_force_n=rub_high + _ploughing(joint, tight, height_mm),
        joining_force_low_n=holding + _ploughing(joint, slack, height_mm),
        holding_torque_nm=holding * arm,
        holding_torque_high_nm=best * arm,
        holding_force_n=holding,
        # Crests along the axis go out in the grooves in which they came.
        holding_force_high_n=rub_high if joint.along else best,
        wanted_torque_nm=fit.torque,
        wanted_force_n=fit.axial_force,
    )


def _shear(joint: Joint, slack: float, tight: float, height: float) -> float:
    """Return the full shear of the fit at which it is greatest: crests and ribs alike."""
    low, high = (
        bearing_share(bite, height, joint.full_height, joint.family) for bite in (slack, tight)
    )
    even = joint.hub_strength / (joint.shaft_strength + joint.hub_strength)
    share = min(max(low, even), high)
    return shear_force(
        share, joint.shaft_strength, joint.hub_strength, joint.fit.bore, joint.length
    )


def _rub(joint: Joint, pressure: float, friction: float) -> float:
    return friction_force(pressure, friction, joint.fit.bore, joint.length)


def _ploughing(joint: Joint, bite: float, height: float) -> float:
    """Crests along the axis plough their own section, others all of the bore's wall."""
    layer = mean_bite(bite, height, joint.full_height, "straight") if joint.along else bite
    return ploughing_force(layer, joint.fit.bore, joint.hub_flow)


def _too_deep(fit: PressFit, toothed: Toothed) -> bool:
    """Whether the crests displace more metal than the grooves have room for.

    Volume is kept in the knurl as well, so that is so where the bore is smaller than the
    blank was: the crests' bite is then deeper than they rose above it.
    """
    risen = (fit.knurled_diameter_mm - toothed.blank_mm) / 2.0
    return fit.interference_largest_mm / 2.0 > risen + BITE_SLACK_MM


# -- which diameter ------------------------------------------------------------


class _Trial(NamedTuple):
    fit: PressFit
    toothed: Toothed

    @property
    def roomy(self) -> bool:
        return not _too_deep(self.fit, self.toothed)

    @property
    def sound(self) -> bool:
        return self.fit.hub_bears and self.roomy

    @property
    def off_usual(self) -> float:
        return abs(self.fit.bite_mm - USUAL_BITE * self.toothed.height_mm)


def _trials(joint: Joint, sized: Sized, shown: float | None = None) -> list[_Trial]:
    """Return what diameters over the crests come to that have interference at any limits.

    With the last place in which they are shown, they are such that what is printed will do.
    """
    smallest, largest = joint.bore_limits
    least = largest - joint.knurled_limits[1]
    growth = 2.0 * rise(joint.full_height, joint.full_height, joint.family)
    most = max(smallest, least) + growth
    found = []
    for step in range(1, STEPS + 1):
        knurled = least + (most - least) * step / STEPS
        if shown is not None:
            knurled = math.ceil(knurled / shown) * shown
        toothed = sized(knurled)
        if toothed is not None:
            found.append(_Trial(fitted(joint, knurled, toothed.height_mm), toothed))
    return [t for t in found if t.toothed.good] or found


def choose_diameter(joint: Joint, sized: Sized) -> tuple[float, str]:
    """Return the knurled diameter that suits a fit, and why.

    Of those whose bite the hub bears and the grooves can take, at the tightest fit, and
    whose friction alone holds the wanted load at the loosest, it is the one whose crests
    bite nearest a third of their height. Where none holds the load it is the one that holds
    most; one that overfills its grooves is taken only where all do.

    Args:
        joint: The fit but for the knurl.
        sized: Which knurl is made for a diameter.
    """
    found = _trials(joint, sized)
    if not found:
        return joint.bore_limits[1] - joint.knurled_limits[1], "the least that is never loose"
    best, why = _best(found)
    return best.fit.knurled_diameter_mm, why


def _best(found: list[_Trial]) -> tuple[_Trial, str]:
    sound = [t for t in found if t.sound]
    if sound:
        best = _holding_best(sound)
        if not best.fit.holds:
            return best, "the most that the hub bears and the grooves can take"
        if best.fit.wanted_torque_nm is None and best.fit.wanted_force_n is None:
            return best, "its crests bite about a third of their height, and the hub bears it"
        return best, "friction alone holds the wanted load, and the hub bears it"
    roomy = [t for t in found if t.roomy]
    if roomy:
        best = min(roomy, key=lambda t: t.fit.hub_judged_mpa)
        return best, "the least bite that is never loose"
    bearing = [t for t in found if t.fit.hub_bears]
    if bearing:
        return _holding_best(bearing), "the hub bears it, though the grooves have no room for it"
    return min(found, key=lambda t: t.fit.hub_judged_mpa), "the least bite that is never loose"


def _holding_best(trials: list[_Trial]) -> _Trial:
    """Return the one of usual bite of those that hold the wanted load, or that holds most."""
    holding = [t for t in trials if t.fit.holds]
    if holding:
        return min(holding, key=lambda t: t.off_usual)
    return max(trials, key=lambda t: t.fit.holding_force_n)


# -- what speaks against it ----------------------------------------------------


def judge(
    say: Remarks, joint: Joint, knurled_mm: float, toothed: Toothed, sized: Sized, key: str
) -> PressFit:
    """Return what the fit comes to, and say what speaks against it.

    Args:
        say: Where it is said.
        joint: The fit but for the knurl.
        knurled_mm: D_k [mm]
        toothed: The knurl that is made.
        sized: Which knurl is made for another diameter.
        key: The job's key to change where the diameter does not do.
    """
    fit = fitted(joint, knurled_mm, toothed.height_mm)
    if fit.interference_smallest_mm <= 0.0:
        _refuse_loose(say, joint, fit, sized, key)
        return fit
    if fit.interference_largest_mm / 2.0 > toothed.height_mm + BITE_SLACK_MM:
        _refuse_too_tight(say, joint, fit, toothed, sized, key)
        return fit
    chosen = key == CHOSEN
    _judge_load(say, joint, _Trial(fit, toothed), sized, chosen=chosen)
    if not fit.hub_bears:
        _warn_of_hub(say, joint, fit, toothed, sized)
    if _too_deep(fit, toothed):
        say.note(
            "warning",
            "crests-overfill",
            f"the smallest bore, {say.mm(fit.bore_limits_mm[0])}, is smaller than the blank of "
            f"{say.mm(toothed.blank_mm)}: the grooves have no room for the metal that the "
            "crests displace, and it is pushed along or opens the hub; "
            + _offer(say, joint, sized, _Trial(fit, toothed), chosen=chosen),
            "conservation of volume",
        )
    say.note(
        "note",
        "fit-estimate",
        "what presses the knurl in and what it then holds are estimates between wide bounds, for "
        "no published model of the crests' bite was found: press in and load a first part",
        CONTRACT,
    )
    return fit


def _offer(
    say: Remarks, joint: Joint, sized: Sized, now: _Trial | None = None, *, chosen: bool = False
) -> str:
    """Return the advice to take the best diameter, if any does; else the bore that would do."""
    found = _trials(joint, sized, say.least_shown())
    doing = [t for t in found if t.sound and t.fit.can_hold]
    if doing:
        best, _ = _best(doing)
        return f"a knurled diameter of {say.mm(best.fit.knurled_diameter_mm)} would do"
    ways = []
    if now is not None:
        held = now.fit.holds
        advice = _Advice(
            say,
            joint,
            now,
            sized,
            chosen,
            lambda t: t.sound and (t.fit.holds or (t.fit.can_hold and not held)),
        )
        ways = [way for way in (advice.closer_bore(), advice.other_bore()) if way]
    if ways:
        return f"take {' or '.join(ways)}"
    return (
        "no diameter does with this bore: take a closer tolerance of the bore, a stronger "
        "or larger hub, a longer knurl or another pitch"
    )


class _Advice:
    """What could be changed so that a fit does; every figure is tried before it is told.

    A diameter that was chosen is chosen anew for what is changed; one that is given stays.
    """

    def __init__(
        self,
        say: Remarks,
        joint: Joint,
        now: _Trial,
        sized: Sized,
        chosen: bool,
        does: Callable[[_Trial], bool],
    ) -> None:
        self.say, self.joint, self.now, self.chosen, self.does = say, joint, now, chosen, does
        self.sized = cache(sized)

    def would_do(self, joint: Joint) -> bool:
        """Whether the fit does with another joint."""
        if self.chosen:
            found = _trials(joint, self.sized)
            return bool(found) and self.does(_best(found)[0])
        toothed = self.now.toothed
        fit = fitted(joint, self.now.fit.knurled_diameter_mm, toothed.height_mm)
        loose = fit.interference_smallest_mm <= 0.0
        tight = fit.interference_largest_mm / 2.0 > toothed.height_mm + BITE_SLACK_MM
        return not loose and not tight and self.does(_Trial(fit, toothed))

    def longer(self) -> str | None:
        """Return how long knurl and bore must be for the wanted load."""
        joint = self.joint
        length = joint.length * self.now.fit.used * (1.0 + 1e-9)
        if not length <= joint.room:
            return None
        length = math.ceil(length / self.say.least_shown()) * self.say.least_shown()
        if length > joint.room or not self.would_do(joint.with_length(length)):
            return None
        what = "a knurl"
        if joint.fit.hub_length is not None and joint.fit.hub_length < length:
            what = "a knurl and a bore" if joint.knurl_length < length else "a bore"
        return f"{what} {self.say.mm_up(length)} long"

    def closer_bore(self) -> str | None:
        """Return the widest closer tolerance of the bore that does, with its limits."""
        joint, fit = self.joint, self.joint.fit
        smallest, largest = joint.bore_limits
        if fit.bore > standard_tolerances()[-1].up_to_mm:
            return None
        for tolerance in ("H7", "H6"):
            low, high = hole_limits(fit.bore, tolerance)
            if high - low >= largest - smallest:
                continue
            if fit.bore_tolerance is not None:
                if self.would_do(joint.with_fit(bore_tolerance=tolerance)):
                    return f"a bore to {tolerance} ({self.say.mm(low)} to {self.say.mm(high)})"
                continue
            step = self.say.least_shown()
            top = math.floor((smallest + high - low) / step) * step
            if smallest < top and self.would_do(joint.with_fit(limits=(smallest, top))):
                return f"a bore of {self.say.mm(smallest)} to {self.say.mm(top)}"
        return None

    def other_bore(self) -> str | None:
        """Return the nearest bore of the same tolerance that does."""
        joint, fit = self.joint, self.joint.fit
        smallest, largest = joint.bore_limits
        step = 10.0 * self.say.least_shown()
        tried = {round(joint.spacing * i / BORE_STEPS / step) for i in range(1, BORE_STEPS + 1)}
        for shift in (sign * n * step for n in sorted(tried - {0}) for sign in (1, -1)):
            if fit.bore_tolerance is None:
                limits = smallest + shift, largest + shift
                off = max(abs(limit - fit.bore) for limit in limits)
                allowed = off <= BORE_NEAR_MM and limits[0] > 0.0 and limits[1] < fit.hub_diameter
                if allowed and self.would_do(joint.with_fit(limits=limits)):
                    return f"a bore of {self.say.mm(limits[0])} to {self.say.mm(limits[1])}"
                continue
            bore = round((fit.bore + shift) / step) * step
            most = min(fit.hub_diameter, standard_tolerances()[-1].up_to_mm)
            if 0.0 < bore < most and self.would_do(joint.with_fit(bore=bore)):
                return f"a bore of {self.say.mm(bore)} {fit.bore_tolerance}"
        return None

    def thicker_hub(self) -> str | None:
        """Return a larger hub that does."""
        joint, step = self.joint, self.say.least_shown()
        now, most = joint.fit.hub_diameter, LARGEST_HUB * joint.fit.bore
        for i in range(1, HUB_STEPS + 1):
            hub = math.ceil((now + (most - now) * i / HUB_STEPS) / step) * step
            if hub > now and self.would_do(joint.with_fit(hub_diameter=hub)):
                return f"a hub of {self.say.mm(hub)}"
        return None


def _refuse_loose(say: Remarks, joint: Joint, fit: PressFit, sized: Sized, key: str) -> None:
    knurled = fit.knurled_diameter_mm + fit.knurled_limits_mm[1]
    say.refuse(
        "fit-loose",
        key,
        f"the knurl may come out as small as {say.mm(knurled)} and the bore as large as "
        f"{say.mm(fit.bore_limits_mm[1])}: there would be no interference; "
        + _offer(say, joint, sized),
    )


def _refuse_too_tight(
    say: Remarks, joint: Joint, fit: PressFit, toothed: Toothed, sized: Sized, key: str
) -> None:
    root = fit.knurled_diameter_mm - 2.0 * toothed.height_mm
    say.refuse(
        "fit-too-tight",
        key,
        f"the smallest bore, {say.mm(fit.bore_limits_mm[0])}, is smaller than the knurl is at "
        f"the bottom of its grooves, {say.mm(root)}: it cannot be pressed in; "
        + _offer(say, joint, sized),
    )


def _judge_load(say: Remarks, joint: Joint, now: _Trial, sized: Sized, *, chosen: bool) -> None:
    fit = now.fit
    wanted = _load_text(say, fit.wanted_torque_nm, fit.wanted_force_n, about=False)
    torque, force = fit.wanted_torque_nm is not None, fit.wanted_force_n is not None
    most = _load_text(
        say,
        fit.holding_torque_high_nm if torque else None,
        fit.holding_force_high_n if force else None,
    )
    if not fit.can_hold:
        say.refuse(
            "fit-cannot-hold",
            "fit.torque" if torque else "fit.axial_force",
            f"{wanted} is wanted, and at the best fit within the limits not even "
            + ("high friction" if joint.along and not torque else "full shear of the crests")
            + f" holds more than about {most}; make the knurl longer or larger, take a stronger "
            "hub, or hold the load by a key, a pin or a shoulder",
            source=MODEL,
        )
    elif not fit.holds:
        counted = _load_text(
            say,
            fit.holding_torque_nm if torque else None,
            fit.holding_force_n if force else None,
        )
        better = [t for t in _trials(joint, sized, say.least_shown()) if t.sound and t.fit.holds]
        advice = (
            f"a knurled diameter of {say.mm(_best(better)[0].fit.knurled_diameter_mm)} would do"
            if better
            else _more_hold(say, joint, now, sized, chosen=chosen)
        )
        say.note(
            "warning",
            "fit-short",
            f"{wanted} is wanted, and friction alone holds about {counted} at the loosest fit; "
            f"the crests' bite adds to it what is not known, at the very best {most} in all; "
            f"{advice}",
            MODEL,
        )


def _more_hold(say: Remarks, joint: Joint, now: _Trial, sized: Sized, *, chosen: bool) -> str:
    """Return what would let friction alone hold the wanted load."""
    advice = _Advice(
        say, joint, now, sized, chosen, lambda t: t.fit.holds and (t.sound or not now.sound)
    )
    found = (advice.longer(), advice.closer_bore(), advice.thicker_hub())
    ways = [way for way in found if way] or [way for way in (advice.other_bore(),) if way]
    shoulder = "hold the load by a key, a pin or a shoulder"
    if ways:
        return f"take {', '.join(ways)}, or {shoulder}"
    length = joint.length * now.fit.used
    long = (
        f", and the knurl would have to be {say.mm_up(length)} long" if length < MOST_TOLD else ""
    )
    return (
        f"no closer or slightly other bore and no thicker hub makes friction hold it{long}: a "
        f"finer pitch, whose limits are closer, may; or {shoulder}"
    )


def _load_text(
    say: Remarks, torque_nm: float | None, force_n: float | None, *, about: bool = True
) -> str:
    """Return a load in words; a small one, of which places would leave nothing, by digits."""
    texts = []
    for value, kind in ((torque_nm, Kind.TORQUE), (force_n, Kind.FORCE)):
        if value is not None:
            write = show_about if about or value < SMALL_LOAD else show
            texts.append(write(value, kind, say.units))
    return " or ".join(texts) if about else " with ".join(texts)


def _warn_of_hub(say: Remarks, joint: Joint, fit: PressFit, toothed: Toothed, sized: Sized) -> None:
    tight = fit.interference_largest_mm / 2.0
    mean = mean_bite(tight, toothed.height_mm, joint.full_height, joint.family)
    least, most = _bearing_hubs(joint, 2.0 * mean)
    trials = _trials(joint, sized, say.least_shown())
    bearing = [t for t in trials if t.sound] or [t for t in trials if t.fit.hub_bears]
    ways = ["a stronger hub", "a finer pitch"]
    if joint.fit.hub_diameter < least < most == math.inf:
        ways.insert(0, f"a hub of {say.mm_up(least)} at least")
    if bearing:
        largest = max(t.fit.knurled_diameter_mm for t in bearing)
        ways.insert(0, f"a knurled diameter of {say.mm_down(largest)} at most")
    judged, limit = stress_texts(fit.hub_judged_mpa, fit.hub_limit_mpa, say.units)
    if fit.hub_brittle:
        tensile = show(joint.hub_ultimate, Kind.STRESS, say.units)
        what = (
            f"at the tightest fit the hoop stress at the bore of the hub is about {judged}, above "
            f"the {limit} that a brittle hub is allowed of its tensile strength of {tensile}: it "
            "may crack"
        )
    else:
        hoop = show_about(fit.hub_stress_mpa, Kind.STRESS, say.units)
        what = (
            f"at the tightest fit the hub is stressed to about {judged} (von Mises) at its bore, "
            f"of it {hoop} hoop stress, above its yield strength of {limit}: it yields or cracks"
        )
    say.note("warning", "hub-cracks", f"{what}; take {', '.join(ways[:-1])} or {ways[-1]}", MODEL)


def _bearing_hubs(joint: Joint, interference_mm: float) -> tuple[float, float]:
    """Return between which diameters a hub bears a smooth fit's interference."""
    bore, limit, elastic = joint.fit.bore, joint.hub_limit, joint.elastic._asdict()
    if joint.brittle:
        return least_hub_diameter(interference_mm, bore, limit, **elastic), math.inf
    return hubs_for_equivalent_stress(interference_mm, bore, limit, **elastic)
