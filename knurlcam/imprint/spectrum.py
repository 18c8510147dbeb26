"""Teeth round the work and their helix, found in a map by its spectrum (Fourier)."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from knurlcam.imprint.asked import Asked, Knurled
from knurlcam.imprint.surface import Floats

__all__ = ["teeth_and_lean"]

Waves = NDArray[np.complexfloating[Any, Any]]

PERIODS_LOOKED_AT = 16
ROWS_LOOKED_AT = 256
"""Axial periods and rows, about the middle of the knurl, in which teeth and helix are found [-]"""

LEANS_LOOKED_AT = (0.75, 1.3, 64)
"""Least and largest lean that is tried, over the one asked for, and how many [-]: rolls that are
a few degrees askew are seen, and no wave of another origin."""

REFINEMENTS = 24
"""Thirds cut off the interval about the best lean [-]: far below any angle that matters."""

LEAST_PART = 1e-6
"""Waves that differ by less count as one [-]: a knurl may be shorter than its pattern's period."""


def teeth_and_lean(knurl: Knurled) -> tuple[int, float]:
    """Return teeth round the work and how much they lean.

    Args:
        knurl: What is measured.

    Returns:
        Teeth [-] and the size of their shift for a millimetre along the axis [teeth/mm]
    """
    heights, dz, asked = knurl.heights, knurl.surface.dz_mm, knurl.asked
    slants = sorted({lean for lean in asked.leans if lean})
    tall = len(heights)
    if slants:
        tall = min(tall, max(2, math.ceil(PERIODS_LOOKED_AT / abs(slants[0]) / dz)))
    first, every = (len(heights) - tall) // 2, -(-tall // ROWS_LOOKED_AT)
    looked_at = heights[first : first + tall : every]
    waves = np.fft.rfft(looked_at, axis=1)
    # Teeth that are not four cells wide are not seen.
    waves = waves[:, : max(3, heights.shape[1] // 4 + 1)]
    zs = dz * every * np.arange(len(waves))
    if asked.family == "indented":
        # Pits are counted in a row that goes through them, as with a glass.
        power = np.abs(waves[int(looked_at.min(axis=1).argmin())])
    else:
        power = np.max([_along_grooves(waves, zs, lean, asked) for lean in asked.leans], axis=0)
    # Neither the mean height nor a runout once round are teeth.
    power[:2] = 0.0
    teeth = int(power.argmax())
    if not slants:
        return teeth, 0.0
    lean = teeth / asked.natural_teeth * abs(slants[0])
    # Of prints beside each other waves of all slants come together: their slant is the rolls'.
    doubled = teeth != round(asked.natural_teeth)
    if doubled or len(heights) * dz * lean < 1.0:
        return teeth, lean
    near = zs <= PERIODS_LOOKED_AT / lean
    crossing = len(slants) > 1
    # A left-hand wave turned round: both hands are then searched alike.
    own = np.conj(waves[near, teeth]) if slants[0] < 0.0 else waves[near, teeth]
    return teeth, _best_lean(own, zs[near], lean, crossing=crossing)


def _along_grooves(waves: Waves, zs: Floats, lean: float, asked: Asked) -> Floats:
    """Return how strong each number of teeth is along grooves that lean as asked."""
    each = np.arange(waves.shape[1]) / asked.natural_teeth
    back = np.exp(-2j * math.pi * lean * zs[:, None] * each)
    return np.asarray(np.abs((waves * back).sum(axis=0)), dtype=np.float64)


def _best_lean(wave: Waves, zs: Floats, asked: float, *, crossing: bool) -> float:
    """Return the lean at which waves along the grooves leave least of a wave unexplained.

    Grooves that cross each other's make waves of three times their lean as well.

    Args:
        wave: The wave of the teeth, row by row.
        zs: Z of the rows [mm]
        asked: Lean that was asked for [teeth/mm]
        crossing: Whether two families cross.
    """
    parts = np.array([1.0, -1.0, 3.0, -3.0] if crossing else [1.0])

    def left(lean: float) -> float:
        grooves = np.exp(2j * math.pi * lean * zs[:, None] * parts)
        found = np.linalg.lstsq(grooves, wave, rcond=LEAST_PART)[0]
        return float(np.square(np.abs(wave - grooves @ found)).sum())

    looks = asked * np.linspace(*LEANS_LOOKED_AT)
    step = float(looks[1] - looks[0])
    low = float(looks[int(np.argmin([left(look) for look in looks]))]) - step
    high = low + 2.0 * step
    for _ in range(REFINEMENTS):
        third = (high - low) / 3.0
        if left(low + third) > left(high - third):
            low += third
        else:
            high -= third
    return (low + high) / 2.0
