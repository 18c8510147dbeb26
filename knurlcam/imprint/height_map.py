"""Prints and raised metal on a grid: the height map itself."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.lib.stride_tricks import as_strided

from knurlcam.imprint.displaced_metal import Level
from knurlcam.imprint.grid import Grid
from knurlcam.imprint.prints import BLOCK_CELLS, Grooves, Pattern, Prints
from knurlcam.imprint.rolling import Course, Track
from knurlcam.imprint.surface import Floats, Heights, Surface

__all__ = ["raise_surface", "settle", "settled_surface", "surplus_of"]

EVEN = 4e-3
"""Share of the metal pressed in by which volume may be off before the pattern is taken to begin
elsewhere along the work [-]"""

MOST_PERIODS = 50.0
"""Periods of the pattern above which what is left of one at the end no longer matters [-]"""

PHASES_TRIED = 8
"""Beginnings that are tried, before halving between two that are off either way [-]"""


def raise_surface(grid: Grid, pattern: Pattern, prints: Prints, levels: Sequence[Level]) -> Surface:
    """Return the surface that prints and raised metal make.

    Args:
        grid: Where its cells lie.
        pattern: What the rolls print.
        prints: How deep each track is printed, in the rows of the grid.
        levels: How the metal answers each stage.
    """
    heights = np.empty((grid.rows, grid.cells), dtype=np.float32)
    # Made once for the whole grid: a row is then a slice of a table.
    tracks = _on_cells(prints.course)
    waves = [[_waves(grid, pattern, tracks[t]) for t in s.tracks] for s in prints.stages]
    # Rows are worked on from the tailstock on: there phases are counted from.
    down = heights[::-1]
    step = grid.rows_a_cell * max(1, BLOCK_CELLS // (grid.cells * grid.rows_a_cell))
    tall = min(step, grid.rows) // grid.rows_a_cell + 1
    spare = np.empty((tall, grid.cells), dtype=np.float32)
    for first in range(0, grid.rows, step):
        # Blocks stay in the cache through all stages: each cell of the map is written once.
        block = down[first : first + step]
        block.fill(0.0)
        for stage, level, teeth in zip(prints.stages, levels, waves, strict=True):
            rows = slice(first, first + step)
            raised = level.raised_mm[::-1][rows]
            depths = [depth[::-1][rows] for depth in stage.depth_mm]
            if np.any(raised):
                np.add(block, _spread(raised, grid.cells), out=block)
            for wave, depth in zip(teeth, depths, strict=True):
                if not np.isneginf(depth).all():
                    _cut(block, wave, first, _spread(depth, grid.cells), spare)
            held = level.held_mm[::-1][rows]
            if np.any(held):
                np.add(block, _spread(held, grid.cells), out=block)
    return Surface(heights, grid.top_mm - grid.dz_mm * (grid.rows - 1), grid.dz_mm, grid.cell_mm)


def _on_cells(course: Course) -> list[Track]:
    """Return the tracks turned so that roots and crests of the last one lie on cells."""
    # Else a coarse map would miss crests that are narrower than a cell.
    phase = course.tracks[course.last_tracks[-1]].phase
    return [track._replace(phase=track.phase - phase) for track in course.tracks]


def settled_surface(
    grid: Grid, pattern: Pattern, prints: Prints, levels: Sequence[Level]
) -> Surface:
    """Return the surface, its pattern so along the work that no metal is missing at the ends.

    A knurl seldom ends with a whole period of its pattern, and what is left of one may be more
    crest than root. Where along the work the pattern begins is unknown: that depends on how
    the rolls were turned to each other. So it is taken to begin where metal comes out even.

    Args:
        grid: Where its cells lie.
        pattern: What the rolls print.
        prints: How deep each track is printed, in the rows of the grid.
        levels: How the metal answers each stage.
    """

    def raised(step: int) -> Surface:
        return raise_surface(replace(grid, first_step=step), pattern, prints, levels)

    surface = raised(0)
    off = surplus_of(surface)
    ring = max(g.ring_mm for g in pattern.grooves)
    around = grid.cells / prints.course.tracks[prints.course.last_tracks[-1]].teeth / 2.0
    period = max(2, round(ring / grid.dz_mm if ring else around))
    periods = grid.rows / grid.rows_a_cell / period
    if len(pattern.grooves) == 1 or abs(off) < EVEN or periods > MOST_PERIODS:
        return surface
    # One map at a time: only how far each was off is kept.
    del surface
    return raised(_evenest(period, off, lambda step: surplus_of(raised(step))))


def _evenest(period: int, first: float, off: Callable[[int], float]) -> int:
    """Return the step of a period at which a map is least off, by halving where the sign turns."""
    tried = {0: first}
    before, low = first, 0
    for high in sorted({round(period * i / PHASES_TRIED) for i in range(1, PHASES_TRIED + 1)}):
        tried[high] = here = off(high)
        # Not the one search by halving: steps are whole, and the least of all that were tried
        # counts.
        if (before < 0.0) != (here < 0.0):
            break
        before, low = here, high
    while high - low > 1 and min(map(abs, tried.values())) >= EVEN:
        middle = (low + high) // 2
        tried[middle] = here = off(middle)
        low, high = (middle, high) if (here < 0.0) == (before < 0.0) else (low, middle)
    return min(tried, key=lambda step: abs(tried[step]))


def surplus_of(surface: Surface) -> float:
    """Return what stands above the blank less what is missing below it, over the latter [-].

    Args:
        surface: The surface.
    """
    above = pressed = 0.0
    for rows in np.array_split(surface.height_mm, max(1, surface.height_mm.size // BLOCK_CELLS)):
        above += float(rows.sum(dtype=np.float64))
        pressed -= float(np.minimum(rows, 0.0).sum(dtype=np.float64))
    return above / pressed if pressed else 0.0


def settle(surface: Surface, prints: Prints) -> float:
    """Shift printed rows by what their volume is still off, all alike.

    Cells cut corners, and prints that drift past each other are levelled by parts of a turn: it
    comes to a micrometre or so; to some more of a knurl that is shorter than its pattern.

    Args:
        surface: The surface; changed in place.
        prints: How deep each track is printed, in its rows.

    Returns:
        By how much [mm]
    """
    printed = np.zeros(surface.rows, dtype=bool)
    for stage in prints.stages:
        printed |= np.isfinite(stage.depth_mm).any(axis=(0, 2))
    heights, count = surface.height_mm, int(printed.sum())
    # Over the printed rows only: plain work stays at height 0.
    shift = -float(heights.sum(dtype=np.float64)) / (count * surface.cells)
    for row in np.flatnonzero(printed):
        heights[row] += np.float32(shift)
    return shift


def _spread(values: Heights, cells: int) -> Heights:
    """Return what stands in sectors for each cell, or one column where all are alike."""
    # One column broadcasts; a whole row would take the memory of the block once more.
    if (values == values[:, :1]).all():
        return values[:, :1]
    sector = np.arange(cells) * values.shape[1] // cells
    return values[:, sector]


class Wave(NamedTuple):
    """Teeth of one family along and round the work, tips at 0.

    Attributes:
        table: Rows of teeth: for each row within the step of one cell, the work round and as
            many cells more as the teeth lean; of teeth that run round, one cell a row [mm]
        lean: Cells by which the teeth move back for each such step.
        start: Cell of the table at which the first step starts.
    """

    table: Heights
    lean: int
    start: int

    def rows(self, first: int, count: int, within: int, cells: int) -> Heights:
        """Return so many rows from a step on, of one row within each step."""
        if self.table.shape[1] == 1:
            return self.table[within :: self.start][first : first + count]
        row = self.table[within]
        begin = row[self.start - self.lean * first :]
        size = row.itemsize
        # Row after row the same table, begun some cells earlier: slanting teeth without a copy.
        return as_strided(begin, (count, cells), (-self.lean * size, size), writeable=False)


class _Teeth(NamedTuple):
    """All families of teeth of one track."""

    waves: tuple[Wave, ...]
    pits: bool
    grid: Grid


def _waves(grid: Grid, pattern: Pattern, track: Track) -> _Teeth:
    """Return the teeth of a track on the whole of a grid."""
    made = tuple(_wave(grid, pattern.slope, track, g) for g in pattern.grooves)
    return _Teeth(made, pattern.pits, grid)


def _wave(grid: Grid, slope: float, track: Track, grooves: Grooves) -> Wave:
    steps = grid.rows_a_cell
    if grooves.ring_mm:
        # Rings move up and down the work with the rolls; steps are of one row.
        rows = np.arange(grid.rows + grid.first_step) + round(track.z_mm / grid.dz_mm)
        return Wave(_tips(rows * (grid.dz_mm / grooves.ring_mm), slope)[:, None], 0, steps)
    lean = (grooves.lean > 0.0) - (grooves.lean < 0.0)
    more = (grid.rows // steps + 1 + grid.first_step) if lean else 0
    start = more if lean > 0 else 0
    cells = np.arange(-start, grid.cells + more - start)
    back = lean * np.arange(steps)[:, None] / steps
    # How two rolls are turned to each other is unknown: taken so that roots and crests lie on
    # cells.
    cells_a_tooth = grid.cells / track.teeth
    from_z = -round(grooves.lean * track.z_mm * cells_a_tooth) / cells_a_tooth
    phases = track.teeth * (cells - back) / grid.cells + track.phase + from_z
    return Wave(_tips(phases, slope), lean, start)


def _tips(phases: Floats, slope: float) -> Heights:
    """Return how far teeth stand back from their tips, which are at whole phases."""
    return (np.abs(phases - np.round(phases)) * slope).astype(np.float32)


def _cut(block: Heights, teeth: _Teeth, first: int, depth: Heights, spare: Heights) -> None:
    """Cut a block down to the teeth of one track, which stand so deep."""
    cells, steps = block.shape[1], teeth.grid.rows_a_cell
    step = first // steps + teeth.grid.first_step
    for within in range(min(steps, len(block))):
        part = block[within::steps]
        count, deep = len(part), depth[within::steps]
        out = spare[:count]
        rows = [w.rows(step, count, within, cells) for w in teeth.waves]
        if teeth.pits:
            np.maximum(rows[0], rows[1], out=out)
            rows = [out]
        for wave in rows:
            np.subtract(wave, deep, out=out)
            np.minimum(part, out, out=part)
