"""How a family gets on, and what became of it, on standard error."""

from __future__ import annotations

import os
import sys
import time
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

if TYPE_CHECKING:
    from rich.progress import Progress

    from knurlcam.family import Result, Summary

__all__ = ["FamilyProgress"]

SECONDS_A_LINE = 5.0
"""Time between lines of progress where standard error is not a terminal [s]."""

MOST_KINDS = 20
"""Kinds of problem that are printed: more than anyone fixes before the next run, and the
index lists them all."""

ROWS_SHOWN = 6
"""Rows that are named behind a problem; of more, their number."""


class _Rows:
    """Rows of which the same is true: the first of them, and how many there are."""

    def __init__(self) -> None:
        self.first: list[int] = []
        self.count = 0

    def add(self, row: int) -> None:
        self.count += 1
        if len(self.first) < ROWS_SHOWN:
            self.first.append(row)

    def __str__(self) -> str:
        """Return in words which rows are meant."""
        more = f" and {self.count - len(self.first)} more" if self.count > len(self.first) else ""
        return f"row{'s' if self.count > 1 else ''} {', '.join(map(str, self.first))}{more}"


class _Problems:
    """What is wrong with rows, each problem once with the rows that have it."""

    def __init__(self) -> None:
        self.kinds: dict[str, _Rows] = {}
        self.others = 0

    def add(self, sentence: str, row: int) -> None:
        if sentence not in self.kinds and len(self.kinds) == MOST_KINDS:
            self.others += 1
        else:
            self.kinds.setdefault(sentence, _Rows()).add(row)


class FamilyProgress:
    """Reports how a family gets on, and what became of it; use it in a ``with`` block.

    Args:
        table: The table's name, for what is wrong with a row.
        total: Its rows.
        quiet: Whether problems only are reported.
    """

    def __init__(self, table: str, total: int, *, quiet: bool = False) -> None:
        self.table, self.total, self.quiet = table, total, quiet
        self.done = self.failed = 0
        self.problems = _Problems()
        self.bare = _Rows()
        self.began = self.printed = time.monotonic()
        self.bar = None if quiet else _bar()
        self.task: Any = None

    def __enter__(self) -> Self:
        if self.bar is not None:
            self.bar.start()
            self.task = self.bar.add_task("", total=self.total, rate="")
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self.bar is not None:
            self.bar.stop()

    def watch(self, result: Result) -> None:
        """Take note of a result."""
        self.done += 1
        self.failed += not result.ok
        for problem in result.problems:
            self.problems.add(problem.sentence(), result.row)
        if result.bare:
            self.bare.add(result.row)
        if not self.quiet:
            self._show()

    def _show(self) -> None:
        now = time.monotonic()
        rate = self.done / max(now - self.began, 1e-9)
        if self.bar is not None:
            self.bar.update(self.task, completed=self.done, rate=f"{rate:.0f} rows/s")
        elif now - self.printed > SECONDS_A_LINE:
            self.printed = now
            left = (self.total - self.done) / rate
            failed = f", {self.failed} without a program" if self.failed else ""
            _print(
                f"{self.done} of {self.total} rows{failed}, {rate:.0f} rows/s, {left:.0f} s left"
            )

    def report(self, folder: str, summary: Summary, *, strict: bool) -> None:
        """Print what became of the family."""
        self._print_problems(folder, summary)
        for file in summary.left:
            _print(f"{folder}/{file}: no row makes it any more; it is kept, because it was edited")
        if not summary.written:
            why = "--strict: " if strict else ""
            counts = summary.counts
            _print(f"{counts.failed} of {counts.rows} rows cannot be made; {why}nothing written")
            return
        if self.bare.count:
            _print(
                f"warning: {self.table}: {self.bare}: has only a name, so its program is that of "
                "the base job; delete the row if it is not a part"
            )
        if not self.quiet:
            _print_result(folder, summary)

    def _print_problems(self, folder: str, summary: Summary) -> None:
        for sentence, rows in self.problems.kinds.items():
            _print(f"{self.table}: {rows}: {sentence}")
        if self.problems.others:
            where = f"; {folder}/index.csv lists them all" if summary.written else ""
            _print(f"... and {self.problems.others} other problems{where}")


def _print_result(folder: str, summary: Summary) -> None:
    counts = summary.counts
    shared = counts.shared_numbers()
    if shared:
        _print(f"warning: {shared}")
    text = f"{folder}: {_many(counts.programs, 'program')}, verified"
    if counts.kept:
        text += f" ({counts.kept} kept from before)"
    if counts.failed:
        text += f"; {_many(counts.failed, 'row')} without a program"
    if summary.removed:
        text += f"; {_many(summary.removed, 'file')} removed that no row makes any longer"
    _print(f"{text}. Look at {folder}/index.html")


def _many(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _print(text: str) -> None:
    """Print on standard error; go on where nothing can be written there."""
    if sys.stderr is None:
        return
    try:
        print(text, file=sys.stderr, flush=True)
    except ValueError:
        pass  # it is closed
    except OSError:
        # It is full, or its reader has gone: what waits in it would fail again at the end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), 2)


def _bar() -> Progress | None:
    """Return a progress bar on a terminal; None where the output goes elsewhere."""
    if sys.stderr is None or not sys.stderr.isatty():
        return None
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
    from rich.progress import TimeRemainingColumn as Left

    return Progress(
        MofNCompleteColumn(),
        BarColumn(),
        TextColumn("{task.fields[rate]}"),
        Left(),
        console=Console(stderr=True),
        transient=True,
    )
