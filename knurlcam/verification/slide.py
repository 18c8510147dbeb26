"""Where the slide stands, as far as the program says it, and where it may go."""

from __future__ import annotations

import math
from typing import NamedTuple

from knurlcam.gcode.motion import Block, Change, Motion, Move, Stop
from knurlcam.plan.model import Plan
from knurlcam.verification.limits import ROOM_MM, STILL_MM, Z_TOLERANCE_MM, Safe
from knurlcam.verification.machine import Tool
from knurlcam.verification.report import Report
from knurlcam.verification.work import Leg, Work

__all__ = ["Slide"]


class _Room(NamedTuple):
    """Where the job knows of room for the slide.

    Out to the safe position and in to the deepest pass, and :data:`ROOM_MM` further; but along
    to the chuck's face only: a chuck is wider than the work, often wider than safe X as well,
    and no way to or from the work leads past its face.
    """

    x_least: float
    x_most: float
    z_least: float
    z_most: float

    @classmethod
    def of(cls, plan: Plan) -> _Room:
        machine, passes = plan.job.machine, plan.passes
        compensated = [x for p in passes if p.follow for _, x in p.follow]
        deepest = min([p.x_diameter_mm for p in passes] + compensated)
        return cls(
            deepest - 2.0 * ROOM_MM,
            machine.safe_x + 2.0 * ROOM_MM,
            plan.datum_shift_mm - plan.job.part.length - Z_TOLERANCE_MM,
            max(machine.safe_z, *(p.z_start_mm for p in passes)) + ROOM_MM,
        )


def _moved_letters(move: Move) -> set[str]:
    """Return the axis words of a move, but for an increment of nothing: it says no place."""
    letters = {word.letter for word in move.block.words} & set("XZUW")
    if move.kind != "reference":
        letters -= {"U"} if move.x0 == move.x1 else set()
        letters -= {"W"} if move.z0 == move.z1 else set()
    return letters


