"""What the text leaves on the part."""

from __future__ import annotations

from tests.support.breaking import Line, Text
from tests.verification.cases.table import breaks, near_miss


@breaks("doubles-on-part", "beside", posts=("iso6983",))
def a_first_turn_half_as_deep_on_a_blank_at_its_limit(t: Text) -> Line:
    for line in t.infeeds:
        t.put(line, "F", t.plan.infeed_mm_per_rev / 2.0)
    return t.infeeds[-1]


@near_miss("beside", posts=("iso6983",))
def a_first_turn_that_is_little_less_deep(t: Text) -> None:
    for line in t.infeeds:
        t.put(line, "F", 0.98 * t.plan.infeed_mm_per_rev)


@breaks("overfills-on-part", "full", posts=("iso6983",))
def a_full_profile_pressed_on_within_the_tolerance(t: Text) -> Line:
    t.deepen(t.infeeds[-1], 0.9 * t.depth_tolerance)
    return t.infeeds[-1]
