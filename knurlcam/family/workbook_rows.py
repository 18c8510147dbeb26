"""Tables in workbooks (.xlsx): the rows of one sheet."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from knurlcam.errors import InputError, nearest
from knurlcam.family.cells import Item, rows_of_records
from knurlcam.family.workbook import (
    MAX_COLUMNS,
    Hidden,
    Sheet,
    WorkbookError,
    hidden_things,
    sheets,
)

if TYPE_CHECKING:
    from openpyxl import Workbook

__all__ = ["first_hidden", "workbook_rows"]


def workbook_rows(file: Path, sheet: str | None) -> Iterator[Item]:
    """Read a sheet of a workbook, the first that is visible unless one is named."""
    with _errors_in_words():
        chosen = _sheet(file, sheet)
        with _workbook(file) as book:
            yield from rows_of_records(_records(book, chosen.name))


def first_hidden(file: Path, sheet: str | None) -> Hidden | None:
    """Return the first thing in a sheet that a reader of values would not see.

    Raises:
        InputError: if the workbook cannot be read.
    """
    with _errors_in_words():
        return next(hidden_things(file, _sheet(file, sheet)), None)


@contextmanager
def _errors_in_words() -> Iterator[None]:
    try:
        yield
    except WorkbookError as error:
        raise _broken_workbook(str(error)) from None


def _sheet(file: Path, name: str | None) -> Sheet:
    """Return the sheet of a name, or the first that a person sees."""
    found = sheets(file)
    if name is None:
        return next((s for s in found if s.visible), found[0])
    for one in found:
        if one.name == name:
            return one
    raise InputError(
        "has no such sheet",
        value=name,
        expected="one of its sheets",
        remedy=nearest(name, [s.name for s in found]),
    )


def _broken_workbook(problem: str) -> InputError:
    return InputError(
        problem,
        expected="a workbook as a spreadsheet saves it",
        remedy="open it in a spreadsheet and save it as .xlsx or as CSV",
    )


@contextmanager
def _workbook(file: Path) -> Iterator[Workbook]:
    from openpyxl import load_workbook

    try:
        with warnings.catch_warnings():
            # What it leaves out we report in our own words, where it matters.
            warnings.simplefilter("ignore")
            book = load_workbook(file, read_only=True, data_only=True, keep_links=False)
    except OSError:
        raise
    except Exception:  # whatever the reader makes of a broken file
        raise _broken_workbook("cannot be read as a workbook") from None
    with closing(book):
        yield book


def _records(book: Workbook, sheet: str) -> Iterator[tuple[Any, ...]]:
    try:
        page = book[sheet]
    except KeyError:  # its part is missing: the reader leaves out such a sheet
        raise _broken_workbook("has a sheet that cannot be read") from None
    # What a file says of its own size may be wrong; without it all rows are read.
    page.reset_dimensions()
    # A cell at a sheet's far edge would make its row as long as the sheet is wide.
    try:
        yield from page.iter_rows(max_col=MAX_COLUMNS + 1, values_only=True)
    except Exception:  # of the reader's own: what takes the rows raises elsewhere
        raise _broken_workbook("has a sheet that cannot be read") from None
