"""Which log of measured parts counts for a job: the one beside the shop file, or another."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from knurlcam.job.model import Job
from knurlcam.records.calibration import Calibrations, calibrations_in
from knurlcam.records.log import LOG_FILE
from knurlcam.shop.fill import Shop

__all__ = ["MeasuredFrom", "calibrated", "log_beside", "measured_of"]

MeasuredFrom = Calibrations | str | Path | Literal[False] | None
"""What was measured: a log's path, what was read from one, False to leave it out, or None for
the log beside the shop file, where there is one."""


def log_beside(shop: Shop | None) -> Path | None:
    """Return where the log of a shop stands, whether it is there or not; None without a shop."""
    return None if shop is None else Path(shop.path).absolute().parent / LOG_FILE


def measured_of(shop: Shop | None, measured: MeasuredFrom = None) -> Calibrations:
    """Return what was measured for jobs of a shop.

    Args:
        shop: The shop; None without one.
        measured: Where it comes from.

    Raises:
        InputError: if the log cannot be read, is damaged or something else.
    """
    if isinstance(measured, Calibrations):
        return measured
    if measured is False:
        return Calibrations()
    log = log_beside(shop) if measured is None else measured
    return Calibrations() if log is None else calibrations_in(log)


def calibrated(job: Job, shop: Shop | None, measured: MeasuredFrom = None) -> Job:
    """Return a job with what was measured with its rolls, material and tool.

    Args:
        job: The job.
        shop: The shop that filled it up; None without one.
        measured: Where it comes from.

    Raises:
        InputError: if the log cannot be read, is damaged or something else.
    """
    found = measured_of(shop, measured).of(job)
    return job if found is None else job.with_calibration(found)
