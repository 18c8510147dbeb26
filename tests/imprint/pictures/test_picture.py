"""The section, the window and the composed picture: what they say, and that all can be read."""

from __future__ import annotations

import base64
import io
import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from knurlcam import Job, lay_out, make_plan, read_program, write_program
from knurlcam.errors import InputError, KnurlcamError
from knurlcam.imprint.make import make_imprint
from knurlcam.imprint.pictures import picture
from knurlcam.imprint.pictures.cut import crest_z_mm, section
from knurlcam.imprint.pictures.section import section_svg
from knurlcam.imprint.pictures.window_plot import window_svg
from knurlcam.imprint.surface import Surface
from knurlcam.imprint.window import Blank, Window
from tests.support.maps import (
    DIAMETER_MM,
    LENGTH_MM,
    PITCH_MM,
    UNFIT,
    grey,
    heights,
    lines_seen,
    surface,
)

OKABE_ITO = {"#000000", "#0072B2", "#D55E00", "#009E73", "#E69F00"}
FACTS = {"Teeth": "80", "Pitch": "0.982 mm", "Knurled diameter": "25.3 mm"}
TRIMMER_ROD = Path(__file__).parents[3] / "samples" / "trimmer-rod.toml"
SVG = "{http://www.w3.org/2000/svg}"


def drawn(kind: str = "diamond", units: str = "mm", **changed: object) -> ET.Element:
    return ET.fromstring(picture_text(kind, units, **changed))


@cache
def picture_text(kind: str = "diamond", units: str = "mm", **changed: object) -> str:
    given = {"title": "Focus knob", "pitch_mm": PITCH_MM, **changed}
    given["facts"] = dict(changed.get("facts", FACTS.items()))
    return picture.picture_svg(surface(kind, 0.2), units=units, **given)


def embedded(svg: ET.Element, kind: str) -> NDArray[np.float64]:
    uri = svg.find(f"{SVG}image[@class='{kind}']").get("href")
    return grey(Image.open(io.BytesIO(base64.b64decode(uri.partition(",")[2]))))


def corners(element: ET.Element) -> NDArray[np.float64]:
    return np.array([[float(v) for v in p.split(",")] for p in element.get("points").split()])


def bars(svg: ET.Element) -> list[tuple[float, str]]:
    """Return the length [drawing units] and the text of each scale bar."""
    space = SVG if svg.tag.startswith(SVG) else ""
    lines = svg.findall(f"{space}polyline[@class='scale-bar']")
    texts = svg.findall(f"{space}text[@class='scale-text']")
    return [(np.ptp(corners(b)[:, 0]), str(t.text)) for b, t in zip(lines, texts, strict=True)]


# -- the section --------------------------------------------------------------


def test_a_section_holds_the_heights_of_the_row() -> None:
    of = surface("diamond")
    cut = section(of, -12.26, teeth_mm=3.0 * PITCH_MM)
    row = round((-12.26 - of.z_mm) / of.dz_mm)
    assert cut.z_mm == pytest.approx(-12.25)
    assert (cut.height_mm == of.height_mm[row, np.arange(-36, 37)]).all()
    assert cut.u_mm == pytest.approx(np.arange(-36, 37) * of.cell_mm)


REPEAT_MM = PITCH_MM / math.tan(math.radians(30.0)) / 2.0
"""After so much of its length the diamond knurl comes again."""


def test_the_row_through_the_crests_has_the_tallest_teeth() -> None:
    of = surface("diamond")
    z = crest_z_mm(of)
    tall = np.ptp(of.height_mm, axis=1)
    assert tall[round((z - of.z_mm) / of.dz_mm)] == pytest.approx(tall.max(), rel=0.005)


