"""What make_plan decides, recommends, refuses and remarks."""

from __future__ import annotations

import inspect
import itertools
import json
import math
import re
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knurlcam import CannotBeDoneError, Job, Plan, lay_out, make_plan, read_program, write_program
from knurlcam.data.caches import clear_caches
from knurlcam.data.codes import ACCEPTABLE
from knurlcam.gcode.dialect_files import dialect_names
from knurlcam.mechanics.knurl import blanks_near, knurl_geometry
from knurlcam.mechanics.passes import spindle_speed
from knurlcam.mechanics.tooth import penetration
from knurlcam.mechanics.tracking import blank_diameter
from knurlcam.plan import (
    advice,
    diameters,
    fitting,
    following,
    passes,
    planner,
    process,
    surroundings,
    tooling,
    zone,
)
from knurlcam.plan.remarks import Choice
from tests.support.jobs import REMOVE, base_job

SINGLE = {"tool.style": "single roll", "tool.roll_spacing": REMOVE}
SLENDER = {
    "part.knurled_diameter": 16.0,
    "part.length": 150.0,
    "knurl.length": 100.0,
    "holding.centre_diameter": 3.0,
}
STRADDLE = {"tool.style": "straddle", "tool.roll_spacing": REMOVE}
STYLES: dict[str, dict[str, Any]] = {
    "single roll": {**SINGLE, "knurl.callout": "DIN 82 RAA 1.0"},
    "knuckle joint": {},
    "revolving head": {"tool.style": "revolving head"},
    "straddle": STRADDLE,
}
GIVEN_BLANK = {"part.knurled_diameter": REMOVE}
TURNED = 67 * (1.0 / math.cos(math.radians(30))) / math.pi
"""Blank on which 67 teeth of RGE 1.0 close: 24.626 mm."""
PITS = {
    **SINGLE,
    "knurl.callout": "DIN 82 RGV 1.0",
    "knurl.length": 10.0,
    "part.knurled_diameter": 25.25,
}
PIN = {
    **SINGLE,
    "part.material": "C45",
    "part.knurled_diameter": REMOVE,
    "knurl.callout": "DIN 82 RAA 0.5",
    "knurl.purpose": "press fit",
    "knurl.length": 10.0,
    "holding.centre_diameter": REMOVE,
    "fit": {"bore": 12.0, "hub_diameter": 24.0, "hub_material": "aluminium 6082-T6"},
}
OWN = {"name": "own steel", "yield_strength": "300 MPa", "turning_speed": "20 m/min"}


def plan_of(changes: dict[str, Any] | None = None, **more: Any) -> Plan:
    return make_plan(Job.model_validate(base_job(changes, **more)))


def refusals_of(changes: dict[str, Any]) -> dict[str, Any]:
    with pytest.raises(CannotBeDoneError) as error:
        plan_of(changes)
    return {r.code: r for r in error.value.refusals}


def notes_of(plan: Plan) -> dict[str, Any]:
    return {n.code: n for n in plan.notes}


def choice_of(plan: Plan, key: str) -> Choice:
    (found,) = [c for c in plan.choices if c.key == key]
    return found


# -- blank and tooth -----------------------------------------------------------


def test_the_example_job_closes_67_teeth_at_0_7_of_the_full_height() -> None:
    plan = plan_of()
    assert plan.teeth == 67
    assert plan.blank_diameter_mm == pytest.approx(TURNED)
    assert plan.fullness == pytest.approx(0.698, abs=0.001)
    assert plan.misfit_teeth == 0.0


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
        if abs(math.pi * (diameter - growth) / pitch - teeth) < 0.01 and step >= 600:
            found.append((abs(step / 1000 - wanted), teeth))
    assert plan.teeth == min(found)[1]
    assert 0.6 <= plan.fullness <= 1.0


