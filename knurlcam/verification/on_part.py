"""What a text leaves on the part: judged by the same figures as the plan's own program.

Only a text that breaks no other rule is judged so: of one that does, the part is spoilt anyway,
and the other finding says by what.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from knurlcam.gcode.motion import Block, Dwell
from knurlcam.mechanics.held_work import Knot
from knurlcam.plan.expected import Rolled, Stretch, expected_of, knot_of, planned
from knurlcam.plan.expected_limits import DOUBLES
from knurlcam.plan.model import Plan
from knurlcam.plan.results import Expected
from knurlcam.units.show import least_shown_mm
from knurlcam.verification.limits import STILL_MM
from knurlcam.verification.report import Report
from knurlcam.verification.work import Leg

__all__ = ["OnPart"]

OVERFULL = 0.005
"""What is pressed beyond full teeth, over the full tooth height, before a text is not clean [-]:
X words cannot be nearer to a full profile, and half of the depth's tolerance passes."""

ROUNDED_X = 0.6
"""Difference up to which an X is that of the plan, rounded, in what words of these units express on
the diameter [-]: half of it, and the arithmetic."""

ROUNDED_TURN = 1.6
"""The same of where the first turn of an infeed ends [-]: its F is rounded as well, and counts
twice on the diameter."""

ACCEPTED = {
    "doubles-on-part": ("doubles", "does-not-track"),
}
"""What the programmer may have accepted of the plan, by rule."""


class OnPart:
    """Keeps what the slide does on the work, and judges what that leaves.

    Attributes:
        stretches: What it does by feed, from before it first touches the work.
        block: The block of the last infeed.
    """

    __slots__ = ("_plan", "_report", "_step_mm", "block", "stretches")

    def __init__(self, plan: Plan, report: Report) -> None:
        self._plan, self._report = plan, report
        self._step_mm = least_shown_mm(plan.job.units)
        self.stretches: list[Stretch] = []
        self.block: Block | None = None

    def feed(self, leg: Leg) -> None:
        """Take a feed that touches the work."""
        feed = leg.move.feed_mm_per_rev
        if not feed:
            return
        way = math.hypot(leg.dx / 2.0, leg.z1 - leg.z0)
        self.stretches.append(Stretch(leg.x0, leg.z0, leg.x1, leg.z1, way / feed))
        if leg.way == "in" or self.block is None:
            self.block = leg.block

    def dwell(self, dwell: Dwell) -> None:
        """Take a dwell in the work."""
        if not self.stretches:
            return
        turns = dwell.seconds * (dwell.state.rpm or 0.0) / 60.0
        last = self.stretches[-1]
        x, z = last.x1_mm, last.z1_mm
        self.stretches.append(Stretch(x, z, x, z, turns, dwells=True))

    def check(self) -> None:
        """Say what is wrong with the part that the text makes."""
        if self.block is None or any(f.severity == "error" for f in self._report.findings):
            return
        expected = self._expected()
        self._check_tracking(expected, self.block)
        self._check_room(expected, self.block)

    def _expected(self) -> Expected:
        plan = self._plan
        own = planned(plan, self._step_mm)
        way, first = self._deepest_way(), self._after_first_turn()
        near = abs(first - own.first_x_mm) <= ROUNDED_TURN * self._step_mm
        if near and _is_same_way(way, own.way, ROUNDED_X * self._step_mm):
            return plan.expected
        return expected_of(plan, Rolled(self.stretches, first, way))

    def _after_first_turn(self) -> float:
        """Return X after the first turn of the work with the rolls on it [mm]."""
        touch, turns = self._plan.contact.x_diameter_mm(0.0), 0.0
        least = touch
        for x0, _, x1, _, all_turns, _ in self.stretches:
            begin = min(x0, touch)
            if begin > x1:
                here = all_turns * (begin - x1) / (x0 - x1)
                if turns + here >= 1.0:
                    return begin - (begin - x1) * (1.0 - turns) / here
            else:
                here = all_turns if x1 < touch else 0.0
            turns += here
            least = min(least, x1)
            if turns >= 1.0:
                break
        return least

    def _deepest_way(self) -> tuple[Knot, ...]:
        """Return where the slide goes in its deepest pass."""
        along = [s for s in self.stretches if abs(s.z1_mm - s.z0_mm) > STILL_MM]
        if not along:
            deepest = min(self.stretches, key=lambda s: s.x1_mm)
            return (knot_of(self._plan, deepest.x1_mm, deepest.z1_mm),)
        if self._plan.follows:
            along = _last_run(along)
        else:
            least = min(min(s.x0_mm, s.x1_mm) for s in along)
            along = [s for s in along if max(s.x0_mm, s.x1_mm) <= least + ROUNDED_X * self._step_mm]
        ends = [(s.x0_mm, s.z0_mm) for s in along] + [(along[-1].x1_mm, along[-1].z1_mm)]
        return tuple(knot_of(self._plan, x, z) for x, z in ends)

    # -- rules -----------------------------------------------------------------------

    def _say(self, code: str, block: Block, message: str) -> None:
        if not set(ACCEPTED.get(code, ())) & set(self._plan.accepted):
            self._report.say(code, block, message)

    def _check_tracking(self, expected: Expected, block: Block) -> None:
        if expected.double_impression >= DOUBLES:
            self._say(
                "doubles-on-part",
                block,
                f"on a blank of {self._report.mm(self._plan.blank_diameter_mm)} the first turn "
                "does not press deep enough for the rolls to find their track: a double impression "
                f"of {expected.double_impression:.2f} is expected (0 none, 1 fully doubled)",
            )

    def _check_room(self, expected: Expected, block: Block) -> None:
        full = self._plan.knurl.full_height_mm
        if expected.held_off_mm > OVERFULL * full:
            self._say(
                "overfills-on-part",
                block,
                f"the rolls are pressed {self._report.mm(expected.held_off_mm)} deeper than their "
                f"teeth of {self._report.mm(full)} have room for metal",
            )


def _last_run(along: Sequence[Stretch]) -> list[Stretch]:
    """Return the last stretches that run one way along the work."""
    first = len(along) - 1
    way = along[first].z1_mm > along[first].z0_mm
    while first and (along[first - 1].z1_mm > along[first - 1].z0_mm) == way:
        first -= 1
    return list(along[first:])


def _is_same_way(way: Sequence[Knot], other: Sequence[Knot], rounded_mm: float) -> bool:
    """Whether two ways are alike but for what words round."""
    one, two = ({round(k.across_mm, 3) for k in ks} for ks in (way, other))
    ends, others = ((min(ks).left_mm, max(ks).left_mm) for ks in (way, other))
    near = all(abs(a - b) <= 2.0 * rounded_mm for a, b in zip(ends, others, strict=True))
    return len(one) == len(two) == 1 and near and abs(min(one) - min(two)) <= rounded_mm
