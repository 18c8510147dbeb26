"""Motion to time: where the slide stands at each machine second, and which block runs."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import Literal, NamedTuple

from knurlcam.gcode.motion import Dwell, Motion, Move, State, Stop
from knurlcam.job.limits import MAX_LENGTH_MM
from knurlcam.plan.model import Plan
from knurlcam.verification.limits import compensated_work

__all__ = [
    "PHASES",
    "TOUCH_MM",
    "Depth",
    "Halt",
    "Key",
    "Phase",
    "Print",
    "Span",
    "Timeline",
    "depth_of",
    "pass_names",
    "time_line",
    "touches",
]

Depth = Callable[[float, float], float]
"""From X, on the diameter, and Z of the slide to the penetration of the rolls [mm]."""

Phase = Literal["rapid", "infeed", "dwell", "headstock", "tailstock", "retract"]
PHASES: tuple[Phase, ...] = ("rapid", "infeed", "dwell", "headstock", "tailstock", "retract")

LONGEST_S = 86_400.0
"""Longest time of a block [s]: one of more than a day is an error, and shown a day long."""

TOUCH_MM = 0.001
"""Penetration, radial [mm], from which the rolls print: below it is rounding."""

STRAIGHT_LOOKS = (0.0, 1.0)
"""Shares of a block at which its depth is computed, of rigid work: its two ends."""

COMPENSATED_LOOKS = (0.0, 0.25, 0.5, 0.75, 1.0)
"""... and with deflection compensation: the work deflects most between the ends."""

STRAIGHT_MM = 0.0005
"""Distance [mm] by which a drawn roll may be off its true place between two keys: half of
what a control's least increment moves it."""


class Span(NamedTuple):
    """A stretch of time in which the slide moves evenly or stands.

    Attributes:
        block: Place of its block among the motion's blocks.
        phase: What the slide does.
        start_s: Machine time at its start [s]
        end_s: ... and at its end [s]
        x0: X at its start, on the diameter [mm]
        z0: Z at its start [mm]
        x1: X at its end, on the diameter [mm]
        z1: Z at its end [mm]
        revolutions: Turns of the work meanwhile.
        feed_mm_per_rev: Feed; None for a rapid, a dwell or a feed that is not stated [mm/rev]
        timed: Whether it is known how long it lasts.
        rpm: Speed of the work, 0 where it stands [rev/min]
    """

    block: int
    phase: Phase
    start_s: float
    end_s: float
    x0: float
    z0: float
    x1: float
    z1: float
    revolutions: float
    feed_mm_per_rev: float | None
    timed: bool
    rpm: float

    @property
    def seconds(self) -> float:
        """How long it lasts [s]."""
        return self.end_s - self.start_s


class Key(NamedTuple):
    """Where the slide stands at one time; between two keys it moves evenly.

    Attributes:
        s: Machine time [s]
        x: X on the diameter [mm]
        z: Z of the slide [mm]
        depth: Penetration of the rolls as :func:`depth_of` gives it, negative while they are
            clear [mm]
        block: Place of the block that leads here.
        phase: What the slide did on its way here.
    """

    s: float
    x: float
    z: float
    depth: float
    block: int
    phase: Phase


class Halt(NamedTuple):
    """A stop of the program.

    Attributes:
        block: Place of its block.
        s: Machine time at which it comes [s]
        optional: Whether the operator may switch it off.
    """

    block: int
    s: float
    optional: bool


class Print(NamedTuple):
    """One pass of the rolls as the program makes it.

    Attributes:
        contact: Which time the rolls touch the work, from 1.
        direction: ``headstock``, ``tailstock`` or ``plunge``.
        xs: Least and greatest X on its way along Z, on the diameter; of a plunge its last [mm]
        depth: Penetration at its end, radial [mm]
        depths: Least and greatest penetration on its way along Z; of a plunge its last [mm]
        z_from: Z of the slide where it starts [mm]
        z_to: ... and where it ends [mm]
        feeds: Least and greatest feed along Z, of a plunge the infeed; None where a feed is
            not stated or the slide goes in rapid [mm/rev]
        revolutions: Turns of the work, with its infeed and dwell.
        seconds: Time, with its infeed and dwell [s]
        timed: Whether these two are known.
        rpm: Least and greatest speed of the turning spindle, 0 where it stands [rev/min]
        block: Place of its first block.
        last_block: Place of its last block.
    """

    contact: int
    direction: Literal["headstock", "tailstock", "plunge"]
    xs: tuple[float, float]
    depth: float
    depths: tuple[float, float]
    z_from: float
    z_to: float
    feeds: tuple[float, float] | None
    revolutions: float
    seconds: float
    timed: bool
    rpm: tuple[float, float]
    block: int
    last_block: int


