"""What one text does otherwise than another, and how grave that is."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterable, Iterator
from itertools import pairwise

from tests.long.mutants.figures import Figures, figures_of
from tests.long.mutants.programs import Program
from tests.long.mutants.trace import ALONG, SAFE_MM, Segment, Trace, good_trace, trace_of
from tests.support.naive import NotUnderstoodError

TOLERATED = {
    "another way through air": "a rapid or feed that breaks no rule where nothing is in its way",
    "a longer dwell": "more turns of the work without infeed, up to three times as long",
    "a dwell more": "the same, where none is planned",
    "a slower infeed": "down to half the feed: more turns, each of which presses in less",
    "a slower retract": "the rolls are leaving",
    "a stop more": "with the spindle standing and the rolls away it only waits for the operator",
    "another stop word": "a program stop in place of an optional one stops at least as surely",
    "coolant in the work where the job asks for none": "it cools, and is off at the end",
    "another speed limit": "between the planned speed and the machine's it holds back as it should",
}
"""Differences that the design lets pass, and why."""

WARNED = {
    "a dwell over three times as long": "the surface work-hardens, but nothing breaks",
    "a dwell over a minute in air": "nothing breaks, but seconds may be milliseconds",
    "no speed limit": "a wrong S word is not held back, but there is none",
    "text after the end": "it is not run",
    "block numbers do not rise": "only a search for a block is misled",
}
"""Differences that ask for a finding, but for no error. All others must be an error."""

EITHER = {
    "a comment that a control acts on": "what it does there depends on the control",
}
"""Differences that ask for a finding, an error or not."""

BORDER = (0.85, 1.15)
"""So near to a tolerance either judgement is right: the plan is exact, the text is rounded."""

FOLLOWED_BORDER = (0.5, 1.5)
"""A slide that follows the work in chords uses up some of the tolerance itself."""

IN_CRESTS_MM = 0.002
"""Less deep than this the rolls touch no more of the blank, only the crests on it."""

LONG_DWELL, LONG_DWELL_BORDER_S = 3.0, 0.005
LONGEST_DWELL, LONGEST_DWELL_BORDER_S = 10.0, 0.02

LEAST_INFEED, LEAST_INFEED_BORDER = 0.5, 0.03
LEAST_RETRACT = 0.2
"""Shares of the planned feed: a slower infeed and a slower retract let pass."""


def differences(program: Program, bad: Trace) -> set[str]:
    """Return every difference from the good program, by kind; ``?`` marks those at a border."""
    good, figures = good_trace(program), figures_of(program.name)
    found = set(bad.faults) - set(good.faults)
    if good.air != bad.air:
        found.add("another way through air")
    if ("z before x", len(bad.contacts)) in bad.air:
        found.add("along before out")
    if good.end != bad.end:
        found.add("another end")
    found |= _left(good, bad)
    found |= set(_places(good.place, bad.place, blocks=program.form == "blocks"))
    found |= _stops(good, bad)
    found |= _limits(good, bad, figures.plan.programmed_rpm, figures.job.machine.max_spindle_speed)
    if len(good.contacts) != len(bad.contacts):
        return found | {"another number of contacts"}
    for one, other in zip(good.contacts, bad.contacts, strict=True):
        found |= _contact(program.post, figures, one, other)
    return found


def text_differences(program: Program, text: str) -> set[str]:
    """Return what a text does otherwise than the good one, blocks with a slash run or not."""
    try:
        trace, slashes = trace_of(program, text)
        found = differences(program, trace)
        if slashes:
            found |= differences(program, trace_of(program, text, skip=True)[0])
    except NotUnderstoodError as error:
        return {f"not understood: {error}"}
    return found


def is_border(difference: str) -> bool:
    return difference.startswith("?")


def asks_for_an_error(found: Iterable[str]) -> bool:
    return any(not (is_border(d) or d in TOLERATED or d in WARNED or d in EITHER) for d in found)


# -- parts of it ------------------------------------------------------------------------


def _places(good: tuple[float, float], bad: tuple[float, float], *, blocks: bool) -> Iterator[str]:
    """Blocks may end further out, wherever along the work: what follows them goes on there."""
    if blocks:
        yield from _off(max(0.0, good[0] - bad[0]), SAFE_MM, "another end")
        return
    for one, other in zip(good, bad, strict=True):
        if math.inf in (one, other) and one != other:
            yield "?another end"  # at the reference point, out of the way
        elif one != other:
            yield from _off(one - other, SAFE_MM, "another end")


def _left(good: Trace, bad: Trace) -> set[str]:
    """What is not stated at all is found where it is missed."""
    modes = zip(good.modes, bad.modes, strict=True)
    found = {"other modes left behind"} if any(b not in (None, a) for a, b in modes) else set()
    if good.rpm and bad.rpm is None:
        found.add("?another speed left behind")
    elif good.rpm and bad.rpm is not None:
        found |= set(_off(bad.rpm - good.rpm, 0.05 * good.rpm, "another speed left behind"))
    return found


def _stops(good: Trace, bad: Trace) -> set[str]:
    have = [place for place, _ in bad.stops]
    if any(place not in have for place, _ in good.stops):
        return {"a stop less"}
    if any((place, "M00") not in bad.stops for place, word in good.stops if word == "M00"):
        return {"an optional stop for a program stop"}
    if len(bad.stops) > len(good.stops):
        return {"a stop more"}
    return {"another stop word"} if bad.stops != good.stops else set()


def _limits(good: Trace, bad: Trace, plan_rpm: int, machine_rpm: float) -> set[str]:
    if good.limits == bad.limits:
        return set()
    if any(not plan_rpm <= limit <= machine_rpm for _, limit in bad.limits):
        return {"a wrong speed limit"}
    in_time = any(contacts == 0 for contacts, _ in bad.limits)
    return {"another speed limit" if in_time else "no speed limit"}


def _contact(post: str, figures: Figures, good: list[Segment], bad: list[Segment]) -> set[str]:
    found: set[str] = set()
    i = 0
    for one in good:
        slight = figures.slight(post)
        while i < len(bad) and bad[i].what != one.what and _is_aside(bad[i], slight):
            found |= _states(one, bad[i]) | _aside(figures, bad[i])
            i += 1
        if i == len(bad) or bad[i].what != one.what:
            if i and one.what == "in" and abs(bad[i - 1].depth - one.depth) < slight:
                found.add("?another sequence")  # as deep before as after it
                continue
            return found | {"another sequence"}
        found |= _segment(post, figures, one, bad[i]) | _states(one, bad[i])
        i += 1
    for rest in bad[i:]:
        found |= _states(good[-1], rest)
        found |= _aside(figures, rest) if _is_aside(rest, slight) else {"another sequence"}
    return found


def _is_aside(segment: Segment, slight: float) -> bool:
    """Whether what is planned goes on after it as if it had not been."""
    if segment.what == "ease" and segment.depth < IN_CRESTS_MM:
        return True  # on the way out
    steps = segment.what in ("in", "ease") and abs(segment.depth - segment.start) < slight
    return segment.what == "dwell" or steps


def _aside(figures: Figures, segment: Segment) -> set[str]:
    if segment.what == "ease" and segment.depth < IN_CRESTS_MM:
        return set()
    if segment.what != "dwell":
        return {"?another sequence"}
    if not segment.seconds:
        return set()
    return {"a dwell more"} | set(_long(segment.seconds, figures.plan.dwell_s))


def _long(seconds: float, planned: float) -> Iterator[str]:
    over = seconds - LONG_DWELL * planned
    if over > -LONG_DWELL_BORDER_S:
        yield ("" if over > LONG_DWELL_BORDER_S else "?") + "a dwell over three times as long"
    over = seconds - LONGEST_DWELL * planned
    if over > -LONGEST_DWELL_BORDER_S:
        yield ("" if over > LONGEST_DWELL_BORDER_S else "?") + "a dwell over ten times as long"


def _off(
    by: float, tolerance: float, name: str, border: tuple[float, float] = BORDER
) -> Iterator[str]:
    share = abs(by) / tolerance
    if not share <= border[0]:
        yield f"?{name}" if share <= border[1] else name


def _states(one: Segment, other: Segment) -> set[str]:
    found = set() if one.state == other.state else {"another state in the work"}
    return found | set(_off(other.rpm - one.rpm, 0.05 * one.rpm, "another speed"))


def _segment(post: str, figures: Figures, one: Segment, other: Segment) -> set[str]:
    found = set(_off(other.z - one.z, 0.02, "another Z"))
    if one.what != "out":
        at = figures.touch_x - 2 * one.depth
        found |= _depth(figures.tolerance(post, at), figures, other.depth - one.depth)
    found |= _ways(post, figures, one, other)
    for a, b in zip(one.feeds, other.feeds, strict=True):
        if a:
            found |= _feed(one.what, a, b)
    if other.seconds < one.seconds - 0.002:
        found.add("a shorter dwell")
    elif other.seconds > one.seconds + 0.001:
        found |= {"a longer dwell"} | set(_long(other.seconds, one.seconds))
    elif other.seconds < one.seconds:
        found.add("?a shorter dwell")
    return found


def _depth(tolerance: float, figures: Figures, by: float) -> set[str]:
    border = FOLLOWED_BORDER if figures.work else BORDER
    return set(_off(by, tolerance, "another depth", border))


def _feed(what: str, planned: float, feed: float) -> set[str]:
    """Compare feeds: into the work it may be slower, down to half, and out of it as one likes."""
    off = set(_off(feed - planned, 0.05 * planned, "another feed"))
    if feed >= planned or not off:
        return off
    if what == "in":
        least = LEAST_INFEED * planned
        if feed < least * (1 - LEAST_INFEED_BORDER):
            return {"another feed"}
        near = feed < least * (1 + LEAST_INFEED_BORDER)
        return {"?another feed"} if near else {"a slower infeed"}
    if what == "out" and feed > 0:
        return {"a slower retract" if feed > LEAST_RETRACT * planned else "?another feed"}
    return off


def _ways(post: str, figures: Figures, one: Segment, other: Segment) -> set[str]:
    """Compare the depth along two ways that follow the work, at the places of both."""
    if one.way == other.way or one.what not in ALONG:
        return set()
    ways = sorted((z, x) for x, z in one.way), sorted((z, x) for x, z in other.way)
    low, high = max(w[0][0] for w in ways), min(w[-1][0] for w in ways)
    corners = sorted({z for way in ways for z, _ in way if low <= z <= high})
    places = corners + [(a + b) / 2 for a, b in pairwise(corners)]
    worst = 0.0
    for z in places:
        x, wanted = _x_at(ways[1], z), _x_at(ways[0], z)
        if x != wanted:
            worst = max(worst, abs(figures.depth(x, z) - figures.depth(wanted, z)))
    return _depth(figures.tolerance(post, figures.touch_x), figures, worst)


def _x_at(way: list[tuple[float, float]], z: float) -> float:
    i = bisect_left(way, (z, -math.inf))
    if i == len(way):
        return way[-1][1]
    if way[i][0] == z or i == 0:
        return way[i][1]
    (z0, x0), (z1, x1) = way[i - 1], way[i]
    return x0 + (x1 - x0) * (z - z0) / (z1 - z0)
