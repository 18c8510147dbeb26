"""What the set-up bears: loads and deflection of a plan, what they mean, what would help.

Figures are estimates and their texts say so. Whatever is judged here is judged by the
penetration that is lost where the work gives way most.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

from knurlcam.data.rolls import roll_sets
from knurlcam.job.model import Job
from knurlcam.mechanics.beam import (
    HEAVIEST_MOMENT,
    HEAVIEST_SHARES,
    SOFTEST_SHARE,
    Beam,
    Piece,
    Support,
    plain_moment_mm,
    plain_tailstock_share,
    plain_yield_mm_per_n,
)
from knurlcam.mechanics.contact import Contact
from knurlcam.mechanics.held_work import HeldWork, Softest, most_chord_mm
from knurlcam.mechanics.loads import (
    FLANK_FRICTION,
    FlowStress,
    Pressing,
    Prints,
    axial_force_n,
    flow_stress,
    indentation_pressure_mpa,
    net_push_n,
    power_w,
    strength_mpa,
    torque_nm,
    wedge_width,
)
from knurlcam.plan.remarks import Remarks
from knurlcam.units.kinds import Kind, Units
from knurlcam.units.show import show, show_about

__all__ = [
    "ALLOWED_LOSS",
    "SUPPORTS",
    "Z_PLACES",
    "Deflection",
    "Loads",
    "Place",
    "RollWay",
    "Stiffness",
    "Teeth",
    "foresee",
    "is_stiff",
    "judge",
    "pieces_of",
]

SUPPORTS: dict[str, Support] = {
    "between centres": "simply supported",
    "chuck and centre": "fixed and supported",
    "chuck": "fixed and free",
}

NEAR = 0.99
"""A set-up this near to a limit is looked at closely."""

ALLOWED_LOSS = 0.1
"""Of the penetration: a knurl that loses more to the work's giving way looks uneven."""

NO_PUSH = 1e-6
"""Of a roll's force: what is left of two that cancel is rounding."""

HIGH_CENTRE_LOAD_N = 1000.0
"""From here on a live ball-bearing centre is warned of (rule of this program)."""

SOURCE = "slip-line wedge and beam theory, an estimate"

Z_PLACES: dict[Units, int] = {"mm": 1, "inch": 2}
"""Of a place along the work where an estimate is largest."""

PLACES_LOOKED_AT = 24
"""Parts into which the way of the rolls along stepped work is cut to look at it."""

FARTHEST = 0.2
"""Of the blank's diameter: a slide that should follow further follows no small deflection."""

BENDS_SURELY = 1.5
"""Times the stress from which the work stays bent: the likely force takes every tooth as deep
as on the line of centres, and on the mean of the arc they are two thirds as deep."""

LENGTH_FOUND_MM = 0.01
"""How near the longest overhang is looked for; shown rounded down."""

LEAST_FACE_MM = 2.0
"""Narrower rolls are none (common practice)."""

MOST_TIMES = 20.0
"""As thick as it is: beyond that nobody would take it for advice."""

MORE_PASSES = 2
"""How many times as many passes the advice speaks of."""


class Teeth(NamedTuple):
    """The teeth that press.

    Attributes:
        prints: What a roll has.
        pitch_mm: Pitch t normal to the teeth [mm]
        profile_deg: Profile angle alpha [deg]
        one_hand_deg: Helix angle where all rolls have teeth of one hand; else 0 [deg]
        pressure_share: Pressure of indentation over flow stress [-]
        strip_per_mm: Share of a pitch that a strip covers, for each mm of penetration [1/mm]
    """

    prints: Prints
    pitch_mm: float
    profile_deg: float
    one_hand_deg: float
    pressure_share: float
    strip_per_mm: float

    @classmethod
    def of(cls, prints: Prints, pitch_mm: float, profile_deg: float, one_hand_deg: float) -> Teeth:
        """Return teeth with what follows from their profile."""
        share = indentation_pressure_mpa(1.0, profile_deg)
        strip = wedge_width(profile_deg) / pitch_mm
        return cls(prints, pitch_mm, profile_deg, one_hand_deg, share, strip)


class RollWay(NamedTuple):
    """Where the rolls' left edge goes in the passes at full penetration, from Z0.

    Attributes:
        line_mm: At the end towards the headstock [mm]
        far_mm: At the other end; the same when plunging [mm]
    """

    line_mm: float
    far_mm: float

    def fullest_mm(self, face_mm: float) -> float:
        """Return the place nearest to the tailstock with the most of the face on the work."""
        return min(max(self.line_mm, -face_mm), self.far_mm)


