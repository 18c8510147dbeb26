"""Stepped work: how its steps are given, and what is refused."""

from __future__ import annotations

import re

import pytest

from knurlcam.job.model import Job
from knurlcam.job.problems import JobFileError
from tests.support.jobs import base_job

BAD_STEPS = [
    ("25 x 30", r"the steps add up to 30 mm, the part is 70 mm long"),
    ("25 x 30, 18", r"is not a list of steps \(given: ' 18'\)"),
    ("25 x 70 x 1", r"is not a list of steps"),
    ("", r"is not a list of steps"),
    ([], r"is not a list of steps"),
    ([{"diameter": 25.0, "length": 70.0, "x": 1}], r"is not a list of steps"),
    ([{"diameter": -25.0, "length": 70.0}], r"step 1 has a diameter out of range \(given: -25"),
    ([{"diameter": 25.0, "length": 1e9}], r"step 1 has a length out of range"),
    ([{"diameter": True, "length": 70.0}], r"bool"),
    ("nan x 70", r"not a finite number"),
    ("25 bananas x 70", r"unknown unit 'bananas'"),
    (25, r"is not a list of steps"),
    ([{"diameter": 25.0, "length": 1.0}] * 51, r"has 51 steps .*at most 50"),
]


@pytest.mark.few(5)
@pytest.mark.parametrize(("steps", "match"), BAD_STEPS)
def test_steps_that_are_none_are_refused_by_their_key(steps: object, match: str) -> None:
    with pytest.raises(JobFileError) as error:
        Job.build(base_job({"part.steps": steps}), where="job.toml")
    assert error.value.problems[0].key == "part.steps"
    assert re.search(match, str(error.value)), str(error.value)


@pytest.mark.parametrize(
    "steps",
    [
        "25 x 30, 18 x 40",
        "25 mm × 3 cm; 18 X 40",
        [{"diameter": 25.0, "length": 30.0}, {"diameter": "18 mm", "length": 40}],
        ({"diameter": 25, "length": 30}, {"diameter": 18, "length": 40}),
    ],
)
def test_steps_are_read_from_tables_and_from_a_cells_text(steps: object) -> None:
    job = Job.build(base_job({"part.steps": steps}))
    assert job.part.steps == ((25.0, 30.0), (18.0, 40.0))
    again = Job.model_validate(job.model_dump(mode="json"))
    assert again.part.steps == job.part.steps
    assert again.identity == job.identity


def test_steps_of_an_inch_job_are_in_inches() -> None:
    inch = base_job({"units": "inch", "part.length": 3.0, "part.steps": "1 x 1, 0.5 x 2"})
    steps = Job.build(inch).part.steps
    assert steps is not None
    assert [size for step in steps for size in step] == pytest.approx([25.4, 25.4, 12.7, 50.8])
