"""Loads and deflection for the setter's page: what a program makes of work that gives way.

All of it are estimates, and the texts say so. Where the rolls come along the work is worked
out from the motion that was read; what each pass is pressed with, from the plan.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from knurlcam.mechanics.held_work import Knot
from knurlcam.mechanics.loads import strength_mpa
from knurlcam.mechanics.setup_deflection import SetUpDeflection
from knurlcam.plan.load_limits import Z_PLACES
from knurlcam.plan.model import Plan
from knurlcam.plan.report import fit_rows, load_rows
from knurlcam.review.sheets import Row, Sheet
from knurlcam.timeline import Timeline, touches
from knurlcam.units.kinds import Kind
from knurlcam.units.show import show, show_about, show_bare
from knurlcam.verification.limits import Z_TOLERANCE_MM

__all__ = [
    "Curve",
    "Effort",
    "GivingWay",
    "efforts",
    "fit_sheet",
    "giving_way",
    "left_out",
    "loads_sheet",
    "made_curve",
    "missing",
    "said_of",
]

PLACES = 24
"""Parts into which the way of the rolls is cut to draw a curve: it has no corners to lose."""

MOST_ENDS = 400
"""Of blocks at which a curve is looked at besides: a program may have thousands."""


class Curve(NamedTuple):
    """A length at places along the work.

    Attributes:
        z_mm: Middle of the face on the work, from Z0 [mm]
        value_mm: Penetration or deflection there [mm]
    """

    z_mm: tuple[float, ...]
    value_mm: tuple[float, ...]

    @property
    def evenness(self) -> float:
        """Least over largest value; 0 where nothing is made [-]."""
        most = max(self.value_mm)
        return max(0.0, min(self.value_mm)) / most if most > 0.0 else 0.0


@dataclass(frozen=True, slots=True)
class GivingWay:
    """How the work gives way, for the picture and its words.

    Attributes:
        bending: How the work deflects, as planned.
        follows: Whether the job lets the slide follow the work.
        planned_mm: Penetration planned [mm]
        made: Penetration along the work as the program makes it; None where the rolls
            never touch the work.
        other: The same of a straight slide where the job lets it follow, else of one that
            follows.
        deflection: How far the work gives way at the planned penetration.
    """

    bending: SetUpDeflection
    follows: bool
    planned_mm: float
    made: Curve | None
    other: Curve
    deflection: Curve

    @property
    def cancels(self) -> bool:
        """Whether the rolls cancel each other's push at full depth."""
        return self.bending.set_up.cancels


def giving_way(plan: Plan, line: Timeline) -> GivingWay | None:
    """Return how the work gives way along the knurl.

    Args:
        plan: The plan.
        line: The motion against time.

    Returns:
        What is drawn; None where there is nothing to draw: the deflection is not known, or
        the rolls plunge in one place.
    """
    bending = None if plan.estimate is None else plan.estimate.deflection
    if bending is None or not bending.set_up.traverses:
        return None
    follows = plan.follows
    places = bending.curve(PLACES)
    zs = tuple(p.z_mm for p in places)
    straight = Curve(zs, tuple(p.penetration_mm for p in places))
    return GivingWay(
        bending=bending,
        follows=follows,
        planned_mm=bending.set_up.penetration_mm,
        made=made_curve(plan, line),
        other=straight if follows else _followed_curve(bending),
        deflection=Curve(zs, tuple(p.deflection_mm for p in places)),
    )


def _lefts(bending: SetUpDeflection) -> list[float]:
    line, far = bending.set_up.travel
    return [line + (far - line) * i / PLACES for i in range(PLACES + 1)]


def _followed_curve(bending: SetUpDeflection) -> Curve:
    """Return the penetration along the work where the slide follows it."""
    work, (line, far) = bending.work, bending.set_up.travel
    knots, _ = work.follow(bending.set_up.penetration_mm, line, far)
    lefts = _lefts(bending)
    depths = [work.penetration_mm(_between(knots, left), left) for left in lefts]
    return Curve(tuple(map(work.middle_mm, lefts)), tuple(depths))


def _between(knots: Sequence[Knot], left: float) -> float:
    """Return where the roll centres stand on a way of straight blocks."""
    after = min(max(bisect_right([k.left_mm for k in knots], left), 1), len(knots) - 1)
    begin, end = knots[after - 1], knots[after]
    share = (left - begin.left_mm) / (end.left_mm - begin.left_mm)
    return begin.across_mm + (end.across_mm - begin.across_mm) * share


