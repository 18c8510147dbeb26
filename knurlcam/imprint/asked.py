"""What a height map is measured for, and the rows of it that are measured.

The gauges of :mod:`knurlcam.imprint.measures` know no program: what they need of the
job stands here.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from knurlcam.imprint.prints import pattern_of
from knurlcam.imprint.rolling import Course
from knurlcam.imprint.surface import Heights, Surface
from knurlcam.mechanics.knurl import KnurlGeometry
from knurlcam.mechanics.tooth import Family

__all__ = ["NOTHING_LEFT_MM", "Asked", "Knurled", "asked_of", "knurled", "knurled_rows"]

NOTHING_LEFT_MM = 0.0003
"""Height below which there are no teeth [mm]: prints wiped each other out, or none was made."""

KNURLED_SHARE = 0.5
"""Share of a row round the work that is touched or raised where it belongs to the knurl [-]"""

ROWS_AT_ONCE = 256
"""Rows that are looked at together [-]: more would take memory of the size of the map."""


class Asked(NamedTuple):
    """What a map is measured for.

    Attributes:
        family: Which family of teeth was to be made.
        natural_teeth: Teeth round the blank as the rolls would print them [-]
        axial_period_mm: Length along the axis after which the pattern repeats; 0 where the
            teeth run along the axis [mm]
        pitch_mm: Pitch of the rolls [mm]
        profile_deg: Profile angle [deg]
        leans: Transverse shift of each family for a millimetre along the axis, in pitches;
            none of grooves that run round [1/mm]
        ring_mm: Pitch along the axis of grooves that run round the work; 0 without [mm]
    """

    family: Family
    natural_teeth: float
    axial_period_mm: float
    pitch_mm: float
    profile_deg: float
    leans: tuple[float, ...]
    ring_mm: float = 0.0


def asked_of(knurl: KnurlGeometry, course: Course) -> Asked:
    """Return what the map of a knurl is measured for.

    Args:
        knurl: The knurl.
        course: The turns of the rolls.
    """
    pattern = pattern_of(knurl)
    slants = [abs(g.lean) for g in pattern.grooves if g.lean]
    rings = [g.ring_mm for g in pattern.grooves if g.ring_mm]
    # Two families that lean against each other repeat twice as soon.
    period = 1.0 / sum(slants) if slants else max(rings, default=0.0)
    return Asked(
        family=knurl.family,
        natural_teeth=course.natural_teeth,
        axial_period_mm=period,
        pitch_mm=knurl.pitch_mm,
        profile_deg=knurl.profile_deg,
        leans=tuple(g.lean for g in pattern.grooves if not g.ring_mm),
        ring_mm=max(rings, default=0.0),
    )


class Knurled(NamedTuple):
    """The part of a map that is measured.

    Attributes:
        surface: The whole map.
        heights: Its rows that belong to the knurl [mm]
        bands: Of these, the rows of each axial period, one after the other.
        asked: What they are measured for.
    """

    surface: Surface
    heights: Heights
    bands: list[slice]
    asked: Asked


def knurled(surface: Surface, asked: Asked) -> Knurled:
    """Return the part of a map that is measured.

    Args:
        surface: The map, with a knurl on it.
        asked: What was to be made.
    """
    heights = surface.height_mm[knurled_rows(surface)]
    period = asked.axial_period_mm or asked.pitch_mm
    return Knurled(surface, heights, _bands(len(heights), surface.dz_mm, period), asked)


def knurled_rows(surface: Surface) -> slice:
    """Return the rows that belong to the knurl: touched or raised on half of the way round.

    Args:
        surface: The height map.
    """
    touched = [
        np.abs(surface.height_mm[part : part + ROWS_AT_ONCE]) > NOTHING_LEFT_MM
        for part in range(0, surface.rows, ROWS_AT_ONCE)
    ]
    # By half of the way round: the last turn of a traverse ends at one place of it.
    share = np.concatenate([part.mean(axis=1) for part in touched])
    inside = np.flatnonzero(share >= KNURLED_SHARE)
    if not len(inside):
        inside = np.flatnonzero(share == share.max())
    return slice(int(inside[0]), int(inside[-1]) + 1)


def _bands(rows: int, dz: float, period: float) -> list[slice]:
    """Return the rows of each axial period that lies in the knurl, one after the other."""
    tall = min(rows, max(1, round(period / dz)))
    return [slice(i * tall, (i + 1) * tall) for i in range(rows // tall)]
