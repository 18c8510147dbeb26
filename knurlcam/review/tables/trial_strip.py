"""The trial strip: what the program does about it, and what to do if it doubles."""

from __future__ import annotations

from collections.abc import Sequence

from knurlcam.gcode.motion import Block, Change, Motion
from knurlcam.mechanics.knurl import blanks_near
from knurlcam.plan.model import Plan
from knurlcam.timeline import Halt, Timeline, pass_names
from knurlcam.units.show import Shown

__all__ = ["double_impression", "trial_strip"]


def trial_strip(plan: Plan, line: Timeline, motion: Motion) -> str:
    """Return what the program does about a trial strip, as it is read."""
    names = pass_names(plan, line)
    strips = [p for p, name in zip(line.prints, names, strict=True) if name == "trial"]
    if not strips:
        return f"{_none(plan)} Never stop feed or spindle while the rolls press."
    to = Shown(plan.job.units).length(strips[-1].z_to - plan.datum_shift_mm)
    after = next((p.block for p in line.prints[len(strips) :]), len(motion.blocks))
    halt = next((h for h in line.halts if strips[-1].last_block < h.block < after), None)
    said = f"The program knurls to Z {to}, leaves the work {_stops(halt)}."
    if halt is None or not _calls_again(motion, motion.blocks[halt.block : after]):
        return said
    return f"{said} Then it calls tool and offset again: an offset changed at the stop counts."


def _none(plan: Plan) -> str:
    if plan.trial is not None:
        return "The job asks for a trial strip, but the program makes none."
    return (
        "The job has no trial strip. With process.trial_strip = true the program stops for "
        "a look before it goes deeper."
    )


def _stops(halt: Halt | None) -> str:
    """Return whether the program stops."""
    if halt is None:
        return "and goes on without a stop"
    return "and stops if the optional stop is on: switch it on" if halt.optional else "and stops"


def _calls_again(motion: Motion, blocks: Sequence[Block]) -> bool:
    """Whether tool and offset are called in some blocks, and in force after them."""
    lines = {block.line for block in blocks}
    calls = [e for e in motion.events if type(e) is Change and e.calls and e.block.line in lines]
    if not calls:
        return False
    return motion.dialect.holds_offsets or bool(calls[-1].state.offset)


# -- what to change (common practice) --------------------------------------------


def double_impression(plan: Plan, line: Timeline) -> tuple[str, ...]:
    """Return what to change when the rolls print a double impression (common practice)."""
    blank = f"{plan.blank_limits_text}"
    return (
        "Stop. Going deeper in the same place only spoils the blank.",
        f"Measure the blank: {blank}, round, and running true.",
        _look_at_rolls(plan),
        *_press_deeper(plan, line),
        *_smaller_blank(plan),
    )


def _look_at_rolls(plan: Plan) -> str:
    if plan.job.tool.roll_count == 2:
        return "See that both rolls touch at once, run free and have the same pitch."
    return "See that the roll runs free, stands square and is clean."


def _press_deeper(plan: Plan, line: Timeline) -> list[str]:
    """Return that the first print should be deeper, where fewer passes can make it so."""
    least = 2 if plan.strategy == "plunge" and plan.trial is not None else 1
    if not line.prints or sum(p.presses for p in plan.passes) <= least:
        return []
    first = Shown(plan.job.units).length(line.prints[0].depth)
    return [f"Press the first print deeper than {first}: fewer passes in the job do that."]


def _smaller_blank(plan: Plan) -> list[str]:
    shown = Shown(plan.job.units)
    near = blanks_near(
        plan.knurl, plan.blank_diameter_mm, correction_mm=plan.tracking.correction_mm
    )
    smaller = [c for c in near if c.teeth < plan.teeth]
    if not smaller:
        return []
    blank = smaller[-1]
    return [
        f"Or plan the job again with the next smaller blank that tracks, "
        f"{shown.length(blank.blank_diameter_mm)} with {blank.teeth} teeth; the knurled diameter "
        "becomes smaller with it."
    ]
