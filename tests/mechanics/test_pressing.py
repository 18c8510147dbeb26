"""What a turn of the work presses in: its limits, and the force between them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knurlcam.mechanics.loads import Prints
from knurlcam.mechanics.pressing import AFRESH, Bite, Fresh, Pressing

PRINTS: tuple[Prints, ...] = ("ridges", "crossing ridges", "points")


def pressing(fresh: Fresh = AFRESH, prints: Prints = "ridges") -> Pressing:
    return Pressing(545.5, 2.8393, prints, 5.5556, fresh)


@pytest.mark.parametrize("prints", PRINTS)
def test_a_plunge_that_feeds_in_nothing_takes_no_force(prints: Prints) -> None:
    forces = [
        pressing(Fresh(i, 0.0, 0.1), prints).roll_force_n(0.1, 10.0) for i in (0.0, 1e-8, 1e-6)
    ]
    assert forces[0] == 0.0
    assert forces[2] / forces[1] == pytest.approx(10.0), "with the root of the increment"


@pytest.mark.parametrize("prints", PRINTS)
@pytest.mark.parametrize(
    "fresh", [Fresh(0.0, 10.0, 0.1), Fresh(0.1, 0.0, 0.0), Fresh(1.0, 20.0, 9.0)]
)
def test_a_feed_as_wide_as_the_face_or_an_infeed_to_full_depth_presses_afresh(
    prints: Prints, fresh: Fresh
) -> None:
    afresh = pressing(prints=prints).roll_force_n(0.1, 10.0)
    assert pressing(fresh, prints).roll_force_n(0.1, 10.0) == pytest.approx(afresh, rel=1e-12)


@pytest.mark.parametrize("prints", PRINTS)
@given(
    fresh=st.builds(Fresh, st.floats(0.0, 0.2), st.floats(0.1, 1.0), st.floats(0.001, 0.2)),
    c=st.floats(1e-4, 0.25),
    face=st.floats(1.0, 20.0),
)
@settings(max_examples=40)
def test_the_force_rises_with_depth_and_never_above_that_of_pressing_afresh(
    prints: Prints, fresh: Fresh, c: float, face: float
) -> None:
    made = pressing(fresh, prints)
    assert 0.0 < made.roll_force_n(c, face) < made.roll_force_n(1.01 * c, face)
    afresh = pressing(prints=prints).roll_force_n(c, face)
    assert made.roll_force_n(c, face) <= afresh * (1.0 + 1e-12)


@pytest.mark.parametrize("prints", PRINTS)
def test_the_work_of_a_bite_is_that_of_its_slices(prints: Prints) -> None:
    c, deeper, steps = 0.15, 0.05, 2000
    made = pressing(prints=prints)
    shares = [made.share(c - deeper * (i + 0.5) / steps) for i in range(steps)]
    by_hand = sum(shares) / steps / made.share(c)
    assert made.work_share(c, deeper) == pytest.approx(by_hand, rel=1e-6)


def test_a_traverse_bites_over_one_feed_and_a_plunge_over_the_face() -> None:
    made = pressing(Fresh(0.04, 0.5, 0.06))
    assert made.bites(0.1, 10.0) == (Bite(10.0, 0.04), Bite(0.5, 0.06))
    by_hand = 545.5 * 2.8393 * 0.1 * 0.5 * math.sqrt(2.0 * 0.06 * 5.5556)
    on_the_way = pressing(Fresh(0.0, 0.5, 0.06)).roll_force_n(0.1, 10.0)
    assert on_the_way == pytest.approx(by_hand)
