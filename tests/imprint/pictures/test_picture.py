"""The composed picture: what it says, and that all can be read."""

from __future__ import annotations

import base64
import io
import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from knurlcam.errors import InputError, KnurlcamError
from knurlcam.imprint.pictures import picture
from knurlcam.imprint.pictures.cut import crest_z_mm, section
from knurlcam.imprint.pictures.section import section_svg
from knurlcam.imprint.pictures.window_plot import window_svg
from knurlcam.imprint.surface import Surface
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
from tests.support.svg import SVG, bars, each, refuse_overlaps, words_of
from tests.support.windows import WINDOW, plotted, pointers

OKABE_ITO = {"#000000", "#0072B2", "#D55E00", "#009E73", "#E69F00"}

FACTS = {"Teeth": "80", "Pitch": "0.982 mm", "Knurled diameter": "25.3 mm"}


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


def test_lines_have_the_colours_that_all_eyes_distinguish_and_a_style_each() -> None:
    svg = drawn(window=WINDOW)
    lines = svg.findall(f"{SVG}polyline")
    styles = {(x.get("class"), x.get("stroke"), x.get("stroke-dasharray")) for x in lines}
    assert {colour for _, colour, _ in styles} <= OKABE_ITO
    assert {"profile", "blank", "dimension", "cut", "scale-bar"} <= {kind for kind, _, _ in styles}
    shades = {x.get("fill") for x in svg.iter(f"{SVG}polygon")} - OKABE_ITO
    assert shades == {"#FFFFFF", "#C9CCCF", "#D5EDE5"}


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


def test_a_window_in_the_picture_is_the_one_alone() -> None:
    whole, alone = drawn(window=WINDOW, at_mm=24.7), plotted(WINDOW, at_mm=24.7)
    assert len(pointers(whole)) == len(pointers(alone)) == 2
    assert set(words_of(alone)) <= set(words_of(whole))
    assert "0.026 mm below" in whole.find(f"{SVG}desc").text
    assert float(whole.get("height")) > float(drawn().get("height")) + 200


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


@pytest.mark.parametrize("kind", ["straight", "diamond", "plain"])
def test_no_text_overlaps_another_or_leaves_the_picture(kind: str) -> None:
    facts = {f"Name {i}": "a value of several words " * (1 + i % 4) for i in range(10)}
    given = {"title": "A very long name of a part " * 9, "facts": tuple(facts.items())}
    refuse_overlaps(drawn(kind, **given, window=WINDOW))


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


def every_use(of: Surface) -> list[Callable[[], object]]:
    return [
        lambda: section(of, -1.0, teeth_mm=3.0),
        lambda: crest_z_mm(of),
        lambda: picture.close_up_span_mm(of, 1.0),
        lambda: section_svg(of, z_mm=-1.0, pitch_mm=1.0),
        lambda: picture.picture_png(of, title="", facts={}, pitch_mm=1.0),
        lambda: picture.picture_svg(of, title="", facts={}, pitch_mm=1.0),
    ]


@pytest.mark.few(3)
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
