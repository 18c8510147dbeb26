"""Text such as ``0.75 in``, ``110 rpm`` or ``0.5 mm/rev`` to numbers and back.

A quantity is one number and one unit, or a bare number where its kind gives
one a meaning. The form of a text is checked before pint sees it, because pint
evaluates expressions: ``10**10**10 mm`` hangs it, ``nan mm`` and ``1e400 mm``
pass. pint then says only what a unit is worth, as an exact fraction from
``units.txt``; so 1 in is exactly 25.4 mm, and each result is the float nearest
to the true value. This is the one module that holds a unit registry; it is
built when the first unit other than a canonical one is seen.
"""

from __future__ import annotations

import enum
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, NoReturn

from knurlcam.errors import InputError, nearest

if TYPE_CHECKING:
    import pint

__all__ = [
    "EVERYDAY",
    "MM_PER_INCH",
    "Kind",
    "QuantityError",
    "Units",
    "parse_quantity",
    "show",
    "show_about",
    "show_bare",
    "show_down",
    "to_text",
]

Units = Literal["mm", "inch"]

MM_PER_INCH = 25.4
"""Millimetres in an inch: exact, by definition of the inch [mm/in]."""

_FINITE = "give a number that a float can hold"

MOST_CHARACTERS = 40  # the longest float takes 24, the longest unit of a job about 12


class QuantityError(InputError):
    """A value is not one number with one fitting unit."""


class _UnitError(InputError):
    """A unit is not known or of another kind; the value it belongs to is not known here."""


@dataclass(frozen=True, slots=True)
class _Shown:
    """How people see a kind: unit, decimal places, and whether ``.000`` is kept."""

    unit: str
    places: int
    fixed: bool = False


@dataclass(frozen=True, slots=True)
class _Traits:
    """What sets one kind of quantity apart; see the properties of ``Kind``."""

    label: str
    unit: str
    usual: tuple[str, ...]  # other spellings, offered when a unit is not known
    example: str
    mm: _Shown
    inch: _Shown
    bare_mm: str | None = None
    bare_inch: str | None = None


class Kind(enum.Enum):
    """A kind of quantity with its canonical unit, in which the plan computes."""

    LENGTH = _Traits(
        "a length",
        "mm",
        ("µm", "cm", "m", "in", "inch", "thou", "ft"),
        "25.4 mm or 1 in",
        _Shown("mm", 3, fixed=True),
        _Shown("in", 4, fixed=True),
        bare_mm="mm",
        bare_inch="in",
    )
    SPEED = _Traits(
        "a spindle speed",
        "rev/min",
        ("rpm", "1/min", "r/min"),
        "110 rpm",
        _Shown("rev/min", 1),
        _Shown("rev/min", 1),
        bare_mm="rev/min",
        bare_inch="rev/min",
    )
    FEED = _Traits(
        "a feed per revolution",
        "mm/rev",
        ("in/rev", "inch/rev", "ipr", "thou/rev"),
        "0.5 mm/rev or 0.02 in/rev",
        _Shown("mm/rev", 3, fixed=True),
        _Shown("in/rev", 4, fixed=True),
        bare_mm="mm/rev",
        bare_inch="in/rev",
    )
    VELOCITY = _Traits(
        "a velocity",
        "m/min",
        ("mm/min", "m/s", "ft/min", "sfm", "in/min"),
        "30 m/min",
        _Shown("m/min", 1),
        _Shown("ft/min", 1),
    )
    ANGLE = _Traits(
        "an angle",
        "deg",
        ("°", "degrees", "rad"),
        "30 deg",
        _Shown("deg", 2),
        _Shown("deg", 2),
        bare_mm="deg",
        bare_inch="deg",
    )
    FORCE = _Traits("a force", "N", ("kN", "lbf"), "800 N", _Shown("N", 0), _Shown("lbf", 0))
    TORQUE = _Traits(
        "a torque",
        "N*m",
        ("Nm", "N*mm", "lbf*in", "lbf*ft"),
        "15 N*m",
        _Shown("N*m", 1),
        _Shown("lbf*in", 0),
    )
    STRESS = _Traits(
        "a stress",
        "MPa",
        ("N/mm2", "GPa", "psi", "ksi"),
        "250 MPa",
        _Shown("MPa", 0),
        _Shown("ksi", 1),
    )
    DENSITY = _Traits(
        "a density", "kg/m3", ("g/cm3",), "7850 kg/m3", _Shown("kg/m3", 0), _Shown("kg/m3", 0)
    )
    TIME = _Traits("a time", "s", ("sec", "min", "ms"), "2.5 s", _Shown("s", 1), _Shown("s", 1))

    # Members are single objects and keys of most caches; Enum would hash their names.
    __hash__ = object.__hash__

    @property
    def label(self) -> str:
        """The kind in words, such as ``a length``."""
        return self.value.label

    @property
    def unit(self) -> str:
        """The canonical unit, such as ``mm``."""
        return self.value.unit

    @property
    def example(self) -> str:
        """A right value, for messages."""
        return self.value.example

    def bare_unit(self, units: Units) -> str | None:
        """Return the unit of a bare number in *units* jobs; None where one is refused."""
        return self.value.bare_inch if units == "inch" else self.value.bare_mm

    def shown(self, units: Units) -> _Shown:
        """Return how people see the kind in *units* jobs."""
        return self.value.inch if units == "inch" else self.value.mm


