"""Steps to program text: words from the dialect's traits, layout from its template.

The writer proves nothing; :mod:`knurlcam.program` reads back and checks what it writes.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from functools import lru_cache
from itertools import count
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from knurlcam.data.cautions import header_lines
from knurlcam.errors import InputError
from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.template import lay_out_blocks
from knurlcam.path import (
    Coolant,
    Dwell,
    Feed,
    Follow,
    OptionalStop,
    Path,
    Rapid,
    Remark,
    Spindle,
    Step,
)
from knurlcam.plan.planner import Plan
from knurlcam.text import SIGNS, in_ascii
from knurlcam.units.kinds import MM_PER_INCH, Kind, Units
from knurlcam.units.show import show, show_about, show_down

if TYPE_CHECKING:
    from knurlcam.plan.fitting import PressFit

__all__ = [
    "BLOCKS_MARK",
    "FORMS",
    "IDENTITY_MARK",
    "SUBPROGRAM_MARK",
    "Form",
    "write_text",
    "write_texts",
    "x_for_people",
]

Form = Literal["program", "subprogram", "blocks"]
FORMS: tuple[Form, ...] = ("program", "subprogram", "blocks")

IDENTITY_MARK = "JOB "
"""Before the job's identity in the header."""

SUBPROGRAM_MARK = "SUBPROGRAM"
BLOCKS_MARK = "BLOCKS TO PASTE"
"""First words of the comment that says which form a text is; the reader looks for them."""

CONTINUED = "- "
"""Before what goes on from the line above: a long part name, wrapped, must not begin a
comment with one of the marks above and be taken for it."""

DWELL_PLACES = 3
"""Controls count dwells in milliseconds."""

NUMBER_STEP = 10

_SPELLED = {
    **SIGNS,
    "°": " DEG",
    "Ä": "AE",
    "Ö": "OE",
    "Ü": "UE",
    "Æ": "AE",
    "Ø": "OE",
    "Å": "AA",
    "±": "+-",
    "×": " X ",
    ";": ",",
    "<": " BELOW ",
    ">": " ABOVE ",
}
"""Signs that a shop's text may hold, in characters that controls take."""


def write_text(path: Path, dialect: Dialect, form: Form = "program") -> str:
    """Write a path's program text in a dialect.

    Args:
        path: The steps.
        dialect: The dialect's traits.
        form: ``program`` (stand-alone), ``subprogram`` or ``blocks`` (to paste).

    Returns:
        The text, lines ended by a line feed.

    Raises:
        InputError: if the dialect has no word for something, or its template is broken.
    """
    return write_texts([path], dialect, form)[0]


def write_texts(paths: Iterable[Path], dialect: Dialect, form: Form = "program") -> list[str]:
    """Write many paths as :func:`write_text` does each, stage by stage, which is faster."""
    pairs = [(path, _Words(dialect, path.plan)) for path in paths]
    contexts = [_context(path, words, form) for path, words in pairs]
    texts = lay_out_blocks(dialect, contexts)
    if dialect.numbering != "none":
        for lines, (_, words) in zip(texts, pairs, strict=True):
            _number(lines, words)
    return ["\n".join(lines) + "\n" for lines in texts]


def _context(path: Path, words: _Words, form: Form) -> dict[str, Any]:
    plan, dialect = path.plan, words.dialect
    steps: Iterable[Step] = path.steps
    if form == "blocks":
        # What is pasted leaves the tool at safe X; the main program decides what is next.
        steps = [s for s in steps if not (isinstance(s, Rapid) and _to_safe_z(s, plan))]
    codes = dialect.codes
    start: tuple[str, ...] = ()
    if form != "blocks":
        start = dialect.start_lines(plan.job.part.number, subprogram=form == "subprogram")
    returns = form == "subprogram"
    return {
        "form": form,
        "start": start,
        "header": words.header(form),
        "modes": words.modes,
        "speed_limit": words.speed_limit(),
        "tool_call": words.tool_call(),
        "body": words.blocks(steps),
        "offset_cancel": words.offset_cancel(),
        "safe_return": words.safe_return(),
        "program_end": codes.subprogram_return if returns else codes.program_end,
        "end": dialect.end,
    }


def _to_safe_z(step: Rapid, plan: Plan) -> bool:
    return step.axis == "Z" and step.to_mm == plan.job.machine.safe_z


