"""The border between texts with units and the plan's plain floats."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knurlcam.errors import InputError
from knurlcam.units.kinds import Kind, QuantityError, Units
from knurlcam.units.quantities import parse_quantity, to_text
from knurlcam.units.show import show

FINITE = st.floats(allow_nan=False, allow_infinity=False)
KINDS = st.sampled_from(list(Kind))
BARE_KINDS = [Kind.LENGTH, Kind.SPEED, Kind.FEED, Kind.ANGLE]
POUND_FORCE = Fraction("4.4482216152605")  # N: 0.45359237 kg x 9.80665 m/s2, from memory
PSI = POUND_FORCE / Fraction("25.4") ** 2  # N/mm2


@pytest.fixture(autouse=True, scope="module")
def _registry_is_built_before_any_clock_starts() -> None:
    parse_quantity("1 in", Kind.LENGTH)


def message_of(value: object, kind: Kind, units: Units = "mm") -> str:
    with pytest.raises(QuantityError) as caught:
        parse_quantity(value, kind, units)
    return str(caught.value)


@pytest.mark.few(20)
@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("25.0 mm", Kind.LENGTH, 25.0),
        ("25.4mm", Kind.LENGTH, 25.4),
        ("2 cm", Kind.LENGTH, 20.0),
        ("0.2 m", Kind.LENGTH, 200.0),
        ("5 µm", Kind.LENGTH, 0.005),
        ("5 um", Kind.LENGTH, 0.005),
        ("5 μm", Kind.LENGTH, 0.005),
        ("5 micron", Kind.LENGTH, 0.005),
        ("1 in", Kind.LENGTH, 25.4),
        ("0.75 in", Kind.LENGTH, 19.05),
        ("1 inch", Kind.LENGTH, 25.4),
        ("2 inches", Kind.LENGTH, 50.8),
        ('0.75"', Kind.LENGTH, 19.05),
        ("3 thou", Kind.LENGTH, 0.0762),
        ("1 ft", Kind.LENGTH, 304.8),
        ("1'", Kind.LENGTH, 304.8),
        ("  .5  mm ", Kind.LENGTH, 0.5),
        ("5. mm", Kind.LENGTH, 5.0),
        ("+5 mm", Kind.LENGTH, 5.0),
        ("-5 mm", Kind.LENGTH, -5.0),
        ("−5 mm", Kind.LENGTH, -5.0),
        ("5e-3 m", Kind.LENGTH, 5.0),
        ("25.4\u00a0MM", Kind.LENGTH, 25.4),
        ("1 IN", Kind.LENGTH, 25.4),
        ("110 rpm", Kind.SPEED, 110.0),
        ("110 RPM", Kind.SPEED, 110.0),
        ("110 rev/min", Kind.SPEED, 110.0),
        ("110 r/min", Kind.SPEED, 110.0),
        ("110 1/min", Kind.SPEED, 110.0),
        ("110/min", Kind.SPEED, 110.0),
        ("2 rev/s", Kind.SPEED, 120.0),
        ("0.5 mm/rev", Kind.FEED, 0.5),
        ("0.5 mm / rev", Kind.FEED, 0.5),
        ("0.5 mm per rev", Kind.FEED, 0.5),
        ("0.5 mm/r", Kind.FEED, 0.5),
        ("0.02 in/rev", Kind.FEED, 0.508),
        ("0.02 inch/rev", Kind.FEED, 0.508),
        ("0.02 ipr", Kind.FEED, 0.508),
        ("20 thou/rev", Kind.FEED, 0.508),
        ("30 m/min", Kind.VELOCITY, 30.0),
        ("100 ft/min", Kind.VELOCITY, 30.48),
        ("100 sfm", Kind.VELOCITY, 30.48),
        ("1500 mm/min", Kind.VELOCITY, 1.5),
        ("100 in/min", Kind.VELOCITY, 2.54),
        ("100 inch/min", Kind.VELOCITY, 2.54),
        ("1 m/s", Kind.VELOCITY, 60.0),
        ("30 deg", Kind.ANGLE, 30.0),
        ("1 degree", Kind.ANGLE, 1.0),
        ("30 degrees", Kind.ANGLE, 30.0),
        ("30°", Kind.ANGLE, 30.0),
        ("1 rad", Kind.ANGLE, math.degrees(1.0)),
        ("1 rev", Kind.ANGLE, 360.0),
        ("800 N", Kind.FORCE, 800.0),
        ("0.8 kN", Kind.FORCE, 800.0),
        ("1 lbf", Kind.FORCE, float(POUND_FORCE)),
        ("15 N*m", Kind.TORQUE, 15.0),
        ("15 N·m", Kind.TORQUE, 15.0),
        ("15 Nm", Kind.TORQUE, 15.0),
        ("1 lbf*in", Kind.TORQUE, float(POUND_FORCE * Fraction("0.0254"))),
        ("1 lbf*ft", Kind.TORQUE, float(POUND_FORCE * Fraction("0.3048"))),
        ("250 MPa", Kind.STRESS, 250.0),
        ("70 GPa", Kind.STRESS, 70000.0),
        ("250 N/mm2", Kind.STRESS, 250.0),
        ("250 N/mm^2", Kind.STRESS, 250.0),
        ("250 N/mm²", Kind.STRESS, 250.0),
        ("1 psi", Kind.STRESS, float(PSI)),
        ("36 ksi", Kind.STRESS, float(PSI * 36000)),
        ("7850 kg/m3", Kind.DENSITY, 7850.0),
        ("7850 kg/m^3", Kind.DENSITY, 7850.0),
        ("7.85 g/cm3", Kind.DENSITY, 7850.0),
        ("2.5 s", Kind.TIME, 2.5),
        ("2.5 sec", Kind.TIME, 2.5),
        ("2 min", Kind.TIME, 120.0),
        ("200 ms", Kind.TIME, 0.2),
    ],
)
def test_a_text_gives_the_float_nearest_to_its_exact_value(
    text: str, kind: Kind, value: float
) -> None:
    assert parse_quantity(text, kind) == value


@pytest.mark.few(5)
@pytest.mark.parametrize("given", [12.5, "12.5", " 12.5 "])
@pytest.mark.parametrize("kind", BARE_KINDS)
def test_a_bare_number_in_a_mm_job_is_in_the_canonical_unit(kind: Kind, given: object) -> None:
    assert parse_quantity(given, kind, "mm") == 12.5


@pytest.mark.parametrize(
    ("kind", "value"),
    [(Kind.LENGTH, 12.7), (Kind.FEED, 12.7), (Kind.SPEED, 0.5), (Kind.ANGLE, 0.5)],
)
@pytest.mark.parametrize("given", [0.5, "0.5"])
def test_a_bare_length_or_feed_in_an_inch_job_is_in_inches(
    kind: Kind, value: float, given: object
) -> None:
    assert parse_quantity(given, kind, "inch") == value


def test_a_unit_that_is_written_wins_over_the_units_of_the_job() -> None:
    assert parse_quantity("12.5 mm", Kind.LENGTH, "inch") == 12.5


def test_a_whole_number_becomes_a_float() -> None:
    assert type(parse_quantity(3, Kind.LENGTH)) is float


@pytest.mark.few(5)
@pytest.mark.parametrize("kind", [kind for kind in Kind if kind not in BARE_KINDS])
@pytest.mark.parametrize("given", [250, "250"])
def test_a_bare_number_is_refused_where_only_a_unit_gives_it_a_meaning(
    kind: Kind, given: object
) -> None:
    assert f"a unit is needed, such as {kind.example}" in message_of(given, kind)


@pytest.mark.few(12)
@pytest.mark.parametrize(
    ("value", "problem", "remedy"),
    [
        ("10**10**10 mm", "not one number with one unit", "write one number and one unit"),
        ("2*3 mm", "not one number with one unit", "write one number and one unit"),
        ("mm mm +", "not one number with one unit", "write one number and one unit"),
        ("mm", "not one number with one unit", "write one number and one unit"),
        ("5 5 mm", "not one number with one unit", "write one number and one unit"),
        ("5 m m", "not one number with one unit", "write one number and one unit"),
        ("5 mm^9", "not one number with one unit", "write one number and one unit"),
        ("5 mm\n", "not one number with one unit", "write one number and one unit"),
        ("0x10 mm", "not one number with one unit", "write one number and one unit"),
        ("1_000 mm", "not one number with one unit", "write one number and one unit"),
        ("٣ mm", "not one number with one unit", "write one number and one unit"),
        ("3/4 in", "a fraction is not accepted", "write 0.75 in"),
        ("1 3/4 in", "a fraction is not accepted", "write 1.75 in"),
        ("1-3/4 in", "a fraction is not accepted", "write 1.75 in"),
        ("3/0 in", "not one number with one unit", "write one number and one unit"),
        ("0,5 mm", "a comma in a number", "use a decimal point"),
        ("1,000", "a comma in a number", "use a decimal point"),
        ("nan", "not a finite number", "write one number and one unit"),
        ("NaN mm", "not a finite number", "write one number and one unit"),
        ("inf", "not a finite number", "write one number and one unit"),
        ("-Infinity mm", "not a finite number", "write one number and one unit"),
        ("1e400", "the number is out of range", "give a number that a float can hold"),
        ("1e400 mm", "the number is out of range", "give a number that a float can hold"),
        ("1e308 in", "the number is out of range", "give a number that a float can hold"),
        ("1e-400 mm", "the number is out of range", "give a number that a float can hold"),
        ("", "an empty text is not a quantity", "write one number and one unit"),
        ("  ", "an empty text is not a quantity", "write one number and one unit"),
        ("5" * 41, "a text of 41 characters is not a quantity", "at most 40 characters"),
        ("5 furlong", "unknown unit 'furlong'", "known: mm, µm, cm, m, in, inch, thou, ft"),
        ("5 inxh", "unknown unit 'inxh'", "did you mean 'inch'?"),
        ("5 ft'", 'unknown unit "ft\'"', "did you mean 'ft'?"),
        ("5 %", "unknown unit '%'", "known: mm"),
        (None, "None is not a quantity", "give a number, or a text"),
        (True, "a bool is not a quantity", "give a number, or a text"),
        ([25.0], "a list is not a quantity", "give a number, or a text"),
        (1j, "a complex is not a quantity", "give a number, or a text"),
        (math.nan, "not a finite number", "give a number that a float can hold"),
        (-math.inf, "not a finite number", "give a number that a float can hold"),
        (10**400, "more than 308 digits", "give a number that a float can hold"),
        pytest.param(
            2**20000, "more than 308 digits", "give a number that a float can hold", id="2**20000"
        ),
    ],
)
def test_what_is_no_quantity_is_refused_with_its_fault_and_a_remedy(
    value: object, problem: str, remedy: str
) -> None:
    with pytest.raises(QuantityError) as caught:
        parse_quantity(value, Kind.LENGTH)
    assert problem in caught.value.problem
    assert caught.value.expected == "a length such as 25.4 mm or 1 in"
    assert remedy in (caught.value.remedy or "")


@pytest.mark.few(5)
@pytest.mark.parametrize(
    ("text", "kind", "problem"),
    [
        ("60 mm/min", Kind.FEED, "'mm/min' is a unit of a velocity, not of a feed per revolution"),
        ("0.5 mm", Kind.FEED, "'mm' is a unit of a length, not of a feed per revolution"),
        ("20 m/min", Kind.SPEED, "'m/min' is a unit of a velocity, not of a spindle speed"),
        ("110 min", Kind.SPEED, "'min' is a unit of a time, not of a spindle speed"),
        ("110 rpm", Kind.VELOCITY, "'rpm' is a unit of a spindle speed, not of a velocity"),
        ("0.5 mm/rev", Kind.LENGTH, "'mm/rev' is a unit of a feed per revolution"),
        ("110 1/min", Kind.FEED, "'1/min' is a unit of something else"),
        ("5 mm²", Kind.LENGTH, "'mm2' is a unit of something else, not of a length"),
        ("15 N", Kind.TORQUE, "'N' is a unit of a force, not of a torque"),
        ("15 N*m", Kind.FORCE, "'N*m' is a unit of a torque, not of a force"),
        ("30 deg", Kind.SPEED, "'deg' is a unit of an angle, not of a spindle speed"),
        ("7.85 g", Kind.DENSITY, "'g' is a unit of something else, not of a density"),
    ],
)
def test_a_unit_of_another_kind_is_refused_by_its_nature(
    text: str, kind: Kind, problem: str
) -> None:
    with pytest.raises(QuantityError) as caught:
        parse_quantity(text, kind)
    assert caught.value.problem.startswith(problem)
    assert caught.value.value == text
    assert caught.value.remedy == f"write it in {kind.unit}"


def test_a_refused_quantity_is_a_value_error_so_that_models_can_report_its_path() -> None:
    assert issubclass(QuantityError, InputError)
    assert issubclass(QuantityError, ValueError)


@pytest.mark.parametrize("kind", list(Kind))
def test_the_example_and_all_spellings_that_messages_offer_are_accepted(kind: Kind) -> None:
    for example in kind.example.split(" or "):
        assert parse_quantity(example, kind) > 0
    for unit in (kind.unit, *kind.value.usual):
        assert parse_quantity(f"1 {unit}", kind) > 0


@given(FINITE, KINDS)
def test_the_canonical_text_parses_back_to_the_same_float(value: float, kind: Kind) -> None:
    assert parse_quantity(to_text(value, kind), kind, "inch") == value


@given(FINITE)
def test_a_number_means_the_same_bare_and_as_text(value: float) -> None:
    assert parse_quantity(value, Kind.LENGTH) == parse_quantity(repr(value), Kind.LENGTH) == value


@given(st.decimals(-10_000, 10_000, places=4, allow_nan=False))
def test_inch_and_mm_agree_exactly(inches: object) -> None:
    exact = float(Fraction(str(inches)) * Fraction("25.4"))
    assert parse_quantity(f"{inches} in", Kind.LENGTH) == exact
    assert parse_quantity(str(inches), Kind.LENGTH, "inch") == exact
    assert parse_quantity(float(str(inches)), Kind.LENGTH, "inch") == exact


@given(st.text(max_size=60) | st.text("0123456789.,eE+-*/^ '\"mincrevpNKgPa°µ²%()", max_size=45))
def test_no_text_raises_anything_but_a_quantity_error(text: str) -> None:
    for kind in (Kind.LENGTH, Kind.SPEED):
        try:
            value = parse_quantity(text, kind)
        except QuantityError as error:
            assert error.expected  # noqa: PT017 - most texts are refused, some are not
        else:
            assert math.isfinite(value)


def test_a_huge_text_is_refused_by_its_length() -> None:
    assert "a text of 10000000 characters" in message_of("1" * 10_000_000, Kind.LENGTH)


@pytest.mark.parametrize("write", [to_text, show])
@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_value_that_is_not_finite_is_never_written(write: object, value: float) -> None:
    assert callable(write)
    with pytest.raises(QuantityError, match="not a finite number"):
        write(value, Kind.LENGTH)


@pytest.mark.few(4)
@pytest.mark.parametrize("given", [-0.0, "-0", "-0.0 mm", 0, "0 in"])
@pytest.mark.parametrize("units", ["mm", "inch"])
def test_there_is_one_zero(given: object, units: Units) -> None:
    assert math.copysign(1.0, parse_quantity(given, Kind.LENGTH, units)) == 1.0


@pytest.mark.parametrize("units", ["mm", "inch"])
def test_what_comes_again_is_taken_or_refused_again(units: Units) -> None:
    for _ in range(2):
        assert parse_quantity("25 mm", Kind.LENGTH, units) == 25.0
        assert parse_quantity(1, Kind.SPEED, units) == parse_quantity(1.0, Kind.SPEED, units) == 1.0
        assert "bool is not a quantity" in message_of(True, Kind.SPEED)
        assert "is a unit of" in message_of("25 mm", Kind.SPEED)


@pytest.mark.few(6)
@pytest.mark.parametrize(
    "text", ["0", "25", "020.50", "0.1", "786.9297", "123456789012345.123456789"]
)
@pytest.mark.parametrize(
    ("kind", "units", "unit"),
    [(Kind.LENGTH, "mm", "mm"), (Kind.LENGTH, "inch", "in"), (Kind.SPEED, "mm", "rev/min")],
)
def test_a_bare_text_is_the_same_as_one_with_its_unit(
    text: str, kind: Kind, units: Units, unit: str
) -> None:
    assert parse_quantity(text, kind, units) == parse_quantity(f"{text} {unit}", kind, units)


@pytest.mark.parametrize("text", ["12", "1.", "1e3", "٣", "1_0"])
def test_a_bare_text_without_a_usual_unit_or_form_is_checked_as_ever(text: str) -> None:
    if text in ("1.", "1e3"):
        assert parse_quantity(text, Kind.LENGTH) == float(text)
    else:
        message_of(text, Kind.VELOCITY)
