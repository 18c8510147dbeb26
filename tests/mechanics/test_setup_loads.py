"""Loads of a set-up: forces, torque and power of plans, worked out by hand beside them."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knurlcam import Job, make_plan
from knurlcam.mechanics.loads import (
    FlowStress,
)
from knurlcam.mechanics.setup_loads import Loads, SetUp
from knurlcam.plan.model import Plan
from tests.support.jobs import REMOVE, base_job


def plan_of(changes: dict[str, Any] | None = None) -> Plan:
    return make_plan(Job.model_validate(base_job(changes or {})))


def set_up_of(changes: dict[str, Any] | None = None) -> SetUp:
    found = plan_of(changes).estimate
    assert found is not None
    return found.set_up


def loads_of(changes: dict[str, Any] | None = None) -> Loads:
    return set_up_of(changes).loads


SINGLE = {"tool.style": "single roll", "tool.roll_spacing": REMOVE, "knurl.callout": "RAA 1.0"}
STRADDLE = {"tool.style": "straddle", "tool.roll_spacing": REMOVE}
PLUNGED = {"knurl.length": 10.0}


def test_the_net_push_is_that_of_each_tool_style() -> None:
    single, twin, straddle = (set_up_of(c) for c in (SINGLE, {}, STRADDLE))
    assert single.loads.net_push_n == single.loads.radial_force_n
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
    teeth = math.sqrt(2.0 * c * rb * rr / (rb + rr)) / 1.0
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
            "process.accept": ["does-not-track"],
            "holding.centre_diameter": REMOVE,
        }
    )
    assert 0 < loads.radial_force_low_n < loads.radial_force_n < loads.radial_force_high_n
    assert loads.net_push_n <= 2.0 * loads.radial_force_n
    assert loads.torque_nm > 0


def test_more_passes_lower_the_least_force_only() -> None:
    few, many = loads_of({"process.passes": 2}), loads_of({"process.passes": 8})
    assert many.radial_force_low_n < few.radial_force_low_n / 2.0
    assert many.radial_force_n == few.radial_force_n
    assert many.radial_force_high_n == few.radial_force_high_n


def test_one_pass_has_the_mean_depth_of_its_arc_at_the_lower_end() -> None:
    # Depth along the arc falls as a parabola: its mean is two thirds.
    set_up = set_up_of({**SINGLE, **PLUNGED})
    flow: FlowStress = set_up.flow
    share = flow.low_mpa / flow.likely_mpa * 2.0 / 3.0
    loads = set_up.loads
    assert loads.radial_force_low_n == pytest.approx(share * loads.radial_force_n)


def test_the_whole_force_rises_with_the_metals_strength() -> None:
    soft = loads_of({"part.material": "aluminium 6082-T6"})
    hard = loads_of({"part.material": "42CrMo4"})
    assert hard.radial_force_n > 1.5 * soft.radial_force_n
