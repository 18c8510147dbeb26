"""Many parts from one job: rows to proven programs, in order, on any executor."""

from __future__ import annotations

import hashlib
import json
import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future
from dataclasses import dataclass, field, replace
from itertools import islice
from pathlib import Path as FilePath
from typing import Any

from knurlcam import __version__
from knurlcam.data.folders import table_files
from knurlcam.errors import CannotBeDoneError, InputError, KnurlcamError
from knurlcam.family import names
from knurlcam.family.entry import Lines, Problem, job_text, lines_of
from knurlcam.family.keys import FILE_COLUMNS, merged, refuse_broken_base, refuse_unknown
from knurlcam.family.rows import LARGEST, Row, row_of
from knurlcam.gcode.dialect import TEMPLATE_FILE, TRAITS_FILE, dialect_names, load_dialect
from knurlcam.gcode.marks import FORMS, Form
from knurlcam.job.model import Job, JobFileError, read_table_file
from knurlcam.path import lay_out
from knurlcam.plan.model import Plan
from knurlcam.plan.planner import make_plan
from knurlcam.program import VerifiedProgram, write_verified
from knurlcam.shop.fill import Shop, find_shop
from knurlcam.text import shortened

__all__ = [
    "Base",
    "Problem",
    "Result",
    "file_of",
    "inputs_digest",
    "keys_of",
    "make_family",
    "write_new",
]

CHUNK = 48
"""Rows that go through the stages together, and to a worker at once."""

AHEAD = 16
"""Chunks in flight: enough for a few workers, and little to hold in memory."""


@dataclass(frozen=True, slots=True)
class Base:
    """What all parts of a family share.

    Attributes:
        keys: The base job's keys, nested as in the file; rows fill up what is missing.
        where: Its name for messages.
        shop: The shop file that its names refer to.
        post: Dialect of all programs; None for each job's own.
        form: ``program``, ``subprogram`` or ``blocks``.
        posts: Folders of a shop's own dialects.
        review: Whether each part gets a setter's page.
        tables: What stands in the tables and dialects that programs are made with, as a
            digest: a program made with others is made anew.
        staging: Folder, ended by its separator, that whoever makes a program writes it to:
            workers on one machine share the work that way. None to hand texts back.
    """

    keys: Mapping[str, Any]
    where: str = "the base job"
    shop: Shop | None = None
    post: str | None = None
    form: Form = "program"
    posts: tuple[str, ...] = ()
    review: bool = False
    tables: str = field(default="", compare=False)
    staging: str | None = field(default=None, compare=False)

    @classmethod
    def of(
        cls,
        base: Job | Mapping[str, Any] | str | FilePath,
        *,
        shop: Shop | str | FilePath | None = None,
        post: str | None = None,
        form: Form = "program",
        posts: Iterable[str | FilePath] = (),
        review: bool = False,
    ) -> Base:
        """Return a base from a job file, a job or its keys; see the attributes.

        Raises:
            JobFileError: if a file is not a TOML file.
            InputError: if the dialect is unknown or broken.
        """
        where = "the base job"
        found = shop if isinstance(shop, Shop) else None
        keys: Mapping[str, Any]
        if isinstance(base, Job):
            keys = base.model_dump(mode="json", exclude_unset=True)
        elif isinstance(base, Mapping):
            keys = base
        else:
            keys, where = read_table_file(base), str(base)
            found = find_shop(base, shop)
        if found is None and shop is not None:
            found = find_shop(where, shop)
        refuse_broken_base(keys, where)
        if form not in FORMS:
            raise InputError(
                "unknown form",
                key="form",
                value=form,
                expected=" or ".join(FORMS),
                remedy="correct it",
            )
        folders = tuple(str(f) for f in posts)
        if post is not None:
            load_dialect(post, folders)
        made = cls(keys, where, found, post, form, folders, review)
        return replace(made, tables=_tables_digest(made))


