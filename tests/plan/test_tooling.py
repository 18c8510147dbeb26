"""Which rolls, and where the slide stands with them."""

from __future__ import annotations

import math

import pytest

from knurlcam import Plan
from tests.support.plans import (
    STRADDLE,
    STYLES,
    choice_of,
    plan_of,
)


def circle_x(style: str, datum: str, plan: Plan, c: float) -> float:
    """X on the diameter, worked out here from two circles."""
    blank, roll = plan.blank_diameter_mm / 2, 10.0
    v = {
        "single roll": 0.0,
        "knuckle joint": 10.5,
        "revolving head": 10.5,
        "straddle": blank + roll - plan.penetration_mm,
    }[style]

    def centre(depth: float) -> float:
        return math.sqrt(max(0.0, (blank + roll - depth) ** 2 - v**2))

    if datum == "roll centre":
        return 2 * centre(c)
    return plan.blank_diameter_mm - 2 * (centre(0) - centre(c))


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("datum", ["touch-off", "roll centre"])
def test_x_follows_from_circles_in_contact_for_each_style_and_datum(style: str, datum: str) -> None:
    plan = plan_of({**STYLES[style], "tool.x_datum": datum})
    for step in plan.passes:
        wanted = circle_x(style, datum, plan, step.penetration_mm)
        assert step.x_diameter_mm == pytest.approx(wanted, abs=1e-6)
    assert plan.clearance_x_mm == pytest.approx(circle_x(style, datum, plan, 0.0) + 4.0)


def test_the_datum_is_touch_off_but_for_the_straddle() -> None:
    datums = {s: choice_of(plan_of(c), "tool.x_datum").value for s, c in STYLES.items()}
    assert datums.pop("straddle") == "roll centre"
    assert set(datums.values()) == {"touch-off"}


def test_the_gap_of_a_straddle_is_the_blank_less_twice_the_depth() -> None:
    plan = plan_of(STRADDLE)
    assert plan.gap_mm == pytest.approx(plan.blank_diameter_mm - 2 * plan.penetration_mm)
    assert plan.passes[-1].x_diameter_mm == pytest.approx(0.0, abs=1e-9)
    assert plan_of().gap_mm is None
