"""A knurl under the lamp: pictures, a section and files of its height map.

Everything is shown as a machinist holds it: the axis across, the headstock on the left, the
lamp at the upper left. The pictures look at the map's first cell, where a roll that does not
come round in its own prints shows it. Metal is grey and all light is averaged over a pixel,
so that fine teeth fade to an even grey and make no false pattern.
"""

from __future__ import annotations

import base64
import html
import io
import json
import math
import unicodedata
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Any, Literal, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from knurlcam.errors import InputError, require
from knurlcam.quantities import Kind, Units, parse_quantity, show, show_about
from knurlcam.surface import Heights, Surface

__all__ = [
    "CAUTION",
    "Section",
    "crest_z_mm",
    "glass_image",
    "npz_bytes",
    "part_image",
    "patch_png",
    "picture_png",
    "picture_svg",
    "section",
    "section_svg",
    "stl_bytes",
]

Light: TypeAlias = NDArray[np.float32]
"""Light that comes from each point; 1 is white."""

Reals: TypeAlias = NDArray[np.floating[Any]]
Point: TypeAlias = tuple[float, float]

CAUTION = "An estimate that was worked out, not a measurement of a part."
"""Stands in every picture: it looks like a photograph and is none."""

FEWEST_ROWS = 2
FEWEST_CELLS = 12
"""Of a map: with less it has no slopes, or is not round."""

BLOCK_CELLS = 1 << 19
"""So many cells are worked on at a time: a large map must not need many times its size."""


# -- the map ------------------------------------------------------------------


def _refuse_unfit(surface: Surface) -> None:
    """Refuse a map that has no slopes, holds a hole or reaches the axis."""
    heights = surface.height_mm
    if heights.ndim != 2 or heights.shape[0] < FEWEST_ROWS or heights.shape[1] < FEWEST_CELLS:
        shape = " x ".join(map(str, heights.shape))
        raise InputError(
            f"a height map of {shape or 'one number'} cannot be shown",
            key="surface",
            expected=f"at least {FEWEST_ROWS} rows of {FEWEST_CELLS} cells",
            remedy="work the map out with finer cells",
        )
    for name, size in (("dz_mm", surface.dz_mm), ("cell_mm", surface.cell_mm)):
        if not (math.isfinite(size) and size > 0.0):
            raise InputError("a cell has no size", key=name, value=size, expected="more than 0 mm")
    if not math.isfinite(surface.z_mm):
        raise InputError("the map stands nowhere", key="z_mm", value=surface.z_mm)
    radius, low, high = _radius_mm(surface), float(heights.min()), float(heights.max())
    if not -radius < low <= high < radius:  # not a number is refused as well
        raise InputError(
            "a height is not a number, or not of this work",
            key="height_mm",
            expected=f"between -{radius:g} and {radius:g} mm",
        )


def _radius_mm(surface: Surface) -> float:
    return surface.blank_diameter_mm / 2.0


def _length_mm(surface: Surface) -> float:
    """Return the length shown: each row stands for a ring one step wide [mm]."""
    return surface.rows * surface.dz_mm


def _middle_mm(surface: Surface) -> float:
    return surface.z_mm + (surface.rows - 1) * surface.dz_mm / 2.0


