"""Which knurl, which blank, how many teeth: from what the job gives of the two diameters.

One diameter is enough: from the knurled diameter follows the blank, by the balance of volume
and a whole number of teeth; from the blank follows the knurled diameter. Where a press fit
gives neither, the fit chooses the knurled diameter.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

from knurlcam.data.knurls import forms
from knurlcam.job.geometry import called_geometry
from knurlcam.job.model import Job
from knurlcam.mechanics.knurl import (
    FULLNESS_SLACK,
    LEAST_FULLNESS,
    Candidate,
    KnurlGeometry,
)
from knurlcam.mechanics.tooth import penetration
from knurlcam.mechanics.tracking import Tracking, blank_tolerance, nearest_teeth
from knurlcam.plan.first_turn import FirstTurn
from knurlcam.plan.remarks import COMMON, CONTRACT, HANDBOOK_TRACKING, Advice, Remarks
from knurlcam.plan.results import Diameters
from knurlcam.units.kinds import Kind

if TYPE_CHECKING:
    from knurlcam.plan.press_fit import Joint, Toothed

__all__ = ["choose_diameters", "choose_knurl", "toothed"]

PRESS_FIT_FULLNESS = 0.85
"""H / H_f that is wanted for a press fit unless the job says otherwise [-]: crests sharp enough to
bite, short of a full profile, whose crests flake (rule of this program)."""

REFUSED_MISFIT = 0.25
"""Misfit of a given blank from which on it is refused [teeth] (rule of this program)."""

MOST_TEETH = 1000
"""Teeth round the work above which a length is likely to be in a wrong unit [-]"""

LARGEST_MM = 300.0
"""Knurled diameter above which it is [mm]: hardly any lathe that knurls holds larger work."""

WARNED_MISFIT = 0.1
"""Misfit of a given blank from which on it is warned of [teeth] (rule of this program)."""

FULLNESS_AGREES = 0.02
"""Difference of H / H_f up to which a given fullness agrees with two given diameters [-]."""


class _Size(NamedTuple):
    """What one of the ways from a diameter to a blank comes to."""

    teeth: int
    misfit: float
    blank: float
    knurled: float
    fullness: float
    candidates: tuple[Candidate, ...]


def choose_knurl(job: Job, remarks: Remarks) -> KnurlGeometry:
    """Return the knurl's geometry, and say which of its figures the job leaves open."""
    asked = job.knurl.asked
    knurl = called_geometry(asked, swivelled=job.tool.swivelled)
    # As it was given, and what it was taken for: "21 TPI diamond" does not say which diamond.
    said = " ".join((job.knurl.callout or knurl.callout).split())
    taken = "" if said == knurl.callout else knurl.callout
    remarks.choose("knurl.callout", said, None, given=True, why="", taken_as=taken)
    remarks.choose(
        "knurl.purpose",
        asked.purpose or "grip",
        None,
        given=asked.purpose is not None,
        why=COMMON,
    )
    if forms()[asked.form].helical:
        remarks.choose(
            "knurl.helix",
            knurl.helix_deg,
            Kind.ANGLE,
            given=asked.helix_deg is not None,
            why="usual for this form (DIN 82)",
        )
    remarks.choose(
        "knurl.profile_angle",
        knurl.profile_deg,
        Kind.ANGLE,
        given=asked.profile_deg is not None,
        why="usual profile (DIN 82)",
    )
    return knurl


def choose_diameters(
    job: Job, first: FirstTurn, joint: Joint | None, remarks: Remarks
) -> Diameters:
    """Return blank, teeth and tooth.

    Args:
        job: The job.
        first: The knurl's geometry, and how deep the first turn presses it.
        joint: What a press fit has before the diameters; None without one.
        remarks: Where it is said.

    Raises:
        CannotBeDoneError: where no blank can be found.
    """
    knurl = first.knurl
    size, fit_chose = _size(job, first, joint, remarks)
    _say_diameters(job, size, fit_chose, remarks)
    if not knurl.is_good(size.fullness):
        remarks.note(
            "warning",
            "shallow",
            f"the teeth reach only {size.fullness:.2f} of their full height "
            f"({knurl.good_fullness:g} to 1 is good): another diameter or pitch gives a better "
            "knurl",
            CONTRACT,
        )
    _check_size(size, remarks)
    height = size.fullness * knurl.full_height_mm
    depth = penetration(height, knurl.full_height_mm, knurl.family)
    return Diameters(
        teeth=size.teeth,
        misfit_teeth=size.misfit,
        blank_mm=size.blank,
        blank_tolerance_mm=blank_tolerance(knurl.transverse_pitch_mm, knurl.diametral_pitch),
        knurled_mm=size.knurled,
        fullness=size.fullness,
        tooth_height_mm=height,
        penetration_mm=depth,
        rise_mm=(height - depth) * knurl.growth_share,
        candidates=size.candidates,
        tracking=first.tracking(size.blank, depth),
    )


