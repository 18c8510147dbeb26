"""The chuck, the centre, the safe position: what stands around the rolls."""

from __future__ import annotations

import math
import re

import pytest

from tests.support.jobs import REMOVE
from tests.support.plans import (
    notes_of,
    plan_of,
    refusals_of,
)


@pytest.mark.parametrize(
    ("length", "code"), [(21.9, "near-the-chuck"), (22.0, None), (20.1, "near-the-chuck")]
)
def test_a_knurl_that_ends_within_the_clearance_of_the_chuck_is_warned_of(
    length: float, code: str | None
) -> None:
    assert ("near-the-chuck" in notes_of(plan_of({"part.length": length}))) == bool(code)


def test_without_a_centre_diameter_the_plan_says_the_largest_that_clears() -> None:
    plan = plan_of({"holding.centre_diameter": REMOVE})
    largest = plan.blank_diameter_mm - 2 * plan.penetration_mm
    assert plan.largest_centre_mm == pytest.approx(largest)
    assert (
        f"{math.floor(largest * 1000) / 1000:.3f} mm" in notes_of(plan)["centre-clearance"].message
    )


def test_the_length_named_instead_of_one_past_the_chuck_can_be_planned() -> None:
    message = refusals_of({"part.length": 15.0})["past-the-chuck"].message
    (length,) = re.findall(r"shorten it to (\S+) mm", message)
    plan = plan_of({"part.length": 15.0, "knurl.length": float(length)})
    assert "near-the-chuck" not in notes_of(plan)


def test_the_safe_x_named_instead_of_one_inside_can_be_planned() -> None:
    message = refusals_of({"machine.safe_x": 28.0})["safe-x-inside"].message
    (x,) = re.findall(r"the clearance, X (\S+) mm", message)
    assert plan_of({"machine.safe_x": float(x)})


def test_rolls_that_do_not_overhang_the_end_need_no_room_there() -> None:
    assert plan_of({"knurl.length": 10.0}).largest_centre_mm is None
    inside = {"knurl.start": 5.0, "tool.bevelled_rolls": True, "holding.centre_diameter": 24.5}
    assert plan_of(inside).largest_centre_mm is None


def test_work_in_a_chuck_alone_has_no_centre_to_meet_and_is_warned_of() -> None:
    held = {
        "holding.method": "chuck",
        "holding.tailstock": REMOVE,
        "holding.centre_diameter": REMOVE,
    }
    plan = plan_of(held)
    assert plan.largest_centre_mm is None
    assert notes_of(plan)["chuck-alone"].severity == "warning"
