"""What is advised against deflection holds when it is followed."""

from __future__ import annotations

import re
from typing import Any

import pytest

from tests.support.jobs import REMOVE
from tests.support.loads import (
    CHUCK,
    LONG,
    NEARLY_BENT,
    deflection_of,
    notes_of,
    plan_of,
    refusals_of,
    set_up_of,
)

PIN = {**CHUCK, "part.knurled_diameter": 12.0}
"""A pin that stands out of a chuck."""


def advice(changes: dict[str, Any], old: str = "", new: str = "") -> str:
    accepted = {**changes, "process.accept": ["shallow-on-part"]}
    return notes_of(accepted)["gives-way"].message.replace(old, new)


def lost_share(changes: dict[str, Any]) -> float:
    made = deflection_of(changes)
    return made.lost_mm / made.set_up.penetration_mm


def test_work_held_as_far_as_advised_loses_a_tenth() -> None:
    slender = {**PIN, "part.length": 45.0}
    said = re.search(r"held at most ([\d.]+) mm from the end", advice(slender))
    assert said is not None
    assert lost_share({**slender, "part.length": float(said[1])}) == pytest.approx(0.1, abs=2e-3)


def test_work_as_thick_as_advised_loses_a_tenth_at_most() -> None:
    slender: dict[str, Any] = {**PIN, "part.length": 45.0, "tool.style": "revolving head"}
    said = re.search(r"with a knurled diameter of ([\d.]+) mm no more", advice(slender, "W", "w"))
    assert said is not None
    thick = lost_share({**slender, "part.knurled_diameter": float(said[1])})
    assert 0.05 < thick <= 0.1


def test_of_stepped_work_no_other_diameter_is_advised() -> None:
    slender = {**PIN, "part.length": 45.0, "part.steps": "12 x 20, 11 x 25"}
    assert "no more than a tenth" not in advice(slender)


def test_other_ways_of_holding_are_advised_with_the_depth_uniformity_that_they_give() -> None:
    slender = {**PIN, "part.length": 60.0, "process.accept": ["shallow-on-part"]}
    text = advice(slender)
    for name, method in (
        ("between centres", "between centres"),
        ("in a chuck with a dead centre", "chuck and centre"),
    ):
        said = re.search(rf"(?i)held {name}, depth uniformity ([\d.]+)", text)
        assert said is not None
        other = plan_of(
            {"part.length": 60.0, "part.knurled_diameter": 12.0, "holding.method": method}
            | {"holding.centre_diameter": REMOVE}
        )
        assert float(said[1]) == pytest.approx(other.expected.evenness, abs=0.005)
    assert "process.compensate = true" in text


def test_a_smaller_pitch_presses_as_hard_and_is_no_more_even() -> None:
    # At one fullness the share that touches is the same: a finer knurl is not advised for evenness.
    coarse = deflection_of({**LONG, "knurl.callout": "RGE 1.6", "part.knurled_diameter": 25.4})
    fine = deflection_of({**LONG, "knurl.callout": "RGE 0.8", "part.knurled_diameter": 25.4})
    force = fine.set_up.loads.radial_force_n
    assert force == pytest.approx(coarse.set_up.loads.radial_force_n, rel=0.05)
    assert fine.evenness < coarse.evenness


@pytest.mark.parametrize("changes", [{"tool.face_width": 5.0}, {"process.infeed_rate": 0.0125}])
def test_what_is_advised_against_a_high_force_halves_it(changes: dict[str, Any]) -> None:
    # Half of the face; and a quarter of the infeed, whose root it is.
    base = {**PIN, "knurl.length": 20.0}
    half = set_up_of({**base, **changes}).loads.radial_force_n
    assert half == pytest.approx(set_up_of(base).loads.radial_force_n / 2.0, rel=0.01)


def test_a_straddle_is_advised_with_the_depth_uniformity_that_it_gives() -> None:
    soft = {**LONG, "part.knurled_diameter": 5.0, "holding.centre_diameter": 2.0}
    message = refusals_of(soft)["deflects-too-far"].message
    assert "with a knurled diameter of" in message
    said = re.search(r"with a straddle, .* cancel, depth uniformity ([\d.]+)", message)
    assert said is not None
    straddle = {"tool.style": "straddle", "tool.roll_spacing": REMOVE}
    made = plan_of({**soft, **straddle})
    assert float(said[1]) == pytest.approx(made.expected.evenness, abs=0.005)


def test_a_pin_that_compensation_would_bend_for_good_is_not_advised_it() -> None:
    stiff, soft = {**PIN, "part.length": 50.0}, {**CHUCK, **NEARLY_BENT}
    soft |= {"process.accept": ["shallow-on-part"]}
    assert "process.compensate" in advice(stiff)
    assert deflection_of(soft).bending_mpa(compensated=True)[0] > 260.0
    assert "process.compensate" not in advice(soft)
