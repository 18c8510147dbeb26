"""Steps to program text: words from the dialect's traits, layout from its template.

Nothing is checked here: :mod:`knurlcam.program` reads back and verifies what is written.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache
from itertools import count
from typing import Any, NamedTuple

from knurlcam.errors import InputError
from knurlcam.gcode.comments import Commenter, commenter, name_in_comment
from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.header import header_texts
from knurlcam.gcode.marks import BLOCKS_END_MARK, SECTION_END_MARK, Form
from knurlcam.gcode.numbers import (
    checked_digits,
    feed_is_too_coarse,
    feed_writer,
    length_writer,
    nearly_half_a_place_mm,
)
from knurlcam.gcode.standard_codes import shortest
from knurlcam.gcode.template import render_blocks
from knurlcam.path import (
    Comment,
    Coolant,
    Dwell,
    Feed,
    Follow,
    Path,
    Rapid,
    Spindle,
    Step,
    Stop,
    ToolCall,
)
from knurlcam.plan.model import Plan
from knurlcam.units.kinds import Units

__all__ = ["write_text", "write_texts"]

DWELL_PLACES = 3
"""Decimal places of a dwell in seconds: controls count milliseconds."""

CANCELS = ("G40", "G80")
"""Words that end what another tool may leave in force and a dialect takes as harmless: cutter
compensation, and a canned cycle that each further position would repeat."""


def write_text(path: Path, dialect: Dialect, form: Form = "program") -> str:
    """Write a path's program text in a dialect.

    Args:
        path: The steps.
        dialect: The dialect's traits.
        form: ``program`` (stand-alone), ``section``, ``subprogram`` or ``blocks`` (to paste).

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
    texts = render_blocks(dialect, contexts)
    # A section has no N words: they would clash with those of the program that it is put into.
    if dialect.numbering != "none" and form != "section":
        for lines, (_, words) in zip(texts, pairs, strict=True):
            _number(lines, words)
    return ["\n".join(lines) + "\n" for lines in texts]


def _context(path: Path, words: _Words, form: Form) -> dict[str, Any]:
    plan, dialect = path.plan, words.dialect
    steps = _to_paste(path.steps) if form == "blocks" else path.steps
    codes = dialect.codes
    start: tuple[str, ...] = ()
    if form in ("program", "subprogram"):
        start = words.start_lines(subprogram=form == "subprogram")
    returns = form == "subprogram"
    body = words.blocks(steps)
    if form == "blocks":
        body += words.comments([BLOCKS_END_MARK])
    context: dict[str, Any] = {
        "form": form,
        "start": start,
        "header": words.comments(header_texts(plan, dialect, form)),
        "modes": words.modes,
        "state": words.state,
        "speed_limit": words.speed_limit(),
        "tool_call": words.to_the_tool(),
        "body": body,
        "offset_cancel": words.offset_cancel(),
        "safe_return": words.safe_return(),
        "program_end": codes.subprogram_return if returns else codes.program_end,
        "end": dialect.end,
    }
    if form == "section":
        context |= _section_parts(words)
    return context


def _section_parts(words: _Words) -> dict[str, Any]:
    """Return what a section has otherwise than a program.

    It relies on nothing that the tool before it has left in force. Before the turret turns, the
    slide goes out: X first, which alone leads away from the work wherever the last tool stands
    round it, then Z. Both count with the offset that is in force there, which no word can know:
    the place is that of the last tool, as its own retract would be, and X and Z are stated again
    once the offset has changed. A reference return depends on no offset, and is taken where the
    dialect ends with one. Then the spindle stops, for it may turn the other way or at a surface
    speed, and the coolant, for which the next start is then a known one.
    """
    codes, machine, dialect = words.dialect.codes, words.plan.job.machine, words.dialect
    out = words.safe_return()
    if not out and dialect.reference_before_tool:
        out = words.reference_return()
    if not out or dialect.reference_axes == "all":  # which does not go out in X first
        rapids = (("X", machine.safe_x), ("Z", machine.safe_z))
        out = [*(f"{codes.rapid} {words.axis(axis, to)}" for axis, to in rapids), *out]
    off = [codes.spindle_stop, codes.coolant_off]
    return {
        "tool_call": [*words.cancels(), *out, *off, *words.tool_call()],
        "program_end": "",
        "end": tuple(words.comments([SECTION_END_MARK])),
    }


