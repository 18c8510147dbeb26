"""What may be hit."""

from __future__ import annotations

from tests.support.breaking import Line, Text
from tests.verification.cases.table import ALL, breaks


@breaks("rapid-through-work", *ALL)
def the_first_infeed_is_a_rapid(t: Text) -> Line:
    return t.drop(t.infeeds[0].sub("G01", "G00"), "F")


@breaks("rapid-through-work", also=["rapid-in-contact"])
def the_approach_goes_in_too_far_and_out_again(t: Text) -> Line:
    # In and out are two rapids, each in the work.
    line = t.before(t.infeeds[0], f"G00 {t.written('X', 24.0)}")
    t.behind(line, f"G00 {t.written('X', 40)}")
    return line


@breaks("rapid-below-clearance", "diamond", "plunge", "inch", "reverse", "dry", "chuck", "zone")
def the_approach_ends_inside_the_clearance(t: Text) -> Line:
    return t.shift(t.find("G00 X", 1), "X", -0.5)


@breaks("rapid-below-clearance")
def the_retract_ends_inside_the_clearance(t: Text) -> Line:
    t.shift(t.retract, "X", -0.5)
    return t.after(t.retract)


@breaks("rapid-through-chuck", also=["outside-known-room"])
def the_approach_goes_down_at_the_chuck(t: Text) -> Line:
    # It first goes past the chuck's face at safe X.
    line = t.before(t.find("G00 X", 1), f"G00 {t.written('Z', -75)}")
    down = t.behind(line, f"G00 {t.written('X', 60)}")
    t.behind(t.behind(down, f"G00 {t.written('X', 120)}"), f"G00 {t.written('Z', -3.3333)}")
    return down


@breaks("feed-into-chuck")
def a_feed_reaches_the_chuck_in_air(t: Text) -> Line:
    down = t.behind(t.find("G00 X", 1), f"G01 {t.written('Z', -75)} {t.written('F', 0.5)}")
    t.behind(t.behind(down, f"G00 {t.written('X', 120)}"), f"G00 {t.written('Z', -3.3333)}")
    return down


@breaks("rapid-through-centre")
def the_approach_goes_down_at_the_centre(t: Text) -> Line:
    line = t.before(t.find("G00 Z"), f"G00 {t.written('Z', 2)}")
    down = t.behind(line, f"G00 {t.written('X', 4)}")
    t.behind(down, f"G00 {t.written('X', 120)}")
    return down


@breaks("feed-into-centre")
def a_feed_reaches_the_centre(t: Text) -> Line:
    line = t.before(t.find("G00 Z"), f"G00 {t.written('Z', 2)}")
    down = t.behind(line, f"G01 {t.written('X', 4)} {t.written('F', 0.5)}")
    t.behind(down, f"G00 {t.written('X', 120)}")
    return down


@breaks("rapid-through-shoulder", "shouldered")
def a_rapid_at_the_clearance_runs_along_to_the_shoulder(t: Text) -> Line:
    clearance = t.find("G00 X", 1)
    t.behind(clearance, f"G00 {t.written('Z', -10 / 3)}")
    return t.behind(clearance, f"G00 {t.written('Z', -30)}")


@breaks("feed-into-shoulder", "shouldered")
def a_feed_in_air_runs_against_the_shoulder(t: Text) -> Line:
    clearance, feed = t.find("G00 X", 1), t.written("F", 0.5)
    t.behind(clearance, f"G01 {t.written('Z', -10 / 3)} {feed}")
    return t.behind(clearance, f"G01 {t.written('Z', -30)} {feed}")


@breaks("rapid-below-clearance", "shouldered")
def a_rapid_closer_to_the_shoulder_than_the_clearance(t: Text) -> Line:
    room = t.plan.contact.x_diameter_mm(t.plan.contact.blank_radius_mm - 20.0)
    there = t.behind(t.after(t.retract), f"G00 {t.written('Z', -30)}")
    close = t.behind(there, f"G00 {t.written('X', room + 3.9)}")
    t.behind(close, f"G01 {t.written('X', t.plan.job.machine.safe_x)} {t.written('F', 0.5)}")
    return close


