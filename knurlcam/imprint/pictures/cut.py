"""A cut through the teeth, taken from the height map; and where to take it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from knurlcam.errors import require
from knurlcam.imprint.asked import knurled_rows
from knurlcam.imprint.surface import Floats, Heights, Surface, refuse_unfit, round_the_start

__all__ = ["Section", "crest_z_mm", "section"]


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
"""Difference over the tooth height below which rows are alike [-]: a straight knurl's differ by
rounding."""

PATTERNED = 0.005
"""Rise and fall over the tooth height above which rows repeat along the axis [-]; less is where
the tool moved on between two turns."""

FEWEST_REPEAT_ROWS = 4
"""Rows after which a pattern of the rolls repeats, at least [-]: fine grooves have their
roots on a cell in one row, and between two cells in the next."""

FEWEST_REPEATS = 2
"""Repeats of a pattern along a knurl, at least [-]; what repeats less is a bow or a lean of it."""


def crest_z_mm(surface: Surface) -> float:
    """Return the Z of the row through the crests that is in the middle of the knurl [mm].

    It is looked for within one repeat of the pattern along the axis; of rows that are all
    alike it is the middle one. Not through the tallest teeth of the whole knurl: where the work
    deflects those stand at an end, and show nothing of the rest.

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
    """Return after how many rows a pattern repeats in the middle of a knurl; or one row."""
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
    """Return how often a pattern repeats in rows, by its strongest wave; 0 without one."""
    count = worth.size
    places = np.linspace(-1.0, 1.0, count)
    # A bow along the knurl is deflection, not pattern.
    bowed = np.polynomial.Polynomial.fit(places, worth, 2)(places)
    window = np.hanning(count)
    waves = np.abs(np.fft.rfft((worth - bowed) * window)) * 2.0 / window.sum()
    seen = slice(FEWEST_REPEATS, max(count // FEWEST_REPEAT_ROWS, FEWEST_REPEATS) + 1)
    strongest = FEWEST_REPEATS + int(waves[seen].argmax())
    return strongest if waves[strongest] > PATTERNED * float(np.median(tall)) else 0
