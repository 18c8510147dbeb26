"""What could be changed so that a press fit does: every figure is tried before it is said.

A diameter that was chosen is chosen again for what is changed; one that is given stays.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import chain

from knurlcam.data.fits import standard_tolerances
from knurlcam.job.press_fit import BORE_NEAR_MM
from knurlcam.mechanics.press_fit import hole_limits
from knurlcam.plan.press_fit import Joint, Sized, Toothed, fitted, is_too_tight
from knurlcam.plan.press_fit_choice import Trial, best_of, trials
from knurlcam.plan.remarks import Remarks

__all__ = ["Question", "another_diameter_or_bore", "more_hold"]

HUB_STEPS = 12
"""Larger hubs tried [-]."""

LARGEST_HUB = 4.0
"""Outside diameter of the largest hub advised, in bores: thicker ones are stiffer by a few per
cent only [-]."""

BORE_STEPS = 16
"""Other bores tried, either way, within what one tooth more changes the diameter [-]."""

BORE_STEP = 10.0
"""Step of other bores, in last places shown [-]."""

LONGEST_SAID_MM = 1e5
"""Length of a knurl beyond which none is named [mm]."""

ROUNDING = 1e-9
"""Share by which a length that just holds is made longer, against rounding of arithmetic [-]."""

KEYED = "hold the load by a key, a pin or a shoulder"

Does = Callable[[Trial], bool]
"""Whether a fit does."""


@dataclass(frozen=True)
class Question:
    """A fit of which something is to be said.

    Attributes:
        remarks: Where it is said, and how lengths are shown.
        joint: The fit but for the knurl.
        now: What it comes to as it is.
        sized: Which knurl is made for another diameter.
        chosen: Whether the diameter was chosen, not given.
    """

    remarks: Remarks
    joint: Joint
    now: Trial
    sized: Sized
    chosen: bool

    @cached_property
    def kept(self) -> Sized:
        """Which knurl is made for another diameter, each worked out once."""
        made: dict[float, Toothed | None] = {}

        def sized(knurled: float) -> Toothed | None:
            if knurled not in made:
                made[knurled] = self.sized(knurled)
            return made[knurled]

        return sized

    def would_do(self, joint: Joint, does: Does) -> bool:
        """Return whether the fit does with another joint.

        Args:
            joint: The other joint.
            does: Whether a fit does.
        """
        if self.chosen:
            found = trials(joint, self.kept)
            return bool(found) and does(best_of(found)[0])
        toothed = self.now.toothed
        fit = fitted(joint, self.now.fit.knurled_diameter_mm, toothed.height_mm)
        if fit.interference_smallest_mm <= 0.0 or is_too_tight(fit, toothed.height_mm):
            return False
        return does(Trial(fit, toothed))


def another_diameter_or_bore(question: Question, *, bores: bool) -> str:
    """Return the advice to take the best diameter, if any does; else the bore that would do.

    Args:
        question: The fit.
        bores: Whether other bores are tried.
    """
    remarks = question.remarks
    found = trials(question.joint, question.sized, remarks.least_shown())
    doing = [t for t in found if t.sound and t.fit.can_hold]
    if doing:
        best, _ = best_of(doing)
        return f"a knurled diameter of {remarks.mm(best.fit.knurled_diameter_mm)} would do"
    held = question.now.fit.holds

    def does(trial: Trial) -> bool:
        return trial.sound and (trial.fit.holds or (trial.fit.can_hold and not held))

    ways = [*_closer_bore(question, does), *_other_bore(question, does)] if bores else []
    if ways:
        return f"take {' or '.join(ways)}"
    return (
        "no diameter does with this bore: take a closer tolerance of the bore, a stronger "
        "or larger hub, a longer knurl or another pitch"
    )


def more_hold(question: Question) -> str:
    """Return what would let friction alone hold the wanted load.

    Args:
        question: The fit.
    """
    remarks, now = question.remarks, question.now
    found = trials(question.joint, question.sized, remarks.least_shown())
    better = [t for t in found if t.sound and t.fit.holds]
    if better:
        diameter = best_of(better)[0].fit.knurled_diameter_mm
        return f"a knurled diameter of {remarks.mm(diameter)} would do"

    def does(trial: Trial) -> bool:
        return trial.fit.holds and (trial.sound or not now.sound)

    ways = [
        *chain(_longer(question, does), _closer_bore(question, does), _thicker_hub(question, does))
    ] or [*_other_bore(question, does)]
    if ways:
        return f"take {', '.join(ways)}, or {KEYED}"
    length = question.joint.length * now.fit.used
    long = ""
    if length < LONGEST_SAID_MM:
        long = f", and the knurl would have to be {remarks.mm_up(length)} long"
    return (
        f"neither a closer or slightly different bore nor a thicker hub makes friction hold it"
        f"{long}: try a finer pitch, whose limits are closer, or {KEYED}"
    )


# -- what is tried: each yields one way that does, or none ---------------------------------


def _longer(question: Question, does: Does) -> Iterator[str]:
    """Say how long knurl and bore must be for the wanted load."""
    joint, step = question.joint, question.remarks.least_shown()
    length = joint.length * question.now.fit.used * (1.0 + ROUNDING)
    if not length <= joint.room:
        return
    length = math.ceil(length / step) * step
    if length > joint.room or not question.would_do(joint.with_length(length), does):
        return
    what = "a knurl"
    if joint.fit.hub_length is not None and joint.fit.hub_length < length:
        what = "a knurl and a bore" if joint.knurl_length < length else "a bore"
    yield f"{what} {question.remarks.mm_up(length)} long"


def _closer_bore(question: Question, does: Does) -> Iterator[str]:
    """Say the widest closer tolerance of the bore that does, with its limits."""
    remarks, joint, fit = question.remarks, question.joint, question.joint.fit
    smallest, largest = joint.bore_limits
    if fit.nominal_bore > standard_tolerances()[-1].up_to_mm:
        return
    for tolerance in ("H7", "H6"):
        low, high = hole_limits(fit.nominal_bore, tolerance)
        if high - low >= largest - smallest:
            continue
        if fit.bore_tolerance is not None:
            if question.would_do(joint.with_fit(bore_tolerance=tolerance), does):
                yield f"a bore to {tolerance} ({remarks.mm(low)} to {remarks.mm(high)})"
                return
            continue
        step = remarks.least_shown()
        top = math.floor((smallest + high - low) / step) * step
        if smallest < top and question.would_do(joint.with_fit(limits=(smallest, top)), does):
            yield f"a bore of {remarks.mm(smallest)} to {remarks.mm(top)}"
            return


def _other_bore(question: Question, does: Does) -> Iterator[str]:
    """Say the nearest bore of the same tolerance that does."""
    joint, step = question.joint, BORE_STEP * question.remarks.least_shown()
    tried = {round(joint.spacing * i / BORE_STEPS / step) for i in range(1, BORE_STEPS + 1)}
    other = _shifted_bore if joint.fit.bore_tolerance is None else _nominal_bore
    for shift in (sign * n * step for n in sorted(tried - {0}) for sign in (1, -1)):
        found = other(question, shift)
        if found is not None and question.would_do(found[0], does):
            yield found[1]
            return


def _shifted_bore(question: Question, shift_mm: float) -> tuple[Joint, str] | None:
    """Return the joint of a bore with its limits moved; None where it may not have them."""
    joint, fit, remarks = question.joint, question.joint.fit, question.remarks
    smallest, largest = (limit + shift_mm for limit in joint.bore_limits)
    off = max(abs(smallest - fit.nominal_bore), abs(largest - fit.nominal_bore))
    if off > BORE_NEAR_MM or smallest <= 0.0 or largest >= fit.hub_diameter:
        return None
    return (
        joint.with_fit(limits=(smallest, largest)),
        f"a bore of {remarks.mm(smallest)} to {remarks.mm(largest)}",
    )


def _nominal_bore(question: Question, shift_mm: float) -> tuple[Joint, str] | None:
    """Return the joint of another nominal bore; None where there is no such one."""
    joint, fit, remarks = question.joint, question.joint.fit, question.remarks
    step = BORE_STEP * remarks.least_shown()
    bore = round((fit.nominal_bore + shift_mm) / step) * step
    most = min(fit.hub_diameter, standard_tolerances()[-1].up_to_mm)
    if not 0.0 < bore < most:
        return None
    return joint.with_fit(bore=bore), f"a bore of {remarks.mm(bore)} {fit.bore_tolerance}"


def _thicker_hub(question: Question, does: Does) -> Iterator[str]:
    """Say a larger hub that does."""
    joint, step = question.joint, question.remarks.least_shown()
    now, most = joint.fit.hub_diameter, LARGEST_HUB * joint.fit.nominal_bore
    for i in range(1, HUB_STEPS + 1):
        hub = math.ceil((now + (most - now) * i / HUB_STEPS) / step) * step
        if hub > now and question.would_do(joint.with_fit(hub_diameter=hub), does):
            yield f"a hub of {question.remarks.mm(hub)}"
            return
