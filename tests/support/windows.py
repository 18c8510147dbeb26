"""Windows of good blanks as they are found for the base job, or like them."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Callable

import numpy as np

from knurlcam.imprint.pictures.window_plot import window_svg
from knurlcam.imprint.window import Blank, Window
from tests.support.svg import corners, each


def window(
    double: Callable[[float], float | None],
    ends_mm: tuple[float, float] | None = (24.5993, 24.6717),
    planned_mm: float = 24.6260,
) -> Window:
    """Return a window as it is found for the base job, or one that is like it."""
    steps = np.linspace(planned_mm - 0.276, planned_mm + 0.276, 41).tolist()
    blanks = tuple(Blank(step, double(step)) for step in steps)
    return Window(blanks, planned_mm, *(ends_mm or (None, None)), 0.03464)


def sharp(diameter_mm: float) -> float:
    return 0.0 if 24.5993 <= diameter_mm <= 24.6717 else 0.98


WINDOW = window(sharp)

NONE_CLEAN = window(lambda _: 0.9, None)

ALL_CLEAN = window(lambda _: 0.0, (24.35, 24.902))

HALF_TOUCHED = window(lambda d: None if d < 24.5 else sharp(d))

NARROW = window(lambda d: 0.0 if abs(d - 24.626) < 0.001 else 1.0, (24.6255, 24.6264))


def plotted(of: Window, units: str = "mm", at_mm: float | None = None) -> ET.Element:
    return ET.fromstring(window_svg(of, units=units, at_mm=at_mm))


def pointers(svg: ET.Element) -> list[tuple[float, float]]:
    """Return the tips of the triangles that mark the blank."""
    marks = [e for e in each(svg, "polygon") if e.get("class") == "window-here"]
    assert {e.get("fill") for e in marks} <= {"#000000"}
    tips = [corners(e)[corners(e)[:, 1].argmin()] for e in marks]
    return [(float(x), float(y)) for x, y in tips]
