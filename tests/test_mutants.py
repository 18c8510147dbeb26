"""Slips of the pen in good programs: what matters is found, what does not matter is not.

Whether a slip matters is decided here, by an interpreter that shares nothing with the
package's reader and checker but the plan's figures: it goes through a text word by word
and keeps what the rolls do in the work, what happens in air and what is left on at the
end; then it compares with what the good program does.

``python -m tests.test_mutants`` tries every slip and prints the share found, by kind.
"""

from __future__ import annotations

import math
import random
import re
import sys
import zlib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from typing import NamedTuple

import pytest

from knurlcam.checks import check_motion
from knurlcam.reader import read_program
from tests.breaking import JOBS, POSTS, good_plan, good_program

# == the naive interpreter ===========================================================

ISO = {
    "G00": "rapid", "G01": "feed", "G04": "dwell", "G71": "mm", "G70": "inch",
    "G90": "absolute", "G91": "increments", "G95": "a turn", "G94": "a minute",
    "G97": "speed", "G96": "surface",
}  # fmt: skip
LATHE = {
    "G00": "rapid", "G01": "feed", "G04": "dwell", "G21": "mm", "G20": "inch",
    "G99": "a turn", "G98": "a minute", "G97": "speed", "G96": "surface",
    "G50": "limit", "G28": "reference",
}  # fmt: skip
RS274 = {
    "G00": "rapid", "G01": "feed", "G04": "dwell", "G21": "mm", "G20": "inch",
    "G90": "absolute", "G91": "increments", "G94": "a minute", "G43": "offset on",
    "G49": "offset off",
}  # fmt: skip
G_WORDS = {"iso6983": ISO, "iso6983-integer": ISO, "uw-lathe": LATHE, "rs274": RS274}
M_WORDS = {
    "M00": "stop", "M01": "stop", "M02": "end", "M30": "end", "M03": "forward",
    "M04": "reverse", "M05": "off", "M08": "wet", "M09": "dry",
}  # fmt: skip
ONE_OF = [
    {"rapid", "feed"}, {"mm", "inch"}, {"absolute", "increments"}, {"a turn", "a minute"},
    {"speed", "surface"}, {"forward", "reverse", "off"}, {"wet", "dry"}, {"stop", "end"},
    {"dwell", "limit", "reference"}, {"offset on", "offset off"},
]  # fmt: skip
NOT_WHILE_MOVING = {"stop", "end", "forward", "reverse", "off", "dry", "change", "limit"}
WORD = re.compile(r"([A-Z])([+-]?(?:\d+\.?\d*|\.\d+))")


class NotUnderstoodError(Exception):
    """A text of which nobody knows what a control makes."""


class Segment(NamedTuple):
    """A stretch of the way in the work that goes on in the same manner."""

    what: str
    depth: float
    z: float
    feeds: tuple[float, float]
    seconds: float
    state: tuple[object, ...]
    rpm: float


@dataclass
class Trace:
    """What a text does."""

    contacts: list[list[Segment]] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    """What no good program does."""
    air: list[tuple[object, ...]] = field(default_factory=list)
    stops: list[tuple[int, str]] = field(default_factory=list)
    """After so many contacts: M00 or M01"""
    limits: list[float] = field(default_factory=list)
    end: tuple[object, ...] = ()
    place: tuple[float, float] = (0.0, 0.0)


