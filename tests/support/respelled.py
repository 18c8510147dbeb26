"""The same job as other people would write it down: order, units, numbers, comments, line ends."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

LENGTHS = frozenset((
    "part.knurled_diameter", "part.blank_diameter", "part.length", "knurl.start", "knurl.length",
    "knurl.pitch", "holding.centre_diameter", "tool.roll_diameter", "tool.face_width",
    "tool.roll_spacing", "tool.largest_gap", "process.trial_length", "fit.bore",
    "fit.hub_diameter", "fit.hub_length", "machine.clearance", "machine.safe_x", "machine.safe_z",
))  # fmt: skip
"""Keys that hold a length: a bare one is in the job's units."""

ORDERS = 4
"""Ways of writing a job."""


def toml(data: Mapping[str, Any], *, powers: bool = False) -> str:
    """Return a job's keys as a job file; numbers with a point as powers of ten if asked for."""
    lines = [f"{k} = {_value(v, powers)}" for k, v in data.items() if not isinstance(v, Mapping)]
    for name, section in data.items():
        if isinstance(section, Mapping):
            lines += ["", f"[{name}]"]
            lines += [f"{key} = {_value(v, powers)}" for key, v in section.items()]
    return "\n".join(lines) + "\n"


def _value(given: Any, powers: bool) -> str:
    if isinstance(given, Mapping):
        return "{ " + ", ".join(f"{k} = {_value(v, powers)}" for k, v in given.items()) + " }"
    if isinstance(given, list):
        return "[" + ", ".join(_value(v, powers) for v in given) + "]"
    if isinstance(given, float) and powers:
        return f"{Decimal(repr(given)):E}"
    return json.dumps(given, ensure_ascii=False)


def respelled(text: str, number: int) -> bytes:
    """Return a job file written in the n-th other way; what it says is the same.

    Args:
        text: A job file.
        number: 0: comments, and line ends and a mark as some editors make them. 1: the keys
            the other way round, numbers as powers of ten. 2: lengths with their unit. 3: all
            of it.
    """
    data = tomllib.loads(text)
    if number in (2, 3):
        data = _with_units(data)
    if number in (1, 3):
        data = _turned_round(data)
    written = text if number == 0 else toml(data, powers=number != 2)
    if number in (0, 3):
        lines = [f"{line}  # as drawn" if "=" in line else line for line in written.splitlines()]
        return b"\xef\xbb\xbf" + "\r\n".join(["# Änderung Ø", *lines, ""]).encode()
    return written.encode()


def _turned_round(data: Mapping[str, Any]) -> dict[str, Any]:
    turned = {k: _turned_round(v) if isinstance(v, Mapping) else v for k, v in data.items()}
    return dict(reversed(turned.items()))


def _with_units(data: Mapping[str, Any]) -> dict[str, Any]:
    unit = "in" if data.get("units") == "inch" else "mm"
    written: dict[str, Any] = {}
    for name, section in data.items():
        written[name] = section
        if isinstance(section, Mapping):
            written[name] = {k: _with_unit(f"{name}.{k}", v, unit) for k, v in section.items()}
    return written


def _with_unit(key: str, given: Any, unit: str) -> Any:
    bare = key in LENGTHS and isinstance(given, (int, float))
    return f"{given!r} {unit}" if bare else given
