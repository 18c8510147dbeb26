"""A plan as plain data, piece by piece, figures unrounded (``knurlcam plan --json``)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from knurlcam.mechanics.knurl import KnurlGeometry
from knurlcam.mechanics.setup_loads import Loads
from knurlcam.mechanics.tracking import Tracking
from knurlcam.plan.loads import Estimate
from knurlcam.plan.remarks import Choice
from knurlcam.plan.results import Diameters, Expected, Pass, Tooling

__all__ = [
    "choices_data",
    "deflection_data",
    "diameters_data",
    "expected_data",
    "knurl_data",
    "loads_data",
    "passes_data",
    "rolls_data",
]

PARTS_OF_DEFLECTION = 10
"""Parts of the knurl's length at whose ends the deflection is given [-]."""

FIGURES_OF_A_PASS = (
    "radial_force_n",
    "radial_force_low_n",
    "radial_force_high_n",
    "net_push_n",
    "net_push_low_n",
    "net_push_high_n",
    "torque_nm",
    "torque_low_nm",
    "torque_high_nm",
)
"""What is given of the loads of each pass."""


def knurl_data(knurl: KnurlGeometry) -> dict[str, Any]:
    """Return what the callout comes to."""
    return {
        "form": knurl.form,
        "pitch_mm": knurl.called_pitch_mm or knurl.pitch_mm,
        "helix_deg": knurl.helix_deg,
        "profile_deg": knurl.profile_deg,
        "callout": knurl.callout,
    }


def diameters_data(
    diameters: Diameters,
    knurl: KnurlGeometry,
    blank_limits: tuple[float, float],
    knurled_limits: tuple[float, float] | None,
) -> dict[str, Any]:
    """Return blank, teeth and tooth.

    Args:
        diameters: Blank, teeth and tooth.
        knurl: The knurl's geometry.
        blank_limits: Smallest and largest diameter to turn the blank to [mm]
        knurled_limits: Upper and lower limit on the knurled diameter, where its pitch has
            them [mm]
    """
    return {
        "teeth": diameters.teeth,
        "misfit_teeth": diameters.misfit_teeth,
        "blank_diameter_mm": diameters.blank_mm,
        "blank_tolerance_mm": diameters.blank_tolerance_mm,
        "blank_limits_mm": list(blank_limits),
        "knurled_diameter_mm": diameters.knurled_mm,
        "knurled_limits_mm": None if knurled_limits is None else list(knurled_limits),
        "tooth_height_mm": diameters.tooth_height_mm,
        "full_tooth_height_mm": knurl.full_height_mm,
        "fullness": diameters.fullness,
        "penetration_mm": diameters.penetration_mm,
        "rise_mm": diameters.rise_mm,
    }


def expected_data(expected: Expected) -> dict[str, Any]:
    """Return what the part is expected to measure."""
    return {
        "knurled_diameter_mm": list(expected.knurled_diameter_mm),
        "tooth_height_mm": list(expected.tooth_height_mm),
        "evenness": expected.evenness,
        "double_impression": expected.double_impression,
        "held_off_mm": expected.held_off_mm,
        "blank_limits_mm": list(expected.blank_limits_mm),
    }


def rolls_data(tooling: Tooling, tracking: Tracking, shop_tool: str) -> dict[str, Any]:
    """Return the rolls: forms, pitch as they have it, teeth and diameter where known."""
    return {
        "name": tooling.roll.name,
        "forms": list(tooling.rolls),
        "pitch_mm": tracking.pitch_mm,
        "teeth": tooling.roll.teeth,
        "diameter_mm": tooling.roll.diameter_mm,
        "shop_tool": shop_tool or None,
    }


def loads_data(
    estimate: Estimate | None, passes: Sequence[Pass], pass_loads: Sequence[Loads | None]
) -> dict[str, Any] | None:
    """Return the loads at full penetration and of each pass; None where they are not known."""
    if estimate is None:
        return None
    flow = estimate.set_up.flow
    return {
        **estimate.loads._asdict(),
        "passes": [
            {"number": p.number, **{key: getattr(w, key) for key in FIGURES_OF_A_PASS}}
            for p, w in zip(passes, pass_loads, strict=True)
            if w is not None
        ],
        "flow_stress_mpa": flow.likely_mpa,
        "flow_stress_low_mpa": flow.low_mpa,
        "flow_stress_high_mpa": flow.high_mpa,
    }


def deflection_data(estimate: Estimate | None, *, compensated: bool) -> dict[str, Any] | None:
    """Return how far the work deflects; None where that is not known.

    Args:
        estimate: Loads and deflection.
        compensated: Whether the slide compensates the deflection.
    """
    made = None if estimate is None else estimate.deflection
    if made is None:
        return None
    low, high = made.evenness_range
    least, most = made.max_range_mm
    stress, high_stress = made.bending_mpa(compensated=compensated)
    return {
        "max_mm": made.max_mm,
        "max_low_mm": least,
        "max_high_mm": most,
        "z_mm": made.z_mm,
        "fed_mm": made.fed.deflection_mm,
        "fed_z_mm": made.fed.z_mm,
        "lost_mm": made.lost_mm,
        "evenness": made.evenness,
        "evenness_low": low,
        "evenness_high": high,
        "evenness_compensated": made.evenness_compensated,
        "bending_stress_mpa": stress,
        "bending_stress_high_mpa": high_stress,
        "tailstock_force_n": made.tailstock_n,
        "along": [place._asdict() for place in made.curve(PARTS_OF_DEFLECTION)],
    }


def passes_data(passes: Sequence[Pass]) -> list[dict[str, Any]]:
    """Return the passes; where each block ends of those with deflection compensation."""
    rows = []
    for step in passes:
        row = step._asdict()
        del row["presses"]
        blocks = row.pop("follow")
        if blocks:
            row["follow"] = [{"z_mm": z, "x_diameter_mm": x} for z, x in blocks]
        rows.append(row)
    return rows


def choices_data(choices: Sequence[Choice]) -> list[dict[str, Any]]:
    """Return each figure with its origin and reason."""
    return [{"key": c.key, "value": c.value, "origin": c.origin, "why": c.why} for c in choices]
