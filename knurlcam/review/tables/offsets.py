"""The table of X offsets: from measured crests to what is entered, without the tool at hand."""

from __future__ import annotations

from typing import NamedTuple

from knurlcam.measured.answer import answer_to
from knurlcam.measured.part import GAUGE_MM, Figures
from knurlcam.plan.model import Plan
from knurlcam.units.show import Shown

__all__ = ["OffsetRow", "offsets"]

STEP_MM = 0.02
"""Step of the measured crests [mm]: what is within one is good."""

STEPS = 5
"""Rows to each side of the wanted diameter [-]: beyond them something else is wrong."""


class OffsetRow(NamedTuple):
    """One row: what is measured, and what to enter or to do."""

    measured: str
    enter: str

    @property
    def crests(self) -> str:
        """What is measured, without its unit: for a narrow column."""
        return self.measured.split()[0]

    @property
    def brief(self) -> str:
        """What to enter, without its unit; ``ask`` where no offset corrects it."""
        if self.enter[0] in "+-":
            return self.enter.split()[0]
        return "0" if self.enter == "leave it" else "ask"


def offsets(plan: Plan, *, radius: bool) -> tuple[OffsetRow, ...]:
    """Return the X offset to enter for crests from short to too high, on the planned blank.

    Args:
        plan: The plan.
        radius: Whether the control reads X as radii.
    """
    sizes = [plan.knurled_diameter_mm + step * STEP_MM for step in range(-STEPS, STEPS + 1)]
    least = plan.blank_diameter_mm - GAUGE_MM
    return tuple(_row(plan, size, radius=radius) for size in sizes if size >= least)


def _row(plan: Plan, crests_mm: float, *, radius: bool) -> OffsetRow:
    shown = Shown(plan.job.units)
    answer = answer_to(plan, Figures(plan.blank_diameter_mm, (crests_mm,)), radius=radius)
    change = answer.offset_change_mm
    if answer.gap_mm is not None:
        same = answer.gap_mm == plan.gap_mm
        return OffsetRow(
            shown.length(crests_mm),
            "leave it" if same else f"no offset: set the gap to {shown.length(answer.gap_mm)}",
        )
    if change is None:
        return OffsetRow(shown.length(crests_mm), f"stop and ask: {answer.message}")
    if not change:
        return OffsetRow(shown.length(crests_mm), "leave it")
    entered = change / 2.0 if radius else change
    sign = "-" if entered < 0.0 else "+"
    return OffsetRow(
        shown.length(crests_mm),
        f"{sign}{shown.length(abs(entered))} on the {'radius' if radius else 'diameter'}",
    )
