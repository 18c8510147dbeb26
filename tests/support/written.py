"""Programs of the golden cases, written in every dialect."""

from __future__ import annotations

from typing import Any

import pytest

from knurlcam import Job, lay_out, make_plan, write_program
from knurlcam.gcode.dialect_files import dialect_names
from knurlcam.gcode.marks import Form
from tests.support.jobs import REMOVE, base_job

POSTS = tuple(dialect_names())
each_post = pytest.mark.parametrize("post", POSTS)

INCH = {
    "units": "inch",
    "part.knurled_diameter": 1.0,
    "part.length": 3.0,
    "knurl.callout": "96 DP diamond",
    "knurl.length": 0.75,
    "holding.centre_diameter": 0.5,
    "tool.roll_diameter": 0.75,
    "tool.face_width": 0.375,
    "tool.roll_spacing": 0.8,
    "process.feed": 0.02,
    "process.infeed_rate": 0.002,
    "machine.safe_x": 5.0,
    "machine.safe_z": 2.0,
}
SINGLE = {"tool.style": "single roll", "tool.roll_spacing": REMOVE}
GOLDEN: dict[str, dict[str, Any]] = {
    "diamond": {},
    "inch": INCH,
    "trial": {"process.trial_strip": True, "machine.spindle_direction": "reverse"},
    "plunge": {**SINGLE, "knurl.callout": "DIN 82 RAA 1.0", "knurl.length": 8.0},
    "straddle": {
        "tool.style": "straddle",
        "tool.roll_spacing": REMOVE,
        "tool.offset": 15,
        "process.coolant": False,
    },
}


def job_of(changes: dict[str, Any] | None = None) -> Job:
    return Job.model_validate(base_job(changes))


def write(changes: dict[str, Any] | None, post: str, form: Form = "program") -> str:
    return write_program(lay_out(make_plan(job_of(changes))), post, form=form)


def word_lines(text: str) -> list[str]:
    return [line for line in text.splitlines() if not line.startswith("(")]
