"""Maps of plain grooves, cut by a formula, and what is asked of them."""

from __future__ import annotations

import math

import numpy as np

from knurlcam.imprint.asked import Asked
from knurlcam.imprint.surface import Surface
from knurlcam.mechanics.tooth import Family

CELLS_A_TOOTH = 50


def grooved(
    teeth: int,
    *,
    height: float = 0.4,
    crest: float = 0.1,
    helix_deg: float = 0.0,
    family: Family = "straight",
    rows: int = 600,
    second: float = 0.0,
    plain_rows: int = 0,
) -> tuple[Surface, Asked]:
    """Return a map of V grooves of 90 degrees, 1 mm apart, with flats of a width on top.

    Args:
        teeth: Teeth round the work.
        height: Above the blank's surface, of the crests.
        crest: Width of the flats.
        helix_deg: Helix angle.
        family: What stands where two hands of grooves cross.
        rows: Rows of the knurl.
        second: How deep a stray groove divides each crest, over the tooth height.
        plain_rows: Rows without a knurl on the headstock's side.
    """
    cells = teeth * CELLS_A_TOOTH
    helix = math.radians(helix_deg)
    transverse = 1.0 / math.cos(helix)
    cell = transverse / CELLS_A_TOOTH
    dz = 0.02
    us, zs = cell * np.arange(cells), dz * np.arange(rows)[:, None]
    tall = (1.0 - crest) / 2.0

    def hand(sign: float) -> np.ndarray:
        across = (us + sign * zs * math.tan(helix)) * math.cos(helix)
        off = np.abs(across - np.round(across))
        groove = np.minimum(off, tall)
        if second:
            stray = np.abs(off - 0.5) + tall * (1.0 - second)
            groove = np.minimum(groove, stray)
        return groove

    made = hand(1.0)
    if family == "raised":
        made = np.minimum(made, hand(-1.0))
    elif family == "indented":
        made = np.maximum(made, hand(-1.0))
    heights = np.zeros((plain_rows + rows, cells), dtype=np.float32)
    heights[plain_rows:] = made + height - tall
    lean = math.tan(helix)
    both = family != "straight"
    period = 1.0 / (lean * (2.0 if both else 1.0)) * transverse if lean else 0.0
    asked = Asked(
        family,
        float(teeth),
        period,
        1.0,
        90.0,
        (lean / transverse, -lean / transverse) if both else (lean / transverse,),
    )
    return Surface(heights, -dz * (plain_rows + rows), dz, cell), asked
