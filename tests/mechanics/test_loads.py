"""Forces of the rolls: the slip-line constants, and what physics demands of the rest."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knurlcam.data.material_names import find_material
from knurlcam.data.materials import Material, materials
from knurlcam.mechanics.loads import (
    FLANK_FRICTION,
    Prints,
    axial_force_n,
    contact_arc_mm,
    contact_share,
    fan_angle_rad,
    flow_stress,
    indentation_pressure_mpa,
    reduced_radius_mm,
    resultant_force_n,
    torque_nm,
    wedge_force_n_per_mm,
    wedge_width,
)
from knurlcam.mechanics.pressing import Pressing

HILL = (
    "Hill, Lee and Tupper (1947): cos(2b - th) = cos(th) / (1 + sin(th)), p = 2k (1 + th); "
    "computed, not printed: the relation from memory, the areas of lip and dent agree"
)

PRINTS: tuple[Prints, ...] = ("ridges", "crossing ridges", "points")


# -- the wedge -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("half_deg", "theta", "pressure", "lip", "flank"),
    [
        (30.0, 0.30263, 1.30263, 0.33883, 1.54594),
        (45.0, 0.57483, 1.57483, 0.41964, 2.00768),
        (52.5, 0.72717, 1.72717, 0.44683, 2.37668),
        (60.0, 0.88728, 1.88728, 0.4673, 2.93459),
    ],
)
def test_the_wedge_has_the_constants_of_its_slip_line_field(
    half_deg: float, theta: float, pressure: float, lip: float, flank: float
) -> None:
    profile, half = 2.0 * half_deg, math.radians(half_deg)
    found = fan_angle_rad(profile)
    assert found == pytest.approx(theta, abs=1e-5), HILL
    flow = math.sqrt(3.0) / 2.0  # so that 2 k is 1
    assert indentation_pressure_mpa(flow, profile) == pytest.approx(pressure, abs=1e-5), HILL
    length = wedge_width(profile) / (2.0 * math.sin(half))
    assert length == pytest.approx(flank, abs=1e-5), HILL
    assert length * math.cos(half) - 1.0 == pytest.approx(lip, abs=1e-5), HILL


@pytest.mark.parametrize("profile", [60.0, 75.0, 90.0, 105.0, 120.0])
def test_what_a_wedge_displaces_stands_in_its_lips(profile: float) -> None:
    # Volume is kept: half the dent below the surface is the triangle of one lip above it.
    half, theta = math.radians(profile / 2.0), fan_angle_rad(profile)
    flank = wedge_width(profile) / (2.0 * math.sin(half))
    height = flank * math.cos(half) - 1.0
    dent = math.tan(half) / 2.0
    begin = math.tan(half)  # where the flank leaves the old surface, from the middle
    top = flank * math.sin(half)
    # The lip's own face is as long as the flank and ends on the old surface.
    foot = top + math.sqrt(flank**2 - height**2)
    assert height * (foot - begin) / 2.0 == pytest.approx(dent, abs=1e-9)
    assert theta > 0


def test_a_wedge_of_90_degrees_takes_4_47_times_2k_for_each_millimetre() -> None:
    # The figure of the relation above: p w / c = 1.57483 * 2.83929
    assert wedge_force_n_per_mm(1.0, math.sqrt(3.0) / 2.0, 90.0) == pytest.approx(4.4714, abs=5e-5)
    assert math.degrees(fan_angle_rad(90.0)) == pytest.approx(32.935, abs=5e-4)


# -- flow stress ---------------------------------------------------------------


def test_every_material_of_the_table_has_a_flow_stress_in_its_range() -> None:
    for material in materials():
        flow = flow_stress(material)
        assert flow is not None, material.name
        assert 0 < flow.low_mpa <= flow.likely_mpa <= flow.high_mpa, material.name


@pytest.mark.parametrize(
    ("strengths", "flow"),
    [
        ((200.0, 400.0, 120.0), (200.0, 300.0, 400.0)),
        ((200.0, None, 120.0), (200.0, 200.0, 300.0)),
        ((400.0, 400.0, None), (400.0, 400.0, 600.0)),
        ((None, None, None), None),
    ],
)
def test_flow_stress_follows_from_what_the_material_gives(
    strengths: tuple[float | None, ...], flow: tuple[float, ...] | None
) -> None:
    found = flow_stress(material_with(*strengths))
    assert (found if found is None else found[:3]) == flow


def material_with(yields: float | None, tensile: float | None, brinell: float | None) -> Material:
    return Material("any", (), yields, tensile, None, 200.0, 0.3, None, brinell, 27.0, {})


@pytest.mark.parametrize(
    ("name", "brinell"),
    [("6061-T6", 95.0), ("steel 1018", 116.0), ("steel 1010 cold drawn", 105.0)],
)
def test_flow_stress_by_hardness_agrees_with_that_by_strength(name: str, brinell: float) -> None:
    # Two ways to one figure; Tabor's factor of 3 and the Brinell numbers from memory.
    by_strength = flow_stress(find_material(name))
    by_hardness = flow_stress(material_with(None, None, brinell))
    assert by_strength is not None
    assert by_hardness is not None
    assert by_hardness.likely_mpa == pytest.approx(by_strength.likely_mpa, rel=0.25)


# -- one roll ------------------------------------------------------------------


@pytest.mark.parametrize("prints", PRINTS)
def test_the_face_in_contact_agrees_with_a_count_over_one_cell(prints: Prints) -> None:
    # Points of a fine grid over one pitch by one pitch that lie under a tooth.
    pitch, c, steps = 1.0, 0.2, 400
    width = wedge_width(90.0) * c
    strip = [abs((i + 0.5) / steps * pitch - pitch / 2.0) < width / 2.0 for i in range(steps)]
    touches = {
        "ridges": lambda a, b: a,
        "crossing ridges": lambda a, b: a or b,
        "points": lambda a, b: a and b,
    }[prints]
    counted = sum(touches(a, b) for a in strip for b in strip) / steps**2
    assert contact_share(c, pitch, 90.0, prints) == pytest.approx(counted, abs=0.01)


def pressing(prints: Prints = "ridges", pitch: float = 1.0) -> Pressing:
    return Pressing(
        indentation_pressure_mpa(300.0, 90.0),
        wedge_width(90.0) / pitch,
        prints,
        reduced_radius_mm(12.5, 10.0),
    )


def test_the_force_is_that_of_the_wedges_that_stand_in_the_arc() -> None:
    c, face, pitch = 0.2, 10.0, 0.8
    teeth = contact_arc_mm(c, reduced_radius_mm(12.5, 10.0)) / pitch
    expected = wedge_force_n_per_mm(c, 300.0, 90.0) * face * teeth
    assert pressing(pitch=pitch).roll_force_n(c, face) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("prints", PRINTS)
@given(c=st.floats(1e-6, 0.3), face=st.floats(0.1, 50.0))
@settings(max_examples=50)
def test_the_force_rises_with_penetration_and_with_the_face(
    prints: Prints, c: float, face: float
) -> None:
    made = pressing(prints)
    assert made.roll_force_n(c, 2.0 * face) == pytest.approx(2.0 * made.roll_force_n(c, face))
    assert made.roll_force_n(c * 1.01, face) > made.roll_force_n(c, face) > 0.0
    share = contact_share(c, 1.0, 90.0, prints)
    pressed = made.pressure_mpa * share * face * made.arc_mm(c)
    assert made.roll_force_n(c, face) == pytest.approx(pressed, rel=1e-9)


def test_the_force_goes_to_zero_with_penetration_as_its_power_of_one_and_a_half() -> None:
    made = pressing()
    assert made.roll_force_n(0.0, 10.0) == 0.0
    assert made.roll_force_n(0.04, 10.0) / made.roll_force_n(0.01, 10.0) == pytest.approx(8.0)


@pytest.mark.parametrize("prints", PRINTS)
def test_a_turn_of_the_work_does_the_work_of_pressing_the_teeth_in(prints: Prints) -> None:
    # Torque times 2 pi against the pressure on what touches, summed over the way in.
    c, face, pitch, blank, roll, steps = 0.15, 8.0, 0.8, 12.5, 10.0, 2000
    made = pressing(prints, pitch)
    shares = [contact_share((i + 0.5) / steps * c, pitch, 90.0, prints) for i in range(steps)]
    for_each_mm2 = made.pressure_mpa * sum(shares) / steps * c
    work_n_mm = 2.0 * math.pi * blank * face * for_each_mm2
    force, arc = made.roll_force_n(c, face), contact_arc_mm(c, reduced_radius_mm(blank, roll))
    torque = torque_nm(force, 1, arc, made.work_share(c), blank, roll)
    assert torque * 1000.0 * 2.0 * math.pi == pytest.approx(work_n_mm, rel=1e-6)


def test_pushing_along_is_friction_on_the_flanks_and_the_teeth_at_the_front() -> None:
    # Flanks at 45 degrees: their two normal forces are sqrt(2) times the force of the roll.
    assert axial_force_n(1000.0, 1, 0.0, 500.0, 90.0) == pytest.approx(
        1000.0 * math.sqrt(2.0) * FLANK_FRICTION
    )
    assert axial_force_n(0.0, 2, 0.04, 500.0, 90.0) == pytest.approx(40.0)


def test_the_rolls_push_together_as_their_directions_say() -> None:
    # By hand: each roll's force as a vector, at the angle of its centre.
    angle = math.radians(25.0)
    pairs = [(math.cos(a), math.sin(a)) for a in (angle, -angle)]
    across = 1000.0 * sum(x for x, _ in pairs)
    upward = 1000.0 * sum(y for _, y in pairs)
    assert upward == pytest.approx(0.0, abs=1e-9)
    assert resultant_force_n(1000.0, 2, 22.0 * math.cos(angle), 22.0) == pytest.approx(across)
    assert resultant_force_n(1000.0, 1, 22.0, 22.0) == 1000.0
