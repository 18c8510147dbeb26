"""The Z scale along the foot of a picture, in the job's units."""

from __future__ import annotations

from collections.abc import Iterator

from knurlcam.drawing.axes import length_ticks
from knurlcam.review.views.frame import TEXT, Frame
from knurlcam.review.views.shapes import Shape, line, text
from knurlcam.units.kinds import Units

__all__ = ["FOOT", "unit_of", "z_scale"]

FOOT = 34.0
"""How far above a picture's lower edge its Z scale stands [drawing units]"""

MOST_STEPS = 7
"""Steps into which a Z scale is cut at most [-]"""

TICK = 6.0
"""Length of a tick [drawing units]"""

MARGIN = 50.0
UNIT_WIDTH = 115.0
"""A number nearer to the left edge would be cut off on a small screen, one nearer to the right
edge would stand on the name of the unit [drawing units]"""


def z_scale(frame: Frame, span_mm: tuple[float, float], y: float, units: Units) -> Iterator[Shape]:
    """Yield a Z scale in the job's units.

    Args:
        frame: The picture's scale.
        span_mm: Least and greatest Z [mm]
        y: Its height in the picture [drawing units]
        units: The job's units.
    """
    low, high = span_mm
    foot = y + TICK + TEXT * 1.1
    yield line("thin", (frame.along(low), y), (frame.along(high), y))
    for tick in length_ticks(low, high, MOST_STEPS, units):
        x = frame.along(tick.value)
        yield line("thin", (x, y), (x, y + TICK))
        if MARGIN < x < frame.width - UNIT_WIDTH:
            yield text("mid small", (x, foot), tick.text)
    yield text("end small", (frame.width - 4, foot), f"Z {unit_of(units)}")


def unit_of(units: Units) -> str:
    """Return the unit of length beside a scale."""
    return "in" if units == "inch" else "mm"
