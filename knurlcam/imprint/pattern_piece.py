"""One piece of the pattern, and where the metal stands on it so that volume is kept.

Levels come from one tooth: what stands where two families cross is the lower (of pits the
higher) of two heights across a tooth, each anywhere in its pitch. So the mean over the whole
pattern follows from one tooth's heights, sorted and weighed, and no map is needed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from knurlcam.imprint.prints import BLOCK_CELLS, Pattern, Prints
from knurlcam.imprint.surface import Floats

__all__ = ["LEAST_FREE", "Piece", "Solved", "piece_of", "solved_for"]

PIT_CELLS = 64
"""Cells each way of a piece of pattern in which prints of several tracks cross [-]"""

LEVEL_ROUNDS = 40
"""Tangents that are taken to find a level, at most [-]: they never pass the root."""

SOLVED_MM = 1e-7
"""Mean height by which volume may still be off when a level counts as found [mm]"""

LEAST_FREE = 1e-6
"""Share of the work that counts as free to rise, at least [-]: where the teeth are all but full
next to none is, and a tangent would not end."""


class Solved(NamedTuple):
    """How the metal answers on each kind of place.

    Attributes:
        raised_mm: How much it rises, stage by stage; shape (kinds,) each [mm]
        held_mm: Roll lift-off: how far it lifts the rolls off [mm]
        free: Share of the work that no tooth touches in the end; shape (kinds,) [-]
        height_mm: Heights of a piece of pattern in the end; shape (kinds, cells), or (0, 0)
            where they are not kept [mm]
    """

    raised_mm: list[Floats]
    held_mm: list[Floats]
    free: Floats
    height_mm: Floats


@dataclass(frozen=True, slots=True)
class Piece:
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
        # Alone: one tooth is the pattern. Spread out: all of it stands in the cells.
        if self.kind == "alone" or self.kind == "spread out":
            return np.asarray(values.mean(axis=1))
        return np.asarray(np.sort(values, axis=1) @ self.weights)

    def share(self, values: Floats, holds: NDArray[np.bool_]) -> Floats:
        """Return the share of the pattern whose height is one for which something holds."""
        if self.kind == "alone" or self.kind == "spread out":
            return np.asarray(holds.mean(axis=1))
        # The lower of two independent heights is below h with 1 - (1 - F(h))^2: hence the weights.
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
        # Along a ridge the other family runs through all its heights: their mean, each cut off at
        # the ridge.
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


def piece_of(pattern: Pattern, prints: Prints, cells: int) -> Piece:
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

    # Of count x count pairs the n-th lowest height is the higher of 2 n - 1.
    rising = (2.0 * np.arange(count) + 1.0) / count**2
    if spread_out:
        return Piece(tips, rising, "spread out", pattern)
    if not crossing:
        return Piece(tips, rising, "alone", pattern)
    if pattern.pits:
        return Piece(tips, rising, "higher", pattern)
    return Piece(tips, rising[::-1].copy(), "lower", pattern)


def solved_for(piece: Piece, prints: Prints, kinds: Floats, *, keep: bool = False) -> Solved:
    """Return how the metal answers on each kind of place, some of them at a time."""
    families = len(piece.pattern.grooves)
    size = piece.tips_mm([np.zeros(1)] * families).shape[1]
    some = max(1, BLOCK_CELLS // size)
    parts = [
        _solve_some(piece, prints, kinds[first : first + some])
        for first in range(0, len(kinds), some)
    ]
    stages = range(len(prints.stages))
    return Solved(
        [np.concatenate([part.raised_mm[i] for part in parts]) for i in stages],
        [np.concatenate([part.held_mm[i] for part in parts]) for i in stages],
        np.concatenate([part.free for part in parts]),
        np.concatenate([part.height_mm for part in parts]) if keep else np.zeros((0, 0)),
    )


def _solve_some(piece: Piece, prints: Prints, kinds: Floats) -> Solved:
    families = len(piece.pattern.grooves)
    count = kinds.shape[1] // (1 + families)
    height: Floats = np.zeros((1, 1))
    free: Floats = np.ones(len(kinds))
    all_raised, all_held, place = [], [], 0
    for stage in prints.stages:
        teeth: Floats = np.full((1, 1), np.inf)
        for at in range(place, place + len(stage.tracks)):
            lie = [kinds[:, count * (1 + family) + at] for family in range(families)]
            teeth = np.minimum(teeth, piece.tips_mm(lie) - kinds[:, at, None])
        place += len(stage.tracks)
        # The blank is flat: one number until the first stage is printed.
        height = np.broadcast_to(height, teeth.shape)
        raised, held = _keep_volume(piece, height, teeth)
        under = height + raised[:, None]
        height = np.minimum(under, teeth)
        free = piece.share(height, under < teeth)
        height = height + held[:, None]
        all_raised.append(raised)
        all_held.append(held)
    return Solved(all_raised, all_held, free, height)


def _keep_volume(piece: Piece, height: Floats, teeth: Floats) -> tuple[Floats, Floats]:
    """Return how much the metal rises under the teeth, and lifts them off, on each kind."""
    mean = piece.means(height)
    # The room that the teeth leave above the metal: none left means that they are full.
    room = piece.means(teeth) - mean
    full = room <= 0.0
    raised = np.zeros(len(teeth))
    for _ in range(LEVEL_ROUNDS):
        under = height + raised[:, None]
        made = np.minimum(under, teeth)
        # Missing volume over the free share is a tangent; the share only shrinks as the metal
        # rises, so that no step goes too far.
        short = mean - piece.means(made)
        if not np.any(short[~full] > SOLVED_MM):
            break
        free = np.maximum(piece.share(made, under < teeth), LEAST_FREE)
        raised += np.where(full, 0.0, np.maximum(short, 0.0) / free)
    # More than the teeth leave room for: all of them fill.
    raised[full] = np.inf
    return raised, np.where(full, -room, 0.0)
