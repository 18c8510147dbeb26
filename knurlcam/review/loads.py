"""Loads and deflection in sentences, with their main figures.

All of it are estimates, and the texts say so.
"""

from __future__ import annotations

from knurlcam.mechanics.loads import strength_mpa
from knurlcam.mechanics.setup_deflection import SetUpDeflection
from knurlcam.plan.load_limits import Z_PLACES
from knurlcam.plan.model import Plan
from knurlcam.review.deflection import Curve, DeflectionCurves
from knurlcam.timeline import Timeline, touches
from knurlcam.units.kinds import Kind
from knurlcam.units.show import Shown, show, show_about

__all__ = ["deflection_sentences", "unknown_loads"]


def unknown_loads(plan: Plan) -> str:
    """Return what is not known and why; empty where all is known."""
    material = plan.job.part.material_row.name
    if plan.estimate is None:
        return (
            f"Neither strength nor hardness of {material} is known: force and deflection are "
            "not available."
        )
    if plan.estimate.deflection is None:
        return f"Young's modulus of {material} is not known: its deflection is not available."
    return ""


def deflection_sentences(
    plan: Plan, line: Timeline, curves: DeflectionCurves | None
) -> tuple[str, ...]:
    """Return how the work deflects, in sentences with the main figures.

    Args:
        plan: The plan.
        line: The motion against time.
        curves: What is drawn; None for a plunge, or where it is not known.
    """
    if curves is not None:
        return (_most(plan, curves), _made(plan, curves), *_compared(plan, curves))
    if plan.estimate is None or plan.estimate.deflection is None:
        return ()
    bending = plan.estimate.deflection
    return (_plunge(plan, bending), _plunge_made(plan, bending, line))


def _about(plan: Plan, mm: float) -> str:
    return show_about(mm, Kind.LENGTH, plan.job.units)


def _ranged(plan: Plan, bending: SetUpDeflection) -> str:
    low, high = (_about(plan, mm) for mm in bending.max_range_mm)
    return f"{_about(plan, bending.max_mm)} ({low} to {high})"


def _place(plan: Plan, z: float) -> str:
    units = plan.job.units
    return show(z, Kind.LENGTH, units, Z_PLACES[units])


# -- along the knurl -------------------------------------------------------------


def _most(plan: Plan, curves: DeflectionCurves) -> str:
    """Return how far the work deflects at most."""
    shown = Shown(plan.job.units)
    if curves.cancels:
        return "At full depth the forces of the two rolls balance: the work does not deflect."
    bending = curves.bending
    fed = bending.fed
    return (
        f"At the planned penetration of {shown.length(curves.planned_mm)} the work likely deflects "
        f"by about {_ranged(plan, bending)} at Z {_place(plan, bending.z_mm)}, on the way of the "
        f"rolls; while they are fed in, by about {_about(plan, fed.deflection_mm)} at Z "
        f"{_place(plan, fed.z_mm)}."
    )


def _made(plan: Plan, curves: DeflectionCurves) -> str:
    """Return how deep this program's rolls come."""
    shown = Shown(plan.job.units)
    made = curves.made
    if made is None:
        return "The curve of this program is not drawn: it is not known where its rolls press."
    least, most = min(made.value_mm), max(made.value_mm)
    same = shown.bare(least) == shown.bare(most)
    span = shown.length(most) if same else f"{shown.bare(least)} to {shown.length(most)}"
    return (
        f"The rolls of this program come {span} deep along the knurl: "
        f"depth uniformity (least over greatest) {made.evenness:.2f}."
    )


def _compared(plan: Plan, curves: DeflectionCurves) -> tuple[str, ...]:
    """Return what the other kind of slide would bring: a straight one, or one that follows."""
    straight = f"{curves.bending.evenness:.2f} ({_uncertain(curves.bending)})"
    if curves.follows:
        return (f"Without deflection compensation depth uniformity would be {straight}.",)
    said = (f"Depth uniformity as planned: {straight}.",)
    followed = _followed(plan, curves)
    return (*said, followed) if followed else said


def _followed(plan: Plan, curves: DeflectionCurves) -> str:
    """Return what deflection compensation would bring; empty where there is nothing to gain."""
    stress, _ = curves.bending.bending_mpa(compensated=True)
    bears = strength_mpa(plan.job.part.material_row)
    if bears is not None and stress > bears:
        bends, limit = (show_about(v, Kind.STRESS, plan.job.units) for v in (stress, bears))
        return (
            f"Deflection compensation would bend the work permanently: {bends}, and its limit is "
            f"{limit}."
        )
    if curves.cancels:
        return ""
    return f"With deflection compensation (process.compensate): {curves.other.evenness:.2f}."


def _uncertain(bending: SetUpDeflection) -> str:
    low, high = bending.evenness_range
    return f"{low:.2f} to {high:.2f}, because the force is uncertain"


# -- a plunge --------------------------------------------------------------------


def _plunge(plan: Plan, bending: SetUpDeflection) -> str:
    """Return how far the work deflects under a plunge."""
    shown = Shown(plan.job.units)
    return (
        f"The rolls plunge in one place: at the planned penetration of "
        f"{shown.length(bending.set_up.penetration_mm)} the work likely deflects by about "
        f"{_ranged(plan, bending)} at Z {_place(plan, bending.z_mm)}."
    )


def _plunge_made(plan: Plan, bending: SetUpDeflection, line: Timeline) -> str:
    """Return how deep both edges of the face come; only a plunge leaves the tilt in the knurl."""
    work = bending.work
    spans = [s for s in line.spans if touches(plan, s)]
    if line.lost or not spans:
        return "It is not known where this program's rolls press."
    ends = [(x, z - plan.datum_shift_mm) for s in spans for x, z in ((s.x0, s.z0), (s.x1, s.z1))]
    x, left = min(end for end in ends if end[1] < 0.0)
    left = max(left, -work.beam.length_mm)
    edges = work.edges_mm(x / 2.0 + plan.contact.datum_shift_mm, left)
    at_left, at_right = (Shown(plan.job.units).length(max(0.0, edge)) for edge in edges)
    evenness = Curve((0.0, 0.0), edges).evenness
    return (
        f"With this program they come {at_left} deep at the left edge of the face and {at_right} "
        f"at its right: depth uniformity (least over greatest) {evenness:.2f} (as planned "
        f"{bending.evenness:.2f}; {_uncertain(bending)})."
    )
