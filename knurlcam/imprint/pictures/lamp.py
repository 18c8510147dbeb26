"""The lamp: how much light comes from each point of a height map, grey as metal is.

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

from knurlcam.errors import require
from knurlcam.imprint.surface import Floats, Heights, Surface

__all__ = ["GROUND", "Light", "averaged", "grey_image", "light_of", "refuse_size", "slopes_of"]

Light: TypeAlias = NDArray[np.float32]
"""Light that comes from each point; 1 is white."""


def slopes_of(
    surface: Surface, rows: slice, cells: NDArray[np.intp]
) -> tuple[Heights, Heights, Heights]:
    """Return heights [mm] and slopes along the axis and round the work [mm/mm].

    Args:
        surface: The map.
        rows: Which rows.
        cells: Which cells, side by side; they go round.
    """
    first, last = max(rows.start - 1, 0), min(rows.stop + 1, surface.rows)
    # One cell more on each side, for slopes; the map goes round.
    wide = np.arange(cells[0] - 1, cells[-1] + 2)
    near = surface.height_mm[first:last].take(wide, axis=1, mode="wrap")
    own = np.arange(rows.start, rows.stop)
    before, after = np.maximum(own - 1, 0), np.minimum(own + 1, surface.rows - 1)
    # At the ends of the map the slope is to one side only.
    steps = ((after - before) * surface.dz_mm).astype(np.float32)[:, None]
    along = (near[after - first, 1:-1] - near[before - first, 1:-1]) / steps
    mine = near[own - first]
    arc: Heights = np.float32(2.0 * surface.cell_mm) * (
        1.0 + mine[:, 1:-1] / np.float32(surface.radius_mm)
    )
    return mine[:, 1:-1], along, (mine[:, 2:] - mine[:, :-2]) / arc


LAMP = (-0.30, 0.63, 0.72)
"""Direction of the lamp [-]: to the right, upwards, towards the viewer. It rakes, so that both
flanks of a tooth differ, and looks along neither straight teeth nor 30 degree ones; most of
the work's lower half is still lit."""

AMBIENT, FILL, DIFFUSE, SHINE = 0.03, 0.09, 0.55, 0.30
"""Shares of light [-]: from all round, from the viewer's side, from the lamp on dull metal,
and the lamp's reflection. So turned steel looks."""

SHINE_DOUBLINGS = 4
"""Squarings of the cosine by which the reflection falls off [-]: to the power of 16, as ground
steel."""

GROUND = 0.9
"""Light of what lies behind the part [-]: plain and lighter than most of the metal."""

GAMMA = 2.2
"""Exponent of screens [-]: light is averaged as light and written as they want it."""


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


def light_of(angle: Floats, along: Heights, around: Heights) -> Light:
    """Return the light of each point; see :func:`_facing` for the arguments."""
    length = np.sqrt(1.0 + along * along + around * around)

    def cosine(towards: tuple[float, float, float]) -> Light:
        facing = _facing(towards, angle, along, around)
        facing /= length
        return np.maximum(facing, 0.0, out=facing)

    lit, gleam = cosine(_TO_LAMP), cosine(_TO_GLEAM)
    # A power by squaring: NumPy's own takes more than ten times as long.
    for _ in range(SHINE_DOUBLINGS):
        gleam *= gleam
    gleam *= lit > 0.0
    light = np.float32(FILL) * cosine(_TO_VIEWER)
    light += np.float32(AMBIENT)
    light += np.float32(DIFFUSE) * lit
    light += np.float32(SHINE) * gleam
    return light


def averaged(values: Light, low: Floats, high: Floats) -> Light:
    """Return the mean along the first axis over ranges of it; beyond it is the ground.

    Args:
        values: One value for each step along the first axis.
        low: Where each range begins, the first value reaching from 0 to 1.
        high: Where each ends; a range shorter than a step is widened to it, which is to go
            evenly from one value to the next.
    """
    # Sums up to each step: any range is then a difference of two, at a constant cost.
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


def grey_image(light: Light) -> Image.Image:
    """Return light, the first row on top, as a grey picture."""
    # Light is averaged linearly and encoded last: fine teeth would come out too dark.
    shown = np.clip(light, 0.0, 1.0) ** (1.0 / GAMMA)
    return Image.fromarray(np.rint(255.0 * shown).astype(np.uint8))


LEAST_PIXELS, MOST_PIXELS = 16, 4096
"""Size of a picture, across and down [pixels]: for a screen or a sheet."""


def refuse_size(**sizes: int) -> None:
    """Refuse a picture that is too small or too large to be of use.

    Args:
        **sizes: Width and height by their names [pixels]

    Raises:
        OutOfRangeError: if one lies outside 16 to 4096 pixels.
    """
    for name, size in sizes.items():
        require(name, size, LEAST_PIXELS, MOST_PIXELS, "pixels")
