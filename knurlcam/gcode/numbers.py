"""Numbers as a dialect writes them: millimetres to the text of a word, and back.

Both directions stand here, so that the reader takes for a length what the writer made of it:
decimal places, least increments, inches and radii.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from knurlcam.errors import InputError
from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.motion import Word
from knurlcam.units.kinds import MM_PER_INCH, Units

__all__ = [
    "MOST_FEED_ROUNDING",
    "NO_FAULTS",
    "Faults",
    "checked_digits",
    "feed_is_too_coarse",
    "feed_mm",
    "feed_writer",
    "has_too_many_digits",
    "length_mm",
    "length_writer",
    "nearly_half_a_place_mm",
    "x_factor",
    "x_scale",
]

Faults = list[tuple[str, str]]
"""Code and message of what is wrong with a line."""

NO_FAULTS: Sequence[tuple[str, str]] = ()

# -- writing -------------------------------------------------------------------


def length_writer(dialect: Dialect, units: Units) -> Callable[[float], str]:
    """Return the function that writes a length in millimetres in the program's units."""
    return _writer(dialect, units, dialect.length_places(units))


def feed_writer(dialect: Dialect, units: Units) -> Callable[[float], str]:
    """Return the function that writes a feed in millimetres in the program's units."""
    return _writer(dialect, units, dialect.feed_places(units))


def _writer(dialect: Dialect, units: Units, places: int) -> Callable[[float], str]:
    per_unit = MM_PER_INCH if units == "inch" else 1.0
    room = dialect.most_digits
    if dialect.numbers == "least increments":
        scale = 10.0**places / per_unit

        def increments(value_mm: float) -> str:
            text = str(round(value_mm * scale))
            return text if len(text) <= room else checked_digits(dialect, text)

        return increments
    spec = f".{places}f"

    def decimal(value_mm: float) -> str:
        text = format(value_mm / per_unit, spec)
        if len(text) > room:
            checked_digits(dialect, text)
        # Some controls take -0.000 for a mistake.
        return text[1:] if text[0] == "-" and not float(text) else text

    return decimal


def checked_digits(dialect: Dialect, text: str) -> str:
    """Return a number as it is written.

    Raises:
        InputError: if it has more digits than the control reads.
    """
    if has_too_many_digits(dialect, text):
        raise InputError(
            f"cannot write {text}: it has {_count_of_digits(text)} digits",
            where=f"dialect {dialect.name}",
            key="most_digits",
            value=dialect.most_digits,
            expected=f"numbers of at most {dialect.most_digits} digits",
            remedy="give smaller figures, take fewer decimal places, or another dialect",
        )
    return text


def has_too_many_digits(dialect: Dialect, text: str) -> bool:
    """Whether a number has more digits than the control reads: zeros in front count, too."""
    most = dialect.most_digits
    return len(text) > most > 0 and _count_of_digits(text) > most


def _count_of_digits(text: str) -> int:
    return sum(map(str.isdigit, text))


def nearly_half_a_place_mm(dialect: Dialect, units: Units) -> float:
    """Return what makes rounding to the nearest of a length rounding up [mm]."""
    per_unit = MM_PER_INCH if units == "inch" else 1.0
    return 0.499999 * per_unit / 10.0 ** dialect.length_places(units)


MOST_FEED_ROUNDING = 0.25
"""Share [-] by which an F word may be above its feed because its last place is coarse: with one
place an infeed of 0.05 would be twice as fast, and no knurl comes out of that as planned."""


def feed_is_too_coarse(dialect: Dialect, units: Units, feed: float, word: str) -> bool:
    """Whether an F word is faster than its feed by more than rounding may make it.

    Args:
        dialect: How numbers are written.
        units: The program's.
        feed: What was to be written [mm/rev or mm/min]
        word: The number of the F word.
    """
    written = float(word) * (MM_PER_INCH if units == "inch" else 1.0)
    if dialect.numbers == "least increments":
        written /= 10.0 ** dialect.feed_places(units)
    return written > (1.0 + MOST_FEED_ROUNDING) * feed


# -- reading -------------------------------------------------------------------


def length_mm(dialect: Dialect, word: Word, inch: bool, faults: Faults) -> float:
    """Return the length that a word holds [mm]; X as it stands, radius or diameter.

    Args:
        dialect: How numbers are written.
        word: The word.
        inch: Whether the program is in inches.
        faults: What is wrong with the word is added to it.
    """
    if "." in word.text and dialect.numbers == "decimal point":
        return float(word.text) * MM_PER_INCH if inch else float(word.text)
    places = dialect.length_places("inch" if inch else "mm")
    return _whole_number_mm(dialect, word, places, inch, faults)


def feed_mm(dialect: Dialect, word: Word, inch: bool, faults: Faults) -> float:
    """Return the feed that a word holds, per revolution or minute [mm]; see :func:`length_mm`."""
    if "." in word.text and dialect.numbers == "decimal point":
        value = float(word.text) * MM_PER_INCH if inch else float(word.text)
    else:
        places = dialect.feed_places("inch" if inch else "mm")
        value = _whole_number_mm(dialect, word, places, inch, faults)
    if value < 0:
        faults.append(("number-format", f"F{word.text} is negative"))
    return value


def _whole_number_mm(
    dialect: Dialect, word: Word, places: int, inch: bool, faults: Faults
) -> float:
    """Return in millimetres what has no decimal point, or has one and must have none."""
    letter, text = word
    value = float(text)
    if dialect.numbers == "least increments":
        if "." in text:
            faults.append(
                (
                    "number-format",
                    f"{letter}{text} has a decimal point, and this dialect counts least increments",
                )
            )
        else:
            value /= 10.0**places
    elif dialect.point_required and value != 0:
        faults.append(
            (
                "number-format",
                f"{letter}{text} has no decimal point: a control may take it for least increments",
            )
        )
    return value * MM_PER_INCH if inch else value


def x_factor(dialect: Dialect) -> float:
    """Return by what an X word is multiplied to be on the diameter."""
    return 2.0 if dialect.x == "radius" else 1.0


def x_scale(dialect: Dialect, mode: str | None) -> float:
    """Return how much more an X word says in another mode than in the dialect's own.

    Args:
        dialect: What X words hold.
        mode: ``diameter`` or ``radius``, as stated; None where it is not.
    """
    if mode is None or mode == dialect.x:
        return 1.0
    return 2.0 if mode == "radius" else 0.5
