"""Many parts from one job: rows to verified programs, in order, on any executor."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future
from dataclasses import dataclass, field, replace
from itertools import islice
from pathlib import Path as FilePath
from typing import Any

from knurlcam.errors import InputError
from knurlcam.family.base import Base, file_of, keys_of
from knurlcam.family.cells import Row, row_of
from knurlcam.family.disk import write_new
from knurlcam.family.entry import Problem
from knurlcam.family.keys import refuse_unknown
from knurlcam.family.result import Made, Result, failed_result, problems_of, result_of
from knurlcam.gcode.marks import Form
from knurlcam.job.model import Job
from knurlcam.path import lay_out
from knurlcam.plan.model import Plan
from knurlcam.plan.planner import make_plan
from knurlcam.program import VerifiedProgram, write_verified
from knurlcam.shop.fill import Shop
from knurlcam.shop.measured import calibrated

__all__ = ["AHEAD", "make_family", "make_rows"]

CHUNK = 48
"""Rows that go through the stages together, and to a worker at once."""

AHEAD = 16
"""Chunks in flight: enough for a few workers, and little to hold in memory."""


def make_family(
    base: Base | Job | Mapping[str, Any] | str | FilePath,
    rows: Iterable[Row | Mapping[str, Any] | Result],
    executor: Executor | None = None,
    *,
    ahead: int = AHEAD,
    shop: Shop | str | FilePath | None = None,
    post: str | None = None,
    form: Form = "program",
    posts: Iterable[str | FilePath] = (),
    review: bool = False,
) -> Iterator[Result]:
    """Make one verified program for each row.

    Args:
        base: The job that all parts share: a job file, a job, its keys, or a :class:`Base`.
        rows: For each part the keys that differ, such as
            ``{"part.name": "Knob 25", "part.knurled_diameter": 25.0}``; a generator will
            do. A result among them is passed through.
        executor: Anything with the interface of ``concurrent.futures``; None for this
            process alone.
        ahead: Chunks of 48 rows that an executor is given ahead of what is taken.
        shop: Shop file that the base names tools and machines of.
        post: Dialect of all programs; each job's own unless given.
        form: ``program``, ``section``, ``subprogram`` or ``blocks``.
        posts: Folders of a shop's own dialects; other machines of an executor need them too.
        review: Whether each part gets a setter's page. A :class:`Base` says all of these
            five itself.

    Yields:
        Results in the order of the rows. A row that cannot be made is a result with
        problems; the others are made all the same.

    Raises:
        InputError: if the base cannot be read, or a row has a key that no job has.
    """
    if isinstance(base, Base):
        common = base
    else:
        common = Base.of(base, shop=shop, post=post, form=form, posts=posts, review=review)
    numbered = (_as_row(number, row) for number, row in enumerate(rows, start=1))
    if executor is None:
        yield from _made_here(common, numbered)
    else:
        yield from _made_by(executor, common, numbered, max(1, ahead))


def _as_row(number: int, row: Row | Mapping[str, Any] | Result) -> Row | Result:
    if isinstance(row, (Row, Result)):
        return row
    if not isinstance(row, Mapping):
        raise InputError(
            "is not a mapping",
            key=f"row {number}",
            value=row,
            expected='keys of a job, such as {"part.name": "Knob 25"}',
            remedy="correct the script",
        )
    made = row_of(number, {str(key): value for key, value in row.items()})
    refuse_unknown(made.cells)
    return made


def _made_here(base: Base, items: Iterator[Row | Result]) -> Iterator[Result]:
    while chunk := list(islice(items, CHUNK)):
        yield from _in_order(chunk, make_rows(base, _rows(chunk)))


def _made_by(
    executor: Executor, base: Base, items: Iterator[Row | Result], ahead: int
) -> Iterator[Result]:
    """Hand rows out in chunks, and give results back in the order of the rows."""
    waiting: deque[tuple[list[Row | Result], Future[list[Result]] | None]] = deque()
    try:
        while True:
            while len(waiting) < ahead and (chunk := list(islice(items, CHUNK))):
                rows = _rows(chunk)
                future = executor.submit(make_rows, base, rows) if rows else None
                waiting.append((chunk, future))
            if not waiting:
                return
            chunk, future = waiting.popleft()
            yield from _in_order(chunk, future.result() if future is not None else ())
    except BrokenExecutor:
        waiting.clear()  # the pool itself fails what waits for it
        raise
    finally:
        for _, future in waiting:
            if future is not None:
                future.cancel()


def _rows(chunk: Sequence[Row | Result]) -> list[Row]:
    return [item for item in chunk if isinstance(item, Row)]


def _in_order(chunk: Sequence[Row | Result], made: Iterable[Result]) -> Iterator[Result]:
    results = iter(made)
    for item in chunk:
        yield item if isinstance(item, Result) else next(results)


# -- rows through the stages -----------------------------------------------------------------


@dataclass(slots=True)
class _Work:
    """One row on its way through the stages."""

    row: Row
    file: str = ""
    keys: dict[str, Any] = field(default_factory=dict)
    job: Job | None = None
    plan: Plan | None = None
    program: VerifiedProgram | None = None
    html: str | None = None
    problems: tuple[Problem, ...] = ()


def make_rows(base: Base, rows: Sequence[Row]) -> list[Result]:
    """Make the programs of some rows; what an executor runs.

    Stage by stage, not row by row: a processor takes two thirds of the time that way, for a
    stage's code and tables stay at hand. A row that fails at a stage goes no further.
    """
    works = [_Work(row) for row in rows]
    for stage in (_read, _plan):
        for work in works:
            _try(base, work, stage)
    for post, group in _by_dialect(base, works).items():
        _write(base, post, group)
    if base.review:
        for work in works:
            _try(base, work, _draw)
    results = [_result(base, work) for work in works]
    if base.staging is not None:
        return [_staged(base.staging, result) for result in results]
    return results


def _staged(folder: str, result: Result) -> Result:
    """Write a result's files, and return it without their texts.

    Raises:
        OSError: if the disk does not take them; that concerns all rows, not this one alone.
    """
    write_new(folder, result.file, result.text)
    write_new(folder, result.page, result.html)
    return replace(result, text=None, html=None)


def _try(base: Base, work: _Work, stage: Callable[[Base, _Work], None]) -> None:
    """Take one row through a stage, and note why it cannot go through."""
    if work.problems:
        return
    try:
        stage(base, work)
    except Exception as error:  # one row's trouble must not lose the others
        work.problems = problems_of(base, work.row, error)


def _read(base: Base, work: _Work) -> None:
    if work.row.fault is not None:
        raise work.row.fault
    work.file = file_of(base, work.row)
    work.keys = keys_of(base, work.row)
    work.job = calibrated(Job.build(work.keys, shop=base.shop), base.shop, base.measured)


def _plan(_base: Base, work: _Work) -> None:
    assert work.job is not None
    work.plan = make_plan(work.job)


def _by_dialect(base: Base, works: Sequence[_Work]) -> dict[str, list[_Work]]:
    groups: dict[str, list[_Work]] = {}
    for work in works:
        if work.plan is not None:
            groups.setdefault(base.post or work.plan.job.machine.post, []).append(work)
    return groups


def _write(base: Base, post: str, works: Sequence[_Work]) -> None:
    """Write, read back and check the programs of one dialect."""

    def write(group: Sequence[_Work]) -> None:
        paths = [lay_out(w.plan) for w in group if w.plan is not None]
        programs = write_verified(paths, post, form=base.form, posts=base.posts)
        for work, program in zip(group, programs, strict=True):
            work.program = program

    try:
        write(works)
    except Exception:  # by itself each of them says whether it is the one, and why
        for work in works:
            _try(base, work, lambda _, one: write([one]))


def _draw(base: Base, work: _Work) -> None:
    from knurlcam.review import review_page

    assert work.job is not None
    assert work.program is not None
    post = work.program.verification.post
    work.html = review_page(
        work.job, work.program.text, post, form=base.form, posts=base.posts, name=work.file
    ).html


def _result(base: Base, work: _Work) -> Result:
    job, plan, program = work.job, work.plan, work.program
    if not work.problems:
        assert job is not None
        assert plan is not None
        assert program is not None
        try:
            made = Made(work.file, work.keys, job, plan, program, work.html)
            return result_of(base, work.row, made)
        except Exception as error:  # as in `_try`: what JSON cannot hold, say
            work.problems = problems_of(base, work.row, error)
    return failed_result(base, work.row, work.problems)
