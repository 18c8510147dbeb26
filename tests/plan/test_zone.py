"""Traverse or plunge, and where along the work the rolls go."""

from __future__ import annotations

from typing import Any

import pytest

from tests.support.plans import (
    PITS,
    SINGLE,
    notes_of,
    plan_of,
    refusals_of,
)


@pytest.mark.parametrize(
    ("changes", "strategy"),
    [
        ({}, "traverse"),
        ({"knurl.length": 10.0}, "plunge"),
        ({"knurl.length": 8.0}, "plunge"),
        ({"knurl.length": 10.1}, "traverse"),
        ({"knurl.length": 8.0, "process.strategy": "traverse"}, "traverse"),
        (PITS, "plunge"),
        ({**SINGLE, "knurl.length": 10.0}, "plunge"),
    ],
)
def test_plunging_is_the_default_where_the_rolls_are_wide_enough(
    changes: dict[str, Any], strategy: str
) -> None:
    assert plan_of(changes).strategy == strategy


def test_a_diamond_in_a_one_roll_holder_takes_a_roll_with_pits() -> None:
    assert plan_of({**SINGLE, "knurl.length": 10.0}).rolls == ("GV",)
    assert plan_of().rolls == ("BL", "BR")


SHIFTS = {"left edge": 0.0, "centre": 5.0, "right edge": 10.0}


@pytest.mark.parametrize(("datum", "shift"), SHIFTS.items())
def test_z_says_where_the_datum_of_the_rolls_stands(datum: str, shift: float) -> None:
    plan = plan_of({"tool.z_datum": datum})
    ends = [(p.z_start_mm, p.z_end_mm) for p in plan.passes]
    # a third of the 10 mm face on the work, its end at -20, a third over the end
    entry, end, turn = -10 / 3 + shift, -20 + shift, 10 / 3 - 10 + shift
    wanted = [(entry, end), (end, turn), (turn, end), (end, turn), (turn, end)]
    assert ends == [pytest.approx(pair) for pair in wanted]


@pytest.mark.parametrize(("datum", "shift"), SHIFTS.items())
def test_a_plunge_stands_with_its_left_edge_at_the_end_of_the_knurl(
    datum: str, shift: float
) -> None:
    plan = plan_of({"knurl.length": 8.0, "tool.z_datum": datum})
    (only,) = plan.passes
    assert (only.direction, only.z_start_mm, only.z_end_mm) == ("plunge", -8 + shift, -8 + shift)
    assert plan.line_mm == -8.0
    assert plan.right_limit_mm == 2.0


def test_bevelled_rolls_stay_inside_a_zone_that_starts_away_from_the_end() -> None:
    plan = plan_of({"knurl.start": 5.0, "tool.bevelled_rolls": True})
    left = [z for p in plan.passes for z in (p.z_start_mm, p.z_end_mm)]
    assert min(left) == -25.0
    assert max(left) + 10.0 == -5.0
    assert notes_of(plan)["bevelled-rolls"].severity == "note"


def test_an_accepted_short_traverse_returns_to_where_it_entered() -> None:
    changes = {"knurl.length": 5.0, "process.strategy": "traverse"}
    plan = plan_of({**changes, "process.accept": ["traverse-too-short"]})
    assert plan.passes[1].z_end_mm == plan.passes[0].z_start_mm == pytest.approx(-10 / 3)
    # no wider than a third of the face: not even the entry fits
    refusal = refusals_of({**changes, "knurl.length": 3.0})["traverse-too-short"]
    assert not refusal.acceptable
