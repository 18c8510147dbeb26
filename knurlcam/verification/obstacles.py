"""The rules of what may be hit: work, chuck, centre, tailstock and shoulders.

What is not known of a thing is taken in the least favourable way: a chuck reaches out to
safe X, and so does what stands behind the centre.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from knurlcam.gcode.motion import Block
from knurlcam.plan.model import Plan
from knurlcam.plan.surroundings import pieces_beside
from knurlcam.verification.depths import Depths
from knurlcam.verification.feeds import Feeds
from knurlcam.verification.limits import (
    FACE_ROOM_MM,
    PENETRATION_TOLERANCE_MM,
    STILL_MM,
    TOUCH_TOLERANCE_MM,
    X_TOLERANCE_MM,
    Z_TOLERANCE_MM,
    Safe,
)
from knurlcam.verification.report import Report
from knurlcam.verification.work import Leg, Work

__all__ = ["Obstacles", "say_along_before_out"]


class _Shoulder(NamedTuple):
    """A step of the work that is thicker than the blank.

    Attributes:
        left_mm: Its end towards the headstock, from Z0 [mm]
        right_mm: ... and towards the tailstock [mm]
        diameter_mm: Its diameter [mm]
        touch_x: X of the slide where the rolls touch it, on the diameter [mm]
        beside_mm: Distance along Z at which a rapid passes its face, at least [mm]
    """

    left_mm: float
    right_mm: float
    diameter_mm: float
    touch_x: float
    beside_mm: float


def _beside_mm(room_mm: float, planned_mm: float) -> float:
    """Return how far a rapid keeps from a face along Z, at least [mm].

    Args:
        room_mm: How far it should, at least [mm]
        planned_mm: How far from it the rolls go as planned, on which the plan warns where that is
            little [mm]
    """
    return min(room_mm, planned_mm - TOUCH_TOLERANCE_MM)


def _shoulders(plan: Plan) -> tuple[_Shoulder, ...]:
    """Return what stands out beyond the blank, but for the knurl's own zone."""
    steps, contact, knurl = plan.job.part.steps, plan.contact, plan.job.knurl
    if steps is None:
        return ()
    near, far = -plan.right_limit_mm, -plan.line_mm
    return tuple(
        _Shoulder(
            -high,
            -low,
            diameter,
            contact.x_diameter_mm(contact.blank_radius_mm - diameter / 2.0),
            _beside_mm(FACE_ROOM_MM, max(low - far, near - high)),
        )
        for diameter, low, high in pieces_beside(steps, knurl.start, knurl.start + knurl.length)
        if diameter > plan.blank_diameter_mm
    )


def _centre_radius(plan: Plan) -> float:
    """Return the radius of what stands beyond the end face [mm]; negative where nothing does."""
    holding = plan.job.holding
    if holding.held_by == "none":
        return -math.inf
    largest = plan.largest_centre_mm or plan.blank_diameter_mm - 2.0 * plan.penetration_mm
    return (holding.centre_diameter or largest) / 2.0 - PENETRATION_TOLERANCE_MM


def say_along_before_out(report: Report, plan: Plan, block: Block, x: float) -> None:
    """Say that Z moves, after the knurl, before the slide is out at safe X."""
    report.say_once(
        "z-before-x",
        None,
        block,
        f"Z moves at X {report.mm(x)}, inside safe X {report.mm(plan.job.machine.safe_x)}",
    )


