"""A table of rows under a title: what most tables of the page are."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

__all__ = ["NOT_KNOWN", "Row", "Sheet", "sheet_of"]

NOT_KNOWN = "not known"
"""Stands where a figure would be an invention."""


class Row(NamedTuple):
    """One line of a table: what, how much, and what to do with it."""

    name: str
    value: str
    how: str = ""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table of rows under a title."""

    title: str
    rows: tuple[Row, ...]


def sheet_of(title: str, texts: Iterable[tuple[str, str, str]]) -> Sheet:
    """Return rows that the commands print as well, each name with a capital letter."""
    rows = (Row(name[:1].upper() + name[1:], value, how) for name, value, how in texts)
    return Sheet(title, tuple(rows))