@pytest.mark.parametrize("kind", ["diamond", "pits"])
def test_a_section_through_the_crests_is_amid_the_knurl_though_teeth_differ(kind: str) -> None:
    of = surface(kind, 0.02)
    grown = np.linspace(1.1, 0.9, of.rows, dtype=np.float32)[:, None]
    z = crest_z_mm(replace(of, height_mm=of.height_mm * grown))
    assert abs(z + LENGTH_MM / 2.0) <= REPEAT_MM / 2.0
    # Crests of both families lie on each other at whole repeats from Z0.
    assert abs(z / REPEAT_MM - round(z / REPEAT_MM)) * REPEAT_MM <= 0.011


def bent_away(of: Surface) -> Surface:
    """Return a knurl of which little was left but at its end: the work bent away."""
    left = 0.15 + 0.85 * np.linspace(0.0, 1.0, of.rows, dtype=np.float32)[:, None] ** 4
    return replace(of, height_mm=of.height_mm * left)


def test_a_section_through_the_crests_is_amid_the_knurl_though_the_work_bent_away() -> None:
    z = crest_z_mm(bent_away(surface("diamond", 0.02)))
    assert abs(z + LENGTH_MM / 2.0) <= REPEAT_MM / 2.0
    assert abs(z / REPEAT_MM - round(z / REPEAT_MM)) * REPEAT_MM <= 0.021
    z = crest_z_mm(bent_away(surface("straight", 0.1)))
    assert z == pytest.approx(-LENGTH_MM / 2.0, abs=0.1)


def test_the_slender_rod_is_cut_and_looked_at_in_the_middle_of_its_knurl() -> None:
    plan = make_plan(Job.load(TRIMMER_ROD))
    of = make_imprint(plan, read_program(write_program(lay_out(plan)))).surface
    tall = np.ptp(of.height_mm, axis=1)
    assert np.median(tall) < tall.max() / 3.0
    z = crest_z_mm(of)
    assert z == pytest.approx(-25.0, abs=0.5)
    # Shallow grooves of both families lie on each other: each tooth has one root beside it.
    cut = section(of, z, teeth_mm=10.0 * plan.knurl.transverse_pitch_mm)
    deep = cut.height_mm < cut.height_mm.min() / 2.0
    assert np.count_nonzero(deep[1:] & ~deep[:-1]) in (9, 10, 11)


def test_grooves_of_a_section_through_flat_crests_have_one_root_each() -> None:
    of = surface("diamond", 0.02)
    cut = section(of, crest_z_mm(of), teeth_mm=10.0 * PITCH_MM)
    inner = cut.height_mm[1:-1]
    roots = (inner < cut.height_mm[:-2] - 1e-5) & (inner <= cut.height_mm[2:] + 1e-5)
    assert np.count_nonzero(roots) == 10


def test_a_knurl_shorter_than_its_repeat_can_be_cut() -> None:
    of = surface("diamond", 0.2)
    z = crest_z_mm(replace(of, height_mm=of.height_mm[:4]))
    assert of.z_mm <= z <= of.z_mm + 0.6


def test_of_rows_all_alike_the_middle_one_is_cut() -> None:
    assert crest_z_mm(surface("straight")) == pytest.approx(-LENGTH_MM / 2.0, abs=0.1)


@pytest.mark.parametrize(("units", "unit_mm"), [("mm", 1.0), ("inch", 25.4)])
def test_a_sections_bar_is_as_long_as_it_says_in_both_directions(
    units: str, unit_mm: float
) -> None:
    of = surface("straight")
    text = section_svg(of, z_mm=-10.0, pitch_mm=PITCH_MM, units=units)
    svg = ET.fromstring(text)
    [(length, said)] = bars(svg)
    scale = length / (float(said.split()[0]) * unit_mm)
    profile = corners(svg.find("polyline[@class='profile']"))
    assert said.split()[1] == ("in" if units == "inch" else "mm")
    assert np.ptp(profile[:, 0]) / scale == pytest.approx(5.0 * PITCH_MM, rel=0.01)
    assert np.ptp(profile[:, 1]) / scale == pytest.approx(np.ptp(of.height_mm), rel=0.01)


