"""The height map: cells a second against the machine's memory, peak memory, and growth.

Run it from the checkout::

    python -m tests.long.bench.imprint

The rolls of a diamond of 25 mm diameter and 40 mm length, in four passes, on a map whose cells
are at most 0.02 mm apart. A cell is updated each time that a roll touches it, turn by turn.
Turns that lie in the same track are merged before the map is touched, so the map itself is
written far less often; both are printed.
"""

from __future__ import annotations

import time
import tracemalloc
from collections.abc import Callable
from typing import Any

import numpy as np

from knurlcam.imprint.displaced_metal import levels_of
from knurlcam.imprint.grid import grid_of
from knurlcam.imprint.height_map import settle, settled_surface
from knurlcam.imprint.make import make_imprint
from knurlcam.imprint.prints import pattern_of, prints_of
from knurlcam.imprint.rolling import Course, Rolling
from knurlcam.imprint.stays import stays_on_work
from knurlcam.imprint.tracks import roll_on
from tests.support.imprints import Made

RESOLUTION_MM = 0.02
RUNS = 5


def best(work: Callable[[], Any]) -> float:
    """Return the least time of some runs [s]."""
    times = []
    for _ in range(RUNS):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def diamond(length: float = 40.0, passes: int = 4, **more: Any) -> Made:
    """Return the job of a diamond so long, in so many passes."""
    return Made(
        {
            "knurl.length": length,
            "part.length": max(100.0, length + 60.0),
            "process.passes": passes,
            "process.accept": ["bends-the-work"],
            **more,
        }
    )


def made_of(made: Made, blank_mm: float, *, stiff: bool) -> tuple[int, int]:
    """Make the map; return how many cells the rolls touched, and its size in bytes."""
    plan = made.plan
    rolling = Rolling(plan, blank_mm, stiff)
    course = roll_on(rolling, stays_on_work(rolling, made.line))
    pattern = pattern_of(plan.knurl)
    grid = grid_of(course, pattern, rolling, RESOLUTION_MM)
    prints = prints_of(course, grid.zs_mm, plan.job.tool.face_width)
    surface = settled_surface(grid, pattern, prints, levels_of(pattern, prints))
    settle(surface, prints)
    touched = rows_touched(course, grid.zs_mm, plan.job.tool.face_width)
    return touched * grid.cells * len(pattern.grooves), surface.height_mm.nbytes


def rows_touched(course: Course, zs_mm: Any, face_mm: float) -> int:
    """Return how many rows the rolls touched, each turn counted by itself."""
    count = 0
    for turn in course.turns:
        stay = course.stays[turn.stay]
        ends = np.interp([turn.number, turn.number + 1], stay.turns, stay.left_mm)
        low, high = np.searchsorted(zs_mm, [ends.min(), ends.max() + face_mm])
        count += int(high - low)
    return count


def bandwidth(size: int) -> float:
    """Return cells a second of NumPy's own read, modify and write of a map in memory."""
    cells = size // 4
    one, other = np.zeros(cells, np.float32), np.ones(cells, np.float32)
    return cells / best(lambda: np.minimum(one, other, out=one))


def main() -> None:
    """Print the ratios."""
    made = diamond()
    plan = made.plan
    closing, doubling = plan.blank_diameter_mm, plan.blank_diameter_mm + 0.2
    _, size = made_of(made, closing, stiff=True)
    memory = bandwidth(size)
    print(f"map of {size / 2**20:.0f} MiB; NumPy reads, modifies, writes {memory:.3g} cells/s")
    for name, blank, stiff in (
        ("blank that closes, stiff work", closing, True),
        ("blank that closes, work that gives way", closing, False),
        ("blank that doubles, stiff work", doubling, True),
    ):
        seconds = best(lambda blank=blank, stiff=stiff: made_of(made, blank, stiff=stiff))
        touched, written = made_of(made, blank, stiff=stiff)
        rate, plain = touched / seconds, written / 4 / seconds
        print(
            f"{name}: {seconds:.3f} s, {touched:.3g} updates, {rate:.3g} /s, "
            f"of memory {rate / memory:.2f} (limit 0.5); cells of the map {plain / memory:.3f}"
        )
    tracemalloc.start()
    make_imprint(plan, made.motion, resolution_mm=RESOLUTION_MM)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    print(f"peak memory with measures / map: {peak / size:.2f} (limit 4)")
    lengths = [
        best(lambda m=m: make_imprint(m.plan, m.motion, resolution_mm=RESOLUTION_MM, stiff=True))
        for m in (diamond(30.0), diamond(60.0), diamond(120.0))
    ]
    print(f"30 to 60 to 120 mm long: {lengths[1] / lengths[0]:.2f}, {lengths[2] / lengths[1]:.2f}")
    counts = [
        best(lambda m=m: make_imprint(m.plan, m.motion, resolution_mm=RESOLUTION_MM, stiff=True))
        for m in (diamond(passes=3), diamond(passes=6), diamond(passes=12))
    ]
    print(f"3 to 6 to 12 passes: {counts[1] / counts[0]:.2f}, {counts[2] / counts[1]:.2f}")
    print("(2 is linear; less is what merging turns saves)")


if __name__ == "__main__":
    main()
