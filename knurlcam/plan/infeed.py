"""The infeed: slow enough to form every tooth alike, firm enough for the rolls to track."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from knurlcam.data.speeds import speed_rules
from knurlcam.errors import CannotBeDoneError
from knurlcam.job.model import Job
from knurlcam.mechanics.knurl import KnurlGeometry
from knurlcam.mechanics.pressing import Fresh
from knurlcam.mechanics.setup_loads import RollTravel
from knurlcam.plan.blank_limits import Pressed, first_pressed, handbook_limits_mm, window_mm
from knurlcam.plan.diameters import choose_diameters
from knurlcam.plan.first_turn import FirstTurn
from knurlcam.plan.hardening import work_hardens
from knurlcam.plan.loads import Depth, Estimate, estimate_loads
from knurlcam.plan.remarks import COMMON, Remarks
from knurlcam.plan.results import Diameters, RollAsItIs, Strategy
from knurlcam.plan.tooling import may_traverse, rolls_of, teeth_of
from knurlcam.plan.zone import entry_mm, strategy_of

if TYPE_CHECKING:
    from knurlcam.plan.press_fit import Joint

__all__ = ["Infeed", "settle_infeed", "usual_feed_mm"]

STEP_MM = 0.005
"""Steps in which an infeed is recommended [mm/rev]."""

STEP_SLACK = 1e-9
"""Rounding of arithmetic in a number of steps [-]."""

MOST_ROUNDS = 3
"""How often infeed and blank are worked out from each other [-]: the infeed only rises."""


class Infeed(NamedTuple):
    """The infeed, and why.

    Attributes:
        first: The first turn with it.
        why: The reason, in one phrase.
        held: Whether it is the fastest whose first turn does not press the whole first pass.
    """

    first: FirstTurn
    why: str
    held: bool = False


def settle_infeed(job: Job, knurl: KnurlGeometry, roll: RollAsItIs, joint: Joint | None) -> Infeed:
    """Return the infeed that the job gives, else the least whose first turn tracks.

    Args:
        job: The job.
        knurl: The knurl's geometry.
        roll: The rolls as they are.
        joint: What a press fit has before the diameters; None without one.
    """
    strategy = strategy_of(job, traverse=may_traverse(rolls_of(job, knurl)))
    asked = job.process.infeed_rate
    if asked is not None:
        return Infeed(FirstTurn(job, knurl, strategy, roll.diameter_mm, asked), "")
    first = FirstTurn(job, knurl, strategy, roll.diameter_mm, speed_rules().infeed_mm_per_rev)
    chosen = Infeed(first, "slow enough to form every tooth alike")
    for _ in range(MOST_ROUNDS):
        found = _for_blank(job, chosen.first, joint)
        if found is None:
            break
        if found.first.infeed_mm_per_rev < chosen.first.infeed_mm_per_rev:
            # A slower one would do as well, unless this one is too fast for its own blank.
            return found if chosen.held else chosen
        before, chosen = chosen, found
        if before.first == chosen.first:
            break
    return chosen


def _for_blank(job: Job, first: FirstTurn, joint: Joint | None) -> Infeed | None:
    """Return the infeed that suits the blank of another; None where no blank is found."""
    diameters = _draft(job, first, joint)
    if diameters is None:
        return None
    contact = first.contact(diameters.blank_mm, diameters.penetration_mm)
    deepest = contact.blank_radius_mm + contact.roll_radius_mm - contact.half_spacing_mm
    if deepest <= 0.0 or diameters.penetration_mm > deepest + STEP_SLACK:
        return None  # refused later: these rolls pass above and below the work
    depths = first.depths_mm(diameters.blank_mm, diameters.penetration_mm)
    whole = contact.touch_mm - contact.centre_mm(depths[0])
    steps = [f for f in _steps() if f <= whole] or _steps()[:1]
    widest = Infeed(
        replace(first, infeed_mm_per_rev=steps[-1]),
        "the widest tolerance of the blank that leaves the first impression a turn to form",
        held=True,
    )
    if first.knurl.diametral_pitch is not None:
        return widest._replace(why="a firm first bite, as rolls of a diametral pitch want it")
    if work_hardens(job):
        why = f"few firm turns, because this metal hardens readily under the rolls ({COMMON})"
        return widest._replace(why=why)
    estimate = _estimate(job, first, diameters, depths)
    for step in steps:
        pressed = first_pressed(
            contact,
            estimate,
            entry_mm(job, first.strategy),
            infeed_mm=step,
            first_pass_mm=depths[0],
            compensated=job.process.compensate,
        )
        if _covers(job, first.knurl, diameters, pressed):
            return Infeed(
                replace(first, infeed_mm_per_rev=step),
                "its first turn tracks over the whole tolerance of the blank",
            )
    return widest


def _steps() -> list[float]:
    rules = speed_rules()
    count = (rules.infeed_max_mm_per_rev - rules.infeed_mm_per_rev) / STEP_MM
    least = rules.infeed_mm_per_rev
    return [round(least + i * STEP_MM, 9) for i in range(int(count + STEP_SLACK) + 1)]


def _draft(job: Job, first: FirstTurn, joint: Joint | None) -> Diameters | None:
    """Return the diameters as they come out with an infeed, silently."""
    try:
        return choose_diameters(job, first, joint, Remarks(job.units, job.from_shop, ()))
    except CannotBeDoneError:
        return None


def _estimate(
    job: Job, first: FirstTurn, diameters: Diameters, depths: tuple[float, ...]
) -> Estimate | None:
    """Return how the work deflects at first touch; None where that is not known."""
    end = -(job.knurl.start + job.knurl.length)
    if job.part.length + end <= 0.0:  # refused later: past the chuck
        return None
    names = rolls_of(job, first.knurl)
    step = depths[-1] - (depths[-2] if len(depths) > 1 else 0.0)
    travel = RollTravel(end, max(end, entry_mm(job, first.strategy)))
    return estimate_loads(
        job,
        teeth_of(first.knurl, names),
        first.contact(diameters.blank_mm, diameters.penetration_mm),
        Depth(diameters.penetration_mm, step, travel, _fresh(job, first.strategy, depths[0])),
        1.0,
    )


def _fresh(job: Job, strategy: Strategy, first_pass_mm: float) -> Fresh:
    """Return what a turn of the first pass presses in: its first turn presses all afresh."""
    feed = usual_feed_mm(job) if job.process.feed is None else job.process.feed
    return Fresh(first_pass_mm, feed if strategy == "traverse" else 0.0, first_pass_mm)


def usual_feed_mm(job: Job) -> float:
    """Return the feed of a job that gives none: the usual one, or half of narrow rolls [mm]."""
    return min(speed_rules().feed_default_mm_per_rev, job.tool.face_width / 2.0)


def _covers(job: Job, knurl: KnurlGeometry, diameters: Diameters, pressed: Pressed) -> bool:
    """Return whether the window covers the handbook's tolerance."""
    middle = diameters.tracking.blank_diameter(diameters.teeth)
    low, high = window_mm(knurl, diameters.tracking, middle, pressed)
    least, most = handbook_limits_mm(knurl, job.purpose, middle)
    return low <= least and most <= high
