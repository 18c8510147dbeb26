"""The work as the rolls meet it, and the legs on which they do.

The only place that knows at which X the rolls touch which Z of the work: the blank, all along
the work, and the crests that stand above it where the rolls have been
(:mod:`knurlcam.verification.envelope`).
"""

from __future__ import annotations

from typing import Literal

from knurlcam.gcode.motion import Block, Move
from knurlcam.plan.model import Plan
from knurlcam.verification.envelope import Envelope
from knurlcam.verification.limits import FACE_ROOM_MM, STILL_MM, TOUCH_TOLERANCE_MM

__all__ = ["Leg", "Way", "Work"]

Way = Literal["in", "along", "out"]
"""Where a move in the work goes."""


class Leg:
    """One move of the slide from a known place to another; made once, by :meth:`Work.leg`.

    Attributes:
        move: The move that was read.
        block: Its block.
        z_block: The block that went to the Z at which it begins, or to another.
        rapid: Whether it is a rapid; else a feed.
        x0: X before, on the diameter [mm]
        z0: Z before [mm]
        x1: X after [mm]
        z1: Z after [mm]
        dx: X after less X before, negative towards the work [mm]
        along: Whether Z moves.
        x_low: The least X on the way [mm]
        z_low: ... the least Z [mm]
        z_high: ... and the greatest [mm]
        over_work: Whether the face of the rolls passes over the work, at whatever X.
        hits_work: Whether it passes through the blank, or through crests.
    """

    __slots__ = (
        "along",
        "block",
        "dx",
        "hits_work",
        "move",
        "over_work",
        "rapid",
        "x0",
        "x1",
        "x_low",
        "z0",
        "z1",
        "z_block",
        "z_high",
        "z_low",
    )

    move: Move
    block: Block
    z_block: Block
    rapid: bool
    x0: float
    z0: float
    x1: float
    z1: float
    dx: float
    along: bool
    x_low: float
    z_low: float
    z_high: float
    over_work: bool
    hits_work: bool

    @property
    def way(self) -> Way:
        """Where it goes: along the work; else in, or out of it."""
        if self.along:
            return "along"
        return "in" if self.dx < -STILL_MM else "out"


class Work:
    """The work under the rolls.

    Attributes:
        face: Face width of the rolls [mm]
        shift: Z of the slide less the left edge of the rolls [mm]
        touch_x: X, on the diameter, below which the rolls are in the blank [mm]
        largest_x: ... and in the largest blank of its tolerance [mm]
        crests: What stands above the blank by now.
    """

    __slots__ = ("_end", "_right_end", "crests", "face", "largest_x", "shift", "touch_x")

    def __init__(self, plan: Plan) -> None:
        contact = plan.contact
        self.face, self.shift = plan.job.tool.face_width, plan.datum_shift_mm
        self.touch_x = contact.x_diameter_mm(0.0) - TOUCH_TOLERANCE_MM
        larger = max(0.0, plan.blank_limits_mm[1] - plan.blank_diameter_mm) / 2.0
        self.largest_x = contact.x_diameter_mm(-larger) - TOUCH_TOLERANCE_MM
        self.crests = Envelope(plan, self.face, larger)
        # In Z of the slide, so that no leg has to be shifted.
        self._end = STILL_MM - plan.job.part.length + self.shift - self.face
        self._right_end = self.shift - STILL_MM

    def lies_under(self, z_low: float, z_high: float) -> bool:
        """Whether the face of the rolls overlaps the work anywhere between two Z."""
        return z_low < self._right_end and z_high > self._end

    def is_touched(self, x: float, z: float) -> bool:
        """Whether the rolls stand in the blank, or in crests."""
        if not self._end < z < self._right_end:
            return False
        return x < self.touch_x or (x < self.crests.top_x and x < self.crests.touch_x(z, z))

    def may_be_touched(self, x: float | None, z: float | None) -> bool:
        """Whether they would in the largest blank or its crests; not where that is unknown."""
        if x is None or z is None or not self.lies_under(z, z):
            return False
        crests = self.crests
        return x < self.largest_x or (x < crests.top_x and x < crests.touch_x(z, z, largest=True))

    def largest_x_between(self, z_low: float, z_high: float) -> float:
        """Return X at which the rolls may meet the work, as large as tolerance allows [mm]."""
        return max(self.largest_x, self.crests.touch_x(z_low, z_high, largest=True))

    def touch_x_between(self, z_low: float, z_high: float) -> float:
        """Return X at which the rolls meet the blank or the highest crest between two Z [mm]."""
        return max(self.touch_x, self.crests.touch_x(z_low, z_high))

    def is_close_along(self, leg: Leg, room_mm: float) -> bool:
        """Whether a leg comes closer to the end of the work than some room [mm].

        Straight in or out it comes no closer along Z than it stands, and passes the end face.
        """
        room = room_mm if leg.along else min(room_mm, FACE_ROOM_MM)
        return self.lies_under(leg.z_low - room, leg.z_high + room)

    def leg(self, move: Move, x0: float, z0: float, x1: float, z1: float) -> Leg:
        """Return a move between two known places as a leg.

        Args:
            move: The move as it was read, where an axis may be unknown.
            x0: X before, on the diameter; inf at the reference point [mm]
            z0: Z before [mm]
            x1: X after [mm]
            z1: Z after [mm]
        """
        leg = Leg()
        leg.move, leg.block, leg.rapid = move, move.block, move.kind == "rapid"
        leg.x0, leg.z0, leg.x1, leg.z1 = x0, z0, x1, z1
        # From the reference point to itself is no way, though inf less inf is not 0.
        leg.dx = 0.0 if x0 == x1 else x1 - x0
        leg.along = abs(z1 - z0) >= STILL_MM
        leg.x_low = x_low = x1 if x1 < x0 else x0
        leg.z_low, leg.z_high = (z0, z1) if z0 < z1 else (z1, z0)
        leg.over_work = leg.z_low < self._right_end and leg.z_high > self._end
        leg.hits_work = leg.over_work and (
            x_low < self.touch_x
            or (x_low < self.crests.top_x and x_low < self.crests.touch_x(leg.z_low, leg.z_high))
        )
        return leg
