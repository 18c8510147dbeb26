"""A knurl in a picture: part, close-up, section and window of good blanks composed."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import NotRequired, TypedDict, Unpack

from PIL import Image

from knurlcam.drawing.axes import LINE_STEP, TEXT, scale_bar
from knurlcam.drawing.lettering import wrapped
from knurlcam.drawing.png import painted, png_bytes
from knurlcam.drawing.shapes import (
    FRAME,
    PAPER,
    Area,
    Drawing,
    Line,
    Raster,
    Shape,
    Text,
    box,
)
from knurlcam.drawing.svg import svg_number, svg_text
from knurlcam.imprint.pictures.close_up import (
    FEWEST_CLOSE_UP_CELLS,
    close_up_image,
    moved_onto,
)
from knurlcam.imprint.pictures.cut import crest_z_mm, section
from knurlcam.imprint.pictures.look import CAUTION, CUT, EDGE
from knurlcam.imprint.pictures.part import part_image, part_scale
from knurlcam.imprint.pictures.section import (
    SECTION_TEETH,
    of_pitches,
    section_described,
    section_shapes,
    teeth_of,
)
from knurlcam.imprint.pictures.window_plot import (
    PLOT_FOOT,
    plot_of,
    window_described,
    window_shapes,
)
from knurlcam.imprint.surface import Surface
from knurlcam.imprint.window import Window
from knurlcam.units.kinds import Kind, Units
from knurlcam.units.show import show

__all__ = [
    "CLOSE_UP_PITCHES",
    "MADE_BY",
    "Shown",
    "close_up_span_mm",
    "picture_png",
    "picture_svg",
]


MADE_BY = "knurlcam imprint"
"""Maker, written at the beginning of a picture's file: only such a file is written over."""

WIDE = 1200
"""Width of the picture [drawing units, which are pixels of a PNG]: for a screen, and for a sheet
on which all letters can be read."""

PANEL = 440.0
"""Height of the upper row, and width of the close-up [drawing units]"""

HEADING, HEADING_STEP = 26.0, 34.0
"""Height of the title's letters, and distance of its lines [drawing units]"""

MARK = 18.0
"""Length of a mark of the section, outside and inside the close-up [drawing units]"""

TITLE_UP, BAR_DOWN = 28.0, 38.0
"""Distance of a title above and of a bar below a picture, clear of the marks [drawing units]"""

CLOSE_UP_PITCHES = 8.0
"""Pitches across the close-up [-]: single prints are seen, and that they repeat."""

FACT_COLUMNS = 2
"""Columns of the lines of text at the foot [-]"""

FACT_GAP = 8.0
"""Room between two rows of them [drawing units]"""


class Shown(TypedDict):
    """What a composed picture shows beside the map.

    Attributes:
        title: The picture's first line.
        facts: Lines of text below: names and their values.
        pitch_mm: Distance of two teeth round the work [mm]
        units: The job's units; millimetres unless given.
        window: On which blanks the knurl is clean; left out unless given.
        at_mm: Diameter of the blank that is shown, to be marked in the window; None where it
            is the planned one [mm]
    """

    title: str
    facts: Mapping[str, str]
    pitch_mm: float
    units: NotRequired[Units]
    window: NotRequired[Window | None]
    at_mm: NotRequired[float | None]


def picture_png(surface: Surface, **shown: Unpack[Shown]) -> bytes:
    """Return the part, the close-up and the section in one picture, as PNG.

    Args:
        surface: The height map.
        **shown: What is shown beside it, see :class:`Shown`.

    Returns:
        The file, which names its maker at its beginning.

    Raises:
        InputError: if the map or the window cannot be shown.
    """
    return png_bytes(painted(_composed(surface, **shown)), made_by=MADE_BY)


def picture_svg(surface: Surface, **shown: Unpack[Shown]) -> str:
    """Return the part, the close-up and the section in one picture, as SVG.

    Args:
        surface: The height map.
        **shown: What is shown beside it, see :class:`Shown`.

    Returns:
        The file, which names its maker at its beginning.

    Raises:
        InputError: if the map or the window cannot be shown.
    """
    drawing = _composed(surface, **shown)
    paper = Area("paper", box(0.0, 0.0, WIDE, drawing.height), PAPER)
    extra = {
        "xmlns": "http://www.w3.org/2000/svg",
        "data-made-by": MADE_BY,
        "width": svg_number(WIDE),
        "height": svg_number(drawing.height),
    }
    return svg_text(drawing._replace(shapes=[paper, *drawing.shapes]), extra)


