"""The search by halving."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knurlcam.mechanics.solve import turning_point


@given(at=st.floats(0.01, 0.99), within=st.floats(1e-9, 0.1))
def test_the_ends_enclose_the_turn_as_near_as_wanted(at: float, within: float) -> None:
    low, high = turning_point(lambda x: x < at, 0.0, 1.0, within=within)
    assert low <= at <= high
    assert high - low <= within


def test_nearness_may_be_a_share_of_the_value() -> None:
    low, high = turning_point(lambda x: x < 700.0, 0.0, 1000.0, share=1e-3)
    assert high - low <= 0.001 * high


def test_a_search_that_is_asked_for_nothing_near_ends() -> None:
    low, high = turning_point(lambda x: x * x < 2.0, 1.0, 2.0)
    assert low <= math.sqrt(2.0) <= high
    assert high == pytest.approx(low, abs=1e-15)


def test_no_more_halvings_are_made_than_are_asked_for() -> None:
    assert turning_point(lambda x: x < 0.3, 0.0, 1.0, halvings=1) == (0.0, 0.5)
