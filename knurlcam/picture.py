"""A knurl in a picture: its section, the window of good blanks, all with the part composed."""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise
from typing import Literal, NamedTuple, NotRequired, TypedDict, Unpack

import numpy as np
from PIL import Image

from knurlcam.blanks import CLEAN, Blank, Window
from knurlcam.drawing import (
    ARROW,
    BLACK,
    LINE_STEP,
    PAPER,
    TEXT,
    Area,
    Line,
    Point,
    Raster,
    Shape,
    Text,
    arrow_head,
    box,
    decimals_of,
    painted,
    png_bytes,
    round_up,
    scale_bar,
    simplified,
    svg_number,
    svg_text,
    text_width,
    wrapped,
)
from knurlcam.errors import InputError, require
from knurlcam.lamp import FEWEST_GLASS_CELLS, glass_image, moved_onto, part_image, part_scale
from knurlcam.measures import knurled_rows
from knurlcam.quantities import Kind, Units, parse_quantity, show, show_about, show_down
from knurlcam.surface import Floats, Heights, Surface, refuse_unfit, round_the_start

__all__ = [
    "CAUTION",
    "GLASS_PITCHES",
    "MADE_BY",
    "Section",
    "Shown",
    "crest_z_mm",
    "glass_span_mm",
    "picture_png",
    "picture_svg",
    "section",
    "section_svg",
    "window_svg",
]

CAUTION = "An estimate that was worked out, not a measurement of a part."
"""Stands in every picture: it looks like a photograph and is none."""

MADE_BY = "knurlcam imprint"
"""Stands at the beginning of a picture's file: ours may be written over, others' not."""


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

    Returns:
        One element, with a line's end after it.

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
    return min(most * pitch_mm, surface.around_mm)


def _section_told(teeth: _Teeth, units: Units) -> str:
    """Return what a section shows, in words."""
    tall = show_about(teeth.crest_mm - teeth.root_mm, Kind.LENGTH, units)
    place = show(teeth.cut.z_mm, Kind.LENGTH, units)
    above = show_about(max(teeth.crest_mm, 0.0), Kind.LENGTH, units)
    return f"At Z {place} the teeth are {tall} tall and stand {above} above the blank's surface."


# -- the window of good blanks ------------------------------------------------

PLOT_LEFT, PLOT_RIGHT, PLOT_TALL = 70.0, 170.0, 170.0
"""Beside the plot, for the figures of its axis and for the name of a line; and its height
[drawing units]"""

PLOT_ROWS = 4
"""Lines of text above it: what is drawn, the planned blank, the handbook's and the limits; one
more where the first is too wide. Inside the plot a text would meet the curve."""

PLOT_GAP, HEADING_GAP = 12.0, 8.0
"""Between the plot and the lowest of these, and below the first of them besides
[drawing units]"""

PLOT_FOOT = 66.0
"""Below it, for the figures of its axis and the name [drawing units]"""

BEYOND = 0.06
"""The plot goes so far beyond 0 and 1, so that the curve does not run on its frame."""

MOST_TICKS = 8
"""Steps along an axis: their figures stand apart in inch as well."""

DOUBLE_STEP = 0.2
"""Between two figures of the double impression."""

JUMP = 0.5
"""The double impression jumps where the rolls change tracks: drawn upright if it changes by
so much between two diameters that were looked at, and as a slope if by less."""

CLEAN_RANGE = "#D5EDE5"
"""Green mixed with much white: lines and letters stand out on it."""

WINDOW_TITLE = "Window of good blanks"
"""What a window is called, where it stands and for those who cannot see it."""

IF_FOUND = "if the rolls find their track again"
"""Said with it where rolls come back to the work: a window tells of the blank alone."""

POINTER_WIDE, POINTER_TALL = 14.0, 10.0
"""Of the mark of the blank that is shown: between the axis and its figures [drawing units]"""


