"""Pictures, section and files of a height map: what a machinist would see and measure."""

from __future__ import annotations

import base64
import io
import json
import math
import re
import struct
import xml.etree.ElementTree as ET
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray
from PIL import Image

from knurlcam import lamp
from knurlcam.errors import InputError, KnurlcamError
from knurlcam.surface import Surface

DIAMETER_MM, LENGTH_MM, TEETH = 25.0, 20.0, 80
PITCH_MM = math.pi * DIAMETER_MM / TEETH
CELLS_A_TOOTH = 24
OKABE_ITO = {"#000000", "#0072B2", "#D55E00", "#009E73", "#E69F00"}
FACTS = {"Teeth": "80", "Pitch": "0.982 mm", "Knurled diameter": "25.3 mm"}
SVG = "{http://www.w3.org/2000/svg}"


def v_grooves(u_mm: NDArray[np.float64], pitch_mm: float) -> NDArray[np.float64]:
    """Return right-angled grooves between truncated crests [mm]."""
    across = np.abs((u_mm / pitch_mm) % 1.0 - 0.5) * pitch_mm
    return np.minimum(across, 0.36 * pitch_mm)


@cache
def surface(kind: str, dz_mm: float = 0.05) -> Surface:
    """Return a knurl whose mean height is the blank's surface."""
    cell = PITCH_MM / CELLS_A_TOOTH
    z = -LENGTH_MM + dz_mm * np.arange(round(LENGTH_MM / dz_mm))[:, None]
    u = cell * np.arange(TEETH * CELLS_A_TOOTH)[None, :] + 0.0 * z
    lean = math.tan(math.radians(30.0)) * z
    height = {
        "plain": lambda: 0.0 * u,
        "straight": lambda: v_grooves(u, PITCH_MM),
        "doubled": lambda: v_grooves(u, PITCH_MM / 2.0),
        "right-hand": lambda: v_grooves(u + lean, PITCH_MM),
        "left-hand": lambda: v_grooves(u - lean, PITCH_MM),
        "diamond": lambda: np.minimum(v_grooves(u + lean, PITCH_MM), v_grooves(u - lean, PITCH_MM)),
    }[kind]()
    return Surface((height - height.mean()).astype(np.float32), float(z[0, 0]), dz_mm, cell)


def grey(image: Image.Image) -> NDArray[np.float64]:
    return np.asarray(image.convert("L")).astype(float)


def part(kind: str, width: int = 500, height: int = 560) -> NDArray[np.float64]:
    return grey(lamp.part_image(surface(kind), width=width, height=height))


def glass(of: Surface, size: int = 320) -> NDArray[np.float64]:
    image = lamp.glass_image(of, centre_z_mm=-10.0, span_mm=8.0 * PITCH_MM, width=size, height=size)
    return grey(image)


def lines_seen(column: NDArray[np.float64]) -> int:
    """Return how often the strongest pattern comes again."""
    return int(np.abs(np.fft.rfft(column - column.mean()))[1:].argmax()) + 1


def picture(kind: str = "diamond", units: str = "mm", **changed: object) -> ET.Element:
    return ET.fromstring(picture_text(kind, units, **changed))


@cache
def picture_text(kind: str = "diamond", units: str = "mm", **changed: object) -> str:
    given = {"title": "Focus knob", "pitch_mm": PITCH_MM, **changed}
    given["facts"] = dict(changed.get("facts", FACTS.items()))
    return lamp.picture_svg(surface(kind, 0.2), units=units, **given)


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


# -- the part under the lamp --------------------------------------------------


def test_the_side_that_faces_the_lamp_is_the_brighter_one() -> None:
    seen = part("plain")[:, 250]
    assert seen[60:280].mean() > 1.3 * seen[280:500].mean()