FINE = {
    **SINGLE,
    "knurl.callout": "DIN 82 RAA 0.5",
    "holding.centre_diameter": REMOVE,
    "knurl.length": 8.0,
}


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
    # 67 teeth are full at 24.959 mm and pits of 0.5 fullness stand 0.042 mm proud
    plan = plan_of({**PITS, "part.knurled_diameter": TURNED + 0.03, "process.fullness": 1.0})
    assert plan.teeth == 67
    assert 0.3 <= plan.fullness < 0.6
    note = notes_of(plan)["shallow"]
    assert note.severity == "warning"
    assert f"{plan.fullness:.2f}" in note.message
    assert plan.fullness == max(c.fullness for c in plan.candidates)


def test_a_diameter_in_the_window_is_not_called_shallow() -> None:
    assert "shallow" not in notes_of(plan_of())


def named_diameters(message: str) -> list[float]:
    return [float(d) for d in re.findall(r"(\d+\.\d+) (?:mm|in) (?:below|above)", message)]


def test_where_no_tooth_count_closes_the_nearest_diameters_that_can_are_named() -> None:
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


IN_INCH = {
    "units": "inch",
    "part.length": "70 mm",
    "knurl.length": "10 mm",
    "tool.roll_diameter": "20 mm",
    "tool.face_width": "10 mm",
    "machine.safe_z": "50 mm",
}


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
    plan = plan_of({**GIVEN_BLANK, "part.blank_diameter": blank})
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
    assert plan_of({**GIVEN_BLANK, "part.blank_diameter": TURNED}).fullness == 0.95


def test_two_diameters_that_agree_give_the_fullness() -> None:
    plan = plan_of({"part.blank_diameter": TURNED})
    assert plan.fullness == pytest.approx(plan_of().fullness)
    assert choice_of(plan, "process.fullness").origin == "computed"
    assert "fullness-not-used" not in notes_of(plan)


def test_a_wanted_fullness_that_two_diameters_do_not_allow_is_remarked_on() -> None:
    plan = plan_of({"part.blank_diameter": TURNED, "process.fullness": 0.9})
    assert "0.698" in notes_of(plan)["fullness-not-used"].message
    assert plan.fullness == pytest.approx(0.698, abs=0.001)


@pytest.mark.parametrize("knurled", [TURNED + 0.17, TURNED + 0.6666])
def test_two_diameters_may_need_any_fullness_from_0_3_to_1(knurled: float) -> None:
    plan = plan_of({"part.blank_diameter": TURNED, "part.knurled_diameter": knurled})
    assert 0.3 <= plan.fullness <= 1.0


@pytest.mark.parametrize(
    "grown", [-1.0, 0.0, 0.0001, 0.668, 1.0], ids=["smaller", "same", "thin", "fat", "huge"]
)
def test_two_diameters_outside_it_are_refused_with_the_range(grown: float) -> None:
    changes = {"part.blank_diameter": TURNED, "part.knurled_diameter": TURNED + grown}
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


# -- strategy and zone ---------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "strategy"),
    [
        ({}, "traverse"),
        ({"knurl.length": 10.0}, "plunge"),
        ({"knurl.length": 8.0}, "plunge"),
        ({"knurl.length": 10.1}, "traverse"),
        ({"knurl.length": 8.0, "process.strategy": "traverse"}, "traverse"),
        (PITS, "plunge"),
        ({**SINGLE, "knurl.length": 10.0}, "plunge"),
    ],
)
def test_plunging_is_the_default_where_the_rolls_are_wide_enough(
    changes: dict[str, Any], strategy: str
) -> None:
    assert plan_of(changes).strategy == strategy


def test_a_diamond_in_a_one_roll_holder_takes_a_roll_with_pits() -> None:
    assert plan_of({**SINGLE, "knurl.length": 10.0}).rolls == ("GV",)
    assert plan_of().rolls == ("BL", "BR")


SHIFTS = {"left edge": 0.0, "centre": 5.0, "right edge": 10.0}


