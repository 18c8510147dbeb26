"""Rolls as they are, and where they roll: the pitch of what is in the drawer, not of its label."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knurlcam import Plan
from knurlcam.mechanics.capture import first_turn_mm
from knurlcam.plan.blank_limits import inward_mm
from knurlcam.units.kinds import MM_PER_INCH
from tests.support.jobs import REMOVE
from tests.support.plans import GIVEN_BLANK, SINGLE, STYLES, choice_of, notes_of, plan_of

COUNTED = {"tool.roll_teeth": 54, "tool.roll_measured_diameter": 20.1}


@pytest.mark.parametrize(
    ("changes", "pitch", "teeth", "diameter"),
    [
        ({}, 1.0, None, 20.0),
        ({"tool.roll_teeth": 54}, 1.0, 54, 19.848),
        ({"tool.roll_measured_diameter": 19.9}, 1.0, None, 19.9),
        (COUNTED, math.pi * 20.1 / 54 * math.cos(math.radians(30)), 54, 20.1),
        ({"tool.roll": "BL 2010 F 10 DIN 403"}, 1.0, 54, 19.848),
    ],
    ids=["neither", "teeth", "diameter", "both", "designation"],
)
def test_pitch_and_diameter_are_those_of_the_rolls_as_far_as_they_are_known(
    changes: dict[str, Any], pitch: float, teeth: int | None, diameter: float
) -> None:
    data = plan_of(changes).to_dict()
    assert data["rolls"]["pitch_mm"] == pytest.approx(pitch)
    assert data["tracking"]["pitch_mm"] == pytest.approx(pitch)
    assert data["knurl"]["pitch_mm"] == 1.0, "the callout's stays"
    assert data["rolls"]["teeth"] == teeth
    assert data["rolls"]["diameter_mm"] == pytest.approx(diameter, abs=0.001)


def test_a_true_pitch_gives_tooth_and_blank() -> None:
    plan = plan_of(COUNTED)
    pitch = plan.tracking.pitch_mm
    assert plan.knurl.full_height_mm == pytest.approx(pitch / 2.0)
    whole = plan.tracking.teeth_around(plan.blank_diameter_mm)
    assert whole == pytest.approx(plan.teeth)
    assert plan.contact.roll_radius_mm == 10.05


def test_swivelled_straight_rolls_have_their_pitch_across_the_teeth() -> None:
    changes = {"tool.swivelled": True, "tool.roll_teeth": 63, "tool.roll_measured_diameter": 20.0}
    assert plan_of(changes).tracking.pitch_mm == pytest.approx(math.pi * 20.0 / 63)


def test_a_standard_diametral_roll_has_tips_that_are_closer_than_its_pitch() -> None:
    # 96 DP, 72 teeth: 72/96 in less 72 Q / pi, Q = 0.0004618 in (from memory)
    tips = (72 / 96 - 72 * 0.0004618 / math.pi) * MM_PER_INCH
    changes = {"knurl.callout": "96 DP diamond", "tool.roll_teeth": 72}
    plan = plan_of({**changes, "tool.roll_measured_diameter": tips})
    assert plan.tracking.pitch_mm == pytest.approx(plan.knurl.called_pitch_mm)
    assert plan.tracking.correction_mm == 0.0


def test_a_count_and_a_measure_leave_nothing_to_ask() -> None:
    assert not {"roll-not-counted", "tpi-count"} & notes_of(plan_of(COUNTED)).keys()
    said = notes_of(plan_of())["roll-not-counted"].message
    assert "54 teeth" in said
    assert "66.49 teeth round this blank" in said


# A roll maker's published page on plunging: 47 teeth on 0.750 in, 31 teeth on 0.625 in. A first
# turn of 0.092 of the pitch gives them.
@pytest.mark.parametrize(
    ("roll_in", "roll_teeth", "teeth", "blank_in"),
    [(0.750, 47, 31, 0.499), (0.750, 47, 30, 0.483), (0.625, 31, 18, 0.369)],
)
def test_a_plunged_blank_is_the_published_one(
    roll_in: float, roll_teeth: int, teeth: int, blank_in: float
) -> None:
    pitch = math.pi * roll_in * MM_PER_INCH / roll_teeth
    plan = plan_of(
        {
            **SINGLE,
            "part.knurled_diameter": REMOVE,
            "part.blank_diameter": f"{blank_in} in",
            "knurl.callout": f"DIN 82 RAA {pitch:.4f}",
            "knurl.length": 8.0,
            "tool.roll_teeth": roll_teeth,
            "tool.roll_measured_diameter": f"{roll_in} in",
            "process.infeed_rate": 0.092 * pitch,
            "holding.centre_diameter": REMOVE,
        }
    )
    assert plan.teeth == teeth
    tracks = plan.tracking.blank_diameter(teeth) / MM_PER_INCH
    assert tracks == pytest.approx(blank_in, abs=0.001)


@pytest.mark.parametrize("changes", STYLES.values(), ids=STYLES)
def test_the_correction_is_what_the_first_turn_presses_in(changes: dict[str, Any]) -> None:
    plan = plan_of(changes)
    first = first_turn_mm(plan.contact, plan.infeed_mm_per_rev, plan.passes[0].penetration_mm)
    tracking = plan.tracking
    assert tracking.correction_mm == pytest.approx(first, abs=1e-9)
    assert (tracking.correction_low_mm, tracking.correction_high_mm) == pytest.approx(
        (0, 2 * first)
    )
    assert plan.blank_diameter_mm == pytest.approx(tracking.blank_diameter(plan.teeth))


@pytest.mark.parametrize(
    ("changes", "correction"),
    [({"knurl.callout": "96 DP diamond"}, 0.0), ({"tool.tracking_correction": 0.03}, 0.03)],
    ids=["diametral", "given"],
)
def test_a_correction_that_no_first_turn_decides_is_taken_as_it_is(
    changes: dict[str, Any], correction: float
) -> None:
    tracking = plan_of(changes).tracking
    assert tracking[2:5] == (correction, correction, correction)


def test_swivelled_diametral_rolls_take_the_handbooks_138_teeth() -> None:
    # 1.000 in, 160 DP, 30 degrees: 138.56 teeth, so 0.996 in for 138 (p. 1059; seen)
    changes = {**GIVEN_BLANK, "tool.tracking_correction": REMOVE, "tool.swivelled": True}
    changes |= {"knurl.callout": "160 DP diamond", "part.blank_diameter": "0.996 in"}
    plan = plan_of({**changes, "process.accept": ["does-not-track"]})
    assert plan.teeth == 138
    assert plan.tracking.blank_diameter(138) / MM_PER_INCH == pytest.approx(0.996, abs=0.0005)


# -- limits and infeed -----------------------------------------------------------


def handbook_of(plan: Plan) -> tuple[float, float]:
    middle = plan.tracking.blank_diameter(plan.teeth)
    return middle - plan.blank_tolerance_mm, middle + plan.blank_tolerance_mm


@pytest.mark.parametrize("changes", STYLES.values(), ids=STYLES)
def test_limits_lie_about_the_blank_that_tracks_within_the_handbooks(
    changes: dict[str, Any],
) -> None:
    plan = plan_of(changes)
    (low, high), (least, most) = plan.blank_limits_mm, handbook_of(plan)
    middle = plan.tracking.blank_diameter(plan.teeth)
    assert least - 1e-9 <= low < middle < high <= most + 1e-9
    for limit in plan.blank_limits_mm:
        assert limit * 1000 == pytest.approx(round(limit * 1000))


def test_limits_stay_about_the_blank_that_tracks_where_another_is_given() -> None:
    planned = plan_of({**GIVEN_BLANK, "part.blank_diameter": 24.626})
    other = plan_of({**GIVEN_BLANK, "part.blank_diameter": 24.64})
    assert other.blank_diameter_mm == 24.64
    assert other.blank_limits_mm == pytest.approx(planned.blank_limits_mm, abs=0.0021)


def test_a_deep_enough_first_pass_is_pressed_in_so_that_the_whole_tolerance_tracks() -> None:
    plan = plan_of({"process.passes": 2, "part.length": 30.0})
    assert "tracks over the whole tolerance" in choice_of(plan, "process.infeed_rate").why
    least, most = handbook_of(plan)
    assert plan.blank_limits_mm == pytest.approx((least, most), abs=0.001)
    slower = plan_of({"process.passes": 2, "part.length": 30.0, "process.infeed_rate": 0.05})
    assert slower.blank_limits_mm[1] - slower.blank_limits_mm[0] < most - least - 0.002


def test_rolls_of_a_diametral_pitch_bite_as_firmly_as_the_first_pass_allows() -> None:
    plan = plan_of({"knurl.callout": "64 DP diamond", "process.passes": 2})
    assert plan.infeed_mm_per_rev == pytest.approx(0.1)


@settings(max_examples=40)
@given(low=st.floats(1.0, 100.0), width=st.floats(0.0, 0.2), inch=st.booleans())
def test_limits_are_rounded_inward(low: float, width: float, inch: bool) -> None:
    least, most = inward_mm(low, low + width, "inch" if inch else "mm")
    step = 0.00254 if inch else 0.001
    assert least <= most
    if width > step:
        assert low - 1e-7 <= least
        assert most <= low + width + 1e-7
    assert least == pytest.approx(low, abs=step)
