"""With which program a part was made: the plan behind it, as the log of measured parts stood then.

Each part that is kept changes the next plan, and not the program that still runs on the lathe.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from knurlcam.errors import InputError
from knurlcam.gcode.marks import IDENTITY_MARK, MEASURED_MARK
from knurlcam.job.calibration import Calibration
from knurlcam.job.model import Job
from knurlcam.records.calibration import calibration_of
from knurlcam.records.measurement import Measurement, set_up_of

__all__ = ["job_as_made", "mark_of"]

_MEASURED = re.compile(rf"{MEASURED_MARK}(\d+ PARTS?, GROWTH [\d.]+, CORRECTION [\d.]+)", re.I)
_IDENTITY = re.compile(rf"{IDENTITY_MARK}([0-9A-F]{{12}})")


def mark_of(calibration: Calibration | None) -> str:
    """Return what a program's header says of measured parts; empty of none."""
    return calibration.mark if calibration is not None and calibration.parts else ""


def job_as_made(
    job: Job, entries: Sequence[Measurement], program: str | None = None, where: str | None = None
) -> Job:
    """Return a job with what was measured before its part was made.

    Args:
        job: The job, with what is measured today.
        entries: What the log holds, oldest first.
        program: Text of the program; None for that of the job's last part in the log, and of
            today where none of its parts is there.
        where: The program's name for messages.

    Raises:
        InputError: if the program is another job's, or rests on parts that the log has not.
    """
    if program is not None:
        _refuse_other_job(job, program, where)
        found = _MEASURED.search(program)
        return _marked(job, entries, "" if found is None else found[1], where)
    same = [entry for entry in entries if entry.job_identity == job.identity]
    if not same:
        return job
    try:
        return _marked(job, entries, same[-1].program_identity, where)
    except InputError:  # parts were forgotten since: nearest to it is what is known today
        return job


def _refuse_other_job(job: Job, program: str, where: str | None) -> None:
    named = _IDENTITY.search(program)
    if named is not None and named[1] != job.identity:
        raise InputError(
            f"is the program of job {named[1]}",
            where=where,
            expected=f"one of job {job.identity}",
            remedy="name the job that the part was made from",
        )


def _marked(job: Job, entries: Sequence[Measurement], mark: str, where: str | None) -> Job:
    """Return a job with the calibration of a mark, as the log stood at some time."""
    if not mark:
        return job.with_calibration(None)
    parts = [entry for entry in entries if entry.set_up == set_up_of(job)]
    for count in range(len(parts), 0, -1):
        found = calibration_of(parts[:count])
        if found is not None and found.mark.upper() == mark.upper():
            return job.with_calibration(found)
    raise InputError(
        f"rests on measured parts ({mark.lower()}) that the log has not",
        where=where,
        expected="a program that was made with this log",
        remedy="name its log with --log, or make the program again",
    )
