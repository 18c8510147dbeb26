"""What the job said stands beside what the plan took of it."""

from __future__ import annotations

import pytest

from knurlcam.plan.report import fullness_text
from tests.support.plans import choice_of, plan_of


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ("21 TPI diamond", "as the job says; taken as 21 TPI raised diamond"),
        ("DIN 82 RGE 1.0", "as the job says"),
    ],
)
def test_a_callout_is_shown_as_given_with_what_it_is_taken_for(said: str, why: str) -> None:
    choice = choice_of(plan_of({"knurl.callout": said}), "knurl.callout")
    assert (choice.value, choice.origin, choice.why) == (said, "given", why)


def test_the_wanted_fullness_stands_beside_the_planned_one() -> None:
    plan = plan_of({"process.fullness": 0.7})
    assert plan.fullness_wanted == plan.to_dict()["fullness_wanted"] == 0.7
    assert fullness_text(plan) == f"{plan.fullness:.2f} (0.70 wanted)"
    assert f"{plan.fullness:.3f}" in choice_of(plan, "part.blank_diameter").why


def test_a_fullness_that_is_planned_as_wanted_is_said_once() -> None:
    plan = plan_of({"part.knurled_diameter": None, "part.blank_diameter": 24.69})
    assert plan.fullness == plan.fullness_wanted
    assert fullness_text(plan) == f"{plan.fullness:.2f}"
