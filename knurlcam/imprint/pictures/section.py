"""The drawing of a section through the teeth, with its dimensions."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Literal, NamedTuple

import numpy as np

from knurlcam.drawing.axes import LINE_STEP, TEXT, scale_bar
from knurlcam.drawing.shapes import VERMILLION, Area, Drawing, Line, Point, Shape, Text
from knurlcam.drawing.svg import svg_text
from knurlcam.errors import require
from knurlcam.imprint.pictures.cut import Section, section
from knurlcam.imprint.pictures.look import (
    BLANK,
    CAUTION,
    DIMENSION,
    EXTENSION,
    INLINE_WIDE,
    PROFILE,
)
from knurlcam.imprint.surface import Surface, refuse_unfit
from knurlcam.units.kinds import Kind, Units
from knurlcam.units.show import show, show_about

__all__ = [
    "SECTION_TEETH",
    "Teeth",
    "of_pitches",
    "section_described",
    "section_shapes",
    "section_svg",
    "teeth_of",
]

SECTION_TEETH = 5.0
"""Teeth that a section shows [-]: enough to see a doubled print beside its neighbour."""

SIDE = 190.0
"""Room beside a section for a dimension and its text [drawing units]"""

MOST_TALL = 260.0
"""Height of the teeth in a section, at most [drawing units]: beyond it the section becomes
narrower, for both directions have one scale."""

ABOVE, BELOW = 24.0, 34.0
"""Room over the crests for an arrow, and metal under the roots [drawing units]"""

METAL = "#C9CCCF"
"""Colour of the metal: light, so that lines stand out on it."""

FLAT_MM = 0.0005
"""Height that does not count as a tooth or as growth [mm]: it would be written as 0.000."""

FOOT = 44.0
"""Room below the metal, for the scale bar [drawing units]"""

TAIL = 18.0
"""Length of a dimension's arrow where it stands outside [drawing units]"""


class Teeth(NamedTuple):
    """Where a section stands in a drawing; both directions to one scale."""

    cut: Section
    left: float
    top: float
    scale: float

    @property
    def crest_mm(self) -> float:
        """Height of the highest crest of the cut [mm]."""
        return float(self.cut.height_mm.max())

    @property
    def root_mm(self) -> float:
        """Height of the deepest root of the cut [mm]."""
        return float(self.cut.height_mm.min())

    @property
    def right(self) -> float:
        """Where the cut ends [drawing units]."""
        return self.along(float(self.cut.u_mm[-1]))

    @property
    def foot(self) -> float:
        """Where the metal ends below [drawing units]."""
        return self.up(min(self.root_mm, 0.0)) + BELOW

    def along(self, u_mm: float) -> float:
        """Return where a place round the work stands [drawing units]."""
        return self.left + (u_mm - float(self.cut.u_mm[0])) * self.scale

    def up(self, height_mm: float) -> float:
        """Return where a height stands [drawing units]."""
        return self.top + ABOVE + (max(self.crest_mm, 0.0) - height_mm) * self.scale


def teeth_of(cut: Section, top: float, width: float) -> Teeth:
    """Return where a section stands in the middle of a drawing *width* wide."""
    room = width - 2.0 * SIDE
    length = float(cut.u_mm[-1] - cut.u_mm[0])
    tall = max(float(cut.height_mm.max()), 0.0) - min(float(cut.height_mm.min()), 0.0)
    # One scale both ways: angles can be read off the drawing.
    scale = min(room / length, MOST_TALL / max(tall, FLAT_MM))
    return Teeth(cut, (width - length * scale) / 2.0, top, scale)


def section_shapes(teeth: Teeth, units: Units) -> Iterator[Shape]:
    """Yield the metal, the blank's surface, the dimensions and the scale bar."""
    cut, blank = teeth.cut, teeth.up(0.0)
    # A fine map has hundreds of points a tooth; a page would carry them all.
    profile = _simplified(
        [
            (teeth.along(u), teeth.up(h))
            for u, h in zip(cut.u_mm.tolist(), cut.height_mm.tolist(), strict=True)
        ]
    )
    corners = [(teeth.right, teeth.foot), (teeth.left, teeth.foot)]
    yield Area("metal", [*profile, *corners], METAL)
    yield Line(BLANK, [(teeth.left, blank), (teeth.right, blank)])
    yield Line(PROFILE, profile)
    if teeth.crest_mm > FLAT_MM:
        grown = f"2 × {show_about(teeth.crest_mm, Kind.LENGTH, units)}"
        words = ("diameter growth", grown)
        yield from _dimension(teeth, -1.0, (teeth.crest_mm, 0.0), words)
    tall = teeth.crest_mm - teeth.root_mm
    if tall > FLAT_MM:
        words = ("tooth height", show_about(tall, Kind.LENGTH, units))
        yield from _dimension(teeth, 1.0, (teeth.crest_mm, teeth.root_mm), words)
    line = teeth.foot + 26.0
    width = teeth.right - teeth.left
    yield from scale_bar((teeth.left, line), scale=teeth.scale, width=width, units=units)
    yield Line(BLANK, [(teeth.right - 170, line), (teeth.right - 125, line)])
    yield Text("blank-text", teeth.right - 117, line + TEXT / 3, "blank surface", TEXT)


