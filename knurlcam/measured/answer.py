"""What a part's figures mean in words, and what to change for the next part."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from statistics import median
from typing import Any

from knurlcam.errors import InputError
from knurlcam.measured.part import (
    Figures,
    depth_that_grows_mm,
    middle_and_lower_end_mm,
    pressed_mm,
    x_of_mm,
)
from knurlcam.plan.expected import full_penetration_mm
from knurlcam.plan.model import Plan
from knurlcam.units.show import Shown, least_shown_mm

__all__ = ["Answer", "answer_to"]

GOOD_MM = 0.02
"""Difference from the wanted crests that is good [mm]: blank and gauge make as much."""

LEFT_ALONE_MM = 0.01
"""Difference from them up to which no offset is advised [mm]: half of it, so that the
scatter of the next part stays within."""

RUNS_AWAY = 8.0
"""Change of the crests' diameter over that of the depth from which on it is said [-]."""

LEAST_ALONG = 3
"""Crests along the knurl that show a middle and two ends [-]."""

ROOT_MM = 0.05
"""How much deeper than the crests show roots may be, on the diameter [mm]: two gauges, and metal
that flows away along the work, make less."""

BESIDE_TEETH = 1
"""Teeth off the planned count that are a blank's doing [-]: more are those of other rolls."""


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


def answer_to(plan: Plan, figures: Figures, *, radius: bool = False) -> Answer:
    """Return what a part's figures mean and what to change.

    Args:
        plan: The plan that its program was made from.
        figures: What was measured on it.
        radius: Whether the control reads X as radii: the sentences say the offset as it is
            entered there.

    Raises:
        InputError: if a figure is not possible on this part, or nothing says how it came out.
    """
    figures.refuse_impossible(plan)
    if figures.doubled or (figures.teeth is not None and figures.teeth != plan.teeth):
        return _does_not_track(plan, figures)
    if not figures.crests_mm:
        return _tracks(plan, figures)
    for beyond_offsets in (_low_middle, _full, _worn):
        found = beyond_offsets(plan, figures)
        if found is not None:
            return found
    return _corrected(plan, figures, radius=radius)


def _tracks(plan: Plan, figures: Figures) -> Answer:
    if figures.teeth is None and figures.doubled is None:
        raise InputError(
            "says nothing of how the part came out",
            key="--blank",
            value=round(figures.blank_mm, 4),
            expected="the crests, the teeth, or whether the impression is double, beside it",
            remedy="add --crests, --teeth, --doubled or --clean",
        )
    return _answer(plan, "tracks", "the rolls track; no crests were measured", ())


def _corrected(plan: Plan, figures: Figures, *, radius: bool) -> Answer:
    """Return what brings the crests of an even part that is not full to the wanted diameter."""
    crests = median(figures.crests_mm)
    # On the planned blank the slide presses deeper or less deep by half of the difference.
    deeper = (plan.blank_diameter_mm - figures.blank_mm) / 2.0
    now = max(0.0, pressed_mm(plan, crests - figures.blank_mm, 0.0) + deeper)
    wanted = depth_that_grows_mm(plan.knurl, plan.knurled_diameter_mm - plan.blank_diameter_mm)
    short = plan.knurled_diameter_mm - crests
    short_as_planned = short
    if deeper:
        grown = 2.0 * plan.knurl.rise_mm(min(now, full_penetration_mm(plan.knurl)))
        short_as_planned = plan.knurled_diameter_mm - plan.blank_diameter_mm - grown
    code, message = _meaning(plan, figures, short, short_as_planned)
    good = abs(short_as_planned) <= LEFT_ALONE_MM
    said = [*_tapered(plan, figures), *_near_full(plan, wanted)]
    # The gap decides how deep a straddle presses: its slide stands over the axis.
    if plan.gap_mm is not None:
        gap = plan.gap_mm if good else plan.gap_mm - 2.0 * (wanted - now)
        shown = Shown(plan.job.units).length(gap)
        said.insert(0, f"an offset does not correct a straddle: set its gap to {shown}")
        return _answer(plan, code, message, said, gap_mm=gap)
    change = 0.0 if good else x_of_mm(plan, wanted) - x_of_mm(plan, now)
    step = least_shown_mm(plan.job.units) * (2.0 if radius else 1.0)
    change = round(change / step) * step
    if change:
        said.insert(0, _entered(plan, figures.offset_mm + change, change, radius=radius))
    return _answer(plan, code, message, said, figures.offset_mm + change, change)


def _entered(plan: Plan, total_mm: float, change_mm: float, *, radius: bool) -> str:
    shown = Shown(plan.job.units).length
    word = "deeper" if change_mm < 0.0 else "less deep"
    blank = shown(plan.blank_diameter_mm)

    def signed(mm: float) -> str:
        return f"{'-' if mm < 0.0 else '+'}{shown(abs(mm))}"

    if not radius:
        where, total, change = "on the diameter", signed(total_mm), signed(change_mm)
    else:
        where = f"on the radius as this control reads X ({signed(total_mm)} on the diameter)"
        total, change = signed(total_mm / 2.0), signed(change_mm / 2.0)
    return (
        f"enter an X offset of {total} in total, {where} ({change}, {word}), and turn the next "
        f"blank to {blank}"
    )


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


