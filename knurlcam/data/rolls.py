"""Rolls, and the sets of them that make a form of knurl: ``shared/rolls.toml``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import NamedTuple

from knurlcam.data.caches import kept_until_cleared
from knurlcam.data.knurls import forms
from knurlcam.data.rows import Row, by_letters, read_table
from knurlcam.errors import nearest

__all__ = [
    "Roll",
    "RollSet",
    "RollSize",
    "din403_sizes",
    "din403_teeth",
    "every_set",
    "helical_rolls",
    "roll_sets",
    "rolls",
]


class Roll(NamedTuple):
    """A knurling roll.

    Attributes:
        form: Its letters in DIN 403, such as ``BL``.
        description: What its teeth look like.
        traverses: Whether it may be fed along the work; if not, it only plunges.
        source: Where the row comes from.
    """

    form: str
    description: str
    traverses: bool
    source: str


class RollSet(NamedTuple):
    """One way of making a knurl.

    Attributes:
        form: The knurl that it makes.
        rolls: One roll for a one-roll holder, two for a two-roll tool.
        swivelled: Whether the rolls are turned by the helix angle.
        source: Where the row comes from.
    """

    form: str
    rolls: tuple[str, ...]
    swivelled: bool
    source: str


@kept_until_cleared()
def rolls() -> Mapping[str, Roll]:
    """Return the rolls by their letters."""
    return by_letters(_roll(row) for row in read_table("rolls.toml").rows("roll"))


class RollSize(NamedTuple):
    """A roll as the table of DIN 403 has it.

    Attributes:
        form: Its letters, such as ``BL``.
        diameter_mm: Nominal diameter [mm]
        pitch_mm: Pitch across the teeth [mm]
        teeth: Teeth round the roll.
    """

    form: str
    diameter_mm: float
    pitch_mm: float
    teeth: int


@kept_until_cleared()
def roll_sets(form: str) -> tuple[RollSet, ...]:
    """Return the sets of rolls that make a knurl.

    The first with one roll, and the first with two, is the default of its kind.

    Args:
        form: Letters of the knurl, such as ``RGE``.

    Raises:
        InputError: if no set makes that form.
    """
    every = every_set()
    found = tuple(row for row in every if row.form == form)
    if not found:
        known = dict.fromkeys(row.form for row in every)
        raise read_table("rolls.toml").fault(
            "roll_set", "no rolls make this form", form, "a form of knurl", nearest(form, known)
        )
    return found


@kept_until_cleared()
def every_set() -> tuple[RollSet, ...]:
    """Return every set of rolls, in the order of the table."""
    known_rolls = tuple(rolls())
    return tuple(_roll_set(row, known_rolls) for row in read_table("rolls.toml").rows("roll_set"))


def din403_teeth(form: str, diameter_mm: float, pitch_mm: float) -> int | None:
    """Return the teeth of a roll by the table of DIN 403; None for one that it does not list.

    Args:
        form: Letters of the roll, such as ``BL``.
        diameter_mm: Its nominal diameter [mm].
        pitch_mm: Its pitch across the teeth [mm].
    """
    return _din403_table().get((form, diameter_mm, pitch_mm))


def din403_sizes() -> tuple[RollSize, ...]:
    """Return every roll of that table, by form, diameter and pitch."""
    return tuple(RollSize(*row, teeth) for row, teeth in sorted(_din403_table().items()))


@kept_until_cleared()
def _din403_table() -> Mapping[tuple[str, float, float], int]:
    found: dict[tuple[str, float, float], int] = {}
    for row in read_table("rolls.toml").rows("din403_teeth"):
        row.allow("diameter_mm", "forms", "pitches_mm", "teeth", "source")
        row.source()
        pitches, teeth = row.numbers("pitches_mm"), row.numbers("teeth")
        if len(pitches) != len(teeth):
            raise row.fault("teeth", "is not one number a pitch", list(teeth), "as many as pitches")
        for form in row.texts("forms"):
            for pitch, count in zip(pitches, teeth, strict=True):
                found[form, row.number("diameter_mm"), pitch] = int(count)
    return MappingProxyType(found)


@kept_until_cleared()
def helical_rolls() -> Mapping[str, float]:
    """Return the usual helix of each roll with helical teeth, by its letters [degrees].

    Such a roll makes a helical form as it stands, without being swivelled, so its helix is the
    form's: neither stands in the table of rolls again.
    """
    found: dict[str, float] = {}
    for roll in rolls():
        for made in every_set():
            form = forms().get(made.form)
            if roll in made.rolls and not made.swivelled and form is not None and form.helical:
                found.setdefault(roll, form.helix_deg)
    return MappingProxyType(found)


def _roll(row: Row) -> tuple[Row, Roll]:
    row.allow(*Roll._fields)
    return row, Roll(
        form=row.text("form"),
        description=row.text("description"),
        traverses=row.flag("traverses"),
        source=row.source(),
    )


def _roll_set(row: Row, known_rolls: Sequence[str]) -> RollSet:
    row.allow(*RollSet._fields)
    names = row.texts("rolls")
    if len(names) not in (1, 2):
        raise row.fault("rolls", "is not one or two rolls", list(names), "one roll or two")
    for name in names:
        if name not in known_rolls:
            raise row.fault(
                "rolls", "names an unknown roll", name, "a roll", nearest(name, known_rolls)
            )
    return RollSet(row.text("form"), names, row.flag("swivelled"), row.source())