class Loads(NamedTuple):
    """Loads of one pass: estimates.

    Attributes:
        radial_force_n: One roll's force on the work along the line of centres [N]
        radial_force_low_n: Lower end: metal that has just begun to yield, teeth less deep
            along the arc, only what is deeper than the pass before [N]
        radial_force_high_n: Upper end: tensile strength, friction on the flanks [N]
        net_push_n: What bends the work, across the spindle [N]
        axial_force_n: Force along the axis [N]
        torque_nm: Torque on the spindle [N*m]
        power_w: Power at the spindle [W]
        arc_mm: Arc of contact [mm]
        face_mm: Face in contact [mm]
        teeth: Teeth in contact, as a length [-]
    """

    radial_force_n: float
    radial_force_low_n: float
    radial_force_high_n: float
    net_push_n: float
    axial_force_n: float
    torque_nm: float
    power_w: float
    arc_mm: float
    face_mm: float
    teeth: float


class Deflection(NamedTuple):
    """How the work gives way in the passes at full penetration: estimates.

    Attributes:
        max_mm: Largest deflection, while the rolls press to the planned penetration [mm]
        z_mm: Where: Z of the middle of the face on the work, from Z0 [mm]
        lost_mm: Penetration lost there where the slide does not follow [mm]
        evenness: Smallest over largest penetration along the knurl, the slide not following [-]
    """

    max_mm: float
    z_mm: float
    lost_mm: float
    evenness: float


