"""What stands beside the pictures: the tables of the setter's page, as text.

Figures of the passes, speeds and feeds come from the motion that was read; what they are
held against comes from the plan.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Container
from dataclasses import dataclass
from typing import NamedTuple

from knurlcam.data.knurls import forms
from knurlcam.data.rolls import rolls
from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.header import x_for_people
from knurlcam.gcode.marks import Form
from knurlcam.gcode.motion import Dwell, Motion
from knurlcam.mechanics.knurl import GOOD_FULLNESS, blanks_near
from knurlcam.mechanics.tool_styles import TOOL_STYLES
from knurlcam.plan.model import Plan
from knurlcam.plan.remarks import COMMON
from knurlcam.timeline import Print, Timeline, pass_names, touches
from knurlcam.units.kinds import Kind
from knurlcam.units.show import show, show_bare, show_down
from knurlcam.verification.findings import Verification
from knurlcam.verification.limits import (
    PENETRATION_TOLERANCE_MM,
    SHARE_TOLERANCE,
    SPEED_TOLERANCE_RPM,
    Z_TOLERANCE_MM,
)

__all__ = [
    "Check",
    "Remark",
    "Row",
    "Run",
    "Sheet",
    "blank_sheet",
    "double_impression",
    "first_part",
    "passes_sheet",
    "remarks",
    "rolls_sheet",
    "speed_sheet",
    "tool_sheet",
    "trial_strip",
]

TEN = 10
"""Teeth over which a pitch is measured: an error of one is ten times smaller."""

GOOD_CRESTS = 0.9
"""Share of the full height from which hardly any flat is left on the crests."""

NOT_KNOWN = "not known"
"""Where a figure would be an invention."""

MOST_OF_A_KIND = 3
"""Findings of one code that are shown one by one; the others are counted."""


class Row(NamedTuple):
    """One line of a table: what, how much, and what to do with it."""

    name: str
    value: str
    how: str = ""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table of rows under a title."""

    title: str
    rows: tuple[Row, ...]


class Run(NamedTuple):
    """A pass as the table shows it, all as text.

    Attributes:
        name: Its number, or "trial".
        way: Where it goes.
        x: X as the program's words hold it; least and greatest where the slide follows.
        depth: Penetration, as :func:`timeline.depth_of` counts it.
        z: From and to.
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


class Check(NamedTuple):
    """One thing to measure on the first part: what, how much, its limits, and how."""

    what: str
    wanted: str
    limits: str
    how: str


class Remark(NamedTuple):
    """A finding or a note.

    Attributes:
        severity: ``error``, ``accepted``, ``warning`` or ``note``.
        where: Its block, in words; empty for a note on the plan.
        message: What it is.
        code: Of its rule or note.
        block: Place of the block, or None.
    """

    severity: str
    where: str
    message: str
    code: str
    block: int | None


def _mm(plan: Plan, value: float) -> str:
    return show(value, Kind.LENGTH, plan.job.units)


def _bare(plan: Plan, value: float) -> str:
    return show_bare(value, Kind.LENGTH, plan.job.units)


# -- blank, tool, speeds -------------------------------------------------------


def blank_sheet(plan: Plan) -> Sheet:
    """Return what to turn, and how it is held."""
    job = plan.job
    fit = "they close on it"
    if abs(plan.misfit_teeth) > 1e-6:
        fit = f"misfit {plan.misfit_teeth:+.3f} of a tooth"
    chuck = "the driven centre" if job.holding.method == "between centres" else "the chuck"
    held = "no tailstock" if job.holding.held_by == "none" else job.holding.held_by
    rows = [
        Row(
            "Turn to",
            f"{_mm(plan, plan.blank_diameter_mm)} {plan.blank_tolerance_text}",
            "round and true, in the same holding; smaller rather than larger" + _class_three(plan),
        ),
        Row("Teeth", str(plan.teeth), fit),
        Row("Material", job.part.material_row.name),
        Row(
            "Knurl",
            f"Z {_bare(plan, -job.knurl.start)} to {_mm(plan, plan.line_mm)}",
            f"{_mm(plan, job.knurl.length)} wide; Z0 is the end face at the tailstock",
        ),
        Row(
            "Held",
            f"{job.holding.method}, {held}"
            if held not in job.holding.method
            else job.holding.method,
            f"{_mm(plan, job.part.length)} free from the end face to {chuck}",
        ),
    ]
    if plan.largest_centre_mm is not None:
        rows.append(
            Row(
                "Beyond the end face",
                f"nothing over {show_down(plan.largest_centre_mm, job.units)}",
                "the rolls hang over the end",
            )
        )
    return Sheet("Blank", tuple(rows))


def _class_three(plan: Plan) -> str:
    """Return whose limits those of a press fit's blank are, where they are published."""
    if plan.one_sided_limits_mm is None:
        return ""
    return "; class III (ASME B94.6, from memory)"


