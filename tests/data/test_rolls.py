"""Rolls and the sets of them that make a knurl."""

from __future__ import annotations

import pytest

from knurlcam.data.knurls import (
    forms,
)
from knurlcam.data.rolls import roll_sets, rolls
from knurlcam.errors import InputError


@pytest.mark.few(5)
@pytest.mark.parametrize(
    ("form", "count", "rolls"),
    [  # DIN 82:1973-01, p. 1 to 3, read; BL with BR for RGE from memory
        ("RAA", 1, ("AA",)),
        ("RAA", 2, ("AA", "AA")),
        ("RBL", 1, ("BR",)),
        ("RBL", 2, ("BR", "BR")),
        ("RBR", 1, ("BL",)),
        ("RBR", 2, ("BL", "BL")),
        ("RGE", 2, ("BL", "BR")),
        ("RGE", 1, ("GV",)),
        ("RGV", 1, ("GE",)),
        ("RKE", 1, ("KV",)),
        ("RKV", 1, ("KE",)),
    ],
)
def test_default_rolls_are_those_of_the_standard(
    form: str, count: int, rolls: tuple[str, ...]
) -> None:
    first = next(row for row in roll_sets(form) if len(row.rolls) == count)
    assert (first.rolls, first.swivelled) == (rolls, False)


def test_every_form_has_rolls_and_every_roll_is_used() -> None:
    used = {roll for form in forms() for row in roll_sets(form) for roll in row.rolls}
    assert used == set(rolls())


def test_only_straight_and_helical_rolls_traverse() -> None:
    assert {form for form, roll in rolls().items() if roll.traverses} == {"AA", "BL", "BR"}


def test_only_rolls_that_traverse_are_paired_or_swivelled() -> None:
    for row in (row for form in forms() for row in roll_sets(form)):
        plunges = not all(rolls()[roll].traverses for roll in row.rolls)
        assert not (plunges and (row.swivelled or len(row.rolls) == 2)), row


def test_a_form_without_rolls_is_refused_with_the_nearest() -> None:
    with pytest.raises(InputError, match=r"given: 'RGX'.*did you mean 'RG[EV]'\?"):
        roll_sets("RGX")