class _UnknownWordError(LookupError):
    """A word is no unit at all."""


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
    if type(value) is float or type(value) is int:
        if _is_bare_canonical(kind, units) and -_LARGEST < value < _LARGEST:
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
            expected=_expected(kind),
            remedy="give a number, or a text with one number and one unit",
        )
    if not unit:
        unit = kind.bare_unit(units) or _refuse_bare(value, kind)
    try:
        return _nearest_float(number * _factor(unit, kind), value, kind)
    except _UnitError as error:
        raise QuantityError(
            error.problem, value=value, expected=_expected(kind), remedy=error.remedy
        ) from None


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
    return f"{_finite(value, kind)!r} {_unit(kind)}"


def show(value: float, kind: Kind, units: Units = "mm", places: int | None = None) -> str:
    """Return *value* rounded for people, in the units of the job.

    Lengths and feeds keep their zeros (3 places in mm, 4 in inch), as on a
    drawing; other kinds drop them, so a whole speed is shown as a whole one.

    Args:
        value: A finite number [the unit of *kind*].
        kind: What *value* is.
        units: The job's units.
        places: Decimal places, always shown in full; by kind when left out.

    Raises:
        QuantityError: if *value* is not finite.

    Example:
        >>> show(25.0, Kind.LENGTH), show(25.0, Kind.LENGTH, "inch"), show(110.0, Kind.SPEED)
        ('25.000 mm', '0.9843 in', '110 rev/min')
    """
    unit, worth, usual_places, fixed, form = _look(kind, units)
    if not -_LARGEST < value < _LARGEST:
        _finite(value, kind)
    number = format(value / worth, form if places is None else f".{places}f")
    if places is None and not fixed and usual_places:
        number = number.rstrip("0").rstrip(".")
    if number[0] == "-" and float(number) == 0:
        number = number[1:]
    return f"{number} {unit}"


def show_bare(value: float, kind: Kind, units: Units = "mm") -> str:
    """Return what :func:`show` does without the unit, for a column that names it.

    Example:
        >>> show_bare(25.0, Kind.LENGTH), show_bare(25.0, Kind.LENGTH, "inch")
        ('25.000', '0.9843')
    """
    return show(value, kind, units).split()[0]


def show_down(length_mm: float, units: Units = "mm") -> str:
    """Return a greatest length for people, rounded down: what is printed will do.

    Args:
        length_mm: Half the width of a tolerance, a largest diameter [mm]
        units: The job's units.

    Example:
        >>> show_down(0.0346410), show_down(0.0254, "inch")
        ('0.034 mm', '0.0010 in')
    """
    unit, worth, places, _, form = _look(Kind.LENGTH, units)
    step = 10**places
    # 0.0254 mm is 0.001 inch but for rounding, which must not take the last digit away.
    steps = math.floor(length_mm / worth * step + 1e-9)
    return f"{format(steps / step, form)} {unit}"


ABOUT_DIGITS = 2
"""Of an estimate: more would promise what it cannot keep."""


def show_about(value: float, kind: Kind, units: Units = "mm") -> str:
    """Return an estimate for people: two digits that count, in the units of the job.

    Args:
        value: A finite number [the unit of *kind*].
        kind: What *value* is.
        units: The job's units.

    Raises:
        QuantityError: if *value* is not finite.

    Example:
        >>> show_about(3237.4, Kind.FORCE), show_about(4.853, Kind.TORQUE)
        ('3200 N', '4.9 N*m')
    """
    unit, worth, _, _, _ = _look(kind, units)
    if not -_LARGEST < value < _LARGEST:
        _finite(value, kind)
    digits = f"{value / worth:.{ABOUT_DIGITS - 1}e}"
    places = ABOUT_DIGITS - 1 - int(digits[-3:]) if value else 0
    return f"{float(digits):.{max(0, places)}f} {unit}"


