"""A patch of the knurl unrolled flat and enlarged, under the lamp."""

from __future__ import annotations

import math

import numpy as np
from PIL import Image

from knurlcam.drawing.png import png_bytes
from knurlcam.errors import InputError, require
from knurlcam.imprint.pictures.lamp import averaged, grey_image, light_of, refuse_size, slopes_of
from knurlcam.imprint.surface import Surface, blocks_of, refuse_unfit, round_the_start

__all__ = ["FEWEST_CLOSE_UP_CELLS", "close_up_image", "moved_onto", "patch_png"]

FEWEST_CLOSE_UP_CELLS = 4
"""Cells across a close-up, at least [-]: fewer are a blur."""


def close_up_image(
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
    refuse_size(width=width, height=height)
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
        _, sloped, turned = slopes_of(surface, near, round_the_start(half))
        # Unrolled: every cell faces the viewer, wherever it is round the work.
        flat = light_of(np.zeros(1), sloped, turned)
        light[rows] = averaged(flat.T, up[:-1], up[1:]).T
    seen = averaged(light, along[:-1] - first, along[1:] - first)
    return grey_image(seen.T[::-1])


def _refuse_span(surface: Surface, span_mm: float, proportion: float) -> float:
    """Return how far a patch reaches round the work; refuse one that cannot be shown [mm]."""
    least = FEWEST_CLOSE_UP_CELLS * max(surface.dz_mm, surface.cell_mm / proportion)
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
        InputError: if *centre_z_mm* is not a number.
    """
    if not math.isfinite(centre_z_mm):
        raise InputError("the close-up has no position", key="centre_z_mm", value=centre_z_mm)
    room = max(surface.length_mm - span_mm, 0.0) / 2.0
    middle = surface.middle_mm
    return min(max(centre_z_mm, middle - room), middle + room)


PATCH_LEVELS = (32, 16, 8, 4)
"""Greys of a close-up in a page [-]; fewer where it would take too much room."""

MOST_PATCH_BYTES = 60_000
"""Size of a close-up in a page that holds much else, at most [byte]"""


def patch_png(
    surface: Surface, *, centre_z_mm: float, span_mm: float, width: int = 440, height: int = 440
) -> bytes:
    """Return what :func:`close_up_image` does as a small PNG, to be put into a page.

    Args:
        surface: The height map.
        centre_z_mm: Z of its middle [mm]
        span_mm: Length along the axis, across the picture [mm]
        width: Of the picture [pixels]
        height: Of the picture [pixels]

    Raises:
        InputError: as :func:`close_up_image`, or if the picture takes too much room.
    """
    fine = close_up_image(
        surface, centre_z_mm=centre_z_mm, span_mm=span_mm, width=width, height=height
    )
    # Fewer greys before a smaller picture: teeth stay sharp.
    for levels in PATCH_LEVELS:
        data = png_bytes(_of_few_greys(fine, levels), small=True)
        if len(data) <= MOST_PATCH_BYTES:
            return data
    raise InputError(
        "the close-up takes too much room in a page",
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