def _to_paste(steps: Sequence[Step]) -> Sequence[Step]:
    """Leave the tool at safe X in the end, not at safe Z: the main program decides what is next."""
    last = max(i for i, s in enumerate(steps) if isinstance(s, Rapid) and s.axis == "Z")
    return (*steps[:last], *steps[last + 1 :])


# -- words ---------------------------------------------------------------------


class _Hand(NamedTuple):
    """How a dialect's numbers and comments are written in a program's units.

    Attributes:
        length: Writes a length given in millimetres.
        rate: Writes a feed given in millimetres.
        comment: Makes comment lines: only what the dialect allows, wrapped.
        modes: The block that states units, distance, feed and speed mode.
        state: Blocks with the words that the dialect wants stated: G words, then M words.
    """

    length: Callable[[float], str]
    rate: Callable[[float], str]
    comment: Commenter
    modes: str
    state: tuple[str, ...]


@lru_cache(maxsize=64)
def _hand(dialect: Dialect, units: Units) -> _Hand:
    return _Hand(
        length_writer(dialect, units),
        feed_writer(dialect, units),
        commenter(dialect),
        " ".join(dialect.modes(units)),
        _state(dialect),
    )


def _state(dialect: Dialect) -> tuple[str, ...]:
    setting = " ".join(code for code in dialect.stated if code[0] == "G")
    most, others = dialect.m_words_per_block, [c for c in dialect.stated if c[0] == "M"]
    blocks = [" ".join(others[i : i + most]) for i in range(0, len(others), most)]
    return (setting, *blocks) if setting else tuple(blocks)


