"""What the part is expected to measure: the plan's own figures, less what its set-up takes.

In closed form where there is one: the penetration that deflection leaves along the knurl gives
the height of the teeth, and that the diameter over the crests, for volume is kept. Where the
first turn of the rolls finds its track there is no double impression; where it does not, the
imprint is asked. The same function judges a program by the depths that its own text presses.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from knurlcam.mechanics.contact import Contact
from knurlcam.mechanics.held_work import Knot
from knurlcam.mechanics.knurl import KnurlGeometry
from knurlcam.mechanics.tooth import height_for_penetration, penetration
from knurlcam.plan.depth_along import DepthAlong, depth_along, depth_at
from knurlcam.plan.model import Plan
from knurlcam.plan.results import Expected, Range

__all__ = ["Rolled", "expected_of", "planned_way"]


class Rolled(NamedTuple):
    """How a program presses, in the words of the machine.

    Attributes:
        first_turn_mm: Penetration of the first turn of the work, rigid [mm]
        way: Places through which the slide goes in its deepest pass; one of a plunge.
    """

    first_turn_mm: float
    way: tuple[Knot, ...]


def planned_way(plan: Plan, least_step_mm: float) -> tuple[Knot, ...]:
    """Return where the slide goes in the deepest pass of a plan, as its X words will say.

    Args:
        plan: The plan.
        least_step_mm: What X can express, on the diameter [mm]
    """
    deepest = [step for step in plan.passes if step.penetration_mm == plan.penetration_mm]
    step = max(deepest, key=lambda step: abs(step.z_end_mm - step.z_start_mm))
    places = [(step.z_start_mm, step.x_diameter_mm)]
    places += step.follow or ((step.z_end_mm, step.x_diameter_mm),)
    if step.z_end_mm == step.z_start_mm:
        places = places[-1:]
    # A compensated X is rounded outward, so that no place comes too deep; others to the nearest.
    rounded = math.ceil if step.follow else round
    shift, centre = plan.datum_shift_mm, plan.contact.datum_shift_mm
    return tuple(
        Knot(z - shift, rounded(x / least_step_mm) * least_step_mm / 2.0 + centre)
        for z, x in places
    )


def expected_of(plan: Plan, rolled: Rolled) -> Expected:
    """Return what the part is expected to measure.

    Args:
        plan: The plan.
        rolled: How its program presses, or another text's.
    """
    blank, limits = plan.blank_diameter_mm, plan.blank_limits_mm
    found, low_mm = _depths(plan, rolled.way, limits[0])
    high_mm = max(_rigid_mm(plan, rolled.way, limits[1]))
    sizes = [
        _size(plan.knurl, diameter, depth)
        for diameter, depth in zip(
            (blank, *limits), (found.median_mm, low_mm, high_mm), strict=True
        )
    ]
    full = _full_penetration_mm(plan.knurl)
    least, most = (min(max(depth, 0.0), full) for depth in (found.least_mm, found.most_mm))
    return Expected(
        knurled_diameter_mm=Range(*(size[0] for size in sizes)),
        tooth_height_mm=Range(*(size[1] for size in sizes)),
        evenness=least / most if most else 0.0,
        double_impression=0.0,
        held_off_mm=max(0.0, found.most_mm - full),
        blank_limits_mm=limits,
    )


def _size(knurl: KnurlGeometry, blank_mm: float, depth_mm: float) -> tuple[float, float]:
    """Return the diameter over the crests and the tooth height that a penetration makes [mm]."""
    depth = min(max(depth_mm, 0.0), _full_penetration_mm(knurl))
    height = height_for_penetration(depth, knurl.full_height_mm, knurl.family)
    return blank_mm + 2.0 * (height - depth), height


def _full_penetration_mm(knurl: KnurlGeometry) -> float:
    return penetration(knurl.full_height_mm, knurl.full_height_mm, knurl.family)


# -- penetration -----------------------------------------------------------------------


def _depths(plan: Plan, way: Sequence[Knot], smallest_mm: float) -> tuple[DepthAlong, float]:
    """Return the likely penetration along the knurl, and the median under the greatest force.

    The latter on the smallest blank [mm].
    """
    estimate = plan.estimate
    deflection = None if estimate is None else estimate.deflection
    if deflection is None:
        rigid = _rigid_mm(plan, way, plan.blank_diameter_mm)
        middle, left = rigid[len(rigid) // 2], way[0].left_mm
        found = DepthAlong(middle, min(rigid), max(rigid), left, 0.0)
        return found, min(_rigid_mm(plan, way, smallest_mm))
    found = depth_along(deflection.work, way, _period_mm(plan.knurl))
    high = deflection.high_work
    smaller = replace(high, contact=replace(high.contact, blank_radius_mm=smallest_mm / 2.0))
    return found, depth_at(smaller, way, found)


def _period_mm(knurl: KnurlGeometry) -> float:
    """Return the length along the axis after which the pattern repeats [mm].

    Of teeth along the axis: over which they are gauged.
    """
    if not knurl.helix_deg:
        return knurl.pitch_mm
    lead = knurl.transverse_pitch_mm / math.tan(math.radians(knurl.helix_deg))
    # Two families that lean against each other repeat twice as soon.
    return lead if knurl.family == "straight" else lead / 2.0


def _rigid_mm(plan: Plan, way: Sequence[Knot], blank_mm: float) -> list[float]:
    """Return the penetration into a rigid blank of another diameter, place by place [mm]."""
    planned = plan.contact
    contact = Contact(
        blank_mm / 2.0, planned.roll_radius_mm, planned.half_spacing_mm, "roll centre"
    )
    return [contact.depth_mm(2.0 * knot.across_mm) for knot in way]
