"""A table of cases: ways to break a rule, and changes that break none.

Each way is tried in several jobs and dialects. One combination of each, another from way to
way, is tried by the short suite; all of them by the long one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import product
from typing import Any, NamedTuple

import pytest

from knurlcam.gcode.dialect_files import load_dialect
from knurlcam.gcode.read import read_program
from knurlcam.verification.findings import Verification
from knurlcam.verification.verify import check_motion, judge
from tests.support.breaking import JOBS, POSTS, Line, Text, good_plan

ALL = tuple(JOBS)
TRAVERSING = tuple(name for name in JOBS if "plunge" not in name)
NEEDS_NUMBERS = ("iso6983", "iso6983-integer", "uw-lathe")
POINTED = ("iso6983", "uw-lathe")
PER_TURN = (*NEEDS_NUMBERS, "rs274-turning")
"""Dialects of feeds per revolution, a speed mode and diameters."""


class Case(NamedTuple):
    """One way in one program; *code* is empty where no rule is broken."""

    code: str
    name: str
    job: str
    post: str
    form: str
    also: tuple[str, ...]
    edit: Callable[[Text], Any]

    def __str__(self) -> str:
        return "-".join(filter(None, (self.code, self.name, self.job, self.post)))

    def broken(self) -> tuple[Text, Any]:
        """Return the text, and the line that must be pointed at."""
        text = Text.of(self.job, self.post, self.form)
        return text, self.edit(text)


CASES: list[list[Case]] = []
"""For each way to break a rule, its cases."""

MISSES: list[list[Case]] = []
"""For each change that breaks none."""


def breaks(
    code: str,
    *jobs: str,
    posts: Iterable[str] = POSTS,
    form: str = "program",
    also: Iterable[str] = (),
) -> Callable[[Callable[[Text], Line]], Callable[[Text], Line]]:
    """Register a way to break a rule; it returns the line that must be pointed at.

    *also* are the codes that the same error cannot help causing; the reason stands
    beside each.
    """

    def register(edit: Callable[[Text], Line]) -> Callable[[Text], Line]:
        programs = product(jobs or ("diamond",), posts)
        name, others = edit.__name__, tuple(also)
        CASES.append([Case(code, name, job, post, form, others, edit) for job, post in programs])
        return edit

    return register


def near_miss(
    *jobs: str, posts: Iterable[str] = POSTS, form: str = "program"
) -> Callable[[Callable[[Text], object]], Callable[[Text], object]]:
    """Register a change that breaks no rule."""

    def register(edit: Callable[[Text], object]) -> Callable[[Text], object]:
        programs = product(jobs or ("diamond",), posts)
        MISSES.append(
            [Case("", edit.__name__, job, post, form, (), edit) for job, post in programs]
        )
        return edit

    return register


def params(table: list[list[Case]]) -> list[Any]:
    """Return the cases of a table for parametrize, all but one of each way marked as long."""
    found = []
    for k, cases in enumerate(table):
        for i, case in enumerate(cases):
            marks = () if i == k % len(cases) else pytest.mark.long
            found.append(pytest.param(case, id=str(case), marks=marks))
    return found


def judged(case: Case, text: Text) -> Verification:
    """Verify a text; the plan of each job is made once, for there are thousands of cases."""
    if case.form == "section":
        return judge(str(text), good_plan(case.job), load_dialect(case.post)).verification
    return check_motion(read_program(str(text), case.post), good_plan(case.job))
