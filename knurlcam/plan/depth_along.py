"""How deep the knurl comes along the work, from where the slide goes in its deepest passes.

Every place meets the face of the rolls several times on a traverse, and its deepest print counts;
on a plunge it meets them once, and the tilt of the bent work stays in the knurl.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Sequence
from typing import NamedTuple

from knurlcam.mechanics.held_work import HeldWork, Knot

__all__ = ["DepthAlong", "across_along", "depth_along", "depth_at"]

STRETCH_PLACES = 5
"""Places on a stretch of the rolls' way at which the penetration is solved [-]: between them it
runs on a parabola, and is off by a few tenths of a percent of what deflection takes."""

STEPPED_PLACES = 9
"""The same on stepped work, whose deflection may turn anywhere [-]"""

OVERHANG_PLACES = 3
"""The same where the face hangs over the end, which is shorter than a face [-]"""

LOOKS = 10
"""Places along the knurl from which the median is taken [-]: with four and two more the middle
two of them are its place on a slope and on an arch alike."""

STILL_MM = 1e-6
"""Way of the rolls below which they plunge [mm]"""

_Edges = Callable[[float], tuple[float, float]]
"""From the rolls' left edge to the penetration at both edges of the face [mm]"""

_Solved = list[tuple[float, float, float]]
"""Places of the rolls' left edge, rising, with the penetration at both edges of the face [mm]"""


class DepthAlong(NamedTuple):
    """The penetration along a knurl.

    Attributes:
        median_mm: Half of the knurl is deeper, half is not; the deepest of each period of the
            pattern counts, as for a gauge that is longer than it [mm]
        least_mm: The least [mm]
        most_mm: The greatest [mm]
        left_mm: Left edge of the rolls where they leave the median [mm]
        share: ... and how far along the face from its left edge that place lies [-]
        off_mm: How much deeper the median is than that place [mm]
    """

    median_mm: float
    least_mm: float
    most_mm: float
    left_mm: float
    share: float
    off_mm: float = 0.0