def made_curve(plan: Plan, line: Timeline) -> Curve | None:
    """Return how deep the program's deepest pass comes at each place, deflection counted.

    What the rolls leave behind is the deepest of all passes at each place, whatever a
    program that was edited does before or after. A place that no pass comes to has none.

    Args:
        plan: A plan whose deflection is known.
        line: The motion against time.

    Returns:
        The curve; None where the rolls never touch the work, or nobody can tell where.
    """
    assert plan.estimate is not None
    bending = plan.estimate.deflection
    assert bending is not None
    work, shift = bending.work, plan.datum_shift_mm
    spans = [s for s in line.spans if touches(plan, s)]
    if line.lost or not spans:
        return None
    begin, far = bending.set_up.travel
    ends = {round(z - shift, 6) for s in spans for z in (s.z0, s.z1)}
    inside = [left for left in ends if begin < left < far]
    lefts = sorted({*_lefts(bending), *(inside if len(inside) <= MOST_ENDS else ())})
    deepest = [math.inf] * len(lefts)
    for s in spans:
        a, b = s.z0 - shift, s.z1 - shift
        low, high = min(a, b) - Z_TOLERANCE_MM, max(a, b) + Z_TOLERANCE_MM
        for i in range(bisect_left(lefts, low), bisect_right(lefts, high)):
            if b == a:
                x = min(s.x0, s.x1)
            else:
                share = min(max((lefts[i] - a) / (b - a), 0.0), 1.0)
                x = s.x0 + (s.x1 - s.x0) * share
            deepest[i] = min(deepest[i], x)
    centre = plan.contact.datum_shift_mm
    depths = [
        max(0.0, work.penetration_mm(x / 2.0 + centre, left)) if x < math.inf else 0.0
        for x, left in zip(deepest, lefts, strict=True)
    ]
    return Curve(tuple(map(work.middle_mm, lefts)), tuple(depths))


# -- in words ------------------------------------------------------------------


def missing(plan: Plan) -> str:
    """Return what cannot be told and why; empty where all is known."""
    material = plan.job.part.material_row.name
    if plan.estimate is None:
        return (
            f"Neither strength nor hardness of {material} is known: force and deflection "
            "cannot be told."
        )
    if plan.estimate.deflection is None:
        return f"Young's modulus of {material} is not known: its deflection cannot be told."
    return ""


def said_of(plan: Plan, line: Timeline, given: GivingWay | None) -> tuple[str, ...]:
    """Return how the work gives way, in sentences with the main figures.

    Args:
        plan: The plan.
        line: The motion against time.
        given: What is drawn.
    """
    if given is not None:
        return _said_of_traverse(plan, given)
    if plan.estimate is None or plan.estimate.deflection is None:
        return ()
    return _said_of_plunge(plan, plan.estimate.deflection, line)


def _about(plan: Plan, value: float) -> str:
    return show_about(value, Kind.LENGTH, plan.job.units)


def _mm(plan: Plan, value: float) -> str:
    return show(value, Kind.LENGTH, plan.job.units)


def _place(plan: Plan, z: float) -> str:
    units = plan.job.units
    return show(z, Kind.LENGTH, units, Z_PLACES[units])


def _said_of_traverse(plan: Plan, given: GivingWay) -> tuple[str, ...]:
    deflection, made, planned = given.bending, given.made, given.planned_mm
    said = []
    if given.cancels:
        said.append(
            "At full depth the two rolls cancel each other's push: the work does not give way."
        )
    else:
        said.append(
            f"Pressed to the planned {_mm(plan, planned)} the work gives way by at most about "
            f"{_about(plan, deflection.max_mm)}, at Z {_place(plan, deflection.z_mm)}."
        )
    low, high = deflection.evenness_range
    straight = f"{deflection.evenness:.2f} ({low:.2f} to {high:.2f}, as the force is uncertain)"
    if made is None:
        said.append("The program's own line is not drawn: it is not known where its rolls press.")
    else:
        least, most = min(made.value_mm), max(made.value_mm)
        units = plan.job.units
        bare = show_bare(least, Kind.LENGTH, units)
        same = bare == show_bare(most, Kind.LENGTH, units)
        span = _mm(plan, most) if same else f"{bare} to {_mm(plan, most)}"
        said.append(
            f"This program's rolls come {span} deep along the knurl: "
            f"evenness, least over largest, {made.evenness:.2f}."
        )
    if given.follows:
        said.append(f"The slide follows the work; straight, evenness would be {straight}.")
    else:
        said.append(f"Evenness of a straight slide as planned: {straight}.")
        bears = strength_mpa(plan.job.part.material_row)
        if bears is not None and deflection.stress_mpa > bears:
            stress, limit = (
                show_about(value, Kind.STRESS, plan.job.units)
                for value in (deflection.stress_mpa, bears)
            )
            said.append(
                f"A slide that followed the work would bend it for good: {stress}, and it bears "
                f"{limit}."
            )
        elif not given.cancels:
            said.append(
                "Of a slide that follows the work (process.compensate): "
                f"{given.other.evenness:.2f}."
            )
    return tuple(said)


