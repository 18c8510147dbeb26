"""What the page's script moves things by: points in machine time, and what is in force.

The script only places what was worked out here. The points stand close enough to move
evenly in between (``timeline.STRAIGHT_MM``).
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from knurlcam.gcode.motion import State
from knurlcam.plan.model import Plan
from knurlcam.review.views.frame import View
from knurlcam.timeline import PHASES, Phase, Timeline
from knurlcam.units.kinds import MM_PER_INCH

__all__ = ["PHASE_NAMES", "motion_data"]

PHASE_NAMES: dict[Phase, str] = {
    "rapid": "rapid",
    "infeed": "infeed",
    "dwell": "dwell",
    "headstock": "toward the chuck (headstock)",
    "tailstock": "toward the tailstock",
    "retract": "retract at feed",
}
"""What the page calls the phases of motion."""


def motion_data(
    plan: Plan, line: Timeline, views: Iterable[View], *, radius: bool
) -> dict[str, Any]:
    """Return what the script reads as JSON.

    Args:
        plan: The plan.
        line: The motion against time.
        views: The pictures in which the rolls move.
        radius: Whether the program's X words are radii.
    """
    contact, keys = plan.contact, line.keys
    texts = [_state_text(state) for state in line.states]
    numbers = {text: i for i, text in enumerate(dict.fromkeys(texts))}
    unit = MM_PER_INCH if plan.job.units == "inch" else 1.0
    return {
        "s": [round(k.s, 6) for k in keys],
        "x": [round(k.x, 5) for k in keys],
        "z": [round(k.z, 5) for k in keys],
        "c": [round(k.depth, 5) for k in keys],
        "stiff": _stiff_depths(plan, line),
        "p": [PHASES.index(k.phase) for k in keys],
        "after": line.key_after,
        "state": [numbers[text] for text in texts],
        "states": list(numbers),
        "halts": [[h.block, round(h.s, 6), h.optional] for h in line.halts],
        "phases": [[name, PHASE_NAMES[name]] for name in PHASES],
        "views": {
            v.name: [v.frame.x0, v.frame.kx, v.frame.y0, v.frame.ky, *v.within] for v in views
        },
        "left": plan.datum_shift_mm,
        "blank": contact.blank_radius_mm,
        "centre": contact.datum_shift_mm,
        "unit": [unit, (2.0 if radius else 1.0) * unit, 4 if plan.job.units == "inch" else 3],
    }


def _stiff_depths(plan: Plan, line: Timeline) -> list[float] | None:
    """Return the depth at which the rolls would stand in work that does not deflect.

    With deflection compensation the roll is drawn where the slide stands, deeper than the
    rolls come.
    """
    if not plan.follows:
        return None
    return [round(plan.contact.depth_mm(k.x), 5) for k in line.keys]


def _state_text(state: State) -> str:
    """Return spindle and coolant in words."""
    rpm = f"{state.rpm:g} rev/min " if state.rpm and state.spindle != "off" else ""
    turning = "spindle stopped" if state.spindle == "off" else f"{rpm}{state.spindle}"
    return f"{turning}, coolant {'on' if state.coolant else 'off'}"
