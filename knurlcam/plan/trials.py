"""Advice that was tried: a job with something changed is planned before the change is advised.

Advice never makes it worse: what is advised can be planned, brings no new warning, and the part
that is to be expected of it is the better one. A trial costs a plan, and is made only where there
is something to advise.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cached_property
from typing import Any, NamedTuple

from knurlcam.errors import CannotBeDoneError
from knurlcam.job.fields import Section
from knurlcam.job.model import Job
from knurlcam.job.problems import JobFileError
from knurlcam.plan.model import Plan
from knurlcam.plan.remarks import Tried
from knurlcam.plan.results import Expected

__all__ = ["Outcome", "Trials", "betters", "changed_job", "settles"]

SLACK = 0.01
"""Difference up to which two measures of a part are the same [-]: less is not seen on it."""

WARNED_SLACK = 0.1
"""The same where what was warned of is gone [-]: a tenth less even is not yet warned of."""

OF_THE_REMEDY = frozenset({"slide-follows"})
"""Warnings that a remedy may bring, for they say what it rests on."""

EARLY = frozenset({"no-whole-tooth-count", "diameters-disagree"})
"""Refusals that end planning at once: what else stands in the way of such a job is not known."""


class Outcome(NamedTuple):
    """What planning a job comes to.

    Attributes:
        plan: The plan; None where it is refused.
        refused: Codes of what is refused.
    """

    plan: Plan | None
    refused: frozenset[str] = frozenset()

    @property
    def warned(self) -> frozenset[str]:
        """Codes of what the plan warns of, and of refusals that the job accepts."""
        notes = () if self.plan is None else self.plan.notes
        return frozenset(note.code for note in notes if note.severity != "note")


class Trials:
    """Plans a job with changes.

    Attributes:
        job: The job as it is.
        make: Plans a job without advice.
    """

    def __init__(self, job: Job, make: Callable[[Job], Plan]) -> None:
        self.job = job
        self.make = make
        self._outcomes: dict[tuple[tuple[str, object], ...], Outcome | None] = {}

    @cached_property
    def base(self) -> Outcome:
        """What the job comes to as it is."""
        return self._outcome(self.job)

    def outcome(self, changes: Mapping[str, object]) -> Outcome | None:
        """Return what the job comes to with changes; None where it is not a valid job then.

        Args:
            changes: Values by dotted key, lengths as text with their unit; None leaves a key out.
        """
        asked = tuple(changes.items())
        # One remedy is often looked at against two warnings: it is planned once.
        if asked not in self._outcomes:
            changed = changed_job(self.job, changes)
            self._outcomes[asked] = None if changed is None else self._outcome(changed)
        return self._outcomes[asked]

    def tried(self, changes: Mapping[str, object], code: str) -> Tried:
        """Return what the job with changes comes to, against what it is.

        Args:
            changes: As of :meth:`outcome`.
            code: Code of the refusal or warning that the changes are to help against.
        """
        then = self.outcome(changes)
        if then is None:
            return Tried(settles=False, betters=False, expected=None)
        expected = None if then.plan is None else then.plan.expected
        return Tried(settles(then, self.base, code), betters(then, self.base), expected)

    def _outcome(self, job: Job) -> Outcome:
        try:
            return Outcome(self.make(job))
        except CannotBeDoneError as error:
            return Outcome(None, frozenset(r.code for r in error.refusals))


def changed_job(job: Job, changes: Mapping[str, object]) -> Job | None:
    """Return a job with changes; None where it is not a valid job then.

    Args:
        job: The job.
        changes: As of :meth:`Trials.outcome`.
    """
    tables: dict[str, dict[str, Any]] = {}
    for key, value in changes.items():
        section, name = key.split(".")
        if section not in tables:
            tables[section] = _table_of(getattr(job, section))
        if value is None:
            tables[section].pop(name, None)
        else:
            tables[section][name] = value
    kept = {name: getattr(job, name) for name in type(job).model_fields if name not in tables}
    try:
        changed = Job.model_validate({**kept, **tables})
    except JobFileError:
        return None
    # What was measured holds for the job with a change as it does for the job.
    return changed if job.calibration is None else changed.with_calibration(job.calibration)


def _table_of(section: Section | None) -> dict[str, Any]:
    if section is None:
        return {}
    return section.model_dump(mode="json", exclude_unset=True)


def settles(then: Outcome, now: Outcome, code: str) -> bool:
    """Return whether one job has settled what is refused or warned of, and made nothing worse.

    Args:
        then: What it comes to with changes.
        now: What it comes to as it is.
        code: Code of the refusal or warning.
    """
    if code in then.refused or code in then.warned:
        return False
    if then.plan is None or now.plan is None:
        return _gets_further(then, now)
    return _warns_no_more(then, now) and not _compare(then.plan, now.plan, WARNED_SLACK)[0]


def betters(then: Outcome, now: Outcome) -> bool:
    """Return whether the part of one job is better than that of another, and nothing is worse.

    Args:
        then: What it comes to with changes.
        now: What it comes to as it is.
    """
    if then.plan is None or now.plan is None:
        return then.plan is not None
    return _warns_no_more(then, now) and _compare(then.plan, now.plan, SLACK) == (False, True)


def _warns_no_more(then: Outcome, now: Outcome) -> bool:
    return not then.warned - now.warned - OF_THE_REMEDY


def _gets_further(then: Outcome, now: Outcome) -> bool:
    """Whether nothing is refused that was not refused before."""
    if now.plan is not None:
        return False
    new = then.refused - now.refused
    return not new or (bool(now.refused & EARLY) and not new & EARLY)


def _compare(then: Plan, now: Plan, slack: float) -> tuple[bool, bool]:
    """Return whether a plan's part is worse in anything, and better in anything."""
    one, other = then.expected, now.expected
    pairs = list(zip(_measures(then, one), _measures(now, other), strict=True))
    return (
        any(a < b - slack for a, b in pairs),
        any(a > b + slack for a, b in pairs),
    )


def _measures(plan: Plan, expected: Expected) -> tuple[float, float, float]:
    """Return what makes a part good, the more the better [-]."""
    return (
        -expected.double_impression,
        expected.evenness,
        min(1.0, expected.tooth_height_mm.likely / plan.tooth_height_mm),
    )