class Naive:
    """Carries a text out, word by word."""

    def __init__(self, name: str, post: str) -> None:
        self.post, self.plan = post, good_plan(name)
        self.letters = "XZFSTPH" + ("UW" if post == "uw-lathe" else "")
        job, contact = self.plan.job, self.plan.contact
        self.job = job
        self.blank, self.roll = contact.blank_radius_mm, contact.roll_radius_mm
        self.v = contact.half_spacing_mm
        self.first_touch = math.sqrt((self.blank + self.roll) ** 2 - self.v**2)
        self.roll_centre = contact.x_datum == "roll centre"
        self.face = job.tool.face_width
        self.left_of = {"left edge": 0.0, "centre": 0.5, "right edge": 1.0}[job.tool.z_datum]
        self.touch_x = 2 * (self.first_touch if self.roll_centre else self.blank)
        self.clear_x = self.touch_x + 2 * job.machine.clearance
        self.safe_x = job.machine.safe_x
        centre = job.holding.centre_diameter
        self.centre = centre / 2 if centre and job.holding.method != "chuck" else None
        self.inch = job.units == "inch"
        self.trace = Trace()
        self.state: dict[str, object] = {"spindle": "off", "coolant": "dry", "offset": 0}
        self.rpm: float | None = None
        self.feed: float | None = None
        self.x: float | None = None
        self.z: float | None = None
        self.home = {"X": False, "Z": False}
        self.touching = False
        self.last_run: list[tuple[str, float, float]] = []

    # -- figures -------------------------------------------------------------------

    def depth(self, x: float) -> float:
        across = x / 2 if self.roll_centre else self.first_touch - self.blank + x / 2
        over = max(0.0, -across)
        return self.blank + self.roll - math.hypot(max(across, 0.0), self.v) + over

    def edges(self, z: float) -> tuple[float, float]:
        left = z - self.left_of * self.face
        return left, left + self.face

    def over(self, z0: float, z1: float) -> bool:
        left, right = self.edges(min(z0, z1))[0], self.edges(max(z0, z1))[1]
        return left < -1e-6 and right > -self.job.part.length + 1e-6

    def number(self, letter: str, text: str) -> float:
        value = float(text)
        if self.post == "iso6983-integer":
            if "." in text:
                raise NotUnderstoodError(f"point in {letter}{text}")
            value /= 1e4 if self.state.get("units") == "inch" else 1e3
        elif self.post != "rs274" and "." not in text and value != 0:
            raise NotUnderstoodError(f"no point in {letter}{text}")
        return value * 25.4 if self.state.get("units") == "inch" else value

    # -- text ----------------------------------------------------------------------

    def run(self, text: str) -> Trace:
        lines = [one.strip().upper() for one in text.splitlines() if one.strip()]
        lines = self.framed(lines)
        ended = False
        for line in lines:
            block = re.sub(r"\([^()]*\)", "", line).replace(" ", "")
            if "(" in block or ")" in block:
                raise NotUnderstoodError("comment")
            if ended:
                continue
            words = WORD.findall(block)
            if "".join(a + b for a, b in words) != block:
                raise NotUnderstoodError(block)
            ended = self.block(words)
        if not ended:
            raise NotUnderstoodError("no end")
        self.trace.end = (
            self.state["spindle"],
            self.state["coolant"],
            self.state["offset"],
            self.home["X"],
            self.home["Z"],
        )
        self.trace.place = (self.x or 0.0, self.z or 0.0)
        if self.touching:
            self.trace.faults.append("ends in the work")
        return self.trace

    def framed(self, lines: list[str]) -> list[str]:
        number = self.job.part.number
        start = {"rs274": ["%"], "uw-lathe": ["%", f"O{number:04d}"]}.get(self.post, [f"%{number}"])
        if lines[: len(start)] != start:
            raise NotUnderstoodError("start")
        lines = lines[len(start) :]
        if self.post in ("rs274", "uw-lathe"):
            if lines[-1:] != ["%"]:
                raise NotUnderstoodError("end")
            lines = lines[:-1]
        return lines

    def block(self, words: list[tuple[str, str]]) -> bool:
        if words and words[0][0] == "N":
            if not words[0][1].isdigit():
                raise NotUnderstoodError("block number")
            words = words[1:]
        does: list[str] = []
        values: dict[str, str] = {}
        for letter, text in words:
            if letter in "GM":
                does.append(self.code(letter, text))
            elif letter in values or letter not in self.letters:
                raise NotUnderstoodError(letter)
            elif letter in "STHP" and not text.isdigit() and letter != "P":
                raise NotUnderstoodError(letter + text)
            else:
                values[letter] = text
        self.contradictions(does, values)
        self.set(does, values)
        if "dwell" in does:
            self.dwell(values)
        elif "reference" in does:
            self.reference(values)
        elif self.axes(values):
            self.move(values)
        if "stop" in does:
            self.stop("M01" if ("M", "01") in words else "M00")
        return "end" in does

    def code(self, letter: str, text: str) -> str:
        if not text.isdigit():
            raise NotUnderstoodError(letter + text)
        word = f"{letter}{int(text):02d}"
        table = G_WORDS[self.post] if letter == "G" else M_WORDS
        if word in ("G18", "G40"):
            return "nothing"
        if word == "M06" and self.post == "rs274":
            return "change"
        if word not in table:
            raise NotUnderstoodError(word)
        return table[word]

    def axes(self, values: dict[str, str]) -> list[str]:
        return [a for a in "XZUW" if a in values]

    def contradictions(self, does: list[str], values: dict[str, str]) -> None:
        if any(len(group & set(does)) > 1 for group in ONE_OF):
            raise NotUnderstoodError("contradiction")
        axes = self.axes(values)
        if "dwell" in does:
            address = "X" if self.post == "iso6983" else "P"
            if address not in values or len(axes) > (address == "X") or "F" in values:
                raise NotUnderstoodError("dwell")
            whole = self.post in ("uw-lathe", "iso6983-integer")
            if whole and "." in values[address]:
                raise NotUnderstoodError("dwell")
            if self.post == "iso6983" and "." not in values[address]:
                raise NotUnderstoodError("dwell")
        elif "P" in values:
            raise NotUnderstoodError("P")
        elif axes and (NOT_WHILE_MOVING & set(does) or "T" in values):
            raise NotUnderstoodError("in a block that moves")
        if ("H" in values) != ("offset on" in does):
            raise NotUnderstoodError("H")
        if self.post == "rs274" and ("T" in values) != ("change" in does):
            raise NotUnderstoodError("T")
        if "limit" in does and "S" not in values:
            raise NotUnderstoodError("limit")
        if self.post == "rs274" and {"rapid", "feed"} & set(does) and not axes:
            raise NotUnderstoodError("no axis")
        if {"X", "U"} <= values.keys() or {"Z", "W"} <= values.keys():
            raise NotUnderstoodError("twice")

    # -- state ---------------------------------------------------------------------

    def set(self, does: list[str], values: dict[str, str]) -> None:
        groups = {
            "motion": ("rapid", "feed"), "units": ("mm", "inch"),
            "distance": ("absolute", "increments"), "feeds": ("a turn", "a minute"),
            "speeds": ("speed", "surface"), "spindle": ("forward", "reverse", "off"),
            "coolant": ("wet", "dry"),
        }  # fmt: skip
        before = self.state.get("feeds")
        for name, words in groups.items():
            for word in words:
                if word in does:
                    self.state[name] = word
        if before is not None and self.state.get("feeds") != before:
            self.feed = None
        if "offset off" in does:
            self.state["offset"] = 0
        if "F" in values:
            self.feed = self.number("F", values["F"])
        if "S" in values:
            if "limit" in does:
                self.trace.limits.append(float(values["S"]))
            else:
                self.rpm = float(values["S"])
        if "H" in values:
            self.state["offset"] = int(values["H"])
        if "T" in values:
            self.tool(values["T"])
        top = self.job.machine.max_spindle_speed
        if self.state["spindle"] != "off" and self.rpm is not None and self.rpm > top + 0.5:
            self.trace.faults.append("machine overrun")
        if self.touching and (self.state["spindle"] == "off" or "S" in values):
            self.last_run.append(("state", 0.0, 0.0))
            self.segment("dwell", 0.0)

    def tool(self, text: str) -> None:
        if self.post == "rs274":
            self.state["station"] = int(text)
            return
        if len(text) != 4:
            raise NotUnderstoodError("T" + text)
        self.state["station"], self.state["offset"] = int(text[:2]), int(text[2:])

    # -- motion --------------------------------------------------------------------

    def segment(self, what: str, seconds: float = 0.0) -> None:
        """Go on in the same manner, or begin another segment."""
        assert self.x is not None
        assert self.z is not None
        state = tuple(
            self.state.get(k) for k in ("spindle", "coolant", "station", "offset", "speeds")
        )
        feed = self.feed if self.feed is not None else -1.0
        if what == "dwell":
            feed = 0.0
        new = Segment(
            what, self.depth(self.x), self.z, (feed, feed), seconds, state, self.rpm or 0.0
        )
        run = self.trace.contacts[-1]
        old = run[-1] if run else None
        if old and old.what == what and old.state == state and old.rpm == new.rpm:
            feeds = min(old.feeds[0], feed), max(old.feeds[1], feed)
            run[-1] = new._replace(feeds=feeds, seconds=old.seconds + seconds)
        elif what != "dwell" or seconds or (old and (old.state, old.rpm) != (state, new.rpm)):
            run.append(new)

    def dwell(self, values: dict[str, str]) -> None:
        seconds = float(values["X" if self.post == "iso6983" else "P"])
        if seconds < 0:
            raise NotUnderstoodError("dwell")
        if self.post in ("uw-lathe", "iso6983-integer"):
            seconds /= 1000
        if self.touching:
            self.segment("dwell", seconds)

    def target(self, values: dict[str, str]) -> tuple[float | None, float | None]:
        x, z = self.x, self.z
        factor = 2.0 if self.post == "rs274" else 1.0
        if "X" in values:
            x = self.number("X", values["X"]) * factor
        if "Z" in values:
            z = self.number("Z", values["Z"])
        if "U" in values and x is not None:
            x += self.number("U", values["U"])
        if "W" in values and z is not None:
            z += self.number("W", values["W"])
        return x, z

    def move(self, values: dict[str, str]) -> None:
        motion = self.state.get("motion")
        if motion is None:
            raise NotUnderstoodError("no G00 or G01")
        x0, z0 = self.x, self.z
        x1, z1 = self.target(values)
        self.modes()
        self.tool_faults(x1)
        if x0 is None and not self.home["X"] and z1 != z0:
            self.trace.faults.append("Z moves before X is known")
        if z0 is None and z1 is None and not self.home["Z"] and (x1 or 0) < self.safe_x - 0.01:
            self.trace.faults.append("X goes in before Z is known")
        if motion == "feed" and not (self.feed or 0) > 0 and (x0, z0) != (x1, z1):
            self.trace.faults.append("no feed")
        self.x, self.z = x1, z1
        x0 = (math.inf if self.home["X"] else x1) if x0 is None else x0
        self.home["X"] &= x1 is None
        self.home["Z"] &= z1 is None
        x1 = math.inf if x1 is None else x1
        x0 = x1 if x0 is None else x0
        if z1 is None:
            return
        z0 = z1 if z0 is None else z0
        if math.hypot(x1 - x0, z1 - z0) < 1e-6:
            return
        self.x, self.z = None if x1 == math.inf else x1, z1
        self.one_move(str(motion), x0, z0, x1, z1)

    def one_move(self, motion: str, x0: float, z0: float, x1: float, z1: float) -> None:
        faults, low = self.trace.faults, min(x0, x1)
        over, hits = self.over(z0, z1), False
        hits = over and low < self.touch_x - 0.002
        if self.edges(min(z0, z1))[0] < -self.job.part.length - 0.02 and low < self.safe_x - 0.01:
            faults.append("meets the chuck")
        beyond = self.edges(max(z0, z1))[1] > 0.02
        if self.centre and beyond and self.blank - self.depth(low) < self.centre - 0.01:
            faults.append("meets the centre")
        if motion == "rapid" and over and low < self.clear_x - 0.01:
            faults.append("rapid in the work" if hits else "rapid below clearance")
        if not hits:
            self.trace.air.append((motion, round(x1, 3), round(z1, 3)))
            if self.trace.contacts and abs(z1 - z0) > 1e-6 and low < self.safe_x - 0.01:
                self.trace.air.append(("z before x", len(self.trace.contacts)))
            return
        self.in_work(motion, x0, z0, x1, z1)

    def in_work(self, motion: str, x0: float, z0: float, x1: float, z1: float) -> None:
        if not self.touching:
            self.trace.contacts.append([])
        inside = self.over(z1, z1) and x1 < self.touch_x - 0.002
        along = abs(z1 - z0) > 1e-6
        straight = abs(self.depth(x1) - self.depth(x0)) < 0.01 if inside else x0 == x1
        if along:
            what = ("headstock" if z1 < z0 else "tailstock") if straight else "slant"
            if not (self.touching and inside):
                what = "sideways"
        else:
            what = "in" if x1 < x0 else "out"
        still = not along and abs(self.depth(x1) - self.depth(x0)) < 0.002
        if self.touching and inside and motion == "feed" and still:
            return  # below what a control can tell; depths are compared, not steps
        self.touching = inside
        self.segment(f"rapid {what}" if motion == "rapid" else what)

    def reference(self, values: dict[str, str]) -> None:
        axes = self.axes(values)
        if not axes:
            raise NotUnderstoodError("reference")
        self.modes()
        self.tool_faults(None)
        x, z = self.target(values)
        if (x, z) != (self.x, self.z):
            kept = self.state.get("motion")
            self.state["motion"] = "rapid"
            self.move(values)
            self.state["motion"] = kept or ""
        if self.touching:
            self.trace.faults.append("rapid in the work")
            self.touching = False
        if {"Z", "W"} & set(axes) and self.x is not None and self.x < self.safe_x - 0.01:
            self.trace.faults.append("Z before X")
        if {"X", "U"} & set(axes):
            self.x, self.home["X"] = None, True
        if {"Z", "W"} & set(axes):
            self.z, self.home["Z"] = None, True

    def modes(self) -> None:
        wanted: dict[str, object] = {"units": "inch" if self.inch else "mm"}
        wanted["feeds"] = "a minute" if self.post == "rs274" else "a turn"
        if self.post != "uw-lathe":
            wanted["distance"] = "absolute"
        for name, value in wanted.items():
            if self.state.get(name) != value:
                self.trace.faults.append(f"{name}: {self.state.get(name)}")
        first = not self.trace.air and not self.trace.contacts
        if self.post != "rs274" and first and self.state.get("speeds") != "speed":
            self.trace.faults.append(f"speeds: {self.state.get('speeds')}")

    def tool_faults(self, x1: float | None) -> None:
        tool = self.job.tool
        offset = self.state["offset"]
        if self.state.get("station") != tool.station:
            self.trace.faults.append("another tool")
        away = x1 is None or x1 >= self.safe_x - 0.01
        if offset != tool.offset_number and not (offset == 0 and away and not self.touching):
            self.trace.faults.append("another offset")

    def stop(self, word: str) -> None:
        self.trace.stops.append((len(self.trace.contacts), word))
        if self.touching:
            self.trace.faults.append("stop in the work")
        elif self.state["spindle"] != "off":
            self.trace.faults.append("stop with the spindle turning")