@dataclass(frozen=True)
class Stiffness:
    """Teeth, metal, tool and held work, and what comes of them.

    Attributes:
        teeth: The teeth that press.
        flow: Flow stress of the metal.
        pressing: How hard one roll must be pressed.
        contact: Where the slide stands for a penetration.
        rolls: How many rolls touch the work.
        face_mm: Face width [mm]
        way: Where the rolls go at full penetration.
        penetration_mm: Full penetration c [mm]
        step_mm: How much of it the last pass presses [mm]
        rpm: Spindle speed [rev/min]
        work: The work as it is held; None where Young's modulus is not known.
    """

    teeth: Teeth
    flow: FlowStress
    pressing: Pressing
    contact: Contact
    rolls: int
    face_mm: float
    way: RollWay
    penetration_mm: float
    step_mm: float
    rpm: float
    work: HeldWork | None

    @property
    def traverses(self) -> bool:
        """Whether the rolls move along the work."""
        return self.way.line_mm != self.way.far_mm

    @property
    def cancels(self) -> bool:
        """Whether the rolls cancel each other's push at full depth, as a straddle's do."""
        return self.loads.net_push_n < NO_PUSH * self.loads.radial_force_n

    @property
    def can_follow(self) -> bool:
        """Whether there is a deflection that the slide can follow."""
        return self.work is not None and not self.cancels

    @cached_property
    def loads(self) -> Loads:
        """Loads of the pass at full penetration."""
        return self.loads_at(self.penetration_mm, self.step_mm)

    def loads_at(self, penetration_mm: float, step_mm: float) -> Loads:
        """Return the loads of a pass.

        Args:
            penetration_mm: Its penetration [mm]
            step_mm: How much of it this pass presses [mm]
        """
        contact, teeth, pressing = self.contact, self.teeth, self.pressing
        face = min(self.face_mm, -self.way.line_mm)
        force = pressing.roll_force_n(penetration_mm, face)
        arc = pressing.arc_mm(penetration_mm)
        share, blank, roll = (
            pressing.work_share(penetration_mm),
            contact.blank_radius_mm,
            contact.roll_radius_mm,
        )
        torque = torque_nm(force, self.rolls, arc, share, blank, roll)
        # Teeth of one hand push along the axis like those of a helical gear.
        axial = torque * 1000.0 / blank * math.tan(math.radians(teeth.one_hand_deg))
        half = math.radians(teeth.profile_deg / 2.0)
        if self.traverses:
            front = penetration_mm**2 * math.tan(half) * arc / teeth.pitch_mm
            pressure = pressing.pressure_mpa
            axial += axial_force_n(force, self.rolls, front, pressure, teeth.profile_deg)
        apart = blank + roll - penetration_mm
        return Loads(
            radial_force_n=force,
            radial_force_low_n=force * self.low_share(step_mm / penetration_mm),
            radial_force_high_n=force * self.high_share,
            net_push_n=net_push_n(force, self.rolls, contact.centre_mm(penetration_mm), apart),
            axial_force_n=axial,
            torque_nm=torque,
            power_w=power_w(torque, self.rpm),
            arc_mm=arc,
            face_mm=face,
            teeth=arc / teeth.pitch_mm,
        )

    def low_share(self, fresh: float) -> float:
        """Return the lower end of a force over the likely one.

        Args:
            fresh: Share of the penetration that the pass presses; the rest are grooves that
                the pass before has left [-]
        """
        # Mean depth along the arc of a step s of the penetration c: c - s / 3.
        return self.flow.low_mpa / self.flow.likely_mpa * (1.0 - fresh / 3.0) * math.sqrt(fresh)

    @property
    def high_share(self) -> float:
        """Upper end of a force over the likely one."""
        friction = FLANK_FRICTION / math.tan(math.radians(self.teeth.profile_deg / 2.0))
        return self.flow.high_mpa / self.flow.likely_mpa * (1.0 + friction)

    # -- deflection ------------------------------------------------------------

    @cached_property
    def softest(self) -> Softest:
        """Where the work gives way most and least."""
        assert self.work is not None
        return self.work.softest(self.way.line_mm, self.way.far_mm)

    @property
    def max_mm(self) -> float:
        """Largest deflection if the rolls were pressed to the planned penetration [mm]."""
        assert self.work is not None
        return self.work.deflection_mm(self.penetration_mm, self.softest.most_left_mm)

    @cached_property
    def deflection(self) -> Deflection | None:
        """How the work gives way; None where Young's modulus is not known."""
        work, c = self.work, self.penetration_mm
        if work is None:
            return None
        most = self.softest.most_left_mm
        lowest, highest = self.left_by(work)
        return Deflection(
            max_mm=work.deflection_mm(c, most),
            z_mm=work.middle_mm(most),
            lost_mm=max(0.0, c - lowest),
            evenness=max(0.0, lowest) / highest,
        )

    def left_by(self, work: HeldWork) -> tuple[float, float]:
        """Return the least and the largest penetration that a straight slide leaves [mm].

        When plunging the work bends under the face, and its two edges differ; a traverse
        evens that out, for every place meets the whole face.

        Args:
            work: The work as it is held, or as it might be.
        """
        across = work.contact.centre_mm(self.penetration_mm)
        if self.traverses:
            return work.extremes_mm(across, *self.way)
        edges = work.edges_mm(across, self.way.line_mm)
        return min(edges), max(edges)

    def evenness_of(self, work: HeldWork) -> float:
        """Return smallest over largest penetration along the knurl [-].

        Args:
            work: The work as it is held, or as it might be.
        """
        lowest, highest = self.left_by(work)
        return max(0.0, lowest) / highest

    @cached_property
    def evenness_range(self) -> tuple[float, float]:
        """Evenness at the upper and at the lower end of the force [-]."""
        assert self.work is not None
        shares = self.high_share, self.low_share(self.step_mm / self.penetration_mm)
        low, high = (self.evenness_of(self._stronger(self.work, share)) for share in shares)
        return low, high

    @cached_property
    def followed_range(self) -> tuple[float, float, float]:
        """What a slide that follows makes if the force is not the likely one.

        Evenness at the upper and at the lower end of the force [-], and how much too deep it
        comes at the lower [mm].
        """
        assert self.work is not None
        work, c = self.work, self.penetration_mm
        slide = [(work.across_mm(c, left), left) for left in self._places]
        found, deepest = [], 0.0
        for share in (self.high_share, self.low_share(self.step_mm / c)):
            other = self._stronger(work, share)
            depths = [other.penetration_mm(across, left) for across, left in slide]
            found.append(max(0.0, min(depths)) / max(depths))
            deepest = max(depths)
        return found[0], found[1], max(0.0, deepest - c)

    @staticmethod
    def _stronger(work: HeldWork, share: float) -> HeldWork:
        pressure = work.pressing.pressure_mpa * share
        return replace(work, pressing=replace(work.pressing, pressure_mpa=pressure))

    @property
    def hardest_mm(self) -> float:
        """Penetration at which the rolls push hardest across on their way in [mm].

        The full one; but of two that cancel there three quarters of it, where c^1.5 times
        the cosine of their directions, sqrt(c_full - c) or nearly so, is largest.
        """
        return (0.75 if self.cancels else 1.0) * self.penetration_mm

    @cached_property
    def stress_mpa(self) -> float:
        """Largest bending stress if the rolls were pressed to the planned penetration [MPa]."""
        assert self.work is not None
        work, beam, c = self.work, self.work.beam, self.hardest_mm
        return max(
            [
                work.push_n(c, work.face_on_work_mm(left))
                * beam.stress_mpa_per_n(beam.length_mm + work.middle_mm(left))
                for left in self._places
            ]
        )

    @cached_property
    def relieved_mpa(self) -> float:
        """Largest bending stress where the work gives way and the slide goes straight [MPa]."""
        assert self.work is not None
        work, beam = self.work, self.work.beam
        found = []
        for wanted in {self.hardest_mm, self.penetration_mm}:
            across = self.contact.centre_mm(wanted)
            for left in self._places:
                kept = max(0.0, work.settled_mm(across, left))
                push = work.push_n(kept, work.face_on_work_mm(left))
                found.append(push * beam.stress_mpa_per_n(beam.length_mm + work.middle_mm(left)))
        return max(found)

    @cached_property
    def tailstock_n(self) -> float:
        """Largest load across on the centre at the tailstock [N].

        Where the whole face is on the work and nearest to the centre: further out the push
        falls faster than the centre's share of it grows.
        """
        assert self.work is not None
        work, beam = self.work, self.work.beam
        left = self.way.fullest_mm(self.face_mm)
        push = work.push_n(self.hardest_mm, work.face_on_work_mm(left))
        return push * beam.tailstock_share(beam.length_mm + work.middle_mm(left))

    @cached_property
    def _places(self) -> tuple[float, ...]:
        """Places of the rolls' left edge at which the work is looked at."""
        assert self.work is not None
        beam, half = self.work.beam, self.face_mm / 2.0
        line, far = self.way
        heaviest = [(s - 1.0) * beam.length_mm - half for s in HEAVIEST_SHARES[beam.support]]
        parts = PLACES_LOOKED_AT if len(beam.pieces) > 1 else 2
        places = {
            *(line + (far - line) * i / parts for i in range(parts + 1)),
            *(min(max(place, line), far) for place in heaviest),
            self.way.fullest_mm(self.face_mm),
            *self.softest,
        }
        return tuple(places)

    # -- following -------------------------------------------------------------

    @cached_property
    def evenness_compensated(self) -> float | None:
        """Evenness where the slide follows the work [-]; None without Young's modulus.

        The least that it can be: no place comes deeper than planned, and none shallower
        than chords and setting off allow. When plunging the tilt of the work stays.
        """
        work, c = self.work, self.penetration_mm
        if work is None:
            return None
        if not self.traverses:
            edges = work.edges_mm(work.across_mm(c, self.way.line_mm), self.way.line_mm)
            return max(0.0, min(edges)) / max(edges)
        return 1.0 - most_chord_mm(c) / c

    def curve(self, places: int = 40) -> tuple[Place, ...]:
        """Return penetration and deflection along the way of the rolls, from the line on.

        Args:
            places: Into how many parts the way is cut [-]
        """
        work, c = self.work, self.penetration_mm
        if work is None:
            return ()
        line, far = self.way
        across = self.contact.centre_mm(c)
        lefts = [line + (far - line) * i / places for i in range(places + 1)]
        return tuple(
            Place(
                work.middle_mm(left),
                work.deflection_mm(c, left),
                work.penetration_mm(across, left),
            )
            for left in (lefts if self.traverses else lefts[:1])
        )


