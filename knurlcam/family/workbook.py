"""What a workbook hides from whoever reads its values: looked for in the file itself.

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
"""Of a workbook's parts, unpacked: a small file that unpacks to more is refused."""

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
"""A number format that shows something else than the number."""


class WorkbookError(Exception):
    """A file that is no workbook, or one that cannot be read."""


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
            unpacked = sum(part.file_size for part in book.infolist())
            if unpacked > MAX_UNPACKED_BYTES:
                raise WorkbookError(f"unpacks to {unpacked:,} bytes")
            yield book
    except (zipfile.BadZipFile, EOFError, NotImplementedError, RuntimeError, zlib.error):
        raise WorkbookError("is no workbook (.xlsx)") from None
    except OSError as error:
        if error.errno != errno.EINVAL:
            raise
        # Its directory points before its beginning.
        raise WorkbookError("is no workbook (.xlsx)") from None
    except (LookupError, ElementTree.ParseError, ValueError) as error:
        raise WorkbookError(f"lacks a part of a workbook, or has a broken one ({error})") from None


def sheets(file: Path) -> tuple[Sheet, ...]:
    """Return a workbook's sheets of cells, in the order of their tabs; no charts.

    Raises:
        WorkbookError: for a file that is no workbook.
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
    row = 0
    for event, element in ElementTree.iterparse(part, events=("start", "end")):
        tag = _tag(element)
        if event == "start":
            if tag == "row":
                row = int(element.get("r", row + 1))
                if _is_hidden(element):
                    yield Hidden(
                        row,
                        "is hidden, or filtered out",
                        None,
                        "each row in sight",
                        "show it, or delete it",
                    )
            continue
        if tag == "col" and element.get("hidden") in ("1", "true"):
            yield Hidden(
                None, "has a hidden column", None, "each column in sight", "show it, or delete it"
            )
        elif tag == "c":
            yield from _cell(element, row, formats)
        elif tag == "mergeCell":
            yield Hidden(
                None,
                "has merged cells, of which all but the first read as empty",
                element.get("ref"),
                "each cell by itself",
                "unmerge the cells and fill each of them",
            )
        if tag in ("row", "c"):
            element.clear()


def _is_hidden(row: ElementTree.Element) -> bool:
    return row.get("hidden") in ("1", "true") or float(row.get("ht", 1)) == 0


def _cell(cell: ElementTree.Element, row: int, formats: Mapping[str, str]) -> Iterator[Hidden]:
    inside = {_tag(e): e.text for e in cell}
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
            f"{cell.get('r', 'a cell')} shows something else than its value",
            formats[style],
            "a plain number, or a unit written in the cell, such as 0.75 in",
            "write the unit into the cell as text, or take a plain number format",
        )