def test_a_plain_blank_keeps_its_proportions_on_a_plain_ground() -> None:
    seen = part("plain")
    ground = seen[0, 0]
    metal = np.argwhere(np.abs(seen - ground) > 2)
    high, wide = np.ptp(metal, axis=0) + 1
    assert high / wide == pytest.approx(DIAMETER_MM / LENGTH_MM, rel=0.01)
    assert (seen[:, :20] == ground).all()


def test_a_straight_knurl_has_stripes_that_run_along_the_axis() -> None:
    middle = part("straight")[:, 60:440]
    assert np.ptp(middle, axis=1)[40:520].max() < 2
    assert np.ptp(middle.mean(axis=1)) > 100


def test_the_stripes_across_the_middle_are_as_many_as_the_teeth() -> None:
    seen = part("straight", 900, 1000)
    scale = np.count_nonzero(np.ptp(seen, axis=1) > 2) / (
        DIAMETER_MM + 2.0 * float(surface("straight").height_mm.max())
    )
    half = round(scale * DIAMETER_MM / 2.0 * math.sin(5 * 2.0 * math.pi / TEETH))
    column = seen[500 - half : 500 + half, 450]
    dark = column < (column.max() + column.min()) / 2.0
    assert np.count_nonzero(dark[1:] > dark[:-1]) in (9, 10, 11)


@pytest.mark.parametrize(("kind", "down"), [("right-hand", 1), ("left-hand", -1)])
def test_right_hand_grooves_lean_from_the_upper_left_to_the_lower_right(
    kind: str, down: int
) -> None:
    seen = part(kind)[250:310]
    shift = round(10 * math.tan(math.radians(30.0)))

    def alike(by: int) -> float:
        return float(np.corrcoef(np.roll(seen[:, 240], by)[10:50], seen[10:50, 250])[0, 1])

    assert alike(down * shift) > 0.8
    assert alike(down * shift) > alike(-down * shift)


def test_teeth_finer_than_a_pixel_fade_to_an_even_grey() -> None:
    seen = part("diamond", 30, 34)[14:20, 8:22]
    assert np.ptp(seen, axis=1).max() < 30


def test_teeth_stand_out_over_the_silhouette() -> None:
    seen = part("diamond", 900, 1000)
    ground = seen[0, 0]
    top = (np.abs(seen[:, 200:700] - ground) > 6).argmax(axis=0)
    assert np.ptp(top) >= 3


# -- under the glass ----------------------------------------------------------


def test_a_doubled_knurl_shows_twice_as_many_lines_as_a_clean_one() -> None:
    clean, doubled = (glass(surface(k))[:, 160] for k in ("straight", "doubled"))
    assert lines_seen(clean) == 8
    assert lines_seen(doubled) == 16


def test_what_faces_the_viewer_is_mirrored_with_the_map() -> None:
    whole = surface("right-hand")
    mirrored = replace(whole, height_mm=np.roll(whole.height_mm[:, ::-1], 1, axis=1).copy())
    flat = glass(surface("plain")).mean()
    crests = np.abs(glass(whole) - flat) < 1
    assert 0.1 < crests.mean() < 0.3
    assert (crests[::-1] == (np.abs(glass(mirrored) - flat) < 1)).mean() > 0.98


def test_a_patch_is_moved_onto_the_map() -> None:
    of = surface("right-hand")
    far, near = (
        lamp.glass_image(of, centre_z_mm=z, span_mm=5.0, width=200, height=100)
        for z in (99.0, -2.525)
    )
    assert np.abs(grey(far) - grey(near)).max() <= 1
    assert far.size == (200, 100)


def test_a_patch_for_a_page_is_small_and_shows_the_same() -> None:
    data = lamp.patch_png(surface("diamond"), centre_z_mm=-10.0, span_mm=8.0 * PITCH_MM)
    assert len(data) <= 60_000
    image = Image.open(io.BytesIO(data))
    assert image.size == (440, 440)
    assert np.corrcoef(grey(image).ravel(), glass(surface("diamond"), 440).ravel())[0, 1] > 0.99


