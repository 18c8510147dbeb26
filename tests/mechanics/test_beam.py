"""Held work as a beam: against printed cases, and against an independent solver."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knurlcam.mechanics.beam import (
    HEAVIEST_SHARES,
    Beam,
    Piece,
    Support,
    plain_compliance_mm_per_n,
    plain_moment_mm,
    plain_tailstock_share,
    second_moment_mm4,
)

SUPPORTS: tuple[Support, ...] = ("simply supported", "fixed and supported", "fixed and free")

HICKS = "Hicks, Civil Engineering Formulas (McGraw-Hill, 2002), Fig. 2.2"
HANDBOOK = "Machinery's Handbook, 31st ed., Table 1 Stresses and Deflections in Beams"

UNIT = Piece(1.0, (64.0 / math.pi) ** 0.25)
"""One millimetre long, with a second moment of 1 mm4: with E = 1, figures of W L^3 / (E I)."""


def plain(support: Support) -> Beam:
    return Beam(support, 1.0, (UNIT,))


# -- printed cases -------------------------------------------------------------


def test_a_push_at_0_414_of_the_length_from_the_centre_bends_most() -> None:
    # Hicks, Fig. 2.2, case 9, p. 28: 0.0098 W L^3 / (E I), printed with two digits
    held = plain("fixed and supported")
    assert held.compliance_mm_per_n(1.0 - 0.414) == pytest.approx(0.0098, abs=5e-5), HICKS
    around = [held.compliance_mm_per_n(1.0 - 0.414 + d) for d in (-0.05, 0.0, 0.05)]
    assert max(around) == around[1]


@pytest.mark.parametrize(
    ("support", "push", "at", "expected", "source"),
    [
        ("fixed and supported", 0.5, 0.5, 7.0 / 768.0, f"{HICKS}, case 9"),
        ("fixed and free", 1.0, 1.0, 1.0 / 3.0, f"{HANDBOOK}, case 11"),
        ("fixed and free", 0.6, 0.6, 0.072, f"{HANDBOOK}, case 12"),
        ("fixed and free", 0.6, 1.0, 0.144, f"{HANDBOOK}, case 12"),
        ("simply supported", 0.5, 0.5, 1.0 / 48.0, f"{HANDBOOK}, case 2, from memory"),
    ],
)
def test_the_work_deflects_as_the_tables_print_it(
    support: Support, push: float, at: float, expected: float, source: str
) -> None:
    found = plain(support).deflection_mm_per_n(push, at)
    assert found == pytest.approx(expected, abs=1e-8), source


def test_a_push_off_the_middle_between_centres_bends_most_where_the_formula_says() -> None:
    # Hicks, Fig. 2.2, case 2, p. 21: W a b (a + 2b) sqrt(3a (a + 2b)) / (27 E I L), a = 0.75
    a, b = 0.75, 0.25
    printed = a * b * (a + 2 * b) * math.sqrt(3 * a * (a + 2 * b)) / 27.0
    assert printed == pytest.approx(0.014557734, abs=1e-8), HICKS
    place = math.sqrt(a * (a + 2 * b) / 3.0)
    found = plain("simply supported").deflection_mm_per_n(a, place)
    assert found == pytest.approx(printed, abs=1e-9), HICKS


def test_the_centre_takes_five_sixteenths_of_a_force_in_the_middle() -> None:
    # Hicks, Fig. 2.2, case 9, p. 28: R = W (3 b^2 L - b^3) / (2 L^3)
    assert plain_tailstock_share("fixed and supported", 1.0, 0.5) == pytest.approx(0.3125), HICKS
    assert plain_tailstock_share("simply supported", 1.0, 0.25) == 0.25
    assert plain_tailstock_share("fixed and free", 1.0, 0.5) == 0.0


def test_bending_stress_is_moment_over_section() -> None:
    # 1000 N at the end of 100 mm of a 20 mm bar: 32 * 1e5 / (pi * 8000) = 127.32 MPa
    bar = Beam("fixed and free", 200_000.0, (Piece(100.0, 20.0),))
    assert 1000.0 * bar.stress_mpa_per_n(100.0) == pytest.approx(127.324, abs=1e-3)


@pytest.mark.few(6)
@pytest.mark.parametrize("support", SUPPORTS)
@pytest.mark.parametrize("share", [0.0, 0.2, 0.42, 0.63, 0.9, 1.0])
def test_the_largest_moment_of_plain_work_agrees_with_the_stress(
    support: Support, share: float
) -> None:
    bar = Beam(support, 200_000.0, (Piece(80.0, 15.0),))
    section = math.pi * 15.0**3 / 32.0
    moment = plain_moment_mm(support, 80.0, share * 80.0)
    assert bar.stress_mpa_per_n(share * 80.0) * section == pytest.approx(moment, abs=1e-9)


# -- limits --------------------------------------------------------------------


@pytest.mark.parametrize("support", SUPPORTS)
def test_twice_as_long_deflects_eight_times_as_far(support: Support) -> None:
    short = Beam(support, 200_000.0, (Piece(60.0, 12.0),))
    long = Beam(support, 200_000.0, (Piece(120.0, 12.0),))
    assert long.compliance_mm_per_n(80.0) == pytest.approx(8.0 * short.compliance_mm_per_n(40.0))
    thick = Beam(support, 200_000.0, (Piece(60.0, 24.0),))
    assert thick.compliance_mm_per_n(40.0) == pytest.approx(short.compliance_mm_per_n(40.0) / 16.0)
    soft = Beam(support, 100_000.0, (Piece(60.0, 12.0),))
    assert soft.compliance_mm_per_n(40.0) == pytest.approx(short.compliance_mm_per_n(40.0) * 2.0)


@pytest.mark.parametrize("support", SUPPORTS)
def test_nothing_deflects_where_the_work_is_held(support: Support) -> None:
    held = plain(support)
    assert held.compliance_mm_per_n(0.0) == 0.0
    if support != "fixed and free":
        assert held.compliance_mm_per_n(1.0) == pytest.approx(0.0, abs=1e-12)


PIECES = st.lists(
    st.builds(Piece, st.floats(1.0, 80.0), st.floats(5.0, 60.0)), min_size=1, max_size=5
).map(tuple)


@given(
    support=st.sampled_from(SUPPORTS),
    pieces=PIECES,
    push=st.floats(0.01, 1.0),
    at=st.floats(0.01, 1.0),
)
@settings(max_examples=80)
def test_push_and_place_may_change_sides(
    support: Support, pieces: tuple[Piece, ...], push: float, at: float
) -> None:
    # Maxwell: the deflection here from a push there is that there from a push here.
    work = Beam(support, 200_000.0, pieces)
    one, other = push * work.length_mm, at * work.length_mm
    there = work.deflection_mm_per_n(one, other)
    assert there == pytest.approx(work.deflection_mm_per_n(other, one), rel=1e-6, abs=1e-12)


@given(support=st.sampled_from(SUPPORTS), pieces=PIECES, push=st.floats(0.0, 1.0))
@settings(max_examples=60)
def test_no_force_stresses_work_more_than_the_most(
    support: Support, pieces: tuple[Piece, ...], push: float
) -> None:
    work = Beam(support, 200_000.0, pieces)
    most = work.most_stress_mpa_per_n
    assert work.stress_mpa_per_n(push * work.length_mm) <= most * (1.0 + 1e-9)


@pytest.mark.parametrize("support", SUPPORTS)
def test_the_most_is_reached_on_plain_work(support: Support) -> None:
    bar = Beam(support, 200_000.0, (Piece(80.0, 15.0),))
    found = max(bar.stress_mpa_per_n(80.0 * share) for share in HEAVIEST_SHARES[support])
    assert found == pytest.approx(bar.most_stress_mpa_per_n)


@given(support=st.sampled_from(SUPPORTS), cut=st.floats(0.05, 0.95), push=st.floats(0.02, 0.98))
@settings(max_examples=80)
def test_a_step_that_is_as_thick_as_the_rest_is_none(
    support: Support, cut: float, push: float
) -> None:
    whole = Beam(support, 200_000.0, (Piece(100.0, 20.0),))
    stepped = Beam(support, 200_000.0, (Piece(100.0 * cut, 20.0), Piece(100.0 * (1 - cut), 20.0)))
    u = 100.0 * push
    assert stepped.compliance_mm_per_n(u) == pytest.approx(whole.compliance_mm_per_n(u), rel=1e-6)
    for at in (10.0, u, 95.0):
        there = stepped.deflection_mm_per_n(u, at)
        assert there == pytest.approx(whole.deflection_mm_per_n(u, at), rel=1e-6)
    assert stepped.tailstock_share(u) == pytest.approx(whole.tailstock_share(u), abs=1e-9)
    assert stepped.stress_mpa_per_n(u) == pytest.approx(whole.stress_mpa_per_n(u))
    flexure = 200_000.0 * second_moment_mm4(20.0)
    assert whole.compliance_mm_per_n(u) == plain_compliance_mm_per_n(support, 100.0, flexure, u)


# -- an independent solver -----------------------------------------------------


def solved(beam: Beam, push: float, at: float) -> tuple[float, float, float]:
    """Return deflection, reaction at the tailstock and largest moment from anastruct."""
    from anastruct import SystemElements  # here: most of a second to load

    system: Any = SystemElements(EA=1e12)
    cuts = {0.0, push, at, *beam.ends_mm}
    places = sorted({round(cut, 9) for cut in cuts})
    for begin, end in pairwise(places):
        middle = (begin + end) / 2.0
        piece = next(
            p for p, e in zip(beam.pieces, beam.ends_mm, strict=True) if middle <= e + 1e-9
        )
        flexure = beam.youngs_modulus_mpa * second_moment_mm4(piece.diameter_mm)
        system.add_element([[begin, 0.0], [end, 0.0]], EI=flexure)
    first, last = 1, len(places)
    if beam.support == "simply supported":
        system.add_support_hinged(first)
    else:
        system.add_support_fixed(first)
    if beam.support != "fixed and free":
        system.add_support_roll(last, direction="x")
    system.point_load(places.index(round(push, 9)) + 1, Fy=-1000.0)
    system.solve()
    there = system.get_node_displacements(places.index(round(at, 9)) + 1)
    reaction = (
        0.0 if beam.support == "fixed and free" else system.get_node_results_system(last)["Fy"]
    )
    moment = max(
        max(abs(e["Mmin"]), abs(e["Mmax"])) for e in system.get_element_results(element_id=0)
    )
    return abs(there["uy"]) / 1000.0, abs(reaction) / 1000.0, moment / 1000.0


STEPPED = (Piece(30.0, 24.0), Piece(25.0, 12.0), Piece(45.0, 18.0))
SLENDER = (Piece(150.0, 8.0),)


@pytest.mark.few(9)
@pytest.mark.parametrize("support", SUPPORTS)
@pytest.mark.parametrize("pieces", [SLENDER, STEPPED, tuple(reversed(STEPPED))])
@pytest.mark.parametrize(("push", "at"), [(0.35, 0.35), (0.7, 0.7), (0.7, 0.3), (0.95, 0.6)])
def test_stepped_work_deflects_as_an_independent_solver_says(
    support: Support, pieces: tuple[Piece, ...], push: float, at: float
) -> None:
    work = Beam(support, 200_000.0, pieces)
    one, other = push * work.length_mm, at * work.length_mm
    deflection, reaction, _ = solved(work, one, other)
    assert work.deflection_mm_per_n(one, other) == pytest.approx(deflection, rel=1e-5)
    assert work.tailstock_share(one) == pytest.approx(reaction, abs=1e-6)
    if push == at:
        assert work.compliance_mm_per_n(one) == pytest.approx(deflection, rel=1e-5)


@pytest.mark.parametrize("support", SUPPORTS)
@pytest.mark.parametrize("push", [0.2, 0.5, 0.85])
def test_the_largest_moment_is_that_of_an_independent_solver(support: Support, push: float) -> None:
    work = Beam(support, 200_000.0, SLENDER)
    u = push * work.length_mm
    _, _, moment = solved(work, u, u)
    assert plain_moment_mm(support, work.length_mm, u) == pytest.approx(moment, rel=1e-4)
