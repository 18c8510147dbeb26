"""The table of the passes that the program makes, each held against the plan's.

The figures are those that were read, not those that were planned; and a pass with an error
in one of its blocks is never called as planned.
"""

from __future__ import annotations

from collections.abc import Container, Iterator
from typing import NamedTuple

from knurlcam.gcode.header import x_for_people
from knurlcam.plan.model import Plan
from knurlcam.review.tables.sheet import NOT_KNOWN
from knurlcam.review.tables.speeds import planned_rpm
from knurlcam.timeline import Print, Timeline, pass_names
from knurlcam.units.kinds import Kind
from knurlcam.units.show import Shown, show_bare
from knurlcam.verification.limits import (
    PENETRATION_TOLERANCE_MM,
    SHARE_TOLERANCE,
    SPEED_TOLERANCE_RPM,
    Z_TOLERANCE_MM,
    depth_tolerance_mm,
)

__all__ = ["Pass", "passes_table"]


class Pass(NamedTuple):
    """A pass as the table shows it, all as text.

    Attributes:
        name: Its number, or "trial".
        way: Where it goes.
        x: X as the program's words hold it; least and greatest where the slide follows.
        depth: Penetration, as :func:`timeline.depth_of` counts it.
        z_from: Z where it starts.
        z_to: Z where it ends.
        feed: A turn of the work.
        turns: Of the work, with infeed and dwell.
        seconds: With infeed and dwell.
        planned: Empty where it is as planned, else what was planned.
        block: Place of its first block.
    """

    name: str
    way: str
    x: str
    depth: str
    z_from: str
    z_to: str
    feed: str
    turns: str
    seconds: str
    planned: str
    block: int


def passes_table(
    plan: Plan, line: Timeline, *, radius: bool, wrong: Container[int] = ()
) -> tuple[Pass, ...]:
    """Return the passes that the program makes, each held against the plan's.

    Args:
        plan: The plan.
        line: The motion against time.
        radius: Whether the program's X words are radii.
        wrong: Places of the blocks in which an error was found.
    """
    names = pass_names(plan, line)
    planned = _planned(plan, trial="trial" in names)
    found = []
    for i, (name, one) in enumerate(zip(names, line.prints, strict=True)):
        difference = _difference(plan, one, planned[i] if i < len(planned) else None)
        if not difference and any(b in wrong for b in range(one.block, one.last_block + 1)):
            difference = "no: see the findings"
        found.append(_pass(plan, name, one, radius)._replace(planned=difference))
    return tuple(found)


def _pass(plan: Plan, name: str, one: Print, radius: bool) -> Pass:
    shown = Shown(plan.job.units)
    return Pass(
        name=name,
        way=one.direction,
        x=_range(*(x_for_people(plan, x, radius=radius).split()[0] for x in one.xs)),
        depth=_depths(plan, one),
        z_from=shown.bare(one.z_from),
        z_to=shown.bare(one.z_to),
        feed=_feeds(plan, one),
        turns=f"{one.revolutions:.1f}" if one.timed else NOT_KNOWN,
        seconds=f"{one.seconds:.1f}" if one.timed else NOT_KNOWN,
        planned="",
        block=one.block,
    )


def _range(least: str, most: str) -> str:
    return least if least == most else f"{least} to {most}"


def _depths(plan: Plan, one: Print) -> str:
    """Return the depth of a pass; least and greatest where that is more than rounding."""
    shown = Shown(plan.job.units)
    if max(one.depths) - min(one.depths) <= PENETRATION_TOLERANCE_MM:
        return shown.bare(one.depth)
    return _range(*(shown.bare(depth) for depth in one.depths))


def _feeds(plan: Plan, one: Print) -> str:
    if one.feeds is None:
        return NOT_KNOWN
    shown = dict.fromkeys(show_bare(f, Kind.FEED, plan.job.units) for f in one.feeds)
    return " to ".join(shown)


# -- against the plan ------------------------------------------------------------


class _Wanted(NamedTuple):
    """What a pass should be."""

    direction: str
    depth: float
    z_from: float
    z_to: float


def _planned(plan: Plan, *, trial: bool) -> list[_Wanted]:
    """Return what each pass should be, the trial strip first if one is made."""
    found = []
    if trial and plan.trial is not None:
        way = "plunge" if plan.strategy == "plunge" else "headstock"
        strip = plan.trial
        found.append(_Wanted(way, strip.penetration_mm, strip.z_start_mm, strip.z_end_mm))
    return found + [
        _Wanted(p.direction, p.penetration_mm, p.z_start_mm, p.z_end_mm) for p in plan.passes
    ]


def _difference(plan: Plan, one: Print, want: _Wanted | None) -> str:
    """Return what of a pass is not as planned; empty where all of it is."""
    if want is None:
        return "no: extra pass"
    wrong = ", ".join(_differences(plan, one, want))
    return f"no: planned {wrong}" if wrong else ""


def _differences(plan: Plan, one: Print, want: _Wanted) -> Iterator[str]:
    shown = Shown(plan.job.units)
    if one.direction != want.direction:
        yield want.direction if want.direction == "plunge" else f"toward the {want.direction}"
    if max(abs(depth - want.depth) for depth in one.depths) > depth_tolerance_mm(plan):
        yield f"depth {shown.bare(want.depth)}"
    if abs(one.z_from - want.z_from) > Z_TOLERANCE_MM:
        yield f"from Z {shown.bare(want.z_from)}"
    if abs(one.z_to - want.z_to) > Z_TOLERANCE_MM:
        yield f"to Z {shown.bare(want.z_to)}"
    slack = max(SHARE_TOLERANCE * plan.programmed_rpm, SPEED_TOLERANCE_RPM)
    if any(abs(rpm - plan.programmed_rpm) > slack for rpm in one.rpm):
        yield planned_rpm(plan)