def depth_along(work: HeldWork, way: Sequence[Knot], period_mm: float = 0.0) -> DepthAlong:
    """Return the penetration along a knurl that deflection leaves.

    Args:
        work: The work as it is held, and how hard it is pressed.
        way: Places through which the slide goes in its deepest pass, straight between them; one
            place of a plunge.
        period_mm: Length along the axis after which the pattern repeats [mm]
    """
    edges = _edges(work, way)
    low, far = min(way).left_mm, max(way).left_mm
    if far - low < STILL_MM:
        return _of_plunge(edges(low), low, period_mm / max(work.face_on_work_mm(low), period_mm))
    stretches = _solved(work, edges, low, far)
    end = min(0.0, far + work.face_mm)
    step = (end - low) / LOOKS
    places = [_deepest(work.face_mm, stretches, low + step * (i + 0.5)) for i in range(LOOKS)]
    ends = [_deepest(work.face_mm, stretches, z)[0] for z in (low, end)]
    depths = [place[0] for place in places]
    padded = [ends[0], *depths, ends[1]]
    # The deepest within half a period to either side.
    half = min(1.0, period_mm / step / 2.0)
    gauged = [
        here + half * max(before - here, after - here, 0.0)
        for before, here, after in zip(padded, depths, padded[2:], strict=False)
    ]
    order = sorted(range(LOOKS), key=gauged.__getitem__)
    below, above = order[LOOKS // 2 - 1], order[LOOKS // 2]
    median = (gauged[below] + gauged[above]) / 2.0
    depth, left, share = places[above]
    return DepthAlong(median, min(*depths, *ends), max(*depths, *ends), left, share, median - depth)


def _of_plunge(edges: tuple[float, float], left: float, period: float) -> DepthAlong:
    """Return the penetration under a face that stands, its period over its length given."""
    at_left, at_right = edges
    middle, lean = (at_left + at_right) / 2.0, abs(at_right - at_left)
    off = lean * min(period, 1.0) / 2.0
    return DepthAlong(middle + off, min(edges), max(edges), left, 0.5, off)


def depth_at(work: HeldWork, way: Sequence[Knot], found: DepthAlong) -> float:
    """Return the median penetration under other loads, or on another blank [mm].

    Args:
        work: The work as it is held, and how hard it is pressed.
        way: As of :func:`depth_along`.
        found: What that found: a place that is deeper than half of the knurl stays so.
    """
    left, right = _edges(work, way)(found.left_mm)
    return left + found.share * (right - left) + found.off_mm


def _edges(work: HeldWork, way: Sequence[Knot]) -> _Edges:
    across = across_along(way)
    return lambda left: work.edges_mm(across(left), left)


def across_along(way: Sequence[Knot]) -> Callable[[float], float]:
    """Return the function from the rolls' left edge to where their centres stand across [mm].

    Args:
        way: As of :func:`depth_along`.
    """
    first = way[0].across_mm
    if all(knot.across_mm == first for knot in way):
        return lambda _: first
    knots = sorted(way)
    lefts = [knot.left_mm for knot in knots]

    def across(left: float) -> float:
        place = min(max(bisect_right(lefts, left), 1), len(knots) - 1)
        (z0, x0), (z1, x1) = knots[place - 1], knots[place]
        return x0 + (x1 - x0) * (left - z0) / (z1 - z0) if z1 > z0 else x0

    return across


def _solved(work: HeldWork, edges: _Edges, low: float, far: float) -> list[_Solved]:
    """Return the penetration at places of the rolls' way, stretch by stretch."""
    many = STEPPED_PLACES if len(work.beam.pieces) > 1 else STRETCH_PLACES
    corner = -work.face_mm
    if not low + STILL_MM < corner < far - STILL_MM:
        return [[(at, *edges(at)) for at in _evenly(low, far, many)]]
    # From the corner on the face hangs over the end: the force falls, and the curve has a kink.
    whole = [(at, *edges(at)) for at in _evenly(low, corner, many)]
    over = [(at, *edges(at)) for at in _evenly(corner, far, OVERHANG_PLACES)[1:]]
    return [whole, [whole[-1], *over]]


def _evenly(low: float, high: float, many: int) -> list[float]:
    return [low + (high - low) * i / (many - 1) for i in range(many)]


def _deepest(face: float, stretches: list[_Solved], z: float) -> tuple[float, float, float]:
    """Return the deepest print at a place [mm], from where of the rolls and where on the face."""
    # Work is softest somewhere in its middle, so a place is pressed deepest while the rolls stand
    # as far to one side of it as they go, or where the face begins to hang over the end.
    whole, over = stretches[0], stretches[-1]
    best = (-math.inf, 0.0, 0.0)
    for left in (max(z - face, whole[0][0]), min(z, over[-1][0]), -face):
        if left == -face and (whole is over or z < -face):
            continue
        at_left, at_right = _between(whole if left <= whole[-1][0] else over, left)
        on_work = min(face, -left)
        share = min((z - left) / on_work, 1.0) if on_work > 0.0 else 0.0
        depth = at_left + share * (at_right - at_left)
        if depth > best[0]:
            best = depth, left, share
    return best


def _between(solved: _Solved, left: float) -> tuple[float, float]:
    """Return the penetration at both edges of the face, on the parabola through three places."""
    step = solved[1][0] - solved[0][0]
    middle = min(max(round((left - solved[0][0]) / step), 1), len(solved) - 2)
    a, b, c = solved[middle - 1 : middle + 2]
    u = (left - b[0]) / step
    before, after = u * (u - 1.0) / 2.0, u * (u + 1.0) / 2.0
    here = 1.0 - u * u
    return (
        before * a[1] + here * b[1] + after * c[1],
        before * a[2] + here * b[2] + after * c[2],
    )
