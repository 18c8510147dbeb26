"""A part is judged by the program that made it, however the log has grown since."""

from __future__ import annotations

from dataclasses import replace

import pytest

from knurlcam.errors import InputError
from knurlcam.job.model import Job
from knurlcam.measured.made_with import job_as_made, mark_of
from knurlcam.measured.part import Figures, measurement_of
from knurlcam.path import lay_out
from knurlcam.plan.planner import make_plan
from knurlcam.program import write_program
from knurlcam.records.calibration import calibration_of
from knurlcam.records.measurement import Measurement
from tests.support.jobs import base_job

JOB = Job.model_validate(base_job({"knurl.callout": "DIN 82 RAA 1.0"}))


def part(job: Job, number: int, less_mm: float) -> Measurement:
    """Return a part whose crests are less high than the plan's."""
    plan = make_plan(job)
    figures = Figures(plan.blank_diameter_mm, (plan.knurled_diameter_mm - less_mm,))
    entry = measurement_of(plan, figures, program_identity=mark_of(job.calibration))
    return replace(entry, id=number)


FIRST = part(JOB, 1, 0.03)
TODAY = JOB.with_calibration(calibration_of([FIRST]))
SECOND = part(TODAY, 2, 0.01)
LATER = JOB.with_calibration(calibration_of([FIRST, SECOND]))


def test_the_first_part_of_a_job_is_that_of_todays_plan() -> None:
    assert job_as_made(TODAY, []) is TODAY


def test_without_a_program_it_is_that_of_the_last_part() -> None:
    assert job_as_made(TODAY, [FIRST]).calibration is None
    assert job_as_made(LATER, [FIRST, SECOND]).calibration == TODAY.calibration


def test_a_program_that_is_named_says_so_itself() -> None:
    for job in (JOB, TODAY, LATER):
        text = write_program(lay_out(make_plan(job)))
        assert job_as_made(LATER, [FIRST, SECOND], text).calibration == job.calibration


def test_a_program_of_parts_that_the_log_has_not_is_refused() -> None:
    text = write_program(lay_out(make_plan(LATER)))
    with pytest.raises(InputError, match="that the log has not"):
        job_as_made(TODAY, [FIRST], text)


def test_the_program_of_another_job_is_refused() -> None:
    other = Job.model_validate(base_job())
    with pytest.raises(InputError, match="is the program of job"):
        job_as_made(JOB, [], write_program(lay_out(make_plan(other))))
