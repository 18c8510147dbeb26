"""The modes in which a program moves, and the blocks that set what is in force."""

from __future__ import annotations

from typing import Literal

from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.motion import Block, Change, Motion, Move, State
from knurlcam.gcode.standard_codes import shortest
from knurlcam.verification.report import Report

__all__ = ["History", "modes_are_wrong"]


class History:
    """The changes of what is in force, so that a wrong word is shown where it stands."""

    __slots__ = ("_changes",)

    def __init__(self) -> None:
        self._changes: list[Change] = []

    def add(self, change: Change) -> None:
        """Take the next change."""
        self._changes.append(change)

    def made_in(self, block: Block) -> Change | None:
        """Return the last change if a block made it."""
        last = self._changes[-1] if self._changes else None
        return last if last is not None and last.block is block else None

    def set_by(self, name: str, otherwise: Block) -> Block:
        """Return the block that last set a part of the state."""
        for change in reversed(self._changes):
            if getattr(change.before, name) != getattr(change.state, name):
                return change.block
        return otherwise

    def was_in_force(self, name: str) -> bool:
        """Whether a part of the state had a value before its last change, other than none."""
        return any(getattr(change.before, name) for change in self._changes)


def modes_are_wrong(motion: Motion, units: Literal["mm", "inch"], report: Report) -> bool:
    """Check the modes in which a program moves; True where its lengths mean nothing.

    Then no other rule can judge the motion: every figure in it would be a finding.

    Args:
        motion: The motion.
        units: The job's.
        report: Takes the findings.
    """
    return _Modes(motion.dialect, units, report).are_wrong(motion)


class _Modes:
    def __init__(self, dialect: Dialect, units: Literal["mm", "inch"], report: Report) -> None:
        self.dialect, self.units, self.report = dialect, units, report
        self.history = History()

    def are_wrong(self, motion: Motion) -> bool:
        fatal, add = False, self.history.add
        # By id, for the motion holds them: a program goes to and fro between a few states.
        # Whether a mode is stated at all is asked of the first motion alone.
        checked: set[int] = set()
        for event in motion.events:
            if type(event) is Change:
                add(event)
            elif type(event) is Move and id(event.state) not in checked:
                if event.kind == "reference":
                    continue  # it goes to the machine's own place, whatever the words mean
                first = not checked
                checked.add(id(event.state))
                fatal |= self.lengths_are_wrong(event.state, event.block)
                if first:
                    self.check_stated(motion, event.block)
                self.check_feed_mode(event.state, event.block, first)
                if first:
                    self.check_speed_mode(event.state, event.block)
        return fatal

    def lengths_are_wrong(self, state: State, block: Block) -> bool:
        units_wrong = self.units_are_wrong(state, block)
        x_wrong = self.x_words_are_wrong(state, block)
        return self.distance_is_wrong(state, block) or units_wrong or x_wrong

    def x_words_are_wrong(self, state: State, block: Block) -> bool:
        """Check what X words hold, where the dialect has a word to state it."""
        codes, wanted = self.dialect.codes, self.dialect.x
        word = codes.diameter if wanted == "diameter" else codes.radius
        if word is None or state.x_mode == wanted:
            return False
        if state.x_mode is None:
            self.report.say_once(
                "x-mode-not-stated", None, block, f"{word} is missing before the first motion"
            )
        else:
            self.report.say_once(
                "x-mode-wrong",
                None,
                self.history.set_by("x_mode", block),
                f"X words hold a {state.x_mode}, planned a {wanted}",
            )
        return True

    def check_stated(self, motion: Motion, block: Block) -> None:
        """Check that all is stated before the first motion that the dialect wants stated."""
        missing = [c for c in self.dialect.stated if shortest(c) not in motion.stated]
        if missing:
            self.report.say_once(
                "mode-not-stated",
                None,
                block,
                f"{' and '.join(missing)} {'is' if len(missing) == 1 else 'are'} missing before "
                "the first motion",
            )

    def units_are_wrong(self, state: State, block: Block) -> bool:
        codes, report = self.dialect.codes, self.report
        if state.units is None:
            word = codes.inch if self.units == "inch" else codes.metric
            report.say_once(
                "units-not-stated", None, block, f"{word} is missing before the first motion"
            )
        elif state.units != self.units:
            report.say_once(
                "units-wrong",
                None,
                self.history.set_by("units", block),
                f"the program moves in {state.units}, the job is in {self.units}",
            )
        return state.units != self.units

    def distance_is_wrong(self, state: State, block: Block) -> bool:
        by_codes = self.dialect.increments == "codes"
        if state.distance == "absolute" or (state.distance is None and not by_codes):
            return False
        word = self.dialect.codes.absolute or ""
        if state.distance is None:
            self.report.say_once(
                "distance-not-stated", None, block, f"{word} is missing before a motion"
            )
            return True
        message = f"{word} is not in force" if by_codes else "incremental distances are in force"
        block = self.history.set_by("distance", block)
        self.report.say_once("distance-wrong", None, block, message)
        return True

    def check_feed_mode(self, state: State, block: Block, first: bool) -> None:
        if state.feed_mode is None:
            if first:
                self.report.say_once(
                    "feed-mode-not-stated",
                    None,
                    block,
                    f"no feed mode is stated before the first motion, planned {self.dialect.feed}",
                )
        elif state.feed_mode != self.dialect.feed:
            self.report.say_once(
                "feed-mode-wrong",
                None,
                self.history.set_by("feed_mode", block),
                f"feeds are {state.feed_mode}, planned {self.dialect.feed}",
            )

    def check_speed_mode(self, state: State, block: Block) -> None:
        word = self.dialect.codes.constant_speed
        if word is None:
            return
        if state.speed_mode is None:
            self.report.say_once(
                "speed-mode-not-stated",
                None,
                block,
                f"{word} is missing before the first motion",
            )
        elif state.speed_mode == "surface speed":
            block = self.history.set_by("speed_mode", block)
            self.report.say_once(
                "speed-mode-wrong", None, block, "constant surface speed is in force"
            )
