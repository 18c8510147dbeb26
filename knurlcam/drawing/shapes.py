"""Shapes of a drawing: lines, areas, texts and pictures, in drawing units from the upper left.

A drawing unit is one pixel of a PNG and one unit of an SVG's view box.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Literal, NamedTuple, TypeAlias

if TYPE_CHECKING:
    from PIL import Image

__all__ = [
    "BLACK",
    "BLUE",
    "FRAME",
    "GREEN",
    "ORANGE",
    "PAPER",
    "VERMILLION",
    "Area",
    "Drawing",
    "Line",
    "Point",
    "Raster",
    "Shape",
    "Stroke",
    "Text",
    "box",
]

Point: TypeAlias = tuple[float, float]
"""A place: to the right and downwards [drawing units]"""

BLACK, BLUE, VERMILLION = "#000000", "#0072B2", "#D55E00"
GREEN, ORANGE = "#009E73", "#E69F00"
"""Colours of the Okabe-Ito set, which people with any colour vision can tell apart. Each kind
of line has its own dashes as well, so that colour never stands alone."""

PAPER = "#FFFFFF"
"""Colour behind everything: sheets are printed, and all the colours stand out on white."""


class Stroke(NamedTuple):
    """How a kind of line is drawn.

    Attributes:
        kind: Its name, which is the class of the line in an SVG.
        colour: As SVG writes it.
        width: [drawing units]
        dashes: Lengths of dash and gap in turn; none for a solid line [drawing units]
    """

    kind: str
    colour: str
    width: float
    dashes: tuple[float, ...] = ()


FRAME = Stroke("frame", BLACK, 1.0)
"""Frames, and the ticks of axes and bars."""


class Line(NamedTuple):
    """A line through points."""

    stroke: Stroke
    points: Sequence[Point]


class Area(NamedTuple):
    """A filled shape; *kind* is its class in an SVG."""

    kind: str
    points: Sequence[Point]
    fill: str


class Text(NamedTuple):
    """One line of text; *y* is the line that the letters stand on."""

    kind: str
    x: float
    y: float
    text: str
    size: float
    anchor: Literal["start", "middle", "end"] = "start"


class Raster(NamedTuple):
    """A picture of pixels, which *draw* makes for a width and a height in pixels.

    It is drawn when these are known: an SVG holds it twice as fine as a PNG.
    """

    kind: str
    x: float
    y: float
    width: float
    height: float
    draw: Callable[[int, int], Image.Image]


Shape: TypeAlias = Line | Area | Text | Raster


class Drawing(NamedTuple):
    """A whole drawing.

    Attributes:
        shapes: What is drawn, from the lowest upwards.
        width: [drawing units]
        height: [drawing units]
        title: What it is, in a few words.
        description: What it shows, in sentences, for those who cannot see it.
    """

    shapes: Sequence[Shape]
    width: float
    height: float
    title: str
    description: str


def box(left: float, top: float, right: float, foot: float) -> list[Point]:
    """Return the corners of a box.

    Args:
        left: Its left side [drawing units]
        top: Its upper side [drawing units]
        right: Its right side [drawing units]
        foot: Its lower side [drawing units]

    Returns:
        Four corners, and the first one again [drawing units]
    """
    return [(left, top), (right, top), (right, foot), (left, foot), (left, top)]
