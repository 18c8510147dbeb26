"""The rules: what a program's motion must be for the work, rule by rule.

The checker works from the job and from the motion that was read from the text. It
never sees the path that the writer was given. "As planned" means within 0.01 mm of
penetration and 0.02 mm of Z.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import product
from pathlib import Path
from typing import Any, Literal, NamedTuple

from knurlcam.gcode.dialect import Dialect, load_dialect
from knurlcam.gcode.marks import BLOCKS_MARK, IDENTITY_MARK, SUBPROGRAM_MARK, Form
from knurlcam.gcode.motion import Block, Change, Dwell, End, Motion, Move, State, Stop
from knurlcam.gcode.read import read_program
from knurlcam.job.model import Job, with_check_digits
from knurlcam.plan.model import Plan
from knurlcam.plan.planner import make_plan
from knurlcam.plan.results import Pass
from knurlcam.plan.surroundings import pieces_beside
from knurlcam.units.kinds import MM_PER_INCH, Kind
from knurlcam.units.show import show
from knurlcam.verification.findings import Finding, Verification
from knurlcam.verification.limits import (
    DWELL_TOLERANCE_S,
    FEED_SLACK,
    LEAST_LOOKS,
    LONG_DWELL,
    LOOK_MM,
    MOST_LOOKS,
    PENETRATION_TOLERANCE_MM,
    ROOM_MM,
    SHARE_TOLERANCE,
    SPEED_TOLERANCE_RPM,
    STILL_MM,
    TOUCH_TOLERANCE_MM,
    X_TOLERANCE_MM,
    Z_TOLERANCE_MM,
    compensated_work,
    least_step,
)
from knurlcam.verification.rules import RULES

__all__ = [
    "check_motion",
    "check_motions",
    "verify",
    "verify_motion",
]

MOST_SWITCHES = 3
"""Stops at which the switch for blocks with a slash is tried both ways; a program has one."""


def verify(
    text: str,
    job: Job,
    post: str | Dialect | None = None,
    *,
    form: Form | None = None,
    posts: Iterable[str | Path] = (),
) -> Verification:
    """Verify a program text against its job.

    Args:
        text: The program, wherever it comes from.
        job: The job that it should carry out.
        post: Its dialect; the job's unless given.
        form: What it is; None to tell from the text's own remark, else a program.
        posts: Folders of a shop's own dialects.

    Returns:
        The findings. A block with a slash is judged both carried out and skipped.

    Raises:
        CannotBeDoneError: if the job itself cannot be done.
        InputError: if the dialect is unknown or broken.
    """
    motion = read_program(text, load_dialect(post or job.machine.post, posts))
    return verify_motion(motion, text, make_plan(job), form)


def verify_motion(motion: Motion, text: str, plan: Plan, form: Form | None = None) -> Verification:
    """Verify a program text that has been read against a plan; see :func:`verify`.

    Args:
        motion: What was read from the text, blocks with a slash carried out.
        text: The text, read again where it has such blocks.
        plan: The plan of the job that it should carry out.
        form: What it is; None to tell from the text's own remark, else a program.
    """
    result = check_motion(motion, plan, form)
    if not motion.slashes:
        return result
    # In order, each once. The operator may change the switch at each stop.
    found = dict.fromkeys(result.findings)
    stops = sum(type(event) is Stop for event in motion.events)
    if stops > MOST_SWITCHES:
        block = next(b for b in motion.blocks if b.skip)
        message = f"a slash, and {stops} stops: too many ways to run it for any to be trusted"
        found[Finding("error", "misplaced-word", block.number, block.line, message)] = None
        stops = 0
    for skip in product((False, True), repeat=stops + 1):
        other = read_program(text, motion.dialect, skip=skip)
        found.update(dict.fromkeys(check_motion(other, plan, form).findings))
    return Verification(result.post, result.form, _ordered(found), result.evenness)


def check_motion(motion: Motion, plan: Plan, form: Form | None = None) -> Verification:
    """Check a motion that was read from a program against a plan.

    Args:
        motion: The motion.
        plan: The plan of the job that it should carry out.
        form: What the text is; None to tell from its own remark, else a program.
    """
    return check_motions([(motion, plan)], form)[0]


def check_motions(
    pairs: Iterable[tuple[Motion, Plan]], form: Form | None = None
) -> list[Verification]:
    """Check many motions, each against its own plan, as :func:`check_motion` does.

    Stage by stage, which is faster.
    """
    checks = [_Checker(motion, plan, form or _form_of(motion)) for motion, plan in pairs]
    clear = [check for check in checks if check.begin()]
    for check in clear:
        check.walk()
    for check in clear:
        check.conclude()
    return [
        Verification(c.dialect.name, c.form, _ordered(c.findings), c.evenness()) for c in checks
    ]


def _ordered(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    return tuple(sorted(findings, key=lambda f: (f.line, f.severity)))


def _form_of(motion: Motion) -> Form:
    """Tell a text's form from its own remark; anything doubtful is a program."""
    for comment in motion.comments:
        text = comment.strip()
        if text.startswith(SUBPROGRAM_MARK):
            return "subprogram"
        if text.startswith(BLOCKS_MARK):
            return "blocks"
    return "program"


# -- one program ---------------------------------------------------------------


@dataclass(slots=True)
class _Stroke:
    """One step in contact; blocks that go on in the same way are one stroke."""

    kind: Literal["in", "dwell", "along", "out"]
    block: Block
    z0: float = 0.0
    z1: float = 0.0
    depth: float = 0.0
    """Penetration at its end [mm]"""
    seconds: float = 0.0
    said: bool = False
    """Whether the way the work was left is a finding already."""
    eased: bool = False
    """An ``in`` that goes outward and stays in the work"""
    move: Move | None = None
    """Of one that is eased: its feed is judged where it turns out to be the way out"""
    z_block: Block | None = None
    """Of the first: the block that went to its Z"""
    least: float = 0.0
    most: float = 0.0
    """Of one along the work: penetration where its blocks end, least and most [mm]"""


@dataclass(slots=True)
class _Contact:
    """From touching the work to leaving it."""

    strokes: list[_Stroke] = field(default_factory=list)
    left: bool = False
    depth: float = 0.0
    """Penetration that the last infeed reached [mm]"""

    @property
    def alongs(self) -> list[_Stroke]:
        return [s for s in self.strokes if s.kind == "along"]

    def covers(self, passes: Iterable[Pass]) -> bool:
        """Whether it has as many infeeds and traverses as the passes need."""
        presses = sum(p.presses for p in passes)
        runs = sum(p.direction != "plunge" for p in passes)
        infeeds = sum(s.kind == "in" and not s.eased for s in self.strokes)
        return len(self.alongs) >= runs and infeeds >= presses


_DEPTHS = frozenset(
    {"too-deep", "step-too-deep", "not-to-depth", "slanted-in-contact", "not-following"}
)
"""Codes that say that a depth is not as planned."""


class _Shoulder(NamedTuple):
    """A step of the work that is thicker than the blank.

    Attributes:
        left_mm: Its end towards the headstock, from Z0 [mm]
        right_mm: ... and towards the tailstock [mm]
        diameter_mm: Its diameter [mm]
        touch_x: X of the slide where the rolls touch it, on the diameter [mm]
    """

    left_mm: float
    right_mm: float
    diameter_mm: float
    touch_x: float


def _shoulders(plan: Plan) -> tuple[_Shoulder, ...]:
    """Return what stands out beyond the blank, but for the knurl's own zone."""
    contact, knurl = plan.contact, plan.job.knurl
    found = []
    for diameter, low, high in pieces_beside(
        plan.job.part.steps or (), knurl.start, knurl.start + knurl.length
    ):
        if diameter > plan.blank_diameter_mm:
            deeper = contact.blank_radius_mm - diameter / 2.0
            found.append(_Shoulder(-high, -low, diameter, contact.x_diameter_mm(deeper)))
    return tuple(found)


_IDENTITY = re.compile(rf"\s*{IDENTITY_MARK}([0-9A-F]{{12}})\s*")


