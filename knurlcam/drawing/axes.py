"""Axes and scale bars: round numbers in the job's units, and where they stand.

One algorithm for every axis of every picture: steps are 1, 2 or 5 times a power of ten.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

from knurlcam.drawing.shapes import BLACK, FRAME, Line, Point, Shape, Stroke, Text
from knurlcam.units.kinds import Kind, Units
from knurlcam.units.quantities import parse_quantity
from knurlcam.units.show import show

__all__ = [
    "LINE_STEP",
    "TEXT",
    "Tick",
    "decimals_of",
    "length_ticks",
    "round_down",
    "round_up",
    "scale_bar",
    "ticks",
]

TEXT = 17.0
"""Height of the letters in a drawing [drawing units]"""

LINE_STEP = 24.0
"""Distance from one line of text to the next [drawing units]"""

LONGEST_BAR = 0.3
"""Length of a scale bar over the width of what it measures, at most [-]"""

SCALE_BAR = Stroke("scale-bar", BLACK, 3.0)

_SLACK = 1e-9
"""Share of a step that a rounding error may take, so that a tick at an end is not lost."""


class Tick(NamedTuple):
    """A mark on an axis.

    Attributes:
        value: Where it stands [the axis' unit]
        text: The number beside it, with the places that the step needs.
    """

    value: float
    text: str


def ticks(low: float, high: float, most_steps: int) -> list[Tick]:
    """Return round numbers along an axis.

    Args:
        low: Where the axis begins [any unit]
        high: Where it ends, beyond *low* [the same]
        most_steps: Into how many steps it is cut at most, 1 or more [-]

    Returns:
        Rising multiples of one round step, the ends among them where they are such.

    Example:
        >>> [tick.text for tick in ticks(24.35, 24.9, 8)]
        ['24.4', '24.5', '24.6', '24.7', '24.8', '24.9']
    """
    step = round_up((high - low) / most_steps)
    places = decimals_of(step)
    # Multiples, not sums of the step: a sum drifts, and 0.3 would read 0.30000000000000004.
    first, last = math.ceil(low / step - _SLACK), math.floor(high / step + _SLACK)
    return [Tick(n * step, f"{n * step:.{places}f}") for n in range(first, last + 1)]


def length_ticks(low_mm: float, high_mm: float, most_steps: int, units: Units) -> list[Tick]:
    """Return round lengths along an axis, in the job's units.

    Args:
        low_mm: Where the axis begins [mm]
        high_mm: Where it ends, beyond *low_mm* [mm]
        most_steps: Into how many steps it is cut at most, 1 or more [-]
        units: The job's units, in which the numbers are round.

    Returns:
        Rising; values in millimetres, texts in the job's units.

    Example:
        >>> [(round(t.value, 3), t.text) for t in length_ticks(0.0, 30.0, 3, "inch")]
        [(0.0, '0.0'), (12.7, '0.5'), (25.4, '1.0')]
    """
    unit_mm = parse_quantity(1.0, Kind.LENGTH, units)
    found = ticks(low_mm / unit_mm, high_mm / unit_mm, most_steps)
    return [Tick(tick.value * unit_mm, tick.text) for tick in found]


def round_down(value: float) -> float:
    """Return a round number that is not larger.

    Args:
        value: More than 0 [any unit]

    Returns:
        The greatest of 1, 2, 5, 10, 20 ... and 0.5, 0.2, 0.1 ... up to it [its unit]
    """
    power = _power_below(value)
    # A round number that a rounding error has moved is still its own: hence the 1e-9.
    return power * max(step for step in (1.0, 2.0, 5.0) if step * power <= value * (1.0 + 1e-9))


def round_up(value: float) -> float:
    """Return a round number that is not smaller.

    Args:
        value: More than 0 [any unit]

    Returns:
        The least of 1, 2, 5, 10, 20 ... and 0.5, 0.2, 0.1 ... from it on [its unit]
    """
    power = _power_below(value)
    return power * min(
        step for step in (1.0, 2.0, 5.0, 10.0) if step * power >= value - 1e-9 * power
    )


def decimals_of(round_length: float) -> int:
    """Return how many decimal places a round number has.

    Args:
        round_length: What :func:`round_down` or :func:`round_up` returned [any unit]

    Returns:
        The places that it needs [-]
    """
    return max(0, -math.floor(math.log10(round_length) + 1e-9))


def _power_below(value: float) -> float:
    """Return the power of ten up to a value."""
    return float(10.0 ** math.floor(math.log10(value) + 1e-9))


def scale_bar(at: Point, *, scale: float, width: float, units: Units) -> Iterator[Shape]:
    """Yield a bar of a round length with the length written beside it.

    Args:
        at: Its left end; the text stands on the same line [drawing units]
        scale: Of what it measures [drawing units/mm]
        width: Of what it measures [drawing units]
        units: The job's units.

    Yields:
        The bar, its two ends and the text.
    """
    x, y = at
    unit_mm = parse_quantity(1.0, Kind.LENGTH, units)
    length = round_down(LONGEST_BAR * width / scale / unit_mm)
    end = x + length * unit_mm * scale
    yield Line(SCALE_BAR, [(x, y), (end, y)])
    yield Line(FRAME, [(x, y - 7), (x, y + 7)])
    yield Line(FRAME, [(end, y - 7), (end, y + 7)])
    text = show(length * unit_mm, Kind.LENGTH, units, decimals_of(length))
    yield Text("scale-text", end + 10, y + TEXT / 3, text, TEXT)
