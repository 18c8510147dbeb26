"""Rows of a table, one at a time: CSV, TSV, workbooks (.xlsx) and JSON lines.

A table is never held whole: what is read is the row at hand. Nothing here knows what a
column means; a cell is text, or what a workbook or JSON holds.
"""

from __future__ import annotations

import codecs
import csv
import datetime
import json
import math
import warnings
from collections.abc import Callable, Generator, Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

from knurlcam.errors import InputError, nearest
from knurlcam.family.workbook import MAX_COLUMNS, Sheet, WorkbookError, hidden_things, sheets
from knurlcam.text import shortened

if TYPE_CHECKING:
    from openpyxl import Workbook

__all__ = ["Row", "read_columns", "read_rows", "refuse_what_a_workbook_hides", "row_of"]

Cell = str | int | float | bool | list[Any]

MAX_CELL_CHARACTERS = 4_000
"""Longer than any value of a job; a longer cell is a mistake and is not read."""

MAX_LINE_CHARACTERS = 200_000
"""Of JSON lines, and of a header: a table of two hundred long columns is below it."""

MOST_LISTED = 50
"""Texts in a list: a job's longest has fewer."""

LARGEST = 10**15
"""Far above any number of a job, and what floats hold exactly."""

REMARK = "#"
"""Columns whose name begins so are the user's own, and not read."""

DELIMITERS = ",;\t"
"""What may stand between the columns of a CSV; the header tells which."""

