"""Where the slide stands for a given penetration, and back, for each tool style.

x is measured from the spindle axis to the roll centre, across the slide; v is half
the vertical distance of the roll centres. For all styles the distance of the centres
is R_b + R_r - c = hypot(x, v).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from knurlcam.errors import require

__all__ = ["Contact", "XDatum"]

XDatum = Literal["touch-off", "roll centre"]


@dataclass(frozen=True)
class Contact:
    """Roll(s) against blank for one tool style and one X datum.

    Attributes:
        blank_radius_mm: R_b [mm]
        roll_radius_mm: R_r [mm]
        half_spacing_mm: v, half the vertical distance of the roll centres [mm]
        x_datum: ``touch-off`` (X reads the blank diameter at first touch) or
            ``roll centre`` (X reads twice the distance axis to roll centre)
    """

    blank_radius_mm: float
    roll_radius_mm: float
    half_spacing_mm: float
    x_datum: XDatum

    @cached_property
    def touch_mm(self) -> float:
        """Distance x from spindle axis to roll centre at first touch [mm]."""
        return self.centre_mm(0.0)

    @cached_property
    def datum_shift_mm(self) -> float:
        """Distance x less half of the slide's X: what the X datum adds [mm]."""
        return 0.0 if self.x_datum == "roll centre" else self.touch_mm - self.blank_radius_mm

    @property
    def gap_mm(self) -> float:
        """Vertical gap between two rolls, 2 (v - R_r) [mm]."""
        return 2.0 * (self.half_spacing_mm - self.roll_radius_mm)

    def centre_mm(self, penetration_mm: float) -> float:
        """Return the distance x from spindle axis to roll centre.

        x = sqrt((R_b + R_r - c)^2 - v^2)

        Args:
            penetration_mm: Penetration c below the blank surface, radial [mm]

        Returns:
            Distance x across the slide [mm]

        Raises:
            OutOfRangeError: if the rolls cannot stand so deep.

        Example:
            A single roll of 20 mm on a 25 mm blank, 0.25 mm deep:

            >>> Contact(12.5, 10.0, 0.0, "touch-off").centre_mm(0.25)
            22.25

        Sources:
            [1] Geometry of circles in contact.
        """
        distance = self.blank_radius_mm + self.roll_radius_mm - penetration_mm
        square = distance**2 - self.half_spacing_mm**2
        if square < 0.0:
            # A straddle at full depth has x = 0 exactly; rounding must not make it less.
            if -1e-9 * distance**2 < square:
                return 0.0
            deepest = self.blank_radius_mm + self.roll_radius_mm - self.half_spacing_mm
            require("penetration_mm", penetration_mm, -math.inf, deepest, "mm")
        return math.sqrt(square)

    def x_diameter_mm(self, penetration_mm: float) -> float:
        """Return the slide's X on the diameter for a penetration.

        touch-off: X = D_b - 2 (x(0) - x(c)); roll centre: X = 2 x(c)

        Args:
            penetration_mm: Penetration c below the blank surface, radial [mm]

        Returns:
            X in the X datum, on the diameter [mm]

        Raises:
            OutOfRangeError: if the rolls cannot stand so deep.

        Example:
            >>> Contact(12.5, 10.0, 0.0, "touch-off").x_diameter_mm(0.25)
            24.5

        Sources:
            [1] Geometry; the two datums are this project's own definition.
        """
        return 2.0 * (self.centre_mm(penetration_mm) - self.datum_shift_mm)

    def penetration_mm(self, x_diameter_mm: float) -> float:
        """Return the penetration for a slide X: the inverse of :meth:`x_diameter_mm`.

        Args:
            x_diameter_mm: X in the X datum, on the diameter [mm]

        Returns:
            Penetration c, negative while the rolls are clear of the work [mm]

        Example:
            >>> Contact(12.5, 10.0, 0.0, "touch-off").penetration_mm(24.5)
            0.25

        Sources:
            [1] Geometry of circles in contact.
        """
        x = x_diameter_mm / 2.0 + self.datum_shift_mm
        return self.blank_radius_mm + self.roll_radius_mm - math.hypot(x, self.half_spacing_mm)

    def depth_mm(self, x_diameter_mm: float) -> float:
        """Return how deep the slide presses the rolls, wherever it stands.

        As :meth:`penetration_mm` up to the spindle axis; beyond it the rolls would go
        deeper still, not out again.

        Args:
            x_diameter_mm: X in the X datum, on the diameter [mm]

        Returns:
            Depth below the blank surface, negative while the rolls are clear [mm]

        Example:
            The roll centre on the axis, and 1 mm beyond it:

            >>> c = Contact(12.5, 10.0, 0.0, "roll centre")
            >>> c.depth_mm(0.0), c.depth_mm(-2.0)
            (22.5, 23.5)

        Sources:
            [1] Geometry of circles in contact; what lies beyond the axis is this
                project's own definition.
        """
        x = x_diameter_mm / 2.0 + self.datum_shift_mm
        if x >= 0.0:
            return self.blank_radius_mm + self.roll_radius_mm - math.hypot(x, self.half_spacing_mm)
        return self.penetration_mm(-2.0 * self.datum_shift_mm) - x
