"""The rules of the ending: how the slide leaves, and what the program leaves behind."""

from __future__ import annotations

from knurlcam.gcode.marks import Form
from knurlcam.gcode.motion import Block, End, Motion
from knurlcam.plan.model import Plan
from knurlcam.verification.limits import X_TOLERANCE_MM, Z_TOLERANCE_MM, Safe
from knurlcam.verification.machine import Machine
from knurlcam.verification.report import Report
from knurlcam.verification.slide import Slide
from knurlcam.verification.text import last_block

__all__ = ["check_at_safe_position", "check_left_behind"]


def _end_block(motion: Motion) -> Block:
    return next((e.block for e in motion.events if type(e) is End), last_block(motion))


def check_left_behind(motion: Motion, form: Form, machine: Machine, report: Report) -> None:
    """Check what is in force at the end.

    Args:
        motion: The whole motion.
        form: What the text is.
        machine: Knows the job's tool.
        report: Takes the findings.
    """
    state = motion.state
    if state.spindle != "off":
        report.say("spindle-on-at-end", _end_block(motion), "the spindle is not stopped at the end")
    if state.coolant:
        report.say("coolant-on-at-end", _end_block(motion), "the coolant is not off at the end")
    if form == "blocks":
        # What the main program does next goes in, with the tool that it called.
        if not report.has_said_once("moves-without-offset"):
            machine.check_tool(state, _end_block(motion))
    elif state.offset:
        report.say(
            "offset-on-at-end",
            _end_block(motion),
            f"offset {state.offset} is not cancelled at the end",
        )


def check_at_safe_position(
    motion: Motion, form: Form, slide: Slide, plan: Plan, report: Report
) -> None:
    """Check where the slide stands at the end.

    Args:
        motion: The whole motion.
        form: What the text is.
        slide: The slide, after the last move.
        plan: The plan, whose machine has the safe position.
        report: Takes the findings.
    """
    to_reference = motion.dialect.safe_return == "reference point"
    if _is_safe(slide, form, plan, to_reference):
        return
    machine, mm = plan.job.machine, report.mm
    if form == "blocks":
        safe = f"X {mm(machine.safe_x)} or further out"
    elif to_reference:
        safe = "the reference point"
    else:
        safe = f"X {mm(machine.safe_x)} Z {mm(machine.safe_z)}"
    x = _place(slide.x, slide.x_at_reference, report)
    z = _place(slide.z, slide.z_at_reference, report)
    report.say(
        "not-at-safe-position",
        _end_block(motion),
        f"the program ends at X {x} Z {z}, the safe position is {safe}",
    )


def _is_safe(slide: Slide, form: Form, plan: Plan, to_reference: bool) -> bool:
    # Both axes, within their tolerance: further out is no safe position either, for the next
    # program or the operator counts on the place that the job names.
    machine = plan.job.machine
    x_home = slide.x is None and slide.x_at_reference
    z_home = slide.z is None and slide.z_at_reference
    if form == "blocks":
        return x_home or (slide.x is not None and slide.x >= Safe.of(plan).x)
    if to_reference:
        return x_home and z_home
    x_safe = slide.x is not None and abs(slide.x - machine.safe_x) <= X_TOLERANCE_MM
    z_safe = slide.z is not None and abs(slide.z - machine.safe_z) <= Z_TOLERANCE_MM
    return (x_home or x_safe) and (z_home or z_safe)


def _place(value: float | None, at_reference: bool, report: Report) -> str:
    if value is None:
        return "at the reference point" if at_reference else "unknown"
    return report.mm(value)