# == comparing ==========================================================================

TOLERATED = {
    "another way through air": "a rapid or feed that breaks no rule where nothing is in its way",
    "a longer dwell": "more turns of the work without infeed: a warning at most by the design",
    "a dwell more": "the same, where none is planned",
    "a stop more": "with the spindle standing and the rolls away it only waits for the operator",
    "another stop word": "a program stop in place of an optional one stops at least as surely",
    "another speed limit": "between the planned speed and the machine's it holds back as it should",
    "no speed limit": "a warning by the design",
}
"""Differences that the design lets pass, and why. Everything else must be an error."""

BORDER = (0.85, 1.15)
"""So near to a tolerance either judgement is right: the plan is exact, the text is rounded."""


def differences(good: Trace, bad: Trace, plan_rpm: int, machine_rpm: float) -> set[str]:
    """Return every difference between two traces, by kind; ``?`` marks those at a border."""
    found = set(bad.faults)
    if [tuple(m) for m in good.air] != [tuple(m) for m in bad.air]:
        found.add("another way through air")
    last = len(bad.contacts)
    if any(m == ("z before x", last) for m in bad.air):
        found.add("along before out")
    if good.end != bad.end:
        found.add("another end")
    found |= _off(bad.place[0] - good.place[0], 0.01, "another end")
    found |= _off(bad.place[1] - good.place[1], 0.02, "another end")
    found |= _stops(good, bad) | _limits(good, bad, plan_rpm, machine_rpm)
    if len(good.contacts) != len(bad.contacts):
        return found | {"another number of contacts"}
    for one, other in zip(good.contacts, bad.contacts, strict=True):
        found |= _contact(one, other)
    return found


