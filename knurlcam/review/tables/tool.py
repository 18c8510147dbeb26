"""Tables of the tool: it and its rolls, how it is set, and where it must stand."""

from __future__ import annotations

import math

from knurlcam.data.rolls import rolls
from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.header import tool_called, x_for_people
from knurlcam.gcode.marks import Form
from knurlcam.mechanics.tool_styles import TOOL_STYLES
from knurlcam.plan.model import Plan
from knurlcam.plan.remarks import COMMON
from knurlcam.review.tables.sheet import Row, Sheet
from knurlcam.units.show import Shown

__all__ = ["rolls_sheet", "setting_sheet"]


# -- the tool and its rolls ------------------------------------------------------


def rolls_sheet(plan: Plan) -> Sheet:
    """Return the tool and its rolls."""
    shown = Shown(plan.job.units)
    tool, knurl, roll = plan.job.tool, plan.knurl, plan.tooling.roll
    kinds = "; ".join(f"{name}: {rolls()[name].description}" for name in dict.fromkeys(plan.rolls))
    helix = f", helix {knurl.helix_deg:g}°" if knurl.helix_deg else ""
    rows = [
        Row("Tool", tool.style, f"station {tool.station}, offset {tool.offset_number}"),
        Row("Rolls", " and ".join(plan.rolls), kinds),
        Row(
            "Pitch",
            shown.length(knurl.pitch_mm),
            f"across the teeth; profile {knurl.profile_deg:g}°{helix}",
        ),
        Row(
            "Roll",
            f"⌀ {shown.length(roll.diameter_mm)}"
            + ("" if roll.teeth is None else f", {roll.teeth} teeth"),
            f"face {shown.length(tool.face_width)}" + ", bevelled" * tool.bevelled_rolls,
        ),
    ]
    if tool.swivelled:
        how = "the rolls are turned by the helix angle"
        rows.append(Row("Swivel", f"{knurl.helix_deg:g}°", how))
    return Sheet("Tool and rolls", tuple(rows))


# -- how it is set ---------------------------------------------------------------


def setting_sheet(plan: Plan, dialect: Dialect, form: Form) -> Sheet:
    """Return how the tool is set, and where it must stand.

    Args:
        plan: The plan.
        dialect: The program's dialect, for radii and for how a subprogram is called.
        form: What the program is: whole, or to be called or pasted.
    """
    radius = dialect.x == "radius"
    clearance = x_for_people(plan, plan.clearance_x_mm, radius=radius)
    rows = (
        Row("Height", *TOOL_STYLES[plan.job.tool.style].height),
        *_spacing_rows(plan),
        _x_row(plan, radius),
        _z_row(plan),
        *_lead_in_rows(plan),
        _axis_row(plan),
        Row("Clearance X", f"X {clearance}"),
        *_stand_rows(plan, dialect, form),
        *_own_word_rows(dialect),
    )
    return Sheet("Tool setting", rows)


def _spacing_rows(plan: Plan) -> list[Row]:
    """Return the gap of a straddle, or how far apart the rolls of a head stand."""
    shown = Shown(plan.job.units)
    contact = plan.contact
    if plan.gap_mm is not None:
        return [Row("Gap between the rolls", shown.length(plan.gap_mm), "set it first")]
    if not TOOL_STYLES[plan.job.tool.style].pivots:
        return []
    sine = contact.half_spacing_mm / (contact.blank_radius_mm + contact.roll_radius_mm)
    return [
        Row(
            "Roll centres apart",
            shown.length(2.0 * contact.half_spacing_mm),
            f"the rolls meet the work {math.degrees(math.asin(sine)):.1f}° above and below centre "
            "height: X moves more than they go in",
        )
    ]


def _x_row(plan: Plan, radius: bool) -> Row:
    if plan.contact.x_datum == "roll centre":
        what = "the distance" if radius else "twice the distance"
        touch = x_for_people(plan, plan.contact.x_diameter_mm(0.0), radius=radius)
        return Row(
            "X datum",
            "roll centre",
            f"X reads {what} from the spindle axis to the roll centre: enter the measured offset. "
            f"To check it: spindle stopped, rolls just touching the turned blank, X reads {touch}",
        )
    reads = x_for_people(plan, plan.blank_diameter_mm, radius=radius)
    rolls_touch = "roll touches" if plan.job.tool.roll_count == 1 else "rolls just touch"
    return Row(
        "X datum",
        f"touch-off, X {reads}",
        f"spindle stopped, bring the tool in by hand until the {rolls_touch} the turned blank; "
        f"there X reads {reads}" + ", a radius" * radius,
    )


def _z_row(plan: Plan) -> Row:
    datum = plan.job.tool.z_datum
    part = {
        "left edge": "the rolls' edge at the chuck's side",
        "right edge": "the rolls' edge at the tailstock's side",
        "centre": "the middle of the rolls' face",
    }[datum]
    return Row("Z datum", datum, f"with {part} level with the end face Z reads 0")


def _lead_in_rows(plan: Plan) -> list[Row]:
    """Return a head's lead-in.

    With a trial strip only: without one the program does not stop where the head could be
    squared up.
    """
    job = plan.job
    heads = plan.gap_mm is None and TOOL_STYLES[job.tool.style].pivots
    if not heads or not job.process.trial_strip:
        return []
    return [
        Row(
            "Lead-in",
            "5° to 10°",
            "for the trial strip turn the head this far toward the tailstock and touch off "
            f"X and Z as it stands; square it up at the stop, touch off again ({COMMON})",
        )
    ]


def _axis_row(plan: Plan) -> Row:
    shown = Shown(plan.job.units)
    contact = plan.contact
    full = shown.length(contact.centre_mm(plan.penetration_mm))
    return Row(
        "Axis to roll centre",
        f"{shown.bare(contact.touch_mm)} to {full}",
        "at contact and at full depth, across the slide"
        + "; the axis of the deflected work, with deflection compensation" * plan.follows,
    )


# -- where it stands -------------------------------------------------------------


def _own_word_rows(dialect: Dialect) -> list[Row]:
    """Return the words for which the shop answers, with where it has them from."""
    return [
        Row(
            f"Word {code}",
            word.means.replace("_", " "),
            f"by {word.source}: the shop vouches for it, no open standard gives it this meaning",
        )
        for code, word in dialect.own_words.items()
    ]


def _stand_rows(plan: Plan, dialect: Dialect, form: Form) -> list[Row]:
    """Return where the tool stands before and after, by what the program is."""
    shown = Shown(plan.job.units)
    machine = plan.job.machine
    x = f"X {x_for_people(plan, machine.safe_x, radius=dialect.x == 'radius')}"
    modes = Row(
        "Left in force",
        " ".join(dialect.modes(plan.job.units)),
        "units, distance, feed and speed mode: what the main program had before is gone",
    )
    if form == "blocks":
        return [
            Row(
                "Before the blocks",
                f"{x} or further out",
                tool_called(plan, dialect),
            ),
            Row("After them", x, "spindle and coolant off; the main program goes on from there"),
            modes,
        ]
    if form == "section":
        return [
            Row(
                "Before the section",
                "X, then Z",
                "the last tool goes out so, from where it stands: it must be free to",
            ),
            Row("After it", x, "spindle and coolant off, offset cancelled; safe position"),
            modes,
        ]
    safe = Row(
        "Safe position", x, f"Z {shown.length(machine.safe_z)}; the turret stands here at the start"
    )
    if form == "subprogram":
        number = plan.job.part.number
        return [safe, Row("Called by", f"{dialect.codes.subprogram_call} P{number}"), modes]
    return [safe]
