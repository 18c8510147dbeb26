"""The work as it has become: crests where the rolls have been, and stops beside them."""

from __future__ import annotations

from tests.support.breaking import Line, Text
from tests.verification.cases.table import ALL, TRAVERSING, breaks, near_miss


def at_crests(t: Text, share: float = 0.5, more: float = 0.0) -> str:
    """X at a share of the height to which the crests of the finished knurl stand."""
    return t.written("X", t.plan.contact.x_diameter_mm(-share * t.plan.rise_mm - more))


def in_and_out(t: Text, x: str, *between: str) -> Line:
    """After the retract go in once more, and out again; return the block that goes in."""
    out = t.written("X", t.plan.clearance_x_mm)
    line = t.behind(t.retract, f"G01 {x} {t.written('F', t.plan.infeed_mm_per_rev)}")
    last = line
    for block in (*between, f"G01 {out} {t.written('F', t.plan.feed_mm_per_rev)}"):
        last = t.behind(last, block)
    return line


def first_out_to_the_crests(t: Text) -> Line:
    """Let the retract stop half way between blank and crests; return that block."""
    return t.before(t.retract, f"G01 {at_crests(t)} {t.written('F', t.plan.feed_mm_per_rev)}")


# -- a second plunge -----------------------------------------------------------------------


@breaks("extra-contact", *ALL)
def a_second_plunge_into_the_finished_knurl(t: Text) -> Line:
    return in_and_out(t, t.written("X", t.plan.passes[-1].x_diameter_mm))


@breaks("extra-contact", *ALL)
def a_second_plunge_that_only_the_crests_meet(t: Text) -> Line:
    return in_and_out(t, at_crests(t), f"G04 {t.written('D', 1.0)}")


@breaks("extra-contact", "diamond", "chuck")
def a_second_plunge_that_meets_the_end_of_the_knurl_alone(t: Text) -> Line:
    away = t.behind(t.after(t.retract), f"G00 {t.written('Z', -29.9)}")
    down = t.behind(away, f"G00 {t.written('X', t.plan.clearance_x_mm)}")
    line = t.behind(down, f"G01 {at_crests(t)} {t.written('F', t.plan.infeed_mm_per_rev)}")
    out = t.written("X", t.plan.clearance_x_mm)
    up = t.behind(line, f"G01 {out} {t.written('F', t.plan.feed_mm_per_rev)}")
    t.behind(up, f"G00 {t.written('X', t.plan.job.machine.safe_x)}")
    return line


@near_miss("diamond", "chuck")
def a_feed_down_to_the_blank_beside_the_knurl(t: Text) -> None:
    away = t.behind(t.after(t.retract), f"G00 {t.written('Z', -30.1)}")
    down = t.behind(away, f"G00 {t.written('X', t.plan.clearance_x_mm)}")
    line = t.behind(down, f"G01 {at_crests(t)} {t.written('F', 0.5)}")
    up = t.behind(line, f"G01 {t.written('X', t.plan.clearance_x_mm)} {t.written('F', 0.5)}")
    t.behind(up, f"G00 {t.written('X', t.plan.job.machine.safe_x)}")


@near_miss(*ALL)
def a_feed_down_to_just_above_the_crests(t: Text) -> None:
    # Also where the blank was turned to its upper limit, and is pressed so much deeper.
    in_and_out(t, at_crests(t, 1.0, t.plan.blank_tolerance_mm + 0.03))


@near_miss(*ALL)
def a_rapid_to_the_clearance_over_the_finished_knurl(t: Text) -> None:
    up = t.after(t.retract)
    again = t.behind(up, f"G00 {t.written('X', t.plan.clearance_x_mm)}")
    t.behind(again, up.block)


# -- rapids and ways along -----------------------------------------------------------------


@breaks("rapid-through-work", "diamond", "plunge", "trial", also=["extra-contact"])
def a_rapid_into_the_crests(t: Text) -> Line:
    # They are touched again as well.
    return t.drop(in_and_out(t, at_crests(t)), "F").sub("G01", "G00")


@breaks("rapid-in-contact", *ALL)
def a_rapid_begins_between_blank_and_crests(t: Text) -> Line:
    line = first_out_to_the_crests(t)
    up = t.after(line, 2)
    t.delete(t.retract)
    return up


