"""A share of the edits, and the judge itself."""

from __future__ import annotations

import random
from collections import Counter

import pytest

from knurlcam.verification.findings import Finding, Verification
from tests.long.mutants import judge as judging
from tests.long.mutants.compare import text_differences
from tests.long.mutants.edits import mutants
from tests.long.mutants.judge import WRONG, judge, trial
from tests.long.mutants.programs import ALL, NAMES, SAMPLES, Program, plan_of, text_of
from tests.long.mutants.trace import good_trace
from tests.support.breaking import POSTS

MOST, MOST_FOLLOWED = 50, 10
"""Mutants of a program, and of one whose slide follows the work, which takes long to judge;
``python -m tests.long.mutants`` tries many more."""


@pytest.mark.few(5)
@pytest.mark.parametrize(
    "name",
    # One whose slide compensates takes as long to judge as three others.
    [
        pytest.param(n, marks=pytest.mark.long if n in SAMPLES or plan_of(n).follows else ())
        for n in NAMES
    ],
)
def test_an_edit_that_matters_is_found_and_one_that_does_not_is_not(name: str) -> None:
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
    # Of one that compensates fewer are tried, and few edits of it matter to nobody.
    assert seen["found"] > seen["passed"] > (0 if plan_of(name).follows else 10)


@pytest.mark.few(8)
@pytest.mark.parametrize("name", NAMES)
def test_the_interpreter_finds_nothing_amiss_in_a_good_program(name: str) -> None:
    for program in ALL:
        if program.name == name:
            assert good_trace(program).faults == []
            assert text_differences(program, text_of(program)) == set()
            assert judge(program, text_of(program)).outcome == "passed"


@pytest.mark.few(8)
@pytest.mark.parametrize("name", NAMES)
def test_the_dialects_do_the_same_in_the_work(name: str) -> None:
    first = good_trace(Program(name, POSTS[0])).contacts
    for post in POSTS[1:]:
        other = good_trace(Program(name, post)).contacts
        assert [[s.what for s in c] for c in other] == [[s.what for s in c] for c in first]


NEEDED = [
    ("dwell-short", "G04 X1.091", "G04 X0.910"),
    ("feed-not-planned", "Z-20.000 F0.500", "Z-20.000 F0.400"),
    ("speed-too-fast", "S110 M03", "S900 M03"),
    ("no-coolant", "N40 M08\n", ""),
    ("spindle-stopped", "N100 G01", "M05\nM03\nN100 G01"),
    ("stop-in-contact", "N100 G01", "M00\nN100 G01"),
    ("spindle-reversed", "N50 G00", "M04\nM03\nN50 G00"),
    ("tool-change-near-work", "N80 G01", "T0506\nT0505\nN80 G01"),
    ("outside-known-room", "N50 G00 X120.000", "N50 G00 X820.000"),
    ("rapid-in-contact", "N190 G01", "N190 G00"),
    ("spindle-on-at-end", "N250 M05\n", ""),
    ("unknown-word", "N60 G00", "N60 G55 G00"),
    ("unreadable-character", "(RETRACT)", "(RETRACT\u202e)"),
    ("program-end-missing", "N270 M30\n", ""),
    ("dwell-long", "G04 X1.091", "G04 X9.910"),
    ("numbering", "N60 G00", "N6 G00"),
    ("moves-without-offset", "N270 M30", "G00 X120.000\nN270 M30"),
    ("stated-too-late", "N80 G01", "M09\nN80 M08 G01"),
    ("stop-near-work", "N220 G00", "M05\nM00\nN220 G00"),
    ("comment-character", "(RETRACT)", "(RETRACT 50%)"),
    ("dwell-too-long", "G04 X1.091", "G04 X109.100"),
    ("long-dwell-in-air", "N60 G00", "G04 X99.000\nN60 G00"),
    ("feed-at-standstill", "N220 G00", "M05\nN220 G01"),
    ("after-the-end", "M30\n", "M30\n(THE END)\n"),
    ("coolant-on-at-stop", "N240 M09\nN250 M05", "N250 M05\nM00\nN240 M09"),
    ("stop-not-at-safe-position", "N230 G00", "M09\nM05\nM00\nN230 G00"),
    ("tool-change-near-work", "N70 G00", "T0505\nN70 G00"),
    ("stated-too-late", "N80 G01", "S30\nS110\nN80 G01"),
    ("leaves-other-modes", "N270 M30", "S2000\nN270 M30"),
    ("wrong-tool", "N20 T0505", "T0606\nN20 T0505"),
    ("number-format", "X120.000", "X120.000000"),
    ("long-dwell-in-air", "N60 G00", "G04 X31.000\nG04 X31.000\nN60 G00"),
    ("comment-obeyed", "(RETRACT)", "(PRINT, OUT)"),
]
"""Rules, and edits that nothing else finds."""


