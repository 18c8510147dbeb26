"""What a picture is: its scale, what stays in it and what moves.

A picture is 800 or 460 units wide; the page shows it at the width of the screen or the
paper. What moves stands in a group of its own, drawn about its own origin; the page's
script does no more than place these groups.
"""

from __future__ import annotations

from dataclasses import dataclass

from knurlcam.review.views.shapes import Point, Shape

__all__ = [
    "LABEL_STEP",
    "LABEL_WIDTH",
    "SQUARE",
    "TEXT",
    "WIDE",
    "Chart",
    "Frame",
    "View",
    "between",
]

WIDE = 800.0
SQUARE = 460.0
"""Widths of the pictures: of those along the work, and of the end view [drawing units]"""

TEXT = 17.0
"""Height of a line of text; twice as high on a small screen [drawing units]"""

LABEL_STEP = 34.0
"""Least distance of two texts written below each other [drawing units]"""

LABEL_WIDTH = 215.0
"""Width of a short label on a small screen [drawing units]"""


@dataclass(frozen=True, slots=True)
class Frame:
    """Millimetres to drawing units, along and across.

    Attributes:
        width: Of the drawing [units]
        height: Of the drawing [units]
        x0: Where 0 mm along stands [units]
        kx: Units for a millimetre along; negative where it runs to the left.
        y0: Where 0 mm across stands [units]
        ky: Units for a millimetre across; negative where it runs upwards.
    """

    width: float
    height: float
    x0: float
    kx: float
    y0: float
    ky: float

    def along(self, mm: float) -> float:
        """Return where a length along stands [units]."""
        return round(self.x0 + self.kx * mm, 2)

    def across(self, mm: float) -> float:
        """Return where a length across stands [units]."""
        return round(self.y0 + self.ky * mm, 2)

    def point(self, along_mm: float, across_mm: float) -> Point:
        """Return where a place stands [units]."""
        return self.along(along_mm), self.across(across_mm)


@dataclass(frozen=True, slots=True)
class View:
    """One picture in which the rolls move.

    Attributes:
        name: Names it in the page.
        title: What it shows, in a few words.
        description: The same for those who cannot see it, with its main figures.
        frame: Its scale.
        still: What stays.
        moving: The group that the script places, drawn about (0, 0).
        within: Least and greatest value across at which the moving group is drawn; beyond
            it stays at the edge [mm]
        outside: Whether the motion leaves the picture.
    """

    name: str
    title: str
    description: str
    frame: Frame
    still: tuple[Shape, ...]
    moving: tuple[Shape, ...]
    within: tuple[float, float]
    outside: bool


@dataclass(frozen=True, slots=True)
class Chart:
    """A picture in which nothing moves.

    Attributes:
        title: What it shows, in a few words.
        description: The same for those who cannot see it, with its main figures.
        width: Of the drawing [units]
        height: Of the drawing [units]
        still: What is drawn.
    """

    title: str
    description: str
    width: float
    height: float
    still: tuple[Shape, ...]


def between(value: float, least: float, most: float) -> float:
    """Return a value, or the nearer limit where it lies beyond one."""
    return min(max(value, least), most)