class _Checker:
    """Walks through the events once and keeps what the rules need."""

    # More attributes than a dict of shared keys takes: slots are set and found faster.
    __slots__ = (
        "after_last",
        "centre_mm",
        "changes",
        "chuck_z",
        "clear_x",
        "contacts",
        "crept",
        "depth_at",
        "dialect",
        "dwell_s",
        "end_face_z",
        "end_still",
        "end_z",
        "face",
        "fastest_feed",
        "feed_slack",
        "feed_way",
        "findings",
        "form",
        "furthest_x",
        "furthest_z",
        "idle_s",
        "in_centre",
        "in_chuck",
        "in_shoulder",
        "infeed_slack",
        "job",
        "largest_x",
        "last_block",
        "least",
        "least_step",
        "lost",
        "most",
        "motion",
        "nearest_x",
        "nearest_z",
        "offset",
        "plan",
        "planned_rpm",
        "rpm_slack",
        "safe_x",
        "safe_z",
        "said",
        "shift",
        "shoulders",
        "states_run",
        "states_with_tool",
        "station",
        "stops_after",
        "stops_since_contact",
        "touch_x",
        "touching",
        "work",
        "x",
        "x_at_reference",
        "x_called_with",
        "z",
        "z_at_reference",
        "z_block",
        "z_called_with",
    )

    def __init__(self, motion: Motion, plan: Plan, form: Form) -> None:
        self.motion, self.plan, self.form = motion, plan, form
        self.job = plan.job
        self.dialect = motion.dialect
        self.feed_way = motion.dialect.feed
        self.findings: list[Finding] = []
        self.said: set[tuple[str, Any]] = set()
        self.last_block = (
            motion.blocks[-1] if motion.blocks else Block(1, None, (), None, False, "")
        )
        contact, tool, machine = plan.contact, self.job.tool, self.job.machine
        self.touch_x = contact.x_diameter_mm(0.0) - TOUCH_TOLERANCE_MM
        limits = plan.blank_limits_mm
        larger = plan.blank_tolerance_mm if limits is None else limits[0]
        self.largest_x = contact.x_diameter_mm(-max(0.0, larger) / 2.0) - TOUCH_TOLERANCE_MM
        self.clear_x = plan.clearance_x_mm - X_TOLERANCE_MM
        self.safe_x = machine.safe_x - X_TOLERANCE_MM
        self.safe_z = machine.safe_z - Z_TOLERANCE_MM
        self.station, self.offset = tool.station, tool.offset_number
        self.face, self.shift = tool.face_width, plan.datum_shift_mm
        self.end_z = -self.job.part.length
        self.end_still = self.end_z + STILL_MM
        self.chuck_z = self.end_z - Z_TOLERANCE_MM
        self.nearest_x, self.furthest_x, self.nearest_z, self.furthest_z = self.room()
        self.planned_rpm, self.dwell_s = float(plan.programmed_rpm), plan.dwell_s
        self.rpm_slack = max(SHARE_TOLERANCE * self.planned_rpm, SPEED_TOLERANCE_RPM)
        self.centre_mm = self.centre_radius()
        self.end_face_z = math.inf if self.centre_mm is None else self.shift + Z_TOLERANCE_MM
        self.contacts: list[_Contact] = []
        self.changes: list[Change] = []
        self.in_chuck = self.in_centre = self.in_shoulder = False
        self.lost = False
        self.z_block: Block | None = None
        self.touching = False
        self.x_called_with: tuple[int | None, int | None] | None = None
        self.z_called_with: tuple[int | None, int | None] | None = None
        self.crept = self.idle_s = 0.0
        self.x_at_reference = self.z_at_reference = False
        self.after_last: list[tuple[Move, float, float]] = []
        self.stops_since_contact: list[Stop] = []
        self.stops_after: list[int] = []
        # By id, for the motion holds them: a program goes to and fro between a few states.
        self.states_run: set[int] = set()
        self.states_with_tool: set[int] = set()
        rounding = self.rounding_of_feeds()
        share = SHARE_TOLERANCE * (1.0 + FEED_SLACK)
        self.infeed_slack = max(share * plan.infeed_mm_per_rev, rounding)
        self.feed_slack = max(share * plan.feed_mm_per_rev, rounding)
        self.fastest_feed = self.face / 2.0 + rounding
        self.depth_at: tuple[float, float] = (math.inf, -math.inf)
        self.work = compensated_work(plan)
        self.least_step = least_step(plan)
        self.least, self.most = math.inf, -math.inf
        self.shoulders = () if self.job.part.steps is None else _shoulders(plan)
        self.x: float | None = None
        self.z: float | None = None

    def centre_radius(self) -> float | None:
        """Radius of what stands beyond the end face; None where nothing does."""
        holding = self.job.holding
        if holding.held_by == "none":
            return None
        plan = self.plan
        largest = plan.largest_centre_mm or plan.blank_diameter_mm - 2.0 * plan.penetration_mm
        diameter = holding.centre_diameter or largest
        return diameter / 2.0 - PENETRATION_TOLERANCE_MM

    def room(self) -> tuple[float, float, float, float]:
        """Return the least and most X, on the diameter, and Z to which there is known room [mm].

        Out to the safe position, in to the deepest pass, and along to the chuck's face; and
        :data:`ROOM_MM` further.
        """
        plan, machine = self.plan, self.job.machine
        ways = [(p.x_diameter_mm, p.z_start_mm) for p in plan.passes]
        deepest = min([x for x, _ in ways] + [x for p in plan.passes for _, x in p.follow])
        return (
            deepest - 2.0 * ROOM_MM,
            machine.safe_x + 2.0 * ROOM_MM,
            self.end_z + self.shift - ROOM_MM,
            max(machine.safe_z, *(z for _, z in ways)) + ROOM_MM,
        )

    def set_by(self, name: str, otherwise: Block) -> Block:
        """Return the block that set a state, so that a wrong word is shown where it stands."""
        for event in reversed(self.changes):
            if getattr(event.before, name) != getattr(event.state, name):
                return event.block
        return otherwise

    def was_set(self, *names: str) -> bool:
        """Whether the program set one of some states at all."""
        return any(getattr(e.before, n) != getattr(e.state, n) for e in self.changes for n in names)

    def say(self, code: str, block: Block, message: str) -> None:
        rule = RULES[code]
        self.findings.append(
            Finding(rule.severity, code, block.number, block.line, f"{message}: {rule.reason}")
        )

    def say_once(self, code: str, value: object, block: Block, message: str) -> None:
        """Say a thing about a state once, however many blocks run in it."""
        if (code, value) not in self.said:
            self.said.add((code, value))
            self.say(code, block, message)

    def mm(self, value: float) -> str:
        return show(value, Kind.LENGTH, self.job.units)

    def begin(self) -> bool:
        """Check what stands beside the motion; False where no length means anything."""
        self.check_text()
        self.check_frame()
        self.check_identity()
        return not self.modes_are_wrong()

    def walk(self) -> None:
        """Go through the events once."""
        for block in self.motion.blind:
            self.say_once(
                "position-unknown", "increment", block, "an increment starts from an unknown place"
            )
        for event in self.motion.events:
            if type(event) is Move:
                self.move(event)
            elif type(event) is Dwell:
                self.dwell(event)
            elif type(event) is Change:
                self.change(event)
            elif type(event) is Stop:
                self.stop(event)

    def conclude(self) -> None:
        """Check what only the whole program can tell."""
        if not self.lost:
            self.check_contacts()
        self.check_leaving()
        self.check_end()

    # -- text, frame, identity, modes --------------------------------------------

    def check_text(self) -> None:
        for problem in self.motion.problems:
            self.findings.append(
                Finding(
                    problem.severity,
                    problem.code,
                    problem.block.number,
                    problem.block.line,
                    problem.message,
                )
            )

    def check_frame(self) -> None:
        motion, dialect, form = self.motion, self.dialect, self.form
        ends = [e for e in motion.events if type(e) is End]
        if form == "blocks":
            if motion.starts:
                self.say("misplaced-word", motion.blocks[0], "blocks to paste start a program")
            if dialect.end and motion.closed:
                self.say("misplaced-word", self.last_block, "blocks to paste end a program")
            for end in ends:
                self.say("misplaced-word", end.block, "blocks to paste end a program")
            return
        start = dialect.subprogram_start if form == "subprogram" else dialect.start
        first = motion.blocks[0] if motion.blocks else self.last_block
        if motion.starts < len(start or ()):
            lines = dialect.start_lines(self.job.part.number, subprogram=form == "subprogram")
            wanted = " and ".join(lines)
            self.say("program-start-missing", first, f"the text does not begin with {wanted}")
        number = self.job.part.number
        if motion.number is not None and motion.number != number:
            starts = motion.blocks[: motion.starts]
            holder = next((b for b in starts if re.search(r"\d", b.text)), first)
            self.say(
                "other-job",
                holder,
                f"the program has number {motion.number}, the job number {number}",
            )
        returns = form == "subprogram"
        code = dialect.codes.subprogram_return if returns else dialect.codes.program_end
        if not any(e.returns == returns for e in ends):
            self.say("program-end-missing", self.last_block, f"there is no {code}")
        elif not motion.closed:
            wanted = " and ".join(dialect.end)
            self.say("program-end-missing", self.last_block, f"the text does not end with {wanted}")

    def check_identity(self) -> None:
        for block in self.motion.blocks:
            comment = block.comment
            if not comment or IDENTITY_MARK not in comment:
                continue
            match = _IDENTITY.fullmatch(comment)
            if match is None or match[1] == self.job.identity:
                continue
            # A slip in the comment itself fails the check digits and says nothing.
            if match[1] == with_check_digits(match[1][:10]):
                self.say(
                    "other-job",
                    block,
                    f"the program says job {match[1]}, this job is {self.job.identity}",
                )

    def modes_are_wrong(self) -> bool:
        """Check the modes in which the program moves; True where lengths mean nothing."""
        fatal = False
        first = True
        checked: set[int] = set()
        for event in self.motion.events:
            if type(event) is Move:
                state, block = event.state, event.block
                if id(state) not in checked:
                    checked.add(id(state))
                    fatal |= self.check_lengths(state, block)
                    self.check_feed_and_speed_mode(state, block, first)
                    first = False
            elif type(event) is Change:
                self.changes.append(event)
        self.changes.clear()
        return fatal

    def check_lengths(self, state: State, block: Block) -> bool:
        dialect, units = self.dialect, self.job.units
        word = dialect.codes.inch if units == "inch" else dialect.codes.metric
        fatal = False
        if state.units is None:
            fatal = True
            self.say_once("units-not-stated", None, block, f"no {word} before the first motion")
        elif state.units != units:
            fatal = True
            self.say_once(
                "units-wrong",
                None,
                self.set_by("units", block),
                f"the program moves in {state.units}, the job in {units}",
            )
        if dialect.increments == "codes" and state.distance != "absolute":
            fatal = True
            word = dialect.codes.absolute or ""
            if state.distance is None:
                self.say_once("distance-not-stated", None, block, f"no {word} before a motion")
            else:
                block = self.set_by("distance", block)
                self.say_once("distance-wrong", None, block, f"{word} is not in force")
        elif state.distance == "incremental":
            fatal = True
            block = self.set_by("distance", block)
            self.say_once("distance-wrong", None, block, "increments are in force")
        return fatal

    def check_feed_and_speed_mode(self, state: State, block: Block, first: bool) -> None:
        codes = self.dialect.codes
        if state.feed_mode is None:
            if first:
                self.say_once(
                    "feed-mode-not-stated", None, block, "no feed mode before the first motion"
                )
        elif state.feed_mode != self.dialect.feed:
            self.say_once(
                "feed-mode-wrong",
                None,
                self.set_by("feed_mode", block),
                f"feeds are taken {state.feed_mode}, not {self.dialect.feed}",
            )
        if codes.constant_speed is None or not first:
            return
        if state.speed_mode is None:
            self.say_once(
                "speed-mode-not-stated",
                None,
                block,
                f"no {codes.constant_speed} before the first motion",
            )
        elif state.speed_mode == "surface speed":
            block = self.set_by("speed_mode", block)
            self.say_once("speed-mode-wrong", None, block, "constant surface speed is in force")

    # -- geometry ----------------------------------------------------------------

    def over_work(self, z_low: float, z_high: float) -> bool:
        """Whether the rolls' face overlaps the work anywhere between two Z."""
        left, right = z_low - self.shift, z_high - self.shift + self.face
        return left < -STILL_MM and right > self.end_still

    def may_touch(self) -> bool:
        """Whether the rolls stand where a blank of the largest diameter allowed would meet them."""
        x, z = self.x, self.z
        return x is not None and z is not None and x < self.largest_x and self.over_work(z, z)

    def in_work(self, x: float, z: float) -> bool:
        return x < self.touch_x and self.over_work(z, z)

    # -- events ------------------------------------------------------------------

    def move(self, move: Move) -> None:
        x0, z0, x1, z1 = move.x0, move.z0, move.x1, move.z1
        if self.z_called_with is not None or self.x_called_with is not None:
            self.check_stale(move)
        if x0 is None or z0 is None or x1 is None or z1 is None or move.kind == "reference":
            self.check_room(move.block, x1, z1)
            self.half_known_move(move)
            return
        if not (
            self.nearest_x <= x1 <= self.furthest_x and self.nearest_z <= z1 <= self.furthest_z
        ):
            self.check_room(move.block, x1, z1)
        if id(move.state) not in self.states_with_tool:
            self.check_tool(move.state, move.block, x1, goes_in=z1 < min(z0, self.safe_z))
        self.x_at_reference = self.z_at_reference = False
        self.x, self.z = x1, z1
        self.known_move(move, x0, z0, x1, z1)

    def check_stale(self, move: Move) -> None:
        """After another tool or offset was called, an axis is not where the program thinks."""
        letters = {word.letter for word in move.block.words}
        goes_in = move.x1 is not None and move.x1 < self.safe_x
        stale = ""
        if self.z_called_with is not None and (goes_in or "W" in letters):
            stale = "Z"
        elif self.x_called_with is not None and ("U" in letters or {"Z", "W"} & letters):
            stale = "" if "X" in letters else "X"
        ours = self.called(move.state) == (self.station, self.offset)
        if stale and ours and move.kind != "reference":
            self.say_once(
                "position-unknown",
                "stale",
                move.block,
                f"tool or offset were called since {stale} was stated, which is another place now",
            )
        if {"Z", "W"} & letters:
            self.z_called_with = None
        if "X" in letters or move.kind == "reference":
            self.x_called_with = None

    def check_room(self, block: Block, x1: float | None, z1: float | None) -> None:
        """Where the job knows of no room the tool has no business, in air or not."""
        machine = self.job.machine
        for axis, place, least, most in (
            ("X", x1, self.nearest_x, self.furthest_x),
            ("Z", z1, self.nearest_z, self.furthest_z),
        ):
            if place is None or least <= place <= most:
                continue
            safe = self.mm(machine.safe_x if axis == "X" else machine.safe_z)
            known = f"the safe position is at {axis} {safe}"
            if place < least:
                known = (
                    f"the chuck or driven centre stands at {self.mm(self.end_z)}"
                    if axis == "Z"
                    else f"the deepest pass is at X {self.mm(least + 2.0 * ROOM_MM)}"
                )
            self.say_once(
                "outside-known-room",
                (axis, place),
                block,
                f"the tool goes to {axis} {self.mm(place)}, {known}",
            )

    def half_known_move(self, move: Move) -> None:
        """Judge a move from or to a place of which an axis is not known."""
        x0 = math.inf if move.x0 is None and self.x_at_reference else move.x0
        z0 = move.z0
        if move.kind == "reference":
            self.reference(move, x0)
            return
        x1, z1 = move.x1, move.z1
        self.check_tool(move.state, move.block, x1)
        if x1 is not None:
            self.x_at_reference = False
        if z1 is not None:
            self.z_at_reference = False
        self.x, self.z = x1, z1
        if move.kind == "feed" and (
            (x1 is not None and x1 != move.x0) or (z1 is not None and z1 != z0)
        ):
            self.check_has_feed(move)
        if self.unknown(move, x0, z0, x1, z1):
            return
        x1 = math.inf if x1 is None else x1
        if x0 is None:
            x0 = x1
        if z1 is None:
            if x1 < self.safe_x and self.centre_mm is not None:
                self.say_once(
                    "outside-known-room",
                    "tailstock",
                    move.block,
                    f"X goes in to {self.mm(x1)} at the reference point of Z, behind the tailstock",
                )
            return
        if z0 is None:
            z0 = z1
        self.known_move(move, x0, z0, x1, z1)

    def unknown(
        self, move: Move, x0: float | None, z0: float | None, x1: float | None, z1: float | None
    ) -> bool:
        """Judge a motion from a place that is not known; True where nothing more can be said."""
        z_known = z0 is not None or self.z_at_reference
        if x0 is None and z1 != z0:
            self.say_once("position-unknown", "x", move.block, "Z moves before X is known")
            return True
        if x0 is None and x1 is None:
            return True
        if not z_known and x1 is not None and x1 < self.safe_x:
            self.lost = True  # where the rolls meet the work cannot be told any more
            self.say_once(
                "position-unknown",
                "z",
                move.block,
                f"X goes in to {self.mm(x1)} before Z is known",
            )
            return True
        return False

    def reference(self, move: Move, x0: float | None) -> None:
        self.check_tool(move.state, move.block, None)
        along_x = move.x1 is None and not (move.x0 is None and self.x_at_reference)
        along_z = move.z1 is None and not (move.z0 is None and self.z_at_reference)
        if self.touching:
            self.say("rapid-in-contact", move.block, "the tool goes to the reference point")
            self.touching = False
        if x0 is None and {"Z", "W"} & {word.letter for word in move.block.words}:
            self.say_once("position-unknown", "x", move.block, "Z moves before X is known")
        elif along_z and x0 is not None and x0 < self.safe_x:
            self.say("z-before-x", move.block, f"Z goes to the reference point at X {self.mm(x0)}")
        if along_x and move.x1 is None:
            self.x_at_reference = True
        if move.z1 is None:
            self.z_at_reference = True
        self.x, self.z = move.x1, move.z1

    def known_move(self, move: Move, x0: float, z0: float, x1: float, z1: float) -> None:
        block, rapid = move.block, move.kind == "rapid"
        dx = 0.0 if x0 == x1 else x1 - x0
        dz = z1 - z0
        if abs(dz) >= STILL_MM or self.z_block is None:
            self.z_block = block
        elif abs(dx) < STILL_MM:
            return
        x_low = x1 if x1 < x0 else x0
        z_low, z_high = (z0, z1) if z0 < z1 else (z1, z0)
        over = self.over_work(z_low, z_high)
        hits = x_low < self.touch_x and over
        if z_low - self.shift < self.chuck_z or self.in_chuck:
            self.check_chuck(move, x_low, z_low, x1, z1)
        hangs = z_high - self.shift + self.face > Z_TOLERANCE_MM
        if (hangs and x_low < self.touch_x) or self.in_centre:
            self.check_centre(move, x_low, z_high, x1, z1)
        if z_high > self.end_face_z and x_low < self.safe_x and not self.in_centre:
            self.check_tailstock(block, x_low, dx, dz)
        if self.shoulders:
            self.check_shoulders(move, x_low, z_low, z_high, x1, z1)
        if not rapid and not move.feed_mm_per_rev and not self.touching and not hits:
            self.check_has_feed(move)
        if self.contacts and not self.touching:
            self.after_last.append((move, x_low, dz))
        if rapid:
            self.rapid(move, over, hits, (x0, z0, x1, z1))
            return
        if not hits:
            if x_low < self.clear_x and (over or self.is_close_along((x0, z0, x1, z1))):
                self.check_near_feed(move, x_low, dx, dz, over=over)
            return
        self.feed_in_contact(move, x0, z0, x1, z1)

    def check_near_feed(
        self, move: Move, x_low: float, dx: float, dz: float, *, over: bool
    ) -> None:
        """A feed between clearance and work, which begins sooner where the blank is larger."""
        block, feed, along = move.block, self.feed_of(move), abs(dz) >= STILL_MM
        if (along or dx < 0.0) and feed > self.fastest_feed:
            self.say(
                "rapid-below-clearance",
                block,
                f"a feed as fast as a rapid, {show(feed, Kind.FEED, self.job.units)}, reaches "
                f"X {self.mm(x_low)}, the clearance is at {self.mm(self.clear_x)}",
            )
        if not over or x_low >= self.largest_x:
            return
        self.check_running(move.state, block)
        if along:
            self.say(
                "contact-entered-sideways",
                block,
                f"Z moves at X {self.mm(x_low)}, and a blank of the largest diameter begins at "
                f"{self.mm(self.largest_x)}",
            )
        elif dx < 0.0:
            self.check_feed(move, inward=True, planned=feed <= self.fastest_feed)

    def feed_of(self, move: Move) -> float:
        """Return the feed per turn; at the planned speed where a feed per minute has no speed."""
        if self.feed_way == "per minute" and move.feed_mm_per_rev is None and move.state.feed:
            return move.state.feed / self.planned_rpm
        return move.feed_mm_per_rev or 0.0

    def check_has_feed(self, move: Move) -> None:
        """A feed per minute needs no spindle; without any the control stops or goes anyhow."""
        per_minute = self.feed_way == "per minute"
        if not (move.state.feed if per_minute else move.feed_mm_per_rev):
            self.say_once("feed-missing", move.state.feed, move.block, "a feed move has no feed")

    def check_chuck(self, move: Move, x_low: float, z_low: float, x1: float, z1: float) -> None:
        """What is not known of the chuck is taken to reach out to safe X."""
        meets = self.at_chuck(x_low, z_low)
        if meets and not self.in_chuck:
            self.say(
                "rapid-through-chuck" if move.kind == "rapid" else "feed-into-chuck",
                move.block,
                f"the rolls reach Z {self.mm(z_low - self.shift)}, the chuck or driven centre "
                f"stands at {self.mm(self.end_z)}",
            )
        # The way back out is not said again.
        self.in_chuck = meets and self.at_chuck(x1, z1)

    def check_centre(self, move: Move, x_low: float, z_high: float, x1: float, z1: float) -> None:
        meets = self.at_centre(x_low, z_high)
        if meets and not self.in_centre:
            reach = self.plan.contact.blank_radius_mm - self.depth_mm(x_low)
            self.say(
                "rapid-through-centre" if move.kind == "rapid" else "feed-into-centre",
                move.block,
                f"beyond the end face the rolls reach in to a diameter of {self.mm(2 * reach)}",
            )
        self.in_centre = meets and self.at_centre(x1, z1)

    def check_tailstock(self, block: Block, x_low: float, dx: float, dz: float) -> None:
        """The centre's diameter is known, what stands behind it is not."""
        along = abs(dz) >= STILL_MM
        if self.touching:
            return
        if along and self.contacts:
            self.leaves_along(block, x_low)
        elif (along or dx < 0.0) and ("z-before-x", None) not in self.said:
            self.say_once(
                "outside-known-room",
                "tailstock",
                block,
                f"the rolls pass the tailstock at X {self.mm(x_low)}, safe X is "
                f"{self.mm(self.job.machine.safe_x)}",
            )

    def check_shoulders(
        self, move: Move, x_low: float, z_low: float, z_high: float, x1: float, z1: float
    ) -> None:
        """What stands out beyond the blank, such as the head of a screw."""
        shoulder = self.at_shoulder(x_low, z_low, z_high)
        fast = move.kind == "rapid" or self.feed_of(move) > self.fastest_feed
        if shoulder is None and fast:
            room = self.job.machine.clearance if z_high - z_low >= STILL_MM else 0.0
            self.check_shoulder_clearance(move.block, x_low, z_low - room, z_high + room)
        if shoulder is not None and not self.in_shoulder:
            self.say(
                "rapid-through-shoulder" if move.kind == "rapid" else "feed-into-shoulder",
                move.block,
                f"the rolls reach X {self.mm(x_low)} over the step of "
                f"{self.mm(shoulder.diameter_mm)}, which they touch at {self.mm(shoulder.touch_x)}",
            )
        # The way back out is not said again.
        self.in_shoulder = shoulder is not None and self.at_shoulder(x1, z1, z1) is not None

    def check_shoulder_clearance(
        self, block: Block, x_low: float, z_low: float, z_high: float
    ) -> None:
        room = 2.0 * self.job.machine.clearance - X_TOLERANCE_MM
        shoulder = self.at_shoulder(x_low - room, z_low, z_high)
        if shoulder is not None:
            self.say(
                "rapid-below-clearance",
                block,
                f"as a rapid it reaches X {self.mm(x_low)}, the clearance over the step of "
                f"{self.mm(shoulder.diameter_mm)} is at {self.mm(shoulder.touch_x + room)}",
            )

    def at_shoulder(self, x: float, z_low: float, z_high: float) -> _Shoulder | None:
        left, right = z_low - self.shift, z_high - self.shift + self.face
        for shoulder in self.shoulders:
            over = min(right, shoulder.right_mm) - max(left, shoulder.left_mm)
            if over > Z_TOLERANCE_MM and x < shoulder.touch_x - TOUCH_TOLERANCE_MM:
                return shoulder
        return None

    def at_chuck(self, x: float, z: float) -> bool:
        return z - self.shift < self.chuck_z and x < self.safe_x

    def at_centre(self, x: float, z: float) -> bool:
        right = z - self.shift + self.face
        if right <= Z_TOLERANCE_MM or self.centre_mm is None or x >= self.touch_x:
            return False
        return self.plan.contact.blank_radius_mm - self.depth_mm(x) < self.centre_mm

    def depth_mm(self, x: float) -> float:
        """Return how deep the rolls are at an X; moves along Z ask for the same again."""
        if x != self.depth_at[0]:
            self.depth_at = (x, self.plan.contact.depth_mm(x))
        return self.depth_at[1]

    def penetration_mm(self, x: float, z: float) -> float:
        """Return how deep the rolls come, deflection counted where the slide follows it."""
        if self.work is None:
            return self.depth_mm(x)
        across = x / 2.0 + self.plan.contact.datum_shift_mm
        return self.work.penetration_mm(across, z - self.shift)

    def off_the_line(self, stroke: _Stroke, x0: float, x1: float, wanted: float) -> float:
        """Return how much deeper than wanted the rolls come where it is worst [mm]."""
        full = wanted == self.plan.penetration_mm
        z0, z1 = stroke.z0, stroke.z1
        parts = min(MOST_LOOKS, max(LEAST_LOOKS, math.ceil(abs(z1 - z0) / LOOK_MM)))
        worst = 0.0
        stroke.least, stroke.most = math.inf, -math.inf
        for i in range(parts + 1):
            share = i / parts
            depth = self.penetration_mm(x0 + share * (x1 - x0), z0 + share * (z1 - z0))
            stroke.least, stroke.most = min(stroke.least, depth), max(stroke.most, depth)
            if abs(depth - wanted) > abs(worst):
                worst = depth - wanted
            self.most = max(self.most, depth)  # what any pass presses too deep stays so
            if full:
                self.least = min(self.least, depth)
        return worst

    def evenness(self) -> tuple[float, float] | None:
        """Evenness of a straight slide and of the program, where the slide follows the work."""
        if self.work is None or self.least > self.most:
            return None
        estimate = self.plan.estimate
        made = None if estimate is None else estimate.deflection
        return None if made is None else (made.evenness, max(0.0, self.least) / self.most)

    def rapid(
        self, move: Move, over: bool, hits: bool, way: tuple[float, float, float, float]
    ) -> None:
        block, (x0, _, x1, z1) = move.block, way
        x_low = min(x0, x1)
        if self.touching:
            self.say("rapid-in-contact", block, "a rapid starts in the work")
            self.step(block, *way, said=True)
        elif hits:
            self.say(
                "rapid-through-work",
                block,
                f"a rapid reaches X {self.mm(x_low)}, the work begins at {self.mm(self.touch_x)}",
            )
            if self.in_work(x1, z1):
                self.touch(block, x1, z1)
        elif x_low < self.clear_x and (over or self.is_close_along(way)):
            self.say(
                "rapid-below-clearance",
                block,
                f"a rapid reaches X {self.mm(x_low)}, the clearance is at {self.mm(self.clear_x)}",
            )

    def is_close_along(self, way: tuple[float, float, float, float]) -> bool:
        """Whether a way along comes closer to the work's end than the clearance."""
        _, z0, _, z1 = way
        room = self.job.machine.clearance
        return abs(z1 - z0) >= STILL_MM and self.over_work(min(z0, z1) - room, max(z0, z1) + room)

    def touch(self, block: Block, x: float, z: float) -> None:
        self.touching = True
        self.stops_after.append(len(self.stops_since_contact))
        self.stops_since_contact = []
        self.after_last = []
        depth = self.penetration_mm(x, z)
        entry = _Stroke("in", block, z, z, depth, z_block=self.z_block)
        self.contacts.append(_Contact([entry], depth=depth))

    def leave(self, block: Block, z: float, *, said: bool) -> None:
        self.touching = False
        contact = self.contacts[-1]
        contact.strokes.append(_Stroke("out", block, z, z, said=said))
        contact.left = True

    def feed_in_contact(self, move: Move, x0: float, z0: float, x1: float, z1: float) -> None:
        if self.lost:
            return
        block = move.block
        along = abs(z1 - z0) >= STILL_MM
        if id(move.state) not in self.states_run:
            self.check_running(move.state, block)
        if self.touching:
            planned = self.step(block, x0, z0, x1, z1)
            if not planned and not along:
                planned = self.little(move, self.depth_mm(x1) - self.depth_mm(x0))
            last = self.contacts[-1].strokes[-1]
            if last.eased and last.block is block:
                last.move = move
            self.check_feed(move, inward=x1 - x0 < -STILL_MM and not along, planned=planned)
            return
        if along:
            self.say(
                "contact-entered-sideways",
                block,
                f"the rolls meet the work while Z moves, at X {self.mm(min(x0, x1))}",
            )
        self.check_feed(move, inward=not along, planned=not along or x0 == x1)
        if self.in_work(x1, z1):
            self.touch(block, x1, z1)

    def little(self, move: Move, deeper: float) -> bool:
        """Take a move of less than the tolerance; True where many of them come to an infeed.

        What is pressed in at the infeed's own feed is as planned, in however many steps.
        """
        if abs(deeper) <= PENETRATION_TOLERANCE_MM:
            self.idle_s += move.duration_s(1.0)
        if self.idle_s > LONG_DWELL * self.dwell_s + DWELL_TOLERANCE_S:
            self.idle_s = -math.inf  # said once
            self.say("dwell-long", move.block, "the rolls hardly move in the work for a long time")
        feed = move.feed_mm_per_rev
        if deeper > 0.0 and feed and abs(feed - self.plan.infeed_mm_per_rev) > self.infeed_slack:
            self.crept += deeper
            if self.crept > PENETRATION_TOLERANCE_MM:
                self.crept = -math.inf  # said once
                return True
        return False

    def step(
        self, block: Block, x0: float, z0: float, x1: float, z1: float, *, said: bool = False
    ) -> bool:
        """Take one move in the work, rapid or feed; True where a feed is planned for its kind.

        *said* tells that the move is a finding as a whole already.
        """
        contact = self.contacts[-1]
        strokes = contact.strokes
        dx, along = x1 - x0, abs(z1 - z0) >= STILL_MM
        depth = self.penetration_mm(x1, z1)
        if x1 >= self.touch_x or not self.over_work(z1, z1):
            if along and not said:
                off_end = abs(dx) < STILL_MM and z1 > z0
                self.say(
                    "off-the-end" if off_end else "contact-left-sideways",
                    block,
                    "the rolls leave the work while Z moves",
                )
            self.leave(block, z1, said=said or along)
            return not along or abs(dx) < STILL_MM
        if along:
            if self.work is not None and not said:
                return self.follow(strokes, _Stroke("along", block, z0, z1, depth), x0, x1)
            slanted = abs(depth - contact.depth) > PENETRATION_TOLERANCE_MM
            if slanted:
                if not said:
                    self.say("slanted-in-contact", block, "X and Z move together in the work")
                contact.depth = depth
            self.along(strokes, _Stroke("along", block, z0, z1, depth, least=depth, most=depth))
            return not slanted
        deeper = depth - contact.depth
        # X said again, rounded otherwise, is no infeed; many such steps come to one.
        if dx < -STILL_MM and deeper > self.least_step:
            self.inward(strokes, _Stroke("in", block, z0, z1, depth))
            before, contact.depth = contact.depth, depth
            # Hardly deeper, and to no depth that is planned next, is within the tolerance.
            return deeper > PENETRATION_TOLERANCE_MM or any(
                abs(depth - p.penetration_mm) <= TOUCH_TOLERANCE_MM
                and p.penetration_mm > before + self.least_step
                for p in self.plan.passes
            )
        if contact.depth - depth > PENETRATION_TOLERANCE_MM:
            strokes.append(_Stroke("in", block, z0, z1, depth, said=said, eased=True))
            contact.depth = depth
        return False

    def follow(self, strokes: list[_Stroke], stroke: _Stroke, x0: float, x1: float) -> bool:
        """Take a block along the work on which the slide follows it; True where it does."""
        reached = self.contacts[-1].depth
        depths = [p.penetration_mm for p in self.plan.passes]
        wanted = min(depths, key=lambda depth: abs(depth - reached))
        worst = self.off_the_line(stroke, x0, x1, wanted)
        self.along(strokes, stroke)
        follows = abs(worst) <= PENETRATION_TOLERANCE_MM
        # Said once on a traverse: what is off in one block is off in the next, on the way back.
        if not follows and not strokes[-1].said:
            strokes[-1].said = True
            self.say(
                "not-following",
                stroke.block,
                f"with the work's deflection the rolls come {self.mm(wanted + worst)} deep, "
                f"planned {self.mm(wanted)}",
            )
        return follows

    def along(self, strokes: list[_Stroke], stroke: _Stroke) -> None:
        last = strokes[-1]
        same_way = last.kind == "along" and (last.z1 - last.z0) * (stroke.z1 - stroke.z0) > 0
        if same_way:
            last.z1, last.depth, last.block = stroke.z1, stroke.depth, stroke.block
            last.least, last.most = min(last.least, stroke.least), max(last.most, stroke.most)
        else:
            strokes.append(stroke)

    def inward(self, strokes: list[_Stroke], stroke: _Stroke) -> None:
        last = strokes[-1]
        if last.kind == "in" and not last.eased:
            last.depth, last.block = stroke.depth, stroke.block
        else:
            strokes.append(stroke)

    def check_feed(self, move: Move, *, inward: bool, planned: bool) -> None:
        """Check the feed of a move in the work; *planned* where one is planned for its kind."""
        block, feed = move.block, move.feed_mm_per_rev
        if self.feed_way == "per minute" and move.state.feed is not None:
            rpm = move.state.rpm
            if rpm is None or abs(rpm - self.planned_rpm) > self.rpm_slack:
                # Judged at the planned speed: a wrong S word is one finding, not one a move.
                feed = move.state.feed / self.planned_rpm
        if feed is None or feed <= 0:
            self.say("feed-missing", block, "the rolls move in the work without a feed")
            return
        if not planned:
            return  # such a move is a finding itself, or one of less than the tolerance
        if (move.state.feed_mode or self.feed_way) != self.feed_way:
            return  # said already: the mode is wrong, and the number with it
        if inward:
            wanted, slack = self.plan.infeed_mm_per_rev, self.infeed_slack
        else:
            wanted, slack = self.plan.feed_mm_per_rev, self.feed_slack
        if feed > self.fastest_feed and not inward:
            code = "feed-out-of-range"
        elif abs(feed - wanted) > slack:
            code = "feed-not-planned"
        else:
            return
        units = self.job.units
        self.say(
            code,
            block,
            f"the feed is {show(feed, Kind.FEED, units)}, planned {show(wanted, Kind.FEED, units)}",
        )

    def rounding_of_feeds(self) -> float:
        """Half of the F word's last place, in mm/rev: a slow feed cannot be written closer."""
        units = self.job.units
        half = 0.5 * 10.0 ** -self.dialect.feed_places(units)
        if units == "inch":
            half *= MM_PER_INCH
        if self.dialect.feed == "per minute":
            half /= self.planned_rpm
        return half * (1.0 + FEED_SLACK)

    def check_running(self, state: State, block: Block) -> None:
        """Spindle and coolant while the rolls are in the work."""
        if id(state) in self.states_run:
            return
        self.states_run.add(id(state))
        wanted = self.job.machine.spindle_direction
        if state.spindle == "off":
            self.say_once("spindle-stopped", state[5:9], block, "the spindle stands or is stopping")
        elif state.spindle != wanted:
            self.say_once(
                "spindle-reversed",
                state.spindle,
                self.set_by("spindle", block),
                f"the spindle turns {state.spindle}, the job says {wanted}",
            )
        if state.speed_mode == "surface speed":
            if ("speed-mode-wrong", None) not in self.said:
                self.say_once(
                    "surface-speed-in-contact",
                    None,
                    self.set_by("speed_mode", block),
                    "constant surface speed is in force",
                )
        else:
            self.check_speed(state, block)
        if self.job.process.coolant and not state.coolant:
            self.say_once("no-coolant", state.coolant, block, "the coolant is off")

    def check_speed(self, state: State, block: Block) -> None:
        rpm = state.rpm
        near = rpm is not None and abs(rpm - self.planned_rpm) <= self.rpm_slack
        if state.spindle == "off" or (near and rpm == self.planned_rpm):
            return
        if rpm is None and ("speed-not-stated", None) in self.said:
            return
        text = "not stated" if rpm is None else f"{rpm:g}"
        block = self.set_by("rpm", block)
        limit = self.plan.speed_limit_rpm
        if rpm is not None and rpm > max(limit, self.planned_rpm) + SPEED_TOLERANCE_RPM:
            self.say_once(
                "speed-too-fast", rpm, block, f"{text} rev/min in contact, the limit is {limit:g}"
            )
        elif not near:
            self.say_once(
                "speed-not-planned",
                rpm,
                block,
                f"the speed is {text}, planned {self.planned_rpm:g} rev/min",
            )

    def check_tool(
        self, state: State, block: Block, x1: float | None, *, goes_in: bool = False
    ) -> None:
        station, offset = state.station, state.offset
        if station == self.station and offset == self.offset:
            self.states_with_tool.add(id(state))
            return
        if self.form == "blocks":
            # The main program has called the tool, as the blocks' comment asks.
            station, offset = self.called(state)
            if station == self.station and offset == self.offset:
                return
        if station != self.station:
            shown = "no tool" if station is None else f"station {station}"
            self.say_once(
                "wrong-tool",
                station,
                self.set_by("station", block),
                f"{shown} is called, the job says {self.station}",
            )
        else:
            outside = x1 is None or x1 >= self.safe_x
            called = self.was_set("offset", "station")
            if offset == 0 and called and not self.touching and outside and not goes_in:
                return  # cancelled on the way to the safe position, or before it is called again
            shown = "no offset" if offset is None else f"offset {offset}"
            self.say_once(
                "wrong-offset",
                offset,
                self.set_by("offset", block),
                f"{shown} is in force, the job says {self.offset}",
            )

    def dwell(self, event: Dwell) -> None:
        if not self.touching:
            if event.seconds > LONG_DWELL * self.dwell_s + DWELL_TOLERANCE_S and self.may_touch():
                self.say("dwell-long", event.block, "a long dwell, and a larger blank is touched")
            return
        self.check_running(event.state, event.block)
        strokes = self.contacts[-1].strokes
        if strokes[-1].kind == "dwell":
            strokes[-1].seconds += event.seconds
            strokes[-1].block = event.block
        else:
            last = strokes[-1]
            strokes.append(
                _Stroke("dwell", event.block, last.z1, last.z1, last.depth, event.seconds)
            )

    def called(self, state: State) -> tuple[int | None, int | None]:
        """Return station and offset in force; blocks to paste find those of the job."""
        if self.form != "blocks":
            return state.station, state.offset
        return (
            self.station if state.station is None else state.station,
            self.offset if state.offset is None else state.offset,
        )

    def change(self, event: Change) -> None:
        state, before = event.state, event.before
        self.changes.append(event)
        if self.touching:
            self.check_running(state, event.block)
        elif state.spindle != "off":
            self.check_turning(state, event.block)
        elif before.spindle != "off" and self.may_touch():
            self.say("spindle-stopped", event.block, "the rolls touch a blank that is larger")
        x = self.x
        near = x is not None and x < self.safe_x
        called, was = self.called(state), self.called(before)
        if called != was:
            # Called away and back again, the slide is where it was.
            if self.z is not None:
                first = self.z_called_with or was
                self.z_called_with = None if first == called else first
            if self.x is not None:
                first = self.x_called_with or was
                self.x_called_with = None if first == called else first
        if event.calls and near and x is not None:
            self.say_once(
                "tool-change-near-work",
                None,
                event.block,
                f"tool or offset is called at X {self.mm(x)}, safe X is "
                f"{self.mm(self.job.machine.safe_x)}",
            )
        if state.limit_rpm != before.limit_rpm and state.limit_rpm is not None:
            self.check_limit(state.limit_rpm, event.block)

    def check_turning(self, state: State, block: Block) -> None:
        """The spindle while the rolls are in air: held work flies out of a lathe run too fast."""
        wanted, top = self.job.machine.spindle_direction, self.job.machine.max_spindle_speed
        if state.spindle != wanted:
            self.say_once(
                "spindle-reversed",
                state.spindle,
                block,
                f"the spindle turns {state.spindle}, the job says {wanted}",
            )
        if state.speed_mode == "surface speed":
            if ("surface-speed-in-contact", None) not in self.said:
                self.say_once("speed-mode-wrong", None, block, "constant surface speed is in force")
        elif state.rpm is None:
            self.say_once("speed-not-stated", None, block, "the spindle starts without an S word")
        elif state.rpm > top + SPEED_TOLERANCE_RPM:
            self.say_once(
                "speed-too-fast",
                state.rpm,
                block,
                f"{state.rpm:g} rev/min, the machine's limit is {top:g}",
            )

    def check_limit(self, limit: float, block: Block) -> None:
        top = self.job.machine.max_spindle_speed
        if limit < self.planned_rpm:
            self.say(
                "speed-limit-low",
                block,
                f"the speed is limited to {limit:g}, planned {self.planned_rpm:g} rev/min",
            )
        elif limit > max(top, self.planned_rpm) + SPEED_TOLERANCE_RPM:
            self.say(
                "speed-limit-high",
                block,
                f"the speed is limited to {limit:g}, the machine to {top:g}",
            )

    def stop(self, event: Stop) -> None:
        self.stops_since_contact.append(event)
        if self.touching or self.may_touch():
            self.say("stop-in-contact", event.block, "the program stops with the rolls in the work")
        elif event.state.spindle != "off":
            self.say("spindle-turning-at-stop", event.block, "the program stops, the spindle turns")

    # -- the sequence of passes ----------------------------------------------------

    def check_contacts(self) -> None:
        plan, contacts = self.plan, list(self.contacts)
        self.check_speed_limit_word()
        if plan.trial is not None:
            contacts = self.check_trial(contacts)
            if not contacts:
                return
        if not contacts:
            self.say("pass-missing", self.last_block, "the rolls never touch the work")
            return
        first, rest = contacts[0], contacts[1:]
        if rest and not first.covers(plan.passes):
            out = first.strokes[-1]
            if not out.said:
                self.say(
                    "track-left", out.block, "the rolls leave the work before the last pass is done"
                )
            return
        self.check_passes(first, plan.passes)
        for extra in rest:
            self.say(
                "extra-contact",
                extra.strokes[0].block,
                "the rolls touch the work after the last pass",
            )
        if not first.left:
            self.say("contact-not-left", self.last_block, "nothing takes the rolls out of the work")

    def check_speed_limit_word(self) -> None:
        codes = self.dialect.codes
        if codes.speed_limit is None or not self.contacts:
            return
        block = self.contacts[0].strokes[0].block
        touching = next(e for e in self.motion.events if e.block is block)
        if touching.state.limit_rpm is None:
            self.say(
                "speed-limit-missing",
                block,
                f"there is no {codes.speed_limit} before the rolls touch",
            )

    def check_trial(self, contacts: list[_Contact]) -> list[_Contact]:
        """Check the trial strip; return the contacts that come after it."""
        trial = self.plan.trial
        assert trial is not None
        if not contacts:
            return contacts
        strip = contacts[0]
        if len(contacts) == 1:
            if len(strip.alongs) > 1 or not strip.left or strip.covers(self.plan.passes):
                self.say(
                    "trial-missing",
                    strip.strokes[0].block,
                    "the first pass begins without a trial strip",
                )
                return contacts
            self.say("pass-missing", self.last_block, "after the trial strip nothing is knurled")
        direction: Any = "headstock" if trial.z_end_mm < trial.z_start_mm else "plunge"
        only = Pass(
            1,
            direction,
            trial.penetration_mm,
            trial.x_diameter_mm,
            trial.z_start_mm,
            trial.z_end_mm,
        )
        before = len(self.findings)
        self.check_passes(strip, (only,), trial=True)
        if not strip.left and len(self.findings) == before:
            self.say("trial-not-planned", strip.strokes[-1].block, "the trial strip is not left")
        stops = self.stops_after[1] if len(self.stops_after) > 1 else len(self.stops_since_contact)
        if not stops:
            self.say(
                "trial-stop-missing",
                strip.strokes[-1].block,
                "the program goes on after the trial strip without a stop",
            )
        return contacts[1:]

    def check_passes(
        self, contact: _Contact, passes: tuple[Pass, ...], *, trial: bool = False
    ) -> None:
        """Go through strokes and planned passes side by side."""
        strokes = contact.strokes
        self.check_entry(strokes[0], passes[0])
        self.check_limits(strokes)
        kinds: list[str] = [stroke.kind for stroke in strokes]
        kinds += ("end", "end")  # as far as is looked ahead
        i = 0

        def block() -> Block:
            return strokes[min(i, len(strokes) - 1)].block

        for step in passes:
            if step.presses:
                if kinds[i] == "dwell" and kinds[i + 1] == "in":
                    i = self.skip_dwell(strokes, i)
                if kinds[i] == "in":
                    self.check_infeed(strokes[i], step)
                    i = self.skip_easing(strokes, i + 1)
                else:
                    self.say("not-to-depth", block(), f"pass {step.number} has no infeed")
                i = self.check_dwell(strokes, i, step)
            elif kinds[i] == "in" and not strokes[i].eased:
                i += 1  # an infeed of less than the tolerance, or one said already
            i = self.skip_easing(strokes, self.skip_dwell(strokes, i))
            if step.direction == "plunge":
                continue
            if (
                kinds[i] == "in"
                and kinds[i + 1] in ("dwell", "along")
                and self.is_touch(strokes[i], step)
            ):
                i = self.skip_dwell(strokes, i + 1)
            if kinds[i] == "out" and strokes[i].said:
                return
            if kinds[i] != "along":
                self.say(
                    "pass-missing" if kinds[i] != "in" else "reversal-missing",
                    block(),
                    f"pass {step.number} to the {step.direction} is missing",
                )
                return
            if not self.check_along(strokes[i], step, trial):
                return
            i += 1
        i = self.skip_dwell(strokes, i)
        while kinds[i] == "in" and strokes[i].eased:
            self.check_way_out(strokes[i])
            i += 1
        if kinds[i] in ("in", "along"):
            self.say(
                "trial-not-planned" if trial else "extra-pass",
                block(),
                "the rolls go on in the work after the last planned pass",
            )

    def is_touch(self, stroke: _Stroke, step: Pass) -> bool:
        """Whether an infeed more leaves the rolls as deep as planned, within the tolerance."""
        off = abs(stroke.depth - step.penetration_mm)
        return not stroke.eased and off <= PENETRATION_TOLERANCE_MM

    def check_entry(self, entry: _Stroke, first: Pass) -> None:
        if abs(entry.z0 - first.z_start_mm) <= Z_TOLERANCE_MM:
            return
        self.say(
            "wrong-start",
            entry.z_block or entry.block,
            f"the rolls meet the work at Z {self.mm(entry.z0)}, "
            f"planned {self.mm(first.z_start_mm)}",
        )

    def check_limits(self, strokes: list[_Stroke]) -> None:
        """What holds for every stroke: full depth, the line, the overhang."""
        plan = self.plan
        for stroke in strokes:
            if stroke.kind == "in":
                if stroke.depth > plan.penetration_mm + PENETRATION_TOLERANCE_MM:
                    self.say(
                        "too-deep",
                        stroke.block,
                        f"{self.mm(stroke.depth)} deep, full depth is "
                        f"{self.mm(plan.penetration_mm)}",
                    )
            elif stroke.kind == "along":
                left = stroke.z1 - self.shift
                right = left + self.face
                if stroke.z1 < stroke.z0 and left < plan.line_mm - Z_TOLERANCE_MM:
                    self.say(
                        "past-the-line",
                        stroke.block,
                        f"the rolls reach Z {self.mm(left)}, the line is at "
                        f"{self.mm(plan.line_mm)}",
                    )
                elif stroke.z1 > stroke.z0 and right > plan.right_limit_mm + Z_TOLERANCE_MM:
                    self.say(
                        "too-much-overhang",
                        stroke.block,
                        f"the rolls' right edge reaches Z {self.mm(right)}, planned "
                        f"{self.mm(plan.right_limit_mm)}",
                    )

    def check_infeed(self, stroke: _Stroke, step: Pass) -> None:
        plan, depth = self.plan, stroke.depth
        if depth > plan.penetration_mm + PENETRATION_TOLERANCE_MM:
            return  # said already: too deep
        if depth > step.penetration_mm + PENETRATION_TOLERANCE_MM:
            code = "step-too-deep"
        elif depth < step.penetration_mm - PENETRATION_TOLERANCE_MM:
            code = "not-to-depth"
        else:
            return
        self.say(
            code,
            stroke.block,
            f"pass {step.number} is {self.mm(depth)} deep, planned {self.mm(step.penetration_mm)}",
        )

    def check_dwell(self, strokes: list[_Stroke], i: int, step: Pass) -> int:
        planned = self.dwell_s
        if i >= len(strokes) or strokes[i].kind != "dwell":
            block = strokes[min(i, len(strokes) - 1)].block
            self.say("dwell-missing", block, f"pass {step.number} goes on without a dwell")
            return i
        stroke = strokes[i]
        short = stroke.seconds < planned - DWELL_TOLERANCE_S
        if short or stroke.seconds > LONG_DWELL * planned + DWELL_TOLERANCE_S:
            self.say(
                "dwell-short" if short else "dwell-long",
                stroke.block,
                f"a dwell of {stroke.seconds:.3f} s, planned {planned:.3f} s",
            )
        return i + 1

    def check_way_out(self, stroke: _Stroke) -> None:
        """Check a way out in more than one block, of which the first stay in the work."""
        if stroke.move is not None and not stroke.said:
            self.check_feed(stroke.move, inward=False, planned=True)

    def skip_easing(self, strokes: list[_Stroke], i: int) -> int:
        """Go past a way outward after which the rolls go on in the work, too shallow."""
        while i < len(strokes) and strokes[i].eased and strokes[i].kind == "in":
            stroke, before = strokes[i], max((s.depth for s in strokes[:i]), default=0.0)
            too_deep = before > self.plan.penetration_mm + PENETRATION_TOLERANCE_MM
            out_next = i + 1 < len(strokes) and strokes[i + 1].kind == "out"
            if out_next:
                self.check_way_out(stroke)
            elif not (stroke.said or too_deep):
                self.say(
                    "not-to-depth",
                    stroke.block,
                    f"the rolls ease out to {self.mm(stroke.depth)} of penetration and stay in "
                    "the work",
                )
            i += 1
        return i

    def skip_dwell(self, strokes: list[_Stroke], i: int) -> int:
        """Go past a dwell that is not planned; a long one works the surface hard."""
        if i >= len(strokes) or strokes[i].kind != "dwell":
            return i
        planned = self.dwell_s
        if strokes[i].seconds > LONG_DWELL * planned + DWELL_TOLERANCE_S:
            self.say(
                "dwell-long",
                strokes[i].block,
                f"a dwell of {strokes[i].seconds:.3f} s where none is planned",
            )
        return i + 1

    def check_along(self, stroke: _Stroke, step: Pass, trial: bool) -> bool:
        """Check one traverse; False where what follows cannot be compared any more."""
        towards_line = stroke.z1 < stroke.z0
        if towards_line != (step.direction == "headstock"):
            self.say(
                "reversal-missing",
                stroke.block,
                f"pass {step.number} runs the wrong way, planned to the {step.direction}",
            )
            return False
        off = stroke.z1 - step.z_end_mm
        code = ""
        if trial and abs(off) > Z_TOLERANCE_MM:
            code = "trial-not-planned"
        elif towards_line and off > Z_TOLERANCE_MM:
            code = "short-of-the-line"
        elif not towards_line and off < -Z_TOLERANCE_MM:
            code = "return-short"
        if code:
            here, planned = self.mm(stroke.z1), self.mm(step.z_end_mm)
            self.say(code, stroke.block, f"pass {step.number} ends at Z {here}, planned {planned}")
        self.check_depth_along(stroke, step)
        return True

    def check_depth_along(self, stroke: _Stroke, step: Pass) -> None:
        """Steps of less than the tolerance, one after another, come to more than it."""
        planned, off = step.penetration_mm, PENETRATION_TOLERANCE_MM
        if planned - off <= stroke.least and stroke.most <= planned + off:
            return
        if any(f.code in _DEPTHS for f in self.findings):
            return  # said already
        deep = stroke.most > planned + off
        depth = stroke.most if deep else stroke.least
        self.say(
            "step-too-deep" if deep else "not-to-depth",
            stroke.block,
            f"pass {step.number} runs {self.mm(depth)} deep, planned {self.mm(planned)}",
        )

    # -- leaving and end -------------------------------------------------------------

    def check_leaving(self) -> None:
        """After the last contact: out to safe X before Z moves."""
        for move, x_low, dz in self.after_last:
            if abs(dz) >= STILL_MM and x_low < self.safe_x:
                self.leaves_along(move.block, x_low)
                return

    def leaves_along(self, block: Block, x_low: float) -> None:
        self.say_once(
            "z-before-x",
            None,
            block,
            f"Z moves at X {self.mm(x_low)}, before safe X {self.mm(self.job.machine.safe_x)}",
        )

    def check_end(self) -> None:
        motion = self.motion
        end = next((e for e in motion.events if type(e) is End), None)
        block = end.block if end is not None else self.last_block
        state = motion.state
        if state.spindle != "off":
            self.say("spindle-on-at-end", block, "the spindle is not stopped")
        if state.coolant:
            self.say("coolant-on-at-end", block, "the coolant is not off")
        if self.form == "blocks":
            self.check_tool(state, block, self.x, goes_in=True)  # what follows goes in
        elif state.offset:
            self.say("offset-on-at-end", block, f"offset {state.offset} is not cancelled")
        if not self.at_safe_position() and not self.touching:
            machine = self.job.machine
            here = f"X {self.place(self.x, self.x_at_reference)}"
            here += f" Z {self.place(self.z, self.z_at_reference)}"
            safe = f"X {self.mm(machine.safe_x)} Z {self.mm(machine.safe_z)}"
            if self.form == "blocks":
                safe = f"X {self.mm(machine.safe_x)} or further out"
            elif self.dialect.safe_return == "reference point":
                safe = "the reference point"
            self.say("not-at-safe-position", block, f"the tool stands at {here}, safe is {safe}")

    def place(self, value: float | None, at_reference: bool) -> str:
        if value is None:
            return "at the reference point" if at_reference else "unknown"
        return self.mm(value)

    def at_safe_position(self) -> bool:
        machine = self.job.machine
        x_home = self.x is None and self.x_at_reference
        z_home = self.z is None and self.z_at_reference
        if self.form == "blocks":
            return x_home or (self.x is not None and self.x >= self.safe_x)
        if self.dialect.safe_return == "reference point":
            return x_home and z_home
        x_safe = self.x is not None and abs(self.x - machine.safe_x) <= X_TOLERANCE_MM
        z_safe = self.z is not None and abs(self.z - machine.safe_z) <= Z_TOLERANCE_MM
        return (x_home or x_safe) and (z_home or z_safe)
