"""The comments at the head of a program: what the setter must know before it runs.

They are sentences in plain letters here; :mod:`knurlcam.gcode.comments` puts them into a
dialect's characters. Everything in them is a figure of the plan: a header calculates nothing.
"""

from __future__ import annotations

from knurlcam.data.cautions import header_lines
from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.marks import (
    BLOCKS_MARK,
    IDENTITY_MARK,
    LEAVES_MARK,
    MEASURED_MARK,
    NAME_MARK,
    SECTION_MARK,
    SUBPROGRAM_MARK,
    Form,
)
from knurlcam.plan.expected_text import expected_text
from knurlcam.plan.model import Plan
from knurlcam.plan.press_fit import PressFit
from knurlcam.units.kinds import Kind, Units
from knurlcam.units.show import show, show_about, show_down

__all__ = ["header_texts", "own_words_texts", "tool_called", "x_for_people"]


def header_texts(plan: Plan, dialect: Dialect, form: Form) -> list[str]:
    """Return the sentences of a program's header, each a comment of its own.

    Args:
        plan: What the program carries out.
        dialect: The dialect, for what its X words hold and how a subprogram is called.
        form: The form that is written: pasted blocks say what must be true before them.
    """
    if dialect.header == "short":
        return _short(plan, dialect, form)
    return [
        *_names(plan, dialect, form),
        *(_requirements(plan, dialect) if form == "blocks" else ()),
        *_part(plan),
        *_press_fit(plan),
        *_tool(plan, dialect),
        *_set_up(plan),
        *_trial_strip(plan, dialect),
        *_loads(plan),
        *_start(form),
        *(f"accepted by the programmer: {code}" for code in plan.accepted),
        *own_words_texts(dialect),
        *header_lines(),
    ]


def _start(form: Form) -> tuple[str, ...]:
    """Return where the turret must stand at the start."""
    if form in ("section", "blocks"):  # it goes there itself, or says where to stand further up
        return ()
    return ("start with the turret at the safe position",)


def _short(plan: Plan, dialect: Dialect, form: Form) -> list[str]:
    """Return the least: what verification looks for, tool, blank, result and cautions."""
    return [
        *_names(plan, dialect, form),
        *(_requirements(plan, dialect) if form == "blocks" else ()),
        _blank(plan),
        _knurled_diameter(plan),
        _expected(plan),
        _station(plan, dialect),
        *_trial_strip(plan, dialect),
        *(f"accepted by the programmer: {code}" for code in plan.accepted),
        *own_words_texts(dialect),
        *header_lines(),
    ]


def own_words_texts(dialect: Dialect) -> tuple[str, ...]:
    """Return a sentence for each word that the shop vouches for, with where it says so."""
    return tuple(
        f"{code} is {word.means.replace('_', ' ')} by {word.source}"
        for code, word in dialect.own_words.items()
    )


def x_for_people(plan: Plan, diameter_mm: float, *, radius: bool) -> str:
    """Return an X for people as a program's X words hold it.

    Args:
        plan: The plan, for its units.
        diameter_mm: X on the diameter [mm]
        radius: Whether the X words are radii.
    """
    return _length(diameter_mm / 2.0 if radius else diameter_mm, plan.job.units)


def _length(value_mm: float, units: Units) -> str:
    return show(value_mm, Kind.LENGTH, units)


def _names(plan: Plan, dialect: Dialect, form: Form) -> list[str]:
    part = plan.job.part
    texts = [f"{NAME_MARK}{part.name}", f"{IDENTITY_MARK}{plan.job.identity}"]
    measured = plan.job.calibration
    if measured is not None and measured.parts:
        texts.append(f"{MEASURED_MARK}{measured.mark}")
    if form == "section":
        texts = [SECTION_MARK, *texts, *_section(plan, dialect)]
    if form == "subprogram":
        call = dialect.codes.subprogram_call
        texts.append(f"{SUBPROGRAM_MARK} {part.number}, called by {call} P{part.number}")
        off = f"returns with spindle and coolant off{_cancelled(dialect)}"
        texts += [off, _leaves(plan, dialect)]
    return texts


def _cancelled(dialect: Dialect) -> str:
    return "" if dialect.holds_offsets else ", offset cancelled"


