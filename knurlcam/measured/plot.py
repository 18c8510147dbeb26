"""The plot of a shop's parts: measured growth against expected, to see whether estimates hold."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from knurlcam.drawing.axes import LINE_STEP, TEXT, length_ticks
from knurlcam.drawing.png import painted, png_bytes
from knurlcam.drawing.shapes import (
    BLACK,
    BLUE,
    FRAME,
    GREEN,
    ORANGE,
    VERMILLION,
    Area,
    Drawing,
    Line,
    Point,
    Shape,
    Stroke,
    Text,
    box,
)
from knurlcam.drawing.svg import svg_text
from knurlcam.errors import InputError
from knurlcam.files import write_whole
from knurlcam.records.measurement import Measurement
from knurlcam.text import cut
from knurlcam.units.kinds import Units

__all__ = ["plot_of_parts", "write_plot"]

SIDE = 460.0
"""Width and height of the plot [drawing units]"""

LEFT, TOP, FOOT = 90.0, 60.0, 80.0
"""Room for the figures and names of the axes, and for the title [drawing units]"""

KEY_WIDE = 420.0
"""Room for the names of the set-ups beside the plot [drawing units]"""

MARK = 6.0
"""Half size of a part's mark [drawing units]"""

MOST_STEPS = 6
"""Steps along an axis, at most [-]"""

MOST_KEYS = 16
"""Set-ups that are named beside the plot [-]"""

MOST_LETTERS = 50
"""Characters of a set-up's name [-]"""

ROOM = 1.1
"""Length of the axes over the largest growth [-]"""

_COLOURS = (BLUE, VERMILLION, GREEN, ORANGE, BLACK)
_EQUAL = Stroke("as-expected", BLACK, 1.5, (8.0, 6.0))


def plot_of_parts(entries: Sequence[Measurement], units: Units = "mm") -> Drawing:
    """Return the measured growth of parts against what their plans expected by the estimate.

    Each set-up of rolls, material and tool has a mark of its own, in colour and shape.

    Args:
        entries: The parts; those without crests are left out.
        units: Of the axes.

    Raises:
        InputError: if no part has a growth.
    """
    shown = [e for e in entries if e.growth_mm is not None and e.tracked is not False]
    if not shown:
        raise InputError(
            "no part has crests to be drawn",
            expected="a log with parts whose crests were measured",
            remedy="measure a part first, with --crests",
        )
    most = ROOM * max(max(e.growth_mm or 0.0, e.expected_growth_mm) for e in shown)
    set_ups = list(dict.fromkeys(e.set_up for e in shown))
    shapes = [*_frame(most, units), *_parts(shown, most), *_key(set_ups)]
    words = f"{len(shown)} parts of {len(set_ups)} set-ups; on the dashed line the estimate holds."
    return Drawing(
        shapes, LEFT + SIDE + KEY_WIDE, TOP + SIDE + FOOT, "Growth, measured and expected", words
    )


def write_plot(path: str | Path, entries: Sequence[Measurement], units: Units = "mm") -> None:
    """Write the plot as PNG or SVG, by the file's ending.

    Raises:
        InputError: for another ending, without parts, or if the file cannot be written.
    """
    kind = Path(path).suffix.lower()
    if kind not in (".png", ".svg"):
        raise InputError(
            "is not a kind of picture that is written",
            where=str(path),
            expected="a name that ends in .png or .svg",
            remedy="choose another name",
        )
    drawing = plot_of_parts(entries, units)
    if kind == ".png":
        write_whole(path, png_bytes(painted(drawing), made_by="knurlcam"))
        return
    size = {"xmlns": "http://www.w3.org/2000/svg", "width": f"{drawing.width:g}"}
    write_whole(path, svg_text(drawing, {**size, "height": f"{drawing.height:g}"}))


def _place(expected: float, measured: float, most: float) -> Point:
    x = LEFT + SIDE * expected / most
    return x, TOP + SIDE - SIDE * min(max(measured / most, 0.0), 1.0)


def _frame(most: float, units: Units) -> Iterator[Shape]:
    foot, right = TOP + SIDE, LEFT + SIDE
    yield Text("title", LEFT, TOP - LINE_STEP, "Growth, measured and expected", TEXT * 1.2)
    yield Line(FRAME, [*box(LEFT, TOP, right, foot), (LEFT, TOP)])
    yield Line(_EQUAL, [(LEFT, foot), (right, TOP)])
    for tick in length_ticks(0.0, most, MOST_STEPS, units):
        x, _ = _place(tick.value, 0.0, most)
        _, y = _place(0.0, tick.value, most)
        yield Line(FRAME, [(x, foot), (x, foot + 6.0)])
        yield Line(FRAME, [(LEFT - 6.0, y), (LEFT, y)])
        yield Text("tick", x, foot + LINE_STEP, tick.text, TEXT, "middle")
        yield Text("tick", LEFT - 10.0, y + TEXT / 3.0, tick.text, TEXT, "end")
    middle = LEFT + SIDE / 2.0
    name = f"expected growth of the diameter by the estimate [{units}]"
    yield Text("axis", middle, foot + 2.4 * LINE_STEP, name, TEXT, "middle")
    yield Text("axis", LEFT + 10.0, TOP + LINE_STEP, f"measured [{units}]", TEXT)


def _parts(entries: Sequence[Measurement], most: float) -> Iterator[Shape]:
    places = {s: i for i, s in enumerate(dict.fromkeys(e.set_up for e in entries))}
    for entry in entries:
        at = _place(entry.expected_growth_mm, entry.growth_mm or 0.0, most)
        yield _mark(places[entry.set_up], at)


def _mark(number: int, at: Point) -> Area:
    """Return the mark of a set-up: colour and shape change at different steps."""
    x, y = at
    corners: tuple[Sequence[Point], ...] = (
        [(x, y - MARK), (x + MARK, y), (x, y + MARK), (x - MARK, y)],
        box(x - MARK, y - MARK, x + MARK, y + MARK),
        [(x, y - MARK), (x + MARK, y + MARK), (x - MARK, y + MARK)],
    )
    return Area("part", corners[number % len(corners)], _COLOURS[number % len(_COLOURS)])


def _key(set_ups: Sequence[tuple[str, str, str]]) -> Iterator[Shape]:
    left = LEFT + SIDE + 24.0
    yield Line(_EQUAL, [(left - MARK, TOP), (left + 26.0, TOP)])
    yield Text("key", left + 34.0, TOP + TEXT / 3.0, "as the estimate expects", TEXT)
    for number, (roll, material, _) in enumerate(set_ups[:MOST_KEYS]):
        y = TOP + (number + 1) * LINE_STEP
        yield _mark(number, (left, y))
        name = cut(f"{material}, {roll}", MOST_LETTERS)
        yield Text("key", left + 16.0, y + TEXT / 3.0, name, TEXT * 0.8)
    if len(set_ups) > MOST_KEYS:
        y = TOP + (MOST_KEYS + 1) * LINE_STEP
        yield Text("key", left, y, f"and {len(set_ups) - MOST_KEYS} more", TEXT * 0.8)
