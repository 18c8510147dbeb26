"""The rules of spindle, coolant and tool.

What is in force stands in the state of each event, which is the same object until something
changes: a state is checked once, however many blocks run in it.
"""

from __future__ import annotations

from typing import NamedTuple

from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.marks import Form
from knurlcam.gcode.motion import Block, Change, Motion, Move, State, Stop
from knurlcam.gcode.standard_codes import shortest
from knurlcam.plan.model import Plan
from knurlcam.verification.limits import (
    SPEED_TOLERANCE_RPM,
    X_TOLERANCE_MM,
    Z_TOLERANCE_MM,
    Speed,
)
from knurlcam.verification.modes import History
from knurlcam.verification.report import Report

__all__ = ["Machine", "Tool"]


class Tool(NamedTuple):
    """The tool that the job says, and who calls it.

    Attributes:
        station: The station.
        offset: The offset's number; None where the control holds it by itself, and no word does.
        called_before: Whether blocks to paste find it called, as their comment asks.
        after_another: Whether another tool may stand anywhere before it is called.
    """

    station: int
    offset: int | None
    called_before: bool
    after_another: bool = False

    @classmethod
    def of(cls, plan: Plan, form: Form, dialect: Dialect, entry: State | None = None) -> Tool:
        """Return that of a plan.

        Args:
            plan: The plan.
            form: What the text is.
            dialect: Its dialect, which says whether words call an offset.
            entry: What a part program has in force before it; None where it does not say.
        """
        tool = plan.job.tool
        offset = None if dialect.holds_offsets else tool.offset_number
        called = form == "blocks" and entry is None
        return cls(tool.station, offset, called, form == "section")

    def may_be_called(self, state: State) -> bool:
        """Whether station and offset in a state are the job's, cancelled or not called."""
        return state.station in (None, 0, self.station) and state.offset in (None, 0, self.offset)

    def in_force(self, state: State) -> tuple[int | None, int | None]:
        """Return station and offset in a state; None is "not called"."""
        station, offset = state.station, state.offset
        if self.called_before:
            station = self.station if station is None else station
            offset = self.offset if offset is None else offset
        return station, offset

    def is_in_force(self, state: State) -> bool:
        """Whether station and offset in a state are the job's."""
        return self.in_force(state) == (self.station, self.offset)


def _goes_some_way(move: Move) -> bool:
    """Whether a move goes to another place than it starts from, by more than the tolerance."""
    x0, z0, x1, z1 = move.x0, move.z0, move.x1, move.z1
    if x0 is None or x1 is None or z0 is None or z1 is None:
        return x0 is not x1 or z0 is not z1
    return abs(x1 - x0) > X_TOLERANCE_MM or abs(z1 - z0) > Z_TOLERANCE_MM


