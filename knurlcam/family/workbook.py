"""What a workbook hides from a reader of values: looked for in the file itself.

An Office Open XML workbook (ISO/IEC 29500-1) is a zip of XML parts. A reader of values
sees neither that cells are merged, rows hidden or formulas not yet calculated, nor that a
number's format shows a unit behind it.
"""

from __future__ import annotations

import errno
import posixpath
import re
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, NamedTuple
from xml.etree import ElementTree

__all__ = ["Hidden", "Sheet", "WorkbookError", "hidden_things", "sheets"]

MAX_UNPACKED_BYTES = 2_000_000_000
"""Most bytes of all parts of a workbook, unpacked: a small file can unpack to more."""

MOST_TIMES = 40
"""Most times its packed size that a part longer than ``LONG_BYTES`` may unpack to: rows that
are all alike come to fifteen, and only what is made to be a burden to more."""

LONG_BYTES = 500_000
"""Bytes from which a part is looked at more closely, and which are read at a time."""

MAX_OTHER_BYTES = 500_000
"""Most bytes of a part other than sheets and texts: it is held whole, and a style costs more
than a cell."""

MAX_TEXTS_BYTES, MAX_TEXT_TAGS = 30_000_000, 1_500_000
"""Most bytes and tags of the texts that cells share, which are held as well."""

MAX_ROWS, MAX_CELLS = 1_048_576, 16_384
"""Most rows of a sheet and cells of a row (ISO/IEC 29500-1 leaves it open; spreadsheets keep
to it)."""

MAX_COLUMNS, LAST_COLUMN = 500, "SF"
"""Most columns of a table, and the name of the last: a job has fewer keys, and what stands
further to the right does not belong to the table."""

MAX_DEPTH = 100
"""Most XML elements one inside another."""

MAX_OTHER_TAGS = 200_000
"""Most XML elements of a sheet other than rows and cells: links, breaks, formats that depend
on values."""

MAX_SHEETS = 500
"""Most sheets of a workbook."""

_HELD = re.compile(
    r"(\[Content_Types\]|xl/(workbook|styles)|xl/theme/.*|docProps/.*)\.xml|.*\.rels"
)
_TEXTS = re.compile(r".*sharedstrings.*\.xml", re.IGNORECASE)

_SHOWS_MORE = re.compile(
    r"""(?<!\\)"[^"]*[A-Za-z″′'µ][^"]*"  # letters or marks of inch and foot in quotes
    | \\[A-Za-z"″′']                    # ... or one behind a backslash
    | \[\$[^\]-]                         # a currency or unit in brackets
    | (?<!\\)['″′]                       # a mark by itself
    | [0\#?],+(?=[;"\s\\]|$)             # shown in thousands
    | ^;;                                # not shown at all
    """,
    re.VERBOSE,
)
"""A number format that shows something other than the number."""


class WorkbookError(Exception):
    """A file that is not a workbook, or one that cannot be read."""


class Sheet(NamedTuple):
    """A sheet of rows and columns.

    Attributes:
        name: As on its tab.
        part: Its part of the zip.
        visible: Whether a person sees it.
    """

    name: str
    part: str
    visible: bool


@dataclass(frozen=True, slots=True)
class Hidden:
    """Something that a reader of values would not see.

    Attributes:
        row: Its row, or None for the sheet.
        problem: What it is.
        value: The cell's formula or format, or None.
        expected: What would be right.
        remedy: What to do.
    """

    row: int | None
    problem: str
    value: str | None
    expected: str
    remedy: str


@contextmanager
def _opened(file: Path) -> Iterator[zipfile.ZipFile]:
    try:
        with zipfile.ZipFile(file) as book:
            # Before anything is unpacked: a small zip may hold more than any memory.
            unpacked = sum(part.file_size for part in book.infolist())
            if unpacked > MAX_UNPACKED_BYTES:
                raise WorkbookError(f"unpacks to {unpacked:,} bytes")
            for part in book.infolist():
                _refuse_a_burden(book, part)
            yield book
    except (zipfile.BadZipFile, EOFError, NotImplementedError, RuntimeError, zlib.error):
        raise WorkbookError("is not a workbook (.xlsx)") from None
    except OSError as error:
        if error.errno != errno.EINVAL:
            raise
        # Its directory points before its beginning.
        raise WorkbookError("is not a workbook (.xlsx)") from None
    except (LookupError, ElementTree.ParseError, ValueError) as error:
        raise WorkbookError(f"lacks a part of a workbook, or has a broken one ({error})") from None