def _check_size(size: _Size, remarks: Remarks) -> None:
    """Refuse a knurl of a size that is mostly a wrong unit."""
    if size.teeth <= MOST_TEETH and size.knurled <= LARGEST_MM:
        return
    remarks.refuse(
        "unlikely-size",
        "part.knurled_diameter",
        f"the knurl would have {size.teeth} teeth on {remarks.mm(size.knurled)}: more than "
        f"{MOST_TEETH} teeth or {remarks.mm(LARGEST_MM)} is mostly a length in a wrong unit; check "
        "units, diameter and pitch",
        source=CONTRACT,
    )


def _size(
    job: Job, first: FirstTurn, joint: Joint | None, remarks: Remarks
) -> tuple[_Size, str | None]:
    """Return the size, and why where a press fit has chosen the knurled diameter."""
    part = job.part
    if part.blank_diameter is not None:
        return _from_blank(job, first, part.blank_diameter, remarks), None
    if part.knurled_diameter is not None:
        return _from_knurled(job, first, part.knurled_diameter, remarks), None
    assert joint is not None  # the job model sees to it
    # Imported here: only a press fit pays for it.
    from knurlcam.plan.press_fit_choice import choose_diameter

    knurled, why = choose_diameter(joint, lambda d: toothed(job, first, d))
    return _from_knurled(job, first, knurled, remarks), why


def _say_diameters(job: Job, size: _Size, fit_chose: str | None, remarks: Remarks) -> None:
    remarks.choose(
        "part.blank_diameter",
        size.blank,
        Kind.LENGTH,
        given=job.part.blank_diameter is not None,
        why=f"{size.teeth} whole teeth fit round it, nearest to the wanted fullness: "
        f"{size.fullness:.3f}",
    )
    given = job.part.knurled_diameter is not None
    grows = "" if given else f"the blank grows by {remarks.mm(size.knurled - size.blank)}"
    remarks.choose(
        "part.knurled_diameter",
        size.knurled,
        Kind.LENGTH,
        given=given,
        computed=fit_chose is None,
        why=fit_chose or grows,
    )


# -- from the blank ------------------------------------------------------------


def _from_blank(job: Job, first: FirstTurn, blank: float, remarks: Remarks) -> _Size:
    """A blank that is given may be asked to be turned smaller, never silently changed."""
    knurl, knurled = first.knurl, job.part.knurled_diameter
    if knurled is None:
        fullness = _wanted_fullness(job, knurl, remarks)
        knurled = blank + knurl.growth_mm(fullness)
    else:
        fullness = _fullness_between(job, knurl, (blank, knurled), remarks)
    height, growth = fullness * knurl.full_height_mm, knurled - blank
    tracking = first.tracking(blank, penetration(height, knurl.full_height_mm, knurl.family))
    teeth, misfit = nearest_teeth(blank, tracking.transverse_pitch_mm, tracking.correction_mm)
    _check_misfit(tracking, blank, teeth, misfit, remarks)
    # Shown beside it only: the blank that is given stays.
    near = [(n, tracking.blank_diameter(n)) for n in range(max(1, teeth - 2), teeth + 3)]
    candidates = tuple(Candidate(n, d, fullness, d + growth) for n, d in near)
    return _Size(teeth, misfit, blank, knurled, fullness, candidates)


