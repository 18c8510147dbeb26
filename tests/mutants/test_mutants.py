"""A share of the slips, and the judge itself."""

from __future__ import annotations

from collections import Counter

import pytest

from tests.breaking import POSTS
from tests.mutants.compare import text_differences
from tests.mutants.judge import WRONG, judge, trial
from tests.mutants.programs import ALL, NAMES, Program, plan_of, text_of
from tests.mutants.trace import good_trace

MOST, MOST_FOLLOWED = 60, 15
"""Mutants of a program, and of one whose slide follows the work, which takes long to judge;
``python -m tests.mutants`` tries many more."""


@pytest.mark.parametrize("name", NAMES)
def test_a_slip_that_matters_is_found_and_one_that_does_not_is_not(name: str) -> None:
    wrong, seen = [], Counter[str]()
    for program in ALL:
        if program.name != name:
            continue
        most = MOST_FOLLOWED if plan_of(name).follows else MOST
        for mutant, verdict in trial(program, most):
            seen[verdict.outcome] += 1
            if verdict.outcome in WRONG:
                lines = mutant.text.split("\n")[max(0, mutant.line - 2) : mutant.line + 2]
                wrong.append(f"{mutant.kind}: {program}, line {mutant.line}: {lines}: {verdict}")
    assert not wrong, "\n".join(wrong[:5])
    assert seen["found"] > seen["passed"] > 10


@pytest.mark.parametrize("name", NAMES)
def test_the_interpreter_finds_nothing_amiss_in_a_good_program(name: str) -> None:
    for program in ALL:
        if program.name == name:
            assert good_trace(program).faults == []
            assert text_differences(program, text_of(program)) == set()
            assert judge(program, text_of(program)).outcome == "passed"


@pytest.mark.parametrize("name", NAMES)
def test_the_dialects_do_the_same_in_the_work(name: str) -> None:
    first = good_trace(Program(name, POSTS[0])).contacts
    for post in POSTS[1:]:
        other = good_trace(Program(name, post)).contacts
        assert [[s.what for s in c] for c in other] == [[s.what for s in c] for c in first]
