"""By what a measurement counts for other parts."""

from __future__ import annotations

import pytest

from knurlcam.job.model import Job
from knurlcam.records.measurement import set_up_of
from tests.support.jobs import base_job


def test_a_set_up_is_rolls_material_and_tool_in_words() -> None:
    made = set_up_of(Job.model_validate(base_job()))
    assert "pitch 1 mm" in made.roll
    assert made.material == "aluminium 6082-T6"
    assert made.tool.startswith("knuckle joint")


@pytest.mark.parametrize(
    "changes",
    [
        {"tool.roll_diameter": 19.0},
        {"tool.roll_teeth": 54},
        {"knurl.callout": "DIN 82 RGE 0.8"},
        {"part.material": "steel 1018"},
        {"tool.roll_spacing": 21.5},
    ],
)
def test_other_rolls_material_or_tool_are_another_set_up(changes: dict[str, object]) -> None:
    other = Job.model_validate(base_job(changes))
    assert set_up_of(other) != set_up_of(Job.model_validate(base_job()))


def test_another_diameter_is_the_same_set_up() -> None:
    other = Job.model_validate(base_job({"part.knurled_diameter": 30.0}))
    assert set_up_of(other) == set_up_of(Job.model_validate(base_job()))
