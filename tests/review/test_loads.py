"""Loads and deflection on the page, against a beam that is solved here."""

from __future__ import annotations

import math
import re

import pytest

from knurlcam import lay_out
from knurlcam import write_program as write
from knurlcam.plan.model import Plan
from knurlcam.plan.report import load_rows
from knurlcam.review.loads import unknown_loads
from knurlcam.review.tables.loads import pass_forces
from tests.support.breaking import good_job, good_plan
from tests.support.loads import CHUCK, NEARLY_BENT
from tests.support.pages import (
    FOLLOWED,
    LONG,
    OWN,
    edited,
    page_for,
    planned,
    told,
    yielding,
)

pytestmark = pytest.mark.usefixtures("rough_imprint")


def force_n(plan: Plan, c: float, face: float, deeper: float) -> float:
    """Return one roll's force by F = p (w / t) b l of ridges, from the plan's own figures."""
    assert plan.estimate is not None
    pressing = plan.estimate.set_up.pressing
    arc = math.sqrt(2.0 * min(deeper, c) * pressing.reduced_radius_mm)
    return pressing.pressure_mpa * min(1.0, pressing.strip_per_mm * c) * face * arc


def strip_n(plan: Plan, c: float) -> float:
    """Return one roll's force on its way: a fresh strip of one feed, a pass deeper."""
    return force_n(plan, c, plan.feed_mm_per_rev, plan.passes[0].penetration_mm)


def left_by(plan: Plan, x: float, left: float) -> float:
    """Return the penetration between centres where the slide stands at X, by halving.

    A knuckle joint's rolls stand at u = hypot(x, v); the work between centres gives way by
    P a² b² / (3 E I L) in the middle of the face, and less at one of its edges: that comes
    deepest (Hicks, Civil Engineering Formulas, Fig. 2.2, case 2).
    """
    job, contact = plan.job, plan.contact
    modulus = job.part.material_row.youngs_modulus_gpa
    assert modulus is not None
    radius, length = contact.blank_radius_mm, job.part.length
    flexure = 1000.0 * modulus * math.pi * radius**4 / 4.0
    face = min(job.tool.face_width, -left)
    b = -(left + face / 2.0)
    soft = ((length - b) * b) ** 2 / (3.0 * flexure * length)
    across = x / 2.0 + contact.datum_shift_mm
    low, high = 0.0, 1.0
    for _ in range(60):
        c = (low + high) / 2.0
        apart = radius + contact.roll_radius_mm - c
        centre = math.sqrt(apart**2 - contact.half_spacing_mm**2)
        push = 2.0 * strip_n(plan, c) * centre / apart
        low, high = (c, high) if centre - push * soft > across else (low, c)

    def gives(u: float) -> float:
        """Deflection for each newton at a place u from the driven centre."""
        push_at = length - b
        if u > push_at:
            u, push_at = length - u, b
        far = length - push_at
        return far * u * (length**2 - far**2 - u**2) / (6.0 * flexure * length)

    edges = (length + left, length + left + face)
    return low + push * (soft - min(map(gives, edges))) * centre / apart


def test_a_straight_program_leaves_what_a_beam_between_centres_leaves() -> None:
    plan = planned(**LONG)
    made = yielding(plan).made
    assert made is not None
    deepest = plan.passes[-1].x_diameter_mm
    face = plan.job.tool.face_width
    for z, depth in zip(made.z_mm, made.value_mm, strict=True):
        left = z - face / 2.0 if z <= -face / 2.0 else 2.0 * z
        assert depth == pytest.approx(left_by(plan, round(deepest, 3), left), abs=1e-6), z
    assert min(made.value_mm) < 0.9 * plan.penetration_mm, "a soft work shows that it is soft"


def test_a_program_that_follows_the_work_leaves_the_planned_penetration() -> None:
    plan = planned(**FOLLOWED)
    given = yielding(plan)
    assert given.made is not None
    assert given.made.value_mm == pytest.approx(
        [plan.penetration_mm] * len(given.made.value_mm), abs=0.002
    )
    assert given.other.evenness == pytest.approx(0.89, abs=0.01), "straight, beside it"
    said = told(plan.job)
    assert "depth uniformity (least over greatest) 1.00." in said
    assert "Without deflection compensation depth uniformity would be 0.89" in said


def test_a_job_without_compensation_shows_what_compensation_would_bring() -> None:
    plan = planned(**LONG)
    assert plan.estimate is not None
    bending = plan.estimate.deflection
    assert bending is not None
    said = told(plan.job)
    depths = re.search(r"of this program come ([\d.]+) to ([\d.]+) mm deep along the knurl", said)
    assert depths is not None
    assert float(depths[1]) / float(depths[2]) == pytest.approx(0.89, abs=0.02)
    assert f"depth uniformity (least over greatest) {bending.evenness:.2f}." in said
    assert f"(process.compensate): {bending.evenness_compensated:.2f}." in said