def rolls_sheet(plan: Plan) -> Sheet:
    """Return the tool and its rolls."""
    job, knurl = plan.job, plan.knurl
    tool = job.tool
    kinds = "; ".join(f"{name}: {rolls()[name].description}" for name in dict.fromkeys(plan.rolls))
    helix = f", helix {knurl.helix_deg:g}°" if knurl.helix_deg else ""
    rows = [
        Row("Tool", tool.style, f"station {tool.station}, offset {tool.offset_number}"),
        Row("Rolls", " and ".join(plan.rolls), kinds),
        Row(
            "Pitch",
            _mm(plan, knurl.pitch_mm),
            f"across the teeth; profile {knurl.profile_deg:g}°{helix}",
        ),
        Row(
            "Roll",
            f"⌀ {_mm(plan, tool.roll_diameter)}",
            f"face {_mm(plan, tool.face_width)}" + (", bevelled" if tool.bevelled_rolls else ""),
        ),
    ]
    if tool.swivelled:
        rows.append(
            Row("Swivel", f"{knurl.helix_deg:g}°", "the rolls are turned by the helix angle")
        )
    return Sheet("Tool and rolls", tuple(rows))


def tool_sheet(plan: Plan, dialect: Dialect, form: Form) -> Sheet:
    """Return how the tool is set, and where it must stand."""
    radius = dialect.x == "radius"
    job, contact = plan.job, plan.contact
    tool = job.tool
    rows = [_height_row(plan), _x_row(plan, radius), _z_row(plan)]
    if plan.gap_mm is not None:
        gap = Row("Gap between the rolls", _mm(plan, plan.gap_mm), "set it first of all")
        rows.insert(1, gap)
    elif TOOL_STYLES[tool.style].pivots:
        angle = math.degrees(
            math.asin(contact.half_spacing_mm / (contact.blank_radius_mm + contact.roll_radius_mm))
        )
        spacing = Row(
            "Roll centres apart",
            _mm(plan, 2.0 * contact.half_spacing_mm),
            f"the rolls meet the work {angle:.1f}° above and below centre height: X moves more "
            "than they go in",
        )
        rows.insert(1, spacing)
        if job.process.trial_strip:
            rows.append(
                Row(
                    "Lead-in",
                    "5° to 10°",
                    "for the trial strip turn the head so far towards the tailstock and touch off "
                    f"X and Z as it stands; square it up at the stop, touch off again ({COMMON})",
                )
            )
    full = contact.centre_mm(plan.penetration_mm)
    follows = plan.follows
    rows += [
        Row(
            "Axis to roll centre",
            f"{_bare(plan, contact.touch_mm)} to {_mm(plan, full)}",
            "at contact and at full depth, across the slide"
            + ("; of the work as it gives way, which the slide follows" * follows),
        ),
        Row("Rapids end at", f"X {x_for_people(plan, plan.clearance_x_mm, radius=radius)}"),
        *_stand_rows(plan, dialect, form),
    ]
    return Sheet("Tool setting", tuple(rows))


def _stand_rows(plan: Plan, dialect: Dialect, form: Form) -> list[Row]:
    """Return where the tool stands before and after, by what the program is."""
    machine, tool = plan.job.machine, plan.job.tool
    x = f"X {x_for_people(plan, machine.safe_x, radius=dialect.x == 'radius')}"
    if form == "blocks":
        return [
            Row(
                "Before the blocks",
                f"{x} or further out",
                f"tool {tool.station} called with offset {tool.offset_number} in force",
            ),
            Row("After them", x, "spindle and coolant off; the main program goes on from there"),
        ]
    safe = Row(
        "Safe position", x, f"Z {_mm(plan, machine.safe_z)}; the turret stands here at the start"
    )
    if form == "subprogram":
        number = plan.job.part.number
        return [safe, Row("Called by", f"{dialect.codes.subprogram_call} P{number}")]
    return [safe]


