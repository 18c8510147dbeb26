"""Every rule: provoked by a case, with a code that stays."""

from __future__ import annotations

from pathlib import Path

from knurlcam.verification.rules import RULES
from tests.verification.cases.all import CASES
from tests.verification.test_text import LEFT_OUT
from tests.verification.test_traits import CASES as OF_TRAITS

EXPECTED = {code for ways in CASES for case in ways for code in (case.code, *case.also)}


def test_every_rule_is_provoked_by_some_case() -> None:
    of_traits = {code for case in OF_TRAITS.values() for code in case.codes}
    assert set(RULES) - {ways[0].code for ways in CASES} - of_traits - set(LEFT_OUT) == set()


RULES_EVER = Path(__file__).with_name("rules.txt")


def test_the_code_of_a_rule_stays_what_it_is() -> None:
    # Scripts of shops ask for codes: one that was published goes on to mean the same.
    published = RULES_EVER.read_text(encoding="utf-8").split()
    assert sorted(RULES) == published, "a new rule is added to rules.txt, none is taken out"


def test_no_case_expects_a_rule_that_does_not_exist() -> None:
    assert set(RULES) >= EXPECTED
