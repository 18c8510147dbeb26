"""Where the metal between the teeth stands after the rolls have displaced it.

What the teeth displace rises evenly between them, old prints with it, up to the teeth; where there
is more of it than they have room for, it lifts the rolls off. Found from one piece of the
pattern, without a map.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from knurlcam.imprint.asked import NOTHING_LEFT_MM
from knurlcam.imprint.doubling import doublings
from knurlcam.imprint.pattern_piece import LEAST_FREE, piece_of, solved_for
from knurlcam.imprint.prints import FEWEST_SECTORS, Grooves, Pattern, Prints, pattern_of, prints_of
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
"""Difference below which depths are of one kind when the level of the metal between the teeth
is sought [mm]; what they differ by is made up for, to first order."""

MOST_LEVELS = 200
"""Parts of the deepest print below which depths are of one kind too [-]"""

UNIT_CELLS = 960
"""Cells across a tooth from which the level of the metal is found [-]"""

FEW_UNIT_CELLS = 240
"""The same where prints of several tracks lie beside each other [-], for there are then many
kinds of places."""

PLACES_A_FACE = 8
"""Places along a face width in which a double impression is looked for [-]: it is the same all
along a print."""

PROFILE_CELLS = 128
"""Cells across a tooth from which it is calculated [-]"""


class Level(NamedTuple):
    """How the metal answers the prints of a stage; shape (rows, sectors), or (rows, 1).

    Attributes:
        raised_mm: How much the metal between the teeth rises [mm]
        held_mm: Roll lift-off: how far the metal lifts the rolls off [mm]
    """

    raised_mm: Heights
    held_mm: Heights


def levels_of(pattern: Pattern, prints: Prints) -> list[Level]:
    """Return where the metal stands after each stage, so that volume is kept.

    What the teeth displace rises evenly between them, old prints with it, up to the teeth.
    Where there is more of it than the teeth have room for, it lifts them off.

    Args:
        pattern: What the rolls print.
        prints: How deep each track is printed.
    """
    places = _places(pattern, prints)
    # A single track has few kinds of places, and can afford a fine tooth.
    cells = UNIT_CELLS if len(prints.course.tracks) == 1 else FEW_UNIT_CELLS
    solved = solved_for(piece_of(pattern, prints, cells), prints, places.kinds)
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
    piece, places = piece_of(pattern, prints, cells), _places(pattern, prints)
    heights = solved_for(piece, prints, places.kinds, keep=True).height_mm
    tracks = sum(len(stage.tracks) for stage in prints.stages)
    printed = np.asarray(np.isfinite(places.kinds[:, :tracks]).any(axis=1))
    return Profiles(piece.across(heights), printed, places.kind.reshape(places.rest_mm.shape))


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
    # All round alike: one part of a turn stands for all, and there are 48 times fewer places.
    if _alike(depths) and len({track.teeth for track in tracks}) == 1:
        depths = depths[:, :, :1]
    count, _, sectors = depths.shape
    printed = np.isfinite(depths)
    middle = (np.arange(sectors) + 0.5) / sectors
    phases = [_phases_of(grooves, tracks, middle) for grooves in pattern.grooves]
    # Where a track is not printed, its phase says nothing.
    beside = [np.where(printed, phase[:, None, :], 0.0) for phase in phases]
    step = max(LEVEL_STEP_MM, float(np.max(depths, where=printed, initial=0.0)) / MOST_LEVELS)
    # Depths are rounded to few kinds, each solved once: a bent shaft has another at each row.
    rounded = np.round(depths / step) * step
    with np.errstate(invalid="ignore"):
        rest = np.max(depths - rounded, axis=0, where=printed, initial=-step)
    columns = np.concatenate([rounded, *beside]).reshape((1 + len(beside)) * count, -1).T
    # Most places of a knurl are of a handful of kinds.
    kinds, kind = np.unique(columns, axis=0, return_inverse=True)
    return _Places(kinds, kind.reshape(-1), np.where(printed.any(axis=0), rest, 0.0))


def _phases_of(grooves: Grooves, tracks: Sequence[Track], middle: Floats) -> Floats:
    """Return how far the teeth of each track lie beside those of the last; (tracks, sectors)."""
    if grooves.ring_mm:
        lie = np.array([[-track.z_mm / grooves.ring_mm] * len(middle) for track in tracks])
    else:
        lie = np.array([t.phase - grooves.lean * t.z_mm + t.teeth * middle for t in tracks])
    # Only how tracks lie to each other matters, not where the pattern begins.
    return np.asarray(np.round((lie - lie[-1]) % 1.0, 6))


def _alike(depths: Heights) -> bool:
    """Whether the rolls press as deep all round the work."""
    return bool((depths == depths[:, :, :1]).all())


def double_impression_of(rolling: Rolling, course: Course) -> float:
    """Return the double impression that rolls leave, where it is worst along the work.

    It is calculated from one tooth of the prints, without a map.

    Args:
        rolling: The rolls and the blank.
        course: Their turns on it.

    Returns:
        0 clean to 1 fully doubled [-]
    """
    # One track has but one groove in each pitch, however deep.
    if len(course.tracks) == 1 and course.stays[0].depth_mm > NOTHING_LEFT_MM:
        return 0.0
    face = rolling.plan.job.tool.face_width
    prints = prints_of(course, _places_along(course, face), face, FEWEST_SECTORS)
    found = profiles_of(pattern_of(rolling.plan.knurl), prints, PROFILE_CELLS)
    # Places where nothing was printed count as clean.
    each = np.zeros(len(found.printed))
    for heights in found.height_mm:
        each = np.maximum(each, np.where(found.printed, doublings(heights), 0.0))
    return min(1.0, float(each[found.kind].mean(axis=1).max()))


def _places_along(course: Course, face_mm: float) -> Floats:
    """Return Z of the places in which a double impression is looked for, rising [mm]."""
    # Between the ends of each stay: where two overlap by little is a place too.
    lows = [float(stay.left_mm.min()) for stay in course.stays]
    highs = [min(float(stay.left_mm.max()) + face_mm, 0.0) for stay in course.stays]
    parts = list(pairwise(sorted({*lows, *highs})))
    least = PLACES_A_FACE if len(parts) == 1 else 1
    # In the middle of each piece: at the very ends only one edge of the face prints.
    return np.concatenate([_middles(*part, face_mm / PLACES_A_FACE, least) for part in parts])


def _middles(low: float, high: float, step: float, least: int) -> Floats:
    """Return the middles of so many or more pieces of a length, none longer than a step."""
    count = max(least, math.ceil((high - low) / step))
    return low + (high - low) * (np.arange(count) + 0.5) / count
