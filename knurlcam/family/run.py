"""A whole family: the table looked through, the programs made and put in their folder."""

from __future__ import annotations

import gc
import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import closing, contextmanager, suppress
from dataclasses import replace
from multiprocessing import resource_tracker
from multiprocessing.context import SpawnContext, SpawnProcess
from pathlib import Path

from knurlcam.errors import InputError
from knurlcam.family.entry import job_text
from knurlcam.family.folder import FamilyFolder, Summary, told
from knurlcam.family.keys import FILE_COLUMNS, refuse_unknown
from knurlcam.family.ledger import Ledger
from knurlcam.family.make import AHEAD, Base, Result, file_of, inputs_digest, keys_of, make_family
from knurlcam.family.names import folded, page_name
from knurlcam.family.rows import Row, read_columns, read_rows, refuse_what_a_workbook_hides
from knurlcam.job.model import JobFileError

__all__ = ["count_rows", "run_family", "save_family"]

ROWS_A_WORKER = 400
"""Starting a worker takes as long as making so many programs."""

LOOK_S = 1.0
TOLD_S = 3.0
"""How often workers are looked at, and how long a pool may take to tell that one has died."""

MOST_PROBLEMS = 20
"""Of a table's names: more than anybody mends before looking again."""

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
        table: The table; see :func:`knurlcam.family.rows.read_rows`.
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
    count = workers or min(_cores(), 1 + total // ROWS_A_WORKER)
    with opened as into, _executor(executor, count) as pool:
        if into.wary:
            _refuse_to_overwrite(base, read_rows(table, sheet), into)
        if executor is None and count > 1:
            base = replace(base, staging=into.staging)
        items = _rows_or_results(base, read_rows(table, sheet), into)
        results = make_family(base, items, pool, ahead=max(AHEAD, 4 * count))
        try:
            with closing(results), told(Path(folder)):  # type: ignore[type-var]
                return _save(results, into, watch)
        except BrokenProcessPool:
            raise InputError(
                "a worker process was ended from outside",
                where=str(folder),
                expected="enough memory for each worker, and in a script of your own that what "
                'it does stands below `if __name__ == "__main__":`',
                remedy="what was made so far is whole; run again with --resume and fewer --workers",
            ) from None


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


def _refuse_to_overwrite(base: Base, rows: Iterable[Row], into: FamilyFolder) -> None:
    """Refuse names of files that must stay, before anything is put in its place."""
    for row in rows:
        try:
            file = file_of(base, row) if row.fault is None else None
        except InputError:
            continue  # making the row says what is wrong with it
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
        return None  # making the row says what is wrong with it


# -- workers -------------------------------------------------------------------


@contextmanager
def _deaf() -> Iterator[None]:
    """Let a terminal's interrupt wait; processes that begin here never hear of one."""
    if sys.platform == "win32" or threading.current_thread() is not threading.main_thread():
        yield
        return
    resource_tracker.ensure_running()  # it would lift the block when it starts
    heard = signal.pthread_sigmask(signal.SIG_BLOCK, (signal.SIGINT,))
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, heard)


class _DeafProcess(SpawnProcess):
    """A process whose parent is the one to stop."""

    def start(self) -> None:
        with _deaf():
            super().start()


class _Context(SpawnContext):
    """Processes started afresh on every system: nothing of this one is copied half done."""

    Process = _DeafProcess


@contextmanager
def _executor(own: Executor | None, count: int) -> Iterator[Executor | None]:
    if own is not None or count == 1:
        yield own
        return
    with ProcessPoolExecutor(count, mp_context=_Context(), initializer=_begin_worker) as pool:
        with _deaf():
            for _ in range(count):
                pool.submit(_cores)  # anything: what matters is that all workers begin now
        over = threading.Event()
        threading.Thread(target=_watch, args=(pool, over), daemon=True).start()
        try:
            yield pool
        finally:
            over.set()


def _watch(pool: ProcessPoolExecutor, over: threading.Event) -> None:
    """Break a pool that waits for ever for the rest of what a dead worker was sending.

    A pool tells by itself that a worker has died, but not while it reads a result: if the
    worker was killed in the middle of one, the rest never comes, and the pipe stays open as
    long as anybody holds its other end. The pool has no public way to let go of it.
    """
    while not over.wait(LOOK_S):
        workers = list((pool._processes or {}).values())
        if all(worker.exitcode is None for worker in workers) or over.wait(TOLD_S):
            continue
        for worker in workers:
            worker.kill()
        with suppress(AttributeError, OSError):
            pool._result_queue._writer.close()  # type: ignore[attr-defined]
        return


def _cores() -> int:
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _begin_worker() -> None:
    """Make a worker go when its parent does, however that ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    gc.set_threshold(100_000, 50, 50)
    parent = multiprocessing.parent_process()

    def leave_with_parent() -> None:
        if parent is not None:
            parent.join()
            os._exit(1)

    threading.Thread(target=leave_with_parent, daemon=True).start()
