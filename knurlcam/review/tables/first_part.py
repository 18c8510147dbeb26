"""The table of the first part: what to look at and to measure on it."""

from __future__ import annotations

import math
from typing import NamedTuple

from knurlcam.data.knurls import forms
from knurlcam.plan.expected_text import expected_text
from knurlcam.plan.model import Plan
from knurlcam.plan.report import fullness_text
from knurlcam.units.show import Shown

__all__ = ["Check", "first_part"]

TEN = 10
"""Teeth over which a pitch is measured: an error of one is ten times smaller."""

GOOD_CRESTS = 0.9
"""Share of the full height from which hardly any flat is left on the crests [-]"""


class Check(NamedTuple):
    """One thing to measure on the first part: what, how much, its limits, and how."""

    what: str
    wanted: str
    limits: str
    how: str


def first_part(plan: Plan) -> tuple[Check, ...]:
    """Return what to look at and measure on the first part."""
    return (
        _teeth(plan),
        _diameter(plan),
        _length(plan),
        _pitch(plan),
        _crests(plan),
        *_helix(plan),
    )


def _teeth(plan: Plan) -> Check:
    how = "print one turn on paper; twice as many is a double impression"
    return Check("Teeth round the work", str(plan.teeth), "exact", how)


def _diameter(plan: Plan) -> Check:
    shown = Shown(plan.job.units)
    wanted, limits, why = plan.knurled_diameter_mm, plan.knurled_limits_mm, _class(plan)
    if limits is None and plan.press_fit is not None:
        limits, why = plan.press_fit.knurled_limits_mm, "for the press fit"
    allowed = "the drawing's"
    if limits is not None:
        upper, lower = limits
        allowed = f"{shown.bare(wanted + lower)} to {shown.length(wanted + upper)}"
    expected = expected_text(plan.expected, plan.job.units)
    return Check(
        "Diameter over the crests",
        shown.length(wanted),
        allowed,
        f"{why}; estimated to come out at {expected}; measure all round",
    )


def _class(plan: Plan) -> str:
    """Return the class that limits the knurled diameter."""
    if plan.knurled_limits_mm is None:
        return "no published class for this pitch"
    purpose = plan.job.purpose
    if purpose == "press fit":
        return "class III, for a press fit (ASME B94.6)"
    return f"class I, for {purpose} (ASME B94.6)"


def _length(plan: Plan) -> Check:
    shown = Shown(plan.job.units)
    start = shown.bare(-plan.job.knurl.start)
    return Check(
        "Length of the knurl",
        shown.length(plan.job.knurl.length),
        "the drawing's",
        f"from Z {start} to the end of the knurl",
    )


def _pitch(plan: Plan) -> Check:
    """Return the pitch over ten teeth, round the crests and straight across."""
    shown = Shown(plan.job.units)
    wanted, teeth = plan.knurled_diameter_mm, plan.teeth
    count = min(TEN, teeth)
    # Both ways to measure: round the crests with paper, straight across with a caliper.
    angle = 2.0 * math.pi * count / teeth
    how = "round the crests, rolled off on paper"
    if teeth > 2 * TEN:
        how += f"; straight across {shown.length(wanted * math.sin(angle / 2.0))}"
    return Check(
        f"Pitch over {'ten' if teeth >= TEN else teeth} teeth",
        shown.length(wanted * angle / 2.0),
        "even all round",
        how,
    )


def _crests(plan: Plan) -> Check:
    if plan.fullness >= GOOD_CRESTS:
        look = "nearly sharp"
    else:
        good = plan.knurl.is_good(plan.fullness)
        look = "a narrow flat on each" if good else "a broad flat on each"
    return Check(
        "Crests",
        f"{fullness_text(plan)} of full height",
        "by eye",
        f"{look}; no flakes, no finer second pattern, alike from end to end",
    )


def _helix(plan: Plan) -> list[Check]:
    knurl = plan.knurl
    if not knurl.helix_deg:
        return []
    hand = forms()[knurl.form].hand
    wanted, how = f"{knurl.helix_deg:g}°", "crossing lines lean alike to both sides"
    if hand != "both":
        wanted, how = f"{wanted}, {hand}-hand", f"leans like a {hand}-hand thread"
    return [Check("Helix", wanted, "the drawing's", how)]
