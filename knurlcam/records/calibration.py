"""From measured parts to what a plan takes instead of its estimate, by rolls, material and tool.

**Growth.** Each part says which share of the estimated growth has come. Shops differ from the
estimate, and parts of a shop from each other; both are taken as normal, and the weight of the
measured median against the estimate (a share of 1) is that of their variances,
w = T^2 / (T^2 + s^2 / n).

**Tracking.** A part does not show its rolling circle: it says whether the rolls tracked on its
blank. Each such answer makes some circles likelier than others, and the one is taken whose
blanks are most likely to track; the estimate where all are alike.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import takewhile
from pathlib import Path
from statistics import NormalDist, median, stdev

from knurlcam.job.calibration import Calibration
from knurlcam.job.model import Job
from knurlcam.records.log import MeasuredLog
from knurlcam.records.measurement import MeasuredSetUp, Measurement, set_up_of

__all__ = ["Calibrations", "calibration_of", "calibrations_in"]

SHARE_RANGE = (0.5, 1.5)
"""Shares of growth that a plan takes [-]: what grows by less than half or half more of what
volume allows was measured wrong, or is another knurl."""

SHOPS_DIFFER = 0.15
"""Standard deviation of the share among shops, T [-]: an estimate, force and deflection with it."""

PART_DIFFERS = 0.05
"""... among the parts of one shop before they say so themselves, s [-]: 0.005 mm of gauge, blank
and slide each, in a growth of 0.2 mm."""

GAUGE_SHARE = 0.03
"""Least standard deviation that parts are taken to have, however alike they are [-]."""

FAR_FROM_ALL = 3.5
"""Distance from the median from which on a part is left out, in robust standard deviations [-]:
common practice for the median absolute deviation."""

MAD_TO_SIGMA = 1.4826
"""Standard deviation over median absolute deviation of a normal distribution [-]."""

EXPLAINED_TRACKS = 0.8
"""... whether parts tracked [-]: of five answers one may be wrong."""

MOST_DOUBLED = 2
"""Parts that may double before the others must track [-]: the second or third blank does, or the
answers are worth nothing. Beyond that a third of all parts may."""

ALONE_FAR = 2.0
"""Distance from the estimate up to which one part alone is believed, of what shops differ [-]."""

CORRECTIONS = tuple(i / 20.0 for i in range(41))
"""Tracking corrections that are looked at, over the estimate [-]: a plan's own range, none to
twice of it."""

CORRECTION_DIFFERS = 0.5
"""Standard deviation of the correction among shops, over the estimate [-]: so that its range,
none to twice, is two of them to each side."""

GAUGE_MM = 0.005
"""Standard deviation of a blank's measured diameter [mm]."""

WRONG_ANSWER = 0.05
"""How often a part is said to track and does not, or the other way round [-]: an estimate."""

EXPLAINED = 2.0 / 3.0
"""Share of the answers that a correction must explain to be used [-]: answers that contradict
each other say nothing."""

WORTH_MOVING = 0.02
"""How much likelier a blank must be to track before the estimate is left [-]: blanks that wander
with every clean part would be turned to other limits for nothing."""


@dataclass(frozen=True, slots=True)
class Calibrations:
    """What a log says of each set-up.

    Attributes:
        by_set_up: Calibrations by rolls, material and tool.
    """

    by_set_up: Mapping[MeasuredSetUp, Calibration] = field(default_factory=dict)

    def of(self, job: Job) -> Calibration | None:
        """Return what was measured with a job's rolls, material and tool; None of nothing."""
        return self.by_set_up.get(set_up_of(job)) if self.by_set_up else None


def calibrations_in(log: str | Path) -> Calibrations:
    """Return what a log says of each set-up; nothing where there is no file.

    Raises:
        InputError: if the log cannot be read, is damaged or something else.
    """
    parts: defaultdict[MeasuredSetUp, list[Measurement]] = defaultdict(list)
    for entry in MeasuredLog(log).entries():
        parts[entry.set_up].append(entry)
    found = {set_up: calibration_of(entries) for set_up, entries in parts.items()}
    return Calibrations({key: made for key, made in found.items() if made is not None})


def calibration_of(entries: Iterable[Measurement]) -> Calibration | None:
    """Return what parts of one set-up say; None where they say nothing that a plan can use.

    Args:
        entries: Parts made with the same rolls, material and tool.
    """
    parts = tuple(entries)
    tracking = _correction(parts)
    growth = _growth(parts)
    # Parts that contradict each other in the one are not believed in the other.
    if tracking.contradicts:
        growth = _Learned(left_out=growth.left_out)
    elif growth.contradicts:
        tracking = _Learned(left_out=tracking.left_out)
    used = {part.id: part for part in (*growth.parts, *tracking.parts)}
    left_out = growth.left_out + tracking.left_out
    if not parts or not (used or left_out):
        return None
    dates = sorted(part.when_utc for part in (used.values() or parts))
    return Calibration(
        *parts[0].set_up,
        parts=len(used),
        growth_share=growth.share,
        growth_parts=len(growth.parts),
        growth_spread=growth.spread,
        correction_share=tracking.share,
        correction_parts=len(tracking.parts),
        oldest_utc=dates[0],
        newest_utc=dates[-1],
        left_out=left_out,
    )


