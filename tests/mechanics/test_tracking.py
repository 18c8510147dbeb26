"""Pitches, whole numbers of teeth and tolerances, against printed figures.

Beside each figure stand source, page, the value as printed and the tolerance: half of the
last digit printed. "From memory" means that the figure was not seen in its source.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knurlcam.mechanics.tooth import full_tooth_height, rise
from knurlcam.mechanics.tracking import (
    blank_diameter,
    blank_tolerance,
    nearest_teeth,
    pitch_from_diametral_pitch,
    pitch_from_tpi,
    teeth_around,
    transverse_pitch,
)
from knurlcam.units.kinds import MM_PER_INCH

HANDBOOK = "Machinery's Handbook, 31st ed. (2020), p. 1059, eqs. (12)-(18) and example"
TABLE_4 = "Machinery's Handbook, 31st ed. (2020), p. 1059, Table 4 (ANSI/ASME B94.6-1984 R2014)"
NZDL = "New Zealand Digital Library, collection gtz, Knurling, example 7.4 Control knob"
TC9524 = "US Army TC 9-524 (1996), ch. 7, knurling, from memory"


def handbook_pitch() -> float:
    """Transverse pitch of the handbook's example: 160 DP straight rolls swivelled by 30 deg."""
    return transverse_pitch(pitch_from_diametral_pitch(160, 30.0, swivelled=True), 30.0)


def test_the_handbooks_example_takes_138_56_teeth() -> None:
    # printed 138.56 for Dw = 1 in, P = 160, psi = 30 deg; HANDBOOK, seen
    assert teeth_around(MM_PER_INCH, handbook_pitch()) == pytest.approx(138.56, abs=0.005)


def test_the_handbook_goes_down_to_138_teeth_and_the_blank_below_is_its_0_996_inch() -> None:
    # printed 138, though 139 is nearer, and 0.996 in; HANDBOOK, seen
    exact = teeth_around(MM_PER_INCH, handbook_pitch())
    assert math.floor(exact) == 138
    assert nearest_teeth(MM_PER_INCH, handbook_pitch())[0] == 139
    inches = blank_diameter(138, handbook_pitch()) / MM_PER_INCH
    assert inches == pytest.approx(0.996, abs=0.0005)


def test_the_handbooks_changed_angle_closes_138_teeth_on_one_inch() -> None:
    # printed cos psi = 0.8625 and "approximately" 30 1/2 deg; exact is 30.40; HANDBOOK, seen
    t = pitch_from_diametral_pitch(160, 30.0, swivelled=True)
    cosine = t / (math.pi * MM_PER_INCH / 138)
    assert cosine == pytest.approx(0.8625, abs=0.00005)
    psi = math.degrees(math.acos(cosine))
    assert psi == pytest.approx(30.40, abs=0.005)
    assert psi == pytest.approx(30.5, abs=0.25)
    assert teeth_around(MM_PER_INCH, transverse_pitch(t, psi)) == pytest.approx(138, abs=1e-9)


def test_the_course_turns_41_5_mm_for_a_straight_knurl_of_42() -> None:
    # printed 41.5 mm from 42 mm, pitch 1 mm, straight; NZDL, seen; tolerance half a digit
    full = full_tooth_height(1.0, 90.0)
    assert 42.0 - 2.0 * rise(full, full, "straight") == pytest.approx(41.5, abs=0.05), NZDL


def test_a_straight_knurl_of_1_mm_takes_78_54_teeth_on_25_mm() -> None:
    # pi times 25, printed nowhere; two decimals
    assert teeth_around(25.0, transverse_pitch(1.0, 0.0)) == pytest.approx(78.54, abs=0.005)
    assert nearest_teeth(25.0, 1.0) == (79, pytest.approx(-0.4602, abs=0.00005))


