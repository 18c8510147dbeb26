"""Which blank, how many teeth, how full: from what the job gives of the two diameters."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knurlcam.mechanics.knurl import blanks_near, knurl_geometry
from knurlcam.mechanics.tooth import penetration
from knurlcam.mechanics.tracking import blank_diameter
from tests.support.jobs import REMOVE
from tests.support.plans import (
    FINE,
    GIVEN_BLANK,
    IN_INCH,
    PITS,
    STYLES,
    TURNED,
    UNCORRECTED,
    choice_of,
    notes_of,
    plan_of,
    refusals_of,
)


def test_67_teeth_fit_the_example_job_at_0_7_of_the_full_height() -> None:
    plan = plan_of(UNCORRECTED)
    assert plan.teeth == 67
    assert plan.blank_diameter_mm == pytest.approx(TURNED)
    assert plan.fullness == pytest.approx(0.698, abs=0.001)
    assert plan.misfit_teeth == 0.0


@pytest.mark.few(6)
@pytest.mark.parametrize("diameter", [8.0, 20.0, 25.3, 61.7])
@pytest.mark.parametrize("wanted", [0.6, 0.75, 0.95, 1.0])
def test_of_all_blanks_in_the_window_the_one_nearest_the_wanted_fullness_is_taken(
    diameter: float, wanted: float
) -> None:
    # Looked for among all tooth counts by the balance of volume alone.
    plan = plan_of({"part.knurled_diameter": diameter, "process.fullness": wanted, **FINE})
    full, pitch = plan.knurl.full_height_mm, plan.knurl.transverse_pitch_mm
    found = []
    for step in range(300, 1001):
        height = step / 1000 * full
        growth = 2 * (height - penetration(height, full, "straight"))
        teeth = round(math.pi * (diameter - growth) / pitch)
        if abs(math.pi * (diameter - growth) / pitch - teeth) < 0.01 and step >= 670:
            found.append((abs(step / 1000 - wanted), teeth))
    # A straight knurl grows by less than the blanks are apart: some diameters have none so full.
    if found:
        assert plan.teeth == min(found)[1]
    assert (0.67 <= plan.fullness <= 1.0) == bool(found)


def test_blank_plus_twice_the_rise_is_the_knurled_diameter() -> None:
    for changes in STYLES.values():
        plan = plan_of(changes)
        assert plan.blank_diameter_mm + 2 * plan.rise_mm == pytest.approx(plan.knurled_diameter_mm)
        assert plan.rise_mm + plan.penetration_mm == pytest.approx(plan.tooth_height_mm)
        assert plan.tooth_height_mm == pytest.approx(plan.fullness * plan.knurl.full_height_mm)


def test_every_candidate_reaches_the_diameter_and_the_chosen_one_is_among_them() -> None:
    plan = plan_of({"part.knurled_diameter": 25.3, **FINE})
    assert {c.knurled_diameter_mm for c in plan.candidates} == {25.3}
    assert plan.teeth in [c.teeth for c in plan.candidates]
    assert all(0.3 <= c.fullness <= 1 + 1e-9 for c in plan.candidates)
    teeth = [c.teeth for c in plan.candidates]
    assert teeth == sorted(teeth)


def test_below_the_window_the_fullest_is_taken_and_called_shallow() -> None:
    # 67 teeth are full at 24.959 mm and pits of 0.4 fullness stand 0.021 mm proud
    plan = plan_of({**PITS, "part.knurled_diameter": TURNED + 0.015, "process.fullness": 1.0})
    assert plan.teeth == 67
    assert 0.3 <= plan.fullness < 0.4
    note = notes_of(plan)["shallow"]
    assert note.severity == "warning"
    assert f"{plan.fullness:.2f}" in note.message
    assert plan.fullness == max(c.fullness for c in plan.candidates)


def test_a_diameter_in_the_window_is_not_called_shallow() -> None:
    assert "shallow" not in notes_of(plan_of())


def named_diameters(message: str) -> list[float]:
    return [float(d) for d in re.findall(r"(\d+\.\d+) (?:mm|in) (?:below|above)", message)]


def test_where_no_whole_number_of_teeth_fits_the_nearest_diameters_are_named() -> None:
    refusal = refusals_of({**PITS, "part.knurled_diameter": 24.98})["no-whole-tooth-count"]
    below, above = named_diameters(refusal.message)
    assert below < 24.98 < above
    assert "67 teeth" in refusal.message
    assert "68 teeth" in refusal.message
    assert refusal.key == "part.knurled_diameter"
    for diameter, teeth in ((below, 67), (above, 68)):
        assert plan_of({**PITS, "part.knurled_diameter": diameter}).teeth == teeth


@settings(max_examples=60, deadline=None)
@given(place=st.floats(0.001, 0.999), teeth=st.integers(20, 300), inch=st.booleans())
def test_the_diameters_named_instead_can_be_made_as_they_are_printed(
    place: float, teeth: int, inch: bool
) -> None:
    knurl = knurl_geometry("RGV", "pitch", 1.0)
    low = blank_diameter(teeth, knurl.transverse_pitch_mm) + knurl.full_growth_mm
    high = blank_diameter(teeth + 1, knurl.transverse_pitch_mm) + knurl.growth_mm(0.3)
    wanted = low + place * (high - low)
    units = {"part.knurled_diameter": f"{wanted!r} mm"}
    if inch:
        units |= IN_INCH
    changes = {**PITS, "holding.centre_diameter": REMOVE, "machine.safe_x": "900 mm", **units}
    refusal = refusals_of({**changes})["no-whole-tooth-count"]
    for diameter in named_diameters(refusal.message):
        assert plan_of({**changes, "part.knurled_diameter": diameter}).teeth in (teeth, teeth + 1)


def test_a_diameter_too_small_for_any_tooth_names_only_one_above() -> None:
    refusal = refusals_of({**PITS, "part.knurled_diameter": 0.3})["no-whole-tooth-count"]
    assert len(named_diameters(refusal.message)) == 1


@pytest.mark.parametrize(
    ("misfit", "what"),
    [
        (0.0, None),
        (0.09, None),
        (-0.09, None),
        (0.11, "tracking-doubtful"),
        (-0.24, "tracking-doubtful"),
        (0.24, "tracking-doubtful"),
    ],
)
def test_a_given_blank_is_warned_of_from_a_tenth_of_a_tooth(misfit: float, what: str) -> None:
    blank = TURNED * (67 + misfit) / 67
    # What is off by so much doubles by the imprint; here it is accepted.
    accept = {"process.accept": ["doubles"]}
    plan = plan_of({**GIVEN_BLANK, **accept, "part.blank_diameter": blank})
    assert plan.teeth == 67
    assert plan.misfit_teeth == pytest.approx(misfit, abs=1e-9)
    assert plan.blank_diameter_mm == blank
    assert ("tracking-doubtful" in notes_of(plan)) == (what is not None)


@pytest.mark.parametrize(("misfit", "teeth"), [(0.26, 67), (0.5, 67), (0.74, 68), (-0.49, 67)])
def test_a_given_blank_a_quarter_tooth_off_is_refused_with_blanks_that_track(
    misfit: float, teeth: int
) -> None:
    blank = TURNED * (67 + misfit - 1e-9) / 67
    changes = {**GIVEN_BLANK, "part.blank_diameter": blank}
    refusal = refusals_of(changes)["does-not-track"]
    assert f"{67 + misfit:.2f} teeth" in refusal.message
    below, above = (float(d) for d in re.findall(r"(\d+\.\d+) mm \(\d+ teeth\)", refusal.message))
    assert below < blank < above
    assert abs(plan_of({**GIVEN_BLANK, "part.blank_diameter": below}).misfit_teeth) < 0.01
    accepted = plan_of({**changes, "process.accept": ["does-not-track"]})
    assert accepted.teeth == teeth
    assert -0.5 < accepted.misfit_teeth <= 0.5


def test_from_a_given_blank_the_knurled_diameter_follows_from_the_wanted_fullness() -> None:
    plan = plan_of({**GIVEN_BLANK, "part.blank_diameter": TURNED, "process.fullness": 1.0})
    # RGE, factor 0.67 of DIN 82:1973, section 2.4 (from memory), pitch 1 mm
    assert plan.knurled_diameter_mm - TURNED == pytest.approx(0.67, abs=0.005)
    assert choice_of(plan, "part.knurled_diameter").origin == "computed"
    assert plan_of({**GIVEN_BLANK, "part.blank_diameter": TURNED}).fullness == 0.8


def test_two_diameters_that_agree_give_the_fullness() -> None:
    plan = plan_of({"part.blank_diameter": TURNED, **UNCORRECTED})
    assert plan.fullness == pytest.approx(plan_of(UNCORRECTED).fullness)
    assert choice_of(plan, "process.fullness").origin == "computed"
    assert "fullness-not-used" not in notes_of(plan)


def test_a_wanted_fullness_that_two_diameters_do_not_allow_is_warned_of() -> None:
    plan = plan_of({**UNCORRECTED, "part.blank_diameter": TURNED, "process.fullness": 0.9})
    assert "0.698" in notes_of(plan)["fullness-not-used"].message
    assert plan.fullness == pytest.approx(0.698, abs=0.001)


@pytest.mark.parametrize("knurled", [TURNED + 0.17, TURNED + 0.6666])
def test_two_diameters_may_need_any_fullness_from_0_3_to_1(knurled: float) -> None:
    given = {"part.blank_diameter": TURNED, "part.knurled_diameter": knurled}
    plan = plan_of({**UNCORRECTED, **given})
    assert 0.3 <= plan.fullness <= 1.0


@pytest.mark.parametrize(
    "grown", [-1.0, 0.0, 0.0001, 0.668, 1.0], ids=["smaller", "same", "thin", "fat", "huge"]
)
def test_two_diameters_outside_it_are_refused_with_the_range(grown: float) -> None:
    given = {"part.blank_diameter": TURNED, "part.knurled_diameter": TURNED + grown}
    changes = {**UNCORRECTED, **given}
    refusal = refusals_of(changes)["diameters-disagree"]
    numbers = [float(n) for n in re.findall(r"(\d+\.\d{3}) mm", refusal.message)]
    assert numbers[0] == pytest.approx(TURNED, abs=0.0006)
    assert not refusal.acceptable
    for knurled in numbers[1:3]:
        assert plan_of({**changes, "part.knurled_diameter": knurled}).teeth == 67


def test_the_blanks_offered_for_two_diameters_that_disagree_can_be_knurled() -> None:
    changes = {"part.blank_diameter": TURNED, "part.knurled_diameter": 26.0}
    accept = {"process.accept": ["does-not-track"]}
    refusal = refusals_of({**changes, **accept})["diameters-disagree"]
    for blank in re.findall(r"a blank between (\S+) mm and (\S+) mm", refusal.message)[0]:
        plan_of({**changes, **accept, "part.blank_diameter": float(blank)})


def test_the_blank_tolerance_of_a_standard_diametral_pitch_is_the_handbooks() -> None:
    # 96 DP: +-0.0010 in, Machinery's Handbook, 31st ed., p. 1059, Table 4 (seen)
    changes = {"knurl.callout": "96 DP straight", **GIVEN_BLANK, "part.blank_diameter": "1 in"}
    plan = plan_of(changes)
    assert plan.blank_tolerance_mm == pytest.approx(0.0254)
    assert plan.teeth == 96
    # knurled, class I: +0.004 -0.010 in, same table (seen)
    assert plan.knurled_limits_mm == pytest.approx((0.1016, -0.254))
    assert plan_of().knurled_limits_mm is None


def test_a_press_fit_takes_the_closer_class_of_a_diametral_pitch() -> None:
    # class III: +0.000 -0.005 in, Machinery's Handbook, Table 4, from memory
    plan = plan_of({"knurl.callout": "96 DP straight", "knurl.purpose": "press fit"})
    assert plan.knurled_limits_mm == pytest.approx((0.0, -0.127))


def test_blanks_near_a_diameter_are_whole_tooth_counts_around_it() -> None:
    knurl = knurl_geometry("RAA", "pitch", 1.0)
    found = blanks_near(knurl, 25.0, 5)
    assert [c.teeth for c in found] == [77, 78, 79, 80, 81]
    # 78 teeth: 24.828 mm, full form 25.328 (DIN 82 factor 0.5, from memory)
    assert found[1].blank_diameter_mm == pytest.approx(24.828, abs=0.0005)
    assert found[1].knurled_diameter_mm == pytest.approx(25.328, abs=0.0005)


def test_the_odd_blank_out_lies_below_because_stock_is_turned_smaller() -> None:
    knurl = knurl_geometry("RAA", "pitch", 1.0)
    assert [c.teeth for c in blanks_near(knurl, 25.0, 2)] == [77, 78] or [
        c.teeth for c in blanks_near(knurl, 25.0, 2)
    ] == [78, 79]
    assert [c.teeth for c in blanks_near(knurl, 0.1, 3)] == [1, 2, 3]
