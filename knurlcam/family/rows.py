"""Rows of a table, one at a time: CSV, TSV, workbooks (.xlsx) and JSON lines.

A table is never held whole: a family may be any size.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator, Mapping
from contextlib import closing, contextmanager
from pathlib import Path

from knurlcam.errors import InputError
from knurlcam.family.cells import Item, Row
from knurlcam.family.text_tables import delimited_rows, json_rows
from knurlcam.family.workbook_rows import first_hidden, workbook_rows

__all__ = ["read_columns", "read_rows", "refuse_what_a_workbook_hides"]

FORMATS = ".csv, .tsv, .xlsx or .jsonl"

READERS: Mapping[str, Callable[[Path, str | None], Iterator[Item]]] = {
    ".csv": delimited_rows,
    ".tsv": delimited_rows,
    ".tab": delimited_rows,
    ".txt": delimited_rows,
    ".xlsx": workbook_rows,
    ".xlsm": workbook_rows,
    ".jsonl": json_rows,
    ".ndjson": json_rows,
}
"""The reader of a table, by the ending of its name."""


def read_rows(path: str | Path, sheet: str | None = None) -> Iterator[Row]:
    """Read a table's rows one by one; a row without any value is passed over.

    Args:
        path: The table: ``.csv``, ``.tsv``, ``.xlsx`` or ``.jsonl``.
        sheet: Name of a workbook's sheet; the first unless given.

    Yields:
        The rows, in order.

    Raises:
        InputError: naming file, row, value, what was expected and what to do.
    """
    for item in _items(path, sheet):
        if isinstance(item, Row) and (item.cells or item.fault is not None):
            yield item


def read_columns(path: str | Path, sheet: str | None = None) -> tuple[str, ...]:
    """Return the names in a table's header; none for JSON lines, which have no header."""
    with closing(_items(path, sheet)) as items:
        first = next(items, ())
    return () if isinstance(first, Row) else tuple(filter(None, first))


def _items(path: str | Path, sheet: str | None) -> Generator[Item, None, None]:
    """Return a table's header, where it has one, and its rows."""
    file, where = Path(path), str(path)
    if file.exists() and not file.is_file():
        raise InputError(
            "is not a file",
            where=where,
            expected="a table in a file: it is read twice, so it cannot come through a pipe",
            remedy="save it in a file",
        )
    reader = READERS.get(file.suffix.lower())
    if reader is None:
        raise InputError(
            "is not a table that can be read",
            where=where,
            value=file.suffix or file.name,
            expected=f"a file that ends in {FORMATS}",
            remedy="save the table in one of these formats",
        )
    if sheet is not None and reader is not workbook_rows:
        raise InputError(
            "has no sheets",
            where=where,
            key="--sheet",
            value=sheet,
            expected="a sheet's name with a workbook (.xlsx) only",
            remedy="leave it out",
        )
    with _file_named(where):
        yield from reader(file, sheet)


def refuse_what_a_workbook_hides(path: str | Path, sheet: str | None = None) -> None:
    """Refuse a workbook whose values are not what a person sees; other tables pass.

    A merged cell or a formula that was never calculated reads as empty, and would make a part
    of the base job's size; hidden rows would be made, and a unit that stands in the number's
    format only would be lost.

    Raises:
        InputError: naming the file and the row.
    """
    file = Path(path)
    if READERS.get(file.suffix.lower()) is not workbook_rows or not file.is_file():
        return
    with _file_named(str(path)):
        found = first_hidden(file, sheet)
    if found is not None:
        row = None if found.row is None else f"row {found.row}"
        raise InputError(
            found.problem,
            where=str(path),
            key=row,
            value=found.value,
            expected=found.expected,
            remedy=found.remedy,
        )


@contextmanager
def _file_named(where: str) -> Iterator[None]:
    """Put the file's name to what is wrong with a table; see :func:`read_rows`."""
    try:
        yield
    except InputError as error:
        raise error if error.where else error.at(where=where) from None
    except UnicodeDecodeError as error:
        raise InputError(
            f"byte 0x{error.object[error.start]:02x} is not {error.encoding} text",
            where=where,
            expected="one encoding throughout: UTF-8, or UTF-16 with a byte order mark",
            remedy="save the table as UTF-8 (in a spreadsheet: CSV UTF-8)",
        ) from None
    except (OSError, ValueError) as error:
        raise InputError(
            f"cannot be read: {getattr(error, 'strerror', None) or error}",
            where=where,
            expected=f"a table ({FORMATS})",
            remedy="check the name and its permissions",
        ) from None
