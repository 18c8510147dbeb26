"""Every rule: broken in one way it is found in the right block; nearly broken it is not."""

from __future__ import annotations

import pytest

from knurlcam.verification.rules import RULES
from tests.verification.cases.all import CASES, MISSES
from tests.verification.cases.table import Case, judged, params

LEAST_WORDS = 15
"""Characters of a message: a bare code would be shorter."""


@pytest.mark.parametrize("case", params(CASES))
def test_a_broken_program_has_that_finding_in_that_block(case: Case) -> None:
    text, line = case.broken()
    result = judged(case, text)
    codes = {f.code for f in result.findings}
    assert codes == {case.code, *case.also}, result.findings
    where = [(f.line, f.block) for f in result.findings if f.code == case.code]
    assert where[0] == (text.at(line), line.number), (result.findings, line)
    if not case.also:
        assert len(where) == 1, "one thing broken, one finding"
    assert result.ok == (RULES[case.code].severity == "warning" and not case.also)
    for finding in result.findings:
        assert finding.severity == RULES[finding.code].severity
        assert len(finding.message) > LEAST_WORDS


@pytest.mark.parametrize("case", params(MISSES))
def test_what_breaks_no_rule_is_no_finding(case: Case) -> None:
    text, _ = case.broken()
    assert judged(case, text).findings == ()
