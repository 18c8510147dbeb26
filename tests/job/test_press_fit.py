"""A press fit in a job: its limits, defaults and JSON."""

from __future__ import annotations

from knurlcam.job.model import Job
from tests.support.job_files import FIT
from tests.support.jobs import REMOVE, base_job


def test_a_fit_comes_back_equal_from_its_json() -> None:
    fit = {"bore": 0.5, "hub_diameter": 1.0, "hub_material": "6082-T6", "torque": "130 lbf*in"}
    job = Job.model_validate(base_job({"units": "inch", "knurl.purpose": "press fit", "fit": fit}))
    assert Job.model_validate_json(job.model_dump_json()) == job


def test_limits_of_the_bore_come_back_equal_and_stand_in_for_the_tolerance() -> None:
    limits = {"fit.bore_smallest": "12 mm", "fit.bore_largest": 12.02, "fit.hub_length": 8.0}
    job = Job.model_validate(base_job({**FIT, **limits}))
    assert job.fit is not None
    assert job.fit.bore_tolerance is None
    for text in (job.model_dump_json(), job.model_dump_json(exclude_unset=True)):
        again = Job.model_validate_json(text)
        assert again == job
        assert again.identity == job.identity


def test_the_nominal_bore_may_be_left_out_where_both_limits_are_given() -> None:
    limits = {"fit.bore": REMOVE, "fit.bore_smallest": 12.0, "fit.bore_largest": 12.02}
    job = Job.model_validate(base_job({**FIT, **limits}))
    assert job.fit is not None
    assert job.fit.nominal_bore == 12.01
    assert Job.model_validate_json(job.model_dump_json()) == job


def test_a_bore_has_its_usual_tolerance_unless_it_is_given() -> None:
    for changes in ({}, {"fit.bore_tolerance": None}, {"fit.bore_tolerance": "H7"}):
        fit = Job.model_validate(base_job({**FIT, **changes})).fit
        assert fit is not None
        assert fit.bore_tolerance == "H7"


def test_a_bore_beyond_the_table_is_taken_with_its_limits() -> None:
    limits = {"fit.bore_smallest": 510, "fit.bore_largest": 510.1}
    changes = {**FIT, "fit.bore": 510, "fit.hub_diameter": 900, **limits}
    job = Job.model_validate(base_job(changes))
    assert job.fit is not None
    assert job.fit.bore_largest == 510.1


def test_with_a_fit_the_diameters_may_be_left_out() -> None:
    job = Job.model_validate(base_job({**FIT, "part.knurled_diameter": REMOVE}))
    assert job.part.knurled_diameter is None
    assert job.part.blank_diameter is None