class _Words:
    """The words of one dialect for one plan."""

    __slots__ = ("comment", "dialect", "length", "modes", "plan", "rate", "rpm", "state")

    def __init__(self, dialect: Dialect, plan: Plan) -> None:
        self.dialect, self.plan = dialect, plan
        hand = _hand(dialect, plan.job.units)
        self.length, self.rate, self.comment, self.modes, self.state = hand
        # What the S word says: the planned speed rounded down, so that no limit is passed. Dwells
        # and feeds per minute are worked out from it, not from the planned one.
        self.rpm = plan.programmed_rpm

    def speed_limit(self) -> str:
        """Return the block that limits the spindle speed; empty without such a word."""
        code = self.dialect.codes.speed_limit
        return f"{code} S{self.plan.programmed_limit_rpm}" if code else ""

    def cancels(self) -> list[str]:
        """Return the block that ends compensation and cycles, as far as the dialect has it."""
        stated = [code for code in CANCELS if code in self.dialect.codes.harmless]
        return [" ".join(stated)] if stated else []

    def start_lines(self, *, subprogram: bool) -> tuple[str, ...]:
        """Return the lines before the first block, the part's name beside its number."""
        number = self.plan.job.part.number
        return self.dialect.start_lines(number, subprogram=subprogram, name=self.name)

    @property
    def name(self) -> str:
        """The part's name as it stands beside its number; empty where it does not."""
        dialect = self.dialect
        return name_in_comment(dialect, self.plan.job.part.name) if dialect.names_programs else ""

    def to_the_tool(self) -> list[str]:
        """Return the blocks that call the tool, the way to where it may be called before them."""
        before = self.reference_return() if self.dialect.reference_before_tool else []
        return [*before, *self.tool_call()]

    def tool_call(self) -> list[str]:
        """Return the blocks that call the tool and its offset.

        Raises:
            InputError: if the dialect has fewer digits for one of them.
        """
        tool, dialect, codes = self.plan.job.tool, self.dialect, self.dialect.codes
        if dialect.tool_call == "station and offset":
            station = self.tool_half("tool.station", tool.station)
            return [f"T{station}{self.tool_half('tool.offset', tool.offset_number)}"]
        call = f"T{tool.station} {codes.tool_change or ''}".rstrip()
        if dialect.holds_offsets:
            return [call]
        return [call, f"{codes.offset_on} H{tool.offset_number}"]

    def tool_half(self, key: str, number: int) -> str:
        """Return the digits of a station or an offset in a T word."""
        digits = self.dialect.tool_digits
        text = str(number).zfill(digits)
        if len(text) > digits:
            many = f"{digits} digits" if digits > 1 else "1 digit"
            raise InputError(
                f"the dialect {self.dialect.name} has {many} for each half of a T word",
                key=key,
                value=number,
                expected=f"at most {10**digits - 1} (tool_digits of the dialect)",
                remedy="take a lower number, or another dialect",
            )
        return text

    def offset_cancel(self) -> str:
        """Return the block that cancels the tool offset; empty where no word calls one."""
        dialect, tool = self.dialect, self.plan.job.tool
        if dialect.holds_offsets:
            return ""
        if dialect.tool_call == "station and offset":
            return f"T{self.tool_half('tool.station', tool.station)}{'0' * dialect.tool_digits}"
        return str(dialect.codes.offset_off)

    def gear(self) -> list[str]:
        """Return the block that chooses the gear range of the job; none without one.

        Raises:
            InputError: if the dialect has no such gear.
        """
        gear, dialect = self.plan.job.machine.gear, self.dialect
        if gear is None:
            return []
        known = {shortest(code): code for code in dialect.gears}
        if shortest(gear) not in known:
            raise InputError(
                f"the dialect {dialect.name} has no such gear",
                key="machine.gear",
                value=gear,
                expected="one of " + ", ".join(dialect.gears) if dialect.gears else "no gear",
                remedy="leave it out, or list it in gears of the dialect",
            )
        return [known[shortest(gear)]]

    def safe_return(self) -> list[str]:
        """Return the blocks from the safe position on, X first; none where it ends there.

        They stand before the offset is cancelled: after that the same X and Z are other places.
        """
        if self.dialect.safe_return == "safe position":
            return []
        return self.reference_return()

    def reference_return(self) -> list[str]:
        """Return the blocks that go to the reference point from anywhere, X first."""
        codes, zero = self.dialect.codes, self.length(0.0).replace("-", "")
        code = str(codes.reference_return)
        if self.dialect.reference_axes == "all":
            return [code]
        if self.dialect.increments == "U and W":
            return [f"{code} U{zero}", f"{code} W{zero}"]
        # By increments of nothing: an absolute X0 is a point on the way, on the spindle's axis.
        return [str(codes.incremental), f"{code} X{zero}", f"{code} Z{zero}", str(codes.absolute)]

    def axis(self, letter: str, value_mm: float) -> str:
        """Return an X or Z word; X is given on the diameter."""
        if letter == "X" and self.dialect.x == "radius":
            value_mm /= 2.0
        return letter + self.length(value_mm)

    def feed(self, mm_per_rev: float) -> str:
        """Return an F word; per minute it is the feed at the programmed speed."""
        # Also where X is fed and holds diameters: F is travel of the slide, F0.050 moves it 0.05 mm
        # a turn.
        value = mm_per_rev
        if self.dialect.feed == "per minute":
            value *= self.rpm
        word = self.rate(value)
        coarse = feed_is_too_coarse(self.dialect, self.plan.job.units, value, word)
        if not float(word) or coarse:
            what = f"the nearest is F{word}" if coarse else "it rounds to zero"
            raise InputError(
                f"cannot write a feed of {mm_per_rev:g} mm/rev: {what}",
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
            text = str(milliseconds)
        else:
            text = f"{milliseconds / 1000.0:.{DWELL_PLACES}f}"
        return f"{code} {address}{checked_digits(self.dialect, text)}"

    def spindle(self, on: bool) -> str:
        """Return a spindle block."""
        codes = self.dialect.codes
        if not on:
            return codes.spindle_stop
        forward = self.plan.job.machine.spindle_direction == "forward"
        start = codes.spindle_forward if forward else codes.spindle_reverse
        words = (codes.constant_speed, f"S{self.rpm}", start)
        return " ".join(word for word in words if word)

    def stop(self, optional: bool) -> str:
        """Return a stop.

        Raises:
            InputError: if it is optional, and the dialect has no word for one.
        """
        codes = self.dialect.codes
        code = codes.optional_stop if optional else codes.program_stop
        if code is None:
            raise InputError(
                "has no word for an optional stop",
                where=f"dialect {self.dialect.name}",
                key="process.trial_stop",
                value="optional",
                expected="a dialect with an optional stop",
                remedy='take trial_stop = "program" or another dialect',
            )
        return code

    def comments(self, texts: Iterable[str]) -> list[str]:
        """Return the comment lines of sentences."""
        comment = self.comment
        return [line for text in texts for line in comment(text)]

    def blocks(self, steps: Iterable[Step]) -> list[str]:
        """Return one line for each step; for a comment or a tool call as many as it takes.

        Chained by how often they come: a program is feeds and dwells for the most part.
        """
        codes, length = self.dialect.codes, self.length
        rapid, linear = codes.rapid, codes.linear
        radius = self.dialect.x == "radius"
        outward = nearly_half_a_place_mm(self.dialect, self.plan.job.units)
        feeds: dict[float, str] = {}
        dwells: dict[float, str] = {}
        lines: list[str] = []
        gear = self.gear()
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
            elif isinstance(step, Comment):
                lines += self.comment(step.text)
            elif isinstance(step, Dwell):
                seconds = step.seconds
                if seconds not in dwells:
                    dwells[seconds] = self.dwell(seconds)
                lines.append(dwells[seconds])
            elif isinstance(step, Spindle):
                if step.on:
                    lines += gear
                    gear = []
                lines.append(self.spindle(step.on))
            elif isinstance(step, Coolant):
                lines += codes.coolant_on if step.on else (codes.coolant_off,)
            elif isinstance(step, Stop):
                lines.append(self.stop(step.optional))
            elif isinstance(step, ToolCall):
                lines += self.tool_call()
        return lines


# -- numbering -----------------------------------------------------------------


def _number(lines: list[str], words: _Words) -> None:
    """Put N words before the blocks that the dialect numbers."""
    dialect = words.dialect
    marks = _unnumbered(dialect, words.plan.job.part.number, words.name)
    mark = dialect.comment_open
    chosen = [i for i, line in enumerate(lines) if not line.startswith(mark) and line not in marks]
    if dialect.numbering == "tool call":
        only = words.tool_call()
        chosen = [i for i in chosen if lines[i] in only]
    first, step = dialect.first_number, dialect.number_step
    if first + (len(chosen) - 1) * step > dialect.highest_number:
        first = step = 1  # a long program would run out of numbers
    if len(chosen) > dialect.highest_number:
        raise InputError(
            f"the program has {len(chosen)} blocks, more than there are N words",
            where=f"dialect {dialect.name}",
            key="highest_number",
            value=dialect.highest_number,
            expected="fewer blocks, or numbering = none",
            remedy="take another dialect",
        )
    for number, i in zip(count(first, step), chosen):
        lines[i] = f"N{number} {lines[i]}"


@lru_cache(maxsize=64)
def _unnumbered(dialect: Dialect, number: int, name: str) -> frozenset[str]:
    """Return the lines that are no blocks: those before the first and after the last."""
    marks = {*dialect.end, *dialect.start_lines(number, name=name)}
    if dialect.subprogram_start is not None and dialect.codes.subprogram_return is not None:
        marks.update(dialect.start_lines(number, subprogram=True, name=name))
    return frozenset(marks)
