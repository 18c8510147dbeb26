"""What is advised against deflection holds when it is followed."""

from __future__ import annotations

import re
from typing import Any

import pytest

from tests.support.jobs import REMOVE
from tests.support.loads import CHUCK, LONG, deflection_of, notes_of, plan_of, set_up_of


def advice(changes: dict[str, Any]) -> str:
    return notes_of(changes)["gives-way"].message


def lost_share(changes: dict[str, Any]) -> float:
    made = deflection_of(changes)
    return made.lost_mm / made.set_up.penetration_mm


def test_work_held_as_far_as_advised_loses_a_tenth() -> None:
    slender = {**CHUCK, "part.length": 45.0}
    said = re.search(r"held at most ([\d.]+) mm from the end", advice(slender))
    assert said is not None
    assert lost_share({**slender, "part.length": float(said[1])}) == pytest.approx(0.1, abs=2e-3)


def test_rolls_as_narrow_as_advised_lose_a_tenth() -> None:
    slender = {"part.length": 90.0, "knurl.length": 60.0}
    said = re.search(r"rolls at most ([\d.]+) mm wide", advice(slender))
    assert said is not None
    narrow = lost_share({**slender, "tool.face_width": float(said[1])})
    assert narrow == pytest.approx(0.1, abs=2e-3)


@pytest.mark.parametrize("steps", [False, True])
def test_work_as_thick_as_advised_loses_a_tenth(steps: bool) -> None:
    slender: dict[str, Any] = {**CHUCK, "part.length": 45.0, "tool.style": "revolving head"}
    slender |= {"part.steps": "25 x 20, 22 x 25"} if steps else {}
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
        thick["part.steps"] = f"{blank} x 20, {22 * factor} x 25"
    assert lost_share(thick) == pytest.approx(0.1, abs=3e-3)


def test_other_ways_of_holding_are_advised_with_the_depth_uniformity_that_they_give() -> None:
    slender = {**CHUCK, "part.length": 60.0}
    text = advice(slender)
    for name, method in (
        ("between centres", "between centres"),
        ("in a chuck with a centre", "chuck and centre"),
    ):
        said = re.search(rf"held {name}, depth uniformity ([\d.]+)", text)
        assert said is not None
        other = deflection_of({"part.length": 60.0, "holding.method": method})
        assert float(said[1]) == pytest.approx(other.evenness, abs=0.005)
    assert "with a straddle, the forces of whose rolls cancel" in text
    assert "process.compensate = true" in text


def test_passes_as_many_as_advised_take_the_force_that_is_shown() -> None:
    said = re.search(
        r"in 8 passes instead of 4 the last may need only (\d+) N per roll", advice(LONG)
    )
    assert said is not None
    more = set_up_of({**LONG, "process.passes": 8}).loads.radial_force_low_n
    assert float(said[1]) == pytest.approx(more, rel=0.05)


def test_a_smaller_pitch_pushes_less_and_is_no_more_even() -> None:
    # Force over penetration goes as 1 / sqrt(t): a finer knurl is not advised for evenness.
    coarse = deflection_of({**LONG, "knurl.callout": "RGE 1.6", "part.knurled_diameter": 25.4})
    fine = deflection_of({**LONG, "knurl.callout": "RGE 0.8", "part.knurled_diameter": 25.4})
    assert fine.set_up.loads.net_push_n < coarse.set_up.loads.net_push_n
    assert fine.evenness < coarse.evenness


def test_a_straddle_is_advised_only_where_the_work_is_stiff_enough_for_it() -> None:
    assert "with a straddle, the forces of whose rolls cancel" in advice(LONG)
    soft = {**LONG, "part.knurled_diameter": 10.0, "holding.centre_diameter": 3.0}
    assert "with a straddle, the forces of whose rolls cancel" not in advice(soft)
