"""What would make work deflect less, in numbers: each is worked out before it is said."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from knurlcam.data.rolls import roll_sets
from knurlcam.job.model import Job
from knurlcam.mechanics.beam import Piece
from knurlcam.mechanics.held_work import HeldWork
from knurlcam.mechanics.loads import reduced_radius_mm, strength_mpa
from knurlcam.mechanics.setup_deflection import SetUpDeflection
from knurlcam.mechanics.solve import turning_point
from knurlcam.mechanics.tool_styles import STRADDLE, contact_for
from knurlcam.plan.loads import SUPPORTS
from knurlcam.plan.remarks import Remarks

__all__ = ["ALLOWED_LOSS", "FARTHEST", "is_too_far", "less_deflection", "stiffer"]

ALLOWED_LOSS = 0.1
"""Share of the penetration that deflection may take; a knurl that loses more looks uneven [-]."""

FARTHEST = 0.2
"""Share of the blank's diameter up to which the work may deflect: beyond it no formula for small
deflections holds [-]."""

LENGTH_FOUND_MM = 0.01
"""How near the longest overhang is looked for; shown rounded down [mm]."""

FACTOR_FOUND = 1e-4
"""How near the least factor on the diameter is looked for, as a share of it [-]."""

MOST_TIMES = 20.0
"""Times as thick as it is: beyond that it is no longer advice [-]."""

MORE_PASSES = 2
"""How many times as many passes the advice speaks of [-]."""

CLEARLY = 0.01
"""Share of the penetration by which other holding must lose less to be advised [-]."""

HELD = {"chuck": "in a chuck", "chuck and centre": "in a chuck with a centre"}
"""Ways of holding, as a sentence takes them."""


def less_deflection(job: Job, deflection: SetUpDeflection, remarks: Remarks) -> list[str]:
    """Return what would help, with numbers, what helps most at last.

    Args:
        job: The job.
        deflection: How its work deflects.
        remarks: How lengths are shown.
    """
    advice = [stiffer(job, deflection, remarks)]
    advice += _other_holding(job, deflection)
    if deflection.set_up.traverses and not deflection.set_up.cancels:
        advice += _more_passes(deflection, remarks)
    advice += _a_straddle(job, deflection)
    if _may_compensate(job, deflection):
        advice.append("process.compensate = true makes the slide follow the deflection")
    return advice


def stiffer(job: Job, deflection: SetUpDeflection, remarks: Remarks) -> str:
    """Return the smallest diameter or largest overhang that loses a tenth only.

    Args:
        job: The job.
        deflection: How its work deflects.
        remarks: How lengths are shown.
    """
    pieces = deflection.work.beam.pieces
    plain = len(pieces) == 1
    factor = _least_factor(lambda f: _serves(deflection, _thicker(deflection, f)))
    if factor is None:
        text = "no blank diameter keeps the loss within a tenth"
    elif plain:
        blank = remarks.mm_up(factor * pieces[0].diameter_mm)
        text = f"on a blank of {blank} no more than a tenth is lost"
    else:
        text = f"on work {factor:.2f} times as thick throughout no more than a tenth is lost"
    longest = _longest_overhang(job, deflection) if plain else None
    if longest is not None:
        text += f", or held at most {remarks.mm_down(longest)} from the end"
    return text


def is_too_far(deflection: SetUpDeflection) -> bool:
    """Return whether the work would likely deflect further than a small deflection.

    Args:
        deflection: How the work deflects.
    """
    most = max(deflection.max_mm, deflection.fed.deflection_mm)
    return most > FARTHEST * 2.0 * deflection.set_up.contact.blank_radius_mm


def _serves(deflection: SetUpDeflection, work: HeldWork) -> bool:
    return deflection.lost_share_of(work) <= ALLOWED_LOSS


# -- other work ------------------------------------------------------------------------


def _thicker(deflection: SetUpDeflection, factor: float) -> HeldWork:
    """Return the work so many times as thick, rolls and teeth as they are."""
    work, old = deflection.work, deflection.work.contact
    blank, roll = old.blank_radius_mm * factor, old.roll_radius_mm
    half = old.half_spacing_mm
    if deflection.set_up.cancels:  # rolls that cancel are set to the blank
        half = blank + roll - deflection.set_up.penetration_mm
    pieces = tuple(Piece(length, d * factor) for length, d in work.beam.pieces)
    return replace(
        work,
        contact=replace(old, blank_radius_mm=blank, half_spacing_mm=half),
        pressing=replace(work.pressing, reduced_radius_mm=reduced_radius_mm(blank, roll)),
        beam=replace(work.beam, pieces=pieces),
    )


def _least_factor(serves: Callable[[float], bool]) -> float | None:
    """Return the least factor from 1 on that serves; None where none does."""
    low = high = 1.0
    while not serves(high):
        low, high = high, high * 1.5
        # Work so thick is another part: no advice for this one.
        if high > MOST_TIMES:
            return None
    return turning_point(lambda f: not serves(f), low, high, share=FACTOR_FOUND)[1]


def _longest_overhang(job: Job, deflection: SetUpDeflection) -> float | None:
    """Return how far from the end plain work may be held [mm]; None where nowhere serves."""
    work = deflection.work
    low = job.machine.clearance - deflection.set_up.travel.chuck_end_mm
    high = work.beam.length_mm
    diameter = work.beam.pieces[0].diameter_mm

    def serves(length: float) -> bool:
        beam = replace(work.beam, pieces=(Piece(length, diameter),))
        return _serves(deflection, replace(work, beam=beam))

    return _most(serves, low, high) if low < high else None


def _other_holding(job: Job, deflection: SetUpDeflection) -> Iterator[str]:
    """Say which other ways of holding the work lose clearly less."""
    work = deflection.work
    for method, support in SUPPORTS.items():
        if method == job.holding.method:
            continue
        # Only what would be clearly better is worth another set-up.
        held = replace(work, beam=replace(work.beam, support=support))
        if deflection.lost_share_of(held) < deflection.lost_share - CLEARLY:
            evenness = deflection.evenness_of(held)
            yield f"held {HELD.get(method, method)}, depth uniformity {evenness:.2f}"


# -- other rolls -----------------------------------------------------------------------


def _a_straddle(job: Job, deflection: SetUpDeflection) -> Iterator[str]:
    """Say what a straddle would make of it, where one takes the form and serves."""
    two = any(len(s.rolls) == 2 for s in roll_sets(job.knurl.asked.form))
    if job.tool.style == STRADDLE or not two:
        return
    old = deflection.set_up.contact
    contact = contact_for(
        STRADDLE,
        "roll centre",
        blank_diameter_mm=2.0 * old.blank_radius_mm,
        roll_diameter_mm=2.0 * old.roll_radius_mm,
        full_penetration_mm=deflection.set_up.penetration_mm,
        roll_spacing_mm=None,
    )
    straddled = replace(deflection.work, contact=contact, rolls=2)
    if _serves(deflection, straddled):
        evenness = deflection.evenness_of(straddled)
        yield f"with a straddle, the forces of whose rolls cancel, depth uniformity {evenness:.2f}"


# -- another process -------------------------------------------------------------------


def _more_passes(deflection: SetUpDeflection, remarks: Remarks) -> Iterator[str]:
    """Say what more passes, each of which presses less anew, would leave."""
    set_up, work = deflection.set_up, deflection.work
    c, fresh = set_up.penetration_mm, work.pressing.fresh
    # The first of n passes takes 2 / (n + 1) of the depth, the last 2 / (n (n + 1)).
    n = round(2.0 * c / fresh.step_mm) - 1
    more = n * MORE_PASSES
    if 2.0 * c / (more * (more + 1)) < remarks.least_shown():
        return
    step = 2.0 * c / (more + 1)
    gentler = replace(work.pressing, fresh=fresh._replace(step_mm=step))
    pressed = replace(work, pressing=gentler)
    if deflection.lost_share_of(pressed) < deflection.lost_share - CLEARLY:
        evenness = deflection.evenness_of(pressed)
        yield f"in {more} passes instead of {n}, depth uniformity {evenness:.2f}"


def _may_compensate(job: Job, deflection: SetUpDeflection) -> bool:
    """Whether a slide that follows the deflection can be advised."""
    set_up, strength = deflection.set_up, strength_mpa(job.part.material_row)
    return (
        set_up.traverses
        and not set_up.cancels
        and not is_too_far(deflection)
        and (strength is None or deflection.bending_mpa(compensated=True)[0] <= strength)
    )


def _most(serves: Callable[[float], bool], low: float, high: float) -> float | None:
    """Return the greatest length that serves, if *low* does and *high* does not; else None."""
    if not serves(low):
        return None
    return turning_point(serves, low, high, within=LENGTH_FOUND_MM)[0]
