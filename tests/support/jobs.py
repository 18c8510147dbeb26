"""One valid job, and changes to it by dotted key."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from typing import Any

_BASE: dict[str, Any] = {
    "units": "mm",
    "part": {
        "name": "Focus knob",
        "material": "aluminium 6082-T6",
        "knurled_diameter": 25.0,
        "length": 70.0,
        "number": 1201,
    },
    "knurl": {"callout": "DIN 82 RGE 1.0", "start": 0.0, "length": 20.0, "purpose": "grip"},
    "holding": {"method": "between centres", "tailstock": "dead centre", "centre_diameter": 12.0},
    "tool": {
        "style": "knuckle joint",
        "roll_diameter": 20.0,
        "face_width": 10.0,
        "roll_spacing": 21.0,
        "station": 5,
    },
    "process": {"spindle_speed": "110 rpm"},
    "machine": {"post": "iso6983", "safe_x": 120.0, "safe_z": 50.0},
}

REMOVE = object()
"""A value that takes the key away."""

DOUBLED: dict[str, Any] = {
    "part.knurled_diameter": None,
    "part.blank_diameter": 25.0,
    "knurl.callout": "DIN 82 RAA 1.0",
    "tool.style": "single roll",
    "tool.roll_spacing": REMOVE,
    "process.accept": ["does-not-track"],
}
"""79 teeth of 1 mm need 25.146 mm: this blank is half a tooth short."""


def base_job(changes: dict[str, Any] | None = None, **more: Any) -> dict[str, Any]:
    """Return the base job with changes, such as ``{"tool.style": "straddle"}``."""
    return with_changes(_BASE, {**(changes or {}), **more})


def with_changes(base: Mapping[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
    """Return a copy of a job's keys with changes by dotted key."""
    data = copy.deepcopy(dict(base))
    for key, value in changes.items():
        *path, last = key.split(".")
        section = data
        for name in path:
            section = section.setdefault(name, {})
        if value is REMOVE:
            section.pop(last, None)
        else:
            # A table of its own each time: later keys change it.
            section[last] = copy.deepcopy(value) if isinstance(value, dict) else value
    return data