class Machine:
    """Takes what is set and what a stop ends, and is asked when the rolls come near the work.

    Attributes:
        running: Ids of the states in which spindle and coolant were checked in the work; the
            motion holds the states.
        with_tool: ... of those with the job's tool and offset.
        spindle_set_by: The last change that leaves the spindle to come to the planned speed;
            None once the slide has gone some way since.
    """

    __slots__ = (
        "_dialect",
        "_dry_since",
        "_early",
        "_found_limit_rpm",
        "_history",
        "_machine",
        "_plan",
        "_report",
        "_speed",
        "_tool",
        "_wet_again",
        "running",
        "spindle_set_by",
        "with_tool",
    )  # fmt: skip

    def __init__(
        self, plan: Plan, motion: Motion, tool: Tool, speed: Speed, report: Report
    ) -> None:
        self._plan, self._dialect, self._tool, self._speed = plan, motion.dialect, tool, speed
        early = motion.too_early.get("S")
        self._early = (
            f"; S on line {early.line} counts for nothing, for it stands before the speed mode"
            if early
            else ""
        )
        self._report, self._machine = report, plan.job.machine
        # Of the part program around, which no change in the text shows.
        self._found_limit_rpm = None if motion.entry is None else motion.entry.limit_rpm
        self._history = History()
        self._dry_since: Stop | None = None
        self._wet_again: Block | None = None
        self.spindle_set_by: Change | None = None
        self.running: set[int] = set()
        self.with_tool: set[int] = set()

    # -- events ------------------------------------------------------------------

    def change(self, change: Change, *, touching: bool, may_touch: bool) -> None:
        """Take a change.

        Args:
            change: What was set.
            touching: Whether the rolls are in the work.
            may_touch: Whether they would be in the largest blank.
        """
        state, block = change.state, change.block
        self._history.add(change)
        if self._dry_since is not None and "coolant" in change.starts:
            self._dry_since, self._wet_again = None, block
        self._check_selected(change)
        if self._changes_spindle(change):
            self.spindle_set_by = change
        if touching:
            self.check_running(state, block)
            if state.gear != change.before.gear:
                self._report.say(
                    "spindle-stopped",
                    block,
                    f"{state.gear} changes the gear with the rolls in the work, and the spindle "
                    "is not driven meanwhile",
                )
        elif state.spindle != "off":
            self._check_turning_in_air(state, block)
        elif change.before.spindle != "off" and may_touch:
            self._report.say(
                "spindle-stopped",
                block,
                "the spindle stops where the rolls touch a blank of the largest diameter",
            )
            self.running.add(id(state))  # the way out of there is not another finding

    def _changes_spindle(self, change: Change) -> bool:
        """Whether a change leaves the spindle to speed up, or to turn over, to the plan's speed.

        Not where it was a finding before: what sets that right is not another.
        """
        state, before = change.state, change.before
        if state.spindle == "off" or id(before) in self.running:
            return False
        if state.gear != before.gear:
            return True
        if before.rpm is not None and any(
            self._report.has_said_once(code, before.rpm)
            for code in ("speed-too-fast", "speed-not-planned")
        ):
            return False
        return before.spindle == "off" or (
            self._speed.is_stated_near(state.rpm) and not self._speed.is_stated_near(before.rpm)
        )

    def moved(self, move: Move) -> None:
        """Take a move: where it goes some way the spindle comes to its speed meanwhile."""
        change = self.spindle_set_by
        if change is not None and move.block is not change.block and _goes_some_way(move):
            self.spindle_set_by = None

    def limit(self, change: Change) -> None:
        """Take a change of the speed limit."""
        if change.state.limit_rpm is not None:
            self._check_limit(change.state.limit_rpm, change.block)

    def _check_limit(self, limit: float, block: Block) -> None:
        report = self._report
        planned, top = self._speed.planned_rpm, self._machine.max_spindle_speed
        if limit < planned:
            report.say(
                "speed-limit-low",
                block,
                f"the speed is limited to {limit:g} rev/min, planned {planned:g} rev/min",
            )
        elif limit > max(top, planned) + SPEED_TOLERANCE_RPM:
            report.say(
                "speed-limit-high",
                block,
                f"the speed is limited to {limit:g} rev/min, the machine to {top:g} rev/min",
            )

    def stop(self, stop: Stop) -> None:
        """Take a stop.

        ISO 6983 lets M00 end spindle and coolant, NISTIR 6556 lets them go on: what the rolls
        need in the work must be stated again.
        """
        self._dry_since = stop
        self.running.clear()

    def call(self, change: Change) -> None:
        """Take a call of a tool or offset that is no finding for where the slide stands."""
        if not self._tool.may_be_called(change.state):
            self.check_tool(change.state, change.block)

    # -- spindle and coolant -----------------------------------------------------

    def check_running(self, state: State, block: Block) -> None:
        """Check spindle and coolant while the rolls are in the work."""
        if id(state) in self.running:
            return
        self.running.add(id(state))
        report = self._report
        if state.spindle == "off":
            report.say_once(
                "spindle-stopped",
                state[5:9],
                block,
                "the spindle is stopped, or stopping, with the rolls in the work",
            )
        else:
            self._check_direction(state, self._history.set_by("spindle", block))
        if state.speed_mode == "surface speed":
            if not report.has_said_once("speed-mode-wrong"):
                report.say_once(
                    "surface-speed-in-contact",
                    None,
                    self._history.set_by("speed_mode", block),
                    "constant surface speed is in force",
                )
        else:
            self._check_speed(state, block)
        self._check_gear(state, block)
        # A job without coolant does not forbid it: more coolant harms no knurl.
        if not self._plan.job.process.coolant:
            return
        if not state.coolant:
            missing = self._dialect.coolant_words - set(state.coolants)
            what = f"{' and '.join(sorted(missing))} is not on" if state.coolants else "is off"
            what = f"of the coolant {what}" if state.coolants else f"the coolant {what}"
            report.say_once("no-coolant", state.coolants, block, what)
        elif self._dry_since is not None:
            stop = self._dry_since.block
            report.say_once(
                "no-coolant",
                stop.line,
                block,
                f"the stop in line {stop.line} ends the coolant, and it is not turned on again",
            )

    def _check_gear(self, state: State, block: Block) -> None:
        """Check that the gear range of the job is in force; without one any may be."""
        wanted = self._machine.gear
        if wanted is None or (state.gear and shortest(state.gear) == shortest(wanted)):
            return
        shown = "no gear is stated" if state.gear is None else f"{state.gear} is in force"
        self._report.say_once(
            "gear-not-planned",
            state.gear,
            self._history.set_by("gear", block),
            f"{shown}, planned {wanted}",
        )

    def check_in_good_time(self, state: State, block: Block) -> None:
        """Check that speed and coolant are stated in good time before the rolls meet the work.

        Coolant a block before: NISTIR 6556, 3.8, Table 8, carries the words out before the motion
        of their block; other controls do at the same time or after it. The spindle takes a while
        in any case, and no block says how long: one motion at least lies between, such as the
        rapid to the clearance.
        """
        change = self._history.made_in(block)
        if (
            change is not None
            and self._plan.job.process.coolant
            and state.coolant
            and (not change.before.coolant or block is self._wet_again)
        ):
            self._report.say(
                "stated-too-late",
                block,
                f"{self._dialect.codes.coolant_on[-1]}, which some controls carry out after the "
                "motion, is in the block in which the rolls meet the work",
            )
        spindle, self.spindle_set_by = self.spindle_set_by, None
        if spindle is not None:
            self._report.say(
                "stated-too-late",
                spindle.block,
                "speed, direction or gear of the spindle is set, and no motion lies between this "
                "block and that in which the rolls meet the work",
            )

    def _check_direction(self, state: State, block: Block) -> None:
        wanted = self._machine.spindle_direction
        if state.spindle != wanted:
            self._report.say_once(
                "spindle-reversed",
                state.spindle,
                block,
                f"the spindle turns {state.spindle}, planned {wanted}",
            )

    def _check_speed(self, state: State, block: Block) -> None:
        rpm, planned, report = state.rpm, self._speed.planned_rpm, self._report
        near = self._speed.is_stated_near(rpm)
        if state.spindle == "off" or (near and rpm == planned):
            return
        if rpm is None and self._speed_is_found():
            return  # found when the spindle started
        text = "not stated" if rpm is None else f"{rpm:g} rev/min"
        block = self._history.set_by("rpm", block)
        limit = self._plan.speed_limit_rpm
        if rpm is not None and rpm > max(limit, planned) + SPEED_TOLERANCE_RPM:
            report.say_once(
                "speed-too-fast",
                rpm,
                block,
                f"the spindle turns at {text} in contact, the limit is {limit:g} rev/min",
            )
        elif not near:
            report.say_once(
                "speed-not-planned",
                rpm,
                block,
                f"the spindle speed is {text}, planned {planned:g} rev/min",
            )

    def _speed_is_found(self) -> bool:
        """Whether it is a finding already why no speed is in force."""
        said = self._report.has_said_once
        return said("speed-not-stated") or said("speed-mode-not-stated")

    def _check_turning_in_air(self, state: State, block: Block) -> None:
        """Held work flies out of a lathe that is run too fast, with the rolls clear too."""
        report, top = self._report, self._machine.max_spindle_speed
        self._check_direction(state, block)
        if state.speed_mode == "surface speed":
            if not report.has_said_once("surface-speed-in-contact"):
                report.say_once(
                    "speed-mode-wrong", None, block, "constant surface speed is in force"
                )
        elif state.rpm is None:
            if not self._speed_is_found():
                message = f"the spindle starts without an S word{self._early}"
                report.say_once("speed-not-stated", None, block, message)
        elif state.rpm > top + SPEED_TOLERANCE_RPM:
            report.say_once(
                "speed-too-fast",
                state.rpm,
                block,
                f"the spindle turns at {state.rpm:g} rev/min, the "
                f"machine's limit is {top:g} rev/min",
            )
        else:
            self._check_not_faster(state.rpm, self._history.set_by("rpm", block))

    def _check_not_faster(self, rpm: float, block: Block) -> None:
        """Check that the spindle turns no faster than planned, wherever the rolls stand.

        Centre, chuck and work turn as fast with the rolls clear, and a dead centre burns at once.
        A spindle that starts gently, below the planned speed, harms nothing before contact.
        """
        planned, limit = self._speed.planned_rpm, self._plan.speed_limit_rpm
        turns = f"the spindle turns at {rpm:g} rev/min"
        if rpm > max(limit, planned) + SPEED_TOLERANCE_RPM:
            message = f"{turns}, the limit is {limit:g} rev/min"
            self._report.say_once("speed-too-fast", rpm, block, message)
        elif rpm > planned and not self._speed.is_near(rpm):
            message = f"{turns}, planned {planned:g} rev/min"
            self._report.say_once("speed-not-planned", rpm, block, message)

    def check_limit_is_stated(self, state: State, block: Block) -> None:
        """Check that a speed limit is in force at first touch, where the dialect has one."""
        word = self._dialect.codes.speed_limit
        if word is None:
            return
        if state.limit_rpm is None:
            self._report.say(
                "speed-limit-missing", block, f"{word} is missing before the rolls touch"
            )
        elif state.limit_rpm == self._found_limit_rpm:
            self._check_limit(state.limit_rpm, block)

    # -- tool --------------------------------------------------------------------

    def _check_selected(self, change: Change) -> None:
        """Check that a T word which only selects selects the job's tool, or none.

        The tool change that uses it may stand anywhere after it, in the main program as well.
        """
        station, tool = change.selects, self._tool
        # Where the same block changes to it, the moves with it are found.
        if station and station not in (tool.station, change.state.station):
            self._report.say_once(
                "wrong-tool",
                station,
                change.block,
                f"station {station} is selected, planned station {tool.station}",
            )

    def check_tool_of_move(self, move: Move, *, stays_out: bool) -> None:
        """Check that the job's tool and offset are in force as an axis moves.

        Args:
            move: The move.
            stays_out: Whether it moves outside safe X: there the offset may be cancelled, as
                long as it was not in force before.
        """
        tool, state = self._tool, move.state
        if tool.is_in_force(state):
            self.with_tool.add(id(state))
            return
        station, offset = tool.in_force(state)
        if station is None and (move.kind == "reference" or (tool.after_another and stays_out)):
            return  # home, or out with the tool before, before any tool is called
        if offset == 0 and station in (0, tool.station):
            if tool.called_before or self._history.was_in_force("offset"):
                self._say_moves_without_offset(move)
                return
            if stays_out:
                return  # cancelled before it is called
        self.check_tool(state, move.block)

    def _say_moves_without_offset(self, move: Move) -> None:
        letters = {word.letter for word in move.block.words}
        if "T" in letters:
            return  # cancelled in the block that moves: reading it has found that already
        axes = [axis for axis, named in (("X", "XU"), ("Z", "ZW")) if letters & set(named)]
        verb = "move" if len(axes) > 1 else "moves"
        self._report.say_once(
            "moves-without-offset",
            None,
            move.block,
            f"{' and '.join(axes)} {verb} after the tool offset was cancelled",
        )

    def check_tool(self, state: State, block: Block) -> None:
        """Check that the job's tool and offset are in force; else they are named in *block*."""
        tool = self._tool
        station, offset = tool.in_force(state)
        if station != tool.station:
            shown = "no tool" if station is None else f"station {station}"
            self._report.say_once(
                "wrong-tool",
                station,
                self._history.set_by("station", block),
                f"{shown} is called, planned station {tool.station}",
            )
            return
        if offset == tool.offset:
            return
        shown = "no offset" if offset is None else f"offset {offset}"
        self._report.say_once(
            "wrong-offset",
            offset,
            self._history.set_by("offset", block),
            f"{shown} is in force, planned offset {tool.offset}",
        )
