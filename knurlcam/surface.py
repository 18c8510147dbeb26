"""The height map of a knurl: what every measure, picture and file of it is taken from."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["Heights", "Surface"]

Heights = NDArray[np.float32]
"""Heights above the blank's surface, radial [mm]"""


@dataclass(frozen=True, slots=True)
class Surface:
    """The surface of the work about the knurl, unrolled.

    Attributes:
        height_mm: Height above the blank's surface, radial; a row is a circle round the work,
            rows run from the headstock's side to the tailstock, cells upwards as seen from
            outside with the headstock on the left. Single precision, C order [mm]
        z_mm: Z of the first row, from the end face; negative towards the chuck [mm]
        dz_mm: Distance of two rows [mm]
        cell_mm: Distance of two cells round the blank [mm]
    """

    height_mm: Heights
    z_mm: float
    dz_mm: float
    cell_mm: float

    @property
    def rows(self) -> int:
        """Number of circles."""
        return int(self.height_mm.shape[0])

    @property
    def cells(self) -> int:
        """Number of cells round the work."""
        return int(self.height_mm.shape[1])

    @property
    def blank_diameter_mm(self) -> float:
        """Diameter of the blank, whose surface is at height 0 [mm]."""
        return self.cells * self.cell_mm / math.pi

    @property
    def zs_mm(self) -> NDArray[np.floating[Any]]:
        """Z of each row [mm]."""
        return self.z_mm + self.dz_mm * np.arange(self.rows)
