"""What the job gives and its strategy does not use is noted, and nothing else is."""

from __future__ import annotations

from typing import Any

import pytest

from tests.support.jobs import REMOVE
from tests.support.plans import notes_of, plan_of

PLUNGE = {"knurl.length": 8.0, "process.feed": REMOVE}


@pytest.mark.parametrize(
    "changes",
    [
        {"process.feed": 0.5},
        {"process.clean_up": True},
        {"process.clean_up": False},
        {"process.trial_strip": True, "process.trial_length": 5.0},
        {"tool.bevelled_rolls": True},
        {"machine.reversal_speed_limit": 140},
    ],
    ids=lambda changes: list(changes)[-1],
)
def test_what_only_a_traverse_uses_is_noted_in_a_plunge(changes: dict[str, Any]) -> None:
    note = notes_of(plan_of({**PLUNGE, **changes}))["not-used"]
    assert note.severity == "note"
    assert note.message.startswith(f"this plunge does not use {list(changes)[-1]} (")


def test_what_is_given_and_used_is_not_noted() -> None:
    assert "not-used" not in notes_of(plan_of(PLUNGE))
    used = {"process.feed": 0.5, "process.clean_up": True, "machine.reversal_speed_limit": 140}
    assert "not-used" not in notes_of(plan_of(used))


def test_bevelled_rolls_are_noted_where_the_knurl_starts_at_the_end() -> None:
    bevelled = {"tool.bevelled_rolls": True}
    note = notes_of(plan_of(bevelled))["not-used"]
    assert "this traverse does not use tool.bevelled_rolls" in note.message
    assert "not-used" not in notes_of(plan_of({**bevelled, "knurl.start": 5.0}))
