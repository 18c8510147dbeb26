"""What the part that is to be expected means: refusals and warnings, each with a way out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from knurlcam.mechanics.capture import reach_per_mm
from knurlcam.plan.expected import (
    Rolled,
    expected_of,
    first_print_mm,
    full_penetration_mm,
    planned,
)
from knurlcam.plan.load_advice import less_deflection
from knurlcam.plan.model import Plan
from knurlcam.plan.remarks import LENGTH_SLACK_MM, Remarks
from knurlcam.plan.results import Expected

if TYPE_CHECKING:
    from knurlcam.plan.press_fit import Joint

__all__ = ["DOUBLES", "SHALLOW_REFUSED", "SHALLOW_WARNED", "check_expected", "check_reach"]

SOURCE = "estimate of this program: deflection, conservation of volume"

DOUBLES = 0.1
"""Double impression from which a part is not clean [-]: a stray line a tenth as deep as the teeth
is seen only with a magnifier."""

SHALLOW_REFUSED = 0.5
"""Expected tooth height over the planned one below which the part is another one [-]"""

SHALLOW_WARNED = 0.75
"""... and below which it is warned of [-]"""

NARROW_MM = 0.02
"""Width of the blank's limits below which it is warned of them [mm]: turning holds no less
without care (common practice)."""


def check_expected(plan: Plan, remarks: Remarks) -> Expected:
    """Return what the part is expected to measure; say what speaks against it.

    Args:
        plan: The plan, all but finished.
        remarks: Where it is said.
    """
    step = remarks.least_shown()
    rolled = planned(plan, step)
    expected = expected_of(plan, rolled)
    _check_tracking(plan, rolled, expected, remarks)
    _check_height(plan, expected, remarks)
    _check_room(plan, expected, step, remarks)
    _check_limits(expected, remarks)
    return expected


def _check_tracking(plan: Plan, rolled: Rolled, expected: Expected, remarks: Remarks) -> None:
    if expected.double_impression < DOUBLES:
        return
    print_mm, misfit = first_print_mm(plan, rolled), plan.misfit_teeth
    reach = reach_per_mm(plan.knurl.profile_deg) * print_mm / plan.knurl.pitch_mm
    tracks = plan.tracking.blank_diameter(plan.teeth)
    text = (
        f"on a blank of {remarks.mm(plan.blank_diameter_mm)} the rolls come round "
        f"{abs(misfit):.2f} of a tooth beside their print, and the first turn presses "
        f"{remarks.mm(print_mm)} deep, which catches them within {reach:.2f}: they print a "
        f"double impression of {expected.double_impression:.2f} (0 none, 1 fully doubled); turn "
        f"the blank to {remarks.mm(tracks)}"
    )
    # A programmer who has accepted a blank that does not track has accepted what comes of it.
    if "does-not-track" in (note.code for note in remarks.notes if note.severity == "error"):
        remarks.note("warning", "doubles", text, SOURCE)
    else:
        remarks.refuse("doubles", "part.blank_diameter", text, source=SOURCE)


def _check_height(plan: Plan, expected: Expected, remarks: Remarks) -> None:
    made, wanted = expected.tooth_height_mm.likely, plan.tooth_height_mm
    if made >= SHALLOW_WARNED * wanted:
        return
    text = (
        f"the teeth are expected to come out {remarks.mm(made)} high instead of "
        f"{remarks.mm(wanted)}, the crests at {remarks.mm(expected.knurled_diameter_mm.likely)} "
        f"instead of {remarks.mm(plan.knurled_diameter_mm)}, for the work deflects"
        f"{_help_text(plan, remarks)}"
    )
    if made < SHALLOW_REFUSED * wanted:
        remarks.refuse("shallow-on-part", "part.length", text, source=SOURCE)
    else:
        remarks.note("warning", "shallow-on-part", text, SOURCE)


def _help_text(plan: Plan, remarks: Remarks) -> str:
    """Return what would make the work deflect less, worked out for this job; empty if unknown.

    Args:
        plan: The plan.
        remarks: How figures are shown.
    """
    deflection = None if plan.estimate is None else plan.estimate.deflection
    if deflection is None or remarks.trying is None:
        return ""
    advice = "; ".join(less_deflection(plan.job, deflection, remarks, "shallow-on-part"))
    return f": {advice}" if advice else ""


def check_reach(plan: Plan, joint: Joint, expected: Expected, remarks: Remarks) -> bool:
    """Return whether crests planned beyond the bore reach it; refuse them where they do not.

    Args:
        plan: The plan.
        joint: The fit but for the knurl.
        expected: What the part is expected to measure.
        remarks: Where it is said.
    """
    likely, low, _ = expected.knurled_diameter_mm
    bore = joint.bore_limits[0]
    if low > bore or plan.knurled_diameter_mm <= bore:
        return True  # or planned too small, which is refused as loose
    remarks.refuse(
        "under-bore",
        "fit.bore",
        f"the crests are expected at {remarks.mm(likely)}, and may come out at {remarks.mm(low)}, "
        f"not larger than the smallest bore, {remarks.mm(bore)}: there would be no "
        f"press fit, for the work deflects{_help_text(plan, remarks)}",
        source=SOURCE,
    )
    return False


def _check_room(plan: Plan, expected: Expected, step_mm: float, remarks: Remarks) -> None:
    """Warn where metal fills the teeth of the rolls within what blank and X may be off."""
    full, contact = full_penetration_mm(plan.knurl), plan.contact
    last = plan.passes[-1].x_diameter_mm
    deeper = contact.depth_mm(last - step_mm)
    high = expected.tooth_height_mm.high
    if high < plan.knurl.full_height_mm - LENGTH_SLACK_MM and deeper < full:
        return
    largest = expected.blank_limits_mm[1]
    remarks.note(
        "warning",
        "overfills",
        f"a blank of {remarks.mm(largest)}, at its upper limit, or X deeper by "
        f"{remarks.mm(step_mm)} presses the teeth full, and the rolls are lifted off: keep the "
        "blank to its lower limit, or take less process.fullness",
        SOURCE,
    )


def _check_limits(expected: Expected, remarks: Remarks) -> None:
    low, high = expected.blank_limits_mm
    if high - low >= NARROW_MM - LENGTH_SLACK_MM:
        return
    remarks.note(
        "warning",
        "window-narrow",
        f"the blank must be turned to between {remarks.mm(low)} and {remarks.mm(high)} to track: "
        "measure it before the rolls touch it, or press a deeper first turn with a faster "
        "process.infeed_rate",
        SOURCE,
    )
