"""From a knurl callout to a verified CNC lathe program.

One call a stage, each callable alone::

    job = Job.load("job.toml")
    plan = make_plan(job)
    path = lay_out(plan)
    text = write_program(path, post="rs274")
    motion = read_program(text, post="rs274")
    result = verify(text, job, post="rs274")
    imprint = make_imprint(plan, motion)
    page = review_page(job, text, post="rs274")
    results = make_family(job, [{"part.name": "Knob 30", "part.knurled_diameter": 30}])

The names below are imported when they are first used, so that a command pays only for
the stages that it runs.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from knurlcam.errors import CannotBeDoneError, InputError, KnurlcamError
    from knurlcam.family import make_family, save_family
    from knurlcam.gcode.dialect import Dialect
    from knurlcam.gcode.dialect_files import load_dialect
    from knurlcam.gcode.motion import Motion
    from knurlcam.gcode.read import read_program
    from knurlcam.imprint.make import Imprint, make_imprint
    from knurlcam.imprint.window import Window, window_of
    from knurlcam.job.callout import format_callout, parse_callout
    from knurlcam.job.model import Job
    from knurlcam.job.problems import JobFileError
    from knurlcam.measured.answer import Answer, answer_to
    from knurlcam.measured.part import Figures, measurement_of
    from knurlcam.path import Path, lay_out
    from knurlcam.plan.model import Plan
    from knurlcam.plan.planner import make_plan
    from knurlcam.program import UnprovenProgramError, write_program, write_programs
    from knurlcam.records.log import MeasuredLog
    from knurlcam.records.measurement import Measurement
    from knurlcam.review import Review, review_page
    from knurlcam.verification.findings import Finding, Verification
    from knurlcam.verification.verify import verify

__version__ = "0.1.0"

_HOME = {
    "Answer": "measured.answer",
    "CannotBeDoneError": "errors",
    "Dialect": "gcode.dialect",
    "Figures": "measured.part",
    "Finding": "verification.findings",
    "Imprint": "imprint.make",
    "InputError": "errors",
    "Job": "job.model",
    "JobFileError": "job.problems",
    "KnurlcamError": "errors",
    "MeasuredLog": "records.log",
    "Measurement": "records.measurement",
    "Motion": "gcode.motion",
    "Path": "path",
    "Plan": "plan.model",
    "Review": "review",
    "UnprovenProgramError": "program",
    "Verification": "verification.findings",
    "Window": "imprint.window",
    "answer_to": "measured.answer",
    "format_callout": "job.callout",
    "lay_out": "path",
    "load_dialect": "gcode.dialect_files",
    "make_family": "family",
    "make_imprint": "imprint.make",
    "make_plan": "plan.planner",
    "measurement_of": "measured.part",
    "parse_callout": "job.callout",
    "read_program": "gcode.read",
    "review_page": "review",
    "save_family": "family",
    "verify": "verification.verify",
    "window_of": "imprint.window",
    "write_program": "program",
    "write_programs": "program",
}

__all__ = [
    "Answer",
    "CannotBeDoneError",
    "Dialect",
    "Figures",
    "Finding",
    "Imprint",
    "InputError",
    "Job",
    "JobFileError",
    "KnurlcamError",
    "MeasuredLog",
    "Measurement",
    "Motion",
    "Path",
    "Plan",
    "Review",
    "UnprovenProgramError",
    "Verification",
    "Window",
    "__version__",
    "answer_to",
    "format_callout",
    "lay_out",
    "load_dialect",
    "make_family",
    "make_imprint",
    "make_plan",
    "measurement_of",
    "parse_callout",
    "read_program",
    "review_page",
    "save_family",
    "verify",
    "window_of",
    "write_program",
    "write_programs",
]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(importlib.import_module(f"{__name__}.{_HOME[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