@pytest.mark.parametrize(("datum", "shift"), SHIFTS.items())
def test_z_says_where_the_datum_of_the_rolls_stands(datum: str, shift: float) -> None:
    plan = plan_of({"tool.z_datum": datum})
    ends = [(p.z_start_mm, p.z_end_mm) for p in plan.passes]
    # a third of the 10 mm face on the work, the line at -20, a third over the end
    entry, line, turn = -10 / 3 + shift, -20 + shift, 10 / 3 - 10 + shift
    wanted = [(entry, line), (line, turn), (turn, line), (line, turn), (turn, line)]
    assert ends == [pytest.approx(pair) for pair in wanted]


@pytest.mark.parametrize(("datum", "shift"), SHIFTS.items())
def test_a_plunge_stands_with_its_left_edge_on_the_line(datum: str, shift: float) -> None:
    plan = plan_of({"knurl.length": 8.0, "tool.z_datum": datum})
    (only,) = plan.passes
    assert (only.direction, only.z_start_mm, only.z_end_mm) == ("plunge", -8 + shift, -8 + shift)
    assert plan.line_mm == -8.0
    assert plan.right_limit_mm == 2.0


def test_bevelled_rolls_stay_inside_a_zone_that_starts_away_from_the_end() -> None:
    plan = plan_of({"knurl.start": 5.0, "tool.bevelled_rolls": True})
    left = [z for p in plan.passes for z in (p.z_start_mm, p.z_end_mm)]
    assert min(left) == -25.0
    assert max(left) + 10.0 == -5.0
    assert notes_of(plan)["bevelled-rolls"].severity == "note"


def test_an_accepted_short_traverse_returns_to_where_it_entered() -> None:
    changes = {"knurl.length": 5.0, "process.strategy": "traverse"}
    plan = plan_of({**changes, "process.accept": ["traverse-too-short"]})
    assert plan.passes[1].z_end_mm == plan.passes[0].z_start_mm == pytest.approx(-10 / 3)
    # no wider than a third of the face: not even the entry fits
    refusal = refusals_of({**changes, "knurl.length": 3.0})["traverse-too-short"]
    assert not refusal.acceptable


# -- passes --------------------------------------------------------------------


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


def test_a_fine_knurl_takes_no_more_passes_than_a_control_can_tell_apart() -> None:
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


# -- speed and feed ------------------------------------------------------------


def speed_of(**changes: Any) -> tuple[float, str]:
    keys = {k.replace("__", "."): v for k, v in changes.items()}
    plan = plan_of({"process.spindle_speed": REMOVE, "part.material": OWN, **keys})
    return plan.spindle_rpm, choice_of(plan, "process.spindle_speed").why


def test_the_recommended_speed_is_half_the_turning_speed() -> None:
    rpm, why = speed_of()
    assert rpm == pytest.approx(spindle_speed(10.0, TURNED))
    assert "half the turning speed of own steel" in why


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


def test_feed_and_infeed_are_half_a_millimetre_and_a_twentieth_unless_given() -> None:
    plan = plan_of()
    assert (plan.feed_mm_per_rev, plan.infeed_mm_per_rev) == (0.5, 0.05)
    plan = plan_of({"process.feed": 0.6, "process.infeed_rate": 0.02})
    assert (plan.feed_mm_per_rev, plan.infeed_mm_per_rev) == (0.6, 0.02)


# -- origin --------------------------------------------------------------------

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


@pytest.mark.parametrize("key", GIVEN)
def test_each_figure_says_whether_it_was_given_or_recommended_and_why(key: str) -> None:
    given_one = choice_of(plan_of({**LEFT_OUT, key: GIVEN[key]}), key)
    left_out = choice_of(plan_of(LEFT_OUT), key)
    assert given_one.origin == "given"
    assert left_out.origin == "recommended"
    assert given_one.why
    assert left_out.why not in ("", given_one.why)


