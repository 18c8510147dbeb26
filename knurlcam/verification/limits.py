"""The figures that a motion is held against: what "as planned" means, and where room ends."""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.numbers import nearly_half_a_place_mm, x_factor
from knurlcam.mechanics.held_work import HeldWork
from knurlcam.plan.model import Plan

PENETRATION_TOLERANCE_MM = 0.01
"""Penetration, radial [mm]: "as planned" is within it at most; see :func:`depth_tolerance_mm`."""

PENETRATION_SHARE = 0.03
"""Share [-] of the full penetration within which it is "as planned": near full height the crests
of a raised diamond run away, and ten micrometres more press a fine knurl full."""

LEAST_INCREMENTS = 2.0
"""Increments of X within which a penetration is "as planned", at least: rounding costs one."""

Z_TOLERANCE_MM = 0.02
"""Z [mm]: "as planned" is within it."""

X_TOLERANCE_MM = 0.01
"""X in air, on the diameter [mm]: above the rounding of every dialect."""

SAFE_TOLERANCE_MM = 0.02
"""Either axis of the safe position, X on the diameter [mm]: what comes next counts on the slide
being out of the way, and on no more."""

TOUCH_TOLERANCE_MM = 0.002
"""X on the diameter [mm]: this far below first touch is contact; rounding stays below it."""

LOOK_MM = 1.0
"""Distance along Z [mm] at which the depth of a compensated traverse is computed."""

LEAST_LOOKS = 4
"""Parts of a compensated block, at least: the work deflects within a short block as well."""

MOST_LOOKS = 200
"""... and at most: a block of a metre must not take time without end."""

ROOM_MM = 25.0
"""Slide travel [mm] beyond what the job names: a program written by hand may swing a little
wider than the safe position, but nothing says that there is room further out."""

FACE_ROOM_MM = 0.1
"""Distance along Z [mm] at which a rapid passes the face of a step or the end of the work, at
least, unless the plan itself comes closer: five times what Z may be off, so that rolls and face
never meet, and less than the relief at a shoulder (common practice)."""

STILL_MM = 1e-6
"""Travel [mm] below which an axis stands still."""

SHARE_TOLERANCE = 0.05
"""Share [-] by which speed and feed may be off the plan."""

SLOWEST_INFEED = 0.5
"""Share [-] of the infeed rate down to which the rolls may go in: softer, in more turns."""

SPEED_TOLERANCE_RPM = 0.5
"""Speed [rev/min]: half a step of the S word, which below 10 rev/min is more than 5 %."""

DWELL_TOLERANCE_S = 0.0015
"""Time [s]: what rounding to a control's millisecond can cost, and half as much again."""

FEED_SLACK = 1e-6
"""Share [-] of half a last place: a feed exactly between two may be rounded either way."""

MUCH_TOO_LONG_DWELL = 10.0
"""Ratio [-] to the planned dwell above which a dwell is an error: nobody wants it, and a time in
the wrong unit is a thousand times too long."""

LONG_DWELL_IN_AIR_S = 60.0
"""Time [s] above which a dwell in air is warned of."""

LONG_DWELL = 3.0
"""Ratio [-] to the planned dwell above which a dwell is warned of."""


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

    def is_near(self, rpm: float, wanted_rpm: float | None = None) -> bool:
        """Whether a speed is as planned, or else as wanted [rev/min]."""
        wanted = self.planned_rpm if wanted_rpm is None else wanted_rpm
        return abs(rpm - wanted) <= self.slack_rpm

    def is_stated_near(self, rpm: float | None) -> bool:
        """Whether a speed is stated, and is as planned [rev/min]."""
        return rpm is not None and self.is_near(rpm)


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
        return cls(machine.safe_x - SAFE_TOLERANCE_MM, machine.safe_z - SAFE_TOLERANCE_MM)


def code_of_long_dwell(seconds: float, planned_s: float) -> str:
    """Return the code of a dwell [s] that is long enough to harden the surface; else nothing."""
    if seconds <= LONG_DWELL * planned_s + DWELL_TOLERANCE_S:
        return ""
    much = seconds > MUCH_TOO_LONG_DWELL * planned_s + DWELL_TOLERANCE_S
    return "dwell-too-long" if much else "dwell-long"


def depth_tolerance_mm(plan: Plan, dialect: Dialect | None = None) -> float:
    """Return within what a penetration, radial, is "as planned" [mm].

    Args:
        plan: The plan; what counts is its full penetration.
        dialect: Two of whose increments of X it is at least; None where rounding is no matter.
    """
    usual = min(PENETRATION_TOLERANCE_MM, PENETRATION_SHARE * plan.penetration_mm)
    if dialect is None:
        return usual
    # On the radius: an increment of X is twice half a place, and half of it on a diameter.
    increment = nearly_half_a_place_mm(dialect, plan.job.units) * x_factor(dialect)
    return max(usual, LEAST_INCREMENTS * increment)


def least_step(plan: Plan, tolerance_mm: float) -> float:
    """Return what may be pressed deeper without being taken for an infeed [mm].

    Half of the plan's smallest step at most: the last steps of a straddle in many passes are
    thousandths of a millimetre, and infeeds nevertheless.
    """
    depths = [0.0, *(p.penetration_mm for p in plan.passes if p.presses)]
    planned = min([deeper - depth for depth, deeper in pairwise(depths)])
    # A slide that compensates goes in and out all the time: it is checked where it arrives.
    return min(tolerance_mm if plan.follows else TOUCH_TOLERANCE_MM, planned / 2.0)


def compensated_work(plan: Plan) -> HeldWork | None:
    """Return the held work where the program compensates its deflection, else None."""
    if not plan.follows or plan.estimate is None or plan.estimate.deflection is None:
        return None
    return plan.estimate.deflection.work
