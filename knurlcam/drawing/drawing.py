"""Lines, areas, texts and pictures, drawn as SVG or painted as a picture of pixels.

Colours are told apart by all eyes and each kind of line has its own style besides; an SVG
bears presentation attributes and classes only, so that it can stand in any page.
"""

from __future__ import annotations

import base64
import html
import io
import math
import re
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import lru_cache
from itertools import pairwise
from typing import Any, Literal, NamedTuple, TypeAlias

import numpy as np
from PIL import Image, ImageDraw, ImageFont
from PIL.PngImagePlugin import PngInfo

from knurlcam.text import SIGNS, in_ascii
from knurlcam.units.kinds import Kind, Units
from knurlcam.units.quantities import parse_quantity
from knurlcam.units.show import show

__all__ = [
    "ARROW",
    "BLACK",
    "CAUTION",
    "EDGE",
    "INLINE_WIDE",
    "LINE_STEP",
    "PAPER",
    "STROKES",
    "TEXT",
    "Area",
    "Line",
    "Point",
    "Raster",
    "Shape",
    "Stroke",
    "Text",
    "arrow_head",
    "box",
    "data_uri",
    "decimals_of",
    "painted",
    "png_bytes",
    "round_down",
    "round_up",
    "scale_bar",
    "simplified",
    "svg_number",
    "svg_text",
    "text_width",
    "wrapped",
]

Point: TypeAlias = tuple[float, float]
"""A place to the right and downwards [drawing units]"""

# -- shapes -------------------------------------------------------------------

CAUTION = "An estimate that was worked out, not a measurement of a part."
"""Stands in every picture: it looks like a photograph and is none."""

INLINE_WIDE = 800.0
"""Of a drawing that stands alone in a page [drawing units]"""

EDGE = 24.0
"""Free room about a drawing [drawing units]"""

BLACK, BLUE, VERMILLION = "#000000", "#0072B2", "#D55E00"
GREEN, ORANGE = "#009E73", "#E69F00"
"""Told apart by all eyes; each line has its own style besides."""

PAPER = "#FFFFFF"
"""White: a sheet is printed, and all the colours stand out on it."""


class Stroke(NamedTuple):
    """How a kind of line is drawn: colour, width and dashes [drawing units]."""

    colour: str
    width: float
    dashes: tuple[float, ...] = ()


STROKES: Mapping[str, Stroke] = {
    "profile": Stroke(BLACK, 2.5),
    "blank": Stroke(BLUE, 2.0, (10.0, 6.0)),
    "extension": Stroke(VERMILLION, 1.5, (2.0, 3.0)),
    "dimension": Stroke(VERMILLION, 1.5),
    "cut": Stroke(GREEN, 2.5, (12.0, 4.0, 3.0, 4.0)),
    "scale-bar": Stroke(BLACK, 3.0),
    "frame": Stroke(BLACK, 1.0),
    "window-curve": Stroke(BLACK, 2.5),
    "window-planned": Stroke(BLUE, 2.0, (10.0, 6.0)),
    "window-handbook": Stroke(ORANGE, 4.0, (5.0, 2.0)),
    "window-limit": Stroke(GREEN, 2.5, (12.0, 4.0, 3.0, 4.0)),
    "window-clean": Stroke(VERMILLION, 1.5, (2.0, 3.0)),
}
"""By kind, which is the class of the line in an SVG too."""


class Line(NamedTuple):
    """A line through points; its kind says how it looks."""

    kind: str
    points: Sequence[Point]


class Area(NamedTuple):
    """A filled shape."""

    kind: str
    points: Sequence[Point]
    fill: str


class Text(NamedTuple):
    """One line of text; *y* is the line that the letters stand on."""

    kind: str
    x: float
    y: float
    text: str
    size: float
    anchor: Literal["start", "middle", "end"] = "start"


class Raster(NamedTuple):
    """A picture, drawn anew for the width and height in pixels that it is shown at."""

    kind: str
    x: float
    y: float
    width: float
    height: float
    draw: Callable[[int, int], Image.Image]


Shape: TypeAlias = Line | Area | Text | Raster


def box(left: float, top: float, right: float, foot: float) -> list[Point]:
    """Return the corners of a box.

    Args:
        left: Its left side [drawing units]
        top: Its upper side [drawing units]
        right: Its right side [drawing units]
        foot: Its lower side [drawing units]

    Returns:
        Four corners, and the first one again [drawing units]
    """
    return [(left, top), (right, top), (right, foot), (left, foot), (left, top)]


