"""A whole family: the table looked through, the programs made and put in their folder."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor
from concurrent.futures.process import BrokenProcessPool
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path

from knurlcam.errors import InputError
from knurlcam.family.base import Base, file_of, inputs_digest, keys_of
from knurlcam.family.cells import Row
from knurlcam.family.disk import disk_errors_named
from knurlcam.family.entry import job_text
from knurlcam.family.folder import FamilyFolder, Summary
from knurlcam.family.make import AHEAD, make_family
from knurlcam.family.names import page_name
from knurlcam.family.result import Result
from knurlcam.family.rows import read_rows
from knurlcam.family.table_check import count_rows
from knurlcam.family.workers import cores, executor_of

__all__ = ["run_family", "save_family"]

ROWS_A_WORKER = 400
"""Rows for each worker at least: starting one takes as long as making so many programs."""

Watch = Callable[[Result], None]


def save_family(
    results: Iterator[Result],
    folder: str | Path,
    *,
    force: bool = False,
    strict: bool = False,
    base: str = "a script",
    table: str = "a script",
    watch: Watch | None = None,
) -> Summary:
    """Put results in a folder, with an index.

    Args:
        results: What :func:`make_family` returns.
        folder: The folder; made where there is none.
        force: Whether files that no earlier run made may be written over.
        strict: Whether one row without a program keeps all others from the folder.
        base: The base job's name, for the index.
        table: The table's name, for the index.
        watch: Called with each result that the folder has taken.

    Raises:
        InputError: if the folder cannot be used or the disk is full; the programs that
            stand in it are whole.
    """
    with FamilyFolder(folder, force=force, strict=strict, base=base, table=table) as into:
        return _save(results, into, watch)


def _save(results: Iterator[Result], into: FamilyFolder, watch: Watch | None) -> Summary:
    for result in results:
        into.add(result)
        if watch is not None:
            watch(result)
    return into.finish()


def run_family(
    base: Base,
    table: str | Path,
    folder: str | Path,
    *,
    sheet: str | None = None,
    rows: int | None = None,
    workers: int | None = None,
    executor: Executor | None = None,
    force: bool = False,
    resume: bool = False,
    strict: bool = False,
    watch: Watch | None = None,
) -> Summary:
    """Make a table's programs and put them in a folder.

    Args:
        base: What all parts share.
        table: The table; see :func:`~knurlcam.family.rows.read_rows`.
        folder: The folder; made where there is none.
        sheet: Name of a workbook's sheet; the first unless given.
        rows: What :func:`count_rows` returned for the table; None to have it looked
            through now.
        workers: Processes that make programs; None for the cores there are, or fewer for
            a small table.
        executor: An executor to use instead of such processes.
        force: Whether files that no earlier run made may be written over.
        resume: Whether an earlier run's programs are kept where nothing has changed.
        strict: Whether one row without a program keeps all others from the folder.
        watch: Called with each result that the folder has taken.

    Raises:
        InputError: if the table, the base or the folder is not what it must be, or the
            disk is full; the programs that stand in the folder are whole.
    """
    total = count_rows(base, table, sheet) if rows is None else rows
    read = [base.where, table] + ([] if base.shop is None else [base.shop.path])
    opened = FamilyFolder(
        folder,
        force=force,
        resume=resume,
        strict=strict,
        base=Path(base.where).name,
        table=Path(table).name,
        inputs=read,
    )
    count = workers or min(cores(), 1 + total // ROWS_A_WORKER)
    with opened as into, executor_of(executor, count) as pool:
        if into.wary:
            _refuse_to_overwrite(base, read_rows(table, sheet), into)
        if executor is None and count > 1:
            base = replace(base, staging=into.staging)
        items = _rows_or_results(base, read_rows(table, sheet), into)
        results = make_family(base, items, pool, ahead=max(AHEAD, 4 * count))
        with _ended_workers_named(folder), closing(results), disk_errors_named(Path(folder)):  # type: ignore[type-var]
            return _save(results, into, watch)


@contextmanager
def _ended_workers_named(folder: str | Path) -> Iterator[None]:
    """Say what to do where the system ends a worker, as it does when memory runs out."""
    try:
        yield
    except BrokenProcessPool:
        raise InputError(
            "a worker process was ended from outside",
            where=str(folder),
            expected="enough memory for each worker, and in a script of your own that what "
            'it does stands below `if __name__ == "__main__":`',
            remedy="what was made so far is complete; run again with --resume and fewer --workers",
        ) from None


def _refuse_to_overwrite(base: Base, rows: Iterable[Row], into: FamilyFolder) -> None:
    """Refuse names of files that must stay, before anything is put in its place."""
    for row in rows:
        try:
            file = file_of(base, row) if row.fault is None else None
        except InputError:
            continue  # making the row reports it
        if file is not None:
            into.refuse_to_overwrite(file, row.number)
            if base.review:
                into.refuse_to_overwrite(page_name(file), row.number)


def _rows_or_results(base: Base, rows: Iterator[Row], into: FamilyFolder) -> Iterator[Row | Result]:
    """Return the rows to make, and in the place of others what an earlier run made."""
    for row in rows:
        kept = _kept(base, row, into) if into.resume and row.fault is None else None
        yield row if kept is None else kept


def _kept(base: Base, row: Row, into: FamilyFolder) -> Result | None:
    try:
        return into.kept(
            file_of(base, row), inputs_digest(base, row, job_text(keys_of(base, row))), row.number
        )
    except ValueError:
        return None  # making the row reports it
