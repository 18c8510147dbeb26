"""Good programs, and a text in which a block can be found, changed and pointed at.

Values go in and come out in millimetres on the diameter, whatever the dialect writes.
Nothing here uses the writer or the reader: the form of a number is stated again.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from knurlcam.job.model import Job
from knurlcam.path import lay_out
from knurlcam.plan.model import Plan
from knurlcam.plan.planner import make_plan
from knurlcam.program import write_program
from tests.support.jobs import REMOVE, with_changes

POSTS = ("iso6983", "rs274", "uw-lathe", "iso6983-integer", "rs274-turning")
RS274 = ("rs274", "rs274-turning")
"""Dialects of NISTIR 6556: T with M06 and G43 H, a number without its point, no subprograms."""

DIAMOND: dict[str, Any] = {
    "part": {
        "name": "Focus knob",
        "material": "aluminium 6082-T6",
        "knurled_diameter": 25.0,
        "length": 70.0,
        "number": 1201,
    },
    "knurl": {"callout": "DIN 82 RGE 1.0", "length": 20.0},
    "holding": {"method": "between centres", "centre_diameter": 12.0},
    "tool": {
        "style": "knuckle joint",
        "roll_diameter": 20.0,
        "face_width": 10.0,
        "roll_spacing": 21.0,
        "station": 5,
    },
    "process": {"spindle_speed": "110 rpm", "feed": "0.5 mm/rev", "infeed_rate": "0.05 mm/rev"},
    "machine": {"safe_x": 120.0, "safe_z": 50.0},
}

SINGLE = {"tool.style": "single roll", "tool.roll_spacing": REMOVE}
STRADDLE = {"tool.style": "straddle", "tool.roll_spacing": REMOVE}

JOBS: dict[str, dict[str, Any]] = {
    "diamond": {},
    "trial": {"process.trial_strip": True},
    "plunge": {**SINGLE, "knurl.callout": "DIN 82 RAA 0.8", "knurl.length": 8.0},
    "plunge trial": {
        **SINGLE,
        "knurl.callout": "DIN 82 RAA 0.8",
        "knurl.length": 8.0,
        "process.trial_strip": True,
    },
    "straddle": {**STRADDLE, "tool.z_datum": "centre"},
    "zone": {
        "knurl.start": 15.0,
        "tool.bevelled_rolls": True,
        "tool.z_datum": "right edge",
        "process.clean_up": False,
    },
    "chuck": {"holding": {"method": "chuck"}, "tool.offset": 15},
    "inch": {
        "units": "inch",
        "part.knurled_diameter": 1.0,
        "part.length": 3.0,
        "knurl.callout": "96 DP diamond",
        "knurl.length": 0.75,
        "holding.centre_diameter": 0.5,
        "tool.roll_diameter": 0.75,
        "tool.face_width": 0.375,
        "tool.roll_spacing": 0.875,
        "machine.safe_x": 5.0,
        "machine.safe_z": 2.0,
    },
    "reverse": {"machine.spindle_direction": "reverse"},
    "dry": {"process.coolant": False},
}
"""Name of each job to what sets it apart from the diamond, by dotted key; REMOVE takes it out."""


SPECIAL: dict[str, dict[str, Any]] = {
    "followed": {"part.length": 200.0, "knurl.length": 120.0, "process.compensate": True},
    "optional trial": {"process.trial_strip": True, "process.trial_stop": "optional"},
    "beside": {"part.knurled_diameter": REMOVE, "part.blank_diameter": 24.688},
    "full": {
        "part.knurled_diameter": REMOVE,
        "part.blank_diameter": 24.626,
        "tool.tracking_correction": 0.0,
        "process.fullness": 0.99,
    },
    "shouldered": {"part.steps": "25 x 24, 40 x 46"},
}
"""Jobs for a few rules of their own."""


def job_dict(overrides: Mapping[str, Any]) -> dict[str, Any]:
    """Return the diamond's keys with some of them changed."""
    return with_changes(DIAMOND, overrides)


@cache
def good_job(name: str) -> Job:
    """Return one of the jobs."""
    return Job.model_validate(job_dict({**JOBS, **SPECIAL}[name]))


