"""What the rolls leave on the work: the height map of the knurl, from a program's motion.

Each turn of the rolls presses their teeth in along a track, as deep as the slide stands and
the work lets it (:mod:`knurlcam.rolling`). Prints of one track lie in each other, so that the
deepest counts; what is pressed out raises the metal between, so that volume is kept. Where
the metal fills the teeth of the rolls it holds them off.

All of it is an estimate: plain teeth, pressed in straight, metal that flows evenly.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.lib.stride_tricks import as_strided
from numpy.typing import NDArray

from knurlcam.errors import CannotBeDoneError, InputError, Refusal
from knurlcam.measures import Asked, Measures, measure
from knurlcam.plan import KnurlGeometry, Plan
from knurlcam.quantities import Kind, show, show_down
from knurlcam.reader import Motion
from knurlcam.rolling import (
    CAPTURE,
    WORST_RETURN,
    Course,
    Rolling,
    Track,
    Turn,
    roll_on,
    stays_on_work,
)
from knurlcam.surface import Heights, Surface
from knurlcam.tables import forms
from knurlcam.timeline import time_line
from knurlcam.tooth import full_tooth_height

__all__ = [
    "Grid",
    "Imprint",
    "Level",
    "Pattern",
    "Prints",
    "Profiles",
    "asked_of",
    "grid_of",
    "levels_of",
    "make_imprint",
    "pattern_of",
    "prints_of",
    "profiles_of",
    "raise_surface",
    "settle",
    "settled_surface",
    "surplus_of",
]

Floats = NDArray[np.floating[Any]]

CELLS_A_PITCH = 50.0
"""Of a map whose resolution is not given: a crest is then seen to about a hundredth of the
pitch; ..."""

FEW_CELLS_A_PITCH = 12.0
MOST_CELLS = 8e6
"""... but if the map would have more cells than so, as few as that."""

FEWEST_CELLS_A_PITCH = 8.0
"""A coarser map does not show two prints in one pitch."""

SECTORS = 48
"""Parts of a turn in which the slide counts as standing still: at 0.5 mm/rev it moves 0.01 mm."""

FEWEST_SECTORS = 4
MOST_DEPTHS = 1e7
"""There are fewer parts of a turn where rolls that fall into no track cut very many: more than
so many depths, of all tracks, rows and parts of a turn, are not kept."""

NARROWEST_MM = 1e-3
"""A face that is on the work by less prints nothing that is seen."""

FLAT_MARGIN = 1.5
"""Plain work that a map shows beyond the knurl [pitches]"""

BLOCK_CELLS = 200_000
"""Cells that are worked on at once: they stay in the processor's cache."""

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
"""The level is found by Newton's way, whose tangents never pass the root; where the teeth are
all but full next to nothing of the metal is free to rise."""

EVEN = 4e-3
"""Share of the metal pressed in by which volume may be off before the pattern is taken to begin
elsewhere along the work."""

PHASES_TRIED = 8
"""Beginnings that are tried, before halving between two that are off either way."""

MAPS_AT_ONCE = 4
"""A map takes up to so many times its own size while it is made and measured."""

MEMORY_SHARE = 0.5
"""Of the machine's memory that a map may take while it is made."""

MEMORY_UNKNOWN = 4 * 2**30
"""Memory of a machine that does not tell [byte]"""

Lines = Literal["along", "rings"]


class Grooves(NamedTuple):
    """One family of parallel teeth.

    Attributes:
        lean: Transverse shift for a millimetre along the axis, in pitches; positive for
            right-hand grooves [1/mm]
        ring_mm: Pitch along the axis of grooves that run round the work; 0 for all others
    """

    lean: float
    ring_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Pattern:
    """What a roll, or a pair of them, prints.

    Attributes:
        grooves: Families of teeth that print.
        pits: Whether a roll's points print, where its families cross; else its ridges do.
        slope: Height of a tooth over a pitch: twice the full height [mm]
    """

    grooves: tuple[Grooves, ...]
    pits: bool
    slope: float


