"""From a program's motion to each time that the rolls are on the work."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

import numpy as np

from knurlcam.imprint.rolling import Rolling, Stay, refused
from knurlcam.timeline import Span, Timeline

__all__ = ["stays_along", "stays_on_work"]

LONGEST_DWELL = 64.0
"""Turns of one dwell that are followed [-]: a longer one prints the same."""

MOST_TURNS = 20_000
"""Turns of the work with the rolls on it [-]: far above any program's, an hour at 300 rev/min."""

LOOK_TURNS = 0.5
"""Turns between two positions at which a block is looked at while X moves [-]"""

LOOK_MM = 2.0
"""Length between two such positions along the work [mm]: in between the deflection runs
straight."""


def stays_on_work(rolling: Rolling, line: Timeline) -> tuple[Stay, ...]:
    """Return what the rolls do while they are on the work.

    Args:
        rolling: The rolls and the blank.
        line: A program's motion against time.

    Returns:
        Each time that they are on the work, in order; none where they never touch it.

    Raises:
        CannotBeDoneError: if it is unknown where they are, or they stay for too long.
    """
    if line.lost:
        raise refused(
            "place-not-known",
            "the program moves by increments from a start point that it does not state, so it is "
            "unknown where its rolls press; state X and Z as absolute positions first",
        )
    return stays_along(rolling, line.spans)


def stays_along(rolling: Rolling, spans: Iterable[Span]) -> tuple[Stay, ...]:
    """Return what the rolls do while they are on the work, along known stretches of motion.

    Args:
        rolling: The rolls and the blank.
        spans: What the slide does, in order.

    Raises:
        CannotBeDoneError: if they stay for too long.
    """
    stays: list[list[_Look]] = []
    touching = False
    for span in spans:
        # Stretches that follow each other on the work are one stay, a rapid among them too.
        found = list(_looks(rolling, span))
        if not found:
            touching = False
            continue
        if not touching:
            stays.append([])
            touching = True
        held = stays[-1]
        before = held[-1].turns if held else 0.0
        held += [look._replace(turns=before + look.turns) for look in found]
        if held[-1].turns > MOST_TURNS:
            raise refused(
                "too-many-turns",
                f"the rolls stay on the work for more than {MOST_TURNS:,} turns; "
                "check feeds and dwells",
            )
    made = (Stay(*np.array(held, dtype=np.float64).T) for held in stays)
    # Rolls that only press on work that stands still print nothing.
    return tuple(stay for stay in made if stay.turns[-1] > 0.0)


class _Look(NamedTuple):
    """Where the rolls are at one moment: turns since the stretch began, edge and depths."""

    turns: float
    left_mm: float
    at_left_mm: float
    at_right_mm: float
    rigid_mm: float


def _looks(rolling: Rolling, span: Span) -> Iterator[_Look]:
    """Yield where the rolls are along a stretch of motion, where that is on the work."""
    shift, depth = rolling.plan.datum_shift_mm, rolling.contact.depth_mm
    centre = 2.0 * rolling.plan.contact.datum_shift_mm
    # Whether they touch is a matter of the rigid slide: deflection only makes them shallower.
    begin, end = depth(span.x0 + centre), depth(span.x1 + centre)
    if max(begin, end) <= 0.0 or min(span.z0, span.z1) - shift >= 0.0:
        return
    turns = span.revolutions
    # A dwell of an hour is a legal program; its turns print what the first ones did.
    if span.phase == "dwell":
        turns = min(turns, LONGEST_DWELL)
    first, last = _touching(rolling, span, begin, end)
    edges = rolling.edges_mm
    for share in _shares(span, turns * (last - first), first, last):
        x = span.x0 + (span.x1 - span.x0) * share
        z = span.z0 + (span.z1 - span.z0) * share
        # Beyond the end of the work there is nothing to press on.
        at_left, at_right = edges(x, z) if z < shift else (0.0, 0.0)
        at_edges = max(0.0, at_left), max(0.0, at_right)
        yield _Look(turns * (share - first), z - shift, *at_edges, max(0.0, depth(x + centre)))


def _touching(rolling: Rolling, span: Span, begin: float, end: float) -> tuple[float, float]:
    """Return from which to which share of its way a stretch is on the work."""
    # X moves evenly within a stretch, so the touch is at a share of its way.
    if (begin > 0.0 and end > 0.0) or span.x0 == span.x1:
        return 0.0, 1.0
    centre = rolling.plan.contact.datum_shift_mm
    touch = 2.0 * (rolling.contact.touch_mm - centre)
    share = min(max((touch - span.x0) / (span.x1 - span.x0), 0.0), 1.0)
    return (share, 1.0) if end > 0.0 else (0.0, share)


def _shares(span: Span, turns: float, first: float, last: float) -> Sequence[float]:
    """Return the shares of a stretch at which it is looked at, its ends with them."""
    parts = 1.0
    if span.x0 != span.x1:
        parts = max(parts, turns / LOOK_TURNS)
    parts = max(parts, abs(span.z1 - span.z0) * (last - first) / LOOK_MM)
    count = min(math.ceil(parts), MOST_TURNS)
    return [first + (last - first) * i / count for i in range(count + 1)]