def _refuse_a_burden(book: zipfile.ZipFile, part: zipfile.ZipInfo) -> None:
    """Refuse a part that would take minutes or much memory to read."""
    name, size = part.filename, part.file_size
    texts = _TEXTS.fullmatch(name)
    if size > LONG_BYTES and size > MOST_TIMES * part.compress_size:
        raise WorkbookError(f"unpacks to more than {MOST_TIMES} times its size ({name})")
    most = MAX_OTHER_BYTES if _HELD.fullmatch(name) else MAX_TEXTS_BYTES if texts else size
    if size > most:
        raise WorkbookError(f"has a part of {size:,} bytes ({name}), more than {most:,}")
    if size > LONG_BYTES and name.endswith(".xml"):
        with book.open(part) as stream:
            _refuse_long_pieces(stream, name, MAX_TEXT_TAGS if texts else size)


def _refuse_long_pieces(stream: IO[bytes], name: str, most_tags: int) -> None:
    """Refuse XML with pieces that a reader looks through again with each bit that comes in."""
    before, tags = stream.read(100)[-10:], 0
    while chunk := stream.read(LONG_BYTES):
        tags += chunk.count(b"<")
        if tags > most_tags:
            raise WorkbookError(f"has a part of too many texts ({name})")
        if _NO_CELLS.search(before + chunk) or (len(chunk) == LONG_BYTES and b"<" not in chunk):
            raise WorkbookError(f"has a part that no spreadsheet writes ({name})")
        before = chunk[-10:]


_NO_CELLS = re.compile(rb"<\?|<!(?!\[CDATA\[|$|\[)")
"""Comments, instructions and definitions: no spreadsheet writes one into a sheet."""


def sheets(file: Path) -> tuple[Sheet, ...]:
    """Return a workbook's sheets of cells, in the order of their tabs; no charts.

    Raises:
        WorkbookError: for a file that is not a workbook.
    """
    with _opened(file) as book:
        targets = {
            rel.get("Id", ""): _part(rel.get("Target", ""))
            for rel in ElementTree.fromstring(book.read("xl/_rels/workbook.xml.rels"))
            if rel.get("Type", "").endswith("/worksheet")
        }
        root = ElementTree.fromstring(book.read("xl/workbook.xml"))
        listed = [e for e in root.iter() if _tag(e) == "sheet"]
        found = [
            Sheet(e.get("name", ""), targets[_rel(e)], e.get("state", "visible") == "visible")
            for e in listed
            if _rel(e) in targets
        ]
    if not found:
        raise WorkbookError("has no sheet of rows and columns")
    if len(found) > MAX_SHEETS:
        raise WorkbookError(f"has {len(found):,} sheets, more than {MAX_SHEETS}")
    return tuple(found)


def _part(target: str) -> str:
    return posixpath.normpath(posixpath.join("/xl", target)).lstrip("/")


def _rel(sheet: ElementTree.Element) -> str:
    """Return a sheet's relation, in whichever of the standard's two namespaces."""
    return next((value for key, value in sheet.attrib.items() if key.endswith("}id")), "")


def _tag(element: ElementTree.Element) -> str:
    return str(element.tag).rpartition("}")[2]


def hidden_things(file: Path, sheet: Sheet) -> Iterator[Hidden]:
    """Look through a sheet for what a reader of values would not see.

    Raises:
        WorkbookError: if the sheet cannot be read.
    """
    with _opened(file) as book:
        formats = _formats_with_units(book)
        with book.open(sheet.part) as part:
            yield from _looked_through(part, formats)


def _formats_with_units(book: zipfile.ZipFile) -> Mapping[str, str]:
    """Return the cell styles whose number format shows letters, by the style's number."""
    if "xl/styles.xml" not in book.namelist():
        return {}
    root = ElementTree.fromstring(book.read("xl/styles.xml"))
    codes = {
        e.get("numFmtId", ""): e.get("formatCode", "")
        for e in root.iter()
        if _tag(e) == "numFmt" and _SHOWS_MORE.search(e.get("formatCode", ""))
    }
    styles = next((e for e in root if _tag(e) == "cellXfs"), ())
    used = [xf.get("numFmtId", "") for xf in styles]
    return {str(place): codes[number] for place, number in enumerate(used) if number in codes}


