"""Rows of a table file, checked as they are read.

Each fault names file, row and key. Only the standard library is imported: a command that asks
for one table must not pay for models or units.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Protocol, TypeVar

from knurlcam.data.caches import kept_until_cleared
from knurlcam.data.folders import TABLES, table_file
from knurlcam.errors import InputError, nearest
from knurlcam.toml import read_toml

__all__ = [
    "Row",
    "by_letters",
    "read_table",
    "sourced_list",
]

MAX_TABLE_BYTES = 500_000
"""Bytes of a table file: ten times the longest that comes with knurlcam."""


class _HasForm(Protocol):
    @property
    def form(self) -> str: ...


_Lettered = TypeVar("_Lettered", bound=_HasForm)


@kept_until_cleared()
def read_table(name: str) -> Row:
    """Return the whole of a table file as one row."""
    file = table_file(name)
    if file.is_fifo():  # it would be waited for without end
        raise InputError(
            "is a pipe", where=str(file), expected="a TOML file", remedy="put a file there"
        )
    values = read_toml(file, limit=MAX_TABLE_BYTES)
    bare = Row(str(file), "", values, {})
    bare.allow(*TABLES[name])
    return Row(str(file), "", values, _source_texts(bare))


def _source_texts(file: Row) -> dict[str, str]:
    if "sources" not in file.values:
        return {}
    texts = file.row("sources")
    return {key: texts.text(key) for key in texts.values}


def by_letters(pairs: Iterable[tuple[Row, _Lettered]]) -> Mapping[str, _Lettered]:
    """Return what rows hold by their letters; no letters may stand twice."""
    found: dict[str, _Lettered] = {}
    for row, item in pairs:
        if item.form in found:
            raise row.fault("form", "appears twice", item.form)
        found[item.form] = item
    return MappingProxyType(found)


def sourced_list(file: str, table: str, key: str, *, below: float = math.inf) -> tuple[float, ...]:
    """Return a list of numbers, all above zero and below a limit, that has one source."""
    row = read_table(file).row(table)
    row.allow(key, "source")
    row.source()
    values = row.numbers(key)
    if not all(0 < value < below for value in values):
        wanted = "numbers above 0" + (f" and below {below:g}" if math.isfinite(below) else "")
        raise row.fault(key, "holds a number that does not fit", list(values), wanted)
    return values


@dataclass(frozen=True, slots=True)
class Row:
    """A table of a TOML file that knows where it stands, so that its faults can say."""

    where: str
    label: str
    values: Mapping[str, object]
    sources: Mapping[str, str]

    def fault(
        self,
        key: str,
        problem: str,
        value: object = None,
        expected: str | None = None,
        remedy: str | None = None,
    ) -> InputError:
        """Return what is wrong with a key, ready to be raised."""
        place = f"{self.label}, {key}" if self.label else key
        return InputError(
            problem, where=self.where, key=place, value=value, expected=expected, remedy=remedy
        )

    def allow(self, *keys: str) -> None:
        """Refuse a key that has no meaning here, such as a misspelt one."""
        for key in self.values:
            if key not in keys:
                raise self.fault(key, "unknown key", remedy=nearest(key, keys))

    def get(self, key: str, expected: str) -> object:
        """Return a value; refuse a row without it."""
        if key not in self.values:
            raise self.fault(key, "is missing", expected=expected)
        return self.values[key]

    def text(self, key: str) -> str:
        """Return a text that is not empty."""
        value = self.get(key, "text")
        if not isinstance(value, str) or not value.strip():
            raise self.fault(key, "is not a text", value, "text")
        return value

    def choice(self, key: str, choices: Sequence[str]) -> str:
        """Return a text that is one of some words."""
        value = self.text(key)
        if value not in choices:
            raise self.fault(key, "is not a known word", value, ", ".join(choices))
        return value

    def texts(self, key: str) -> tuple[str, ...]:
        """Return a list of texts, none of them empty."""
        value = self.get(key, "a list of texts")
        if not isinstance(value, list) or not all(isinstance(v, str) and v.strip() for v in value):
            raise self.fault(key, "is not a list of texts", value, "a list of texts")
        return tuple(value)

    def flag(self, key: str) -> bool:
        """Return true or false."""
        value = self.get(key, "true or false")
        if not isinstance(value, bool):
            raise self.fault(key, "is not true or false", value, "true or false")
        return value

    def number(self, key: str, *, below: float = math.inf, zero: bool = False) -> float:
        """Return a finite number above zero (or zero) and below a limit."""
        wanted = "a number of at least 0" if zero else "a number above 0"
        if math.isfinite(below):
            wanted += f" and below {below:g}"
        value = _finite(self.get(key, wanted))
        if value is None or value < 0 or value >= below or (value == 0 and not zero):
            raise self.fault(key, "is not a valid number", self.values[key], wanted)
        return value

    def whole(self, key: str) -> int:
        """Return a whole number above zero."""
        value = self.get(key, "a whole number above 0")
        # To Python true is the whole number 1; in a table it is an error.
        if isinstance(value, bool) or not isinstance(value, int) or value < 1:
            raise self.fault(key, "is not a whole number above 0", value, "a whole number above 0")
        return value

    def numbers(self, key: str) -> tuple[float, ...]:
        """Return a list of finite numbers, at least one."""
        value = self.get(key, "a list of numbers")
        found = [_finite(v) for v in value] if isinstance(value, list) else [None]
        numbers = tuple(v for v in found if v is not None)
        if len(numbers) != len(found) or not numbers:
            raise self.fault(key, "is not a list of numbers", value, "a list of numbers")
        return numbers

    def limits(self, key: str) -> tuple[float, float]:
        """Return (upper, lower)."""
        pair = self.numbers(key)
        if len(pair) != 2 or pair[0] < pair[1]:
            raise self.fault(key, "is not a pair of limits", self.values[key], "[upper, lower]")
        return pair[0], pair[1]

    def range(self, key: str) -> tuple[float, float]:
        """Return (low, high), both above zero."""
        pair = self.numbers(key)
        if len(pair) != 2 or not 0 < pair[0] <= pair[1]:
            raise self.fault(key, "is not a range", self.values[key], "[low, high] above 0")
        return pair[0], pair[1]

    def source(self, key: str = "source") -> str:
        """Return the full text of the source that the row names."""
        name = self.text(key)
        if name not in self.sources:
            raise self.fault(
                key,
                "is not a key of [sources]",
                name,
                "a key of [sources] in the same file",
                nearest(name, self.sources) if self.sources else None,
            )
        return self.sources[name]

    def figure(self, key: str, *, below: float = math.inf) -> float:
        """Return the value of ``key = { value = ..., source = ... }``."""
        pair = self.row(key, "{ value = ..., source = ... }")
        pair.allow("value", "source")
        pair.source()
        return pair.number("value", below=below)

    def figure_or_none(self, key: str, *, below: float = math.inf) -> float | None:
        """Return a figure; None where the row has none."""
        return self.figure(key, below=below) if key in self.values else None

    def figure_sources(self) -> dict[str, str]:
        """Return the full text of the source of each figure, by key."""
        figures = (key for key, value in self.values.items() if isinstance(value, dict))
        return {key: self.row(key).source() for key in figures}

    def row(self, key: str, expected: str = "a table") -> Row:
        """Return a table within the row."""
        value = self.get(key, expected)
        if not isinstance(value, dict):
            raise self.fault(key, "is not a table", value, expected)
        label = f"{self.label}, {key}" if self.label else key
        return Row(self.where, label, value, self.sources)

    def rows(self, key: str) -> list[Row]:
        """Return a list of tables within the row."""
        expected = f"one or more [[{key}]]"
        value = self.get(key, expected)
        if not isinstance(value, list) or not value or not all(isinstance(v, dict) for v in value):
            raise self.fault(key, "is not a list of tables", value, expected)
        return [
            Row(self.where, _row_label(key, number, values), values, self.sources)
            for number, values in enumerate(value, start=1)
        ]


def _row_label(kind: str, number: int, values: Mapping[str, object]) -> str:
    name = values.get("name", values.get("form", values.get("diametral_pitch")))
    return f"{kind} {number}" if name is None else f"{kind} {number} ({str(name)[:40]})"


def _finite(value: object) -> float | None:
    """Return the number, or None for what is no number, infinite or too large for one."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None
