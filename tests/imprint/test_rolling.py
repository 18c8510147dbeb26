"""How rolls run round the work: which track they fall into, and which they cut beside it."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knurlcam import CannotBeDoneError
from knurlcam.imprint.rolling import Course, Rolling, Stay
from knurlcam.imprint.stays import LONGEST_DWELL, stays_on_work
from knurlcam.imprint.tracks import roll_on
from knurlcam.mechanics.loads import wedge_width
from tests.support.imprints import STRAIGHT, Made

CLOSES = 78.0 / math.pi
"""A blank on which 78 teeth of 1 mm close."""


@cache
def straight() -> Made:
    return Made({**STRAIGHT, "part.blank_diameter": CLOSES})


def rolled(
    misfit: float, depths: list[float], *, capture: float = 1.0, turns: int | None = None
) -> Course:
    """Return the course of rolls that stand so deep after each turn, on a blank so far off."""
    blank = (78.0 + misfit) / math.pi
    rolling = Rolling(straight().plan, blank, stiff=True, capture=capture)
    at = np.arange(len(depths) + 1.0)
    deep = np.array([0.0, *depths])
    left = np.full(len(at), -20.0)
    stay = Stay(at, left, deep, deep)
    return roll_on(rolling, [stay])


def phases(course: Course) -> list[float]:
    """Return where each turn starts [teeth]"""
    return [course.tracks[turn.track].phase for turn in course.turns]


def test_a_blank_that_closes_has_one_track() -> None:
    course = rolled(0.0, [0.05, 0.1, 0.15, 0.15])
    assert phases(course) == [0.0] * 4
    assert course.settled == 1
    assert course.closing_teeth == 78


def test_half_a_tooth_over_makes_two_tracks_for_ever() -> None:
    course = rolled(0.5, [0.1, 0.2, 0.25] + [0.25] * 9)
    assert phases(course)[:6] == pytest.approx([0.0, 0.5] * 3)
    assert len(course.last_tracks) == 2
    assert course.closing_teeth == 157


@pytest.mark.parametrize("misfit", [1 / 3, -1 / 3])
def test_a_third_of_a_tooth_makes_three_tracks(misfit: float) -> None:
    course = rolled(misfit, [0.1, 0.2, 0.2] + [0.2] * 12)
    assert len(course.last_tracks) == 3
    assert course.closing_teeth == round(3 * (78 + misfit))


def test_the_depth_of_the_first_turn_decides() -> None:
    """The mouth of a print is as wide as a wedge and its lips: 2.84 times its depth at 90 degrees.

    Half of it either way, as computed from Hill, Lee and Tupper (1947).
    """
    assert wedge_width(90.0) == pytest.approx(2.839, abs=0.001)
    misfit = 0.1
    enough = misfit / (2.839 / 2.0)
    assert rolled(misfit, [enough * 1.01] * 6).settled == 1
    assert rolled(misfit, [enough * 0.99] * 6).settled != 1


def test_the_capture_is_the_one_parameter() -> None:
    misfit, depth = 0.1, 0.05
    assert rolled(misfit, [depth] * 3, capture=1.0).settled is None
    assert rolled(misfit, [depth] * 3, capture=2.0).settled == 1


def test_rolls_that_go_deeper_fall_in_later_and_leave_a_print_beside_the_track() -> None:
    course = rolled(0.1, [0.05, 0.1, 0.15, 0.2, 0.2])
    assert phases(course) == pytest.approx([0.0, 0.1, 0.1, 0.1, 0.1])
    assert course.settled == 2
    assert course.closing_teeth == 78


def test_a_creep_is_spread_over_the_turn_before() -> None:
    course = rolled(0.05, [0.1] * 4)
    assert course.natural_teeth == pytest.approx(78.05)
    assert [course.tracks[t.track].teeth for t in course.turns] == pytest.approx([78.0] * 4)


@settings(max_examples=150, deadline=None)
@given(
    st.floats(-0.5, 0.5),
    st.floats(0.001, 0.1),
    st.integers(1, 60),
)
def test_turns_join_and_creep_no_more_than_the_reach(
    misfit: float, step: float, turns: int
) -> None:
    """Where a turn ends the next begins, and nothing falls in from farther than it can."""
    deep = [min(0.25, step * (i + 1)) for i in range(turns)]
    course = rolled(misfit, deep)
    assert len(course.turns) == turns
    reach = wedge_width(90.0) / 2.0 * max(deep)
    for turn, following in pairwise(course.turns):
        track, then = course.tracks[turn.track], course.tracks[following.track]
        gap = (track.phase + track.teeth - then.phase + 0.5) % 1.0 - 0.5
        assert gap == pytest.approx(0.0, abs=1e-6)
        assert abs(track.teeth - course.natural_teeth) <= reach + 1e-9
    # Tracks that are cut beside each other lie farther apart than the first one reaches.
    first = wedge_width(90.0) / 2.0 * deep[0]
    starts = sorted({round(t.phase, 9) for t in course.tracks})
    for one, other in pairwise(starts):
        assert other - one >= first - 1e-6


def test_rolls_that_come_back_start_beside_their_track() -> None:
    plan = straight().plan
    at, deep = np.arange(4.0), np.array([0.0, 0.05, 0.05, 0.05])
    stay = Stay(at, np.full(4, -20.0), deep, deep)
    worst = roll_on(Rolling(plan, CLOSES, stiff=True), [stay, stay])
    assert sorted({round(p, 6) for p in phases(worst)}) == [0.0, 0.5]
    kind = roll_on(Rolling(plan, CLOSES, stiff=True, return_teeth=0.05), [stay, stay])
    assert {round(p, 6) for p in phases(kind)} == {0.0}


def test_rolls_do_not_fall_into_a_track_that_is_elsewhere_on_the_work() -> None:
    plan = straight().plan
    at, deep = np.arange(4.0), np.array([0.0, 0.05, 0.05, 0.05])
    here = Stay(at, np.full(4, -20.0), deep, deep)
    there = Stay(at, np.full(4, -40.0), deep, deep)
    course = roll_on(Rolling(plan, CLOSES, stiff=True, return_teeth=0.05), [here, there])
    assert phases(course)[3:] == pytest.approx([0.05] * 3)


# -- from the motion --------------------------------------------------------------------------


def test_the_rolls_touch_where_the_blank_is_and_leave_where_it_ends() -> None:
    made = Made({})
    rolling = Rolling(made.plan, made.plan.blank_diameter_mm, stiff=True)
    (stay,) = stays_on_work(rolling, made.line)
    assert stay.at_left_mm[0] == pytest.approx(0.0, abs=1e-9)
    assert stay.at_left_mm[-1] == pytest.approx(0.0, abs=1e-9)
    assert stay.at_left_mm.max() == pytest.approx(made.plan.penetration_mm, abs=0.0005)
    assert (np.diff(stay.turns) >= 0.0).all()
    assert stay.left_mm.min() == pytest.approx(-20.0)
    assert stay.left_mm.max() == pytest.approx(-10.0 / 3.0, abs=0.001)


def test_turns_are_those_of_the_plan() -> None:
    """Infeeds at 0.05 mm/rev, dwells of two turns, traverses at 0.5 mm/rev."""
    made = Made({})
    plan = made.plan
    rolling = Rolling(plan, plan.blank_diameter_mm, stiff=True)
    (stay,) = stays_on_work(rolling, made.line)
    travel = sum(abs(p.z_end_mm - p.z_start_mm) for p in plan.passes) / plan.feed_mm_per_rev
    slide = plan.contact.touch_mm - plan.contact.centre_mm(plan.penetration_mm)
    # in by infeed, out by feed
    infeeds = slide / plan.infeed_mm_per_rev
    dwells = 2.0 * sum(p.presses for p in plan.passes)
    assert stay.turns[-1] == pytest.approx(travel + infeeds + dwells, abs=2.5)


def test_a_blank_that_is_smaller_is_met_later() -> None:
    made = Made({})
    plan = made.plan
    smaller = Rolling(plan, plan.blank_diameter_mm - 0.1, stiff=True)
    (stay,) = stays_on_work(smaller, made.line)
    assert stay.at_left_mm.max() == pytest.approx(plan.penetration_mm - 0.05, abs=0.0005)


def test_work_that_gives_way_gives_way_as_much_on_a_wider_blank_met_as_deep() -> None:
    plan = Made({}).plan
    planned = Rolling(plan, plan.blank_diameter_mm)
    wider = Rolling(plan, plan.blank_diameter_mm + 0.1)
    for x, z in ((24.3, -20.0), (24.4, -12.0)):
        depth = planned.edges_mm(x, z)
        # The slide stands farther out by what the blank is wider, towards the roll centres.
        centre = x / 2.0 + plan.contact.datum_shift_mm
        apart = math.hypot(centre, plan.contact.half_spacing_mm) + 0.05
        out = math.sqrt(apart**2 - plan.contact.half_spacing_mm**2) - plan.contact.datum_shift_mm
        assert wider.edges_mm(2.0 * out, z) == pytest.approx(depth, abs=1e-9)


def test_a_long_dwell_is_followed_only_so_far() -> None:
    dwelling = Made({}, (r"(?m)(G04 X)[0-9.]+", r"\g<1>9000."))
    rolling = Rolling(dwelling.plan, dwelling.plan.blank_diameter_mm, stiff=True)
    (stay,) = stays_on_work(rolling, dwelling.line)
    assert stay.turns[-1] < 200 + 5 * LONGEST_DWELL


def test_rolls_that_only_press_on_work_that_stands_still_print_nothing() -> None:
    made = Made({}, (r"M03", "M05"))
    rolling = Rolling(made.plan, made.plan.blank_diameter_mm, stiff=True)
    with pytest.raises(CannotBeDoneError, match="never-touches"):
        roll_on(rolling, stays_on_work(rolling, made.line))


def test_a_pivoting_head_goes_in_by_its_cosine() -> None:
    made = Made({})
    plan = made.plan
    rolling = Rolling(plan, plan.blank_diameter_mm, stiff=True)
    x = plan.passes[0].x_diameter_mm
    assert rolling.edges_mm(x, -20.0)[0] == pytest.approx(plan.passes[0].penetration_mm, abs=1e-9)
    assert replace(rolling, blank_diameter_mm=plan.blank_diameter_mm + 0.02).edges_mm(x, -20.0)[
        0
    ] == pytest.approx(plan.passes[0].penetration_mm + 0.01, abs=1e-9)
