"""Findings say what happened, at its own line: one cause, one finding, no consequences."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import pytest

from knurlcam.verification.verify import verify
from tests.support.breaking import POSTS, RS274, Line, Text, good_job
from tests.verification.cases.table import PER_TURN


class Cause(NamedTuple):
    """An edit: jobs and dialects, the only code, key words of the message, and what it does."""

    name: str
    jobs: tuple[str, ...]
    posts: tuple[str, ...]
    code: str
    words: tuple[str, ...]
    make: Callable[[Text], Line]


CAUSES: list[Cause] = []


def cause(
    code: str, *words: str, jobs: tuple[str, ...] = ("diamond",), posts: tuple[str, ...] = POSTS
) -> Callable[[Callable[[Text], Line]], Callable[[Text], Line]]:
    """Register an edit; it returns the line at which it is found."""

    def register(make: Callable[[Text], Line]) -> Callable[[Text], Line]:
        CAUSES.append(Cause(make.__name__, jobs, posts, code, words, make))
        return make

    return register


def times(t: Text, line: Line, factor: float) -> Line:
    return t.put(line, "X", t.value(line, "X") * factor)


@cause("too-deep", "X is a diameter here: is this a radius?", jobs=("diamond", "plunge", "trial"),
       posts=PER_TURN)  # fmt: skip
def a_radius_is_typed_for_the_first_diameter(t: Text) -> Line:
    return times(t, t.infeeds[0], 0.5)


@cause("too-deep", "X is a diameter here: is this a radius?", posts=PER_TURN)
def a_radius_is_typed_for_the_second_diameter(t: Text) -> Line:
    return times(t, t.infeeds[1], 0.5)


@cause("not-to-depth", "pass 1 does not reach the work", "X is a radius here: is this a diameter?",
       posts=("rs274",))  # fmt: skip
def a_diameter_is_typed_for_the_first_radius(t: Text) -> Line:
    return times(t, t.infeeds[0], 2.0)


@cause("not-to-depth", "the trial strip does not reach the work", "is this a diameter?",
       jobs=("trial",), posts=("rs274",))  # fmt: skip
def a_diameter_is_typed_for_the_radius_of_the_trial_strip(t: Text) -> Line:
    return times(t, t.infeeds[0], 2.0)


@cause("track-left", "is this a diameter?", posts=("rs274",))
def a_diameter_is_typed_for_the_second_radius(t: Text) -> Line:
    return times(t, t.infeeds[1], 2.0)


@cause("pass-missing", "never touch", "X is a radius here: is this a diameter?",
       jobs=("diamond", "plunge"), posts=("rs274",))  # fmt: skip
def diameters_are_typed_for_all_radii(t: Text) -> Line:
    infeeds = t.infeeds
    for line in infeeds:
        times(t, line, 2.0)
    return infeeds[0]


@cause("not-to-depth", "pass 1 does not reach the work")
def the_first_infeed_is_gone(t: Text) -> Line:
    t.delete(t.infeeds[0])
    return t.traverses[0]


@cause("not-to-depth", "the trial strip does not reach the work", jobs=("trial",))
def the_infeed_of_the_trial_strip_is_gone(t: Text) -> Line:
    t.delete(t.infeeds[0])
    return t.traverses[0]


@cause("dwell-on-the-way", "a dwell of 5.000 s in the middle of a traverse",
       jobs=("diamond", "trial"))  # fmt: skip
def a_dwell_divides_the_first_traverse(t: Text) -> Line:
    line = t.traverses[0]
    half = t.written("Z", t.value(line, "Z") + 5.0)
    t.before(line, f"G01 {half} {t.written('F', 0.5)}")
    return t.before(line, f"G04 {t.written('D', 5.0)}")


@cause("misplaced-word", "takes its time as X in seconds, not as P", posts=("iso6983",))
def a_dwell_by_p_where_it_is_x(t: Text) -> Line:
    return t.dwells[0].sub("G04 X", "G04 P")


@cause("misplaced-word", "takes its time as P in", "not as X", posts=RS274)
def a_dwell_by_x_where_it_is_p_in_seconds(t: Text) -> Line:
    return t.dwells[0].sub("G04 P", "G04 X")


@cause("misplaced-word", "takes its time as P in milliseconds, not as X",
       posts=("uw-lathe", "iso6983-integer"))  # fmt: skip
def a_dwell_by_x_where_it_is_p_in_milliseconds(t: Text) -> Line:
    return t.dwells[0].sub("G04 P", "G04 X")


PARAMS = [
    pytest.param(one, job, post, id=f"{one.name}-{job}-{post}")
    for one in CAUSES
    for job in one.jobs
    for post in one.posts
]


@pytest.mark.parametrize(("one", "job", "post"), PARAMS)
def test_one_cause_is_one_finding_at_its_own_line(one: Cause, job: str, post: str) -> None:
    text = Text.of(job, post)
    line = one.make(text)
    found = verify(str(text), good_job(job), post).findings
    assert [(f.code, f.line) for f in found] == [(one.code, text.at(line))], found
    for words in one.words:
        assert words in found[0].message