def _blocks(rows: int, cells: int) -> Iterator[slice]:
    """Yield *rows* in blocks that are small enough to be worked on at once."""
    step = max(1, BLOCK_CELLS // max(cells, 1))
    for first in range(0, rows, step):
        yield slice(first, min(first + step, rows))


def _round_the_start(half: int) -> NDArray[np.intp]:
    """Return the numbers of cells before and after the first one; they go round."""
    return np.arange(-half, half + 1)


def _slopes(
    surface: Surface, rows: slice, cells: NDArray[np.intp]
) -> tuple[Heights, Heights, Heights]:
    """Return heights [mm] and slopes along the axis and round the work [mm/mm].

    Args:
        surface: The map.
        rows: Which rows.
        cells: Which cells, side by side; they go round.
    """
    first, last = max(rows.start - 1, 0), min(rows.stop + 1, surface.rows)
    wide = np.arange(cells[0] - 1, cells[-1] + 2)
    near = surface.height_mm[first:last].take(wide, axis=1, mode="wrap")
    own = np.arange(rows.start, rows.stop)
    before, after = np.maximum(own - 1, 0), np.minimum(own + 1, surface.rows - 1)
    steps = ((after - before) * surface.dz_mm).astype(np.float32)[:, None]
    along = (near[after - first, 1:-1] - near[before - first, 1:-1]) / steps
    mine = near[own - first]
    arc: Heights = np.float32(2.0 * surface.cell_mm) * (
        1.0 + mine[:, 1:-1] / np.float32(_radius_mm(surface))
    )
    return mine[:, 1:-1], along, (mine[:, 2:] - mine[:, :-2]) / arc


# -- the lamp -----------------------------------------------------------------

LAMP = (-0.30, 0.63, 0.72)
"""Where the lamp stands: to the right, upwards, towards the viewer. It rakes, so that both
flanks of a tooth differ, and looks along neither straight teeth nor 30 degree ones; most of
the work's lower half is still lit."""

AMBIENT, FILL, DIFFUSE, SHINE = 0.03, 0.09, 0.55, 0.30
"""Light from all round, from the viewer's side, from the lamp on dull metal, and the lamp's
reflection: turned steel."""

SHINE_DOUBLINGS = 4
"""The reflection falls off as the cosine to the power of 2 to this: 16, ground steel."""

GROUND = 0.9
"""What lies behind the part: plain and lighter than most of the metal."""

GAMMA = 2.2
"""Of screens: light is averaged as light and written as they want it."""


def _unit(vector: Sequence[float]) -> tuple[float, float, float]:
    length = math.hypot(*vector)
    along, up, out = (float(part) / length for part in vector)
    return along, up, out


_TO_VIEWER = (0.0, 0.0, 1.0)
_TO_LAMP = _unit(LAMP)
_TO_GLEAM = _unit((_TO_LAMP[0], _TO_LAMP[1], _TO_LAMP[2] + 1.0))
"""Between the lamp and the viewer: a face that looks there reflects the one to the other."""


def _facing(
    towards: tuple[float, float, float], angle: Reals, along: Heights, around: Heights
) -> Light:
    """Return the cosine between each point's normal and a direction, times the normal's length.

    Args:
        towards: Direction: to the right, upwards, towards the viewer.
        angle: Of each cell, upwards from the one that faces the viewer [rad]
        along: Slope along the axis [mm/mm]
        around: Slope round the work [mm/mm]
    """
    right, up, out = towards
    outward = (up * np.sin(angle) + out * np.cos(angle)).astype(np.float32)
    upward = (up * np.cos(angle) - out * np.sin(angle)).astype(np.float32)
    facing: Light = outward - np.float32(right) * along - upward * around
    return facing


def _light(angle: Reals, along: Heights, around: Heights) -> Light:
    """Return the light of each point; see :func:`_facing` for the arguments."""
    length = np.sqrt(1.0 + along * along + around * around)

    def cosine(towards: tuple[float, float, float]) -> Light:
        facing = _facing(towards, angle, along, around)
        facing /= length
        return np.maximum(facing, 0.0, out=facing)

    lit, gleam = cosine(_TO_LAMP), cosine(_TO_GLEAM)
    for _ in range(SHINE_DOUBLINGS):
        gleam *= gleam
    gleam *= lit > 0.0
    light = np.float32(FILL) * cosine(_TO_VIEWER)
    light += np.float32(AMBIENT)
    light += np.float32(DIFFUSE) * lit
    light += np.float32(SHINE) * gleam
    return light


def _averaged(values: Light, low: Reals, high: Reals) -> Light:
    """Return the mean along the first axis over ranges of it; beyond it is the ground.

    Args:
        values: One value for each step along the first axis.
        low: Where each range begins, the first value reaching from 0 to 1.
        high: Where each ends; a range shorter than a step is widened to it, which is to go
            evenly from one value to the next.
    """
    total = np.zeros((values.shape[0] + 1, *values.shape[1:]))
    np.cumsum(values, axis=0, dtype=np.float64, out=total[1:])
    spare = np.maximum(1.0 - (high - low), 0.0) / 2.0
    low, high = low - spare, high + spare
    inside_low, inside_high = (np.clip(edge, 0.0, values.shape[0]) for edge in (low, high))
    width = (high - low)[:, None]
    bare = width - (inside_high - inside_low)[:, None]
    sums = _between(total, inside_high) - _between(total, inside_low)
    return ((sums + GROUND * bare) / width).astype(np.float32)


def _between(total: Reals, where: Reals) -> Reals:
    """Return the sums up to *where*, between two of them too."""
    below = np.minimum(where.astype(np.intp), total.shape[0] - 2)
    share = (where - below)[:, None]
    sums: Reals = total[below] * (1.0 - share) + total[below + 1] * share
    return sums


def _image(light: Light) -> Image.Image:
    """Return light, the first row on top, as a grey picture."""
    shown = np.clip(light, 0.0, 1.0) ** (1.0 / GAMMA)
    return Image.fromarray(np.rint(255.0 * shown).astype(np.uint8))


LEAST_PIXELS, MOST_PIXELS = 16, 4096
"""Of a picture, across and down: for a screen or a sheet."""


def _refuse_size(**sizes: int) -> None:
    for name, size in sizes.items():
        require(name, size, LEAST_PIXELS, MOST_PIXELS, "pixels")


# -- the part -----------------------------------------------------------------

ROOM = 0.97
"""The part fills so much of its picture; the rest is ground about it."""

BEYOND_RAD = 0.15
"""So far behind the silhouette a tooth may still look over it."""


def part_image(surface: Surface, *, width: int, height: int) -> Image.Image:
    """Return the knurled part from the side, under a lamp at the upper left.

    In true proportions: the axis across, the headstock on the left, the map's whole length.

    Args:
        surface: The height map.
        width: Of the picture [pixels]
        height: Of the picture [pixels]

    Raises:
        InputError: if the map cannot be shown, or would be smaller than a pixel.
    """
    _refuse_unfit(surface)
    _refuse_size(width=width, height=height)
    scale = _part_scale(surface, width, height)
    edges = (np.arange(height + 1) - height / 2.0) / scale
    columns = np.empty((surface.rows, height), dtype=np.float32)
    cells = _front_cells(surface)
    for rows in _blocks(surface.rows, cells.size):
        columns[rows] = _seen_from_the_side(surface, rows, cells, edges)
    start = (np.arange(width) - width / 2.0) / scale / surface.dz_mm + surface.rows / 2.0
    seen = _averaged(columns, start, start + 1.0 / scale / surface.dz_mm)
    return _image(seen.T[::-1])


def _part_scale(surface: Surface, width: int, height: int) -> float:
    """Return pixels for a millimetre of the part in its picture."""
    length = _length_mm(surface)
    across = surface.blank_diameter_mm + 2.0 * max(float(surface.height_mm.max()), 0.0)
    scale = ROOM * min(width / length, height / across)
    if scale * min(length, across) < 1.0:
        raise InputError(
            "the knurled part would be smaller than a pixel",
            key="surface",
            value=f"{length:g} mm long, {across:g} mm in diameter",
            remedy="ask for a larger picture",
        )
    return scale


def _front_cells(surface: Surface) -> NDArray[np.intp]:
    """Return the cells that face the viewer, from below upwards, and a few behind."""
    share = (math.pi / 2.0 + BEYOND_RAD) / (2.0 * math.pi)
    return _round_the_start(math.ceil(surface.cells * share))


def _seen_from_the_side(
    surface: Surface, rows: slice, cells: NDArray[np.intp], edges: Reals
) -> Light:
    """Return the light of rings of the work, averaged over pixels across the axis.

    From the middle of the picture a point is seen if none on the way to it stands higher
    up: so teeth hide each other towards the silhouette, and look over it.

    Args:
        surface: The height map.
        rows: Which rings.
        cells: Those that face the viewer.
        edges: Of the pixels, from the axis upwards, ascending [mm]
    """
    heights, along, around = _slopes(surface, rows, cells)
    angle = cells * (2.0 * math.pi / surface.cells)
    up = (_radius_mm(surface) + heights) * np.sin(angle)
    middle = cells.size // 2
    up[:, middle:] = np.maximum.accumulate(up[:, middle:], axis=1)
    up[:, middle::-1] = np.minimum.accumulate(up[:, middle::-1], axis=1)
    light = _light(angle, along, around)
    sums = np.zeros_like(up)
    np.cumsum(np.diff(up) * (light[:, 1:] + light[:, :-1]) / 2.0, axis=1, out=sums[:, 1:])
    far = up.shape[1] * edges[-1] + 1.0
    across = np.empty((up.shape[0], edges.size))
    for row, (ends, total) in enumerate(zip(up, sums, strict=True)):
        # Beyond the silhouette the ground's light is added up.
        places = np.concatenate(([ends[0] - far], ends, [ends[-1] + far]))
        totals = np.concatenate(([-GROUND * far], total, [total[-1] + GROUND * far]))
        across[row] = np.interp(edges, places, totals)
    return (np.diff(across) / np.diff(edges)).astype(np.float32)


# -- the glass ----------------------------------------------------------------

FEWEST_GLASS_CELLS = 4
"""Less of the map is a blur."""


def glass_image(
    surface: Surface, *, centre_z_mm: float, span_mm: float, width: int, height: int
) -> Image.Image:
    """Return a patch of the surface unrolled flat, close up, under the same lamp.

    Args:
        surface: The height map.
        centre_z_mm: Z of its middle; moved so that the patch lies on the map if it fits [mm]
        span_mm: Length along the axis, across the picture [mm]
        width: Of the picture [pixels]
        height: Of the picture [pixels]

    Raises:
        InputError: if the map cannot be shown, or the patch is too small or reaches more
            than once round the work.
    """
    _refuse_unfit(surface)
    _refuse_size(width=width, height=height)
    around_mm = _refuse_span(surface, span_mm, height / width)
    centre = _moved_onto(surface, centre_z_mm, span_mm)
    edges = span_mm * (np.arange(width + 1) / width - 0.5)
    along = (centre + edges - surface.z_mm) / surface.dz_mm + 0.5
    first = min(max(math.floor(along[0]) - 1, 0), surface.rows - 1)
    last = max(min(math.ceil(along[-1]) + 1, surface.rows), first + 1)
    half = math.ceil(around_mm / surface.cell_mm / 2.0) + 2
    up = around_mm * (np.arange(height + 1) / height - 0.5) / surface.cell_mm + half + 0.5
    light = np.empty((last - first, height), dtype=np.float32)
    for rows in _blocks(last - first, 2 * half):
        near = slice(rows.start + first, rows.stop + first)
        _, sloped, turned = _slopes(surface, near, _round_the_start(half))
        flat = _light(np.zeros(1), sloped, turned)
        light[rows] = _averaged(flat.T, up[:-1], up[1:]).T
    seen = _averaged(light, along[:-1] - first, along[1:] - first)
    return _image(seen.T[::-1])


def _refuse_span(surface: Surface, span_mm: float, proportion: float) -> float:
    """Return how far a patch reaches round the work; refuse one that cannot be shown [mm]."""
    least = FEWEST_GLASS_CELLS * max(surface.dz_mm, surface.cell_mm / proportion)
    most = surface.cells * surface.cell_mm / proportion
    require("span_mm", span_mm, least, most, "mm")
    return span_mm * proportion


def _moved_onto(surface: Surface, centre_z_mm: float, span_mm: float) -> float:
    """Return the middle of a patch that lies on the map if it fits at all [mm]."""
    if not math.isfinite(centre_z_mm):
        raise InputError("the patch stands nowhere", key="centre_z_mm", value=centre_z_mm)
    room = max(_length_mm(surface) - span_mm, 0.0) / 2.0
    middle = _middle_mm(surface)
    return min(max(centre_z_mm, middle - room), middle + room)


PATCH_LEVELS = (32, 16, 8, 4)
"""Greys of a patch in a page; fewer where it would take too much room."""

MOST_PATCH_BYTES = 60_000
"""Of a patch in a page that holds much else."""


def patch_png(
    surface: Surface, *, centre_z_mm: float, span_mm: float, width: int = 440, height: int = 440
) -> bytes:
    """Return what :func:`glass_image` does as a small PNG, to be put into a page.

    Args:
        surface: The height map.
        centre_z_mm: Z of its middle [mm]
        span_mm: Length along the axis, across the picture [mm]
        width: Of the picture [pixels]
        height: Of the picture [pixels]

    Raises:
        InputError: as :func:`glass_image`, or if the picture takes too much room.
    """
    fine = glass_image(
        surface, centre_z_mm=centre_z_mm, span_mm=span_mm, width=width, height=height
    )
    for levels in PATCH_LEVELS:
        data = _png(_of_few_greys(fine, levels), small=True)
        if len(data) <= MOST_PATCH_BYTES:
            return data
    raise InputError(
        "the patch takes too much room in a page",
        key="width",
        value=f"{width} x {height} pixels",
        remedy="ask for a smaller picture",
    )


def _of_few_greys(image: Image.Image, levels: int) -> Image.Image:
    number = np.asarray(image).astype(np.uint16) * levels // 256
    few = Image.fromarray(number.astype(np.uint8)).convert("P")
    greys = [round(255 * level / (levels - 1)) for level in range(levels)]
    few.putpalette([grey for grey in greys for _ in range(3)])
    return few


def _png(image: Image.Image, *, small: bool = False) -> bytes:
    """Return a picture as PNG: quickly, or as small as can be, which takes five times as long."""
    out = io.BytesIO()
    image.save(out, format="PNG", optimize=small)
    return out.getvalue()


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
    _refuse_unfit(surface)
    step, first = surface.dz_mm, surface.z_mm
    require("z_mm", z_mm, first - step / 2.0, first + (surface.rows - 0.5) * step, "mm")
    whole = surface.cells * surface.cell_mm
    require("teeth_mm", teeth_mm, 2.0 * surface.cell_mm, whole, "mm")
    row = min(max(round((z_mm - first) / step), 0), surface.rows - 1)
    half = min(int(teeth_mm / surface.cell_mm / 2.0 + 1e-9), (surface.cells - 1) // 2)
    cells = _round_the_start(half)
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
    _refuse_unfit(surface)
    tall = surface.height_mm.max(axis=1) - surface.height_mm.min(axis=1)
    knurled = np.flatnonzero(tall >= tall.max() / 2.0)
    middle = (knurled[0] + knurled[-1]) / 2.0
    best = np.flatnonzero(tall >= AS_TALL * tall.max())
    row = int(best[np.argmin(np.abs(best - middle))])
    return surface.z_mm + row * surface.dz_mm


# -- drawing ------------------------------------------------------------------

BLACK, BLUE, VERMILLION, GREEN = "#000000", "#0072B2", "#D55E00", "#009E73"
"""Told apart by all eyes; each line has its own style besides."""

METAL = "#C9CCCF"
PAPER = "#FFFFFF"


class _Stroke(NamedTuple):
    """How a kind of line is drawn: colour, width and dashes [drawing units]."""

    colour: str
    width: float
    dashes: tuple[float, ...] = ()


STROKES: Mapping[str, _Stroke] = {
    "profile": _Stroke(BLACK, 2.5),
    "blank": _Stroke(BLUE, 2.0, (10.0, 6.0)),
    "extension": _Stroke(VERMILLION, 1.5, (2.0, 3.0)),
    "dimension": _Stroke(VERMILLION, 1.5),
    "cut": _Stroke(GREEN, 2.5, (12.0, 4.0, 3.0, 4.0)),
    "scale-bar": _Stroke(BLACK, 3.0),
    "frame": _Stroke(BLACK, 1.0),
}
"""By kind, which is the class of the line in an SVG too."""


class _Line(NamedTuple):
    """A line through points; its kind says how it looks."""

    kind: str
    points: Sequence[Point]


class _Area(NamedTuple):
    """A filled shape."""

    kind: str
    points: Sequence[Point]
    fill: str


class _Text(NamedTuple):
    """One line of text; *y* is the line that the letters stand on."""

    kind: str
    x: float
    y: float
    text: str
    size: float
    anchor: Literal["start", "middle", "end"] = "start"


class _Raster(NamedTuple):
    """A picture, drawn anew for the width and height in pixels that it is shown at."""

    kind: str
    x: float
    y: float
    width: float
    height: float
    draw: Callable[[int, int], Image.Image]


_Shape: TypeAlias = _Line | _Area | _Text | _Raster


def _box(left: float, top: float, right: float, foot: float) -> list[Point]:
    return [(left, top), (right, top), (right, foot), (left, foot), (left, top)]


# -- drawing as SVG -----------------------------------------------------------

SHARPNESS = 2
"""Pixels of a picture inside an SVG for a drawing unit: also good when enlarged."""

FONT = "sans-serif"


def _svg(
    shapes: Iterable[_Shape],
    width: float,
    height: float,
    title: str,
    told: str,
    extra: Mapping[str, str],
) -> str:
    """Return a drawing as SVG, with a title and a description for those who cannot see it."""
    attributes = {
        **extra,
        "viewBox": f"0 0 {_number(width)} {_number(height)}",
        "role": "img",
        "font-family": FONT,
    }
    inside = "\n".join(map(_element, shapes))
    words = f"{_tag('title', text=title)}\n{_tag('desc', text=told)}"
    return _tag("svg", attributes, raw=f"\n{words}\n{inside}\n") + "\n"


def _number(value: float) -> str:
    """Return a number with two places at most: finer than any screen."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _tag(
    name: str, attributes: Mapping[str, str] | None = None, text: str = "", raw: str = ""
) -> str:
    """Return an element; *text* is escaped, and what XML cannot hold is left out."""
    given = "".join(f' {k}="{_safe(v)}"' for k, v in (attributes or {}).items())
    inside = _safe(text) + raw
    return f"<{name}{given}>{inside}</{name}>" if inside else f"<{name}{given}/>"


def _safe(text: str) -> str:
    return html.escape("".join(c for c in text if not _unwritable(c)), quote=True)


def _unwritable(character: str) -> bool:
    """Whether XML has no place for a character, or it is none."""
    return unicodedata.category(character) in ("Cc", "Cs") or character in "\ufffe\uffff"


def _element(shape: _Shape) -> str:
    """Return a shape as an element of an SVG, with presentation attributes only."""
    match shape:
        case _Line(kind, points):
            stroke = STROKES[kind]
            look = {
                "class": kind,
                "points": _points(points),
                "fill": "none",
                "stroke": stroke.colour,
                "stroke-width": _number(stroke.width),
            }
            if stroke.dashes:
                look["stroke-dasharray"] = " ".join(map(_number, stroke.dashes))
            return _tag("polyline", look)
        case _Area(kind, points, fill):
            return _tag("polygon", {"class": kind, "points": _points(points), "fill": fill})
        case _Text(kind, x, y, text, size, anchor):
            place = {"class": kind, "x": _number(x), "y": _number(y), "font-size": _number(size)}
            return _tag("text", {**place, "text-anchor": anchor}, text=text)
        case _Raster(kind, x, y, width, height, draw):
            data = _png(draw(round(width * SHARPNESS), round(height * SHARPNESS)))
            sides = {"x": x, "y": y, "width": width, "height": height}
            numbers = {name: _number(value) for name, value in sides.items()}
            uri = f"data:image/png;base64,{base64.b64encode(data).decode('ascii')}"
            return _tag("image", {"class": kind, **numbers, "href": uri})


def _points(points: Iterable[Point]) -> str:
    return " ".join(f"{_number(x)},{_number(y)}" for x, y in points)


# -- drawing as PNG -----------------------------------------------------------

OVERSAMPLING = 3
"""Lines and letters are drawn so many times larger, then averaged: smooth edges."""

_PILLOW_ANCHORS = {"start": "ls", "middle": "ms", "end": "rs"}


def _painted(shapes: Iterable[_Shape], width: int, height: int, scale: float) -> Image.Image:
    """Return a drawing as a picture of so many pixels, *scale* for a drawing unit."""
    whole = Image.new("RGB", (width * OVERSAMPLING, height * OVERSAMPLING), PAPER)
    brush = ImageDraw.Draw(whole)
    for shape in shapes:
        _paint(whole, brush, shape, scale)
    return whole.reduce(OVERSAMPLING)


def _paint(whole: Image.Image, brush: ImageDraw.ImageDraw, shape: _Shape, scale: float) -> None:
    """Draw one shape on the enlarged picture."""
    fine = scale * OVERSAMPLING
    match shape:
        case _Line(kind, points):
            stroke = STROKES[kind]
            wide = max(1, round(stroke.width * fine))
            for piece in _dashed(points, stroke.dashes):
                brush.line(_scaled(piece, fine), stroke.colour, wide, joint="curve")
        case _Area(_, points, fill):
            brush.polygon(_scaled(points, fine), fill)
        case _Text(_, x, y, text, size, anchor):
            foot = (round(x * fine), round(y * fine))
            font = _font(size * fine)
            brush.text(foot, _writable(text), BLACK, font, anchor=_PILLOW_ANCHORS[anchor])
        case _Raster(_, x, y, width, height, draw):
            image = draw(round(width * scale), round(height * scale))
            enlarged = (image.width * OVERSAMPLING, image.height * OVERSAMPLING)
            corner = (round(x * scale) * OVERSAMPLING, round(y * scale) * OVERSAMPLING)
            whole.paste(image.resize(enlarged, Image.Resampling.NEAREST), corner)


def _scaled(points: Iterable[Point], scale: float) -> list[Point]:
    return [(x * scale, y * scale) for x, y in points]


def _dashed(points: Sequence[Point], dashes: Sequence[float]) -> Iterator[Sequence[Point]]:
    """Yield the pieces of a line; a dashed one is made of straight stretches."""
    if not dashes:
        yield points
        return
    for (x0, y0), (x1, y1) in pairwise(points):
        length = math.hypot(x1 - x0, y1 - y0)
        done, number = 0.0, 0
        while done < length:
            end = min(done + dashes[number % len(dashes)], length)
            if number % 2 == 0:
                a, b = done / length, end / length
                yield [
                    (x0 + a * (x1 - x0), y0 + a * (y1 - y0)),
                    (x0 + b * (x1 - x0), y0 + b * (y1 - y0)),
                ]
            done, number = end, number + 1


@lru_cache(maxsize=16)
def _font(size: float) -> Any:
    """Return Pillow's own typeface: the same letters on every machine."""
    return ImageFont.load_default(size)


_SPELT = str.maketrans(
    {"×": "x", "−": "-", "–": "-", "Ø": "dia. ", "µ": "u", "μ": "u", "≤": "<=", "≥": ">="}
    | {"\u00a0": " ", "\u202f": " ", "½": "1/2", "→": "->", "ß": "ss", "ø": "o"}
)


def _writable(text: str) -> str:
    """Return a text in the letters that Pillow's own typeface has."""
    plain = unicodedata.normalize("NFKD", text.translate(_SPELT))
    kept = (c for c in plain if not unicodedata.combining(c) and not _unwritable(c))
    return "".join(c if c.isascii() or c in "°±·…" else "?" for c in kept)


WIDER = 1.25
"""Other typefaces of the kind are so much wider than the one that is measured."""


def _text_width(text: str, size: float) -> float:
    """Return a width that a text surely does not exceed [drawing units]."""
    return float(_font(size).getlength(_writable(text))) * WIDER


def _wrapped(text: str, size: float, width: float, most_lines: int) -> list[str]:
    """Return a text in lines of at most *width*; what does not fit ends in three dots."""
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".lstrip()
        if not lines[-1] or _text_width(longer, size) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    if len(lines) > most_lines:
        lines = [*lines[: most_lines - 1], " ".join(lines[most_lines - 1 :])]
    return [_cut(line, size, width) for line in lines]


def _cut(line: str, size: float, width: float) -> str:
    if _text_width(line, size) <= width:
        return line
    while line and _text_width(f"{line}…", size) > width:
        line = line[:-1]
    return f"{line.rstrip()}…"


# -- what is drawn ------------------------------------------------------------

TEXT = 17.0
LINE_STEP = 24.0
"""Height of a line of text, and from one to the next [drawing units]"""

HEADING = 26.0
HEADING_STEP = 34.0
"""Of the title [drawing units]"""

LONGEST_BAR = 0.3
"""A scale bar takes at most so much of the width of what it measures."""


def _scale_bar(x: float, y: float, scale: float, width: float, units: Units) -> Iterator[_Shape]:
    """Yield a bar of a round length with the length written beside it.

    Args:
        x: Its left end [drawing units]
        y: Its height; the text stands on the same line [drawing units]
        scale: Of what it measures [drawing units/mm]
        width: Of what it measures [drawing units]
        units: The job's units.
    """
    unit_mm = parse_quantity(1.0, Kind.LENGTH, units)
    length = _round_down(LONGEST_BAR * width / scale / unit_mm)
    places = max(0, -math.floor(math.log10(length) + 1e-9))
    end = x + length * unit_mm * scale
    yield _Line("scale-bar", [(x, y), (end, y)])
    yield _Line("frame", [(x, y - 7), (x, y + 7)])
    yield _Line("frame", [(end, y - 7), (end, y + 7)])
    text = show(length * unit_mm, Kind.LENGTH, units, places)
    yield _Text("scale-text", end + 10, y + TEXT / 3, text, TEXT)


def _round_down(value: float) -> float:
    """Return the greatest of 1, 2, 5, 10, 20 ... and 0.5, 0.2, 0.1 ... up to *value*."""
    power = 10.0 ** math.floor(math.log10(value) + 1e-9)
    return power * max(step for step in (1.0, 2.0, 5.0) if step * power <= value * (1.0 + 1e-9))


SECTION_TEETH = 5.0
"""Teeth that a section shows: a doubled print stands beside its neighbour."""

SIDE = 190.0
"""Beside a section, for a dimension and its text [drawing units]"""

MOST_TALL = 260.0
"""Of the teeth in a section; it grows narrower instead [drawing units]"""

ABOVE, BELOW = 24.0, 34.0
"""Over the crests, for an arrow; and metal under the roots [drawing units]"""

FLAT_MM = 0.0005
"""Less is no tooth and no growth: it would be written as 0.000."""

ARROW = 9.0
TAIL = 18.0
"""Length of an arrow's head, and of the arrow where it stands outside [drawing units]"""


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


def _section_shapes(teeth: _Teeth, units: Units) -> Iterator[_Shape]:
    """Yield the metal, the blank's surface, the dimensions and the scale bar."""
    cut, blank = teeth.cut, teeth.up(0.0)
    profile = _simplified(
        [
            (teeth.along(u), teeth.up(h))
            for u, h in zip(cut.u_mm.tolist(), cut.height_mm.tolist(), strict=True)
        ]
    )
    corners = [(teeth.right, teeth.foot), (teeth.left, teeth.foot)]
    yield _Area("metal", [*profile, *corners], METAL)
    yield _Line("blank", [(teeth.left, blank), (teeth.right, blank)])
    yield _Line("profile", profile)
    if teeth.crest_mm > FLAT_MM:
        grown = f"2 × {show_about(teeth.crest_mm, Kind.LENGTH, units)}"
        words = ("diameter grows", grown)
        yield from _dimension(teeth, -1.0, (teeth.crest_mm, 0.0), words)
    tall = teeth.crest_mm - teeth.root_mm
    if tall > FLAT_MM:
        words = ("tooth height", show_about(tall, Kind.LENGTH, units))
        yield from _dimension(teeth, 1.0, (teeth.crest_mm, teeth.root_mm), words)
    line = teeth.foot + 26.0
    yield from _scale_bar(teeth.left, line, teeth.scale, teeth.right - teeth.left, units)
    yield _Line("blank", [(teeth.right - 170, line), (teeth.right - 125, line)])
    yield _Text("blank-text", teeth.right - 117, line + TEXT / 3, "blank surface", TEXT)


STRAIGHT = 0.1
"""Points nearer than this to a straight line lie on it: a tooth of a fine map has many
[drawing units]"""


def _simplified(points: Sequence[Point]) -> list[Point]:
    """Return a profile without the points that lie on a line between others."""
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


def _dimension(
    teeth: _Teeth, side: float, between: tuple[float, float], words: Sequence[str]
) -> Iterator[_Shape]:
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
        yield _Line("extension", [(edge + side * 3, y), (x + side * 8, y)])
    if low - high >= 2.5 * ARROW:
        yield _Line("dimension", [(x, high), (x, low)])
        yield from (_head(x, high, -1.0), _head(x, low, 1.0))
    else:  # no room between: the arrows stand outside and point at each other
        yield _Line("dimension", [(x, high - TAIL), (x, low + TAIL)])
        yield from (_head(x, high, 1.0), _head(x, low, -1.0))
    middle = (high + low) / 2.0 + TEXT / 3 - LINE_STEP * (len(words) - 1) / 2.0
    for number, text in enumerate(words):
        y = middle + number * LINE_STEP
        anchor: Literal["end", "start"] = "end" if side < 0 else "start"
        yield _Text("dimension-text", x + side * 14, y, text, TEXT, anchor)


def _head(x: float, y: float, way: float) -> _Area:
    """Return an arrow's head with its tip at (x, y), pointing down if *way* is 1."""
    back = y - way * ARROW
    return _Area("head", [(x, y), (x - ARROW / 3, back), (x + ARROW / 3, back)], VERMILLION)


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
    return _svg(shapes, SECTION_WIDE, height, title, told, {"class": "section"})


def _of_pitches(surface: Surface, pitch_mm: float, most: float) -> float:
    """Return so many pitches, or once round the work if that is less [mm]."""
    _refuse_unfit(surface)
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

    shapes: Sequence[_Shape]
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
    return _png(_painted(drawing.shapes, width, round(drawing.height * scale), scale))


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
    size = {"width": _number(WIDE), "height": _number(drawing.height)}
    paper = _Area("paper", _box(0.0, 0.0, WIDE, drawing.height), PAPER)
    extra = {"xmlns": "http://www.w3.org/2000/svg", **size}
    return _svg([paper, *drawing.shapes], WIDE, drawing.height, title, drawing.told, extra)


def _composed(
    surface: Surface, title: str, facts: Mapping[str, str], pitch_mm: float, units: Units
) -> _Drawing:
    """Lay the picture out from the top; each piece says where the next may begin."""
    z = crest_z_mm(surface)
    cut = section(surface, z, teeth_mm=_of_pitches(surface, pitch_mm, SECTION_TEETH))
    shapes: list[_Shape] = []
    y = EDGE
    for line in _wrapped(title, HEADING, WIDE - 2 * EDGE, most_lines=2):
        shapes.append(_Text("heading", EDGE, y + HEADING, line, HEADING))
        y += HEADING_STEP
    y += LINE_STEP * 2.2
    shapes += _part_panel(surface, y, units)
    shapes += _glass_panel(surface, y, z, pitch_mm, units)
    y += PANEL + BAR_DOWN + 1.4 * LINE_STEP
    heading = f"Section A-A through the teeth at Z {show(cut.z_mm, Kind.LENGTH, units)}, unrolled"
    shapes.append(_Text("panel-title", EDGE, y + TEXT, heading, TEXT))
    teeth = _teeth(cut, y + LINE_STEP, WIDE)
    shapes += _section_shapes(teeth, units)
    y = teeth.foot + 3.2 * LINE_STEP
    below = list(_fact_lines(facts, y))
    y = max((shape.y for shape in below), default=y - LINE_STEP) + 1.5 * LINE_STEP
    caution = _Text("caution", EDGE, y, CAUTION, TEXT)
    told = " ".join((*(f"{k}: {v}." for k, v in facts.items()), _section_told(teeth, units)))
    return _Drawing([*shapes, *below, caution], y + EDGE, f"{told} {CAUTION}")


def _part_panel(surface: Surface, top: float, units: Units) -> Iterator[_Shape]:
    """Yield the part under the lamp, its title above and its scale bar below."""
    width = WIDE - 3 * EDGE - PANEL
    foot, scale = top + PANEL, _part_scale(surface, round(width), round(PANEL))

    def draw(wide: int, high: int) -> Image.Image:
        return part_image(surface, width=wide, height=high)

    yield _Text("panel-title", EDGE, top - TITLE_UP, "Under the lamp, chuck on the left", TEXT)
    yield _Raster("part", EDGE, top, width, PANEL, draw)
    yield from _scale_bar(EDGE, foot + BAR_DOWN, scale, width, units)


def _glass_panel(
    surface: Surface, top: float, z_mm: float, pitch_mm: float, units: Units
) -> Iterator[_Shape]:
    """Yield the close-up with the marks of the section, its title and its scale bar."""
    left, foot = WIDE - EDGE - PANEL, top + PANEL
    span = min(_of_pitches(surface, pitch_mm, GLASS_TEETH), _length_mm(surface))
    span = max(span, FEWEST_GLASS_CELLS * max(surface.dz_mm, surface.cell_mm))
    centre = _moved_onto(surface, z_mm, span)

    def draw(wide: int, high: int) -> Image.Image:
        return glass_image(surface, centre_z_mm=centre, span_mm=span, width=wide, height=high)

    yield _Text("panel-title", left, top - TITLE_UP, "Under the glass, unrolled", TEXT)
    yield _Raster("glass", left, top, PANEL, PANEL, draw)
    yield _Line("frame", _box(left, top, left + PANEL, foot))
    yield from _scale_bar(left, foot + BAR_DOWN, PANEL / span, PANEL, units)
    x = left + PANEL / 2.0 + (z_mm - centre) * PANEL / span
    yield _Line("cut", [(x, top - MARK), (x, top + MARK)])
    yield _Line("cut", [(x, foot - MARK), (x, foot + MARK)])
    yield _Text("cut-text", x + 8, top - 6, "A", TEXT)
    yield _Text("cut-text", x + 8, foot + MARK, "A", TEXT)


def _fact_lines(facts: Mapping[str, str], top: float) -> Iterator[_Text]:
    """Yield names and values in columns, filled line by line."""
    step = (WIDE - 2 * EDGE) / FACT_COLUMNS
    y, taken = top, 1
    for number, (name, value) in enumerate(facts.items()):
        column = number % FACT_COLUMNS
        if column == 0 and number:
            y, taken = y + taken * LINE_STEP + FACT_GAP, 1
        lines = _wrapped(f"{name}: {value}", TEXT, step - EDGE, most_lines=2)
        taken = max(taken, len(lines))
        for down, line in enumerate(lines):
            yield _Text("fact", EDGE + column * step, y + down * LINE_STEP, line, TEXT)


# -- files --------------------------------------------------------------------

_EPOCH = (1980, 1, 1, 0, 0, 0)
"""The earliest date that an archive can hold: the same map gives the same bytes."""

_UNIX = 3
"""System named in an archive, the same on all of them."""


def npz_bytes(surface: Surface, measures: Mapping[str, object]) -> bytes:
    """Return the map and its measures as a NumPy archive.

    ``numpy.load`` reads it without ``allow_pickle``: ``height_mm``, ``z_mm``, ``dz_mm``,
    ``cell_mm``, ``blank_diameter_mm``, and ``measures``, which is JSON text.

    Args:
        surface: The height map.
        measures: What was measured on it: names and numbers, texts or lists of them.

    Raises:
        InputError: if the map cannot be shown, or JSON cannot hold the measures.
    """
    _refuse_unfit(surface)
    try:
        text = json.dumps(measures, ensure_ascii=False, allow_nan=False)
    except (TypeError, ValueError) as error:
        raise InputError(f"the measures cannot be written: {error}", key="measures") from None
    arrays: dict[str, NDArray[Any]] = {
        "height_mm": np.ascontiguousarray(surface.height_mm, dtype=np.float32),
        "z_mm": np.array(surface.z_mm, dtype=np.float64),
        "dz_mm": np.array(surface.dz_mm, dtype=np.float64),
        "cell_mm": np.array(surface.cell_mm, dtype=np.float64),
        "blank_diameter_mm": np.array(surface.blank_diameter_mm, dtype=np.float64),
        "measures": np.array(text),
    }
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, array in arrays.items():
            entry = zipfile.ZipInfo(f"{name}.npy", _EPOCH)
            entry.compress_type, entry.create_system = zipfile.ZIP_DEFLATED, _UNIX
            with archive.open(entry, "w") as file:
                np.lib.format.write_array(file, array, version=(1, 0), allow_pickle=False)
    return out.getvalue()


_TRIANGLE = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
"""A triangle in a binary STL, its corners against the clock as seen from outside [mm]"""

_STL_HEAD = 80
"""Bytes of text before the number of triangles."""

LEAST_TRIANGLES = 200
"""Fewer are no picture of a round part."""


def stl_bytes(surface: Surface, *, core_mm: float = 0.0, most_triangles: int = 2_000_000) -> bytes:
    """Return the knurled piece as a closed solid, a binary STL in millimetres.

    The axis is its Z, zero at the end face; X points to the map's first cell. The text at
    its head says how the map was thinned to keep within *most_triangles*.

    Args:
        surface: The height map; its first and last row become flat ends.
        core_mm: Diameter of a bore through it; 0 for none [mm]
        most_triangles: Where the map would need more, one row in two, three ... is taken,
            and of its cells as many.

    Raises:
        InputError: if the map cannot be shown, or the bore or the number is out of range.
    """
    _refuse_unfit(surface)
    least = 2.0 * (_radius_mm(surface) + float(surface.height_mm.min()))
    require("core_mm", core_mm, 0.0, 0.999 * least, "mm")
    require("most_triangles", most_triangles, LEAST_TRIANGLES, math.inf, "triangles")
    bored = core_mm > 0.0
    nth = _thinning(surface, bored, most_triangles)
    rows, cells = _taken(surface.rows, nth, last=True), _taken(surface.cells, nth)
    count = _triangles(rows.size, cells.size, bored)
    thinned = "every row and cell" if nth == 1 else f"thinned: 1 row and cell in {nth}"
    head = f"knurlcam height map, mm, estimate; {thinned}".encode("ascii")
    data = bytearray(_STL_HEAD + 4 + count * _TRIANGLE.itemsize)
    data[:_STL_HEAD] = head.ljust(_STL_HEAD)
    data[_STL_HEAD : _STL_HEAD + 4] = count.to_bytes(4, "little")
    space = np.frombuffer(data, dtype=_TRIANGLE, offset=_STL_HEAD + 4)
    done = 0
    for corners in _solid(surface, rows, cells, core_mm / 2.0):
        _fill(space[done : done + len(corners)], corners)
        done += len(corners)
    del space  # it must let go of the data first
    return bytes(data)


def _taken(count: int, nth: int, *, last: bool = False) -> NDArray[np.intp]:
    """Return every *nth* number below *count*, and the last one if asked for."""
    numbers = np.arange(0, count, nth)
    return np.append(numbers, count - 1) if last and numbers[-1] != count - 1 else numbers


def _triangles(rows: int, cells: int, bored: bool) -> int:
    """Return how many triangles a solid has: its wall, two ends and a bore."""
    wall, ends = 2 * (rows - 1) * cells, 2 * cells
    return wall + 2 * ends + 2 * cells if bored else wall + ends


def _thinning(surface: Surface, bored: bool, most: int) -> int:
    """Return the least whole factor by which the map keeps within *most* triangles."""
    nth = 1
    while _triangles(-(-(surface.rows - 1) // nth) + 1, -(-surface.cells // nth), bored) > most:
        nth += 1
    if -(-surface.cells // nth) < FEWEST_CELLS:
        raise InputError(
            "too few triangles for this map",
            key="most_triangles",
            value=most,
            remedy="allow more of them",
        )
    return nth


def _solid(
    surface: Surface, rows: NDArray[np.intp], cells: NDArray[np.intp], core_mm: float
) -> Iterator[NDArray[np.float32]]:
    """Yield the corners of all triangles, in blocks.

    Args:
        surface: The height map.
        rows: Those that are taken.
        cells: Those that are taken.
        core_mm: Radius of the bore; 0 for none [mm]
    """
    # Seen with the headstock on the left and X towards the viewer, Y points down.
    angle = -2.0 * math.pi * cells / surface.cells
    turned = np.stack((np.cos(angle), np.sin(angle)), axis=-1)
    zs = surface.z_mm + surface.dz_mm * rows

    def ring(row: int) -> NDArray[np.float32]:
        points: NDArray[np.float32] = _rings(surface, rows[[row]], cells, turned)[0]
        return points

    for block in _blocks(rows.size - 1, 16 * cells.size):
        yield _wall(_rings(surface, rows[block.start : block.stop + 1], cells, turned))
    inner = np.empty((2, cells.size, 3), dtype=np.float32)
    inner[..., :2], inner[..., 2] = core_mm * turned, zs[[0, -1], None]
    chuck, tail = ring(0), ring(rows.size - 1)
    if not core_mm:
        yield _fan(chuck, inner[0])[:, ::-1]
        yield _fan(tail, inner[1])
        return
    yield _wall(np.stack((inner[0], chuck)))
    yield _wall(np.stack((tail, inner[1])))
    yield _wall(inner)[:, ::-1]


def _rings(
    surface: Surface, rows: NDArray[np.intp], cells: NDArray[np.intp], turned: Reals
) -> NDArray[np.float32]:
    """Return the points of rows on the cylinder: rows, cells and x, y, z [mm]."""
    radius = _radius_mm(surface) + surface.height_mm[np.ix_(rows, cells)].astype(np.float64)
    points = np.empty((*radius.shape, 3), dtype=np.float32)
    points[..., :2] = radius[..., None] * turned
    points[..., 2] = (surface.z_mm + surface.dz_mm * rows)[:, None]
    return points


def _wall(rings: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return two triangles for each cell between rings, facing outwards."""
    here, there = rings[:-1], rings[1:]
    next_here, next_there = np.roll(here, -1, axis=1), np.roll(there, -1, axis=1)
    first = np.stack((here, next_there, next_here), axis=-2)
    second = np.stack((here, there, next_there), axis=-2)
    return np.concatenate((first.reshape(-1, 3, 3), second.reshape(-1, 3, 3)))


def _fan(ring: NDArray[np.float32], middle: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the triangles between a ring and the axis, facing the tailstock."""
    return np.stack((middle, np.roll(ring, -1, axis=0), ring), axis=-2)


def _fill(space: NDArray[Any], corners: NDArray[np.float32]) -> None:
    """Write triangles and their normals."""
    a, b, c = (corners[:, i].astype(np.float64) for i in range(3))
    normal = np.cross(b - a, c - a)
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    space["normal"] = normal / np.where(length > 0.0, length, 1.0)
    space["corners"] = corners