def test_a_given_fullness_and_trial_length_are_told_as_given() -> None:
    plan = plan_of({"process.fullness": 0.9, "process.trial_strip": True})
    assert choice_of(plan, "process.fullness").origin == "given"
    assert choice_of(plan, "process.trial_length").origin == "recommended"
    assert choice_of(plan_of(), "process.fullness").origin == "recommended"


def test_no_figure_is_told_twice() -> None:
    for changes in (*STYLES.values(), PITS, {"part.blank_diameter": TURNED}):
        keys = [c.key for c in plan_of(changes).choices]
        assert sorted(keys) == sorted(set(keys))


# -- refusals ------------------------------------------------------------------

REFUSALS: list[tuple[str, str, dict[str, Any], str]] = [
    # code, key to change first, job, numbers and remedy that the message must hold
    (
        "does-not-track",
        "part.blank_diameter",
        {**GIVEN_BLANK, "part.blank_diameter": 24.5},
        r"24\.500 mm takes 66\.66 teeth, 0\.34 of a tooth.*turn it to 24\.258 mm",
    ),
    (
        "diameters-disagree",
        "part.knurled_diameter",
        {"part.blank_diameter": TURNED, "part.knurled_diameter": 26.0},
        r"between 24\.708 mm and 25\.292 mm, not to 26\.000 mm; give one",
    ),
    (
        "no-whole-tooth-count",
        "part.knurled_diameter",
        {**PITS, "part.knurled_diameter": 24.98},
        r"24\.980 mm .* 24\.959 mm below .* 25\.003 mm above .*change the diameter or the pitch",
    ),
    (
        "no-rolls-for-form",
        "tool.style",
        {"knurl.callout": "DIN 82 RGV 1.0", "part.knurled_diameter": 25.25},
        r"knuckle joint has no rolls that make form RGV; it takes GE in a one-roll holder",
    ),
    (
        "straddle-too-small",
        "tool.largest_gap",
        {**STRADDLE, "tool.largest_gap": 20.0},
        r"set 24\.302 mm apart .* 20\.000 mm only; take a larger straddle",
    ),
    (
        "rolls-too-far-apart",
        "tool.roll_spacing",
        {"tool.roll_spacing": 60.0},
        r"60\.000 mm apart .* 24\.626 mm; the spacing must be below 44\.\d+ mm: take a smaller",
    ),
    (
        "plunge-only-rolls",
        "process.strategy",
        {**PITS, "process.strategy": "traverse"},
        r"cannot traverse; plunge with rolls at least 10\.000 mm wide",
    ),
    (
        "plunge-only-rolls",
        "process.strategy",
        {**PITS, "process.strategy": "traverse", "knurl.length": 20.0},
        r"rolls at least 20\.000 mm wide, or make the knurl no wider than 10\.000 mm",
    ),
    (
        "plunge-only-rolls",
        "tool.face_width",
        {**PITS, "knurl.length": 20.0},
        r"10\.000 mm wide cannot plunge a knurl of 20\.000 mm; take rolls at least 20\.000 mm",
    ),
    (
        "rolls-too-narrow",
        "tool.face_width",
        {"process.strategy": "plunge"},
        r"10\.000 mm wide cannot plunge a knurl of 20\.000 mm; .*, or traverse",
    ),
    (
        "marks-outside",
        "tool.face_width",
        {"knurl.start": 5.0, "knurl.length": 6.0},
        r"10\.000 mm wide print 4\.000 mm beyond a knurl of 6\.000 mm.*take rolls 6\.000 mm",
    ),
    (
        "needs-bevelled-rolls",
        "tool.bevelled_rolls",
        {"knurl.start": 5.0},
        r"starts 5\.000 mm from the end .*take bevelled rolls",
    ),
    (
        "no-travel",
        "process.strategy",
        {
            "knurl.start": 5.0,
            "knurl.length": 10.0,
            "process.strategy": "traverse",
            "tool.bevelled_rolls": True,
        },
        r"10\.000 mm wide have no room to traverse in 10\.000 mm: plunge",
    ),
    (
        "traverse-too-short",
        "process.strategy",
        {"knurl.length": 6.5, "process.strategy": "traverse"},
        r"6\.500 mm is not wider .* \(6\.667 mm\).*plunge instead, or take .* 9\.750 mm",
    ),
    (
        "above-machine-limit",
        "process.spindle_speed",
        {"process.spindle_speed": 2500},
        r"2500 rev/min is above the machine's limit of 2000 rev/min; lower it",
    ),
    (
        "above-reversal-limit",
        "process.spindle_speed",
        {"process.spindle_speed": 151},
        r"151 rev/min is above the 150 rev/min .*lower it to 150 rev/min",
    ),
    (
        "feed-above-half-face",
        "process.feed",
        {"process.feed": 6.0},
        r"6\.000 mm/rev is above half .*take 5\.000 mm/rev or less",
    ),
    (
        "trial-needs-passes",
        "process.passes",
        {"knurl.length": 8.0, "process.trial_strip": True, "process.passes": 1},
        r"take 2 passes or more",
    ),
    (
        "passes-too-many",
        "process.passes",
        {"process.passes": 50},
        r"last of 50 passes .* 0\.001 mm on the diameter, .*take \d+ or fewer",
    ),
    (
        "trial-too-long",
        "process.trial_length",
        {"process.trial_strip": True, "process.trial_length": 17.0},
        r"17\.000 mm reaches the end of the knurl, 16\.667 mm away; make it shorter",
    ),
    (
        "safe-x-inside",
        "machine.safe_x",
        {"machine.safe_x": 28.0},
        r"28\.000 mm is inside the clearance, X 28\.627 mm; raise it",
    ),
    (
        "past-the-chuck",
        "knurl.length",
        {"part.length": 15.0},
        r"20\.000 mm from the end, past the driven centre at 15\.000 mm; shorten it to 13\.000 mm",
    ),
    (
        "past-the-chuck",
        "knurl.length",
        {
            "part.length": 15.0,
            "holding.method": "chuck",
            "holding.tailstock": REMOVE,
            "holding.centre_diameter": REMOVE,
        },
        r"past the chuck at 15\.000 mm",
    ),
    (
        "past-the-chuck",
        "knurl.length",
        {"part.length": 25.0, "knurl.start": 24.0, "tool.bevelled_rolls": True},
        r"past the driven centre at 25\.000 mm; hold the work further out",
    ),
    (
        "meets-the-chuck",
        "knurl.length",
        {"part.length": 20.0},
        r"driven centre at 20\.000 mm; leave at least the clearance of 2\.000 mm",
    ),
    (
        "meets-the-centre",
        "holding.centre_diameter",
        {"holding.centre_diameter": 24.5},
        r"overhang the end by 6\.667 mm and reach in to a diameter of 24\.301 mm.*smaller centre",
    ),
    (
        "bends-the-work",
        "process.compensate",
        {**SLENDER, "process.compensate": True},
        r"about \d+ MPa, above its yield strength of 260 MPa: it stays bent; take narrower",
    ),
    (
        "safe-x-inside",
        "machine.safe_x",
        {"part.steps": "25 x 20, 130 x 50"},
        r"reach in to a diameter of 116\.377 mm, and a step has 130\.000 mm; raise it",
    ),
    (
        "steps-disagree",
        "part.steps",
        {"part.steps": "25 x 19, 30 x 51"},
        r"has 24\.626 mm, and the step from 19\.000 mm to 70\.000 mm has 30\.000 mm; give that",
    ),
    (
        "meets-a-shoulder",
        "part.steps",
        {
            "part.steps": "40 x 5, 25 x 8, 40 x 57",
            "knurl.start": 5.0,
            "knurl.length": 8.0,
            "process.accept": ["marks-outside"],
        },
        r"against the step of 40\.000 mm from 0\.000 mm to 5\.000 mm; take narrower rolls",
    ),
    (
        "fit-loose",
        "part.knurled_diameter",
        {**PIN, "part.knurled_diameter": 12.05},
        r"as small as 11\.975 mm and the bore as large as 12\.018 mm.* of 12\.\d+ mm would do",
    ),
    (
        "fit-too-tight",
        "part.knurled_diameter",
        {**PIN, "part.knurled_diameter": 13.0},
        r"bore, 12\.000 mm, is smaller than .* grooves, 12\.\d+ mm.* of 12\.\d+ mm would do",
    ),
    (
        "fit-cannot-hold",
        "fit.torque",
        {**PIN, "fit.torque": "500 N*m"},
        r"500 N\*m is wanted.*full shear.*more than about 1\d0 N\*m; make the knurl longer",
    ),
    (
        "fit-needs-modulus",
        "part.material.youngs_modulus",
        {**PIN, "part.material": OWN},
        r"own steel has no Young's modulus.*give it, such as youngs_modulus",
    ),
]
PROVOKED_ELSEWHERE = {"fit-needs-strength", "follows-too-long"}
"""In test_fit.py, with a table of the shop's own, and in test_stiffness.py."""