def test_an_edited_program_shows_its_own_curve() -> None:
    """Blocks moved out by 0.2 mm on the diameter leave less there, and as much elsewhere."""
    plan = planned(**FOLLOWED)
    good, made = yielding(plan).made, yielding(plan, edited(plan, 0.2)).made
    assert good is not None
    assert made is not None
    assert min(made.value_mm) < min(good.value_mm) - 0.01
    assert -75.0 < made.z_mm[made.value_mm.index(min(made.value_mm))] < -45.0
    assert made.value_mm[0] == pytest.approx(good.value_mm[0], abs=1e-6)
    assert f"(least over greatest) {made.evenness:.2f}." in told(plan.job, edited(plan, 0.2))


def test_the_page_and_the_checker_show_one_depth_uniformity() -> None:
    plan = planned(**FOLLOWED)
    made, evenness = yielding(plan).made, page_for(plan.job).verification.evenness
    assert made is not None
    assert evenness is not None
    assert made.evenness == pytest.approx(evenness[1], abs=0.003)


def test_where_no_pass_comes_there_is_no_penetration() -> None:
    plan = planned(**LONG)
    text = write(lay_out(plan), "iso6983").replace("Z-120.000", "Z-100.000")
    made = yielding(plan, text).made
    assert made is not None
    assert made.value_mm[0] == 0.0
    assert made.value_mm[-1] > 0.15
    assert made.evenness == 0.0


def test_a_program_that_never_touches_has_no_curve_of_its_own() -> None:
    plan = planned()
    text = re.sub(r"G01 X[\d.]+", "G01 X28.000", write(lay_out(plan), "iso6983"))
    assert yielding(plan, text).made is None
    assert "not known where its rolls press" in told(plan.job, text)


def test_the_forces_of_the_passes_are_those_of_the_formula() -> None:
    plan = planned()
    face = plan.job.tool.face_width
    rows = pass_forces(plan)
    pressing = [p for p in plan.passes if p.presses]
    assert plan.estimate is not None
    increment = plan.estimate.set_up.pressing.fresh.infeed_mm
    assert [r.name for r in rows] == ["1", "2", "3", "4"]
    for one, row_ in zip(pressing, rows, strict=True):
        value, unit = row_.force.split()
        assert float(value) == pytest.approx(
            force_n(plan, one.penetration_mm, face, increment), rel=0.05
        )
        assert unit == "N"
    assert [r.shares[1] for r in rows] == sorted(r.shares[1] for r in rows)
    assert rows[-1].shares[2] == 1.0
    assert "Pass 5 cleans up: it presses no deeper" in told(plan.job)


def test_each_figure_of_the_loads_stands_on_the_page() -> None:
    plan = planned()
    said = told(plan.job)
    for name, value, how in load_rows(plan):
        assert f"{name[:1].upper()}{name[1:]}" in said
        assert value in said
        assert how in said


def test_metal_without_a_modulus_has_forces_and_a_sentence_but_no_picture() -> None:
    plan = planned(**{"part.material": OWN})
    said, html = told(plan.job), page_for(plan.job).html
    assert "Young's modulus of own metal is not known: its deflection is not available." in (
        said.replace("&#39;", "'")
    )
    assert "view-yield" not in html[html.index("<body") :]
    assert len(pass_forces(plan)) == 4


def test_metal_of_unknown_strength_has_a_sentence_and_no_figures(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """No row of the table is without a strength: here each is."""
    monkeypatch.setattr("knurlcam.plan.loads.flow_stress", lambda _: None)
    plan = planned(**{"part.name": "Of unknown metal"})  # a page of its own
    assert unknown_loads(plan).endswith("is known: force and deflection are not available.")
    assert unknown_loads(plan) in told(plan.job)
    assert pass_forces(plan) == ()
    html = page_for(plan.job).html
    section = html[html.index('class="wide loads"') : html.index('id="left"')]
    assert "<svg" not in section
    assert section.count("<table") == 1


def test_a_straddle_is_a_flat_line_and_says_why() -> None:
    plan = good_plan("straddle")
    given = yielding(plan)
    assert given.made is not None
    assert given.cancels
    assert set(given.deflection.value_mm) == {0.0}
    assert max(given.made.value_mm) - min(given.made.value_mm) < 1e-6
    assert "the forces of the two rolls balance" in told(plan.job)


def test_a_plunge_shows_both_edges_of_the_face() -> None:
    """Between centres the end towards the middle gives way more: the left edge is less deep."""
    said = told(good_job("plunge"))
    found = re.search(r"they come ([\d.]+) mm deep at the left edge of the face and ([\d.]+)", said)
    assert found
    left, right = map(float, found.groups())
    assert left < right <= 0.197
    assert "view-yield" not in said


def test_following_that_would_bend_the_work_for_good_is_not_held_out() -> None:
    said = told(planned(**{**CHUCK, **NEARLY_BENT}).job)
    assert re.search(r"would bend the work permanently: \d+ MPa, and its limit is 260 MPa\.", said)
    assert "(process.compensate)" not in said
    assert "(process.compensate)" in told(good_job("diamond"))
