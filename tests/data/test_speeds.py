"""Rules for speed and feed."""

from __future__ import annotations

import pytest

from knurlcam.data.speeds import speed_rules


def test_speed_rules_are_those_of_the_trade() -> None:
    rules = speed_rules()
    assert (rules.turning_speed_factor, rules.reversal_limit_rpm) == (0.5, 150), "common practice"
    assert (rules.feed_default_mm_per_rev, rules.infeed_mm_per_rev) == (0.5, 0.05)
    # TC 9-524 (1996), chapter 7, from memory: 0.015 to 0.030 in/rev
    assert rules.feed_min_mm_per_rev == pytest.approx(0.015 * 25.4, abs=0.005)
    assert rules.feed_max_mm_per_rev == pytest.approx(0.030 * 25.4, abs=1e-9)
    assert all(rules.sources.values())
