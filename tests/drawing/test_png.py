"""A painted drawing has a pixel for each drawing unit; its file is the same every time."""

from __future__ import annotations

import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from knurlcam.drawing.png import painted, png_bytes
from knurlcam.drawing.shapes import BLACK, Area, Drawing, Line, Raster, Shape, Stroke, Text, box

SOLID = Stroke("solid", BLACK, 2.0)
DASHED = Stroke("dashed", BLACK, 2.0, (10.0, 6.0))


def grey(*shapes: Shape) -> NDArray[np.float64]:
    image = painted(Drawing(shapes, 120, 40, "", ""))
    return np.asarray(image.convert("L")).astype(float)


def test_it_is_as_large_as_its_drawing_and_white() -> None:
    seen = grey()
    assert seen.shape == (40, 120)
    assert (seen == 255.0).all()


def test_an_area_is_where_its_corners_are() -> None:
    seen = grey(Area("metal", box(10.0, 10.0, 50.0, 30.0), BLACK))
    assert seen[20, 30] == 0.0
    assert seen[20, 60] == 255.0


def test_a_dashed_line_has_gaps_where_a_solid_one_has_none() -> None:
    ends = [(10.0, 20.0), (106.0, 20.0)]
    solid, dashed = (grey(Line(stroke, ends))[20, 12:104] for stroke in (SOLID, DASHED))
    assert (solid < 128.0).all()
    gaps = (dashed[1:] > 128.0) & (dashed[:-1] <= 128.0)
    assert np.count_nonzero(gaps) == 6


def test_a_text_stands_on_its_line_and_ends_where_it_is_anchored() -> None:
    ink = np.argwhere(grey(Text("word", 100.0, 30.0, "HHH", 17.0, "end")) < 128.0)
    assert ink[:, 0].max() <= 30
    assert 95 <= ink[:, 1].max() <= 100


def test_a_picture_is_drawn_pixel_for_pixel() -> None:
    def draw(width: int, height: int) -> Image.Image:
        return Image.fromarray((np.indices((height, width)).sum(axis=0) % 2 * 255).astype(np.uint8))

    seen = grey(Raster("part", 20.0, 10.0, 30.0, 20.0, draw))
    assert set(np.unique(seen[10:30, 20:50])) == {0.0, 255.0}
    assert (seen[:, 51:] == 255.0).all()


def test_a_file_names_its_maker_before_the_picture_and_is_the_same_every_time() -> None:
    image = Image.new("RGB", (8, 8))
    data = png_bytes(image, made_by="somebody")
    assert data == png_bytes(image, made_by="somebody")
    assert data.index(b"somebody") < data.index(b"IDAT")
    assert b"tEXt" not in png_bytes(image)


def test_a_small_file_holds_the_same_picture() -> None:
    image = Image.fromarray(np.arange(64, dtype=np.uint8).reshape(8, 8))
    again = Image.open(io.BytesIO(png_bytes(image, small=True)))
    assert (np.asarray(again) == np.asarray(image)).all()
