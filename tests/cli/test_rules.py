"""``knurlcam rules``."""

from __future__ import annotations

from knurlcam.verification.rules import RULES, Rule
from tests.support.commands import run, run_json


def test_rules_lists_every_rule_with_what_is_wrong_and_why_it_matters() -> None:
    listed = run_json("rules")["rules"]
    assert {r["code"]: Rule(r["severity"], r["title"], r["reason"]) for r in listed} == RULES
    shown = " ".join(run("rules").stdout.split())
    assert all(code in shown for code in RULES)


def test_rules_that_are_asked_for_are_listed_alone() -> None:
    listed = run_json("rules", "too-deep", "dwell-long")["rules"]
    assert [r["code"] for r in listed] == ["too-deep", "dwell-long"]


def test_a_code_that_no_rule_has_is_refused_with_the_nearest() -> None:
    done = run("rules", "to-deep")
    assert done.returncode == 2
    assert "did you mean 'too-deep'?" in done.stderr
