"""Double impression: how far stray grooves divide the teeth, on one profile and on a map."""

from __future__ import annotations

import numpy as np

from knurlcam.imprint.asked import NOTHING_LEFT_MM, Knurled
from knurlcam.imprint.surface import Floats, Heights

__all__ = ["double_impression_on_map", "doubling", "doublings"]

PLACES_LOOKED_AT = 16
"""Axial periods, spread over the knurl, in which a double impression is looked for [-]"""

ROUND_PARTS = 8
"""Parts of a turn in which it is looked for [-]: a print that drifts round looks different in
each."""

RINGS_TOGETHER = 3
"""Grooves running round that are looked at together [-]"""

LEFT_OUT = 0.3
"""Depth of a root over the deepest, below which the tooth was left out [-]"""


def doubling(profile: Floats) -> float:
    """Return how far stray grooves divide the tooth of a profile one pitch long.

    The height of the lower tooth beside the second deepest groove, over that of the tooth.

    Args:
        profile: Heights over one pitch, evenly spaced [mm]

    Returns:
        0 for a single groove to 1 for two as deep as each other, or where there is none [-]
    """
    return float(doublings(profile[None])[0])


def doublings(profiles: Floats) -> Floats:
    """Return the same for many profiles at once.

    Args:
        profiles: Heights over one pitch, a row each [mm]
    """
    cells = profiles.shape[1]
    roots = profiles.argmin(axis=1)[:, None]
    from_root = np.take_along_axis(profiles, (roots + np.arange(cells)) % cells, axis=1)
    tooth = from_root.max(axis=1) - from_root[:, 0]
    # From the root, what water would stand over: the depth of every further groove.
    up = np.maximum.accumulate(from_root, axis=1)
    down = np.maximum.accumulate(from_root[:, ::-1], axis=1)[:, ::-1]
    deepest = (np.minimum(up, down) - from_root)[:, 1:].max(axis=1)
    none = tooth < NOTHING_LEFT_MM
    return np.where(none, 1.0, deepest / np.where(none, 1.0, tooth))


def double_impression_on_map(knurl: Knurled, teeth: int) -> float:
    """Return the double impression that is seen on a map, where it is worst along the work.

    Args:
        knurl: What is measured.
        teeth: Teeth counted round the work [-]

    Returns:
        0 clean to 1 fully doubled [-]
    """
    surface, bands, asked = knurl.surface, knurl.bands, knurl.asked
    # Two or three prints in each other's gaps: the teeth of the roll are fewer.
    prints = max(1, round(teeth / asked.natural_teeth))
    spacing = surface.cells * prints / teeth
    looked_at = bands[:: -(-len(bands) // PLACES_LOOKED_AT)]
    # Ridges are averaged along their grooves; pits would vanish in that, and are cut through.
    across = _through_pits if asked.family == "indented" else _along
    worst = _along_the_axis(knurl)
    for lean in asked.leans:
        shift = lean * surface.dz_mm * spacing
        for band in looked_at:
            profile = across(knurl.heights[band], shift)
            found = [doubling(tooth) for tooth in _folded(profile, spacing)]
            worst = max(worst, float(np.mean(found)) if found else 0.0)
    return min(1.0, worst)


def _along_the_axis(knurl: Knurled) -> float:
    """Return the double impression of grooves that run round the work."""
    heights, asked = knurl.heights, knurl.asked
    rows = asked.ring_mm / knurl.surface.dz_mm if asked.ring_mm else 0.0
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
    # Teeth are laid over each other: what differs from tooth to tooth is noise of the cells.
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
