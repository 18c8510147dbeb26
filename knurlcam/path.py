"""Plan to steps: what the slide, the spindle and the coolant do, in no dialect yet.

X is on the diameter in the job's X datum, Z in the job's Z datum. The rolls touch the
work from the first infeed to the retract: no stop, no spindle change and no rapid stand
between. Contact is entered and left straight in X, by feed, from and to clearance.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from knurlcam.plan import Pass, Plan
from knurlcam.quantities import Kind, show

__all__ = [
    "Coolant",
    "Dwell",
    "Feed",
    "OptionalStop",
    "Path",
    "Rapid",
    "Remark",
    "Spindle",
    "Step",
    "lay_out",
]


@dataclass(frozen=True, slots=True)
class Rapid:
    """A rapid along one axis.

    Attributes:
        axis: ``X`` or ``Z``.
        to_mm: Where it ends; X on the diameter [mm]
    """

    axis: Literal["X", "Z"]
    to_mm: float


@dataclass(frozen=True, slots=True)
class Feed:
    """A feed move along one axis.

    Attributes:
        axis: ``X`` or ``Z``.
        to_mm: Where it ends; X on the diameter [mm]
        mm_per_rev: Slide travel in each turn of the work [mm/rev]
    """

    axis: Literal["X", "Z"]
    to_mm: float
    mm_per_rev: float


@dataclass(frozen=True, slots=True)
class Dwell:
    """The slide stands while the work turns.

    Attributes:
        seconds: How long [s]
        revolutions: Turns of the work [rev]
    """

    seconds: float
    revolutions: int


@dataclass(frozen=True, slots=True)
class Spindle:
    """Spindle on in the job's direction at its constant speed, or off."""

    on: bool


@dataclass(frozen=True, slots=True)
class Coolant:
    """Coolant on or off."""

    on: bool


@dataclass(frozen=True, slots=True)
class OptionalStop:
    """A stop that the operator may switch on, with the spindle already off."""


@dataclass(frozen=True, slots=True)
class Remark:
    """A comment for the person who reads the program."""

    text: str


Step = Rapid | Feed | Dwell | Spindle | Coolant | OptionalStop | Remark


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


def _steps(plan: Plan) -> Iterator[Step]:
    coolant = plan.job.process.coolant
    yield Spindle(True)
    if coolant:
        yield Coolant(True)
    if plan.trial is not None:
        yield from _trial_strip(plan)
        yield Spindle(True)
        if coolant:
            yield Coolant(True)
    yield from _approach(plan)
    for step in plan.passes:
        yield Remark(_pass_title(plan, step))
        yield from _one_pass(plan, step)
    yield Remark("retract")
    yield from _leave(plan)
    yield Rapid("Z", plan.job.machine.safe_z)
    if coolant:
        yield Coolant(False)
    yield Spindle(False)


def _approach(plan: Plan) -> Iterator[Step]:
    """At safe X to the start Z, then in to clearance."""
    yield Rapid("X", plan.job.machine.safe_x)
    yield Rapid("Z", plan.passes[0].z_start_mm)
    yield Rapid("X", plan.clearance_x_mm)


def _press(plan: Plan, x_mm: float) -> Iterator[Step]:
    yield Feed("X", x_mm, plan.infeed_mm_per_rev)
    yield Dwell(plan.dwell_s, plan.job.process.dwell_revolutions)


def _one_pass(plan: Plan, step: Pass) -> Iterator[Step]:
    if step.presses:
        yield from _press(plan, step.x_diameter_mm)
    if step.direction != "plunge":
        yield Feed("Z", step.z_end_mm, plan.feed_mm_per_rev)


def _leave(plan: Plan) -> Iterator[Step]:
    """Straight out in X: by feed to clearance, by rapid to safe X."""
    yield Feed("X", plan.clearance_x_mm, plan.feed_mm_per_rev)
    yield Rapid("X", plan.job.machine.safe_x)


def _trial_strip(plan: Plan) -> Iterator[Step]:
    trial = plan.trial
    assert trial is not None
    yield Remark("trial strip")
    yield from _approach(plan)
    yield from _press(plan, trial.x_diameter_mm)
    if trial.z_end_mm != trial.z_start_mm:
        yield Feed("Z", trial.z_end_mm, plan.feed_mm_per_rev)
    yield from _leave(plan)
    if plan.job.process.coolant:
        yield Coolant(False)
    yield Spindle(False)
    yield Remark("look for a double impression before going on")
    yield OptionalStop()
    yield Remark("go on in the same track")


def _pass_title(plan: Plan, step: Pass) -> str:
    pressing = sum(p.presses for p in plan.passes)
    way = {
        "headstock": " to the headstock",
        "tailstock": " to the tailstock",
        "plunge": " plunge",
    }[step.direction]
    if not step.presses:
        return f"clean-up pass{way}"
    depth = show(step.penetration_mm, Kind.LENGTH, plan.job.units)
    return f"pass {step.number} of {pressing}{way}, {depth} deep"