class Place(NamedTuple):
    """The work under the rolls at one place.

    Attributes:
        z_mm: Middle of the face on the work, from Z0 [mm]
        deflection_mm: Deflection there at the planned penetration [mm]
        penetration_mm: Penetration there where the slide does not follow [mm]
    """

    z_mm: float
    deflection_mm: float
    penetration_mm: float


# -- made from a job -----------------------------------------------------------


def pieces_of(job: Job, blank_mm: float) -> tuple[Piece, ...]:
    """Return the pieces of the work from the chuck or the driven centre to the end face.

    Under the knurl it has the blank's diameter, whatever the steps say.

    Args:
        job: The job.
        blank_mm: Blank diameter [mm]
    """
    if job.part.steps is None:
        return (Piece(job.part.length, blank_mm),)
    begin, end = job.knurl.start, job.knurl.start + job.knurl.length
    pieces: list[Piece] = []
    at = 0.0
    for diameter, length in job.part.steps:
        cuts = [at, *(cut for cut in (begin, end) if at < cut < at + length), at + length]
        for low, high in pairwise(cuts):
            inside = begin <= low and high <= end
            pieces.append(Piece(high - low, blank_mm if inside else diameter))
        at += length
    return tuple(reversed(pieces))


def is_stiff(
    job: Job, teeth: Teeth, contact: Contact, penetration_mm: float, way: RollWay
) -> float | None:
    """Tell a set-up about which there is nothing to say, without working it all out.

    Most are such, and a family plans thousands of them. What this passes, :func:`judge`
    would say nothing about: a test holds the two against each other.

    Args:
        job: The job.
        teeth: The teeth that press.
        contact: Where the slide stands for a penetration.
        penetration_mm: Full penetration [mm]
        way: Where the rolls go at full penetration.

    Returns:
        Load across on the centre at the tailstock [N]; None where it must be looked at
        closely.
    """
    holding, tool = job.holding, job.tool
    if (
        job.process.compensate
        or job.part.steps is not None
        or (holding.method == "chuck" and (way.line_mm != way.far_mm or teeth.one_hand_deg))
        or holding.grip is not None
        or tool.force_limit is not None
        or job.machine.torque_limit is not None
    ):
        return None
    material = job.part.material_row
    flow, modulus = flow_stress(material), material.youngs_modulus_gpa
    if flow is None or modulus is None:
        return None
    radius, length, face = contact.blank_radius_mm, job.part.length, tool.face_width
    pressing, count = _pressing(flow, teeth, contact), tool.roll_count
    on_work = min(face, -way.line_mm)
    force = pressing.roll_force_n(penetration_mm, on_work)
    apart = radius + contact.roll_radius_mm - penetration_mm
    turn = contact.centre_mm(penetration_mm) / apart
    push = count * force * turn
    support = SUPPORTS[holding.method]
    # Full push at the softest place that the rolls come to: more than there is anywhere.
    low = length + way.line_mm + on_work / 2.0
    high = length + way.far_mm + min(face, -way.far_mm) / 2.0
    flexure = modulus * 1000.0 * math.pi * (2.0 * radius) ** 4 / 64.0
    # Plunging, the softer edge counts: nothing on the face gives way more than a push there.
    beside = on_work / 2.0 if way.line_mm == way.far_mm else 0.0
    place = min(max(SOFTEST_SHARE[support] * length, low - beside), high + beside)
    soft = plain_yield_mm_per_n(support, length, flexure, place)
    if tool.style == "straddle":
        if count * force / apart * soft > NEAR:
            return None  # it may be pushed aside
        hardest = 0.75 * penetration_mm
        push = count * pressing.roll_force_n(hardest, on_work) * contact.centre_mm(hardest)
        push /= radius + contact.roll_radius_mm - hardest
    elif push * soft * turn > ALLOWED_LOSS * penetration_mm * NEAR:
        return None
    strength = strength_mpa(material)
    bears = math.inf if strength is None else NEAR * strength * math.pi * radius**3 / 4.0
    # First as if the rolls came to the worst place of all, then where they do come.
    if push * HEAVIEST_MOMENT[support] * length > bears:
        moments = [
            plain_moment_mm(support, length, min(max(share * length, low), high))
            for share in HEAVIEST_SHARES[support]
        ]
        if push * max(moments) > bears:
            return None
    fullest = way.fullest_mm(face)
    middle = length + fullest + min(face, -fullest) / 2.0
    return push * plain_tailstock_share(support, length, middle)


