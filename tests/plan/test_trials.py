"""Advice that was tried: whatever is printed can be planned, and its part is the better one."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from knurlcam import CannotBeDoneError, Job, make_plan
from knurlcam.plan.model import Plan
from tests.support.jobs import REMOVE, base_job

FOLLOWED: tuple[tuple[str, str], ...] = (
    (r"turn (?:it to )?([\d.]+ (?:mm|in)) \(\d+ teeth\)", "part.blank_diameter"),
    (r"a knurled diameter of ([\d.]+ (?:mm|in))", "part.knurled_diameter"),
    (r"held at most ([\d.]+ (?:mm|in)) from the end", "part.length"),
    (r"with rolls ([\d.]+ (?:mm|in)) wide", "tool.face_width"),
    (r"in (\d+) passes instead of", "process.passes"),
    (r"([\d.]+ (?:mm|in)) (?:below|above)", "part.knurled_diameter"),
    (r"(?:held|hold it) (between centres)", "holding.method"),
    (r"(in a chuck with a dead centre|bring up a dead centre)", "holding.method"),
    (r"with (a straddle)", "tool.style"),
    (r"process\.compensate = (true) makes", "process.compensate"),
)
"""How advice reads, and the key that it speaks of."""

WARNED_OF_THE_REMEDY = {"slide-follows"}


def following(said: str) -> Iterator[dict[str, Any]]:
    """Yield what each piece of advice in a message changes."""
    for pattern, key in FOLLOWED:
        for text in re.findall(pattern, said, flags=re.I):
            yield changes_of(key, text)


def changes_of(key: str, text: str) -> dict[str, Any]:
    if key == "holding.method":
        method = "between centres" if text.lower() == "between centres" else "chuck and centre"
        return {key: method, "holding.tailstock": "dead centre"}
    if key == "tool.style":
        return {key: "straddle", "tool.roll_spacing": REMOVE}
    if key == "part.knurled_diameter":
        return {key: text, "part.blank_diameter": REMOVE}
    values: dict[str, Any] = {"process.passes": int, "process.compensate": bool}
    return {key: values.get(key, str)(text)}


JOBS = st.fixed_dictionaries(
    {
        "units": st.sampled_from(["mm", "inch"]),
        "part.material": st.sampled_from(["aluminium 6082-T6", "C45", "1.4301"]),
        "knurl.callout": st.sampled_from(["DIN 82 RGE 1.0", "DIN 82 RAA 0.8", "DIN 82 RGE 1.6"]),
        "part.length": st.sampled_from(["60 mm", "150 mm", "300 mm"]),
        "knurl.length": st.sampled_from(["20 mm", "50 mm"]),
        "holding.method": st.sampled_from(["chuck", "chuck and centre", "between centres"]),
        "tool.force_limit": st.sampled_from([REMOVE, "900 N", "3 kN"]),
        "size": st.tuples(
            st.sampled_from(["part.blank_diameter", "part.knurled_diameter"]),
            st.integers(80, 300),
        ),
    }
)


def job_of(drawn: dict[str, Any]) -> dict[str, Any]:
    changes = dict(drawn)
    key, tenths = changes.pop("size")
    lengths = {"tool.roll_diameter": "20 mm", "tool.face_width": "10 mm"}
    lengths |= {"tool.roll_spacing": "21 mm", "machine.safe_x": "120 mm", "machine.safe_z": "50 mm"}
    holding = {"holding.tailstock": REMOVE, "holding.centre_diameter": REMOVE}
    none = {"part.knurled_diameter": REMOVE, "part.blank_diameter": REMOVE}
    return {**changes, **lengths, **holding, **none, key: f"{tenths / 10} mm"}


def planned(changes: dict[str, Any]) -> tuple[Plan | None, dict[str, str]]:
    """Return the plan and what is refused or warned of, by code."""
    try:
        plan = make_plan(Job.model_validate(base_job(changes)))
    except CannotBeDoneError as error:
        return None, {r.code: r.message for r in error.refusals}
    return plan, {n.code: n.message for n in plan.notes if n.severity != "note"}


def is_no_worse(then: Plan, now: Plan) -> bool:
    """Whether a part is as clean, and as even but for the tenth that is not yet warned of."""
    one, other = then.expected, now.expected
    return (
        one.double_impression <= other.double_impression + 0.1
        and one.evenness >= other.evenness - 0.1
    )


def check_advice(changes: dict[str, Any]) -> int:
    """Follow each piece of advice that a job gets; return how many."""
    plan, said = planned(changes)
    followed = 0
    for code, message in said.items():
        for advised in following(message):
            then, left = planned({**changes, **advised})
            followed += 1
            if plan is None:
                assert code not in left or then is not None, (code, advised, left)
                continue
            assert then is not None, (code, advised, left)
            assert left.keys() <= said.keys() | WARNED_OF_THE_REMEDY, (code, advised, left)
            assert is_no_worse(then, plan), (code, advised)
            settled = code not in left
            assert settled or then.expected.evenness > plan.expected.evenness, (code, advised)
    return followed


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(drawn=JOBS)
def test_every_piece_of_advice_can_be_planned_and_its_part_is_no_worse(
    drawn: dict[str, Any],
) -> None:
    check_advice(job_of(drawn))


@pytest.mark.long
@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(drawn=JOBS)
def test_every_piece_of_advice_of_many_jobs_can_be_planned(drawn: dict[str, Any]) -> None:
    check_advice(job_of(drawn))


SLENDER = {"part.length": 300.0, "knurl.length": 120.0}


def test_advice_is_given_where_there_is_something_to_advise() -> None:
    assert check_advice({**SLENDER, "part.knurled_diameter": 20.0}) >= 3


def test_what_would_bring_a_new_warning_is_not_advised() -> None:
    # In a chuck alone the rod would be held worse, and be warned of.
    _, said = planned({**SLENDER, "part.knurled_diameter": 20.0})
    assert said
    assert "held in a chuck," not in " ".join(said.values()).lower()


def test_what_is_not_a_valid_job_is_not_advised() -> None:
    # Rolls half as wide would be narrower than any.
    _, said = planned({"tool.face_width": 0.6, "tool.force_limit": "10 N"})
    assert "with rolls" not in said["above-tool-limit"]
