"""What the rolls press in: how deep each track is printed where.

Turns of one track lie in each other, so that the deepest counts; they are merged here, before any
map is made.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from knurlcam.data.knurls import forms
from knurlcam.imprint.rolling import Course, refused
from knurlcam.imprint.surface import Floats, Heights
from knurlcam.mechanics.knurl import KnurlGeometry
from knurlcam.mechanics.tooth import full_tooth_height

__all__ = [
    "BLOCK_CELLS",
    "FEWEST_SECTORS",
    "Grooves",
    "Pattern",
    "Prints",
    "Stage",
    "pattern_of",
    "prints_of",
]


SECTORS = 48
"""Parts of a turn in which the slide counts as standing still [-]: at 0.5 mm/rev it moves
0.01 mm in one."""

FEWEST_SECTORS = 4
"""The same where rolls that never track cut very many tracks, at least [-]"""

MOST_DEPTHS = 1e7
"""Depths of all tracks, rows and parts of a turn that are kept, at most [-]"""

STAYS_OPEN = 0.5
"""Depth of the print of rolls that left the work, over that of rolls that come back, from which
the print stays open [-]: metal closes on it from its sides, in folds, and does not lift its
bottom, as it does that of a shallow one."""

NARROWEST_MM = 1e-3
"""Width of a face on the work below which it prints nothing that is seen [mm]"""

BLOCK_CELLS = 200_000
"""Cells that are worked on together [-]: they stay in the processor's cache."""

MOST_BLOCK_CELLS = 10 * BLOCK_CELLS
"""The same where the rolls move on between the turns of a block, at most [-]"""


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
    # A diamond is printed by a left-hand and a right-hand roll, or by one with both families.
    if form.hand == "both":
        grooves: tuple[Grooves, ...] = (Grooves(lean), Grooves(-lean))
    # A square knurl: grooves along the axis, and others round the work.
    elif form.family != "straight":
        grooves = (Grooves(0.0), Grooves(0.0, knurl.pitch_mm))
    else:
        grooves = (Grooves({"left": -lean, "right": lean}.get(form.hand, 0.0)),)
    # The profile as rolled to the full: flats of a roll are not modelled.
    height = full_tooth_height(knurl.pitch_mm, knurl.profile_deg)
    return Pattern(grooves, form.family == "indented", 2.0 * height)


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
    """

    course: Course
    stages: tuple[Stage, ...]
    zs_mm: Floats


def prints_of(course: Course, zs_mm: Floats, face_mm: float, sectors: int = SECTORS) -> Prints:
    """Return how deep each track is printed along the work.

    Args:
        course: The turns of the rolls.
        zs_mm: Z of the rows, rising; shape (rows,) [mm]
        face_mm: Face width of the rolls [mm]
        sectors: Parts of a turn in which the slide counts as standing still [-]
    """
    # Depths are kept for parts of a turn: a feed ends at one place round the work.
    sectors = _sectors(len(course.tracks), len(zs_mm), sectors)
    pressed = _Pressed.of(course, face_mm, sectors)
    stages: list[Stage] = []
    first = 0
    for last in _stage_ends(course):
        here = np.array([turn.track for turn in course.turns[first:last]])
        tracks = tuple(int(t) for t in np.unique(here))
        # Minus infinity where nothing was printed: any print is deeper, and no mask is needed.
        depth = np.full((len(tracks), len(zs_mm), sectors), -np.inf, dtype=np.float32)
        for track, deep in zip(tracks, depth, strict=True):
            pressed.into(deep, first + np.flatnonzero(here == track), zs_mm)
        stages.append(Stage(tracks, depth))
        first = last
    return Prints(course, tuple(stages), zs_mm)


def _sectors(tracks: int, rows: int, wanted: int) -> int:
    """Return in how many parts of a turn depths can be kept.

    Raises:
        CannotBeDoneError: if there are too many tracks to keep any.
    """
    fit = int(MOST_DEPTHS // (tracks * rows))
    if fit < FEWEST_SECTORS:
        raise refused(
            "too-many-tracks",
            f"the rolls never track and cut {tracks:,} prints beside each other: too many to "
            "calculate; press deeper in the first turn, or turn a blank on which a whole number "
            "of teeth fits",
        )
    return min(wanted, fit)


def _stage_ends(course: Course) -> Iterator[int]:
    """Yield where runs of turns end whose tracks no other run prints in."""
    # A stage ends where no later turn comes back to one of its tracks: metal that rises later
    # lifts all of it.
    turns = course.turns
    last = {turn.track: place for place, turn in enumerate(turns)}
    last.update(_stays_that_stay_open(course))
    until = 0
    for place, turn in enumerate(turns):
        until = max(until, last[turn.track])
        if place == until:
            yield place + 1


def _stays_that_stay_open(course: Course) -> Iterator[tuple[int, int]]:
    """Yield the last track of stays whose print stays open in the next one, and its last turn."""
    # Of the turns each stay ends with: track and place.
    ends = {turn.stay: (turn.track, place) for place, turn in enumerate(course.turns)}
    for (stay, (track, _)), (after, (_, place)) in pairwise(ends.items()):
        if course.stays[stay].depth_mm >= STAYS_OPEN * course.stays[after].depth_mm:
            yield track, place


def _span(
    lows: NDArray[np.intp], highs: NDArray[np.intp], first: int, some: int
) -> tuple[int, int]:
    """Return the rows that some turns lie in together."""
    return int(lows[first : first + some].min()), int(highs[first : first + some].max())


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
            # The face may hang over the end: the depth at its right edge is that at the end face.
            on_work = np.clip(-left, NARROWEST_MM, face_mm)
            lefts.append(left)
            deep.append(np.where(at > stay.turns[-1], -np.inf, at_left))
            leans.append((at_right - at_left) / on_work)
        left_mm, at_left_mm, lean = (
            np.concatenate(values).astype(np.float32) for values in (lefts, deep, leans)
        )
        return cls(left_mm, at_left_mm, lean, face_mm)

    def into(self, depth: Heights, turns: NDArray[np.intp], zs: Floats) -> None:
        """Press turns into the depths of their track, where they are on the work.

        Args:
            depth: Deepest print so far; shape (rows, sectors); changed in place [mm]
            turns: Places of the turns.
            zs: Z of the rows [mm]
        """
        lows = np.searchsorted(zs, self.left_mm[turns].min(axis=1))
        highs = np.searchsorted(zs, self.left_mm[turns].max(axis=1) + self.face_mm)
        rows = zs.astype(np.float32)[:, None]
        most = max(1, BLOCK_CELLS // max(1, int((highs - lows).max()) * depth.shape[1]))
        first = 0
        while first < len(turns):
            some = most
            low, high = _span(lows, highs, first, some)
            # Turns of narrow rolls lie apart: a block of many spans rows that few of them meet.
            while some > 1 and (high - low) * some * depth.shape[1] > MOST_BLOCK_CELLS:
                some = max(1, some // 2)
                low, high = _span(lows, highs, first, some)
            here = turns[first : first + some]
            first += some
            off = rows[low:high] - self.left_mm[here, None]
            deep = self.at_left_mm[here, None] + self.lean[here, None] * off
            # Beside the face nothing is printed.
            deep[(off < 0.0) | (off > self.face_mm)] = -np.inf
            np.maximum(depth[low:high], deep.max(axis=0), out=depth[low:high])
