"""Tables that are text: CSV and TSV as spreadsheets save them, and JSON lines."""

from __future__ import annotations

import codecs
import csv
import json
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

from knurlcam.errors import InputError
from knurlcam.family.cells import (
    MAX_CELL_CHARACTERS,
    Item,
    empty_table,
    flattened,
    row_of_cells,
    rows_of_records,
)
from knurlcam.text import shortened

__all__ = ["delimited_rows", "json_rows"]

ZIP = b"PK\x03\x04"
"""First bytes of a workbook."""

MAX_LINE_CHARACTERS = 200_000
"""Most characters of a line: a header of two hundred long columns has fewer."""

DELIMITERS = ",;\t"
"""What may stand between the columns of a CSV; the header shows which."""


def _encoding(file: Path) -> str:
    with file.open("rb") as stream:
        start = stream.read(4)
    if start == ZIP:
        raise InputError(
            "is a workbook, not text",
            expected="text",
            remedy="give the file the ending .xlsx",
        )
    if start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    return "utf-8-sig"


def _opened(file: Path) -> IO[str]:
    """Open a text file so that a byte of another encoding can be found by its line."""
    encoding = _encoding(file)
    errors = "strict" if encoding == "utf-16" else "surrogateescape"
    return file.open(encoding=encoding, errors=errors, newline="")


def _text_lines(stream: IO[str]) -> Iterator[str]:
    """Return lines, none of them longer than any can be, and each of them text."""
    number = 0
    while line := stream.readline(MAX_LINE_CHARACTERS + 1):
        number += 1
        if len(line) > MAX_LINE_CHARACTERS:
            raise InputError(
                f"line {number} has more than {MAX_LINE_CHARACTERS:,} characters",
                expected=f"cells of at most {MAX_CELL_CHARACTERS:,} characters",
                remedy="check that it is the right file, and its quotes",
            )
        if not line.isascii():
            _refuse_other_encoding(line, number)
        if "\0" in line:
            raise InputError(
                f"line {number} holds a NUL character",
                expected="text",
                remedy="save the table as UTF-8 text (in a spreadsheet: CSV UTF-8)",
            )
        yield line


def _refuse_other_encoding(line: str, number: int) -> None:
    try:
        line.encode("utf-8")
    except UnicodeEncodeError as error:
        byte = ord(line[error.start]) & 0xFF
        raise InputError(
            f"line {number}: byte 0x{byte:02x} is not UTF-8 text",
            expected="one encoding throughout: UTF-8, or UTF-16 with a byte order mark",
            remedy="save the table as UTF-8 (in a spreadsheet: CSV UTF-8)",
        ) from None


def delimited_rows(file: Path, _sheet: str | None) -> Iterator[Item]:
    """Read a table whose cells stand apart by commas, semicolons or tabs."""
    with _opened(file) as stream:
        lines = _text_lines(stream)
        first = next(lines, "")
        delimiter = max(DELIMITERS, key=first.count)
        reader = csv.reader(_with_first(first, lines), delimiter=delimiter, strict=True)
        yield from rows_of_records(_csv_records(reader))


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
            raise InputError(
                f"is not CSV: {error}",
                key=f"row {row}",
                expected="commas, semicolons or tabs between cells; quotes doubled inside quotes",
                remedy="correct that row, or save the table again from the spreadsheet",
            ) from None
        yield record


def json_rows(file: Path, _sheet: str | None) -> Iterator[Item]:
    """Read a table of JSON lines: an object a line, without a header."""
    with _opened(file) as stream:
        found = False
        for number, line in enumerate(_text_lines(stream), start=1):
            if line.strip():
                found = True
                yield row_of_cells(number, _json_cells(line))
        if not found:
            raise empty_table()


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
            "is not a JSON object",
            value=value,
            expected='a line such as {"part.name": "Knob 25"}',
            remedy="correct that line",
        )
    yield from flattened(value)


def _each_key_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise InputError(
                "a key is given twice", value=key, expected="each key once", remedy="leave one out"
            )
        found[key] = value
    return found


def _no_number(text: str) -> Any:
    raise InputError("is not a number", value=text, expected="a finite number", remedy="correct it")
