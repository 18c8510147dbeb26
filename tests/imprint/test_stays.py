"""When the rolls are on the work, for how many turns, and how deep."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from knurlcam import CannotBeDoneError
from knurlcam.imprint.rolling import Rolling
from knurlcam.imprint.stays import LONGEST_DWELL, stays_on_work
from knurlcam.imprint.tracks import roll_on
from tests.support.imprints import STRAIGHT, Made
from tests.support.jobs import REMOVE

CLOSES = 78.0 / math.pi
"""A blank on which 78 teeth of 1 mm close."""


@cache
def straight() -> Made:
    return Made({**STRAIGHT, "part.blank_diameter": CLOSES})


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


def test_work_deflects_as_much_on_a_wider_blank_met_as_deep() -> None:
    plan = Made({}).plan
    planned = Rolling(plan, plan.blank_diameter_mm)
    wider = Rolling(plan, plan.blank_diameter_mm + 0.1)
    for x, z in ((24.3, -20.0), (24.4, -12.0)):
        depth = planned.edges_mm(x, z)
        # The slide stands farther out by what the blank is wider, towards the roll centres.
        centre = x / 2.0 + plan.contact.datum_shift_mm
        apart = math.hypot(centre, plan.contact.half_spacing_mm) + 0.05
        out = math.sqrt(apart**2 - plan.contact.half_spacing_mm**2) - plan.contact.datum_shift_mm
        # The two rolls then press in a little other directions.
        assert wider.edges_mm(2.0 * out, z) == pytest.approx(depth, rel=2e-4)


@pytest.mark.parametrize("stiff", [True, False])
@pytest.mark.parametrize("off", [-0.03, 0.03])
def test_a_straddle_presses_in_what_its_gap_leaves_of_a_blank(off: float, stiff: bool) -> None:
    plan = Made({"tool.style": "straddle", "tool.roll_spacing": REMOVE}).plan
    blank = plan.blank_diameter_mm + off
    depth = max(Rolling(plan, blank, stiff).edges_mm(0.0, -12.0))
    assert plan.gap_mm is not None
    assert depth == pytest.approx((blank - plan.gap_mm) / 2.0, abs=1e-4)


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