# -- words ---------------------------------------------------------------------


class _Hand(NamedTuple):
    """How a dialect's numbers and comments are written in a program's units.

    Attributes:
        length: Writes a length given in millimetres.
        rate: Writes a feed given in millimetres.
        comment: Makes comment lines: only what the dialect allows, wrapped.
        modes: The block that states units, distance, feed and speed mode.
    """

    length: Callable[[float], str]
    rate: Callable[[float], str]
    comment: Callable[[str], tuple[str, ...]]
    modes: str


@lru_cache(maxsize=64)
def _hand(dialect: Dialect, units: Units) -> _Hand:
    return _Hand(
        _number_writer(dialect, units, dialect.length_places(units)),
        _number_writer(dialect, units, dialect.feed_places(units)),
        _commenter(dialect),
        _modes(dialect, units),
    )


def _modes(dialect: Dialect, units: Units) -> str:
    codes = dialect.codes
    per_rev = dialect.feed == "per revolution"
    stated = (
        codes.inch if units == "inch" else codes.metric,
        codes.absolute if dialect.increments == "codes" else None,
        codes.feed_per_rev if per_rev else codes.feed_per_min,
        codes.constant_speed,
    )
    return " ".join(code for code in stated if code)


class _Words:
    """The words of one dialect for one plan."""

    __slots__ = ("comment", "dialect", "length", "modes", "plan", "rate", "rpm")

    def __init__(self, dialect: Dialect, plan: Plan) -> None:
        self.dialect, self.plan = dialect, plan
        self.length, self.rate, self.comment, self.modes = _hand(dialect, plan.job.units)
        self.rpm = plan.programmed_rpm

    def speed_limit(self) -> str:
        """Return the block that limits the spindle speed; empty without such a word."""
        code = self.dialect.codes.speed_limit
        return f"{code} S{self.plan.programmed_limit_rpm}" if code else ""

    def tool_call(self) -> list[str]:
        """Return the blocks that call the tool and its offset."""
        tool, codes = self.plan.job.tool, self.dialect.codes
        if self.dialect.tool_call == "station and offset":
            return [f"T{tool.station:02d}{tool.offset_number:02d}"]
        return [
            f"T{tool.station} {codes.tool_change}",
            f"{codes.offset_on} H{tool.offset_number}",
        ]

    def offset_cancel(self) -> str:
        """Return the block that cancels the tool offset."""
        if self.dialect.tool_call == "station and offset":
            return f"T{self.plan.job.tool.station:02d}00"
        return str(self.dialect.codes.offset_off)

    def safe_return(self) -> list[str]:
        """Return the blocks that go to the safe position, X first."""
        machine, codes = self.plan.job.machine, self.dialect.codes
        if self.dialect.safe_return == "reference point":
            zero = self.length(0.0).replace("-", "")
            return [f"{codes.reference_return} U{zero}", f"{codes.reference_return} W{zero}"]
        x, z = self.axis("X", machine.safe_x), self.axis("Z", machine.safe_z)
        return [f"{codes.rapid} {x}", f"{codes.rapid} {z}"]

    def axis(self, letter: str, value_mm: float) -> str:
        """Return an X or Z word; X is given on the diameter."""
        if letter == "X" and self.dialect.x == "radius":
            value_mm /= 2.0
        return letter + self.length(value_mm)

    def feed(self, mm_per_rev: float) -> str:
        """Return an F word; per minute it is the feed at the programmed speed."""
        value = mm_per_rev
        if self.dialect.feed == "per minute":
            value *= self.rpm
        word = self.rate(value)
        if not float(word):
            raise InputError(
                f"cannot write a feed of {mm_per_rev:g} mm/rev: it rounds to nothing",
                where=f"dialect {self.dialect.name}",
                key="process.infeed_rate",
                value=mm_per_rev,
                expected="a feed that the control can hold",
                remedy="give a larger feed",
            )
        return f"F{word}"

    def dwell(self, seconds: float) -> str:
        """Return a dwell block; rounded up, for a dwell must not come out short."""
        milliseconds = math.ceil(seconds * 1000.0 - 1e-6)
        address, code = self.dialect.dwell_address, self.dialect.codes.dwell
        if self.dialect.dwell_unit == "ms":
            return f"{code} {address}{milliseconds}"
        return f"{code} {address}{milliseconds / 1000.0:.{DWELL_PLACES}f}"

    def spindle(self, on: bool) -> str:
        """Return a spindle block."""
        codes = self.dialect.codes
        if not on:
            return codes.spindle_stop
        forward = self.plan.job.machine.spindle_direction == "forward"
        start = codes.spindle_forward if forward else codes.spindle_reverse
        words = (codes.constant_speed, f"S{self.rpm}", start)
        return " ".join(word for word in words if word)

    def optional_stop(self) -> str:
        """Return an optional stop.

        Raises:
            InputError: if the dialect has no word for one.
        """
        code = self.dialect.codes.optional_stop
        if code is None:
            raise InputError(
                "has no word for an optional stop",
                where=f"dialect {self.dialect.name}",
                key="process.trial_strip",
                value=True,
                expected="a dialect with an optional stop",
                remedy="leave the trial strip out or take another dialect",
            )
        return code

    def blocks(self, steps: Iterable[Step]) -> list[str]:
        """Return one line for each step."""
        codes, length = self.dialect.codes, self.length
        rapid, linear = codes.rapid, codes.linear
        radius = self.dialect.x == "radius"
        outward = _nearly_half_a_place(self.dialect, self.plan.job.units)
        feeds: dict[float, str] = {}
        dwells: dict[float, str] = {}
        lines: list[str] = []
        for step in steps:
            if isinstance(step, Feed):
                axis, to_mm, rate = step
                if radius and axis == "X":
                    to_mm /= 2.0
                if rate not in feeds:
                    feeds[rate] = self.feed(rate)
                lines.append(f"{linear} {axis}{length(to_mm)} {feeds[rate]}")
            elif isinstance(step, Follow):
                x_mm, z_mm, rate = step
                if rate not in feeds:
                    feeds[rate] = self.feed(rate)
                # Rounded outward, so that no block comes deeper than planned.
                x = length((x_mm / 2.0 if radius else x_mm) + outward)
                lines.append(f"{linear} X{x} Z{length(z_mm)} {feeds[rate]}")
            elif isinstance(step, Rapid):
                lines.append(f"{rapid} {self.axis(step.axis, step.to_mm)}")
            elif isinstance(step, Remark):
                lines += self.comment(step.text)
            elif isinstance(step, Dwell):
                seconds = step.seconds
                if seconds not in dwells:
                    dwells[seconds] = self.dwell(seconds)
                lines.append(dwells[seconds])
            elif isinstance(step, Spindle):
                lines.append(self.spindle(step.on))
            elif isinstance(step, Coolant):
                lines.append(codes.coolant_on if step.on else codes.coolant_off)
            elif isinstance(step, OptionalStop):
                lines.append(self.optional_stop())
        return lines

    # -- comments --------------------------------------------------------------

    def header(self, form: Form) -> list[str]:
        """Return the comment lines at the head of the program."""
        comment = self.comment
        return [line for text in self.header_texts(form) for line in comment(text)]

    def header_texts(self, form: Form) -> list[str]:
        """Return the header's sentences."""
        plan, job, units = self.plan, self.plan.job, self.plan.job.units
        texts = [f"KNURL {job.part.name}", f"{IDENTITY_MARK}{job.identity}"]
        if form == "subprogram":
            call = self.dialect.codes.subprogram_call
            texts.append(
                f"{SUBPROGRAM_MARK} {job.part.number}, called by {call} P{job.part.number}"
            )
        if form == "blocks":
            texts += self.requirements()
        limits, fit = plan.knurled_limits_mm, plan.press_fit
        if limits is None and fit is not None:
            limits = fit.knurled_limits_mm
        knurled = f"knurled diameter {show(plan.knurled_diameter_mm, Kind.LENGTH, units)}"
        if limits is not None:
            upper, lower = (show(limit, Kind.LENGTH, units) for limit in limits)
            knurled += f" +{upper} {lower}"
        texts += (
            f"{plan.knurl.callout}, {plan.teeth} teeth, {job.part.material_row.name}",
            f"turn blank to {show(plan.blank_diameter_mm, Kind.LENGTH, units)} "
            + plan.blank_tolerance_text.replace("± ", "+-").replace(" / ", " "),
            knurled,
            f"held {job.holding.method}, {_tailstock(plan)}",
        )
        if fit is not None:
            texts += _fit_texts(fit, units)
        texts += self.tool_texts()
        if plan.gap_mm is not None:
            texts.append(f"set rolls {show(plan.gap_mm, Kind.LENGTH, units)} apart")
        if plan.largest_centre_mm is not None:
            largest = show_down(plan.largest_centre_mm, units)
            texts.append(f"beyond the end face nothing over dia {largest}")
        feed = show(plan.feed_mm_per_rev, Kind.FEED, units)
        texts.append(f"{self.rpm} rev/min, feed {feed}")
        texts += self.load_texts()
        if form != "blocks":
            texts.append("turret stands at the safe position before the start")
        if plan.accepted:
            texts += [f"accepted by the programmer: {code}" for code in plan.accepted]
        texts += header_lines()
        return texts

    def load_texts(self) -> list[str]:
        """Return the sentences about loads and deflection."""
        plan, units = self.plan, self.plan.job.units
        estimate = plan.estimate
        if estimate is None:
            return ["loads cannot be told"]
        force, push = (
            show_about(value, Kind.FORCE, units)
            for value in (estimate.loads.radial_force_n, estimate.loads.net_push_n)
        )
        if any(note.code == "bends-the-work" for note in plan.notes):
            bends = ["estimate: the push may bend the work for good"]
        else:
            bends = []
        if estimate.set_up.cancels:
            return [f"estimate: force of a roll {force}, they cancel", *bends]
        texts = [f"estimate: force of a roll {force}, push on work {push}"]
        made = estimate.deflection
        if made is not None and plan.follows:
            after = made.evenness_compensated
            texts.append(f"slide follows the work, evenness {made.evenness:.2f} made {after:.2f}")
            high, low, over = made.followed_range
            texts.append(
                f"with another force {min(high, low):.2f}, up to "
                f"{show_about(over, Kind.LENGTH, units)} too deep"
            )
        elif made is not None:
            given = show_about(made.max_mm, Kind.LENGTH, units)
            texts.append(f"estimate: work would give way {given}, evenness {made.evenness:.2f}")
        return texts + bends

    def tool_texts(self) -> tuple[str, ...]:
        """Return the sentences about tool and datums."""
        plan, tool, units = self.plan, self.plan.job.tool, self.plan.job.units
        rolls = "".join([f" {r}" for r in plan.rolls])
        diameter = show(tool.roll_diameter, Kind.LENGTH, units)
        return (
            f"{tool.style}, rolls{rolls}{' swivelled' if tool.swivelled else ''}",
            f"roll diameter {diameter}, face {show(tool.face_width, Kind.LENGTH, units)}",
            f"tool station {tool.station} offset {tool.offset_number}",
            f"X words are {'radii' if self.dialect.x == 'radius' else 'diameters'}",
            f"Z datum {tool.z_datum} of the rolls, Z0 at the end face",
            self.x_datum_text(),
        )

    def x_text(self, diameter_mm: float) -> str:
        """Return an X for people as the program's own X words hold it."""
        return x_for_people(self.plan, diameter_mm, radius=self.dialect.x == "radius")

    def x_datum_text(self) -> str:
        """Return how X is set on the tool."""
        if self.plan.contact.x_datum == "roll centre":
            return "X datum is the roll centre, X0 at the spindle axis"
        return f"X datum is touch-off: X {self.x_text(self.plan.blank_diameter_mm)} at first touch"

    def requirements(self) -> list[str]:
        """Return what must be true before pasted blocks."""
        job = self.plan.job
        tool = job.tool
        x = self.x_text(job.machine.safe_x)
        return [
            f"{BLOCKS_MARK}, no start, tool call or end. Before them:",
            f"tool {tool.station} called with offset {tool.offset_number} in force",
            f"tool stands at X {x} or further out",
            "after them: spindle and coolant off, tool at that X",
        ]


