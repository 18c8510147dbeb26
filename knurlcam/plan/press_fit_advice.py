"""What could be changed so that a press fit does: every figure is tried before it is said.

A diameter that was chosen is chosen again for what is changed; one that is given stays. What the
formulas of the fit alone let pass is planned as a whole job before it is said.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import chain

from knurlcam.data.fits import standard_tolerances
from knurlcam.job.press_fit import BORE_NEAR_MM
from knurlcam.mechanics.press_fit import hole_limits
from knurlcam.plan.press_fit import Joint, Sized, Toothed, fitted, is_too_tight
from knurlcam.plan.press_fit_choice import Trial, best_of, trials
from knurlcam.plan.remarks import Advice, Remarks

__all__ = ["Question", "another_diameter_or_bore", "more_hold", "some_hold"]

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

MOST_DIAMETERS = 3
"""Diameters that are planned for one piece of advice, the best first [-]."""

LONGER = (1.25, 1.5, 2.0, 3.0)
"""Times as long as it is that a knurl is tried, where a fit cannot hold at its best [-]."""

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


def another_diameter_or_bore(question: Question, code: str, *, bores: bool) -> str:
    """Return the advice to take the best diameter, if any does; else the bore that would do.

    Args:
        question: The fit.
        code: Code of the refusal or warning that it is to help against.
        bores: Whether other bores are tried.
    """
    remarks = question.remarks
    if remarks.trying is None:  # a trial itself advises nothing
        return ""
    found = trials(question.joint, question.sized, remarks.least_shown())
    doing = [t for t in found if t.sound and t.fit.can_hold]
    diameter = next(remarks.tried(code, _diameters(question, doing)), None)
    if diameter is not None:
        return f"; {diameter}"
    held = question.now.fit.holds

    def does(trial: Trial) -> bool:
        return trial.sound and (trial.fit.holds or (trial.fit.can_hold and not held))

    tried = chain(_closer_bore(question, does), _other_bore(question, does)) if bores else ()
    ways = list(remarks.tried(code, tried))
    return f"; take {' or '.join(ways)}" if ways else "; no diameter does with this bore"


def more_hold(question: Question, code: str) -> str:
    """Return what would let friction alone hold the wanted load.

    Args:
        question: The fit.
        code: Code of the warning that it is to help against.
    """
    remarks, now = question.remarks, question.now
    if remarks.trying is None:
        return ""
    found = trials(question.joint, question.sized, remarks.least_shown())
    better = [t for t in found if t.sound and t.fit.holds]
    diameter = next(remarks.tried(code, _diameters(question, better)), None)
    if diameter is not None:
        return f"; {diameter}"

    def does(trial: Trial) -> bool:
        return trial.fit.holds and (trial.sound or not now.sound)

    several = (_longer(question, does), _closer_bore(question, does), _thicker_hub(question, does))
    ways = list(remarks.tried(code, chain(*several))) or [
        *remarks.tried(code, _other_bore(question, does))
    ]
    if ways:
        return f"; take {', '.join(ways)}, or {KEYED}"
    length = question.joint.length * now.fit.used
    long = ""
    if length < LONGEST_SAID_MM:
        long = f", and the knurl would have to be {remarks.mm_up(length)} long"
    return (
        "; neither a closer or slightly different bore nor a thicker hub makes friction hold it"
        f"{long}: {KEYED}"
    )


def some_hold(question: Question, code: str) -> str:
    """Return what would let the fit hold the wanted load at its best.

    Args:
        question: The fit.
        code: Code of the refusal that it is to help against.
    """

    def does(trial: Trial) -> bool:
        return trial.fit.can_hold

    remarks = question.remarks
    ways = remarks.tried(code, chain(_lengths(question), _thicker_hub(question, does)))
    return "".join(f"take {way}, or " for way in ways) + KEYED


def _diameters(question: Question, found: Sequence[Trial]) -> Iterator[Advice]:
    """Yield the best of other diameters, and the next best ones."""
    left = list(found)
    for _ in range(MOST_DIAMETERS):
        if not left:
            return
        best, _why = best_of(left)
        left.remove(best)
        diameter = question.remarks.mm(best.fit.knurled_diameter_mm)
        changes = {"part.knurled_diameter": diameter, "part.blank_diameter": None}
        yield Advice(f"a knurled diameter of {diameter} would do", changes)


def _lengths(question: Question) -> Iterator[Advice]:
    """Yield longer knurls, the shortest first."""
    for times in LONGER:
        length = question.joint.length * times
        if length <= question.joint.room:
            yield _length_advice(question, length)


# -- what is tried: each yields one way that does, or none ---------------------------------


def _longer(question: Question, does: Does) -> Iterator[Advice]:
    """Say how long knurl and bore must be for the wanted load."""
    joint, step = question.joint, question.remarks.least_shown()
    length = joint.length * question.now.fit.used * (1.0 + ROUNDING)
    if not length <= joint.room:
        return
    length = math.ceil(length / step) * step
    if length > joint.room or not question.would_do(joint.with_length(length), does):
        return
    yield _length_advice(question, length)


def _length_advice(question: Question, length_mm: float) -> Advice:
    """Return the advice to make knurl and bore so long, or the one that is too short."""
    joint, length = question.joint, question.remarks.mm_up(length_mm)
    changes: dict[str, object] = {}
    if joint.knurl_length < length_mm:
        changes["knurl.length"] = length
    what = "a knurl"
    if joint.fit.hub_length is not None and joint.fit.hub_length < length_mm:
        what = "a knurl and a bore" if changes else "a bore"
        changes["fit.hub_length"] = length
    return Advice(f"{what} {length} long", changes)


def _closer_bore(question: Question, does: Does) -> Iterator[Advice]:
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
                yield Advice(
                    f"a bore to {tolerance} ({remarks.mm(low)} to {remarks.mm(high)})",
                    {"fit.bore_tolerance": tolerance},
                )
                return
            continue
        step = remarks.least_shown()
        top = math.floor((smallest + high - low) / step) * step
        if smallest < top and question.would_do(joint.with_fit(limits=(smallest, top)), does):
            yield _limits_advice(remarks.mm(smallest), remarks.mm(top))
            return


def _other_bore(question: Question, does: Does) -> Iterator[Advice]:
    """Say the nearest bore of the same tolerance that does."""
    joint, step = question.joint, BORE_STEP * question.remarks.least_shown()
    tried = {round(joint.spacing * i / BORE_STEPS / step) for i in range(1, BORE_STEPS + 1)}
    other = _shifted_bore if joint.fit.bore_tolerance is None else _nominal_bore
    for shift in (sign * n * step for n in sorted(tried - {0}) for sign in (1, -1)):
        found = other(question, shift)
        if found is not None and question.would_do(found[0], does):
            yield found[1]
            return


def _limits_advice(smallest: str, largest: str) -> Advice:
    """Return the advice to take a bore between limits."""
    changes = {"fit.bore_smallest": smallest, "fit.bore_largest": largest}
    return Advice(f"a bore of {smallest} to {largest}", changes)


def _shifted_bore(question: Question, shift_mm: float) -> tuple[Joint, Advice] | None:
    """Return the joint of a bore with its limits moved; None where it may not have them."""
    joint, fit, remarks = question.joint, question.joint.fit, question.remarks
    smallest, largest = (limit + shift_mm for limit in joint.bore_limits)
    off = max(abs(smallest - fit.nominal_bore), abs(largest - fit.nominal_bore))
    if off > BORE_NEAR_MM or smallest <= 0.0 or largest >= fit.hub_diameter:
        return None
    return (
        joint.with_fit(limits=(smallest, largest)),
        _limits_advice(remarks.mm(smallest), remarks.mm(largest)),
    )


def _nominal_bore(question: Question, shift_mm: float) -> tuple[Joint, Advice] | None:
    """Return the joint of another nominal bore; None where there is no such one."""
    joint, fit, remarks = question.joint, question.joint.fit, question.remarks
    step = BORE_STEP * remarks.least_shown()
    bore = round((fit.nominal_bore + shift_mm) / step) * step
    most = min(fit.hub_diameter, standard_tolerances()[-1].up_to_mm)
    if not 0.0 < bore < most:
        return None
    shown = remarks.mm(bore)
    advice = Advice(f"a bore of {shown} {fit.bore_tolerance}", {"fit.bore": shown})
    return joint.with_fit(bore=bore), advice


def _thicker_hub(question: Question, does: Does) -> Iterator[Advice]:
    """Say a larger hub that does."""
    joint, step = question.joint, question.remarks.least_shown()
    now, most = joint.fit.hub_diameter, LARGEST_HUB * joint.fit.nominal_bore
    for i in range(1, HUB_STEPS + 1):
        hub = math.ceil((now + (most - now) * i / HUB_STEPS) / step) * step
        if hub > now and question.would_do(joint.with_fit(hub_diameter=hub), does):
            shown = question.remarks.mm(hub)
            yield Advice(f"a hub of {shown}", {"fit.hub_diameter": shown})
            return
