"""What the part that is to be expected means for the plan."""

from __future__ import annotations

from knurlcam.plan.expected import Rolled, expected_of, planned_way
from knurlcam.plan.model import Plan
from knurlcam.plan.remarks import Remarks
from knurlcam.plan.results import Expected

__all__ = ["check_expected"]


def check_expected(plan: Plan, remarks: Remarks) -> Expected:
    """Return what the part is expected to measure.

    Args:
        plan: The plan, all but finished.
        remarks: Where it is said.
    """
    step = remarks.least_shown()
    return expected_of(plan, Rolled(plan.infeed_mm_per_rev, planned_way(plan, step)))