def test_a_section_says_tooth_height_and_growth() -> None:
    of = surface("straight")
    text = section_svg(of, z_mm=-10.0, pitch_mm=PITCH_MM)
    assert f"{np.ptp(of.height_mm):.2g} mm" in text
    assert f"2 × {of.height_mm.max():.2g} mm" in text
    assert "tooth height" in text
    assert "not a measurement" in text


def test_a_section_for_a_page_has_neither_styles_nor_references() -> None:
    text = section_svg(surface("diamond"), z_mm=-10.0, pitch_mm=PITCH_MM)
    assert not re.search(r"style|href|url\(|http|\bid=|<script", text)
    ET.fromstring(text)


def test_lines_have_the_colours_that_all_eyes_tell_apart_and_a_style_each() -> None:
    svg = drawn(window=WINDOW)
    lines = svg.findall(f"{SVG}polyline")
    styles = {(x.get("class"), x.get("stroke"), x.get("stroke-dasharray")) for x in lines}
    assert {colour for _, colour, _ in styles} <= OKABE_ITO
    assert {"profile", "blank", "dimension", "cut", "scale-bar"} <= {kind for kind, _, _ in styles}
    shades = {x.get("fill") for x in svg.iter(f"{SVG}polygon")} - OKABE_ITO
    assert shades == {"#FFFFFF", "#C9CCCF", "#D5EDE5"}


# -- the window of good blanks ------------------------------------------------


def window(
    double: Callable[[float], float | None],
    ends_mm: tuple[float, float] | None = (24.5993, 24.6717),
    planned_mm: float = 24.6260,
) -> Window:
    """Return a window as it is found for the base job, or one that is like it."""
    steps = np.linspace(planned_mm - 0.276, planned_mm + 0.276, 41).tolist()
    blanks = tuple(Blank(step, double(step)) for step in steps)
    return Window(blanks, planned_mm, *(ends_mm or (None, None)), 0.03464)


def sharp(diameter_mm: float) -> float:
    return 0.0 if 24.5993 <= diameter_mm <= 24.6717 else 0.98


WINDOW = window(sharp)
NONE_CLEAN = window(lambda _: 0.9, None)
ALL_CLEAN = window(lambda _: 0.0, (24.35, 24.902))
HALF_TOUCHED = window(lambda d: None if d < 24.5 else sharp(d))
NARROW = window(lambda d: 0.0 if abs(d - 24.626) < 0.001 else 1.0, (24.6255, 24.6264))


def plotted(of: Window, units: str = "mm", at_mm: float | None = None) -> ET.Element:
    return ET.fromstring(window_svg(of, units=units, at_mm=at_mm))


def words_of(svg: ET.Element) -> list[str]:
    return [str(text.text) for text in each(svg, "text")]


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


def pointers(svg: ET.Element) -> list[tuple[float, float]]:
    """Return the tips of the triangles that mark the blank."""
    marks = [e for e in each(svg, "polygon") if e.get("class") == "window-here"]
    assert {e.get("fill") for e in marks} <= {"#000000"}
    tips = [corners(e)[corners(e)[:, 1].argmin()] for e in marks]
    return [(float(x), float(y)) for x, y in tips]


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


def test_a_window_of_rolls_that_come_back_says_on_what_it_depends() -> None:
    own = {name: getattr(WINDOW, name) for name in WINDOW.__slots__}
    back = SimpleNamespace(**{**own, "comes_back": True})
    svg = plotted(back)
    condition = "Window of good blanks, if the rolls find their track again"
    said = f"{condition}: double impression, 0 clean to 1 fully doubled"
    for drawing in (svg, ET.fromstring(picture_text.__wrapped__(window=back))):
        assert said in " ".join(words_of(drawing))
        refuse_overlaps(drawing)
    assert each(svg, "title")[0].text.startswith(f"{condition}: clean from")
    assert condition not in " ".join(words_of(plotted(WINDOW)))


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