@cache
def good_plan(name: str) -> Plan:
    """Return its plan."""
    return make_plan(good_job(name))


@cache
def good_program(name: str, post: str, form: Any = "program") -> str:
    """Return its program in a dialect."""
    return write_program(lay_out(good_plan(name)), post, form=form)


_N = re.compile(r"^(/?)(?:N(\d+)\s*)?")
_WORD = re.compile(r"([A-Z])([+-]?[\d.]+)")


@dataclass(eq=False)
class Line:
    """One line of a text; it stays itself when lines before it come or go."""

    text: str

    @property
    def number(self) -> int | None:
        """The N number, or None."""
        match = _N.match(self.text)
        return int(match[2]) if match and match[2] else None

    @property
    def block(self) -> str:
        """The line without slash and N number."""
        return _N.sub("", self.text)

    def sub(self, old: str, new: str) -> Line:
        """Replace what must be there, once."""
        assert old in self.text, f"{old!r} is not in {self.text!r}"
        self.text = self.text.replace(old, new, 1)
        return self


@dataclass
class Text:
    """A program text taken to lines."""

    post: str
    plan: Plan
    lines: list[Line] = field(default_factory=list)

    @classmethod
    def of(cls, name: str, post: str, form: str = "program") -> Text:
        """Take a good program to lines."""
        program = good_program(name, post, form)
        return cls(post, good_plan(name), [Line(line) for line in program.splitlines()])

    def __str__(self) -> str:
        return "\n".join(line.text for line in self.lines) + "\n"

    # -- finding ------------------------------------------------------------------

    def all(self, start: str) -> list[Line]:
        """Every line whose block starts so."""
        return [line for line in self.lines if line.block.startswith(start)]

    def find(self, start: str, nth: int = 0) -> Line:
        """The nth line whose block starts so; from the end where nth is negative."""
        return self.all(start)[nth]

    def at(self, line: Line) -> int:
        """Line number, from 1."""
        return next(i for i, one in enumerate(self.lines, start=1) if one is line)

    def after(self, line: Line, count: int = 1) -> Line:
        """The block that comes so many after, comments not counted."""
        blocks = [one for one in self.lines if not one.text.startswith("(")]
        return blocks[next(i for i, one in enumerate(blocks) if one is line) + count]

    @property
    def modes(self) -> Line:
        """The block that states the modes."""
        codes = ("G71", "G70", "G21", "G20")
        return next(one for one in self.lines if one.block.startswith(codes))

    @property
    def tool(self) -> Line:
        """The block that sets the offset."""
        return self.find("G43" if self.post in RS274 else "T")

    @property
    def start(self) -> Line:
        """The block that starts the spindle for the first time."""
        return next(one for one in self.lines if "S110" in one.block)

    @property
    def end(self) -> Line:
        """The program end."""
        return self.find("M30")

    # -- changing -----------------------------------------------------------------

    def delete(self, *lines: Line) -> None:
        """Take lines out."""
        self.lines = [one for one in self.lines if all(one is not gone for gone in lines)]

    def before(self, line: Line, text: str) -> Line:
        """Put a new line before another."""
        new = Line(text)
        self.lines.insert(self.at(line) - 1, new)
        return new

    def behind(self, line: Line, text: str) -> Line:
        """Put a new line behind another."""
        new = Line(text)
        self.lines.insert(self.at(line), new)
        return new

    def swap(self, one: Line, other: Line) -> None:
        """Let the blocks of two lines change places, N numbers staying where they are."""
        one_n, other_n = one.text[: -len(one.block)], other.text[: -len(other.block)]
        one.text, other.text = one_n + other.block, other_n + one.block

    # -- values -------------------------------------------------------------------

    @property
    def inch(self) -> bool:
        """Whether the program is in inches."""
        return self.plan.job.units == "inch"

    def written(self, letter: str, value: float) -> str:
        """Write a word: X, Z in mm on the diameter, F in mm/rev, dwell D in seconds."""
        if letter == "D":
            return {
                "iso6983": f"X{value:.3f}",
                "rs274": f"P{value:.3f}",
                "rs274-turning": f"P{value:.3f}",
            }.get(self.post, f"P{round(value * 1000)}")
        if letter in "STH":
            return f"{letter}{round(value)}"
        if letter == "X" and self.post == "rs274":
            value /= 2
        if letter == "F" and self.post == "rs274":
            value *= self.plan.programmed_rpm
        if self.inch:
            value /= 25.4
        places = (4 if self.inch else 3) + (self.post in RS274)
        if self.post == "iso6983-integer":
            return f"{letter}{round(value * 10**places)}"
        return f"{letter}{value:.{places}f}"

    def value(self, line: Line, letter: str) -> float:
        """Read an X, Z, F or dwell (D) word back to mm, mm/rev or seconds."""
        wanted = letter
        if letter == "D":
            wanted = "X" if self.post == "iso6983" else "P"
        text = next(t for a, t in _WORD.findall(line.block) if a == wanted)
        value = float(text)
        if letter == "D":
            return value / 1000 if self.post in ("uw-lathe", "iso6983-integer") else value
        if self.post == "iso6983-integer":
            value /= 10 ** (4 if self.inch else 3)
        if self.inch:
            value *= 25.4
        if letter == "X" and self.post == "rs274":
            value *= 2
        if letter == "F" and self.post == "rs274":
            value /= self.plan.programmed_rpm
        return value

    def put(self, line: Line, letter: str, value: float) -> Line:
        """Replace a word's value."""
        wanted = letter
        if letter == "D":
            wanted = "X" if self.post == "iso6983" else "P"
        new = self.written(letter, value)
        text, count = re.subn(rf"\b{wanted}[+-]?[\d.]+", new, line.text, count=1)
        assert count == 1, f"no {wanted} in {line.text!r}"
        line.text = text
        return line

    def shift(self, line: Line, letter: str, by: float) -> Line:
        """Add to a word's value."""
        return self.put(line, letter, self.value(line, letter) + by)

    def deepen(self, line: Line, by: float) -> Line:
        """Press an infeed deeper by a penetration, as the tool style makes it."""
        contact = self.plan.contact
        depth = contact.penetration_mm(self.value(line, "X"))
        return self.put(line, "X", contact.x_diameter_mm(depth + by))

    def drop(self, line: Line, letter: str) -> Line:
        """Take a word out of a block."""
        text, count = re.subn(rf" ?\b{letter}[+-]?[\d.]+", "", line.text, count=1)
        assert count == 1, f"no {letter} in {line.text!r}"
        line.text = text
        return line

    @property
    def depth_tolerance(self) -> float:
        """Within what a penetration is as planned [mm]; no job here has a coarser X than that."""
        return min(0.01, 0.03 * self.plan.penetration_mm)

    # -- blocks -------------------------------------------------------------------

    @property
    def infeeds(self) -> list[Line]:
        """Feed moves in X into the work; the last feed move in X is the retract."""
        clearance = self.plan.clearance_x_mm
        return [i for i in self.all("G01 X") if self.value(i, "X") < clearance - 0.5]

    @property
    def traverses(self) -> list[Line]:
        """Feed moves in Z."""
        return self.all("G01 Z")

    @property
    def followed(self) -> list[Line]:
        """Feed moves along both axes, in which the slide follows the work."""
        return [line for line in self.all("G01 X") if " Z" in line.block]

    @property
    def dwells(self) -> list[Line]:
        """Dwells."""
        return self.all("G04")

    @property
    def retract(self) -> Line:
        """The last feed move out of the work."""
        return self.find("G01 X", -1)


ISO = {"mm": "G71", "inch": "G70", "per rev": "G95", "per min": "G94", "surface": "G96"}
WORDS: dict[str, dict[str, str]] = {
    "iso6983": ISO,
    "iso6983-integer": ISO,
    "rs274": {"mm": "G21", "inch": "G20", "per min": "G94"},
    "rs274-turning": {**ISO, "mm": "G21", "inch": "G20"},
    "uw-lathe": {
        "mm": "G21",
        "inch": "G20",
        "per rev": "G99",
        "per min": "G98",
        "surface": "G96",
    },
}
"""Words in which the dialects differ, as the design lists them."""
