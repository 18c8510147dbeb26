"""The rules of the ending: how the slide leaves, and what the program leaves behind."""

from __future__ import annotations

import re

from knurlcam.gcode.marks import LEAVES_MARK, Form
from knurlcam.gcode.motion import Block, Change, End, Motion
from knurlcam.gcode.words import set_by_code
from knurlcam.plan.model import Plan
from knurlcam.verification.limits import X_TOLERANCE_MM, Z_TOLERANCE_MM, Safe
from knurlcam.verification.machine import Machine
from knurlcam.verification.modes import History
from knurlcam.verification.report import Report
from knurlcam.verification.slide import Slide
from knurlcam.verification.text import last_block

__all__ = ["check_at_safe_position", "check_left_behind", "check_modes_left"]

_LEAVES = re.compile(rf"\s*{LEAVES_MARK}((?: +G\d+)+)")


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


def check_modes_left(motion: Motion, form: Form, units: str, report: Report) -> None:
    """Check that what goes on after the text finds the modes that its comment promises.

    Without such a comment those that are stated before the first motion are promised.

    Args:
        motion: The whole motion.
        form: What the text is: after a program nothing goes on.
        units: The job's.
        report: Takes the findings.
    """
    if form == "program":
        return
    promise = next((m for c in motion.comments if (m := _LEAVES.match(c.upper()))), None)
    codes = (*motion.dialect.modes(units), *(promise[1].split() if promise else ()))
    # By what it sets, so that a code in the comment goes before the one that is stated.
    promised = {s[0]: (s[1], code) for code in codes if (s := set_by_code(motion.dialect, code))}
    for name, (value, code) in promised.items():
        left = getattr(motion.state, name)
        if left in (value, None) or any(map(report.has_said_once, _SAID_OF_MODE.get(name, ()))):
            continue
        by = "its comment promises" if promise else "it states"
        report.say(
            "leaves-other-modes",
            _last_set(motion, name),
            f"{_SHOWN.get(left, left)} left in force, {by} {code}",
        )


_SAID_OF_MODE = {
    "feed_mode": ("feed-mode-wrong",),
    "speed_mode": ("speed-mode-wrong", "surface-speed-in-contact"),
}
"""Rules that have said of a mode in a motion what is then wrong at the end, too."""

_SHOWN = {
    "mm": "millimetres are",
    "inch": "inches are",
    "absolute": "absolute distances are",
    "incremental": "increments are",
    "per revolution": "feed per revolution is",
    "per minute": "feed per minute is",
    "constant speed": "a speed in rev/min is",
    "surface speed": "constant surface speed is",
}


def _last_set(motion: Motion, name: str) -> Block:
    history = History()
    for event in motion.events:
        if type(event) is Change:
            history.add(event)
    return history.set_by(name, _end_block(motion))


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
    if report.has_said_once("moves-without-offset"):
        return  # it stands elsewhere than X and Z say
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
