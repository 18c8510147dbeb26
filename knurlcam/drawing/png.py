"""A drawing painted as pixels, and pictures written as PNG."""

from __future__ import annotations

import io
import math
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise

from PIL import Image, ImageDraw
from PIL.PngImagePlugin import PngInfo

from knurlcam.drawing.lettering import font, writable
from knurlcam.drawing.shapes import (
    BLACK,
    PAPER,
    Area,
    Drawing,
    Line,
    Point,
    Raster,
    Shape,
    Text,
)

__all__ = ["painted", "png_bytes"]

OVERSAMPLING = 3
"""How many times larger lines and letters are drawn before they are averaged [-]: that gives
smooth edges, which Pillow's own lines lack."""

_PILLOW_ANCHORS = {"start": "ls", "middle": "ms", "end": "rs"}
"""Anchor of a text in an SVG -> in Pillow, on the line that its letters stand on."""


def painted(drawing: Drawing) -> Image.Image:
    """Return a drawing as a picture, one pixel for a drawing unit.

    Args:
        drawing: What is drawn; its size is in whole drawing units.

    Returns:
        A picture of as many pixels, in colours.
    """
    width, height = round(drawing.width), round(drawing.height)
    whole = Image.new("RGB", (width * OVERSAMPLING, height * OVERSAMPLING), PAPER)
    brush = ImageDraw.Draw(whole)
    for shape in drawing.shapes:
        _paint(whole, brush, shape)
    # By whole pixels: a mean of nine, with no ringing at edges.
    return whole.reduce(OVERSAMPLING)


def png_bytes(image: Image.Image, *, small: bool = False, made_by: str = "") -> bytes:
    """Return a picture as PNG.

    Args:
        image: The picture.
        small: Whether it is to be as small as can be, which takes five times as long.
        made_by: Who made it, written before the picture under the key ``Software``; left
            out where empty.

    Returns:
        The file; the same picture gives the same one.
    """
    out, info = io.BytesIO(), PngInfo()
    if made_by:
        info.add_text("Software", made_by)
    image.save(out, format="PNG", optimize=small, pnginfo=info)
    return out.getvalue()


def _paint(whole: Image.Image, brush: ImageDraw.ImageDraw, shape: Shape) -> None:
    """Draw one shape on the enlarged picture."""
    match shape:
        case Line(stroke, points):
            wide = round(stroke.width * OVERSAMPLING)
            for piece in _dashed(points, stroke.dashes):
                brush.line(_enlarged(piece), stroke.colour, wide, joint="curve")
        case Area(_, points, fill):
            brush.polygon(_enlarged(points), fill)
        case Text(_, x, y, text, size, anchor):
            foot = (round(x * OVERSAMPLING), round(y * OVERSAMPLING))
            letters = font(size * OVERSAMPLING)
            brush.text(foot, writable(text), BLACK, letters, anchor=_PILLOW_ANCHORS[anchor])
        case Raster(_, x, y, width, height, draw):
            image = draw(round(width), round(height))
            enlarged = (image.width * OVERSAMPLING, image.height * OVERSAMPLING)
            corner = (round(x) * OVERSAMPLING, round(y) * OVERSAMPLING)
            # Nearest: averaged back, each pixel is again what was drawn.
            whole.paste(image.resize(enlarged, Image.Resampling.NEAREST), corner)


def _enlarged(points: Iterable[Point]) -> list[Point]:
    return [(x * OVERSAMPLING, y * OVERSAMPLING) for x, y in points]


def _dashed(points: Sequence[Point], dashes: Sequence[float]) -> Iterator[Sequence[Point]]:
    """Yield the pieces of a line; Pillow draws no dashes of its own."""
    if not dashes:
        yield points
        return
    for (x0, y0), (x1, y1) in pairwise(points):
        length = math.hypot(x1 - x0, y1 - y0)
        done, number = 0.0, 0  # each stretch begins with a dash: no corner falls into a gap
        while done < length:
            end = min(done + dashes[number % len(dashes)], length)
            if number % 2 == 0:
                a, b = done / length, end / length
                yield [
                    (x0 + a * (x1 - x0), y0 + a * (y1 - y0)),
                    (x0 + b * (x1 - x0), y0 + b * (y1 - y0)),
                ]
            done, number = end, number + 1
