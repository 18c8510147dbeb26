"""Press fits: the formulas against other ways to the same figure.

Beside each figure stands its source. "From memory" means that the figure was not seen in
it; "computed" that it comes from another way, never from the code under test.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from knurlcam.data.fits import StandardTolerance, standard_tolerances
from knurlcam.errors import InputError, OutOfRangeError
from knurlcam.mechanics import press_fit as fit
from knurlcam.mechanics.press_fit import (
    bearing_share,
    collapse_pressure,
    equivalent_stress,
    fit_pressure,
    friction_force,
    hole_limits,
    hoop_stress,
    hubs_for_equivalent_stress,
    joint_compliance,
    least_hub_diameter,
    mean_bite,
    ploughing_force,
    pressure_for_equivalent_stress,
    pressure_for_hoop_stress,
    ring_factor,
    shear_force,
)
from knurlcam.mechanics.tooth import Family, full_tooth_height, rise

ROOT = Path(__file__).resolve().parents[2]
FAMILIES: tuple[Family, ...] = ("straight", "raised", "indented")
STEEL = {
    "hub_modulus_mpa": 210e3,
    "hub_poisson": 0.3,
    "shaft_modulus_mpa": 210e3,
    "shaft_poisson": 0.3,
}
ALUMINIUM_ON_STEEL = {**STEEL, "hub_modulus_mpa": 70e3, "hub_poisson": 0.33}

families = st.sampled_from(FAMILIES)
shares = st.floats(0.0, 1.0)


# -- limits of the bore --------------------------------------------------------


@pytest.mark.few(5)
@pytest.mark.parametrize("row", standard_tolerances(), ids=lambda r: f"{r.up_to_mm:g}")
def test_the_standard_tolerances_follow_the_standards_own_formula(
    row: StandardTolerance,
) -> None:
    # ISO 286-1: i = 0.45 D^(1/3) + 0.001 D in µm, D the geometric mean of the range in mm;
    # IT6, IT7, IT8 are 10, 16 and 25 i, rounded (formula from memory). The standard rounds
    # some of them up by a whole micrometre, and IT7 of the smallest range by a little more.
    mean = math.sqrt((row.over_mm or 1.0) * row.up_to_mm)
    i = 0.45 * mean ** (1 / 3) + 0.001 * mean
    for name, factor in (("IT6", 10), ("IT7", 16), ("IT8", 25)):
        within = 1.4 if (name, row.up_to_mm) == ("IT7", 3) else 1.2
        assert row.um[name] == pytest.approx(factor * i, abs=within), name


@pytest.mark.parametrize(
    ("bore", "upper_um"),
    [(6.0, 12), (10.0, 15), (18.0, 18), (50.0, 25), (80.0, 30)],
)
def test_the_limits_of_h7_are_those_of_the_standard(bore: float, upper_um: float) -> None:
    # ISO 286-2, holes H7, read in reprints of the table; the end of a range belongs to it
    assert hole_limits(bore, "H7") == pytest.approx((bore, bore + upper_um / 1000))
    row = next(r for r in standard_tolerances() if r.up_to_mm == bore)
    assert "read" in row.sources["IT7"]
    assert "memory" in row.sources["IT6"]


def test_a_bore_just_over_a_range_has_the_next_ones_tolerance() -> None:
    # H7: 12 µm to 6 mm, 15 µm from there (ISO 286-2, read in reprints)
    assert hole_limits(6.0, "H7")[1] - 6.0 == pytest.approx(0.012)
    assert hole_limits(6.001, "H7")[1] - 6.001 == pytest.approx(0.015)


def test_another_tolerance_is_refused_by_name() -> None:
    with pytest.raises(InputError, match="unknown tolerance") as caught:
        hole_limits(12.0, "G7")
    assert caught.value.value == "G7"
    assert caught.value.expected == "H6, H7, H8"


# -- bite ----------------------------------------------------------------------


def surface(family: Family, full: float, height: float, steps: int) -> list[float]:
    """Return heights above the root, sampled evenly over one cell of the pattern."""
    groove = [full * abs(2.0 * ((i + 0.5) / steps) - 1.0) for i in range(steps)]
    if family == "straight":
        return [min(height, v) for v in groove]
    if family == "raised":
        return [min(height, a, b) for a in groove for b in groove]
    # Pits: pyramids upside down, as wide at the surface as they are deep.
    pits = [(full - a, full - b) for a in groove for b in groove]
    return [height - max(0.0, height - max(a, b)) for a, b in pits]


@pytest.mark.few(8)
@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("fullness", [0.3, 0.7, 1.0])
@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 1.3])
def test_mean_bite_and_share_are_those_of_the_surface_sampled(
    family: Family, fullness: float, share: float
) -> None:
    full = 0.5
    height = fullness * full
    bite = share * height
    sampled = surface(family, full, height, 400)
    inside = [max(0.0, h - (height - bite)) for h in sampled]
    assert mean_bite(bite, height, full, family) == pytest.approx(
        sum(inside) / len(inside), abs=2e-5
    )
    level = sum(h > height - bite for h in sampled) / len(sampled)
    assert bearing_share(bite, height, full, family) == pytest.approx(level, abs=0.01)


@pytest.mark.parametrize("profile", [60.0, 90.0, 105.0])
@pytest.mark.parametrize("fullness", [0.6, 1.0])
def test_the_mean_bite_of_straight_teeth_is_their_section_over_the_pitch(
    profile: float, fullness: float
) -> None:
    # A trapezium of the land w on the crest, e deep, over the pitch: geometry.
    pitch, tangent = 0.8, math.tan(math.radians(profile) / 2)
    full = full_tooth_height(pitch, profile)
    height = fullness * full
    land = pitch - 2 * height * tangent
    for bite in (0.02, 0.1, height):
        section = bite * (land + bite * tangent)
        assert mean_bite(bite, height, full, "straight") == pytest.approx(section / pitch)


@given(family=families, full=st.floats(0.05, 2.0), fullness=st.floats(0.3, 1.0), share=shares)
def test_the_grooves_are_full_when_the_bore_is_as_large_as_the_blank(
    family: Family, full: float, fullness: float, share: float
) -> None:
    # Metal displaced against room below the bore, both by volume, on either side of it.
    height = fullness * full
    risen = rise(height, full, family)

    def left(bite: float) -> float:
        below = height - bite
        room = below - (mean_bite(height, height, full, family) - mean(bite))
        return room - mean(bite)

    def mean(bite: float) -> float:
        return mean_bite(bite, height, full, family)

    assert left(risen) == pytest.approx(0.0, abs=1e-9 * full)
    assert left(share * risen) >= -1e-9 * full
    assert left(risen + share * (height - risen)) <= 1e-9 * full


def test_a_full_straight_profile_may_bite_half_its_height() -> None:
    # computed: the triangle above the bore equals the one below it
    assert rise(0.5, 0.5, "straight") == pytest.approx(0.25)


@given(family=families, fullness=st.floats(0.3, 1.0), a=shares, b=shares)
def test_a_deeper_bite_takes_no_less(family: Family, fullness: float, a: float, b: float) -> None:
    low, high = sorted((a, b))
    height = fullness * 0.5
    assert mean_bite(low, height, 0.5, family) <= mean_bite(high, height, 0.5, family) + 1e-12
    assert bearing_share(low, height, 0.5, family) <= bearing_share(high, height, 0.5, family)


# -- pressure ------------------------------------------------------------------


def test_the_pressure_of_a_smooth_press_fit_is_the_textbooks() -> None:
    # E = 210 GPa, d = 60, D = 100, diametral interference 0.03 mm: 33.6 MPa, computed from
    # p = E delta / d (1 - (d / D)^2) / 2, the form for one material (from memory)
    pressure = fit_pressure(0.03, 60.0, joint_compliance(60.0, 100.0, **STEEL))
    assert pressure == pytest.approx(33.6, abs=0.001)
    assert pressure == pytest.approx(210e3 * 0.03 / 60 * (1 - 0.6**2) / 2)
    # p (D^2 + d^2) / (D^2 - d^2) = 33.6 * 13600 / 6400
    assert hoop_stress(pressure, 60.0, 100.0) == pytest.approx(71.4, abs=0.01)


def ring_by_elements(
    bore: float, hub: float, modulus: float, poisson: float, steps: int = 2000
) -> tuple[float, float]:
    """Return widening of the bore and hoop stress there for a pressure of 1 MPa.

    Equilibrium of thin rings, one inside the other, from the free outside inwards:
    d(sigma_r)/dr = (sigma_t - sigma_r) / r and Hooke's law in plane stress.
    """

    def slope(r: float, u: float, radial: float) -> tuple[float, float]:
        hoop = modulus * u / r + poisson * radial
        return (
            radial * (1 - poisson**2) / modulus - poisson * u / r,
            (hoop - radial) / r,
        )

    r, u, radial = hub / 2, 1.0, 0.0
    h = (bore - hub) / 2 / steps
    for _ in range(steps):
        a1, b1 = slope(r, u, radial)
        a2, b2 = slope(r + h / 2, u + h / 2 * a1, radial + h / 2 * b1)
        u, radial, r = u + h * a2, radial + h * b2, r + h
    return u / -radial, (modulus * u / r + poisson * radial) / -radial


@pytest.mark.parametrize(("bore", "hub"), [(12.0, 13.0), (12.0, 24.0), (60.0, 100.0), (5.0, 50.0)])
def test_the_pressure_agrees_with_equilibrium_integrated_ring_by_ring(
    bore: float, hub: float
) -> None:
    e = ALUMINIUM_ON_STEEL
    widened, hoop = ring_by_elements(bore, hub, e["hub_modulus_mpa"], e["hub_poisson"])
    # A solid shaft under even pressure is squeezed evenly: u = (1 - nu) p r / E.
    squeezed = (1 - e["shaft_poisson"]) * bore / 2 / e["shaft_modulus_mpa"]
    pressure = 0.02 / (2 * (widened + squeezed))
    assert fit_pressure(0.02, bore, joint_compliance(bore, hub, **e)) == pytest.approx(
        pressure, rel=1e-4
    )
    assert ring_factor(bore, hub) == pytest.approx(hoop, rel=1e-4)


def test_a_thin_ring_on_a_rigid_shaft_is_pressed_as_a_hoop() -> None:
    # strain delta / d, tension E delta / d, p = tension * s / r: computed
    wall, radius, delta = 0.02, 20.0, 0.01
    rigid = {**STEEL, "shaft_modulus_mpa": 1e7}
    pressure = fit_pressure(delta, 40.0, joint_compliance(40.0, 40.0 + 2 * wall, **rigid))
    assert pressure == pytest.approx(210e3 * wall * delta / (2 * radius**2), rel=2e-3)


@given(pressure=st.floats(0.0, 1e3), bore=st.floats(1.0, 100.0), wall=st.floats(0.01, 3.0))
def test_the_pressure_for_a_hoop_stress_gives_that_stress(
    pressure: float, bore: float, wall: float
) -> None:
    hub = bore * (1.0 + wall)
    stress = hoop_stress(pressure, bore, hub)
    assert pressure_for_hoop_stress(stress, bore, hub) == pytest.approx(pressure)


@given(delta=st.floats(0.001, 0.5), bore=st.floats(2.0, 100.0), wall=st.floats(0.02, 3.0))
def test_the_least_hub_for_a_stress_has_that_stress(delta: float, bore: float, wall: float) -> None:
    hub = bore * (1.0 + wall)
    pressure = fit_pressure(delta, bore, joint_compliance(bore, hub, **ALUMINIUM_ON_STEEL))
    stress = hoop_stress(pressure, bore, hub)
    if stress < 1e5:
        found = least_hub_diameter(delta, bore, stress, **ALUMINIUM_ON_STEEL)
        assert found == pytest.approx(hub, rel=1e-6)


def test_no_hub_is_thick_enough_for_some_bites_and_any_is_for_others() -> None:
    assert least_hub_diameter(1.0, 12.0, 100.0, **STEEL) == math.inf
    assert least_hub_diameter(1e-6, 12.0, 100.0, **STEEL) == 12.0


@pytest.mark.parametrize(("bore", "hub"), [(12.0, 13.0), (12.0, 24.0), (60.0, 100.0), (5.0, 50.0)])
def test_the_equivalent_stress_is_that_of_the_principal_stresses_at_the_bore(
    bore: float, hub: float
) -> None:
    # Hoop stress of the ring integrated step by step, -1 MPa along the radius, none along the
    # axis; von Mises by the differences of the principal stresses (from memory).
    _, hoop = ring_by_elements(bore, hub, 70e3, 0.33)
    a, b, c = hoop, -1.0, 0.0
    expected = math.sqrt(((a - b) ** 2 + (b - c) ** 2 + (c - a) ** 2) / 2)
    assert equivalent_stress(1.0, bore, hub) == pytest.approx(expected, rel=1e-4)
    assert pressure_for_equivalent_stress(expected, bore, hub) == pytest.approx(1.0, rel=1e-4)
    # never nearer to the hoop stress than a thin ring, never farther than a thick one
    assert 1.0 < expected / hoop < math.sqrt(3)


@given(
    delta=st.floats(0.001, 0.5),
    bore=st.floats(2.0, 100.0),
    wall=st.floats(0.001, 10.0),
    limit=st.floats(5.0, 2000.0),
    hub_modulus=st.sampled_from([20e3, 70e3, 210e3]),
)
@example(delta=0.03, bore=12.0, wall=0.05, limit=174.6, hub_modulus=70e3)  # a range of hubs
def test_hubs_within_the_range_for_an_equivalent_stress_stay_within_it_and_no_others(
    delta: float, bore: float, wall: float, limit: float, hub_modulus: float
) -> None:
    e = {**STEEL, "hub_modulus_mpa": hub_modulus}
    hub = bore * (1.0 + wall)
    pressure = fit_pressure(delta, bore, joint_compliance(bore, hub, **e))
    stress = equivalent_stress(pressure, bore, hub)
    least, most = hubs_for_equivalent_stress(delta, bore, limit, **e)
    if abs(stress / limit - 1.0) > 1e-9:
        assert (stress <= limit) == (least <= hub <= most)


def test_a_thicker_hub_is_not_always_stressed_less() -> None:
    # computed: at a strain of 0.0025 an aluminium hub on steel has sigma_v = 175.0 MPa where
    # it is a film, a little less at 13 mm, and 192 where it is thick.
    least, most = hubs_for_equivalent_stress(0.03, 12.0, 174.6, **ALUMINIUM_ON_STEEL)
    assert 12.0 < least < 13.0 < most < 14.0
    assert hubs_for_equivalent_stress(0.03, 12.0, 100.0, **ALUMINIUM_ON_STEEL) == (INF, INF)
    assert hubs_for_equivalent_stress(0.03, 12.0, 500.0, **ALUMINIUM_ON_STEEL) == (12.0, INF)
    assert hubs_for_equivalent_stress(0.03, 12.0, 360.0, **STEEL)[1] == INF


def test_the_collapse_pressure_agrees_with_equilibrium_of_flowing_rings() -> None:
    # d(sigma_r)/dr = (sigma_t - sigma_r) / r with sigma_t - sigma_r = 2 S / sqrt(3): summed
    steps, inner, outer, strength = 20000, 6.0, 12.0, 250.0
    h = (outer - inner) / steps
    total = sum(2 / math.sqrt(3) * strength * h / (inner + (i + 0.5) * h) for i in range(steps))
    assert collapse_pressure(strength, 2 * inner, 2 * outer) == pytest.approx(total, rel=1e-6)


# -- forces --------------------------------------------------------------------


def test_full_shear_is_that_of_all_crests_together() -> None:
    # 75 crests, each 0.1 mm wide at the bore, 10 mm long, 300 MPa / sqrt(3): computed
    bore, teeth, width = 12.0, 75, 0.1
    share = teeth * width / (math.pi * bore)
    force = teeth * width * 10.0 * 300.0 / math.sqrt(3)
    assert shear_force(share, 300.0, 1000.0, bore, 10.0) == pytest.approx(force)
    ribs = (math.pi * bore - teeth * width) * 10.0 * 50.0 / math.sqrt(3)
    assert shear_force(share, 300.0, 50.0, bore, 10.0) == pytest.approx(ribs)


def test_ploughing_is_the_section_of_all_crests_under_the_indentation_pressure() -> None:
    # 75 crests of 0.005 mm² each; 2k (1 + pi/2) with 2k = 1.1547 S: about 2.97 S, computed
    layer = 75 * 0.005 / (math.pi * 12.0)
    assert ploughing_force(layer, 12.0, 270.0) == pytest.approx(75 * 0.005 * 2.968 * 270, rel=1e-3)


def test_friction_holds_its_share_of_the_pressure_on_the_bore() -> None:
    assert friction_force(50.0, 0.1, 12.0, 10.0) == pytest.approx(0.1 * 50 * math.pi * 12 * 10)


# -- ranges --------------------------------------------------------------------

NAN, INF = math.nan, math.inf
RING = {"bore_mm": 12.0, "hub_mm": 24.0}
TEETH = {"bite_mm": 0.1, "height_mm": 0.2, "full_height_mm": 0.25, "family": "straight"}
SHEAR = {
    "share": 0.3,
    "shaft_strength_mpa": 300.0,
    "hub_strength_mpa": 250.0,
    "bore_mm": 12.0,
    "length_mm": 10.0,
}
GOOD: list[tuple[Callable[..., object], dict[str, Any]]] = [
    (hole_limits, {"bore_mm": 12.0, "tolerance": "H7"}),
    (bearing_share, TEETH),
    (mean_bite, TEETH),
    (ring_factor, RING),
    (joint_compliance, {**RING, **STEEL}),
    (fit_pressure, {"interference_mm": 0.01, "bore_mm": 12.0, "compliance": 1e-5}),
    (hoop_stress, {"pressure_mpa": 50.0, **RING}),
    (pressure_for_hoop_stress, {"stress_mpa": 50.0, **RING}),
    (equivalent_stress, {"pressure_mpa": 50.0, **RING}),
    (pressure_for_equivalent_stress, {"stress_mpa": 50.0, **RING}),
    (
        hubs_for_equivalent_stress,
        {"interference_mm": 0.01, "bore_mm": 12.0, "stress_mpa": 100.0, **STEEL},
    ),
    (collapse_pressure, {"strength_mpa": 250.0, **RING}),
    (
        least_hub_diameter,
        {"interference_mm": 0.01, "bore_mm": 12.0, "stress_mpa": 100.0, **STEEL},
    ),
    (
        friction_force,
        {"pressure_mpa": 50.0, "friction": 0.1, "bore_mm": 12.0, "length_mm": 10.0},
    ),
    (shear_force, SHEAR),
    (ploughing_force, {"layer_mm": 0.01, "bore_mm": 12.0, "flow_stress_mpa": 270.0}),
]
NUMBERS = [
    (function, good, name)
    for function, good in GOOD
    for name, value in good.items()
    if not isinstance(value, str)
]


def test_every_formula_has_its_ranges_tried() -> None:
    assert {function.__name__ for function, _ in GOOD} == set(fit.__all__)


@pytest.mark.few(15)
@pytest.mark.parametrize(
    ("function", "good", "name"), NUMBERS, ids=lambda v: getattr(v, "__name__", str(v)[:20])
)
def test_a_formula_refuses_each_argument_outside_its_range_by_name(
    function: Callable[..., object], good: dict[str, Any], name: str
) -> None:
    assert function(**good) is not None
    for value in (-1.0, NAN, INF, -INF):
        with pytest.raises(OutOfRangeError, match="is out of range") as error:
            function(**{**good, name: value})
        assert error.value.key == name


def test_a_hub_no_larger_than_its_bore_is_no_ring() -> None:
    with pytest.raises(OutOfRangeError, match="hub_mm"):
        ring_factor(12.0, 12.0)
