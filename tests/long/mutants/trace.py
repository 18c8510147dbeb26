"""What a text makes the rolls do in the work, what happens in air, what is left on at the end."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import NamedTuple

from knurlcam.errors import OutOfRangeError
from tests.long.mutants.programs import Program, plan_of, text_of
from tests.support.naive import HOME, Naive, State

IN_FORCE = ("spindle", "coolant", "station", "offset", "speeds")
"""What must stay as it is while the rolls are in the work; the speed is compared as a number."""

ROOM_MM, ROOM_BORDER_MM = 25.0, 0.1
"""Slide travel beyond the safe position, the chuck's face and the deepest pass: further out
nobody has said that there is room."""


ALONG = ("headstock", "tailstock")

DEPTH_MM, DEPTH_SHARE, DEPTH_INCREMENTS = 0.01, 0.03, 2
"""As deep as planned: within so much, or such a share of the full depth if that is less, but
never less than so many increments of X."""

SLIGHT = 1.15
"""A step of less than so many of these tolerances is none, or at the border of being one."""

SURE_CRESTS, ANY_CRESTS, CRESTS_MM = 0.8, 1.15, 0.02
"""Shares of the reckoned rise that crests surely have and may have, and [mm] what is added."""

ACTED_ON = re.compile(r"\s*(MSG|DEBUG|PRINT|LOG|LOGOPEN|LOGAPPEND|LOGCLOSE|PROBEOPEN|PROBECLOSE)\b")
"""Comments in which controls look for orders (a message: NISTIR 6556, 3.3.4)."""

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
    place: tuple[float, float] = (0.0, 0.0)


class Figures:
    """What a plan says of the job, as formulas of the slide's X and Z."""

    def __init__(self, name: str) -> None:
        self.plan = plan = plan_of(name)
        self.job = job = plan.job
        contact = plan.contact
        self.blank, self.roll = contact.blank_radius_mm, contact.roll_radius_mm
        self.v = contact.half_spacing_mm
        self.first_touch = self.across(self.blank)
        self.roll_centre = contact.x_datum == "roll centre"
        self.face = job.tool.face_width
        self.full_height = plan.tooth_height_mm / plan.fullness
        self.left_of = {"left edge": 0.0, "centre": 0.5, "right edge": 1.0}[job.tool.z_datum]
        self.touch_x = self.x_at(self.blank)
        self.clear_x = self.touch_x + 2 * job.machine.clearance
        self.safe_x, self.safe_z = job.machine.safe_x, job.machine.safe_z
        centre = job.holding.centre_diameter
        self.centre = centre / 2 if centre and job.holding.method != "chuck" else None
        deepest = min(
            [p.x_diameter_mm for p in plan.passes] + [x for p in plan.passes for _, x in p.follow]
        )
        self.room_x = deepest, self.safe_x
        face = -job.part.length + self.left_of * self.face
        # Along the chuck there is no room at all.
        self.room_z = face + ROOM_MM, max(self.safe_z, *(p.z_start_mm for p in plan.passes))
        self.tailstock = job.holding.held_by != "none"
        self.shoulders = list(self.thicker_steps())
        bending = plan.estimate.deflection if plan.follows and plan.estimate else None
        self.work = bending.work if bending else None
        self.deep: dict[tuple[float, float], float] = {}

    def across(self, radius: float) -> float:
        """From the axis to the rolls' centre where they touch work of a radius."""
        return math.sqrt((radius + self.roll) ** 2 - self.v**2)

    def x_at(self, radius: float) -> float:
        """X where the rolls touch work of a radius."""
        across = self.across(radius)
        return 2 * (across if self.roll_centre else self.blank - self.first_touch + across)

    def slide(self, x: float) -> float:
        """From the axis to the rolls' centre."""
        return x / 2 if self.roll_centre else self.first_touch - self.blank + x / 2

    def depth(self, x: float, z: float) -> float:
        """How deep the rolls come, the work's giving way counted where the slide follows it."""
        across = self.slide(x)
        if self.work is not None and z > -1e6:
            known = self.deep.get((x, z))
            if known is None:
                known = self.deep[x, z] = self.held_depth(across, self.edges(z)[0])
            return known
        return self.rigid_depth(x)

    def held_depth(self, across: float, left: float) -> float:
        assert self.work is not None
        try:
            return self.work.penetration_mm(across, left)
        except OutOfRangeError:
            return 2 * self.blank  # the formula ends long before that

    def rigid_depth(self, x: float) -> float:
        across = self.slide(x)
        over = max(0.0, -across)
        return self.blank + self.roll - math.hypot(max(across, 0.0), self.v) + over

    def pressed(self, height: float) -> float:
        """Penetration for a tooth height: no chips are made, what is pressed in stands above."""
        full, form = self.full_height, str(self.plan.knurl.form)
        if form in ("RGE", "RKE"):  # two families of grooves
            return full / 3 * (1 - (1 - height / full) ** 3)
        if form in ("RGV", "RKV"):  # pits
            return height - height**3 / (3 * full**2)
        return height - height**2 / (2 * full)

    def rise(self, depth: float) -> float:
        """How far crests stand above the blank where the rolls have come so deep."""
        low, high = 0.0, self.full_height
        for _ in range(30):
            middle = (low + high) / 2
            low, high = (middle, high) if self.pressed(middle) < depth else (low, middle)
        return low - self.pressed(low)

    def tolerances(self, post: str, x: float) -> tuple[float, float]:
        """Penetration that is as planned, by the planned depth and by the full profile's."""
        step = {True: 0.0001 * 25.4, False: 0.001}[self.job.units == "inch"]
        if post == "rs274":
            step = 2 * (0.00001 * 25.4 if self.job.units == "inch" else 0.0001)
        least = abs(self.rigid_depth(x) - self.rigid_depth(x + DEPTH_INCREMENTS * step))
        planned = max(p.penetration_mm for p in self.plan.passes)
        shares = DEPTH_SHARE * planned, DEPTH_SHARE * self.pressed(self.full_height)
        low, high = (max(least, min(DEPTH_MM, share)) for share in shares)
        return low, high

    def slight(self, post: str) -> float:
        """A step of less penetration is none, or at the border of being one."""
        share = DEPTH_MM if self.work else self.tolerances(post, self.touch_x)[1]
        return SLIGHT * share

    def edges(self, z: float) -> tuple[float, float]:
        left = z - self.left_of * self.face
        return left, left + self.face

    def over(self, z0: float, z1: float) -> bool:
        """Whether the face overlaps the work anywhere between two Z."""
        left, right = self.edges(min(z0, z1))[0], self.edges(max(z0, z1))[1]
        return left < -1e-6 and right > -self.job.part.length + 1e-6

    def thicker_steps(self) -> list[tuple[float, float, float]]:
        """Where the work is thicker than the blank: from, to (Z), and X where the rolls touch."""
        knurl, found, at = self.job.knurl, [], 0.0
        line = knurl.start + knurl.length
        for diameter, length in self.job.part.steps or ():
            low, high, at = at, at + length, at + length
            for a, b in ((low, min(high, knurl.start)), (max(low, line), high)):
                if b > a and diameter / 2 > self.blank:
                    found.append((-b, -a, self.x_at(diameter / 2)))
        return found


