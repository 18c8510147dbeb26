"""A row of a table: its cells, each held to what a job file can hold.

A cell is text, or what a workbook or JSON holds; nothing here knows what a column means.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from knurlcam.errors import InputError
from knurlcam.family.workbook import MAX_COLUMNS

__all__ = [
    "LARGEST",
    "MAX_CELL_CHARACTERS",
    "Item",
    "Row",
    "empty_table",
    "flattened",
    "row_of",
    "row_of_cells",
    "rows_of_records",
]

Cell = str | int | float | bool | list[Any]

MAX_CELL_CHARACTERS = 4_000
"""Most characters of a cell: more than any value of a job has. A longer cell is a mistake."""

MOST_LISTED = 50
"""Most texts in a list: a job's longest list has fewer."""

LARGEST = 10**15
"""Largest number in a cell: far above any of a job, and floats hold whole numbers up to it."""

COMMENT = "#"
"""First character of a column that is the user's own and not read."""

SPREADSHEET_ERRORS = frozenset(
    ("#NULL!", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#N/A", "#GETTING_DATA", "#SPILL!")
)
"""Texts that a cell shows when its formula fails (ISO/IEC 29500-1, 18.17.3, and newer ones)."""

DEEPEST = 4
"""Most tables inside tables that are read as dotted keys: a job has two."""


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a table.

    Attributes:
        number: Where the user finds it: the spreadsheet's row (the header is row 1), or
            the line of a JSON lines file.
        cells: Value by column; empty cells are left out.
        fault: Why the row cannot be read, or None; then it has no cells.
    """

    number: int
    cells: Mapping[str, Cell]
    fault: InputError | None = None


Item = Row | tuple[str, ...]
"""What a reader of tables yields: the names of the header first, if there is one, then rows."""


def rows_of_records(records: Iterable[Sequence[Any]]) -> Iterator[Item]:
    """Return the header, and the records below it as rows."""
    numbered = enumerate(records, start=1)
    header = _header(next(numbered, (1, ()))[1])
    yield tuple(n for n in header if not n.startswith(COMMENT))
    blank: Sequence[Any] | None = None
    for number, record in numbered:
        if record is blank or record.count(None) == len(record):
            blank = record  # the same for a million rows above a cell that was filled by mistake
            continue
        beside = record[len(header) :]
        if beside.count(None) == len(beside):
            record = record[: len(header)]
        yield row_of_cells(number, _named(header, record))


def _named(header: Sequence[str], record: Sequence[Any]) -> Iterator[tuple[str, Any]]:
    for place, value in enumerate(record):
        name = header[place] if place < len(header) else ""
        if name.startswith(COMMENT):
            continue
        if not name and not _is_empty(value):
            raise InputError(
                f"a value stands in column {place + 1}, which has no name",
                value=value,
                expected=f"no more values than the {len(header)} names of the header",
                remedy="name the column, or put a cell with a delimiter inside it in quotes",
            )
        yield name, value


def row_of_cells(number: int, named: Iterable[tuple[str, Any]]) -> Row:
    """Return a row, with what is wrong where one of its cells is.

    A bad cell spoils its own row, not the table.
    """
    cells: dict[str, Cell] = {}
    try:
        for name, value in named:
            if _is_empty(value):
                continue
            if name in cells:
                raise InputError(
                    "is given twice in the row",
                    key=name,
                    value=value,
                    expected="each key once",
                    remedy="leave one out",
                )
            cells[name] = _cell(name, value)
    except InputError as error:
        return Row(number, {}, error)
    return Row(number, cells)


def flattened(cells: Mapping[Any, Any], above: str = "") -> Iterator[tuple[str, Any]]:
    """Return nested tables as dotted keys."""
    for key, value in cells.items():
        if isinstance(value, Mapping) and above.count(".") < DEEPEST:
            yield from flattened(value, f"{above}{key}.")
        else:
            yield f"{above}{key}", value


def row_of(number: int, keys: Mapping[Any, Any]) -> Row:
    """Return a row from a script's keys, flat or nested, held to what a table's must be."""
    return row_of_cells(number, flattened(keys))


def _is_empty(value: Any) -> bool:
    return value is None or (isinstance(value, str) and not value.strip())


def _header(record: Sequence[Any]) -> tuple[str, ...]:
    names = tuple("" if v is None else str(v).strip() for v in record)
    while names and not names[-1]:
        names = names[:-1]  # coloured to the edge of the sheet, but empty
    if not names:
        raise empty_table()
    if len(names) > MAX_COLUMNS:
        raise InputError(
            f"has {len(names)} columns",
            key="row 1",
            expected=f"at most {MAX_COLUMNS}",
            remedy="check that it is the right file",
        )
    seen: set[str] = set()
    for name in filter(None, names):
        if name in seen:
            raise InputError(
                "two columns have the same name",
                key="row 1",
                value=name,
                expected="each column once",
                remedy="delete or rename one of them",
            )
        seen.add(name)
    return names


def empty_table() -> InputError:
    """Return the error for a table without a header."""
    return InputError(
        "is empty, or its first row is",
        expected="in the first row the job's keys, such as part.name and part.knurled_diameter; "
        "below it a row for each part",
        remedy="check that it is the right file, and delete anything above the header",
    )


def _cell(column: str, value: Any) -> Cell:
    """Return a value as a job file would hold it.

    Raises:
        InputError: naming the column, for what no job file can hold.
    """
    if isinstance(value, str):
        return _text(column, value)
    if isinstance(value, bool):
        return value
    if isinstance(value, (int, float)):
        return _number(column, value)
    if isinstance(value, (list, tuple)) and _are_texts(value):
        return list(value)
    if isinstance(value, (datetime.date, datetime.time, datetime.timedelta)):
        raise InputError(
            "was turned into a date or a time by the spreadsheet",
            key=column,
            value=str(value),
            expected="a number or a text",
            remedy="format the cell as text and type it again",
        )
    raise InputError(
        "is not a value that a job can hold",
        key=column,
        value=value,
        expected="a number, a text, true or false, or a list of texts",
        remedy="correct it",
    )


def _text(column: str, value: str) -> str:
    if len(value) > MAX_CELL_CHARACTERS:
        raise InputError(
            f"has {len(value):,} characters",
            key=column,
            value=value,
            expected=f"at most {MAX_CELL_CHARACTERS:,} characters",
            remedy="correct the cell, and look for a quote that is not closed",
        )
    # Half of a pair of surrogates, which a script or JSON can hold and no file can.
    if not value.isascii() and any("\ud800" <= c <= "\udfff" for c in value):
        raise InputError(
            "holds an incomplete character",
            key=column,
            value=value,
            expected="text",
            remedy="correct the cell",
        )
    if value in SPREADSHEET_ERRORS:
        raise InputError(
            "holds a spreadsheet error",
            key=column,
            value=value,
            expected="a value",
            remedy="correct the formula",
        )
    return value.strip()


def _number(column: str, value: float) -> float:
    if isinstance(value, float) and value.is_integer() and abs(value) < LARGEST:
        return int(value)  # a workbook has no whole numbers: 5 comes as 5.0
    if isinstance(value, float) and not math.isfinite(value):
        raise InputError(
            "is not a finite number",
            key=column,
            value=value,
            expected="a number",
            remedy="correct it",
        )
    if isinstance(value, int) and abs(value) > LARGEST:
        raise InputError(
            "is too large a number",
            key=column,
            expected=f"at most {LARGEST:.0e}",
            remedy="correct it",
        )
    return value


def _are_texts(values: Sequence[Any]) -> bool:
    few = len(values) <= MOST_LISTED
    return few and all(isinstance(v, str) and len(v) <= MAX_CELL_CHARACTERS for v in values)