_LARGEST = 1e300


@cache
def _look(kind: Kind, units: Units) -> tuple[str, float, int, bool, str]:
    """Return how people see a kind.

    That is the unit, what it is worth, the places, whether zeros are kept, and what the
    places are for ``format``.

    The worth is a float: near enough for what is rounded anyway.
    """
    look = kind.shown(units)
    worth = float(_factor(look.unit, kind))
    return look.unit, worth, look.places, look.fixed, f".{look.places}f"


@cache
def _unit(kind: Kind) -> str:
    return kind.unit


# --- The form of a text ------------------------------------------------------

_NUMBER = r"(?P<number>[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?)"
_WORD = r"[A-Za-zµ°%\"']+(?:\^?[23])?"
_UNIT = rf"(?P<unit>1?/{_WORD}|{_WORD}(?: ?[/*] ?{_WORD}){{0,2}})"
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
_SPELT = {'"': "inch", "'": "foot", "°": "degree"}


def _split(text: str, kind: Kind) -> tuple[Fraction, str]:
    """Return the exact number and the unit of *text* (empty if it has none)."""
    if len(text) > MOST_CHARACTERS:
        raise QuantityError(
            f"a text of {len(text)} characters is not a quantity",
            value=text[: MOST_CHARACTERS + 1],
            expected=_expected(kind),
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
        problem = "a fraction is not computed"
        value = int(fraction["whole"] or 0) + int(fraction["over"]) / int(fraction["under"])
        remedy = f"write {value:.6g}{fraction['unit'] or ''}"
    raise QuantityError(problem, value=text, expected=_expected(kind), remedy=remedy)


# --- Numbers -----------------------------------------------------------------


def _plain(value: float, kind: Kind) -> Fraction:
    """Return a number as it would be written, so that 0.1 means one tenth."""
    return Fraction(repr(_finite(value, kind)))


def _finite(value: float, kind: Kind) -> float:
    try:
        number = float(value)
    except OverflowError:  # its digits are not shown: Python refuses to print so many
        raise QuantityError(
            "a whole number of more than 308 digits is out of range",
            expected=_expected(kind),
            remedy=_FINITE,
        ) from None
    if not math.isfinite(number):
        raise QuantityError(
            "not a finite number", value=value, expected=_expected(kind), remedy=_FINITE
        )
    return number


def _nearest_float(exact: Fraction, value: object, kind: Kind) -> float:
    """Return the float nearest to *exact*; refuse what no float is near to."""
    try:
        number = float(exact)
    except OverflowError:
        number = math.inf
    if math.isinf(number) or (number == 0 and exact != 0):
        raise QuantityError(
            "the number is out of range", value=value, expected=_expected(kind), remedy=_FINITE
        )
    return number


# --- Units -------------------------------------------------------------------


@cache
def _registry() -> pint.UnitRegistry[Any]:
    """Build the one registry; importing pint is most of its cost."""
    import pint

    definitions = Path(__file__).with_name("units.txt")
    return pint.UnitRegistry(str(definitions), non_int_type=Fraction)


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
def _factor(unit: str, kind: Kind) -> Fraction:
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
        known = re.sub(_WORD, lambda word: _known_word(word.group()), unit)
    except _UnknownWordError as error:
        remedy = nearest(unit, [kind.unit, *kind.value.usual])
        raise _UnitError(f"unknown unit {error.args[0]!r}", remedy=remedy) from None
    if known.startswith(("1/", "/")):
        known = ("rev/" if kind is Kind.SPEED else "1/") + known.partition("/")[2]
    try:
        return Fraction(_registry().convert(Fraction(1), known, _powers(kind.unit)))
    except pint.PintError:
        pass
    raise _UnitError(
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


def _refuse_bare(value: object, kind: Kind) -> NoReturn:
    raise QuantityError(
        f"a bare number is not {kind.label}",
        value=value,
        expected=_expected(kind),
        remedy=f"a unit is needed, such as {kind.example}",
    )


def _expected(kind: Kind) -> str:
    return f"{kind.label} such as {kind.example}"


def _noun(value: object) -> str:
    """Return the type of *value* with its article."""
    name = "None" if value is None else type(value).__name__
    article = "" if value is None else "an " if name[0] in "aeiouAEIOU" else "a "
    return article + name
