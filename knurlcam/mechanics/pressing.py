"""How hard one roll must be pressed: by what a turn of the work presses in, and afresh.

The rolls run in grooves that they have left a turn before. What they press in during a turn is
the increment of one turn of infeed, over the whole face; or, while they traverse, the fresh
strip of one feed. So a traverse presses hardest where it is fed in, at its ends, and much less
on its way: what it leaves on the way is a matter of the strip. The greatest force is that of
teeth pressed afresh to their full depth, as if no turn had been before.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from knurlcam.mechanics.loads import Prints

__all__ = ["AFRESH", "Bite", "Fresh", "Pressing"]


class Fresh(NamedTuple):
    """What a turn of the work presses in, at most.

    Attributes:
        infeed_mm: Penetration i that one turn of infeed presses, over the face [mm]
        feed_mm: Travel f of one turn along the work; 0 for a plunge [mm]
        step_mm: How much deeper s a pass is than the one before [mm]
    """

    infeed_mm: float
    feed_mm: float
    step_mm: float


AFRESH = Fresh(math.inf, 0.0, 0.0)
"""Teeth pressed to their full depth at once, as if no turn had been before."""


class Bite(NamedTuple):
    """What one roll presses in at once.

    Attributes:
        wide_mm: How much of the face presses [mm]
        deeper_mm: How much deeper than the turn or the pass before [mm]
    """

    wide_mm: float
    deeper_mm: float


@dataclass(frozen=True, slots=True)
class Pressing:
    """One roll of a tool against one blank: how hard it must be pressed.

    Attributes:
        pressure_mpa: Pressure p on what touches [MPa]
        strip_per_mm: Share of a pitch that a strip covers, for each mm of penetration [1/mm]
        prints: What the roll has.
        reduced_radius_mm: R_eq [mm]
        fresh: What a turn presses in; afresh unless given.
    """

    pressure_mpa: float
    strip_per_mm: float
    prints: Prints
    reduced_radius_mm: float
    fresh: Fresh = AFRESH

    def roll_force_n(self, penetration_mm: float, face_mm: float) -> float:
        """Return one roll's force on the work along the line of centres.

        F = p x(c) max(b sqrt(2 i R_eq), f sqrt(2 s R_eq)), i and s at most c, f at most b:
        teeth that stand c deep touch the share x of the face; they press in along the arc in
        which the roll comes i deeper, over the face b, or s deeper, over the feed f.

        Args:
            penetration_mm: Penetration c, >= 0 [mm]
            face_mm: Face in contact b, >= 0 [mm]

        Returns:
            Force F [N]

        Example:
            The aluminium knob of the samples, a roll of 20 mm on 24.6 mm, face 10 mm:
            pressed afresh, and while it is fed in by 0.044 mm a turn.

            >>> knob = Pressing(518.2, 2.8393, "ridges", 5.517)
            >>> round(knob.roll_force_n(0.162, 10.0))
            3187
            >>> knob = Pressing(518.2, 2.8393, "ridges", 5.517, Fresh(0.044, 0.5, 0.065))
            >>> round(knob.roll_force_n(0.162, 10.0))
            1661

        Sources:
            [1] Hill, Lee and Tupper (1947) for the pressure; the arcs are geometry. What springs
                back and is pressed in again each turn is left out: it would lie in between.
        """
        infeed, feed, step = self.fresh
        if infeed > penetration_mm:
            infeed = penetration_mm
        root = face_mm * math.sqrt(infeed)
        if feed:
            root = max(root, min(feed, face_mm) * math.sqrt(min(step, penetration_mm)))
        strip = self.share(penetration_mm)
        return self.pressure_mpa * strip * root * math.sqrt(2.0 * self.reduced_radius_mm)

    def share(self, penetration_mm: float) -> float:
        """Return which share of the face touches; see ``loads.contact_share``.

        Args:
            penetration_mm: Penetration c, >= 0 [mm]

        Returns:
            Share of the area, 0 to 1 [-]

        Example:
            >>> round(Pressing(518.2, 2.8393, "ridges", 5.517).share(0.2), 4)
            0.5679

        Sources:
            [1] Geometry of strips and squares.
        """
        strip = self.strip_per_mm * penetration_mm
        if strip > 1.0:
            strip = 1.0
        if self.prints == "ridges":
            return strip
        return strip * strip if self.prints == "points" else strip * (2.0 - strip)

    def bites(self, penetration_mm: float, face_mm: float) -> tuple[Bite, ...]:
        """Return what is pressed in fresh while feeding in and, of rolls that traverse, along.

        Args:
            penetration_mm: Penetration c, >= 0 [mm]
            face_mm: Face in contact b, >= 0 [mm]

        Returns:
            The bites: i over b, and s over f where there is a feed [mm]

        Example:
            >>> Pressing(518.2, 2.8, "ridges", 5.5, Fresh(0.044, 0.5, 0.2)).bites(0.1, 10.0)
            (Bite(wide_mm=10.0, deeper_mm=0.044), Bite(wide_mm=0.5, deeper_mm=0.1))

        Sources:
            [1] Geometry of the motion.
        """
        infeed, feed, step = self.fresh
        into = Bite(face_mm, min(infeed, penetration_mm))
        if not feed:
            return (into,)
        return into, Bite(min(feed, face_mm), min(step, penetration_mm))

    def work_share(self, penetration_mm: float, deeper_mm: float | None = None) -> float:
        """Return the work of pressing teeth deeper over how much deeper times the force.

        The share x that touches, averaged over the last d of the penetration c and divided by
        its last value; r = d / c. Ridges 1 - r / 2; points 1 - r + r^2 / 3; ridges that cross
        (2 - r - x (1 - r + r^2 / 3)) / (2 - x), x = w / t. From nothing, r = 1: 1/2 and 1/3.

        Args:
            penetration_mm: Penetration c, > 0 [mm]
            deeper_mm: How much of it d is pressed in fresh; all of it unless given [mm]

        Returns:
            Share k [-]

        Example:
            >>> knob = Pressing(518.2, 2.8393, "points", 5.517)
            >>> round(knob.work_share(0.162), 4), round(knob.work_share(0.162, 0.0162), 4)
            (0.3333, 0.9033)

        Sources:
            [1] The integral of the share of ``loads.contact_share`` over the penetration.
        """
        r = 1.0 if deeper_mm is None else deeper_mm / penetration_mm
        if self.prints == "ridges":
            return 1.0 - r / 2.0
        squares = 1.0 - r + r * r / 3.0
        if self.prints == "points":
            return squares
        strip = min(1.0, self.strip_per_mm * penetration_mm)
        return (2.0 - r - strip * squares) / (2.0 - strip)

    def arc_mm(self, deeper_mm: float) -> float:
        """Return the arc in which a roll comes so much deeper.

        l = sqrt(2 d R_eq)

        Args:
            deeper_mm: How much deeper d, >= 0 [mm]

        Returns:
            Arc l round the work [mm]

        Example:
            >>> round(Pressing(518.2, 2.8393, "ridges", 5.517).arc_mm(0.162), 4)
            1.337

        Sources:
            [1] ``loads.contact_arc_mm``.
        """
        return math.sqrt(2.0 * deeper_mm * self.reduced_radius_mm)