@breaks("rapid-below-clearance")
def a_feed_as_fast_as_a_rapid_inside_the_clearance(t: Text) -> Line:
    x = t.plan.blank_diameter_mm + 0.005
    return t.before(t.infeeds[0], f"G01 {t.written('X', x)} {t.written('F', 50.0)}")


@breaks("rapid-below-clearance", "chuck")
def a_feed_as_fast_as_a_rapid_against_the_end_of_the_work(t: Text) -> Line:
    z = t.plan.passes[0].z_start_mm
    start = t.find("G00 Z")
    t.put(start, "Z", 10.0)
    line = t.before(t.infeeds[0], f"G01 {t.written('X', 20.0)} {t.written('F', 0.5)}")
    fast = t.behind(line, f"G01 {t.written('Z', 0.5)} {t.written('F', 50.0)}")
    out = t.behind(fast, f"G01 {t.written('X', t.plan.clearance_x_mm)} {t.written('F', 0.5)}")
    back = t.behind(out, f"G00 {t.written('Z', z)}")
    assert back
    return fast


def _beside(t: Text, gap_mm: float) -> Line:
    """Let a rapid go down with the rolls so far from the face of the step of 40 mm."""
    there = t.behind(t.after(t.retract), f"G00 {t.written('Z', -24.0 + gap_mm)}")
    down = t.behind(there, f"G00 {t.written('X', t.plan.clearance_x_mm)}")
    t.behind(down, f"G00 {t.written('X', t.plan.job.machine.safe_x)}")
    return down


@breaks("rapid-through-shoulder", "shouldered")
def a_rapid_goes_down_flush_with_the_shoulder(t: Text) -> Line:
    return _beside(t, 0.0)


@breaks("rapid-through-shoulder", "shouldered")
def a_rapid_goes_down_along_the_shoulder_within_the_tolerance(t: Text) -> Line:
    return _beside(t, -0.02)


@breaks("rapid-through-shoulder", "shouldered")
def a_rapid_goes_down_a_hair_beside_the_shoulder(t: Text) -> Line:
    return _beside(t, 0.08)


@breaks("rapid-through-chuck", "diamond", "chuck")
def a_rapid_goes_down_within_the_clearance_of_the_chuck(t: Text) -> Line:
    z = t.plan.job.machine.clearance - 0.1 - t.plan.job.part.length
    there = t.behind(t.after(t.retract), f"G00 {t.written('Z', z)}")
    down = t.behind(there, f"G00 {t.written('X', t.plan.clearance_x_mm)}")
    t.behind(down, f"G00 {t.written('X', t.plan.job.machine.safe_x)}")
    return down


@breaks("rapid-through-chuck", "chuck")
def a_feed_as_fast_as_a_rapid_within_the_clearance_of_the_chuck(t: Text) -> Line:
    safe, z = t.plan.job.machine.safe_x, 0.5 - t.plan.job.part.length
    there = t.behind(t.after(t.retract), f"G00 {t.written('Z', z)}")
    down = f"G01 {t.written('X', t.plan.clearance_x_mm)} {t.written('F', 50.0)}"
    line = t.behind(there, down)
    t.behind(line, f"G00 {t.written('X', safe)}")
    return line


@breaks("rapid-below-clearance", "chuck")
def a_rapid_goes_down_flush_with_the_end_of_the_work(t: Text) -> Line:
    # No tailstock stands there.
    start = t.find("G00 Z")
    z = t.before(start, f"G00 {t.written('Z', 0.05)}")
    down = t.behind(z, f"G00 {t.written('X', 20.0)}")
    t.behind(down, f"G01 {t.written('X', t.plan.job.machine.safe_x)} {t.written('F', 0.5)}")
    return down
