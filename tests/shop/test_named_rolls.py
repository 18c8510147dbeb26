"""Rolls of a shop that are counted, measured and named."""

from __future__ import annotations

from pathlib import Path

import pytest

from knurlcam import CannotBeDoneError, Job, JobFileError, make_plan
from tests.support.shops import changed, job_file

COUNTED = "roll_teeth = 54\nroll_measured_diameter = 19.9\n"
ROLLS = '[rolls."diamond 1.0"]\n'


def test_rolls_that_are_counted_and_measured_give_their_true_pitch(
    shop: Path, tmp_path: Path
) -> None:
    changed(shop, ROLLS, ROLLS + COUNTED)
    job = Job.load(job_file(tmp_path))
    rolls = make_plan(job).to_dict()["rolls"]
    assert (rolls["name"], rolls["shop_tool"]) == ("diamond 1.0", job.shop_tool)
    assert rolls["teeth"] == 54
    assert rolls["pitch_mm"] == pytest.approx(1.0026, abs=0.0001)
    assert "tool.roll_teeth" in job.from_shop


def test_a_job_that_names_its_rolls_gets_those_or_none(shop: Path, tmp_path: Path) -> None:
    job = Job.load(job_file(tmp_path, 'tool = {name = "twin 20", roll = "diamond 1.0"}\n'))
    assert job.shop_rolls == "diamond 1.0"
    other = "straight 0.8"
    with pytest.raises(CannotBeDoneError, match=other):
        Job.load(job_file(tmp_path, f'tool = {{name = "twin 20", roll = "{other}"}}\n'))


@pytest.mark.usefixtures("shop")
def test_a_name_that_neither_shop_nor_standard_has_is_refused(tmp_path: Path) -> None:
    file = job_file(tmp_path, 'tool = {name = "twin 20", roll = "the good ones"}\n')
    with pytest.raises(JobFileError) as caught:
        Job.load(file)
    assert caught.value.problems[0].key == "tool.roll"