def _fit_texts(fit: PressFit, units: Units) -> tuple[str, str]:
    """Return the sentences about a press fit."""
    smallest, largest = (show(limit, Kind.LENGTH, units) for limit in fit.bore_limits_mm)
    force = show_about(fit.joining_force_n, Kind.FORCE, units)
    # An asterisk is no character of a control's comments.
    torque = show_about(fit.holding_torque_nm, Kind.TORQUE, units).replace("N*m", "Nm")
    return (
        f"press fit in a bore of {smallest} to {largest}",
        f"estimate: press in with {force}, friction holds {torque}",
    )


def x_for_people(plan: Plan, diameter_mm: float, *, radius: bool) -> str:
    """Return an X for people as a program's X words hold it.

    Args:
        plan: The plan, for its units.
        diameter_mm: X on the diameter [mm]
        radius: Whether the X words are radii.
    """
    return show(diameter_mm / 2.0 if radius else diameter_mm, Kind.LENGTH, plan.job.units)


def _tailstock(plan: Plan) -> str:
    held = plan.job.holding.held_by
    return "no tailstock" if held == "none" else held


def _commenter(dialect: Dialect) -> Callable[[str], tuple[str, ...]]:
    """Return the function that makes comment lines of a text in a dialect."""
    mark, close = dialect.comment_open, dialect.comment_close
    longest, allowed = dialect.comment_length, dialect.comment_set

    @lru_cache(maxsize=1024)
    def comment(text: str) -> tuple[str, ...]:
        upper = text.upper()
        if len(upper) <= longest and allowed.issuperset(upper) and "  " not in upper:
            if not upper or upper.isspace():
                return ()
            return (f"{mark}{upper}{close}",)
        return tuple([f"{mark}{piece}{close}" for piece in _pieces(upper, dialect)])

    return comment


