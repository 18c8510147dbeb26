"""What the estimate takes from the job, and what scripts find of it in the plan."""

from __future__ import annotations

import pytest

from knurlcam.mechanics.setup_loads import RollTravel, Teeth
from knurlcam.plan.load_advice import ALLOWED_LOSS
from knurlcam.plan.loads import pieces_of
from tests.support.loads import (
    FOLLOWED,
    OWN,
    PLUNGED,
    SINGLE,
    plan_of,
    set_up_of,
)


def test_under_the_knurl_stepped_work_has_the_blanks_diameter() -> None:
    changes = {"part.steps": "25 x 30, 18 x 40", "knurl.length": 20.0}
    plan = plan_of({**changes, "tool.tracking_correction": 0.0})
    pieces = pieces_of(plan.job, plan.blank_diameter_mm)
    assert [(p.length_mm, round(p.diameter_mm, 3)) for p in pieces] == [
        (40.0, 18.0),
        (10.0, 25.0),
        (20.0, 24.626),
    ]


def test_the_json_has_what_scripts_rely_on() -> None:
    plain = plan_of().to_dict()
    assert set(plain["loads"]) >= {
        "radial_force_n",
        "radial_force_low_n",
        "radial_force_high_n",
        "net_push_n",
        "axial_force_n",
        "torque_nm",
        "power_w",
    }
    assert set(plain["deflection"]) >= {"max_mm", "z_mm", "evenness", "evenness_compensated"}
    for figure in ("radial_force_{}n", "net_push_{}n", "axial_force_{}n", "torque_{}nm"):
        low, likely, high = (plain["loads"][figure.format(e)] for e in ("low_", "", "high_"))
        assert 0.0 < low < likely < high
    deflection = plain["deflection"]
    assert 0.0 < deflection["max_low_mm"] < deflection["max_mm"] < deflection["max_high_mm"]
    assert deflection["bending_stress_mpa"] <= deflection["bending_stress_high_mpa"]
    assert deflection["fed_mm"] > deflection["max_mm"], "the whole face presses at the ends"
    assert 0.99 < plain["deflection"]["evenness_compensated"] <= 1.0
    assert plain["deflection"]["evenness"] < 1.0
    passes = plain["loads"]["passes"]
    assert [p["number"] for p in passes] == [1, 2, 3, 4], "a clean-up presses nothing new"
    forces = [p["radial_force_n"] for p in passes]
    assert forces == sorted(forces)
    assert forces[3] == plain["loads"]["radial_force_n"]
    along = plain["deflection"]["along"]
    assert [p["z_mm"] for p in along] == sorted(p["z_mm"] for p in along)
    assert min(p["penetration_mm"] for p in along) == pytest.approx(
        plain["penetration_mm"] - plain["deflection"]["lost_mm"], abs=1e-3
    )
    assert "follow" not in plain["passes"][0]
    followed = plan_of(FOLLOWED).to_dict()["passes"][0]
    assert followed["follow"][-1]["z_mm"] == followed["z_end_mm"]
    unknown = plan_of({"part.material": OWN}).to_dict()
    assert unknown["deflection"] is None
    assert unknown["loads"]["radial_force_n"] > 0


def test_the_teeth_of_a_plan_are_those_of_its_rolls() -> None:
    assert set_up_of().teeth == Teeth.of("ridges", 1.0, 90.0, 0.0)
    pits = {**SINGLE, **PLUNGED, "knurl.callout": "RGV 1.0", "part.knurled_diameter": 25.1}
    assert set_up_of(pits).teeth.prints == "points"
    raised = {**SINGLE, **PLUNGED, "knurl.callout": "RKE 1.0"}
    assert set_up_of(raised).teeth.prints == "crossing ridges"
    assert set_up_of({**SINGLE, "knurl.callout": "RBR 1.0"}).teeth.one_hand_deg == 30.0
    assert set_up_of({"process.passes": 1}).travel == pytest.approx(RollTravel(-20.0, -10.0 / 3.0))
    assert ALLOWED_LOSS == 0.1
