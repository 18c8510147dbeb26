"""Tables and workbooks as spreadsheets write them."""

from __future__ import annotations

import zipfile
from pathlib import Path
from typing import Any

CSV = "part.name,part.knurled_diameter,knurl.length\nKnob ä,25.0,\n\nB,,18\n"
"""A table with an empty row and an empty cell."""

HEADER = ["part.name", "part.knurled_diameter", "tool.station"]


def table(path: Path, content: bytes) -> Path:
    """Write a table of bytes."""
    path.write_bytes(content)
    return path


def workbook(path: Path, *sheets: list[list[Any]], merge: str | None = None) -> Path:
    """Write a workbook with a sheet for each list of rows, cells of the first merged."""
    from openpyxl import Workbook

    book = Workbook()
    for place, records in enumerate(sheets):
        page = book.active if place == 0 else book.create_sheet("Second")
        assert page is not None
        for record in records:
            page.append(record)
        if merge and place == 0:
            page.merge_cells(merge)  # type: ignore[union-attr]
    book.save(path)
    return path


def changed(path: Path, part: str, old: str, new: str) -> Path:
    """Change a part of a workbook as some spreadsheet would have written it."""
    with zipfile.ZipFile(path) as book:
        parts = {name: book.read(name).decode() for name in book.namelist()}
    assert old in parts[part]
    parts[part] = parts[part].replace(old, new)
    with zipfile.ZipFile(path, "w") as book:
        for name, text in parts.items():
            book.writestr(name, text)
    return path
