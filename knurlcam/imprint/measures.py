"""What can be measured on the height map of a knurl, as an inspector would on the part.

Nothing here knows the program: teeth, pitch and helix are found in the map itself, by
its spectrum; the rest with gauges of one axial period of the pattern.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any, NamedTuple

import numpy as np

from knurlcam.imprint.asked import Asked, Knurled, knurled
from knurlcam.imprint.doubling import double_impression_on_map
from knurlcam.imprint.spectrum import teeth_and_lean
from knurlcam.imprint.surface import Floats, Surface

__all__ = ["Measures", "measure"]

CREST_SHARE = 0.02
"""Depth below the highest place, over the tooth height, that still belongs to the crest [-]"""

LINE_PARTS = 48
"""Parts of a turn in which it is measured how far the knurl reaches [-]"""


@dataclass(frozen=True, slots=True)
class Measures:
    """Figures of a knurl.

    Attributes:
        teeth: Teeth counted round the work; :func:`make_imprint` takes those of the tracks that
            the rolls run in at the end [-]
        pitch_mm: Pitch across the teeth, on the blank's circle [mm]
        helix_deg: Helix angle; of a knurl that is shorter than the lead from one tooth to the
            next, or doubled, the one asked for [deg]
        tooth_height_mm: From root to crest, the median along the knurl [mm]
        knurled_diameter_mm: Over the crests, the median along the knurl [mm]
        knurled_range_mm: ... its least and its largest [mm]
        crest_width_mm: Width of the flats on the crests, across the teeth [mm]
        evenness: Depth uniformity: least over greatest depth of the roots along Z. Less than
            the plan's where the work leans: the plan counts the deepest edge of the face at
            each place of the rolls, but the last of the knurl at either end meets the other
            edge only [-]
        length_mm: Length of the knurl [mm]
        double_impression: How high stray teeth divide the teeth, over these, where it is
            worst: 0 clean, 1 fully doubled [-]
        runout_mm: How much farther the knurl reaches at one place round the work than at
            another, at its end toward the chuck [mm]
    """

    teeth: int
    pitch_mm: float
    helix_deg: float
    tooth_height_mm: float
    knurled_diameter_mm: float
    knurled_range_mm: tuple[float, float]
    crest_width_mm: float
    evenness: float
    length_mm: float
    double_impression: float
    runout_mm: float

    def to_dict(self) -> dict[str, Any]:
        """Return the figures as plain data, unrounded."""
        return asdict(self)


class _Heights(NamedTuple):
    """The highest and the deepest place of each axial period, in mm."""

    crests: Floats
    roots: Floats

    @property
    def tall(self) -> Floats:
        return self.crests - self.roots


def measure(surface: Surface, asked: Asked, double_impression: float | None = None) -> Measures:
    """Measure a height map.

    Args:
        surface: The map, with a knurl on it.
        asked: What was to be made.
        double_impression: ... where the prints themselves have told it; else it is looked for
            on the map [-]

    Returns:
        Its figures.
    """
    knurl = knurled(surface, asked)
    gauged = _gauged(knurl)
    crests, roots = gauged.crests, gauged.roots
    teeth, lean = teeth_and_lean(knurl)
    blank, around = surface.blank_diameter_mm, math.pi * surface.blank_diameter_mm
    if double_impression is None:
        double_impression = double_impression_on_map(knurl, teeth)
    helix = math.atan(lean * around / teeth)
    pitch = around / teeth * math.cos(helix)
    return Measures(
        teeth=teeth,
        pitch_mm=pitch,
        helix_deg=math.degrees(helix),
        tooth_height_mm=float(np.median(gauged.tall)),
        knurled_diameter_mm=blank + 2.0 * float(np.median(crests)),
        knurled_range_mm=(blank + 2.0 * float(crests.min()), blank + 2.0 * float(crests.max())),
        crest_width_mm=_crest_width(knurl, gauged, pitch),
        evenness=max(0.0, float(roots.max() / roots.min())),
        length_mm=len(knurl.heights) * surface.dz_mm,
        double_impression=double_impression,
        runout_mm=_runout(surface, asked),
    )


def _gauged(knurl: Knurled) -> _Heights:
    parts = [knurl.heights[band] for band in knurl.bands]
    crests = np.array([float(part.max()) for part in parts])
    return _Heights(crests, np.array([float(part.min()) for part in parts]))


def _crest_width(knurl: Knurled, gauged: _Heights, pitch: float) -> float:
    """Return the width of the flats on the crests, from the share of the work that they cover."""
    shares = [
        float((knurl.heights[band] > crest - CREST_SHARE * height).mean())
        for band, crest, height in zip(knurl.bands, gauged.crests, gauged.tall, strict=True)
    ]
    share = float(np.median(shares))
    # Flats of one family are stripes; of two they are squares, or what squares leave over.
    wide = {
        "straight": share,
        "raised": math.sqrt(share),
        "indented": 1.0 - math.sqrt(1.0 - share),
    }[knurl.asked.family]
    # The flanks that belong to what was counted.
    flank = math.tan(math.radians(knurl.asked.profile_deg / 2.0))
    flanks = 2.0 * CREST_SHARE * float(np.median(gauged.tall)) * flank
    return max(0.0, wide * pitch - flanks)


def _runout(surface: Surface, asked: Asked) -> float:
    """Return how unevenly the knurl ends toward the chuck [mm]."""
    heights = surface.height_mm
    deep = 0.5 * float(heights.min())
    ends = []
    parts = max(1, min(LINE_PARTS, int(asked.natural_teeth // 2)))
    for part in np.array_split(np.arange(surface.cells), parts):
        cut = np.flatnonzero(heights[:, part[0] : part[-1] + 1].min(axis=1) <= deep)
        if len(cut):
            ends.append(int(cut[0]))
    return (max(ends) - min(ends)) * surface.dz_mm