def _fullness_between(
    job: Job, knurl: KnurlGeometry, diameters: tuple[float, float], remarks: Remarks
) -> float:
    """Return the fullness that a given blank and a given knurled diameter need."""
    growth = diameters[1] - diameters[0]
    least, most = knurl.least_growth_mm, knurl.full_growth_mm
    if not least * (1 - FULLNESS_SLACK) <= growth <= most * (1 + FULLNESS_SLACK):
        _refuse_disagreement(knurl, diameters, remarks)
    # Into the range of the formula: the slack may let a growth in that is rounded beyond it.
    height = knurl.height_for_growth_mm(min(max(growth, 0.0), most))
    fullness = height / knurl.full_height_mm
    asked = job.process.fullness
    if asked is not None and abs(asked - fullness) > FULLNESS_AGREES:
        remarks.note(
            "warning",
            "fullness-not-used",
            f"the two diameters need a fullness of {fullness:.3f}; "
            f"process.fullness = {asked:g} was not used",
            CONTRACT,
        )
    remarks.choose(
        "process.fullness",
        fullness,
        None,
        given=False,
        computed=True,
        why="follows from the two given diameters",
    )
    return fullness


def _refuse_disagreement(
    knurl: KnurlGeometry, diameters: tuple[float, float], remarks: Remarks
) -> None:
    (blank, knurled), mm, up, down = diameters, remarks.mm, remarks.mm_up, remarks.mm_down
    least, most = knurl.least_growth_mm, knurl.full_growth_mm
    # Rounded inward: each length that is printed can be planned as it is read.
    alone = [
        Advice("give the knurled diameter alone", {"part.blank_diameter": None}),
        Advice("give the blank alone", {"part.knurled_diameter": None}),
    ]
    advice = "".join(f"; {text}" for text in remarks.tried("diameters-disagree", alone))
    remarks.refuse(
        "diameters-disagree",
        "part.knurled_diameter",
        f"a blank of {mm(blank)} grows to between {up(blank + least)} and "
        f"{down(blank + most)}, not to {mm(knurled)}, which takes a blank between "
        f"{up(knurled - most)} and {down(knurled - least)}{advice}",
        source="conservation of volume",
    )
    remarks.stop_if_refused()


def _check_misfit(
    tracking: Tracking, blank: float, teeth: int, misfit: float, remarks: Remarks
) -> None:
    """Refuse or warn of a blank that no whole number of teeth fits round."""
    size = abs(misfit)
    if size <= WARNED_MISFIT:
        return
    code = "does-not-track" if size > REFUSED_MISFIT else "tracking-doubtful"
    message = (
        f"a blank of {remarks.mm(blank)} takes {teeth + misfit:.2f} teeth, {abs(misfit):.2f} of a "
        "tooth off a whole number: the rolls would not track and print a double impression"
    )
    # The blank lies between two that track: one is reached by turning.
    below = teeth if misfit >= 0 else teeth - 1
    options = list(remarks.tried(code, _blanks_that_track(tracking, below, remarks)))
    if options:
        message += f"; {', or '.join(options)}"
    if code == "does-not-track":
        remarks.refuse(code, "part.blank_diameter", message, source=HANDBOOK_TRACKING)
    else:
        remarks.note("warning", code, message, HANDBOOK_TRACKING)


def _blanks_that_track(tracking: Tracking, below: int, remarks: Remarks) -> Iterator[Advice]:
    """Yield the two blanks between which one lies that does not track."""
    key, smaller = "part.blank_diameter", below >= 1
    if smaller:
        blank = remarks.mm(tracking.blank_diameter(below))
        yield Advice(f"turn it to {blank} ({below} teeth)", {key: blank})
    # The larger one last: stock is turned smaller, never larger.
    blank, teeth = remarks.mm(tracking.blank_diameter(below + 1)), f"({below + 1} teeth)"
    text = f"turn {blank} {teeth} if stock and drawing allow"
    yield Advice(text if smaller else f"turn it to {blank} {teeth}", {key: blank})


# -- from the knurled diameter -------------------------------------------------


def _wanted_fullness(job: Job, knurl: KnurlGeometry, remarks: Remarks) -> float:
    asked, value = job.process.fullness, _fullness_of(job, knurl)
    why = "the usual depth for this form (a published table)"
    if job.purpose == "press fit":
        why = "crests that bite; those of a full profile flake"
    remarks.choose("process.fullness", value, None, given=asked is not None, why=why)
    return value


