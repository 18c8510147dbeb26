"""What a program does, as it was read: its blocks, what happens in them, what is in force.

A model and nothing more: :mod:`knurlcam.gcode.read` makes it, verification, pictures and
imprint walk it. Lengths are millimetres and X is on the diameter, whatever the dialect writes.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from knurlcam.gcode.dialect import Dialect

__all__ = [
    "Block",
    "Change",
    "Dwell",
    "End",
    "Event",
    "Motion",
    "Move",
    "Problem",
    "Severity",
    "State",
    "Stop",
    "Word",
]

Severity = Literal["error", "warning"]


class Word(NamedTuple):
    """One word of a block: its letter and its number as it stands."""

    letter: str
    text: str

    @property
    def value(self) -> float:
        """The number's value, in whatever unit the dialect writes it."""
        return float(self.text)


class Block(NamedTuple):
    """One line of a program.

    Attributes:
        line: Line number, from 1.
        number: Its N word, or None.
        words: The other words, in order.
        comment: Its comments, joined; None without any.
        skip: Whether a slash stands before it.
        text: The line as it stands.
    """

    line: int
    number: int | None
    words: tuple[Word, ...]
    comment: str | None
    skip: bool
    text: str


@dataclass(frozen=True, slots=True)
class Problem:
    """Something wrong with the text itself."""

    code: str
    severity: Severity
    block: Block
    message: str


class State(NamedTuple):
    """What is in force; None is "not stated by the program".

    ``coolant`` is whether all is on that the dialect turns on; where that takes several words,
    ``coolants`` has those in force, in their shortest form. ``feed`` is in mm a revolution or a
    minute; ``rpm`` is S as written, at constant surface speed no rev/min. Both stay None until
    the modes that give them a meaning are stated.
    """

    units: Literal["mm", "inch"] | None = None
    distance: Literal["absolute", "incremental"] | None = None
    feed_mode: Literal["per revolution", "per minute"] | None = None
    speed_mode: Literal["constant speed", "surface speed"] | None = None
    feed: float | None = None
    rpm: float | None = None
    limit_rpm: float | None = None
    spindle: Literal["off", "forward", "reverse"] = "off"
    coolant: bool = False
    station: int | None = None
    offset: int | None = None
    gear: str | None = None
    x_mode: Literal["diameter", "radius"] | None = None
    coolants: tuple[str, ...] = ()

    @property
    def coolant_runs(self) -> bool:
        """Whether any coolant is on."""
        return self.coolant or bool(self.coolants)


@dataclass(slots=True)
class Move:
    """One motion of the slide.

    Attributes:
        block: The block that commands it.
        state: What is in force while it runs.
        kind: ``rapid``, ``feed`` or ``reference`` (a rapid to the reference point).
        x0: X before, on the diameter; None while unknown [mm]
        z0: Z before [mm]
        x1: X after; None at the reference point or while unknown [mm]
        z1: Z after [mm]
        feed_mm_per_rev: Slide travel per turn of the work; None without a feed [mm/rev]
    """

    block: Block
    state: State
    kind: Literal["rapid", "feed", "reference"]
    x0: float | None
    z0: float | None
    x1: float | None
    z1: float | None
    feed_mm_per_rev: float | None

    def duration_s(self, rapid_m_min: float, reference: tuple[float, float] = (0.0, 0.0)) -> float:
        """Return how long it takes; a feed move without a feed or speed takes no time.

        Args:
            rapid_m_min: Rapid rate [m/min]
            reference: Where the reference point, and an unknown start, is taken to be:
                X on the diameter and Z [mm]

        Returns:
            Time [s]
        """
        x0, x1 = (reference[0] if x is None else x for x in (self.x0, self.x1))
        z0, z1 = (reference[1] if z is None else z for z in (self.z0, self.z1))
        travel = math.hypot((x1 - x0) / 2.0, z1 - z0)
        if self.kind != "feed":
            return travel * 0.06 / rapid_m_min
        if not self.feed_mm_per_rev or not self.state.rpm:
            return 0.0
        return travel / (self.feed_mm_per_rev * self.state.rpm) * 60.0


@dataclass(slots=True)
class Dwell:
    """The slide stands for a time [s]; *known* unless its word says no time."""

    block: Block
    state: State
    seconds: float
    known: bool = True


@dataclass(slots=True)
class Stop:
    """A program stop; an optional one only if the operator has switched it on."""

    block: Block
    state: State
    optional: bool


@dataclass(slots=True)
class Change:
    """Spindle, coolant, tool, limit or a mode was set.

    Attributes:
        block: The block that did it.
        state: What is in force after it.
        before: ... and before it.
        calls: Which of ``station`` and ``offset`` it calls or cancels, though it be the same again.
        starts: Which of ``spindle`` and ``coolant`` it turns on, though the state has them on.
        selects: Station that a T word selects for a tool change; None without one.
    """

    block: Block
    state: State
    before: State
    calls: tuple[str, ...] = ()
    starts: tuple[str, ...] = ()
    selects: int | None = None


@dataclass(slots=True)
class End:
    """Program end, or return from a subprogram."""

    block: Block
    state: State
    returns: bool


Event = Move | Dwell | Stop | Change | End


@dataclass(slots=True)
class Motion:
    """What a program text does.

    Attributes:
        dialect: The dialect it was read in.
        blocks: Every line that is not blank.
        events: What happens, in order.
        problems: What is wrong with the text itself.
        number: Program number, if a start line gives one.
        starts: How many start lines were found in their place.
        leader: How many comments stand before them.
        closed: Whether the lines after the last block are all there.
        blind: Blocks that move by U or W from a place that the program does not know.
        unframed: Whether tape marks at both ends, which carry no number, are left out.
        slashes: Whether a block with a slash stands in it, which the operator may skip.
        too_early: The last block by letter whose F or S says nothing, for what would give it a
            meaning (units and feed mode, the speed mode) is stated after it.
        stated: Of the words that the dialect wants stated, those that stand before the first
            motion, in their shortest form.
        state: What is in force at the end.
        entry: What is in force before the first block, where it is a piece of a part program that
            says so; None where nothing stands before it.
    """

    dialect: Dialect
    blocks: list[Block] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    number: int | None = None
    starts: int = 0
    leader: int = 0
    closed: bool = False
    blind: list[Block] = field(default_factory=list)
    unframed: bool = False
    slashes: bool = False
    too_early: dict[str, Block] = field(default_factory=dict)
    stated: set[str] = field(default_factory=set)
    state: State = field(default_factory=State)
    entry: State | None = None

    @property
    def moves(self) -> list[Move]:
        """The motions alone."""
        return [e for e in self.events if type(e) is Move]

    @property
    def comments(self) -> Iterator[str]:
        """Every comment, in order."""
        return (b.comment for b in self.blocks if b.comment is not None)

    def duration_s(self, rapid_m_min: float, reference: tuple[float, float] = (0.0, 0.0)) -> float:
        """Return the machine time of motions and dwells.

        Args:
            rapid_m_min: Rapid rate [m/min]
            reference: Where the reference point is taken to be, X on the diameter and Z;
                where the start is not known, it is taken to be there as well [mm]

        Returns:
            Time [s]; stops take none.
        """
        total = 0.0
        for event in self.events:
            if type(event) is Dwell:
                total += event.seconds
            elif type(event) is Move:
                total += event.duration_s(rapid_m_min, reference)
        return total
