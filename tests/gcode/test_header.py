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
        "24.688 MM",
        plan.blank_limits_text.upper(),
        "110 REV/MIN",
    ):
        assert wanted in write(None, post), wanted
    assert text


def test_the_header_lists_what_the_programmer_answers_for() -> None:
    changes = {"process.spindle_speed": 200, "process.accept": ["above-reversal-limit"]}
    text = write(changes, "iso6983")
    assert "(ACCEPTED BY THE PROGRAMMER: ABOVE-REVERSAL-LIMIT)\n" in text
    assert "ACCEPTED" not in write(None, "iso6983")


def test_the_blanks_limits_are_those_of_the_plan() -> None:
    # half width 0.03464 mm of the handbook; in inch 0.001 from its table, exact
    plan = make_plan(job_of())
    assert math.isclose(plan.blank_tolerance_mm, 0.03464, abs_tol=5e-6)
    low, high = plan.blank_limits_mm
    assert f"LIMITS {low:.3f} TO {high:.3f} MM" in write(None, "iso6983")
    low, high = (limit / 25.4 for limit in make_plan(job_of(INCH)).blank_limits_mm)
    assert f"LIMITS {low:.4f} TO {high:.4f} IN" in write(INCH, "iso6983")
    assert 0.0014 < high - low < 0.00201


def test_a_straddle_is_told_its_gap_and_the_others_none() -> None:
    plan = make_plan(job_of(GOLDEN["straddle"]))
    assert f"(SET ROLLS {plan.gap_mm:.3f} MM APART)" in write(GOLDEN["straddle"], "iso6983")
    assert "SET ROLLS" not in write(None, "iso6983")


def test_the_header_says_the_rolls_that_were_counted_and_measured() -> None:
    text = write({"tool.roll_teeth": 54, "tool.roll_measured_diameter": 19.85}, "iso6983")
    assert "(ROLL DIAMETER 19.850 MM, 54 TEETH, FACE 10.000 MM)" in text
