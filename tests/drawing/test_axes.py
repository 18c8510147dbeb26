"""Ticks and scale bars are round, lie on what they measure, and say what they are."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knurlcam.drawing.axes import (
    decimals_of,
    length_ticks,
    round_down,
    round_up,
    scale_bar,
    ticks,
)
from knurlcam.drawing.shapes import Line, Text

POSITIVE = st.floats(1e-4, 1e6)


@given(st.floats(-1e3, 1e3), st.floats(1e-3, 1e3), st.integers(1, 20))
def test_ticks_lie_on_the_axis_and_are_no_more_steps_than_allowed(
    low: float, length: float, most: int
) -> None:
    high = low + length
    found = ticks(low, high, most)
    slack = 1e-6 * length
    assert all(low - slack <= tick.value <= high + slack for tick in found)
    assert len(found) <= most + 1


@given(st.floats(-1e3, 1e3), st.floats(1e-2, 1e3), st.integers(2, 20))
def test_each_tick_is_where_its_text_says(low: float, length: float, most: int) -> None:
    for tick in ticks(low, low + length, most):
        assert float(tick.text) == pytest.approx(tick.value, abs=1e-9 * max(1.0, abs(low)))


def test_the_ends_of_an_axis_are_ticks_where_they_are_round() -> None:
    assert [tick.text for tick in ticks(0.0, 1.0, 5)] == ["0.0", "0.2", "0.4", "0.6", "0.8", "1.0"]


def test_lengths_are_round_in_the_units_of_the_job() -> None:
    found = length_ticks(0.0, 60.0, 4, "inch")
    assert [tick.text for tick in found] == ["0", "1", "2"]
    assert [tick.value for tick in found] == pytest.approx([0.0, 25.4, 50.8])


@given(POSITIVE)
def test_a_round_number_is_the_nearest_on_its_side(value: float) -> None:
    down, up = round_down(value), round_up(value)
    assert down <= value * (1.0 + 1e-8)
    assert up >= value * (1.0 - 1e-8)
    assert up / down <= 2.5 * (1.0 + 1e-8)


@given(POSITIVE)
def test_a_round_number_is_1_2_or_5_and_its_decimals_suffice(value: float) -> None:
    for made in (round_down(value), round_up(value)):
        digits = f"{made:.12g}".replace(".", "").strip("0") if made < 1e5 else None
        assert digits in (None, "1", "2", "5") or re.fullmatch(r"[125]e.*", f"{made:.6e}")
        assert float(f"{made:.{decimals_of(made)}f}") == pytest.approx(made)


@pytest.mark.parametrize(("units", "unit_mm"), [("mm", 1.0), ("inch", 25.4)])
def test_a_scale_bar_is_as_long_as_it_says(units: str, unit_mm: float) -> None:
    shapes = list(scale_bar((10.0, 50.0), scale=20.0, width=600.0, units=units))
    bar, text = shapes[0], shapes[-1]
    assert isinstance(bar, Line)
    assert isinstance(text, Text)
    length = bar.points[1][0] - bar.points[0][0]
    assert length / 20.0 == pytest.approx(float(text.text.split()[0]) * unit_mm)
    assert 0.0 < length <= 0.3 * 600.0
    assert math.isclose(text.x, bar.points[1][0] + 10)