@dataclass(frozen=True, slots=True)
class Timeline:
    """A program's motion against machine time.

    Attributes:
        spans: What the slide does, in order, without gaps in time.
        keys: The same as points, close enough to move evenly in between.
        key_after: For each block, the place of the key at its end.
        states: For each block, what is in force after it.
        halts: The program's stops.
        prints: The passes of the rolls.
        total_s: Time at the end, stops not counted [s]
        timed: Whether each feed move has a feed and a turning spindle at a known speed, so
            that its time is known; else it takes none, or a wrong one, here.
        assumed: Whether the program's first motion starts from a place it does not say.
        lost: Whether it moves by increments from such a place, so that it is
            unknown where the slide stands.
        cut: Whether something lay too far off, or took too long, to be shown as it is.
        depth: How deep the rolls come at an X and a Z of the slide; see :func:`depth_of`.
    """

    spans: tuple[Span, ...]
    keys: tuple[Key, ...]
    key_after: tuple[int, ...]
    states: tuple[State, ...]
    halts: tuple[Halt, ...]
    prints: tuple[Print, ...]
    total_s: float
    timed: bool
    assumed: bool
    lost: bool
    cut: bool
    depth: Depth


def time_line(motion: Motion, plan: Plan) -> Timeline:
    """Lay a motion out in machine time.

    A start that the program does not say, and the reference point, are taken to be the
    safe position. Rapids run straight, at the machine's rapid rate.

    Args:
        motion: What was read from the program's text.
        plan: The plan of its job.
    """
    walk = _Walk(motion, plan)
    walk.run()
    return Timeline(
        spans=tuple(walk.spans),
        keys=tuple(walk.keys),
        key_after=tuple(walk.key_after),
        states=tuple(walk.states),
        halts=tuple(walk.halts),
        prints=tuple(_prints(walk.spans, plan, walk.depth)),
        total_s=walk.s,
        timed=all(s.timed for s in walk.spans),
        lost=walk.lost,
        assumed=walk.assumed,
        cut=walk.cut,
        depth=walk.depth,
    )


