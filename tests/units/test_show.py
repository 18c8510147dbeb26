"""Figures as people see them."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knurlcam.units.kinds import Kind, Units
from knurlcam.units.quantities import parse_quantity
from knurlcam.units.show import Shown, show, show_about

KINDS = st.sampled_from(list(Kind))
POUND_FORCE = Fraction("4.4482216152605")  # N: 0.45359237 kg x 9.80665 m/s2, from memory
PSI = POUND_FORCE / Fraction("25.4") ** 2  # N/mm2


@pytest.mark.few(6)
@pytest.mark.parametrize(
    ("value", "kind", "units", "text"),
    [
        (25.0, Kind.LENGTH, "mm", "25.000 mm"),
        (25.4, Kind.LENGTH, "inch", "1.0000 in"),
        (-1e-9, Kind.LENGTH, "mm", "0.000 mm"),
        (0.5, Kind.FEED, "mm", "0.500 mm/rev"),
        (0.508, Kind.FEED, "inch", "0.0200 in/rev"),
        (110.0, Kind.SPEED, "mm", "110 rev/min"),
        (110.26, Kind.SPEED, "inch", "110.3 rev/min"),
        (100.0, Kind.SPEED, "mm", "100 rev/min"),
        (30.0, Kind.ANGLE, "mm", "30 deg"),
        (22.5, Kind.ANGLE, "inch", "22.5 deg"),
        (30.48, Kind.VELOCITY, "inch", "100 ft/min"),
        (800.0, Kind.FORCE, "mm", "800 N"),
        (float(POUND_FORCE * 180), Kind.FORCE, "inch", "180 lbf"),
        (15.0, Kind.TORQUE, "mm", "15 N*m"),
        (250.0, Kind.STRESS, "mm", "250 MPa"),
        (float(PSI * 36000), Kind.STRESS, "inch", "36 ksi"),
        (7850.0, Kind.DENSITY, "inch", "7850 kg/m3"),
        (2.54, Kind.TIME, "mm", "2.5 s"),
    ],
)
def test_a_value_is_shown_rounded_in_the_units_of_the_job(
    value: float, kind: Kind, units: Units, text: str
) -> None:
    assert show(value, kind, units) == text


def test_places_that_are_asked_for_are_shown_in_full() -> None:
    assert show(110.0, Kind.SPEED, places=2) == "110.00 rev/min"


@given(st.floats(-1e6, 1e6), KINDS, st.sampled_from(["mm", "inch"]))
def test_what_is_shown_parses_back_to_within_its_rounding(
    value: float, kind: Kind, units: Units
) -> None:
    shown = show(value, kind, units, places=6)
    unit_step = parse_quantity(f"1 {shown.split()[1]}", kind) * 1e-6
    assert parse_quantity(shown, kind) == pytest.approx(value, abs=unit_step)


@pytest.mark.parametrize(
    ("value", "kind", "units", "shown"),
    [
        (3237.4, Kind.FORCE, "mm", "3200 N"),
        (9.96, Kind.FORCE, "mm", "10 N"),
        (0.0996, Kind.FORCE, "mm", "0.10 N"),
        (-0.0123456, Kind.LENGTH, "mm", "-0.012 mm"),
        (444.82, Kind.FORCE, "inch", "100 lbf"),
        (4.853, Kind.TORQUE, "mm", "4.9 N*m"),
        (999.9, Kind.STRESS, "mm", "1000 MPa"),
        (0.0, Kind.FORCE, "mm", "0 N"),
    ],
)
def test_an_estimate_is_shown_with_two_digits(
    value: float, kind: Kind, units: Units, shown: str
) -> None:
    assert show_about(value, kind, units) == shown


@pytest.mark.parametrize(
    ("units", "length", "bare", "at_most", "speed", "feed", "about", "force"),
    [
        ("mm", "25.400 mm", "25.400", "25.400 mm", "110 rev/min", "0.500 mm/rev", "25 mm", "440 N"),
        ("inch", "1.0000 in", "1.0000", "1.0000 in", "110 rev/min", "0.0197 in/rev", "1.0 in",
         "100 lbf"),
    ],
)  # fmt: skip
def test_figures_are_shown_as_the_single_functions_show_them(
    units: Units,
    length: str,
    bare: str,
    at_most: str,
    speed: str,
    feed: str,
    about: str,
    force: str,
) -> None:
    shown = Shown(units)
    assert (shown.length(25.4), shown.bare(25.4), shown.at_most(25.4)) == (length, bare, at_most)
    assert (shown.speed(110.0), shown.feed(0.5)) == (speed, feed)
    assert (shown.about(25.4), shown.force(444.82)) == (about, force)
