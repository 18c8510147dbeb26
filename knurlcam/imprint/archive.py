"""A height map and its measures as an archive for NumPy."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from knurlcam.errors import InputError
from knurlcam.imprint.surface import Surface, refuse_unfit

__all__ = ["npz_bytes"]

_EPOCH = (1980, 1, 1, 0, 0, 0)
"""Date in an archive, the earliest that it can hold: the same map gives the same bytes."""

_UNIX = 3
"""System named in an archive, the same wherever it is made."""


def npz_bytes(surface: Surface, measures: Mapping[str, object]) -> bytes:
    """Return the map and its measures as a NumPy archive.

    ``numpy.load`` reads it without ``allow_pickle``: ``height_mm``, ``z_mm``, ``dz_mm``,
    ``cell_mm``, ``blank_diameter_mm``, and ``measures``, which is JSON text.

    Args:
        surface: The height map.
        measures: What was measured on it: names and numbers, texts or lists of them.

    Raises:
        InputError: if the map cannot be shown, or JSON cannot hold the measures.
    """
    refuse_unfit(surface)
    try:
        # JSON has no NaN: a reader elsewhere would fail on it.
        text = json.dumps(measures, ensure_ascii=False, allow_nan=False)
    except (TypeError, ValueError) as error:
        raise InputError(f"the measures cannot be written: {error}", key="measures") from None
    arrays: dict[str, NDArray[Any]] = {
        "height_mm": np.ascontiguousarray(surface.height_mm, dtype=np.float32),
        "z_mm": np.array(surface.z_mm, dtype=np.float64),
        "dz_mm": np.array(surface.dz_mm, dtype=np.float64),
        "cell_mm": np.array(surface.cell_mm, dtype=np.float64),
        "blank_diameter_mm": np.array(surface.blank_diameter_mm, dtype=np.float64),
        "measures": np.array(text),
    }
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, array in arrays.items():
            # Not numpy.savez: it writes the time of day, and the same map must give the same bytes.
            entry = zipfile.ZipInfo(f"{name}.npy", _EPOCH)
            entry.compress_type, entry.create_system = zipfile.ZIP_DEFLATED, _UNIX
            with archive.open(entry, "w") as file:
                np.lib.format.write_array(file, array, version=(1, 0), allow_pickle=False)
    return out.getvalue()
