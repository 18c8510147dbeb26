"""The strokes of the rolls in the work, from touching it to leaving it."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

from knurlcam.gcode.motion import Block, Dwell, Move, State, Stop
from knurlcam.plan.model import Plan
from knurlcam.plan.results import Pass
from knurlcam.verification.depths import Depths
from knurlcam.verification.envelope import Envelope
from knurlcam.verification.feeds import Feeds
from knurlcam.verification.limits import (
    LONG_DWELL,
    LONG_DWELL_IN_AIR_S,
    STILL_MM,
    TOUCH_TOLERANCE_MM,
    Safe,
    code_of_long_dwell,
    least_step,
)
from knurlcam.verification.machine import Machine
from knurlcam.verification.report import Report
from knurlcam.verification.work import Leg, Work

__all__ = ["Contact", "Stroke", "Strokes"]


@dataclass(slots=True)
class Stroke:
    """One step in contact; blocks that go on in the same way are one stroke.

    Attributes:
        kind: ``in``; ``ease``, outward while the rolls stay in the work; ``dwell``, ``along``
            or ``out``.
        block: Its last block.
        z0: Z where it begins [mm]
        z1: ... and where it ends [mm]
        depth: Penetration at its end [mm]
        seconds: Of a dwell [s]
        said: Whether the way in which the work was left, or eased, is a finding already.
        move: Of an ``ease``: its feed is checked where it turns out to be the way out.
        z_block: Of the first: the block that went to its Z.
        least: Of one along the work: least penetration where its blocks end [mm]
        most: ... and the greatest [mm]
        x: Of the way in or out: X where it ends, on the diameter [mm]
    """

    kind: Literal["in", "ease", "dwell", "along", "out"]
    block: Block
    z0: float = 0.0
    z1: float = 0.0
    depth: float = 0.0
    seconds: float = 0.0
    said: bool = False
    move: Move | None = None
    z_block: Block | None = None
    least: float = 0.0
    most: float = 0.0
    x: float = 0.0


@dataclass(slots=True)
class Contact:
    """From touching the work to leaving it.

    Attributes:
        state: What was in force when the rolls touched.
        stops_before: The program's stops since the contact before.
        strokes: Its strokes.
        depth: Penetration that the last infeed reached [mm]
        left: Whether the rolls have left the work.
        kept: How many of its strokes are in the envelope, but for the last, which may go on.
    """

    state: State
    stops_before: tuple[Stop, ...]
    strokes: list[Stroke] = field(default_factory=list)
    depth: float = 0.0
    left: bool = False
    kept: int = 0

    @property
    def first_block(self) -> Block:
        """The block in which the rolls touch."""
        return self.strokes[0].block

    @property
    def traverses(self) -> int:
        """How many strokes go along the work."""
        return sum(s.kind == "along" for s in self.strokes)

    def covers(self, passes: Iterable[Pass]) -> bool:
        """Whether it has as many infeeds and traverses as the passes need."""
        presses = sum(p.presses for p in passes)
        runs = sum(p.direction != "plunge" for p in passes)
        infeeds = sum(s.kind == "in" for s in self.strokes)
        return self.traverses >= runs and infeeds >= presses

    def go_along(self, stroke: Stroke) -> None:
        """Add a stroke along the work, or go on with one that runs the same way."""
        last = self.strokes[-1]
        if last.kind == "along" and (last.z1 - last.z0) * (stroke.z1 - stroke.z0) > 0:
            last.z1, last.depth, last.block = stroke.z1, stroke.depth, stroke.block
            last.least, last.most = min(last.least, stroke.least), max(last.most, stroke.most)
        else:
            self.strokes.append(stroke)

    def go_in(self, stroke: Stroke) -> None:
        """Add an infeed, or go on with one."""
        last = self.strokes[-1]
        if last.kind == "in":
            last.depth, last.block, last.x = stroke.depth, stroke.block, stroke.x
        else:
            self.strokes.append(stroke)
        self.depth = stroke.depth

    def dwell(self, block: Block, seconds: float) -> None:
        """Add a dwell, or go on with one."""
        last = self.strokes[-1]
        if last.kind == "dwell":
            last.seconds += seconds
            last.block = block
        else:
            self.strokes.append(Stroke("dwell", block, last.z1, last.z1, last.depth, seconds))

    def mark(self, crests: Envelope) -> None:
        """Add to an envelope what its strokes have pressed so far."""
        for stroke in self.strokes[self.kept :]:
            crests.add(stroke.z0, stroke.z1, max(stroke.depth, stroke.most))
        self.kept = len(self.strokes) - 1

    def leave(self, leg: Leg, *, said: bool) -> None:
        """Add the way out."""
        self.strokes.append(Stroke("out", leg.block, leg.z1, leg.z1, said=said, x=leg.x1))
        self.left = True


class Strokes:
    """Makes strokes of the legs and dwells in the work, and checks each for itself.

    Attributes:
        contacts: The contacts so far, the last perhaps not left.
        depths: Turns X and Z into penetration.
        tolerance: Within what a penetration is as planned [mm]
        touching: Whether the rolls are in the work.
        stops: The program's stops since the last contact.
        missed: Before the first contact, the infeed that ends before the work and its X, where
            the rolls then feed along it in air; None while there is none.
        along_before_out: After the last contact, the first block that moves Z below safe X,
            and its X; None while there is none.
    """

    __slots__ = (
        "_aim", "_brushed", "_crept", "_dwell_s", "_feeds", "_idle_s", "_least_step", "_machine",
        "_plan", "_report", "_work", "along_before_out", "contacts", "depths", "missed", "stops",
        "tolerance", "touching",
    )  # fmt: skip

    def __init__(
        self,
        plan: Plan,
        work: Work,
        depths: Depths,
        machine: Machine,
        feeds: Feeds,
        report: Report,
    ) -> None:
        self._plan, self._work, self.depths = plan, work, depths
        self.tolerance = depths.tolerance
        self._machine, self._feeds, self._report = machine, feeds, report
        self._least_step, self._dwell_s = least_step(plan, depths.tolerance), plan.dwell_s
        self._crept = self._idle_s = 0.0
        self._aim: tuple[Block, float] | None = None
        self._brushed = False
        self.missed: tuple[Block, float] | None = None
        self.contacts: list[Contact] = []
        self.touching = False
        self.stops: tuple[Stop, ...] = ()
        self.along_before_out: tuple[Block, float] | None = None

    # -- in air --------------------------------------------------------------------

    def go_along_in_air(self, leg: Leg, safe_x: float) -> None:
        """Take a leg along Z that begins in air after a contact."""
        if self.along_before_out is None and leg.x_low < safe_x:
            self.along_before_out = (leg.block, leg.x_low)

    def near(self, leg: Leg) -> None:
        """Take a feed that touches neither blank nor crests; of a larger blank it does."""
        # At the upper limit of its tolerance the blank begins sooner: what must hold in the work
        # must hold from there, or a flat is pressed before the program expects contact.
        largest_x = self._work.largest_x_between(leg.z_low, leg.z_high)
        if not leg.over_work or leg.x_low >= largest_x:
            return
        self._machine.check_running(leg.move.state, leg.block)
        self._machine.check_in_good_time(leg.move.state, leg.block)
        if leg.along:
            mm = self._report.mm
            self._report.say(
                "contact-entered-sideways",
                leg.block,
                f"Z moves at X {mm(leg.x_low)}, the rolls touch a "
                "blank of the largest diameter at X "
                f"{mm(largest_x)}",
            )
            self._brushed = False  # said: the way out has the same cause
        elif leg.dx < 0.0:
            self._brushed = True
            slow = self._feeds.of(leg.move) <= self._feeds.fastest
            self._feeds.check(leg.move, "in", planned=slow)
        elif self._brushed and leg.x1 >= largest_x:
            self._say_brushed(leg.block, largest_x)

    def _say_brushed(self, block: Block, largest_x: float) -> None:
        """Say that the rolls go out again from where only a larger blank is pressed."""
        self._brushed = False
        self._report.say(
            "track-left",
            block,
            "the rolls go out again before the infeed has reached the work; they touch a blank of "
            f"the largest diameter at X {self._report.mm(largest_x)} and print it twice",
        )

    def pass_by(self, leg: Leg) -> None:
        """Take a feed in air: one that should have been in the work explains what comes after."""
        if self.contacts or not leg.over_work:
            return
        if not leg.along:
            self._aim = (leg.block, leg.x1)
        elif self.missed is None and leg.x_low < Safe.of(self._plan).x:
            self.missed = self._aim or (leg.block, leg.x_low)

    @property
    def never_reached(self) -> tuple[Block, float] | None:
        """The infeed that ends before the work where nothing touches it, and its X."""
        return self.missed or self._aim

    def stop(self, stop: Stop) -> None:
        """Take a stop."""
        self.stops += (stop,)

    def dwell(self, dwell: Dwell) -> None:
        """Take a dwell in the work."""
        self._machine.check_running(dwell.state, dwell.block)
        # A time that is not known is a finding of the text; here it is taken as planned.
        self.contacts[-1].dwell(dwell.block, dwell.seconds if dwell.known else self._dwell_s)

    def dwell_in_air(
        self, block: Block, before_s: float, waited_s: float, *, may_touch: bool
    ) -> None:
        """Take a dwell in air; several blocks in one place are one dwell, and one finding.

        Args:
            block: The block that dwells.
            before_s: How long the slide has dwelt in this place before it [s]
            waited_s: ... and with it [s]
            may_touch: Whether the rolls would be in the largest blank there.
        """
        if not self.contacts:
            self.missed = self.missed or self._aim
        planned = self._dwell_s
        code = code_of_long_dwell(waited_s, planned) if may_touch else ""
        if code:
            if code != code_of_long_dwell(before_s, planned):
                self._report.say(
                    code,
                    block,
                    f"a dwell of {waited_s:.3f} s where the rolls touch "
                    "a blank of the largest diameter",
                )
        elif before_s <= LONG_DWELL_IN_AIR_S < waited_s:
            self._report.say("long-dwell-in-air", block, f"a dwell of {waited_s:.3f} s in air")

    # -- touching and leaving --------------------------------------------------------

    def touch(self, leg: Leg) -> None:
        """Take a leg that ends in the work."""
        if leg.along:  # the strokes know only where it ends
            crests, depth = self._work.crests, self.depths.rigid_mm(leg.x_low)
            crests.owe(lambda: crests.add(leg.z0, leg.z1, depth))
        if not self._work.is_touched(leg.x1, leg.z1):
            return  # through it, and out again
        self._brushed = False
        depth = self.depths.at_mm(leg.x1, leg.z1)
        entry = Stroke("in", leg.block, leg.z1, leg.z1, depth, z_block=leg.z_block, x=leg.x1)
        self.contacts.append(Contact(leg.move.state, self.stops, [entry], depth))
        self.touching, self.stops, self.along_before_out = True, (), None

    def tear_out(self, block: Block) -> None:
        """Take a rapid to the reference point out of the work."""
        self._report.say(
            "rapid-in-contact", block, "the slide goes to the reference point from within the work"
        )
        contact, crests = self.contacts[-1], self._work.crests
        crests.owe(lambda: contact.mark(crests))
        self.touching = False

    def rapid(self, leg: Leg) -> None:
        """Take a rapid that begins in the work."""
        self._report.say("rapid-in-contact", leg.block, "a rapid begins with the rolls in the work")
        self._step(leg, said=True)

    # -- feeds in the work -----------------------------------------------------------

    def feed(self, leg: Leg) -> None:
        """Take a feed in the work."""
        if id(leg.move.state) not in self._machine.running:
            self._machine.check_running(leg.move.state, leg.block)
        if not self.touching:
            self._feed_in(leg)
            return
        planned = self._step(leg)
        if not planned and not leg.along:
            planned = self._creep(leg)
        last = self.contacts[-1].strokes[-1]
        if last.kind == "ease" and last.block is leg.block:
            last.move = leg.move
        self._feeds.check(leg.move, leg.way, planned=planned)

    def _feed_in(self, leg: Leg) -> None:
        self._machine.check_in_good_time(leg.move.state, leg.block)
        if leg.along:
            self._report.say(
                "contact-entered-sideways",
                leg.block,
                f"the rolls enter the work at X {self._report.mm(leg.x_low)} while Z moves",
            )
        planned = not leg.along or leg.x0 == leg.x1
        self._feeds.check(leg.move, "along" if leg.along else "in", planned=planned)
        self.touch(leg)

    def _creep(self, leg: Leg) -> bool:
        """Take a move of less than the tolerance; True where many of them come to an infeed.

        What is pressed in at the infeed's own feed is as planned, in however many steps.
        """
        # Each of a hundred fast little steps is within the tolerance; together they are a deep
        # infeed at the wrong feed, or a dwell of minutes.
        deeper = self.depths.rigid_mm(leg.x1) - self.depths.rigid_mm(leg.x0)
        if abs(deeper) <= self.tolerance:
            self._idle_s += leg.move.duration_s(1.0)
        code = code_of_long_dwell(self._idle_s, self._dwell_s)
        if code:
            self._idle_s = -math.inf  # said once
            self._report.say(
                code,
                leg.block,
                f"the rolls hardly move in the work for more than {LONG_DWELL:g} times the planned "
                f"dwell of {self._dwell_s:.3f} s",
            )
        feed = leg.move.feed_mm_per_rev
        if deeper > 0.0 and feed and not self._feeds.is_infeed(feed):
            self._crept += deeper
            if self._crept > self.tolerance:
                self._crept = -math.inf  # said once
                return True
        return False

    def _step(self, leg: Leg, *, said: bool = False) -> bool:
        """Take one leg in the work, rapid or feed; True where a feed is planned for its kind.

        *said* where the leg as a whole is a finding already.
        """
        contact = self.contacts[-1]
        if not self._work.is_touched(leg.x1, leg.z1) and self._leaves(leg, contact):
            return self._step_out(leg, contact, said)
        depth = self.depths.at_mm(leg.x1, leg.z1)
        if leg.along:
            if self.depths.compensated and not said and depth > 0.0:
                return self._step_compensated(leg, contact, depth)
            return self._step_along(leg, contact, depth, said)
        # X stated again, rounded otherwise, is not an infeed; many such steps come to one.
        if leg.dx < -STILL_MM and depth - contact.depth > self._least_step:
            return self._step_in(leg, contact, depth)
        if contact.depth - depth > self.tolerance:
            contact.strokes.append(Stroke("ease", leg.block, leg.z0, leg.z1, depth, said=said))
            contact.depth = depth
        return False

    def _leaves(self, leg: Leg, contact: Contact) -> bool:
        """Whether a leg that ends above the blank ends above what was just knurled as well."""
        crests = self._work.crests
        crests.owe(lambda: contact.mark(crests))
        if leg.along:
            crests.add(leg.z0, leg.z1, contact.depth)
        return not self._work.is_touched(leg.x1, leg.z1)

    def _step_out(self, leg: Leg, contact: Contact, said: bool) -> bool:
        straight = abs(leg.dx) < STILL_MM
        if leg.along and not said:
            self._report.say(
                "off-the-end" if straight and leg.z1 > leg.z0 else "contact-left-sideways",
                leg.block,
                "the rolls leave the work while Z moves",
            )
        self.touching = False
        contact.leave(leg, said=said or leg.along)
        return not leg.along or straight

    def _step_in(self, leg: Leg, contact: Contact, depth: float) -> bool:
        before = contact.depth
        contact.go_in(Stroke("in", leg.block, leg.z0, leg.z1, depth, x=leg.x1))
        # Hardly deeper, and to no depth that is planned next, is within the tolerance.
        return depth - before > self.tolerance or any(
            abs(depth - p.penetration_mm) <= TOUCH_TOLERANCE_MM
            and p.penetration_mm > before + self._least_step
            for p in self._plan.passes
        )

    def _step_along(self, leg: Leg, contact: Contact, depth: float, said: bool) -> bool:
        slanted = abs(depth - contact.depth) > self.tolerance
        if slanted:
            if not said:
                self._report.say(
                    "slanted-in-contact", leg.block, "X and Z move together in the work"
                )
            contact.depth = depth
        stroke = Stroke("along", leg.block, leg.z0, leg.z1, depth, said=said)
        stroke.least = stroke.most = depth
        contact.go_along(stroke)
        return not slanted

    def _step_compensated(self, leg: Leg, contact: Contact, depth: float) -> bool:
        """Take a leg along the work on which the slide compensates the deflection.

        True where the penetration is as planned all along it.
        """
        planned = [p.penetration_mm for p in self._plan.passes]
        wanted = min(planned, key=lambda planned: abs(planned - contact.depth))
        found = self.depths.along(leg, wanted)
        stroke = Stroke("along", leg.block, leg.z0, leg.z1, depth)
        stroke.least, stroke.most = found.least, found.most
        contact.go_along(stroke)
        as_planned = abs(found.worst) <= self.tolerance
        # Said once on a traverse: what is off in one block is off in the next, on the way back.
        traverse = contact.strokes[-1]
        if not as_planned and not traverse.said:
            traverse.said = True
            mm = self._report.mm
            self._report.say(
                "not-following",
                leg.block,
                f"with the deflection of the work the rolls are {mm(wanted + found.worst)} deep, "
                f"planned {mm(wanted)}",
            )
        return as_planned
