"""Measured parts in a plan: taken instead of the estimate, and said with what they change.

The share of the growth acts on the depth: crests of the wanted height take a penetration whose
growth by volume, times the share, is the wanted one. So blank, slide and expected part follow.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from knurlcam.errors import CannotBeDoneError
from knurlcam.job.calibration import Calibration
from knurlcam.job.model import Job
from knurlcam.mechanics.knurl import KnurlGeometry
from knurlcam.plan.remarks import Remarks

if TYPE_CHECKING:
    from knurlcam.plan.model import Plan
    from knurlcam.plan.results import Diameters, Pass

__all__ = ["as_measured", "note_measured"]

SHOP_LOG = "the shop's log of measured parts"
"""Source of what a plan says of them."""


def as_measured(job: Job, knurl: KnurlGeometry) -> KnurlGeometry:
    """Return the knurl as it has been measured to grow.

    Args:
        job: The job.
        knurl: The knurl's geometry.
    """
    found = job.calibration
    if found is None or found.growth_share == 1.0:
        return knurl
    return replace(knurl, growth_share=found.growth_share)


def note_measured(
    job: Job,
    diameters: Diameters,
    passes: tuple[Pass, ...],
    without: Callable[[], Plan],
    remarks: Remarks,
) -> None:
    """Note what a plan takes from measured parts, and what it would have been without.

    Args:
        job: The job.
        diameters: Blank, teeth and tooth.
        passes: The passes.
        without: Plans the job by the estimate alone.
        remarks: Where it is said.
    """
    found = job.calibration
    if found is None:
        return
    if found.left_out:
        remarks.note("note", "measured-left-out", _left_out(found), SHOP_LOG)
    if not found.parts:
        return
    last_x = min(step.x_diameter_mm for step in passes)
    now = f"blank {remarks.mm(diameters.blank_mm)}, last pass at X {remarks.mm(last_x)}"
    try:
        plan = without()
        x = min(step.x_diameter_mm for step in plan.passes)
        before = f"it would be {remarks.mm(plan.blank_diameter_mm)} and X {remarks.mm(x)}"
    except CannotBeDoneError:
        before = "the job would be refused"
    remarks.note(
        "note",
        "measured",
        f"{found.origin}, {_dates(found)}: {'; '.join(_shares(job, found))}; so {now}; without "
        f"them {before}; this is another program than the parts were made with: set their X offset "
        "back to nothing",
        SHOP_LOG,
    )


def refused_as_measured(
    error: CannotBeDoneError, job: Job, without: Callable[[], Plan]
) -> CannotBeDoneError:
    """Return a refusal that says so where it rests on measured parts alone.

    Args:
        error: The refusal.
        job: The job.
        without: Plans the job by the estimate alone.
    """
    found = job.calibration
    try:
        without()
    except CannotBeDoneError:
        return error
    origin = "" if found is None else found.origin
    first, *others = error.refusals
    hint = f"; this rests on measured parts ({origin}): --no-measured plans the job without them"
    return CannotBeDoneError([replace(first, message=first.message + hint), *others], error.where)


def _shares(job: Job, found: Calibration) -> list[str]:
    said = []
    if found.growth_parts:
        spread = "" if found.growth_spread is None else f", spread {found.growth_spread:.3f}"
        said.append(
            f"{found.growth_share:.3f} of the estimated growth ({_parts(found.growth_parts)}"
            f"{spread})"
        )
    if found.correction_parts:
        used = " (not used: the job gives its own)" * (job.tool.tracking_correction is not None)
        said.append(
            f"{found.correction_share:.2f} of the estimated tracking correction "
            f"({_parts(found.correction_parts)}){used}"
        )
    return said


def _left_out(found: Calibration) -> str:
    return f"left out of what was measured with these rolls: {'; '.join(found.left_out)}"


def _dates(found: Calibration) -> str:
    oldest, newest = found.oldest_utc[:10], found.newest_utc[:10]
    return oldest if oldest == newest else f"{oldest} to {newest}"


def _parts(count: int) -> str:
    return f"{count} part{'s' * (count != 1)}"
