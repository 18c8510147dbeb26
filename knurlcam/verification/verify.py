"""A program text to findings: its motion held against the plan of its job, rule by rule.

The checker works from the job and from the motion that was read from the text, and never
sees the path that the writer was given: what writer and path have wrong, it finds. No verdict
is kept: the same text is read and checked again whenever it is written or verified.

Each part keeps its own state and takes one event at a time: :mod:`~.slide` (where the slide
stands), :mod:`~.machine` (spindle, coolant, tool), :mod:`~.stops` (where hands go in),
:mod:`~.obstacles` (what may be hit), :mod:`~.strokes` (from touching the work to leaving it).
:mod:`~.text` and :mod:`~.modes` come before them; :mod:`~.sequence` (strokes against passes)
and :mod:`~.ending` after.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from itertools import product
from pathlib import Path

from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.dialect_files import load_dialect
from knurlcam.gcode.marks import Form
from knurlcam.gcode.motion import Change, Dwell, Motion, Move, Stop
from knurlcam.gcode.read import read_program
from knurlcam.job.model import Job
from knurlcam.plan.model import Plan
from knurlcam.plan.planner import make_plan
from knurlcam.verification.depths import Depths
from knurlcam.verification.ending import (
    check_at_safe_position,
    check_left_behind,
    check_modes_left,
)
from knurlcam.verification.feeds import Feeds
from knurlcam.verification.findings import Finding, Verification, ordered
from knurlcam.verification.limits import Safe, Speed
from knurlcam.verification.machine import Machine, Tool
from knurlcam.verification.modes import modes_are_wrong
from knurlcam.verification.obstacles import Obstacles, say_along_before_out
from knurlcam.verification.on_part import OnPart
from knurlcam.verification.report import Report
from knurlcam.verification.sequence import check_sequence
from knurlcam.verification.slide import Slide
from knurlcam.verification.stops import Stops
from knurlcam.verification.strokes import Strokes
from knurlcam.verification.text import check_text, form_of, last_block
from knurlcam.verification.whole import Judged, judge_text
from knurlcam.verification.work import Leg, Work

__all__ = ["check_motion", "check_motions", "judge", "verify", "verify_motion"]

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

    In a part program the sections, subprograms and blocks of the job are found by their own
    comments, and judged in the state in which the program enters them.

    Args:
        text: The program, wherever it comes from.
        job: The job that it should carry out.
        post: Its dialect; the job's unless given.
        form: What it is; None to take from the text's own comment, else a program.
        posts: Folders of a shop's own dialects; that of the job's shop file comes after them.

    Returns:
        The findings. A block with a slash is judged both carried out and skipped.

    Raises:
        CannotBeDoneError: if the job itself cannot be done.
        InputError: if the dialect is unknown or broken.
    """
    dialect = load_dialect(post or job.machine.post, (*posts, *job.posts))
    return judge(text, make_plan(job), dialect, form).verification


def judge(text: str, plan: Plan, dialect: Dialect, form: Form | None = None) -> Judged:
    """Verify a text, or what is found in it, and return what was read as well; see :func:`verify`.

    Args:
        text: The text.
        plan: The plan of the job that it should carry out.
        dialect: Its dialect.
        form: What it is, or what is looked for in it; None to take from its own comments.
    """
    return judge_text(text, plan, dialect, form, verify_motion)


def verify_motion(motion: Motion, text: str, plan: Plan, form: Form | None = None) -> Verification:
    """Verify a program text that has been read against a plan; see :func:`verify`.

    Args:
        motion: What was read from the text, blocks with a slash carried out.
        text: The text, read again where it has such blocks.
        plan: The plan of the job that it should carry out.
        form: What it is; None to take from the text's own comment, else a program.
    """
    result = check_motion(motion, plan, form)
    if not motion.slashes:
        return result
    # In order, each once. The operator may change the switch at each stop, so each stretch
    # between stops is tried both ways: 16 readings at most.
    found = dict.fromkeys(result.findings)
    stops = sum(type(event) is Stop for event in motion.events)
    if stops > MOST_SWITCHES:
        block = next(b for b in motion.blocks if b.skip)
        message = (
            f"a block with a slash and {stops} stops, {MOST_SWITCHES} "
            "at most: the program can be run "
            "in more ways than are checked"
        )
        found[Finding("error", "misplaced-word", block.number, block.line, message)] = None
        stops = 0
    for skip in product((False, True), repeat=stops + 1):
        other = read_program(text, motion.dialect, skip=skip, entry=motion.entry)
        found.update(dict.fromkeys(check_motion(other, plan, form).findings))
    return replace(result, findings=ordered(found))


