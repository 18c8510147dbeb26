"""Where the slide stands for a penetration, by another way: the distance of the circles."""

from __future__ import annotations

import math
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knurlcam.errors import OutOfRangeError
from knurlcam.mechanics.contact import Contact, XDatum
from knurlcam.mechanics.tool_styles import Style, contact_for

STYLES: tuple[Style, ...] = get_args(Style)
DATUMS: tuple[XDatum, ...] = ("touch-off", "roll centre")


def make(style: Style, datum: XDatum, blank: float, roll: float, depth: float) -> Contact:
    spacing = roll * 1.05 if style in ("knuckle joint", "revolving head") else None
    return contact_for(
        style,
        datum,
        blank_diameter_mm=blank,
        roll_diameter_mm=roll,
        full_penetration_mm=depth,
        roll_spacing_mm=spacing,
    )


def overlap(contact: Contact, x: float) -> float:
    """Depth of the roll below the blank's surface, by sampling the roll's circle.

    Independent of the closed form: the point of the roll nearest the spindle axis is
    looked for, first coarsely, then in ever narrower arcs.
    """
    radius, v = contact.roll_radius_mm, contact.half_spacing_mm
    centre, span = 0.0, math.pi
    best = math.inf
    for _ in range(60):
        angles = [centre + span * (i / 8 - 1) for i in range(17)]
        best, centre = min(
            (math.hypot(x + radius * math.cos(a), v + radius * math.sin(a)), a) for a in angles
        )
        span /= 3
    return contact.blank_radius_mm - best


def solve_x(contact: Contact, depth: float) -> float:
    """Find the slide's x by bisection on the sampled circles."""
    near, far = 0.0, contact.blank_radius_mm + contact.roll_radius_mm + 1.0
    for _ in range(80):
        middle = (near + far) / 2
        near, far = (middle, far) if overlap(contact, middle) > depth else (near, middle)
    return (near + far) / 2


@pytest.mark.few(4)
@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("share", [0.0, 0.4, 0.9])
def test_the_slides_place_agrees_with_circles_solved_by_trial(style: Style, share: float) -> None:
    full = 0.3
    made = make(style, "roll centre", 24.3, 20.0, full)
    # The closed form loses half of its digits where the straddle's rolls come to x = 0.
    assert made.centre_mm(share * full) == pytest.approx(solve_x(made, share * full), abs=1e-5)


@pytest.mark.parametrize("style", STYLES)
def test_touch_off_reads_the_blank_diameter_at_first_touch(style: Style) -> None:
    assert make(style, "touch-off", 24.3, 20.0, 0.3).x_diameter_mm(0.0) == pytest.approx(24.3)


@pytest.mark.parametrize("style", STYLES)
def test_roll_centre_reads_twice_the_distance_of_the_rolls(style: Style) -> None:
    made = make(style, "roll centre", 24.3, 20.0, 0.3)
    assert made.x_diameter_mm(0.1) == pytest.approx(2 * made.centre_mm(0.1))


def test_a_straddle_ends_at_x_zero_with_its_rolls_set_to_the_gap() -> None:
    made = make("straddle", "roll centre", 24.3, 20.0, 0.3)
    assert made.x_diameter_mm(0.3) == 0.0
    assert made.gap_mm == pytest.approx(24.3 - 0.6)


def test_a_single_roll_moves_as_deep_as_it_presses() -> None:
    made = make("single roll", "touch-off", 24.3, 20.0, 0.3)
    assert made.x_diameter_mm(0.25) == pytest.approx(24.3 - 0.5)


def test_a_pivoting_head_presses_less_than_the_slide_moves() -> None:
    # sin(phi) = v / (R_b + R_r): one mm of slide gives cos(phi) of penetration
    made = make("knuckle joint", "touch-off", 24.3, 20.0, 0.3)
    phi = math.asin(made.half_spacing_mm / (12.15 + 10.0))
    slide = (24.3 - made.x_diameter_mm(1e-6)) / 2
    assert 1e-6 / slide == pytest.approx(math.cos(phi), rel=1e-4)
    assert made.x_diameter_mm(0.3) < 24.3 - 0.6


@settings(max_examples=200)
@given(
    style=st.sampled_from(STYLES),
    datum=st.sampled_from(DATUMS),
    blank=st.floats(5.0, 300.0),
    roll=st.floats(5.0, 60.0),
    depth=st.floats(0.01, 0.8),
    share=st.floats(-3.0, 1.0),
)
def test_the_penetration_of_a_place_is_the_one_it_was_made_from(
    style: Style, datum: XDatum, blank: float, roll: float, depth: float, share: float
) -> None:
    made = make(style, datum, blank, roll, depth)
    reach = (made.blank_radius_mm + made.roll_radius_mm - depth) ** 2
    if reach < made.half_spacing_mm**2 * 0.999999:
        return  # a head too wide for the blank: refused by the plan
    c = share * depth
    assert made.penetration_mm(made.x_diameter_mm(c)) == pytest.approx(c, abs=1e-9)


@given(
    style=st.sampled_from(STYLES),
    datum=st.sampled_from(DATUMS),
    shares=st.tuples(st.floats(-2.0, 1.0), st.floats(-2.0, 1.0)),
)
def test_deeper_is_never_further_out(
    style: Style, datum: XDatum, shares: tuple[float, float]
) -> None:
    made = make(style, datum, 24.3, 20.0, 0.3)
    low, high = sorted(shares)
    assert made.x_diameter_mm(0.3 * high) <= made.x_diameter_mm(0.3 * low) + 1e-9


def test_rolls_that_pass_above_and_below_the_work_have_no_place() -> None:
    made = Contact(5.0, 5.0, 9.99, "touch-off")
    with pytest.raises(OutOfRangeError, match="penetration_mm is out of range") as error:
        made.centre_mm(0.1)
    assert error.value.value == 0.1
