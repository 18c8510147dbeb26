"""Which knurl, which blank, how many teeth: from what the job gives of the two diameters.

One diameter is enough: from the knurled diameter follows the blank, by the balance of volume
and a whole number of teeth; from the blank follows the knurled diameter. Where a press fit
gives neither, the fit chooses the knurled diameter.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from knurlcam.data.knurls import forms
from knurlcam.job.geometry import called_geometry
from knurlcam.job.model import Job
from knurlcam.mechanics.knurl import (
    FULLNESS_SLACK,
    GOOD_FULLNESS,
    LEAST_FULLNESS,
    Candidate,
    KnurlGeometry,
    is_good,
)
from knurlcam.mechanics.tooth import height_for_rise, penetration
from knurlcam.mechanics.tracking import blank_diameter, blank_tolerance, nearest_teeth
from knurlcam.plan.remarks import COMMON, CONTRACT, HANDBOOK_TRACKING, Remarks
from knurlcam.plan.results import Diameters
from knurlcam.units.kinds import Kind

if TYPE_CHECKING:
    from knurlcam.plan.press_fit import Joint, Toothed

__all__ = ["choose_diameters", "choose_knurl", "toothed"]

DEFAULT_FULLNESS = 0.95
"""H / H_f that is wanted unless the job says otherwise [-]: fairly sharp crests, short of a
full profile, whose crests flake."""

REFUSED_MISFIT = 0.25
"""Misfit of a given blank from which on it is refused [teeth] (rule of this program)."""

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
    # Said even where it is given: a reader should see what the callout was taken for.
    remarks.choose("knurl.callout", knurl.callout, None, given=True, why="")
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
    job: Job, knurl: KnurlGeometry, joint: Joint | None, remarks: Remarks
) -> Diameters:
    """Return blank, teeth and tooth.

    Args:
        job: The job.
        knurl: The knurl's geometry.
        joint: What a press fit has before the diameters; None without one.
        remarks: Where it is said.

    Raises:
        CannotBeDoneError: where no blank can be found.
    """
    size, fit_chose = _size(job, knurl, joint, remarks)
    _say_diameters(job, size, fit_chose, remarks)
    if not is_good(size.fullness):
        remarks.note(
            "warning",
            "shallow",
            f"the teeth reach only {size.fullness:.2f} of their full height "
            f"({GOOD_FULLNESS:g} to 1 is good): another diameter or pitch gives a better knurl",
            CONTRACT,
        )
    height = size.fullness * knurl.full_height_mm
    return Diameters(
        teeth=size.teeth,
        misfit_teeth=size.misfit,
        blank_mm=size.blank,
        blank_tolerance_mm=blank_tolerance(knurl.transverse_pitch_mm, knurl.diametral_pitch),
        knurled_mm=size.knurled,
        fullness=size.fullness,
        tooth_height_mm=height,
        penetration_mm=penetration(height, knurl.full_height_mm, knurl.family),
        candidates=size.candidates,
    )


def _size(
    job: Job, knurl: KnurlGeometry, joint: Joint | None, remarks: Remarks
) -> tuple[_Size, str | None]:
    """Return the size, and why where a press fit has chosen the knurled diameter."""
    part = job.part
    if part.blank_diameter is not None:
        return _from_blank(job, knurl, part.blank_diameter, remarks), None
    if part.knurled_diameter is not None:
        return _from_knurled(job, knurl, part.knurled_diameter, remarks), None
    assert joint is not None  # the job model sees to it
    # Imported here: only a press fit pays for it.
    from knurlcam.plan.press_fit_choice import choose_diameter

    knurled, why = choose_diameter(joint, lambda d: toothed(job, knurl, d))
    return _from_knurled(job, knurl, knurled, remarks), why


def _say_diameters(job: Job, size: _Size, fit_chose: str | None, remarks: Remarks) -> None:
    remarks.choose(
        "part.blank_diameter",
        size.blank,
        Kind.LENGTH,
        given=job.part.blank_diameter is not None,
        why=f"{size.teeth} whole teeth fit round it, nearest to the wanted fullness",
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


def _from_blank(job: Job, knurl: KnurlGeometry, blank: float, remarks: Remarks) -> _Size:
    """A blank that is given may be asked to be turned smaller, never silently changed."""
    teeth, misfit = nearest_teeth(blank, knurl.transverse_pitch_mm)
    _check_misfit(knurl, blank, teeth, misfit, remarks)
    knurled = job.part.knurled_diameter
    if knurled is None:
        fullness = _wanted_fullness(job, remarks)
        knurled = blank + knurl.growth_mm(fullness)
    else:
        fullness = _fullness_between(job, knurl, (blank, knurled), remarks)
    growth = knurled - blank
    # Shown beside it only: the blank that is given stays.
    candidates = tuple(
        Candidate(
            n,
            blank_diameter(n, knurl.transverse_pitch_mm),
            fullness,
            blank_diameter(n, knurl.transverse_pitch_mm) + growth,
        )
        for n in range(max(1, teeth - 2), teeth + 3)
    )
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
    height = height_for_rise(min(max(growth, 0.0), most) / 2.0, knurl.full_height_mm, knurl.family)
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
    remarks.refuse(
        "diameters-disagree",
        "part.knurled_diameter",
        f"a blank of {mm(blank)} grows to between {up(blank + least)} and "
        f"{down(blank + most)}, not to {mm(knurled)}; give one of the two "
        f"diameters, or a blank between {up(knurled - most)} and {down(knurled - least)}",
        source="conservation of volume",
    )
    remarks.stop_if_refused()


def _check_misfit(
    knurl: KnurlGeometry, blank: float, teeth: int, misfit: float, remarks: Remarks
) -> None:
    """Refuse or warn of a blank that no whole number of teeth fits round."""
    size = abs(misfit)
    if size <= WARNED_MISFIT:
        return
    message = _misfit_text(knurl, blank, (teeth, misfit), remarks)
    if size > REFUSED_MISFIT:
        remarks.refuse("does-not-track", "part.blank_diameter", message, source=HANDBOOK_TRACKING)
    else:
        remarks.note("warning", "tracking-doubtful", message, HANDBOOK_TRACKING)


def _misfit_text(
    knurl: KnurlGeometry, blank: float, closest: tuple[int, float], remarks: Remarks
) -> str:
    teeth, misfit = closest
    # The blank lies between two that track: one is reached by turning.
    below = teeth if misfit >= 0 else teeth - 1
    options = [
        f"{remarks.mm(blank_diameter(n, knurl.transverse_pitch_mm))} ({n} teeth)"
        for n in (below, below + 1)
        if n >= 1
    ]
    message = (
        f"a blank of {remarks.mm(blank)} takes {teeth + misfit:.2f} teeth, {abs(misfit):.2f} of a "
        f"tooth off a whole number: the rolls would not track and print a double impression; "
        f"turn it to {options[0]}"
    )
    if len(options) > 1:
        # The larger one last: stock is turned smaller, never larger.
        message += f", or turn {options[1]} if stock and drawing allow"
    return message


# -- from the knurled diameter -------------------------------------------------


def _wanted_fullness(job: Job, remarks: Remarks) -> float:
    asked = job.process.fullness
    value = DEFAULT_FULLNESS if asked is None else asked
    remarks.choose(
        "process.fullness",
        value,
        None,
        given=asked is not None,
        why="fairly sharp crests; the crests of a full profile flake",
    )
    return value


def _from_knurled(job: Job, knurl: KnurlGeometry, knurled: float, remarks: Remarks) -> _Size:
    found = _candidates(knurl, knurled)
    best = _best(found, _wanted_fullness(job, remarks))
    if best is None:
        _refuse_diameter(knurl, knurled, remarks)
        raise AssertionError("unreachable: refused above")
    return _Size(best.teeth, 0.0, best.blank_diameter_mm, knurled, best.fullness, tuple(found))


def _candidates(knurl: KnurlGeometry, knurled: float) -> list[Candidate]:
    """Return all blanks with a whole number of teeth that grow to a diameter."""
    pitch, most = knurl.transverse_pitch_mm, knurl.full_growth_mm
    slack = most * FULLNESS_SLACK
    smallest = knurled - most - slack
    largest = knurled - knurl.least_growth_mm + slack
    # The slack may let one in at the lower end that is too small: asked below.
    teeth = max(1, math.ceil(math.pi * smallest / pitch))
    found = []
    while (blank := blank_diameter(teeth, pitch)) <= largest:
        growth = min(max(knurled - blank, 0.0), most)
        if blank >= smallest:
            height = height_for_rise(growth / 2.0, knurl.full_height_mm, knurl.family)
            found.append(Candidate(teeth, blank, height / knurl.full_height_mm, knurled))
        teeth += 1
    return found


def _best(found: list[Candidate], wanted: float) -> Candidate | None:
    """Return the good one nearest the wanted fullness, else the fullest; None of none."""
    good = [c for c in found if is_good(c.fullness)]
    if good:
        # Of two equally near the smaller blank is taken, as the handbook does.
        return min(good, key=lambda c: (abs(c.fullness - wanted), c.teeth))
    return max(found, key=lambda c: c.fullness, default=None)


def _refuse_diameter(knurl: KnurlGeometry, knurled: float, remarks: Remarks) -> None:
    pitch, most = knurl.transverse_pitch_mm, knurl.full_growth_mm
    below = max(0, math.floor(math.pi * (knurled - most) / pitch))
    # The floor may come out one too low by rounding.
    while blank_diameter(below + 1, pitch) + most < knurled:
        below += 1
    above = blank_diameter(below + 1, pitch) + knurl.least_growth_mm
    options = []
    if below >= 1:
        largest = remarks.mm_down(blank_diameter(below, pitch) + most)
        options.append(f"{largest} below ({below} teeth, full)")
    options.append(
        f"{remarks.mm_up(above)} above ({below + 1} teeth, {LEAST_FULLNESS:g} of the full height)"
    )
    remarks.refuse(
        "no-whole-tooth-count",
        "part.knurled_diameter",
        f"no whole number of teeth reaches {remarks.mm(knurled)} with {knurl.callout}; the "
        f"nearest diameters that can be made are {' and '.join(options)}; change the "
        "diameter or the pitch",
        source=HANDBOOK_TRACKING,
    )
    remarks.stop_if_refused()


# -- for a press fit -----------------------------------------------------------


def toothed(job: Job, knurl: KnurlGeometry, knurled: float) -> Toothed | None:
    """Return the knurl that is made for a diameter over the crests, silently."""
    # Imported here: only a press fit pays for it.
    from knurlcam.plan.press_fit import Toothed

    wanted = job.process.fullness or DEFAULT_FULLNESS
    best = _best(_candidates(knurl, knurled), wanted)
    if best is None:
        return None
    height = best.fullness * knurl.full_height_mm
    return Toothed(best.blank_diameter_mm, height, is_good(best.fullness))