@pytest.mark.parametrize(
    ("dp", "inches"),
    [(64, 0.0015), (96, 0.0010), (128, 0.0007), (160, 0.0005)],  # printed, exact; TABLE_4, seen
)
def test_the_blank_tolerance_of_a_standard_diametral_pitch_is_the_tables(
    dp: int, inches: float
) -> None:
    circular = math.pi * MM_PER_INCH / dp
    assert blank_tolerance(circular, dp) == pytest.approx(inches * MM_PER_INCH, rel=1e-12), TABLE_4


@pytest.mark.parametrize(("dp", "share"), [(64, 0.031), (96, 0.031), (128, 0.029), (160, 0.025)])
def test_the_tables_tolerances_are_about_three_percent_of_the_pitch(dp: int, share: float) -> None:
    circular = math.pi * MM_PER_INCH / dp
    assert blank_tolerance(circular, dp) / circular == pytest.approx(share, abs=0.0006)


@pytest.mark.parametrize("dp", [None, 63.0, 100.0, 160.01])
def test_any_other_pitch_has_three_percent_of_its_transverse_pitch(dp: float | None) -> None:
    assert blank_tolerance(1.2, dp) == pytest.approx(0.036, rel=1e-12)


@pytest.mark.parametrize(("tpi", "mm"), [(14, 1.8143), (21, 1.2095), (33, 0.7697)])
def test_teeth_per_inch_of_the_trade_give_their_pitch(tpi: int, mm: float) -> None:
    # 14, 21, 33: TC9524 (common practice as well); the pitch is 25.4 over it
    assert pitch_from_tpi(tpi) == pytest.approx(mm, abs=0.00005), TC9524


@given(dp=st.floats(12, 800), helix=st.floats(0, 59), inches=st.floats(0.1, 20))
def test_diametral_pitch_of_helical_rolls_counts_teeth_by_the_inch_of_diameter(
    dp: float, helix: float, inches: float
) -> None:
    pitch = transverse_pitch(pitch_from_diametral_pitch(dp, helix), helix)
    assert teeth_around(inches * MM_PER_INCH, pitch) == pytest.approx(dp * inches, rel=1e-12)


@given(dp=st.floats(12, 800), helix=st.floats(0, 59), inches=st.floats(0.1, 20))
def test_swivelled_straight_rolls_lose_the_cosine(dp: float, helix: float, inches: float) -> None:
    pitch = transverse_pitch(pitch_from_diametral_pitch(dp, helix, swivelled=True), helix)
    wanted = dp * inches * math.cos(math.radians(helix))
    assert teeth_around(inches * MM_PER_INCH, pitch) == pytest.approx(wanted, rel=1e-12)


@given(teeth=st.integers(1, 5000), pitch=st.floats(0.05, 10.0))
def test_pitch_teeth_and_diameter_follow_from_each_other(teeth: int, pitch: float) -> None:
    diameter = blank_diameter(teeth, pitch)
    assert teeth_around(diameter, pitch) == pytest.approx(teeth, rel=1e-12)
    found, misfit = nearest_teeth(diameter, pitch)
    assert found == teeth
    assert abs(misfit) < 1e-8
    assert math.pi * diameter / teeth == pytest.approx(pitch, rel=1e-12)


@given(diameter=st.floats(1.0, 500.0), pitch=st.floats(0.05, 2.0))
def test_the_misfit_is_above_minus_a_half_and_at_most_a_half(diameter: float, pitch: float) -> None:
    teeth, misfit = nearest_teeth(diameter, pitch)
    assert -0.5 < misfit <= 0.5
    assert teeth + misfit == pytest.approx(teeth_around(diameter, pitch), rel=1e-12)


def test_half_a_tooth_goes_down_to_the_smaller_count() -> None:
    teeth, misfit = nearest_teeth(10.5, math.pi)
    assert (teeth, misfit) == (10, 0.5)


def test_a_blank_smaller_than_half_a_tooth_still_has_one() -> None:
    teeth, misfit = nearest_teeth(0.1, 1.0)
    assert teeth == 1
    assert misfit == pytest.approx(math.pi * 0.1 - 1)
