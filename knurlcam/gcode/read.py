"""Blocks to motion: a lathe's state machine, one dialect at a time.

The reader checks the text alone: words it does not know, words that contradict each other or
stand where they cannot. What the motion means for the work is checked by
:mod:`knurlcam.verification`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.dialect_files import load_dialect
from knurlcam.gcode.frame import find_frame
from knurlcam.gcode.line_cache import Line, block_at, line_cache
from knurlcam.gcode.motion import (
    Block,
    Change,
    Dwell,
    End,
    Motion,
    Move,
    Problem,
    Severity,
    State,
    Stop,
    Word,
)
from knurlcam.gcode.numbers import Faults, feed_mm, length_mm, x_factor, x_scale
from knurlcam.gcode.standard_codes import DATUM, SHIFT_OFF
from knurlcam.gcode.tokens import (
    MOST_LINES,
    check_comment,
    line_with_a_lone_return,
    numbered_lines,
    without_comments,
)
from knurlcam.gcode.words import (
    COOLANT,
    COOLANTS,
    FEED,
    FEED_MODE,
    FIGURE_OF,
    RPM,
    SPEED_MODE,
    STATION,
    UNITS,
    Changes,
    Orders,
    PlainMove,
    changed,
    differ_in_feed_alone,
)

__all__ = ["read_program"]


def read_program(
    text: str,
    post: str | Dialect = "iso6983",
    *,
    posts: Iterable[str | Path] = (),
    skip: bool | tuple[bool, ...] = False,
    entry: State | None = None,
) -> Motion:
    """Read a program text.

    Args:
        text: The program, any line ends.
        post: Its dialect, by name or loaded.
        posts: Folders of a shop's own dialects.
        skip: Whether blocks with a slash are skipped, as the operator may set: for the whole
            program, or for each stretch of it from one stop to the next.
        entry: What is in force before it, where it is a piece of a part program.

    Returns:
        Blocks, motion and problems; never an exception for what the text holds.

    Raises:
        InputError: if the dialect is unknown or broken.
    """
    stretches = (skip,) if isinstance(skip, bool) else skip
    return _Reader(load_dialect(post, posts), stretches, entry).read(text)


def _sum(place: float | None, way: float | None) -> float | None:
    """Return where an increment leads; a place that is not known stays so."""
    return place if place is None or way is None else place + way


_CHOSEN = {DATUM: "the datum is chosen", SHIFT_OFF: "the shift of the datum is taken back"}


class _Reader:
    """Carries out one program."""

    def __init__(
        self, dialect: Dialect, skips: tuple[bool, ...], entry: State | None = None
    ) -> None:
        self.dialect = dialect
        self.skip, *self.next_skips = skips
        self.motion = Motion(dialect, entry=entry)
        self.events = self.motion.events
        self.highest_number = dialect.highest_number
        self.one_speed_mode = dialect.codes.constant_speed is None
        self.state = State() if entry is None else entry
        self.rate = self.feed_per_rev(self.state)
        """Slide travel per turn of the work that the state comes to [mm/rev]"""
        self.with_feed: dict[float, tuple[State, float | None]] = {}
        """State and rate with other feeds, as far as the program used them."""
        self.motion_code: str | None = None
        self.selected: int | None = None
        """Station of a T word that waits for its tool change."""
        self.datum_stated: set[str] = set()
        self.x: float | None = None
        self.z: float | None = None
        self.ended = False
        self.beyond = False
        self.stopped = False
        self.x_scale = x_scale(dialect, self.state.x_mode)
        """What X words hold, to what the dialect's would: 2 where a radius is in force."""
        self.coolants_since_stop: set[str] = set()
        self.last_number = -1

    def read(self, text: str) -> Motion:
        motion = self.motion
        lines, unread = numbered_lines(text, self.dialect.line_length)
        frame = find_frame(lines, self.dialect)
        motion.starts, motion.number, motion.closed = frame.starts, frame.number, frame.closed
        motion.unframed, motion.leader = frame.unframed, frame.leader
        after = frame.last + len(self.dialect.end)
        self.frame(lines[: frame.first])
        self.body(lines[frame.first : frame.last])
        if frame.last < len(lines):
            self.frame(lines[frame.last : after])
            self.ended = True
            self.body(lines[after:])
        if unread:
            self.problem(
                "program-too-long",
                motion.blocks[-1] if motion.blocks else Block(1, None, (), None, False, ""),
                f"the text has more than {MOST_LINES:,} lines; the rest is not read",
            )
        if "\r" in text:
            self.check_line_ends(text)
        motion.state = self.state
        return motion

    def check_line_ends(self, text: str) -> None:
        """Report a carriage return alone, once: there one control ends the block, another not."""
        line, blocks = line_with_a_lone_return(text), self.motion.blocks
        if line is not None and blocks:
            self.problem(
                "unreadable-character",
                next((block for block in blocks if block.line >= line), blocks[-1]),
                "a carriage return without a line feed ends this line: one control ends the block "
                "there, another goes on in it",
            )

    def frame(self, lines: list[tuple[int, str]]) -> None:
        """Take lines before the first block or after the last."""
        mark = self.dialect.comment_open
        for number, text in lines:
            comments = without_comments(text, self.dialect, [])[1] if mark in text else []
            block = Block(number, None, (), " ".join(comments) if comments else None, False, text)
            self.motion.blocks.append(block)
            faults: Faults = []
            for comment in comments:
                check_comment(comment, faults)
            self.report(faults, block)

    def body(self, lines: list[tuple[int, str]]) -> None:
        """Read lines and carry them out."""
        cache = line_cache(self.dialect)
        kept, blocks = cache.kept, self.motion.blocks
        for number, text in lines:
            line = kept.get(text) or cache.read(number, text)
            if isinstance(line, Block):
                if line.line != number:
                    line = kept[text] = block_at(line, number)
                blocks.append(line)
                if self.ended:
                    self.after_end(line)
                continue
            block = line.block
            if block.line != number:
                line.block = block = block_at(block, number)
            blocks.append(block)
            if self.ended:
                self.after_end(block)
            elif line.move is not None:
                self.plain_move(block, line.move)
            else:
                self.carry_out(block, line)

    def problem(self, code: str, block: Block, message: str, severity: Severity = "error") -> None:
        self.motion.problems.append(Problem(code, severity, block, message))

    def after_end(self, block: Block) -> None:
        """Report what stands after the end, once: it is not run."""
        if not self.beyond:
            self.beyond = True
            self.problem(
                "after-the-end",
                block,
                "this block and all after it follow the program end and are not run",
                "warning",
            )

    def report(self, faults: Sequence[tuple[str, str]], block: Block) -> None:
        for code, message in faults:
            self.problem(code, block, message)

    def carry_out(self, block: Block, line: Line) -> None:
        """Carry out a block, in the order of NISTIR 6556, 3.8, Table 8."""
        if line.faults:
            self.report(line.faults, block)
        if block.skip:
            self.motion.slashes = True
            if self.skip:
                return
        if not line.runs:
            return
        if line.word_faults:
            self.report(line.word_faults, block)
        act = line.act
        if type(act) is PlainMove:
            self.plain_move(block, act)
            return
        self.count(block)
        if type(act) is Orders:
            self.orders(block, act)

    def count(self, block: Block) -> None:
        """See that block numbers rise."""
        number = block.number
        if number is not None:
            if self.last_number < number <= self.highest_number:
                self.last_number = number
            else:
                self.misnumbered(block, number)

    def plain_move(self, block: Block, act: PlainMove) -> None:
        """Carry out a motion block as they nearly all are."""
        self.count(block)
        state = self.state
        if state.units == "inch":
            x, z, feed, faults = act.in_inch or act.figures(inch=True)
        else:
            x, z, feed, faults = act.in_mm or act.figures(inch=False)
        if faults:
            self.report(faults, block)
        self.motion_code = act.code
        if x is not None and self.x_scale != 1.0:
            x *= self.x_scale
        if feed is not None and feed != state.feed:
            if state.units is None or state.feed_mode is None:
                self.motion.too_early["F"] = block
            else:
                self.set_feed(feed)
        if x is None and z is None:
            return
        if state.distance == "incremental":
            x, z = _sum(self.x, x), _sum(self.z, z)
        elif x is None:
            x = self.x
        elif z is None:
            z = self.z
        self.go(block, x, z)

    def set_feed(self, feed: float) -> None:
        """Change the feed alone; a program goes to and fro between a few."""
        known = self.with_feed.get(feed)
        if known is None:
            state = changed(self.state, ((FEED, feed),))
            known = self.with_feed[feed] = state, self.feed_per_rev(state)
        self.state, self.rate = known

    def orders(self, block: Block, act: Orders) -> None:
        """Carry out any other block."""
        if act.datum:
            self.state_datum(block, act.datum)
        if act.stated and not self.has_moved():
            self.motion.stated.update(act.stated)
        starts = self.starts(act) if act.coolants else act.starts
        if act.sets:
            before = self.state
            self.set_state(block, act)
            # After a stop it matters what is turned on again, though the words in force say that
            # it is on: controls differ in what a stop ends.
            if (
                act.calls
                or act.selects is not None
                or (self.stopped and starts)
                or (self.state is not before and not differ_in_feed_alone(self.state, before))
            ):
                self.events.append(
                    Change(block, self.state, before, act.calls, starts, act.selects)
                )
        if act.dwells:
            # One without a readable time stays a dwell: none is missing, its time is wrong.
            known = act.dwell_s is not None
            self.events.append(Dwell(block, self.state, act.dwell_s or 0.0, known))
        elif "reference_return" in act.meanings:
            self.reference(block, act.values)
        elif act.values:
            self.move(block, act.values)
        if act.stops:
            self.stop(block, act.stops)

    def misnumbered(self, block: Block, number: int) -> None:
        """Report a block number that is too high or does not rise."""
        if number > self.highest_number:
            self.problem(
                "numbering",
                block,
                f"N{number} is above the highest number, {self.highest_number}",
                "warning",
            )
        else:
            self.problem(
                "numbering", block, f"N{number} comes after N{self.last_number}", "warning"
            )
        self.last_number = number

    # -- state -----------------------------------------------------------------

    def state_datum(self, block: Block, stated: Sequence[str]) -> None:
        """Take the words for the datum: before the first motion, or stated again."""
        if self.has_moved() and not self.datum_stated.issuperset(stated):
            self.problem(
                "misplaced-word",
                block,
                f"{_CHOSEN[stated[0]]} after the first motion: where another was in force, every "
                "place moves with it",
            )
        self.datum_stated.update(stated)

    def has_moved(self) -> bool:
        """Whether a motion that X and Z words command has come."""
        return any(type(event) is Move and event.kind != "reference" for event in self.events)

    def starts(self, act: Orders) -> tuple[str, ...]:
        """Return what a block turns on: coolant of several words with the last of them alone."""
        self.coolants_since_stop.update(act.coolants)
        if self.coolants_since_stop >= self.dialect.coolant_words:
            return act.starts
        return tuple([name for name in act.starts if name != "coolant"])

    def coolants(self, act: Orders) -> Changes:
        """Return what a block makes of coolant that takes several words."""
        if "coolant_off" in act.meanings:
            self.coolants_since_stop.clear()
            return ((COOLANT, False), (COOLANTS, ()))
        on = tuple(sorted({*self.state.coolants, *act.coolants}))
        return ((COOLANT, self.dialect.coolant_words.issubset(on)), (COOLANTS, on))

    def set_state(self, block: Block, act: Orders) -> None:
        if act.code is not None:
            self.motion_code = None if act.code == "motion_off" else act.code
        state, changes = self.state, act.changes
        for place, mode in act.changes:
            if place in FIGURE_OF and state[place] is not None and mode != state[place]:
                # First, so that a figure in the same block counts in the new mode.
                changes = ((FIGURE_OF[place], None), *changes)
        if "F" in act.values:
            faults: Faults = []
            units = next((to for place, to in changes if place == UNITS), state.units)
            if state.units is not None and units != state.units:
                what = "units change beside F: some controls read F in the old units, others in "
                faults.append(("misplaced-word", what + "the new"))
            feed = feed_mm(self.dialect, act.values["F"], units == "inch", faults)
            self.report(faults, block)
            changes = (*changes, (FEED, feed))
        if not (state.units and state.feed_mode and (state.speed_mode or self.one_speed_mode)):
            changes = self.with_a_meaning(block, changes)
        if act.faults:
            self.report(act.faults, block)
        if act.selects is not None:
            self.selected = act.selects
        if act.coolants or (self.state.coolants and "coolant_off" in act.meanings):
            changes = (*changes, *self.coolants(act))
        if act.changes_tool:
            changes = (*changes, (STATION, self.tool_change(block)))
        if not changes:
            return
        after = changed(state, changes)
        if after != state:
            self.state, self.rate = after, self.feed_per_rev(after)
            self.with_feed.clear()
            if after.x_mode != state.x_mode:
                self.x_scale = x_scale(self.dialect, after.x_mode)

    def with_a_meaning(self, block: Block, changes: Changes) -> Changes:
        """Leave out an F or S that says nothing: its mode is not stated yet.

        A control takes it in whatever mode it was left in, and what is stated later does not
        change what it took. F comes before the units of its own block, and after the feed mode
        (NISTIR 6556, 3.8, Table 8).
        """
        state, to = self.state, dict(changes)
        early = []
        if state.units is None or (state.feed_mode is None and FEED_MODE not in to):
            early.append((FEED, "F"))
        if not (self.one_speed_mode or state.speed_mode or SPEED_MODE in to):
            early.append((RPM, "S"))
        for figure, letter in early:
            if to.get(figure) is not None:
                self.motion.too_early[letter] = block
                changes = tuple(change for change in changes if change[0] != figure)
        return changes

    def tool_change(self, block: Block) -> int | None:
        """Return the station that a tool change calls: T may stand before it (NISTIR 6556)."""
        if self.selected is None:
            self.problem("misplaced-word", block, "a tool change without a T word")
            return self.state.station
        return self.selected

    def length(self, block: Block, word: Word) -> float:
        """Return a length in millimetres."""
        faults: Faults = []
        value = length_mm(self.dialect, word, self.state.units == "inch", faults)
        self.report(faults, block)
        return value

    # -- motion ----------------------------------------------------------------

    def target(self, block: Block, values: dict[str, Word]) -> tuple[float | None, float | None]:
        x, z = self.x, self.z
        factor = x_factor(self.dialect) * self.x_scale
        incremental = self.state.distance == "incremental"
        if "X" in values:
            value = self.length(block, values["X"]) * factor
            x = _sum(x, value) if incremental else value
        if "Z" in values:
            value = self.length(block, values["Z"])
            z = _sum(z, value) if incremental else value
        if "U" in values:
            x = self.increment(block, x, self.length(block, values["U"]) * factor)
        if "W" in values:
            z = self.increment(block, z, self.length(block, values["W"]))
        return x, z

    def increment(self, block: Block, place: float | None, way: float) -> float | None:
        """Return where an increment leads; from an unknown place it leads to an unknown one."""
        if place is None and way:
            self.motion.blind.append(block)
        return _sum(place, way)

    def move(self, block: Block, values: dict[str, Word]) -> None:
        if not ("X" in values or "Z" in values or "U" in values or "W" in values):
            return
        if self.motion_code is None:
            self.problem("misplaced-word", block, "an axis word where no G00 or G01 is in force")
            return
        self.go(block, *self.target(block, values))

    def go(self, block: Block, x: float | None, z: float | None) -> None:
        """Go to a place by the motion word in force."""
        move = (
            Move(block, self.state, "feed", self.x, self.z, x, z, self.rate)
            if self.motion_code == "linear"
            else Move(block, self.state, "rapid", self.x, self.z, x, z, None)
        )
        self.events.append(move)
        self.x, self.z = x, z

    def feed_per_rev(self, state: State) -> float | None:
        """Return the slide travel per turn of the work that a state comes to [mm/rev]."""
        if state.feed is None:
            return None
        if (state.feed_mode or self.dialect.feed) == "per revolution":
            return state.feed
        if state.speed_mode == "surface speed":
            return None  # the turns of the work change with its diameter
        return state.feed / state.rpm if state.rpm else None

    def reference(self, block: Block, values: dict[str, Word]) -> None:
        """Go to the reference point, by way of the point that the words name."""
        along_x, along_z = "X" in values or "U" in values, "Z" in values or "W" in values
        x, z = self.target(block, values)
        moved = (along_x and x != self.x) or (along_z and z != self.z)
        if moved:
            self.events.append(Move(block, self.state, "rapid", self.x, self.z, x, z, None))
            self.x, self.z = x, z
        if self.dialect.reference_axes == "all":
            along_x = along_z = True
        if not along_x and not along_z:
            self.problem("misplaced-word", block, "a reference return without an axis")
            return
        to_x = None if along_x else self.x
        to_z = None if along_z else self.z
        self.events.append(Move(block, self.state, "reference", self.x, self.z, to_x, to_z, None))
        self.x, self.z = to_x, to_z

    def stop(self, block: Block, stops: list[str]) -> None:
        for meaning in stops:
            if meaning in ("program_stop", "optional_stop"):
                optional = meaning == "optional_stop"
                self.events.append(Stop(block, self.state, optional))
                self.stopped = True
                self.coolants_since_stop.clear()
                if self.next_skips:
                    self.skip = self.next_skips.pop(0)
            else:
                returns = meaning == "subprogram_return"
                self.events.append(End(block, self.state, returns))
                self.ended = True
