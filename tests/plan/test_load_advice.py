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


def advice(changes: dict[str, Any]) -> str:
    return notes_of(changes)["gives-way"].message


def lost_share(changes: dict[str, Any]) -> float:
    made = deflection_of(changes)
    return made.lost_mm / made.set_up.penetration_mm


def test_work_held_as_far_as_advised_loses_a_tenth() -> None:
    slender = {**PIN, "part.length": 45.0}
    said = re.search(r"held at most ([\d.]+) mm from the end", advice(slender))
    assert said is not None
    assert lost_share({**slender, "part.length": float(said[1])}) == pytest.approx(0.1, abs=2e-3)


@pytest.mark.parametrize("steps", [False, True])
def test_work_as_thick_as_advised_loses_a_tenth(steps: bool) -> None:
    slender: dict[str, Any] = {**PIN, "part.length": 45.0, "tool.style": "revolving head"}
    slender |= {"part.steps": "12 x 20, 11 x 25"} if steps else {}
    text = advice(slender)
    plan = plan_of(slender)
    said = re.search(r"(?i)on a blank of ([\d.]+) mm|on work ([\d.]+) times as thick", text)
    assert said is not None
    blank = float(said[1] or float(said[2]) * plan.blank_diameter_mm)
    thick = {
        **slender,
        "part.knurled_diameter": REMOVE,
        "part.blank_diameter": blank,
        "process.accept": ["does-not-track"],
        "process.fullness": plan.fullness,
    }
    if steps:
        factor = float(said[2])
        thick["part.steps"] = f"{blank} x 20, {11 * factor} x 25"
    assert lost_share(thick) == pytest.approx(0.1, abs=3e-3)


def test_other_ways_of_holding_are_advised_with_the_depth_uniformity_that_they_give() -> None:
    slender = {**PIN, "part.length": 60.0}
    text = advice(slender)
    for name, method in (
        ("between centres", "between centres"),
        ("in a chuck with a centre", "chuck and centre"),
    ):
        said = re.search(rf"held {name}, depth uniformity ([\d.]+)", text)
        assert said is not None
        other = deflection_of(
            {"part.length": 60.0, "part.knurled_diameter": 12.0, "holding.method": method}
            | {"holding.centre_diameter": REMOVE}
        )
        assert float(said[1]) == pytest.approx(other.evenness, abs=0.005)
    assert "with a straddle, the forces of whose rolls cancel" in text
    assert "process.compensate = true" in text


def test_passes_as_many_as_advised_leave_the_depth_uniformity_that_is_shown() -> None:
    said = re.search(r"in 8 passes instead of 4, depth uniformity ([\d.]+)", advice(LONG))
    assert said is not None
    more = deflection_of({**LONG, "process.passes": 8})
    assert float(said[1]) == pytest.approx(more.evenness, abs=0.006)
    assert more.evenness > deflection_of(LONG).evenness


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


def test_a_straddle_is_advised_only_where_the_work_is_stiff_enough_for_it() -> None:
    assert "with a straddle, the forces of whose rolls cancel" in advice(LONG)
    soft = {**LONG, "part.knurled_diameter": 5.0, "holding.centre_diameter": 2.0}
    message = refusals_of(soft)["deflects-too-far"].message
    assert "on a blank of" in message
    assert "with a straddle, the forces of whose rolls cancel" not in message


def test_a_pin_that_compensation_would_bend_for_good_is_not_advised_it() -> None:
    stiff, soft = {**PIN, "part.length": 50.0}, {**CHUCK, **NEARLY_BENT}
    assert "process.compensate" in advice(stiff)
    assert deflection_of(soft).bending_mpa(compensated=True)[0] > 260.0
    assert "process.compensate" not in advice(soft)
