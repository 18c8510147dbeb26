"""The good programs that are spoilt: jobs of the tests and samples, in every dialect."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import NamedTuple

from knurlcam.gcode.marks import Form
from knurlcam.job.model import Job
from knurlcam.path import lay_out
from knurlcam.plan.model import Plan
from knurlcam.plan.planner import make_plan
from knurlcam.program import write_program
from tests.support.breaking import JOBS, POSTS, RS274, SPECIAL, good_job

_FOLDER = Path(__file__).resolve().parents[3] / "samples"
SAMPLES = {path.stem: path for path in sorted(_FOLDER.glob("*.toml"))}
NAMES = (*JOBS, *SPECIAL, *SAMPLES)


class Program(NamedTuple):
    """One good program."""

    name: str
    post: str
    form: Form = "program"

    def __str__(self) -> str:
        return " ".join(self) if self.form != "program" else f"{self.name} {self.post}"


PROGRAMS = tuple(Program(name, post) for name in NAMES for post in POSTS)
PARTS = tuple(
    Program(name, post, form)
    for name in ("plunge", "trial")
    for post in POSTS
    for form in ("subprogram", "blocks")
    if post not in RS274 or form != "subprogram"
)
"""Subprograms, which one dialect does not have, and blocks to paste."""

ALL = (*PROGRAMS, *PARTS)


@cache
def job_of(name: str) -> Job:
    """Return a job of the tests or of the samples."""
    return Job.load(SAMPLES[name]) if name in SAMPLES else good_job(name)


@cache
def plan_of(name: str) -> Plan:
    """Return its plan."""
    return make_plan(job_of(name))


@cache
def text_of(program: Program) -> str:
    """Return a program's good text."""
    return write_program(lay_out(plan_of(program.name)), program.post, form=program.form)
