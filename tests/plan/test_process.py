"""Spindle speed and feeds."""

from __future__ import annotations

from typing import Any

import pytest

from knurlcam.mechanics.passes import spindle_speed
from tests.support.jobs import REMOVE
from tests.support.plans import (
    OWN,
    choice_of,
    notes_of,
    plan_of,
    refusals_of,
)


def speed_of(**changes: Any) -> tuple[float, str]:
    keys = {k.replace("__", "."): v for k, v in changes.items()}
    plan = plan_of({"process.spindle_speed": REMOVE, "part.material": OWN, **keys})
    return plan.spindle_rpm, choice_of(plan, "process.spindle_speed").why


def test_the_recommended_speed_is_half_the_turning_speed() -> None:
    plan = plan_of({"process.spindle_speed": REMOVE, "part.material": OWN})
    assert plan.spindle_rpm == pytest.approx(spindle_speed(10.0, plan.blank_diameter_mm))
    assert "half the turning speed of own steel" in choice_of(plan, "process.spindle_speed").why


@pytest.mark.parametrize(
    ("changes", "rpm", "which"),
    [
        ({"part__material": {**OWN, "turning_speed": "100 m/min"}}, 150, "reversal limit"),
        ({"machine__max_spindle_speed": 100}, 100, "machine's limit"),
        ({"machine__reversal_speed_limit": 80}, 80, "reversal limit"),
    ],
)
def test_it_is_held_to_the_lower_limit_and_says_to_which(
    changes: dict[str, Any], rpm: float, which: str
) -> None:
    value, why = speed_of(**changes)
    assert value == rpm
    assert which in why


def test_a_raised_reversal_limit_lets_the_speed_rise() -> None:
    fast = {**OWN, "turning_speed": "100 m/min"}
    rpm, _ = speed_of(part__material=fast, machine__reversal_speed_limit=400)
    assert rpm == 400


def test_a_plunge_is_not_held_to_the_reversal_limit() -> None:
    fast = {**OWN, "turning_speed": "100 m/min"}
    rpm, why = speed_of(part__material=fast, knurl__length=8.0)
    assert rpm > 600
    assert "reduced" not in why
    rpm, why = speed_of(part__material=fast, knurl__length=8.0, machine__max_spindle_speed=400)
    assert rpm == 400
    assert "reduced to the machine's limit" in why


def test_only_a_traverse_reverses_under_load() -> None:
    fast = {"process.spindle_speed": 200}
    assert "above-reversal-limit" in refusals_of(fast)
    assert plan_of({**fast, "knurl.length": 8.0}).spindle_rpm == 200
    assert plan_of({"process.spindle_speed": 150}).spindle_rpm == 150
    assert plan_of({**fast, "machine.reversal_speed_limit": 200}).spindle_rpm == 200


def test_the_speed_limit_word_states_the_limit_the_plan_was_checked_against() -> None:
    assert plan_of().speed_limit_rpm == 150
    assert plan_of({"knurl.length": 8.0}).speed_limit_rpm == 2000
    accepted = {"process.spindle_speed": 200, "process.accept": ["above-reversal-limit"]}
    assert plan_of(accepted).speed_limit_rpm == 2000


def test_the_programmed_speed_is_whole_and_never_above_the_plans() -> None:
    plan = plan_of({"process.spindle_speed": 110.9})
    assert plan.spindle_rpm == 110.9
    assert plan.programmed_rpm == 110
    assert plan.dwell_s == pytest.approx(2 * 60 / 110)


@pytest.mark.parametrize(
    ("feed", "warned"), [(0.38, False), (0.5, False), (0.76, False), (0.37, True), (0.78, True)]
)
def test_a_feed_outside_common_practice_is_warned_of(feed: float, warned: bool) -> None:
    plan = plan_of({"process.feed": feed})
    assert plan.feed_mm_per_rev == feed
    assert ("feed-range" in notes_of(plan)) == warned


@pytest.mark.parametrize("feed", ["0.015 in/rev", "0.030 in/rev"])
def test_the_ends_of_the_range_in_inch_are_inside(feed: str) -> None:
    # 0.015 to 0.030 in/rev, common practice; TC 9-524 (1996), ch. 7, from memory
    assert "feed-range" not in notes_of(plan_of({"process.feed": feed}))


def test_half_the_face_width_is_the_most_a_turn_may_take() -> None:
    assert plan_of({"process.feed": 5.0}).feed_mm_per_rev == 5.0
    assert "feed-above-half-face" in refusals_of({"process.feed": 5.01})
    narrow = plan_of({"tool.face_width": 0.8, "knurl.length": 3.0})
    assert narrow.feed_mm_per_rev == pytest.approx(0.4)


def test_feed_and_infeed_are_those_given_else_the_usual_ones() -> None:
    plan = plan_of()
    assert plan.feed_mm_per_rev == 0.5
    assert 0.05 <= plan.infeed_mm_per_rev <= 0.1
    plan = plan_of({"process.feed": 0.6, "process.infeed_rate": 0.02})
    assert (plan.feed_mm_per_rev, plan.infeed_mm_per_rev) == (0.6, 0.02)


def test_a_metal_that_hardens_readily_is_pressed_at_the_firmest_infeed() -> None:
    plain = plan_of({"part.material": "11SMn30", "process.infeed_rate": REMOVE})
    hard = plan_of({"part.material": "1.4301", "process.infeed_rate": REMOVE})
    assert hard.infeed_mm_per_rev > plain.infeed_mm_per_rev
    assert "hardens readily" in choice_of(hard, "process.infeed_rate").why
    assert "hardens" not in choice_of(plain, "process.infeed_rate").why
    assert "infeed-fast" not in notes_of(hard)