def test_a_window_tells_its_figures_in_words() -> None:
    svg = plotted(WINDOW)
    assert svg.get("role") == "img"
    title, told = (each(svg, name)[0].text for name in ("title", "desc"))
    assert "clean from 0.026 mm below to 0.045 mm above the planned 24.626 mm" in title
    assert "handbook allows ± 0.034 mm" in told
    assert "not a measurement" in told


@pytest.mark.parametrize("units", ["mm", "inch"])
@pytest.mark.parametrize("of", [WINDOW, NONE_CLEAN, ALL_CLEAN, HALF_TOUCHED, NARROW])
def test_no_text_of_a_window_overlaps_another(of: Window, units: str) -> None:
    for at_mm in (None, 24.626, of.blanks[0].diameter_mm, 999.0):
        refuse_overlaps(plotted(of, units, at_mm))


def test_a_window_for_a_page_has_neither_styles_nor_references() -> None:
    text = window_svg(WINDOW)
    assert not re.search(r"style|href|url\(|http|\bid=|<script", text)


def test_a_window_in_the_picture_is_the_one_alone() -> None:
    whole, alone = drawn(window=WINDOW, at_mm=24.7), plotted(WINDOW, at_mm=24.7)
    assert len(pointers(whole)) == len(pointers(alone)) == 2
    assert set(words_of(alone)) <= set(words_of(whole))
    assert "0.026 mm below" in whole.find(f"{SVG}desc").text
    assert float(whole.get("height")) > float(drawn().get("height")) + 200


@pytest.mark.parametrize("diameters", [(), (25.0,), (25.0, 24.9), (25.0, math.nan)])
def test_a_window_without_a_range_is_refused(diameters: tuple[float, ...]) -> None:
    blanks = tuple(Blank(diameter, 0.0) for diameter in diameters)
    with pytest.raises(InputError, match="window"):
        window_svg(Window(blanks, 25.0, None, None, 0.03))


# -- the composed picture -----------------------------------------------------


def test_the_picture_refers_to_nothing_outside() -> None:
    svg = drawn()
    references = [v for e in svg.iter() for k, v in e.attrib.items() if k.endswith("href")]
    assert len(references) == 2
    assert all(v.startswith("data:image/png;base64,") for v in references)
    assert "http" not in picture_text().replace("http://www.w3.org/2000/svg", "")
    assert svg.find(f"{SVG}title").text == "Focus knob"
    assert "estimate" in svg.find(f"{SVG}desc").text


def test_each_part_of_the_picture_has_a_bar_of_a_round_length() -> None:
    for units in ("mm", "inch"):
        for _, said in bars(drawn(units=units)):
            assert re.fullmatch(r"0?\.?0*[125]0* (mm|in)", said)
        assert len(bars(drawn(units=units))) == 3


def test_the_parts_bar_agrees_with_the_part_that_is_drawn() -> None:
    svg = drawn("plain")
    seen = embedded(svg, "part")
    box = svg.find(f"{SVG}image[@class='part']")
    metal = np.argwhere(np.abs(seen - seen[0, 0]) > 2)
    length, said = bars(svg)[0]
    high = (np.ptp(metal[:, 0]) + 1) * float(box.get("height")) / seen.shape[0]
    assert high / (length / float(said.split()[0])) == pytest.approx(DIAMETER_MM, rel=0.01)


def test_a_close_up_spans_eight_pitches_or_as_far_as_the_map_goes() -> None:
    of = surface("straight")
    assert picture.close_up_span_mm(of, PITCH_MM) == pytest.approx(8.0 * PITCH_MM)
    assert picture.close_up_span_mm(of, 9.0) == pytest.approx(LENGTH_MM)
    short = replace(of, height_mm=of.height_mm[:2])
    assert picture.close_up_span_mm(short, PITCH_MM) == pytest.approx(4.0 * of.dz_mm)


