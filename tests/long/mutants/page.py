"""A good text and where its parts stand, for the edits that need to know."""

from __future__ import annotations

import re
from typing import NamedTuple

from knurlcam.plan.model import Plan
from tests.long.mutants.programs import Program, plan_of
from tests.support.naive import NIST

Change = tuple[str, int, int, tuple[str, ...]]
"""Kind of an edit, its first line, lines taken, lines put there."""


class Page(NamedTuple):
    """A good text and where its parts stand, by line."""

    program: Program
    plan: Plan
    lines: list[str]
    modes: int
    """Block that states the units"""
    calls: list[int]
    """Blocks that call the tool with its offset, or the offset"""
    changes: list[int]
    """... and those that change the tool by a word of its own"""
    cancel: int | None
    """Block that cancels the offset"""
    spindle: list[int]
    coolant: list[int]
    infeeds: list[int]
    dwells: list[int]
    retracts: list[int]
    """Blocks that leave the work at feed"""
    approaches: list[int]
    """Rapids to X where the clearance ends"""
    away: list[int]
    """First rapids, to the safe X"""
    stops: list[int]
    end: int
    """Line behind the last block that a subprogram or pasted blocks run"""

    def word(self, axis: str, value: float) -> str:
        """Write a word as the dialect has it, of mm on the diameter."""
        inch, post = self.plan.job.units == "inch", self.program.post
        if post == "rs274" and axis == "X":
            value /= 2
        value = value / 25.4 if inch else value
        if post == "iso6983-integer":
            return f"{axis}{round(value * (10000 if inch else 1000))}"
        return f"{axis}{value:.5f}" if post in NIST else f"{axis}{value:.{4 if inch else 3}f}"

    def feed(self, mm_per_rev: float) -> str:
        inch, post = self.plan.job.units == "inch", self.program.post
        value = mm_per_rev / 25.4 if inch else mm_per_rev
        if post == "rs274":
            return f"F{value * self.plan.programmed_rpm:.4f}"
        if post == "iso6983-integer":
            return f"F{round(value * (10000 if inch else 1000))}"
        return f"F{value:.4f}"

    def dwell(self, seconds: float) -> str:
        if self.program.post == "iso6983":
            return f"G04 X{seconds:.3f}"
        if self.program.post in NIST:
            return f"G04 P{seconds:.3f}"
        return f"G04 P{round(seconds * 1000)}"

    @property
    def start(self) -> tuple[str, ...]:
        """Blocks that set the work in motion."""
        turn = "M03" if self.plan.job.machine.spindle_direction == "forward" else "M04"
        speed = f"S{self.plan.programmed_rpm}"
        return (f"{speed} {turn}" if self.program.post == "rs274" else f"G97 {speed} {turn}",)

    @property
    def tool(self) -> tuple[str, ...]:
        """Blocks that call tool and offset."""
        tool = self.plan.job.tool
        station, offset = tool.station, tool.offset_number
        if self.program.post in NIST:
            return f"T{station} M06", f"G43 H{offset}"
        return (f"T{station:02d}{offset:02d}",)

    @property
    def foreign(self) -> tuple[str, ...]:
        """Blocks that call another tool."""
        station = self.plan.job.tool.station + 1
        if self.program.post in NIST:
            return (f"T{station} M06",)
        return (f"T{station:02d}{station:02d}",)

    @property
    def wet(self) -> tuple[str, ...]:
        return ("M08",) if self.plan.job.process.coolant else ()


def page_of(program: Program, lines: list[str]) -> Page:
    """Find the parts of a good text."""
    plan = plan_of(program.name)
    bare = Page(program, plan, lines, 0, [], [], None, *([[]] * 8), 0)  # type: ignore[arg-type]
    clear, safe = plan.clearance_x_mm, plan.job.machine.safe_x

    blocks = [i for i, line in enumerate(lines) if not line.startswith(("(", "%", "O"))]

    def found(pattern: str) -> list[int]:
        return [i for i in blocks if re.search(pattern, lines[i])]

    def at_x(code: str, x: float) -> list[int]:
        digits = re.match(r"X-?\d+\.?\d{0,2}", bare.word("X", x))
        assert digits
        return found(rf"{code} {re.escape(digits[0])}")

    feeds = found(r"G01 X")
    retracts = [i for i in at_x("G01", clear) if i in feeds]
    ends = found(r"M30|M99")
    offset = plan.job.tool.offset_number
    return bare._replace(
        modes=found(r"G7[01]|G2[01]")[0],
        calls=found(rf"T\d\d0*{offset}\b|G43"),
        changes=found("M06"),
        cancel=next(iter(found(r"T\d\d00\b|G49")), None),
        spindle=found(r"M0[34]"),
        coolant=found(r"M08"),
        infeeds=[i for i in feeds if i not in retracts],
        dwells=found("G04"),
        retracts=retracts,
        approaches=at_x("G00", clear),
        away=at_x("G00", safe),
        stops=found(r"M0[01]\b"),
        end=ends[0] if ends else blocks[-1] + 1,
    )
