"""Sections of jobs that were valid once, kept for the next job with the same tables.

Jobs of a family share most of their tables, and checking those is a sixth of the time that a
row takes: that is measured, and why this is kept apart here rather than left out.
"""

from __future__ import annotations

import marshal
from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel

from knurlcam.data.caches import when_cleared
from knurlcam.job.fields import (
    Section,
)

__all__ = [
    "keep_sections",
    "kept_sections",
    "keys_of_sections",
]

_SHARED = ("holding", "knurl", "machine", "process", "tool")
_kept: dict[bytes, Section] = {}
when_cleared(_kept.clear)

MOST_SECTIONS_KEPT = 256
"""Sections that are kept; then all are forgotten, which costs less than to tell old from new."""

MOST_BYTES_IN_A_KEY = 2000
"""Bytes of a table's key; a longer table is not likely to come again."""


_PLAIN_TYPES = frozenset({str, int, float, bool})


def keys_of_sections(data: Mapping[str, Any]) -> dict[str, bytes]:
    """Return for each table that jobs are likely to share what tells it from any other.

    A valid section is frozen and follows from its name, the units and the table alone.
    ``marshal`` tells 1 from 1.0 and true, to the last bit; of other objects it may see no
    more than their bytes, so a table that holds any is not kept.
    """
    keys: dict[str, bytes] = {}
    units = data.get("units", "mm")
    if type(units) is not str:
        return keys
    for name in _SHARED:
        table = data.get(name)
        if type(table) is dict and _is_plain(table):
            key = marshal.dumps((name, units, table), 2)
            if len(key) <= MOST_BYTES_IN_A_KEY:
                keys[name] = key
    return keys


def _is_plain(table: dict[Any, Any]) -> bool:
    """Whether a table holds texts, numbers, flags and lists of them alone."""
    if not _PLAIN_TYPES.issuperset(map(type, table)):
        return False
    if _PLAIN_TYPES.issuperset(map(type, table.values())):
        return True
    return all(
        type(value) in _PLAIN_TYPES
        or (type(value) is list and _PLAIN_TYPES.issuperset(map(type, value)))
        for value in table.values()
    )


def kept_sections(keys: Mapping[str, bytes]) -> dict[str, Section]:
    """Return the sections that were valid before, by name."""
    return {name: found for name, key in keys.items() if (found := _kept.get(key)) is not None}


def keep_sections(job: BaseModel, keys: Mapping[str, bytes]) -> None:
    """Keep a valid job's sections for the next job that has the same tables."""
    if len(_kept) > MOST_SECTIONS_KEPT:
        _kept.clear()
    for name, key in keys.items():
        _kept[key] = getattr(job, name)