class _Plot(NamedTuple):
    """Where a window is drawn, under the lines that say what is drawn."""

    window: Window
    heading: Sequence[str]
    left: float
    top: float
    right: float
    units: Units
    at_mm: float | None

    @property
    def foot(self) -> float:
        return self.top + PLOT_TALL

    @property
    def beyond(self) -> bool:
        """Whether the blank that is shown has no place on the axis."""
        return self.at_mm is not None and not self.low_mm <= self.at_mm <= self.high_mm

    @property
    def low_mm(self) -> float:
        return self.window.blanks[0].diameter_mm

    @property
    def high_mm(self) -> float:
        return self.window.blanks[-1].diameter_mm

    def along(self, diameter_mm: float) -> float:
        share = (diameter_mm - self.low_mm) / (self.high_mm - self.low_mm)
        return self.left + min(max(share, 0.0), 1.0) * (self.right - self.left)

    def up(self, double: float) -> float:
        return self.foot - (double + BEYOND) / (1.0 + 2.0 * BEYOND) * PLOT_TALL

    def row(self, number: int) -> float:
        """Return where the letters of a line of text above the plot stand."""
        heading = HEADING_GAP if number == 0 else 0.0
        return self.top - PLOT_GAP - LINE_STEP * (PLOT_ROWS - 1 - number) - heading


def window_svg(window: Window, *, units: Units = "mm", at_mm: float | None = None) -> str:
    """Return the double impression against the blank's diameter as an SVG for a page.

    It holds neither styles nor names (``id``), and takes a page's rules by class.

    Args:
        window: On which blanks the knurl is clean.
        units: The job's units.
        at_mm: Diameter of the blank that is shown, to be marked; None where it is the planned
            one [mm]

    Returns:
        One element, with a line's end after it.

    Raises:
        InputError: if the window holds fewer than two diameters, or *at_mm* is no diameter.
    """
    plot = _plot(window, 0.0, SECTION_WIDE, units, at_mm)
    shapes = _window_shapes(plot, 0.0)
    title = f"{_window_title(window)}: {_clean_told(window, units)}"
    told, height = f"{_window_told(plot)} {CAUTION}", plot.foot + PLOT_FOOT
    return svg_text(shapes, SECTION_WIDE, height, title, told, {"class": "window"})


def _window_title(window: Window) -> str:
    """Return what a window is called."""
    comes_back = window.comes_back
    return f"{WINDOW_TITLE}, {IF_FOUND}" if comes_back else WINDOW_TITLE


def _plot(window: Window, top: float, width: float, units: Units, at_mm: float | None) -> _Plot:
    """Return where a window stands in a drawing *width* wide, texts from *top* on."""
    if at_mm is not None:
        require("at_mm", at_mm, 0.0, sys.float_info.max, "mm")
    diameters = [blank.diameter_mm for blank in window.blanks]
    if len(diameters) < 2 or not all(a < b for a, b in pairwise(diameters)):
        raise InputError(
            "the window cannot be shown",
            key="window",
            value=f"{len(diameters)} diameters",
            expected="two or more, rising",
        )
    heading = _window_heading(window, width)
    rows = PLOT_ROWS - 1 + len(heading)
    first = top + rows * LINE_STEP + HEADING_GAP + PLOT_GAP
    return _Plot(window, heading, PLOT_LEFT, first, width - PLOT_RIGHT, units, at_mm)


def _window_heading(window: Window, width: float) -> list[str]:
    """Return what is drawn, in a line or in two where one were too wide."""
    title, drawn = f"{_window_title(window)}:", "double impression, 0 clean to 1 fully doubled"
    whole = f"{title} {drawn}"
    return [whole] if text_width(whole, TEXT) <= width - EDGE else [title, drawn]


def _window_shapes(plot: _Plot, edge: float) -> Iterator[Shape]:
    """Yield all of a window; its first line of text begins at *edge*."""
    for number, line in enumerate(plot.heading, 1 - len(plot.heading)):
        yield Text("panel-title", edge, plot.row(0) + number * LINE_STEP, line, TEXT)
    yield from _clean_range(plot)
    yield Line("frame", box(plot.left, plot.top, plot.right, plot.foot))
    yield from _diameter_axis(plot)
    yield from _double_axis(plot)
    for run in map(_upright, _curve(plot.window)):
        points = [(plot.along(diameter), plot.up(double)) for diameter, double in run]
        (x, y), last = points[0], points[-1]
        # One diameter alone is a dot.
        yield Line("window-curve", points if x < last[0] else [(x - 1.5, y), (x + 1.5, y)])
    yield from _untouched(plot)
    yield from _planned(plot)


