"""The way of the rolls, one path for each phase of the motion."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from knurlcam.review.views.shapes import Point, Shape, path
from knurlcam.timeline import Phase

__all__ = ["Stretch", "ways"]

UNBROKEN: tuple[Phase, ...] = ("infeed", "headstock")
"""Phases drawn as a full line: first, so that a dashed one over it lets both be seen."""


class Stretch(NamedTuple):
    """A straight piece of the way: its phase and both ends [drawing units]."""

    phase: Phase
    begin: Point
    end: Point


def ways(stretches: Iterable[Stretch]) -> Iterator[Shape]:
    """Yield one path for each phase; what is travelled more than once is drawn once.

    A program of many thousand blocks would else be as many elements, and a page that is
    slow to open.
    """
    rows: dict[tuple[Phase, str, float], list[tuple[float, float]]] = {}
    slanted: dict[Stretch, None] = {}
    for stretch in stretches:
        phase, (x1, y1), (x2, y2) = stretch
        if x1 != x2 and y1 != y2:
            slanted[stretch] = None
        elif x1 != x2:
            rows.setdefault((phase, "H", y1), []).append((min(x1, x2), max(x1, x2)))
        elif y1 != y2:
            rows.setdefault((phase, "V", x1), []).append((min(y1, y2), max(y1, y2)))
    pieces: dict[Phase, list[str]] = {}
    for (phase, direction, at), row in rows.items():
        for a, b in _joined(row):
            start = f"{a:g} {at:g}" if direction == "H" else f"{at:g} {a:g}"
            pieces.setdefault(phase, []).append(f"M{start}{direction}{b:g}")
    for phase, piece in _run_on(slanted):
        pieces.setdefault(phase, []).append(piece)
    for phase in sorted(pieces, key=lambda p: p not in UNBROKEN):
        yield path(f"way {phase}", "".join(pieces[phase]))


def _run_on(stretches: Iterable[Stretch]) -> Iterator[tuple[Phase, str]]:
    """Yield slanted stretches; blocks that run on become one line."""
    # A line of its own for each block would start its dashes again with each.
    last: tuple[Phase, Point] | None = None
    for phase, begin, end in stretches:
        start = "" if last == (phase, begin) else f"M{begin[0]:g} {begin[1]:g}"
        yield phase, f"{start}L{end[0]:g} {end[1]:g}"
        last = phase, end


def _joined(pieces: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return stretches of one line with those joined that touch or overlap."""
    found: list[tuple[float, float]] = []
    for a, b in sorted(pieces):
        if found and a <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], b))
        else:
            found.append((a, b))
    return found