def test_the_glass_bar_agrees_with_the_teeth_under_it() -> None:
    svg = drawn("straight")
    seen = embedded(svg, "glass")
    box = svg.find(f"{SVG}image[@class='glass']")
    length, said = bars(svg)[1]
    pitch = float(box.get("height")) / lines_seen(seen[:, 200])
    assert pitch / (length / float(said.split()[0])) == pytest.approx(PITCH_MM, rel=0.02)


def each(svg: ET.Element, name: str) -> list[ET.Element]:
    """Return elements of an SVG, whether it stands alone or in a page."""
    return [e for e in svg.iter() if e.tag.removeprefix(SVG) == name]


def boxes_of_texts(svg: ET.Element) -> list[tuple[float, float, float, float, str]]:
    """Return left, top, right, foot of each text, letters taken as wide as most are."""
    found = []
    for text in each(svg, "text"):
        size, x, y = (float(text.get(k)) for k in ("font-size", "x", "y"))
        wide = 0.55 * size * len(text.text)
        left = x - wide * {"start": 0.0, "middle": 0.5, "end": 1.0}[text.get("text-anchor")]
        found.append((left, y - 0.75 * size, left + wide, y + 0.2 * size, text.text))
    return found


@pytest.mark.parametrize("kind", ["straight", "diamond", "plain"])
def test_no_text_overlaps_another_or_leaves_the_picture(kind: str) -> None:
    facts = {f"Name {i}": "a value of several words " * (1 + i % 4) for i in range(10)}
    given = {"title": "A very long name of a part " * 9, "facts": tuple(facts.items())}
    refuse_overlaps(drawn(kind, **given, window=WINDOW))


def refuse_overlaps(svg: ET.Element) -> None:
    """Fail if a text overlaps another or leaves the drawing."""
    boxes = boxes_of_texts(svg)
    width, height = (float(v) for v in svg.get("viewBox").split()[2:])
    for i, (left, top, right, foot, text) in enumerate(boxes):
        assert left >= 0, text
        assert right <= width, text
        assert 0 <= top < foot <= height, text
        for other in boxes[i + 1 :]:
            apart = right < other[0] or other[2] < left or foot < other[1] or other[3] < top
            assert apart, (text, other[4])


def test_no_fact_is_cut_however_long() -> None:
    value = " ".join(f"word{i}" for i in range(60)) + " " + "long" * 40
    svg = drawn(title="Knob " * 60, facts=(("Fact", value), ("Other", "24.951 mm")))
    said = [t.text for t in svg.findall(f"{SVG}text[@class='fact']")]
    assert "".join(said).replace(" ", "") == f"Fact:{value}Other:24.951mm".replace(" ", "")
    assert "…" not in picture_text(title="Knob " * 60, facts=(("Fact", value),))
    refuse_overlaps(svg)


def test_a_number_keeps_its_sign_and_its_unit_on_its_line() -> None:
    facts = (("Fact", "± 0.034 mm or 0.001 in " * 12),)
    lines = [t.text for t in drawn(facts=facts).findall(f"{SVG}text[@class='fact']")]
    assert len(lines) > 2
    assert not any(re.search(r"(±|[\d])$|^(mm|in)", line) for line in lines[:-1])


def test_all_letters_can_be_read() -> None:
    assert min(float(t.get("font-size")) for t in drawn().findall(f"{SVG}text")) >= 14


def test_a_title_with_marks_and_letters_of_all_kinds_does_no_harm() -> None:
    title = 'Ø 25 <b>&"knob"</b>\x00\x1b 滚花 \U0001f527 ½″'
    svg = drawn(title=title)
    words = "".join(t.text for t in svg.findall(f"{SVG}text[@class='heading']"))
    assert words.startswith('Ø 25 <b>&"knob"</b> 滚花')
    png = picture.picture_png(surface("diamond", 0.2), title=title, facts={}, pitch_mm=PITCH_MM)
    assert Image.open(io.BytesIO(png)).format == "PNG"


