"""A table looked through before anything is written: its columns, names and rows."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import closing
from pathlib import Path

from knurlcam.errors import InputError
from knurlcam.family.base import Base, file_of
from knurlcam.family.cells import Row
from knurlcam.family.keys import FILE_COLUMNS, refuse_unknown
from knurlcam.family.ledger import Ledger
from knurlcam.family.names import folded
from knurlcam.family.rows import read_columns, read_rows, refuse_what_a_workbook_hides
from knurlcam.job.problems import JobFileError

__all__ = ["count_rows"]

MOST_PROBLEMS = 20
"""Problems with a table's names that are listed: more than anyone fixes before looking again."""


def count_rows(base: Base, table: str | Path, sheet: str | None = None) -> int:
    """Look a table through before anything is written, and return its rows.

    Raises:
        InputError: for an unknown column, a name that two rows share or that would leave
            the folder, a table without rows, or one that cannot be read to its end.
    """
    where = str(table)
    refuse_what_a_workbook_hides(table, sheet)
    problems: list[InputError] = []
    total = 0
    with closing(Ledger()) as ledger:
        _refuse_columns(read_columns(table, sheet), where)
        for row in read_rows(table, sheet):
            total += 1
            _refuse_columns(row.cells, where)
            problem = _name_problem(base, row, ledger, where)
            if problem is not None:
                problems.append(problem)
                if len(problems) >= MOST_PROBLEMS:
                    break
    if problems:
        raise JobFileError(tuple(problems))
    if not total:
        raise InputError(
            "has no rows",
            where=where,
            expected="a header, and below it a row for each part",
            remedy="fill the table",
        )
    return total


def _refuse_columns(columns: Iterable[str], where: str) -> None:
    try:
        refuse_unknown(columns)
    except InputError as error:
        raise error.at(where=where) from None


def _name_problem(base: Base, row: Row, ledger: Ledger, where: str) -> InputError | None:
    """Return what is wrong with the name of a row's file, if it concerns the whole table."""
    place = f"{where} row {row.number}"
    if row.fault is not None:
        return None
    try:
        file = file_of(base, row)
    except InputError as error:
        # A part without a name spoils its own row only; a name that leaves the folder all.
        return error.at(where=place) if error.key in FILE_COLUMNS else None
    other = ledger.take(folded(file), row.number)
    if other is None:
        return None
    column = next((c for c in FILE_COLUMNS if c in row.cells), "part.name")
    return InputError(
        f"gives the same file as row {other}",
        where=place,
        key=column,
        value=file,
        expected="a name for each part that differs in more than its ending or its capitals",
        remedy="give the parts different names, or add a column `file`",
    )
