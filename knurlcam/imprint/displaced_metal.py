"""Where the metal between the teeth stands, so that volume is kept.

What the teeth displace rises evenly between them, old prints with it, up to the teeth; where there
is more of it than they have room for, it holds the rolls off. Found from one tooth of the pattern,
without a map.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from knurlcam.imprint.measures import doubling
from knurlcam.imprint.prints import (
    BLOCK_CELLS,
    FEWEST_SECTORS,
    Grooves,
    Pattern,
    Prints,
    pattern_of,
    prints_of,
)
from knurlcam.imprint.rolling import Course, Rolling, Track
from knurlcam.imprint.surface import Floats, Heights

__all__ = [
    "Level",
    "Profiles",
    "double_impression_of",
    "levels_of",
    "profiles_of",
]


LEVEL_STEP_MM = 0.0001
MOST_LEVELS = 200
"""Depths that differ by less, or by less than such a part of the deepest, are of one kind when
the level of the metal between the teeth is sought; the rest is made up for."""

UNIT_CELLS = 960
FEW_UNIT_CELLS = 240
"""Cells across a tooth from which the level of the metal is found; fewer where prints of several
tracks lie beside each other, for there are then many kinds of places."""

PIT_CELLS = 64
"""Cells each way of a piece of pattern whose prints of several tracks cross."""

LEVEL_ROUNDS = 40
SOLVED_MM = 1e-7
LEAST_FREE = 1e-6
"""The level is found by tangents, which never pass the root; where the teeth are
all but full next to nothing of the metal is free to rise."""

PLACES_A_FACE = 8
PROFILE_CELLS = 128
"""A double impression is the same all along a print: a few places, a few sectors of a turn and
a coarse tooth tell it."""


class Level(NamedTuple):
    """How the metal answers the prints of a stage; shape (rows, sectors), or (rows, 1).

    Attributes:
        raised_mm: How much the metal between the teeth rises [mm]
        held_mm: How far the metal holds the rolls off [mm]
    """

    raised_mm: Heights
    held_mm: Heights


def levels_of(pattern: Pattern, prints: Prints) -> list[Level]:
    """Return where the metal stands after each stage, so that volume is kept.

    What the teeth displace rises evenly between them, old prints with it, up to the teeth.
    Where there is more of it than the teeth have room for, it holds them off.

    Args:
        pattern: What the rolls print.
        prints: How deep each track is printed.
    """
    places = _places(pattern, prints)
    cells = UNIT_CELLS if len(prints.course.tracks) == 1 else FEW_UNIT_CELLS
    solved = _solve(_unit_of(pattern, prints, cells), prints, places.kinds)
    free = places.spread(solved.free)
    levels = [
        Level(places.spread(raised), places.spread(held))
        for raised, held in zip(solved.raised_mm, solved.held_mm, strict=True)
    ]
    # Places of one kind differ a little: what is deeper by so much raises that much more.
    more = places.rest_mm * (1.0 / np.maximum(free, LEAST_FREE) - 1.0)
    last = levels[-1].raised_mm
    rises = np.isfinite(last) & (last > 0.0)
    return [*levels[:-1], levels[-1]._replace(raised_mm=last + np.where(rises, more, 0.0))]


class Profiles(NamedTuple):
    """Heights across the teeth, without a map.

    Attributes:
        height_mm: Height over one pitch of each kind of place: round the work, and where a
            second family has tracks of its own, across that too; shape (kinds, cells) each [mm]
        printed: Whether anything was printed in each kind of place.
        kind: Which kind each place is; shape (rows, sectors), or (rows, 1) where all sectors
            are alike.
    """

    height_mm: tuple[Floats, ...]
    printed: NDArray[np.bool_]
    kind: NDArray[np.intp]


def profiles_of(pattern: Pattern, prints: Prints, cells: int = UNIT_CELLS) -> Profiles:
    """Return the height over one pitch of each kind of place: along ridges, or through pits.

    Args:
        pattern: What the rolls print.
        prints: How deep each track is printed.
        cells: Cells to a pitch [-]
    """
    unit, places = _unit_of(pattern, prints, cells), _places(pattern, prints)
    heights = _solve(unit, prints, places.kinds, keep=True).height_mm
    tracks = sum(len(stage.tracks) for stage in prints.stages)
    printed = np.asarray(np.isfinite(places.kinds[:, :tracks]).any(axis=1))
    return Profiles(unit.across(heights), printed, places.kind.reshape(places.rest_mm.shape))


class _Places(NamedTuple):
    """The different kinds of places on the work, and where each is.

    Attributes:
        kinds: For each kind the depths of all tracks, then how they lie in each family of
            grooves; shape (kinds, tracks x (1 + families)) [mm, teeth]
        kind: The kind of each row and sector, one after the other.
        rest_mm: How much deeper each is printed than its kind; shape (rows, sectors), or
            (rows, 1) where all sectors are alike [mm]
    """

    kinds: Floats
    kind: NDArray[np.intp]
    rest_mm: Heights

    def spread(self, values: Floats) -> Heights:
        """Return for each place what stands for each kind; shape as of ``rest_mm``."""
        return values[self.kind].reshape(self.rest_mm.shape).astype(np.float32)


def _places(pattern: Pattern, prints: Prints) -> _Places:
    """Return the kinds of places: how deep which tracks are printed, and how they lie."""
    depths = np.concatenate([stage.depth_mm for stage in prints.stages])
    tracks = [prints.course.tracks[t] for stage in prints.stages for t in stage.tracks]
    if _alike(depths) and len({track.teeth for track in tracks}) == 1:
        depths = depths[:, :, :1]
    count, _, sectors = depths.shape
    printed = np.isfinite(depths)
    middle = (np.arange(sectors) + 0.5) / sectors
    phases = [_phases_of(grooves, tracks, middle) for grooves in pattern.grooves]
    # Where a track is not printed, its phase says nothing.
    beside = [np.where(printed, phase[:, None, :], 0.0) for phase in phases]
    step = max(LEVEL_STEP_MM, float(np.max(depths, where=printed, initial=0.0)) / MOST_LEVELS)
    rounded = np.round(depths / step) * step
    with np.errstate(invalid="ignore"):
        rest = np.max(depths - rounded, axis=0, where=printed, initial=-step)
    columns = np.concatenate([rounded, *beside]).reshape((1 + len(beside)) * count, -1).T
    kinds, kind = np.unique(columns, axis=0, return_inverse=True)
    return _Places(kinds, kind.reshape(-1), np.where(printed.any(axis=0), rest, 0.0))


def _phases_of(grooves: Grooves, tracks: Sequence[Track], middle: Floats) -> Floats:
    """Return how far the teeth of each track lie beside those of the last; (tracks, sectors)."""
    if grooves.ring_mm:
        lie = np.array([[-track.z_mm / grooves.ring_mm] * len(middle) for track in tracks])
    else:
        lie = np.array([t.phase - grooves.lean * t.z_mm + t.teeth * middle for t in tracks])
    return np.asarray(np.round((lie - lie[-1]) % 1.0, 6))


def _alike(depths: Heights) -> bool:
    """Whether the rolls press as deep all round the work."""
    return bool((depths == depths[:, :, :1]).all())


class _Solved(NamedTuple):
    """How the metal answers on each kind of place.

    Attributes:
        raised_mm: How much it rises, stage by stage; shape (kinds,) each [mm]
        held_mm: How far it holds the rolls off [mm]
        free: Share of the work that no tooth touches in the end; shape (kinds,) [-]
        height_mm: Heights of a piece of pattern in the end; shape (kinds, cells), or (0, 0)
            where they are not kept [mm]
    """

    raised_mm: list[Floats]
    held_mm: list[Floats]
    free: Floats
    height_mm: Floats


@dataclass(frozen=True, slots=True)
class _Unit:
    """A piece of pattern, from which the level of the metal is found.

    Where two families of the same teeth cross, what stands is the lower of two heights across
    a tooth, or of pits the higher, each anywhere in its pitch: means over all of the pattern
    follow from one tooth, its heights sorted and weighed.

    Attributes:
        tips_mm: From the phases of a track in each family to its teeth, tips at 0.
        weights: Of heights in rising order; shape (cells,) [-]
        kind: How families cross; spread out where their tracks do not go together.
        pattern: What it is a piece of.
    """

    tips_mm: Callable[[Sequence[Floats]], Floats]
    weights: Floats
    kind: Literal["alone", "lower", "higher", "spread out"]
    pattern: Pattern

    def means(self, values: Floats) -> Floats:
        """Return the mean over the pattern of heights across a tooth; shape (kinds,)."""
        if self.kind == "alone" or self.kind == "spread out":
            return np.asarray(values.mean(axis=1))
        return np.asarray(np.sort(values, axis=1) @ self.weights)

    def share(self, values: Floats, holds: NDArray[np.bool_]) -> Floats:
        """Return the share of the pattern whose height is one for which something holds."""
        if self.kind == "alone" or self.kind == "spread out":
            return np.asarray(holds.mean(axis=1))
        order = np.argsort(values, axis=1)
        return np.asarray(np.take_along_axis(holds, order, axis=1) @ self.weights)

    def across(self, heights: Floats) -> tuple[Floats, ...]:
        """Return heights across teeth: the mean along ridges, or cut through pits."""
        count = heights.shape[1]
        if self.kind in ("alone", "higher"):
            # Pits are deepest where those of the other family are: there it is the tooth itself.
            return (heights,)
        if self.kind == "spread out":
            return self._across_both(heights)
        order = np.argsort(heights, axis=1)
        rising = np.take_along_axis(heights, order, axis=1)
        below, rank = np.cumsum(rising, axis=1), np.arange(1, count + 1)
        mean = (below + rising * (count - rank)) / count
        along = np.empty_like(heights)
        np.put_along_axis(along, order, mean, axis=1)
        return (along,)

    def _across_both(self, heights: Floats) -> tuple[Floats, ...]:
        side = math.isqrt(heights.shape[1])
        both = heights.reshape(-1, side, side)
        rings = any(g.ring_mm for g in self.pattern.grooves)
        if not self.pattern.pits:
            return both.mean(axis=2), both.mean(axis=1)
        if rings:
            return both[:, :, 0], both[:, 0, :]
        each = np.arange(side)
        # Round the work both families go on alike.
        return (both[:, each, each],)


def _unit_of(pattern: Pattern, prints: Prints, cells: int) -> _Unit:
    """Return the piece of pattern of which the prints are made."""
    tracks = [prints.course.tracks[t] for stage in prints.stages for t in stage.tracks]
    crossing = len(pattern.grooves) > 1
    rings = any(g.ring_mm for g in pattern.grooves)
    moves = len({track.z_mm for track in tracks}) > 1
    # Tracks lie beside each other round the work: pits then cross no others', rings have but
    # one track, and a pattern that was dragged along lies anyhow.
    spread_out = crossing and len(tracks) > 1 and (pattern.pits or rings or moves)
    count = PIT_CELLS if spread_out else cells
    at = (np.arange(count) + 0.5) / count
    both = np.maximum if pattern.pits else np.minimum

    def tips(phases: Sequence[Floats]) -> Floats:
        families = [
            np.abs((at + phase[:, None] + 0.5) % 1.0 - 0.5) * pattern.slope for phase in phases
        ]
        if not spread_out:
            return np.asarray(families[0])
        spread = both(families[0][:, :, None], families[1][:, None, :])
        return np.asarray(spread.reshape(len(spread), -1))

    rising = (2.0 * np.arange(count) + 1.0) / count**2
    if spread_out:
        return _Unit(tips, rising, "spread out", pattern)
    if not crossing:
        return _Unit(tips, rising, "alone", pattern)
    if pattern.pits:
        return _Unit(tips, rising, "higher", pattern)
    return _Unit(tips, rising[::-1].copy(), "lower", pattern)


def _solve(unit: _Unit, prints: Prints, kinds: Floats, *, keep: bool = False) -> _Solved:
    """Return how the metal answers on each kind of place, some of them at a time."""
    families = len(unit.pattern.grooves)
    size = unit.tips_mm([np.zeros(1)] * families).shape[1]
    some = max(1, BLOCK_CELLS // size)
    parts = [
        _solve_some(unit, prints, kinds[first : first + some])
        for first in range(0, len(kinds), some)
    ]
    stages = range(len(prints.stages))
    return _Solved(
        [np.concatenate([part.raised_mm[i] for part in parts]) for i in stages],
        [np.concatenate([part.held_mm[i] for part in parts]) for i in stages],
        np.concatenate([part.free for part in parts]),
        np.concatenate([part.height_mm for part in parts]) if keep else np.zeros((0, 0)),
    )


def _solve_some(unit: _Unit, prints: Prints, kinds: Floats) -> _Solved:
    families = len(unit.pattern.grooves)
    count = kinds.shape[1] // (1 + families)
    height: Floats = np.zeros((1, 1))
    free: Floats = np.ones(len(kinds))
    all_raised, all_held, place = [], [], 0
    for stage in prints.stages:
        teeth: Floats = np.full((1, 1), np.inf)
        for at in range(place, place + len(stage.tracks)):
            lie = [kinds[:, count * (1 + family) + at] for family in range(families)]
            teeth = np.minimum(teeth, unit.tips_mm(lie) - kinds[:, at, None])
        place += len(stage.tracks)
        height = np.broadcast_to(height, teeth.shape)
        raised, held = _keep_volume(unit, height, teeth)
        under = height + raised[:, None]
        height = np.minimum(under, teeth)
        free = unit.share(height, under < teeth)
        height = height + held[:, None]
        all_raised.append(raised)
        all_held.append(held)
    return _Solved(all_raised, all_held, free, height)


def _keep_volume(unit: _Unit, height: Floats, teeth: Floats) -> tuple[Floats, Floats]:
    """Return how much the metal rises under the teeth, and holds them off, on each kind."""
    mean = unit.means(height)
    room = unit.means(teeth) - mean
    full = room <= 0.0
    raised = np.zeros(len(teeth))
    for _ in range(LEVEL_ROUNDS):
        under = height + raised[:, None]
        made = np.minimum(under, teeth)
        short = mean - unit.means(made)
        if not np.any(short[~full] > SOLVED_MM):
            break
        free = np.maximum(unit.share(made, under < teeth), LEAST_FREE)
        raised += np.where(full, 0.0, np.maximum(short, 0.0) / free)
    # More than the teeth leave room for: all of them fill.
    raised[full] = np.inf
    return raised, np.where(full, -room, 0.0)


def double_impression_of(rolling: Rolling, course: Course) -> float:
    """Return the double impression that rolls leave, where it is worst along the work.

    It is told from one tooth of the prints, without a map.

    Args:
        rolling: The rolls and the blank.
        course: Their turns on it.

    Returns:
        0 clean to 1 fully doubled [-]
    """
    face = rolling.plan.job.tool.face_width
    low = min(float(stay.left_mm.min()) for stay in course.stays)
    high = min(max(float(stay.left_mm.max()) for stay in course.stays) + face, 0.0)
    rows = max(PLACES_A_FACE, math.ceil((high - low) / face * PLACES_A_FACE))
    zs = low + (high - low) * (np.arange(rows) + 0.5) / rows
    prints = prints_of(course, zs, face, FEWEST_SECTORS)
    found = profiles_of(pattern_of(rolling.plan.knurl), prints, PROFILE_CELLS)
    each = np.zeros(len(found.printed))
    for kind in np.flatnonzero(found.printed):
        each[kind] = max(doubling(heights[kind]) for heights in found.height_mm)
    return min(1.0, float(each[found.kind].mean(axis=1).max()))