class _Limit(NamedTuple):
    """An end of the clean diameters.

    Attributes:
        at_mm: The diameter [mm]
        side: -1 below the planned one, 1 above it.
        open: Whether it is clean to where looking ended, and farther for all that is known.
        off: How far from the planned one, rounded towards it, with its unit.
    """

    at_mm: float
    side: float
    open: bool
    off: str

    @property
    def label(self) -> str:
        sign = "-" if self.side < 0 else "+"
        return f"{'at least ' if self.open else ''}{sign}{self.off.split()[0]}"

    @property
    def told(self) -> str:
        way = "below" if self.side < 0 else "above"
        return f"{'at least ' if self.open else ''}{self.off} {way}"


def _limits(window: Window, units: Units) -> tuple[_Limit, ...]:
    """Return both ends of the clean diameters; none where the planned one is not clean."""
    low, high, planned = window.from_mm, window.to_mm, window.planned_mm
    if low is None or high is None:
        return ()
    first, last = window.blanks[0].diameter_mm, window.blanks[-1].diameter_mm
    return (
        _Limit(low, -1.0, low <= first, show_down(planned - low, units)),
        _Limit(high, 1.0, high >= last, show_down(high - planned, units)),
    )


def _clean_range(plot: _Plot) -> Iterator[Shape]:
    """Yield the clean diameters about the planned one, with their limits."""
    limits = _limits(plot.window, plot.units)
    if not limits:
        return
    low, high = (plot.along(limit.at_mm) for limit in limits)
    yield Area("window-range", box(low, plot.top, high, plot.foot), CLEAN_RANGE)
    for limit in limits:
        x, y = plot.along(limit.at_mm), plot.row(3)
        # Beyond the end of the plot there is no room.
        outwards = limit.side * (-1.0 if limit.open else 1.0)
        if not limit.open:
            yield Line("window-limit", [(x, y - TEXT), (x, plot.foot)])
        yield _beside(x, y, outwards, limit.label)


def _beside(x: float, y: float, side: float, text: str) -> Text:
    """Return a text to the left (-1) or right (1) of an upright line."""
    return Text("window-text", x + side * 8, y, text, TEXT, "start" if side > 0 else "end")


def _diameter_axis(plot: _Plot) -> Iterator[Shape]:
    """Yield round diameters below the plot, and what they are."""
    unit_mm = parse_quantity(1.0, Kind.LENGTH, plot.units)
    low, high = plot.low_mm / unit_mm, plot.high_mm / unit_mm
    step = round_up((high - low) / MOST_TICKS)
    for number in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1):
        x, said = plot.along(number * step * unit_mm), f"{number * step:.{decimals_of(step)}f}"
        yield Line("frame", [(x, plot.foot), (x, plot.foot + 6)])
        yield Text("window-text", x, plot.foot + 24, said, TEXT, "middle")
    yield from _diameter_words(plot)


def _diameter_words(plot: _Plot) -> Iterator[Shape]:
    """Yield what the axis bears, and the blank that is shown with its mark."""
    middle, y = (plot.left + plot.right) / 2.0, plot.foot + 50
    said = f"blank diameter [{show(1.0, Kind.LENGTH, plot.units).split()[1]}]"
    if plot.at_mm is None:
        yield Text("window-text", middle, y, said, TEXT, "middle")
        return
    blank = f"this blank {show(plot.at_mm, Kind.LENGTH, plot.units).split()[0]}"
    if plot.beyond:
        side = "right" if plot.at_mm > plot.high_mm else "left"
        said = f"{said}; {blank}, beyond the {side} end"
        yield Text("window-text", middle, y, said, TEXT, "middle")
        return
    yield Text("window-text", middle - POINTER_WIDE, y, f"{said};", TEXT, "end")
    yield _pointer(middle, y - POINTER_TALL)
    yield Text("window-text", middle + POINTER_WIDE, y, blank, TEXT)
    yield _pointer(plot.along(plot.at_mm), plot.foot)