@pytest.mark.parametrize(("code", "key", "changes", "match"), REFUSALS)
def test_what_cannot_be_done_is_refused_with_numbers_and_a_way_out(
    code: str, key: str, changes: dict[str, Any], match: str
) -> None:
    refusal = refusals_of(changes)[code]
    assert refusal.key == key
    assert re.search(match, refusal.message), refusal.message
    assert refusal.source
    assert refusal.acceptable == (code in ACCEPTABLE)
    assert (f'process.accept = ["{code}"]' in refusal.message) == refusal.acceptable


STEPS = [advice, diameters, fitting, following, passes, planner, process, surroundings, tooling]
STEPS += [zone]


def codes_in(call: str) -> set[str]:
    """Return the codes that the planner's sources can say."""
    source = "".join(inspect.getsource(module) for module in STEPS)
    return set(
        re.findall(
            rf'(?:remarks|say)\.{call}\(\s*(?:"\w+",\s*)?"([a-z0-9]+(?:-[a-z0-9]+)+)"', source
        )
    )


def test_every_refusal_of_the_planner_is_provoked_here() -> None:
    assert codes_in("refuse") <= {code for code, *_ in REFUSALS} | PROVOKED_ELSEWHERE
    assert set(ACCEPTABLE) <= {code for code, *_ in REFUSALS}


