"""Forms of knurls and standard pitches: ``shared/knurls.toml``."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal, NamedTuple, cast

from knurlcam.data.caches import kept_until_cleared
from knurlcam.data.rows import Row, by_letters, read_table, sourced_list

__all__ = [
    "DiametralPitch",
    "Form",
    "ToothFamily",
    "diametral_pitches",
    "forms",
    "helical_forms",
    "profile_angles_deg",
    "standard_pitches_mm",
    "tooth_families",
    "trade_tpi",
]

_LETTERS = re.compile(r"[A-Z]{2,8}")
_FAMILIES = ("straight", "raised", "indented")
_HANDS = ("left", "right", "both", "none")
_CLASSES = ("I", "II", "III")


class Form(NamedTuple):
    """A form of knurl.

    Attributes:
        form: Its letters in DIN 82, such as ``RGE``.
        description: What it looks like.
        family: ``straight``, ``raised`` or ``indented``: which volume formula holds.
        helical: Whether its grooves stand at an angle to the axis.
        helix_deg: That angle unless the job says else [degrees].
        growth_factor: Growth of the diameter over the pitch, full form, 90 degrees [-].
        source: Where the row comes from.
        hand: ``left``, ``right``, ``both`` or ``none``.
    """

    form: str
    description: str
    family: Literal["straight", "raised", "indented"]
    helical: bool
    helix_deg: float
    growth_factor: float
    source: str
    hand: str


class ToothFamily(NamedTuple):
    """How deep the teeth of a family of forms are pressed.

    Attributes:
        family: ``straight``, ``raised`` or ``indented``.
        usual_fullness: Tooth height over that of the full profile, as it is usually made [-]
        good_fullness: The least that makes a good knurl [-]
        source: Where the row comes from.
    """

    family: str
    usual_fullness: float
    good_fullness: float
    source: str


@dataclass(frozen=True, slots=True)
class DiametralPitch:
    """A standard diametral pitch; all lengths in inch, on the diameter.

    Attributes:
        diametral_pitch: Teeth per inch of diameter [1/in].
        blank_in: Limits (upper, lower) of the blank by class I, II, III [in].
        knurled_in: Limits (upper, lower) of the knurled diameter by class [in].
        roll_correction_in: By how much the tips of a roll are closer than the pitch; None where
            the table does not say [in].
        source: Where the figures come from, class by class.
    """

    diametral_pitch: int
    blank_in: Mapping[str, tuple[float, float]] = field(hash=False)
    knurled_in: Mapping[str, tuple[float, float]] = field(hash=False)
    source: str
    roll_correction_in: float | None = None


@kept_until_cleared()
def forms() -> Mapping[str, Form]:
    """Return the forms of knurl by their letters."""
    return by_letters(_form(row) for row in read_table("knurls.toml").rows("form"))


@kept_until_cleared()
def tooth_families() -> Mapping[str, ToothFamily]:
    """Return how deep teeth are pressed, by their family."""
    rows = [_tooth_family(row) for row in read_table("knurls.toml").rows("tooth_family")]
    return MappingProxyType({row.family: row for row in rows})


def helical_forms() -> tuple[str, ...]:
    """Return the letters of the forms whose grooves stand at an angle to the axis."""
    return tuple(letters for letters, form in forms().items() if form.helical)


@kept_until_cleared()
def standard_pitches_mm() -> tuple[float, ...]:
    """Return the standard pitches of DIN 82 [mm]."""
    return sourced_list("knurls.toml", "standard_pitches", "values_mm")


@kept_until_cleared()
def profile_angles_deg() -> tuple[float, ...]:
    """Return the profile angles of DIN 82, the usual one first [degrees]."""
    return sourced_list("knurls.toml", "profile_angles", "values_deg", below=180.0)


@kept_until_cleared()
def trade_tpi() -> Mapping[str, int]:
    """Return the teeth per inch behind the words coarse, medium and fine [1/in]."""
    row = read_table("knurls.toml").row("trade_tpi")
    row.source("source")
    words = {key: row.whole(key) for key in row.values if key != "source"}
    return MappingProxyType(words)


@kept_until_cleared()
def diametral_pitches() -> Mapping[int, DiametralPitch]:
    """Return the standard diametral pitches, by teeth per inch of diameter."""
    found: dict[int, DiametralPitch] = {}
    for row in read_table("knurls.toml").rows("diametral_pitch"):
        pitch = _diametral_pitch(row)
        if pitch.diametral_pitch in found:
            raise row.fault("diametral_pitch", "appears twice", pitch.diametral_pitch)
        found[pitch.diametral_pitch] = pitch
    return MappingProxyType(found)


def _form(row: Row) -> tuple[Row, Form]:
    row.allow(*Form._fields)
    letters = row.text("form")
    if not _LETTERS.fullmatch(letters):  # a callout would not take it for one word
        raise row.fault("form", "is not 2 to 8 capital letters", letters, "letters such as RGE")
    return row, Form(
        form=letters,
        description=row.text("description"),
        family=cast('Literal["straight", "raised", "indented"]', row.choice("family", _FAMILIES)),
        helical=row.flag("helical"),
        helix_deg=row.number("helix_deg", below=90.0, zero=True),
        growth_factor=row.number("growth_factor", below=2.0),
        source=row.source(),
        hand=row.choice("hand", _HANDS),
    )


def _tooth_family(row: Row) -> ToothFamily:
    row.allow(*ToothFamily._fields)
    return ToothFamily(
        family=row.choice("family", _FAMILIES),
        usual_fullness=row.number("usual_fullness", below=1.0),
        good_fullness=row.number("good_fullness", below=1.0),
        source=row.source(),
    )


def _diametral_pitch(row: Row) -> DiametralPitch:
    # Older tables of a shop give the depth of the rolls' teeth as well; nothing rests on it.
    row.allow("diametral_pitch", *_CLASSES, "tooth_depth_in", "roll_correction_in")
    classes = {name: row.row(name) for name in _CLASSES}
    for limits in classes.values():
        limits.allow("knurled_in", "blank_in", "source")
    sources = [f"class {name}: {limits.source()}" for name, limits in classes.items()]
    return DiametralPitch(
        diametral_pitch=row.whole("diametral_pitch"),
        blank_in={name: limits.limits("blank_in") for name, limits in classes.items()},
        knurled_in={name: limits.limits("knurled_in") for name, limits in classes.items()},
        source="; ".join(sources),
        roll_correction_in=row.figure_or_none("roll_correction_in"),
    )