def _height_row(plan: Plan) -> Row:
    return Row("Height", *TOOL_STYLES[plan.job.tool.style].height)


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
        f"there X reads {reads}" + (", a radius" if radius else ""),
    )


def _z_row(plan: Plan) -> Row:
    datum = plan.job.tool.z_datum
    part = {
        "left edge": "the rolls' edge at the chuck's side",
        "right edge": "the rolls' edge at the tailstock's side",
        "centre": "the middle of the rolls' face",
    }[datum]
    return Row("Z datum", datum, f"with {part} level with the end face Z reads 0")


def speed_sheet(plan: Plan, motion: Motion, line: Timeline) -> Sheet:
    """Return speeds, feeds and times as the program has them."""
    job = plan.job
    rows = [_spindle_row(plan, line)]
    feeds = sorted({f for p in line.prints if p.feeds and _runs(p) for f in p.feeds})
    infeeds = sorted(
        {s.feed_mm_per_rev for s in line.spans if s.phase == "infeed" and s.feed_mm_per_rev}
    )
    per_minute = motion.dialect.feed == "per minute"
    written = "; F words are feeds a minute" if per_minute else ""
    if feeds:
        rows.append(Row("Feed", _feeds(plan, feeds), f"along Z, a turn of the work{written}"))
    rows.append(Row("Infeed", _feeds(plan, infeeds), "of the slide, a turn of the work"))
    dwells = sorted({e.seconds for e in motion.events if type(e) is Dwell})
    if dwells:
        turns = job.process.dwell_revolutions
        rows.append(
            Row(
                "Dwell",
                ", ".join(f"{d:.3f} s" for d in dwells[:3]) + (" …" if len(dwells) > 3 else ""),
                f"{turns} turn{'s' if turns > 1 else ''} wanted after each infeed",
            )
        )
    rapid = show(job.machine.rapid_rate, Kind.VELOCITY, job.units)
    rows += [
        Row("Coolant or oil", _coolant(plan, line)),
        Row("Time", _time(line), f"without stops, rapids at {rapid}"),
    ]
    return Sheet("Speeds and feeds", tuple(rows))


def _spindle_row(plan: Plan, line: Timeline) -> Row:
    turning = [s for s in line.states if s.spindle != "off"]
    ways = " and ".join(sorted({s.spindle for s in turning})) or "never on"
    if any(s.speed_mode == "surface speed" for s in turning):
        return Row("Spindle", "constant surface speed", f"{ways}; planned {_rpm(plan)}")
    rpm = sorted({float(s.rpm) for s in turning if s.rpm})
    planned = "" if rpm == [float(plan.programmed_rpm)] else f"planned {_rpm(plan)}; "
    surface = math.pi * plan.blank_diameter_mm * (rpm[-1] if rpm else 0.0) / 1000.0
    return Row(
        "Spindle",
        ", ".join(show(value, Kind.SPEED, plan.job.units) for value in rpm) or "none",
        f"{planned}{ways}, {show(surface, Kind.VELOCITY, plan.job.units)} at the blank",
    )


def _rpm(plan: Plan) -> str:
    return show(float(plan.programmed_rpm), Kind.SPEED, plan.job.units)


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


def _runs(one: Print) -> bool:
    return one.direction != "plunge"


def _feeds(plan: Plan, values: list[float]) -> str:
    shown = dict.fromkeys(show(v, Kind.FEED, plan.job.units) for v in values)
    return ", ".join(list(shown)[:4]) + (" …" if len(shown) > 4 else "") or "none"


# -- passes --------------------------------------------------------------------


def passes_sheet(
    plan: Plan, line: Timeline, *, radius: bool, wrong: Container[int] = ()
) -> tuple[Run, ...]:
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
        found.append(
            Run(
                name=name,
                way=one.direction,
                x=_range(*(x_for_people(plan, x, radius=radius).split()[0] for x in one.xs)),
                depth=_depths(plan, one),
                z_from=_bare(plan, one.z_from),
                z_to=_bare(plan, one.z_to),
                feed=_feed_range(plan, one),
                turns=f"{one.revolutions:.1f}" if one.timed else NOT_KNOWN,
                seconds=f"{one.seconds:.1f}" if one.timed else NOT_KNOWN,
                planned=difference,
                block=one.block,
            )
        )
    return tuple(found)


