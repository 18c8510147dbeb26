"""The estimate of a job's loads and deflection: what the formulas need, taken from the job."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from knurlcam.job.model import Job
from knurlcam.mechanics.beam import Beam, Piece, Support
from knurlcam.mechanics.contact import Contact
from knurlcam.mechanics.held_work import HeldWork
from knurlcam.mechanics.loads import flow_stress
from knurlcam.mechanics.pressing import Fresh
from knurlcam.mechanics.setup_deflection import SetUpDeflection
from knurlcam.mechanics.setup_loads import Loads, RollTravel, SetUp, Teeth, pressing_of

__all__ = ["SUPPORTS", "Depth", "Estimate", "estimate_loads", "pieces_of"]

SUPPORTS: dict[str, Support] = {
    "between centres": "simply supported",
    "chuck and centre": "fixed and supported",
    "chuck": "fixed and free",
}
"""How a way of holding supports the work, in the words of the beam formulas."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """Loads and deflection of a plan at full penetration.

    Attributes:
        set_up: What presses, with its loads.
        deflection: How the work deflects; None where Young's modulus is not known.
    """

    set_up: SetUp
    deflection: SetUpDeflection | None

    @property
    def loads(self) -> Loads:
        """Loads of the pass at full penetration."""
        return self.set_up.loads

    @property
    def can_follow(self) -> bool:
        """Whether there is a deflection that the slide can compensate."""
        return self.deflection is not None and not self.set_up.cancels


@dataclass(frozen=True, slots=True)
class Depth:
    """How deep the last pass goes, and where.

    Attributes:
        penetration_mm: Full penetration c [mm]
        step_mm: How much of it the last pass presses [mm]
        travel: Where the rolls go at full penetration.
        fresh: What a turn of the work presses in.
    """

    penetration_mm: float
    step_mm: float
    travel: RollTravel
    fresh: Fresh


def pieces_of(job: Job, blank_mm: float) -> tuple[Piece, ...]:
    """Return the pieces of the work from the chuck or the driven centre to the end face.

    Under the knurl it has the blank's diameter, whatever the steps say.

    Args:
        job: The job.
        blank_mm: Blank diameter [mm]
    """
    if job.part.steps is None:
        return (Piece(job.part.length, blank_mm),)
    begin, end = job.knurl.start, job.knurl.start + job.knurl.length
    pieces: list[Piece] = []
    at = 0.0
    for diameter, length in job.part.steps:
        cuts = [at, *(cut for cut in (begin, end) if at < cut < at + length), at + length]
        for low, high in pairwise(cuts):
            inside = begin <= low and high <= end
            pieces.append(Piece(high - low, blank_mm if inside else diameter))
        at += length
    return tuple(reversed(pieces))


def estimate_loads(
    job: Job, teeth: Teeth, contact: Contact, depth: Depth, rpm: float
) -> Estimate | None:
    """Return the estimate of loads and deflection.

    Args:
        job: The job.
        teeth: The teeth that press.
        contact: Where the slide stands for a penetration.
        depth: How deep the last pass goes, and where.
        rpm: Spindle speed [rev/min]

    Returns:
        The estimate; None where the material's row gives neither strength nor hardness.
    """
    tool, flow = job.tool, flow_stress(job.part.material_row)
    if flow is None:
        return None
    set_up = SetUp(
        teeth=teeth,
        flow=flow,
        pressing=pressing_of(flow, teeth, contact, depth.fresh),
        contact=contact,
        rolls=tool.roll_count,
        face_mm=tool.face_width,
        travel=depth.travel,
        penetration_mm=depth.penetration_mm,
        step_mm=depth.step_mm,
        rpm=rpm,
    )
    work = _held_work(job, set_up)
    return Estimate(set_up, None if work is None else SetUpDeflection(set_up, work))


def _held_work(job: Job, set_up: SetUp) -> HeldWork | None:
    modulus = job.part.material_row.youngs_modulus_gpa
    if modulus is None:
        return None
    pieces = pieces_of(job, 2.0 * set_up.contact.blank_radius_mm)
    beam = Beam(SUPPORTS[job.holding.method], modulus * 1000.0, pieces)
    pressing = set_up.making_pressing
    return HeldWork(set_up.contact, pressing, set_up.rolls, set_up.face_mm, beam)