def _said_of_plunge(plan: Plan, made: SetUpDeflection, line: Timeline) -> tuple[str, ...]:
    work = made.work
    low, high = made.evenness_range
    said = [
        f"The rolls plunge in one place: pressed to the planned "
        f"{_mm(plan, made.set_up.penetration_mm)} the work gives way by about "
        f"{_about(plan, made.max_mm)} at Z {_place(plan, made.z_mm)}."
    ]
    spans = [s for s in line.spans if touches(plan, s)]
    if line.lost or not spans:
        return (*said, "It is not known where this program's rolls press.")
    ends = [(x, z - plan.datum_shift_mm) for s in spans for x, z in ((s.x0, s.z0), (s.x1, s.z1))]
    x, left = min(end for end in ends if end[1] < 0.0)
    left = max(left, -work.beam.length_mm)
    edges = work.edges_mm(x / 2.0 + plan.contact.datum_shift_mm, left)
    at_left, at_right = (_mm(plan, max(0.0, edge)) for edge in edges)
    evenness = Curve((0.0, 0.0), edges).evenness
    said.append(
        f"With this program they come {at_left} deep at the face's left edge and {at_right} at its "
        f"right: evenness, least over largest, {evenness:.2f} (as planned {made.evenness:.2f}; "
        f"{low:.2f} to {high:.2f}, as the force is uncertain)."
    )
    return tuple(said)


# -- tables --------------------------------------------------------------------


class Effort(NamedTuple):
    """What one pass is pressed with, as text.

    Attributes:
        name: Its number.
        depth: Penetration.
        force: Of one roll.
        between: Least and greatest force of one roll.
        push: Net push on the work.
        shares: Least, likely and greatest force over the greatest of all passes [-]
    """

    name: str
    depth: str
    force: str
    between: str
    push: str
    shares: tuple[float, float, float]


def efforts(plan: Plan) -> tuple[Effort, ...]:
    """Return what each pass that presses deeper is pressed with; none where it is not known."""
    units = plan.job.units
    if plan.estimate is None:
        return ()

    def about(value: float) -> str:
        return show_about(value, Kind.FORCE, units)

    told = [
        (one, load)
        for one, load in zip(plan.passes, plan.pass_loads, strict=True)
        if load is not None
    ]
    largest = max(load.radial_force_high_n for _, load in told)
    found = []
    for one, load in told:
        low, high = load.radial_force_low_n, load.radial_force_high_n
        found.append(
            Effort(
                name=str(one.number),
                depth=_mm(plan, one.penetration_mm),
                force=about(load.radial_force_n),
                between=f"{about(low)} to {about(high)}",
                push=about(load.net_push_n),
                shares=(low / largest, load.radial_force_n / largest, high / largest),
            )
        )
    return tuple(found)


def left_out(plan: Plan) -> str:
    """Return which passes the table of forces leaves out; empty for none."""
    cleaning = [str(p.number) for p in plan.passes if not p.presses]
    if not cleaning:
        return ""
    return f"Pass {', '.join(cleaning)} cleans up: it presses nothing new and is left out."


def loads_sheet(plan: Plan) -> Sheet:
    """Return loads and deflection at full depth."""
    return Sheet("At full depth", _rows(load_rows(plan)))


def fit_sheet(plan: Plan) -> Sheet:
    """Return what a press fit comes to; without a row where the job has none."""
    return Sheet("Press fit (estimate)", _rows(fit_rows(plan)))


def _rows(texts: list[tuple[str, str, str]]) -> tuple[Row, ...]:
    return tuple(Row(name[:1].upper() + name[1:], value, how) for name, value, how in texts)
