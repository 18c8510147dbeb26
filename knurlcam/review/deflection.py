"""How the work deflects along the knurl, as curves: planned, and as the program makes it.

All of it are estimates. Where the rolls come along the work is worked out from the motion
that was read; what the work is pressed with, from the plan.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from knurlcam.mechanics.held_work import Knot
from knurlcam.mechanics.setup_deflection import SetUpDeflection
from knurlcam.plan.model import Plan
from knurlcam.timeline import Span, Timeline, touches
from knurlcam.verification.limits import Z_TOLERANCE_MM

__all__ = ["Curve", "DeflectionCurves", "deflection_curves", "made_curve"]

PLACES = 24
"""Parts into which the way of the rolls is cut to draw a curve: it has no corners to lose."""

MOST_ENDS = 400
"""Ends of blocks at which a curve is looked at as well: a program may have thousands."""


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
class DeflectionCurves:
    """How the work deflects, for the picture and its words.

    Attributes:
        bending: How the work deflects, as planned.
        follows: Whether the job has the slide follow the work.
        planned_mm: Penetration planned [mm]
        made: Penetration along the work as the program makes it; None where the rolls
            never touch the work.
        other: The same of a straight slide where the job has it follow, else of one that
            follows.
        deflection: Deflection of the work at the planned penetration.
    """

    bending: SetUpDeflection
    follows: bool
    planned_mm: float
    made: Curve | None
    other: Curve
    deflection: Curve

    @property
    def cancels(self) -> bool:
        """Whether the forces of the rolls cancel each other at full depth."""
        return self.bending.set_up.cancels


def deflection_curves(plan: Plan, line: Timeline) -> DeflectionCurves | None:
    """Return how the work deflects along the knurl.

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
    return DeflectionCurves(
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
    """Return where the roll centres stand on a way of straight blocks [mm]."""
    after = min(max(bisect_right([k.left_mm for k in knots], left), 1), len(knots) - 1)
    begin, end = knots[after - 1], knots[after]
    share = (left - begin.left_mm) / (end.left_mm - begin.left_mm)
    return begin.across_mm + (end.across_mm - begin.across_mm) * share


# -- what the program makes ------------------------------------------------------


def made_curve(plan: Plan, line: Timeline) -> Curve | None:
    """Return how deep the program's deepest pass comes at each place, deflection counted.

    What the rolls leave is the deepest of all passes at each place, whatever a program that
    was edited does before or after. A place that no pass comes to has none.

    Args:
        plan: A plan whose deflection is known.
        line: The motion against time.

    Returns:
        The curve; None where the rolls never touch the work, or it is unknown where.
    """
    assert plan.estimate is not None
    bending = plan.estimate.deflection
    assert bending is not None
    shift = plan.datum_shift_mm
    spans = [s for s in line.spans if touches(plan, s)]
    if line.lost or not spans:
        return None
    lefts, work = _places(bending, spans, shift), bending.work
    centre = plan.contact.datum_shift_mm
    depths = [
        max(0.0, work.penetration_mm(x / 2.0 + centre, left)) if x < math.inf else 0.0
        for x, left in zip(_deepest_x(spans, lefts, shift), lefts, strict=True)
    ]
    return Curve(tuple(map(work.middle_mm, lefts)), tuple(depths))


def _places(bending: SetUpDeflection, spans: Sequence[Span], shift: float) -> list[float]:
    """Return the places of the left edge that are looked at: even ones, and ends of blocks."""
    begin, far = bending.set_up.travel
    ends = {round(z - shift, 6) for s in spans for z in (s.z0, s.z1)}
    inside = [left for left in ends if begin < left < far]
    return sorted({*_lefts(bending), *(inside if len(inside) <= MOST_ENDS else ())})


def _deepest_x(spans: Sequence[Span], lefts: Sequence[float], shift: float) -> list[float]:
    """Return the least X at each place, on the diameter; infinite where no pass comes [mm]."""
    # The least X, not that of the last pass: an edited program may come back less deep.
    deepest = [math.inf] * len(lefts)
    for s in spans:
        a, b = s.z0 - shift, s.z1 - shift
        low, high = min(a, b) - Z_TOLERANCE_MM, max(a, b) + Z_TOLERANCE_MM
        for i in range(bisect_left(lefts, low), bisect_right(lefts, high)):
            deepest[i] = min(deepest[i], _x_at(s, lefts[i], a, b))
    return deepest


def _x_at(span: Span, left: float, a: float, b: float) -> float:
    """Return X where the left edge, on its way from *a* to *b*, passes a place [mm]."""
    if b == a:
        return min(span.x0, span.x1)
    share = min(max((left - a) / (b - a), 0.0), 1.0)
    return span.x0 + (span.x1 - span.x0) * share
