"""The plot of the window of good blanks: what it says, and that all can be read."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from knurlcam.errors import InputError
from knurlcam.imprint.pictures.window_plot import window_svg
from knurlcam.imprint.window import Blank, Window
from tests.support.svg import corners, each, refuse_overlaps, words_of
from tests.support.windows import (
    ALL_CLEAN,
    HALF_TOUCHED,
    NARROW,
    NONE_CLEAN,
    WINDOW,
    plotted,
    pointers,
    sharp,
    window,
)


def curves(svg: ET.Element) -> list[NDArray[np.float64]]:
    return [corners(e) for e in each(svg, "polyline") if e.get("class") == "window-curve"]


def axis(svg: ET.Element) -> Callable[[float], float]:
    """Return what tells the place of a diameter, from the figures below the plot."""
    marks = {
        float(t.text): float(t.get("x"))
        for t in each(svg, "text")
        if re.fullmatch(r"\d+\.\d+", str(t.text)) and t.get("text-anchor") == "middle"
    }
    slope, start = np.polyfit(list(marks), list(marks.values()), 1)
    return lambda diameter: float(start + slope * diameter)


def test_a_window_says_how_far_the_blank_may_be_off_rounded_down() -> None:
    words = words_of(plotted(WINDOW))
    assert {"-0.026", "+0.045", "handbook ± 0.034", "planned 24.626 mm"} <= set(words)
    assert "clean below 0.1" in words
    assert {"-0.0010", "+0.0017", "planned 0.9695 in"} <= set(words_of(plotted(WINDOW, "inch")))


def test_a_windows_clean_range_and_bracket_are_where_its_axis_says() -> None:
    svg = plotted(WINDOW)
    at = axis(svg)
    [area] = each(svg, "polygon")
    assert corners(area)[:, 0].min() == pytest.approx(at(24.5993), abs=0.1)
    assert corners(area)[:, 0].max() == pytest.approx(at(24.6717), abs=0.1)
    [bracket] = [e for e in each(svg, "polyline") if e.get("class") == "window-handbook"]
    assert corners(bracket)[:, 0] == pytest.approx(
        [at(24.626 - 0.03464), at(24.626 + 0.03464)], abs=0.1
    )


def test_the_edges_of_a_window_are_as_upright_as_they_are() -> None:
    svg = plotted(WINDOW)
    [curve] = curves(svg)
    steep = np.flatnonzero(np.abs(np.diff(curve[:, 1])) > 50)
    assert curve[steep, 0] == pytest.approx([axis(svg)(d) for d in (24.5993, 24.6717)], abs=0.1)
    assert curve[steep, 0] == pytest.approx(curve[steep + 1, 0])


def test_an_edge_that_rises_slowly_goes_through_the_limit() -> None:
    slow = window(lambda d: min(1.0, abs(d - 24.626) * 4.0), (24.601, 24.651))
    svg = plotted(slow)
    [curve] = curves(svg)
    [limit] = [corners(e) for e in each(svg, "polyline") if e.get("class") == "window-clean"]
    for edge in (24.601, 24.651):
        height = np.interp(axis(svg)(edge), curve[:, 0], curve[:, 1])
        assert height == pytest.approx(limit[0, 1], abs=0.1)


def test_a_jump_between_two_looks_is_upright_amid_them_and_a_slope_stays_one() -> None:
    svg = plotted(window(lambda d: sharp(d) if d < 24.8 else 0.0))
    [curve] = curves(svg)
    steep = np.flatnonzero(np.abs(np.diff(curve[:, 1])) > 50)
    steps = [blank.diameter_mm for blank in WINDOW.blanks]
    after = next(i for i, step in enumerate(steps) if step >= 24.8)
    middle = (steps[after - 1] + steps[after]) / 2.0
    assert curve[steep, 0] == pytest.approx(curve[steep + 1, 0])
    assert curve[steep[-1], 0] == pytest.approx(axis(svg)(middle), abs=0.1)
    [slow] = curves(plotted(window(lambda d: sharp(d) if d < 24.8 else 0.5)))
    assert len(slow) == len(curve) - 2


def test_a_blank_of_another_diameter_is_marked_where_it_stands_and_said() -> None:
    for units, said in (("mm", "this blank 24.730"), ("inch", "this blank 0.9736")):
        svg = plotted(WINDOW, units, at_mm=24.73)
        on_axis, beside = sorted(pointers(svg), key=lambda tip: tip[1])
        unit_mm = 1.0 if units == "mm" else 25.4
        [frame] = [e for e in each(svg, "polyline") if len(corners(e)) == 5]
        assert on_axis == pytest.approx(
            (axis(svg)(24.73 / unit_mm), corners(frame)[:, 1].max()), abs=0.3
        )
        [words] = [t for t in each(svg, "text") if t.text == said]
        assert 0.0 < float(words.get("x")) - beside[0] < 20.0
        assert beside[1] < float(words.get("y"))
        assert f"This blank of {said.split()[2]}" in each(svg, "desc")[0].text


def test_a_blank_beyond_the_plot_is_said_and_not_marked() -> None:
    for at_mm, side in ((25.5, "right"), (20.0, "left")):
        svg = plotted(WINDOW, at_mm=at_mm)
        said = f"blank diameter [mm]; this blank {at_mm:.3f}, beyond the {side} end"
        assert said in words_of(svg)
        assert not pointers(svg)
        assert "lies beyond the plot" in each(svg, "desc")[0].text


def test_no_blank_is_marked_unless_given() -> None:
    svg = plotted(WINDOW)
    assert "blank diameter [mm]" in words_of(svg)
    assert not pointers(svg)


@pytest.mark.parametrize("at_mm", [math.nan, math.inf, -1.0])
def test_a_blank_that_is_none_is_refused(at_mm: float) -> None:
    with pytest.raises(InputError, match="at_mm"):
        window_svg(WINDOW, at_mm=at_mm)


def test_a_window_without_a_clean_blank_says_so() -> None:
    svg = plotted(NONE_CLEAN)
    assert "not even the planned blank is clean" in words_of(svg)
    assert not each(svg, "polygon")
    assert "not even the planned blank of 24.626 mm is clean" in each(svg, "title")[0].text


def test_a_window_that_is_clean_to_its_ends_says_at_least() -> None:
    svg = plotted(ALL_CLEAN)
    assert {"at least -0.276", "at least +0.276"} <= set(words_of(svg))
    assert not [e for e in each(svg, "polyline") if e.get("class") == "window-limit"]
    assert "at least 0.276 mm below" in each(svg, "title")[0].text


def test_the_curve_stops_where_the_rolls_do_not_touch() -> None:
    svg = plotted(HALF_TOUCHED)
    assert curves(svg)[0][0, 0] >= axis(svg)(24.5)
    assert "not touched" in words_of(svg)
    assert "not touched" in each(svg, "desc")[0].text
    alone = window(lambda d: 0.0 if abs(d - 24.626) < 0.001 else None, (24.626, 24.626))
    assert np.ptp(curves(plotted(alone))[0][:, 0]) > 0
    assert not curves(plotted(window(lambda _: None, None)))


def test_a_window_says_its_figures_in_words() -> None:
    svg = plotted(WINDOW)
    assert svg.get("role") == "img"
    title, description = (each(svg, name)[0].text for name in ("title", "desc"))
    assert "clean from 0.026 mm below to 0.045 mm above the planned 24.626 mm" in title
    assert "handbook allows ± 0.034 mm" in description
    assert "not a measurement" in description


@pytest.mark.few(4)
@pytest.mark.parametrize("units", ["mm", "inch"])
@pytest.mark.parametrize("of", [WINDOW, NONE_CLEAN, ALL_CLEAN, HALF_TOUCHED, NARROW])
def test_no_text_of_a_window_overlaps_another(of: Window, units: str) -> None:
    for at_mm in (None, 24.626, of.blanks[0].diameter_mm, 999.0):
        refuse_overlaps(plotted(of, units, at_mm))


def test_a_window_for_a_page_has_neither_styles_nor_references() -> None:
    text = window_svg(WINDOW)
    assert not re.search(r"style|href|url\(|http|\bid=|<script", text)


@pytest.mark.parametrize("diameters", [(), (25.0,), (25.0, 24.9), (25.0, math.nan)])
def test_a_window_without_a_range_is_refused(diameters: tuple[float, ...]) -> None:
    blanks = tuple(Blank(diameter, 0.0) for diameter in diameters)
    with pytest.raises(InputError, match="window"):
        window_svg(Window(blanks, 25.0, None, None, 0.03))