@pytest.mark.parametrize("code", ACCEPTABLE)
def test_what_the_programmer_accepts_is_planned_and_noted_as_his(code: str) -> None:
    changes = next(c for row, _, c, _ in REFUSALS if row == code)
    plan = plan_of({**changes, "process.accept": [code]})
    assert plan.accepted == (code,)
    note = notes_of(plan)[code]
    assert note.severity == "error"
    assert note.message.startswith("accepted by the programmer: ")
    assert plan.notes[0].severity == "error", "the gravest remark comes first"


def test_accepting_one_refusal_does_not_accept_another() -> None:
    changes = {"knurl.start": 5.0, "process.spindle_speed": 200}
    assert set(refusals_of(changes)) == {"needs-bevelled-rolls", "above-reversal-limit"}
    left = refusals_of({**changes, "process.accept": ["above-reversal-limit"]})
    assert set(left) == {"needs-bevelled-rolls"}


def test_an_acceptance_that_is_not_needed_leaves_no_remark() -> None:
    assert plan_of({"process.accept": ["does-not-track"]}).accepted == ()


def test_every_reason_is_named_at_once() -> None:
    changes = {"process.spindle_speed": 2500, "process.feed": 6.0, "knurl.start": 5.0}
    codes = {"above-machine-limit", "feed-above-half-face", "needs-bevelled-rolls"}
    assert set(refusals_of(changes)) == codes
    with pytest.raises(CannotBeDoneError, match=r"\[above-machine-limit\]\n") as error:
        plan_of(changes)
    assert error.value.exit_status == 1


