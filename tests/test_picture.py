"""The section, the window and the composed picture: what they say, and that all can be read."""

from __future__ import annotations

import base64
import io
import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from functools import cache

import numpy as np
import pytest
from maps import DIAMETER_MM, LENGTH_MM, PITCH_MM, UNFIT, grey, heights, lines_seen, surface
from numpy.typing import NDArray
from PIL import Image

from knurlcam import picture
from knurlcam.errors import InputError, KnurlcamError
from knurlcam.surface import Surface

OKABE_ITO = {"#000000", "#0072B2", "#D55E00", "#009E73", "#E69F00"}
FACTS = {"Teeth": "80", "Pitch": "0.982 mm", "Knurled diameter": "25.3 mm"}
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
    cut = picture.section(of, -12.26, teeth_mm=3.0 * PITCH_MM)
    row = round((-12.26 - of.z_mm) / of.dz_mm)
    assert cut.z_mm == pytest.approx(-12.25)
    assert (cut.height_mm == of.height_mm[row, np.arange(-36, 37)]).all()
    assert cut.u_mm == pytest.approx(np.arange(-36, 37) * of.cell_mm)


def test_the_row_through_the_crests_has_the_tallest_teeth() -> None:
    of = surface("diamond")
    z = picture.crest_z_mm(of)
    tall = np.ptp(of.height_mm, axis=1)
    assert tall[round((z - of.z_mm) / of.dz_mm)] == pytest.approx(tall.max(), rel=0.001)


def test_of_rows_all_alike_the_middle_one_is_cut() -> None:
    assert picture.crest_z_mm(surface("straight")) == pytest.approx(-LENGTH_MM / 2.0, abs=0.1)


@pytest.mark.parametrize(("units", "unit_mm"), [("mm", 1.0), ("inch", 25.4)])
def test_a_sections_bar_is_as_long_as_it_says_in_both_directions(
    units: str, unit_mm: float
) -> None:
    of = surface("straight")
    text = picture.section_svg(of, z_mm=-10.0, pitch_mm=PITCH_MM, units=units)
    svg = ET.fromstring(text)
    [(length, said)] = bars(svg)
    scale = length / (float(said.split()[0]) * unit_mm)
    profile = corners(svg.find("polyline[@class='profile']"))
    assert said.split()[1] == ("in" if units == "inch" else "mm")
    assert np.ptp(profile[:, 0]) / scale == pytest.approx(5.0 * PITCH_MM, rel=0.01)
    assert np.ptp(profile[:, 1]) / scale == pytest.approx(np.ptp(of.height_mm), rel=0.01)


def test_a_section_says_tooth_height_and_growth() -> None:
    of = surface("straight")
    text = picture.section_svg(of, z_mm=-10.0, pitch_mm=PITCH_MM)
    assert f"{np.ptp(of.height_mm):.2g} mm" in text
    assert f"2 × {of.height_mm.max():.2g} mm" in text
    assert "tooth height" in text
    assert "not a measurement" in text


def test_a_section_for_a_page_has_neither_styles_nor_references() -> None:
    text = picture.section_svg(surface("diamond"), z_mm=-10.0, pitch_mm=PITCH_MM)
    assert not re.search(r"style|href|url\(|http|\bid=|<script", text)
    ET.fromstring(text)


def test_lines_have_the_colours_that_all_eyes_tell_apart_and_a_style_each() -> None:
    svg = drawn()
    lines = svg.findall(f"{SVG}polyline")
    styles = {(x.get("class"), x.get("stroke"), x.get("stroke-dasharray")) for x in lines}
    assert {colour for _, colour, _ in styles} <= OKABE_ITO
    assert {"profile", "blank", "dimension", "cut", "scale-bar"} <= {kind for kind, _, _ in styles}
    shades = {x.get("fill") for x in svg.iter(f"{SVG}polygon")} - OKABE_ITO
    assert shades == {"#FFFFFF", "#C9CCCF"}


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


def test_the_glass_bar_agrees_with_the_teeth_under_it() -> None:
    svg = drawn("straight")
    seen = embedded(svg, "glass")
    box = svg.find(f"{SVG}image[@class='glass']")
    length, said = bars(svg)[1]
    pitch = float(box.get("height")) / lines_seen(seen[:, 200])
    assert pitch / (length / float(said.split()[0])) == pytest.approx(PITCH_MM, rel=0.02)