@dataclass(frozen=True, slots=True)
class Result:
    """One row's program, or why it has none.

    Attributes:
        row: The row's number in its table.
        name: The part's name, if the row has one.
        file: Name of the program's file, if there is a program.
        text: The program, which verifies; None without one, or where it is in a file already.
        page: Name of the setter's page, if there is one.
        html: The setter's page; None without one, or where it is in a file already.
        number: The program's number.
        bare: Whether the row says nothing but a name: perhaps it is no part.
        lines: What the files of the index say of it.
        problems: Why there is no program; empty where there is one.
        kept: Whether an earlier run's program is kept.
    """

    row: int
    name: str | None
    file: str | None
    text: str | None
    page: str | None
    html: str | None
    number: int | None
    bare: bool
    lines: Lines
    problems: tuple[Problem, ...] = ()
    kept: bool = False

    @classmethod
    def of_kept(cls, entry: Mapping[str, Any]) -> Result:
        """Return the result that an earlier run's row of the index stands for."""
        return cls(
            entry["row"],
            entry["name"],
            entry["file"],
            None,
            entry["page"],
            None,
            entry["number"],
            _is_bare(entry),
            lines_of(entry),
            kept=True,
        )

    @property
    def ok(self) -> bool:
        """Whether the row has a program."""
        return not self.problems

    @property
    def entry(self) -> dict[str, Any]:
        """What index.json says of it; see :class:`knurlcam.family.entry.Entry`."""
        entry: dict[str, Any] = json.loads(self.lines.json)
        return entry

    @property
    def job(self) -> Job:
        """The row's job.

        Raises:
            InputError: for a row without a program.
        """
        if not self.ok:
            raise InputError(
                "has no program",
                key=f"row {self.row}",
                expected="a row that could be made",
                remedy="see its problems",
            )
        return Job.build(self.entry["job"])


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
        form: ``program``, ``subprogram`` or ``blocks``.
        posts: Folders of a shop's own dialects; other machines of an executor need them too.
        review: Whether each part gets a setter's page. A :class:`Base` says all of these
            five itself.

    Yields:
        Results in the order of the rows. A row that cannot be made is a result with
        problems; the others do not mind.

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
            "is no mapping",
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
        waiting.clear()  # the pool itself tells what waits for it
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


# -- one row -------------------------------------------------------------------


def file_of(base: Base, row: Row) -> str:
    """Return the name of the file that a row's program goes to.

    Raises:
        InputError: naming the column, if no safe name can be told.
    """
    for column in FILE_COLUMNS:
        if column in row.cells:
            return names.as_given(str(row.cells[column]), column)
    name = _part_name(base, row)
    if name is None:
        raise InputError(
            "is missing",
            key="part.name",
            expected="a name for each part",
            remedy="add a column part.name",
        )
    return names.from_part_name(name)


def keys_of(base: Base, row: Row) -> dict[str, Any]:
    """Return the keys of a row's job."""
    keys = merged(base.keys, row.cells)
    keys.setdefault("process", {})  # said though it is empty: jobs share what is the same
    return keys


def _part_name(base: Base, row: Row) -> str | None:
    name: Any = row.cells.get("part.name")
    if name is None:
        part = base.keys.get("part")
        name = part.get("name") if isinstance(part, Mapping) else None
    return None if name is None else str(name)


@dataclass(slots=True)
class _Work:
    """One row on its way through the stages."""

    row: Row
    file: str = ""
    keys: dict[str, Any] = field(default_factory=dict)
    job: Job | None = None
    plan: Plan | None = None
    proof: VerifiedProgram | None = None
    html: str | None = None
    result: Result | None = None
    problems: tuple[Problem, ...] = ()


def make_rows(base: Base, rows: Sequence[Row]) -> list[Result]:
    """Make the programs of some rows; what an executor runs.

    Stage by stage, not row by row: a processor is through sooner that way. A row that
    fails at a stage goes no further.
    """
    works = [_Work(row) for row in rows]
    for stage in (_read, _plan):
        for work in works:
            _try(base, work, stage)
    for post, group in _by_dialect(base, works).items():
        _prove(base, post, group)
    if base.review:
        for work in works:
            _try(base, work, _draw)
    for work in works:
        _try(base, work, _tell)
    results = [work.result or _failed(base, work.row, work.problems) for work in works]
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


def write_new(folder: str, name: str | None, text: str | None) -> None:
    """Write a file that is not there yet; nothing for what has no name or no text."""
    if name is not None and text is not None:
        with open(folder + name, "xb") as stream:
            stream.write(text.encode())


