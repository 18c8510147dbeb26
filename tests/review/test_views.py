"""The pictures: to scale, and where their own scales put them."""

from __future__ import annotations

import re

import pytest

from knurlcam.review.views.deflection import deflection_chart
from knurlcam.review.views.end import end_view
from knurlcam.review.views.infeed import infeed_view
from knurlcam.review.views.side import side_view
from tests.support.breaking import Text, good_plan
from tests.support.pages import (
    FOLLOWED,
    LONG,
    STEPPED,
    planned,
    timed,
    timeline_of,
    told,
    yielding,
)

pytestmark = pytest.mark.usefixtures("rough_imprint")


def test_the_side_view_is_to_scale() -> None:
    plan = planned()
    view = side_view(plan, timeline_of(plan))
    assert view.frame.kx == -view.frame.ky
    knurl = next(s for s in view.still if s.attributes.get("class") == "knurl")
    width, height = float(knurl.attributes["width"]), float(knurl.attributes["height"])
    # The knurl is 20 mm wide on a blank of 24.688 mm (README).
    assert width / height == pytest.approx(20.0 / 24.688, rel=1e-3)
    roll = next(s for s in view.moving if s.tag == "rect")
    assert float(roll.attributes["width"]) / width == pytest.approx(10.0 / 20.0, rel=1e-3)
    assert float(roll.attributes["height"]) / width == pytest.approx(20.0 / 20.0, rel=1e-3)


def test_the_end_view_shows_the_centres_where_pythagoras_puts_them() -> None:
    """Knuckle joint: v = 10.5, R_b + R_r = 22.344; touch at sqrt(22.344² - 10.5²) = 19.723."""
    plan = planned()
    view = end_view(plan)
    contact = [s for s in view.still if s.attributes.get("class") == "ghost contact"]
    frame = view.frame
    xs = {(float(s.attributes["cx"]) - frame.x0) / frame.kx for s in contact}
    ys = sorted((float(s.attributes["cy"]) - frame.y0) / frame.ky for s in contact)
    assert list(xs) == pytest.approx([19.723], abs=0.01)
    assert ys == pytest.approx([-10.5, 10.5], abs=0.01)


def test_a_straddles_rolls_stand_over_the_axis_at_full_depth() -> None:
    plan, _, _ = timed("straddle", "iso6983")
    view = end_view(plan)
    full = [s for s in view.still if s.attributes.get("class") == "ghost full"]
    assert [float(s.attributes["cx"]) for s in full] == pytest.approx([view.frame.x0] * 2, abs=0.1)


def test_the_infeed_view_shows_steps_that_the_side_view_cannot() -> None:
    plan = planned()
    line = timeline_of(plan)
    side, infeed = side_view(plan, line), infeed_view(plan, line)
    # The last step is 0.016 mm: less than a tenth of a line to scale, and plain when stretched.
    step = plan.passes[3].penetration_mm - plan.passes[2].penetration_mm
    assert step * -side.frame.ky < 0.2
    assert step * infeed.frame.ky > 10.0


def test_long_work_is_cut_and_says_where_it_is_held() -> None:
    plan = planned(**{"part.length": 1500.0})
    told = [s.text for s in side_view(plan, timeline_of(plan)).still if s.tag == "text"]
    assert "driven centre at Z -1500.000 mm" in told


def test_a_program_that_presses_far_too_deep_does_not_shrink_the_picture() -> None:
    text = Text.of("diamond", "iso6983")
    text.put(text.infeeds[-1], "X", 4.0)
    plan, _, line = timed("diamond", "iso6983", str(text))
    view = infeed_view(plan, line)
    assert plan.penetration_mm * view.frame.ky > 80.0


@pytest.mark.parametrize(("form", "rises"), [("RBR", False), ("RBL", True)])
def test_diagonal_teeth_lean_as_their_hand_says(form: str, rises: bool) -> None:
    """A right-hand helix about Z sinks on the visible side as Z grows: x = R cos t, z = p t."""
    plan = planned(**{"knurl.callout": f"{form} 2.0"})
    teeth = next(
        s for s in side_view(plan, timeline_of(plan)).still if s.attributes["class"] == "teeth"
    )
    first = re.match(r"M([\d.]+) ([\d.]+)L([\d.]+) ([\d.]+)", str(teeth.attributes["d"]))
    assert first
    x1, y1, x2, y2 = map(float, first.groups())
    assert x2 > x1
    assert (y2 < y1) == rises, "units run downwards"


def test_a_slide_that_follows_is_drawn_level_and_as_one_line() -> None:
    plan = planned(**FOLLOWED)
    line = timeline_of(plan)
    view = infeed_view(plan, line)
    assert not view.outside
    way = next(s for s in view.still if s.attributes["class"] == "way headstock")
    assert str(way.attributes["d"]).count("M") < len(plan.passes) * 20


def test_inches_are_shown_as_inches() -> None:
    plan = good_plan("inch")
    said = told(plan.job)
    assert "lbf" in said
    assert " mm" not in said
    given = yielding(plan)
    texts = [s.text for s in deflection_chart(plan, given, "").still if s.tag == "text"]
    assert "penetration, in" in texts
    assert len([t for t in texts if re.fullmatch(r"0\.\d+", t)]) >= 3, texts


@pytest.mark.parametrize("changes", [{}, LONG, FOLLOWED, STEPPED])
def test_the_picture_is_drawn_where_its_scales_put_it(changes: dict[str, object]) -> None:
    """The curve's lowest point, read against two numbers of the axis, is what was computed."""
    plan = planned(**changes)
    given = yielding(plan)
    assert given.made is not None
    chart = deflection_chart(plan, given, "")
    curve = next(s for s in chart.still if s.attributes["class"] == "curve made")
    ys = [float(p.split(",")[1]) for p in str(curve.attributes["points"]).split()]
    marks = [
        (float(s.text), float(s.attributes["y"]))
        for s in chart.still
        if s.tag == "text" and s.attributes["class"] == "end small" and "mm" not in s.text
    ]
    (v0, y0), (v1, y1) = marks[0], marks[1]
    values = [v0 + (y - (y0 - 6.0)) / (y1 - y0) * (v1 - v0) for y in ys]
    assert values == pytest.approx(list(given.made.value_mm), abs=0.001)


def test_stepped_work_is_drawn_with_its_steps() -> None:
    plan = planned(**STEPPED)
    view = side_view(plan, timeline_of(plan))
    work = next(s for s in view.still if s.attributes["class"] == "work")
    corners = [tuple(map(float, p.split(","))) for p in str(work.attributes["points"]).split()]
    frame = view.frame
    found = [
        ((x - frame.x0) / frame.kx, 2.0 * (y - frame.y0) / frame.ky)
        for x, y in corners[: len(corners) // 2]
    ]
    blank = plan.blank_diameter_mm
    wanted = [(-100, 20), (-80, 20), (-80, 34), (-40, 34), (-40, blank), (-20, blank)]
    wanted += [(-20, 18), (0, 18)]
    assert [a for a, _ in found] == pytest.approx([a for a, _ in wanted], abs=0.05)
    assert [b for _, b in found] == pytest.approx([b for _, b in wanted], abs=0.05)
    lowest = max(y for _, y in corners)
    assert min(y for _, y in corners) > 0.0
    assert lowest < frame.height
