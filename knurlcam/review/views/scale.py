"""The Z scale along the foot of a picture, in the job's units."""

from __future__ import annotations

import math
from collections.abc import Iterator

from knurlcam.review.views.frame import TEXT, Frame
from knurlcam.review.views.shapes import Shape, line, text
from knurlcam.units.kinds import MM_PER_INCH

__all__ = ["FOOT", "nice_step", "z_scale"]

FOOT = 34.0
"""How far above a picture's lower edge its Z scale stands [drawing units]"""

MOST_PARTS = 7
"""Parts into which a Z scale is cut at most."""

TICK = 6.0
"""Length of a tick [drawing units]"""

MARGIN = 50.0
UNIT_WIDTH = 115.0
"""A number nearer to the left edge would be cut off on a small screen, one nearer to the right
edge would stand on the name of the unit [drawing units]"""


def nice_step(length: float, most: int) -> float:
    """Return a step of 1, 2 or 5 times a power of ten that cuts a length in few parts."""
    rough = length / most
    power = 10.0 ** math.floor(math.log10(rough))
    return next(step * power for step in (1.0, 2.0, 5.0, 10.0) if step * power >= rough * 0.999999)


def z_scale(frame: Frame, span_mm: tuple[float, float], y: float, units: str) -> Iterator[Shape]:
    """Yield a Z scale in the job's units.

    Args:
        frame: The picture's scale.
        span_mm: Least and greatest Z [mm]
        y: Its height in the picture [drawing units]
        units: The job's units.
    """
    lo, hi = span_mm
    unit = MM_PER_INCH if units == "inch" else 1.0
    step = nice_step((hi - lo) / unit, MOST_PARTS)
    places = max(0, -math.floor(math.log10(step) + 1e-9))
    foot = y + TICK + TEXT * 1.1
    yield line("thin", (frame.along(lo), y), (frame.along(hi), y))
    for count in range(math.ceil(lo / unit / step), math.floor(hi / unit / step) + 1):
        x = frame.along(count * step * unit)
        yield line("thin", (x, y), (x, y + TICK))
        if MARGIN < x < frame.width - UNIT_WIDTH:
            yield text("mid small", (x, foot), f"{count * step:.{places}f}")
    name = f"Z {'in' if units == 'inch' else 'mm'}"
    yield text("end small", (frame.width - 4, foot), name)