@pytest.mark.few(8)
@pytest.mark.parametrize(("code", "old", "new"), NEEDED, ids=[code for code, *_ in NEEDED])
def test_the_judge_misses_a_rule_that_is_switched_off(code: str, old: str, new: str) -> None:
    program = Program("diamond", "iso6983")
    assert old in text_of(program)
    spoilt = text_of(program).replace(old, new, 1)
    assert judge(program, spoilt).outcome == "found"
    assert judge(program, spoilt, without=code).outcome == "missed"


HARMLESS = [
    ("another number", "N60 ", "N65 "),
    ("another comment", "(RETRACT)", "(OUT AGAIN)"),
    ("an origin at the start", "N10 ", "G54\nN10 "),
    ("a slower infeed", " F0.050", " F0.030"),
    ("out in two steps", "N210 G01", "G01 X24.800 F0.500\nN210 G01"),
    ("a mode said again", "N60 G00", "N60 G90 G00"),
    ("a wider rapid", "N50 G00 X120.000", "N50 G00 X125.000"),
    ("coolant off in a rapid", "N220 G00 X120.000", "N220 G00 X120.000 M09"),
    ("a hair inside the safe position", "N220 G00 X120.000", "N220 G00 X119.990"),
    ("a point behind S", "S110 M03", "S110. M03"),
    ("a stop before the end", "N260 T0500", "M00\nN260 T0500"),
    ("spindle set in the approach", "N70 G00", "S30\nS110\nN70 G00"),
]


@pytest.mark.parametrize(("old", "new"), [h[1:] for h in HARMLESS], ids=[h[0] for h in HARMLESS])
def test_the_judge_calls_an_error_a_false_alarm_where_nothing_is_wrong(
    old: str, new: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    program = Program("diamond", "iso6983")
    assert old in text_of(program)
    spoilt = text_of(program).replace(old, new, 1)
    assert judge(program, spoilt).outcome in ("passed", "tolerated")
    invented = Verification("iso6983", "program", (Finding("error", "too-deep", None, 1, ""),))
    monkeypatch.setattr(judging, "verify_motion", lambda *_: invented)
    assert judge(program, spoilt).outcome == "false alarm"


def test_the_judge_does_not_take_an_exception_for_a_finding(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def fail(*_: object) -> None:
        raise ValueError("nobody thought of this")

    program = Program("diamond", "iso6983")
    monkeypatch.setattr(judging, "verify_motion", fail)
    assert judge(program, text_of(program)).outcome == "broken"


def test_the_kinds_are_drawn_alike_and_the_same_each_time() -> None:
    program = Program("plunge", "rs274")
    drawn = [mutants(program, random.Random(1), 400) for _ in range(2)]
    assert drawn[0] == drawn[1]
    kinds = Counter(mutant.kind for mutant in drawn[0])
    assert len(kinds) > 50
    assert kinds["two edits"] == 100
    assert 350 < len(drawn[0]) <= 400