def pattern_of(knurl: KnurlGeometry) -> Pattern:
    """Return the pattern of a knurl.

    Args:
        knurl: Its geometry.
    """
    form = forms()[knurl.form]
    lean = math.tan(math.radians(knurl.helix_deg)) / knurl.transverse_pitch_mm
    if form.hand == "both":
        grooves: tuple[Grooves, ...] = (Grooves(lean), Grooves(-lean))
    elif form.family != "straight":
        grooves = (Grooves(0.0), Grooves(0.0, knurl.pitch_mm))
    else:
        grooves = (Grooves({"left": -lean, "right": lean}.get(form.hand, 0.0)),)
    height = full_tooth_height(knurl.pitch_mm, knurl.profile_deg)
    return Pattern(grooves, form.family == "indented", 2.0 * height)


# -- prints: how deep each track goes, where -----------------------------------


class Stage(NamedTuple):
    """Turns that print in the same tracks.

    Attributes:
        tracks: Places of these tracks.
        depth_mm: For each track, row and sector: how deep it is printed, minus infinity where
            it is not. Shape (tracks, rows, sectors) [mm]
    """

    tracks: tuple[int, ...]
    depth_mm: Heights


@dataclass(frozen=True, slots=True)
class Prints:
    """All that the rolls press in.

    Attributes:
        course: The turns that did it.
        stages: Turns in the same tracks, in order of time.
        zs_mm: Z of the rows, from Z0 [mm]
        row_turns: Rows that the rolls touched, each turn counted by itself.
    """

    course: Course
    stages: tuple[Stage, ...]
    zs_mm: Floats
    row_turns: int


def prints_of(course: Course, zs_mm: Floats, face_mm: float, sectors: int = SECTORS) -> Prints:
    """Return how deep each track is printed along the work.

    Args:
        course: The turns of the rolls.
        zs_mm: Z of the rows, rising; shape (rows,) [mm]
        face_mm: Face width of the rolls [mm]
        sectors: Parts of a turn in which the slide counts as standing still [-]
    """
    sectors = _sectors(len(course.tracks), len(zs_mm), sectors)
    pressed = _Pressed.of(course, face_mm, sectors)
    stages: list[Stage] = []
    touched, first = 0, 0
    for last in _stage_ends(course.turns):
        here = np.array([turn.track for turn in course.turns[first:last]])
        tracks = tuple(int(t) for t in np.unique(here))
        depth = np.full((len(tracks), len(zs_mm), sectors), -np.inf, dtype=np.float32)
        for track, deep in zip(tracks, depth, strict=True):
            touched += pressed.into(deep, first + np.flatnonzero(here == track), zs_mm)
        stages.append(Stage(tracks, depth))
        first = last
    return Prints(course, tuple(stages), zs_mm, touched)


