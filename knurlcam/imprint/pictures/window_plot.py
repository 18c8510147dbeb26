"""The plot of the window of good blanks."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from itertools import groupby, pairwise
from typing import NamedTuple

from knurlcam.drawing.axes import LINE_STEP, TEXT, length_ticks, ticks
from knurlcam.drawing.lettering import text_width
from knurlcam.drawing.shapes import BLACK, FRAME, Area, Drawing, Line, Point, Shape, Text, box
from knurlcam.drawing.svg import svg_text
from knurlcam.errors import InputError, require
from knurlcam.imprint.pictures.look import (
    CAUTION,
    EDGE,
    INLINE_WIDE,
    WINDOW_CLEAN,
    WINDOW_CURVE,
    WINDOW_HANDBOOK,
    WINDOW_LIMIT,
    WINDOW_PLANNED,
)
from knurlcam.imprint.window import CLEAN, Blank, Window
from knurlcam.units.kinds import Kind, Units
from knurlcam.units.show import show, show_down

__all__ = ["PLOT_FOOT", "Plot", "plot_of", "window_described", "window_shapes", "window_svg"]

PLOT_LEFT, PLOT_RIGHT = 70.0, 170.0
"""Room beside the plot for the figures of its axis, and for the name of a line [drawing units]"""

PLOT_TALL = 170.0
"""Height of the plot [drawing units]"""

PLOT_ROWS = 4
"""Lines of text above the plot [-]: what is drawn, the planned blank, the handbook's and the
limits; one more where the first is too wide. Inside the plot a text would meet the curve."""

PLOT_GAP, HEADING_GAP = 12.0, 8.0
"""Room between the plot and the lowest of these, and more below the first [drawing units]"""

PLOT_FOOT = 66.0
"""Room below the plot for the figures of its axis and the name [drawing units]"""

BEYOND = 0.06
"""How far the plot goes beyond 0 and 1 [-], so that the curve does not run on its frame."""

MOST_TICKS = 8
"""Steps along the axis of diameters, at most [-]: their figures stand apart in inch as well."""

DOUBLE_STEPS = 5
"""Steps along the axis of the double impression [-]"""

JUMP = 0.5
"""Change of the double impression between two calculated diameters from which it is drawn upright,
as a jump [-]: it jumps where the rolls change tracks. A lesser one is drawn as a slope."""

CLEAN_RANGE = "#D5EDE5"
"""Colour of the clean diameters: green with much white, for lines and letters to stand out on."""

WINDOW_TITLE = "Window of good blanks"
"""Title of the plot, in the picture and for those who cannot see it."""

IF_FOUND = "if the rolls find their track again"
"""Added to it where rolls come back to the work: a window is about the blank alone."""

POINTER_WIDE, POINTER_TALL = 14.0, 10.0
"""Size of the mark of the blank that is shown, between the axis and its figures [drawing units]"""


class Plot(NamedTuple):
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
        """Where the plot ends below [drawing units]."""
        return self.top + PLOT_TALL

    @property
    def beyond(self) -> bool:
        """Whether the blank that is shown has no place on the axis."""
        return self.at_mm is not None and not self.low_mm <= self.at_mm <= self.high_mm

    @property
    def low_mm(self) -> float:
        """Smallest diameter that is looked at [mm]."""
        return self.window.blanks[0].diameter_mm

    @property
    def high_mm(self) -> float:
        """Largest diameter that is looked at [mm]."""
        return self.window.blanks[-1].diameter_mm

    def along(self, diameter_mm: float) -> float:
        """Return where a diameter stands [drawing units]."""
        share = (diameter_mm - self.low_mm) / (self.high_mm - self.low_mm)
        return self.left + min(max(share, 0.0), 1.0) * (self.right - self.left)

    def up(self, double: float) -> float:
        """Return where a double impression stands [drawing units]."""
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
    plot = plot_of(window, 0.0, INLINE_WIDE, units, at_mm)
    drawing = Drawing(
        shapes=list(window_shapes(plot, 0.0)),
        width=INLINE_WIDE,
        height=plot.foot + PLOT_FOOT,
        title=f"{_window_title(window)}: {_clean_described(window, units)}",
        description=f"{window_described(plot)} {CAUTION}",
    )
    return svg_text(drawing, {"class": "window"})


def _window_title(window: Window) -> str:
    """Return what a window is called."""
    comes_back = window.comes_back
    return f"{WINDOW_TITLE}, {IF_FOUND}" if comes_back else WINDOW_TITLE


def plot_of(window: Window, top: float, width: float, units: Units, at_mm: float | None) -> Plot:
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
    return Plot(window, heading, PLOT_LEFT, first, width - PLOT_RIGHT, units, at_mm)


def _window_heading(window: Window, width: float) -> list[str]:
    """Return what is drawn, in a line or in two where one were too wide."""
    title, drawn = f"{_window_title(window)}:", "double impression, 0 clean to 1 fully doubled"
    whole = f"{title} {drawn}"
    return [whole] if text_width(whole, TEXT) <= width - EDGE else [title, drawn]


def window_shapes(plot: Plot, edge: float) -> Iterator[Shape]:
    """Yield all of a window; its first line of text begins at *edge*."""
    for number, line in enumerate(plot.heading, 1 - len(plot.heading)):
        yield Text("panel-title", edge, plot.row(0) + number * LINE_STEP, line, TEXT)
    # Areas first: lines and letters lie on them.
    yield from _clean_range(plot)
    yield Line(FRAME, box(plot.left, plot.top, plot.right, plot.foot))
    yield from _diameter_axis(plot)
    yield from _double_axis(plot)
    for run in map(_upright, _curve(plot.window)):
        points = [(plot.along(diameter), plot.up(double)) for diameter, double in run]
        (x, y), last = points[0], points[-1]
        # One diameter alone is a dot.
        yield Line(WINDOW_CURVE, points if x < last[0] else [(x - 1.5, y), (x + 1.5, y)])
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
    def described(self) -> str:
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


def _clean_range(plot: Plot) -> Iterator[Shape]:
    """Yield the clean diameters about the planned one, with their limits."""
    limits = _limits(plot.window, plot.units)
    if not limits:
        return
    low, high = (plot.along(limit.at_mm) for limit in limits)
    yield Area("window-range", box(low, plot.top, high, plot.foot), CLEAN_RANGE)
    for limit in limits:
        x, y = plot.along(limit.at_mm), plot.row(3)
        # Beyond the end of the plot there is no room.
        # A limit at the end of the plot is open: its label stands inside.
        outwards = limit.side * (-1.0 if limit.open else 1.0)
        if not limit.open:
            yield Line(WINDOW_LIMIT, [(x, y - TEXT), (x, plot.foot)])
        yield _beside(x, y, outwards, limit.label)


def _beside(x: float, y: float, side: float, text: str) -> Text:
    """Return a text to the left (-1) or right (1) of an upright line."""
    return Text("window-text", x + side * 8, y, text, TEXT, "start" if side > 0 else "end")


def _diameter_axis(plot: Plot) -> Iterator[Shape]:
    """Yield round diameters below the plot, and what they are."""
    for tick in length_ticks(plot.low_mm, plot.high_mm, MOST_TICKS, plot.units):
        x = plot.along(tick.value)
        yield Line(FRAME, [(x, plot.foot), (x, plot.foot + 6)])
        yield Text("window-text", x, plot.foot + 24, tick.text, TEXT, "middle")
    yield from _diameter_words(plot)


def _diameter_words(plot: Plot) -> Iterator[Shape]:
    """Yield what the axis bears, and the blank that is shown with its mark."""
    # A blank beyond the plot is said in words: a mark at its edge would be wrong.
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


def _double_axis(plot: Plot) -> Iterator[Shape]:
    """Yield figures of the double impression, and below which it is clean."""
    for tick in ticks(0.0, 1.0, DOUBLE_STEPS):
        y = plot.up(tick.value)
        yield Line(FRAME, [(plot.left - 6, y), (plot.left, y)])
        yield Text("window-text", plot.left - 11, y + TEXT / 3, tick.text, TEXT, "end")
    y = plot.up(CLEAN)
    yield Line(WINDOW_CLEAN, [(plot.left, y), (plot.right, y)])
    yield _beside(plot.right, y + TEXT / 3, 1.0, f"clean below {CLEAN:g}")


def _planned(plot: Plot) -> Iterator[Shape]:
    """Yield the planned diameter and how far the handbook lets the blank be off it."""
    window = plot.window
    x, y = plot.along(window.planned_mm), plot.row(1)
    said = f"planned {show(window.planned_mm, Kind.LENGTH, plot.units)}"
    yield Line(WINDOW_PLANNED, [(x, y + 5), (x, plot.foot)])
    yield Text("window-text", x, y, said, TEXT, "middle")
    ends = [plot.along(window.planned_mm + side * window.handbook_mm) for side in (-1.0, 1.0)]
    y = plot.row(2) - TEXT / 3
    yield Line(WINDOW_HANDBOOK, [(ends[0], y), (ends[1], y)])
    for end in ends:
        yield Line(FRAME, [(end, y - 7), (end, y + 7)])
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
"""Label where the curve has a gap, for that is not a clean knurl."""


def _untouched(plot: Plot) -> Iterator[Text]:
    """Yield a word where the rolls do not touch the blank, if it has room."""
    for touched, blanks in groupby(
        plot.window.blanks, key=lambda blank: blank.double_impression is not None
    ):
        if touched:
            continue
        ends = [plot.along(blank.diameter_mm) for blank in blanks]
        left, right = ends[0], ends[-1]
        # A narrow gap has no room for the word; the description says it.
        if right - left >= text_width(UNTOUCHED, TEXT):
            y = plot.up(0.5) + TEXT / 3
            yield Text("window-text", (left + right) / 2.0, y, UNTOUCHED, TEXT, "middle")


def _clean_described(window: Window, units: Units) -> str:
    """Return which blanks are clean, in words."""
    planned = show(window.planned_mm, Kind.LENGTH, units)
    limits = _limits(window, units)
    if not limits:
        return f"not even the planned blank of {planned} is clean"
    return f"clean from {limits[0].described} to {limits[1].described} the planned {planned}"


def window_described(plot: Plot) -> str:
    """Return what a window shows, in words."""
    window, units = plot.window, plot.units
    said = [
        f"Knurl against the blank's diameter: {_clean_described(window, units)}.",
        f"The handbook allows ± {show_down(window.handbook_mm, units)}.",
        f"A double impression below {CLEAN:g} counts as clean, 1 is fully doubled.",
    ]
    if any(blank.double_impression is None for blank in window.blanks):
        said.append("Some blanks are not touched by the rolls.")
    if plot.at_mm is not None:
        way = "lies beyond the plot" if plot.beyond else "is marked"
        said.append(f"This blank of {show(plot.at_mm, Kind.LENGTH, units)} {way}.")
    return " ".join(said)
