"""What stands around the rolls: the chuck, the centre, shoulders, the safe position.

Diameters that are not known (the chuck's, that of a centre which the job does not give) are
taken to reach out to safe X, and to the largest that clears the rolls.
"""

from __future__ import annotations

from knurlcam.job.model import Job
from knurlcam.plan.remarks import LENGTH_SLACK_MM, Remarks
from knurlcam.plan.results import Diameters, Surroundings, Tooling, Zone

__all__ = ["check_surroundings", "pieces_beside"]

ROOM_OVER_CRESTS_MM = 0.1
"""Travel of the slide between crests and clearance, at least [mm]: as the least clearance is."""

FLUSH_MM = 0.0005
"""Distance below which rolls and a shoulder are called flush: it would be shown as 0 [mm]"""


def check_surroundings(
    job: Job,
    diameters: Diameters,
    tooling: Tooling,
    zone: Zone,
    deepest_mm: float,
    remarks: Remarks,
) -> Surroundings:
    """Return the clearance and what may stand beyond the end face; refuse what is in the way.

    Args:
        job: The job.
        diameters: Blank and tooth.
        tooling: Rolls and contact.
        zone: Where the rolls go.
        deepest_mm: How deep the rolls reach in over the end face [mm]
        remarks: Where it is said.
    """
    clearance_x = tooling.contact.x_diameter_mm(0.0) + 2.0 * job.machine.clearance
    _check_crests(job, diameters, tooling, clearance_x, remarks)
    if job.part.steps is not None:
        _check_steps(job, diameters, tooling, zone, remarks)
    if job.machine.safe_x < clearance_x:
        remarks.refuse(
            "safe-x-inside",
            "machine.safe_x",
            f"{remarks.mm(job.machine.safe_x)} is inside the clearance, X "
            f"{remarks.mm_up(clearance_x)}; raise it to at least that, on the diameter",
        )
    _check_chuck(job, zone, remarks)
    largest = _check_centre(job, zone, diameters.blank_mm - 2.0 * deepest_mm, remarks)
    return Surroundings(clearance_x, largest)


def _check_crests(
    job: Job, diameters: Diameters, tooling: Tooling, clearance_x: float, remarks: Remarks
) -> None:
    """Check that rapids, which end at the clearance, end above the crests as well.

    Clearance is travel of the slide from first touch of the blank. Of a straddle, which comes in
    along the work's surface rather than toward its axis, the crests take up much of it.
    """
    crests = diameters.rise_mm + diameters.blank_tolerance_mm / 2.0
    crest_x = tooling.contact.x_diameter_mm(-crests)
    least = crest_x / 2.0 - tooling.contact.x_diameter_mm(0.0) / 2.0 + ROOM_OVER_CRESTS_MM
    if job.machine.clearance < least - LENGTH_SLACK_MM:
        remarks.refuse(
            "clearance-in-crests",
            "machine.clearance",
            f"{remarks.mm(job.machine.clearance)} ends at X {remarks.mm(clearance_x)}, and the "
            f"rolls touch the crests of the finished knurl at X {remarks.mm(crest_x)}: rapids "
            f"would begin in the work; raise it to at least {remarks.mm_up(least)}",
        )


def _check_chuck(job: Job, zone: Zone, remarks: Remarks) -> None:
    part, clearance = job.part, job.machine.clearance
    room = part.length + zone.end_mm
    holder = "chuck" if job.holding.method != "between centres" else "driven centre"
    if room < -LENGTH_SLACK_MM:
        most = part.length - job.knurl.start - clearance
        shorter = f"shorten it to {remarks.mm_down(most)} at most or " if most > 0 else ""
        remarks.refuse(
            "past-the-chuck",
            "knurl.length",
            f"the knurl ends {remarks.mm(-zone.end_mm)} from the end, beyond the {holder} at "
            f"{remarks.mm(part.length)}; {shorter}hold the work further out",
        )
    elif room <= LENGTH_SLACK_MM:
        remarks.refuse(
            "meets-the-chuck",
            "knurl.length",
            f"the rolls would run against the {holder} at {remarks.mm(part.length)}; leave "
            f"at least the clearance of {remarks.mm(clearance)} between them",
        )
    elif room < clearance:
        remarks.note(
            "warning",
            "near-the-chuck",
            f"the rolls come within {remarks.mm(room)} of the {holder}: check that no part of it "
            "and none of the tool is in the way",
        )


def _check_centre(job: Job, zone: Zone, largest: float, remarks: Remarks) -> float | None:
    """Return the largest diameter beyond the end face; None where no roll overhangs it."""
    overhang = max(zone.entry_mm, zone.turn_mm) + job.tool.face_width
    if overhang <= LENGTH_SLACK_MM or job.holding.held_by == "none":
        return None
    given = job.holding.centre_diameter
    if given is None:
        remarks.note(
            "note",
            "centre-clearance",
            f"the rolls overhang the end by {remarks.mm(overhang)}: a centre or quill there must "
            f"be smaller than {remarks.mm_down(largest)} in diameter",
            "geometry",
        )
    elif given >= largest:
        remarks.refuse(
            "meets-the-centre",
            "holding.centre_diameter",
            f"the rolls overhang the end by {remarks.mm(overhang)} and reach in to a diameter of "
            f"{remarks.mm_down(largest)}; a centre or quill there must be smaller than that: take "
            "a smaller centre or a half centre",
        )
    return largest


