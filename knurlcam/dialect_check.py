"""What a dialect is good for: sample programs written in it, read back and verified.

The traits of a dialect may be well by themselves and still not fit a program: a limit may be
too low, a template may leave a block out. So each sample job is written in it as any program
is, and what the dialect has no word for is tried as well, and said.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import Any, Literal, NamedTuple

from knurlcam.data.folders import data_folder
from knurlcam.errors import CannotBeDoneError, InputError, SeveralInputsError
from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.dialect_files import TEMPLATE, load_folder, template_folder
from knurlcam.gcode.marks import FORMS, Form
from knurlcam.gcode.template import check_template
from knurlcam.job.load import read_table_file
from knurlcam.job.model import Job
from knurlcam.path import lay_out
from knurlcam.plan.planner import make_plan
from knurlcam.program import UnprovenProgramError, write_program
from knurlcam.verification.findings import Finding

__all__ = ["DialectCheck", "Trial", "check_dialect", "sample_jobs", "sound_dialect"]

SHOWN = "focus-knob"
"""The sample whose program is shown, and by which is tried what a dialect has words for."""

Verdict = Literal["verified", "cannot be written", "does not verify"]


class Trial(NamedTuple):
    """One program, or one thing that a program may hold, tried in a dialect.

    Attributes:
        what: The job's name, or what is tried.
        verdict: What came of it.
        problem: What is wrong; None where it is verified.
        text: The program, also one that does not verify; None where it cannot be written.
        findings: What verification found in it.
    """

    what: str
    verdict: Verdict
    problem: str | None = None
    text: str | None = None
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class DialectCheck:
    """What was tried in a dialect.

    Attributes:
        dialect: The dialect.
        programs: The program of each job.
        abilities: What else a program may hold, and whether the dialect has words for it.
    """

    dialect: Dialect
    programs: tuple[Trial, ...]
    abilities: tuple[Trial, ...]

    @property
    def is_sound(self) -> bool:
        """Whether programs can be written, and each that can be verifies."""
        tried = (*self.programs, *self.abilities)
        return any(one.verdict == "verified" for one in self.programs) and not any(
            one.verdict == "does not verify" for one in tried
        )

    @property
    def shown(self) -> Trial:
        """The program to look at: the first that does not verify, else that of the focus knob."""
        tried = (*self.programs, *self.abilities)
        unproven = (one for one in tried if one.verdict == "does not verify")
        usual = (one for one in self.programs if one.what == SHOWN)
        return next(chain(unproven, usual, self.programs))


def sound_dialect(folder: Path) -> Dialect:
    """Return the dialect in a folder, its template looked at as well.

    Raises:
        SeveralInputsError: naming all that is wrong with its files.
    """
    problems: list[InputError] = []
    dialect: Dialect | None = None
    try:
        dialect = load_folder(folder)
    except SeveralInputsError as error:
        problems += error.problems
    except InputError as error:
        problems.append(error)
    try:
        check_template(Path(os.path.abspath(folder)))
    except InputError as error:
        problems.append(error)
    if dialect is None or problems:
        raise SeveralInputsError(tuple(_as_named(problem, folder) for problem in problems))
    return dialect


def _as_named(problem: InputError, folder: Path) -> InputError:
    """Return a problem whose file is named as the folder was."""
    file = Path(problem.where or "")
    return (
        problem.at(where=str(folder / file.name)) if file.parent == folder.absolute() else problem
    )


def sample_jobs() -> dict[str, Job]:
    """Return the sample jobs that knurlcam brings, by name, whatever a shop file says.

    Raises:
        InputError: if the installation lacks them.
    """
    files = sorted(data_folder("samples").glob("*.toml"))
    return {f.stem: Job.build(read_table_file(f), where=str(f)) for f in files}


def check_dialect(dialect: Dialect, jobs: Mapping[str, Job]) -> DialectCheck:
    """Write jobs in a dialect, read them back and verify them; try what else it has words for.

    Args:
        dialect: The dialect.
        jobs: At least one job, by name; what else there is, is tried with the first.

    Raises:
        InputError: if the dialect's template fails.
        CannotBeDoneError: if a job cannot be done, in whatever dialect.
    """
    programs = tuple(_tried(name, job, dialect, "program") for name, job in jobs.items())
    first = jobs.get(SHOWN) or next(iter(jobs.values()))
    return DialectCheck(dialect, programs, tuple(_abilities(first, dialect)))


def _tried(what: str, job: Job, dialect: Dialect, form: Form) -> Trial:
    try:
        return Trial(
            what, "verified", text=write_program(lay_out(make_plan(job)), dialect, form=form)
        )
    except UnprovenProgramError as error:
        found = tuple(f for f in error.verification.findings if f.severity == "error")
        return Trial(what, "does not verify", _counted(found), error.text, found)
    except InputError as error:
        if error.where == str(template_folder(dialect.folder) / TEMPLATE.name):
            raise
        return Trial(what, "cannot be written", str(error))


def _counted(found: tuple[Finding, ...]) -> str:
    codes = dict.fromkeys(finding.code for finding in found)
    return f"{len(found)} error(s): {', '.join(codes)}"


# -- what a dialect has words for ----------------------------------------------


class _Ability(NamedTuple):
    """Something that a program may hold: in words, the job's keys for it, and the form."""

    what: str
    changes: Mapping[str, Mapping[str, Any]] = {}
    form: Form = "program"


_FORMS = {
    "subprogram": "a subprogram",
    "blocks": "blocks to paste",
    "section": "a section of a part program",
}

_USUAL = (
    _Ability("a trial strip with a program stop", {"process": {"trial_strip": True}}),
    _Ability(
        "a trial strip with an optional stop",
        {"process": {"trial_strip": True, "trial_stop": "optional"}},
    ),
    _Ability("the spindle in reverse", {"machine": {"spindle_direction": "reverse"}}),
)


def _abilities(job: Job, dialect: Dialect) -> Iterator[Trial]:
    forms = [_Ability(_FORMS.get(f, f), form=f) for f in FORMS if f != "program"]
    gears = [_Ability(f"gear {gear}", {"machine": {"gear": gear}}) for gear in dialect.gears]
    for ability in (*forms, *_USUAL, *gears):
        trial = _with_changes(job, ability, dialect)
        if trial is not None:
            yield trial


def _with_changes(job: Job, ability: _Ability, dialect: Dialect) -> Trial | None:
    """Try something that a job may ask for; None where this job has no room for it."""
    keys = job.model_dump(mode="json", exclude_unset=True)
    for section, changes in ability.changes.items():
        keys[section] = {**keys.get(section, {}), **changes}
    try:
        return _tried(ability.what, Job.build(keys), dialect, ability.form)
    except CannotBeDoneError:
        return None