def _try(base: Base, work: _Work, stage: Callable[[Base, _Work], None]) -> None:
    """Take one row through a stage, and note why it cannot go through."""
    if work.problems:
        return
    try:
        stage(base, work)
    except Exception as error:  # one row's trouble must not lose the others
        work.problems = _problems(base, work.row, error)


def _problems(base: Base, row: Row, error: Exception) -> tuple[Problem, ...]:
    if isinstance(error, JobFileError):
        return tuple(_problem(base, row, p) for p in error.problems)
    if isinstance(error, CannotBeDoneError):
        refusals = error.refusals
        return tuple(Problem(r.key, _given(base, row, r.key), r.message, r.code) for r in refusals)
    if isinstance(error, InputError):
        return (_problem(base, row, error),)
    if isinstance(error, KnurlcamError):
        return (Problem(None, None, str(error), "not-proven"),)
    message = f"internal error ({type(error).__name__}: {shortened(str(error), 200)})"
    return (Problem(None, None, f"{message}; please report it", "internal"),)


def _read(base: Base, work: _Work) -> None:
    if work.row.fault is not None:
        raise work.row.fault
    work.file = file_of(base, work.row)
    work.keys = keys_of(base, work.row)
    work.job = Job.build(work.keys, shop=base.shop)


def _plan(_base: Base, work: _Work) -> None:
    assert work.job is not None
    work.plan = make_plan(work.job)


def _by_dialect(base: Base, works: Sequence[_Work]) -> dict[str, list[_Work]]:
    groups: dict[str, list[_Work]] = {}
    for work in works:
        if work.plan is not None:
            groups.setdefault(base.post or work.plan.job.machine.post, []).append(work)
    return groups


def _prove(base: Base, post: str, works: Sequence[_Work]) -> None:
    """Write, read back and check the programs of one dialect."""

    def prove(group: Sequence[_Work]) -> None:
        paths = [lay_out(w.plan) for w in group if w.plan is not None]
        proofs = write_verified(paths, post, form=base.form, posts=base.posts)
        for work, proof in zip(group, proofs, strict=True):
            work.proof = proof

    try:
        prove(works)
    except Exception:  # by itself each of them says whether it is the one, and why
        for work in works:
            _try(base, work, lambda _, one: prove([one]))


def _draw(base: Base, work: _Work) -> None:
    from knurlcam.review import review_page

    assert work.job is not None
    assert work.proof is not None
    post = work.proof.verification.post
    work.html = review_page(
        work.job, work.proof.text, post, form=base.form, posts=base.posts, name=work.file
    ).html


def _tell(base: Base, work: _Work) -> None:
    job, plan, proof, html, row = work.job, work.plan, work.proof, work.html, work.row
    assert job is not None
    assert plan is not None
    assert proof is not None
    keys = job_text(work.keys)
    entry: dict[str, Any] = {
        "row": row.number,
        "name": job.part.name,
        "file": work.file,
        "sha256": _digest(proof.text),
        "page": None if html is None else names.page_name(work.file),
        "page_sha256": None if html is None else _digest(html),
        "inputs_sha256": inputs_digest(base, row, keys),
        **_figures(job, plan, proof.verification.post),
        "findings": [_finding(f) for f in proof.verification.findings],
        "notes": _notes(row, plan),
        "problems": [],
    }
    if base.shop is not None:
        keys = job_text(job.model_dump(mode="json", exclude_none=True))
    work.result = Result(
        row.number,
        job.part.name,
        work.file,
        proof.text,
        entry["page"],
        html,
        job.part.number,
        _is_bare(entry),
        lines_of(entry, keys),
    )


def _figures(job: Job, plan: Plan, post: str) -> dict[str, Any]:
    return {
        "number": job.part.number,
        "job_identity": job.identity,
        "post": post,
        "units": job.units,
        "callout": plan.knurl.callout,
        "teeth": plan.teeth,
        "blank_diameter_mm": plan.blank_diameter_mm,
        "blank_tolerance_mm": plan.blank_tolerance_mm,
        "blank_limits_mm": plan.one_sided_limits_mm and list(plan.one_sided_limits_mm),
        "knurled_diameter_mm": plan.knurled_diameter_mm,
        "passes": sum(p.presses for p in plan.passes),
        "spindle_rpm": plan.programmed_rpm,
        "time_s": plan.time_s,
        "evenness": _evenness(plan),
    }