def test_a_patch_that_takes_too_much_room_is_refused() -> None:
    noise = np.random.default_rng(1).normal(0.0, 0.05, (400, 1920)).astype(np.float32)
    rough = replace(surface("plain"), height_mm=noise)
    with pytest.raises(InputError, match="too much room"):
        lamp.patch_png(rough, centre_z_mm=-10.0, span_mm=19.0, width=800, height=800)


# -- the section --------------------------------------------------------------


def test_a_section_holds_the_heights_of_the_row() -> None:
    of = surface("diamond")
    cut = lamp.section(of, -12.26, teeth_mm=3.0 * PITCH_MM)
    row = round((-12.26 - of.z_mm) / of.dz_mm)
    assert cut.z_mm == pytest.approx(-12.25)
    assert (cut.height_mm == of.height_mm[row, np.arange(-36, 37)]).all()
    assert cut.u_mm == pytest.approx(np.arange(-36, 37) * of.cell_mm)


def test_the_row_through_the_crests_has_the_tallest_teeth() -> None:
    of = surface("diamond")
    z = lamp.crest_z_mm(of)
    tall = np.ptp(of.height_mm, axis=1)
    assert tall[round((z - of.z_mm) / of.dz_mm)] == pytest.approx(tall.max(), rel=0.001)


def test_of_rows_all_alike_the_middle_one_is_cut() -> None:
    assert lamp.crest_z_mm(surface("straight")) == pytest.approx(-LENGTH_MM / 2.0, abs=0.1)


@pytest.mark.parametrize(("units", "unit_mm"), [("mm", 1.0), ("inch", 25.4)])
def test_a_sections_bar_is_as_long_as_it_says_in_both_directions(
    units: str, unit_mm: float
) -> None:
    of = surface("straight")
    text = lamp.section_svg(of, z_mm=-10.0, pitch_mm=PITCH_MM, units=units)
    svg = ET.fromstring(text)
    [(length, said)] = bars(svg)
    scale = length / (float(said.split()[0]) * unit_mm)
    profile = corners(svg.find("polyline[@class='profile']"))
    assert said.split()[1] == ("in" if units == "inch" else "mm")
    assert np.ptp(profile[:, 0]) / scale == pytest.approx(5.0 * PITCH_MM, rel=0.01)
    assert np.ptp(profile[:, 1]) / scale == pytest.approx(np.ptp(of.height_mm), rel=0.01)


def test_a_section_says_tooth_height_and_growth() -> None:
    of = surface("straight")
    text = lamp.section_svg(of, z_mm=-10.0, pitch_mm=PITCH_MM)
    assert f"{np.ptp(of.height_mm):.2g} mm" in text
    assert f"2 × {of.height_mm.max():.2g} mm" in text
    assert "tooth height" in text
    assert "not a measurement" in text


def test_a_section_for_a_page_has_neither_styles_nor_references() -> None:
    text = lamp.section_svg(surface("diamond"), z_mm=-10.0, pitch_mm=PITCH_MM)
    assert not re.search(r"style|href|url\(|http|\bid=|<script", text)
    ET.fromstring(text)


def test_lines_have_the_colours_that_all_eyes_tell_apart_and_a_style_each() -> None:
    svg = picture()
    lines = svg.findall(f"{SVG}polyline")
    styles = {(x.get("class"), x.get("stroke"), x.get("stroke-dasharray")) for x in lines}
    assert {colour for _, colour, _ in styles} <= OKABE_ITO
    assert {"profile", "blank", "dimension", "cut", "scale-bar"} <= {kind for kind, _, _ in styles}
    shades = {x.get("fill") for x in svg.iter(f"{SVG}polygon")} - OKABE_ITO
    assert shades == {"#FFFFFF", "#C9CCCF"}


# -- the composed picture -----------------------------------------------------


