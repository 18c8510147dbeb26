"""Shops whose parts come out by another truth than the package reckons with.

Nothing of the package's laws is used: the growth is that of a surface whose volume is summed up
point by point, the rolling circle, the depth that the work takes and the metal that flows away
along the work are the shop's own. Only the X that the program commands is the plan's.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from functools import cache

import numpy as np

from knurlcam.measured.part import Figures
from knurlcam.plan.model import Plan

__all__ = ["SCATTER_MM", "TrueShop", "drawn_shop"]

SCATTER_MM = 0.005
"""How far gauge, blank and slide are off at most, on the diameter [mm]."""

REACH = 1.42
"""How far beside their print rolls still fall into it, over its depth [-]: half of the mouth that a
wedge of 90 degrees and its lips make in metal that flows."""

POINTS = 400
"""Points along a pitch at which the surface is summed up [-]."""


@cache
def _surface(form: str) -> np.ndarray:
    """Return the height of full teeth over their roots, of one pitch square, full height 1."""
    along = np.abs(np.linspace(-1.0, 1.0, POINTS))
    if form == "RAA":
        return along
    pyramids = np.minimum(along[:, None], along[None, :])
    return pyramids if form == "RGE" else 1.0 - pyramids


@cache
def _risen(form: str) -> tuple[np.ndarray, np.ndarray]:
    """Return penetrations and rises of teeth of any height, full height 1."""
    surface = _surface(form)
    heights = np.linspace(0.0, 1.0, 401)
    depth = np.array([np.minimum(surface, height).mean() for height in heights])
    if form == "RGV":  # pits: the land is pressed away, so the surface is cut from below
        depth = np.array([np.maximum(surface, 1.0 - h).mean() - (1.0 - h) for h in heights])
    return depth, heights - depth


@dataclass(frozen=True)
class TrueShop:
    """How parts of one shop come out.

    Attributes:
        circle: Tracking correction over what the first turn presses in [-]
        springs_back: Share of the depth that the work does not keep [-]
        flows_away: Share of the rise that flows away along the work [-]
        draw: Where its scatter comes from.
    """

    circle: float
    springs_back: float
    flows_away: float
    draw: random.Random

    def part(self, plan: Plan, offset_mm: float = 0.0) -> tuple[Figures, float, bool]:
        """Make a part and measure it.

        Args:
            plan: The plan of its program.
            offset_mm: X offset in force, on the diameter [mm]

        Returns:
            What is measured, the true diameter over the crests, and whether the rolls tracked.
        """
        blank = plan.blank_diameter_mm + self._off()
        x = min(step.x_diameter_mm for step in plan.passes) + offset_mm + self._off()
        depth = max(0.0, self._apart(plan, x, blank)) * (1.0 - self.springs_back)
        full = plan.knurl.pitch_mm / 2.0  # teeth of 90 degrees
        depths, rises = _risen(plan.knurl.form)
        rise = float(np.interp(depth / full, depths, rises)) * full * (1.0 - self.flows_away)
        crests = blank + 2.0 * rise
        tracks = self._tracks(plan, blank)
        seen = (crests + self._off(),) if tracks else ()
        figures = Figures(blank + self._off() / 2.0, seen, None, not tracks, None, offset_mm)
        return figures, crests, tracks

    def _off(self) -> float:
        return self.draw.uniform(-SCATTER_MM, SCATTER_MM) / 2.0

    def _apart(self, plan: Plan, x_mm: float, blank_mm: float) -> float:
        """Return how deep rolls stand in a blank, for an X by touch-off [mm]."""
        roll = plan.job.tool.roll_diameter / 2.0
        v = (plan.job.tool.roll_spacing or 0.0) / 2.0
        touch = math.sqrt((plan.blank_diameter_mm / 2.0 + roll) ** 2 - v * v)
        across = touch - (plan.blank_diameter_mm - x_mm) / 2.0
        return blank_mm / 2.0 + roll - math.hypot(across, v)

    def _tracks(self, plan: Plan, blank_mm: float) -> bool:
        after = plan.blank_diameter_mm - 2.0 * plan.infeed_mm_per_rev
        first = min(self._apart(plan, after, plan.blank_diameter_mm), plan.passes[0].penetration_mm)
        teeth = math.pi * (blank_mm - self.circle * first) / plan.knurl.transverse_pitch_mm
        beside = abs(teeth - plan.teeth) * plan.knurl.pitch_mm
        return beside <= REACH * first


def drawn_shop(seed: int) -> TrueShop:
    """Return a shop, drawn."""
    draw = random.Random(seed)
    circle = min(max(draw.gauss(1.0, 0.25), 0.0), 2.0)
    return TrueShop(circle, draw.uniform(-0.03, 0.06), draw.uniform(0.0, 0.12), draw)