def _dimension(
    teeth: Teeth, side: float, between: tuple[float, float], words: Sequence[str]
) -> Iterator[Shape]:
    """Yield a height with its arrows and text.

    Args:
        teeth: Where the section stands.
        side: Beside which end: -1 left, 1 right.
        between: The upper and the lower height [mm]
        words: Lines of text.
    """
    edge = teeth.left if side < 0 else teeth.right
    x = edge + side * 22.0
    high, low = (teeth.up(height) for height in between)
    for y in (high, low):
        yield Line(EXTENSION, [(edge + side * 3, y), (x + side * 8, y)])
    if low - high >= 2.5 * ARROW:
        yield Line(DIMENSION, [(x, high), (x, low)])
        yield from (_arrow_head(x, high, -1.0), _arrow_head(x, low, 1.0))
    else:  # no room between: the arrows stand outside and point at each other
        yield Line(DIMENSION, [(x, high - TAIL), (x, low + TAIL)])
        yield from (_arrow_head(x, high, 1.0), _arrow_head(x, low, -1.0))
    middle = (high + low) / 2.0 + TEXT / 3 - LINE_STEP * (len(words) - 1) / 2.0
    for number, text in enumerate(words):
        y = middle + number * LINE_STEP
        anchor: Literal["end", "start"] = "end" if side < 0 else "start"
        yield Text("dimension-text", x + side * 14, y, text, TEXT, anchor)


def section_svg(surface: Surface, *, z_mm: float, pitch_mm: float, units: Units = "mm") -> str:
    """Return the section through a few teeth as an SVG to be put into a page.

    It holds neither styles nor names (``id``), and takes a page's rules by class.

    Args:
        surface: The height map.
        z_mm: Where to cut [mm]
        pitch_mm: Distance of two teeth round the work [mm]
        units: The job's units.

    Returns:
        One element, with a line's end after it.

    Raises:
        InputError: if the map cannot be shown, or does not reach there.
    """
    cut = section(surface, z_mm, teeth_mm=of_pitches(surface, pitch_mm, SECTION_TEETH))
    teeth = teeth_of(cut, 0.0, INLINE_WIDE)
    drawing = Drawing(
        shapes=list(section_shapes(teeth, units)),
        width=INLINE_WIDE,
        height=round(teeth.foot + FOOT),
        title="Section through the teeth",
        description=f"{section_described(teeth, units)} {CAUTION}",
    )
    return svg_text(drawing, {"class": "section"})


def of_pitches(surface: Surface, pitch_mm: float, most: float) -> float:
    """Return so many pitches, or once round the work if that is less [mm]."""
    refuse_unfit(surface)
    require("pitch_mm", pitch_mm, surface.cell_mm, math.inf, "mm")
    return min(most * pitch_mm, surface.around_mm)


def section_described(teeth: Teeth, units: Units) -> str:
    """Return what a section shows, in words."""
    tall = show_about(teeth.crest_mm - teeth.root_mm, Kind.LENGTH, units)
    place = show(teeth.cut.z_mm, Kind.LENGTH, units)
    above = show_about(max(teeth.crest_mm, 0.0), Kind.LENGTH, units)
    return f"At Z {place} the teeth are {tall} tall and stand {above} above the blank's surface."


STRAIGHT = 0.1
"""Distance within which points lie on a straight line [drawing units]: a tooth of a fine map has
many."""


def _simplified(points: Sequence[Point]) -> list[Point]:
    """Return a line's points without those that lie straight between others."""
    line = np.array(points)
    kept = {0, len(line) - 1}
    stretches = [(0, len(line) - 1)]
    while stretches:
        first, last = stretches.pop()
        run, rise = line[last] - line[first]
        between = line[first + 1 : last] - line[first]
        off = np.abs(between[:, 1] * run - between[:, 0] * rise) / math.hypot(run, rise)
        if off.size and off.max() > STRAIGHT:
            middle = first + 1 + int(off.argmax())
            kept.add(middle)
            stretches += [(first, middle), (middle, last)]
    return [points[i] for i in sorted(kept)]


ARROW = 9.0
"""Length of an arrow's head [drawing units]"""


def _arrow_head(x: float, y: float, way: float) -> Area:
    """Return the head of a dimension's arrow, its tip at (x, y); way 1 points down, -1 up."""
    back = y - way * ARROW
    return Area("head", [(x, y), (x - ARROW / 3, back), (x + ARROW / 3, back)], VERMILLION)