def _pointer(x: float, y: float) -> Area:
    """Return the mark of the blank that is shown, its tip up at (x, y)."""
    foot, half = y + POINTER_TALL, POINTER_WIDE / 2.0
    return Area("window-here", [(x, y), (x - half, foot), (x + half, foot)], BLACK)


def _double_axis(plot: _Plot) -> Iterator[Shape]:
    """Yield figures of the double impression, and below which it is clean."""
    for number in range(round(1.0 / DOUBLE_STEP) + 1):
        y, said = plot.up(number * DOUBLE_STEP), f"{number * DOUBLE_STEP:.1f}"
        yield Line("frame", [(plot.left - 6, y), (plot.left, y)])
        yield Text("window-text", plot.left - 11, y + TEXT / 3, said, TEXT, "end")
    y = plot.up(CLEAN)
    yield Line("window-clean", [(plot.left, y), (plot.right, y)])
    yield _beside(plot.right, y + TEXT / 3, 1.0, f"clean below {CLEAN:g}")


def _planned(plot: _Plot) -> Iterator[Shape]:
    """Yield the planned diameter and how far the handbook lets the blank be off it."""
    window = plot.window
    x, y = plot.along(window.planned_mm), plot.row(1)
    said = f"planned {show(window.planned_mm, Kind.LENGTH, plot.units)}"
    yield Line("window-planned", [(x, y + 5), (x, plot.foot)])
    yield Text("window-text", x, y, said, TEXT, "middle")
    ends = [plot.along(window.planned_mm + side * window.handbook_mm) for side in (-1.0, 1.0)]
    y = plot.row(2) - TEXT / 3
    yield Line("window-handbook", [(ends[0], y), (ends[1], y)])
    for end in ends:
        yield Line("frame", [(end, y - 7), (end, y + 7)])
    said = f"handbook ± {show_down(window.handbook_mm, plot.units).split()[0]}"
    yield _beside(ends[1], plot.row(2), 1.0, said)
    if window.from_mm is None:
        yield _beside(x, plot.row(3), 1.0, "not even the planned blank is clean")


def _curve(window: Window) -> list[list[Point]]:
    """Return diameters [mm] and double impression in stretches on which the rolls touch."""
    stretches: list[list[Point]] = [[]]
    for blank in _with_edges(window):
        if blank.double_impression is not None:
            stretches[-1].append((blank.diameter_mm, blank.double_impression))
        elif stretches[-1]:
            stretches.append([])
    return [stretch for stretch in stretches if stretch]


def _upright(run: Sequence[Point]) -> list[Point]:
    """Return a stretch of the curve; where it jumps it does so amid the two diameters."""
    points = [run[0]]
    for (before, low), (after, high) in pairwise(run):
        if abs(high - low) >= JUMP and after > before:
            middle = (before + after) / 2.0
            points += [(middle, low), (middle, high)]
        points.append((after, high))
    return points


def _with_edges(window: Window) -> list[Blank]:
    """Return the blanks of a window, and those at its edges with them."""
    blanks = list(window.blanks)
    if window.from_mm is None or window.to_mm is None:
        return blanks
    below = [blank for blank in blanks if blank.diameter_mm < window.from_mm]
    above = [blank for blank in blanks if blank.diameter_mm > window.to_mm]
    inside = blanks[len(below) : len(blanks) - len(above)]
    if not inside:
        return blanks
    low = _edge(window.from_mm, inside[0], below[-1]) if below else []
    high = _edge(window.to_mm, inside[-1], above[0]) if above else []
    return [*below, *reversed(low), *inside, *high, *above]


def _edge(at_mm: float, inside: Blank, outside: Blank) -> list[Blank]:
    """Return what the curve goes through at an edge, from the inside out."""
    good, bad = inside.double_impression or 0.0, outside.double_impression
    if bad is not None and bad - good < JUMP:
        return [Blank(at_mm, CLEAN)]
    return [Blank(at_mm, good), Blank(at_mm, bad)]