def _section(plan: Plan, dialect: Dialect) -> list[str]:
    """Return what a section asks of the tool before it, and what it leaves behind.

    The way out is the one thing that it cannot state: from inside a bore X outward hits the wall.
    """
    return [
        "before it: the last tool is free to go out in X, then in Z",
        f"after it: spindle and coolant off{_cancelled(dialect)}, safe position",
        _leaves(plan, dialect),
    ]


def _leaves(plan: Plan, dialect: Dialect) -> str:
    """Return what the program around finds in force, which may have had something else before.

    S as well: a spindle start without one turns at the speed that was stated last.
    """
    left = " ".join([LEAVES_MARK, *_left(plan, dialect), f"S{plan.programmed_rpm}"])
    limit = dialect.codes.speed_limit
    return f"{left}, speed limit {limit} S{plan.programmed_limit_rpm}" if limit else left


def _left(plan: Plan, dialect: Dialect) -> list[str]:
    stated = [code for code in dialect.stated if code[0] == "G"]
    return [*dialect.modes(plan.job.units), *stated]


def _requirements(plan: Plan, dialect: Dialect) -> list[str]:
    """Return what must be true before pasted blocks, and is after them."""
    x = x_for_people(plan, plan.job.machine.safe_x, radius=dialect.x == "radius")
    return [
        f"{BLOCKS_MARK}, no start, {'first ' if plan.trial else ''}tool call or end",
        f"before them: {tool_called(plan, dialect)}",
        f"tool stands at X {x} or further out",
        "after them: spindle and coolant off, tool at that X",
        _leaves(plan, dialect),
    ]


def tool_called(plan: Plan, dialect: Dialect) -> str:
    """Return what must have called the tool before pasted blocks."""
    tool = plan.job.tool
    if dialect.holds_offsets:
        return f"tool {tool.station} called"
    return f"tool {tool.station} called with offset {tool.offset_number} in force"


def _part(plan: Plan) -> list[str]:
    job = plan.job
    return [
        f"{plan.knurl.callout}, {plan.teeth} teeth, {job.part.material_row.name}",
        _blank(plan),
        _knurled_diameter(plan),
        _expected(plan),
        _held(plan),
    ]


def _blank(plan: Plan) -> str:
    blank = _length(plan.blank_diameter_mm, plan.job.units)
    return f"turn blank to {blank}, limits {plan.blank_limits_text}"


def _knurled_diameter(plan: Plan) -> str:
    limits, fit, units = plan.knurled_limits_mm, plan.press_fit, plan.job.units
    if limits is None and fit is not None:
        limits = fit.knurled_limits_mm
    text = f"knurled diameter {_length(plan.knurled_diameter_mm, units)}"
    if limits is None:
        return text
    upper, lower = (_length(limit, units) for limit in limits)
    return f"{text} +{upper} {lower}"


def _expected(plan: Plan) -> str:
    # In the units of the blank's line above; short, for the shortest comments.
    low_to_high, _unit = expected_text(plan.expected, plan.job.units).rsplit(maxsplit=1)
    return f"expect {low_to_high} over crests"


_HELD = {
    "between centres": "held between centres, {} at the tailstock",
    "chuck and centre": "held in chuck with {}",
    "chuck": "held in chuck, no tailstock",
}


def _held(plan: Plan) -> str:
    holding = plan.job.holding
    return _HELD[holding.method].format(holding.held_by)


def _press_fit(plan: Plan) -> tuple[str, ...]:
    fit: PressFit | None = plan.press_fit
    if fit is None:
        return ()
    units = plan.job.units
    smallest, largest = (_length(limit, units) for limit in fit.bore_limits_mm)
    force = show_about(fit.joining_force_n, Kind.FORCE, units)
    # The asterisk of N*m does not stand in a control's comments.
    torque = show_about(fit.holding_torque_nm, Kind.TORQUE, units).replace("N*m", "Nm")
    return (
        f"press fit in a bore of {smallest} to {largest}",
        f"estimate: press in with {force}, friction holds {torque}",
    )


