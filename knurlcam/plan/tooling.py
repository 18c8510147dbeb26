"""Which rolls make the knurl, and where the slide stands with them."""

from __future__ import annotations

from knurlcam.data.rolls import roll_sets, rolls
from knurlcam.job.model import Job
from knurlcam.mechanics.contact import Contact
from knurlcam.mechanics.knurl import KnurlGeometry
from knurlcam.mechanics.loads import Prints
from knurlcam.mechanics.setup_loads import Teeth
from knurlcam.mechanics.tool_styles import TOOL_STYLES, contact_for
from knurlcam.plan.remarks import Remarks
from knurlcam.plan.results import Diameters, RollAsItIs, Tooling

__all__ = ["choose_tooling", "may_traverse", "rolls_of", "teeth_of"]


def choose_tooling(
    job: Job,
    knurl: KnurlGeometry,
    roll: RollAsItIs,
    diameters: Diameters,
    remarks: Remarks,
) -> Tooling:
    """Return rolls and contact.

    Raises:
        CannotBeDoneError: where the rolls would pass above and below the work.
    """
    names = _rolls(job, knurl, remarks)
    contact = _contact(job, roll, diameters, remarks)
    _say_datums(job, remarks)
    teeth = teeth_of(knurl, names)
    return Tooling(names, roll, may_traverse(names), teeth, contact, _datum_shift_mm(job))


def may_traverse(names: tuple[str, ...]) -> bool:
    """Return whether rolls of these forms may be fed along the work."""
    return all(rolls()[name].traverses for name in names)


def _rolls(job: Job, knurl: KnurlGeometry, remarks: Remarks) -> tuple[str, ...]:
    """Return the rolls that make a knurl; none where the tool has none such."""
    tool = job.tool
    names = rolls_of(job, knurl)
    if not names:
        takes = "; ".join(
            f"{' and '.join(s.rolls)} in a "
            + ("one-roll holder" if len(s.rolls) == 1 else "two-roll tool")
            + (", swivelled" if s.swivelled else "")
            for s in roll_sets(knurl.form)
        )
        remarks.refuse(
            "no-rolls-for-form",
            "tool.style",
            f"a {tool.style} has no {'swivelled ' if tool.swivelled else ''}rolls that make "
            f"form {knurl.form}; it takes {takes}",
            source="DIN 82:1973-01, rolls of DIN 403",
        )
        return ()
    remarks.choose(
        "tool.rolls",
        " ".join(names),
        None,
        given=tool.rolls is not None,
        why=f"they make form {knurl.form} (DIN 82)",
    )
    return names


def rolls_of(job: Job, knurl: KnurlGeometry) -> tuple[str, ...]:
    """Return the forms of the rolls, as the job gives them or as usual; none where none fit."""
    tool = job.tool
    if tool.rolls:
        return tool.rolls
    for row in roll_sets(knurl.form):
        if len(row.rolls) == tool.roll_count and row.swivelled == tool.swivelled:
            return row.rolls
    return ()


def teeth_of(knurl: KnurlGeometry, names: tuple[str, ...]) -> Teeth:
    """Return the teeth that press: those of rolls that traverse are ridges."""
    # A roll with points or crossing ridges stays where it printed first: it cannot traverse.
    prints: Prints = "ridges"
    if not names or not rolls()[names[0]].traverses:
        prints = "points" if knurl.family == "indented" else "crossing ridges"
    # Left and right teeth of a diamond push along the axis against each other, and cancel.
    one_hand = knurl.helix_deg if knurl.family == "straight" else 0.0
    return Teeth.of(prints, knurl.pitch_mm, knurl.profile_deg, one_hand)


def _contact(job: Job, roll: RollAsItIs, diameters: Diameters, remarks: Remarks) -> Contact:
    tool = job.tool
    contact = contact_for(
        tool.style,
        tool.datum,
        blank_diameter_mm=diameters.blank_mm,
        roll_diameter_mm=roll.diameter_mm,
        full_penetration_mm=diameters.penetration_mm,
        roll_spacing_mm=tool.roll_spacing,
    )
    if TOOL_STYLES[tool.style].set_to_gap:
        _check_gap(job, contact, diameters, remarks)
    else:
        _check_spacing(contact, diameters, remarks)
    return contact


def _check_gap(job: Job, contact: Contact, diameters: Diameters, remarks: Remarks) -> None:
    # A key that no drawing asks for: it lets a plan say that a straddle cannot open so far.
    largest = job.tool.largest_gap
    if largest is not None and contact.gap_mm > largest:
        blank = remarks.mm(largest + 2 * diameters.penetration_mm)
        remarks.refuse(
            "straddle-too-small",
            "tool.largest_gap",
            f"the rolls must be set {remarks.mm(contact.gap_mm)} apart over this blank but "
            f"open to {remarks.mm(largest)} only; take a larger straddle, or a blank "
            f"of at most {blank}",
        )


def _check_spacing(contact: Contact, diameters: Diameters, remarks: Remarks) -> None:
    reach = contact.blank_radius_mm + contact.roll_radius_mm - diameters.penetration_mm
    if contact.half_spacing_mm < reach:
        return
    remarks.refuse(
        "rolls-too-far-apart",
        "tool.roll_spacing",
        f"rolls {remarks.mm(2 * contact.half_spacing_mm)} apart pass above and below a blank "
        f"of {remarks.mm(diameters.blank_mm)}; the spacing must be below "
        f"{remarks.mm(2 * reach)}: take a smaller head, larger rolls or a single roll",
    )
    # No X follows from rolls that do not touch: nothing after this could be planned.
    remarks.stop_if_refused()


def _say_datums(job: Job, remarks: Remarks) -> None:
    tool = job.tool
    remarks.choose(
        "tool.x_datum",
        tool.datum,
        None,
        given=tool.x_datum is not None,
        why="usual for this tool style",
    )
    remarks.choose(
        "tool.z_datum",
        tool.z_datum,
        None,
        given="z_datum" in tool.model_fields_set,
        why="the edge that stands at the end of the knurl",
    )


def _datum_shift_mm(job: Job) -> float:
    face = job.tool.face_width
    return {"left edge": 0.0, "centre": face / 2, "right edge": face}[job.tool.z_datum]
