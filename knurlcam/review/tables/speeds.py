"""The table of speeds, feeds and times, as the program has them; the plan stands beside them."""

from __future__ import annotations

import math
from collections.abc import Iterable

from knurlcam.gcode.motion import Dwell, Motion
from knurlcam.plan.model import Plan
from knurlcam.review.tables.sheet import NOT_KNOWN, Row, Sheet
from knurlcam.timeline import Timeline, touches
from knurlcam.units.kinds import Kind
from knurlcam.units.show import show

__all__ = ["planned_rpm", "speed_sheet"]

MOST_FEEDS = 4
MOST_DWELLS = 3
"""Values that are written out in one row; of more than these the rest is left out."""


def speed_sheet(plan: Plan, motion: Motion, line: Timeline) -> Sheet:
    """Return speeds, feeds and times as the program has them."""
    rapid = show(plan.job.machine.rapid_rate, Kind.VELOCITY, plan.job.units)
    rows = (
        _spindle_row(plan, line),
        *_feed_rows(plan, motion, line),
        _infeed_row(plan, line),
        *_dwell_rows(plan, motion),
        Row("Coolant or oil", _coolant(plan, line)),
        Row("Time", _time(line), f"without stops, rapids at {rapid}"),
    )
    return Sheet("Speeds and feeds", rows)


def planned_rpm(plan: Plan) -> str:
    """Return the speed that the program should have."""
    return show(float(plan.programmed_rpm), Kind.SPEED, plan.job.units)


def _spindle_row(plan: Plan, line: Timeline) -> Row:
    turning = [s for s in line.states if s.spindle != "off"]
    ways = " and ".join(sorted({s.spindle for s in turning})) or "never on"
    if any(s.speed_mode == "surface speed" for s in turning):
        return Row("Spindle", "constant surface speed", f"{ways}; planned {planned_rpm(plan)}")
    # All speeds at which it turns, not the first: an edited program may change it between passes.
    rpm = sorted({float(s.rpm) for s in turning if s.rpm})
    planned = "" if rpm == [float(plan.programmed_rpm)] else f"planned {planned_rpm(plan)}; "
    surface = math.pi * plan.blank_diameter_mm * (rpm[-1] if rpm else 0.0) / 1000.0
    return Row(
        "Spindle",
        ", ".join(show(value, Kind.SPEED, plan.job.units) for value in rpm) or "none",
        f"{planned}{ways}, {show(surface, Kind.VELOCITY, plan.job.units)} at the blank",
    )


def _feed_rows(plan: Plan, motion: Motion, line: Timeline) -> list[Row]:
    traverses = (p for p in line.prints if p.feeds and p.direction != "plunge")
    feeds = {f for p in traverses for f in p.feeds or ()}
    if not feeds:
        return []
    per_minute = motion.dialect.feed == "per minute"
    written = "; F words are feeds per minute" if per_minute else ""
    return [Row("Feed", _feeds(plan, feeds), f"along Z, per revolution{written}")]


def _infeed_row(plan: Plan, line: Timeline) -> Row:
    infeeds = (s.feed_mm_per_rev for s in line.spans if s.phase == "infeed")
    feeds = _feeds(plan, {f for f in infeeds if f})
    return Row("Infeed", feeds, "of the slide, per revolution")


def _feeds(plan: Plan, values: Iterable[float]) -> str:
    shown = dict.fromkeys(show(v, Kind.FEED, plan.job.units) for v in sorted(values))
    return _some(list(shown), MOST_FEEDS) or "none"


def _dwell_rows(plan: Plan, motion: Motion) -> list[Row]:
    dwells = sorted({e.seconds for e in motion.events if type(e) is Dwell})
    if not dwells:
        return []
    turns = plan.job.process.dwell_revolutions
    how = f"{turns} revolution{'s' if turns > 1 else ''} wanted after each infeed"
    return [Row("Dwell", _some([f"{d:.3f} s" for d in dwells], MOST_DWELLS), how)]


def _some(texts: list[str], most: int) -> str:
    return ", ".join(texts[:most]) + (" …" if len(texts) > most else "")


def _coolant(plan: Plan, line: Timeline) -> str:
    on = {line.states[s.block].coolant for s in line.spans if touches(plan, s)}
    if on == {True}:
        return "on while the rolls touch"
    return "partly off while the rolls touch" if True in on else "off while the rolls touch"


def _time(line: Timeline) -> str:
    if not line.timed or line.lost or line.cut:
        return NOT_KNOWN
    minutes, seconds = divmod(round(line.total_s), 60)
    return f"{minutes} min {seconds} s" if minutes else f"{seconds} s"