def _evenness(plan: Plan) -> float | None:
    """Evenness of the knurl as the program makes it; None where it cannot be told."""
    made = None if plan.estimate is None else plan.estimate.deflection
    if made is None:
        return None
    return made.evenness_compensated if plan.follows else made.evenness


AS_BASE = "as-the-base"
"""Code of the warning that a row says nothing but a name: perhaps it is no part."""

_NAMES_ONLY = frozenset(("part.name", "part.number", *FILE_COLUMNS))


def _says_a_name_only(row: Row) -> bool:
    return row.cells.keys() <= _NAMES_ONLY


def _notes(row: Row, plan: Plan) -> list[dict[str, Any]]:
    notes = [{"severity": n.severity, "code": n.code} for n in plan.notes]
    if _says_a_name_only(row):
        notes.insert(0, {"severity": "warning", "code": AS_BASE})
    return notes


def _is_bare(entry: Mapping[str, Any]) -> bool:
    return any(note["code"] == AS_BASE for note in entry["notes"][:1])


def _finding(found: Any) -> dict[str, Any]:
    return {"severity": found.severity, "code": found.code, "line": found.line}


_NO_FIGURES: Mapping[str, None] = dict.fromkeys(
    (
        "sha256",
        "page",
        "page_sha256",
        "inputs_sha256",
        "number",
        "job_identity",
        "post",
        "units",
        "callout",
        "teeth",
        "blank_diameter_mm",
        "blank_tolerance_mm",
        "blank_limits_mm",
        "knurled_diameter_mm",
        "passes",
        "spindle_rpm",
        "time_s",
        "evenness",
    )
)


def _failed(base: Base, row: Row, problems: tuple[Problem, ...]) -> Result:
    # Of a row that cannot be read nothing is known, not even whether it has a name.
    name = _plain(_part_name(base, row)) if row.fault is None else None
    entry = {
        "row": row.number,
        "name": name,
        "file": None,
        **_NO_FIGURES,
        "findings": [],
        "notes": [],
        "problems": [
            {"column": p.column, "value": p.value, "message": p.message, "code": p.code}
            for p in problems
        ],
        "job": None,
    }
    lines = lines_of(entry)
    return Result(row.number, name, None, None, None, None, None, False, lines, problems)


def _problem(base: Base, row: Row, error: InputError) -> Problem:
    """Return a problem from an error, with the value that the row or the base gives."""
    value = error.value
    if value is None and error.key is not None:
        value = _given(base, row, error.key)
    told = error.problem
    if error.expected:
        told += f"; expected {error.expected}"
    if error.remedy:
        told += f"; {error.remedy}"
    return Problem(error.key, _plain(value), told)


def _given(base: Base, row: Row, key: str) -> Any:
    if key in row.cells:
        return _plain(row.cells[key])
    inside: Any = base.keys
    for name in key.split("."):
        inside = inside.get(name) if isinstance(inside, Mapping) else None
    return _plain(inside)


def _plain(value: Any) -> Any:
    """Return a value that is short and that JSON can hold."""
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, (int, float)) and abs(value) <= LARGEST:  # no infinity, no NaN
        return value
    text = value[:61] if isinstance(value, str) else shortened(value)
    text = text if len(text) <= 60 else f"{text[:57]}..."
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


# -- what need not be done again -----------------------------------------------


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def inputs_digest(base: Base, row: Row, keys: str) -> str:
    """Return what tells one program's inputs from another's.

    Args:
        base: What the family shares.
        row: The row, of which it counts whether it says nothing but a name.
        keys: The row's job, merged, as JSON.
    """
    return _digest(
        f"{base.tables} {base.post} {base.form} {base.review} {_says_a_name_only(row)} {keys}"
    )


def _tables_digest(base: Base) -> str:
    """Return a digest of all that programs are made with, besides the jobs."""
    digest = hashlib.sha256(__version__.encode())
    folders = sorted(dialect_names(base.posts).items())
    files = [folder / name for _, folder in folders for name in (TRAITS_FILE, TEMPLATE_FILE)]
    files += table_files()
    if base.shop is not None:
        files.append(FilePath(base.shop.path))
    for file in files:
        # A dialect that lacks a file is told of where it is used.
        if file.is_file():
            digest.update(os.fsencode(file.name) + hashlib.sha256(file.read_bytes()).digest())
    return digest.hexdigest()
