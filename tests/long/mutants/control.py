"""Edits that matter, or do not, because of what controls do with a text.

Each generator makes one point: that a stop ends the spindle, that crests stand above the blank,
that a character ends the tape. Beside what is dangerous stands its near miss, what programmers
write every day and what must stay clean.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator

from tests.long.mutants.figures import figures_of
from tests.long.mutants.page import Change, Page, page_of
from tests.long.mutants.programs import Program
from tests.support.naive import G_WORDS, NIST


def changes(program: Program, lines: list[str]) -> Iterator[Change]:
    """Make every edit of this module."""
    page = page_of(program, lines)
    for make in POINTS:
        for kind, at, taken, new in make(page):
            yield kind, at, taken, tuple(new)


# == what a control does =================================================================


def _after_the_cancel(page: Page) -> Iterator[Change]:
    """No axis moves once the offset is cancelled: the control counts without it."""
    at = page.cancel
    if at is None:
        return
    machine, kind = page.plan.job.machine, "moved without the offset"
    x, z = page.word("X", machine.safe_x), page.word("Z", machine.safe_z)
    for new in ((f"G00 {x}",), (f"G00 {z}",), (f"G00 {x}", f"G00 {z}"), (f"G01 {x} F0.1",)):
        yield kind, at + 1, 0, new
    if page.program.post == "uw-lathe":
        for word in ("G28 U0.0", "G28 W0.0", "G00 U1.0"):
            yield kind, at + 1, 0, (word,)
    moves = [i for i in range(at) if re.search(r"G00|G28", page.lines[i])]
    for i in moves[-3:]:
        new = (page.lines[at], *page.lines[i:at])
        yield "offset cancelled before the last moves", i, at - i + 1, new


def _after_a_change(page: Page) -> Iterator[Change]:
    """Where the tool stands is unknown after another offset, until both axes are stated."""
    tool, post = page.plan.job.tool, page.program.post
    one, other = (
        ((f"G43 H{tool.offset_number + 1}",), (f"G43 H{tool.offset_number}",))
        if post in NIST
        else (
            (f"T{tool.station:02d}{tool.offset_number + 1:02d}",),
            (f"T{tool.station:02d}{tool.offset_number:02d}",),
        )
    )
    machine = page.plan.job.machine
    both = f"G00 {page.word('X', machine.safe_x)} {page.word('Z', machine.safe_z)}"
    for i in page.away[:1]:
        for back in ((), (both,)):
            kind = "position stated again after another offset" if back else "position forgotten"
            yield kind, i + 1, 0, (*one, *other, *back)
        yield "offset changed over the work", i + 2, 0, (*one, *other, both)


def _crests(page: Page) -> Iterator[Change]:
    """Crests stand above the blank where the rolls have been."""
    figures, plan = figures_of(page.program.name), page.plan
    mesh = page.word("X", figures.x_at(figures.blank + 0.4 * plan.rise_mm))
    above = page.word("X", figures.x_at(figures.blank + 1.5 * plan.rise_mm + 0.1))
    feed = page.feed(plan.feed_mm_per_rev)
    reach = f"G01 {mesh} {feed}"
    deep = f"G01 {page.word('X', plan.passes[-1].x_diameter_mm)} {page.feed(0.05)}"
    side = page.word("Z", plan.passes[-1].z_end_mm + 3.0)
    dwell = page.dwell(plan.dwell_s)
    for i in page.retracts:
        out = page.lines[i]
        yield "spindle stopped in the crests", i, 0, (reach, "M05", *page.start)
        yield "stop in the crests", i, 0, (reach, "M05", "M00", *page.start, *page.wet)
        yield "dragged along the crests", i, 0, (reach, f"G01 {side}")
        yield "dragged along the crests", i, 0, (reach, f"G00 {side}")
        yield "plunged into the knurl again", i + 1, 0, (reach, out)
        yield "plunged into the knurl again", i + 1, 0, (deep, dwell, out)
        yield "plunged into the knurl again", i + 1, 0, (f"G01 {side} {feed}", reach, out)
        yield "rapid out of the crests", i, 1, (reach, out.replace("G01", "G00"))
        yield "rapid into the crests", i + 1, 0, (f"G00 {mesh}", out)
        yield "dry in the crests", i, 0, (reach, "M09", "M08")
        for seconds in (plan.dwell_s, 12 * plan.dwell_s):
            yield "dwell in the crests", i, 0, (reach, page.dwell(seconds))
        yield "harmless: out in two steps", i, 0, (reach,)
        yield "harmless: out in two steps", i, 0, (f"G01 {above} {feed}",)
    for i in page.approaches[1:]:
        yield "dragged along the crests", i + 1, 0, (reach, f"G01 {side}")


def _unheard(page: Page) -> Iterator[Change]:
    """A feed before units and feed mode says nothing, nor a speed before the speed mode."""
    lines, modes = page.lines, page.modes
    for i in page.infeeds[:1]:
        feed = re.search(r" (F[\d.]+)", lines[i])
        assert feed
        without = lines[i].replace(feed[0], "")
        between = lines[modes:i]
        yield "feed before its modes", modes, i - modes + 1, (feed[1], *between, without)
        new = (between[0], feed[1], *between[1:], without)
        yield "harmless: feed ahead of its block", modes, i - modes + 1, new
    for i in page.spindle[:1]:
        speed = re.search(r"S\d+ ", lines[i])
        if not speed or page.program.post == "rs274":
            continue
        without = lines[i].replace(speed[0], "").replace("G97 ", "")
        between = lines[modes:i]
        yield "speed before its mode", modes, i - modes + 1, (speed[0].strip(), *between, without)
        new = (*between, speed[0].strip(), without)
        yield "harmless: speed ahead of its block", modes, i - modes + 1, new


def _too_late(page: Page) -> Iterator[Change]:
    """Speed and coolant are there a block before the work."""
    lines = page.lines
    for i in page.spindle:
        into = next((j for j in page.infeeds if j > i), None)
        if into is None:
            continue
        speed, turn = re.search(r"S\d+", lines[i]), re.search(r"M0[34]", lines[i])
        assert speed
        assert turn
        slow = lines[i].replace(speed[0], "S20")
        close = max(j for j in page.approaches if j < into)
        for at, kind in (
            (into, "speed too late"),
            (close, "speed in the last rapid"),
            (close - 1, "harmless: speed in the approach"),
        ):
            yield kind, i, at - i + 1, (slow, *lines[i + 1 : at], f"{lines[at]} {speed[0]}")
        still = lines[i].replace(f" {turn[0]}", "")
        new = (still, *lines[i + 1 : into], f"{lines[into]} {turn[0]}")
        yield "spindle too late", i, into - i + 1, new
    for i in page.coolant:
        into = next((j for j in page.infeeds if j > i), None)
        if into is not None:
            new = (*lines[i + 1 : into], f"{lines[into]} M08")
            yield "coolant too late", i, into - i + 1, new
            near = (*lines[i + 1 : into - 1], f"{lines[into - 1]} M08")
            yield "harmless: coolant in the approach", i, into - i, near


def _stops(page: Page) -> Iterator[Change]:
    """A stop ends spindle and coolant, and hands go in."""
    off, on, wet = ("M09", "M05"), page.start, page.wet
    tool = page.tool
    for i in page.away[:1]:
        for word in ("M00", "M01"):
            yield "nothing stated after a stop", i, 0, (*off, word)
            yield "no coolant stated after a stop", i, 0, (*off, word, *on)
            yield "no spindle stated after a stop", i, 0, (*off, word, *wet)
            yield "axes not stated after a stop", i + 1, 0, (*off, word, *tool, *on, *wet)
            yield "harmless: stop and go on", i, 0, (*off, word, *tool, *on, *wet)
    for i in page.approaches:
        for word in ("M00", "M01"):
            yield "stop near the work", i + 1, 0, (*off, word, *on, *wet)
    for i in page.retracts:
        for word in ("M00", "M01"):
            yield "stop near the work", i + 1, 0, (*off, word, *on, *wet)
    for i in page.stops:
        stop = page.lines[i]
        other = stop.replace("M00", "M01") if "M00" in stop else stop.replace("M01", "M00")
        yield "another stop for the trial", i, 1, (other,)
        before = [j for j in page.retracts if j < i]
        for j in before[-1:]:  # the rolls stay where they left the work
            kept = [line for line in page.lines[j + 1 : i] if "G00" not in line]
            yield "stop near the work", j + 1, i - j - 1, tuple(kept)
        after = [j for j in (*page.changes, *page.calls) if j > i]
        if after:
            first, last = min(after), max(after)
            yield "tool not called after a stop", first, last - first + 1, ()
            for j in {*after}:
                yield "tool not called after a stop", j, 1, ()
        for lost in page.spindle, page.coolant:
            for j in lost:
                if j > i:
                    yield "not stated after the trial", j, 1, ()


def _two_for_one(page: Page) -> Iterator[Change]:
    """Two words that want one address, and more M words than a block may have."""
    for i in page.dwells:
        line = page.lines[i]
        for word in ("G00", "G01"):
            yield "dwell beside motion", i, 1, (f"{line} {word}",)
            yield "dwell beside motion", i, 1, (line.replace("G04", f"{word} G04"),)
        yield "dwell beside increments", i, 1, (line.replace("G04", "G91 G04"),)
    for i in page.spindle:
        line = page.lines[i]
        yield "several M words", i, 1, (f"{line} M08",)
        yield "several M words", i, 1, (f"{line} M08 M08",)
    for i, line in enumerate(page.lines[:-1]):
        if line.endswith("M09") and page.lines[i + 1].endswith("M05"):
            yield "several M words", i, 2, (f"{line} M05",)
            yield "several M words", i, 2, (f"{line} M05 M09 M05 M09",)


def _left_behind(page: Page) -> Iterator[Change]:
    """What is called or pasted ends in the modes that it promises."""
    for word, means in G_WORDS[page.program.post].items():
        if means in ("mm", "inch", "absolute", "increments", "a turn", "a minute", "surface"):
            yield "modes left behind", page.end, 0, (word,)
    planned = page.plan.programmed_rpm
    for rpm in (planned, round(0.97 * planned), round(0.9 * planned), 2 * planned, 2000):
        yield "speed left behind", page.end, 0, (f"S{rpm}",)


ORDERS = (
    "MSG, DIAL IN", "msg,go on", "DEBUG, #1", "PRINT,HELLO", "LOGOPEN,KNURL.TXT", "LOG,X",
    "PROBEOPEN P.TXT", "PROBE, X",
)  # fmt: skip


def _characters(page: Page) -> Iterator[Change]:
    """Characters that end a line, a comment or the tape for some controls only."""
    comments = [i for i, line in enumerate(page.lines) if line.startswith("(")]
    for i in (*comments[::5], *comments[-2:]):
        line = page.lines[i]
        yield "percent sign in a comment", i, 1, (line[:-1] + " 50%)",)
        yield "percent sign in a comment", i, 1, ("(%" + line[1:],)
        for letter in "\u00fc\u00a9\u00a8\u2300\u00b0":
            yield "eighth bit in a comment", i, 1, (line[:3] + letter + line[3:],)
        for order in ORDERS:
            yield "order in a comment", i, 0, (f"({order})",)
        yield "harmless: comment", i, 0, ("(PROVED 12.03., M. SMITH: OK / GO)",)
        yield "harmless: comment", i, 0, ("(MESSAGE FOR THE SETTER)",)
    blocks = [page.modes, *page.infeeds, *page.retracts, page.end - 1]
    for i in blocks:
        yield "lone carriage return", i, 2, ("\r".join(page.lines[i : i + 2]),)
        yield "lone carriage return", i, 1, (f"(A\r{page.lines[i]})",)
    yield "lone carriage return", 0, len(page.lines), ("\r".join(page.lines),)


def _dwells(page: Page) -> Iterator[Change]:
    """Dwells that a wrong unit makes, and feed per revolution while nothing turns."""
    planned = page.plan.dwell_s
    for i in page.dwells:
        for factor in (1.5, 2.8, 3.3, 9.5, 10.5, 60.0, 1000.0):
            kind = "dwell in the work longer"
            yield kind, i, 1, (page.dwell(factor * planned),)
    for i in page.away[:1]:
        for seconds in (2.0, 55.0, 65.0, 1091.0):
            yield "dwell in air", i + 1, 0, (page.dwell(seconds),)
        for seconds in (15.0, 25.0, 40.0):
            yield "dwell in air in several blocks", i + 1, 0, (page.dwell(seconds),) * 3
        machine = page.plan.job.machine
        feed = f"G01 {page.word('X', machine.safe_x - 2.0)} {page.feed(0.5)}"
        kind = "feed at standstill"
        yield kind, i + 1, 0, ("M05", feed, *page.start)
        yield kind, i + 1, 0, (feed,)
    for i in page.retracts[-1:]:
        gone = next((j for j in page.away if j > i), None)
        off = next((j for j in range(i, len(page.lines)) if "M05" in page.lines[j]), None)
        if gone and off:
            new = (page.lines[gone].replace("G00", "G01"),)
            yield kind, gone, 1, new
            yield kind, gone, 1, ("M05", *new)


def _depths(page: Page) -> Iterator[Change]:
    """Infeeds by shares of the tolerance deeper and shallower."""
    figures = figures_of(page.program.name)
    x_word = re.compile(r"X(-?[\d.]+)")
    factor = 25.4 if page.plan.job.units == "inch" else 1.0
    factor *= 2.0 if page.program.post == "rs274" else 1.0
    if page.program.post == "iso6983-integer":
        factor /= 10000 if page.plan.job.units == "inch" else 1000
    for i in page.infeeds:
        found = x_word.search(page.lines[i])
        assert found
        x = float(found[1]) * factor
        off = figures.tolerance(page.program.post, x)
        slope = (figures.rigid_depth(x) - figures.rigid_depth(x + 0.02)) / 0.02
        if slope < 0.05:
            continue
        for depth in (-2 * off, -1.4 * off, -0.6 * off, 0.6 * off, 1.4 * off, 2 * off):
            new = page.word("X", x - depth / slope)
            kind = "harmless: depth in tolerance" if abs(depth) < off else "depth a little off"
            yield kind, i, 1, (x_word.sub(new, page.lines[i], count=1),)


# == what programmers do every day =======================================================


def _harmless(page: Page) -> Iterator[Change]:
    """Edits that change nothing that matters, each in the dialects where it is legal."""
    lines, modes = page.lines, page.modes
    for new in (("G54",), ("G18 G40 G80",), ("G40",), ("G80",), ("G54", "G18 G40 G80")):
        yield "harmless: words at the start", modes, 0, new
        yield "harmless: words at the start", modes + 1, 0, new
    yield "harmless: words at the start", modes, 1, (f"{lines[modes]} G54 G40",)
    yield from _starts(page)
    machine = page.plan.job.machine
    both = f"G00 {page.word('X', machine.safe_x)} {page.word('Z', machine.safe_z)}"
    for i in page.away[:1]:
        yield "harmless: both axes first", i, 0, (both,)
        yield "harmless: both axes first", i, 1, (both,)
        wider = f"G00 {page.word('X', machine.safe_x + 15.0)}"
        yield "harmless: further out", i, 1, (wider,)
    for kind, rows in (("infeed", page.infeeds), ("retract", page.retracts)):
        for i in rows:
            for share in (0.6, 0.8, 0.9):
                yield f"harmless: slower {kind}", i, 1, (_scaled_feed(lines[i], share),)
        for i in rows if kind == "infeed" else ():
            for share in (0.2, 0.4):
                yield "infeed much slower", i, 1, (_scaled_feed(lines[i], share),)
    yield from _spellings(page)


def _starts(page: Page) -> Iterator[Change]:
    lines, post = page.lines, page.program.post
    if post == "uw-lathe" and page.program.form != "blocks":
        for new in (("G28 U0.0", "G28 W0.0"), ("G28 U0.0",)):
            yield "harmless: reference before the tool", page.modes + 1, 0, new
    if post in NIST and page.calls and page.program.form != "blocks":
        for i, line in enumerate(lines):
            if "M06" in line:
                tool = line.replace(" M06", "")
                yield "harmless: tool on two lines", i, 1, (tool, "M06")
                yield "tool not changed", i, 1, (tool,)
                yield "tool not changed", i, 1, ("M06", tool)
    if post in (*NIST, "uw-lathe") and page.program.form != "blocks":
        bare = tuple(line for line in lines if line != "%")
        yield "harmless: keyed in without its marks", 0, len(lines), bare
        yield "one mark of two", 0, 1, ()
        yield "one mark of two", len(lines) - 1, 1, ()


def _scaled_feed(line: str, share: float) -> str:
    def scaled(found: re.Match[str]) -> str:
        figure = found[1]
        places = len(figure.partition(".")[2])
        value = float(figure) * share
        return f"F{value:.{places}f}" if "." in figure else f"F{round(value)}"

    return re.sub(r"F([\d.]+)", scaled, line)


def _spellings(page: Page) -> Iterator[Change]:
    lines, count = page.lines, len(page.lines)

    def whole(kind: str, change: Callable[[str], str]) -> Change:
        new = tuple(line if line.startswith(("(", "%", "O")) else change(line) for line in lines)
        return f"harmless: {kind}", 0, count, new

    yield whole("short codes", lambda line: re.sub(r"\b([GM])0(\d)\b", r"\1\2", line))
    yield whole("no block numbers", lambda line: re.sub(r"^N\d+ ", "", line))
    yield whole("a comment on each block", lambda line: f"{line} (OK)")
    if page.program.post != "iso6983-integer":
        yield whole("short numbers", lambda line: re.sub(r"(\.\d*?)0+\b(?!\.)", r"\1", line))
    for i in page.spindle:
        found = re.fullmatch(r"(N\d+ )?(G97 )?(S\d+) (M0[34])", lines[i])
        if found:
            new = (f"{found[1] or ''}{found[2] or ''}{found[3]}", found[4])
            yield "harmless: speed and spindle apart", i, 1, new
    for i in page.coolant:
        if i and i - 1 in page.spindle:
            yield "harmless: coolant first", i - 1, 2, (_bare(lines[i]), _bare(lines[i - 1]))
    for i in page.dwells:
        yield "harmless: dwell longer", i, 1, (page.dwell(2 * page.plan.dwell_s),)


def _bare(line: str) -> str:
    return re.sub(r"^N\d+ ", "", line)


POINTS: tuple[Callable[[Page], Iterable[Change]], ...] = (
    _after_the_cancel,
    _after_a_change,
    _crests,
    _unheard,
    _too_late,
    _stops,
    _two_for_one,
    _left_behind,
    _characters,
    _dwells,
    _depths,
    _harmless,
)
