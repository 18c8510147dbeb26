"""Designations of rolls by DIN 403, such as ``BL 2006 F 08 DIN 403``."""

from __future__ import annotations

import re
from typing import NamedTuple

from knurlcam.data.rolls import din403_teeth, rolls
from knurlcam.errors import InputError, nearest

__all__ = ["RollDesignation", "designates_roll", "parse_roll"]

_DESIGNATION = re.compile(
    r"(?:DIN ?403[ ,-]*)?"
    r"(?P<form>[A-Z]{2}) ?"
    r"(?P<diameter>\d{2})(?P<width>\d{2}) ?"
    r"(?P<chamfered>F)? ?"
    r"(?P<pitch>\d{2}|\d[.,]\d)"
    r"(?:[ ,-]*DIN ?403)?"
)

EXAMPLE = "BL 2006 F 08 DIN 403"


class RollDesignation(NamedTuple):
    """What a designation of DIN 403 says.

    Attributes:
        form: Roll form, such as ``BL``.
        diameter_mm: Nominal diameter [mm]
        width_mm: Width of the face [mm]
        chamfered: Whether it is chamfered on both sides (F).
        pitch_mm: Pitch across the teeth [mm]
        teeth: Whole teeth by the standard's table; None for what it does not list.
    """

    form: str
    diameter_mm: float
    width_mm: float
    chamfered: bool
    pitch_mm: float
    teeth: int | None


def designates_roll(text: str) -> bool:
    """Return whether a text is a designation of DIN 403 by its looks."""
    return _DESIGNATION.fullmatch(_plain(text)) is not None


def parse_roll(text: str) -> RollDesignation:
    """Read a designation: form, diameter and width in mm, F if chamfered, pitch in tenths.

    Args:
        text: Such as ``BL 2006 F 08 DIN 403``; the F and the standard's name may be left out,
            and the pitch may be written with a decimal sign.

    Raises:
        InputError: if it is not such a designation.

    Example:
        >>> parse_roll("BL 2006 F 08 DIN 403")[:5]
        ('BL', 20.0, 6.0, True, 0.8)

    Sources:
        [1] DIN 403:1973-01, p. 2, for the designation, and 2.1 for the teeth (read).
    """
    found = _DESIGNATION.fullmatch(_plain(text))
    if found is None:
        raise InputError(
            "is not a designation of a roll",
            value=text,
            expected=f"one of DIN 403, such as {EXAMPLE}, or the name of rolls in the shop file",
            remedy="copy it from the roll, or give roll_teeth and roll_measured_diameter",
        )
    form = found["form"]
    if form not in rolls():
        raise InputError(
            f"{form} is not a roll form",
            value=text,
            expected="a roll form of DIN 403",
            remedy=nearest(form, rolls()),
        )
    digits = found["pitch"].replace(",", ".")
    pitch = float(digits) if "." in digits else int(digits) / 10.0
    diameter, width = float(found["diameter"]), float(found["width"])
    if not pitch or not diameter or not width:
        raise InputError(
            "is a roll without a size",
            value=text,
            expected=f"diameter and width in two digits each and a pitch, such as {EXAMPLE}",
            remedy="copy it from the roll",
        )
    teeth = din403_teeth(form, diameter, pitch)
    return RollDesignation(form, diameter, width, found["chamfered"] is not None, pitch, teeth)


def _plain(text: str) -> str:
    return " ".join(text.upper().split())
