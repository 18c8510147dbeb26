"""A drawing as SVG: presentation attributes and classes only, so that it can stand in any page."""

from __future__ import annotations

import base64
import html
from collections.abc import Iterable, Mapping

from knurlcam.drawing.lettering import is_unwritable
from knurlcam.drawing.png import png_bytes
from knurlcam.drawing.shapes import Area, Drawing, Line, Point, Raster, Shape, Text

__all__ = ["data_uri", "svg_number", "svg_text"]

SHARPNESS = 2
"""Pixels of a picture inside an SVG for a drawing unit [-]: two stay sharp when enlarged."""

FONT = "sans-serif"
"""Typeface: what the reader's machine has of the kind, for an SVG holds no letters itself."""


def svg_text(drawing: Drawing, attributes: Mapping[str, str]) -> str:
    """Return a drawing as SVG, with its title and its description.

    Args:
        drawing: What is drawn.
        attributes: Further attributes of its element, which come first.

    Returns:
        One element, with a line's end after it.
    """
    whole = {
        **attributes,
        "viewBox": f"0 0 {svg_number(drawing.width)} {svg_number(drawing.height)}",
        "role": "img",
        "font-family": FONT,
    }
    inside = "\n".join(map(_element, drawing.shapes))
    words = f"{_tag('title', text=drawing.title)}\n{_tag('desc', text=drawing.description)}"
    return _tag("svg", whole, raw=f"\n{words}\n{inside}\n") + "\n"


def svg_number(value: float) -> str:
    """Return a number as an SVG has it.

    Args:
        value: The number [drawing units]

    Returns:
        Its text, with two places at most: finer than any screen.
    """
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    # What rounds to nothing has no sign, so that the same drawing is always the same text.
    return "0" if text == "-0" else text


def data_uri(data: bytes, kind: str) -> str:
    """Return a picture as an address that holds all of it.

    Args:
        data: The picture's file.
        kind: What it is: ``png``, ``jpeg``.

    Returns:
        A ``data:`` address, in base 64.
    """
    return f"data:image/{kind};base64,{base64.b64encode(data).decode('ascii')}"


def _tag(
    name: str, attributes: Mapping[str, str] | None = None, text: str = "", raw: str = ""
) -> str:
    """Return an element; *text* is escaped, and what XML cannot hold is left out."""
    given = "".join(f' {k}="{_safe(v)}"' for k, v in (attributes or {}).items())
    # Only text is escaped: what is raw was made here.
    inside = _safe(text) + raw
    return f"<{name}{given}>{inside}</{name}>" if inside else f"<{name}{given}/>"


def _safe(text: str) -> str:
    # XML holds no control characters, not even escaped: one would break the whole page.
    return html.escape("".join(c for c in text if not is_unwritable(c)), quote=True)


def _element(shape: Shape) -> str:
    match shape:
        case Line():
            return _tag("polyline", _line_look(shape))
        case Area(kind, points, fill):
            return _tag("polygon", {"class": kind, "points": _points(points), "fill": fill})
        case Text(kind, x, y, text, size, anchor):
            place = _numbers({"x": x, "y": y, "font-size": size})
            return _tag("text", {"class": kind, **place, "text-anchor": anchor}, text=text)
        case Raster(kind, x, y, width, height, draw):
            data = png_bytes(draw(round(width * SHARPNESS), round(height * SHARPNESS)))
            place = _numbers({"x": x, "y": y, "width": width, "height": height})
            return _tag("image", {"class": kind, **place, "href": data_uri(data, "png")})


def _line_look(line: Line) -> dict[str, str]:
    stroke = line.stroke
    look = {
        "class": stroke.kind,
        "points": _points(line.points),
        "fill": "none",
        "stroke": stroke.colour,
        "stroke-width": svg_number(stroke.width),
    }
    if stroke.dashes:
        look["stroke-dasharray"] = " ".join(map(svg_number, stroke.dashes))
    return look


def _numbers(values: Mapping[str, float]) -> dict[str, str]:
    return {name: svg_number(value) for name, value in values.items()}


def _points(points: Iterable[Point]) -> str:
    return " ".join(f"{svg_number(x)},{svg_number(y)}" for x, y in points)
