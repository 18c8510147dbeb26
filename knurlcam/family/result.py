"""One row's result: its program and its row of the index, or why it has no program."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from knurlcam.errors import CannotBeDoneError, InputError, KnurlcamError
from knurlcam.family import names
from knurlcam.family.base import Base, digest_of, has_name_only, inputs_digest, part_name
from knurlcam.family.cells import LARGEST, Row
from knurlcam.family.entry import FIGURES, Lines, Problem, job_text, lines_of
from knurlcam.job.model import Job
from knurlcam.job.problems import JobFileError
from knurlcam.plan.model import Plan
from knurlcam.program import VerifiedProgram
from knurlcam.text import shortened

__all__ = ["AS_BASE", "Made", "Result", "failed_result", "problems_of", "result_of"]

AS_BASE = "as-the-base"
"""Code of the warning that a row has only a name: perhaps it is not a part."""

MOST_SHOWN = 60
"""Characters of a value that is shown with a problem."""


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
        bare: Whether the row has only a name: perhaps it is not a part.
        lines: The row in each file of the index.
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
            row=entry["row"],
            name=entry["name"],
            file=entry["file"],
            text=None,
            page=entry["page"],
            html=None,
            number=entry["number"],
            bare=_is_bare(entry),
            lines=lines_of(entry),
            kept=True,
        )

    @property
    def ok(self) -> bool:
        """Whether the row has a program."""
        return not self.problems

    @property
    def entry(self) -> dict[str, Any]:
        """The row as index.json has it; see :class:`knurlcam.family.entry.Entry`."""
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


# -- a row with a program --------------------------------------------------------------------


class Made(NamedTuple):
    """What the stages make of a row.

    Attributes:
        file: Name of the program's file.
        keys: The row's job, merged.
        job: The same, validated.
        plan: Its plan.
        program: Its program, verified.
        html: Its setter's page, if one is asked for.
    """

    file: str
    keys: Mapping[str, Any]
    job: Job
    plan: Plan
    program: VerifiedProgram
    html: str | None


def result_of(base: Base, row: Row, made: Made) -> Result:
    """Return the result of a row that has a program."""
    keys = job_text(made.keys)
    entry = _entry(base, row, made, inputs_digest(base, row, keys))
    if base.shop is not None:
        # A script that reads the index may not have the shop file: the job stands filled up.
        keys = job_text(made.job.model_dump(mode="json", exclude_none=True))
    return Result(
        row=row.number,
        name=made.job.part.name,
        file=made.file,
        text=made.program.text,
        page=entry["page"],
        html=made.html,
        number=made.job.part.number,
        bare=_is_bare(entry),
        lines=lines_of(entry, keys),
    )


def _entry(base: Base, row: Row, made: Made, inputs_sha256: str) -> dict[str, Any]:
    verification = made.program.verification
    return {
        "row": row.number,
        "name": made.job.part.name,
        "file": made.file,
        "sha256": digest_of(made.program.text),
        "page": None if made.html is None else names.page_name(made.file),
        "page_sha256": None if made.html is None else digest_of(made.html),
        "inputs_sha256": inputs_sha256,
        **_figures(made.job, made.plan, verification.post),
        "findings": [
            {"severity": f.severity, "code": f.code, "line": f.line} for f in verification.findings
        ],
        "notes": _notes(row, made.plan),
        "problems": [],
    }


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
        "blank_limits_mm": list(plan.blank_limits_mm),
        "knurled_diameter_mm": plan.knurled_diameter_mm,
        "expected_diameter_mm": list(plan.expected.knurled_diameter_mm),
        "double_impression": plan.expected.double_impression,
        "passes": sum(p.presses for p in plan.passes),
        "spindle_rpm": plan.programmed_rpm,
        "time_s": plan.time_s,
        "evenness": _depth_uniformity(plan),
    }


def _depth_uniformity(plan: Plan) -> float | None:
    """Depth uniformity of the knurl as the program makes it; None where it is not available."""
    deflection = None if plan.estimate is None else plan.estimate.deflection
    if deflection is None:
        return None
    return deflection.evenness_compensated if plan.follows else deflection.evenness


def _notes(row: Row, plan: Plan) -> list[dict[str, Any]]:
    bare = [{"severity": "warning", "code": AS_BASE}] if has_name_only(row) else []
    return bare + [{"severity": n.severity, "code": n.code} for n in plan.notes]


def _is_bare(entry: Mapping[str, Any]) -> bool:
    return any(note["code"] == AS_BASE for note in entry["notes"][:1])


# -- a row without one -----------------------------------------------------------------------


def failed_result(base: Base, row: Row, problems: tuple[Problem, ...]) -> Result:
    """Return the result of a row that has no program."""
    # Of a row that cannot be read nothing is known, not even whether it has a name.
    name = _short(part_name(base, row)) if row.fault is None else None
    entry = {
        "row": row.number,
        "name": name,
        "file": None,
        **dict.fromkeys(FIGURES),
        "findings": [],
        "notes": [],
        "problems": [
            {"column": p.column, "value": p.value, "message": p.message, "code": p.code}
            for p in problems
        ],
        "job": None,
    }
    return Result(
        row=row.number,
        name=name,
        file=None,
        text=None,
        page=None,
        html=None,
        number=None,
        bare=False,
        lines=lines_of(entry),
        problems=problems,
    )


def problems_of(base: Base, row: Row, error: Exception) -> tuple[Problem, ...]:
    """Return what an error says of a row, with the values that the row or the base gives."""
    if isinstance(error, JobFileError):
        return tuple(_problem(base, row, p) for p in error.problems)
    if isinstance(error, CannotBeDoneError):
        return tuple(
            Problem(r.key, _given(base, row, r.key), r.message, r.code) for r in error.refusals
        )
    if isinstance(error, InputError):
        return (_problem(base, row, error),)
    if isinstance(error, KnurlcamError):
        return (Problem(None, None, str(error), "not-proven"),)
    message = f"internal error ({type(error).__name__}: {shortened(str(error), 200)})"
    return (Problem(None, None, f"{message}; please report it", "internal"),)


def _problem(base: Base, row: Row, error: InputError) -> Problem:
    value = error.value
    if value is None and error.key is not None:
        value = _given(base, row, error.key)
    message = error.problem
    if error.expected:
        message += f"; expected {error.expected}"
    if error.remedy:
        message += f"; {error.remedy}"
    return Problem(error.key, _short(value), message)


def _given(base: Base, row: Row, key: str) -> Any:
    if key in row.cells:
        return _short(row.cells[key])
    inside: Any = base.keys
    for name in key.split("."):
        inside = inside.get(name) if isinstance(inside, Mapping) else None
    return _short(inside)


def _short(value: Any) -> Any:
    """Return a value that is short and that JSON can hold."""
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, (int, float)) and abs(value) <= LARGEST:  # no infinity, no NaN
        return value
    text = value[: MOST_SHOWN + 1] if isinstance(value, str) else shortened(value)
    text = text if len(text) <= MOST_SHOWN else f"{text[: MOST_SHOWN - 3]}..."
    return text.encode("utf-8", "backslashreplace").decode("utf-8")
