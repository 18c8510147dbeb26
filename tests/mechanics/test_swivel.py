"""Rolls that are swivelled so that a whole number of teeth fits a blank."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knurlcam.mechanics.swivel import SWIVEL_RANGE_DEG, swivels_that_fit

BLANKS = st.floats(5.0, 80.0)
PITCHES = st.floats(0.5, 1.6)
HELICES = st.floats(0.0, 45.0)


def misfit_mm(rolling: float, pitch: float, helix: float, teeth: int) -> float:
    return abs(math.pi * rolling * math.cos(math.radians(helix)) - teeth * pitch)


@given(rolling=BLANKS, pitch=PITCHES, helix=HELICES, reach=st.floats(0.0, 0.1))
def test_between_its_angles_a_swivel_keeps_the_misfit_within_reach(
    rolling: float, pitch: float, helix: float, reach: float
) -> None:
    for found in swivels_that_fit(rolling, pitch, helix, reach):
        for angle in (found.from_deg, found.exact_deg, found.to_deg):
            assert misfit_mm(rolling, pitch, helix + angle, found.teeth) <= reach + 1e-9


@given(rolling=BLANKS, pitch=PITCHES, helix=HELICES, turn=st.floats(-1.0, 1.0))
def test_every_angle_in_the_range_that_tracks_is_in_one_of_them(
    rolling: float, pitch: float, helix: float, turn: float
) -> None:
    angle = max(helix + turn * SWIVEL_RANGE_DEG, 0.0)
    around = math.pi * rolling * math.cos(math.radians(angle))
    teeth = round(around / pitch)
    reach = 0.05
    inside = [
        s.teeth
        for s in swivels_that_fit(rolling, pitch, helix, reach)
        if s.from_deg - 1e-6 <= angle - helix <= s.to_deg + 1e-6
    ]
    if teeth >= 1 and abs(around - teeth * pitch) < reach:
        assert teeth in inside
    elif abs(around - teeth * pitch) > reach + 1e-6:
        assert teeth not in inside


def test_the_least_turn_comes_first() -> None:
    found = swivels_that_fit(24.75, 1.0, 30.0, 0.07)
    turns = [abs(s.exact_deg) for s in found]
    assert turns == sorted(turns)
    assert turns[0] == pytest.approx(0.43, abs=0.1)
