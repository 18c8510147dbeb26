"""Sections that jobs share, and tables that come again."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from knurlcam.data.caches import clear_caches
from knurlcam.job.model import Job
from knurlcam.job.problems import JobFileError
from tests.support.jobs import base_job

SECTIONS = ("part", "knurl", "holding", "tool", "process", "machine")


def shared(job: Job, *but: str) -> dict[str, Any]:
    """Return a job's keys with its sections as they are, but for some of them."""
    return {"units": job.units, **{s: getattr(job, s) for s in SECTIONS if s not in but}}


@pytest.mark.parametrize("section", SECTIONS)
def test_a_valid_section_may_stand_for_its_table(section: str) -> None:
    job = Job.build(base_job())
    again = Job.build({**base_job(), section: getattr(job, section)})
    assert again == job
    assert getattr(again, section) is getattr(job, section)
    assert again.identity == job.identity
    assert again.model_dump(exclude_unset=True) == job.model_dump(exclude_unset=True)


def test_a_job_of_sections_and_one_table_is_the_job_of_tables() -> None:
    base = Job.build(base_job())
    changes = {"part.knurled_diameter": 31.0, "part.name": "Other", "part.length": 80}
    written_out = Job.build(base_job(changes))
    job = Job.build({**shared(base, "part"), "part": base_job(changes)["part"]})
    assert job == written_out
    assert job.identity == written_out.identity != base.identity
    assert job.process.model_fields_set == written_out.process.model_fields_set


def test_a_section_keeps_its_lengths_in_a_job_in_other_units() -> None:
    tool = Job.build(base_job()).tool
    inch = Job.build({**base_job({"units": "inch", "machine.clearance": 0.1}), "tool": tool})
    assert (inch.units, inch.tool.roll_diameter) == ("inch", 20.0)
    assert inch.machine.clearance == pytest.approx(2.54)


def test_a_section_in_the_place_of_another_is_refused_by_its_key() -> None:
    job = Job.build(base_job())
    with pytest.raises(JobFileError) as caught:
        Job.build({**base_job(), "tool": job.machine})
    (problem,) = caught.value.problems
    assert (problem.key, problem.value) == ("tool", job.machine)
    assert problem.expected == "a table of keys"


def test_what_is_wrong_beside_valid_sections_is_said_as_ever() -> None:
    job = Job.build(base_job())
    wrong = {"part": base_job({"part.length": "seventy", "part.colour": 1})["part"]}
    with pytest.raises(JobFileError) as of_tables:
        Job.build({**base_job(), **wrong}, where="job.toml")
    with pytest.raises(JobFileError) as of_sections:
        Job.build({**shared(job, "part"), **wrong}, where="job.toml")
    assert str(of_sections.value) == str(of_tables.value)


def test_sections_that_do_not_go_together_are_refused() -> None:
    tool = Job.build(base_job({"tool.rolls": "BL BR"})).tool
    straight = base_job({"knurl.callout": "DIN 82 RAA 1.0"})
    with pytest.raises(JobFileError, match="these rolls do not make form RAA"):
        Job.build({**straight, "tool": tool})


@pytest.mark.parametrize("section", SECTIONS)
def test_a_changed_copy_of_a_section_has_another_identity(section: str) -> None:
    changes: dict[str, dict[str, Any]] = {
        "part": {"number": 7},
        "knurl": {"length": 21.0},
        "holding": {"centre_diameter": 11.0},
        "tool": {"station": 6},
        "process": {"passes": 3},
        "machine": {"safe_z": 60.0},
    }
    job = Job.build(base_job())
    before = job.identity
    copied = getattr(job, section).model_copy(update=changes[section])
    other = Job.build({**base_job(), section: copied})
    (key,) = changes[section]
    written_out = Job.build(base_job({f"{section}.{key}": changes[section][key]}))
    assert other.identity == written_out.identity != before
    assert job.model_copy(update={section: copied}).identity == other.identity
    assert job.model_copy().identity == before


def test_a_table_that_comes_again_gives_the_same_section_until_it_changes() -> None:
    data = base_job()
    first = Job.build(data)
    assert Job.build(copy.deepcopy(data)).tool == first.tool
    data["tool"]["station"] = 6
    assert Job.build(data).tool.station == 6
    assert first.tool.station == 5
    for wrong in (True, 5.5, "five"):
        data["tool"]["station"] = wrong
        with pytest.raises(JobFileError, match=r"tool\.station"):
            Job.build(data)


def test_a_table_that_comes_again_in_other_units_has_other_lengths() -> None:
    mm = Job.build(base_job({"machine.safe_x": 5.0}))
    inch = Job.build(base_job({"machine.safe_x": 5.0, "units": "inch"}))
    assert (mm.machine.safe_x, inch.machine.safe_x) == (5.0, pytest.approx(127.0))
    assert Job.build(base_job({"machine.safe_x": 5.0})).machine == mm.machine


def test_a_table_says_what_is_given_and_what_is_left_out_each_time() -> None:
    said = Job.build(base_job({"process.dwell_revolutions": 2})).process
    left_out = Job.build(base_job()).process
    assert said == left_out
    assert "dwell_revolutions" in said.model_fields_set
    assert "dwell_revolutions" not in left_out.model_fields_set
    again = Job.build(base_job({"process.dwell_revolutions": 2})).process
    assert again.model_fields_set == said.model_fields_set


def test_the_identity_does_not_depend_on_the_jobs_before() -> None:
    families = [{"part.knurled_diameter": d} for d in (24.0, 25.0, 26.0)]
    first = [Job.build(base_job(c)).identity for c in families]
    clear_caches()
    assert [Job.build(base_job(c)).identity for c in reversed(families)] == first[::-1]
    assert len(set(first)) == 3


def test_a_table_of_other_objects_is_taken_or_refused_each_time() -> None:
    class Length(float):
        """A number of another class, with the same bytes as others of its class."""

    one, other = (base_job({"machine.safe_x": Length(x)}) for x in (120.0, 150.0))
    assert [Job.build(d).machine.safe_x for d in (one, other, one)] == [120.0, 150.0, 120.0]
    for _ in range(2):
        with pytest.raises(JobFileError, match=r"machine\.safe_x"):
            Job.build(base_job({"machine.safe_x": b"120"}))
        assert Job.build(base_job({"tool.rolls": ["BL", "BR"]})).tool.rolls == ("BL", "BR")
        with pytest.raises(JobFileError, match=r"tool\.rolls"):
            Job.build(base_job({"tool.rolls": ["BL", ["BR"]]}))
