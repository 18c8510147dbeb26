"""Shapes of a picture: what the page writes as elements of an SVG."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple, TypeAlias

__all__ = ["Point", "Shape", "circle", "line", "path", "polygon", "polyline", "rectangle", "text"]

Point: TypeAlias = tuple[float, float]
"""A place to the right and downwards [drawing units]"""


class Shape(NamedTuple):
    """One element of a picture.

    Attributes:
        tag: Its SVG element.
        attributes: Its attributes; the page's style knows the class.
        text: What is written in it; empty for a shape.
    """

    tag: str
    attributes: Mapping[str, str | float]
    text: str = ""


def path(kind: str, d: str) -> Shape:
    """Return a path; *d* is SVG's own language of strokes."""
    return Shape("path", {"class": kind, "d": d})


def line(kind: str, begin: Point, end: Point) -> Shape:
    """Return a straight line."""
    (x1, y1), (x2, y2) = begin, end
    return path(kind, f"M{x1:g} {y1:g}L{x2:g} {y2:g}")


def rectangle(kind: str, corner: Point, opposite: Point) -> Shape:
    """Return a rectangle between two corners, whichever of them is the left or upper one."""
    (x1, y1), (x2, y2) = corner, opposite
    return Shape(
        "rect",
        {
            "class": kind,
            "x": round(min(x1, x2), 2),
            "y": round(min(y1, y2), 2),
            "width": round(abs(x2 - x1), 2),
            "height": round(abs(y2 - y1), 2),
        },
    )


def circle(kind: str, centre: Point, radius: float) -> Shape:
    """Return a circle."""
    x, y = centre
    return Shape(
        "circle", {"class": kind, "cx": round(x, 2), "cy": round(y, 2), "r": round(radius, 2)}
    )


def polygon(kind: str, points: Iterable[Point]) -> Shape:
    """Return a closed shape."""
    return Shape("polygon", {"class": kind, "points": _listed(points)})


def polyline(kind: str, points: Iterable[Point]) -> Shape:
    """Return an open line through points."""
    return Shape("polyline", {"class": kind, "points": _listed(points)})


def text(kind: str, at: Point, words: str) -> Shape:
    """Return words: ``kind`` ends them at x with "end", centres them with "mid", else begins."""
    x, y = at
    return Shape("text", {"class": kind, "x": round(x, 2), "y": round(y, 2)}, words)


def _listed(points: Iterable[Point]) -> str:
    return " ".join(f"{x:.6g},{y:.6g}" for x, y in points)
