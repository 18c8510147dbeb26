"""Prints and raised metal on a grid: the height map itself."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.lib.stride_tricks import as_strided

from knurlcam.errors import InputError
from knurlcam.imprint.displaced_metal import Level
from knurlcam.imprint.prints import BLOCK_CELLS, Grooves, Pattern, Prints
from knurlcam.imprint.rolling import Course, Rolling, Track
from knurlcam.imprint.surface import Floats, Heights, Surface
from knurlcam.plan.planner import Plan
from knurlcam.units.kinds import MM_PER_INCH, Kind, Units
from knurlcam.units.show import show, show_down

__all__ = [
    "Grid",
    "grid_of",
    "raise_surface",
    "settle",
    "settled_surface",
    "surplus_of",
]


CELLS_A_PITCH = 50.0
"""Of a map whose resolution is not given: a crest is then seen to about a hundredth of the
pitch; ..."""

FEW_CELLS_A_PITCH = 12.0
MOST_CELLS = 8e6
"""... but if the map would have more cells than so, as few as that."""

FEWEST_CELLS_A_PITCH = 8.0
"""A coarser map does not show two prints in one pitch."""

FLAT_MARGIN = 1.5
"""Plain work that a map shows beyond the knurl [pitches]"""

EVEN = 4e-3
"""Share of the metal pressed in by which volume may be off before the pattern is taken to begin
elsewhere along the work."""

MOST_PERIODS = 50.0
"""Of a knurl of more periods the rest of one is next to nothing."""

PHASES_TRIED = 8
"""Beginnings that are tried, before halving between two that are off either way."""

MAPS_AT_ONCE = 4
"""A map takes up to so many times its own size while it is made and measured."""

MEMORY_SHARE = 0.5
"""Of the machine's memory that a map may take while it is made."""

MEMORY_UNKNOWN = 4 * 2**30
"""Memory of a machine that does not tell [byte]"""


@dataclass(frozen=True, slots=True)
class Grid:
    """Where the cells of a map lie.

    Attributes:
        rows: Circles along the work.
        cells: Cells round it.
        top_mm: Z of the row nearest to the tailstock, from Z0 [mm]
        dz_mm: Distance of two rows [mm]
        cell_mm: Distance of two cells round the blank [mm]
        rows_a_cell: Rows along which slanting teeth move by one cell.
        first_step: Steps of so many rows by which the row nearest to the tailstock lies within
            the pattern.
    """

    rows: int
    cells: int
    top_mm: float
    dz_mm: float
    cell_mm: float
    rows_a_cell: int
    first_step: int = 0

    @property
    def zs_mm(self) -> Floats:
        """Z of each row, rising [mm]."""
        return self.top_mm - self.dz_mm * np.arange(self.rows - 1, -1, -1)


def grid_of(
    course: Course, pattern: Pattern, rolling: Rolling, resolution_mm: float | None
) -> Grid:
    """Return a grid in which whole cells make a tooth, and slanting teeth step by whole cells.

    Roots and crests then lie on cells, and what repeats on the work repeats in the map.

    Args:
        course: The turns of the rolls.
        pattern: What they print.
        rolling: The rolls and the blank.
        resolution_mm: Largest distance of two cells; None for a good one [mm]

    Raises:
        InputError: if the map would not fit in the machine's memory.
    """
    around = math.pi * rolling.blank_diameter_mm
    pitch, face = rolling.plan.knurl.pitch_mm, rolling.plan.job.tool.face_width
    margin = FLAT_MARGIN * pitch
    low = min(float(stay.left_mm.min()) for stay in course.stays) - margin
    high = min(max(float(stay.left_mm.max()) for stay in course.stays) + face + margin, 0.0)
    fine = resolution_mm
    if fine is None:
        coarse = math.sqrt(around * (high - low) / MOST_CELLS)
        fine = max(pitch / CELLS_A_PITCH, min(coarse, pitch / FEW_CELLS_A_PITCH))
    _refuse_too_coarse(fine, rolling.plan)

    def grid(resolution: float) -> Grid:
        return _grid(course, pattern, around, (low, high), resolution)

    made = grid(fine)
    _refuse_too_large(made, fine, grid, rolling.plan.job.units)
    return made


