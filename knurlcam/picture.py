"""A knurl in a picture: its section, the window of good blanks, all with the part composed."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from PIL import Image

from knurlcam.drawing import (
    ARROW,
    LINE_STEP,
    PAPER,
    TEXT,
    Area,
    Line,
    Raster,
    Shape,
    Text,
    arrow_head,
    box,
    painted,
    png_bytes,
    scale_bar,
    simplified,
    svg_number,
    svg_text,
    wrapped,
)
from knurlcam.errors import require
from knurlcam.lamp import FEWEST_GLASS_CELLS, glass_image, moved_onto, part_image, part_scale
from knurlcam.quantities import Kind, Units, show, show_about
from knurlcam.surface import Heights, Reals, Surface, refuse_unfit, round_the_start

__all__ = [
    "CAUTION",
    "Section",
    "crest_z_mm",
    "picture_png",
    "picture_svg",
    "section",
    "section_svg",
]

CAUTION = "An estimate that was worked out, not a measurement of a part."
"""Stands in every picture: it looks like a photograph and is none."""


# -- the section --------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Section:
    """A cut through the teeth, square to the axis, unrolled.

    Attributes:
        z_mm: Z of the row that was cut, from the end face [mm]
        u_mm: Place round the blank, upwards from the map's first cell [mm]
        height_mm: Height above the blank's surface [mm]
    """

    z_mm: float
    u_mm: Reals
    height_mm: Heights


def section(surface: Surface, z_mm: float, *, teeth_mm: float) -> Section:
    """Return the section through the teeth in the row nearest to a Z.

    Args:
        surface: The height map.
        z_mm: Where to cut, on the map [mm]
        teeth_mm: Length round the work, half of it to each side of the first cell [mm]

    Raises:
        InputError: if the map cannot be shown, or does not reach there.
    """
    refuse_unfit(surface)
    step, first = surface.dz_mm, surface.z_mm
    require("z_mm", z_mm, first - step / 2.0, first + (surface.rows - 0.5) * step, "mm")
    whole = surface.cells * surface.cell_mm
    require("teeth_mm", teeth_mm, 2.0 * surface.cell_mm, whole, "mm")
    row = min(max(round((z_mm - first) / step), 0), surface.rows - 1)
    half = min(int(teeth_mm / surface.cell_mm / 2.0 + 1e-9), (surface.cells - 1) // 2)
    cells = round_the_start(half)
    heights = surface.height_mm[row].take(cells, mode="wrap")
    return Section(first + row * step, cells * surface.cell_mm, heights)


AS_TALL = 0.999
"""A row whose teeth are so much of the tallest is as good as that one: a straight knurl's
rows are all alike but for rounding."""


def crest_z_mm(surface: Surface) -> float:
    """Return the Z of the row that passes through the crests [mm].

    The teeth are tallest there, from root to crest; of several such rows it is the one
    nearest to the middle of the knurl.

    Args:
        surface: The height map.

    Raises:
        InputError: if the map cannot be shown.
    """
    refuse_unfit(surface)
    tall = surface.height_mm.max(axis=1) - surface.height_mm.min(axis=1)
    knurled = np.flatnonzero(tall >= tall.max() / 2.0)
    middle = (knurled[0] + knurled[-1]) / 2.0
    best = np.flatnonzero(tall >= AS_TALL * tall.max())
    row = int(best[np.argmin(np.abs(best - middle))])
    return surface.z_mm + row * surface.dz_mm


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


class _Teeth(NamedTuple):
    """Where a section stands in a drawing; both directions to one scale."""

    cut: Section
    left: float
    top: float
    scale: float

    @property
    def crest_mm(self) -> float:
        return float(self.cut.height_mm.max())

    @property
    def root_mm(self) -> float:
        return float(self.cut.height_mm.min())

    @property
    def right(self) -> float:
        return self.along(float(self.cut.u_mm[-1]))

    @property
    def foot(self) -> float:
        return self.up(min(self.root_mm, 0.0)) + BELOW

    def along(self, u_mm: float) -> float:
        return self.left + (u_mm - float(self.cut.u_mm[0])) * self.scale

    def up(self, height_mm: float) -> float:
        return self.top + ABOVE + (max(self.crest_mm, 0.0) - height_mm) * self.scale


def _teeth(cut: Section, top: float, width: float) -> _Teeth:
    """Return where a section stands in the middle of a drawing *width* wide."""
    room = width - 2.0 * SIDE
    length = float(cut.u_mm[-1] - cut.u_mm[0])
    tall = max(float(cut.height_mm.max()), 0.0) - min(float(cut.height_mm.min()), 0.0)
    scale = min(room / length, MOST_TALL / max(tall, FLAT_MM))
    return _Teeth(cut, (width - length * scale) / 2.0, top, scale)


def _section_shapes(teeth: _Teeth, units: Units) -> Iterator[Shape]:
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
    teeth: _Teeth, side: float, between: tuple[float, float], words: Sequence[str]
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


SECTION_WIDE = 800.0
"""Of a section alone [drawing units]"""


def section_svg(surface: Surface, *, z_mm: float, pitch_mm: float, units: Units = "mm") -> str:
    """Return the section through a few teeth as an SVG to be put into a page.

    It holds neither styles nor names (``id``), and takes a page's rules by class.

    Args:
        surface: The height map.
        z_mm: Where to cut [mm]
        pitch_mm: Distance of two teeth round the work [mm]
        units: The job's units.

    Raises:
        InputError: if the map cannot be shown, or does not reach there.
    """
    cut = section(surface, z_mm, teeth_mm=_of_pitches(surface, pitch_mm, SECTION_TEETH))
    teeth = _teeth(cut, 0.0, SECTION_WIDE)
    height = round(teeth.foot + 44.0)
    shapes = _section_shapes(teeth, units)
    title, told = "Section through the teeth", f"{_section_told(teeth, units)} {CAUTION}"
    return svg_text(shapes, SECTION_WIDE, height, title, told, {"class": "section"})


def _of_pitches(surface: Surface, pitch_mm: float, most: float) -> float:
    """Return so many pitches, or once round the work if that is less [mm]."""
    refuse_unfit(surface)
    require("pitch_mm", pitch_mm, surface.cell_mm, math.inf, "mm")
    return min(most * pitch_mm, surface.cells * surface.cell_mm)


def _section_told(teeth: _Teeth, units: Units) -> str:
    """Return what a section shows, in words."""
    tall = show_about(teeth.crest_mm - teeth.root_mm, Kind.LENGTH, units)
    place = show(teeth.cut.z_mm, Kind.LENGTH, units)
    above = show_about(max(teeth.crest_mm, 0.0), Kind.LENGTH, units)
    return f"At Z {place} the teeth are {tall} tall and stand {above} above the blank's surface."


# -- the composed picture -----------------------------------------------------

WIDE = 1200.0
EDGE = 24.0
PANEL = 440.0
"""Width of the picture, its margin, and the height of the upper row [drawing units]"""

HEADING = 26.0
HEADING_STEP = 34.0
"""Of the title [drawing units]"""

MARK = 18.0
"""Length of a mark of the section, outside and inside the close-up [drawing units]"""

TITLE_UP, BAR_DOWN = 28.0, 38.0
"""Above and below a picture, clear of the marks: its title and its bar [drawing units]"""

GLASS_TEETH = 8.0
"""Pitches across the close-up: single prints are seen, and that they come again."""

FACT_COLUMNS = 3
FACT_GAP = 8.0
"""Columns of the lines of text, and room between two rows of them [drawing units]"""

LEAST_WIDE, MOST_WIDE = 600, 2400
"""Of the picture: smaller letters cannot be read, a larger one fits no sheet [pixels]"""


class _Drawing(NamedTuple):
    """A composed picture: what is in it, its height [drawing units], and it in words."""

    shapes: Sequence[Shape]
    height: float
    told: str


def picture_png(
    surface: Surface,
    *,
    title: str,
    facts: Mapping[str, str],
    pitch_mm: float,
    units: Units = "mm",
    width: int = 1200,
) -> bytes:
    """Return the part, the close-up and the section in one picture, as PNG.

    Args:
        surface: The height map.
        title: The picture's first line.
        facts: Lines of text below: names and their values.
        pitch_mm: Distance of two teeth round the work [mm]
        units: The job's units.
        width: Of the picture; its height follows [pixels]

    Raises:
        InputError: if the map cannot be shown.
    """
    require("width", width, LEAST_WIDE, MOST_WIDE, "pixels")
    drawing = _composed(surface, title, facts, pitch_mm, units)
    scale = width / WIDE
    return png_bytes(painted(drawing.shapes, width, round(drawing.height * scale), scale))


def picture_svg(
    surface: Surface,
    *,
    title: str,
    facts: Mapping[str, str],
    pitch_mm: float,
    units: Units = "mm",
) -> str:
    """Return the part, the close-up and the section in one picture, as SVG.

    Args:
        surface: The height map.
        title: The picture's first line.
        facts: Lines of text below: names and their values.
        pitch_mm: Distance of two teeth round the work [mm]
        units: The job's units.

    Raises:
        InputError: if the map cannot be shown.
    """
    drawing = _composed(surface, title, facts, pitch_mm, units)
    size = {"width": svg_number(WIDE), "height": svg_number(drawing.height)}
    paper = Area("paper", box(0.0, 0.0, WIDE, drawing.height), PAPER)
    extra = {"xmlns": "http://www.w3.org/2000/svg", **size}
    return svg_text([paper, *drawing.shapes], WIDE, drawing.height, title, drawing.told, extra)


def _composed(
    surface: Surface, title: str, facts: Mapping[str, str], pitch_mm: float, units: Units
) -> _Drawing:
    """Lay the picture out from the top; each piece says where the next may begin."""
    z = crest_z_mm(surface)
    cut = section(surface, z, teeth_mm=_of_pitches(surface, pitch_mm, SECTION_TEETH))
    shapes: list[Shape] = []
    y = EDGE
    for line in wrapped(title, HEADING, WIDE - 2 * EDGE, most_lines=2):
        shapes.append(Text("heading", EDGE, y + HEADING, line, HEADING))
        y += HEADING_STEP
    y += LINE_STEP * 2.2
    shapes += _part_panel(surface, y, units)
    shapes += _glass_panel(surface, y, z, pitch_mm, units)
    y += PANEL + BAR_DOWN + 1.4 * LINE_STEP
    heading = f"Section A-A through the teeth at Z {show(cut.z_mm, Kind.LENGTH, units)}, unrolled"
    shapes.append(Text("panel-title", EDGE, y + TEXT, heading, TEXT))
    teeth = _teeth(cut, y + LINE_STEP, WIDE)
    shapes += _section_shapes(teeth, units)
    y = teeth.foot + 3.2 * LINE_STEP
    below = list(_fact_lines(facts, y))
    y = max((shape.y for shape in below), default=y - LINE_STEP) + 1.5 * LINE_STEP
    caution = Text("caution", EDGE, y, CAUTION, TEXT)
    told = " ".join((*(f"{k}: {v}." for k, v in facts.items()), _section_told(teeth, units)))
    return _Drawing([*shapes, *below, caution], y + EDGE, f"{told} {CAUTION}")


def _part_panel(surface: Surface, top: float, units: Units) -> Iterator[Shape]:
    """Yield the part under the lamp, its title above and its scale bar below."""
    width = WIDE - 3 * EDGE - PANEL
    foot, scale = top + PANEL, part_scale(surface, round(width), round(PANEL))

    def draw(wide: int, high: int) -> Image.Image:
        return part_image(surface, width=wide, height=high)

    yield Text("panel-title", EDGE, top - TITLE_UP, "Under the lamp, chuck on the left", TEXT)
    yield Raster("part", EDGE, top, width, PANEL, draw)
    yield from scale_bar(EDGE, foot + BAR_DOWN, scale, width, units)


def _glass_panel(
    surface: Surface, top: float, z_mm: float, pitch_mm: float, units: Units
) -> Iterator[Shape]:
    """Yield the close-up with the marks of the section, its title and its scale bar."""
    left, foot = WIDE - EDGE - PANEL, top + PANEL
    span = min(_of_pitches(surface, pitch_mm, GLASS_TEETH), surface.length_mm)
    span = max(span, FEWEST_GLASS_CELLS * max(surface.dz_mm, surface.cell_mm))
    centre = moved_onto(surface, z_mm, span)

    def draw(wide: int, high: int) -> Image.Image:
        return glass_image(surface, centre_z_mm=centre, span_mm=span, width=wide, height=high)

    yield Text("panel-title", left, top - TITLE_UP, "Under the glass, unrolled", TEXT)
    yield Raster("glass", left, top, PANEL, PANEL, draw)
    yield Line("frame", box(left, top, left + PANEL, foot))
    yield from scale_bar(left, foot + BAR_DOWN, PANEL / span, PANEL, units)
    x = left + PANEL / 2.0 + (z_mm - centre) * PANEL / span
    yield Line("cut", [(x, top - MARK), (x, top + MARK)])
    yield Line("cut", [(x, foot - MARK), (x, foot + MARK)])
    yield Text("cut-text", x + 8, top - 6, "A", TEXT)
    yield Text("cut-text", x + 8, foot + MARK, "A", TEXT)


def _fact_lines(facts: Mapping[str, str], top: float) -> Iterator[Text]:
    """Yield names and values in columns, filled line by line."""
    step = (WIDE - 2 * EDGE) / FACT_COLUMNS
    y, taken = top, 1
    for number, (name, value) in enumerate(facts.items()):
        column = number % FACT_COLUMNS
        if column == 0 and number:
            y, taken = y + taken * LINE_STEP + FACT_GAP, 1
        lines = wrapped(f"{name}: {value}", TEXT, step - EDGE, most_lines=2)
        taken = max(taken, len(lines))
        for down, line in enumerate(lines):
            yield Text("fact", EDGE + column * step, y + down * LINE_STEP, line, TEXT)
