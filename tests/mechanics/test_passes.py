"""Speed and the depth of each pass, against printed figures.

Beside each figure stand source, page, the value as printed and the tolerance: half of the
last digit printed. "From memory" means that the figure was not seen in its source.
"""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knurlcam.mechanics.passes import (
    hardens_readily,
    pass_penetrations,
    recommended_passes,
    spindle_speed,
)
from knurlcam.units.kinds import MM_PER_INCH

NZDL = "New Zealand Digital Library, collection gtz, Knurling, example 7.4 Control knob"
OD1645 = "US Army Ordnance subcourse OD1645, lathe part"


def test_the_courses_surface_speed_gives_46_02_revolutions() -> None:
    # 6 m/min and 41.5 mm printed (NZDL, seen); 46.02 worked out from them, not printed
    assert spindle_speed(6.0, 41.5) == pytest.approx(46.02, abs=0.005), NZDL


def test_the_constant_for_feet_and_inches_is_3_82() -> None:
    # 12 divided by 3.1416, rounded to two decimals; OD1645, seen
    constant = spindle_speed(0.3048, MM_PER_INCH)
    assert constant == pytest.approx(3.82, abs=0.005), OD1645


@given(speed=st.floats(0.1, 500), diameter=st.floats(0.5, 1000))
def test_speed_follows_from_spindle_speed_and_diameter_again(speed: float, diameter: float) -> None:
    again = spindle_speed(speed, diameter) * math.pi * diameter / 1000.0
    assert again == pytest.approx(speed, rel=1e-12)


@given(full=st.floats(1e-6, 10.0), passes=st.integers(1, 50))
def test_the_first_pass_is_the_deepest_and_none_takes_more_than_the_one_before(
    full: float, passes: int
) -> None:
    depths = pass_penetrations(full, passes)
    steps = [b - a for a, b in zip((0.0, *depths), depths, strict=False)]
    assert len(depths) == passes
    assert depths[-1] == full
    assert all(step > 0 for step in steps)
    slack = 1e-12 * full
    assert all(b <= a + slack for a, b in itertools.pairwise(steps))
    assert passes == 1 or steps[0] > steps[1]


@pytest.mark.parametrize(
    ("crossed", "plunge", "count", "hardening"),
    [(False, False, 3, 2), (True, False, 4, 3), (False, True, 1, 1), (True, True, 1, 1)],
)
def test_diamonds_take_more_passes_than_straight_knurls_hardening_metals_fewer_and_a_plunge_one(
    crossed: bool, plunge: bool, count: int, hardening: int
) -> None:
    assert recommended_passes(crossed=crossed, plunge=plunge) == count
    assert recommended_passes(crossed=crossed, plunge=plunge, hardens=True) == hardening


@pytest.mark.parametrize(
    ("figures", "hardens"),
    [
        ((200.0, 400.0, 35.0), True),
        ((200.1, 400.0, 35.0), False),
        ((200.0, 400.0, 34.9), False),
        ((None, 400.0, 35.0), False),
        ((200.0, None, 35.0), False),
        ((200.0, 400.0, None), False),
    ],
)
def test_a_metal_hardens_readily_that_doubles_its_strength_and_stretches(
    figures: tuple[float | None, float | None, float | None], hardens: bool
) -> None:
    assert hardens_readily(*figures) is hardens
