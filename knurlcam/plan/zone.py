"""Traverse or plunge, and where along the work the rolls then go.

Plain rolls begin at the end of the work: a third of their face is on it when they press in,
and a third overhangs the end when they come back (:data:`ENTRY_SHARE`). A zone that does not
begin at the end takes bevelled rolls, which stay inside it.
"""

from __future__ import annotations

from knurlcam.job.model import Job
from knurlcam.plan.remarks import CONTRACT, HANDBOOK, LENGTH_SLACK_MM, Remarks
from knurlcam.plan.results import Strategy, Tooling, Zone

__all__ = ["choose_zone", "entry_mm", "strategy_of"]

ENTRY_SHARE = 1.0 / 3.0
"""Share of the face on the work at the start, and over the end on a return [-]."""

_ROLLS_OF = "DIN 82:1973-01, rolls of DIN 403"


def choose_zone(job: Job, tooling: Tooling, remarks: Remarks) -> Zone:
    """Return whether the rolls traverse or plunge, and where their edges go."""
    strategy = _strategy(job, tooling, remarks)
    face, start, length = job.tool.face_width, job.knurl.start, job.knurl.length
    end = -(start + length)
    if start > 0 and face > length + LENGTH_SLACK_MM:
        remarks.refuse(
            "marks-outside",
            "tool.face_width",
            f"rolls {remarks.mm(face)} wide print {remarks.mm(face - length)} beyond a knurl of "
            f"{remarks.mm(length)} that does not start at the end; take rolls "
            f"{remarks.mm(length)} wide or less",
        )
    if strategy == "plunge":
        return Zone(strategy, end, end, end, end + face)
    if start > 0:
        return _inside(job, end, remarks)
    return _from_the_end(job, end, remarks)


def strategy_of(job: Job, *, traverse: bool) -> Strategy:
    """Return whether the rolls traverse or plunge, as the job says or as recommended.

    Args:
        job: The job.
        traverse: Whether rolls of these forms may traverse.
    """
    plunge = _is_wide_enough(job) or not traverse
    return job.process.strategy or ("plunge" if plunge else "traverse")


def entry_mm(job: Job, strategy: Strategy) -> float:
    """Return where the rolls' left edge stands when the first pass presses in, from Z0 [mm]."""
    face, start = job.tool.face_width, job.knurl.start
    if strategy == "plunge":
        return -(start + job.knurl.length)
    return -start - face if start > 0 else -face * ENTRY_SHARE


def _is_wide_enough(job: Job) -> bool:
    return job.tool.face_width >= job.knurl.length - LENGTH_SLACK_MM


def _strategy(job: Job, tooling: Tooling, remarks: Remarks) -> Strategy:
    face, length, asked = job.tool.face_width, job.knurl.length, job.process.strategy
    wide_enough = _is_wide_enough(job)
    strategy = strategy_of(job, traverse=tooling.traverse)
    why = (
        "the rolls are as wide as the knurl" if wide_enough else "the knurl is wider than the rolls"
    )
    remarks.choose("process.strategy", strategy, None, given=asked is not None, why=why)
    if strategy == "traverse" and not tooling.traverse:
        remarks.refuse(
            "plunge-only-rolls",
            "process.strategy",
            f"these rolls print points or pits and cannot traverse; plunge with rolls at "
            f"least {remarks.mm(length)} wide, or make the knurl no wider than {remarks.mm(face)}",
            source=_ROLLS_OF,
        )
    elif strategy == "plunge" and not wide_enough:
        _refuse_narrow_rolls(job, tooling, remarks)
    return strategy


def _refuse_narrow_rolls(job: Job, tooling: Tooling, remarks: Remarks) -> None:
    face, length = job.tool.face_width, job.knurl.length
    remarks.refuse(
        "rolls-too-narrow" if tooling.traverse else "plunge-only-rolls",
        "tool.face_width",
        f"rolls {remarks.mm(face)} wide cannot plunge a knurl of {remarks.mm(length)}; take "
        f"rolls at least {remarks.mm(length)} wide"
        + (", or traverse" if tooling.traverse else " (these rolls cannot traverse)")
        + f", or make the knurl no wider than {remarks.mm(face)}",
        source="geometry" if tooling.traverse else _ROLLS_OF,
    )


def _inside(job: Job, end: float, remarks: Remarks) -> Zone:
    """Both ends of the traverse stay inside the zone (bevelled rolls)."""
    face, start, length = job.tool.face_width, job.knurl.start, job.knurl.length
    if not job.tool.bevelled_rolls:
        remarks.refuse(
            "needs-bevelled-rolls",
            "tool.bevelled_rolls",
            f"the knurl starts {remarks.mm(start)} from the end and is wider than the rolls: "
            "plain cylindrical rolls can only do that from the end of the work; take bevelled "
            f"rolls, start at the end, or take rolls {remarks.mm(length)} wide and plunge",
            source=HANDBOOK,
        )
    else:
        remarks.note(
            "note",
            "bevelled-rolls",
            "both ends of the traverse stay inside the zone; the bevels ease the rolls into "
            "the work",
            HANDBOOK,
        )
    if face >= length - LENGTH_SLACK_MM:
        remarks.refuse(
            "no-travel",
            "process.strategy",
            f"rolls {remarks.mm(face)} wide have no room to traverse within {remarks.mm(length)}: "
            "plunge instead",
        )
    # Inside the zone both edges of the rolls count: nothing may be printed beyond either end.
    return Zone("traverse", -start - face, end, -start - face, -start)


def _from_the_end(job: Job, end: float, remarks: Remarks) -> Zone:
    face, length = job.tool.face_width, job.knurl.length
    share = face * ENTRY_SHARE
    if length <= 2 * share + LENGTH_SLACK_MM:
        possible = length > share + LENGTH_SLACK_MM
        remarks.refuse(
            "traverse-too-short",
            "process.strategy",
            f"a knurl of {remarks.mm(length)} is not wider than two thirds of the rolls "
            f"({remarks.mm(2 * share)}): the return would have no travel; plunge instead, or "
            f"take rolls narrower than {remarks.mm(1.5 * length)}",
            possible=possible,
            source=CONTRACT,
        )
        # Accepted: the return goes as far over the end as the entry stands.
        return Zone("traverse", -share, end, -share, face - share)
    return Zone("traverse", -share, end, share - face, share)
