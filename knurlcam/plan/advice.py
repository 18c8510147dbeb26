"""What a setter should know beyond the figures: holding, pitch, material, edges."""

from __future__ import annotations

from knurlcam.data.knurls import diametral_pitches, standard_pitches_mm
from knurlcam.job.model import Job
from knurlcam.mechanics.knurl import KnurlGeometry
from knurlcam.mechanics.loads import LOW_ELONGATION_PERCENT
from knurlcam.mechanics.tool_styles import TOOL_STYLES
from knurlcam.mechanics.tracking import diametral_pitch_row
from knurlcam.plan.load_limits import HIGH_CENTRE_LOAD_N
from knurlcam.plan.remarks import (
    CONTRACT,
    HANDBOOK,
    HANDBOOK_TRACKING,
    LENGTH_SLACK_MM,
    Advice,
    Remarks,
)
from knurlcam.plan.results import Diameters

__all__ = ["advise"]

HIGH_BRINELL = 250.0
"""Brinell hardness above which work flakes instead of flowing (common practice) [HB]."""

_HELD_BY_A_CENTRE = (
    Advice(
        "hold it between centres",
        {"holding.method": "between centres", "holding.tailstock": "dead centre"},
    ),
    Advice(
        "bring up a dead centre",
        {"holding.method": "chuck and centre", "holding.tailstock": "dead centre"},
    ),
)


def advise(
    job: Job, knurl: KnurlGeometry, diameters: Diameters, centre_load_n: float, remarks: Remarks
) -> None:
    """Say what a setter should know.

    Args:
        job: The job.
        knurl: The knurl's geometry.
        diameters: Blank and tooth.
        centre_load_n: Radial load on the centre at the tailstock; 0 where not known [N]
        remarks: Where it is said.
    """
    if job.knurl.length > diameters.blank_mm:
        remarks.note(
            "warning",
            "wide-knurl",
            f"the knurl is {remarks.mm(job.knurl.length)} wide, more than the blank's diameter "
            f"of {remarks.mm(diameters.blank_mm)}",
            HANDBOOK,
        )
    _advise_holding(job, centre_load_n, remarks)
    _advise_pitch(job, knurl, remarks)
    _advise_material(job, remarks)
    _advise_use(job, knurl, remarks)
    remarks.note("note", "break-the-edge", "knurled ends are sharp: break the edge afterwards")


def _advise_use(job: Job, knurl: KnurlGeometry, remarks: Remarks) -> None:
    along = knurl.family == "straight" and not knurl.helix_deg
    if job.purpose == "press fit" and not along:
        remarks.note(
            "warning",
            "fit-wants-straight",
            "tolerance classes II and III, for closer fits and press fits, are for straight "
            "knurls only",
            HANDBOOK,
        )
    # Only with a trial strip: without one the program does not stop where the head could be
    # squared up.
    if job.process.trial_strip and TOOL_STYLES[job.tool.style].pivots:
        remarks.note(
            "note",
            "lead-in",
            "for the trial strip turn the head 5 to 10 degrees toward the tailstock and touch "
            "off as it stands; square it up at the stop, and touch off again",
        )


def _advise_holding(job: Job, centre_load_n: float, remarks: Remarks) -> None:
    holding = job.holding
    high, load = centre_load_n > HIGH_CENTRE_LOAD_N, ""
    if high:
        load = f"; its radial load is about {remarks.shown.force(centre_load_n)}"
    if holding.method == "chuck":
        remarks.note(
            "warning",
            "chuck-alone",
            "work held in a chuck alone deflects and is pushed into the chuck"
            + "".join(f"; {text}" for text in remarks.tried("chuck-alone", _HELD_BY_A_CENTRE)),
        )
    elif holding.held_by == "live centre":
        remarks.note(
            "warning" if high else "note",
            "live-centre",
            "a live ball-bearing centre wears under the force of the rolls: a greased dead "
            f"centre holds better{load}",
        )
    else:
        remarks.note(
            "note",
            "grease-centre",
            f"grease the dead centre{' well' if high else ''}, and check it again as the work "
            f"warms{load}",
        )


def _advise_pitch(job: Job, knurl: KnurlGeometry, remarks: Remarks) -> None:
    asked = job.knurl.asked
    if job.rolls_chosen:
        remarks.note(
            "note", "rolls-chosen", f"the pitch was left to the shop: {job.rolls_chosen}", CONTRACT
        )
    if asked.system == "dp":
        row = diametral_pitch_row(asked.value)
        if row is None:
            known = ", ".join(str(p) for p in diametral_pitches())
            remarks.note(
                "note",
                "odd-pitch",
                f"{asked.value:g} DP is not a standard diametral pitch ({known})",
                HANDBOOK_TRACKING,
            )
        elif row.diametral_pitch == 64:
            remarks.note("note", "prefer-96", "96 DP is preferred and 64 DP best avoided", HANDBOOK)
    elif asked.system == "pitch" and not any(
        abs(knurl.pitch_mm - p) < LENGTH_SLACK_MM for p in standard_pitches_mm()
    ):
        known = ", ".join(f"{p:g}" for p in standard_pitches_mm())
        remarks.note(
            "note",
            "odd-pitch",
            f"a pitch of {knurl.pitch_mm:g} mm is not one of those of DIN 82 ({known} mm)",
            "DIN 82 (pitches from memory)",
        )


def _advise_material(job: Job, remarks: Remarks) -> None:
    material = job.part.material_row
    if (
        material.elongation_percent is not None
        and material.elongation_percent < LOW_ELONGATION_PERCENT
    ) or (material.elongation_percent is None and material.yield_strength_mpa is None):
        remarks.note(
            "warning",
            "brittle",
            f"{material.name} hardly stretches before it breaks: crests may flake; try a "
            "shallower knurl on scrap first",
        )
    if material.brinell is not None and material.brinell > HIGH_BRINELL:
        remarks.note(
            "warning",
            "hard",
            f"{material.name} at {material.brinell:g} HB is hard for form rolling: expect "
            "high forces and worn rolls",
        )
