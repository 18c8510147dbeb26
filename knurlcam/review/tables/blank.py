"""The table of the blank: what to turn, and how it is held."""

from __future__ import annotations

from knurlcam.plan.model import Plan
from knurlcam.review.tables.sheet import Row, Sheet
from knurlcam.units.show import Shown

__all__ = ["blank_sheet"]


def blank_sheet(plan: Plan) -> Sheet:
    """Return what to turn, and how it is held."""
    rows = (
        _turn_row(plan),
        _teeth_row(plan),
        Row("Material", plan.job.part.material_row.name),
        _knurl_row(plan),
        _held_row(plan),
        *_centre_rows(plan),
    )
    return Sheet("Blank", rows)


def _turn_row(plan: Plan) -> Row:
    shown = Shown(plan.job.units)
    how = "round and true, in the same holding; smaller rather than larger"
    if plan.is_one_sided:
        how += "; class III (ASME B94.6, from memory)"
    return Row("Turn to", f"{shown.length(plan.blank_diameter_mm)}, {plan.blank_limits_text}", how)


def _teeth_row(plan: Plan) -> Row:
    fit = "a whole number of teeth fits: the blank tracks"
    if abs(plan.misfit_teeth) > 1e-6:
        fit = f"misfit {plan.misfit_teeth:+.3f} of a tooth"
    return Row("Teeth", str(plan.teeth), fit)


def _knurl_row(plan: Plan) -> Row:
    shown = Shown(plan.job.units)
    knurl = plan.job.knurl
    return Row(
        "Knurl",
        f"Z {shown.bare(-knurl.start)} to {shown.length(plan.line_mm)}",
        f"{shown.length(knurl.length)} wide; Z0 is the end face at the tailstock",
    )


def _held_row(plan: Plan) -> Row:
    holding = plan.job.holding
    left = "the driven centre" if holding.method == "between centres" else "the chuck"
    right = "no tailstock" if holding.held_by == "none" else holding.held_by
    method = holding.method
    return Row(
        "Held",
        method if right in method else f"{method}, {right}",
        f"{Shown(plan.job.units).length(plan.job.part.length)} from the end face to {left}",
    )


def _centre_rows(plan: Plan) -> list[Row]:
    if plan.largest_centre_mm is None:
        return []
    shown = Shown(plan.job.units)
    lefts = (z - plan.datum_shift_mm for p in plan.passes for z in (p.z_start_mm, p.z_end_mm))
    overhang = max(lefts) + plan.job.tool.face_width
    return [
        Row(
            "Largest centre",
            f"⌀ {shown.at_most(plan.largest_centre_mm)}",
            f"or quill, from Z 0 to Z +{shown.length(overhang)}, under the rolls",
        )
    ]