def _pieces(upper: str, dialect: Dialect) -> tuple[str, ...]:
    """Return a text in a dialect's comment characters, cut at its longest comment."""
    allowed = dialect.comment_set
    kept = "".join([c if c in allowed else " " for c in in_ascii(upper, _SPELLED)])
    pieces: list[str] = []
    for word in kept.split():
        while word:
            room = dialect.comment_length - (len(pieces[-1]) + 1 if pieces else 0)
            if pieces and len(word) <= room:
                pieces[-1] += f" {word}"
                break
            lead = CONTINUED if pieces and set(CONTINUED) <= allowed else ""
            room = dialect.comment_length - len(lead)
            pieces.append(lead + word[:room])
            word = word[room:]
    return tuple(pieces)


def _nearly_half_a_place(dialect: Dialect, units: Units) -> float:
    """Return what makes rounding to the nearest of a length rounding up [mm]."""
    per_unit = MM_PER_INCH if units == "inch" else 1.0
    return 0.499999 * per_unit / 10.0 ** dialect.length_places(units)


def _number_writer(dialect: Dialect, units: Units, places: int) -> Callable[[float], str]:
    """Return the function that writes a number in millimetres in the program's units."""
    per_unit = MM_PER_INCH if units == "inch" else 1.0
    if dialect.numbers == "least increments":
        scale = 10.0**places / per_unit

        def increments(value_mm: float) -> str:
            return str(round(value_mm * scale))

        return increments
    spec = f".{places}f"

    def decimal(value_mm: float) -> str:
        text = format(value_mm / per_unit, spec)
        return text[1:] if text[0] == "-" and not float(text) else text

    return decimal


