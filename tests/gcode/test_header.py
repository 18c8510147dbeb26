"""The header of a program: what the setter must know."""

from __future__ import annotations

import math

from knurlcam import make_plan
from tests.support.written import GOLDEN, INCH, each_post, job_of, write


@each_post
def test_the_header_says_what_the_setter_must_know(post: str) -> None:
    plan = make_plan(job_of())
    text = write(None, post).split("G", 1)[0]
    for wanted in (
        f"JOB {plan.job.identity}",
        "DIN 82 R",
        "67 TEETH",
        "24.626 MM",
        "+-0.034 MM",
        "110 REV/MIN",
    ):
        assert wanted in write(None, post), wanted
    assert text


def test_the_header_lists_what_the_programmer_answers_for() -> None:
    changes = {"process.spindle_speed": 200, "process.accept": ["above-reversal-limit"]}
    text = write(changes, "iso6983")
    assert "(ACCEPTED BY THE PROGRAMMER: ABOVE-REVERSAL-LIMIT)\n" in text
    assert "ACCEPTED" not in write(None, "iso6983")


def test_the_blanks_tolerance_is_rounded_down_for_people() -> None:
    # half width 0.03464 mm: 0.034 mm printed; in inch 0.001 from the handbook's table, exact
    assert math.isclose(make_plan(job_of()).blank_tolerance_mm, 0.03464, abs_tol=5e-6)
    assert "+-0.034 MM" in write(None, "iso6983")
    assert "+-0.0010 IN" in write(INCH, "iso6983")


def test_a_straddle_is_told_its_gap_and_the_others_none() -> None:
    plan = make_plan(job_of(GOLDEN["straddle"]))
    assert f"(SET ROLLS {plan.gap_mm:.3f} MM APART)" in write(GOLDEN["straddle"], "iso6983")
    assert "SET ROLLS" not in write(None, "iso6983")
