"""Which knurled diameter suits a press fit: a row of them is tried, and the best is taken."""

from __future__ import annotations

import math
from typing import NamedTuple

from knurlcam.mechanics.tooth import rise
from knurlcam.plan.press_fit import Joint, PressFit, Sized, Toothed, fitted, is_overfilled

__all__ = ["Trial", "best_of", "choose_diameter", "trials"]

USUAL_BITE = 1.0 / 3.0
"""Bite in tooth heights, where no load is wanted [-]."""

STEPS = 96
"""Diameters tried between one that just holds no more and full teeth on a blank as large as
the bore: steps of about a hundredth of the pitch [-]."""


class Trial(NamedTuple):
    """A diameter that was tried.

    Attributes:
        fit: What the fit comes to.
        toothed: The knurl that is made.
    """

    fit: PressFit
    toothed: Toothed

    @property
    def roomy(self) -> bool:
        """Whether the grooves have room for the metal that the crests displace."""
        return not is_overfilled(self.fit, self.toothed)

    @property
    def sound(self) -> bool:
        """Whether neither hub nor grooves speak against it."""
        return self.fit.hub_within_limit and self.roomy

    @property
    def off_usual_mm(self) -> float:
        """How far its bite is from the usual one [mm]."""
        return abs(self.fit.bite_mm - USUAL_BITE * self.toothed.height_mm)


def trials(joint: Joint, sized: Sized, shown: float | None = None) -> list[Trial]:
    """Return what diameters over the crests come to that have interference at any limits.

    Args:
        joint: The fit but for the knurl.
        sized: Which knurl is made for a diameter.
        shown: The last place in which lengths are shown, where the diameters are to be such
            that what is printed will do [mm]
    """
    smallest, largest = joint.bore_limits
    least = largest - joint.knurled_limits[1]
    growth = 2.0 * rise(joint.full_height, joint.full_height, joint.family)
    most = max(smallest, least) + growth
    found = []
    for step in range(1, STEPS + 1):
        knurled = least + (most - least) * step / STEPS
        if shown is not None:
            knurled = math.ceil(knurled / shown) * shown
        toothed = sized(knurled)
        if toothed is not None:
            found.append(Trial(fitted(joint, knurled, toothed.height_mm), toothed))
    return [t for t in found if t.toothed.good] or found


def choose_diameter(joint: Joint, sized: Sized) -> tuple[float, str]:
    """Return the knurled diameter that suits a fit, and why.

    Of those that keep the hub within its limit and the grooves with room, at the tightest
    fit, and whose friction alone holds the wanted load at the loosest, it is the one whose
    crests bite nearest a third of their height. Where none holds the load it is the one that holds
    most; one that overfills its grooves is taken only where all do.

    Args:
        joint: The fit but for the knurl.
        sized: Which knurl is made for a diameter.
    """
    found = trials(joint, sized)
    if not found:
        return joint.bore_limits[1] - joint.knurled_limits[1], "the smallest that is never loose"
    best, why = best_of(found)
    return best.fit.knurled_diameter_mm, why


def best_of(found: list[Trial]) -> tuple[Trial, str]:
    """Return the diameter that suits best of those that were tried, and why.

    Args:
        found: Those that were tried, one at least.
    """
    sound = [t for t in found if t.sound]
    if sound:
        best = _holding_best(sound)
        if not best.fit.holds:
            return best, "the largest that hub and grooves permit"
        if best.fit.wanted_torque_nm is None and best.fit.wanted_force_n is None:
            return best, "its crests bite about a third of their height, within the hub's limit"
        return best, "friction alone holds the wanted load, within the hub's limit"
    roomy = [t for t in found if t.roomy]
    if roomy:
        best = min(roomy, key=lambda t: t.fit.hub_governing_mpa)
        return best, "the least bite that is never loose"
    bearing = [t for t in found if t.fit.hub_within_limit]
    if bearing:
        return _holding_best(bearing), "within the hub's limit, but the grooves have no room for it"
    return min(found, key=lambda t: t.fit.hub_governing_mpa), "the least bite that is never loose"


def _holding_best(trials: list[Trial]) -> Trial:
    """Return the one of usual bite of those that hold the wanted load, or that holds most."""
    holding = [t for t in trials if t.fit.holds]
    if holding:
        return min(holding, key=lambda t: t.off_usual_mm)
    return max(trials, key=lambda t: t.fit.holding_force_n)