def _range(least: str, most: str) -> str:
    return least if least == most else f"{least} to {most}"


def _depths(plan: Plan, one: Print) -> str:
    """Return the depth of a pass; least and greatest where that is more than rounding."""
    if max(one.depths) - min(one.depths) <= PENETRATION_TOLERANCE_MM:
        return _bare(plan, one.depth)
    return _range(*(_bare(plan, depth) for depth in one.depths))


def _feed_range(plan: Plan, one: Print) -> str:
    if one.feeds is None:
        return NOT_KNOWN
    shown = dict.fromkeys(show_bare(f, Kind.FEED, plan.job.units) for f in one.feeds)
    return " to ".join(shown)


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
    if want is None:
        return "no: one too many"
    wrong = []
    if one.direction != want.direction:
        wrong.append(want.direction if want.direction == "plunge" else f"to the {want.direction}")
    if max(abs(depth - want.depth) for depth in one.depths) > PENETRATION_TOLERANCE_MM:
        wrong.append(f"depth {_bare(plan, want.depth)}")
    if abs(one.z_from - want.z_from) > Z_TOLERANCE_MM:
        wrong.append(f"from Z {_bare(plan, want.z_from)}")
    if abs(one.z_to - want.z_to) > Z_TOLERANCE_MM:
        wrong.append(f"to Z {_bare(plan, want.z_to)}")
    slack = max(SHARE_TOLERANCE * plan.programmed_rpm, SPEED_TOLERANCE_RPM)
    if any(abs(rpm - plan.programmed_rpm) > slack for rpm in one.rpm):
        wrong.append(_rpm(plan))
    return "no: planned " + ", ".join(wrong) if wrong else ""


# -- the first part ------------------------------------------------------------


def first_part(plan: Plan) -> tuple[Check, ...]:
    """Return what to look at and measure on the first part."""
    knurl, teeth, wanted = plan.knurl, plan.teeth, plan.knurled_diameter_mm
    limits = plan.knurled_limits_mm
    purpose = plan.job.purpose
    for_fit = plan.press_fit is not None and limits is None
    if plan.press_fit is not None and limits is None:
        limits = plan.press_fit.knurled_limits_mm
    allowed = "the drawing's"
    if limits is not None:
        allowed = f"{_bare(plan, wanted + limits[1])} to {_mm(plan, wanted + limits[0])}"
    if for_fit:
        why = "for the press fit"
    elif limits is None:
        why = "no published class for this pitch"
    else:
        grade = "III" if purpose == "press fit" else "I"
        why = f"class {grade}, for {'a press fit' if purpose == 'press fit' else purpose}"
        why += " (ASME B94.6)"
    angle = 2.0 * math.pi * TEN / teeth
    arc = wanted * angle / 2.0
    across = f"; straight across {_mm(plan, wanted * math.sin(angle / 2.0))}"
    checks = [
        Check(
            "Teeth round the work",
            str(teeth),
            "exact",
            "print one turn on paper; twice as many is a double impression",
        ),
        Check(
            "Diameter over the crests",
            _mm(plan, wanted),
            allowed,
            f"{why}; measure all round",
        ),
        Check(
            "Length of the knurl",
            _mm(plan, plan.job.knurl.length),
            "the drawing's",
            f"from Z {_bare(plan, -plan.job.knurl.start)} to the line",
        ),
        Check(
            f"Pitch over {'ten' if teeth >= TEN else teeth} teeth",
            _mm(plan, arc if teeth >= TEN else math.pi * wanted),
            "even all round",
            "round the crests, rolled off on paper" + (across if teeth > 2 * TEN else ""),
        ),
        Check(
            "Crests",
            f"{100 * plan.fullness:.0f} % of full height",
            "by eye",
            f"{_crests(plan.fullness)}; no flakes, no finer second pattern, alike from end to end",
        ),
    ]
    if knurl.helix_deg:
        hand = forms()[knurl.form].hand
        both = hand == "both"
        checks.append(
            Check(
                "Helix",
                f"{knurl.helix_deg:g}°" + ("" if both else f", {hand}-hand"),
                "the drawing's",
                "crossing lines lean alike to both sides"
                if both
                else f"leans like a {hand}-hand thread",
            )
        )
    return tuple(checks)


