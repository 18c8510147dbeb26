"""The feed."""

from __future__ import annotations

from tests.support.breaking import Line, Text
from tests.verification.cases.table import ALL, PER_TURN, POINTED, TRAVERSING, breaks


@breaks("feed-missing", "diamond", "inch")
def a_feed_without_f_before_z_is_known(t: Text) -> Line:
    x = t.plan.job.machine.safe_x + 1
    return t.behind(t.find("G00 X"), f"G01 {t.written('X', x)}")


@breaks("feed-at-standstill", "diamond", "plunge", "inch", posts=PER_TURN)
def the_last_way_out_is_a_feed_with_the_spindle_stopped(t: Text) -> Line:
    stop = t.find("M05", -1)
    t.delete(stop)
    t.behind(t.retract, "M05")
    return t.after(t.retract, 2).sub("G00", "G01")


@breaks("feed-at-standstill", "diamond", "inch", posts=PER_TURN)
def the_approach_is_a_feed_before_the_spindle_starts(t: Text) -> Line:
    first, start = t.find("G00 X"), t.start
    t.delete(start)
    first.sub("G00", "G01")
    first.text += f" {t.written('F', 0.3)}"
    t.behind(first, start.block)
    return first


@breaks("feed-missing")
def a_feed_of_nothing_in_air(t: Text) -> Line:
    return t.behind(t.find("G00 X", 1), f"G01 {t.written('X', 28.0)} {t.written('F', 0.0)}")


@breaks("feed-not-planned", posts=POINTED)
def an_infeed_in_a_hundred_fast_little_steps(t: Text) -> Line:
    line, x = t.infeeds[0], t.value(t.infeeds[0], "X")
    count = int((t.plan.contact.x_diameter_mm(0.0) - 0.0025 - x) / 0.0045)
    steps = [
        t.before(line, f"G01 {t.written('X', x + 0.0045 * i)} {t.written('F', 5.0)}")
        for i in range(count, 1, -1)
    ]
    t.put(steps[0], "F", 0.05)  # it meets the work as planned
    return steps[3]


@breaks("feed-not-planned")
def a_hundred_times_the_infeed_where_a_larger_blank_is_met(t: Text) -> Line:
    x = t.plan.blank_diameter_mm + 0.005
    return t.before(t.infeeds[0], f"G01 {t.written('X', x)} {t.written('F', 4.9)}")


@breaks("feed-missing")
def the_first_feed_word_is_gone(t: Text) -> Line:
    return t.drop(t.infeeds[0], "F")


@breaks("feed-missing", "diamond", "inch")
def the_infeed_is_stated_before_units_and_feed_mode(t: Text) -> Line:
    feed = t.written("F", t.plan.infeed_mm_per_rev)
    t.before(t.modes, feed)
    return t.drop(t.infeeds[0], "F")


@breaks("feed-missing")
def the_infeed_is_stated_beside_the_first_units(t: Text) -> Line:
    # NISTIR 6556, 3.8, Table 8: F comes before the units of its block.
    t.modes.text += f" {t.written('F', 0.05)}"
    return t.drop(t.infeeds[0], "F")


@breaks("feed-missing")
def a_feed_of_nothing(t: Text) -> Line:
    return t.put(t.traverses[1], "F", 0.0)


@breaks("feed-missing")
def a_feed_move_in_air_without_a_feed(t: Text) -> Line:
    return t.find("G00 X", 1).sub("G00", "G01")


@breaks("feed-missing", *ALL)
def the_very_first_motion_is_a_feed_without_a_feed(t: Text) -> Line:
    return t.find("G00 X").sub("G00", "G01")


@breaks("feed-not-planned", *TRAVERSING)
def a_traverse_at_the_infeed_rate(t: Text) -> Line:
    return t.drop(t.traverses[0], "F")


@breaks("feed-not-planned", "diamond", "plunge", "straddle", "zone", "chuck", "reverse", "dry")
def an_infeed_six_percent_fast(t: Text) -> Line:
    return t.put(t.infeeds[0], "F", 0.053)


@breaks("feed-not-planned", "diamond", "plunge", "straddle", "chuck")
def an_infeed_at_less_than_half_the_rate(t: Text) -> Line:
    return t.put(t.infeeds[0], "F", 0.48 * t.plan.infeed_mm_per_rev)


@breaks("feed-not-planned", "diamond", "plunge", "straddle", "chuck")
def a_retract_slower_than_an_infeed(t: Text) -> Line:
    return t.put(t.retract, "F", 0.9 * t.plan.infeed_mm_per_rev)


@breaks("feed-not-planned", *TRAVERSING)
def a_traverse_six_percent_slow(t: Text) -> Line:
    return t.put(t.traverses[-1], "F", 0.5 * 0.94)


@breaks("feed-not-planned", *ALL)
def the_first_of_two_blocks_of_the_retract_is_fast(t: Text) -> Line:
    x = t.value(t.infeeds[-1], "X")
    line = t.before(t.retract, f"G01 {t.written('X', x)} {t.written('F', 0.6)}")
    return t.deepen(line, -0.03)


@breaks("feed-out-of-range")
def a_traverse_of_six_millimetres_a_turn(t: Text) -> Line:
    return t.put(t.traverses[1], "F", 6.0)