def _looked_through(part: IO[bytes], formats: Mapping[str, str]) -> Iterator[Hidden]:
    row, cells, others = 0, 0, 0
    above: list[ElementTree.Element] = []
    inside_cell = False
    for event, element in ElementTree.iterparse(part, events=("start", "end")):
        tag = _tag(element)
        if event == "start":
            above.append(element)
            if tag == "row":
                row, cells = _row_number(element, row + 1), 0
                yield from _row(element, row)
            elif tag == "c":
                inside_cell, cells = True, cells + 1
            elif not inside_cell:
                others += 1
            if cells > MAX_CELLS or others > MAX_OTHER_TAGS or len(above) > MAX_DEPTH:
                raise WorkbookError("has a sheet that no spreadsheet writes")
            continue
        above.pop()
        if tag == "c":
            inside_cell = False
            yield from _cell(element, row, cells, formats)
        else:
            yield from _around_cells(tag, element)
        if above and not inside_cell:
            above[-1].remove(element)  # else the sheet would be held whole


def _row(row: ElementTree.Element, number: int) -> Iterator[Hidden]:
    if _is_hidden(row):
        yield Hidden(
            number,
            "is hidden, or filtered out",
            None,
            "each row in sight",
            "show it, or delete it",
        )


def _around_cells(tag: str, element: ElementTree.Element) -> Iterator[Hidden]:
    """What a sheet says of its columns, and of several cells at once."""
    if tag == "col" and element.get("hidden") in ("1", "true"):
        yield Hidden(
            None, "has a hidden column", None, "each column in sight", "show it, or delete it"
        )
    elif tag == "mergeCell":
        yield Hidden(
            None,
            "has merged cells, of which all but the first read as empty",
            element.get("ref"),
            "each cell by itself",
            "unmerge the cells and fill each of them",
        )


def _is_beside(cell: ElementTree.Element, place: int) -> bool:
    """Whether a cell is in a column that no table has; its place counts where it has no name."""
    name = cell.get("r", "")
    if not name[2:3].isalpha():  # up to ZZ, the 702nd
        return place > MAX_COLUMNS or (name[1:2].isalpha() and name[:2].upper() > LAST_COLUMN)
    return True


def _row_number(row: ElementTree.Element, following: int) -> int:
    number = int(row.get("r", following))
    if not 0 < number <= MAX_ROWS:
        raise WorkbookError(f"has a row {number}, and a sheet has {MAX_ROWS:,} at most")
    return number


def _is_hidden(row: ElementTree.Element) -> bool:
    return row.get("hidden") in ("1", "true") or float(row.get("ht", 1)) == 0


def _cell(
    cell: ElementTree.Element, row: int, place: int, formats: Mapping[str, str]
) -> Iterator[Hidden]:
    inside = {_tag(e): e.text for e in cell}
    text = "".join(cell.itertext()).strip() if _is_beside(cell, place) else ""
    if text:
        yield Hidden(
            row,
            f"has something in {cell.get('r') or f'its cell {place}'}, far beside the table",
            text,
            f"at most {MAX_COLUMNS} columns",
            "check that it is the right sheet, and clear the cells beside the table",
        )
    # A text that is empty has been calculated: its cell says that it is a text.
    if "f" in inside and inside.get("v") is None and cell.get("t") != "str":
        yield Hidden(
            row,
            f"the formula in {cell.get('r', 'a cell')} has not been calculated",
            f"={inside['f'] or ''}",
            "a value in each cell that is not empty",
            "open the workbook in a spreadsheet, let it calculate and save it",
        )
    kind, style = cell.get("t", "n"), cell.get("s", "")
    if kind == "n" and inside.get("v") and style in formats:
        yield Hidden(
            row,
            f"{cell.get('r', 'a cell')} shows something other than its value",
            formats[style],
            "a plain number, or a unit written in the cell, such as 0.75 in",
            "write the unit into the cell as text, or take a plain number format",
        )
