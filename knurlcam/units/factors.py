"""What a unit is worth, as an exact fraction: 1 in is 25.4 mm and not nearly so.

Everyday units stand in a table. Any other is asked of pint, whose import takes a tenth of a
second and is put off until then. pint is given unit words only, never a user's text: it
evaluates expressions, and ``10**10**10 mm`` would hang it. This is the one module that holds
a unit registry, for quantities of two registries compare as equal and do not add.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from fractions import Fraction
from functools import cache, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from knurlcam.errors import nearest
from knurlcam.units.kinds import Kind, QuantityError

if TYPE_CHECKING:
    import pint

__all__ = ["EVERYDAY", "WORD", "factor"]

WORD = r"[A-Za-zµ°%\"']+(?:\^?[23])?"
"""One word of a unit with its power, such as ``mm2``; a pattern."""

_SPELT = {'"': "inch", "'": "foot", "°": "degree"}


class _UnknownWordError(LookupError):
    """A word is not a unit."""


EVERYDAY: Mapping[tuple[str, Kind], Fraction] = {
    ("in", Kind.LENGTH): Fraction("25.4"),
    ("inch", Kind.LENGTH): Fraction("25.4"),
    ("rpm", Kind.SPEED): Fraction(1),
    ("in/rev", Kind.FEED): Fraction("25.4"),
    ("inch/rev", Kind.FEED): Fraction("25.4"),
    ("ft/min", Kind.VELOCITY): Fraction("0.3048"),
    ("lbf", Kind.FORCE): Fraction("4.4482216152605"),
    ("lbf*in", Kind.TORQUE): Fraction("4.4482216152605") * Fraction("0.0254"),
    ("ksi", Kind.STRESS): Fraction("4.4482216152605") / Fraction("0.64516"),
}
"""Factors that most jobs need and that need not wait for pint; a test holds each
against pint's."""


@lru_cache(maxsize=512)
def factor(unit: str, kind: Kind) -> Fraction:
    """Return exactly how many canonical units of *kind* one *unit* is.

    A count per minute is taken as revolutions for a spindle speed only;
    elsewhere 1/min and rev/min differ. The canonical unit and everyday ones
    need no registry: a job written in them alone starts 0.1 s sooner.
    """
    if unit == kind.unit:
        return Fraction(1)
    if (unit, kind) in EVERYDAY:
        return EVERYDAY[unit, kind]
    import pint

    try:
        known = re.sub(WORD, lambda word: _known_word(word.group()), unit)
    except _UnknownWordError as error:
        remedy = nearest(unit, [kind.unit, *kind.usual])
        raise QuantityError(f"unknown unit {error.args[0]!r}", remedy=remedy) from None
    if known.startswith(("1/", "/")):
        known = ("rev/" if kind is Kind.SPEED else "1/") + known.partition("/")[2]
    try:
        return Fraction(_registry().convert(Fraction(1), known, _powers(kind.unit)))
    except pint.PintError:
        pass
    raise QuantityError(
        f"{unit!r} is a unit of {_nature(known)}, not of {kind.label}",
        remedy=f"write it in {kind.unit}",
    )


def _powers(unit: str) -> str:
    """Return ``kg/m3`` as ``kg/m^3``, which pint understands."""
    return re.sub(r"(?<=[A-Za-z])\^?([23])", r"^\1", unit)


def _known_word(word: str) -> str:
    """Return one word of a unit as the registry spells it, with its power."""
    name = word.rstrip("23").rstrip("^")
    power = word[len(name) :].lstrip("^")
    name = _SPELT.get(name, name).replace("µ", "u")
    names = list(_registry())
    if name not in names:
        folded = [n for n in names if n.casefold() == name.casefold()]
        # Capitals are forgiven where no unit is spelled so exactly: MM, Kg.
        if not folded:
            raise _UnknownWordError(word)
        name = folded[0]
    return f"{name}^{power}" if power else name


def _nature(unit: str) -> str:
    """Return the label of the kind that *unit* is of."""
    registry = _registry()
    given = registry.parse_units(unit).dimensionality
    for kind in Kind:
        if given == registry.parse_units(_powers(kind.unit)).dimensionality:
            return kind.label
    return "something else"


@cache
def _registry() -> pint.UnitRegistry[Any]:
    """Build the one registry; importing pint is most of its cost."""
    import pint

    # Definitions of our own: loading pint's takes 0.3 s, and knows units that no shop uses.
    definitions = Path(__file__).with_name("units.txt")
    return pint.UnitRegistry(str(definitions), non_int_type=Fraction)