def _stops(good: Trace, bad: Trace) -> set[str]:
    have = [p for p, _ in bad.stops]
    found = set()
    if any(p not in have for p, _ in good.stops):
        found.add("a stop less")
    elif len(bad.stops) > len(good.stops):
        found.add("a stop more")
    elif bad.stops != good.stops:
        found.add("another stop word")
    return found


def _limits(good: Trace, bad: Trace, plan_rpm: int, machine_rpm: float) -> set[str]:
    if good.limits == bad.limits:
        return set()
    if not bad.limits:
        return {"no speed limit"}
    if any(not plan_rpm <= one <= machine_rpm for one in bad.limits):
        return {"a wrong speed limit"}
    return {"another speed limit"}


def _contact(good: list[Segment], bad: list[Segment]) -> set[str]:
    found: set[str] = set()
    i = 0
    for one in good:
        while i < len(bad) and bad[i].what != one.what and bad[i].what == "dwell":
            found |= _states(one, bad[i]) | {"a dwell more"}
            i += 1
        if i == len(bad) or bad[i].what != one.what:
            return found | {"another sequence"}
        found |= _segment(one, bad[i]) | _states(one, bad[i])
        i += 1
    for rest in bad[i:]:
        found |= _states(good[-1], rest)
        found.add("a dwell more" if rest.what == "dwell" else "another sequence")
    return found