def _meaning(
    plan: Plan, figures: Figures, short_mm: float, as_planned_mm: float
) -> tuple[str, str]:
    """Return the meaning of crests, and what they would be on the planned blank."""
    shown = Shown(plan.job.units).length
    if _side(short_mm) != _side(as_planned_mm):
        off = figures.blank_mm - plan.blank_diameter_mm
        return "other-blank", (
            f"the crests are {_off(short_mm, shown)} on a blank that is {shown(abs(off))} too "
            f"{'large' if off > 0.0 else 'small'}: on the planned one they would most likely be "
            f"{_off(as_planned_mm, shown)}"
        )
    if not _side(short_mm):
        return "as-wanted", f"the crests are within {shown(GOOD_MM)} of the wanted diameter"
    if short_mm > 0.0:
        return "short", f"the crests are {shown(short_mm)} short: most likely too little depth"
    return "too-deep", f"the crests are {shown(-short_mm)} too high: most likely too much depth"


def _side(short_mm: float) -> int:
    """Return whether crests are short (1), good (0) or too high (-1)."""
    return 0 if abs(short_mm) <= GOOD_MM else 1 if short_mm > 0.0 else -1


def _off(short_mm: float, shown: Callable[[float], str]) -> str:
    return f"{shown(abs(short_mm))} {'short' if short_mm >= 0.0 else 'too high'}"


def _does_not_track(plan: Plan, figures: Figures) -> Answer:
    off = 0 if figures.teeth is None else figures.teeth - plan.teeth
    twice = figures.teeth is not None and abs(figures.teeth - 2 * plan.teeth) <= BESIDE_TEETH
    if not figures.doubled and abs(off) > BESIDE_TEETH and not twice:
        return _answer(
            plan,
            "other-rolls",
            f"{figures.teeth} teeth where {plan.teeth} are planned: most likely other rolls",
            ["check pitch and teeth of the rolls; an offset does not correct it"],
        )
    message = "the rolls do not track: most likely a double impression"
    if not figures.doubled and not twice:
        message = (
            f"the rolls print {figures.teeth} teeth where {plan.teeth} are planned: most likely "
            f"the blank is too {'large' if off > 0 else 'small'} for them"
        )
    said = ["an offset does not correct it", _blank_to_turn(plan, figures)]
    return _answer(plan, "not-tracking", message, said)


def _blank_to_turn(plan: Plan, figures: Figures) -> str:
    shown = Shown(plan.job.units).length
    low, high = plan.blank_limits_mm
    if low <= figures.blank_mm <= high:
        return (
            "the blank is within its limits, so the rolls roll on another circle than estimated: "
            "keep this part in the log, plan the job again, and turn the blank that it gives"
        )
    side = "below" if figures.blank_mm < low else "above"
    return f"the blank is {side} its limit: turn {shown(low)} to {shown(high)}"


def _low_middle(plan: Plan, figures: Figures) -> Answer | None:
    """Return the answer to a middle below both ends, which no offset raises alone."""
    if len(figures.crests_mm) < LEAST_ALONG:
        return None
    middle, lower_end = middle_and_lower_end_mm(figures.crests_mm)
    if lower_end - middle <= GOOD_MM:
        return None
    shown = Shown(plan.job.units).length
    return _answer(
        plan,
        "low-middle",
        f"the middle is {shown(lower_end - middle)} below the ends: most likely the work deflects",
        ["an offset does not correct it; see process.compensate or another holding"],
    )


def _full(plan: Plan, figures: Figures) -> Answer | None:
    crests = median(figures.crests_mm)
    if crests - figures.blank_mm < plan.knurl.full_growth_mm - GOOD_MM:
        return None
    shown = Shown(plan.job.units).length
    short = plan.knurled_diameter_mm - crests
    said = ["deeper does not raise the crests: the teeth are full, and the rolls are lifted off"]
    if short > GOOD_MM:
        said.append(f"the job must change: a blank that is {shown(short)} larger, or more teeth")
    else:
        said.append("take less depth, or less process.fullness, and measure the roots")
    return _answer(plan, "full", "the teeth are pressed full", said)


def _worn(plan: Plan, figures: Figures) -> Answer | None:
    """Return the answer to roots that are deeper than the crests show by the balance of volume."""
    if figures.root_mm is None:
        return None
    growth = median(figures.crests_mm) - figures.blank_mm
    by_the_crests = figures.blank_mm - 2.0 * depth_that_grows_mm(plan.knurl, growth)
    deeper = by_the_crests - figures.root_mm
    if deeper <= ROOT_MM:
        return None
    shown = Shown(plan.job.units).length
    return _answer(
        plan,
        "worn-rolls",
        f"the roots are {shown(deeper)} deeper, on the diameter, than crests so high need: most "
        "likely worn rolls, or rolls of another profile",
        ["look at the teeth of the rolls; an offset does not correct it"],
    )


def _tapered(plan: Plan, figures: Figures) -> list[str]:
    if len(figures.crests_mm) < 2:
        return []
    apart = abs(figures.crests_mm[0] - figures.crests_mm[-1])
    if apart <= GOOD_MM:
        return []
    return [
        f"one end is {Shown(plan.job.units).length(apart)} above the other, and an offset moves "
        "both alike: see whether blank and holding are straight"
    ]


def _near_full(plan: Plan, depth_mm: float) -> list[str]:
    knurl, shown = plan.knurl, Shown(plan.job.units).length
    step_mm = least_shown_mm(plan.job.units)  # in which an offset is entered, on the diameter
    step = step_mm / 2.0
    if depth_mm + step >= full_penetration_mm(knurl):
        return ["the wanted teeth are full: a deeper offset raises nothing"]
    rises = 2.0 * (knurl.rise_mm(depth_mm + step) - knurl.rise_mm(depth_mm))
    if rises < RUNS_AWAY * step:
        return []
    what = "X" if plan.gap_mm is None else "the gap"
    return [
        f"near full height crests run away: {shown(step_mm)} of {what} moves them by "
        f"{shown(rises)}; go in small steps and measure each"
    ]
