"""The window of blanks that track: what the first turn presses in decides."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knurlcam.mechanics.capture import (
    first_turn_mm,
    first_turn_to_capture_mm,
    reach_per_mm,
    tracking_window_mm,
)
from knurlcam.mechanics.contact import Contact


@given(turn=st.floats(0.01, 0.2), helix=st.floats(0.0, 45.0), profile=st.floats(60.0, 120.0))
def test_at_the_ends_of_the_window_the_misfit_is_just_within_reach(
    turn: float, helix: float, profile: float
) -> None:
    low, high = tracking_window_mm(25.0, turn, 1.0, helix_deg=helix, profile_deg=profile)
    off = math.pi * (high - 25.0) * math.cos(math.radians(helix))
    assert off == pytest.approx(reach_per_mm(profile) * turn)
    assert 25.0 - low == pytest.approx(high - 25.0)


@given(half=st.floats(0.001, 0.2), helix=st.floats(0.0, 45.0))
def test_the_first_turn_that_captures_a_width_has_a_window_of_that_width(
    half: float, helix: float
) -> None:
    turn = first_turn_to_capture_mm(half, helix_deg=helix, profile_deg=90.0)
    low, _ = tracking_window_mm(25.0, turn, 10.0, helix_deg=helix, profile_deg=90.0)
    assert 25.0 - low == pytest.approx(half)


def test_a_smaller_blank_has_less_of_a_first_pass_that_one_turn_presses_in() -> None:
    low, high = tracking_window_mm(25.0, 0.2, 0.05, helix_deg=0.0, profile_deg=90.0)
    reach = reach_per_mm(90.0) / math.pi
    assert 25.0 - low == pytest.approx(reach * (0.05 - (25.0 - low) / 2.0))
    assert high - 25.0 == pytest.approx(reach * (0.05 + (high - 25.0) / 2.0))


@given(turn=st.floats(0.01, 0.2), first_pass=st.floats(0.01, 0.2), profile=st.floats(60.0, 120.0))
def test_where_the_correction_follows_the_misfit_at_the_ends_is_just_within_reach(
    turn: float, first_pass: float, profile: float
) -> None:
    """By hand: what the first turn presses into each blank is both the correction and the reach."""

    def pressed(blank: float) -> float:
        return min(turn, first_pass + (blank - 25.0) / 2.0)

    ends = tracking_window_mm(
        25.0, turn, first_pass, helix_deg=0.0, profile_deg=profile, correction_follows=True
    )
    for end in ends:
        beside = abs(end - 25.0 - (pressed(end) - pressed(25.0))) * math.pi
        assert beside == pytest.approx(reach_per_mm(profile) * pressed(end))


@pytest.mark.parametrize(("infeed", "first_pass", "wanted"), [(0.05, 0.1, 0.05), (0.2, 0.1, 0.1)])
def test_the_first_turn_presses_one_infeed_and_at_most_the_first_pass(
    infeed: float, first_pass: float, wanted: float
) -> None:
    assert first_turn_mm(
        Contact(12.5, 10.0, 0.0, "touch-off"), infeed, first_pass
    ) == pytest.approx(wanted)
