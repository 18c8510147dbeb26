"""What can be measured on the height map of a knurl, as an inspector would on the part.

Nothing here knows the program: teeth, pitch and helix are found in the map itself, by
its spectrum; the rest with gauges of one axial period of the pattern.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from knurlcam.imprint.surface import Floats, Heights, Surface
from knurlcam.mechanics.tooth import Family

__all__ = ["Asked", "Measures", "doubling", "knurled_rows", "measure"]

Waves = NDArray[np.complexfloating[Any, Any]]

KNURLED_SHARE = 0.5
"""A row of which so much is touched or raised belongs to the knurl."""

ROWS_AT_ONCE = 256
"""Rows that are looked at at once, so that little memory is taken."""

CREST_SHARE = 0.02
"""What stands within so much of the tooth height of the highest belongs to the crest."""

PERIODS_LOOKED_AT = 16
ROWS_LOOKED_AT = 256
"""Axial periods and rows, about the middle of the knurl, in which teeth and helix are found."""

PLACES_LOOKED_AT = 16
"""Axial periods, spread over the knurl, in which a double impression is looked for."""

ROUND_PARTS = 8
"""Parts of a turn in which it is looked for: of a print that walks round, each looks another."""

RINGS_TOGETHER = 3
"""Grooves that run round are looked at so many at a time."""

LINE_PARTS = 48
"""Parts of a turn in which it is looked how far the knurl reaches."""

NOTHING_LEFT_MM = 0.0003
"""Teeth lower than this are none: prints wiped each other out, or nothing was printed."""

LEFT_OUT = 0.3
"""A tooth whose root is not so deep, of the deepest, was left out."""

LEANS_LOOKED_AT = (0.75, 1.3, 64)
"""Least and largest lean that is looked at, over that asked for, and how many: rolls that are a
few degrees askew are seen, and no wave of another origin."""

REFINEMENTS = 24
"""Thirds cut off the interval about the best of them: far below any angle that matters."""

LEAST_PART = 1e-6
"""Waves that differ by less are one: a knurl may be shorter than its pattern's period."""


class Asked(NamedTuple):
    """What a map is measured for.

    Attributes:
        family: Which family of teeth was to be made.
        natural_teeth: Teeth round the blank as the rolls would print them [-]
        axial_period_mm: Length along the axis after which the pattern comes again; 0 where it
            goes along the axis [mm]
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


@dataclass(frozen=True, slots=True)
class Measures:
    """Figures of a knurl.

    Attributes:
        teeth: Teeth counted round the work [-]
        pitch_mm: Pitch across the teeth, on the blank's circle [mm]
        helix_deg: Helix angle; of a knurl that is shorter than the lead from one tooth to the
            next, or doubled, the one asked for [deg]
        tooth_height_mm: From root to crest, the median along the knurl [mm]
        knurled_diameter_mm: Over the crests, the median along the knurl [mm]
        knurled_range_mm: ... its least and its largest [mm]
        crest_width_mm: Width of the flats on the crests, across the teeth [mm]
        evenness: Least over largest depth of the roots along Z, as the plan has it [-]
        length_mm: Length of the knurl [mm]
        double_impression: How high stray teeth divide the teeth, over these, where it is
            worst: 0 clean, 1 fully doubled [-]
        runout_mm: How much farther the knurl reaches at one place round the work than at
            another, at its end towards the headstock: the line [mm]
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


def measure(surface: Surface, asked: Asked) -> Measures:
    """Measure a height map.

    Args:
        surface: The map, with a knurl on it.
        asked: What was to be made.

    Returns:
        Its figures.
    """
    knurl = knurled_rows(surface)
    heights = surface.height_mm[knurl]
    bands = _bands(len(heights), surface.dz_mm, asked.axial_period_mm or asked.pitch_mm)
    crests = np.array([float(heights[band].max()) for band in bands])
    roots = np.array([float(heights[band].min()) for band in bands])
    tall = crests - roots
    teeth, lean = _teeth_and_lean(heights, surface, asked)
    blank = surface.blank_diameter_mm
    around = math.pi * blank
    helix = math.atan(lean * around / teeth)
    pitch = around / teeth * math.cos(helix)
    return Measures(
        teeth=teeth,
        pitch_mm=pitch,
        helix_deg=math.degrees(helix),
        tooth_height_mm=float(np.median(tall)),
        knurled_diameter_mm=blank + 2.0 * float(np.median(crests)),
        knurled_range_mm=(blank + 2.0 * float(crests.min()), blank + 2.0 * float(crests.max())),
        crest_width_mm=_crest_width(heights, bands, crests, tall, pitch, asked),
        evenness=max(0.0, float(roots.max() / roots.min())),
        length_mm=len(heights) * surface.dz_mm,
        double_impression=_double_impression(heights, surface, bands, teeth, asked),
        runout_mm=_runout(surface, asked),
    )