# -- drawing as SVG -----------------------------------------------------------

SHARPNESS = 2
"""Pixels of a picture inside an SVG for a drawing unit: also good when enlarged."""

FONT = "sans-serif"
"""What the reader's machine has of the kind: an SVG holds no letters of its own."""


def svg_text(
    shapes: Iterable[Shape],
    width: float,
    height: float,
    title: str,
    told: str,
    extra: Mapping[str, str],
) -> str:
    """Return a drawing as SVG, with a title and a description for those who cannot see it.

    Args:
        shapes: What is drawn, from the lowest upwards.
        width: Of the drawing [drawing units]
        height: Of the drawing [drawing units]
        title: What it is, in a few words.
        told: What it shows, in sentences.
        extra: Further attributes of its element, which come first.

    Returns:
        One element, with a line's end after it.
    """
    attributes = {
        **extra,
        "viewBox": f"0 0 {svg_number(width)} {svg_number(height)}",
        "role": "img",
        "font-family": FONT,
    }
    inside = "\n".join(map(_element, shapes))
    words = f"{_tag('title', text=title)}\n{_tag('desc', text=told)}"
    return _tag("svg", attributes, raw=f"\n{words}\n{inside}\n") + "\n"


def svg_number(value: float) -> str:
    """Return a number as an SVG has it.

    Args:
        value: The number [drawing units]

    Returns:
        Its text, with two places at most: finer than any screen.
    """
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _tag(
    name: str, attributes: Mapping[str, str] | None = None, text: str = "", raw: str = ""
) -> str:
    """Return an element; *text* is escaped, and what XML cannot hold is left out."""
    given = "".join(f' {k}="{_safe(v)}"' for k, v in (attributes or {}).items())
    inside = _safe(text) + raw
    return f"<{name}{given}>{inside}</{name}>" if inside else f"<{name}{given}/>"


def _safe(text: str) -> str:
    return html.escape("".join(c for c in text if not _unwritable(c)), quote=True)


def _unwritable(character: str) -> bool:
    """Whether XML has no place for a character, or it is none."""
    return unicodedata.category(character) in ("Cc", "Cs") or character in "\ufffe\uffff"


def _element(shape: Shape) -> str:
    """Return a shape as an element of an SVG, with presentation attributes only."""
    match shape:
        case Line(kind, points):
            stroke = STROKES[kind]
            look = {
                "class": kind,
                "points": _points(points),
                "fill": "none",
                "stroke": stroke.colour,
                "stroke-width": svg_number(stroke.width),
            }
            if stroke.dashes:
                look["stroke-dasharray"] = " ".join(map(svg_number, stroke.dashes))
            return _tag("polyline", look)
        case Area(kind, points, fill):
            return _tag("polygon", {"class": kind, "points": _points(points), "fill": fill})
        case Text(kind, x, y, text, size, anchor):
            sides = {"x": x, "y": y, "font-size": size}
            place = {name: svg_number(value) for name, value in sides.items()}
            return _tag("text", {"class": kind, **place, "text-anchor": anchor}, text=text)
        case Raster(kind, x, y, width, height, draw):
            data = png_bytes(draw(round(width * SHARPNESS), round(height * SHARPNESS)))
            sides = {"x": x, "y": y, "width": width, "height": height}
            numbers = {name: svg_number(value) for name, value in sides.items()}
            return _tag("image", {"class": kind, **numbers, "href": data_uri(data, "png")})


def _points(points: Iterable[Point]) -> str:
    return " ".join(f"{svg_number(x)},{svg_number(y)}" for x, y in points)


def data_uri(data: bytes, kind: str) -> str:
    """Return a picture as an address that holds all of it.

    Args:
        data: The picture's file.
        kind: What it is: ``png``, ``jpeg``.

    Returns:
        A ``data:`` address, in base 64.
    """
    return f"data:image/{kind};base64,{base64.b64encode(data).decode('ascii')}"


# -- drawing as PNG -----------------------------------------------------------

OVERSAMPLING = 3
"""Lines and letters are drawn so many times larger, then averaged: smooth edges."""

_PILLOW_ANCHORS = {"start": "ls", "middle": "ms", "end": "rs"}
"""What SVG and Pillow call the point of a text that is given, on the line it stands on."""


