"""The work grows: where the rolls have been, crests stand above the blank.

Clearance, contact, stops and moves after the first contact are held against the blank *and*
its crests. A few stretches of Z, each with the greatest penetration reached in it, are enough:
a traverse covers the one before, and how high crests stand follows from how deep the rolls were.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

from knurlcam.plan.model import Plan
from knurlcam.verification.limits import TOUCH_TOLERANCE_MM, Z_TOLERANCE_MM

__all__ = ["Envelope"]

MOST_STRETCHES = 32
"""Stretches that are kept apart; a program has two or three. Beyond that they become one, as
high as the highest: a text of a hundred thousand little plunges must not take time without end."""


class _Stretch(NamedTuple):
    """Where the rolls were pressed in: Z of the slide from and to, and how deep at most [mm]."""

    low: float
    high: float
    depth: float

    def covers(self, other: _Stretch) -> bool:
        return self.low <= other.low and other.high <= self.high and other.depth <= self.depth


class Envelope:
    """How far the crests stand out, and at which X the rolls meet them.

    The least favourable is taken: over its whole stretch, and under the whole face of the rolls,
    the work stands as high as in its highest place. It never falls again: what a later pass
    presses deeper stands higher.

    Attributes:
        top_x: X, on the diameter, above which no crest of the finished knurl is met; -inf as long
            as there are none [mm]
    """

    __slots__ = (
        "_contact", "_face", "_full", "_knurl", "_larger", "_owed", "_stretches", "_top_mm", "_x",
        "top_x",
    )  # fmt: skip

    def __init__(self, plan: Plan, face: float, larger: float) -> None:
        self._contact, self._knurl = plan.contact, plan.knurl
        self._face, self._larger, self._full = face, larger, plan.penetration_mm
        self._top_mm = plan.rise_mm + larger
        self._owed: list[Callable[[], None]] = []
        self._stretches: list[_Stretch] = []
        self._x: dict[tuple[float, float], float] = {}
        self.top_x = -math.inf

    def owe(self, add: Callable[[], None]) -> None:
        """Take what adds the strokes of a contact, and call it when somebody asks.

        Nobody does as long as X stays outside :attr:`top_x`: a program that keeps to its plan
        pays for no envelope.
        """
        self._owed.append(add)
        if self.top_x == -math.inf:
            self.top_x = self._contact.x_diameter_mm(-self._top_mm) + TOUCH_TOLERANCE_MM

    def add(self, z0: float, z1: float, depth: float) -> None:
        """Take that the rolls were pressed in between two Z of the slide.

        Args:
            z0: One end [mm]
            z1: ... and the other [mm]
            depth: How deep at most [mm]
        """
        if depth <= 0.0:
            return  # in crests that stand already, as they were pressed
        # Deeper than planned is a finding already; what follows from it is not another.
        new = _Stretch(min(z0, z1), max(z0, z1), min(depth, self._full))
        if any(old.covers(new) for old in self._stretches):
            return
        kept = [old for old in self._stretches if not new.covers(old)]
        self._stretches = [*kept, new]
        if len(self._stretches) > MOST_STRETCHES:
            lows, highs, depths = zip(*self._stretches, strict=True)
            self._stretches = [_Stretch(min(lows), max(highs), max(depths))]

    def touch_x(self, z_low: float, z_high: float, *, largest: bool = False) -> float:
        """Return X, on the diameter, below which the rolls are in the crests; -inf without any.

        Args:
            z_low: Where the slide is, or comes to, along Z: the least [mm]
            z_high: ... and the greatest [mm]
            largest: Whether the blank is taken as large as its tolerance allows.
        """
        while self._owed:
            self._owed.pop()()
        face = self._face - Z_TOLERANCE_MM
        depths = [
            s.depth for s in self._stretches if z_low - face < s.high and s.low < z_high + face
        ]
        if not depths:
            return -math.inf
        key = max(depths), self._larger if largest else 0.0
        x = self._x.get(key)
        if x is None:
            x = self._x[key] = self._x_of(*key)
        return x

    def _x_of(self, depth: float, larger: float) -> float:
        # Pressed so much deeper, its crests may stand higher still: where that is much, the plan
        # warns of a profile that overfills.
        crest = larger + self._knurl.rise_mm(depth)
        return self._contact.x_diameter_mm(-crest) - TOUCH_TOLERANCE_MM