def _off(by: float, tolerance: float, name: str) -> set[str]:
    share = abs(by) / tolerance
    if share <= BORDER[0]:
        return set()
    return {f"?{name}"} if share <= BORDER[1] else {name}


def _states(one: Segment, other: Segment) -> set[str]:
    found = set() if one.state == other.state else {"another state in the work"}
    return found | _off(other.rpm - one.rpm, 0.05 * one.rpm, "another speed")


def _segment(one: Segment, other: Segment) -> set[str]:
    found = _off(other.z - one.z, 0.02, "another Z")
    if one.what != "out":
        found |= _off(other.depth - one.depth, 0.01, "another depth")
    for a, b in zip(one.feeds, other.feeds, strict=True):
        if a:
            found |= _off(b - a, 0.05 * a, "another feed")
    if other.seconds < one.seconds - 0.002:
        found.add("a shorter dwell")
    elif other.seconds > one.seconds + 0.001:
        found.add("a longer dwell")
    elif other.seconds < one.seconds:
        found.add("?a shorter dwell")
    return found


@cache
def good_trace(name: str, post: str) -> Trace:
    return Naive(name, post).run(good_program(name, post))


def naive_differences(name: str, post: str, text: str) -> set[str]:
    """Return what a text does otherwise than the good program, as the interpreter sees it."""
    try:
        trace = Naive(name, post).run(text)
    except NotUnderstoodError as error:
        return {f"not understood: {error}"}
    plan = good_plan(name)
    return differences(
        good_trace(name, post), trace, plan.programmed_rpm, plan.job.machine.max_spindle_speed
    )


