"""Edits about where the slide stands, and how the spindle turns, when something is done there.

A stop, a tool call and a change of speed are as right or wrong as the place they stand at. Beside
what is dangerous stands its near miss, as in :mod:`tests.long.mutants.control`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator

from tests.long.mutants.figures import figures_of
from tests.long.mutants.page import Change, Page, page_of
from tests.long.mutants.programs import Program
from tests.support.naive import NIST

LONG_NUMBERS = ("0000000{}", "{}0000000", "000{}0000")


def standing_changes(program: Program, lines: list[str]) -> Iterator[Change]:
    """Make every edit of this module."""
    page = page_of(program, lines)
    for make in POINTS:
        for kind, at, taken, new in make(page):
            yield kind, at, taken, tuple(new)


def _bare(line: str) -> str:
    return re.sub(r"^N\d+ ", "", line)


def _last_moves(page: Page) -> list[int]:
    """Moves to the safe position after the last retract."""
    after = max(page.retracts, default=0)
    return [i for i in range(after + 1, page.end) if re.search("G00|G28", page.lines[i])]


def _stops_somewhere(page: Page) -> Iterator[Change]:
    """A stop with all off is at the safe position, in X and in Z."""
    off, on = ("M09", "M05"), (*page.tool, *page.start, *page.wet)
    lines = page.lines
    both = (
        page.word("X", page.plan.job.machine.safe_x),
        page.word("Z", page.plan.job.machine.safe_z),
    )
    for i in page.away:
        for word in ("M00", "M01"):
            if i > min(page.retracts, default=0):  # Z is still over the knurl
                yield "stop over the knurl", i + 1, 0, (*off, word)
                yield "stop over the knurl", i + 1, 0, (*off, word, *on, f"G00 {both[0]}")
            else:
                yield "stop over the knurl", i + 2, 0, (*off, word, *on)
                at_safe = (f"G00 {both[0]}", f"G00 {both[1]}", *off, word)
                again = (*at_safe, *page.tool, *page.start, *page.wet)
                yield "harmless: stop at the safe position", i, 0, again
                bare = (*at_safe, *page.start, *page.wet)
                yield "tool not called after a stop", i, 0, bare
    for i in _last_moves(page)[-1:]:
        for word in ("M00", "M01"):
            yield "stop with the coolant running", i + 1, 0, ("M08", word, "M09")
            if page.program.form == "blocks":
                yield "stop over the knurl", i + 1, 0, (*off, word)
            elif page.program.post != "uw-lathe":
                yield "harmless: stop at the safe position", i + 1, 0, (*off, word)
                yield "stop with all on", i + 1, 0, (word,)
    for i in page.stops:
        for j in range(max(j for j in page.retracts if j < i), i):
            if "M09" in lines[j]:
                yield "stop with the coolant running", j, 1, ()
            elif "G00" in lines[j]:
                yield "stop elsewhere after the trial", j, 1, ()
        for j in [j for j in range(i, min(j for j in page.infeeds if j > i)) if "G00" in lines[j]]:
            yield "axis not stated after the trial", j, 1, ()
    if page.cancel is not None and page.program.form == "program":
        for word in ("M00", "M01"):
            yield "harmless: stop before the end", page.cancel, 0, (word,)
            yield "harmless: stop before the end", page.cancel + 1, 0, (word,)


def _tools_somewhere(page: Page) -> Iterator[Change]:
    """A tool is called at the safe position, and no other one than the job's."""
    post, tool = page.program.post, page.plan.job.tool
    lines = page.lines
    select = (f"T{tool.station + 1}",) if post in NIST else page.foreign
    own = (f"T{tool.station}",) if post in NIST else page.tool
    for i in page.away:
        yield "tool called over the work", i + 2, 0, page.tool
        yield "another tool for a moment", i + 2, 0, (*page.foreign, *page.tool)
        yield "another tool for a moment", i, 0, (*page.foreign, *page.tool)
    for i in (*page.approaches, *page.infeeds, *page.retracts):
        kind = "tool chosen in the work" if post in NIST else "tool called over the work"
        yield kind, i, 0, select
        yield kind, i + 1, 0, own
    for i in page.calls[:1]:
        if post in NIST and page.changes:
            yield "another tool chosen, changed later", i + 1, 0, select
            yield "another tool chosen, changed later", i + 1, page.end - i - 1, (
                *select, *lines[i + 1 : page.end], "M06",
            )  # fmt: skip
        else:
            yield "harmless: tool called twice", i, 0, page.tool
    moves = _last_moves(page)
    for count in range(1, len(moves)):
        for gone in (moves[-count:], moves[1 : 1 + count]):
            kept = [lines[i] for i in range(gone[0], gone[-1] + 1) if i not in gone]
            yield "not home before the tool", gone[0], gone[-1] - gone[0] + 1, tuple(kept)
    if post in NIST:
        for i in (*page.calls[:1], *moves[-1:], page.end):
            for new in ("G28", f"G28 {page.word('X', page.plan.job.machine.safe_x)}"):
                yield "home by a parameter", i, 0, (new,)