# -- what stands around --------------------------------------------------------


@pytest.mark.parametrize(
    ("length", "code"), [(21.9, "near-the-chuck"), (22.0, None), (20.1, "near-the-chuck")]
)
def test_a_line_within_the_clearance_of_the_chuck_is_warned_of(
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


def test_rolls_that_do_not_hang_over_the_end_need_no_room_there() -> None:
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


LIVE = {"holding.tailstock": "live centre"}
BRITTLE = {**OWN, "elongation": 2}
NOTES: list[tuple[str, str, dict[str, Any]]] = [
    ("shallow", "warning", {**PITS, "part.knurled_diameter": TURNED + 0.03}),
    ("fullness-not-used", "warning", {"part.blank_diameter": TURNED, "process.fullness": 0.9}),
    ("tracking-doubtful", "warning", {**GIVEN_BLANK, "part.blank_diameter": TURNED * 67.2 / 67}),
    ("feed-range", "warning", {"process.feed": 1.0}),
    ("near-the-chuck", "warning", {"part.length": 21.0}),
    ("centre-clearance", "note", {"holding.centre_diameter": REMOVE}),
    ("infeed-fast", "warning", {"process.infeed_rate": 0.4}),
    ("fit-wants-straight", "warning", {"knurl.purpose": "press fit"}),
    (
        "fit-wants-straight",
        "warning",
        {"knurl.purpose": "press fit", "knurl.callout": "RBL 1.0", "tool.rolls": ["BR", "BR"]},
    ),
    ("near-a-shoulder", "warning", {"part.steps": "25 x 21, 30 x 49"}),
    # What of one step is not under the knurl stands out beyond the blank of 24.626 mm.
    ("near-a-shoulder", "warning", {"part.steps": "25 x 70"}),
    ("fit-not-given", "note", {"knurl.purpose": "press fit"}),
    ("fit-estimate", "note", PIN),
    ("fit-poisson", "note", {**PIN, "fit.hub_material": {**OWN, "youngs_modulus": "200 GPa"}}),
    ("fit-short", "warning", {**PIN, "fit.torque": "20 N*m"}),
    ("hub-cracks", "warning", {**PIN, "part.knurled_diameter": 12.28}),
    ("crests-overfill", "warning", {**PIN, "part.knurled_diameter": 12.28}),
    ("wide-knurl", "warning", {"knurl.length": 26.0}),
    ("bevelled-rolls", "note", {"knurl.start": 5.0, "tool.bevelled_rolls": True}),
    ("lead-in", "note", {"process.trial_strip": True}),
    ("break-the-edge", "note", {}),
    ("grease-centre", "note", {}),
    ("live-centre", "warning", LIVE),
    ("live-centre", "note", {**LIVE, **STRADDLE}),
    (
        "chuck-alone",
        "warning",
        {
            "holding.method": "chuck",
            "holding.tailstock": REMOVE,
            "holding.centre_diameter": REMOVE,
        },
    ),
    ("odd-pitch", "note", {"knurl.callout": "DIN 82 RGE 0.9"}),
    ("odd-pitch", "note", {"knurl.callout": "100 DP diamond"}),
    ("prefer-96", "note", {"knurl.callout": "64 DP diamond"}),
    ("brittle", "warning", {"part.material": BRITTLE}),
    ("hard", "warning", {"part.material": {**OWN, "elongation": 12, "brinell": 300}}),
]


@pytest.mark.parametrize(("code", "severity", "changes"), NOTES)
def test_what_a_setter_should_know_is_remarked_on_with_its_source(
    code: str, severity: str, changes: dict[str, Any]
) -> None:
    note = notes_of(plan_of(changes))[code]
    assert note.severity == severity
    assert note.source


def test_every_remark_of_the_planner_is_provoked_here() -> None:
    assert codes_in("note") <= {code for code, *_ in NOTES}


def test_warnings_stand_before_notes() -> None:
    ranks = [n.severity for n in plan_of({"process.feed": 1.0, **LIVE}).notes]
    assert ranks == sorted(ranks, key=["error", "warning", "note"].index)


# -- plain data ----------------------------------------------------------------

KEYS = {
    "knurl",
    "teeth",
    "misfit_teeth",
    "blank_diameter_mm",
    "blank_tolerance_mm",
    "knurled_diameter_mm",
    "tooth_height_mm",
    "full_tooth_height_mm",
    "fullness",
    "penetration_mm",
    "rise_mm",
    "spindle_rpm",
    "feed_mm_per_rev",
    "strategy",
    "passes",
    "candidates",
    "notes",
    "time_s",
}
INNER = {
    "passes": {
        "number",
        "direction",
        "penetration_mm",
        "x_diameter_mm",
        "z_start_mm",
        "z_end_mm",
    },
    "candidates": {"teeth", "blank_diameter_mm", "fullness", "knurled_diameter_mm"},
    "notes": {"severity", "code", "message", "source"},
}


@pytest.mark.parametrize("style", STYLES)
def test_the_plain_data_has_the_keys_that_scripts_rely_on(style: str) -> None:
    data = json.loads(json.dumps(plan_of(STYLES[style]).to_dict(), allow_nan=False))
    assert set(data) >= KEYS
    assert set(data["knurl"]) >= {"form", "pitch_mm", "helix_deg", "profile_deg"}
    for name, keys in INNER.items():
        assert data[name]
        assert all(set(row) == keys for row in data[name])
    assert {p["direction"] for p in data["passes"]} <= {"headstock", "tailstock", "plunge"}
    assert {n["severity"] for n in data["notes"]} <= {"error", "warning", "note"}


def test_the_plain_data_holds_the_plans_own_figures_unrounded() -> None:
    plan = plan_of()
    data = json.loads(json.dumps(plan.to_dict()))
    for key in KEYS - {"knurl", "passes", "candidates", "notes", "full_tooth_height_mm"}:
        assert data[key] == getattr(plan, key)


TIMED: dict[str, dict[str, Any]] = {
    **STYLES,
    "plunge": {"knurl.length": 8.0},
    "trial": {"process.trial_strip": True},
    "plunged trial": {"process.trial_strip": True, "knurl.length": 8.0},
    # Feeds that an inch word of four places holds exactly.
    "inch": {
        "units": "inch",
        "process.feed": 0.02,
        "process.infeed_rate": 0.002,
        **{
            key: f"{base_job()[key.split('.')[0]][key.split('.')[1]]} mm"
            for key in (
                "part.knurled_diameter",
                "part.length",
                "knurl.length",
                "holding.centre_diameter",
                "tool.roll_diameter",
                "tool.face_width",
                "tool.roll_spacing",
                "machine.safe_x",
                "machine.safe_z",
            )
        },
    },
}


@pytest.mark.parametrize("kind", TIMED)
@pytest.mark.parametrize("post", dialect_names())
def test_the_time_is_that_of_the_motion_that_is_read_back(kind: str, post: str) -> None:
    plan = plan_of(TIMED[kind])
    machine = plan.job.machine
    motion = read_program(write_program(lay_out(plan), post), post)
    read = motion.duration_s(machine.rapid_rate, reference=(machine.safe_x, machine.safe_z))
    assert plan.time_s == pytest.approx(read, rel=1e-3)


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
    told = [str(outcome(job)) for job in (mm, inch, mm)]
    assert "15.000 mm from the end" in told[0] == told[2]
    assert "0.5906 in from the end" in told[1]
