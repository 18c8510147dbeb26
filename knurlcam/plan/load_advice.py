"""What would make work deflect less, in numbers: each is worked out before it is said."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace

from knurlcam.job.model import Job
from knurlcam.mechanics.beam import Piece
from knurlcam.mechanics.held_work import HeldWork
from knurlcam.mechanics.loads import reduced_radius_mm
from knurlcam.mechanics.setup_deflection import SetUpDeflection
from knurlcam.mechanics.solve import turning_point
from knurlcam.mechanics.tool_styles import STRADDLE
from knurlcam.plan.loads import SUPPORTS
from knurlcam.plan.remarks import Advice, Remarks

__all__ = ["ALLOWED_LOSS", "FARTHEST", "is_too_far", "less_deflection", "lighter_pressing"]

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

NARROWER = (0.5, 0.3)
"""How many times as wide the rolls are that the advice speaks of [-]."""

LARGER = (1.0, 1.02, 1.05, 1.1)
"""Times larger that a diameter is tried than the formulas of the beam ask for [-]: the teeth
round it are another whole number."""

HELD = {"chuck": "in a chuck", "chuck and centre": "in a chuck with a dead centre"}
"""Ways of holding, as a sentence takes them."""


def less_deflection(
    job: Job, deflection: SetUpDeflection, remarks: Remarks, code: str = "gives-way"
) -> list[str]:
    """Return what would help against deflection, with numbers: each was planned.

    Args:
        job: The job.
        deflection: How its work deflects.
        remarks: How lengths are shown, and where changes are tried.
        code: Code of the refusal or warning that it is to help against.
    """
    if remarks.trying is None:  # a trial itself advises nothing
        return []
    thicker = next(remarks.tried(code, _thicker_work(deflection, remarks)), None)
    return [
        *([] if thicker is None else [thicker]),
        *remarks.tried(code, _shorter_work(job, deflection, remarks)),
        *remarks.tried(code, _other_holding(job)),
        *remarks.tried(code, lighter_pressing(job, deflection, remarks)),
        *remarks.tried(code, _compensation(job)),
    ]


def lighter_pressing(
    job: Job, deflection: SetUpDeflection | None, remarks: Remarks, *, settles: bool = False
) -> Iterator[Advice]:
    """Yield rolls and passes that press less at once.

    Args:
        job: The job.
        deflection: How its work deflects; None where that is not known.
        remarks: How lengths are shown.
        settles: Whether it is advice only if nothing is left to refuse or to warn of.
    """
    for share in NARROWER if settles else NARROWER[:1]:
        face = remarks.mm_down(job.tool.face_width * share)
        yield Advice(f"with rolls {face} wide", {"tool.face_width": face}, settles)
    if deflection is not None and deflection.set_up.traverses:
        passes = _passes_of(deflection)
        more = passes * MORE_PASSES
        text = f"in {more} passes instead of {passes}"
        yield Advice(text, {"process.passes": more}, settles)
    if job.tool.style != STRADDLE:
        # Rolls and datum are chosen again: those of another style need not suit.
        changes: dict[str, object] = {"tool.style": STRADDLE}
        changes |= dict.fromkeys(("tool.roll_spacing", "tool.rolls", "tool.x_datum"))
        text = "with a straddle, the forces of whose rolls cancel"
        yield Advice(text, changes, settles)


def _passes_of(deflection: SetUpDeflection) -> int:
    """Return how many passes press deeper: the last of n takes 2 / (n (n + 1)) of the depth."""
    share = deflection.set_up.step_mm / deflection.set_up.penetration_mm
    return round((math.sqrt(1.0 + 8.0 / share) - 1.0) / 2.0)


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


def _most(serves: Callable[[float], bool], low: float, high: float) -> float | None:
    """Return the greatest length that serves, if *low* does and *high* does not; else None."""
    if not serves(low):
        return None
    return turning_point(serves, low, high, within=LENGTH_FOUND_MM)[0]


# -- what is planned -------------------------------------------------------------------


def _thicker_work(deflection: SetUpDeflection, remarks: Remarks) -> Iterator[Advice]:
    """Yield diameters over the crests of plain work from which on a tenth only is lost."""
    pieces = deflection.work.beam.pieces
    if len(pieces) > 1:
        return
    factor = _least_factor(lambda f: _serves(deflection, _thicker(deflection, f)))
    if factor is None:
        return
    for more in LARGER:
        diameter = remarks.mm_up(factor * more * pieces[0].diameter_mm)
        yield Advice(
            f"with a knurled diameter of {diameter} no more than a tenth is lost",
            {"part.knurled_diameter": diameter, "part.blank_diameter": None},
        )


def _shorter_work(job: Job, deflection: SetUpDeflection, remarks: Remarks) -> Iterator[Advice]:
    """Yield how far from the end plain work may be held so that a tenth only is lost."""
    if len(deflection.work.beam.pieces) > 1:
        return
    longest = _longest_overhang(job, deflection)
    if longest is not None:
        length = remarks.mm_down(longest)
        text = f"held at most {length} from the end no more than a tenth is lost"
        yield Advice(text, {"part.length": length})


def _other_holding(job: Job) -> Iterator[Advice]:
    """Yield the other ways of holding the work."""
    for method in SUPPORTS:
        if method != job.holding.method:
            changes: dict[str, object] = {"holding.method": method, "holding.tailstock": None}
            if method == "chuck":
                changes["holding.centre_diameter"] = None
            else:
                changes["holding.tailstock"] = "dead centre"
            yield Advice(f"held {HELD.get(method, method)}", changes, settles=False)


def _compensation(job: Job) -> Iterator[Advice]:
    """Yield deflection compensation."""
    if not job.process.compensate:
        text = "process.compensate = true makes the slide follow the deflection"
        yield Advice(text, {"process.compensate": True}, settles=False)
