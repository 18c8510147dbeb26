"""The grid of a height map: where its cells lie, and how fine it can be.

The grid is the pattern's: whole cells to a tooth, whole rows to a step of the helix, roots and
crests on cells. Then a map of one track has its crests' height whatever its resolution, and a
row of slanting teeth is a slice of one table that is never calculated twice.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from knurlcam.errors import InputError
from knurlcam.imprint.prints import Pattern
from knurlcam.imprint.rolling import Course, Rolling
from knurlcam.imprint.surface import Floats
from knurlcam.plan.model import Plan
from knurlcam.units.kinds import MM_PER_INCH, Kind, Units
from knurlcam.units.show import show, show_down

__all__ = ["Grid", "grid_of"]

CELLS_A_PITCH = 50.0
"""Cells to a pitch of a map whose resolution is not given [-]: a crest is then seen to about a
hundredth of the pitch."""

FEW_CELLS_A_PITCH = 12.0
"""Cells to a pitch of such a map where it would have more than :data:`MOST_CELLS` [-]"""

MOST_CELLS = 8e6
"""Cells of such a map, at most [-]"""

FEWEST_CELLS_A_PITCH = 8.0
"""Cells to a pitch below which two prints in one pitch are not seen [-]"""

FLAT_MARGIN = 1.5
"""Plain work that a map shows beyond the knurl [pitches]"""

MAPS_AT_ONCE = 4
"""Memory that a map takes while it is made and measured, over its own size [-]"""

MEMORY_SHARE = 0.5
"""Share of the machine's memory that a map may take while it is made [-]"""

MEMORY_UNKNOWN = 4 * 2**30
"""Memory that is assumed of a machine that does not report it [byte]"""


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
    # Plain work beside the knurl shows where it ends.
    margin = FLAT_MARGIN * pitch
    low = min(float(stay.left_mm.min()) for stay in course.stays) - margin
    high = min(max(float(stay.left_mm.max()) for stay in course.stays) + face + margin, 0.0)
    fine = resolution_mm
    if fine is None:
        # A long bar of fine teeth would take gigabytes at the resolution of a knob.
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
    # An even number of cells to a tooth: a crest lies on one as well as a root.
    cells = teeth * 2 * math.ceil(around / (2.0 * teeth * fine))
    lean = max(abs(g.lean) for g in pattern.grooves)
    rows_a_cell = 1
    if lean > 0.0:
        # So far along the work slanting teeth move round it by one cell.
        far = course.tracks[course.last_tracks[-1]].teeth / cells / lean
        rows_a_cell = math.ceil(far / fine)
        dz = far / rows_a_cell
    else:
        # Grooves that run round repeat after whole rows, with roots and crests on rows.
        ring = max(g.ring_mm for g in pattern.grooves) or 2.0 * fine
        dz = ring / (2.0 * math.ceil(ring / (2.0 * fine)))
    # Rows are counted from the tailstock, where the knurl begins.
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
    # Refused before anything is allocated: a machine that swaps for an hour says nothing.
    has = MEMORY_SHARE * _memory_bytes()

    def needs(of: Grid) -> float:
        return MAPS_AT_ONCE * np.dtype(np.float32).itemsize * of.rows * of.cells

    if needs(made) <= has:
        return
    unit = MM_PER_INCH if units == "inch" else 1.0
    fits = fine * math.sqrt(needs(made) / has) / unit
    # Two digits, rounded up: a figure that a person types.
    steps = 10.0 ** math.floor(math.log10(fits) - 1.0)
    offered = math.ceil(fits / steps)
    # Whole cells to a tooth take a little more.
    while needs(grid(offered * steps * unit)) > has:
        offered += 1
    raise InputError(
        f"needs {needs(made) / 2**30:,.1f} GiB of memory, and only {has / 2**30:,.1f} GiB may be "
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
    # Not every system has these names.
    except (AttributeError, OSError, ValueError):
        return MEMORY_UNKNOWN