UNTOUCHED = "not touched"
"""Stands where the curve has a gap, which is no clean knurl."""


def _untouched(plot: _Plot) -> Iterator[Text]:
    """Yield a word where the rolls do not touch the blank, if it has room."""
    for touched, blanks in groupby(
        plot.window.blanks, key=lambda blank: blank.double_impression is not None
    ):
        if touched:
            continue
        ends = [plot.along(blank.diameter_mm) for blank in blanks]
        left, right = ends[0], ends[-1]
        if right - left >= text_width(UNTOUCHED, TEXT):
            y = plot.up(0.5) + TEXT / 3
            yield Text("window-text", (left + right) / 2.0, y, UNTOUCHED, TEXT, "middle")


def _clean_told(window: Window, units: Units) -> str:
    """Return which blanks are clean, in words."""
    planned = show(window.planned_mm, Kind.LENGTH, units)
    limits = _limits(window, units)
    if not limits:
        return f"not even the planned blank of {planned} is clean"
    return f"clean from {limits[0].told} to {limits[1].told} the planned {planned}"


def _window_told(plot: _Plot) -> str:
    """Return what a window shows, in words."""
    window, units = plot.window, plot.units
    said = [
        f"Knurl against the blank's diameter: {_clean_told(window, units)}.",
        f"The handbook allows ± {show_down(window.handbook_mm, units)}.",
        f"A double impression below {CLEAN:g} counts as clean, 1 is fully doubled.",
    ]
    if any(blank.double_impression is None for blank in window.blanks):
        said.append("Some blanks are not touched by the rolls.")
    if plot.at_mm is not None:
        way = "lies beyond the plot" if plot.beyond else "is marked"
        said.append(f"This blank of {show(plot.at_mm, Kind.LENGTH, units)} {way}.")
    return " ".join(said)


# -- the composed picture -----------------------------------------------------

WIDE = 1200
EDGE = 24.0
PANEL = 440.0
"""Width of the picture, its margin, and the height of the upper row: for a screen, and for
a sheet, on which all letters can be read [drawing units, which are pixels of a PNG]"""

HEADING = 26.0
HEADING_STEP = 34.0
"""Of the title [drawing units]"""

MARK = 18.0
"""Length of a mark of the section, outside and inside the close-up [drawing units]"""

TITLE_UP, BAR_DOWN = 28.0, 38.0
"""Above and below a picture, clear of the marks: its title and its bar [drawing units]"""

GLASS_PITCHES = 8.0
"""Pitches across the close-up: single prints are seen, and that they come again."""

FACT_COLUMNS = 2
FACT_GAP = 8.0
"""Columns of the lines of text, and room between two rows of them [drawing units]"""


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


class _Drawing(NamedTuple):
    """A composed picture: what is in it, its height [drawing units], and it in words."""

    shapes: Sequence[Shape]
    height: int
    told: str


def picture_png(surface: Surface, **shown: Unpack[Shown]) -> bytes:
    """Return the part, the close-up and the section in one picture, as PNG.

    Args:
        surface: The height map.
        **shown: What is shown beside it, see :class:`Shown`.

    Returns:
        The file, which says at its beginning that it is ours.

    Raises:
        InputError: if the map or the window cannot be shown.
    """
    drawing = _composed(surface, **shown)
    return png_bytes(painted(drawing.shapes, WIDE, drawing.height), made_by=MADE_BY)