def painted(shapes: Iterable[Shape], width: int, height: int) -> Image.Image:
    """Return a drawing as a picture, one pixel for a drawing unit.

    Args:
        shapes: What is drawn, from the lowest upwards.
        width: Of the drawing [drawing units]
        height: Of the drawing [drawing units]

    Returns:
        A picture of as many pixels, in colours.
    """
    whole = Image.new("RGB", (width * OVERSAMPLING, height * OVERSAMPLING), PAPER)
    brush = ImageDraw.Draw(whole)
    for shape in shapes:
        _paint(whole, brush, shape)
    return whole.reduce(OVERSAMPLING)


def _paint(whole: Image.Image, brush: ImageDraw.ImageDraw, shape: Shape) -> None:
    """Draw one shape on the enlarged picture."""
    match shape:
        case Line(kind, points):
            stroke = STROKES[kind]
            wide = round(stroke.width * OVERSAMPLING)
            for piece in _dashed(points, stroke.dashes):
                brush.line(_enlarged(piece), stroke.colour, wide, joint="curve")
        case Area(_, points, fill):
            brush.polygon(_enlarged(points), fill)
        case Text(_, x, y, text, size, anchor):
            foot = (round(x * OVERSAMPLING), round(y * OVERSAMPLING))
            font = _font(size * OVERSAMPLING)
            brush.text(foot, _writable(text), BLACK, font, anchor=_PILLOW_ANCHORS[anchor])
        case Raster(_, x, y, width, height, draw):
            image = draw(round(width), round(height))
            enlarged = (image.width * OVERSAMPLING, image.height * OVERSAMPLING)
            corner = (round(x) * OVERSAMPLING, round(y) * OVERSAMPLING)
            whole.paste(image.resize(enlarged, Image.Resampling.NEAREST), corner)


def _enlarged(points: Iterable[Point]) -> list[Point]:
    return [(x * OVERSAMPLING, y * OVERSAMPLING) for x, y in points]


def _dashed(points: Sequence[Point], dashes: Sequence[float]) -> Iterator[Sequence[Point]]:
    """Yield the pieces of a line; a dashed one is made of straight stretches."""
    if not dashes:
        yield points
        return
    for (x0, y0), (x1, y1) in pairwise(points):
        length = math.hypot(x1 - x0, y1 - y0)
        done, number = 0.0, 0
        while done < length:
            end = min(done + dashes[number % len(dashes)], length)
            if number % 2 == 0:
                a, b = done / length, end / length
                yield [
                    (x0 + a * (x1 - x0), y0 + a * (y1 - y0)),
                    (x0 + b * (x1 - x0), y0 + b * (y1 - y0)),
                ]
            done, number = end, number + 1


@lru_cache(maxsize=16)
def _font(size: float) -> Any:
    """Return Pillow's own typeface: the same letters on every machine."""
    return ImageFont.load_default(size)


_SPELT = {**SIGNS, "Ø": "dia. "}
"""How signs that the typeface lacks are spelt."""


def _writable(text: str) -> str:
    """Return a text in the letters that Pillow's own typeface has."""
    kept = (c for c in in_ascii(text, _SPELT) if not _unwritable(c))
    return "".join(c if c.isascii() or c in "°±·…" else "?" for c in kept)


WIDER = 1.25
"""Other typefaces of the kind are so much wider than the one that is measured."""


def text_width(text: str, size: float) -> float:
    """Return a width that a text surely does not exceed.

    Args:
        text: The text.
        size: Of its letters [drawing units]

    Returns:
        Its width in the widest typeface of the kind [drawing units]
    """
    return float(_font(size).getlength(_writable(text))) * WIDER


_WORD_GAP = re.compile(r"(?<!±)\s+(?!(?:mm|in)\b)")
"""A number keeps its sign and its unit beside it."""


def wrapped(text: str, size: float, width: float) -> list[str]:
    """Return a text in as many lines as it needs; only a word wider than one is broken.

    Args:
        text: The text.
        size: Of its letters [drawing units]
        width: That no line is to exceed [drawing units]

    Returns:
        Its lines, from the top; an empty one for an empty text.
    """
    lines = [""]
    for word in _WORD_GAP.split(text.strip()):
        for piece in _broken(word, size, width):
            longer = f"{lines[-1]} {piece}".lstrip()
            if not lines[-1] or text_width(longer, size) <= width:
                lines[-1] = longer
            else:
                lines.append(piece)
    return lines


