"""What a part's figures mean in words, and what to change for the next part."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median
from typing import Any

from knurlcam.measured.part import (
    Figures,
    depth_that_grows_mm,
    middle_and_ends_mm,
    pressed_mm,
    x_of_mm,
)
from knurlcam.plan.expected import full_penetration_mm
from knurlcam.plan.model import Plan
from knurlcam.units.show import Shown

__all__ = ["Answer", "answer_to"]

GOOD_MM = 0.02
"""Difference from the wanted crests that is good [mm]: blank and gauge make as much."""

LEFT_ALONE_MM = 0.01
"""Difference from them up to which no offset is advised [mm]: half of it, so that the
scatter of the next part stays within."""

RUNS_AWAY = 8.0
"""Change of the crests' diameter over that of the depth from which on it is said [-]."""

STEP_MM = 0.001
"""Step in which an offset is entered, on the diameter [mm]."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What figures mean, and what to change.

    Attributes:
        code: What they mean, for scripts.
        message: ... in words.
        offset_x_mm: X offset to have in force, in total, on the diameter, negative deeper; None
            where no offset corrects it [mm]
        offset_change_mm: By how much that changes it [mm]
        blank_limits_mm: Limits of the blank to turn next [mm]
        infeed_mm_per_rev: Infeed of the plan [mm/rev]
        gap_mm: Gap of a straddle to set; None for other tools or where none corrects it [mm]
        next: What to do, in sentences.
    """

    code: str
    message: str
    offset_x_mm: float | None
    offset_change_mm: float | None
    blank_limits_mm: tuple[float, float]
    infeed_mm_per_rev: float
    gap_mm: float | None
    next: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return it as the keys that scripts rely on."""
        return {
            "meaning": {"code": self.code, "message": self.message},
            "offset_x_mm": self.offset_x_mm,
            "offset_change_mm": self.offset_change_mm,
            "blank_limits_mm": list(self.blank_limits_mm),
            "infeed_mm_per_rev": self.infeed_mm_per_rev,
            "gap_mm": self.gap_mm,
            "next": list(self.next),
        }


def answer_to(plan: Plan, figures: Figures) -> Answer:
    """Return what a part's figures mean and what to change.

    Args:
        plan: The plan that its program was made from.
        figures: What was measured on it.

    Raises:
        InputError: if a figure is not possible on this part.
    """
    figures.refuse_impossible(plan)
    shown = Shown(plan.job.units).length
    if figures.doubled or (figures.teeth is not None and figures.teeth != plan.teeth):
        return _does_not_track(plan, figures)
    if not figures.crests_mm:
        return _answer(plan, "tracks", "the rolls track; no crests were measured", ())
    crests = median(figures.crests_mm)
    short = plan.knurled_diameter_mm - crests
    growth = crests - figures.blank_mm
    if growth >= plan.knurl.full_growth_mm - GOOD_MM:
        return _full(plan, short)
    # On the planned blank the slide presses deeper or less deep by half of the difference.
    deeper = (plan.blank_diameter_mm - figures.blank_mm) / 2.0
    now = max(0.0, pressed_mm(plan, growth, 0.0) + deeper)
    wanted = depth_that_grows_mm(plan.knurl, plan.knurled_diameter_mm - plan.blank_diameter_mm)
    code, message = _meaning(short, shown)
    said = [*_uneven(plan, figures), *_near_full(plan, wanted)]
    # The gap decides how deep a straddle presses: its slide stands over the axis.
    if plan.gap_mm is not None:
        gap = plan.gap_mm - 2.0 * (wanted - now) if abs(short) > LEFT_ALONE_MM else plan.gap_mm
        said.insert(0, f"an offset does not correct a straddle: set its gap to {shown(gap)}")
        return _answer(plan, code, message, said, gap_mm=gap)
    x_now, x_wanted = (x_of_mm(plan, depth) for depth in (now, wanted))
    change = 0.0 if abs(short) <= LEFT_ALONE_MM else x_wanted - x_now
    change = round(change / STEP_MM) * STEP_MM
    if change:
        word = "deeper" if change < 0.0 else "less deep"
        total = figures.offset_mm + change
        said.insert(
            0,
            f"enter an X offset of {total:+.3f} mm in total, on the diameter ({change:+.3f} mm, "
            f"{word}), and turn the next blank to {shown(plan.blank_diameter_mm)}",
        )
    return _answer(plan, code, message, said, figures.offset_mm + change, change)


def _answer(
    plan: Plan,
    code: str,
    message: str,
    said: list[str] | tuple[str, ...],
    offset_mm: float | None = None,
    change_mm: float | None = None,
    gap_mm: float | None = None,
) -> Answer:
    return Answer(
        code,
        message,
        offset_mm,
        change_mm,
        plan.blank_limits_mm,
        plan.infeed_mm_per_rev,
        gap_mm,
        tuple(said),
    )


def _meaning(short_mm: float, shown: Any) -> tuple[str, str]:
    if abs(short_mm) <= GOOD_MM:
        return "as-wanted", f"the crests are within {shown(GOOD_MM)} of the wanted diameter"
    if short_mm > 0.0:
        return "short", f"the crests are {shown(short_mm)} short: most likely too little depth"
    return "too-deep", f"the crests are {shown(-short_mm)} too high: most likely too much depth"


def _does_not_track(plan: Plan, figures: Figures) -> Answer:
    shown = Shown(plan.job.units).length
    low, high = plan.blank_limits_mm
    if not figures.doubled and figures.teeth is not None and abs(figures.teeth - plan.teeth) > 1:
        twice = abs(figures.teeth - 2 * plan.teeth) <= 1
        if not twice:
            return _answer(
                plan,
                "other-rolls",
                f"{figures.teeth} teeth where {plan.teeth} are planned: most likely other rolls",
                ["check pitch and teeth of the rolls; an offset does not correct it"],
            )
    message = "the rolls do not track: a double impression, or another number of teeth"
    said = ["an offset does not correct it"]
    if figures.blank_mm < low:
        said.append(f"the blank is below its limit: turn {shown(low)} to {shown(high)}")
    elif figures.blank_mm > high:
        said.append(f"the blank is above its limit: turn {shown(low)} to {shown(high)}")
    else:
        said.append(
            "the blank is within its limits, so the rolls roll on another circle than estimated: "
            "plan the job again, which takes this part into account, and turn the blank that it "
            "gives"
        )
    return _answer(plan, "not-tracking", message, said)


def _full(plan: Plan, short_mm: float) -> Answer:
    shown = Shown(plan.job.units).length
    said = ["deeper does not raise the crests: the teeth are full, and the rolls are lifted off"]
    if short_mm > GOOD_MM:
        said.append(f"the job must change: a blank that is {shown(short_mm)} larger, or more teeth")
    else:
        said.append("take less depth, or less process.fullness, and measure the roots")
    return _answer(plan, "full", "the teeth are pressed full", said)


def _uneven(plan: Plan, figures: Figures) -> list[str]:
    if len(figures.crests_mm) < 3:
        return []
    middle, ends = middle_and_ends_mm(figures.crests_mm)
    if ends - middle <= GOOD_MM:
        return []
    shown = Shown(plan.job.units).length
    return [
        f"the middle is {shown(ends - middle)} below the ends: the work deflects, which an offset "
        "does not correct; see process.compensate or another holding"
    ]


def _near_full(plan: Plan, depth_mm: float) -> list[str]:
    knurl = plan.knurl
    step = STEP_MM / 2.0
    if depth_mm + step >= full_penetration_mm(knurl):
        return ["the wanted teeth are full: a deeper offset raises nothing"]
    rises = 2.0 * (knurl.rise_mm(depth_mm + step) - knurl.rise_mm(depth_mm))
    if rises < RUNS_AWAY * step:
        return []
    return [
        f"near full height crests run away: 0.001 mm of X moves them by {rises:.3f} mm; go in "
        "small steps and measure each"
    ]
