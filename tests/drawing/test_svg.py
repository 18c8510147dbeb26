"""An SVG stands in any page: well formed, escaped, with no style and no name of its own."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from knurlcam.drawing.shapes import BLACK, FRAME, Area, Drawing, Line, Raster, Shape, Stroke, Text
from knurlcam.drawing.svg import svg_number, svg_text


def drawn(*shapes: Shape, title: str = "Title", description: str = "What it is.") -> ET.Element:
    return ET.fromstring(svg_text(Drawing(shapes, 100.0, 50.0, title, description), {}))


@given(st.text())
def test_any_text_is_escaped_and_read_back(text: str) -> None:
    svg = drawn(Text("word", 1.0, 2.0, text, 17.0), title=text)
    kept = "".join(c for c in text if c.isprintable())
    read = svg.findtext("text") or ""
    assert "".join(c for c in read if c.isprintable()) == kept
    assert not list(svg.find("text") or ())


def test_it_says_what_it_is_to_those_who_cannot_see_it() -> None:
    svg = drawn()
    assert svg.get("role") == "img"
    assert svg.findtext("title") == "Title"
    assert svg.findtext("desc") == "What it is."
    assert svg.get("viewBox") == "0 0 100 50"


def test_a_line_has_the_look_and_the_class_of_its_stroke() -> None:
    dashed = Stroke("cut", BLACK, 2.5, (12.0, 4.0))
    plain, other = drawn(Line(FRAME, [(0.0, 0.0), (1.0, 2.5)]), Line(dashed, [(0.0, 0.0)])).findall(
        "polyline"
    )
    assert plain.get("points") == "0,0 1,2.5"
    assert plain.get("stroke-dasharray") is None
    assert (other.get("class"), other.get("stroke-dasharray")) == ("cut", "12 4")


def test_a_picture_is_in_the_drawing_itself_and_twice_as_fine() -> None:
    sizes: list[tuple[int, int]] = []

    def draw(width: int, height: int) -> Image.Image:
        sizes.append((width, height))
        return Image.new("L", (width, height))

    image = drawn(Raster("part", 0.0, 0.0, 30.0, 20.0, draw)).find("image")
    assert image is not None
    assert str(image.get("href")).startswith("data:image/png;base64,")
    assert sizes == [(60, 40)]


def test_an_area_is_filled_and_nothing_has_a_style_or_a_name() -> None:
    area = drawn(Area("metal", [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0)], "#C9CCCF")).find("polygon")
    assert area is not None
    assert set(area.attrib) == {"class", "points", "fill"}


@pytest.mark.parametrize(
    ("value", "text"), [(1.0, "1"), (0.125, "0.12"), (-0.001, "0"), (12.50, "12.5"), (100.0, "100")]
)
def test_numbers_have_two_places_at_most(value: float, text: str) -> None:
    assert svg_number(value) == text
