"""Text such as ``0.75 in``, ``110 rpm`` or ``0.5 mm/rev`` to numbers and back.

A quantity is one number and one unit, or a bare number where its kind gives one a meaning.
The form of a text is checked first, because ``nan mm``, ``1e400 mm`` and whole expressions
pass for numbers elsewhere. Numbers are exact fractions until the last step, so each result is
the float nearest to the true value.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction
from functools import cache, lru_cache
from typing import NoReturn

from knurlcam.units.factors import WORD, factor
from knurlcam.units.kinds import Kind, QuantityError, Units

__all__ = ["parse_quantity", "to_text"]

_FINITE = "give a number that a float can hold"

MOST_CHARACTERS = 40
"""Characters of a quantity: the longest float takes 24, the longest unit of a job about 12."""

LARGEST = 1e300
"""Largest number that is taken without a closer look at whether it is finite."""


def parse_quantity(value: object, kind: Kind, units: Units = "mm") -> float:
    """Return *value* as a float in the canonical unit of *kind*.

    Args:
        value: A number, or text with one number and at most one unit.
        kind: What is expected; it gives the unit of the result.
        units: The job's units: what a bare length or feed is in.

    Returns:
        The finite float nearest to the exact value [the unit of *kind*].

    Raises:
        QuantityError: if *value* is anything else, has a unit that is not
            known or not of *kind*, or is bare where a unit is needed.

    Example:
        >>> parse_quantity("0.75 in", Kind.LENGTH)
        19.05
        >>> parse_quantity(0.02, Kind.FEED, "inch")
        0.508

    Sources:
        [1] The inch is exactly 25.4 mm (international inch; from memory).
    """
    # By exact type: true and false are integers to Python, and no quantities.
    if type(value) is float or type(value) is int:
        if _is_bare_canonical(kind, units) and -LARGEST < value < LARGEST:
            return float(value) + 0.0  # the sum has no -0.0, as a fraction has none
    elif type(value) is not str:
        return _parse(value, kind, units)
    elif _BARE.fullmatch(value) and _is_bare_canonical(kind, units):
        return float(value)
    return _parse_plain(value, kind, units)


_BARE = re.compile(r"[0-9]{1,15}(?:\.[0-9]{1,15})?")
"""A bare number as tables hold it: ``float`` takes its text for the nearest one itself."""


@cache
def _is_bare_canonical(kind: Kind, units: Units) -> bool:
    """Whether a bare number is in the canonical unit already, so that it stays as it is."""
    return kind.bare_unit(units) == kind.unit


def _parse(value: object, kind: Kind, units: Units) -> float:
    """Return a number or a text in the canonical unit; see :func:`parse_quantity`."""
    if isinstance(value, str):
        number, unit = _split(value, kind)
    elif isinstance(value, (int, float)) and not isinstance(value, bool):
        number, unit = _plain(value, kind), ""
    else:
        raise QuantityError(
            f"{_noun(value)} is not a quantity",
            value=value,
            expected=kind.expected,
            remedy="give a number, or a text with one number and one unit",
        )
    if not unit:
        unit = kind.bare_unit(units) or _refuse_bare(value, kind)
    try:
        worth = factor(unit, kind)
    except QuantityError as error:
        raise error.at(value=value, expected=kind.expected) from None
    return _nearest_float(number * worth, value, kind)


_parse_plain = lru_cache(maxsize=1024)(_parse)
"""For text and numbers: the jobs of one shop say the same few again and again."""


def to_text(value: float, kind: Kind) -> str:
    """Return the canonical text of *value*, which parses back to the same float.

    Args:
        value: A finite number [the unit of *kind*].
        kind: What *value* is.

    Raises:
        QuantityError: if *value* is not finite.

    Example:
        >>> to_text(25.0, Kind.LENGTH)
        '25.0 mm'
    """
    return f"{finite(value, kind)!r} {_unit(kind)}"


@cache
def _unit(kind: Kind) -> str:
    return kind.unit


# --- The form of a text ------------------------------------------------------

_NUMBER = r"(?P<number>[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?)"
_UNIT = rf"(?P<unit>1?/{WORD}|{WORD}(?: ?[/*] ?{WORD}){{0,2}})"
_QUANTITY = re.compile(rf"{_NUMBER}(?: ?{_UNIT})?")
_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+(?P<rest>[^0-9,].*)?")
_FRACTION = re.compile(
    r"(?:(?P<whole>[0-9]{1,4})[ -])?(?P<over>[0-9]{1,4})/(?P<under>[0-9]{1,4})(?P<unit>[^0-9/].*)?"
)
_NOT_FINITE = re.compile(r"[+-]?(?:nan|inf|infinity)\b.*", re.IGNORECASE)

# Signs that look alike or mean the same, each to the one used below. The
# micro sign and the Greek mu are two characters on two keyboards.
_SIGNS = str.maketrans(
    {"μ": "µ", "º": "°", "″": '"', "′": "'", "·": "*", "⋅": "*", "²": "2", "³": "3"}
    | {"−": "-", "\u00a0": " ", "\u202f": " ", "\t": " "}
)


def _split(text: str, kind: Kind) -> tuple[Fraction, str]:
    """Return the exact number and the unit of *text* (empty if it has none)."""
    # The form is checked here and not left to pint, which evaluates expressions:
    # "10**10**10 mm" would hang it, and "mm mm +" end in a bare AssertionError.
    if len(text) > MOST_CHARACTERS:
        raise QuantityError(
            f"a text of {len(text)} characters is not a quantity",
            value=text[: MOST_CHARACTERS + 1],
            expected=kind.expected,
            remedy=f"write one number and one unit, at most {MOST_CHARACTERS} characters",
        )
    plain = re.sub(" +", " ", text.translate(_SIGNS)).strip(" ").replace(" per ", "/")
    found = _QUANTITY.fullmatch(plain)
    if found is None:
        _refuse_form(text, plain, kind)
    return Fraction(found["number"]), (found["unit"] or "").replace(" ", "")


def _refuse_form(text: str, plain: str, kind: Kind) -> NoReturn:
    """Say what in *text* is not of the form of a quantity."""
    problem = "not one number with one unit"
    remedy = f"write one number and one unit, at most {MOST_CHARACTERS} characters"
    if not plain:
        problem = "an empty text is not a quantity"
    elif _NOT_FINITE.fullmatch(plain):
        problem = "not a finite number"
    elif _COMMA.fullmatch(plain):
        problem = "a comma in a number"
        remedy = f"use a decimal point, and nothing between thousands: {plain.replace(',', '.')}"
    elif (fraction := _FRACTION.fullmatch(plain)) and int(fraction["under"]):
        problem = "a fraction is not accepted"
        value = int(fraction["whole"] or 0) + int(fraction["over"]) / int(fraction["under"])
        remedy = f"write {value:.6g}{fraction['unit'] or ''}"
    raise QuantityError(problem, value=text, expected=kind.expected, remedy=remedy)


# --- Numbers -----------------------------------------------------------------


def _plain(value: float, kind: Kind) -> Fraction:
    """Return a number as it would be written, so that 0.1 means one tenth."""
    return Fraction(repr(finite(value, kind)))


def finite(value: float, kind: Kind) -> float:
    """Return a number as a float; refuse infinity, NaN and what no float holds."""
    try:
        number = float(value)
    except OverflowError:  # its digits are not shown: Python refuses to print so many
        raise QuantityError(
            "a whole number of more than 308 digits is out of range",
            expected=kind.expected,
            remedy=_FINITE,
        ) from None
    if not math.isfinite(number):
        raise QuantityError(
            "not a finite number", value=value, expected=kind.expected, remedy=_FINITE
        )
    return number


def _nearest_float(exact: Fraction, value: object, kind: Kind) -> float:
    """Return the float nearest to *exact*; refuse what no float is near to."""
    try:
        number = float(exact)
    except OverflowError:
        number = math.inf
    # A length that vanishes in rounding was not meant as zero.
    if math.isinf(number) or (number == 0 and exact != 0):
        raise QuantityError(
            "the number is out of range", value=value, expected=kind.expected, remedy=_FINITE
        )
    return number


def _refuse_bare(value: object, kind: Kind) -> NoReturn:
    raise QuantityError(
        f"a bare number is not {kind.label}",
        value=value,
        expected=kind.expected,
        remedy=f"a unit is needed, such as {kind.example}",
    )


def _noun(value: object) -> str:
    """Return the type of *value* with its article."""
    name = "None" if value is None else type(value).__name__
    article = "" if value is None else "an " if name[0] in "aeiouAEIOU" else "a "
    return article + name