def _pressing(flow: FlowStress, teeth: Teeth, contact: Contact) -> Pressing:
    blank, roll = contact.blank_radius_mm, contact.roll_radius_mm
    return Pressing(
        flow.likely_mpa * teeth.pressure_share,
        teeth.strip_per_mm,
        teeth.prints,
        blank * roll / (blank + roll),
    )


def foresee(
    job: Job,
    teeth: Teeth,
    contact: Contact,
    penetration_mm: float,
    step_mm: float,
    way: RollWay,
    rpm: float,
) -> Stiffness | None:
    """Return what is foreseen of loads and deflection.

    Args:
        job: The job.
        teeth: The teeth that press.
        contact: Where the slide stands for a penetration.
        penetration_mm: Full penetration [mm]
        step_mm: How much of it the last pass presses [mm]
        way: Where the rolls go at full penetration.
        rpm: Spindle speed [rev/min]

    Returns:
        The stiffness; None where the material's row tells nothing about its strength.
    """
    material, tool = job.part.material_row, job.tool
    flow = flow_stress(material)
    if flow is None:
        return None
    pressing = _pressing(flow, teeth, contact)
    work = None
    if material.youngs_modulus_gpa is not None:
        beam = Beam(
            SUPPORTS[job.holding.method],
            material.youngs_modulus_gpa * 1000.0,
            pieces_of(job, 2.0 * contact.blank_radius_mm),
        )
        work = HeldWork(contact, pressing, tool.roll_count, tool.face_width, beam)
    return Stiffness(
        teeth=teeth,
        flow=flow,
        pressing=pressing,
        contact=contact,
        rolls=tool.roll_count,
        face_mm=tool.face_width,
        way=way,
        penetration_mm=penetration_mm,
        step_mm=step_mm,
        rpm=rpm,
        work=work,
    )


def judge(job: Job, stiffness: Stiffness | None, remarks: Remarks) -> float:
    """Say what loads and deflection mean for the set-up, with numbers, and what would help.

    Args:
        job: The job.
        stiffness: What is foreseen.
        remarks: Where it is said.

    Returns:
        Load across on the centre at the tailstock; 0 where it is not known [N]
    """
    work = None if stiffness is None else stiffness.work
    if stiffness is not None:
        _judge_limits(job, stiffness, remarks)
        _judge_grip(job, stiffness, remarks)
    if stiffness is not None and work is not None:
        judge = _Judge(job, stiffness, work, remarks)
        judge.giving_way()
        judge.bending()
        return stiffness.tailstock_n
    _say_what_is_missing(job, stiffness, remarks)
    return 0.0