def _grid(
    course: Course, pattern: Pattern, around: float, ends: tuple[float, float], fine: float
) -> Grid:
    low, high = ends
    # The grooves of a few tracks beside each other have whole cells; of very many they would
    # make the map far finer than it is to be.
    teeth = max(1, course.closing_teeth)
    if teeth * 2.0 * fine > around:
        teeth = max(1, round(course.natural_teeth))
    cells = teeth * 2 * math.ceil(around / (2.0 * teeth * fine))
    lean = max(abs(g.lean) for g in pattern.grooves)
    rows_a_cell = 1
    if lean > 0.0:
        # So far along the work slanting teeth move round it by one cell.
        far = course.tracks[course.last_tracks[-1]].teeth / cells / lean
        rows_a_cell = math.ceil(far / fine)
        dz = far / rows_a_cell
    else:
        # Grooves that run round come again after whole rows, with roots and crests on rows.
        ring = max(g.ring_mm for g in pattern.grooves) or 2.0 * fine
        dz = ring / (2.0 * math.ceil(ring / (2.0 * fine)))
    rows = max(1, math.ceil((high - low) / dz))
    return Grid(rows, cells, high - dz / 2.0, dz, around / cells, rows_a_cell)


def _refuse_too_coarse(resolution: float, plan: Plan) -> None:
    """Refuse a map that does not show the teeth."""
    most = plan.knurl.pitch_mm / FEWEST_CELLS_A_PITCH
    if resolution > most * (1.0 + 1e-9):
        units = plan.job.units
        raise InputError(
            "is too coarse to see the teeth",
            key="resolution",
            value=show(resolution, Kind.LENGTH, units),
            expected=f"{show_down(most, units)} or finer: {FEWEST_CELLS_A_PITCH:.0f} to a pitch",
            remedy="choose a finer one",
        )


def _refuse_too_large(made: Grid, fine: float, grid: Callable[[float], Grid], units: Units) -> None:
    """Refuse a map that would not fit in memory, and offer a resolution of one that does."""
    has = MEMORY_SHARE * _memory_bytes()

    def needs(of: Grid) -> float:
        return MAPS_AT_ONCE * np.dtype(np.float32).itemsize * of.rows * of.cells

    if needs(made) <= has:
        return
    unit = MM_PER_INCH if units == "inch" else 1.0
    fits = fine * math.sqrt(needs(made) / has) / unit
    steps = 10.0 ** math.floor(math.log10(fits) - 1.0)
    offered = math.ceil(fits / steps)
    # Whole cells to a tooth take a little more.
    while needs(grid(offered * steps * unit)) > has:
        offered += 1
    raise InputError(
        f"would take {needs(made) / 2**30:,.1f} GiB of memory, and {has / 2**30:,.1f} GiB may be "
        "used",
        key="resolution",
        value=show(fine, Kind.LENGTH, units, 7),
        expected=f"{offered * steps:.3g} {'in' if unit > 1.0 else 'mm'} or coarser",
        remedy="choose a coarser one",
    )


def _memory_bytes() -> int:
    """Return how much memory the machine has [byte]."""
    try:
        return os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")
    except (AttributeError, OSError, ValueError):
        return MEMORY_UNKNOWN


def raise_surface(grid: Grid, pattern: Pattern, prints: Prints, levels: Sequence[Level]) -> Surface:
    """Return the surface that prints and raised metal make.

    Args:
        grid: Where its cells lie.
        pattern: What the rolls print.
        prints: How deep each track is printed, in the rows of the grid.
        levels: How the metal answers each stage.
    """
    heights = np.empty((grid.rows, grid.cells), dtype=np.float32)
    waves = [
        [_waves(grid, pattern, prints.course.tracks[t]) for t in s.tracks] for s in prints.stages
    ]
    # Rows are worked on from the tailstock on: there phases are counted from.
    down = heights[::-1]
    step = grid.rows_a_cell * max(1, BLOCK_CELLS // (grid.cells * grid.rows_a_cell))
    tall = min(step, grid.rows) // grid.rows_a_cell + 1
    spare = np.empty((tall, grid.cells), dtype=np.float32)
    for first in range(0, grid.rows, step):
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


def settled_surface(
    grid: Grid, pattern: Pattern, prints: Prints, levels: Sequence[Level]
) -> Surface:
    """Return the surface, its pattern so along the work that no metal is missing at the ends.

    A knurl seldom ends with a whole period of its pattern, and what is left of one may be more
    crest than root. Where along the work the pattern begins nobody knows: that depends on how
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
    shift = -float(heights.sum(dtype=np.float64)) / (count * surface.cells)
    for row in np.flatnonzero(printed):
        heights[row] += np.float32(shift)
    return shift


def _spread(values: Heights, cells: int) -> Heights:
    """Return what stands in sectors for each cell, or one column where all are alike."""
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
    # Which way two rolls are turned to each other nobody knows: so that roots and crests lie
    # on cells.
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
