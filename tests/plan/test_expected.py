"""What a part is expected to measure, from its plan in closed form."""

from __future__ import annotations

import pytest

from knurlcam.plan.model import Plan
from tests.support.plans import PIN, plan_of, refusals_of

RIGID = {
    "part.material": {
        "name": "of unknown stiffness",
        "yield_strength": "250 MPa",
        "turning_speed": "60 m/min",
    }
}


SOFT = {"part__length": 300.0, "knurl__length": 150.0}


def planned(**changes: object) -> Plan:
    return plan_of({key.replace("__", "."): v for key, v in changes.items()})


def test_rigid_work_is_expected_as_planned_but_for_the_rounding_of_x() -> None:
    plan = plan_of(RIGID)
    expected = plan.expected
    assert expected.knurled_diameter_mm.likely == pytest.approx(plan.knurled_diameter_mm, abs=0.02)
    assert (expected.evenness, expected.double_impression, expected.held_off_mm) == (1.0, 0.0, 0.0)


def test_work_that_deflects_is_expected_smaller_and_with_lower_teeth() -> None:
    short, long = planned(part__length=40.0), planned(part__length=140.0)
    for of in ("knurled_diameter_mm", "tooth_height_mm"):
        assert getattr(long.expected, of).likely < getattr(short.expected, of).likely
    assert long.expected.evenness < short.expected.evenness < 1.0


def test_low_likely_and_high_stand_in_order_about_the_planned_blank() -> None:
    plan = planned()
    for of in (plan.expected.knurled_diameter_mm, plan.expected.tooth_height_mm):
        assert of.low < of.likely < of.high
    low, high = plan.expected.blank_limits_mm
    assert low < plan.blank_diameter_mm < high


def test_a_blank_at_its_upper_limit_presses_the_teeth_full_and_no_more() -> None:
    plan = plan_of({**RIGID, "process.fullness": 0.99})
    assert plan.expected.tooth_height_mm.high == plan.knurl.full_height_mm


def test_with_deflection_compensation_the_part_is_expected_nearly_as_planned() -> None:
    straight, compensated = (
        planned(**SOFT, process__compensate=on).expected.tooth_height_mm.likely
        for on in (False, True)
    )
    wanted = planned(**SOFT).tooth_height_mm
    assert straight < 0.95 * wanted < 0.96 * wanted < compensated < wanted * 1.001


@pytest.mark.parametrize("key", ["knurled_diameter_mm", "tooth_height_mm"])
def test_the_expected_part_stands_in_the_plans_data(key: str) -> None:
    plan = planned()
    assert plan.to_dict()["expected"][key] == list(getattr(plan.expected, key))


def test_a_pin_whose_crests_do_not_reach_its_bore_is_refused_with_what_would_help() -> None:
    refused = refusals_of({**PIN, "part.knurled_diameter": 12.05, "part.length": 120.0})
    assert not refused["under-bore"].acceptable
    assert "there would be no press fit" in refused["under-bore"].message
    assert "no more than a tenth is lost" in refused["under-bore"].message


def test_a_bar_that_bends_by_millimetres_is_refused_with_what_would_help() -> None:
    bar = {"part.knurled_diameter": 8.0, "part.length": 300.0, "knurl.length": 200.0}
    (message,) = [r.message for r in refusals_of({**bar, "holding.centre_diameter": 3.0}).values()]
    assert "a straddle" in message