def _say_what_is_missing(job: Job, stiffness: Stiffness | None, remarks: Remarks) -> None:
    name = job.part.material_row.name
    if stiffness is None:
        problem = f"no strength and no hardness of {name} is known"
        what, cure = "forces and deflection", "a table with its yield_strength"
    else:
        problem = f"Young's modulus of {name} is not known"
        what, cure = "deflection", "a table with its youngs_modulus"
    if job.process.compensate:
        remarks.refuse(
            "nothing-to-follow",
            "process.compensate",
            f"{problem}: there is no deflection that the slide could follow; give part.material "
            f"as {cure}, or leave compensate out",
            source=SOURCE,
        )
    else:
        message = f"{problem}: {what} cannot be told; give part.material as {cure}"
        remarks.note("note", "loads-not-told", message, SOURCE)


def _judge_limits(job: Job, stiffness: Stiffness, remarks: Remarks) -> None:
    """Hold the loads against what tool and spindle are said to bear."""
    for code, key, what, load, limit, kind in (
        (
            "above-tool-limit",
            "tool.force_limit",
            "one roll is pressed with",
            "radial_force_n",
            job.tool.force_limit,
            Kind.FORCE,
        ),
        (
            "above-torque-limit",
            "machine.torque_limit",
            "the spindle needs",
            "torque_nm",
            job.machine.torque_limit,
            Kind.TORQUE,
        ),
    ):
        if limit is None:
            continue
        value: float = getattr(stiffness.loads, load)
        high = value * stiffness.high_share
        if high <= limit:
            continue
        likely, most, allowed = (show_about(v, kind, job.units) for v in (value, high, limit))
        text = f"{what} about {likely}, at most {most}, and {allowed} is allowed"
        cure = "take narrower rolls or a smaller pitch"
        if value > limit:
            remarks.refuse(code, key, f"{text}; {cure}", source=SOURCE)
        else:
            remarks.note("warning", code, f"{text}: {cure} if it labours", SOURCE)


def _judge_grip(job: Job, stiffness: Stiffness, remarks: Remarks) -> None:
    """Hold the push along the axis against what the chuck holds."""
    holding = job.holding
    axial = stiffness.loads.axial_force_n
    if holding.method == "between centres" or not axial:
        return
    likely, most = (
        show_about(v, Kind.FORCE, job.units) for v in (axial, axial * stiffness.high_share)
    )
    text = f"the rolls push the work along with about {likely}, at most {most}"
    if stiffness.traverses:
        text += ": into the chuck towards the headstock, out of it on the way back"
    cure = "back the work with a stop or a shoulder, and bring up a centre"
    if holding.method != "chuck":
        cure = "back the work with a stop or a shoulder"
    if holding.grip is None:
        if holding.method == "chuck":
            remarks.note(
                "note",
                "grip-not-given",
                f"{text}; the job gives no holding.grip to compare it with: {cure}",
            )
    elif axial * stiffness.high_share > holding.grip:
        grip = show_about(holding.grip, Kind.FORCE, job.units)
        message = f"{text}; the chuck holds {grip}: {cure}"
        remarks.note("warning", "slips-in-the-chuck", message, SOURCE)


