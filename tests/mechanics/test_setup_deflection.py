"""How far the work deflects in a set-up, against printed beams and the worst of many places."""

from __future__ import annotations

import math
from typing import Any

import pytest

from tests.support.loads import (
    CHUCK,
    CHUCK_AND_CENTRE,
    LONG,
    PLUNGED,
    SINGLE,
    STRADDLE,
    deflection_in,
    deflection_of,
    plan_of,
)


def test_the_deflection_is_push_times_the_printed_beam_formula() -> None:
    # Hicks, Civil Engineering Formulas (2002), Fig. 2.2, case 2: W a^2 b^2 / (3 E I L)
    plan = plan_of(LONG)
    made = deflection_in(plan)
    length, d = 200.0, plan.blank_diameter_mm
    a = length + made.z_mm
    flexure = 70_300.0 * math.pi * d**4 / 64.0  # E of 6082-T6 in the material table
    by_hand = made.resultant_n * a**2 * (length - a) ** 2 / (3.0 * flexure * length)
    assert made.max_mm == pytest.approx(by_hand, rel=1e-9)
    assert made.z_mm == pytest.approx(-100.0, abs=0.5), "the middle between the centres"


def test_work_in_a_chuck_deflects_most_at_its_end() -> None:
    made = deflection_of(CHUCK)
    assert made.z_mm == pytest.approx(-5.0, abs=0.01), "the whole face, nearest to the end"


@pytest.mark.parametrize("changes", [{}, CHUCK, CHUCK_AND_CENTRE, LONG])
def test_depth_uniformity_is_the_least_over_the_greatest_penetration(
    changes: dict[str, Any],
) -> None:
    made = deflection_of(changes)
    depths = [place.penetration_mm for place in made.curve(400)]
    assert made.evenness == pytest.approx(min(depths) / max(depths), abs=2e-3)
    assert made.lost_mm == pytest.approx(made.set_up.penetration_mm - min(depths), abs=2e-4)
    low, high = made.evenness_range
    assert low < made.evenness < high


def test_the_deflection_rises_as_physics_demands() -> None:
    # Twice as long between centres with the knurl in the same place of it: eight times.
    short = deflection_of({"part.length": 80.0, "knurl.length": 55.0})
    long = deflection_of({"part.length": 160.0, "knurl.length": 110.0})
    push = [deflection_of({"part.length": n}).resultant_n for n in (80.0, 160.0)]
    assert push[0] == push[1]
    assert long.max_mm / short.max_mm == pytest.approx(8.0, rel=1e-3)
    assert long.evenness < short.evenness


def test_a_straddle_loses_nothing_at_full_depth() -> None:
    made = deflection_of({**LONG, **STRADDLE})
    assert made.max_mm == pytest.approx(0.0, abs=1e-9)
    assert made.evenness == pytest.approx(1.0, abs=1e-9)


def test_a_plunge_leaves_the_tilt_of_the_work_in_the_knurl() -> None:
    made = deflection_of({**CHUCK, **PLUNGED, **SINGLE})
    work = made.work
    edges = work.edges_mm(work.contact.centre_mm(made.set_up.penetration_mm), -10.0)
    assert made.evenness == pytest.approx(edges[1] / edges[0])
    assert 0.5 < made.evenness < 0.99


def test_stepped_work_is_as_stiff_as_its_pieces() -> None:
    thin = {"part.steps": "25 x 20, 12 x 50"}
    thick = {"part.steps": "25 x 20, 40 x 50", "process.accept": ["near-shoulder"]}
    plain = deflection_of().max_mm
    assert deflection_of(thin).max_mm > 4.0 * plain
    assert deflection_of(thick).max_mm < plain
    same = deflection_of({"part.steps": "24.65 x 20, 24.65 x 50"}).max_mm
    assert same == pytest.approx(plain, rel=0.02)


@pytest.mark.parametrize(
    "changes",
    [{}, CHUCK, CHUCK_AND_CENTRE, LONG, {**LONG, **SINGLE}, {"part.steps": "25 x 30, 18 x 40"}],
)
def test_a_traverse_loses_no_more_than_its_bound(changes: dict[str, Any]) -> None:
    made = deflection_of(changes)
    assert made.set_up.traverses
    assert 0.0 < made.lost_mm <= made.most_lost_mm


def test_on_its_way_a_traverse_presses_a_strip_of_one_feed_only() -> None:
    # By hand: the share that touches, over one feed, in the arc of the first pass.
    plan = plan_of({**LONG, **SINGLE})
    made = deflection_in(plan)
    pressing, step = made.set_up.pressing, plan.passes[0].penetration_mm
    arc = math.sqrt(2.0 * step * pressing.reduced_radius_mm)
    by_hand = pressing.pressure_mpa * pressing.strip_per_mm * plan.penetration_mm * 0.5 * arc
    assert made.resultant_n == pytest.approx(by_hand, rel=1e-9)
    half = deflection_of({**LONG, **SINGLE, "process.feed": 0.25})
    assert half.max_mm == pytest.approx(made.max_mm / 2.0)


def test_while_they_are_fed_in_the_whole_face_presses() -> None:
    made = deflection_of(LONG)
    assert made.fed.z_mm == pytest.approx(-115.0), "the end of the knurl, near the middle"
    share = made.set_up.loads.net_push_n / made.resultant_n
    there = made.work.deflection_mm(made.set_up.penetration_mm, -120.0)
    assert made.fed.deflection_mm == pytest.approx(share * there)


def test_likely_deflection_lies_within_its_range() -> None:
    for changes in (LONG, {**CHUCK, **PLUNGED, **SINGLE}):
        made = deflection_of(changes)
        low, high = made.max_range_mm
        assert 0.0 < low < made.max_mm < high
