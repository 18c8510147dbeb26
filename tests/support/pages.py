"""What the tests of the setter's page share: plans, timelines, a page taken apart."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

from knurlcam import Job, lay_out, make_plan, read_program
from knurlcam import write_program as write
from knurlcam.gcode.dialect_files import load_dialect
from knurlcam.gcode.motion import Motion
from knurlcam.plan.model import Plan
from knurlcam.review import Review, imprint, review_page
from knurlcam.review.deflection import DeflectionCurves, deflection_curves
from knurlcam.timeline import Timeline, time_line
from tests.support.breaking import JOBS, POSTS, good_plan, good_program
from tests.support.jobs import base_job

ROOT = Path(__file__).resolve().parents[2]


FEW = ("focus-knob", "slow-motion-handle", "dowel-pin", "tension-nut")
"""Samples that differ most: a knuckle joint with and without a trial strip, a plunge with a press
fit, a straddle in inches, reversed."""

SAMPLES = sorted(p for p in (ROOT / "samples").rglob("*.toml") if p.name != "shop.toml")


ISO = load_dialect("iso6983")


CASES = [(name, post) for name in JOBS for post in POSTS]


def timed(name: str, post: str, text: str | None = None) -> tuple[Plan, Motion, Timeline]:
    plan = good_plan(name)
    motion = read_program(text or good_program(name, post), post)
    return plan, motion, time_line(motion, plan)


def planned(**changes: object) -> Plan:
    return make_plan(Job.model_validate(base_job(changes)))  # type: ignore[arg-type]


def timeline_of(plan: Plan) -> Timeline:
    post = plan.job.machine.post
    return time_line(read_program(write(lay_out(plan), post), post), plan)


_MADE: dict[tuple[object, ...], Review] = {}


def page_for(
    job: Job, text: str | None = None, post: str | None = None, name: str | None = None
) -> Review:
    """Return the setter's page of a job's program, made once."""
    key = (job.model_dump_json(), text, post, name, imprint.MOST_WINDOW_TURNS)
    if key not in _MADE:
        _MADE[key] = review_page(job, text, post, name=name)
    return _MADE[key]


class Page(HTMLParser):
    """The page's elements and its text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.texts: dict[str, list[str]] = {}
        self.open: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        while self.open and self.open.pop() != tag:
            pass

    def handle_data(self, data: str) -> None:
        self.texts.setdefault(self.open[-1] if self.open else "", []).append(data)

    def text(self, tag: str) -> str:
        return "".join(self.texts.get(tag, []))


def row(sheet: object, name: str) -> tuple[str, str]:
    found = next(r for r in sheet.rows if r.name == name)  # type: ignore[attr-defined]
    return found.value, found.how


LONG = {"part.length": 200.0, "knurl.length": 120.0}


FOLLOWED = {**LONG, "process.compensate": True}


OWN = {"name": "own metal", "yield_strength": "200 MPa", "turning_speed": "40 m/min"}


STEPPED = {
    "part.length": 100.0,
    "part.steps": "18 x 20, 24.688 x 20, 34 x 40, 20 x 20",
    "knurl.start": 20.0,
    "tool.bevelled_rolls": True,
    "process.accept": ["near-shoulder"],
}


def yielding(plan: Plan, text: str | None = None) -> DeflectionCurves:
    post = plan.job.machine.post
    motion = read_program(text or write(lay_out(plan), post), post)
    given = deflection_curves(plan, time_line(motion, plan))
    assert given is not None
    return given


def told(job: Job, text: str | None = None) -> str:
    """Return the section on loads and deflection without its tags."""
    html = page_for(job, text).html
    section = html[html.index('class="wide loads"') :]
    return re.sub(r"<[^>]*>|\s+", " ", section[: section.index("</main>")])


def edited(plan: Plan, out: float) -> str:
    """Return the program with a block in the middle of each traverse of a pass moved out."""
    text = write(lay_out(plan), plan.job.machine.post)
    found = []
    for line in text.splitlines():
        word = re.search(r"G01 X([\d.]+) Z(-[\d.]+)", line)
        if word and -72.0 < float(word[2]) < -56.0:
            line = line.replace(f"X{word[1]}", f"X{float(word[1]) + out:.3f}")
        found.append(line)
    return "\n".join(found) + "\n"