# == the slips ===========================================================================


TWO_SLIPS = 200
"""Texts with two slips, for each program."""

SHARE = 0.1
"""Of all slips that the tests draw; the script tries them all."""


class Mutant(NamedTuple):
    kind: str
    line: int
    text: str


def mutants(name: str, post: str, rng: random.Random) -> Iterator[Mutant]:
    """Make every slip in one program; digits are drawn."""
    lines = good_program(name, post).splitlines()

    def made(kind: str, i: int, new: list[str]) -> Mutant:
        return Mutant(kind, i + 1, "\n".join(new) + "\n")

    for i, line in enumerate(lines):
        comment = line.startswith("(")
        if comment and rng.random() < 0.6:
            continue
        head, tail = lines[:i], lines[i + 1 :]
        yield made("block deleted", i, head + tail)
        if not line.startswith(("%", "O")):
            yield made("block duplicated", i, [*head, line, line, *tail])
        if tail:
            yield made("blocks swapped", i, [*head, tail[0], line, *tail[1:]])
        yield made("cut off", i, head)
        if comment:
            yield made("comment changed", i, [*head, "(SOMETHING ELSE)", *tail])
            yield made("comment unclosed", i, [*head, line[:-1], *tail])
            continue
        if line.startswith(("%", "O")):
            continue
        for new in _changed(line, post, rng):
            yield made(new[0], i, [*head, new[1], *tail])
        for new in _inserted(name, post):
            yield made(new[0], i, [*head, new[1], line, *tail])

    yield from _two_slips(lines, post, rng)


def _two_slips(lines: list[str], post: str, rng: random.Random) -> Iterator[Mutant]:
    """Two slips in one text, of which one may hide the other."""
    blocks = [i for i, line in enumerate(lines) if not line.startswith(("(", "%", "O"))]
    for _ in range(TWO_SLIPS):
        new = list(lines)
        first, second = sorted(rng.sample(blocks, 2))
        for i in (second, first):
            if rng.random() < 0.2:
                del new[i]
            else:
                new[i] = rng.choice(list(_changed(new[i], post, rng)))[1]
        yield Mutant("two slips", first + 1, "\n".join(new) + "\n")


