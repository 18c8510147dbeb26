"""Tables of loads: the force of each pass, loads at full depth, a press fit. All estimates."""

from __future__ import annotations

from typing import NamedTuple

from knurlcam.plan.model import Plan
from knurlcam.plan.report import fit_rows, load_rows
from knurlcam.review.tables.sheet import Sheet, sheet_of
from knurlcam.units.show import Shown

__all__ = ["PassForce", "fit_sheet", "loads_sheet", "pass_forces", "passes_left_out"]


class PassForce(NamedTuple):
    """What one pass is pressed with, as text.

    Attributes:
        name: Its number.
        depth: Penetration.
        force: Of one roll.
        between: Least and greatest force of one roll.
        push: Resultant radial force on the work.
        shares: Least, likely and greatest force over the greatest of all passes [-]
    """

    name: str
    depth: str
    force: str
    between: str
    push: str
    shares: tuple[float, float, float]


def pass_forces(plan: Plan) -> tuple[PassForce, ...]:
    """Return the force of each pass that presses deeper; none where it is not known."""
    if plan.estimate is None:
        return ()

    shown = Shown(plan.job.units)
    known = [
        (one, load)
        for one, load in zip(plan.passes, plan.pass_loads, strict=True)
        if load is not None
    ]
    largest = max(load.radial_force_high_n for _, load in known)
    found = []
    for one, load in known:
        low, likely, high = load.radial_force_low_n, load.radial_force_n, load.radial_force_high_n
        found.append(
            PassForce(
                name=str(one.number),
                depth=shown.length(one.penetration_mm),
                force=shown.force(likely),
                between=f"{shown.force(low)} to {shown.force(high)}",
                push=shown.force(load.net_push_n),
                shares=(low / largest, likely / largest, high / largest),
            )
        )
    return tuple(found)


def passes_left_out(plan: Plan) -> str:
    """Return which passes the table of forces leaves out; empty for none."""
    cleaning = [str(p.number) for p in plan.passes if not p.presses]
    if not cleaning:
        return ""
    return f"Pass {', '.join(cleaning)} cleans up: it presses no deeper and is left out."


def loads_sheet(plan: Plan) -> Sheet:
    """Return loads and deflection at full depth."""
    return sheet_of("At full depth", load_rows(plan))


def fit_sheet(plan: Plan) -> Sheet:
    """Return what a press fit comes to; without a row where the job has none."""
    return sheet_of("Press fit (estimate)", fit_rows(plan))
