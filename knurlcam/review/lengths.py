"""Lengths as the page shows them, in the job's units."""

from __future__ import annotations

from knurlcam.plan.model import Plan
from knurlcam.units.kinds import Kind
from knurlcam.units.show import show, show_bare

__all__ = ["bare", "shown"]


def shown(plan: Plan, mm: float) -> str:
    """Return a length with its unit."""
    return show(mm, Kind.LENGTH, plan.job.units)


def bare(plan: Plan, mm: float) -> str:
    """Return a length without its unit."""
    return show_bare(mm, Kind.LENGTH, plan.job.units)