class Slide:
    """Follows the moves.

    Attributes:
        x: X, on the diameter; None at the reference point or while unknown [mm]
        z: Z; None likewise [mm]
        x_at_reference: Whether X stands at the reference point, out of everything's way; in a
            dialect whose safe position is another, that point may be anywhere.
        z_at_reference: ... and Z.
        moved: Whether it has moved.
        lost: Whether the rolls came to the work from a place that is not known.
    """

    __slots__ = (
        "_bad_stop", "_home_is_out", "_home_is_safe", "_homes_all", "_old_since", "_plan",
        "_report", "_room", "_safe", "_tool", "_work", "_x_is_old", "_z_block", "_z_is_old",
        "lost", "moved", "x", "x_at_reference", "z", "z_at_reference",
    )  # fmt: skip

    def __init__(
        self, plan: Plan, motion: Motion, work: Work, tool: Tool, safe: Safe, report: Report
    ) -> None:
        self._plan, self._work, self._tool, self._report = plan, work, tool, report
        self._safe, self._room = safe, _Room.of(plan)
        self._home_is_safe = motion.dialect.safe_return == "reference point"
        # There before the tool call the slide is out of everything's way, wherever else it leads.
        self._home_is_out = self._home_is_safe or motion.dialect.reference_before_tool
        self._homes_all = motion.dialect.reference_axes == "all"
        self.x: float | None = None
        self.z: float | None = None
        self.x_at_reference = self.z_at_reference = self.lost = self.moved = False
        self._z_block: Block | None = None
        # Last stated before a stop, or with another tool or offset than is in force now.
        self._x_is_old = self._z_is_old = False
        self._old_since = ""
        self._bad_stop: tuple[float | None, float | None] | None = None

    @property
    def is_outside(self) -> bool:
        """Whether it stands at the safe position, or further out; where it waits at first, too."""
        x, z, safe = self.x, self.z, self._safe
        return (x is None or x >= safe.x) and (z is None or z >= safe.z)

    def stop(self, stop: Stop) -> None:
        """Take a stop: the operator may jog both axes before the program goes on."""
        self._x_is_old = self.x is not None or self.x_at_reference
        self._z_is_old = self.z is not None or self.z_at_reference
        self._old_since = f"the stop in line {stop.block.line}, where the axes may be jogged"

    def stop_badly(self) -> None:
        """Take a stop that is a finding: a tool that is called at the same place is no other."""
        self._bad_stop = self.x, self.z

    def call(self, change: Change) -> bool:
        """Take a call of tool or offset; False where that is a finding already.

        The same X and Z may be other places from then on.

        Also where it is called back before anything moves: a control may take an offset up at
        once, or with the next motion, of one axis or of both.
        """
        tool = self._tool
        if not change.calls and change.selects not in (0, tool.station):
            return False  # another tool is selected
        near = self._place_of_call(change)
        if near:
            # That X and Z may be other places from there on is no second finding.
            self._x_is_old = self._z_is_old = False
            verb = "is called" if change.calls else "is selected"
            self._report.say_once(
                "tool-change-near-work", None, change.block, f"tool or offset {verb} at {near}"
            )
            return False
        before, after = change.before, change.state
        # The call of another tool or offset is a finding, from which the rest follows.
        ours = tool.may_be_called(before) and tool.may_be_called(after)
        if ours and tool.in_force(after) != tool.in_force(before):
            self._x_is_old = self._x_is_old or self.x is not None
            self._z_is_old = self._z_is_old or self.z is not None
            self._old_since = "the tool or offset call, which changes it"
        return True

    def _place_of_call(self, change: Change) -> str:
        """Say where tool or offset is called inside the safe position; empty where it is not.

        A turret turns where both axes stand at the safe position or outside it, or where the
        program found them: a long tool swings over the work, however far out X is.
        """
        mm, machine, x, z = self._report.mm, self._plan.job.machine, self.x, self.z
        if self._is_where_another_left_it(change):
            return "where the tool before it stands: X, or Z, is not stated before the call"
        if x is not None and x < self._safe.x:
            return f"X {mm(x)}, inside safe X {mm(machine.safe_x)}"
        if z is None or z >= self._safe.z or self._is_found_elsewhere(change):
            return ""
        return f"Z {mm(z)}, inside safe Z {mm(machine.safe_z)}"

    def _is_where_another_left_it(self, change: Change) -> bool:
        """Whether a section calls its tool before both axes went to a place that it states."""
        if not self._tool.after_another or change.before.station is not None:
            return False
        unknown_x = self.x is None and not self.x_at_reference
        return unknown_x or (self.z is None and not self.z_at_reference)

    def _is_found_elsewhere(self, change: Change) -> bool:
        """Whether another rule finds a call outside safe X wherever Z stands.

        The call of another tool or offset is found, and so are a stop at the same place and the
        moves, or the end, after the offset is cancelled.
        """
        state, before, tool = change.state, change.before, self._tool
        if self._bad_stop == (self.x, self.z):
            return True
        if self._report.has_said_once("moves-without-offset"):
            return True  # it stands elsewhere than Z says
        if not (tool.may_be_called(state) and tool.may_be_called(before)):
            return True
        cancels = tool.offset is not None and not state.offset
        cancels = cancels and state.station in (None, 0, before.station)
        return cancels and bool(change.calls)

    def check(self, move: Move) -> None:
        """Check where a move starts from and where it goes to, before it is taken."""
        if self._z_is_old or self._x_is_old:
            self._check_stated_since(move)
        x1, z1, room = move.x1, move.z1, self._room
        if x1 is not None and not room.x_least <= x1 <= room.x_most:
            self._check_room_x(move.block, x1)
        if z1 is None or room.z_least <= z1 <= room.z_most:
            return
        # Inside safe X the chuck is an obstacle and found as one; the way out from it is no
        # second error.
        past_chuck = z1 != move.z0 and (x1 is None or x1 >= self._safe.x)
        if z1 > room.z_most or past_chuck:
            self._check_room_z(move.block, z1)

    def _check_stated_since(self, move: Move) -> None:
        """Check that X is stated before Z moves, and both before the slide goes in."""
        letters, home = _moved_letters(move), move.kind == "reference"
        if not letters:
            return
        goes_in = move.x1 is not None and move.x1 < self._safe.x
        stale = ""
        if self._x_is_old and "X" not in letters and not (home and "U" in letters):
            stale = "X"
        elif self._z_is_old and (goes_in or ("W" in letters and not home)):
            stale = "Z"
        without = self._report.has_said_once("moves-without-offset")
        if stale and self._is_carried(move) and not without:
            self._report.say_once(
                "position-unknown",
                ("stale", self._old_since),
                move.block,
                f"{stale} was last stated before {self._old_since}",
            )
            self.lost = self.lost or goes_in
        if {"Z", "W"} & letters:
            self._z_is_old = False
        if {"X", "U"} & letters:
            self._x_is_old = False

    def _is_carried(self, move: Move) -> bool:
        """Whether a move carries the job's tool, or the one before it out of a section's way."""
        tool, state = self._tool, move.state
        return tool.is_in_force(state) or (tool.after_another and state.station is None)

    def _check_room_x(self, block: Block, x: float) -> None:
        mm, least = self._report.mm, self._room.x_least
        if x < least:
            known = f"the deepest pass is at X {mm(least + 2.0 * ROOM_MM)}"
        else:
            known = f"the safe position is at X {mm(self._plan.job.machine.safe_x)}"
        self._outside("X", x, block, known)

    def _check_room_z(self, block: Block, z: float) -> None:
        mm, job = self._report.mm, self._plan.job
        if z < self._room.z_least:
            known = f"the chuck or driven centre begins at Z {mm(-job.part.length)}"
        else:
            known = f"the safe position is at Z {mm(job.machine.safe_z)}"
        self._outside("Z", z, block, known)

    def _outside(self, axis: str, place: float, block: Block, known: str) -> None:
        self._report.say_once(
            "outside-known-room",
            (axis, place),
            block,
            f"the tool goes to {axis} {self._report.mm(place)}, {known}",
        )

    def stays_out(self, move: Move) -> bool:
        """Whether a move stays where a cancelled offset does no harm."""
        x1, z0, z1 = move.x1, move.z0, move.z1
        if move.kind == "reference" or x1 is None:
            return True
        if x1 < self._safe.x:
            return False
        if move.x0 is None or z0 is None or z1 is None:
            return True
        return z1 >= min(z0, self._safe.z)

    # -- taking a move -----------------------------------------------------------

    def take(self, move: Move) -> Leg | None:
        """Take a move; None where it has no way, or nothing more can be said of it."""
        x0, z0, x1, z1 = move.x0, move.z0, move.x1, move.z1
        if x0 is None or z0 is None or x1 is None or z1 is None:
            way = self._half_known_way(move)
            self.moved = True
            if way is None:
                return None
            x0, z0, x1, z1 = way
        else:
            self.x_at_reference = self.z_at_reference = False
            self.x, self.z = x1, z1
        leg = self._work.leg(move, x0, z0, x1, z1)
        if leg.along or self._z_block is None:
            self._z_block = move.block
        elif abs(leg.dx) < STILL_MM:
            return None
        leg.z_block = self._z_block
        return leg

    def take_to_reference(self, move: Move) -> None:
        """Take a rapid to the reference point."""
        x0 = self._x_from(move)
        along_z = move.z1 is None and not (move.z0 is None and self.z_at_reference)
        letters = {word.letter for word in move.block.words}
        # From the safe position, where the turret waits, both axes go outward of everything.
        waits = not self.moved and not self._tool.after_another
        both_at_start = waits and bool({"X", "U"} & letters)
        self.moved = True
        if x0 is None and {"Z", "W"} & letters and not both_at_start:
            self._z_before_x_is_known(move.block)
        elif along_z and x0 is not None and x0 < self._safe.x:
            mm = self._report.mm
            self._report.say(
                "z-before-x",
                move.block,
                f"Z goes to the reference point at X {mm(x0)}, inside safe X "
                f"{mm(self._plan.job.machine.safe_x)}",
            )
        elif self._is_no_place_for(move) and (self.x is not None or self.z is not None):
            self._report.say_once(
                "outside-known-room",
                "reference",
                move.block,
                "the tool goes to the reference point, and in this dialect that is not the safe "
                "position",
            )
        # An axis that does not go there, and of which nothing is known, may stand anywhere.
        to_x, to_z = (self._homes_all or bool(letters & axis) for axis in ({"X", "U"}, {"Z", "W"}))
        self.x_at_reference = self._home_is_out and (self.x_at_reference or to_x)
        self.z_at_reference = self._home_is_out and (self.z_at_reference or to_z)
        self.x, self.z = move.x1, move.z1

    def _is_no_place_for(self, move: Move) -> bool:
        """Whether the reference point may be anywhere: but before the tool call, by the dialect."""
        return not self._home_is_safe and not (self._home_is_out and move.state.station is None)

    def _x_from(self, move: Move) -> float | None:
        """Return X before a move: the reference point is out of everything's way [mm]."""
        return math.inf if move.x0 is None and self.x_at_reference else move.x0

    def _z_before_x_is_known(self, block: Block) -> None:
        self._report.say_once("position-unknown", "x", block, "Z moves before X is known")

    def _half_known_way(self, move: Move) -> tuple[float, float, float, float] | None:
        """Take a move of which a place is not known; return the way that is checked.

        An axis of which the start is not known is checked where it ends.
        """
        x0, z0, x1, z1 = self._x_from(move), move.z0, move.x1, move.z1
        self.x_at_reference = self.x_at_reference and x1 is None
        self.z_at_reference = self.z_at_reference and z1 is None
        self.x, self.z = x1, z1
        if self._has_no_way(move, x0):
            return None
        if z1 is None:
            self._check_in_at_reference(move.block, x1)
            return None
        x1 = math.inf if x1 is None else x1
        return x1 if x0 is None else x0, z1 if z0 is None else z0, x1, z1

    @staticmethod
    def goes_somewhere(move: Move) -> bool:
        """Whether a move from a place that is not all known goes to another."""
        x1, z1 = move.x1, move.z1
        return (x1 is not None and x1 != move.x0) or (z1 is not None and z1 != move.z0)

    def _has_no_way(self, move: Move, x0: float | None) -> bool:
        """Check a move from a place that is not known; True where no way can be made of it."""
        x1, z0, z1 = move.x1, move.z0, move.z1
        if x0 is None and z1 != z0:
            # The turret waits at the safe position, as the header asks: from there a first move
            # of both axes to safe X, or further out, is outward of everything.
            # So it is not where another tool may stand anywhere.
            waits = not self.moved and not self._tool.after_another
            if waits and x1 is not None and x1 >= self._safe.x and z1 is not None:
                return False
            self._z_before_x_is_known(move.block)
            return True
        if x0 is None and x1 is None:
            return True
        z_is_known = z0 is not None or self.z_at_reference
        if z_is_known or x1 is None or x1 >= self._safe.x:
            return False
        self.lost = True  # where the rolls meet the work is unknown from here on
        self._report.say_once(
            "position-unknown",
            "z",
            move.block,
            f"X goes in to {self._report.mm(x1)} before Z is known",
        )
        return True

    def _check_in_at_reference(self, block: Block, x1: float | None) -> None:
        """Where a tailstock stands, the reference point of Z may be behind it."""
        tailstock = self._plan.job.holding.held_by != "none"
        if tailstock and x1 is not None and x1 < self._safe.x:
            self._report.say_once(
                "outside-known-room",
                "tailstock",
                block,
                f"X goes in to {self._report.mm(x1)} at the reference point of Z, behind the "
                "tailstock",
            )