@cache
def picture_data() -> bytes:
    of = surface("diamond", 0.2)
    return picture.picture_png(of, title="Knob", facts=FACTS, pitch_mm=PITCH_MM, window=WINDOW)


def test_the_png_is_as_large_as_the_svg() -> None:
    svg = drawn(window=WINDOW)
    size = (int(svg.get("width")), int(svg.get("height")))
    assert Image.open(io.BytesIO(picture_data())).size == size


def test_a_file_says_at_its_beginning_whose_it_is() -> None:
    data, text = picture_data(), picture_text()
    said = b"tEXtSoftware\0knurlcam imprint"
    assert data.startswith(b"\x89PNG")
    assert data.index(said) < min(data.index(b"IDAT"), 512 - len(said))
    assert Image.open(io.BytesIO(data)).info["Software"] == picture.MADE_BY
    assert text.startswith("<svg ")
    assert ' data-made-by="knurlcam imprint"' in text[: min(200, text.index(">"))]


def test_what_stands_in_a_page_does_not_say_whose_it_is() -> None:
    of = surface("diamond", 0.2)
    for text in (
        window_svg(WINDOW),
        section_svg(of, z_mm=-9.0, pitch_mm=PITCH_MM),
    ):
        assert "made-by" not in text


def test_the_same_map_gives_the_same_picture() -> None:
    ways: list[Callable[[], object]] = [
        picture_data.__wrapped__,
        picture_text.__wrapped__,
    ]
    for way in ways:
        assert way() == way()


# -- what cannot be shown -----------------------------------------------------


def every_use(of: Surface) -> list[Callable[[], object]]:
    return [
        lambda: section(of, -1.0, teeth_mm=3.0),
        lambda: crest_z_mm(of),
        lambda: picture.close_up_span_mm(of, 1.0),
        lambda: section_svg(of, z_mm=-1.0, pitch_mm=1.0),
        lambda: picture.picture_png(of, title="", facts={}, pitch_mm=1.0),
        lambda: picture.picture_svg(of, title="", facts={}, pitch_mm=1.0),
    ]


@pytest.mark.parametrize("unfit", UNFIT)
def test_a_map_that_cannot_be_shown_is_refused_by_every_use(unfit: Surface) -> None:
    for use in every_use(unfit):
        with pytest.raises(KnurlcamError):
            use()


def test_a_picture_of_a_part_smaller_than_a_pixel_is_refused() -> None:
    wire = Surface(heights(4000, 12), -400.0, 0.1, 0.01)
    with pytest.raises(InputError, match="smaller than a pixel"):
        picture.picture_svg(wire, title="", facts={}, pitch_mm=0.1)


@pytest.mark.parametrize(
    "ask",
    [
        lambda of: section(of, 5.0, teeth_mm=3.0),
        lambda of: section(of, math.nan, teeth_mm=3.0),
        lambda of: section(of, -9.0, teeth_mm=0.0),
        lambda of: section(of, -9.0, teeth_mm=99.0),
        lambda of: section_svg(of, z_mm=-9.0, pitch_mm=math.nan),
        lambda of: picture.picture_png(of, title="", facts={}, pitch_mm=0.0),
        lambda of: picture.close_up_span_mm(of, 0.0),
    ],
)
def test_what_cannot_be_asked_of_a_map_is_refused(ask: Callable[[Surface], object]) -> None:
    with pytest.raises(InputError):
        ask(surface("straight", 0.5))


def test_a_plain_blank_and_a_short_one_can_be_shown() -> None:
    for of in (surface("plain", 0.5), Surface(heights(2, 400), -1.0, 0.3, 0.1)):
        svg = ET.fromstring(picture.picture_svg(of, title="Blank", facts={}, pitch_mm=1.0))
        assert not svg.findall(f"{SVG}polyline[@class='dimension']")
