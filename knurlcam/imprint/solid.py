"""The knurled piece as a closed solid, for programs that read STL."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from knurlcam.errors import InputError, require
from knurlcam.imprint.surface import FEWEST_CELLS, Floats, Surface, blocks_of, refuse_unfit

__all__ = ["stl_bytes"]

_TRIANGLE = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
"""A triangle in a binary STL, its corners against the clock as seen from outside [mm]"""

_STL_HEAD = 80
"""Length of the text before the number of triangles [byte]"""

LEAST_TRIANGLES = 200
"""Triangles of a solid, at least [-]: fewer do not make a round part."""


def stl_bytes(surface: Surface, *, most_triangles: int = 2_000_000) -> bytes:
    """Return the knurled piece as a closed solid, a binary STL in millimetres.

    The axis is its Z, zero at the end face; X points to the map's first cell. The text at
    its head says how the map was thinned to keep within *most_triangles*.

    Args:
        surface: The height map; its first and last row become flat ends.
        most_triangles: Where the map would need more, one row in two, three ... is taken,
            and of its cells as many.

    Raises:
        InputError: if the map cannot be shown, or the number is out of range.
    """
    refuse_unfit(surface)
    require("most_triangles", most_triangles, LEAST_TRIANGLES, math.inf, "triangles")
    nth = _thinning(surface, most_triangles)
    rows, cells = _taken(surface.rows, nth, last=True), _taken(surface.cells, nth)
    count = _triangles(rows.size, cells.size)
    thinned = "every row and cell" if nth == 1 else f"thinned: 1 row and cell in {nth}"
    head = f"knurlcam height map, mm, estimate; {thinned}".encode("ascii")
    data = bytearray(_STL_HEAD + 4 + count * _TRIANGLE.itemsize)
    data[:_STL_HEAD] = head.ljust(_STL_HEAD)
    data[_STL_HEAD : _STL_HEAD + 4] = count.to_bytes(4, "little")
    space = np.frombuffer(data, dtype=_TRIANGLE, offset=_STL_HEAD + 4)
    done = 0
    for corners in _solid(surface, rows, cells):
        _fill(space[done : done + len(corners)], corners)
        done += len(corners)
    del space  # it must let go of the data first
    return bytes(data)


def _taken(count: int, nth: int, *, last: bool = False) -> NDArray[np.intp]:
    """Return every *nth* number below *count*, and the last one if asked for."""
    numbers = np.arange(0, count, nth)
    return np.append(numbers, count - 1) if last and numbers[-1] != count - 1 else numbers


def _triangles(rows: int, cells: int) -> int:
    """Return how many triangles a solid has: two for each cell of its wall, and two ends."""
    return 2 * (rows - 1) * cells + 2 * cells


def _thinning(surface: Surface, most: int) -> int:
    """Return the least whole factor by which the map keeps within *most* triangles."""
    # Rows and cells by the same factor, so that teeth keep their shape.
    nth = 1
    while _triangles(-(-(surface.rows - 1) // nth) + 1, -(-surface.cells // nth)) > most:
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
    surface: Surface, rows: NDArray[np.intp], cells: NDArray[np.intp]
) -> Iterator[NDArray[np.float32]]:
    """Yield the corners of all triangles, in blocks.

    Args:
        surface: The height map.
        rows: Those that are taken.
        cells: Those that are taken.
    """
    # Seen with the headstock on the left and X towards the viewer, Y points down.
    angle = -2.0 * math.pi * cells / surface.cells
    turned = np.stack((np.cos(angle), np.sin(angle)), axis=-1)
    for block in blocks_of(rows.size - 1, 16 * cells.size):
        yield _wall(_rings(surface, rows[block.start : block.stop + 1], cells, turned))
    chuck, tail = _rings(surface, rows[[0, -1]], cells, turned)
    yield _fan(chuck)[:, ::-1]
    yield _fan(tail)


def _rings(
    surface: Surface, rows: NDArray[np.intp], cells: NDArray[np.intp], turned: Floats
) -> NDArray[np.float32]:
    """Return the points of rows on the cylinder: rows, cells and x, y, z [mm]."""
    radius = surface.radius_mm + surface.height_mm[np.ix_(rows, cells)].astype(np.float64)
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


def _fan(ring: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the triangles between a ring and the axis, facing the tailstock."""
    middle = ring * np.array([0.0, 0.0, 1.0], dtype=np.float32)
    return np.stack((middle, np.roll(ring, -1, axis=0), ring), axis=-2)


def _fill(space: NDArray[Any], corners: NDArray[np.float32]) -> None:
    """Write triangles and their normals."""
    a, b, c = (corners[:, i].astype(np.float64) for i in range(3))
    normal = np.cross(b - a, c - a)
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    space["normal"] = normal / np.where(length > 0.0, length, 1.0)
    space["corners"] = corners
