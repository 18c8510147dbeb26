"""The rules of the ending: how the slide leaves, and what the program leaves behind."""

from __future__ import annotations

import re

from knurlcam.gcode.marks import LEAVES_MARK, Form
from knurlcam.gcode.motion import Block, Change, End, Motion
from knurlcam.gcode.words import set_by_code
from knurlcam.plan.model import Plan
from knurlcam.verification.limits import SAFE_TOLERANCE_MM, Safe, Speed
from knurlcam.verification.machine import Machine
from knurlcam.verification.modes import History
from knurlcam.verification.report import Report
from knurlcam.verification.slide import Slide
from knurlcam.verification.text import last_block

__all__ = ["check_at_safe_position", "check_left_behind", "check_modes_left"]

_LEAVES = re.compile(rf"\s*{LEAVES_MARK}((?: +[GS]\d+(?:\.\d)?)+)")


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
    if state.coolant_runs:
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


def check_modes_left(motion: Motion, plan: Plan, speed: Speed, form: Form, report: Report) -> None:
    """Check that what runs after the text finds the modes and the speed that it counts on.

    They are those that its comment promises, else those that are stated before the first motion,
    and the planned speed. A program is held to what it states: no standard says that its end
    brings back the modes of a control that was just switched on, or any speed.

    Args:
        motion: The whole motion.
        plan: The plan.
        speed: The planned speed.
        form: What the text is: only what goes into another program promises in a comment.
        report: Takes the findings.
    """
    promise = None
    if form != "program":
        promise = next((m for c in motion.comments if (m := _LEAVES.match(c.upper()))), None)
    words = promise[1].split() if promise else []
    _check_modes(motion, plan, words, report)
    said = next((float(word[1:]) for word in words if word[0] == "S"), None)
    _check_speed_left(motion, speed, said, report)


def _check_modes(motion: Motion, plan: Plan, words: list[str], report: Report) -> None:
    codes = (*motion.dialect.modes(plan.job.units), *words)
    # By what it sets, so that a code in the comment goes before the one that is stated.
    promised = {s[0]: (s[1], code) for code in codes if (s := set_by_code(motion.dialect, code))}
    for name, (value, code) in promised.items():
        left = getattr(motion.state, name)
        if left in (value, None) or any(map(report.has_said_once, _SAID_OF_MODE.get(name, ()))):
            continue
        by = "its comment promises" if words else "it states"
        report.say(
            "leaves-other-modes",
            _history(motion).set_by(name, _end_block(motion)),
            f"{_SHOWN.get(left, left)} left in force, {by} {code}",
        )


def _check_speed_left(motion: Motion, speed: Speed, said: float | None, report: Report) -> None:
    """Check the S word that the next spindle start without one turns at."""
    rpm, wanted = motion.state.rpm, speed.planned_rpm if said is None else said
    if rpm is not None and speed.is_near(rpm, wanted):
        return
    if motion.state.speed_mode == "surface speed":
        return  # the mode is the finding
    if any(report.has_said_once(code, rpm) for code in _SAID_OF_SPEED):
        return
    history = _history(motion)
    if rpm is None and not _is_lost(history, report):
        return
    left = "no S" if rpm is None else f"S{rpm:g}"
    by = "planned" if said is None else "its comment promises"
    report.say(
        "leaves-other-modes",
        history.set_by("rpm", _end_block(motion)),
        f"{left} is left in force, {by} S{wanted:g}",
    )


def _is_lost(history: History, report: Report) -> bool:
    """Whether a change of the speed mode has ended an S, and nothing is said of that yet."""
    said = any(map(report.has_said_once, _SAID_OF_MODE["speed_mode"]))
    return history.was_in_force("rpm") and not said


_SAID_OF_SPEED = ("speed-not-planned", "speed-too-fast")
"""Rules that have said of a speed in contact what is then wrong at the end, too."""

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
    "diameter": "X words on the diameter are",
    "radius": "X words on the radius are",
    "constant speed": "a speed in rev/min is",
    "surface speed": "constant surface speed is",
}


def _history(motion: Motion) -> History:
    history = History()
    for event in motion.events:
        if type(event) is Change:
            history.add(event)
    return history


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
    if report.has_said_once("outside-known-room", "reference") and None in (slide.x, slide.z):
        return  # why it stands elsewhere is the finding
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
    x_safe = slide.x is not None and abs(slide.x - machine.safe_x) <= SAFE_TOLERANCE_MM
    z_safe = slide.z is not None and abs(slide.z - machine.safe_z) <= SAFE_TOLERANCE_MM
    return (x_home or x_safe) and (z_home or z_safe)


def _place(value: float | None, at_reference: bool, report: Report) -> str:
    if value is None:
        return "at the reference point" if at_reference else "unknown"
    return report.mm(value)
