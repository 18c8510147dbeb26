"""The good programs that are spoilt: jobs of the tests and samples, in every dialect."""

from __future__ import annotations

from dataclasses import replace
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
from tests.support.naive import State
from tests.support.whole import around

_FOLDER = Path(__file__).resolve().parents[3] / "samples"
SAMPLES = {path.stem: path for path in sorted(_FOLDER.glob("*.toml"))}
NAMES = (*JOBS, *SPECIAL, *SAMPLES)


class Program(NamedTuple):
    """One good program, or a section; *whole* puts it into a part program of several tools."""

    name: str
    post: str
    form: Form = "program"
    whole: bool = False

    def __str__(self) -> str:
        more = (self.form != "program") * f" {self.form}" + self.whole * " in a part program"
        return f"{self.name} {self.post}{more}"


PROGRAMS = tuple(Program(name, post) for name in NAMES for post in POSTS)
PARTS = tuple(
    Program(name, post, form)
    for name in ("plunge", "trial")
    for post in POSTS
    for form in ("section", "subprogram", "blocks")
    if post not in RS274 or form != "subprogram"
)
"""Sections, blocks to paste, and subprograms, which the dialects of NISTIR 6556 do not have."""

WHOLE = tuple(Program("diamond", post, "section", whole=True) for post in POSTS)
"""Sections in part programs of several tools, made by hand."""

ALL = (*PROGRAMS, *PARTS, *WHOLE)

_METRIC = State(units="mm", distance="absolute", feeds="a turn", speeds="speed", rpm=600.0)
_ENTRY = {
    "iso6983": _METRIC,
    "iso6983-integer": _METRIC,
    "uw-lathe": replace(_METRIC, distance=None, limit=2500.0),
    "rs274": replace(_METRIC, feeds="a minute", speeds=None, rpm=1800.0),
    "rs274-turning": replace(_METRIC, xs="diameters"),
}
"""What those leave in force for the knurl: read off them by hand."""


def entry_of(program: Program) -> State:
    """Return what is in force where a text begins, as far as the text relies on it."""
    return replace(_ENTRY[program.post]) if program.whole else State()


def placed(program: Program, text: str) -> str:
    """Return a text as it is verified: with the other tools around it, where it has some."""
    if not program.whole:
        return text
    before, behind = around(program.post)
    return f"{before}{text}{behind}"


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
