"""Values that the job gives and that a plunge, or a traverse, has no use for."""

from __future__ import annotations

from knurlcam.job.model import Job
from knurlcam.plan.remarks import CONTRACT, Remarks
from knurlcam.plan.results import Strategy

__all__ = ["note_unused"]

NOT_IN_A_PLUNGE = {
    "process.feed": "only the retract goes at it",
    "process.clean_up": "there is no traverse to clean up",
    "process.compensate": "the slide does not go along the work",
    "process.trial_length": "the trial is as long as the rolls are wide",
    "tool.bevelled_rolls": "the rolls stay where they press in",
    "machine.reversal_speed_limit": "no feed reverses",
}
"""Keys that a plunge does not use, each with the reason."""


def note_unused(job: Job, strategy: Strategy, remarks: Remarks) -> None:
    """Note what the job gives and this strategy does not use.

    What a shop file gives is for all of a shop's jobs, and is not noted.
    """
    unused = NOT_IN_A_PLUNGE if strategy == "plunge" else _not_in_this_traverse(job)
    given = [key for key in unused if _is_given(job, key) and key not in job.from_shop]
    if given:
        what = "plunge" if strategy == "plunge" else "traverse"
        reasons = ", ".join(f"{key} ({unused[key]})" for key in given)
        remarks.note("note", "not-used", f"this {what} does not use {reasons}", CONTRACT)


def _not_in_this_traverse(job: Job) -> dict[str, str]:
    if job.knurl.start > 0:
        return {}
    return {"tool.bevelled_rolls": "the knurl starts at the end of the work"}


def _is_given(job: Job, key: str) -> bool:
    """Return whether the job itself says a key, other than to say no."""
    section, name = key.split(".")
    table = getattr(job, section)
    return name in table.model_fields_set and (
        name == "clean_up" or getattr(table, name) not in (None, False)
    )