def test_the_picture_refers_to_nothing_outside() -> None:
    svg = picture()
    references = [v for e in svg.iter() for k, v in e.attrib.items() if k.endswith("href")]
    assert len(references) == 2
    assert all(v.startswith("data:image/png;base64,") for v in references)
    assert "http" not in picture_text().replace("http://www.w3.org/2000/svg", "")
    assert svg.find(f"{SVG}title").text == "Focus knob"
    assert "estimate" in svg.find(f"{SVG}desc").text


def test_each_part_of_the_picture_has_a_bar_of_a_round_length() -> None:
    for units in ("mm", "inch"):
        for _, said in bars(picture(units=units)):
            assert re.fullmatch(r"0?\.?0*[125]0* (mm|in)", said)
        assert len(bars(picture(units=units))) == 3


def test_the_parts_bar_agrees_with_the_part_that_is_drawn() -> None:
    svg = picture("plain")
    seen = embedded(svg, "part")
    box = svg.find(f"{SVG}image[@class='part']")
    metal = np.argwhere(np.abs(seen - seen[0, 0]) > 2)
    length, said = bars(svg)[0]
    high = (np.ptp(metal[:, 0]) + 1) * float(box.get("height")) / seen.shape[0]
    assert high / (length / float(said.split()[0])) == pytest.approx(DIAMETER_MM, rel=0.01)


def test_the_glass_bar_agrees_with_the_teeth_under_it() -> None:
    svg = picture("straight")
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
    svg = picture(kind, title="A very long name of a part " * 9, facts=tuple(facts.items()))
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
    assert min(float(t.get("font-size")) for t in picture().findall(f"{SVG}text")) >= 14


def test_a_title_with_marks_and_letters_of_all_kinds_does_no_harm() -> None:
    title = 'Ø 25 <b>&"knob"</b>\x00\x1b 滚花 \U0001f527 ½″'
    svg = picture(title=title)
    words = "".join(t.text for t in svg.findall(f"{SVG}text[@class='heading']"))
    assert words.startswith('Ø 25 <b>&"knob"</b> 滚花')
    png = lamp.picture_png(surface("diamond", 0.2), title=title, facts={}, pitch_mm=PITCH_MM)
    assert Image.open(io.BytesIO(png)).format == "PNG"


@pytest.mark.parametrize("width", [800, 1200])
def test_the_png_has_the_width_asked_for(width: int) -> None:
    of = surface("diamond", 0.2)
    png = lamp.picture_png(of, title="Knob", facts=FACTS, pitch_mm=PITCH_MM, width=width)
    image = Image.open(io.BytesIO(png))
    svg = picture()
    assert image.width == width
    assert image.height == pytest.approx(float(svg.get("height")) * width / 1200, abs=1)


def test_the_same_map_gives_the_same_bytes() -> None:
    of = surface("diamond", 0.2)
    ways: list[Callable[[], object]] = [
        lambda: lamp.picture_png(of, title="Knob", facts=FACTS, pitch_mm=PITCH_MM, width=600),
        lambda: picture_text.__wrapped__(),
        lambda: lamp.patch_png(of, centre_z_mm=-10.0, span_mm=5.0),
        lambda: lamp.npz_bytes(of, {"teeth": 80}),
        lambda: lamp.stl_bytes(of, most_triangles=20_000),
    ]
    for way in ways:
        assert way() == way()


# -- files --------------------------------------------------------------------


def test_an_archive_reads_back_what_was_written() -> None:
    of = surface("diamond", 0.2)
    measures = {"teeth": 80, "tooth_height_mm": 0.41, "note": "½ × tooth"}
    with np.load(io.BytesIO(lamp.npz_bytes(of, measures)), allow_pickle=False) as read:
        assert read["height_mm"].dtype == np.float32
        assert (read["height_mm"] == of.height_mm).all()
        for name in ("z_mm", "dz_mm", "cell_mm", "blank_diameter_mm"):
            assert float(read[name]) == getattr(of, name)
        assert json.loads(str(read["measures"])) == measures


