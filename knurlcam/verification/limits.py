"""The figures that a motion is held against: what "as planned" means, and where room ends."""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

from knurlcam.mechanics.held_work import HeldWork
from knurlcam.plan.model import Plan

PENETRATION_TOLERANCE_MM = 0.01
Z_TOLERANCE_MM = 0.02
"""What "as planned" means: far above rounding, far below what shows on a knurl."""

X_TOLERANCE_MM = 0.01
"""In air, on the diameter: above the rounding of every dialect."""

TOUCH_TOLERANCE_MM = 0.002
"""On the diameter: X this far below first touch is contact; rounding stays below it."""

LOOK_MM = 1.0
LEAST_LOOKS = 4
MOST_LOOKS = 200
"""A slide that follows the work is looked at every millimetre, and within each block."""

ROOM_MM = 25.0
"""Slide travel: a hand-written program may swing a little wider than the safe position; that
there is room further out nobody has said."""

STILL_MM = 1e-6
"""A move shorter than this is none."""

SHARE_TOLERANCE = 0.05
"""Speed and feed may be 5 % off the plan."""

SPEED_TOLERANCE_RPM = 0.5
"""Half of what the S word can tell: below 10 rev/min it is more than 5 %."""

DWELL_TOLERANCE_S = 0.0015
"""One and a half milliseconds: what rounding to a control's millisecond can cost."""

FEED_SLACK = 1e-6
"""Of half a last place: a feed that stands exactly between two is rounded either way."""

LONG_DWELL = 3.0
"""A dwell more than so many times as long as planned is remarked on."""


class Speed(NamedTuple):
    """The planned speed of the spindle.

    Attributes:
        planned_rpm: Speed [rev/min]
        slack_rpm: How far another one may be off [rev/min]
    """

    planned_rpm: float
    slack_rpm: float

    @classmethod
    def of(cls, plan: Plan) -> Speed:
        """Return that of a plan."""
        rpm = float(plan.programmed_rpm)
        return cls(rpm, max(SHARE_TOLERANCE * rpm, SPEED_TOLERANCE_RPM))

    def is_near(self, rpm: float) -> bool:
        """Whether a speed is as planned [rev/min]."""
        return abs(rpm - self.planned_rpm) <= self.slack_rpm


class Safe(NamedTuple):
    """The safe position, each axis less its tolerance.

    Attributes:
        x: X, on the diameter, from which the slide is out of everything's way [mm]
        z: Z from which it is beyond the work [mm]
    """

    x: float
    z: float

    @classmethod
    def of(cls, plan: Plan) -> Safe:
        """Return that of a plan's machine."""
        machine = plan.job.machine
        return cls(machine.safe_x - X_TOLERANCE_MM, machine.safe_z - Z_TOLERANCE_MM)


def is_long(seconds: float, planned_s: float) -> bool:
    """Whether a dwell [s] is long enough to harden the surface."""
    return seconds > LONG_DWELL * planned_s + DWELL_TOLERANCE_S


def least_step(plan: Plan) -> float:
    """Return what may be pressed deeper without being taken for an infeed [mm]."""
    depths = [0.0, *(p.penetration_mm for p in plan.passes if p.presses)]
    planned = min([deeper - depth for depth, deeper in pairwise(depths)])
    # A slide that follows goes in and out all the time, and is judged by where it comes to.
    return min(PENETRATION_TOLERANCE_MM if plan.follows else TOUCH_TOLERANCE_MM, planned / 2.0)


def compensated_work(plan: Plan) -> HeldWork | None:
    """Return the held work where the job lets the slide follow it."""
    if not plan.follows or plan.estimate is None or plan.estimate.deflection is None:
        return None
    return plan.estimate.deflection.work