def boxes_of_texts(svg: ET.Element) -> list[tuple[float, float, float, float, str]]:
    """Return left, top, right, foot of each text, letters taken as wide as most are."""
    found = []
    for text in svg.findall(f"{SVG}text"):
        size, x, y = (float(text.get(k)) for k in ("font-size", "x", "y"))
        wide = 0.55 * size * len(text.text)
        left = x - wide * {"start": 0.0, "middle": 0.5, "end": 1.0}[text.get("text-anchor")]
        found.append((left, y - 0.75 * size, left + wide, y + 0.2 * size, text.text))
    return found


@pytest.mark.parametrize("kind", ["straight", "diamond", "plain"])
def test_no_text_overlaps_another_or_leaves_the_picture(kind: str) -> None:
    facts = {f"Name {i}": "a value of several words " * (1 + i % 4) for i in range(10)}
    svg = drawn(kind, title="A very long name of a part " * 9, facts=tuple(facts.items()))
    boxes = boxes_of_texts(svg)
    height = float(svg.get("height"))
    for i, (left, top, right, foot, text) in enumerate(boxes):
        assert left >= 0, text
        assert right <= 1200, text
        assert 0 <= top < foot <= height, text
        for other in boxes[i + 1 :]:
            apart = right < other[0] or other[2] < left or foot < other[1] or other[3] < top
            assert apart, (text, other[4])


def test_all_letters_can_be_read() -> None:
    assert min(float(t.get("font-size")) for t in drawn().findall(f"{SVG}text")) >= 14


def test_a_title_with_marks_and_letters_of_all_kinds_does_no_harm() -> None:
    title = 'Ø 25 <b>&"knob"</b>\x00\x1b 滚花 \U0001f527 ½″'
    svg = drawn(title=title)
    words = "".join(t.text for t in svg.findall(f"{SVG}text[@class='heading']"))
    assert words.startswith('Ø 25 <b>&"knob"</b> 滚花')
    png = picture.picture_png(surface("diamond", 0.2), title=title, facts={}, pitch_mm=PITCH_MM)
    assert Image.open(io.BytesIO(png)).format == "PNG"


@pytest.mark.parametrize("width", [800, 1200])
def test_the_png_has_the_width_asked_for(width: int) -> None:
    of = surface("diamond", 0.2)
    png = picture.picture_png(of, title="Knob", facts=FACTS, pitch_mm=PITCH_MM, width=width)
    image = Image.open(io.BytesIO(png))
    svg = drawn()
    assert image.width == width
    assert image.height == pytest.approx(float(svg.get("height")) * width / 1200, abs=1)


def test_the_same_map_gives_the_same_picture() -> None:
    of = surface("diamond", 0.2)
    ways: list[Callable[[], object]] = [
        lambda: picture.picture_png(of, title="Knob", facts=FACTS, pitch_mm=PITCH_MM, width=600),
        lambda: picture_text.__wrapped__(),
    ]
    for way in ways:
        assert way() == way()


# -- what cannot be shown -----------------------------------------------------


def every_use(of: Surface) -> list[Callable[[], object]]:
    return [
        lambda: picture.section(of, -1.0, teeth_mm=3.0),
        lambda: picture.crest_z_mm(of),
        lambda: picture.section_svg(of, z_mm=-1.0, pitch_mm=1.0),
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
        lambda of: picture.section(of, 5.0, teeth_mm=3.0),
        lambda of: picture.section(of, math.nan, teeth_mm=3.0),
        lambda of: picture.section(of, -9.0, teeth_mm=0.0),
        lambda of: picture.section(of, -9.0, teeth_mm=99.0),
        lambda of: picture.section_svg(of, z_mm=-9.0, pitch_mm=math.nan),
        lambda of: picture.picture_png(of, title="", facts={}, pitch_mm=0.0),
        lambda of: picture.picture_png(of, title="", facts={}, pitch_mm=1.0, width=50),
    ],
)
def test_what_cannot_be_asked_of_a_map_is_refused(ask: Callable[[Surface], object]) -> None:
    with pytest.raises(InputError):
        ask(surface("straight", 0.5))


def test_a_plain_blank_and_a_short_one_can_be_shown() -> None:
    for of in (surface("plain", 0.5), Surface(heights(2, 400), -1.0, 0.3, 0.1)):
        svg = ET.fromstring(picture.picture_svg(of, title="Blank", facts={}, pitch_mm=1.0))
        assert not svg.findall(f"{SVG}polyline[@class='dimension']")
