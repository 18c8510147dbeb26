"""What the set-up bears: loads and deflection of a plan, what they mean, what would help.

Figures are estimates and their texts say so. Whatever is judged here is judged by the
penetration that is lost where the work gives way most.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

from knurlcam.beam import (
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
from knurlcam.contact import Contact
from knurlcam.deflection import HeldWork, Softest, most_chord_mm
from knurlcam.job import Job
from knurlcam.loads import (
    FLANK_FRICTION,
    FlowStress,
    Pressing,
    Prints,
    axial_force_n,
    flow_stress,
    indentation_pressure_mpa,
    net_push_n,
    power_w,
    torque_nm,
    wedge_width,
)
from knurlcam.quantities import Kind, Units, show, show_about
from knurlcam.remarks import Remarks
from knurlcam.tables import roll_sets

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

LENGTH_FOUND_MM = 0.01
"""How near the longest overhang is looked for; shown rounded down."""

LEAST_FACE_MM = 2.0
"""Narrower rolls are none (common practice)."""

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
        """Largest deflection while the rolls press to the planned penetration [mm]."""
        assert self.work is not None
        return self.work.deflection_mm(self.penetration_mm, self.softest.most_left_mm)

    @cached_property
    def deflection(self) -> Deflection | None:
        """How the work gives way; None where Young's modulus is not known."""
        work, c = self.work, self.penetration_mm
        if work is None:
            return None
        most, least = self.softest
        across = self.contact.centre_mm(c)
        lowest = work.penetration_mm(across, most)
        if self.traverses:
            evenness = lowest / work.penetration_mm(across, least)
        else:
            evenness = self.evenness_of(work)
        return Deflection(
            max_mm=work.deflection_mm(c, most),
            z_mm=work.middle_mm(most),
            lost_mm=c - lowest,
            evenness=evenness,
        )

    def evenness_of(self, work: HeldWork, across_mm: float | None = None) -> float:
        """Return smallest over largest penetration along the knurl [-].

        When plunging the work bends under the face, and its two edges differ; a traverse
        evens that out, for every place meets the whole face.

        Args:
            work: The work as it is held, or as it might be.
            across_mm: Where the roll centres stand; at the planned penetration unless given.
        """
        across = self.contact.centre_mm(self.penetration_mm) if across_mm is None else across_mm
        if self.traverses:
            places = work.softest(self.way.line_mm, self.way.far_mm)
            depths = [work.penetration_mm(across, left) for left in places]
        else:
            depths = list(work.edges_mm(across, self.way.line_mm))
        return max(0.0, min(depths) / max(depths))

    @cached_property
    def evenness_range(self) -> tuple[float, float]:
        """Evenness at the upper and at the lower end of the force [-]."""
        assert self.work is not None
        shares = self.high_share, self.low_share(self.step_mm / self.penetration_mm)
        low, high = (self.evenness_of(self._stronger(self.work, share)) for share in shares)
        return low, high

    @cached_property
    def most_overpressed_mm(self) -> float:
        """How much too deep a slide that follows comes if the force is the least it may be [mm]."""
        assert self.work is not None
        share = self.low_share(self.step_mm / self.penetration_mm)
        left = self.softest.most_left_mm
        across = self.work.across_mm(self.penetration_mm, left)
        weaker = self._stronger(self.work, share)
        return weaker.penetration_mm(across, left) - self.penetration_mm

    @staticmethod
    def _stronger(work: HeldWork, share: float) -> HeldWork:
        pressure = work.pressing.pressure_mpa * share
        return replace(work, pressing=replace(work.pressing, pressure_mpa=pressure))

    @cached_property
    def stress_mpa(self) -> float:
        """Largest bending stress while the rolls press to the planned penetration [MPa]."""
        assert self.work is not None
        work, beam = self.work, self.work.beam
        return max(
            [
                work.push_n(self.penetration_mm, work.face_on_work_mm(left))
                * beam.stress_mpa_per_n(beam.length_mm + work.middle_mm(left))
                for left in self._places
            ]
        )

    @cached_property
    def tailstock_n(self) -> float:
        """Largest load across on the centre at the tailstock [N].

        Where the whole face is on the work and nearest to the centre: further out the push
        falls faster than the centre's share of it grows.
        """
        assert self.work is not None
        work, beam = self.work, self.work.beam
        left = self.way.fullest_mm(self.face_mm)
        push = work.push_n(self.penetration_mm, work.face_on_work_mm(left))
        return push * beam.tailstock_share(beam.length_mm + work.middle_mm(left))

    @cached_property
    def _places(self) -> tuple[float, ...]:
        """Places of the rolls' left edge at which loads on the work are looked at."""
        line, far = self.way
        corner = self.way.fullest_mm(self.face_mm)
        return tuple({line, far, corner, self.softest.most_left_mm, (line + far) / 2.0})

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
            return self.evenness_of(work, work.across_mm(c, self.way.line_mm))
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
    strength = material.yield_strength_mpa
    if flow is None or modulus is None:
        return None
    radius, length = contact.blank_radius_mm, job.part.length
    force = _pressing(flow, teeth, contact).roll_force_n(
        penetration_mm, min(tool.face_width, -way.line_mm)
    )
    apart = radius + contact.roll_radius_mm - penetration_mm
    turn = contact.centre_mm(penetration_mm) / apart
    push = tool.roll_count * force * turn
    support = SUPPORTS[holding.method]
    # Full push at the softest place that the rolls come to: more than there is anywhere.
    soft = SOFTEST_SHARE[support] * length
    line, face = way.line_mm, tool.face_width
    low = length + line + min(face, -line) / 2.0
    high = length + way.far_mm + min(face, -way.far_mm) / 2.0
    flexure = modulus * 1000.0 * math.pi * (2.0 * radius) ** 4 / 64.0
    given = push * plain_yield_mm_per_n(support, length, flexure, min(max(soft, low), high))
    if given * turn > ALLOWED_LOSS * penetration_mm * NEAR:
        return None
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
    text = f"the rolls push the work along, into the chuck, with about {likely}, at most {most}"
    cure = "back the work with a stop or a shoulder"
    if holding.grip is None:
        if holding.method == "chuck":
            remarks.note(
                "note",
                "grip-not-given",
                f"{text}: the job gives no holding.grip to compare it with; {cure}",
            )
    elif axial * stiffness.high_share > holding.grip:
        grip = show_about(holding.grip, Kind.FORCE, job.units)
        message = f"{text}, and the chuck holds {grip}: {cure}"
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
        stiffness = self.stiffness
        if not self.gives_way(self.work):
            return
        made = stiffness.deflection
        assert made is not None
        low, high = stiffness.evenness_range
        text = (
            f"the work gives way by about {self.about(made.max_mm, Kind.LENGTH)} at Z "
            f"{show(made.z_mm, Kind.LENGTH, self.job.units, Z_PLACES[self.job.units])} under "
            f"{self.force(stiffness.loads.net_push_n)}"
        )
        if self.job.process.compensate:
            over = stiffness.most_overpressed_mm
            self.remarks.note(
                "warning" if over > ALLOWED_LOSS * stiffness.penetration_mm else "note",
                "slide-follows",
                f"{text}; the slide follows it. Straight, the knurl's evenness would be "
                f"{made.evenness:.2f} ({low:.2f} to {high:.2f}). It rests on an estimate: with "
                f"the least force it comes {self.about(over, Kind.LENGTH)} too deep there; "
                "measure the first part along the knurl",
                SOURCE,
            )
            return
        lost = (
            f"it loses {self.about(made.lost_mm, Kind.LENGTH)} of "
            f"{self.remarks.mm(stiffness.penetration_mm)} penetration there, and the knurl's "
            f"evenness is {made.evenness:.2f} ({low:.2f} to {high:.2f})"
        )
        advice = "; ".join(self.advice())
        message = f"{text}: {lost}. {advice[0].upper()}{advice[1:]}"
        self.remarks.note("warning", "gives-way", message, SOURCE)

    def gives_way(self, work: HeldWork) -> bool:
        """Whether more than a tenth of the penetration is lost; cheap where it is far from it."""
        stiffness = self.stiffness
        if not work.push_n(stiffness.penetration_mm, stiffness.face_mm):
            return False  # a straddle at full depth
        allowed = ALLOWED_LOSS * stiffness.penetration_mm
        # Less would be lost than the work gives way under the full push.
        return stiffness.max_mm > allowed and self.lost_share(work) > ALLOWED_LOSS

    def lost_share(self, work: HeldWork) -> float:
        """Return the share of the penetration that is lost where the work is softest."""
        stiffness = self.stiffness
        c = stiffness.penetration_mm
        places = work.softest(stiffness.way.line_mm, stiffness.way.far_mm)
        across = stiffness.contact.centre_mm(c)
        return (c - work.penetration_mm(across, places.most_left_mm)) / c

    def advice(self) -> list[str]:
        """Return what would help, with numbers, what helps most at last."""
        stiffness, work = self.stiffness, self.work
        said = [self.stiffer(work)]
        face = self.narrowest_that_serves(work)
        if stiffness.traverses and face is not None:
            said.append(f"or with rolls at most {self.remarks.mm_down(face)} wide")
        for method, support in SUPPORTS.items():
            if method == self.job.holding.method:
                continue
            held = replace(work, beam=replace(work.beam, support=support))
            if self.lost_share(held) < self.lost_share(work) - 0.01:
                name = {"chuck": "in a chuck", "chuck and centre": "in a chuck with a centre"}
                said.append(
                    f"held {name.get(method, method)}, evenness {stiffness.evenness_of(held):.2f}"
                )
        if stiffness.traverses:
            passes = self.more_passes()
            if passes:
                said.append(passes)
        form = self.job.knurl.asked.form
        if self.job.tool.style != "straddle" and any(len(s.rolls) == 2 for s in roll_sets(form)):
            said.append("a straddle's rolls cancel their push: evenness 1.00")
        limit = self.job.part.material_row.yield_strength_mpa
        if stiffness.traverses and (limit is None or stiffness.stress_mpa <= limit):
            said.append("process.compensate = true lets the slide follow the work")
        return said

    def stiffer(self, work: HeldWork) -> str:
        """Return the smallest diameter or largest overhang that keeps within a tenth."""
        beam = work.beam
        stiff = self.scale_that_serves(work)
        if len(beam.pieces) > 1:
            factor = stiff ** (1.0 / 4.0)
            return f"no more than a tenth is lost if it is {factor:.2f} times as thick throughout"
        diameter = beam.pieces[0].diameter_mm * stiff ** (1.0 / 4.0)
        text = f"no more than a tenth is lost from a diameter of {self.remarks.mm_up(diameter)} up"
        longest = self.longest_that_serves(work)
        if longest is not None:
            text += f", or held at most {self.remarks.mm_down(longest)} from the end"
        return text

    def scale_that_serves(self, work: HeldWork) -> float:
        """Return how many times as stiff the work must be to lose a tenth only."""
        stiffness = self.stiffness
        c = stiffness.penetration_mm
        kept = (1.0 - ALLOWED_LOSS) * c
        left = stiffness.softest.most_left_mm
        across = stiffness.contact.centre_mm
        return work.deflection_mm(kept, left) / (across(kept) - across(c))

    def longest_that_serves(self, work: HeldWork) -> float | None:
        """Return how far from the end plain work may be held; None where nowhere serves."""
        stiffness, job = self.stiffness, self.job
        low, high = job.machine.clearance - stiffness.way.line_mm, work.beam.length_mm
        diameter = work.beam.pieces[0].diameter_mm

        def serves(length: float) -> bool:
            beam = replace(work.beam, pieces=(Piece(length, diameter),))
            return self.lost_share(replace(work, beam=beam)) <= ALLOWED_LOSS

        if low >= high or not serves(low):
            return None
        while high - low > LENGTH_FOUND_MM:
            middle = (low + high) / 2.0
            low, high = (middle, high) if serves(middle) else (low, middle)
        return low

    def narrowest_that_serves(self, work: HeldWork) -> float | None:
        """Return the widest face that loses a tenth only; None where it is no roll any more."""
        stiffness = self.stiffness
        face = work.face_on_work_mm(stiffness.softest.most_left_mm) / self.scale_that_serves(work)
        return face if face >= LEAST_FACE_MM else None

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
        limit = job.part.material_row.yield_strength_mpa
        if limit is None:
            return
        follows = job.process.compensate
        stress = stiffness.stress_mpa if follows else self.relieved_mpa(limit)
        if stress <= limit:
            return
        text = (
            f"the push bends the work with about {self.about(stress, Kind.STRESS)}, and it stays "
            f"bent from {self.about(limit, Kind.STRESS)} on; take a straddle, narrower rolls or a "
            "smaller pitch, or hold the work shorter"
        )
        low = stress * stiffness.low_share(stiffness.step_mm / stiffness.penetration_mm)
        if follows and low > limit:
            self.remarks.refuse(
                "bends-the-work", "process.compensate", text, acceptable=True, source=SOURCE
            )
        else:
            self.remarks.note("warning", "bends-the-work", text, SOURCE)

    def relieved_mpa(self, limit: float) -> float:
        """Return the bending stress where the work gives way under what is pressed.

        Nothing where even the full push at the worst place of a plain bar comes nowhere
        near the limit.
        """
        stiffness = self.stiffness
        work, c = self.work, stiffness.penetration_mm
        beam = work.beam
        push = work.push_n(c, stiffness.face_mm)
        thinnest = min([piece.diameter_mm for piece in beam.pieces])
        lever = beam.length_mm * (1.0 if beam.support == "fixed and free" else 0.25)
        if push * lever * 32.0 < limit * math.pi * thinnest**3:
            return 0.0
        left = work.softest(*stiffness.way).most_left_mm
        across = stiffness.contact.centre_mm(c)
        kept = work.push_n(work.penetration_mm(across, left), stiffness.face_mm)
        return stiffness.stress_mpa * kept / push