def _tool(plan: Plan, dialect: Dialect) -> list[str]:
    """Return what stands in the turret and from where X and Z count."""
    tool, units = plan.job.tool, plan.job.units
    radius = dialect.x == "radius"
    rolls = "".join([f" {roll}" for roll in plan.rolls])
    datum = f"X datum is touch-off: X {x_for_people(plan, plan.blank_diameter_mm, radius=radius)}"
    return [
        f"{tool.style}, rolls{rolls}{' swivelled' if tool.swivelled else ''}",
        f"roll diameter {_length(plan.tooling.roll.diameter_mm, units)}{_roll_teeth(plan)}, "
        f"face {_length(tool.face_width, units)}",
        _station(plan, dialect),
        f"X words are {'radii' if radius else 'diameters'}",
        f"Z datum {tool.z_datum} of the rolls, Z0 at the end face",
        "X datum is the roll centre, X0 at the spindle axis"
        if plan.contact.x_datum == "roll centre"
        else f"{datum} at first touch",
    ]


def _roll_teeth(plan: Plan) -> str:
    teeth = plan.tooling.roll.teeth
    return "" if teeth is None else f", {teeth} teeth"


def _station(plan: Plan, dialect: Dialect) -> str:
    tool = plan.job.tool
    if dialect.holds_offsets:
        return f"tool station {tool.station}, the control holds its offset"
    return f"tool station {tool.station} offset {tool.offset_number}"


def _set_up(plan: Plan) -> list[str]:
    units, texts = plan.job.units, []
    if plan.gap_mm is not None:
        texts.append(f"set rolls {_length(plan.gap_mm, units)} apart")
    if plan.largest_centre_mm is not None:
        largest = show_down(plan.largest_centre_mm, units)
        texts.append(f"largest centre or quill beyond the end face: dia {largest}")
    feed = show(plan.feed_mm_per_rev, Kind.FEED, units)
    return [*texts, f"{plan.programmed_rpm} rev/min, feed {feed}"]


def _trial_strip(plan: Plan, dialect: Dialect) -> list[str]:
    """Return what the setter must know of the stop after the trial strip."""
    if plan.trial is None:
        return []
    codes, tool = dialect.codes, plan.job.tool
    offset = "" if dialect.holds_offsets else f" offset {tool.offset_number}"
    stop = f"program stop {codes.program_stop}"
    if plan.job.process.trial_stop == "optional" and codes.optional_stop != codes.program_stop:
        stop = f"optional stop {codes.optional_stop}, switch it on"
    return [
        f"trial strip first, then {stop}",
        f"after the stop tool {tool.station}{offset} is called again",
    ]


def _loads(plan: Plan) -> list[str]:
    """Return what is estimated of forces and deflection."""
    estimate, units = plan.estimate, plan.job.units
    if estimate is None:
        return ["loads and deflection unknown"]
    loads = estimate.loads
    per_roll = _likely(loads.radial_force_n, loads.radial_force_high_n, Kind.FORCE, units)
    resultant = _likely(loads.net_push_n, loads.net_push_high_n, Kind.FORCE, units)
    bends = any(note.code == "bends-the-work" for note in plan.notes)
    bent = ["estimate: radial force may bend the work permanently"] if bends else []
    if estimate.set_up.cancels:
        return [f"estimate: force per roll {per_roll}", "no resultant at full depth", *bent]
    return [
        f"estimate: force per roll {per_roll}",
        f"estimate: resultant {resultant}",
        *_deflection(plan),
        *bent,
    ]


def _likely(likely: float, high: float, kind: Kind, units: Units) -> str:
    """Return an estimate as likely, and its upper end."""
    return f"{show_about(likely, kind, units)}, up to {show_about(high, kind, units)}"


def _deflection(plan: Plan) -> list[str]:
    estimate, units = plan.estimate, plan.job.units
    if estimate is None or (made := estimate.deflection) is None:
        return []
    if not plan.follows:
        most = _likely(made.max_mm, made.max_range_mm[1], Kind.LENGTH, units)
        worst = f"{made.evenness:.2f}, down to {made.evenness_range[0]:.2f}"
        return [f"estimate: deflection {most}", f"estimate: depth uniformity {worst}"]
    high, low, over = made.followed_range
    return [
        f"with deflection compensation uniformity {made.evenness_compensated:.2f}, "
        f"without {made.evenness:.2f}",
        f"if force differs: {min(high, low):.2f}, up to "
        f"{show_about(over, Kind.LENGTH, units)} too deep",
    ]
