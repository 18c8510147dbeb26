"""What the part is expected to measure: the plan's own figures, less what its set-up takes.

In closed form where there is one: the penetration that deflection leaves along the knurl gives
the height of the teeth, and that the diameter over the crests, for volume is kept. Where the
first turn of the rolls finds its track there is no double impression; where it does not, the
imprint is asked. The same function judges a program by the depths that its own text presses.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

from knurlcam.mechanics.capture import reach_per_mm
from knurlcam.mechanics.contact import Contact
from knurlcam.mechanics.held_work import Knot
from knurlcam.mechanics.knurl import KnurlGeometry
from knurlcam.mechanics.tooth import height_for_penetration, penetration
from knurlcam.plan.depth_along import DepthAlong, depth_along, depth_at
from knurlcam.plan.model import Plan
from knurlcam.plan.results import Expected, Range

__all__ = [
    "Rolled",
    "Stretch",
    "expected_of",
    "first_print_mm",
    "full_penetration_mm",
    "knot_of",
    "planned",
]

WHOLE_TEETH = 1e-9
"""Rounding of arithmetic in a count of teeth [-]: a blank that is so near tracks."""


class Stretch(NamedTuple):
    """A stretch of the slide's motion by feed, or a dwell.

    Attributes:
        x0_mm: X at its start, on the diameter [mm]
        z0_mm: Z at its start [mm]
        x1_mm: X at its end, on the diameter [mm]
        z1_mm: Z at its end [mm]
        turns: Turns of the work meanwhile [-]
        dwells: Whether the slide stands.
    """

    x0_mm: float
    z0_mm: float
    x1_mm: float
    z1_mm: float
    turns: float
    dwells: bool = False


class Rolled(NamedTuple):
    """How a program presses.

    Attributes:
        stretches: What the slide does by feed from clearance on, in order.
        first_x_mm: Where it stands after the first turn on the work, on the diameter [mm]
        way: Places through which it goes in its deepest pass; one of a plunge.
    """

    stretches: Sequence[Stretch]
    first_x_mm: float
    way: Sequence[Knot]


def planned(plan: Plan, least_step_mm: float) -> Rolled:
    """Return how the program of a plan presses.

    Args:
        plan: The plan.
        least_step_mm: What X can express, on the diameter [mm]
    """
    first = plan.passes[0]
    touch = plan.contact.x_diameter_mm(0.0)
    after = max(first.x_diameter_mm, touch - 2.0 * plan.infeed_mm_per_rev)
    return Rolled(tuple(_stretches(plan)), after, _planned_way(plan, least_step_mm))


def _stretches(plan: Plan) -> Iterator[Stretch]:
    infeed, feed = plan.infeed_mm_per_rev, plan.feed_mm_per_rev
    x = plan.clearance_x_mm
    for step in plan.passes:
        z, to_x = step.z_start_mm, step.x_diameter_mm
        if step.presses:
            yield Stretch(x, z, to_x, z, abs(x - to_x) / 2.0 / infeed)
            yield Stretch(to_x, z, to_x, z, plan.job.process.dwell_revolutions, dwells=True)
        x = to_x
        for to_z, to_x in step.follow or ((step.z_end_mm, x),):
            if to_z != z:
                yield Stretch(x, z, to_x, to_z, abs(to_z - z) / feed)
            x, z = to_x, to_z


def _planned_way(plan: Plan, least_step_mm: float) -> tuple[Knot, ...]:
    """Return where the slide goes in the deepest pass, as its X words will say."""
    deepest = [step for step in plan.passes if step.penetration_mm == plan.penetration_mm]
    step = max(deepest, key=lambda step: abs(step.z_end_mm - step.z_start_mm))
    places = [(step.z_start_mm, step.x_diameter_mm)]
    places += step.follow or ((step.z_end_mm, step.x_diameter_mm),)
    if step.z_end_mm == step.z_start_mm:
        places = places[-1:]
    # A compensated X is rounded outward, so that no place comes too deep; others to the nearest.
    rounded = math.ceil if step.follow else round
    written = [(z, rounded(x / least_step_mm) * least_step_mm) for z, x in places]
    return tuple(knot_of(plan, x, z) for z, x in written)


def knot_of(plan: Plan, x_mm: float, z_mm: float) -> Knot:
    """Return where the rolls stand for an X, on the diameter, and a Z of the slide [mm]."""
    return Knot(z_mm - plan.datum_shift_mm, x_mm / 2.0 + plan.contact.datum_shift_mm)


def expected_of(plan: Plan, rolled: Rolled) -> Expected:
    """Return what the part is expected to measure.

    Args:
        plan: The plan.
        rolled: How its program presses, or another text.
    """
    blank, limits = plan.blank_diameter_mm, plan.blank_limits_mm
    # A blank that the job gives may lie beside the limits of the one that tracks.
    smallest, largest = min(blank, limits[0]), max(blank, limits[1])
    found, low_mm = _depths(plan, rolled.way, smallest)
    high_mm = max(_rigid_mm(plan, rolled.way, largest))
    sizes = [
        _size(plan.knurl, diameter, depth)
        for diameter, depth in zip(
            (blank, smallest, largest), (found.median_mm, low_mm, high_mm), strict=True
        )
    ]
    full = full_penetration_mm(plan.knurl)
    least, most = (min(max(depth, 0.0), full) for depth in (found.least_mm, found.most_mm))
    return Expected(
        knurled_diameter_mm=Range(*(size[0] for size in sizes)),
        tooth_height_mm=Range(*(size[1] for size in sizes)),
        evenness=least / most if most else 0.0,
        double_impression=0.0 if _tracks(plan, rolled) else _double_impression(plan, rolled),
        held_off_mm=max(0.0, found.most_mm - full),
        blank_limits_mm=limits,
    )


def _double_impression(plan: Plan, rolled: Rolled) -> float:
    # Imported here, from below: only rolls that do not track in their first turn are followed.
    from knurlcam.imprint.doubled_rolls import double_impression_along

    return double_impression_along(plan, rolled.stretches)


# -- the first turn --------------------------------------------------------------------


def first_print_mm(plan: Plan, rolled: Rolled) -> float:
    """Return what deflection leaves of the first turn's print, at its deepest edge [mm].

    Args:
        plan: The plan.
        rolled: How a program presses.
    """
    z = rolled.stretches[0].z0_mm
    knot = knot_of(plan, rolled.first_x_mm, z)
    estimate = plan.estimate
    rigid = plan.contact.depth_mm(rolled.first_x_mm)
    if estimate is None or estimate.deflection is None or knot.left_mm >= 0.0:
        return rigid
    return max(estimate.deflection.work.edges_mm(knot.across_mm, knot.left_mm))


def _tracks(plan: Plan, rolled: Rolled) -> bool:
    """Whether the rolls fall into their track in the second turn."""
    misfit = abs(_misfit_teeth(plan, rolled))
    if misfit < WHOLE_TEETH:
        return True
    reach = reach_per_mm(plan.knurl.profile_deg) * first_print_mm(plan, rolled)
    return misfit * plan.knurl.pitch_mm <= reach


def _misfit_teeth(plan: Plan, rolled: Rolled) -> float:
    """Return how far round the rolls come beside their print, on the circle of their own turn."""
    tracking = plan.tracking
    # Without a range it is given, or the rolls' own.
    if tracking.correction_low_mm == tracking.correction_high_mm:
        return plan.misfit_teeth
    pressed = min(plan.contact.depth_mm(rolled.first_x_mm), plan.passes[0].penetration_mm)
    teeth = tracking._replace(correction_mm=pressed).teeth_around(plan.blank_diameter_mm)
    return teeth - round(teeth)


def _size(knurl: KnurlGeometry, blank_mm: float, depth_mm: float) -> tuple[float, float]:
    """Return the diameter over the crests and the tooth height that a penetration makes [mm]."""
    depth = min(max(depth_mm, 0.0), full_penetration_mm(knurl))
    height = height_for_penetration(depth, knurl.full_height_mm, knurl.family)
    return blank_mm + 2.0 * (height - depth) * knurl.growth_share, height


def full_penetration_mm(knurl: KnurlGeometry) -> float:
    """Return the penetration at which the teeth are full [mm]."""
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
