"""What the steps of planning do together: origins, and nothing kept from job to job."""

from __future__ import annotations

from typing import Any

import pytest

from knurlcam import CannotBeDoneError, Job, make_plan
from knurlcam.data.caches import clear_caches
from tests.support.jobs import REMOVE, base_job
from tests.support.plans import (
    PITS,
    STYLES,
    TURNED,
    UNCORRECTED,
    choice_of,
    plan_of,
)

LEFT_OUT = {
    "knurl.purpose": REMOVE,
    "process.spindle_speed": REMOVE,
}
GIVEN: dict[str, Any] = {
    "knurl.purpose": "appearance",
    "knurl.helix": 30.0,
    "knurl.profile_angle": 90.0,
    "part.blank_diameter": TURNED,
    "tool.rolls": ["BL", "BR"],
    "tool.x_datum": "touch-off",
    "tool.z_datum": "left edge",
    "process.strategy": "traverse",
    "process.spindle_speed": 110,
    "process.feed": 0.5,
    "process.infeed_rate": 0.05,
    "process.passes": 4,
    "process.dwell_revolutions": 2,
    "process.clean_up": True,
}


@pytest.mark.few(6)
@pytest.mark.parametrize("key", GIVEN)
def test_each_figure_says_whether_it_was_given_or_recommended_and_why(key: str) -> None:
    given_one = choice_of(plan_of({**LEFT_OUT, **UNCORRECTED, key: GIVEN[key]}), key)
    left_out = choice_of(plan_of({**LEFT_OUT, **UNCORRECTED}), key)
    assert given_one.origin == "given"
    assert left_out.origin == "recommended"
    assert given_one.why
    assert left_out.why not in ("", given_one.why)


def test_a_given_fullness_and_trial_length_are_said_to_be_given() -> None:
    plan = plan_of({"process.fullness": 0.9, "process.trial_strip": True})
    assert choice_of(plan, "process.fullness").origin == "given"
    assert choice_of(plan, "process.trial_length").origin == "recommended"
    assert choice_of(plan_of(), "process.fullness").origin == "recommended"


@pytest.mark.parametrize(
    ("asked", "stop", "origin"),
    [({}, "program", "recommended"), ({"process.trial_stop": "optional"}, "optional", "given")],
)
def test_how_the_program_stops_after_a_trial_strip_is_said_where_there_is_one(
    asked: dict[str, Any], stop: str, origin: str
) -> None:
    choice = choice_of(plan_of({"process.trial_strip": True, **asked}), "process.trial_stop")
    assert (choice.value, choice.origin) == (stop, origin)
    assert "process.trial_stop" not in {c.key for c in plan_of().choices}


def test_no_figure_is_said_twice() -> None:
    for changes in (*STYLES.values(), PITS, {**UNCORRECTED, "part.blank_diameter": TURNED}):
        keys = [c.key for c in plan_of(changes).choices]
        assert sorted(keys) == sorted(set(keys))


def test_the_same_job_gives_the_same_plan() -> None:
    assert plan_of().to_dict() == plan_of().to_dict()


FAMILY: dict[str, dict[str, Any]] = {
    "traverse": {},
    "trial": {"process.trial_strip": True},
    "plunge": {"tool.style": "single roll", "tool.roll_spacing": REMOVE, "knurl.length": 8.0},
    "bevelled": {"knurl.start": 15.0, "tool.bevelled_rolls": True, "tool.z_datum": "centre"},
    "accepted": {"knurl.start": 15.0, "process.accept": ["needs-bevelled-rolls"]},
    "refused": {"knurl.start": 15.0},
    "all given": {
        "process.feed": 0.7,
        "process.infeed_rate": 0.04,
        "process.passes": 3,
        "process.fullness": 0.8,
        "process.clean_up": False,
        "tool.rolls": "BL BR",
    },
}
"""Jobs of which others follow that differ in their part alone."""


def outcome(job: Job) -> object:
    """Return the plan with all its choices, or the words of the refusal."""
    try:
        plan = make_plan(job)
    except CannotBeDoneError as error:
        return error.refusals
    return plan.to_dict(), plan.choices, plan.notes


@pytest.mark.few(3)
@pytest.mark.parametrize("kind", FAMILY)
def test_a_plan_does_not_depend_on_the_plans_before(kind: str) -> None:
    diameters = (25.0, 31.0, 4.0, 24.7)
    alone = []
    for diameter in diameters:
        clear_caches()
        job = Job.build(base_job({**FAMILY[kind], "part.knurled_diameter": diameter}))
        alone.append(outcome(job))
    clear_caches()
    first = Job.build(base_job(FAMILY[kind]))
    sections = {s: getattr(first, s) for s in ("knurl", "holding", "tool", "process", "machine")}
    for _ in range(2):
        parts = [{**base_job()["part"], "knurled_diameter": d} for d in diameters]
        together = [outcome(Job.build({**sections, "part": part})) for part in parts]
        assert together == alone


def test_jobs_that_differ_in_units_or_shop_share_no_words() -> None:
    mm = Job.build(base_job({"knurl.start": 15.0}))
    sections = {s: getattr(mm, s) for s in ("part", "knurl", "holding", "tool", "process")}
    inch = Job.build({**sections, "units": "inch", "machine": mm.machine})
    said = [str(outcome(job)) for job in (mm, inch, mm)]
    assert "15.000 mm from the end" in said[0] == said[2]
    assert "0.5906 in from the end" in said[1]