# -- stepped work --------------------------------------------------------------


def _check_steps(
    job: Job, diameters: Diameters, tooling: Tooling, zone: Zone, remarks: Remarks
) -> None:
    """Check stepped work against the blank, the rolls' way and the safe position."""
    steps, contact, blank = job.part.steps, tooling.contact, diameters.blank_mm
    assert steps is not None
    begin, end = job.knurl.start, job.knurl.start + job.knurl.length
    largest = max([diameter for diameter, _ in steps])
    room = contact.blank_radius_mm - contact.depth_mm(job.machine.safe_x)
    if largest / 2.0 > room - LENGTH_SLACK_MM:
        remarks.refuse(
            "safe-x-inside",
            "machine.safe_x",
            f"at the safe X the rolls reach in to a diameter of {remarks.mm(2.0 * room)}, and a "
            f"step has {remarks.mm(largest)}; raise it",
        )
    way = -zone.right_limit_mm, -zone.end_mm
    for piece in pieces_beside(steps, begin, end):
        if piece[0] > blank + LENGTH_SLACK_MM:
            _check_shoulder(piece, way, job, diameters.knurled_mm, remarks)
    _check_under_the_knurl(job, blank, tooling.teeth.pitch_mm, remarks)


def _check_under_the_knurl(job: Job, blank: float, pitch: float, remarks: Remarks) -> None:
    """Check the steps under the knurl against the blank; they may differ by a pitch.

    A drawing gives the knurled diameter there, or the one before knurling: the blank's own
    takes its place in either case.
    """
    begin, end = job.knurl.start, job.knurl.start + job.knurl.length
    at = 0.0
    for diameter, length in job.part.steps or ():
        low, at = at, at + length
        under = max(low, begin) < min(at, end) - LENGTH_SLACK_MM
        if under and abs(diameter - blank) > pitch:
            remarks.refuse(
                "steps-disagree",
                "part.steps",
                f"under the knurl the work has {remarks.mm(blank)}, and the step from "
                f"{remarks.mm(low)} to {remarks.mm(at)} has {remarks.mm(diameter)}; give that "
                "step the blank's diameter, or cut it where the knurl begins and ends",
            )


def _check_shoulder(
    piece: tuple[float, float, float],
    way: tuple[float, float],
    job: Job,
    knurled_mm: float,
    remarks: Remarks,
) -> None:
    """Check a piece that is thicker than the blank against the way of rolls and holder."""
    (diameter, low, high), (near, far) = piece, way
    clearance, body = job.machine.clearance, job.tool.body_width or 0.0
    overlap = min(high, far) - max(low, near)
    if overlap > LENGTH_SLACK_MM:
        remarks.refuse(
            "meets-a-shoulder",
            "part.steps",
            f"the rolls run against the step of {remarks.mm(diameter)} from {remarks.mm(low)} to "
            f"{remarks.mm(high)}; take narrower rolls",
        )
    # A step no higher than the crests does not reach past the teeth of the rolls.
    elif overlap + body > -clearance and diameter > knurled_mm + LENGTH_SLACK_MM:
        what = "the holder comes" if body else "the rolls come"
        remarks.refuse(
            "near-shoulder",
            "tool.face_width",
            f"{what} {_how_near(remarks, -overlap - body)} the step of {remarks.mm(diameter)} "
            f"from {remarks.mm(low)} to {remarks.mm(high)}, and {remarks.mm(clearance)} of "
            "clearance are asked for: knurl further from it, relieve the corner, take narrower "
            "rolls or holder, or give less machine.clearance",
        )


def _how_near(remarks: Remarks, room_mm: float) -> str:
    """Return how near something comes, as a sentence takes it before what it comes near to."""
    if room_mm < -FLUSH_MM:
        return f"{remarks.mm(-room_mm)} over"
    return f"within {remarks.mm(room_mm)} of" if room_mm > FLUSH_MM else "flush against"


def pieces_beside(
    steps: tuple[tuple[float, float], ...], begin: float, end: float
) -> list[tuple[float, float, float]]:
    """Return the pieces of stepped work that are not under the knurl.

    Args:
        steps: Diameter and length of each piece, from the end face on [mm]
        begin: Distance of the knurl's begin from the end face [mm]
        end: ... and of its end [mm]

    Returns:
        Of each piece, or part of one, its diameter and where it begins and ends [mm]
    """
    found, at = [], 0.0
    for diameter, length in steps:
        low, high = at, at + length
        at = high
        if low < begin:
            found.append((diameter, low, min(high, begin)))
        if high > end:
            found.append((diameter, max(low, end), high))
    return found