class _Walk:
    """Carries the slide along the events."""

    def __init__(self, motion: Motion, plan: Plan) -> None:
        self.motion, self.plan = motion, plan
        machine = plan.job.machine
        self.rapid_m_min = machine.rapid_rate
        self.depth = depth_of(plan)
        self.compensated = compensated_work(plan) is not None
        # Where the reference point is, no job says; nor where the slide stands at the start.
        self.reference = (machine.safe_x, machine.safe_z)
        self.x, self.z = self.reference
        self.s = 0.0
        self.spans: list[Span] = []
        self.keys = [Key(0.0, self.x, self.z, self.depth(self.x, self.z), 0, "rapid")]
        self.key_after: list[int] = []
        self.states: list[State] = []
        self.halts: list[Halt] = []
        self.assumed = self.lost = self.cut = False

    def run(self) -> None:
        motion = self.motion
        place = {block.line: i for i, block in enumerate(motion.blocks)}
        state = State()
        for event in motion.events:
            block = place[event.block.line]
            self.up_to(block, state)
            state = event.state
            if type(event) is Move:
                self.move(event, block)
            elif type(event) is Dwell:
                self.dwell(event, block)
            elif type(event) is Stop:
                self.halts.append(Halt(block, self.s, event.optional))
        self.up_to(len(motion.blocks), state)

    def up_to(self, block: int, state: State) -> None:
        """Blocks before this one are over."""
        missing = block - len(self.key_after)
        self.key_after.extend([len(self.keys) - 1] * missing)
        self.states.extend([state] * missing)

    def move(self, move: Move, block: int) -> None:
        x0 = self.within(move.x0, self.reference[0])
        z0 = self.within(move.z0, self.reference[1])
        x1 = self.within(move.x1, self.reference[0])
        z1 = self.within(move.z1, self.reference[1])
        if not self.spans:
            self.assumed = move.x0 is None or move.z0 is None
            self.keys[0] = Key(0.0, x0, z0, self.depth(x0, z0), 0, "rapid")
        self.lost |= _is_lost(move)
        seconds = self.lasting(move.duration_s(self.rapid_m_min, self.reference))
        rpm = _turning(move.state)
        self.add(
            Span(
                block=block,
                phase=_phase(move.kind, x1 - x0, z1 - z0),
                start_s=self.s,
                end_s=self.s + seconds,
                x0=x0,
                z0=z0,
                x1=x1,
                z1=z1,
                revolutions=rpm * seconds / 60.0,
                feed_mm_per_rev=move.feed_mm_per_rev if move.kind == "feed" else None,
                timed=move.kind != "feed" or _is_timed(move),
                rpm=rpm,
            )
        )

    def dwell(self, dwell: Dwell, block: int) -> None:
        seconds, rpm = self.lasting(dwell.seconds), _turning(dwell.state)
        self.add(
            Span(
                block=block,
                phase="dwell",
                start_s=self.s,
                end_s=self.s + seconds,
                x0=self.x,
                z0=self.z,
                x1=self.x,
                z1=self.z,
                revolutions=rpm * seconds / 60.0,
                feed_mm_per_rev=None,
                timed=True,
                rpm=rpm,
            )
        )

    def add(self, span: Span) -> None:
        self.spans.append(span)
        seconds = span.end_s - span.start_s
        for share in self.shares(span):
            x = span.x0 + (span.x1 - span.x0) * share
            z = span.z0 + (span.z1 - span.z0) * share
            s, depth = span.start_s + seconds * share, self.depth(x, z)
            self.keys.append(Key(s, x, z, depth, span.block, span.phase))
        self.s, self.x, self.z = span.end_s, span.x1, span.z1

    def shares(self, span: Span) -> list[float]:
        """Return where a move must be cut so that the depth runs straight in between.

        A pivoting head and a straddle do not go deeper by what the slide moves, and work that
        deflects is not pressed in by what the slide goes deeper.
        """
        x0, z0, x1, z1 = span.x0, span.z0, span.x1, span.z1
        rigid = self.plan.contact.depth_mm
        if self.compensated:
            # The roll is drawn where the slide stands, and labelled with how deep it is.
            bent = _cut(lambda s: self.depth(x0 + (x1 - x0) * s, z0 + (z1 - z0) * s))
            return sorted({*bent, *_cut(lambda s: rigid(x0 + (x1 - x0) * s))})
        return [1.0] if x0 == x1 else _cut(lambda s: rigid(x0 + (x1 - x0) * s))

    def within(self, value: float | None, otherwise: float) -> float:
        """Return a coordinate that can be drawn."""
        if value is None:
            return otherwise
        if not abs(value) <= MAX_LENGTH_MM:
            self.cut = True
            return math.copysign(MAX_LENGTH_MM, value)
        return value

    def lasting(self, seconds: float) -> float:
        """Return a time that can be shown."""
        if not 0.0 <= seconds <= LONGEST_S:
            self.cut = True
            return LONGEST_S if seconds > 0.0 else 0.0
        return seconds


def _cut(depth: Callable[[float], float]) -> list[float]:
    """Return at which shares of a move it is cut so that the depth runs straight in between."""
    found: list[float] = []

    def cut(a: float, b: float, at_a: float, at_b: float, left: int) -> None:
        middle = (a + b) / 2.0
        at_middle = depth(middle)
        if left and abs(at_middle - (at_a + at_b) / 2.0) > STRAIGHT_MM:
            cut(a, middle, at_a, at_middle, left - 1)
            cut(middle, b, at_middle, at_b, left - 1)
        else:
            found.append(b)

    # Ten halvings, 1024 pieces: more than any move needs, so that nothing runs for ever.
    cut(0.0, 1.0, depth(0.0), depth(1.0), 10)
    return found


def _is_lost(move: Move) -> bool:
    """Whether a move goes, by an increment, to a place that is unknown."""
    letters = {w.letter for w in move.block.words}
    # An absolute word would say where it goes; only an increment leaves the end unknown.
    x_lost = move.x1 is None and not letters.isdisjoint("XU")
    z_lost = move.z1 is None and not letters.isdisjoint("ZW")
    return move.kind != "reference" and (x_lost or z_lost)


def _turning(state: State) -> float:
    return state.rpm or 0.0 if state.spindle != "off" else 0.0


def _is_timed(move: Move) -> bool:
    """Whether a feed move's time is known: it has a feed, and the spindle a known speed."""
    state = move.state
    # At constant surface speed the turns depend on a diameter that no block states.
    turns = state.spindle != "off" and state.rpm and state.speed_mode != "surface speed"
    return bool(turns and move.feed_mm_per_rev)


def _phase(kind: str, dx: float, dz: float) -> Phase:
    return "rapid" if kind != "feed" else _way(dx, dz)


def _way(dx: float, dz: float) -> Phase:
    # X is on the diameter: the slide goes half of it.
    if abs(dx) / 2.0 >= abs(dz):
        return "infeed" if dx < 0.0 else "retract"
    return "headstock" if dz < 0.0 else "tailstock"