def picture_svg(surface: Surface, **shown: Unpack[Shown]) -> str:
    """Return the part, the close-up and the section in one picture, as SVG.

    Args:
        surface: The height map.
        **shown: What is shown beside it, see :class:`Shown`.

    Returns:
        The file, which says at its beginning that it is ours.

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
    shapes, title = [paper, *drawing.shapes], shown["title"]
    return svg_text(shapes, WIDE, drawing.height, title, drawing.told, extra)


def _composed(
    surface: Surface,
    *,
    title: str,
    facts: Mapping[str, str],
    pitch_mm: float,
    units: Units = "mm",
    window: Window | None = None,
    at_mm: float | None = None,
) -> _Drawing:
    """Lay the picture out from the top; each piece says where the next may begin."""
    z = crest_z_mm(surface)
    cut = section(surface, z, teeth_mm=_of_pitches(surface, pitch_mm, SECTION_TEETH))
    shapes: list[Shape] = list(_heading_lines(title, EDGE))
    y = EDGE + len(shapes) * HEADING_STEP + LINE_STEP * 2.2
    shapes += _part_panel(surface, y, units)
    shapes += _glass_panel(surface, y, z, pitch_mm, units)
    y += PANEL + BAR_DOWN + 1.4 * LINE_STEP
    heading = f"Section A-A through the teeth at Z {show(cut.z_mm, Kind.LENGTH, units)}, unrolled"
    shapes.append(Text("panel-title", EDGE, y + TEXT, heading, TEXT))
    teeth = _teeth(cut, y + LINE_STEP, WIDE)
    shapes += _section_shapes(teeth, units)
    words = [_section_told(teeth, units)]
    y = teeth.foot + 2.2 * LINE_STEP
    if window is not None:
        plot = _plot(window, y, WIDE, units, at_mm)
        shapes += _window_shapes(plot, EDGE)
        words.append(_window_told(plot))
        y = plot.foot + PLOT_FOOT
    y += LINE_STEP
    below = list(_fact_lines(facts, y))
    y = max((shape.y for shape in below), default=y - LINE_STEP) + 1.5 * LINE_STEP
    caution = Text("caution", EDGE, y, CAUTION, TEXT)
    told = " ".join((*(f"{k}: {v}." for k, v in facts.items()), *words, CAUTION))
    return _Drawing([*shapes, *below, caution], math.ceil(y + EDGE), told)


def _heading_lines(title: str, top: float) -> Iterator[Text]:
    """Yield the title in as many lines as it needs."""
    for number, line in enumerate(wrapped(title, HEADING, WIDE - 2 * EDGE)):
        yield Text("heading", EDGE, top + number * HEADING_STEP + HEADING, line, HEADING)


def _part_panel(surface: Surface, top: float, units: Units) -> Iterator[Shape]:
    """Yield the part under the lamp, its title above and its scale bar below."""
    width = WIDE - 3 * EDGE - PANEL
    foot, scale = top + PANEL, part_scale(surface, round(width), round(PANEL))

    def draw(wide: int, high: int) -> Image.Image:
        return part_image(surface, width=wide, height=high)

    yield Text("panel-title", EDGE, top - TITLE_UP, "Under the lamp, chuck on the left", TEXT)
    yield Raster("part", EDGE, top, width, PANEL, draw)
    yield from scale_bar(EDGE, foot + BAR_DOWN, scale, width, units)


def glass_span_mm(surface: Surface, pitch_mm: float) -> float:
    """Return how much of the surface a square close-up shows.

    Args:
        surface: The height map.
        pitch_mm: Distance of two teeth round the work [mm]

    Returns:
        Length along the axis and round the work: some pitches, or as far as the map goes [mm]

    Raises:
        InputError: if the map cannot be shown, or the pitch is less than a cell.
    """
    span = min(_of_pitches(surface, pitch_mm, GLASS_PITCHES), surface.length_mm)
    return max(span, FEWEST_GLASS_CELLS * max(surface.dz_mm, surface.cell_mm))


def _glass_panel(
    surface: Surface, top: float, z_mm: float, pitch_mm: float, units: Units
) -> Iterator[Shape]:
    """Yield the close-up with the marks of the section, its title and its scale bar."""
    left, foot = WIDE - EDGE - PANEL, top + PANEL
    span = glass_span_mm(surface, pitch_mm)
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
        lines = wrapped(f"{name}: {value}", TEXT, step - EDGE)
        taken = max(taken, len(lines))
        for down, line in enumerate(lines):
            yield Text("fact", EDGE + column * step, y + down * LINE_STEP, line, TEXT)
