"""A knurl under the lamp: pictures of its height map, grey as metal is.

Everything is shown as a machinist holds it: the axis across, the headstock on the left, the
lamp at the upper left. The pictures look at the map's first cell, where a roll that does not
come round in its own prints shows it. All light is averaged over a pixel, so that fine teeth
fade to an even grey and make no false pattern.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from knurlcam.drawing.drawing import png_bytes
from knurlcam.errors import InputError, require
from knurlcam.imprint.surface import (
    Floats,
    Heights,
    Surface,
    blocks_of,
    refuse_unfit,
    round_the_start,
)

__all__ = [
    "FEWEST_GLASS_CELLS",
    "glass_image",
    "moved_onto",
    "part_image",
    "part_scale",
    "patch_png",
]

Light: TypeAlias = NDArray[np.float32]
"""Light that comes from each point; 1 is white."""


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
        1.0 + mine[:, 1:-1] / np.float32(surface.radius_mm)
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
"""Directions of length 1: to the right, upwards, towards the viewer."""

_TO_GLEAM = _unit((_TO_LAMP[0], _TO_LAMP[1], _TO_LAMP[2] + 1.0))
"""Between the lamp and the viewer: a face that looks there reflects the one to the other."""


def _facing(
    towards: tuple[float, float, float], angle: Floats, along: Heights, around: Heights
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


def _light(angle: Floats, along: Heights, around: Heights) -> Light:
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


def _averaged(values: Light, low: Floats, high: Floats) -> Light:
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


def _between(total: Floats, where: Floats) -> Floats:
    """Return the sums up to *where*, between two of them too."""
    below = np.minimum(where.astype(np.intp), total.shape[0] - 2)
    share = (where - below)[:, None]
    sums: Floats = total[below] * (1.0 - share) + total[below + 1] * share
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
    refuse_unfit(surface)
    _refuse_size(width=width, height=height)
    scale = part_scale(surface, width, height)
    edges = (np.arange(height + 1) - height / 2.0) / scale
    columns = np.empty((surface.rows, height), dtype=np.float32)
    cells = _front_cells(surface)
    for rows in blocks_of(surface.rows, cells.size):
        columns[rows] = _seen_from_the_side(surface, rows, cells, edges)
    start = (np.arange(width) - width / 2.0) / scale / surface.dz_mm + surface.rows / 2.0
    seen = _averaged(columns, start, start + 1.0 / scale / surface.dz_mm)
    return _image(seen.T[::-1])


def part_scale(surface: Surface, width: int, height: int) -> float:
    """Return the scale of the part in its picture.

    Args:
        surface: The height map.
        width: Of the picture [pixels]
        height: Of the picture [pixels]

    Returns:
        The same in both directions [pixels/mm]

    Raises:
        InputError: if the part would be smaller than a pixel.
    """
    length, across = surface.length_mm, surface.across_mm
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
    return round_the_start(math.ceil(surface.cells * share))


def _seen_from_the_side(
    surface: Surface, rows: slice, cells: NDArray[np.intp], edges: Floats
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
    up = (surface.radius_mm + heights) * np.sin(angle)
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
    refuse_unfit(surface)
    _refuse_size(width=width, height=height)
    around_mm = _refuse_span(surface, span_mm, height / width)
    centre = moved_onto(surface, centre_z_mm, span_mm)
    edges = span_mm * (np.arange(width + 1) / width - 0.5)
    along = (centre + edges - surface.z_mm) / surface.dz_mm + 0.5
    first = min(max(math.floor(along[0]) - 1, 0), surface.rows - 1)
    last = max(min(math.ceil(along[-1]) + 1, surface.rows), first + 1)
    half = math.ceil(around_mm / surface.cell_mm / 2.0) + 2
    up = around_mm * (np.arange(height + 1) / height - 0.5) / surface.cell_mm + half + 0.5
    light = np.empty((last - first, height), dtype=np.float32)
    for rows in blocks_of(last - first, 2 * half):
        near = slice(rows.start + first, rows.stop + first)
        _, sloped, turned = _slopes(surface, near, round_the_start(half))
        flat = _light(np.zeros(1), sloped, turned)
        light[rows] = _averaged(flat.T, up[:-1], up[1:]).T
    seen = _averaged(light, along[:-1] - first, along[1:] - first)
    return _image(seen.T[::-1])


def _refuse_span(surface: Surface, span_mm: float, proportion: float) -> float:
    """Return how far a patch reaches round the work; refuse one that cannot be shown [mm]."""
    least = FEWEST_GLASS_CELLS * max(surface.dz_mm, surface.cell_mm / proportion)
    most = surface.around_mm / proportion
    require("span_mm", span_mm, least, most, "mm")
    return span_mm * proportion


def moved_onto(surface: Surface, centre_z_mm: float, span_mm: float) -> float:
    """Return the middle of a patch, moved so that it lies on the map if it fits at all.

    Args:
        surface: The height map.
        centre_z_mm: Z of the middle that is asked for [mm]
        span_mm: Length of the patch along the axis [mm]

    Returns:
        Z of its middle; that of the map where the patch is longer [mm]

    Raises:
        InputError: if *centre_z_mm* is no number.
    """
    if not math.isfinite(centre_z_mm):
        raise InputError("the patch stands nowhere", key="centre_z_mm", value=centre_z_mm)
    room = max(surface.length_mm - span_mm, 0.0) / 2.0
    middle = surface.middle_mm
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
        data = png_bytes(_of_few_greys(fine, levels), small=True)
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
