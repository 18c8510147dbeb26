"""Rolls on work that gives way: the penetration that is left, and the slide that follows."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from knurlcam.mechanics.beam import Beam, Piece, Support
from knurlcam.mechanics.contact import Contact
from knurlcam.mechanics.held_work import CHORD_MM, CHORD_SHARE, HeldWork
from knurlcam.mechanics.loads import (
    Prints,
    indentation_pressure_mpa,
    reduced_radius_mm,
    wedge_width,
)
from knurlcam.mechanics.pressing import Pressing
from knurlcam.mechanics.tool_styles import Style, contact_for

SUPPORTS: tuple[Support, ...] = ("simply supported", "fixed and supported", "fixed and free")
SPACINGS: dict[Style, float | None] = {
    "single roll": None,
    "knuckle joint": 22.0,
    "straddle": None,
}


def held(
    style: Style = "knuckle joint",
    support: Support = "simply supported",
    *,
    length: float = 150.0,
    diameter: float = 20.0,
    face: float = 10.0,
    c: float = 0.2,
    flow_mpa: float = 300.0,
    prints: Prints = "ridges",
    pieces: tuple[Piece, ...] | None = None,
) -> HeldWork:
    contact = contact_for(
        style,
        "roll centre",
        blank_diameter_mm=diameter,
        roll_diameter_mm=20.0,
        full_penetration_mm=c,
        roll_spacing_mm=SPACINGS[style],
    )
    pressing = Pressing(
        indentation_pressure_mpa(flow_mpa, 90.0),
        wedge_width(90.0),
        prints,
        reduced_radius_mm(diameter / 2.0, 10.0),
    )
    beam = Beam(support, 70_000.0, pieces or (Piece(length, diameter),))
    return HeldWork(contact, pressing, 1 if style == "single roll" else 2, face, beam)


PARTS = st.builds(
    held,
    style=st.sampled_from(["single roll", "knuckle joint", "straddle"]),
    support=st.sampled_from(SUPPORTS),
    length=st.floats(60.0, 250.0),
    diameter=st.floats(12.0, 50.0),
    face=st.floats(3.0, 15.0),
    flow_mpa=st.floats(100.0, 600.0),
    prints=st.sampled_from(["ridges", "crossing ridges", "points"]),
)


# -- one place -----------------------------------------------------------------


def test_what_hangs_over_the_end_does_not_press() -> None:
    work = held(face=9.0)
    assert work.face_on_work_mm(-20.0) == 9.0
    assert work.face_on_work_mm(-3.0) == 3.0
    assert work.middle_mm(-3.0) == -1.5
    assert work.face_on_work_mm(1.0) == 0.0
    assert work.deflection_mm(0.2, -3.0) < work.deflection_mm(0.2, -9.0)


@given(work=PARTS, c=st.floats(0.02, 0.2), left=st.floats(-55.0, -1.0))
@settings(max_examples=150)
def test_penetration_is_the_inverse_of_where_the_slide_must_stand(
    work: HeldWork, c: float, left: float
) -> None:
    across = work.across_mm(c, left)
    assume(across > 0.0)
    assume(work.deflection_mm(c, left) < 2.0)  # more than any slide would follow
    assert work.penetration_mm(across, left) == pytest.approx(c, abs=1e-6)


@given(work=PARTS, c=st.floats(0.02, 0.2), left=st.floats(-55.0, -1.0))
@settings(max_examples=100)
def test_a_slide_that_does_not_follow_leaves_the_knurl_shallower_and_in_balance(
    work: HeldWork, c: float, left: float
) -> None:
    across = work.contact.centre_mm(c)
    left_mm = work.settled_mm(across, left)
    assert 0.0 <= left_mm <= work.penetration_mm(across, left) + 1e-12 <= c + 1e-6
    if left_mm > 1e-6:
        # The centres stand apart what the slide gives and the work gives way.
        pushed = work.resultant_n(left_mm, work.face_on_work_mm(left))
        away = pushed * work.compliance_mm_per_n(left)
        assert work.contact.centre_mm(left_mm) - away == pytest.approx(across, abs=1e-6)


def test_stiff_work_is_knurled_as_deep_as_the_slide_stands() -> None:
    work = held(length=30.0, diameter=100.0)
    across = work.contact.centre_mm(0.2)
    assert work.penetration_mm(across, -15.0) == pytest.approx(0.2, abs=1e-4)


@pytest.mark.few(20)
@pytest.mark.parametrize("across", [-400.0, -25.0, -1e-9, 0.0, 1e-9, 11.8])
@pytest.mark.parametrize("left", [-400.0, -160.0, -150.0, -75.0, 0.0, 24.0])
@pytest.mark.parametrize("style", SPACINGS)
def test_a_slide_far_in_the_work_or_beside_it_is_reported_as_it_stands(
    style: Style, across: float, left: float
) -> None:
    # A hand-written program may send it anywhere, and verification must say how deep that is.
    work = held(style)
    depth = work.penetration_mm(across, left)
    stiff = 20.0 - math.hypot(max(across, 0.0), work.contact.half_spacing_mm) - min(across, 0.0)
    assert min(stiff, 0.1) <= depth <= stiff + 0.01  # the face leans


def test_rolls_clear_of_the_work_have_no_penetration() -> None:
    work = held()
    assert work.penetration_mm(work.contact.centre_mm(0.0) + 0.5, -15.0) < 0.0
    assert work.resultant_n(-0.1, 10.0) == 0.0


def test_a_straddle_is_not_pushed_off_at_full_depth() -> None:
    work = held("straddle")
    assert work.resultant_n(0.2, 10.0) == pytest.approx(0.0, abs=1e-6)
    assert work.deflection_mm(0.2, -80.0) == pytest.approx(0.0, abs=1e-9)
    assert work.penetration_mm(0.0, -80.0) == pytest.approx(0.2, abs=1e-9)


def test_a_straddle_on_work_that_is_too_soft_pushes_it_aside() -> None:
    # By hand: 2 F / apart against the stiffness of the work in the middle, 48 E I / L^3.
    slender, short = (held("straddle", length=n, diameter=8.0) for n in (200.0, 60.0))
    for work, length in ((slender, 200.0), (short, 60.0)):
        force = work.pressing.roll_force_n(0.2, 10.0)
        stiffness = 48.0 * 70_000.0 * math.pi * 8.0**4 / 64.0 / length**3
        aside = 2.0 * force / (4.0 + 10.0 - 0.2) >= stiffness
        assert work.is_pushed_aside(0.2, -length / 2.0 - 5.0) == aside
    assert slender.is_pushed_aside(0.2, -105.0)
    assert not short.is_pushed_aside(0.2, -35.0)
    assert slender.penetration_mm(0.0, -105.0) < 0.15
    assert short.penetration_mm(0.0, -35.0) == pytest.approx(0.2)
    # At the depth where it stays the two stiffnesses are alike.
    depth = slender.settled_mm(0.0, -105.0)
    aside = 2.0 * slender.pressing.roll_force_n(depth, 10.0) / (14.0 - depth)
    assert aside * slender.compliance_mm_per_n(-105.0) == pytest.approx(1.0, abs=1e-4)


@given(work=PARTS, c=st.floats(0.02, 0.2), low=st.floats(0.2, 0.9))
@settings(max_examples=60)
def test_work_twice_as_soft_loses_more(work: HeldWork, c: float, low: float) -> None:
    softer = HeldWork(
        work.contact,
        work.pressing,
        work.rolls,
        work.face_mm,
        Beam(work.beam.support, work.beam.youngs_modulus_mpa / 2.0, work.beam.pieces),
    )
    across, left = work.contact.centre_mm(c), -55.0 * low
    assert softer.penetration_mm(across, left) <= work.penetration_mm(across, left) + 1e-6
    twice = 2.0 * work.deflection_mm(c, left)
    assert softer.deflection_mm(c, left) == pytest.approx(twice, abs=1e-12)


@given(work=PARTS, far=st.floats(-20.0, -1.0), line=st.floats(-55.0, -25.0))
@settings(max_examples=60)
def test_the_softest_place_is_found(work: HeldWork, far: float, line: float) -> None:
    found = work.softest(line, far)
    looked = [line + (far - line) * i / 100 for i in range(101)]
    deepest = max(work.deflection_mm(0.1, left) for left in looked)
    shallowest = min(work.deflection_mm(0.1, left) for left in looked)
    assert work.deflection_mm(0.1, found.most_left_mm) >= 0.99 * deepest
    assert work.deflection_mm(0.1, found.least_left_mm) <= shallowest + 0.01 * deepest


# -- across the face -----------------------------------------------------------


def test_the_edge_further_from_the_chuck_comes_out_shallower() -> None:
    work = held(support="fixed and free", length=60.0, diameter=20.0)
    left, right = work.edges_mm(work.contact.centre_mm(0.2), -10.0)
    middle = work.settled_mm(work.contact.centre_mm(0.2), -10.0)
    assert left > middle > right
    # What a traverse leaves is the deepest edge: every place meets the whole face.
    assert work.penetration_mm(work.contact.centre_mm(0.2), -10.0) == pytest.approx(left)


def test_the_edges_agree_with_many_small_rolls_side_by_side() -> None:
    # An independent way: the face cut into strips, each pressing by its own penetration.
    work = held("single roll", "fixed and free", length=60.0, diameter=22.0)
    across, left, strips = work.contact.centre_mm(0.2), -10.0, 20
    width = work.face_mm / strips
    places = [work.beam.length_mm + left + width * (i + 0.5) for i in range(strips)]
    soft = [[work.beam.deflection_mm_per_n(p, at) for p in places] for at in places]
    depths = [0.2] * strips
    for _ in range(400):
        forces = [work.resultant_n(max(d, 0.0), width) for d in depths]
        away = [sum(s * f for s, f in zip(row, forces, strict=True)) for row in soft]
        depths = [0.8 * d + 0.2 * (0.2 - a) for d, a in zip(depths, away, strict=True)]
    found = work.edges_mm(across, left)
    lean = (depths[0] - depths[-1]) * strips / (strips - 1)
    assert found[0] - found[1] == pytest.approx(lean, rel=0.1)
    assert sum(found) / 2.0 == pytest.approx(sum(depths) / strips, rel=0.03)


# -- following -----------------------------------------------------------------


def depths_along(work: HeldWork, knots: Any, parts: int) -> list[float]:
    """Return the penetration at many places of a way of straight blocks."""
    found = []
    for begin, end in pairwise(knots):
        for i in range(parts + 1):
            share = i / parts
            left = begin.left_mm + share * (end.left_mm - begin.left_mm)
            across = begin.across_mm + share * (end.across_mm - begin.across_mm)
            found.append(work.penetration_mm(across, left))
    return found


@given(
    work=PARTS,
    c=st.floats(0.05, 0.2),
    start=st.floats(-12.0, -1.0),
    travel=st.floats(5.0, 45.0),
    back=st.booleans(),
)
@settings(max_examples=80, deadline=None)
def test_a_slide_that_follows_makes_the_knurl_even_and_never_too_deep(
    work: HeldWork, c: float, start: float, travel: float, back: bool
) -> None:
    ends = (start - travel, start) if back else (start, start - travel)
    knots, _ = work.follow(c, *ends)
    assume(min(k.across_mm for k in knots) >= 0.0)
    assert (knots[0].left_mm, knots[-1].left_mm) == ends
    depths = depths_along(work, knots, 7)
    assert max(depths) <= c + 1e-6, "deeper than planned"
    assert min(depths) >= 0.99 * max(depths), "less even than one hundredth"


@given(work=PARTS, c=st.floats(0.05, 0.2), travel=st.floats(5.0, 45.0))
@settings(max_examples=40, deadline=None)
def test_chords_leave_the_line_by_no_more_than_is_allowed(
    work: HeldWork, c: float, travel: float
) -> None:
    knots, set_off = work.follow(c, -3.0, -3.0 - travel)
    allowed = min(CHORD_MM, CHORD_SHARE * c)
    assert 0.0 <= set_off <= 1.25 * allowed
    for begin, end in pairwise(knots):
        for share in (0.1, 0.3, 0.5, 0.7, 0.9):
            left = begin.left_mm + share * (end.left_mm - begin.left_mm)
            chord = begin.across_mm + share * (end.across_mm - begin.across_mm) - set_off
            assert abs(chord - work.across_mm(c, left)) <= 1.3 * allowed


def test_work_that_hardly_deflects_is_followed_in_few_blocks() -> None:
    stiff, _ = held(length=60.0, diameter=50.0).follow(0.2, -3.0, -40.0)
    soft, _ = held(length=200.0, diameter=16.0).follow(0.2, -3.0, -120.0)
    assert len(stiff) <= 4
    assert 20 < len(soft) < 200


def test_a_step_in_the_work_is_followed_too() -> None:
    work = held(pieces=(Piece(70.0, 16.0), Piece(60.0, 24.0), Piece(20.0, 18.0)))
    knots, _ = work.follow(0.2, -5.0, -75.0)
    depths = depths_along(work, knots, 9)
    assert min(depths) >= 0.99 * max(depths)
    assert max(depths) <= 0.2 + 1e-7
    straight = work.contact.centre_mm(0.2)
    lost = [0.2 - work.penetration_mm(straight, k.left_mm) for k in knots]
    assert max(lost) > 0.02


def test_a_contact_without_deflection_agrees_with_its_own_geometry() -> None:
    work = held(length=20.0, diameter=200.0, flow_mpa=0.001)
    contact: Contact = work.contact
    for c in (0.01, 0.1, 0.2):
        assert work.penetration_mm(contact.centre_mm(c), -10.0) == pytest.approx(c, abs=1e-8)