def _composed(
    surface: Surface,
    *,
    title: str,
    facts: Mapping[str, str],
    pitch_mm: float,
    units: Units = "mm",
    window: Window | None = None,
    at_mm: float | None = None,
) -> Drawing:
    """Lay the picture out from the top; each piece says where the next may begin."""
    # The section and the close-up show one place, and the marks say which.
    z = crest_z_mm(surface)
    cut = section(surface, z, teeth_mm=of_pitches(surface, pitch_mm, SECTION_TEETH))
    shapes: list[Shape] = list(_heading_lines(title, EDGE))
    y = EDGE + len(shapes) * HEADING_STEP + LINE_STEP * 2.2
    shapes += _part_panel(surface, y, units)
    shapes += _close_up_panel(surface, y, z, pitch_mm, units)
    y += PANEL + BAR_DOWN + 1.4 * LINE_STEP
    heading = f"Section A-A through the teeth at Z {show(cut.z_mm, Kind.LENGTH, units)}, unrolled"
    shapes.append(Text("panel-title", EDGE, y + TEXT, heading, TEXT))
    teeth = teeth_of(cut, y + LINE_STEP, WIDE)
    shapes += section_shapes(teeth, units)
    words = [section_described(teeth, units)]
    y = teeth.foot + 2.2 * LINE_STEP
    if window is not None:
        plot = plot_of(window, y, WIDE, units, at_mm)
        shapes += window_shapes(plot, EDGE)
        words.append(window_described(plot))
        y = plot.foot + PLOT_FOOT
    y += LINE_STEP
    below = list(_fact_lines(facts, y))
    y = max((shape.y for shape in below), default=y - LINE_STEP) + 1.5 * LINE_STEP
    caution = Text("caution", EDGE, y, CAUTION, TEXT)
    described = " ".join((*(f"{k}: {v}." for k, v in facts.items()), *words, CAUTION))
    return Drawing([*shapes, *below, caution], WIDE, math.ceil(y + EDGE), title, described)


def _heading_lines(title: str, top: float) -> Iterator[Text]:
    """Yield the title in as many lines as it needs."""
    for number, line in enumerate(wrapped(title, HEADING, WIDE - 2 * EDGE)):
        yield Text("heading", EDGE, top + number * HEADING_STEP + HEADING, line, HEADING)


def _part_panel(surface: Surface, top: float, units: Units) -> Iterator[Shape]:
    """Yield the part under the lamp, its title above and its scale bar below."""
    # True proportions: a slender bar leaves ground above and below, and is not stretched.
    width = WIDE - 3 * EDGE - PANEL
    foot, scale = top + PANEL, part_scale(surface, round(width), round(PANEL))

    def draw(wide: int, high: int) -> Image.Image:
        return part_image(surface, width=wide, height=high)

    yield Text("panel-title", EDGE, top - TITLE_UP, "Knurled part, chuck on the left", TEXT)
    yield Raster("part", EDGE, top, width, PANEL, draw)
    yield from scale_bar((EDGE, foot + BAR_DOWN), scale=scale, width=width, units=units)


def close_up_span_mm(surface: Surface, pitch_mm: float) -> float:
    """Return how much of the surface a square close-up shows.

    Args:
        surface: The height map.
        pitch_mm: Distance of two teeth round the work [mm]

    Returns:
        Length along the axis and round the work: some pitches, or as far as the map goes [mm]

    Raises:
        InputError: if the map cannot be shown, or the pitch is less than a cell.
    """
    span = min(of_pitches(surface, pitch_mm, CLOSE_UP_PITCHES), surface.length_mm)
    return max(span, FEWEST_CLOSE_UP_CELLS * max(surface.dz_mm, surface.cell_mm))


def _close_up_panel(
    surface: Surface, top: float, z_mm: float, pitch_mm: float, units: Units
) -> Iterator[Shape]:
    """Yield the close-up with the marks of the section, its title and its scale bar."""
    left, foot = WIDE - EDGE - PANEL, top + PANEL
    span = close_up_span_mm(surface, pitch_mm)
    centre = moved_onto(surface, z_mm, span)

    def draw(wide: int, high: int) -> Image.Image:
        return close_up_image(surface, centre_z_mm=centre, span_mm=span, width=wide, height=high)

    yield Text("panel-title", left, top - TITLE_UP, "Close-up, unrolled", TEXT)
    yield Raster("glass", left, top, PANEL, PANEL, draw)
    yield Line(FRAME, box(left, top, left + PANEL, foot))
    at = (left, foot + BAR_DOWN)
    yield from scale_bar(at, scale=PANEL / span, width=PANEL, units=units)
    # The close-up was moved onto the map: the cut need not be in its middle.
    x = left + PANEL / 2.0 + (z_mm - centre) * PANEL / span
    yield Line(CUT, [(x, top - MARK), (x, top + MARK)])
    yield Line(CUT, [(x, foot - MARK), (x, foot + MARK)])
    yield Text("cut-text", x + 8, top - 6, "A", TEXT)
    yield Text("cut-text", x + 8, foot + MARK, "A", TEXT)


def _fact_lines(facts: Mapping[str, str], top: float) -> Iterator[Text]:
    """Yield names and values in columns, filled line by line."""
    step = (WIDE - 2 * EDGE) / FACT_COLUMNS
    y, taken = top, 1
    for number, (name, value) in enumerate(facts.items()):
        column = number % FACT_COLUMNS
        # A row is as tall as its tallest cell, so that no text meets the next.
        if column == 0 and number:
            y, taken = y + taken * LINE_STEP + FACT_GAP, 1
        lines = wrapped(f"{name}: {value}", TEXT, step - EDGE)
        taken = max(taken, len(lines))
        for down, line in enumerate(lines):
            yield Text("fact", EDGE + column * step, y + down * LINE_STEP, line, TEXT)