def check_motion(motion: Motion, plan: Plan, form: Form | None = None) -> Verification:
    """Check a motion that was read from a program against a plan.

    Args:
        motion: The motion.
        plan: The plan of the job that it should carry out.
        form: What the text is; None to take from its own comment, else a program.
    """
    return check_motions([(motion, plan)], form)[0]


def check_motions(
    pairs: Iterable[tuple[Motion, Plan]], form: Form | None = None
) -> list[Verification]:
    """Check many motions, each against its own plan, as :func:`check_motion` does.

    Stage by stage, which is faster: a stage's code and tables stay at hand.
    """
    checks = [_Check(motion, plan, form or form_of(motion)) for motion, plan in pairs]
    readable = [check for check in checks if check.begin()]
    for check in readable:
        check.walk()
    for check in readable:
        check.conclude()
    return [check.verification() for check in checks]


class _Check:
    """One program: hands each event to the parts that it concerns."""

    __slots__ = (
        "depths", "feeds", "form", "machine", "motion", "obstacles", "on_part", "plan", "report",
        "safe_x", "slide", "speed", "stops", "strokes", "waited_s", "work",
    )  # fmt: skip

    def __init__(self, motion: Motion, plan: Plan, form: Form) -> None:
        self.motion, self.plan, self.form = motion, plan, form
        safe, speed = Safe.of(plan), Speed.of(plan)
        tool = Tool.of(plan, form, motion.dialect, motion.entry)
        self.safe_x, self.speed, self.waited_s = safe.x, speed, 0.0
        self.report = Report(plan.job.units)
        self.on_part = OnPart(plan, self.report)
        self.work, self.depths = Work(plan), Depths(plan, motion.dialect)
        self.feeds = Feeds(plan, motion, speed, self.report)
        self.machine = Machine(plan, motion, tool, speed, self.report)
        self.slide = Slide(plan, motion, self.work, tool, safe, self.report)
        self.stops = Stops(plan, tool, self.report)
        self.obstacles = Obstacles(plan, self.work, self.depths, self.feeds, safe, self.report)
        self.strokes = Strokes(plan, self.work, self.depths, self.machine, self.feeds, self.report)

    def begin(self) -> bool:
        """Check what stands beside the motion; False where no length means anything."""
        check_text(self.motion, self.plan.job, self.form, self.report)
        return not modes_are_wrong(self.motion, self.plan.job.units, self.report)

    def walk(self) -> None:
        """Go through the events once."""
        for block in self.motion.blind:
            self.report.say_once(
                "position-unknown",
                "increment",
                block,
                "a U or W word moves from an unknown position",
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

    def may_touch(self) -> bool:
        """Whether the rolls stand where the largest blank would meet them."""
        return self.work.may_be_touched(self.slide.x, self.slide.z)

    def dwell(self, dwell: Dwell) -> None:
        if self.strokes.touching:
            self.strokes.dwell(dwell)
            self.on_part.dwell(dwell)
            return
        before_s, self.waited_s = self.waited_s, self.waited_s + dwell.seconds
        self.strokes.dwell_in_air(dwell.block, before_s, self.waited_s, may_touch=self.may_touch())

    def change(self, change: Change) -> None:
        touching = self.strokes.touching
        stops = change.state.spindle == "off" != change.before.spindle
        may_touch = touching or (stops and self.may_touch())
        self.machine.change(change, touching=touching, may_touch=may_touch)
        if change.calls or change.selects is not None:
            self.call(change)
        if change.state.limit_rpm != change.before.limit_rpm:
            self.machine.limit(change)

    def call(self, change: Change) -> None:
        self.stops.call(change)
        if self.slide.call(change):
            self.machine.call(change)

    def stop(self, stop: Stop) -> None:
        self.waited_s = 0.0
        slide, strokes = self.slide, self.strokes
        strokes.stop(stop)
        good = self.stops.check(
            stop,
            touching=strokes.touching,
            may_touch=self.may_touch(),
            near_x=self.obstacles.near_x(slide.x, slide.z),
            is_outside=slide.is_outside,
        )
        if good:  # one that is a finding is not held against what follows
            self.stops.take(stop)
            self.machine.stop(stop)
            slide.stop(stop)
        else:
            slide.stop_badly()

    def move(self, move: Move) -> None:
        slide, machine = self.slide, self.machine
        if move.x0 != move.x1 or move.z0 != move.z1:
            self.waited_s = 0.0
        slide.check(move)
        if id(move.state) not in machine.with_tool:
            stays_out = not self.strokes.touching and slide.stays_out(move)
            machine.check_tool_of_move(move, stays_out=stays_out)
        if move.kind == "reference":
            if self.strokes.touching:
                self.strokes.tear_out(move.block)
            slide.take_to_reference(move)
            return
        from_unknown = move.x0 is None or move.z0 is None
        if from_unknown and move.kind == "feed" and slide.goes_somewhere(move):
            self.feeds.check_stated(move)
            self.feeds.check_turns(move)
        leg = slide.take(move)
        if leg is not None and not slide.lost:
            self.leg(leg)
        if machine.spindle_set_by is not None:
            machine.moved(move)

    def leg(self, leg: Leg) -> None:
        strokes, obstacles = self.strokes, self.obstacles
        touching, has_touched = strokes.touching, bool(strokes.contacts)
        obstacles.check(leg, touching=touching, has_touched=has_touched)
        if has_touched and leg.along and not touching:
            strokes.go_along_in_air(leg, self.safe_x)
        if not touching and not leg.hits_work:
            self.leg_in_air(leg)
        elif not leg.rapid:
            if not touching:
                self.stops.check_called_again(leg.block)
            strokes.feed(leg)
            self.on_part.feed(leg)
        elif touching:
            strokes.rapid(leg)
        else:
            obstacles.check_rapid_into_work(leg)
            strokes.touch(leg)

    def leg_in_air(self, leg: Leg) -> None:
        if not leg.rapid and not leg.move.feed_mm_per_rev:
            self.feeds.check_stated(leg.move)
        if self.obstacles.is_near_work(leg):
            self.obstacles.check_near_work(leg)
            if not leg.rapid:
                self.strokes.near(leg)
        if not leg.rapid:
            self.strokes.pass_by(leg)
        # Where the rolls may touch the work, a spindle that stands is a finding already.
        if not leg.rapid and id(leg.move.state) not in self.machine.running:
            self.feeds.check_turns(leg.move)

    def conclude(self) -> None:
        """Check what only the whole program can show."""
        strokes, report, last = self.strokes, self.report, last_block(self.motion)
        if not self.slide.lost:
            if strokes.contacts:
                first = strokes.contacts[0]
                self.machine.check_limit_is_stated(first.state, first.first_block)
            check_sequence(strokes, self.plan, self.feeds, report, last)
        if strokes.along_before_out is not None:
            say_along_before_out(report, self.plan, *strokes.along_before_out)
        check_left_behind(self.motion, self.form, self.machine, report)
        check_modes_left(self.motion, self.plan, self.speed, self.form, report)
        if not strokes.touching:
            check_at_safe_position(self.motion, self.form, self.slide, self.plan, report)
        if not self.slide.lost:
            self.on_part.check()

    def verification(self) -> Verification:
        """Return the findings by line."""
        findings, name = ordered(self.report.findings), self.motion.dialect.name
        accepted, evenness = self.plan.accepted, self.depths.evenness()
        return Verification(name, self.form, findings, evenness, accepted=accepted)