# -- numbering -----------------------------------------------------------------


def _number(lines: list[str], words: _Words) -> None:
    """Put N words before the blocks that the dialect numbers."""
    dialect = words.dialect
    marks = _unnumbered(dialect, words.plan.job.part.number)
    mark = dialect.comment_open
    chosen = [i for i, line in enumerate(lines) if not line.startswith(mark) and line not in marks]
    if dialect.numbering == "tool call":
        only = words.tool_call()
        chosen = [i for i in chosen if lines[i] in only]
    step = NUMBER_STEP if len(chosen) * NUMBER_STEP <= dialect.highest_number else 1
    if len(chosen) * step > dialect.highest_number:
        raise InputError(
            f"the program has {len(chosen)} blocks, more than N words",
            where=f"dialect {dialect.name}",
            key="highest_number",
            value=dialect.highest_number,
            expected="fewer blocks, or numbering = none",
            remedy="take another dialect",
        )
    for number, i in zip(count(step, step), chosen):
        lines[i] = f"N{number} {lines[i]}"


@lru_cache(maxsize=64)
def _unnumbered(dialect: Dialect, number: int) -> frozenset[str]:
    """Return the lines that are no blocks: those before the first and after the last."""
    marks = {*dialect.end, *dialect.start_lines(number)}
    if dialect.subprogram_start is not None and dialect.codes.subprogram_return is not None:
        marks.update(dialect.start_lines(number, subprogram=True))
    return frozenset(marks)