SPREADSHEET_ERRORS = frozenset(
    ("#NULL!", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#N/A", "#GETTING_DATA", "#SPILL!")
)
"""What a cell shows whose formula failed (ISO/IEC 29500-1, 18.17.3, and newer ones)."""

DEEPEST = 4
"""Tables inside tables: a job has two."""

ZIP = b"PK\x03\x04"
FORMATS = ".csv, .tsv, .xlsx or .jsonl"


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


class _BrokenTableError(Exception):
    """Why a table cannot be read any further, before the file's name is put to it."""

    def __init__(
        self,
        row: int | None,
        problem: str,
        expected: str,
        remedy: str,
        value: object = None,
    ) -> None:
        self.row, self.problem, self.expected, self.remedy = row, problem, expected, remedy
        self.value = value

    def told(self, where: str) -> InputError:
        """Return it with the file's name."""
        return InputError(
            self.problem,
            where=where,
            key=None if self.row is None else f"row {self.row}",
            value=self.value,
            expected=self.expected,
            remedy=self.remedy,
        )


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


def _items(path: str | Path, sheet: str | None) -> Generator[Row | tuple[str, ...], None, None]:
    """Return a table's header, where it has one, and its rows."""
    file, where = Path(path), str(path)
    if file.exists() and not file.is_file():
        raise InputError(
            "is no file",
            where=where,
            expected="a table in a file: it is read twice, so it cannot come through a pipe",
            remedy="save it in a file",
        )
    reader = _READERS.get(file.suffix.lower())
    if reader is None:
        raise InputError(
            "is no table that can be read",
            where=where,
            value=file.suffix or file.name,
            expected=f"a file that ends in {FORMATS}",
            remedy="save the table in one of these formats",
        )
    if sheet is not None and reader is not _workbook_rows:
        raise InputError(
            "has no sheets",
            where=where,
            key="--sheet",
            value=sheet,
            expected="a sheet's name with a workbook (.xlsx) only",
            remedy="leave it out",
        )
    with _told(where):
        yield from reader(file, sheet)


@contextmanager
def _told(where: str) -> Iterator[None]:
    """Say in a user's words why a table cannot be read."""
    try:
        yield
    except _BrokenTableError as fault:
        raise fault.told(where) from None
    except UnicodeDecodeError as error:
        raise InputError(
            f"byte 0x{error.object[error.start]:02x} is not {error.encoding} text",
            where=where,
            expected="one encoding throughout: UTF-8, or UTF-16 with a byte order mark",
            remedy="save the table as UTF-8 (in a spreadsheet: CSV UTF-8)",
        ) from None
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(
            f"cannot be read: {getattr(error, 'strerror', None) or error}",
            where=where,
            expected=f"a table ({FORMATS})",
            remedy="check the name and its permissions",
        ) from None


# -- text ----------------------------------------------------------------------


def _encoding(file: Path) -> str:
    with file.open("rb") as stream:
        start = stream.read(4)
    if start == ZIP:
        raise _BrokenTableError(
            None, "is a workbook, not text", "text", "give the file its ending .xlsx"
        )
    if start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    return "utf-8-sig"


def _opened(file: Path) -> IO[str]:
    """Open a text file so that a byte of another encoding can be told by its line."""
    encoding = _encoding(file)
    errors = "strict" if encoding == "utf-16" else "surrogateescape"
    return file.open(encoding=encoding, errors=errors, newline="")


def _text_lines(stream: IO[str]) -> Iterator[str]:
    """Return lines, none of them longer than any can be, and each of them text."""
    number = 0
    while line := stream.readline(MAX_LINE_CHARACTERS + 1):
        number += 1
        if len(line) > MAX_LINE_CHARACTERS:
            raise _BrokenTableError(
                None,
                f"line {number} has more than {MAX_LINE_CHARACTERS:,} characters",
                f"cells of at most {MAX_CELL_CHARACTERS:,} characters",
                "check that it is the right file, and its quotes",
            )
        if not line.isascii():
            _refuse_other_encoding(line, number)
        if "\0" in line:
            raise _BrokenTableError(
                None,
                f"line {number} holds a NUL character",
                "text",
                "save the table as UTF-8 text (in a spreadsheet: CSV UTF-8)",
            )
        yield line


def _refuse_other_encoding(line: str, number: int) -> None:
    try:
        line.encode("utf-8")
    except UnicodeEncodeError as error:
        byte = ord(line[error.start]) & 0xFF
        raise _BrokenTableError(
            None,
            f"line {number}: byte 0x{byte:02x} is not UTF-8 text",
            "one encoding throughout: UTF-8, or UTF-16 with a byte order mark",
            "save the table as UTF-8 (in a spreadsheet: CSV UTF-8)",
        ) from None


def _delimited_rows(file: Path, _sheet: str | None) -> Iterator[Row | tuple[str, ...]]:
    with _opened(file) as stream:
        lines = _text_lines(stream)
        first = next(lines, "")
        delimiter = max(DELIMITERS, key=first.count)
        reader = csv.reader(_with_first(first, lines), delimiter=delimiter, strict=True)
        yield from _table_rows(_csv_records(reader))


def _with_first(first: str, rest: Iterator[str]) -> Iterator[str]:
    if first:
        yield first
    yield from rest


def _csv_records(reader: Iterator[list[str]]) -> Iterator[list[str]]:
    row = 0
    while True:
        row += 1
        try:
            record = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise _BrokenTableError(
                row,
                f"is not CSV: {error}",
                "cells apart by commas, semicolons or tabs; quotes doubled inside quotes",
                "correct that row, or save the table anew from the spreadsheet",
            ) from None
        yield record


def _json_rows(file: Path, _sheet: str | None) -> Iterator[Row | tuple[str, ...]]:
    with _opened(file) as stream:
        found = False
        for number, line in enumerate(_text_lines(stream), start=1):
            if line.strip():
                found = True
                yield _row(number, _json_cells(line))
        if not found:
            raise _empty()


def _json_cells(line: str) -> Iterator[tuple[str, Any]]:
    try:
        value = json.loads(line, object_pairs_hook=_each_key_once, parse_constant=_no_number)
    except InputError:
        raise
    except (ValueError, RecursionError) as error:
        raise InputError(
            f"is not JSON: {shortened(str(error), 100)}",
            expected="one JSON object a line",
            remedy="correct that line",
        ) from None
    if not isinstance(value, dict):
        raise InputError(
            "is no JSON object",
            value=value,
            expected='a line such as {"part.name": "Knob 25"}',
            remedy="correct that line",
        )
    yield from _flattened(value)


def _each_key_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise InputError(
                "a key stands twice", value=key, expected="each key once", remedy="leave one out"
            )
        found[key] = value
    return found


def _no_number(text: str) -> Any:
    raise InputError("is no number", value=text, expected="a finite number", remedy="correct it")


def _flattened(cells: Mapping[Any, Any], above: str = "") -> Iterator[tuple[str, Any]]:
    """Return nested tables as dotted keys."""
    for key, value in cells.items():
        if isinstance(value, Mapping) and above.count(".") < DEEPEST:
            yield from _flattened(value, f"{above}{key}.")
        else:
            yield f"{above}{key}", value


# -- workbooks -----------------------------------------------------------------


def _workbook_rows(file: Path, sheet: str | None) -> Iterator[Row | tuple[str, ...]]:
    with _workbook_told():
        chosen = _sheet(file, sheet)
        with _workbook(file) as book:
            yield from _table_rows(_records(book, chosen.name))


def refuse_what_a_workbook_hides(path: str | Path, sheet: str | None = None) -> None:
    """Refuse a workbook whose values are not what a person sees; other tables pass.

    Taken for empty, a merged cell or a formula that was never calculated would make a part
    of the base job's size; hidden rows would be made, and a unit that stands in the
    number's format only would be dropped.

    Raises:
        InputError: naming the file and the row.
    """
    file = Path(path)
    if _READERS.get(file.suffix.lower()) is not _workbook_rows or not file.is_file():
        return
    with _told(str(path)), _workbook_told():
        found = next(hidden_things(file, _sheet(file, sheet)), None)
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
def _workbook_told() -> Iterator[None]:
    try:
        yield
    except WorkbookError as error:
        raise _no_workbook(str(error)) from None


def _sheet(file: Path, name: str | None) -> Sheet:
    """Return the sheet of a name, or the first that a person sees."""
    found = sheets(file)
    if name is None:
        return next((s for s in found if s.visible), found[0])
    for one in found:
        if one.name == name:
            return one
    raise _BrokenTableError(
        None,
        "has no such sheet",
        "one of its sheets",
        nearest(name, [s.name for s in found]),
        name,
    )


def _no_workbook(problem: str) -> _BrokenTableError:
    return _BrokenTableError(
        None,
        problem,
        "a workbook as a spreadsheet saves it",
        "open it in a spreadsheet and save it as .xlsx or as CSV",
    )


@contextmanager
def _workbook(file: Path) -> Iterator[Workbook]:
    from openpyxl import load_workbook

    try:
        with warnings.catch_warnings():
            # What it leaves out is told in our own words where it matters.
            warnings.simplefilter("ignore")
            book = load_workbook(file, read_only=True, data_only=True, keep_links=False)
    except OSError:
        raise
    except Exception:  # whatever the reader makes of a broken file
        raise _no_workbook("cannot be read as a workbook") from None
    with closing(book):
        yield book


def _records(book: Workbook, sheet: str) -> Iterator[tuple[Any, ...]]:
    try:
        page = book[sheet]
    except KeyError:  # its part is missing: the reader leaves out such a sheet
        raise _no_workbook("has a sheet that cannot be read") from None
    # What a file says of its own size may be wrong; without it all rows are read.
    page.reset_dimensions()
    # A cell at a sheet's far edge would make its row as long as the sheet is wide.
    try:
        yield from page.iter_rows(max_col=MAX_COLUMNS + 1, values_only=True)
    except Exception:  # of the reader's own: what takes the rows raises elsewhere
        raise _no_workbook("has a sheet that cannot be read") from None


# -- records to rows -----------------------------------------------------------


def _table_rows(records: Iterable[Sequence[Any]]) -> Iterator[Row | tuple[str, ...]]:
    """Return the header, and the records below it as rows."""
    numbered = enumerate(records, start=1)
    header = _header(next(numbered, (1, ()))[1])
    yield tuple(n for n in header if not n.startswith(REMARK))
    blank: Sequence[Any] | None = None
    for number, record in numbered:
        if record is blank or record.count(None) == len(record):
            blank = record  # the same for a million rows above a cell that was filled by mistake
            continue
        beside = record[len(header) :]
        if beside.count(None) == len(beside):
            record = record[: len(header)]
        yield _row(number, _named(header, record))


def _named(header: Sequence[str], record: Sequence[Any]) -> Iterator[tuple[str, Any]]:
    for place, value in enumerate(record):
        name = header[place] if place < len(header) else ""
        if name.startswith(REMARK):
            continue
        if not name and not _is_empty(value):
            raise InputError(
                f"a value stands in column {place + 1}, which has no name",
                value=value,
                expected=f"no more values than the {len(header)} names of the header",
                remedy="name the column, or put a cell with a delimiter inside it in quotes",
            )
        yield name, value


def _row(number: int, named: Iterable[tuple[str, Any]]) -> Row:
    """Return a row, or what is wrong with one of its cells."""
    cells: dict[str, Cell] = {}
    try:
        for name, value in named:
            if _is_empty(value):
                continue
            if name in cells:
                raise InputError(
                    "stands twice in the row",
                    key=name,
                    value=value,
                    expected="each key once",
                    remedy="leave one out",
                )
            cells[name] = _cell(name, value)
    except InputError as error:
        return Row(number, {}, error)
    return Row(number, cells)


def row_of(number: int, keys: Mapping[Any, Any]) -> Row:
    """Return a row from a script's keys, flat or nested, held to what a table's must be."""
    return _row(number, _flattened(keys))


def _is_empty(value: Any) -> bool:
    return value is None or (isinstance(value, str) and not value.strip())


def _header(record: Sequence[Any]) -> tuple[str, ...]:
    names = tuple("" if v is None else str(v).strip() for v in record)
    while names and not names[-1]:
        names = names[:-1]  # coloured to the edge of the sheet, but empty
    if not names:
        raise _empty()
    if len(names) > MAX_COLUMNS:
        raise _BrokenTableError(
            1,
            f"has {len(names)} columns",
            f"at most {MAX_COLUMNS}",
            "check that it is the right file",
        )
    seen: set[str] = set()
    for name in filter(None, names):
        if name in seen:
            raise _BrokenTableError(
                1, "a column stands twice", "each column once", "leave one out", name
            )
        seen.add(name)
    return names


def _empty() -> _BrokenTableError:
    return _BrokenTableError(
        None,
        "is empty, or its first row is",
        "in the first row the job's keys, such as part.name and part.knurled_diameter; below "
        "it a row for each part",
        "check that it is the right file, and delete what stands above the header",
    )


def _cell(column: str, value: Any) -> Cell:
    """Return a value as a job file would hold it.

    Raises:
        InputError: naming the column, for what no job file can hold.
    """
    if isinstance(value, str):
        if len(value) > MAX_CELL_CHARACTERS:
            raise InputError(
                f"has {len(value):,} characters",
                key=column,
                value=value,
                expected=f"at most {MAX_CELL_CHARACTERS:,} characters",
                remedy="correct the cell, and look for a quote that is not closed",
            )
        if not value.isascii() and any("\ud800" <= c <= "\udfff" for c in value):
            raise InputError(
                "holds half a character",
                key=column,
                value=value,
                expected="text",
                remedy="correct the cell",
            )
        if value in SPREADSHEET_ERRORS:
            raise InputError(
                "shows an error of the spreadsheet",
                key=column,
                value=value,
                expected="a value",
                remedy="correct the formula",
            )
        return value.strip()
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return int(value)  # a workbook knows no whole numbers: 5 comes as 5.0
    if isinstance(value, float) and not math.isfinite(value):
        raise InputError(
            "is no finite number",
            key=column,
            value=value,
            expected="a number",
            remedy="correct it",
        )
    if isinstance(value, int) and abs(value) > LARGEST:
        raise InputError(
            "is too large for a number",
            key=column,
            expected=f"at most {LARGEST:.0e}",
            remedy="correct it",
        )
    if isinstance(value, (bool, int, float)):
        return value
    if isinstance(value, (datetime.date, datetime.time, datetime.timedelta)):
        raise InputError(
            "was taken for a date or a time by the spreadsheet",
            key=column,
            value=str(value),
            expected="a number or a text",
            remedy="format the cell as text and type it again",
        )
    if isinstance(value, (list, tuple)) and _are_texts(value):
        return list(value)
    raise InputError(
        "is no value of a job",
        key=column,
        value=value,
        expected="a number, a text, true or false, or a list of texts",
        remedy="correct it",
    )


def _are_texts(values: Sequence[Any]) -> bool:
    few = len(values) <= MOST_LISTED
    return few and all(isinstance(v, str) and len(v) <= MAX_CELL_CHARACTERS for v in values)


_READERS: Mapping[str, Callable[[Path, str | None], Iterator[Row | tuple[str, ...]]]] = {
    ".csv": _delimited_rows,
    ".tsv": _delimited_rows,
    ".tab": _delimited_rows,
    ".txt": _delimited_rows,
    ".xlsx": _workbook_rows,
    ".xlsm": _workbook_rows,
    ".jsonl": _json_rows,
    ".ndjson": _json_rows,
}
"""What reads a table, by the ending of its name."""
