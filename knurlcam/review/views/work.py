"""The work in the side view: its outline, what holds it, and the teeth on it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

from knurlcam.data.knurls import forms
from knurlcam.review.views.frame import Frame
from knurlcam.review.views.scene import Piece, Scene
from knurlcam.review.views.shapes import Point, Shape, line, path, polygon, polyline, rectangle

__all__ = ["STUB", "Extent", "knurl_shapes", "tailstock_shapes", "work_shapes"]

STUB = 0.6
"""Length of the work inside the chuck, over the radius of the blank [-]"""

CENTRE_HALF_ANGLE = math.radians(30.0)
"""Half of a centre's point: 60 degrees is what lathe centres have [rad]"""

FINEST_HATCH = 4.0
"""Lines of the knurl closer than this cannot be seen [drawing units]"""

LIMIT_REACH = 16.0
"""How far the line at the end of the knurl stands out above and below the work [units]"""


class Extent(NamedTuple):
    """What the side view shows.

    Attributes:
        frame: Its scale.
        z_lo: Least Z that is shown [mm]
        z_hi: Greatest Z that is shown [mm]
        cut: Whether the work goes on to the left of the picture.
    """

    frame: Frame
    z_lo: float
    z_hi: float
    cut: bool


class _Band(NamedTuple):
    """A rectangle of the picture [drawing units]."""

    left: float
    right: float
    top: float
    foot: float


# -- the work and what holds it on the left -------------------------------------


def work_shapes(scene: Scene, extent: Extent) -> Iterator[Shape]:
    """Yield the work, what holds it on the left or where it is cut, and its axis."""
    frame, cut = extent.frame, extent.cut
    outline = scene.outline
    held = -scene.plan.job.part.length
    between_centres = scene.plan.job.holding.method == "between centres"
    # What is held has the size of the piece that is held; a cut goes through what is there.
    radius = next(p.radius for p in outline if p.end > extent.z_lo) if cut else outline[0].radius
    start = extent.z_lo if cut else held - (0.0 if between_centres else STUB * radius)
    yield _outline(frame, outline, start, radius)
    if cut:
        yield from _cut_edge(frame, extent.z_lo, radius)
    elif between_centres:
        yield from _driven_centre(frame, held, radius)
    else:
        yield from _chuck(frame, held, radius)
    axis = frame.across(0.0)
    yield line("axis", (0, axis), (frame.width, axis))


def _outline(frame: Frame, outline: list[Piece], start: float, radius: float) -> Shape:
    """Return the work from *start* on: a plain one as a rectangle, else with its steps."""
    if len(outline) == 1:
        return rectangle("work", frame.point(start, radius), frame.point(0.0, -radius))
    side = [
        (max(z, start), piece.radius)
        for i, piece in enumerate(outline)
        if piece.end > start
        for z in (piece.begin if i else start, piece.end)
    ]
    return polygon("work", _mirrored(frame, side))


def _mirrored(frame: Frame, side: list[tuple[float, float]]) -> list[Point]:
    """Return a closed outline about the axis, from places and radii of its upper side [mm]."""
    upper = [frame.point(z, r) for z, r in side]
    return upper + [frame.point(z, -r) for z, r in reversed(side)]


def _cut_edge(frame: Frame, z: float, radius: float) -> Iterator[Shape]:
    """Yield the zigzag of work that goes on beyond the picture."""
    top, foot = frame.across(radius), frame.across(-radius)
    x, step = frame.along(z) + 10, (foot - top) / 6
    points = [(x + (6 if i % 2 else -6), top + i * step) for i in range(7)]
    yield polygon("gap", [(x - 12, top - 1), *points, (x - 12, foot + 1)])
    yield polyline("edge", points)


def _chuck(frame: Frame, held: float, radius: float) -> Iterator[Shape]:
    """Yield a chuck's body and two of its jaws, sized by the work."""
    body = frame.along(held - STUB * radius)
    face = frame.along(held)
    yield rectangle(
        "holder", (0, frame.across(1.35 * radius)), (body, frame.across(-1.35 * radius))
    )
    yield rectangle("holder", (body, frame.across(1.25 * radius)), (face, frame.across(radius)))
    yield rectangle("holder", (body, frame.across(-radius)), (face, frame.across(-1.25 * radius)))