def knurled_rows(surface: Surface) -> slice:
    """Return the rows that belong to the knurl: touched or raised by half, round the work.

    Args:
        surface: The height map.
    """
    touched = [
        np.abs(surface.height_mm[part : part + ROWS_AT_ONCE]) > NOTHING_LEFT_MM
        for part in range(0, surface.rows, ROWS_AT_ONCE)
    ]
    share = np.concatenate([part.mean(axis=1) for part in touched])
    inside = np.flatnonzero(share >= KNURLED_SHARE)
    if not len(inside):
        inside = np.flatnonzero(share == share.max())
    return slice(int(inside[0]), int(inside[-1]) + 1)


def _bands(rows: int, dz: float, period: float) -> list[slice]:
    """Return the rows of each axial period that lies in the knurl, one after the other."""
    tall = min(rows, max(1, round(period / dz)))
    return [slice(i * tall, (i + 1) * tall) for i in range(rows // tall)]


def _teeth_and_lean(heights: Heights, surface: Surface, asked: Asked) -> tuple[int, float]:
    """Return teeth round the work and how much they lean, from the map's spectrum.

    Returns:
        Teeth [-] and the size of their shift for a millimetre along the axis [teeth/mm]
    """
    slants = sorted({lean for lean in asked.leans if lean})
    tall = len(heights)
    if slants:
        tall = min(tall, max(2, math.ceil(PERIODS_LOOKED_AT / abs(slants[0]) / surface.dz_mm)))
    first, every = (len(heights) - tall) // 2, -(-tall // ROWS_LOOKED_AT)
    waves = np.fft.rfft(heights[first : first + tall : every], axis=1)
    # Teeth that are not four cells wide are not seen.
    waves = waves[:, : max(3, heights.shape[1] // 4 + 1)]
    zs = surface.dz_mm * every * np.arange(len(waves))
    if asked.family == "indented":
        # Pits are counted in a row that goes through them, as with a glass.
        power = np.abs(waves[int(heights[first : first + tall : every].min(axis=1).argmin())])
    else:
        power = np.max([_along_grooves(waves, zs, lean, asked) for lean in asked.leans], axis=0)
    power[:2] = 0.0
    teeth = int(power.argmax())
    if not slants:
        return teeth, 0.0
    lean = teeth / asked.natural_teeth * abs(slants[0])
    # Of prints beside each other waves of all slants come together: their slant is the rolls'.
    doubled = teeth != round(asked.natural_teeth)
    if doubled or len(heights) * surface.dz_mm * lean < 1.0:
        return teeth, lean
    near = zs <= PERIODS_LOOKED_AT / lean
    crossing = len(slants) > 1
    own = np.conj(waves[near, teeth]) if slants[0] < 0.0 else waves[near, teeth]
    return teeth, _best_lean(own, zs[near], lean, crossing=crossing)


def _along_grooves(waves: Waves, zs: Floats, lean: float, asked: Asked) -> Floats:
    """Return how strong each number of teeth is along grooves that lean as asked."""
    each = np.arange(waves.shape[1]) / asked.natural_teeth
    back = np.exp(-2j * math.pi * lean * zs[:, None] * each)
    return np.asarray(np.abs((waves * back).sum(axis=0)), dtype=np.float64)


def _best_lean(wave: Waves, zs: Floats, asked: float, *, crossing: bool) -> float:
    """Return the lean at which waves along the grooves leave least of a wave unexplained.

    Grooves that cross each other's make waves of three times their lean besides.

    Args:
        wave: The wave of the teeth, row by row.
        zs: Z of the rows [mm]
        asked: Lean that was asked for [teeth/mm]
        crossing: Whether two families cross.
    """
    parts = np.array([1.0, -1.0, 3.0, -3.0] if crossing else [1.0])

    def left(lean: float) -> float:
        grooves = np.exp(2j * math.pi * lean * zs[:, None] * parts)
        found = np.linalg.lstsq(grooves, wave, rcond=LEAST_PART)[0]
        return float(np.square(np.abs(wave - grooves @ found)).sum())

    looks = asked * np.linspace(*LEANS_LOOKED_AT)
    step = float(looks[1] - looks[0])
    low = float(looks[int(np.argmin([left(look) for look in looks]))]) - step
    high = low + 2.0 * step
    for _ in range(REFINEMENTS):
        third = (high - low) / 3.0
        if left(low + third) > left(high - third):
            low += third
        else:
            high -= third
    return (low + high) / 2.0


def _crest_width(
    heights: Heights, bands: list[slice], crests: Floats, tall: Floats, pitch: float, asked: Asked
) -> float:
    """Return the width of the flats on the crests, from the share of the work that they cover."""
    shares = [
        float((heights[band] > crest - CREST_SHARE * height).mean())
        for band, crest, height in zip(bands, crests, tall, strict=True)
    ]
    share = float(np.median(shares))
    wide = {
        "straight": share,
        "raised": math.sqrt(share),
        "indented": 1.0 - math.sqrt(1.0 - share),
    }[asked.family]
    # The flanks that belong to what was counted.
    flanks = (
        2.0 * CREST_SHARE * float(np.median(tall)) * math.tan(math.radians(asked.profile_deg / 2.0))
    )
    return max(0.0, wide * pitch - flanks)


def doubling(profile: Floats) -> float:
    """Return how far stray grooves divide the tooth of a profile one pitch long.

    The height of the lower tooth beside the second deepest groove, over that of the tooth.

    Args:
        profile: Heights over one pitch, evenly spaced [mm]

    Returns:
        0 for a single groove to 1 for two as deep as each other, or where there is none [-]
    """
    from_root = np.roll(profile, -int(profile.argmin()))
    tooth = float(from_root.max() - from_root[0])
    if tooth < NOTHING_LEFT_MM:
        return 1.0
    up = np.maximum.accumulate(from_root)
    down = np.maximum.accumulate(from_root[::-1])[::-1]
    return float((np.minimum(up, down) - from_root)[1:].max() / tooth)


def _double_impression(
    heights: Heights, surface: Surface, bands: list[slice], teeth: int, asked: Asked
) -> float:
    """Return the double impression where it is worst along the work."""
    # Two or three prints in each other's gaps: the teeth of the roll are fewer.
    prints = max(1, round(teeth / asked.natural_teeth))
    spacing = surface.cells * prints / teeth
    looked_at = bands[:: -(-len(bands) // PLACES_LOOKED_AT)]
    worst = _along_the_axis(heights, surface.dz_mm, asked)
    for lean in asked.leans:
        for band in looked_at:
            shift = lean * surface.dz_mm * spacing
            across = _through_pits if asked.family == "indented" else _along
            found = [doubling(tooth) for tooth in _folded(across(heights[band], shift), spacing)]
            worst = max(worst, float(np.mean(found)) if found else 0.0)
    return min(1.0, worst)


def _along_the_axis(heights: Heights, dz: float, asked: Asked) -> float:
    """Return the double impression of grooves that run round the work."""
    rows = asked.ring_mm / dz if asked.ring_mm else 0.0
    if not rows or len(heights) < rows:
        return 0.0
    if asked.family == "indented":
        cut: Floats = heights[:, int(heights.min(axis=0).argmin())].astype(np.float64)
    else:
        cut = heights.mean(axis=1, dtype=np.float64)
    count = int(len(cut) / rows)
    whole = cut[: int(count * rows)]
    parts = max(1, count // RINGS_TOGETHER)
    return max((doubling(tooth) for tooth in _folded(whole, rows, parts)), default=0.0)


def _through_pits(rows: Heights, _shift: float) -> Floats:
    """Return the row that goes through the pits, which stand in rows round the work."""
    return np.asarray(rows[int(rows.min(axis=1).argmin())], dtype=np.float64)


def _along(rows: Heights, shift: float) -> Floats:
    """Return the mean height along teeth that move by so many cells a row."""
    if not shift:
        mean: Floats = rows.mean(axis=0, dtype=np.float64)
        return mean
    total = np.zeros(rows.shape[1])
    for place, row in enumerate(rows):
        total += np.roll(row, round(shift * place))
    return total / len(rows)


def _folded(along: Floats, spacing: float, parts: int = ROUND_PARTS) -> list[Floats]:
    """Return the mean of the teeth in each part of a turn, one pitch long.

    Teeth that the rolls left out, where they touched a part of a turn only, do not count.
    """
    bins = max(4, int(spacing + 1e-6))
    found: list[Floats] = []
    for part in np.array_split(
        np.arange(len(along)), max(1, min(parts, int(len(along) / spacing)))
    ):
        tooth = (part / spacing).astype(np.intp)
        deepest = np.full(int(tooth[-1]) + 1, np.inf)
        np.minimum.at(deepest, tooth, along[part])
        here = part[deepest[tooth] <= LEFT_OUT * min(0.0, float(along[part].min()))]
        at = ((here / spacing) % 1.0 * bins + 1e-6).astype(np.intp) % bins
        many = np.bincount(at, minlength=bins)
        if many.all():
            found.append(np.bincount(at, weights=along[here], minlength=bins) / many)
    return found


def _runout(surface: Surface, asked: Asked) -> float:
    """Return how unevenly the knurl ends towards the headstock [mm]."""
    heights = surface.height_mm
    deep = 0.5 * float(heights.min())
    ends = []
    parts = max(1, min(LINE_PARTS, int(asked.natural_teeth // 2)))
    for part in np.array_split(np.arange(surface.cells), parts):
        cut = np.flatnonzero(heights[:, part[0] : part[-1] + 1].min(axis=1) <= deep)
        if len(cut):
            ends.append(int(cut[0]))
    return (max(ends) - min(ends)) * surface.dz_mm
