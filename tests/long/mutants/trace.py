"""What a text makes the rolls do in the work, what happens in air, what is left on at the end."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import NamedTuple

from tests.long.mutants.figures import DEPTH_MM, ROOM_BORDER_MM, ROOM_MM, figures_of
from tests.long.mutants.programs import Program, entry_of, text_of
from tests.support.naive import HOME, NIST, Naive, State

IN_FORCE = ("spindle", "coolant", "station", "offset", "speeds")
"""What must stay as it is while the rolls are in the work; the speed is compared as a number."""

ALONG = ("headstock", "tailstock")

SURE_CRESTS, ANY_CRESTS, CRESTS_MM = 0.8, 1.15, 0.02
"""Shares of the reckoned rise that crests surely have and may have, and [mm] what is added."""

ACTED_ON = re.compile(r"\s*((MSG|DEBUG|PRINT|LOG|PROBE)\s*,|(LOG|PROBE)(OPEN|APPEND|CLOSE)\b)")
"""Comments in which controls look for orders (a message: NISTIR 6556, 3.3.4)."""

SAFE_MM, AT_SAFE_MM, OFF_SAFE_MM = 0.02, 0.017, 0.023
"""X on the diameter, or Z: as far inside the safe position is at it, further is elsewhere."""

BESIDE_MM = 0.12
"""Along Z: so near a face a rapid may be called too near, though it does not meet it."""

FASTER_BORDER = (0.999, 1.001)
"""Shares of the tolerance of the speed between which it may be called either."""

SETTLED_MM = 0.5
"""A way in which the spindle may have come to another speed; a shorter one is at the border."""

STATED = {"G18", "G40", "G61", "G92.2", "G54"}
"""What the dialects of NISTIR 6556 state: a control may have been left in something else."""

MINUTE_S = 60.0

Way = tuple[tuple[float, float], ...]


class Segment(NamedTuple):
    """A stretch of the way in the work that goes on in the same manner."""

    what: str
    depth: float
    z: float
    feeds: tuple[float, float]
    seconds: float
    state: tuple[object, ...]
    rpm: float
    start: float
    """Depth where it begins"""
    feed_counts: bool
    """Whether any of its moves is long enough for a feed to matter"""
    way: Way = ()
    """X and Z of its blocks where the slide follows the work"""


@dataclass
class Trace:
    """What a text does."""

    contacts: list[list[Segment]] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    """What no good program does; a question mark before what is at a border."""
    air: list[tuple[object, ...]] = field(default_factory=list)
    stops: list[tuple[int, str]] = field(default_factory=list)
    """After so many contacts: M00 or M01"""
    limits: list[tuple[int, float]] = field(default_factory=list)
    """After so many contacts: the limit"""
    end: tuple[object, ...] = ()
    modes: tuple[object, ...] = ()
    """Units, distance, feed and speed mode that the text leaves behind"""
    rpm: float | None = None
    """... and S"""
    place: tuple[float, float] = (0.0, 0.0)


class Tracer(Naive):
    """Carries a text out and keeps what it does, with the figures of the job's plan."""

    def __init__(self, program: Program, *, skip: bool = False) -> None:
        self.figures = figures = figures_of(program.name)
        self.plan, self.job = figures.plan, figures.job
        super().__init__(program.post, self.job.part.number, program.form, skip=skip)
        self.trace = Trace()
        if self.form == "blocks":  # the program that they are pasted into has called the tool
            tool = self.job.tool
            self.state = State(station=tool.station, offset=tool.offset_number)
        elif self.form == "section":
            self.state = entry_of(program)
        self.found_limit = self.state.limit
        """Speed limit of the part program around"""
        self.touching = False
        self.called_with = self.state.station, self.state.offset
        self.moves = 0
        self.fresh: set[str] = set()
        """Which of speed, spindle and coolant the block that is carried out has changed"""
        self.last: list[float | None] = [None, None]
        """Where X and Z stood, also where another offset has made their words unsure"""
        self.crests: list[tuple[float, float, float, float]] = []
        """From, to (Z), X below which there surely are crests, and X beyond which there are none"""
        self.maybe_wet = False
        self.way = 0.0
        """How far the slide has gone in the block that is carried out"""
        self.unsettled: dict[str, bool] = {}
        """What of the spindle has changed since the last way, and whether surely"""
        self.to_call: set[str] = set()
        """Which of tool and offset have not been called since the last stop"""
        self.waited = 0.0
        """Seconds of the dwells in air since the last way"""
        self.slight = figures.slight(program.post)

    def fault(self, what: str) -> None:
        self.trace.faults.append(what)

    # -- text --------------------------------------------------------------------------

    def commented(self, text: str) -> None:
        said = re.fullmatch(r"JOB ([0-9A-F]{12})", text)
        if said and said[1] != self.job.identity:
            digits = [int(digit, 16) for digit in said[1]]
            weighed = sum(place * digit for place, digit in enumerate(digits[:10], start=1))
            if weighed % 251 == 16 * digits[10] + digits[11]:  # else it is a mistyped digit
                self.fault("another job")
        if ACTED_ON.match(text.upper()):
            self.fault("a comment that a control acts on")

    def doubted(self, what: str) -> None:
        self.fault("?" + what)

    def line(self, line: str) -> bool:
        self.fresh, self.way = set(), 0.0
        ends = super().line(line)
        if self.way > 1e-6:
            self.settle()
        return ends

    def settle(self) -> None:
        """A way gives the spindle time; S in the block of it may count only behind it."""
        self.waited = 0.0
        if self.way < SETTLED_MM:
            self.unsettled = dict.fromkeys(self.unsettled, False)
        else:
            self.unsettled = {name: False for name in self.unsettled if name in self.fresh}

    def ended(self) -> None:
        state = self.state
        offset = 0 if self.form == "blocks" else state.offset or 0
        self.trace.end = state.spindle, state.coolant, offset
        x, z = (math.nan if place is None else place for place in self.last)
        self.trace.place = x, z
        self.trace.modes = state.units, state.distance, state.feeds, state.speeds
        self.trace.rpm = state.rpm
        if self.found_limit is not None and not any(n == 0 for n, _ in self.trace.limits):
            self.trace.limits.insert(0, (0, self.found_limit))
        if self.maybe_wet:
            self.fault("?coolant that an optional stop may have ended")
        tool = self.job.tool
        ours = (tool.station, tool.offset_number)
        if self.form == "blocks" and (state.station, state.offset) != ours:
            self.fault("another tool at the end of what is pasted")
        if self.touching:
            self.fault("ends in the work")
        if self.after_end:
            self.fault("text after the end")
        if not self.numbers_rise:
            self.fault("block numbers do not rise")

    # -- what is in force --------------------------------------------------------------

    def state_set(self, before: State) -> None:
        state = self.state
        if state == before:
            return
        names = "rpm", "spindle", "coolant"
        self.fresh = {name for name in names if getattr(state, name) != getattr(before, name)}
        if not self.job.process.coolant:
            self.fresh -= {"coolant"}
        if state.coolant != before.coolant:
            self.maybe_wet = False
        small = abs((state.rpm or 0.0) - (before.rpm or 0.0)) < 0.06 * (state.rpm or 0.0)
        for name in self.fresh & {"rpm", "spindle"}:
            self.unsettled[name] = self.unsettled.get(name, False) or name != "rpm" or not small
        if state.spindle != "off":
            self.turning(state)
        if self.touching and self.in_force(state) != self.in_force(before):
            self.segment("dwell")

    def in_force(self, state: State) -> tuple[object, ...]:
        return (*(getattr(state, name) for name in IN_FORCE), state.rpm)

    def turning(self, state: State) -> None:
        machine = self.job.machine
        if state.rpm is None:
            self.fault("no speed stated")
        elif state.rpm > machine.max_spindle_speed + 0.5:
            self.fault("machine overrun")
        else:
            self.faster(state.rpm)
        if state.spindle != machine.spindle_direction:
            self.fault("the spindle turns the wrong way")
        if state.speeds == "surface":
            self.fault("surface speed while the spindle turns")

    def faster(self, rpm: float) -> None:
        """A centre and a chuck turn as fast with the rolls clear."""
        planned = self.plan.programmed_rpm
        over = (rpm - planned) / max(0.05 * planned, 0.5)
        if over > FASTER_BORDER[0]:
            self.fault("?" * (over < FASTER_BORDER[1]) + "faster than planned in air")

    def set(self, does: tuple[str, ...], values: Mapping[str, str]) -> None:
        super().set(does, values)
        if "T" in values or "change" in does:
            self.turret(values.get("T"), turns="change" in does or self.post not in NIST)
        if "change" in does or ("T" in values and self.post not in NIST):
            self.to_call -= {"tool"}
        if "offset on" in does or ("T" in values and self.post not in NIST):
            self.to_call -= {"offset"}

    def turret(self, text: str | None, *, turns: bool) -> None:
        """The turret turns at a change, or at T; where T only chooses, it may be another one."""
        elsewhere = self.elsewhere()
        if elsewhere is not None:
            border = elsewhere if turns else "?"
            self.fault(border + "a tool is called elsewhere than at the safe position")
        if text is not None:
            station = int(text) if self.post in NIST else int(text.zfill(4)[:2])
            if station != self.job.tool.station:
                self.fault("a foreign tool is called" if station else "?no tool is called")

    def elsewhere(self) -> str | None:
        """Whether the slide stands inside the safe position: surely (nothing), or perhaps (?)."""
        if self.form == "section" and None in self.last:
            return ""  # where the tool before it stands
        inside = [
            safe - place
            for place, safe in zip(
                self.last, (self.figures.safe_x, self.figures.safe_z), strict=True
            )
            if place is not None  # else it has not moved from there since the start
        ]
        far = max([0.0, *inside])
        return None if far < AT_SAFE_MM else "?" if far < OFF_SAFE_MM else ""

    def called(self) -> None:
        if self.last[0] is not None and self.last[0] < self.figures.safe_x - SAFE_MM:
            self.fault("a tool or its offset is called near the work")
        elif self.elsewhere() is not None:
            self.fault("?an offset is called over the work")
        if self.state.offset not in (None, 0, self.job.tool.offset_number):
            self.fault("?another offset is called")
        called = self.state.station, self.state.offset
        if called != self.called_with:
            self.x, self.z = (place if place == HOME else None for place in (self.x, self.z))
        self.called_with = called

    def limited(self, rpm: float) -> None:
        self.trace.limits.append((len(self.trace.contacts), rpm))

    # -- motion ------------------------------------------------------------------------

    def target(self, values: Mapping[str, str]) -> tuple[float | None, float | None]:
        for place, letter in ((self.x, "U"), (self.z, "W")):
            if place in (None, HOME) and float(values.get(letter, "0")):
                self.fault("an increment from nobody knows where")
        return super().target(values)

    def segment(
        self, what: str, seconds: float = 0.0, start: float | None = None, way: Way = ()
    ) -> None:
        """Go on in the same manner, or begin another segment."""
        x, z = self.last
        assert x is not None
        assert z is not None
        state, rpm = self.watched(), self.state.rpm or 0.0
        feed = -1.0 if self.state.feed is None else self.state.feed
        depth = self.figures.depth(x, z)
        start = depth if start is None else start
        counts = what not in ("in", "ease") or abs(depth - start) >= self.slight
        feeds = (0.0, 0.0) if what == "dwell" else (feed, feed)
        new = Segment(what, depth, z, feeds, seconds, state, rpm, start, counts, way)
        run = self.trace.contacts[-1]
        old = run[-1] if run else None
        same = old and (old.what == what or (old.what, what) == ("ease", "out"))
        if old and same and (old.state, old.rpm) == (state, rpm):
            run[-1] = _joined(old, new)
        elif what != "dwell" or seconds or (old and (old.state, old.rpm) != (state, rpm)):
            run.append(new)

    def watched(self) -> tuple[object, ...]:
        """What is in force in the work, but for the speed."""
        state = self.state
        if self.job.process.coolant or state.coolant == "dry":
            return tuple(getattr(state, name) for name in IN_FORCE)
        self.fault("coolant in the work where the job asks for none")
        return tuple("dry" if name == "coolant" else getattr(state, name) for name in IN_FORCE)

    def dwelt(self, seconds: float) -> None:
        if self.touching:
            self.segment("dwell", seconds)
            return
        self.waited += seconds
        if self.waited > MINUTE_S - 0.5:
            border = "" if self.waited > MINUTE_S + 0.5 else "?"
            self.fault(border + "a dwell over a minute in air")
        if self.waited >= 1.0:
            self.unsettled = dict.fromkeys(self.unsettled, False)

    def moved(
        self, kind: str, x0: float | None, z0: float | None, x1: float | None, z1: float | None
    ) -> None:
        self.modes(kind)
        self.moves += 1
        for a, b, factor in ((x0, x1, 2.0), (z0, z1, 1.0)):
            if a != b:
                self.way += math.inf if a is None or b is None else abs(b - a) / factor
        self.tool_faults(kind, out=self.outward(x1, z0, z1))
        another = self.leaves_another()
        for i, place in enumerate((x1, z1)):
            self.last[i] = self.last[i] if place is None else place
        if kind == "reference" and self.post in NIST:
            self.fault("goes where a parameter of the control leads")
        if kind == "reference":
            self.referred(x0, z0, x1, z1)
            return
        self.room(x1, z1)
        stays_away = x1 is not None and x1 >= self.figures.safe_x - SAFE_MM
        if x0 is None and z1 != z0:
            far = stays_away and z1 is not None and z1 > self.figures.safe_z - 0.02
            if another:
                self.fault("the tool before goes along before it is out")
            elif not far:
                self.fault("?" * stays_away + "Z moves before X is known")
        if z0 is None and x1 is not None and x1 < self.figures.safe_x - SAFE_MM:
            self.fault("X goes in before Z is known")
        if kind == "feed" and not (self.state.feed or 0.0) > 0.0 and (x0, z0) != (x1, z1):
            self.fault("no feed")
        stands = self.state.spindle == "off" or "spindle" in self.fresh
        if kind == "feed" and self.state.feeds == "a turn" and stands and (x0, z0) != (x1, z1):
            self.fault("feed per revolution at standstill")
        x1 = math.inf if x1 is None else x1
        x0 = x1 if x0 is None else x0
        if z1 is None:
            return
        z0 = z1 if z0 is None else z0
        if math.hypot(x1 - x0, z1 - z0) >= 1e-6 or x1 == HOME:
            self.one_move(kind, x0, z0, x1, z1)

    def one_move(self, kind: str, x0: float, z0: float, x1: float, z1: float) -> None:
        figures, low = self.figures, min(x0, x1)
        over = figures.over(z0, z1)
        hits = over and low < self.surface(z0, z1) - 0.002
        if over and not hits and any(low < x for x in self.near_crests(z0, z1)):
            self.fault("?near the crests")
        self.surroundings(kind, low, z0, z1)
        past = figures.tailstock and figures.edges(max(z0, z1))[0] > 0.02
        if past and low < figures.safe_x - SAFE_MM and (abs(z1 - z0) > 1e-6 or x1 < x0):
            self.fault("passes the tailstock")
        if kind == "rapid" and over and low < figures.clear_x - 0.01:
            self.fault("rapid in the work" if hits else "rapid below clearance")
        if hits:
            self.in_work(kind, x0, z0, x1, z1)
            return
        self.trace.air.append((kind, round(x1, 3), round(z1, 3)))
        if self.trace.contacts and abs(z1 - z0) > 1e-6 and low < figures.safe_x - SAFE_MM:
            self.trace.air.append(("z before x", len(self.trace.contacts)))

    def surroundings(self, kind: str, low: float, z0: float, z1: float) -> None:
        """Chuck, centre and thicker steps."""
        figures = self.figures
        left, right = figures.edges(min(z0, z1))[0], figures.edges(max(z0, z1))[1]
        if left < -self.job.part.length - 0.02 and low < figures.safe_x - SAFE_MM:
            self.fault("meets the chuck")
        near_chuck = left < self.job.machine.clearance - self.job.part.length + 0.02
        if kind == "rapid" and near_chuck and low < figures.safe_x - SAFE_MM:
            self.fault("?near the chuck")
        if kind == "rapid" and -1e-6 <= left < BESIDE_MM and low < figures.clear_x:
            self.fault("?beside the end of the work")
        beyond = right > 0.02
        if figures.centre and beyond and low < figures.touch_x:
            reach = figures.blank - figures.rigid_depth(low)
            if reach < figures.centre - 0.01:
                self.fault("meets the centre")
        for a, b, touch in figures.shoulders:
            beside = min(right, b) - max(left, a)
            if -BESIDE_MM < beside <= 0.02 and kind == "rapid" and low < touch - 0.004:
                self.fault("a rapid along a shoulder" if beside > -1e-6 else "?beside a shoulder")
            if beside > 0.02:
                if low < touch - 0.004:
                    self.fault("meets a shoulder")
                elif kind == "rapid" and low < touch + 2 * self.job.machine.clearance - 0.01:
                    self.fault("rapid below clearance")

    def room(self, x: float | None, z: float | None) -> None:
        """Judge where a move ends, in air or not."""
        figures = self.figures
        for place, (low, high), factor in ((x, figures.room_x, 2), (z, figures.room_z, 1)):
            if place not in (None, HOME):
                beyond = max(low - place, place - high) / factor - ROOM_MM
                if beyond > -ROOM_BORDER_MM:
                    border = "?" if beyond < ROOM_BORDER_MM else ""
                    self.fault(f"{border}outside the known room")

    def in_work(self, kind: str, x0: float, z0: float, x1: float, z1: float) -> None:
        figures, contacts = self.figures, self.trace.contacts
        if not self.touching:
            contacts.append([])
            if self.fresh:
                self.fault("speed or coolant comes too late for the work")
            elif self.unsettled:
                sure = any(self.unsettled.values())
                self.fault("?" * (not sure) + "the spindle changes just before the work")
            if self.to_call:
                self.fault("tool or offset not called after a stop")
        inside = figures.over(z1, z1) and x1 < self.surface(z1, z1) - 0.002
        stays, along = self.touching and inside, abs(z1 - z0) > 1e-6
        step = abs(figures.rigid_depth(x1) - figures.rigid_depth(x0))
        if stays and kind == "feed" and not along and step < 0.002:
            return  # below what a control can tell; depths are compared, not steps
        what = self.way_of(x0, z0, x1, z1, stays=stays)
        if figures.work and stays and not along and contacts[-1]:
            last = contacts[-1][-1].what
            if last in ALONG and abs(figures.depth(x1, z1) - figures.depth(x0, z0)) < self.slight:
                what = last  # as much as the chords leave the line
                self.fault("?a step on the way along")
        self.touching = inside
        self.grow(min(z0, z1), max(z0, z1), max(figures.depth(x0, z0), figures.depth(x1, z1)))
        self.segment(
            f"rapid {what}" if kind == "rapid" else what,
            start=figures.depth(x0, z0),
            way=((x0, z0), (x1, z1)) if figures.work else (),
        )
        machine_rpm = max(self.plan.speed_limit_rpm, self.plan.programmed_rpm)
        if (self.state.rpm or 0.0) > machine_rpm + 0.5:
            self.fault("too fast in the work")

    def grow(self, z0: float, z1: float, depth: float) -> None:
        """Let crests stand up where the rolls have been."""
        figures = self.figures
        if depth < 0.002:
            return
        rise = figures.rise(round(depth, 4))
        most = max(rise, figures.plan.rise_mm)
        sure = figures.x_at(figures.blank + SURE_CRESTS * rise)
        none = figures.x_at(figures.blank + ANY_CRESTS * most + CRESTS_MM)
        left, right = figures.edges(z0)[0], figures.edges(z1)[1]
        for i, (a, b, x, y) in enumerate(self.crests):
            if left <= b and right >= a and abs(x - sure) < CRESTS_MM:
                self.crests[i] = min(left, a), max(right, b), max(x, sure), max(y, none)
                return
        self.crests.append((left, right, sure, none))

    def under(self, z0: float, z1: float) -> Iterator[tuple[float, float]]:
        left, right = self.figures.edges(min(z0, z1))[0], self.figures.edges(max(z0, z1))[1]
        for a, b, sure, none in self.crests:
            if min(right, b) - max(left, a) > 0.02:
                yield sure, none

    def surface(self, z0: float, z1: float) -> float:
        """X below which the rolls surely touch the blank or what has grown on it."""
        return max([self.figures.touch_x, *(sure for sure, _ in self.under(z0, z1))])

    def near_crests(self, z0: float, z1: float) -> list[float]:
        return [none for _, none in self.under(z0, z1)]

    def way_of(self, x0: float, z0: float, x1: float, z1: float, *, stays: bool) -> str:
        """Name the kind of a move in the work."""
        figures = self.figures
        if abs(z1 - z0) <= 1e-6:
            return "in" if x1 < x0 else "ease" if stays else "out"
        if not stays:
            return "sideways"
        step = abs(figures.depth(x1, z1) - figures.depth(x0, z0))
        if not figures.work and step >= DEPTH_MM:
            return "slant"
        if not figures.work and step >= 0.8 * figures.tolerance(self.post, x1):
            self.fault("?slant")
        return "headstock" if z1 < z0 else "tailstock"

    def referred(
        self, x0: float | None, z0: float | None, x1: float | None, z1: float | None
    ) -> None:
        if self.touching:
            self.fault("rapid in the work")
            self.touching = False
        goes_along = z1 == HOME and z0 != HOME
        if goes_along and x0 is None:
            both = x1 == HOME and self.last == [HOME, HOME]  # at first, from the safe position
            both = both and self.form != "section"
            self.fault("?" * both + "Z goes home before X is known")
        if goes_along and x0 is not None and x0 < self.figures.safe_x - SAFE_MM:
            self.fault("Z before X")

    def modes(self, kind: str) -> None:
        state = self.state
        wanted = {
            "units": self.job.units,
            "feeds": "a minute" if self.post == "rs274" else "a turn",
        }
        if self.post == "rs274-turning":
            wanted["xs"] = "diameters"
        if self.post != "uw-lathe":
            wanted["distance"] = "absolute"
        if self.post != "rs274" and not self.moves:
            wanted["speeds"] = "speed"
        if self.post in NIST and not self.stated >= STATED:
            self.fault(f"not stated: {sorted(STATED - self.stated)}")
        for name, value in wanted.items():
            if getattr(state, name) != value:
                border = "?" if kind == "reference" else ""  # no feed, and seldom a length
                self.fault(f"{border}{name}: {getattr(state, name)}")

    def leaves_another(self) -> bool:
        """Whether it is another tool, that may stand anywhere, which moves."""
        return self.form == "section" and self.last[0] is None

    def outward(self, x1: float | None, z0: float | None, z1: float | None) -> bool:
        """Whether a move ends at safe X or further out, and not closer to the chuck there."""
        if x1 is None or x1 < self.figures.safe_x - SAFE_MM:
            return x1 is None
        return z0 is None or z1 is None or z1 >= min(z0, self.figures.safe_z - SAFE_MM)

    def tool_faults(self, kind: str, *, out: bool) -> None:
        """No axis moves but with our tool and offset, or to the reference point before them.

        A section takes the tool before it out of the way first, with the offset of that one.
        """
        tool, state = self.job.tool, self.state
        uncalled = (state.station, state.offset) == (None, None)
        if uncalled and (kind == "reference" or (self.form == "section" and out)):
            return
        if state.station != tool.station:
            self.fault("another tool")
        if state.offset != tool.offset_number:
            self.fault("another offset")

    def stopped(self, word: str) -> None:
        self.trace.stops.append((len(self.trace.contacts), word))
        if self.touching:
            self.fault("stop in the work")
        elif self.state.spindle != "off":
            self.fault("stop with the spindle turning")
        if self.state.coolant == "wet":
            self.fault("stop with the coolant running")
        elsewhere = self.elsewhere()
        if self.form == "section" and None in self.last:
            elsewhere = "?"  # the tool before it has stopped there
        if elsewhere is not None:
            self.fault(elsewhere + "stop elsewhere than at the safe position")

    def ended_by_stop(self, word: str) -> None:
        """The setter may jog both axes and turn the turret by hand."""
        if word == "M01" and self.state.coolant == "wet":
            self.maybe_wet = True
        super().ended_by_stop(word)
        self.x = self.z = None
        self.to_call = {"tool", "offset"}
        self.waited = 0.0


def _joined(old: Segment, new: Segment) -> Segment:
    """Return two stretches that go on in the same manner as one."""
    feeds = min(old.feeds[0], new.feeds[0]), max(old.feeds[1], new.feeds[1])
    if old.feed_counts != new.feed_counts:
        feeds = old.feeds if old.feed_counts else new.feeds
    return new._replace(
        feeds=feeds,
        seconds=old.seconds + new.seconds,
        start=old.start,
        feed_counts=old.feed_counts or new.feed_counts,
        way=old.way + new.way[1:],
    )


def trace_of(program: Program, text: str, *, skip: bool = False) -> tuple[Trace, bool]:
    """Return what a text does, and whether it has blocks with a slash.

    Raises:
        NotUnderstoodError: if nobody knows what a control makes of it.
    """
    tracer = Tracer(program, skip=skip)
    tracer.run(text)
    return tracer.trace, tracer.slashes


@cache
def good_trace(program: Program) -> Trace:
    """Return what the good program does."""
    return trace_of(program, text_of(program))[0]