def _driven_centre(frame: Frame, held: float, radius: float) -> Iterator[Shape]:
    """Yield a centre in the work's left end."""
    axis = frame.across(0.0)
    tip = frame.along(held) + 0.2 * radius * frame.kx
    base = frame.along(held - 0.55 * radius)
    spread = 0.75 * radius * math.tan(CENTRE_HALF_ANGLE) * frame.kx
    yield polygon("holder", [(tip, axis), (base, axis - spread), (base, axis + spread)])
    yield rectangle("holder", (0, axis - 1.4 * spread), (base, axis + 1.4 * spread))


# -- what holds it on the right -------------------------------------------------


def tailstock_shapes(scene: Scene, extent: Extent) -> Iterator[Shape]:
    """Yield what stands beyond the end face; of a size that is not given, the largest."""
    plan, holding = scene.plan, scene.plan.job.holding
    if holding.held_by == "none":
        return
    given = holding.centre_diameter
    radius = (given or plan.largest_centre_mm or 1.2 * scene.blank) / 2.0
    small = min(0.3 * scene.outline[-1].radius, radius)
    slope = (radius - small) / math.tan(CENTRE_HALF_ANGLE)
    end = extent.z_hi if given else min(extent.z_hi, slope + 1.2 * scene.blank)
    side = [(0.0, small), (slope, radius), (max(end, slope), radius)]
    yield polygon("holder" if given else "holder guess", _mirrored(extent.frame, side))


# -- the knurl -------------------------------------------------------------------


def knurl_shapes(scene: Scene, frame: Frame) -> Iterator[Shape]:
    """Yield the knurl, hatched as its teeth run, and its end."""
    plan = scene.plan
    left, top = frame.point(plan.line_mm, scene.blank)
    right, foot = frame.point(-plan.job.knurl.start, -scene.blank)
    yield rectangle("knurl", (left, top), (right, foot))
    yield path("teeth", _hatch(scene, frame, _Band(left, right, top, foot)))
    yield line("limit", (left, top - LIMIT_REACH), (left, foot + LIMIT_REACH))


def _hatch(scene: Scene, frame: Frame, band: _Band) -> str:
    """Return lines as the teeth run; of a fine pitch, as many as can be distinguished."""
    knurl = scene.plan.knurl
    form = forms()[knurl.form]
    pitch = max(knurl.pitch_mm * frame.kx, FINEST_HATCH)
    # On the side that is seen a right-hand groove sinks as Z grows; units run downwards.
    slopes = {"none": [0.0], "left": [-knurl.helix_deg], "right": [knurl.helix_deg]}.get(
        form.hand, [knurl.helix_deg, -knurl.helix_deg]
    )
    pieces = []
    if form.family != "straight" and not form.helical:  # a cross: lines both ways
        slopes = [0.0]
        pieces = _upright(band, pitch)
    for angle in slopes:
        pieces += _slanted(band, pitch, math.radians(angle))
    return "".join(pieces)


def _upright(band: _Band, pitch: float) -> list[str]:
    """Return the lines of a cross knurl that run round the work."""
    count = int((band.right - band.left) / pitch)
    return [f"M{band.left + i * pitch:.1f} {band.top:g}V{band.foot:g}" for i in range(1, count + 1)]


def _slanted(band: _Band, pitch: float, angle: float) -> Iterator[str]:
    """Yield lines at an angle to the axis that sink to the right, a pitch apart."""
    rise = math.tan(angle) * (band.right - band.left)
    step = pitch / math.cos(angle)
    first = math.ceil((band.top - max(rise, 0.0)) / step)
    last = math.floor((band.foot - min(rise, 0.0)) / step)
    for i in range(first, last + 1):
        ends = _within(band, i * step, i * step + rise)
        if ends:
            (x1, y1), (x2, y2) = ends
            yield f"M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}"


def _within(band: _Band, y1: float, y2: float) -> tuple[Point, Point] | None:
    """Return what of a line from the band's left to its right lies inside; None for nothing."""
    if y1 == y2:
        inside = band.top < y1 < band.foot
        return ((band.left, y1), (band.right, y2)) if inside else None
    a, b = sorted(((band.top - y1) / (y2 - y1), (band.foot - y1) / (y2 - y1)))
    lo, hi = max(0.0, a), min(1.0, b)
    if lo >= hi:
        return None

    def at(share: float) -> Point:
        return band.left + share * (band.right - band.left), y1 + share * (y2 - y1)

    return at(lo), at(hi)