@pytest.mark.parametrize("measures", [{"a": math.nan}, {"a": object()}])
def test_measures_that_json_cannot_hold_are_refused(measures: dict[str, object]) -> None:
    with pytest.raises(InputError, match="cannot be written"):
        lamp.npz_bytes(surface("plain"), measures)


@cache
def volume_keeping() -> Surface:
    """Return a straight knurl as heavy as its blank."""
    of = surface("straight", 1.0)
    area = float(((DIAMETER_MM / 2.0 + of.height_mm.astype(float)) ** 2).mean())
    return replace(of, height_mm=of.height_mm - np.float32(math.sqrt(area) - DIAMETER_MM / 2.0))


@pytest.mark.parametrize("core_mm", [0.0, 8.0])
def test_the_solid_is_closed_and_as_large_as_its_blank(core_mm: float) -> None:
    of = volume_keeping()
    mesh = solid(lamp.stl_bytes(of, core_mm=core_mm))
    length = (of.rows - 1) * of.dz_mm
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    whole = math.pi / 4.0 * (DIAMETER_MM**2 - core_mm**2) * length
    assert mesh.volume == pytest.approx(whole, rel=0.001)
    assert mesh.bounds[:, 2] == pytest.approx([of.z_mm, of.z_mm + length])


def solid(data: bytes) -> trimesh.Trimesh:
    return trimesh.load(io.BytesIO(data), file_type="stl")


def test_a_solid_with_too_many_triangles_is_thinned_and_says_so() -> None:
    of = surface("straight")
    data = lamp.stl_bytes(of, most_triangles=40_000)
    mesh = solid(data)
    (count,) = struct.unpack("<I", data[80:84])
    assert len(data) == 84 + 50 * count
    assert 10_000 < count <= 40_000
    assert b"thinned: 1 row and cell in 7" in data[:80]
    assert not data.startswith(b"solid")
    assert mesh.is_watertight
    assert mesh.bounds[1, 2] == pytest.approx(of.zs_mm[-1])


def test_the_solids_normals_are_those_of_its_corners() -> None:
    stl = lamp.stl_bytes(volume_keeping())
    data = np.frombuffer(stl[84:], dtype=np.uint8).reshape(-1, 50)
    normals = data[:, :12].copy().view("<f4")
    assert (normals * solid(stl).face_normals).sum(axis=1).min() > 0.999


def test_right_hand_grooves_stay_right_handed_in_the_solid() -> None:
    of = surface("right-hand", 0.5)
    points = solid(lamp.stl_bytes(of)).vertices
    radius = np.hypot(points[:, 0], points[:, 1])
    angle = np.arctan2(points[:, 1], points[:, 0])
    # A right-hand helix turns against the clock, seen from +Z, as it goes towards +Z.
    turn = np.tan(np.radians(30.0)) * 2.0 / DIAMETER_MM
    wall = radius > 1.0

    def alike(way: float) -> float:
        phase = TEETH * (angle[wall] - way * turn * points[wall, 2])
        return float(abs(np.mean(radius[wall] * np.exp(1j * phase))))

    assert alike(1.0) > 10.0 * alike(-1.0)


@pytest.mark.parametrize("core_mm", [-1.0, 25.0, math.nan])
def test_a_bore_wider_than_the_roots_is_refused(core_mm: float) -> None:
    with pytest.raises(InputError, match="core_mm"):
        lamp.stl_bytes(volume_keeping(), core_mm=core_mm)


# -- what cannot be shown -----------------------------------------------------


