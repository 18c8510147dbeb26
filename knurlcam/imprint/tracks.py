"""Turn by turn: whether the rolls fall into a track that they printed, or cut a new one.

This is the one place of the model that decides between a clean knurl and a double impression.
A turn falls into a track where the tips come down within the mouth of its print; else it cuts
a new one beside it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from knurlcam.imprint.prints import pattern_of
from knurlcam.imprint.rolling import Course, Rolling, Stay, Track, Turn, refused
from knurlcam.units.kinds import Kind
from knurlcam.units.show import show

__all__ = ["roll_on"]

SAME_PHASE = 1e-9
"""Distance below which two tracks are one [teeth]"""

SAME_PLACE_MM = 1e-6
"""Distance along the work below which rolls come down where they were [mm]"""


def roll_on(rolling: Rolling, stays: Sequence[Stay]) -> Course:
    """Follow the rolls turn by turn into the tracks that they print.

    Args:
        rolling: The rolls and the blank.
        stays: What the rolls do while they are on the work.

    Returns:
        Turns and tracks.

    Raises:
        CannotBeDoneError: if the rolls never touch the work.
    """
    blank, units = rolling.blank_diameter_mm, rolling.plan.job.units
    if not stays:
        raise refused(
            "never-touches",
            "the rolls never touch the work, or only while it stands still: there is no knurl "
            f"on a blank of {show(blank, Kind.LENGTH, units)}; check program and blank",
        )
    natural = rolling.teeth_around(stays[0])
    walk = _Walk(rolling, natural)
    for place, stay in enumerate(stays):
        walk.stay(place, stay)
    return Course(tuple(stays), tuple(walk.turns), tuple(walk.tracks), natural)


class _Met(NamedTuple):
    """A track as rolls may meet it: where it starts, how deep, and where along the work."""

    phase: float
    depth_mm: float
    low_mm: float
    high_mm: float


class _Walk:
    """Takes the rolls round the work, and keeps what they have printed so far.

    Attributes:
        turns: The turns so far.
        tracks: The tracks that they printed, in order.
        places: Place of each track by its rounded phase, teeth and Z.
        met: Where each phase was printed, and how deep: what a later turn may fall into.
        phase: Where the next turn starts [teeth]
        left: Z of the rolls' left edge after the last turn [mm]
    """

    def __init__(self, rolling: Rolling, natural: float) -> None:
        self.rolling = rolling
        self.natural = natural
        self.screws = rolling.screws
        self.face = rolling.plan.job.tool.face_width
        self.lean = max(abs(g.lean) for g in pattern_of(rolling.plan.knurl).grooves)
        self.pitch = rolling.plan.tracking.pitch_mm
        self.reach_per_mm = rolling.reach_per_mm
        self.turns: list[Turn] = []
        self.tracks: list[Track] = []
        self.places: dict[tuple[float, float, float], int] = {}
        self.met: dict[float, _Met] = {}
        self.phase = 0.0
        self.left = 0.0

    def stay(self, place: int, stay: Stay) -> None:
        """Follow the rolls from one touch until they leave the work."""
        fell_in = False
        face = self.face
        # Rolls that left the work come down where they may: nothing turned them back to a track.
        if place:
            self.phase, fell_in = self.come_back(float(stay.left_mm[0]))
        # The last turn may be a part of one: it ends where the stay does.
        ends = np.minimum(np.arange(math.ceil(stay.turns[-1]) + 1.0), stay.turns[-1])
        lefts = np.interp(ends, stay.turns, stay.left_mm).tolist()
        depths = stay.deepest_mm(ends).tolist()
        for number, (here, there) in enumerate(pairwise(lefts)):
            start = self.phase
            self.print(start, depths[number + 1], min(here, there), max(here, there) + face)
            self.phase, next_fell_in = self.fall(start + self.natural, there)
            # What it falls in by is spread over the turn: the rolls creep.
            creep = _apart(self.phase, start + self.natural)
            # Rounded, so that turns at one place share a track: each costs a cut of the map.
            z = 0.0 if self.screws else round((here + there) / 2.0, 2)
            track = self.track(Track(start, self.natural + creep, z))
            self.turns.append(Turn(place, number, track, fell_in))
            self.left = there
            fell_in = next_fell_in
            if fell_in and self.screws and self.phase == start:
                # The track closes: the rolls stay in it, for they print it on under themselves.
                rest = range(number + 1, len(lefts) - 1)
                low, high = min(lefts[number:]), max(lefts[number:]) + face
                self.print(start, max(depths[number:]), low, high)
                self.turns += [Turn(place, later, track, True) for later in rest]
                return

    def come_back(self, left: float) -> tuple[float, bool]:
        """Return the phase at which rolls come down that left the work, and whether in a track."""
        phase = self.phase + self.rolling.return_teeth
        moved = left - self.left
        if self.screws or abs(moved) < SAME_PLACE_MM:
            return self.fall(phase, left)
        # Elsewhere along the work crossing families have moved apart: beside their track by so
        # much in one, they are farther from it in the other.
        return _wrapped(phase + self.lean * moved), False

    def print(self, phase: float, depth: float, low: float, high: float) -> None:
        """Note that a track was printed from a phase on, so deep and so far."""
        before = self.met.get(phase, _Met(phase, 0.0, low, high))
        self.met[phase] = _Met(
            phase, max(before.depth_mm, depth), min(before.low_mm, low), max(before.high_mm, high)
        )

    def fall(self, phase: float, left: float) -> tuple[float, bool]:
        """Return the phase at which the next turn starts, and whether it falls into a track."""
        pitch, face = self.pitch, self.face
        best, where = 1.0, None
        for met in self.met.values():
            # A print elsewhere along the work catches nothing.
            if met.low_mm >= left + face or met.high_mm <= left:
                continue
            off = abs(_apart(met.phase, phase)) * pitch
            reach = self.reach_per_mm * met.depth_mm
            # Distances count over the reach: a deep print catches from farther off.
            share = off / reach if reach > 0.0 else math.inf
            if share <= best:
                best, where = share, met.phase
        if where is None:
            return _wrapped(phase), False
        return where, True

    def track(self, track: Track) -> int:
        """Return the place of a track, a new one where it was not there."""
        # Phases that differ by rounding are one track; else each turn would make one.
        key = (round(track.phase, 9), round(track.teeth, 9), track.z_mm)
        if key not in self.places:
            self.places[key] = len(self.tracks)
            self.tracks.append(track)
        return self.places[key]


def _wrapped(phase: float) -> float:
    """Return a phase in [0, 1), a rounding error below 1 as 0 [teeth]."""
    left = phase - math.floor(phase)
    # Else a phase of 1 - 1e-16 and one of 0 would be two tracks a whole tooth apart.
    return 0.0 if 1.0 - left < SAME_PHASE else left


def _apart(phase: float, other: float) -> float:
    """Return how far a phase lies beyond another, by the shorter way [teeth]."""
    return (phase - other + 0.5) % 1.0 - 0.5
