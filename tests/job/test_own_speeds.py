"""The limit for reversing under load is the table's, which a shop may have its own of."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from knurlcam import CannotBeDoneError, Job, make_plan
from knurlcam.data.caches import clear_caches
from knurlcam.data.folders import TABLES_VARIABLE
from tests.support.jobs import REMOVE, base_job
from tests.support.tables import shipped

FREE = {"process.spindle_speed": REMOVE}


@pytest.fixture(autouse=True)
def _limit_of_60(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    text = shipped("speeds.toml")
    good = "reversal_limit_rpm = { value = 150,"
    assert good in text
    (tmp_path / "speeds.toml").write_text(text.replace(good, good.replace("150", "60")))
    monkeypatch.setenv(TABLES_VARIABLE, str(tmp_path))
    clear_caches()
    yield
    monkeypatch.undo()
    clear_caches()


def test_a_recommended_speed_keeps_to_the_limit_of_the_shops_table() -> None:
    plan = make_plan(Job.build(base_job(FREE)))
    assert (plan.spindle_rpm, plan.speed_limit_rpm) == (60.0, 60.0)


def test_a_given_speed_above_it_is_refused() -> None:
    with pytest.raises(CannotBeDoneError, match="110 rev/min is above the 60 rev/min"):
        make_plan(Job.build(base_job()))


def test_the_limit_of_the_job_goes_before_that_of_the_table() -> None:
    job = Job.build(base_job({**FREE, "machine.reversal_speed_limit": "120 rpm"}))
    assert make_plan(job).speed_limit_rpm == 120.0


def test_the_schema_says_what_holds_where_it_is_left_out() -> None:
    machine = Job.model_json_schema()["$defs"]["Machine"]["properties"]
    assert machine["reversal_speed_limit"]["default"] == 60.0