def every_use(of: Surface) -> list[Callable[[], object]]:
    return [
        lambda: lamp.part_image(of, width=200, height=200),
        lambda: lamp.glass_image(of, centre_z_mm=-1.0, span_mm=1.0, width=99, height=99),
        lambda: lamp.patch_png(of, centre_z_mm=-1.0, span_mm=1.0),
        lambda: lamp.section(of, -1.0, teeth_mm=3.0),
        lambda: lamp.crest_z_mm(of),
        lambda: lamp.section_svg(of, z_mm=-1.0, pitch_mm=1.0),
        lambda: lamp.picture_png(of, title="", facts={}, pitch_mm=1.0),
        lambda: lamp.picture_svg(of, title="", facts={}, pitch_mm=1.0),
        lambda: lamp.npz_bytes(of, {}),
        lambda: lamp.stl_bytes(of),
    ]


def heights(*shape: int, fill: float = 0.0) -> NDArray[np.float32]:
    return np.full(shape, fill, dtype=np.float32)


@pytest.mark.parametrize(
    "unfit",
    [
        Surface(heights(1, 400), -1.0, 0.1, 0.1),
        Surface(heights(0, 0), -1.0, 0.1, 0.1),
        Surface(heights(50, 3), -1.0, 0.1, 0.1),
        Surface(heights(400), -1.0, 0.1, 0.1),
        Surface(heights(20, 400, fill=math.nan), -1.0, 0.1, 0.1),
        Surface(heights(20, 400, fill=math.inf), -1.0, 0.1, 0.1),
        Surface(heights(20, 400, fill=-9.0), -1.0, 0.1, 0.1),
        Surface(heights(20, 400), -1.0, 0.0, 0.1),
        Surface(heights(20, 400), -1.0, 0.1, math.nan),
        Surface(heights(20, 400), math.nan, 0.1, 0.1),
    ],
)
def test_a_map_that_cannot_be_shown_is_refused_by_every_use(unfit: Surface) -> None:
    for use in every_use(unfit):
        with pytest.raises(KnurlcamError):
            use()


def test_a_part_smaller_than_a_pixel_is_refused() -> None:
    wire = Surface(heights(4000, 12), -400.0, 0.1, 0.01)
    with pytest.raises(InputError, match="smaller than a pixel"):
        lamp.part_image(wire, width=100, height=100)
    with pytest.raises(InputError, match="smaller than a pixel"):
        lamp.picture_svg(wire, title="", facts={}, pitch_mm=0.1)


@pytest.mark.parametrize(
    "ask",
    [
        lambda of: lamp.part_image(of, width=0, height=100),
        lambda of: lamp.part_image(of, width=100, height=100_000),
        lambda of: lamp.glass_image(of, centre_z_mm=-9.0, span_mm=0.01, width=99, height=99),
        lambda of: lamp.glass_image(of, centre_z_mm=-9.0, span_mm=99.0, width=99, height=99),
        lambda of: lamp.glass_image(of, centre_z_mm=math.nan, span_mm=9.0, width=99, height=99),
        lambda of: lamp.section(of, 5.0, teeth_mm=3.0),
        lambda of: lamp.section(of, math.nan, teeth_mm=3.0),
        lambda of: lamp.section(of, -9.0, teeth_mm=0.0),
        lambda of: lamp.section(of, -9.0, teeth_mm=99.0),
        lambda of: lamp.section_svg(of, z_mm=-9.0, pitch_mm=math.nan),
        lambda of: lamp.picture_png(of, title="", facts={}, pitch_mm=0.0),
        lambda of: lamp.picture_png(of, title="", facts={}, pitch_mm=1.0, width=50),
        lambda of: lamp.stl_bytes(of, most_triangles=3),
    ],
)
def test_what_cannot_be_asked_of_a_map_is_refused(ask: Callable[[Surface], object]) -> None:
    with pytest.raises(InputError):
        ask(surface("straight", 0.5))


def test_a_plain_blank_and_a_short_one_can_be_shown() -> None:
    for of in (surface("plain", 0.5), Surface(heights(2, 400), -1.0, 0.3, 0.1)):
        svg = ET.fromstring(lamp.picture_svg(of, title="Blank", facts={}, pitch_mm=1.0))
        assert not svg.findall(f"{SVG}polyline[@class='dimension']")
