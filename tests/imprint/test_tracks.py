"""How rolls run round the work: into which track they fall, and when they cut one beside it."""

from __future__ import annotations

import math
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knurlcam.imprint.rolling import Course, Rolling, Stay
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
    blank = (78.0 + misfit) / math.pi + (depths[0] if depths else 0.0)
    rolling = Rolling(straight().plan, blank, stiff=True, capture=capture)
    at = np.arange(len(depths) + 1.0)
    deep = np.array([0.0, *depths])
    left = np.full(len(at), -20.0)
    stay = Stay(at, left, deep, deep, deep)
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
    stay = Stay(at, np.full(4, -20.0), deep, deep, deep)
    worst = roll_on(Rolling(plan, CLOSES + 0.05, stiff=True), [stay, stay])
    assert sorted({round(p, 6) for p in phases(worst)}) == [0.0, 0.5]
    kind = roll_on(Rolling(plan, CLOSES + 0.05, stiff=True, return_teeth=0.05), [stay, stay])
    assert {round(p, 6) for p in phases(kind)} == {0.0}


def test_rolls_do_not_fall_into_a_track_that_is_elsewhere_on_the_work() -> None:
    plan = straight().plan
    at, deep = np.arange(4.0), np.array([0.0, 0.05, 0.05, 0.05])
    here = Stay(at, np.full(4, -20.0), deep, deep, deep)
    there = Stay(at, np.full(4, -40.0), deep, deep, deep)
    course = roll_on(Rolling(plan, CLOSES + 0.05, stiff=True, return_teeth=0.05), [here, there])
    assert phases(course)[3:] == pytest.approx([0.05] * 3)