def _crests(fullness: float) -> str:
    if fullness >= GOOD_CRESTS:
        return "nearly sharp"
    return "a narrow flat on each" if fullness >= GOOD_FULLNESS else "a broad flat on each"


def trial_strip(plan: Plan, line: Timeline, motion: Motion) -> str:
    """Return what the program does about a trial strip, as it is read."""
    names = pass_names(plan, line)
    strips = [p for p, name in zip(line.prints, names, strict=True) if name == "trial"]
    if not strips:
        wanted = "The job asks for a trial strip, but the program makes none."
        if plan.trial is None:
            wanted = (
                "The job has no trial strip. With process.trial_strip = true the program stops for "
                "a look before it goes deeper."
            )
        return f"{wanted} Never stop feed or spindle while the rolls press."
    to = _mm(plan, strips[-1].z_to - plan.datum_shift_mm)
    after = next((p.block for p in line.prints[len(strips) :]), len(motion.blocks))
    halt = next((h for h in line.halts if strips[-1].last_block < h.block < after), None)
    if halt is None:
        stops = "and goes on without a stop"
    elif halt.optional:
        stops = "and stops if the optional stop is on: switch it on"
    else:
        stops = "and stops"
    return f"The program knurls to Z {to}, leaves the work {stops}."


def double_impression(plan: Plan, line: Timeline) -> tuple[str, ...]:
    """Return what to change when the rolls print a double impression (common practice)."""
    steps = ["Stop. Going deeper in the same place only spoils the blank."]
    steps.append(
        f"Measure the blank: {_mm(plan, plan.blank_diameter_mm)} "
        f"{plan.blank_tolerance_text}, round, and running true."
    )
    if plan.job.tool.roll_count == 2:
        steps.append("See that both rolls touch at once, run free and have the same pitch.")
    else:
        steps.append("See that the roll runs free, stands square and is clean.")
    least = 2 if plan.strategy == "plunge" and plan.trial is not None else 1
    if line.prints and sum(p.presses for p in plan.passes) > least:
        first = _mm(plan, line.prints[0].depth)
        steps.append(f"Press the first print deeper than {first}: fewer passes in the job do that.")
    smaller = [c for c in blanks_near(plan.knurl, plan.blank_diameter_mm) if c.teeth < plan.teeth]
    if smaller:
        blank = smaller[-1]
        steps.append(
            f"Or plan the job anew with the next smaller blank that closes, "
            f"{_mm(plan, blank.blank_diameter_mm)} with {blank.teeth} teeth; the knurled diameter "
            "gets smaller with it."
        )
    return tuple(steps)


# -- findings and notes --------------------------------------------------------

GRAVITY = ("error", "accepted", "warning", "note")


def remarks(plan: Plan, result: Verification, motion: Motion) -> tuple[Remark, ...]:
    """Return findings and notes, worst first.

    Of one gravity, what happens at the work comes before what is wrong with the text, and
    the first few of a code stand for all of it.
    """
    place = {block.line: i for i, block in enumerate(motion.blocks)}
    text_codes = {p.code for p in motion.problems}
    found: list[Remark] = []
    kinds = Counter((f.severity, f.code) for f in result.findings)
    shown: Counter[tuple[str, str]] = Counter()
    for f in sorted(result.findings, key=lambda f: f.code in text_codes):
        kind = (f.severity, f.code)
        shown[kind] += 1
        if shown[kind] > MOST_OF_A_KIND:
            continue
        where = f"N{f.block}, line {f.line}" if f.block is not None else f"line {f.line}"
        left = kinds[kind] - MOST_OF_A_KIND
        message = f.message
        if shown[kind] == MOST_OF_A_KIND and left > 0:
            message += f" (and {left} more of this kind)"
        found.append(Remark(f.severity, where, message, f.code, place.get(f.line)))
    found += [
        Remark(
            "accepted" if n.severity == "error" else n.severity,
            "",
            f"{n.message} ({n.source})",
            n.code,
            None,
        )
        for n in plan.notes
    ]
    return tuple(sorted(found, key=lambda r: GRAVITY.index(r.severity)))
