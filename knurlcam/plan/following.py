"""Deflection compensation: the slide follows the work as it deflects under the rolls.

X changes along each pass in straight blocks. They are set off by their own chords, so that no
place comes too deep, and their X words are rounded outward: the penetration stays a little below
the planned one.
"""

from __future__ import annotations

from knurlcam.job.model import Job
from knurlcam.mechanics.held_work import HeldWork, Knot
from knurlcam.plan.remarks import LENGTH_SLACK_MM, Remarks
from knurlcam.plan.results import Diameters, Pass, Tooling

__all__ = ["compensate", "deepest_over_the_end_mm"]

MOST_FOLLOWED_MM = 20_000.0
"""Longest way of all passes with deflection compensation [mm]: the force is solved on all of it
when the program is written, and again when it is checked."""


def compensate(
    passes: tuple[Pass, ...], work: HeldWork, tooling: Tooling, remarks: Remarks
) -> tuple[Pass, ...]:
    """Return passes whose slide follows the work.

    Raises:
        CannotBeDoneError: where the passes are too long for that.
    """
    _refuse_long(passes, remarks)
    remarks.stop_if_refused()
    return tuple([_following(step, work, tooling.datum_shift_mm) for step in passes])


def _refuse_long(passes: tuple[Pass, ...], remarks: Remarks) -> None:
    way = sum(abs(step.z_end_mm - step.z_start_mm) for step in passes)
    if way > MOST_FOLLOWED_MM:
        remarks.refuse(
            "follows-too-long",
            "process.compensate",
            f"the passes are {way / 1e3:.1f} m long in all; deflection compensation is "
            f"computed and checked over at most {MOST_FOLLOWED_MM / 1e3:g} m: take fewer passes, "
            "or knurl a shorter zone",
        )


def _following(step: Pass, work: HeldWork, shift: float) -> Pass:
    c, start, end = step.penetration_mm, step.z_start_mm - shift, step.z_end_mm - shift
    # A plunge has one place: the slide stands deeper by the deflection there.
    if start == end:
        knots: tuple[Knot, ...] = (Knot(start, work.across_mm(c, start)),)
    else:
        knots, _ = work.follow(c, start, end)
    places = [
        (knot.left_mm + shift, 2.0 * (knot.across_mm - work.contact.datum_shift_mm))
        for knot in knots
    ]
    return step._replace(x_diameter_mm=places[0][1], follow=tuple(places[1:]))


def deepest_over_the_end_mm(
    job: Job, passes: tuple[Pass, ...], tooling: Tooling, diameters: Diameters
) -> float:
    """Return how deep a compensated slide stands where rolls hang over the end, at most [mm].

    It goes deeper than the full penetration, by the deflection.
    """
    shift, face = tooling.datum_shift_mm, job.tool.face_width
    over = [
        tooling.contact.depth_mm(x)
        for step in passes
        for z, x in ((step.z_start_mm, step.x_diameter_mm), *step.follow)
        if z - shift + face > -LENGTH_SLACK_MM  # the block up to here begins over the end
    ]
    return max([diameters.penetration_mm, *over])
