"""Figures shown to people, in the units of the job."""

from __future__ import annotations

import math
from functools import cache
from typing import NamedTuple

from knurlcam.units.factors import factor
from knurlcam.units.kinds import MM_PER_INCH, Kind, Units
from knurlcam.units.quantities import LARGEST, finite

__all__ = ["Shown", "least_shown_mm", "show", "show_about", "show_bare", "show_down"]


def show(value: float, kind: Kind, units: Units = "mm", places: int | None = None) -> str:
    """Return *value* rounded for people, in the units of the job.

    Lengths and feeds keep their zeros (3 places in mm, 4 in inch), as on a
    drawing; other kinds drop them, so a whole speed is shown as a whole one.

    Args:
        value: A finite number [the unit of *kind*].
        kind: What *value* is.
        units: The job's units.
        places: Decimal places, always shown in full; by kind when left out.

    Raises:
        QuantityError: if *value* is not finite.

    Example:
        >>> show(25.0, Kind.LENGTH), show(25.0, Kind.LENGTH, "inch"), show(110.0, Kind.SPEED)
        ('25.000 mm', '0.9843 in', '110 rev/min')
    """
    unit, worth, usual_places, fixed, form = _look(kind, units)
    if not -LARGEST < value < LARGEST:
        finite(value, kind)
    number = format(value / worth, form if places is None else f".{places}f")
    if places is None and not fixed and usual_places:
        number = number.rstrip("0").rstrip(".")
    if number[0] == "-" and float(number) == 0:
        number = number[1:]
    return f"{number} {unit}"


def show_bare(value: float, kind: Kind, units: Units = "mm") -> str:
    """Return what :func:`show` does without the unit, for a column that names it.

    Example:
        >>> show_bare(25.0, Kind.LENGTH), show_bare(25.0, Kind.LENGTH, "inch")
        ('25.000', '0.9843')
    """
    return show(value, kind, units).split()[0]


def show_down(length_mm: float, units: Units = "mm") -> str:
    """Return a greatest length for people, rounded down: what is printed will do.

    Args:
        length_mm: Half the width of a tolerance, a largest diameter [mm]
        units: The job's units.

    Example:
        >>> show_down(0.0346410), show_down(0.0254, "inch")
        ('0.034 mm', '0.0010 in')
    """
    unit, worth, places, _, form = _look(Kind.LENGTH, units)
    step = 10**places
    # 0.0254 mm is 0.001 inch but for rounding, which must not take the last digit away.
    steps = math.floor(length_mm / worth * step + 1e-9)
    return f"{format(steps / step, form)} {unit}"


def least_shown_mm(units: Units = "mm") -> float:
    """Return the last place in which lengths are shown and written [mm].

    Args:
        units: The job's units.

    Example:
        >>> least_shown_mm()
        0.001
    """
    return MM_PER_INCH / 10_000.0 if units == "inch" else 0.001


ABOUT_DIGITS = 2
"""Digits of an estimate that count; more would promise what it cannot keep."""


def show_about(value: float, kind: Kind, units: Units = "mm") -> str:
    """Return an estimate for people: two digits that count, in the units of the job.

    Args:
        value: A finite number [the unit of *kind*].
        kind: What *value* is.
        units: The job's units.

    Raises:
        QuantityError: if *value* is not finite.

    Example:
        >>> show_about(3237.4, Kind.FORCE), show_about(4.853, Kind.TORQUE)
        ('3200 N', '4.9 N*m')
    """
    unit, worth, _, _, _ = _look(kind, units)
    if not -LARGEST < value < LARGEST:
        finite(value, kind)
    digits = f"{value / worth:.{ABOUT_DIGITS - 1}e}"
    places = ABOUT_DIGITS - 1 - int(digits[-3:]) if value else 0
    return f"{float(digits):.{max(0, places)}f} {unit}"


@cache
def _look(kind: Kind, units: Units) -> tuple[str, float, int, bool, str]:
    """Return how people see a kind.

    That is the unit, what it is worth, the places, whether zeros are kept, and what the
    places are for ``format``.

    The worth is a float: near enough for what is rounded anyway.
    """
    look = kind.look(units)
    worth = float(factor(look.unit, kind))
    return look.unit, worth, look.places, look.fixed, f".{look.places}f"


class Shown(NamedTuple):
    """Figures of one job as people see them, for code that shows many.

    Attributes:
        units: The job's units.

    Example:
        >>> shown = Shown("inch")
        >>> shown.length(25.4), shown.bare(25.4), shown.about(4448.2, Kind.FORCE)
        ('1.0000 in', '1.0000', '1000 lbf')
    """

    units: Units

    def length(self, mm: float) -> str:
        """Return a length [mm] with its unit, on the places of a drawing."""
        return show(mm, Kind.LENGTH, self.units)

    def bare(self, mm: float) -> str:
        """Return a length [mm] without its unit, for a column that names it."""
        return show_bare(mm, Kind.LENGTH, self.units)

    def at_most(self, mm: float) -> str:
        """Return a greatest length [mm] rounded down, with its unit."""
        return show_down(mm, self.units)

    def speed(self, rpm: float) -> str:
        """Return a spindle speed [rev/min] with its unit."""
        return show(rpm, Kind.SPEED, self.units)

    def feed(self, mm_per_rev: float) -> str:
        """Return a feed [mm/rev] with its unit."""
        return show(mm_per_rev, Kind.FEED, self.units)

    def about(self, value: float, kind: Kind = Kind.LENGTH) -> str:
        """Return an estimate in two digits [the unit of *kind*]."""
        return show_about(value, kind, self.units)

    def force(self, newtons: float) -> str:
        """Return an estimated force [N] in two digits."""
        return show_about(newtons, Kind.FORCE, self.units)