def depth_of(plan: Plan) -> Depth:
    """Return the function from X and Z of the slide to penetration, as verification has it.

    With deflection compensation the deflection is taken off; without it the work is taken to
    be rigid, as the passes are planned.
    """
    work, contact, shift = compensated_work(plan), plan.contact, plan.datum_shift_mm
    rigid = contact.depth_mm
    if work is None:
        return lambda x, _: rigid(x)
    deflecting, centre = work.penetration_mm, contact.datum_shift_mm

    @cache  # a key, a pass and a picture ask for the same places
    def depth(x: float, z: float) -> float:
        # Clear of the work nothing deflects.
        clear = rigid(x)
        return clear if clear <= 0.0 else deflecting(x / 2.0 + centre, z - shift)

    return depth


def touches(plan: Plan, span: Span) -> bool:
    """Return whether the rolls are on the work at either end of a stretch."""
    depth = plan.contact.depth_mm
    left = min(span.z0, span.z1) - plan.datum_shift_mm
    return left < 0.0 and max(depth(span.x0), depth(span.x1)) > TOUCH_MM


def _in_contact(span: Span) -> Phase:
    """Return what a stretch does to the work; a rapid does what a feed would."""
    if span.phase != "rapid":
        return span.phase
    return _way(span.x1 - span.x0, span.z1 - span.z0)


def _prints(spans: list[Span], plan: Plan, depth: Depth) -> Iterator[Print]:
    """Return the passes: each begins with an infeed or a reversal."""
    contact = 0
    inside = False
    held: list[Span] = []
    looks = COMPENSATED_LOOKS if compensated_work(plan) is not None else STRAIGHT_LOOKS

    def made() -> Iterator[Print]:
        if held:
            yield _print(held, contact, depth, looks)
        held.clear()

    for span in spans:
        if not touches(plan, span):
            yield from made()
            inside = False
            continue
        if not inside:
            contact, inside = contact + 1, True
        if _in_contact(span) == "retract" or _begins_another(held, span):
            yield from made()
        if _in_contact(span) != "retract":
            held.append(span)
    yield from made()


def _begins_another(held: list[Span], span: Span) -> bool:
    """Whether a stretch is a pass of its own after those that are held."""
    phase = _in_contact(span)
    if phase == "dwell" or not held:
        return False
    last = _in_contact(held[-1])
    if phase == "infeed":
        return last != "infeed"
    return last in ("headstock", "tailstock") and last != phase


def _print(held: list[Span], contact: int, depth: Depth, looks: tuple[float, ...]) -> Print:
    along = [s for s in held if _in_contact(s) in ("headstock", "tailstock")]
    way, last = along or held, held[-1]
    xs = [last.x1, *(s.x0 for s in along), *(s.x1 for s in along)]
    depths = [depth(last.x1, last.z1)]
    depths += [_depth_within(s, share, depth) for s in along for share in looks]
    return Print(
        contact=contact,
        direction=_direction(along),
        xs=(min(xs), max(xs)),
        depth=depths[0],
        depths=(min(depths), max(depths)),
        z_from=way[0].z0,
        z_to=way[-1].z1,
        feeds=_feeds([s for s in way if s.phase != "dwell"]),
        revolutions=sum(s.revolutions for s in held),
        seconds=sum(s.seconds for s in held),
        timed=all(s.timed for s in held),
        rpm=(min(s.rpm for s in held), max(s.rpm for s in held)),
        block=held[0].block,
        last_block=last.block,
    )


def _depth_within(span: Span, share: float, depth: Depth) -> float:
    """Return the penetration at a share of the way [mm]."""
    return depth(
        span.x0 + (span.x1 - span.x0) * share,
        span.z0 + (span.z1 - span.z0) * share,
    )


def _direction(along: list[Span]) -> Literal["headstock", "tailstock", "plunge"]:
    if not along:
        return "plunge"
    return "headstock" if _in_contact(along[0]) == "headstock" else "tailstock"


def _feeds(spans: list[Span]) -> tuple[float, float] | None:
    """Return least and greatest feed [mm/rev]; None unless each has one."""
    feeds = [s.feed_mm_per_rev for s in spans if s.feed_mm_per_rev is not None]
    return (min(feeds), max(feeds)) if feeds and len(feeds) == len(spans) else None


def pass_names(plan: Plan, line: Timeline) -> tuple[str, ...]:
    """Return what each pass is called: "trial" for the strip that comes first, else its number."""
    strips = 0
    if plan.trial is not None and len({p.contact for p in line.prints}) > 1:
        strips = sum(p.contact == 1 for p in line.prints)
    return tuple("trial" if i < strips else str(i - strips + 1) for i in range(len(line.prints)))
