"""Lengths on the command line."""

from __future__ import annotations

from typing import TYPE_CHECKING

from knurlcam.errors import InputError

if TYPE_CHECKING:
    from knurlcam.units.kinds import Units

__all__ = ["given_length", "length_or_none"]


def given_length(text: str, option: str, units: Units) -> float:
    """Return a length that stands on the command line [mm].

    Args:
        text: The length, such as ``25 mm``.
        option: The option that gives it, for messages.
        units: Of a bare number.

    Raises:
        InputError: naming the option, if it is not a length or out of range.
    """
    from knurlcam.job.limits import MAX_LENGTH_MM
    from knurlcam.units.kinds import Kind, QuantityError
    from knurlcam.units.quantities import parse_quantity

    try:
        length = parse_quantity(text, Kind.LENGTH, units)
    except QuantityError as error:
        raise error.at(key=option, value=text) from None
    if not 0.0 < length <= MAX_LENGTH_MM:
        raise InputError(
            "is out of range",
            key=option,
            value=text,
            expected=f"more than 0 and at most {MAX_LENGTH_MM:g} mm",
            remedy="correct it",
        )
    return length


def length_or_none(text: str | None, option: str, units: Units) -> float | None:
    """Return a length that may be left out; see :func:`given_length`."""
    return None if text is None else given_length(text, option, units)