def _spindle_just_before(page: Page) -> Iterator[Change]:
    """The spindle is at its speed before the rapid that comes close."""
    on = page.start
    speed = re.search(r"S\d+", on[0])
    assert speed
    for i in page.spindle:
        into = next((j for j in page.infeeds if j > i), None)
        close = max((j for j in page.approaches if into and j < into), default=None)
        if into is None or close is None:
            continue
        between = page.lines[i + 1 : close + 1]
        yield "spindle starts at the work", i, close - i + 1, (*between, _bare(page.lines[i]))
        away = page.lines[i + 1 : close]
        new = (*away, _bare(page.lines[i]), page.lines[close])
        yield "harmless: spindle starts in the approach", i, close - i + 1, new
        for wrong in (30, 2 * page.plan.programmed_rpm):
            pair = (page.lines[i].replace(speed[0], f"S{wrong}"), *between, speed[0])
            yield "speed changes at the work", i, close - i + 1, pair
            near = (pair[0], *away, speed[0], page.lines[close])
            kind = "harmless: speed changes in the approach"
            kind = kind if wrong == 30 else "too fast in the approach"
            yield kind, i, close - i + 1, near
        for pair in (("M05", *on), (f"S{30}", speed[0])):
            yield "spindle changes at the work", close + 1, 0, pair
            yield "harmless: spindle changes in the approach", close, 0, pair


def _dwells_on_the_way(page: Page) -> Iterator[Change]:
    """A pass goes on to its end without a halt."""
    for i, before in enumerate(page.lines[1:]):
        at = i + 1
        found = re.search(r"G01 Z(-?[\d.]+)", before)
        if not found or page.plan.follows:
            continue
        start, end = page.plan.passes[0].z_start_mm, page.plan.passes[0].z_end_mm
        middle = f"G01 {page.word('Z', (start + end) / 2)} {page.feed(page.plan.feed_mm_per_rev)}"
        dwell = page.dwell(page.plan.dwell_s)
        yield "dwell on the way", at, 0, (middle, dwell)
        yield "dwell on the way", at, 0, (middle, dwell, dwell)
        if "F" in before:
            yield "harmless: a pass in two blocks", at, 0, (middle,)


def _along_a_shoulder(page: Page) -> Iterator[Change]:
    """A rapid beside a shoulder, with nothing between it and the rolls."""
    figures, plan = figures_of(page.program.name), page.plan
    inside = page.word("X", figures.clear_x + 0.5)
    safe = page.word("X", plan.job.machine.safe_x)
    for low, high, touch in figures.shoulders:
        if touch < figures.clear_x + 1.0:
            continue
        right_of = high + figures.left_of * figures.face
        left_of = low - (1 - figures.left_of) * figures.face
        for face, away in ((right_of, 1), (left_of, -1)):
            if not figures.room_z[0] - 20.0 < face <= plan.passes[0].z_start_mm:
                continue
            for gap in (0.0, -0.01, -0.02, -0.05):
                side = page.word("Z", face + away * gap)
                new = (f"G00 {side}", f"G00 {inside}", f"G00 {safe}")
                for i in page.away[:1]:
                    yield "rapid along a shoulder", i + 1, 0, new


def _long_numbers(page: Page) -> Iterator[Change]:
    """Numbers of more digits than a control takes."""
    for i in (*page.away, *page.infeeds[:2], *page.dwells[:2], *page.spindle[:1]):
        for word in re.finditer(r"\b([XZFSP]-?)([\d.]+)", page.lines[i]):
            for form in LONG_NUMBERS:
                if form.endswith("0") and "." not in word[2]:
                    continue
                new = word[1] + form.format(word[2])
                line = page.lines[i][: word.start()] + new + page.lines[i][word.end() :]
                yield "number of many digits", i, 1, (line,)


def _harmless(page: Page) -> Iterator[Change]:
    """What hands type beside it, and what stays right."""
    lines = page.lines
    for i in _last_moves(page):
        if "G00" in lines[i] and page.wet:
            yield "harmless: coolant off in a rapid", i, 1, (f"{lines[i]} M09",)
    for i in page.retracts:
        yield "coolant off in the way out", i, 1, (f"{lines[i]} M09",)
    for i in page.spindle:
        pointed = re.sub(r"(S\d+)\b", r"\1.", lines[i])
        yield "harmless: a point behind S", i, 1, (pointed,)
    tools = [i for i in (*page.calls, page.cancel) if i is not None]
    for i in tools if page.program.post not in NIST else ():
        short = re.sub(r"T0(\d\d\d)\b", r"T\1", lines[i])
        if short != lines[i]:
            kind = "harmless: " if page.program.post == "uw-lathe" else ""
            yield f"{kind}tool of three digits", i, 1, (short,)
    for i in (*page.away, *page.infeeds[:1], *page.coolant):
        for form in (r"\1.0", r"\1."):
            pointed = re.sub(r"\b([GM]0?[0-9])\b", form, lines[i])
            kind = "harmless: " if page.program.post in NIST else ""
            yield f"{kind}code with a point", i, 1, (pointed,)
    machine = page.plan.job.machine
    for i in page.away[-1:]:
        for inside in (0.01, 0.2, 2.0):
            new = f"G00 {page.word('X', machine.safe_x - inside)}"
            kind = "harmless: a hair inside" if inside < 0.1 else "inside the safe position"
            yield kind, i, 1, (new,)
    if lines[0].startswith("%"):
        for new in ("(KNURL OF THE KNOB)", "(SHOP COPY)"):
            yield "harmless: comment before the tape", 0, 0, (new,)


POINTS: tuple[Callable[[Page], Iterable[Change]], ...] = (
    _stops_somewhere,
    _tools_somewhere,
    _spindle_just_before,
    _dwells_on_the_way,
    _along_a_shoulder,
    _long_numbers,
    _harmless,
)