@breaks("rapid-in-contact", "diamond", "trial", "inch")
def a_rapid_along_the_crests_of_the_finished_knurl(t: Text) -> Line:
    line = first_out_to_the_crests(t)
    return t.behind(line, f"G00 {t.written('Z', t.value(t.traverses[-1], 'Z') + 5.0)}")


@breaks("extra-pass", "diamond", "trial", "inch", "zone")
def a_feed_along_the_crests_of_the_finished_knurl(t: Text) -> Line:
    z = t.value(t.traverses[-1], "Z") + (-1.0 if t.plan.job.knurl.start else 1.0)
    return t.behind(
        first_out_to_the_crests(t),
        f"G01 {t.written('Z', z)} {t.written('F', t.plan.feed_mm_per_rev)}",
    )


@breaks("contact-entered-sideways", "trial")
def a_way_along_over_the_crests_of_the_trial_strip(t: Text) -> Line:
    approach = [one for one in t.all("G00 Z") if t.at(one) < t.at(t.infeeds[1])][-1]
    z, trial = t.value(approach, "Z"), t.plan.trial
    assert trial is not None
    t.put(approach, "Z", -32.0)
    x = t.plan.contact.x_diameter_mm(-0.8 * t.plan.knurl.rise_mm(trial.penetration_mm))
    slow, feed = t.written("F", 0.05), t.written("F", 0.5)
    down = t.before(t.infeeds[1], f"G01 {t.written('X', x)} {slow}")
    return t.behind(down, f"G01 {t.written('Z', z)} {feed}")


@near_miss("trial")
def a_way_along_just_above_the_crests_of_the_trial_strip(t: Text) -> None:
    approach = [one for one in t.all("G00 Z") if t.at(one) < t.at(t.infeeds[1])][-1]
    z, trial = t.value(approach, "Z"), t.plan.trial
    assert trial is not None
    t.put(approach, "Z", -32.0)
    above = t.plan.knurl.rise_mm(trial.penetration_mm) + t.plan.blank_tolerance_mm + 0.03
    x = t.plan.contact.x_diameter_mm(-above)
    slow, feed = t.written("F", 0.05), t.written("F", 0.5)
    down = t.before(t.infeeds[1], f"G01 {t.written('X', x)} {slow}")
    t.behind(down, f"G01 {t.written('Z', z)} {feed}")


# -- what stops in the crests --------------------------------------------------------------


@breaks("stop-in-contact", *ALL)
def a_stop_with_the_rolls_in_the_crests(t: Text) -> Line:
    return t.behind(first_out_to_the_crests(t), "M00")


@breaks("spindle-stopped", *ALL)
def the_spindle_stops_with_the_rolls_in_the_crests(t: Text) -> Line:
    return t.behind(first_out_to_the_crests(t), "M05")


@breaks("spindle-stopped", *TRAVERSING)
def the_spindle_stops_where_the_crests_of_a_larger_blank_end(t: Text) -> Line:
    larger = t.plan.blank_limits_mm[1] - t.plan.blank_diameter_mm
    x = at_crests(t, 1.0, larger / 4.0)  # half way to its crests
    line = t.before(t.retract, f"G01 {x} {t.written('F', t.plan.feed_mm_per_rev)}")
    return t.behind(line, "M05")


@breaks("no-coolant", *(j for j in ALL if j != "dry"))
def the_coolant_goes_off_with_the_rolls_in_the_crests(t: Text) -> Line:
    return t.behind(first_out_to_the_crests(t), "M09")


@near_miss(*ALL)
def the_spindle_stops_at_the_clearance_over_the_crests(t: Text) -> None:
    t.behind(t.retract, "M05")


@breaks("dwell-long", *ALL)
def a_long_dwell_with_the_rolls_in_the_crests(t: Text) -> Line:
    return t.behind(first_out_to_the_crests(t), f"G04 {t.written('D', 5.0)}")


@near_miss(*ALL)
def a_retract_in_three_blocks_with_a_rest(t: Text) -> None:
    x = t.value(t.infeeds[-1], "X")
    line = first_out_to_the_crests(t)
    t.before(line, f"G01 {t.written('X', x + 0.04)} {t.written('F', t.plan.feed_mm_per_rev)}")
    t.before(line, f"G04 {t.written('D', 1.0)}")


@near_miss(*ALL)
def a_retract_that_rests_in_the_crests(t: Text) -> None:
    t.behind(first_out_to_the_crests(t), f"G04 {t.written('D', 1.0)}")