class Obstacles:
    """Takes each leg, and says what it hits.

    What the rolls are in is remembered: the way back out of it is not another finding.
    """

    __slots__ = (
        "_centre", "_chuck_z", "_clear_x", "_depths", "_end_face_z", "_feeds", "_hang_z",
        "_in_centre", "_in_chuck", "_in_shoulder", "_near_chuck_z", "_plan", "_report",
        "_room", "_safe_x", "_shoulders", "_work",
    )  # fmt: skip

    def __init__(
        self, plan: Plan, work: Work, depths: Depths, feeds: Feeds, safe: Safe, report: Report
    ) -> None:
        self._plan, self._work, self._depths = plan, work, depths
        self._feeds, self._report = feeds, report
        self._safe_x = safe.x
        # From first touch of the blank, also over crests: a program comes back to the same X
        # after a trial strip, and the plan sees that the crests of a full profile stay below it.
        # The least room over crests is the clearance less their rise.
        self._clear_x = plan.clearance_x_mm - X_TOLERANCE_MM
        self._room = plan.job.machine.clearance
        self._centre = _centre_radius(plan)
        self._shoulders = _shoulders(plan)
        # Z of the slide at which the rolls' left edge reaches the chuck, is as close to it as a
        # rapid may come, the right edge hangs over the end face, and the left edge is beyond it.
        self._chuck_z = work.shift - plan.job.part.length - Z_TOLERANCE_MM
        to_chuck = plan.job.part.length + plan.line_mm - Z_TOLERANCE_MM
        self._near_chuck_z = work.shift - plan.job.part.length + min(self._room, to_chuck)
        self._hang_z = work.shift - work.face + Z_TOLERANCE_MM
        self._end_face_z = work.shift + Z_TOLERANCE_MM if self._centre > -math.inf else math.inf
        self._in_chuck = self._in_centre = self._in_shoulder = False

    def check(self, leg: Leg, *, touching: bool, has_touched: bool) -> None:
        """Check a leg against everything but the work itself.

        Args:
            leg: The leg.
            touching: Whether it begins with the rolls in the work.
            has_touched: Whether they have been in it by now.
        """
        if leg.z_low < self._near_chuck_z or self._in_chuck:
            self._check_chuck(leg)
        if (leg.z_high > self._hang_z and leg.x_low < self._work.touch_x) or self._in_centre:
            self._check_centre(leg)
        beyond = leg.z_high > self._end_face_z and leg.x_low < self._safe_x
        if beyond and not self._in_centre and not touching:
            self._check_tailstock(leg, has_touched)
        if self._shoulders:
            self._check_shoulders(leg)

    # -- chuck, centre, tailstock ------------------------------------------------

    def _check_chuck(self, leg: Leg) -> None:
        meets = self._at_chuck(leg.x_low, leg.z_low)
        fast = leg.rapid or self._feeds.of(leg.move) > self._feeds.fastest
        if (meets or (fast and leg.x_low < self._safe_x)) and not self._in_chuck:
            mm = self._report.mm
            room = self._near_chuck_z - self._work.shift + self._plan.job.part.length
            self._report.say_once(
                "feed-into-chuck" if meets and not leg.rapid else "rapid-through-chuck",
                # Within the clearance once: in and out again is one place.
                leg.block.line if meets else None,
                leg.block,
                f"the rolls reach Z {mm(leg.z_low - self._work.shift)}, the chuck or driven "
                f"centre begins at Z {mm(-self._plan.job.part.length)}"
                + ("" if meets else f", and a rapid, or a feed as fast, keeps {mm(room)} from it"),
            )
        self._in_chuck = meets and self._at_chuck(leg.x1, leg.z1)

    def _at_chuck(self, x: float, z: float) -> bool:
        return z < self._chuck_z and x < self._safe_x

    def _check_centre(self, leg: Leg) -> None:
        meets = self._at_centre(leg.x_low, leg.z_high)
        if meets and not self._in_centre:
            mm = self._report.mm
            self._report.say(
                "rapid-through-centre" if leg.rapid else "feed-into-centre",
                leg.block,
                "beyond the end face the rolls reach in to diameter "
                f"{mm(2.0 * max(0.0, self._reach_mm(leg.x_low)))}, the centre there may have "
                f"{mm(2.0 * (self._centre + PENETRATION_TOLERANCE_MM))}",
            )
        self._in_centre = meets and self._at_centre(leg.x1, leg.z1)

    def _at_centre(self, x: float, z: float) -> bool:
        hangs_over = z > self._hang_z and x < self._work.touch_x
        return hangs_over and self._reach_mm(x) < self._centre

    def _reach_mm(self, x: float) -> float:
        """Return the radius to which the rolls reach in [mm]."""
        return self._plan.contact.blank_radius_mm - self._depths.rigid_mm(x)

    def _check_tailstock(self, leg: Leg, has_touched: bool) -> None:
        """The centre's diameter is known, that of the quill behind it is not."""
        if leg.along and has_touched:
            say_along_before_out(self._report, self._plan, leg.block, leg.x_low)
        elif (leg.along or leg.dx < 0.0) and not self._report.has_said_once("z-before-x"):
            mm = self._report.mm
            self._report.say_once(
                "outside-known-room",
                "tailstock",
                leg.block,
                f"the rolls pass the tailstock at X {mm(leg.x_low)}, inside safe X "
                f"{mm(self._plan.job.machine.safe_x)}",
            )

    # -- shoulders: what stands out beyond the blank, such as the head of a screw --

    def _check_shoulders(self, leg: Leg) -> None:
        shoulder = self._shoulder_at(leg.x_low, leg.z_low, leg.z_high)
        if shoulder is None:
            if leg.rapid or self._feeds.of(leg.move) > self._feeds.fastest:
                self._check_beside_shoulders(leg)
        elif not self._in_shoulder:
            mm = self._report.mm
            self._report.say(
                "rapid-through-shoulder" if leg.rapid else "feed-into-shoulder",
                leg.block,
                f"the rolls reach X {mm(leg.x_low)} over the step of diameter "
                f"{mm(shoulder.diameter_mm)}, which they touch at X {mm(shoulder.touch_x)}",
            )
        at_end = shoulder is not None and self._shoulder_at(leg.x1, leg.z1, leg.z1) is not None
        self._in_shoulder = at_end

    def _check_beside_shoulders(self, leg: Leg) -> None:
        """Check a rapid that does not go into a shoulder: it may touch its face, or nearly."""
        work, mm = self._work, self._report.mm
        left, right = leg.z_low - work.shift, leg.z_high - work.shift + work.face
        for shoulder in self._shoulders:
            room = max(left - shoulder.right_mm, shoulder.left_mm - right)
            if room < shoulder.beside_mm and leg.x_low < shoulder.touch_x - TOUCH_TOLERANCE_MM:
                self._report.say_once(
                    "rapid-through-shoulder",
                    shoulder,
                    leg.block,
                    f"a rapid, or a feed as fast, passes {mm(max(0.0, room))} beside the step of "
                    f"diameter {mm(shoulder.diameter_mm)}, {mm(FACE_ROOM_MM)} at least is clear",
                )
                return
        self._check_shoulder_clearance(leg)

    def _check_shoulder_clearance(self, leg: Leg) -> None:
        # Straight in or out, the slide comes no closer along Z than it stands.
        beside = self._room if leg.z_high - leg.z_low >= STILL_MM else 0.0
        above = 2.0 * self._room - X_TOLERANCE_MM
        shoulder = self._shoulder_at(leg.x_low - above, leg.z_low - beside, leg.z_high + beside)
        if shoulder is not None:
            mm = self._report.mm
            self._report.say(
                "rapid-below-clearance",
                leg.block,
                f"a rapid, or a feed as fast, reaches X {mm(leg.x_low)}, "
                "the clearance over the step of "
                f"diameter {mm(shoulder.diameter_mm)} is at X {mm(shoulder.touch_x + above)}",
            )

    def _shoulder_at(self, x: float, z_low: float, z_high: float) -> _Shoulder | None:
        left = z_low - self._work.shift
        right = z_high - self._work.shift + self._work.face
        for shoulder in self._shoulders:
            over = min(right, shoulder.right_mm) - max(left, shoulder.left_mm)
            if over > Z_TOLERANCE_MM and x < shoulder.touch_x - TOUCH_TOLERANCE_MM:
                return shoulder
        return None

    # -- stops -------------------------------------------------------------------

    def near_x(self, x: float | None, z: float | None) -> float | None:
        """Return X of the clearance where the rolls stand within it, else None.

        Args:
            x: X, on the diameter; None at the reference point or while unknown [mm]
            z: Z; None likewise [mm]
        """
        if x is None or z is None or x >= self._safe_x:
            return None
        low, high, work = z - self._room, z + self._room, self._work
        near = -math.inf
        if work.lies_under(low, high):
            blank_x = work.touch_x_between(low, high) + TOUCH_TOLERANCE_MM
            near = blank_x + 2.0 * self._room
        # The tool stands beside a shoulder as well as over it.
        above = 2.0 * self._room + X_TOLERANCE_MM
        shoulder = self._shoulder_at(x - above, low, high) if self._shoulders else None
        if shoulder is not None:
            near = max(near, shoulder.touch_x + 2.0 * self._room)
        return near if x <= near + X_TOLERANCE_MM else None

    # -- the work ----------------------------------------------------------------

    def check_rapid_into_work(self, leg: Leg) -> None:
        """Say that a rapid in air goes into or through the work."""
        mm, work = self._report.mm, self._work
        crests = "" if leg.x_low < work.touch_x else "crests of the knurl on the "
        self._report.say(
            "rapid-through-work",
            leg.block,
            f"a rapid reaches X {mm(leg.x_low)}, the rolls touch the {crests}"
            f"work at X {mm(work.touch_x_between(leg.z_low, leg.z_high))}",
        )

    def is_near_work(self, leg: Leg) -> bool:
        """Whether a leg in air comes closer to the work than the clearance."""
        if leg.x_low >= self._clear_x:
            return False
        return leg.over_work or self._work.is_close_along(leg, self._room)

    def check_near_work(self, leg: Leg) -> None:
        """Check that what comes closer to the work than the clearance is a feed, and slow."""
        mm, fast = self._report.mm, "a rapid"
        if not leg.rapid:
            feed = self._feeds.of(leg.move)
            if feed <= self._feeds.fastest or not (leg.along or leg.dx < 0.0):
                return
            fast = f"a feed as fast as a rapid, {self._report.feed(feed)},"
        self._report.say(
            "rapid-below-clearance",
            leg.block,
            f"{fast} reaches X {mm(leg.x_low)}, the clearance is at X {mm(self._clear_x)}",
        )