def _changed(line: str, post: str, rng: random.Random) -> Iterator[tuple[str, str]]:
    yield "spacing", "  " + line.replace(" ", "  ")
    yield "lower case", line.lower()
    yield "comment added", line + " (PROVED)"
    number = re.match(r"N\d+ ", line)
    if number:
        yield "block number dropped", line[number.end() :]
    words = list(re.finditer(r"([A-Z])([+-]?)([\d.]+)", line))
    for word in words:
        letter, sign, figure = word.groups()
        before, after = line[: word.start()], line[word.end() :]
        if letter == "N":
            continue
        yield "word dropped", (before + after).replace("  ", " ").strip()
        yield "word twice", f"{before}{word[0]} {word[0]}{after}"
        if letter in "XZUWFP" and float(figure):
            yield "sign flipped", f"{before}{letter}{'' if sign else '-'}{figure}{after}"
        if "." in figure:
            yield "point dropped", f"{before}{letter}{sign}{figure.replace('.', '')}{after}"
            yield "point moved", f"{before}{letter}{sign}{_moved(figure, rng)}{after}"
        if letter in "XZ":
            other = "Z" if letter == "X" else "X"
            yield "axis exchanged", f"{before}{other}{sign}{figure}{after}"
        if letter in "SFTPH":
            for new in _other_values(letter, figure):
                yield f"{letter} changed", f"{before}{letter}{sign}{new}{after}"
        for place, digit in enumerate(figure):
            if digit != ".":
                new_digit = rng.choice([d for d in "0123456789" if d != digit])
                new = figure[:place] + new_digit + figure[place + 1 :]
                yield "digit changed", f"{before}{letter}{sign}{new}{after}"
        yield from _exchanged(before, word[0], after)
    if len(words) > 2 and words[0][1] == "N":
        body = line.split()
        yield "words in another order", " ".join([body[0], *reversed(body[1:])])


def _moved(figure: str, rng: random.Random) -> str:
    whole, _, rest = figure.partition(".")
    return f"{whole}{rest[0]}.{rest[1:]}" if rng.random() < 0.5 else f"0.{whole}{rest}"


def _other_values(letter: str, figure: str) -> Iterator[str]:
    value = float(figure)
    if letter == "T" or letter == "H":
        yield str(int(value) + 1).zfill(len(figure))
        return
    for factor in (0.0, 0.1, 0.5, 0.9, 0.97, 1.03, 1.1, 2.0, 10.0):
        if "." in figure:
            places = len(figure.partition(".")[2])
            yield f"{value * factor:.{places}f}"
        else:
            yield str(round(value * factor))


EXCHANGED = [
    ("G00", "G01"), ("M03", "M04"), ("M03", "M05"), ("M04", "M05"), ("M08", "M09"),
    ("G71", "G70"), ("G21", "G20"), ("G90", "G91"), ("G95", "G94"), ("G99", "G98"),
    ("G97", "G96"), ("G43", "G49"), ("G04", "G01"), ("M30", "M00"), ("M30", "M02"),
    ("M01", "M00"), ("M06", "M05"), ("G50", "G97"), ("G28", "G00"),
]  # fmt: skip


def _exchanged(before: str, word: str, after: str) -> Iterator[tuple[str, str]]:
    for pair in EXCHANGED:
        for old, new in (pair, pair[::-1]):
            if word == old:
                yield "word exchanged", before + new + after


def _inserted(name: str, post: str) -> Iterator[tuple[str, str]]:
    plan = good_plan(name)
    inch = plan.job.units == "inch"
    safe_x, safe_z = plan.job.machine.safe_x, plan.job.machine.safe_z
    yield "stop inserted", "M00"
    yield "stop inserted", "M01"
    yield "end inserted", "M30"
    for axis, value in (("X", safe_x), ("Z", safe_z), ("X", plan.blank_diameter_mm)):
        yield "rapid inserted", f"G00 {_word(post, inch, axis, value)}"
    middle = (plan.passes[0].z_start_mm + plan.passes[0].z_end_mm) / 2
    deep = plan.passes[-1].x_diameter_mm
    for axis, value in (
        ("X", plan.clearance_x_mm),
        ("X", deep),
        ("X", deep + 0.08),
        ("X", deep - 0.5),
        ("Z", middle),
        ("Z", plan.passes[0].z_end_mm - 0.1),
        ("Z", plan.passes[0].z_start_mm + 3 * plan.job.tool.face_width),
    ):
        yield "feed inserted", f"G01 {_word(post, inch, axis, value)}"
    yield "dwell inserted", {"iso6983": "G04 X0.5", "rs274": "G04 P0.5"}.get(post, "G04 P500")
    for word in ("M03", "M04", "M05", "M08", "M09", "S50", "S110", "S900"):
        yield "spindle or coolant inserted", word
    for word in (*G_WORDS[post], "G18 G40"):
        if word not in ("G00", "G01", "G04", "G43", "G28", "G50"):
            yield "mode word inserted", word
    yield "tool inserted", "T6 M06" if post == "rs274" else "T0606"


def _word(post: str, inch: bool, axis: str, value: float) -> str:
    if post == "rs274" and axis == "X":
        value /= 2
    value = value / 25.4 if inch else value
    if post == "iso6983-integer":
        return f"{axis}{round(value * (10000 if inch else 1000))}"
    return f"{axis}{value:.4f}"


