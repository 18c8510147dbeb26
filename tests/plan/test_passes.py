"""How many passes, how deep each, and the trial strip before them."""

from __future__ import annotations

import itertools
import re
from typing import Any

import pytest

from knurlcam import lay_out, write_program
from knurlcam.gcode.dialect_files import dialect_names
from knurlcam.mechanics.tracking import blank_diameter
from tests.support.jobs import REMOVE
from tests.support.plans import (
    FINE,
    GIVEN_BLANK,
    IN_INCH,
    SINGLE,
    STYLES,
    choice_of,
    plan_of,
    refusals_of,
)


@pytest.mark.few(6)
@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("passes", [None, 1, 2, 7])
def test_the_first_pass_takes_most_and_the_last_reaches_full_depth(
    style: str, passes: int | None
) -> None:
    count = {} if passes is None else {"process.passes": passes}
    plan = plan_of({**STYLES[style], **count})
    depths = [p.penetration_mm for p in plan.passes if p.presses]
    steps = [b - a for a, b in zip([0.0, *depths], depths, strict=False)]
    assert depths[-1] == plan.penetration_mm
    assert all(later <= earlier + 1e-12 for earlier, later in itertools.pairwise(steps))
    assert max(steps) == steps[0]
    if passes is not None:
        assert len(depths) == passes


@pytest.mark.parametrize(
    ("changes", "count"),
    [
        ({}, 4),
        ({**SINGLE, "knurl.callout": "DIN 82 RAA 1.0"}, 3),
        ({"knurl.callout": "DIN 82 RBL 1.0"}, 3),
        ({"knurl.length": 8.0}, 1),
        ({"knurl.length": 8.0, "process.trial_strip": True}, 2),
    ],
)
def test_a_straight_knurl_takes_fewer_passes_and_a_plunge_one(
    changes: dict[str, Any], count: int
) -> None:
    plan = plan_of(changes)
    assert sum(p.presses for p in plan.passes) == count
    assert choice_of(plan, "process.passes").origin == "recommended"


def test_a_metal_that_hardens_readily_takes_fewer_and_deeper_passes() -> None:
    plain, hard = plan_of(), plan_of({"part.material": "1.4301"})
    assert [sum(p.presses for p in plan.passes) for plan in (plain, hard)] == [4, 3]
    assert hard.passes[0].penetration_mm > plain.passes[0].penetration_mm
    assert "hardens readily" in choice_of(hard, "process.passes").why
    assert "hardens" not in choice_of(plain, "process.passes").why


def test_the_clean_up_pass_follows_at_the_last_depth_and_can_be_left_out() -> None:
    with_it, without = plan_of(), plan_of({"process.clean_up": False})
    assert [p.presses for p in with_it.passes] == [True] * 4 + [False]
    assert with_it.passes[-1].penetration_mm == with_it.penetration_mm
    assert with_it.passes[-1].x_diameter_mm == with_it.passes[-2].x_diameter_mm
    assert [p.presses for p in without.passes] == [True] * 4
    assert [p.number for p in with_it.passes] == [1, 2, 3, 4, 5]


def test_passes_go_to_and_fro_and_each_starts_where_the_last_ended() -> None:
    passes = plan_of({"process.passes": 5}).passes
    assert [p.direction for p in passes] == ["headstock", "tailstock"] * 3
    for one, other in itertools.pairwise(passes):
        assert other.z_start_mm == one.z_end_mm


@pytest.mark.parametrize("inch", [False, True])
def test_the_most_passes_named_can_be_planned_and_written(inch: bool) -> None:
    units = {**IN_INCH, "part.knurled_diameter": "25.25 mm"} if inch else {}
    changes = {**FINE, **units, "knurl.length": "20 mm", "process.passes": 50}
    (count,) = re.findall(r"take (\d+) or fewer", refusals_of(changes)["passes-too-many"].message)
    plan = plan_of({**changes, "process.passes": int(count)})
    assert len([p for p in plan.passes if p.presses]) == int(count)
    for post in dialect_names():
        assert write_program(lay_out(plan), post)


def test_a_fine_knurl_takes_no_more_passes_than_x_can_express() -> None:
    fine = {
        **FINE,
        "knurl.callout": REMOVE,
        "knurl.form": "RAA",
        "knurl.pitch": "0.1 mm",
        "knurl.profile_angle": 120,
    }
    inch = {**IN_INCH, "part.knurled_diameter": "25.25 mm", "knurl.length": "20 mm"}
    plan = plan_of(
        {
            **fine,
            **inch,
            "process.fullness": 0.3,
            **GIVEN_BLANK,
            "part.blank_diameter": f"{blank_diameter(500, 0.1)!r} mm",
        }
    )
    steps = [p.x_diameter_mm for p in plan.passes if p.presses]
    assert len(steps) == 2
    assert write_program(lay_out(plan))


def test_a_plunge_has_no_clean_up_pass() -> None:
    plan = plan_of({"knurl.length": 8.0, "process.clean_up": True})
    assert [p.presses for p in plan.passes] == [True]


# -- trial strip ---------------------------------------------------------------


def test_a_trial_strip_has_the_first_depth_and_half_an_inch_of_travel() -> None:
    plan = plan_of({"process.trial_strip": True})
    trial, first = plan.trial, plan.passes[0]
    assert trial is not None
    assert trial.penetration_mm == first.penetration_mm
    assert trial.x_diameter_mm == first.x_diameter_mm
    assert trial.z_start_mm == first.z_start_mm
    assert trial.z_end_mm == pytest.approx(first.z_start_mm - 12.0)
    assert len(plan.passes) == 5, "the trial strip is not one of the passes"


@pytest.mark.parametrize(
    ("changes", "travel"),
    [({"process.trial_length": 7.5}, 7.5), ({"knurl.length": 13.0}, (13 - 10 / 3) / 2)],
)
def test_the_trials_length_is_the_jobs_or_fits_the_first_pass(
    changes: dict[str, Any], travel: float
) -> None:
    trial = plan_of({"process.trial_strip": True, **changes}).trial
    assert trial is not None
    assert trial.z_start_mm - trial.z_end_mm == pytest.approx(travel)


def test_a_plunged_trial_goes_nowhere() -> None:
    trial = plan_of({"process.trial_strip": True, "knurl.length": 8.0}).trial
    assert trial is not None
    assert trial.z_start_mm == trial.z_end_mm


def test_there_is_no_trial_unless_asked() -> None:
    assert plan_of().trial is None