figures_of = cache(Figures)


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
            border = "" if self.post == "rs274" else "?"
            self.fault(border + "a comment that a control acts on")

    def doubted(self, what: str) -> None:
        self.fault("?" + what)

    def line(self, line: str) -> bool:
        self.fresh = set()
        return super().line(line)

    def ended(self) -> None:
        state = self.state
        offset = 0 if self.form == "blocks" else state.offset or 0
        self.trace.end = state.spindle, state.coolant, offset
        x, z = (math.nan if place is None else place for place in self.last)
        self.trace.place = x, z
        if self.form != "program":
            self.trace.modes = state.units, state.distance, state.feeds, state.speeds
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
        if state.spindle != machine.spindle_direction:
            self.fault("the spindle turns the wrong way")
        if state.speeds == "surface":
            self.fault("surface speed while the spindle turns")

    def called(self) -> None:
        if self.last[0] is not None and self.last[0] < self.figures.safe_x - 0.01:
            self.fault("a tool or its offset is called near the work")
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
        elif seconds > MINUTE_S - 0.5:
            border = "" if seconds > MINUTE_S + 0.5 else "?"
            self.fault(border + "a dwell over a minute in air")

    def moved(
        self, kind: str, x0: float | None, z0: float | None, x1: float | None, z1: float | None
    ) -> None:
        self.modes(kind)
        self.moves += 1
        self.tool_faults(kind)
        for i, place in enumerate((x1, z1)):
            self.last[i] = self.last[i] if place is None else place
        if kind == "reference":
            self.referred(x0, z0, x1, z1)
            return
        self.room(x1, z1)
        stays_away = x1 is not None and x1 >= self.figures.safe_x - 0.01
        if x0 is None and z1 != z0:
            far = stays_away and z1 is not None and z1 > self.figures.safe_z - 0.02
            if not far:
                self.fault("?" * stays_away + "Z moves before X is known")
        if z0 is None and x1 is not None and x1 < self.figures.safe_x - 0.01:
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
        if past and low < figures.safe_x - 0.01 and (abs(z1 - z0) > 1e-6 or x1 < x0):
            self.fault("passes the tailstock")
        if kind == "rapid" and over and low < figures.clear_x - 0.01:
            self.fault("rapid in the work" if hits else "rapid below clearance")
        if hits:
            self.in_work(kind, x0, z0, x1, z1)
            return
        self.trace.air.append((kind, round(x1, 3), round(z1, 3)))
        if self.trace.contacts and abs(z1 - z0) > 1e-6 and low < figures.safe_x - 0.01:
            self.trace.air.append(("z before x", len(self.trace.contacts)))

    def surroundings(self, kind: str, low: float, z0: float, z1: float) -> None:
        """Chuck, centre and thicker steps."""
        figures = self.figures
        left, right = figures.edges(min(z0, z1))[0], figures.edges(max(z0, z1))[1]
        if left < -self.job.part.length - 0.02 and low < figures.safe_x - 0.01:
            self.fault("meets the chuck")
        beyond = right > 0.02
        if figures.centre and beyond and low < figures.touch_x:
            reach = figures.blank - figures.rigid_depth(low)
            if reach < figures.centre - 0.01:
                self.fault("meets the centre")
        for a, b, touch in figures.shoulders:
            if min(right, b) - max(left, a) > 0.02:
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
        if not figures.work and step >= 0.8 * figures.tolerances(self.post, x1)[0]:
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
            self.fault("?" * both + "Z goes home before X is known")
        if goes_along and x0 is not None and x0 < self.figures.safe_x - 0.01:
            self.fault("Z before X")

    def modes(self, kind: str) -> None:
        state = self.state
        wanted = {
            "units": self.job.units,
            "feeds": "a minute" if self.post == "rs274" else "a turn",
        }
        if self.post != "uw-lathe":
            wanted["distance"] = "absolute"
        if self.post != "rs274" and not self.moves:
            wanted["speeds"] = "speed"
        for name, value in wanted.items():
            if getattr(state, name) != value:
                border = "?" if kind == "reference" else ""  # no feed, and seldom a length
                self.fault(f"{border}{name}: {getattr(state, name)}")

    def tool_faults(self, kind: str) -> None:
        """No axis moves but with our tool and offset, or to the reference point before them."""
        tool, state = self.job.tool, self.state
        if kind == "reference" and (state.station, state.offset) == (None, None):
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
        self.hands()

    def ended_by_stop(self, word: str) -> None:
        if word == "M01" and self.state.coolant == "wet":
            self.maybe_wet = True
        super().ended_by_stop(word)

    def hands(self) -> None:
        """Hands go in at a stop: the rolls stand clear by more than the clearance."""
        figures, clear = self.figures, self.job.machine.clearance
        x, z = self.last
        if x is None or x == HOME or z == HOME:
            return
        if z is not None:
            left, right = figures.edges(z)
            if left > clear + 0.02 or right < -self.job.part.length - clear - 0.02:
                return
        surface = [figures.touch_x, *(x for _, _, _, x in self.crests)]
        surface += [touch for _, _, touch in figures.shoulders]
        if x < figures.clear_x + 0.01:
            self.fault("stop near the work")
        elif x < max(surface) + 2 * clear + 0.05:
            self.fault("?stop near the work")


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
