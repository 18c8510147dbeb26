"""Plan to steps: what the slide, the spindle and the coolant do, in no dialect yet.

X is on the diameter in the job's X datum, Z in the job's Z datum. A feed along X is travel of the
slide, not change of diameter: 0.05 mm/rev moves the slide 0.05 mm a turn. The rolls touch the
work from the first infeed to the retract: no stop, no spindle change and no rapid stand
between. Contact is entered and left straight in X, by feed, from and to clearance.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

from knurlcam.plan.model import Plan
from knurlcam.plan.results import Pass, TrialStrip
from knurlcam.units.kinds import Kind, Units
from knurlcam.units.show import show

__all__ = [
    "Comment",
    "Coolant",
    "Dwell",
    "Feed",
    "Follow",
    "Path",
    "Rapid",
    "Spindle",
    "Step",
    "Stop",
    "ToolCall",
    "lay_out",
]


class Rapid(NamedTuple):
    """A rapid along one axis.

    Attributes:
        axis: ``X`` or ``Z``.
        to_mm: Where it ends; X on the diameter [mm]
    """

    axis: Literal["X", "Z"]
    to_mm: float


class Feed(NamedTuple):
    """A feed move along one axis.

    Attributes:
        axis: ``X`` or ``Z``.
        to_mm: Where it ends; X on the diameter [mm]
        mm_per_rev: Slide travel in each turn of the work [mm/rev]
    """

    axis: Literal["X", "Z"]
    to_mm: float
    mm_per_rev: float


class Follow(NamedTuple):
    """A feed move along both axes at once: a straight piece of deflection compensation.

    Attributes:
        x_mm: Where it ends, on the diameter [mm]
        z_mm: Where it ends [mm]
        mm_per_rev: Slide travel in each turn of the work [mm/rev]
    """

    x_mm: float
    z_mm: float
    mm_per_rev: float


class Dwell(NamedTuple):
    """The slide stands while the work turns.

    Attributes:
        seconds: How long [s]
        revolutions: Turns of the work [rev]
    """

    seconds: float
    revolutions: int


class Spindle(NamedTuple):
    """Spindle on in the job's direction at its constant speed, or off."""

    on: bool


class Coolant(NamedTuple):
    """Coolant on or off."""

    on: bool


class Stop(NamedTuple):
    """A stop of the program, with spindle and coolant already off.

    Attributes:
        optional: Whether it stops only if the operator has switched it on.
    """

    optional: bool


class ToolCall(NamedTuple):
    """The tool and its offset called again: an offset changed at a stop counts from here on."""


class Comment(NamedTuple):
    """A comment for the person who reads the program."""

    text: str


Step = Rapid | Feed | Follow | Dwell | Spindle | Coolant | Stop | ToolCall | Comment


@dataclass(frozen=True, slots=True)
class Path:
    """The steps of one operation, between tool call and offset cancel.

    Attributes:
        plan: The plan that they carry out.
        steps: The steps in order; the first rapid goes to safe X.
    """

    plan: Plan
    steps: tuple[Step, ...]


def lay_out(plan: Plan) -> Path:
    """Lay out the path of a plan.

    Args:
        plan: The plan.

    Returns:
        The steps from safe X at the start to the safe position at the end.
    """
    return Path(plan, tuple(_steps(plan)))


def _steps(plan: Plan) -> list[Step]:
    coolant = plan.job.process.coolant
    # Before the approach, so that no roll meets work at rest, or dry.
    start: list[Step] = [Spindle(True), Coolant(True)] if coolant else [Spindle(True)]
    steps = list(start)
    if plan.trial is not None:
        steps += _trial_strip(plan, plan.trial)
        steps += start
    steps += _approach(plan)
    steps += _passes(plan)
    steps.append(Comment("retract"))
    steps += _leave(plan)
    return steps + _off(plan)


def _off(plan: Plan) -> list[Step]:
    """To the safe position along Z, coolant and spindle off."""
    # X is at its safe position by now: Z never moves by rapid while X is further in.
    off: list[Step] = [Rapid("Z", plan.job.machine.safe_z)]
    if plan.job.process.coolant:
        off.append(Coolant(False))
    return [*off, Spindle(False)]


def _approach(plan: Plan) -> tuple[Step, ...]:
    """At safe X to the start Z, then in to clearance."""
    # One axis at a time: controls differ in the way that a rapid of two axes takes.
    return (
        Rapid("X", plan.job.machine.safe_x),
        Rapid("Z", plan.passes[0].z_start_mm),
        Rapid("X", plan.clearance_x_mm),
    )


def _dwell(plan: Plan) -> Dwell:
    return Dwell(plan.dwell_s, plan.job.process.dwell_revolutions)


def _passes(plan: Plan) -> list[Step]:
    infeed, feed, dwell = plan.infeed_mm_per_rev, plan.feed_mm_per_rev, _dwell(plan)
    pressing = sum([step.presses for step in plan.passes])
    steps: list[Step] = []
    for step in plan.passes:
        steps.append(Comment(_pass_title(step, pressing, plan.job.units)))
        if step.presses:  # the clean-up pass starts at once, at the X of the last one
            steps.append(Feed("X", step.x_diameter_mm, infeed))
            steps.append(dwell)
        # The dwell gives every tooth its turn under the rolls before they move along.
        if step.direction != "plunge":
            steps += _along(step, feed)
    return steps


def _along(step: Pass | TrialStrip, feed: float) -> list[Step]:
    """Along the work: in one block, or in many with deflection compensation."""
    if not step.follow:
        return [Feed("Z", step.z_end_mm, feed)]
    return [Follow(x, z, feed) for z, x in step.follow]


def _leave(plan: Plan) -> tuple[Step, ...]:
    """Straight out in X: by feed to clearance, by rapid to safe X."""
    # By feed while the teeth of rolls and work are in mesh; above the crests by rapid.
    return (
        Feed("X", plan.clearance_x_mm, plan.feed_mm_per_rev),
        Rapid("X", plan.job.machine.safe_x),
    )


def _trial_strip(plan: Plan, trial: TrialStrip) -> list[Step]:
    steps: list[Step] = [Comment("trial strip")]
    steps += _approach(plan)
    steps += (Feed("X", trial.x_diameter_mm, plan.infeed_mm_per_rev), _dwell(plan))
    if trial.z_end_mm != trial.z_start_mm:
        steps += _along(trial, plan.feed_mm_per_rev)
    # Out to the safe position, so that hands have room; it comes back as at first, in the same
    # track.
    steps += _leave(plan)
    steps += _off(plan)
    steps += (
        Comment("check for a double impression before going on"),
        Stop(plan.job.process.trial_stop == "optional"),
        Comment("go on in the same track"),
        ToolCall(),
    )
    return steps


_WAYS = {
    "headstock": " toward the headstock",
    "tailstock": " toward the tailstock",
    "plunge": " plunge",
}


def _pass_title(step: Pass, pressing: int, units: Units) -> str:
    way = _WAYS[step.direction]
    if not step.presses:
        return f"clean-up pass{way}"
    depth = show(step.penetration_mm, Kind.LENGTH, units)
    return f"pass {step.number} of {pressing}{way}, {depth} deep"
