"""Loads of a set-up: forces, torque and power of plans, worked out by hand beside them."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knurlcam.mechanics.setup_loads import Loads
from tests.support.jobs import REMOVE
from tests.support.loads import PLUNGED, SINGLE, STRADDLE, plan_of, set_up_of


def loads_of(changes: dict[str, Any] | None = None) -> Loads:
    return set_up_of(changes).loads


def test_the_net_push_is_that_of_each_tool_style() -> None:
    single, twin, straddle = (set_up_of(c) for c in (SINGLE, {}, STRADDLE))
    assert single.loads.net_push_n == pytest.approx(single.loads.radial_force_n)
    phi = math.asin(10.5 / (twin.contact.blank_radius_mm + 10.0 - twin.penetration_mm))
    by_cosines = 2.0 * twin.loads.radial_force_n * math.cos(phi)
    assert twin.loads.net_push_n == pytest.approx(by_cosines, rel=1e-12)
    assert straddle.loads.net_push_n == pytest.approx(0.0, abs=1e-6)
    shallower = straddle.loads_at(straddle.penetration_mm / 2.0, straddle.penetration_mm / 4.0)
    assert 0.0 < shallower.net_push_n < 0.2 * shallower.radial_force_n


def test_the_force_of_a_plan_is_that_of_its_own_figures_worked_out_by_hand() -> None:
    plan = plan_of()
    rb, rr, c = plan.blank_diameter_mm / 2.0, 10.0, plan.penetration_mm
    two_k = 2.0 / math.sqrt(3.0) * (260.0 + 310.0) / 2.0  # 6082-T6 of the material table
    # One turn of infeed, at the angle of the knuckle joint's rolls.
    first = math.sqrt((rb + rr) ** 2 - 10.5**2) - plan.infeed_mm_per_rev
    increment = rb + rr - math.hypot(first, 10.5)
    teeth = math.sqrt(2.0 * increment * rb * rr / (rb + rr)) / 1.0
    by_hand = 4.4714 * two_k * c * 10.0 * teeth
    loads = plan.estimate.loads if plan.estimate else None
    assert loads is not None
    assert loads.radial_force_n == pytest.approx(by_hand, rel=1e-4)
    assert loads.teeth == pytest.approx(teeth)
    assert loads.power_w == pytest.approx(loads.torque_nm * 2 * math.pi * plan.spindle_rpm / 60)


def test_a_plunge_pushes_along_only_with_teeth_of_one_hand() -> None:
    assert loads_of({**SINGLE, **PLUNGED}).axial_force_n == 0.0
    helical = loads_of({**SINGLE, **PLUNGED, "knurl.callout": "RBL 1.0"})
    radius = 25.0 / 2.0
    # As the axial force of a helical gear: the tangential one times tan(psi).
    around = helical.torque_nm * 1000.0 / radius
    assert helical.axial_force_n == pytest.approx(around * math.tan(math.radians(30)), rel=0.05)
    assert loads_of(SINGLE).axial_force_n > 0.1 * loads_of(SINGLE).radial_force_n


def test_only_the_face_on_the_work_presses() -> None:
    narrow = loads_of({**SINGLE, "knurl.length": 6.0})
    whole = loads_of({**SINGLE, "knurl.length": 10.0})
    assert narrow.face_mm == 6.0
    assert narrow.radial_force_n == pytest.approx(0.6 * whole.radial_force_n)


@given(
    diameter=st.floats(8.0, 60.0),
    fullness=st.floats(0.6, 1.0),
    passes=st.integers(1, 9),
    form=st.sampled_from(["RAA", "RBL", "RGE"]),
    pitch=st.sampled_from([0.5, 0.8, 1.0, 1.2]),
)
@settings(max_examples=60)
def test_the_likely_force_lies_within_its_range(
    diameter: float, fullness: float, passes: int, form: str, pitch: float
) -> None:
    loads = loads_of(
        {
            "part.knurled_diameter": REMOVE,
            "part.blank_diameter": diameter,
            "knurl.callout": f"{form} {pitch}",
            "process.passes": passes,
            "process.fullness": fullness,
            "process.accept": ["does-not-track", "bends-the-work", "doubles", "shallow-on-part"],
            "holding.centre_diameter": REMOVE,
        }
    )
    assert 0 < loads.radial_force_low_n < loads.radial_force_n < loads.radial_force_high_n
    assert loads.net_push_n <= 2.0 * loads.radial_force_n
    assert loads.torque_nm > 0


def test_more_passes_lower_the_least_force_only() -> None:
    few, many = loads_of({"process.passes": 2}), loads_of({"process.passes": 8})
    assert many.radial_force_low_n < few.radial_force_low_n / 2.0
    assert many.radial_force_n == pytest.approx(few.radial_force_n, rel=0.1)
    assert many.radial_force_high_n == pytest.approx(few.radial_force_high_n, rel=0.02)


def test_a_slower_infeed_lowers_the_likely_force_as_its_root() -> None:
    slow, fast = (loads_of({**PLUNGED, "process.infeed_rate": rate}) for rate in (0.02, 0.08))
    assert fast.radial_force_n == pytest.approx(2.0 * slow.radial_force_n, rel=0.05)
    assert fast.radial_force_high_n == pytest.approx(slow.radial_force_high_n, rel=0.06)


def test_an_infeed_as_deep_as_the_knurl_presses_it_afresh() -> None:
    changes = {**SINGLE, **PLUNGED, "process.infeed_rate": 0.3, "part.material": "42CrMo4"}
    set_up = set_up_of(changes)
    afresh = set_up.high_pressing.roll_force_n(set_up.penetration_mm, 10.0)
    share = set_up.high_pressing.pressure_mpa / set_up.pressing.pressure_mpa
    assert set_up.loads.radial_force_n == pytest.approx(afresh / share)


@pytest.mark.parametrize("figure", ["radial_force_{}n", "net_push_{}n", "axial_force_{}n"])
@pytest.mark.parametrize("changes", [{}, {**SINGLE, "knurl.callout": "RBL 1.0"}])
def test_every_force_has_its_ends(figure: str, changes: dict[str, Any]) -> None:
    low, likely, high = (
        getattr(loads_of(changes), figure.format(e)) for e in ("low_", "", "high_")
    )
    assert 0.0 < low < likely < high


def test_torque_is_the_work_of_what_a_turn_presses_anew() -> None:
    # Summed by hand over the last turn of a plunge: pressure on what touches, the increment deep.
    set_up = set_up_of({**SINGLE, **PLUNGED})
    c, increment, steps = set_up.penetration_mm, set_up.pressing.fresh.infeed_mm, 1000
    depths = [c - increment * (i + 0.5) / steps for i in range(steps)]
    touching = sum(set_up.pressing.share(d) for d in depths) / steps
    work = set_up.pressing.pressure_mpa * touching * increment * 10.0  # for each mm of its way [N]
    by_hand = work * set_up.contact.blank_radius_mm / 1000.0
    loads = set_up.loads
    assert loads.torque_nm == pytest.approx(by_hand, rel=1e-6)
    assert loads.torque_low_nm < loads.torque_nm < loads.torque_high_nm


def test_the_whole_force_rises_with_the_metals_strength() -> None:
    soft = loads_of({"part.material": "aluminium 6082-T6"})
    hard = loads_of({"part.material": "42CrMo4"})
    assert hard.radial_force_n > 1.5 * soft.radial_force_n
