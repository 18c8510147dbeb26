"""The height map of a knurl: what every measure, picture and file of it is taken from."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from knurlcam.errors import InputError

__all__ = [
    "FEWEST_CELLS",
    "Floats",
    "Heights",
    "Surface",
    "blocks_of",
    "refuse_unfit",
    "round_the_start",
]

Heights: TypeAlias = NDArray[np.float32]
"""Heights above the blank's surface, radial; single precision, as a map holds them [mm]"""

Floats: TypeAlias = NDArray[np.floating[Any]]
"""Other real numbers, of whatever precision a calculation gives."""

FEWEST_ROWS = 2
FEWEST_CELLS = 12
"""Rows and cells of a map that can be shown, at least [-]: with fewer it has no slopes, or is not
round."""

CELLS_AT_ONCE = 1 << 19
"""Cells of a map that are shown or written together [-]: an array of so many numbers takes 4 MB
at most, and a picture needs some ten of them beside the map, however large that is."""


@dataclass(frozen=True, slots=True)
class Surface:
    """The surface of the work about the knurl, unrolled.

    Attributes:
        height_mm: Height above the blank's surface, radial; a row is a circle round the work,
            rows run from the headstock's side to the tailstock, cells upwards as seen from
            outside with the headstock on the left. Single precision, C order [mm]
        z_mm: Z of the first row, from the end face; negative towards the chuck [mm]
        dz_mm: Distance of two rows [mm]
        cell_mm: Distance of two cells round the blank [mm]
    """

    height_mm: Heights
    z_mm: float
    dz_mm: float
    cell_mm: float

    @property
    def rows(self) -> int:
        """Number of circles."""
        return int(self.height_mm.shape[0])

    @property
    def cells(self) -> int:
        """Number of cells round the work."""
        return int(self.height_mm.shape[1])

    @property
    def blank_diameter_mm(self) -> float:
        """Diameter of the blank, whose surface is at height 0 [mm]."""
        return self.around_mm / math.pi

    @property
    def zs_mm(self) -> Floats:
        """Z of each row [mm]."""
        return self.z_mm + self.dz_mm * np.arange(self.rows)

    @property
    def radius_mm(self) -> float:
        """Radius of the blank [mm]."""
        return self.blank_diameter_mm / 2.0

    @property
    def around_mm(self) -> float:
        """Length once round the blank [mm]."""
        return self.cells * self.cell_mm

    @property
    def across_mm(self) -> float:
        """Diameter over the highest crest; the blank's where nothing stands above it [mm]."""
        return self.blank_diameter_mm + 2.0 * max(float(self.height_mm.max()), 0.0)

    @property
    def length_mm(self) -> float:
        """Length that is mapped: each row stands for a ring one step wide [mm]."""
        return self.rows * self.dz_mm

    @property
    def middle_mm(self) -> float:
        """Z of the middle of that length [mm]."""
        return self.z_mm + (self.rows - 1) * self.dz_mm / 2.0


def refuse_unfit(surface: Surface) -> None:
    """Refuse a map that has no slopes, holds a hole or reaches the axis.

    Args:
        surface: The height map.

    Raises:
        InputError: if it cannot be shown; says why.
    """
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
        raise InputError("the map has no position", key="z_mm", value=surface.z_mm)
    radius, low, high = surface.radius_mm, float(heights.min()), float(heights.max())
    if not -radius < low <= high < radius:  # not a number is refused as well
        raise InputError(
            "a height is not a number, or not of this work",
            key="height_mm",
            expected=f"between -{radius:g} and {radius:g} mm",
        )


def blocks_of(rows: int, cells: int) -> Iterator[slice]:
    """Yield rows in blocks that are small enough to be worked on at once.

    Args:
        rows: Number of rows [-]
        cells: Cells that are worked on in each of them [-]

    Yields:
        The rows of each block, from the first one on; together they are all.
    """
    # A row is never divided, however long: all work goes along rows.
    step = max(1, CELLS_AT_ONCE // max(cells, 1))
    for first in range(0, rows, step):
        yield slice(first, min(first + step, rows))


def round_the_start(half: int) -> NDArray[np.intp]:
    """Return the numbers of cells before and after the first one; they go round.

    Args:
        half: So many to each side [-]

    Returns:
        Numbers from -half to half, rising [-]
    """
    return np.arange(-half, half + 1)