def _broken(word: str, size: float, width: float) -> Iterator[str]:
    """Yield a word in pieces that fit a line."""
    while len(word) > 1 and text_width(word, size) > width:
        fits = len(word) - 1
        while fits > 1 and text_width(word[:fits], size) > width:
            fits -= 1
        yield word[:fits]
        word = word[fits:]
    yield word


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


# -- what many drawings hold --------------------------------------------------

TEXT = 17.0
LINE_STEP = 24.0
"""Height of a line of text, and from one to the next [drawing units]"""

LONGEST_BAR = 0.3
"""A scale bar takes at most so much of the width of what it measures."""


def scale_bar(x: float, y: float, scale: float, width: float, units: Units) -> Iterator[Shape]:
    """Yield a bar of a round length with the length written beside it.

    Args:
        x: Its left end [drawing units]
        y: Its height; the text stands on the same line [drawing units]
        scale: Of what it measures [drawing units/mm]
        width: Of what it measures [drawing units]
        units: The job's units.

    Yields:
        The bar, its two ends and the text.
    """
    unit_mm = parse_quantity(1.0, Kind.LENGTH, units)
    length = round_down(LONGEST_BAR * width / scale / unit_mm)
    end = x + length * unit_mm * scale
    yield Line("scale-bar", [(x, y), (end, y)])
    yield Line("frame", [(x, y - 7), (x, y + 7)])
    yield Line("frame", [(end, y - 7), (end, y + 7)])
    text = show(length * unit_mm, Kind.LENGTH, units, decimals_of(length))
    yield Text("scale-text", end + 10, y + TEXT / 3, text, TEXT)


def _power_below(value: float) -> float:
    """Return the power of ten up to a value."""
    return float(10.0 ** math.floor(math.log10(value) + 1e-9))


def round_down(value: float) -> float:
    """Return a round number that is not larger.

    Args:
        value: More than 0 [any unit]

    Returns:
        The greatest of 1, 2, 5, 10, 20 ... and 0.5, 0.2, 0.1 ... up to it [its unit]
    """
    power = _power_below(value)
    return power * max(step for step in (1.0, 2.0, 5.0) if step * power <= value * (1.0 + 1e-9))


def round_up(value: float) -> float:
    """Return a round number that is not smaller.

    Args:
        value: More than 0 [any unit]

    Returns:
        The least of 1, 2, 5, 10, 20 ... and 0.5, 0.2, 0.1 ... from it on [its unit]
    """
    power = _power_below(value)
    return power * min(
        step for step in (1.0, 2.0, 5.0, 10.0) if step * power >= value - 1e-9 * power
    )


def decimals_of(round_length: float) -> int:
    """Return how many decimal places a round number has.

    Args:
        round_length: What :func:`round_down` or :func:`round_up` returned [any unit]

    Returns:
        The places that it needs [-]
    """
    return max(0, -math.floor(math.log10(round_length) + 1e-9))


STRAIGHT = 0.1
"""Points nearer than this to a straight line lie on it: a tooth of a fine map has many
[drawing units]"""


def simplified(points: Sequence[Point]) -> list[Point]:
    """Return a line's points without those that lie straight between others.

    Args:
        points: The line, two points or more [drawing units]

    Returns:
        Some of them in their order, with both ends [drawing units]
    """
    line = np.array(points)
    kept = {0, len(line) - 1}
    stretches = [(0, len(line) - 1)]
    while stretches:
        first, last = stretches.pop()
        run, rise = line[last] - line[first]
        between = line[first + 1 : last] - line[first]
        off = np.abs(between[:, 1] * run - between[:, 0] * rise) / math.hypot(run, rise)
        if off.size and off.max() > STRAIGHT:
            middle = first + 1 + int(off.argmax())
            kept.add(middle)
            stretches += [(first, middle), (middle, last)]
    return [points[i] for i in sorted(kept)]


ARROW = 9.0
"""Length of an arrow's head [drawing units]"""


def arrow_head(x: float, y: float, way: float) -> Area:
    """Return the head of a dimension's arrow.

    Args:
        x: Of its tip, to the right [drawing units]
        y: Of its tip, downwards [drawing units]
        way: Where it points: 1 down, -1 up.

    Returns:
        A triangle.
    """
    back = y - way * ARROW
    return Area("head", [(x, y), (x - ARROW / 3, back), (x + ARROW / 3, back)], VERMILLION)