def _fullness_of(job: Job, knurl: KnurlGeometry) -> float:
    """Return the wanted fullness, as the job says or as usual [-]."""
    if job.process.fullness is not None:
        return job.process.fullness
    return PRESS_FIT_FULLNESS if job.purpose == "press fit" else knurl.usual_fullness


def _from_knurled(job: Job, first: FirstTurn, knurled: float, remarks: Remarks) -> _Size:
    found = _candidates(first, knurled)
    best = _best(found, first.knurl, _wanted_fullness(job, first.knurl, remarks))
    if best is None:
        _refuse_diameter(first, knurled, remarks)
        raise AssertionError("unreachable: refused above")
    return _Size(best.teeth, 0.0, best.blank_diameter_mm, knurled, best.fullness, tuple(found))


def _candidates(first: FirstTurn, knurled: float) -> list[Candidate]:
    """Return all blanks with a whole number of teeth that grow to a diameter."""
    knurl = first.knurl
    most = knurl.full_growth_mm
    slack = most * FULLNESS_SLACK
    smallest = knurled - most - slack
    largest = knurled - knurl.least_growth_mm + slack
    teeth = _fewest_teeth(first, smallest)
    found = []
    # A correction makes no blank smaller: what is too large without one is not solved for.
    while first.bare_blank_mm(teeth) <= largest:
        blank = first.blank_for_diameter(teeth, knurled)
        if smallest <= blank <= largest:
            growth = min(max(knurled - blank, 0.0), most)
            height = knurl.height_for_growth_mm(growth)
            found.append(Candidate(teeth, blank, height / knurl.full_height_mm, knurled))
        teeth += 1
    return found


def _fewest_teeth(first: FirstTurn, blank_mm: float) -> int:
    """Return fewer teeth than fit round a blank, or just as many: the first to look at."""
    bare = blank_mm - (first.most_correction_mm if first.fixed is None else first.fixed[0])
    return max(1, math.ceil(math.pi * bare / first.knurl.transverse_pitch_mm))


def _best(found: list[Candidate], knurl: KnurlGeometry, wanted: float) -> Candidate | None:
    """Return the good one nearest the wanted fullness, else the fullest; None of none."""
    good = [c for c in found if knurl.is_good(c.fullness)]
    if good:
        # Of two equally near the smaller blank is taken, as the handbook does.
        return min(good, key=lambda c: (abs(c.fullness - wanted), c.teeth))
    return max(found, key=lambda c: c.fullness, default=None)


def _refuse_diameter(first: FirstTurn, knurled: float, remarks: Remarks) -> None:
    knurl = first.knurl
    most = knurl.full_growth_mm
    below = max(0, _fewest_teeth(first, knurled - most) - 1)
    while first.blank_for_fullness(below + 1, 1.0) + most < knurled:
        below += 1
    above = first.blank_for_fullness(below + 1, LEAST_FULLNESS) + knurl.least_growth_mm
    near = []
    if below >= 1:
        largest = remarks.mm_down(first.blank_for_fullness(below, 1.0) + most)
        near.append((largest, f"{largest} below ({below} teeth, full)"))
    least = remarks.mm_up(above)
    near.append(
        (least, f"{least} above ({below + 1} teeth, {LEAST_FULLNESS:g} of the full height)")
    )
    code, key = "no-whole-tooth-count", "part.knurled_diameter"
    options = list(remarks.tried(code, (Advice(text, {key: size}) for size, text in near)))
    nearest = f"; the nearest diameters that can be made: {' and '.join(options)}"
    remarks.refuse(
        code,
        key,
        f"no whole number of teeth reaches {remarks.mm(knurled)} with {knurl.callout}"
        + (nearest if options else ""),
        source=HANDBOOK_TRACKING,
    )
    remarks.stop_if_refused()


# -- for a press fit -----------------------------------------------------------


def toothed(job: Job, first: FirstTurn, knurled: float) -> Toothed | None:
    """Return the knurl that is made for a diameter over the crests, silently."""
    # Imported here: only a press fit pays for it.
    from knurlcam.plan.press_fit import Toothed

    knurl = first.knurl
    best = _best(_candidates(first, knurled), knurl, _fullness_of(job, knurl))
    if best is None:
        return None
    height = best.fullness * knurl.full_height_mm
    return Toothed(best.blank_diameter_mm, height, knurl.is_good(best.fullness))
