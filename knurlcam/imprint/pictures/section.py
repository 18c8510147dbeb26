"""A section through the teeth: cut from the map, and drawn."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from knurlcam.drawing.drawing import (
    ARROW,
    CAUTION,
    INLINE_WIDE,
    LINE_STEP,
    TEXT,
    Area,
    Line,
    Shape,
    Text,
    arrow_head,
    scale_bar,
    simplified,
    svg_text,
)
from knurlcam.errors import require
from knurlcam.imprint.measures import knurled_rows
from knurlcam.imprint.surface import Floats, Heights, Surface, refuse_unfit, round_the_start
from knurlcam.units.kinds import Kind, Units
from knurlcam.units.show import show, show_about

__all__ = [
    "SECTION_TEETH",
    "Section",
    "Teeth",
    "crest_z_mm",
    "of_pitches",
    "section",
    "section_shapes",
    "section_svg",
    "section_told",
    "teeth_of",
]


@dataclass(frozen=True, slots=True)
class Section:
    """A cut through the teeth, square to the axis, unrolled.

    Attributes:
        z_mm: Z of the row that was cut, from the end face [mm]
        u_mm: Place round the blank, upwards from the map's first cell [mm]
        height_mm: Height above the blank's surface [mm]
    """

    z_mm: float
    u_mm: Floats
    height_mm: Heights


def section(surface: Surface, z_mm: float, *, teeth_mm: float) -> Section:
    """Return the section through the teeth in the row nearest to a Z.

    Args:
        surface: The height map.
        z_mm: Where to cut, on the map [mm]
        teeth_mm: Length round the work, half of it to each side of the first cell [mm]

    Returns:
        The cut through a row of the map.

    Raises:
        InputError: if the map cannot be shown, or does not reach there.
    """
    refuse_unfit(surface)
    step, first = surface.dz_mm, surface.z_mm
    require("z_mm", z_mm, first - step / 2.0, first + (surface.rows - 0.5) * step, "mm")
    require("teeth_mm", teeth_mm, 2.0 * surface.cell_mm, surface.around_mm, "mm")
    row = min(max(round((z_mm - first) / step), 0), surface.rows - 1)
    half = min(int(teeth_mm / surface.cell_mm / 2.0 + 1e-9), (surface.cells - 1) // 2)
    cells = round_the_start(half)
    heights = surface.height_mm[row].take(cells, mode="wrap")
    return Section(first + row * step, cells * surface.cell_mm, heights)


ALIKE = 0.002
"""Rows that differ by less, of the tooth height, are alike: a straight knurl's differ by
rounding."""

PATTERNED = 0.005
"""Rows that go up and down by more, of the tooth height, come again along the axis; by less
they do where the tool moved on between two turns."""

FEWEST_REPEAT_ROWS = 4
"""A pattern that comes again after fewer rows is none of the rolls: fine grooves have their
roots on a cell in one row, and between two cells in the next."""

FEWEST_REPEATS = 2
"""So often a pattern comes again along a knurl; what does not is a bow or a lean of it."""


def crest_z_mm(surface: Surface) -> float:
    """Return the Z of the row through the crests that is in the middle of the knurl [mm].

    It is looked for within one repeat of the pattern along the axis; of rows that are all
    alike it is the middle one, and where the work bent away and the teeth are shallow there
    it is among these.

    Args:
        surface: The height map.

    Returns:
        Z of a row of the map [mm]

    Raises:
        InputError: if the map cannot be shown.
    """
    refuse_unfit(surface)
    knurl = knurled_rows(surface)
    heights = surface.height_mm[knurl]
    tall = heights.max(axis=1).astype(float) - heights.min(axis=1)
    # Through the crests the teeth are tallest. Flat crests stay as tall beside that line, and
    # only lose width: the mean sinks. Between pits it rises there, at most as fast as the
    # teeth lose height; half of it leaves the top where it is.
    worth = tall + heights.mean(axis=1, dtype=float) / 2.0
    middle = (worth.size - 1) / 2.0
    half = _repeat_rows(worth, tall) / 2.0
    near = np.arange(max(0, math.ceil(middle - half)), math.floor(middle + half) + 1)
    best = near[worth[near] >= worth[near].max() - ALIKE * tall[near].max()]
    row = int(knurl.start) + int(best[np.argmin(np.abs(best - middle))])
    return surface.z_mm + row * surface.dz_mm


def _repeat_rows(worth: Floats, tall: Floats) -> float:
    """Return after how many rows a pattern comes again in the middle of a knurl; or one row."""
    count = worth.size
    if count < 2 * (FEWEST_REPEATS + 1):
        return float(count - 1)
    # Work that bends away leaves no bow but a hook; its middle third is a bow again.
    third = slice(count // 3, count - count // 3)
    repeats = _repeats(worth[third], tall[third]) if count >= 6 * (FEWEST_REPEATS + 1) else 1
    if repeats > FEWEST_REPEATS:
        return float(worth[third].size / repeats)
    return count / (_repeats(worth, tall) or count) if repeats else 1.0


def _repeats(worth: Floats, tall: Floats) -> int:
    """Return how often a pattern comes again in rows, by its strongest wave; 0 without one."""
    count = worth.size
    places = np.linspace(-1.0, 1.0, count)
    bowed = np.polynomial.Polynomial.fit(places, worth, 2)(places)
    window = np.hanning(count)
    waves = np.abs(np.fft.rfft((worth - bowed) * window)) * 2.0 / window.sum()
    seen = slice(FEWEST_REPEATS, max(count // FEWEST_REPEAT_ROWS, FEWEST_REPEATS) + 1)
    strongest = FEWEST_REPEATS + int(waves[seen].argmax())
    return strongest if waves[strongest] > PATTERNED * float(np.median(tall)) else 0


SECTION_TEETH = 5.0
"""Teeth that a section shows: a doubled print stands beside its neighbour."""

SIDE = 190.0
"""Beside a section, for a dimension and its text [drawing units]"""

MOST_TALL = 260.0
"""Of the teeth in a section; it grows narrower instead [drawing units]"""

ABOVE, BELOW = 24.0, 34.0
"""Over the crests, for an arrow; and metal under the roots [drawing units]"""

METAL = "#C9CCCF"
"""Light, so that lines stand out on it."""

FLAT_MM = 0.0005
"""Less is no tooth and no growth: it would be written as 0.000."""

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
    scale = min(room / length, MOST_TALL / max(tall, FLAT_MM))
    return Teeth(cut, (width - length * scale) / 2.0, top, scale)


def section_shapes(teeth: Teeth, units: Units) -> Iterator[Shape]:
    """Yield the metal, the blank's surface, the dimensions and the scale bar."""
    cut, blank = teeth.cut, teeth.up(0.0)
    profile = simplified(
        [
            (teeth.along(u), teeth.up(h))
            for u, h in zip(cut.u_mm.tolist(), cut.height_mm.tolist(), strict=True)
        ]
    )
    corners = [(teeth.right, teeth.foot), (teeth.left, teeth.foot)]
    yield Area("metal", [*profile, *corners], METAL)
    yield Line("blank", [(teeth.left, blank), (teeth.right, blank)])
    yield Line("profile", profile)
    if teeth.crest_mm > FLAT_MM:
        grown = f"2 × {show_about(teeth.crest_mm, Kind.LENGTH, units)}"
        words = ("diameter grows", grown)
        yield from _dimension(teeth, -1.0, (teeth.crest_mm, 0.0), words)
    tall = teeth.crest_mm - teeth.root_mm
    if tall > FLAT_MM:
        words = ("tooth height", show_about(tall, Kind.LENGTH, units))
        yield from _dimension(teeth, 1.0, (teeth.crest_mm, teeth.root_mm), words)
    line = teeth.foot + 26.0
    yield from scale_bar(teeth.left, line, teeth.scale, teeth.right - teeth.left, units)
    yield Line("blank", [(teeth.right - 170, line), (teeth.right - 125, line)])
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
        yield Line("extension", [(edge + side * 3, y), (x + side * 8, y)])
    if low - high >= 2.5 * ARROW:
        yield Line("dimension", [(x, high), (x, low)])
        yield from (arrow_head(x, high, -1.0), arrow_head(x, low, 1.0))
    else:  # no room between: the arrows stand outside and point at each other
        yield Line("dimension", [(x, high - TAIL), (x, low + TAIL)])
        yield from (arrow_head(x, high, 1.0), arrow_head(x, low, -1.0))
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
    height = round(teeth.foot + 44.0)
    shapes = section_shapes(teeth, units)
    title, told = "Section through the teeth", f"{section_told(teeth, units)} {CAUTION}"
    return svg_text(shapes, INLINE_WIDE, height, title, told, {"class": "section"})


def of_pitches(surface: Surface, pitch_mm: float, most: float) -> float:
    """Return so many pitches, or once round the work if that is less [mm]."""
    refuse_unfit(surface)
    require("pitch_mm", pitch_mm, surface.cell_mm, math.inf, "mm")
    return min(most * pitch_mm, surface.around_mm)


def section_told(teeth: Teeth, units: Units) -> str:
    """Return what a section shows, in words."""
    tall = show_about(teeth.crest_mm - teeth.root_mm, Kind.LENGTH, units)
    place = show(teeth.cut.z_mm, Kind.LENGTH, units)
    above = show_about(max(teeth.crest_mm, 0.0), Kind.LENGTH, units)
    return f"At Z {place} the teeth are {tall} tall and stand {above} above the blank's surface."
