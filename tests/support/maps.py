"""Height maps of knurls as they would be if all went well, and what is seen on them."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from knurlcam.imprint.surface import Surface

DIAMETER_MM, LENGTH_MM, TEETH = 25.0, 20.0, 80
PITCH_MM = math.pi * DIAMETER_MM / TEETH
CELLS_A_TOOTH = 24


def v_grooves(u_mm: NDArray[np.float64], pitch_mm: float) -> NDArray[np.float64]:
    """Return right-angled grooves between truncated crests [mm]."""
    across = np.abs((u_mm / pitch_mm) % 1.0 - 0.5) * pitch_mm
    return np.minimum(across, 0.36 * pitch_mm)


@cache
def surface(kind: str, dz_mm: float = 0.05) -> Surface:
    """Return a knurl whose mean height is the blank's surface."""
    cell = PITCH_MM / CELLS_A_TOOTH
    z = -LENGTH_MM + dz_mm * np.arange(round(LENGTH_MM / dz_mm))[:, None]
    u = cell * np.arange(TEETH * CELLS_A_TOOTH)[None, :] + 0.0 * z
    lean = math.tan(math.radians(30.0)) * z
    height = {
        "plain": lambda: 0.0 * u,
        "straight": lambda: v_grooves(u, PITCH_MM),
        "doubled": lambda: v_grooves(u, PITCH_MM / 2.0),
        "right-hand": lambda: v_grooves(u + lean, PITCH_MM),
        "left-hand": lambda: v_grooves(u - lean, PITCH_MM),
        "pits": lambda: np.maximum(v_grooves(u + lean, PITCH_MM), v_grooves(u - lean, PITCH_MM)),
        "diamond": lambda: np.minimum(v_grooves(u + lean, PITCH_MM), v_grooves(u - lean, PITCH_MM)),
    }[kind]()
    return Surface((height - height.mean()).astype(np.float32), float(z[0, 0]), dz_mm, cell)


def grey(image: Image.Image) -> NDArray[np.float64]:
    return np.asarray(image.convert("L")).astype(float)


def lines_seen(column: NDArray[np.float64]) -> int:
    """Return how often the strongest pattern comes again."""
    return int(np.abs(np.fft.rfft(column - column.mean()))[1:].argmax()) + 1


def heights(*shape: int, fill: float = 0.0) -> NDArray[np.float32]:
    return np.full(shape, fill, dtype=np.float32)


UNFIT = [
    Surface(heights(1, 400), -1.0, 0.1, 0.1),
    Surface(heights(0, 0), -1.0, 0.1, 0.1),
    Surface(heights(50, 3), -1.0, 0.1, 0.1),
    Surface(heights(400), -1.0, 0.1, 0.1),
    Surface(heights(20, 400, fill=math.nan), -1.0, 0.1, 0.1),
    Surface(heights(20, 400, fill=math.inf), -1.0, 0.1, 0.1),
    Surface(heights(20, 400, fill=-9.0), -1.0, 0.1, 0.1),
    Surface(heights(20, 400), -1.0, 0.0, 0.1),
    Surface(heights(20, 400), -1.0, 0.1, math.nan),
    Surface(heights(20, 400), math.nan, 0.1, 0.1),
]
"""Maps that cannot be shown."""