class _Judge:
    """Judges how the work of one plan gives way."""

    def __init__(self, job: Job, stiffness: Stiffness, work: HeldWork, remarks: Remarks) -> None:
        self.job, self.stiffness, self.work, self.remarks = job, stiffness, work, remarks

    def about(self, value: float, kind: Kind) -> str:
        return show_about(value, kind, self.job.units)

    def force(self, value: float) -> str:
        return self.about(value, Kind.FORCE)

    # -- giving way ------------------------------------------------------------

    def giving_way(self) -> None:
        stiffness, job = self.stiffness, self.job
        follows = job.process.compensate and stiffness.can_follow
        if job.process.compensate and not follows:
            self.remarks.note(
                "note",
                "goes-straight",
                "the two rolls cancel each other's push at full depth: there is nothing for the "
                "slide to follow, and it goes straight",
                SOURCE,
            )
        if follows and stiffness.max_mm > FARTHEST * 2.0 * stiffness.contact.blank_radius_mm:
            self.remarks.refuse(
                "follows-too-far",
                "process.compensate",
                f"the slide would have to follow the work by about "
                f"{self.about(stiffness.max_mm, Kind.LENGTH)}, more than a fifth of its "
                f"diameter; {self.stiffer()}, or take a straddle",
                source=SOURCE,
            )
        if not self.gives_way():
            return
        made = stiffness.deflection
        assert made is not None
        low, high = stiffness.evenness_range
        place = show(made.z_mm, Kind.LENGTH, job.units, Z_PLACES[job.units])
        text = (
            f"pressed to {self.remarks.mm(stiffness.penetration_mm)} the work would give way by "
            f"about {self.about(made.max_mm, Kind.LENGTH)} at Z {place}, under "
            f"{self.force(stiffness.loads.net_push_n)}"
        )
        if stiffness.cancels:
            text = (
                f"two rolls that should cancel push the work aside at Z {place}, for it is softer "
                "than they push it off"
            )
        straight = f"{made.evenness:.2f} ({low:.2f} to {high:.2f}, as the force is uncertain)"
        if follows:
            self.say_that_it_follows(text, straight)
            return
        advice = "; ".join(self.advice())
        self.remarks.note(
            "warning",
            "gives-way",
            f"{text}: a straight slide loses {self.about(made.lost_mm, Kind.LENGTH)} of the "
            f"penetration there, and the knurl's evenness is {straight}. "
            f"{advice[0].upper()}{advice[1:]}",
            SOURCE,
        )

    def say_that_it_follows(self, text: str, straight: str) -> None:
        stiffness = self.stiffness
        high, low, over = stiffness.followed_range
        worse = low < stiffness.evenness_range[1]
        self.remarks.note(
            "warning" if over > ALLOWED_LOSS * stiffness.penetration_mm else "note",
            "slide-follows",
            f"{text}; the slide follows it. It rests on an estimate: with the most force the "
            f"evenness is {high:.2f}, with the least {low:.2f}, and the knurl comes "
            f"{self.about(over, Kind.LENGTH)} too deep; straight it would be {straight}. "
            + ("With the least force straight is better: " if worse else "")
            + "measure the first part along the knurl",
            SOURCE,
        )

    def gives_way(self) -> bool:
        """Whether more than a tenth of the penetration is lost; cheap where it is far from it."""
        stiffness, work = self.stiffness, self.work
        if stiffness.cancels:
            left = stiffness.softest.most_left_mm
            return work.is_pushed_aside(stiffness.penetration_mm, left)
        return self.lost_share(work) > ALLOWED_LOSS

    def lost_share(self, work: HeldWork) -> float:
        """Return the share of the penetration that is lost where most of it is."""
        c = self.stiffness.penetration_mm
        return (c - self.stiffness.left_by(work)[0]) / c

    def advice(self) -> list[str]:
        """Return what would help, with numbers, what helps most at last."""
        stiffness, work = self.stiffness, self.work
        lost = self.lost_share(work)
        said = [self.stiffer()]
        face = self.widest_that_serves()
        if stiffness.traverses and face is not None:
            said.append(f"or with rolls at most {self.remarks.mm_down(face)} wide")
        for method, support in SUPPORTS.items():
            if method == self.job.holding.method:
                continue
            held = replace(work, beam=replace(work.beam, support=support))
            if self.lost_share(held) < lost - 0.01:
                name = {"chuck": "in a chuck", "chuck and centre": "in a chuck with a centre"}
                evenness = stiffness.evenness_of(held)
                said.append(f"held {name.get(method, method)}, evenness {evenness:.2f}")
        if stiffness.traverses and not stiffness.cancels:
            passes = self.more_passes()
            if passes:
                said.append(passes)
        straddled = self.straddled()
        if straddled is not None and self.lost_share(straddled) <= ALLOWED_LOSS:
            evenness = stiffness.evenness_of(straddled)
            said.append(f"a straddle's rolls cancel their push: evenness {evenness:.2f}")
        limit = strength_mpa(self.job.part.material_row)
        can_follow = stiffness.max_mm <= FARTHEST * 2.0 * stiffness.contact.blank_radius_mm
        if (
            stiffness.traverses
            and not stiffness.cancels
            and can_follow
            and (limit is None or stiffness.stress_mpa <= limit)
        ):
            said.append("process.compensate = true lets the slide follow the work")
        return said

    def straddled(self) -> HeldWork | None:
        """Return the work under a straddle; None where it is under one, or no two rolls do."""
        form = self.job.knurl.asked.form
        two = any(len(s.rolls) == 2 for s in roll_sets(form))
        if self.job.tool.style == "straddle" or not two:
            return None
        old = self.stiffness.contact
        half = old.blank_radius_mm + old.roll_radius_mm - self.stiffness.penetration_mm
        contact = Contact(old.blank_radius_mm, old.roll_radius_mm, half, "roll centre")
        return replace(self.work, contact=contact, rolls=2)

    def stiffer(self) -> str:
        """Return the smallest diameter or largest overhang that loses a tenth only."""
        plain = len(self.work.beam.pieces) == 1
        factor = _least(lambda f: self.lost_share(self.thicker(f)) <= ALLOWED_LOSS, 1.0)
        if factor is None:
            text = "no thickness keeps it within a tenth"
        elif plain:
            diameter = factor * self.work.beam.pieces[0].diameter_mm
            text = f"no more than a tenth is lost on a blank of {self.remarks.mm_up(diameter)}"
        else:
            text = f"no more than a tenth is lost {factor:.2f} times as thick throughout"
        longest = self.longest_that_serves() if plain else None
        if longest is not None:
            text += f", or held at most {self.remarks.mm_down(longest)} from the end"
        return text

    def thicker(self, factor: float) -> HeldWork:
        """Return the work so many times as thick, rolls and teeth as they are."""
        work, old = self.work, self.work.contact
        blank = old.blank_radius_mm * factor
        half = old.half_spacing_mm
        if self.stiffness.cancels:  # a straddle is set to the blank
            half = blank + old.roll_radius_mm - self.stiffness.penetration_mm
        roll = old.roll_radius_mm
        pieces = tuple(Piece(length, d * factor) for length, d in work.beam.pieces)
        return replace(
            work,
            contact=replace(old, blank_radius_mm=blank, half_spacing_mm=half),
            pressing=replace(work.pressing, reduced_radius_mm=blank * roll / (blank + roll)),
            beam=replace(work.beam, pieces=pieces),
        )

    def longest_that_serves(self) -> float | None:
        """Return how far from the end plain work may be held; None where nowhere serves."""
        work, job = self.work, self.job
        low, high = job.machine.clearance - self.stiffness.way.line_mm, work.beam.length_mm
        diameter = work.beam.pieces[0].diameter_mm

        def serves(length: float) -> bool:
            beam = replace(work.beam, pieces=(Piece(length, diameter),))
            return self.lost_share(replace(work, beam=beam)) <= ALLOWED_LOSS

        return _most(serves, low, high) if low < high else None

    def widest_that_serves(self) -> float | None:
        """Return the widest face that loses a tenth only; None where it is no roll any more."""
        high = self.stiffness.face_mm
        return _most(self.serves_with, min(LEAST_FACE_MM, high / 2.0), high)

    def serves_with(self, face_mm: float) -> bool:
        """Whether rolls of another face lose a tenth only; their way ends elsewhere too."""
        stiffness, start = self.stiffness, self.job.knurl.start
        line, far = stiffness.way
        far = -start - face_mm if start else far * face_mm / stiffness.face_mm
        narrow = replace(self.work, face_mm=face_mm)
        across = stiffness.contact.centre_mm(stiffness.penetration_mm)
        lowest, _ = narrow.extremes_mm(across, line, max(line, far))
        return lowest >= (1.0 - ALLOWED_LOSS) * stiffness.penetration_mm

    def more_passes(self) -> str:
        """Return what more passes would do to the least force of the last."""
        stiffness = self.stiffness
        c = stiffness.penetration_mm
        now = stiffness.loads.radial_force_low_n
        share = stiffness.step_mm / c
        # The last of n passes takes 2 / (n (n + 1)) of the depth.
        n = round((math.sqrt(1.0 + 8.0 / share) - 1.0) / 2.0)
        more = n * MORE_PASSES
        step = 2.0 / (more * (more + 1))
        if c * step < self.remarks.least_shown():
            return ""
        then = stiffness.loads.radial_force_n * stiffness.low_share(step)
        return (
            f"in {more} passes rather than {n} the last may take {self.force(then)} a roll rather "
            f"than {self.force(now)}"
        )

    # -- bending for good ------------------------------------------------------

    def bending(self) -> None:
        job, stiffness = self.job, self.stiffness
        material = job.part.material_row
        limit = strength_mpa(material)
        if limit is None:
            return
        follows = job.process.compensate and stiffness.can_follow
        stress = stiffness.stress_mpa
        if stress > limit and not follows:
            stress = stiffness.relieved_mpa
        if stress <= limit:
            return
        what = "stays bent" if material.yield_strength_mpa is not None else "breaks"
        text = (
            f"the push bends the work with about {self.about(stress, Kind.STRESS)}, and it {what} "
            f"from {self.about(limit, Kind.STRESS)} on; take narrower rolls or a smaller pitch, "
            "hold the work shorter, or press from both sides with a straddle"
        )
        if follows and (stress > BENDS_SURELY * limit or what == "breaks"):
            self.remarks.refuse(
                "bends-the-work", "process.compensate", text, acceptable=True, source=SOURCE
            )
        else:
            self.remarks.note("warning", "bends-the-work", text, SOURCE)


def _least(serves: Callable[[float], bool], low: float) -> float | None:
    """Return the least factor from *low* on that serves, to a ten-thousandth; None for none."""
    high = low
    while not serves(high):
        low, high = high, high * 1.5
        if high > MOST_TIMES:
            return None
    while high - low > 1e-4 * high:
        middle = (low + high) / 2.0
        low, high = (low, middle) if serves(middle) else (middle, high)
    return high


def _most(serves: Callable[[float], bool], low: float, high: float) -> float | None:
    """Return the greatest length that serves, if *low* does and *high* does not; else None."""
    if not serves(low):
        return None
    while high - low > LENGTH_FOUND_MM:
        middle = (low + high) / 2.0
        low, high = (middle, high) if serves(middle) else (low, middle)
    return low
