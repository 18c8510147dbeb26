"""The knurled part from the side, under the lamp."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from knurlcam.errors import InputError
from knurlcam.imprint.pictures.lamp import (
    GROUND,
    Light,
    averaged,
    grey_image,
    light_of,
    refuse_size,
    slopes_of,
)
from knurlcam.imprint.surface import Floats, Surface, blocks_of, refuse_unfit, round_the_start

__all__ = ["part_image", "part_scale"]

ROOM = 0.97
"""Share of its picture that the part fills [-]; the rest is ground about it."""

BEYOND_RAD = 0.15
"""Angle behind the silhouette at which a tooth may still show over it [rad]"""


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
    refuse_size(width=width, height=height)
    scale = part_scale(surface, width, height)
    edges = (np.arange(height + 1) - height / 2.0) / scale
    columns = np.empty((surface.rows, height), dtype=np.float32)
    # Half of the map is behind: it is not lit.
    cells = _front_cells(surface)
    for rows in blocks_of(surface.rows, cells.size):
        columns[rows] = _seen_from_the_side(surface, rows, cells, edges)
    start = (np.arange(width) - width / 2.0) / scale / surface.dz_mm + surface.rows / 2.0
    seen = averaged(columns, start, start + 1.0 / scale / surface.dz_mm)
    return grey_image(seen.T[::-1])


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
    heights, along, around = slopes_of(surface, rows, cells)
    angle = cells * (2.0 * math.pi / surface.cells)
    up = (surface.radius_mm + heights) * np.sin(angle)
    middle = cells.size // 2
    # What stands lower than a tooth before it is hidden, and takes no room.
    up[:, middle:] = np.maximum.accumulate(up[:, middle:], axis=1)
    up[:, middle::-1] = np.minimum.accumulate(up[:, middle::-1], axis=1)
    light = light_of(angle, along, around)
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
