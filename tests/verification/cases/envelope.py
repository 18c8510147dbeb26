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
    x = at_crests(t, 1.0, t.plan.blank_tolerance_mm / 4.0)
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


# -- stops beside the work -----------------------------------------------------------------


@breaks("stop-near-work", *ALL)
def a_stop_at_the_clearance_over_the_finished_knurl(t: Text) -> Line:
    return t.behind(t.behind(t.retract, "M05"), "M00")


@breaks("stop-near-work", *ALL)
def an_optional_stop_at_the_clearance_over_the_crests(t: Text) -> Line:
    # As far above the crests as the clearance is above the blank.
    above = t.plan.clearance_x_mm - t.plan.contact.x_diameter_mm(0.0)
    x = t.plan.contact.x_diameter_mm(-t.plan.rise_mm) + above
    return t.behind(t.behind(t.put(t.retract, "X", x - 0.02), "M05"), "M01")


@near_miss(*ALL)
def a_stop_just_beyond_the_clearance_over_the_crests(t: Text) -> None:
    above = t.plan.clearance_x_mm - t.plan.contact.x_diameter_mm(0.0)
    x = t.plan.contact.x_diameter_mm(-t.plan.rise_mm) + above
    t.behind(t.behind(t.put(t.retract, "X", x + 0.05), "M05"), "M01")


def before_the_start(t: Text, z: float, x: float) -> Line:
    """Go to a place and out again before the spindle starts; return the block at the place."""
    out = f"G00 {t.written('X', t.plan.job.machine.safe_x)}"
    t.before(t.start, out)
    t.before(t.start, f"G00 {t.written('Z', z)}")
    line = t.before(t.start, f"G00 {t.written('X', x)}")
    t.before(t.start, out)
    return line


@breaks("stop-near-work", *ALL)
def a_stop_at_the_clearance_over_the_blank(t: Text) -> Line:
    there = before_the_start(t, t.plan.passes[0].z_start_mm, t.plan.clearance_x_mm)
    return t.behind(there, "M00")


@near_miss(*ALL)
def a_stop_just_beyond_the_clearance_over_the_blank(t: Text) -> None:
    there = before_the_start(t, t.plan.passes[0].z_start_mm, t.plan.clearance_x_mm + 0.05)
    t.behind(there, "M00")


@breaks("stop-near-work", "chuck")
def a_stop_close_to_the_end_of_the_work(t: Text) -> Line:
    return t.behind(before_the_start(t, 1.5, t.plan.clearance_x_mm), "M00")


@near_miss("chuck")
def a_stop_clear_of_the_end_of_the_work(t: Text) -> None:
    t.behind(before_the_start(t, 2.5, t.plan.clearance_x_mm), "M00")


@breaks("stop-near-work", "shouldered")
def a_stop_at_the_clearance_over_a_shoulder(t: Text) -> Line:
    x = t.plan.contact.x_diameter_mm(t.plan.contact.blank_radius_mm - 20.0)
    return t.behind(before_the_start(t, -30.0, x + 4.0), "M00")


@near_miss("shouldered")
def a_stop_just_beyond_the_clearance_over_a_shoulder(t: Text) -> None:
    x = t.plan.contact.x_diameter_mm(t.plan.contact.blank_radius_mm - 20.0)
    t.behind(before_the_start(t, -30.0, x + 4.05), "M00")


# -- what a stop ends ----------------------------------------------------------------------


@breaks("no-coolant", "trial", "plunge trial")
def the_coolant_runs_on_at_the_stop_and_is_not_stated_again(t: Text) -> Line:
    t.delete(t.find("M09"), t.find("M08", 1))
    stop = next(one for one in t.lines if one.block in ("M00", "M01"))
    return next(one for one in t.infeeds if t.at(one) > t.at(stop))


@near_miss("trial", "plunge trial")
def the_coolant_runs_on_at_the_stop_and_is_stated_again(t: Text) -> None:
    t.delete(t.find("M09"))


@near_miss("dry")
def a_stop_needs_no_coolant_again_where_the_job_wants_none(t: Text) -> None:
    t.before(t.start, "M08")
    t.before(t.start, "M00")
    t.before(t.find("M05", -1), "M09")


@near_miss(*ALL)
def the_program_stops_at_the_safe_position_when_all_is_done(t: Text) -> None:
    t.before(t.find("M30"), "M00")