def _sectors(tracks: int, rows: int, wanted: int) -> int:
    """Return in how many parts of a turn depths can be kept.

    Raises:
        CannotBeDoneError: if there are too many tracks to keep any.
    """
    fit = int(MOST_DEPTHS // (tracks * rows))
    if fit < FEWEST_SECTORS:
        raise CannotBeDoneError(
            [
                Refusal(
                    "too-many-tracks",
                    f"the rolls fall into no track and cut {tracks:,} of them: too many to follow; "
                    "press deeper in the first turn, or turn a blank that closes",
                    "program",
                )
            ]
        )
    return min(wanted, fit)


def _stage_ends(turns: Sequence[Turn]) -> Iterator[int]:
    """Yield where runs of turns end whose tracks no other run prints in."""
    last = {turn.track: place for place, turn in enumerate(turns)}
    until = 0
    for place, turn in enumerate(turns):
        until = max(until, last[turn.track])
        if place == until:
            yield place + 1


class _Pressed(NamedTuple):
    """Where the rolls stand in each sector of each turn; shape (turns, sectors) each.

    Attributes:
        left_mm: Z of their left edge [mm]
        at_left_mm: Penetration there, minus infinity after they have left the work [mm]
        lean: How much deeper they stand for each millimetre to the right [-]
        face_mm: Face width [mm]
    """

    left_mm: Heights
    at_left_mm: Heights
    lean: Heights
    face_mm: float

    @classmethod
    def of(cls, course: Course, face_mm: float, sectors: int) -> _Pressed:
        """Return where the rolls of a course stand."""
        within = (np.arange(sectors) + 0.5) / sectors
        lefts, deep, leans = [], [], []
        for place, stay in enumerate(course.stays):
            numbers = [turn.number for turn in course.turns if turn.stay == place]
            at = np.array(numbers)[:, None] + within
            left = np.interp(at, stay.turns, stay.left_mm)
            at_left = np.interp(at, stay.turns, stay.at_left_mm)
            at_right = np.interp(at, stay.turns, stay.at_right_mm)
            on_work = np.clip(-left, NARROWEST_MM, face_mm)
            lefts.append(left)
            deep.append(np.where(at > stay.turns[-1], -np.inf, at_left))
            leans.append((at_right - at_left) / on_work)
        left_mm, at_left_mm, lean = (
            np.concatenate(values).astype(np.float32) for values in (lefts, deep, leans)
        )
        return cls(left_mm, at_left_mm, lean, face_mm)

    def into(self, depth: Heights, turns: NDArray[np.intp], zs: Floats) -> int:
        """Press turns into the depths of their track, where they are on the work.

        Args:
            depth: Deepest print so far; shape (rows, sectors); changed in place [mm]
            turns: Places of the turns.
            zs: Z of the rows [mm]

        Returns:
            How many rows they touched, each turn counted by itself.
        """
        lows = np.searchsorted(zs, self.left_mm[turns].min(axis=1))
        highs = np.searchsorted(zs, self.left_mm[turns].max(axis=1) + self.face_mm)
        rows = zs.astype(np.float32)[:, None]
        some = max(1, BLOCK_CELLS // max(1, int((highs - lows).max()) * depth.shape[1]))
        for first in range(0, len(turns), some):
            here = turns[first : first + some]
            low, high = (
                int(lows[first : first + some].min()),
                int(highs[first : first + some].max()),
            )
            off = rows[low:high] - self.left_mm[here, None]
            deep = self.at_left_mm[here, None] + self.lean[here, None] * off
            deep[(off < 0.0) | (off > self.face_mm)] = -np.inf
            np.maximum(depth[low:high], deep.max(axis=0), out=depth[low:high])
        return int((highs - lows).sum())


# -- levels: where the metal between the teeth stands --------------------------


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


# -- the map -------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Grid:
    """Where the cells of a map lie.

    Attributes:
        rows: Circles along the work.
        cells: Cells round it.
        top_mm: Z of the row nearest to the tailstock, from Z0 [mm]
        dz_mm: Distance of two rows [mm]
        cell_mm: Distance of two cells round the blank [mm]
        rows_a_cell: Rows along which slanting teeth move by one cell.
        first_step: Steps of so many rows by which the row nearest to the tailstock lies within
            the pattern.
    """

    rows: int
    cells: int
    top_mm: float
    dz_mm: float
    cell_mm: float
    rows_a_cell: int
    first_step: int = 0

    @property
    def zs_mm(self) -> Floats:
        """Z of each row, rising [mm]."""
        return self.top_mm - self.dz_mm * np.arange(self.rows - 1, -1, -1)


def grid_of(
    course: Course, pattern: Pattern, rolling: Rolling, resolution_mm: float | None
) -> Grid:
    """Return a grid in which whole cells make a tooth, and slanting teeth step by whole cells.

    Roots and crests then lie on cells, and what repeats on the work repeats in the map.

    Args:
        course: The turns of the rolls.
        pattern: What they print.
        rolling: The rolls and the blank.
        resolution_mm: Largest distance of two cells; None for a good one [mm]

    Raises:
        InputError: if the map would not fit in the machine's memory.
    """
    around = math.pi * rolling.blank_diameter_mm
    pitch, face = rolling.plan.knurl.pitch_mm, rolling.plan.job.tool.face_width
    margin = FLAT_MARGIN * pitch
    low = min(float(stay.left_mm.min()) for stay in course.stays) - margin
    high = min(max(float(stay.left_mm.max()) for stay in course.stays) + face + margin, 0.0)
    fine = resolution_mm
    if fine is None:
        coarse = math.sqrt(around * (high - low) / MOST_CELLS)
        fine = max(pitch / CELLS_A_PITCH, min(coarse, pitch / FEW_CELLS_A_PITCH))
    _refuse_too_coarse(fine, rolling.plan)
    _refuse_too_fine(around * (high - low), fine, resolution_mm)
    # The grooves of a few tracks beside each other have whole cells; of very many they would
    # make the map far finer than it is to be.
    teeth = max(1, course.closing_teeth)
    if teeth * 2.0 * fine > around:
        teeth = max(1, round(course.natural_teeth))
    cells = teeth * 2 * math.ceil(around / (2.0 * teeth * fine))
    cell = around / cells
    lean = max(abs(g.lean) for g in pattern.grooves)
    if lean > 0.0:
        # So far along the work slanting teeth move round it by one cell.
        far = course.tracks[course.last_tracks[-1]].teeth / cells / lean
        rows_a_cell = math.ceil(far / fine)
        dz = far / rows_a_cell
    else:
        rows_a_cell = 1
        # Grooves that run round come again after whole rows, with roots and crests on rows.
        ring = max(g.ring_mm for g in pattern.grooves) or 2.0 * fine
        dz = ring / (2.0 * math.ceil(ring / (2.0 * fine)))
    rows = max(1, math.ceil((high - low) / dz))
    return Grid(rows, cells, high - dz / 2.0, dz, cell, rows_a_cell)


def _refuse_too_coarse(resolution: float, plan: Plan) -> None:
    """Refuse a map that does not show the teeth."""
    most = plan.knurl.pitch_mm / FEWEST_CELLS_A_PITCH
    if resolution > most * (1.0 + 1e-9):
        units = plan.job.units
        raise InputError(
            "is too coarse to see the teeth",
            key="resolution",
            value=show(resolution, Kind.LENGTH, units),
            expected=f"{show_down(most, units)} or finer, an eighth of the pitch",
            remedy="choose a finer one",
        )


def _refuse_too_fine(area: float, fine: float, asked: float | None) -> None:
    """Refuse a map that would not fit in memory."""
    needs = MAPS_AT_ONCE * np.dtype(np.float32).itemsize * area / fine**2
    has = MEMORY_SHARE * _memory_bytes()
    if needs <= has:
        return
    fits = fine * math.sqrt(needs / has)
    steps = 10.0 ** math.floor(math.log10(fits) - 1.0)
    raise InputError(
        f"would take {needs / 2**30:,.1f} GiB of memory, and {has / 2**30:,.1f} GiB may be used",
        key="resolution",
        value=show(fine if asked is None else asked, Kind.LENGTH, "mm", 6),
        expected=f"{math.ceil(fits / steps) * steps:.3g} mm or coarser",
        remedy="choose a coarser one",
    )


def _memory_bytes() -> int:
    """Return how much memory the machine has [byte]."""
    try:
        return os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")
    except (AttributeError, OSError, ValueError):
        return MEMORY_UNKNOWN


def raise_surface(grid: Grid, pattern: Pattern, prints: Prints, levels: Sequence[Level]) -> Surface:
    """Return the surface that prints and raised metal make.

    Args:
        grid: Where its cells lie.
        pattern: What the rolls print.
        prints: How deep each track is printed, in the rows of the grid.
        levels: How the metal answers each stage.
    """
    heights = np.empty((grid.rows, grid.cells), dtype=np.float32)
    waves = [
        [_waves(grid, pattern, prints.course.tracks[t]) for t in s.tracks] for s in prints.stages
    ]
    # Rows are worked on from the tailstock on: there phases are counted from.
    down = heights[::-1]
    step = grid.rows_a_cell * max(1, BLOCK_CELLS // (grid.cells * grid.rows_a_cell))
    tall = min(step, grid.rows) // grid.rows_a_cell + 1
    spare = np.empty((tall, grid.cells), dtype=np.float32)
    for first in range(0, grid.rows, step):
        block = down[first : first + step]
        block.fill(0.0)
        for stage, level, teeth in zip(prints.stages, levels, waves, strict=True):
            rows = slice(first, first + step)
            raised = level.raised_mm[::-1][rows]
            depths = [depth[::-1][rows] for depth in stage.depth_mm]
            if np.any(raised):
                np.add(block, _spread(raised, grid.cells), out=block)
            for wave, depth in zip(teeth, depths, strict=True):
                if not np.isneginf(depth).all():
                    _cut(block, wave, first, _spread(depth, grid.cells), spare)
            held = level.held_mm[::-1][rows]
            if np.any(held):
                np.add(block, _spread(held, grid.cells), out=block)
    return Surface(heights, grid.top_mm - grid.dz_mm * (grid.rows - 1), grid.dz_mm, grid.cell_mm)


def settled_surface(
    grid: Grid, pattern: Pattern, prints: Prints, levels: Sequence[Level]
) -> Surface:
    """Return the surface, its pattern so along the work that no metal is missing at the ends.

    A knurl seldom ends with a whole period of its pattern, and what is left of one may be more
    crest than root. Where along the work the pattern begins nobody knows: that depends on how
    the rolls were turned to each other. So it is taken to begin where metal comes out even.

    Args:
        grid: Where its cells lie.
        pattern: What the rolls print.
        prints: How deep each track is printed, in the rows of the grid.
        levels: How the metal answers each stage.
    """

    def made(step: int) -> tuple[float, Surface]:
        surface = raise_surface(replace(grid, first_step=step), pattern, prints, levels)
        return surplus_of(surface), surface

    off, surface = made(0)
    if len(pattern.grooves) == 1 or abs(off) < EVEN:
        return surface
    ring = max(g.ring_mm for g in pattern.grooves)
    around = grid.cells / prints.course.tracks[prints.course.last_tracks[-1]].teeth / 2.0
    period = max(2, round(ring / grid.dz_mm if ring else around))
    best = off, 0, surface
    before, low = off, 0
    for high in sorted({round(period * i / PHASES_TRIED) for i in range(1, PHASES_TRIED + 1)}):
        here, surface = made(high)
        best = min(best, (here, high, surface), key=lambda found: abs(found[0]))
        if (before < 0.0) != (here < 0.0):
            break
        before, low = here, high
    while high - low > 1 and abs(best[0]) >= EVEN:
        middle = (low + high) // 2
        here, surface = made(middle)
        best = min(best, (here, middle, surface), key=lambda found: abs(found[0]))
        low, high = (middle, high) if (here < 0.0) == (before < 0.0) else (low, middle)
    return best[2]


def surplus_of(surface: Surface) -> float:
    """Return what stands above the blank less what is missing below it, over the latter [-].

    Args:
        surface: The surface.
    """
    heights = surface.height_mm
    pressed = -float(np.minimum(heights, 0.0).sum(dtype=np.float64))
    return float(heights.sum(dtype=np.float64)) / pressed if pressed else 0.0


def settle(surface: Surface, prints: Prints) -> float:
    """Shift printed rows by what their volume is still off, all alike.

    Cells cut corners, and prints that drift past each other are levelled by parts of a turn:
    it comes to a micrometre or so.

    Args:
        surface: The surface; changed in place.
        prints: How deep each track is printed, in its rows.

    Returns:
        By how much [mm]
    """
    printed = np.zeros(surface.rows, dtype=bool)
    for stage in prints.stages:
        printed |= np.isfinite(stage.depth_mm).any(axis=(0, 2))
    heights, count = surface.height_mm, int(printed.sum())
    shift = -float(heights.sum(dtype=np.float64)) / (count * surface.cells)
    for row in np.flatnonzero(printed):
        heights[row] += np.float32(shift)
    return shift


def _spread(values: Heights, cells: int) -> Heights:
    """Return what stands in sectors for each cell, or one column where all are alike."""
    if (values == values[:, :1]).all():
        return values[:, :1]
    sector = np.arange(cells) * values.shape[1] // cells
    return values[:, sector]


class Wave(NamedTuple):
    """Teeth of one family along and round the work, tips at 0.

    Attributes:
        table: Rows of teeth: for each row within the step of one cell, the work round and as
            many cells more as the teeth lean; of teeth that run round, one cell a row [mm]
        lean: Cells by which the teeth move back for each such step.
        start: Cell of the table at which the first step starts.
    """

    table: Heights
    lean: int
    start: int

    def rows(self, first: int, count: int, within: int, cells: int) -> Heights:
        """Return so many rows from a step on, of one row within each step."""
        if self.table.shape[1] == 1:
            return self.table[within :: self.start][first : first + count]
        row = self.table[within]
        begin = row[self.start - self.lean * first :]
        size = row.itemsize
        return as_strided(begin, (count, cells), (-self.lean * size, size), writeable=False)


class _Teeth(NamedTuple):
    """All families of teeth of one track."""

    waves: tuple[Wave, ...]
    pits: bool
    grid: Grid


def _waves(grid: Grid, pattern: Pattern, track: Track) -> _Teeth:
    """Return the teeth of a track on the whole of a grid."""
    made = tuple(_wave(grid, pattern.slope, track, g) for g in pattern.grooves)
    return _Teeth(made, pattern.pits, grid)


def _wave(grid: Grid, slope: float, track: Track, grooves: Grooves) -> Wave:
    steps = grid.rows_a_cell
    if grooves.ring_mm:
        # Rings move up and down the work with the rolls; steps are of one row.
        rows = np.arange(grid.rows + grid.first_step) + round(track.z_mm / grid.dz_mm)
        return Wave(_tips(rows * (grid.dz_mm / grooves.ring_mm), slope)[:, None], 0, steps)
    lean = (grooves.lean > 0.0) - (grooves.lean < 0.0)
    more = (grid.rows // steps + 1 + grid.first_step) if lean else 0
    start = more if lean > 0 else 0
    cells = np.arange(-start, grid.cells + more - start)
    back = lean * np.arange(steps)[:, None] / steps
    # Which way two rolls are turned to each other nobody knows: so that roots and crests lie
    # on cells.
    cells_a_tooth = grid.cells / track.teeth
    from_z = -round(grooves.lean * track.z_mm * cells_a_tooth) / cells_a_tooth
    phases = track.teeth * (cells - back) / grid.cells + track.phase + from_z
    return Wave(_tips(phases, slope), lean, start)


def _tips(phases: Floats, slope: float) -> Heights:
    """Return how far teeth stand back from their tips, which are at whole phases."""
    return (np.abs(phases - np.round(phases)) * slope).astype(np.float32)


def _cut(block: Heights, teeth: _Teeth, first: int, depth: Heights, spare: Heights) -> None:
    """Cut a block down to the teeth of one track, which stand so deep."""
    cells, steps = block.shape[1], teeth.grid.rows_a_cell
    step = first // steps + teeth.grid.first_step
    for within in range(min(steps, len(block))):
        part = block[within::steps]
        count, deep = len(part), depth[within::steps]
        out = spare[:count]
        rows = [w.rows(step, count, within, cells) for w in teeth.waves]
        if teeth.pits:
            np.maximum(rows[0], rows[1], out=out)
            rows = [out]
        for wave in rows:
            np.subtract(wave, deep, out=out)
            np.minimum(part, out, out=part)


# -- all of it -----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Imprint:
    """What the rolls leave on the work.

    Attributes:
        rolling: Plan, blank, and what is taken for granted.
        course: The turns of the rolls.
        surface: The height map.
        measures: What is measured on it.
        held_off_mm: How far metal that fills the teeth of the rolls holds them off, at most [mm]
        shifted_mm: How far the map was shifted to make up for what volume was off [mm]
    """

    rolling: Rolling
    course: Course
    surface: Surface
    measures: Measures
    held_off_mm: float
    shifted_mm: float

    @property
    def blank_off_mm(self) -> float:
        """How much larger the blank is than planned, on the diameter [mm]."""
        return self.rolling.blank_diameter_mm - self.rolling.plan.blank_diameter_mm


def make_imprint(
    plan: Plan,
    motion: Motion,
    *,
    blank_diameter_mm: float | None = None,
    resolution_mm: float | None = None,
    stiff: bool = False,
    capture: float = CAPTURE,
    return_teeth: float = WORST_RETURN,
) -> Imprint:
    """Return the surface that a program's rolls leave.

    Args:
        plan: The plan of the job.
        motion: The motion read back from the program's text.
        blank_diameter_mm: What the blank was turned to; as planned unless given [mm]
        resolution_mm: Largest distance of two cells of the map; None for a good one [mm]
        stiff: Whether to take the work not to give way.
        capture: See :data:`knurlcam.rolling.CAPTURE` [half widths of a mouth]
        return_teeth: See :data:`knurlcam.rolling.WORST_RETURN` [teeth]

    Raises:
        CannotBeDoneError: if the rolls never touch the work, or nobody can tell where.
        InputError: if a map of that resolution would not fit in memory.
    """
    blank = plan.blank_diameter_mm if blank_diameter_mm is None else blank_diameter_mm
    rolling = Rolling(plan, blank, stiff, capture, return_teeth)
    course = roll_on(rolling, stays_on_work(rolling, time_line(motion, plan)))
    pattern = pattern_of(plan.knurl)
    grid = grid_of(course, pattern, rolling, resolution_mm)
    prints = prints_of(course, grid.zs_mm, plan.job.tool.face_width)
    levels = levels_of(pattern, prints)
    surface = settled_surface(grid, pattern, prints, levels)
    shifted = settle(surface, prints)
    return Imprint(
        rolling=rolling,
        course=course,
        surface=surface,
        measures=measure(surface, asked_of(plan.knurl, course)),
        held_off_mm=max(float(level.held_mm.max()) for level in levels),
        shifted_mm=shifted,
    )


def asked_of(knurl: KnurlGeometry, course: Course) -> Asked:
    """Return what the map of a knurl is measured for.

    Args:
        knurl: The knurl.
        course: The turns of the rolls.
    """
    pattern = pattern_of(knurl)
    slants = [abs(g.lean) for g in pattern.grooves if g.lean]
    rings = [g.ring_mm for g in pattern.grooves if g.ring_mm]
    # Two families that lean against each other come again twice as soon.
    period = 1.0 / sum(slants) if slants else max(rings, default=0.0)
    return Asked(
        knurl.family,
        course.natural_teeth,
        period,
        knurl.pitch_mm,
        knurl.profile_deg,
        tuple(g.lean for g in pattern.grooves if not g.ring_mm),
        max(rings, default=0.0),
    )