# == judging ==============================================================================


class Verdict(NamedTuple):
    outcome: str
    """found, missed, passed, false alarm, tolerated or at a border"""
    differences: set[str]
    codes: list[tuple[str, int, str]]


def judge(name: str, post: str, mutant: Mutant) -> Verdict:
    found = naive_differences(name, post, mutant.text)
    motion = read_program(mutant.text, post)
    result = check_motion(motion, good_plan(name))
    codes = [(f.code, f.line, f.message) for f in result.findings if f.severity == "error"]
    material = {d for d in found - TOLERATED.keys() if not d.startswith("?")}
    if material:
        return Verdict("missed" if result.ok else "found", found, codes)
    if any(d.startswith("?") for d in found):
        return Verdict("at a border", found, codes)
    if not result.ok:
        return Verdict("false alarm", found, codes)
    return Verdict("tolerated" if found else "passed", found, codes)


def trial(name: str, post: str, share: float = 1.0) -> Iterator[tuple[Mutant, Verdict]]:
    """Judge the slips in one program, or a share of them drawn by a fixed seed."""
    rng = random.Random(zlib.crc32(f"{name} {post}".encode()))
    for mutant in mutants(name, post, rng):
        if rng.random() < share:
            yield mutant, judge(name, post, mutant)


# == the tests ============================================================================


@pytest.mark.parametrize("post", POSTS)
@pytest.mark.parametrize("name", JOBS)
def test_a_slip_that_matters_is_found_and_one_that_does_not_is_not(name: str, post: str) -> None:
    wrong, seen = [], Counter[str]()
    for mutant, verdict in trial(name, post, SHARE):
        seen[verdict.outcome] += 1
        if verdict.outcome in ("missed", "false alarm"):
            line = mutant.text.splitlines()[min(mutant.line, mutant.text.count("\n")) - 1]
            wrong.append(f"{verdict.outcome}: {mutant.kind}, line {mutant.line} {line}: {verdict}")
    assert not wrong, "\n".join(wrong[:5])
    assert seen["found"] > 50
    assert seen["passed"] > 10


@pytest.mark.parametrize("post", POSTS)
@pytest.mark.parametrize("name", JOBS)
def test_the_interpreter_finds_nothing_amiss_in_a_good_program(name: str, post: str) -> None:
    assert good_trace(name, post).faults == []
    assert naive_differences(name, post, good_program(name, post)) == set()


@pytest.mark.parametrize("name", JOBS)
def test_the_dialects_do_the_same_in_the_work(name: str) -> None:
    first = good_trace(name, POSTS[0]).contacts
    for post in POSTS[1:]:
        other = good_trace(name, post).contacts
        assert [[s.what for s in c] for c in other] == [[s.what for s in c] for c in first]


def main() -> None:
    """Try every slip in every program and print what came of it."""
    table: dict[str, Counter[str]] = {}
    let_pass = Counter[str]()
    shown = Counter[tuple[str, str]]()
    for name in JOBS:
        for post in POSTS:
            for mutant, verdict in trial(name, post):
                table.setdefault(mutant.kind, Counter())[verdict.outcome] += 1
                if verdict.outcome == "tolerated":
                    let_pass.update(verdict.differences)
                if verdict.outcome in ("missed", "false alarm"):
                    shown[verdict.outcome, mutant.kind] += 1
                    if shown[verdict.outcome, mutant.kind] <= 4:
                        lines = mutant.text.splitlines()
                        near = lines[max(0, mutant.line - 2) : mutant.line + 1]
                        print(f"{verdict.outcome}: {mutant.kind}: {name}, {post}: {near}")
                        print(f"    {verdict.differences} {verdict.codes[:3]}")
    columns = ("found", "missed", "passed", "false alarm", "tolerated", "at a border")
    print(f"{'kind':30}" + "".join(f"{c:>13}" for c in columns) + f"{'share found':>13}")
    for kind, counts in [*sorted(table.items()), ("all", sum(table.values(), Counter[str]()))]:
        material = counts["found"] + counts["missed"]
        share = f"{counts['found'] / material:12.1%}" if material else " " * 12
        print(f"{kind:30}" + "".join(f"{counts[c]:13}" for c in columns) + f" {share}")
    print("tolerated:", *(f"{n} {what}" for what, n in let_pass.most_common()), sep="\n  ")


if __name__ == "__main__":
    sys.exit(main())