@dataclass(frozen=True, slots=True)
class _Learned:
    """What one kind of figure comes to."""

    share: float = 1.0
    parts: tuple[Measurement, ...] = ()
    spread: float | None = None
    left_out: tuple[str, ...] = ()
    contradicts: bool = False
    """Whether the parts contradict each other: then nothing else of theirs is believed either."""


# -- growth --------------------------------------------------------------------------


def _growth(parts: Sequence[Measurement]) -> _Learned:
    # The crests of a double impression say nothing of the depth.
    shares = {p: p.share for p in parts if p.share is not None and p.tracked is not False}
    kept = _near_the_others(
        {p: s for p, s in shares.items() if SHARE_RANGE[0] <= s <= SHARE_RANGE[1]}
    )
    left_out = tuple(
        f"part {part.id}, which grew by {share:.2f} of the estimate"
        for part, share in shares.items()
        if part not in kept
    )
    if not kept:
        return _Learned(left_out=left_out)
    if len(kept) < EXPLAINED * len(shares):
        why = f"growth: only {len(kept)} of {len(shares)} parts agree"
        return _Learned(left_out=(*left_out, why), contradicts=True)
    values = list(kept.values())
    spread = stdev(values) if len(values) > 1 else None
    scatter = PART_DIFFERS if spread is None else max(spread, GAUGE_SHARE)
    if scatter > SHOPS_DIFFER:
        why = f"growth: {len(values)} parts differ from each other by {scatter:.2f} of it"
        return _Learned(spread=spread, left_out=(*left_out, why), contradicts=True)
    if len(values) == 1 and abs(values[0] - 1.0) > ALONE_FAR * SHOPS_DIFFER:
        (part,) = kept
        why = f"part {part.id}, which grew by {values[0]:.2f} of the estimate, until another agrees"
        return _Learned(left_out=(*left_out, why))
    weight = SHOPS_DIFFER**2 / (SHOPS_DIFFER**2 + scatter**2 / len(values))
    return _Learned(1.0 + weight * (median(values) - 1.0), tuple(kept), spread, left_out)


def _near_the_others(shares: Mapping[Measurement, float]) -> dict[Measurement, float]:
    """Return the parts that are not far from the median of all."""
    if len(shares) < 3:
        return dict(shares)
    middle = median(shares.values())
    deviation = median(abs(share - middle) for share in shares.values())
    far = FAR_FROM_ALL * max(MAD_TO_SIGMA * deviation, GAUGE_SHARE)
    return {part: share for part, share in shares.items() if abs(share - middle) <= far}


# -- tracking ------------------------------------------------------------------------


def _correction(parts: Sequence[Measurement]) -> _Learned:
    said = [p for p in parts if p.tracked is not None and p.estimated_correction_mm > 0.0]
    if not said:
        return _Learned()
    likely = [_prior(share) for share in CORRECTIONS]
    for part in said:
        likely = [
            before * _likelihood(part, share)
            for before, share in zip(likely, CORRECTIONS, strict=True)
        ]
    best = _most_likely_to_track(likely, said[-1])
    likeliest = CORRECTIONS[likely.index(max(likely))]
    explains = [part for part in said if _likelihood(part, likeliest) >= 0.5]
    doubled = sum(not part.tracked for part in said)
    often = doubled > max(MOST_DOUBLED, len(said) / 3.0)
    if often or len(explains) < EXPLAINED_TRACKS * len(said):
        why = f"tracking: only {len(explains)} of {len(said)} parts agree on one rolling circle"
        return _Learned(left_out=(why,), contradicts=True)
    left_out = tuple(
        f"part {part.id}, which {'tracked' if part.tracked else 'did not track'} on "
        f"{part.blank_mm:.3f} mm, against the others"
        for part in said
        if part not in explains
    )
    return _Learned(best, tuple(explains), None, left_out)


def _prior(share: float) -> float:
    return NormalDist(1.0, CORRECTION_DIFFERS).pdf(share)


def _likelihood(part: Measurement, share: float) -> float:
    """Return how likely a part's answer is if its correction were a share of the estimate [-]."""
    moved = share * part.estimated_correction_mm - part.correction_mm
    gauge = NormalDist(0.0, GAUGE_MM)
    inside = gauge.cdf(part.blank_mm - part.tracks_from_mm - moved)
    inside *= gauge.cdf(part.tracks_to_mm + moved - part.blank_mm)
    tracks = WRONG_ANSWER + (1.0 - 2.0 * WRONG_ANSWER) * inside
    return tracks if part.tracked else 1.0 - tracks


def _most_likely_to_track(likely: Sequence[float], part: Measurement) -> float:
    """Return the correction whose blank is most likely to track, with a part's window [-]."""
    half = (part.tracks_to_mm - part.tracks_from_mm) / 2.0 / part.estimated_correction_mm

    def chance(share: float) -> float:
        near = (
            weight
            for weight, other in zip(likely, CORRECTIONS, strict=True)
            if abs(other - share) <= half
        )
        return math.fsum(near) / math.fsum(likely)

    chances = [chance(share) for share in CORRECTIONS]
    enough = max(chances) - WORTH_MOVING
    if chance(1.0) >= enough:
        return 1.0
    # The middle of those that are as good. Where a part doubled there are such to each side: the
    # smaller blanks are taken, for stock can be turned smaller and never larger.
    first = next(i for i, c in enumerate(chances) if c >= enough)
    good = list(takewhile(lambda i: chances[i] >= enough, range(first, len(chances))))
    return CORRECTIONS[good[len(good) // 2]]
