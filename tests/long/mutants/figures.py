"""What a plan says of a job, as formulas of the slide's X and Z, for the judge."""

from __future__ import annotations

import math
from functools import cache

from knurlcam.errors import OutOfRangeError
from tests.long.mutants.programs import plan_of
from tests.support.naive import NIST

ROOM_MM, ROOM_BORDER_MM = 25.0, 0.1
"""Slide travel beyond the safe position, the chuck's face and the deepest pass: further out
nobody has said that there is room."""

DEPTH_MM, DEPTH_SHARE, DEPTH_INCREMENTS = 0.01, 0.03, 2
"""As deep as planned: within so much, or such a share of the full depth if that is less, but
never less than so many increments of X."""

SLIGHT, SLIGHT_FOLLOWED = 1.15, 1.5
"""A step of less than so many of these tolerances is none, or at the border of being one; a slide
that follows the work in chords uses up some of it."""


class Figures:
    """What a plan says of the job, as formulas of the slide's X and Z."""

    def __init__(self, name: str) -> None:
        self.plan = plan = plan_of(name)
        self.job = job = plan.job
        contact = plan.contact
        self.blank, self.roll = contact.blank_radius_mm, contact.roll_radius_mm
        self.v = contact.half_spacing_mm
        self.first_touch = self.across(self.blank)
        self.roll_centre = contact.x_datum == "roll centre"
        self.face = job.tool.face_width
        self.full_height = plan.tooth_height_mm / plan.fullness
        self.left_of = {"left edge": 0.0, "centre": 0.5, "right edge": 1.0}[job.tool.z_datum]
        self.touch_x = self.x_at(self.blank)
        self.clear_x = self.touch_x + 2 * job.machine.clearance
        self.safe_x, self.safe_z = job.machine.safe_x, job.machine.safe_z
        centre = job.holding.centre_diameter
        self.centre = centre / 2 if centre and job.holding.method != "chuck" else None
        deepest = min(
            [p.x_diameter_mm for p in plan.passes] + [x for p in plan.passes for _, x in p.follow]
        )
        self.room_x = deepest, self.safe_x
        face = -job.part.length + self.left_of * self.face
        # Along the chuck there is no room at all.
        self.room_z = face + ROOM_MM, max(self.safe_z, *(p.z_start_mm for p in plan.passes))
        self.tailstock = job.holding.held_by != "none"
        self.shoulders = list(self.thicker_steps())
        bending = plan.estimate.deflection if plan.follows and plan.estimate else None
        self.work = bending.work if bending else None
        self.deep: dict[tuple[float, float], float] = {}

    def across(self, radius: float) -> float:
        """From the axis to the rolls' centre where they touch work of a radius."""
        return math.sqrt((radius + self.roll) ** 2 - self.v**2)

    def x_at(self, radius: float) -> float:
        """X where the rolls touch work of a radius."""
        across = self.across(radius)
        return 2 * (across if self.roll_centre else self.blank - self.first_touch + across)

    def slide(self, x: float) -> float:
        """From the axis to the rolls' centre."""
        return x / 2 if self.roll_centre else self.first_touch - self.blank + x / 2

    def depth(self, x: float, z: float) -> float:
        """How deep the rolls come; where the slide follows the work, less what that deflects."""
        across = self.slide(x)
        if self.work is not None and z > -1e6:
            known = self.deep.get((x, z))
            if known is None:
                known = self.deep[x, z] = self.held_depth(across, self.edges(z)[0])
            return known
        return self.rigid_depth(x)

    def held_depth(self, across: float, left: float) -> float:
        assert self.work is not None
        try:
            return self.work.penetration_mm(across, left)
        except OutOfRangeError:
            return 2 * self.blank  # the formula ends long before that

    def rigid_depth(self, x: float) -> float:
        across = self.slide(x)
        over = max(0.0, -across)
        return self.blank + self.roll - math.hypot(max(across, 0.0), self.v) + over

    def pressed(self, height: float) -> float:
        """Penetration for a tooth height: no chips are made, what is pressed in stands above."""
        full, form = self.full_height, str(self.plan.knurl.form)
        if form in ("RGE", "RKE"):  # two families of grooves
            return full / 3 * (1 - (1 - height / full) ** 3)
        if form in ("RGV", "RKV"):  # pits
            return height - height**3 / (3 * full**2)
        return height - height**2 / (2 * full)

    def rise(self, depth: float) -> float:
        """How far crests stand above the blank where the rolls have come so deep."""
        low, high = 0.0, self.full_height
        for _ in range(30):
            middle = (low + high) / 2
            low, high = (middle, high) if self.pressed(middle) < depth else (low, middle)
        return low - self.pressed(low)

    def tolerance(self, post: str, x: float) -> float:
        """Penetration by which a depth may be off and still be as planned."""
        step = {True: 0.0001 * 25.4, False: 0.001}[self.job.units == "inch"]
        if post in NIST:
            step /= 10
        if post == "rs274":
            step *= 2  # of the radius
        least = abs(self.rigid_depth(x) - self.rigid_depth(x + DEPTH_INCREMENTS * step))
        planned = max(p.penetration_mm for p in self.plan.passes)
        return max(least, min(DEPTH_MM, DEPTH_SHARE * planned))

    def slight(self, post: str) -> float:
        """A step of less penetration is none, or at the border of being one."""
        return (SLIGHT_FOLLOWED if self.work else SLIGHT) * self.tolerance(post, self.touch_x)

    def edges(self, z: float) -> tuple[float, float]:
        left = z - self.left_of * self.face
        return left, left + self.face

    def over(self, z0: float, z1: float) -> bool:
        """Whether the face overlaps the work anywhere between two Z."""
        left, right = self.edges(min(z0, z1))[0], self.edges(max(z0, z1))[1]
        return left < -1e-6 and right > -self.job.part.length + 1e-6

    def thicker_steps(self) -> list[tuple[float, float, float]]:
        """Where the work is thicker than the blank: from, to (Z), and X where the rolls touch."""
        knurl, found, at = self.job.knurl, [], 0.0
        line = knurl.start + knurl.length
        for diameter, length in self.job.part.steps or ():
            low, high, at = at, at + length, at + length
            for a, b in ((low, min(high, knurl.start)), (max(low, line), high)):
                if b > a and diameter / 2 > self.blank:
                    found.append((-b, -a, self.x_at(diameter / 2)))
        return found


figures_of = cache(Figures)
