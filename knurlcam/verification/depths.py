"""How deep the rolls are pressed in, from where the slide stands."""

from __future__ import annotations

import math
from typing import NamedTuple

from knurlcam.gcode.dialect import Dialect
from knurlcam.plan.model import Plan
from knurlcam.verification.limits import (
    LEAST_LOOKS,
    LOOK_MM,
    MOST_LOOKS,
    compensated_work,
    depth_tolerance_mm,
)
from knurlcam.verification.work import Leg

__all__ = ["DepthAlong", "Depths"]


HALF_OR_TWICE = 0.03
"""Share [-] by which an X may be off half of the planned one: passes differ by less."""


class DepthAlong(NamedTuple):
    """The penetration along a leg.

    Attributes:
        least: The least [mm]
        most: The greatest [mm]
        worst: The one that is farthest from the wanted, less the wanted [mm]
    """

    least: float
    most: float
    worst: float


class Depths:
    """Turns X and Z of the slide into penetration.

    Rigid work is pressed as deep as the contact says. Where the job asks for deflection
    compensation, what the work deflects is taken off, at every millimetre and within each
    block, and the least and greatest penetration of the program are kept. Other programs are
    held against the rigid figures that their plan was made from: what deflection takes off
    them is the plan's business, which says so.

    Attributes:
        compensated: Whether the deflection is taken off.
        tolerance: Within what a penetration is as planned [mm]
    """

    __slots__ = (
        "_contact",
        "_last",
        "_least",
        "_most",
        "_plan",
        "_work",
        "_x_words",
        "compensated",
        "tolerance",
    )

    def __init__(self, plan: Plan, dialect: Dialect) -> None:
        self.tolerance = depth_tolerance_mm(plan, dialect)
        self._x_words = dialect.x
        self._plan, self._contact = plan, plan.contact
        self._work = compensated_work(plan)
        self.compensated = self._work is not None
        self._last = (math.inf, -math.inf)
        self._least, self._most = math.inf, -math.inf

    def question(self, x: float) -> str:
        """Return what an X makes one ask that is about half of the planned, or twice."""
        planned = self._contact.x_diameter_mm(self._plan.penetration_mm)
        if planned <= 0.0:
            return ""  # a straddle at full depth stands on the axis
        share = x / planned
        if self._x_words == "diameter" and abs(share - 0.5) < HALF_OR_TWICE:
            return " (X is a diameter here: is this a radius?)"
        if self._x_words == "radius" and abs(share - 2.0) < 4.0 * HALF_OR_TWICE:
            return " (X is a radius here: is this a diameter?)"
        return ""

    def rigid_mm(self, x: float) -> float:
        """Return the penetration in rigid work at an X [mm]."""
        if x != self._last[0]:  # moves along Z ask for the same again
            self._last = (x, self._contact.depth_mm(x))
        return self._last[1]

    def at_mm(self, x: float, z: float) -> float:
        """Return the penetration, deflection taken off where the program compensates it [mm]."""
        if self._work is None:
            last_x, last = self._last
            return last if x == last_x else self.rigid_mm(x)
        across = x / 2.0 + self._contact.datum_shift_mm
        return self._work.penetration_mm(across, z - self._plan.datum_shift_mm)

    def along(self, leg: Leg, wanted: float) -> DepthAlong:
        """Return the penetration along a leg on which the program compensates the deflection."""
        parts = math.ceil(abs(leg.z1 - leg.z0) / LOOK_MM)
        parts = min(MOST_LOOKS, max(LEAST_LOOKS, parts))
        shares = [i / parts for i in range(parts + 1)]
        depths = [
            self.at_mm(leg.x0 + share * (leg.x1 - leg.x0), leg.z0 + share * (leg.z1 - leg.z0))
            for share in shares
        ]
        least, most = min(depths), max(depths)
        self._most = max(self._most, most)  # what any pass presses too deep stays so
        if wanted == self._plan.penetration_mm:
            self._least = min(self._least, least)
        return DepthAlong(least, most, max((d - wanted for d in depths), key=abs))

    def evenness(self) -> tuple[float, float] | None:
        """Return least over greatest penetration without compensation, and of the program.

        None where the job does not compensate, or nothing was rolled at full depth.
        """
        estimate = self._plan.estimate if self.compensated else None
        if estimate is None or estimate.deflection is None or self._least > self._most:
            return None
        return estimate.deflection.evenness, max(0.0, self._least) / self._most
