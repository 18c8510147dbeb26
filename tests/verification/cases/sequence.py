"""Strokes against the planned passes."""

from __future__ import annotations

from tests.support.breaking import Line, Text
from tests.verification.cases.table import ALL, TRAVERSING, breaks


@breaks("step-too-deep")
def two_steps_within_the_tolerance_come_to_more(t: Text) -> Line:
    first = t.deepen(t.infeeds[1], 0.9 * t.depth_tolerance)
    along = t.after(first, 2)
    half = t.value(along, "Z") - 5
    t.before(along, f"G01 {t.written('Z', half)} {t.written('F', 0.5)}")
    x = t.written("X", t.value(first, "X"))
    line = t.after(first, 3)
    line.text = line.text.replace("G01 ", f"G01 {x} ")
    return t.deepen(line, 0.9 * t.depth_tolerance)


@breaks("dwell-on-the-way", *TRAVERSING)
def a_dwell_in_the_middle_of_a_traverse(t: Text) -> Line:
    last = t.traverses[-1]
    half = (t.value(last, "Z") + t.value(t.traverses[-2], "Z")) / 2
    t.before(last, f"G01 {t.written('Z', half)} {t.written('F', t.plan.feed_mm_per_rev)}")
    return t.before(last, f"G04 {t.written('D', 1.0)}")


@breaks("dwell-long")
def a_hundred_little_moves_to_and_fro_in_the_work(t: Text) -> Line:
    x = t.value(t.infeeds[-1], "X")
    steps = [
        t.before(t.retract, f"G01 {t.written('X', x + 0.008 * (i % 2))} {t.written('F', 0.05)}")
        for i in range(100)
    ]
    return steps[76]  # after three times as long as a dwell


@breaks("dwell-long")
def a_long_dwell_where_a_larger_blank_is_met(t: Text) -> Line:
    x = t.plan.blank_diameter_mm + 0.005
    near = t.before(t.infeeds[0], f"G01 {t.written('X', x)} {t.written('F', 0.05)}")
    return t.behind(near, f"G04 {t.written('D', t.plan.dwell_s * 4)}")


@breaks("dwell-too-long")
def a_dwell_of_twenty_seconds_where_a_larger_blank_is_met(t: Text) -> Line:
    x = t.plan.blank_diameter_mm + 0.005
    near = t.before(t.infeeds[0], f"G01 {t.written('X', x)} {t.written('F', 0.05)}")
    return t.behind(near, f"G04 {t.written('D', 20.0)}")


@breaks("too-deep", *(j for j in ALL if j not in ("straddle",)))
def the_last_infeed_is_a_tenth_too_deep(t: Text) -> Line:
    return t.deepen(t.infeeds[-1], 0.05)


@breaks("too-deep", "straddle")
def the_straddle_goes_past_the_axis(t: Text) -> Line:
    return t.put(t.infeeds[-1], "X", -1.0)


@breaks("too-deep", "chuck")
def the_first_infeed_has_its_sign_flipped(t: Text) -> Line:
    line = t.infeeds[0]
    return t.put(line, "X", -t.value(line, "X"))


@breaks("too-deep", also=["feed-into-centre"])
def the_first_infeed_has_its_sign_flipped_before_a_centre(t: Text) -> Line:
    # The face hangs over the end: it meets the centre as well.
    line = t.infeeds[0]
    return t.put(line, "X", -t.value(line, "X"))


@breaks("not-to-depth", *(j for j in TRAVERSING if j != "inch"), "plunge")
def the_last_infeed_is_too_shallow(t: Text) -> Line:
    return t.deepen(t.infeeds[-1], -1.2 * t.depth_tolerance)


@breaks("not-to-depth", *TRAVERSING)
def a_middle_infeed_is_gone(t: Text) -> Line:
    i = 2 if "TRIAL" in str(t) else 1
    t.delete(t.infeeds[i])
    return t.dwells[i]


@breaks("not-to-depth")
def the_rolls_ease_out_before_the_clean_up_pass(t: Text) -> Line:
    x = t.value(t.infeeds[-1], "X")
    return t.before(t.traverses[-1], f"G01 {t.written('X', x + 0.05)} {t.written('F', 0.5)}")


@breaks("step-too-deep", *TRAVERSING)
def the_first_infeed_is_too_deep(t: Text) -> Line:
    return t.deepen(t.infeeds[0], 1.25 * t.depth_tolerance)


@breaks("past-the-line", *TRAVERSING)
def the_first_pass_goes_past_the_line(t: Text) -> Line:
    i = 1 if "TRIAL" in str(t) else 0
    return t.shift(t.traverses[i], "Z", -0.05)


@breaks("short-of-the-line", *TRAVERSING)
def a_pass_ends_short_of_the_line(t: Text) -> Line:
    i = 1 if "TRIAL" in str(t) else 0
    return t.shift(t.traverses[i], "Z", 0.05)


@breaks("too-much-overhang", *TRAVERSING)
def a_return_hangs_over_too_far(t: Text) -> Line:
    i = 2 if "TRIAL" in str(t) else 1
    return t.shift(t.traverses[i], "Z", 0.05)


@breaks("return-short", *TRAVERSING)
def a_return_ends_too_early(t: Text) -> Line:
    i = 2 if "TRIAL" in str(t) else 1
    return t.shift(t.traverses[i], "Z", -0.05)


@breaks("wrong-start", *TRAVERSING)
def the_first_infeed_stands_too_far_on(t: Text) -> Line:
    return t.shift(t.find("G00 Z", 2 if "TRIAL" in str(t) else 0), "Z", -0.05)


@breaks("wrong-start", "plunge")
def the_plunge_stands_past_the_line(t: Text) -> Line:
    return t.shift(t.find("G00 Z"), "Z", -0.05)


@breaks("pass-missing")
def the_clean_up_pass_is_gone(t: Text) -> Line:
    t.delete(t.traverses[-1])
    return t.retract


@breaks("pass-missing", "zone")
def the_last_pass_is_gone(t: Text) -> Line:
    t.delete(t.traverses[-1])
    return t.retract


@breaks("pass-missing")
def the_work_is_never_touched(t: Text) -> Line:
    for line in (*t.infeeds, *t.traverses, *t.dwells):
        t.delete(line)
    return t.lines[-1]


@breaks("pass-missing", "trial", "plunge trial")
def nothing_follows_the_trial_strip(t: Text) -> Line:
    first, last = t.at(t.find("M00")), t.at(t.retract)
    t.delete(*t.lines[first:last])
    return t.lines[-1]


@breaks("pass-missing", "trial", "plunge trial")
def nothing_touches_where_a_trial_strip_is_planned(t: Text) -> Line:
    for line in (*t.all("G01"), *t.all("G04")):
        t.delete(line)
    return t.lines[-1]


@breaks("extra-pass")
def a_pass_after_the_clean_up_pass(t: Text) -> Line:
    z = t.value(t.traverses[-2], "Z")
    return t.before(t.retract, f"G01 {t.written('Z', z)} {t.written('F', 0.5)}")


@breaks("reversal-missing")
def a_return_is_gone(t: Text) -> Line:
    t.delete(t.traverses[1])
    return t.infeeds[2]


@breaks("pass-missing")
def the_return_before_the_clean_up_pass_is_gone(t: Text) -> Line:
    # The clean-up pass then moves nothing.
    t.delete(t.traverses[3])
    return t.retract


@breaks("track-left")
def the_rolls_leave_the_work_between_passes(t: Text) -> Line:
    x = t.written("X", t.value(t.retract, "X"))
    return t.before(t.infeeds[2], f"G01 {x} {t.written('F', 0.5)}")


@breaks("track-left", "plunge trial")
def the_rolls_leave_the_work_between_two_infeeds(t: Text) -> Line:
    x = t.written("X", t.value(t.retract, "X"))
    return t.before(t.infeeds[2], f"G01 {x} {t.written('F', 0.5)}")


@breaks("track-left", "diamond", "plunge trial", "inch", "chuck")
def the_rolls_come_and_go_where_only_a_larger_blank_is_met(t: Text) -> Line:
    infeed, out = t.infeeds[0], t.written("X", t.value(t.retract, "X"))
    x = t.plan.contact.x_diameter_mm(0.0) + t.plan.blank_tolerance_mm / 4.0
    t.before(infeed, f"G01 {t.written('X', x)} {t.written('F', 0.05)}")
    return t.before(infeed, f"G01 {out} {t.written('F', 0.5)}")


@breaks("extra-contact", *ALL)
def the_rolls_touch_once_more(t: Text) -> Line:
    x = t.value(t.infeeds[-1], "X")
    out = t.retract
    line = t.behind(out, f"G01 {t.written('X', x)} {t.written('F', 0.05)}")
    t.behind(line, f"G01 {t.written('X', t.value(out, 'X'))} {t.written('F', 0.5)}")
    return line


@breaks("contact-not-left", also=["spindle-stopped", "no-coolant", "tool-change-near-work"])
def the_program_ends_in_the_work(t: Text) -> Line:
    # Nothing moves any more, and what must be off at the end goes off in the work: spindle,
    # coolant and tool offset.
    last = t.find("G01 Z", -1)
    for line in t.lines[t.at(last) :]:
        if line.block.startswith(("G00", "G01", "G28")):
            t.delete(line)
    return t.lines[-1]


@breaks("dwell-missing", *ALL)
def a_dwell_is_gone(t: Text) -> Line:
    line = t.after(t.dwells[-1])
    t.delete(t.dwells[-1])
    return line


@breaks("dwell-missing", "plunge")
def a_plunge_backs_out_before_its_dwell(t: Text) -> Line:
    x = t.value(t.infeeds[0], "X")
    return t.before(t.dwells[0], f"G01 {t.written('X', x + 0.05)} {t.written('F', 0.05)}")


@breaks("dwell-missing")
def a_dwell_stands_before_its_infeed(t: Text) -> Line:
    t.swap(t.infeeds[2], t.dwells[2])
    return t.traverses[2]


@breaks("dwell-short", *ALL)
def a_dwell_is_one_percent_short(t: Text) -> Line:
    return t.put(t.dwells[-1], "D", t.plan.dwell_s * 0.99)


@breaks("dwell-long", *ALL)
def a_dwell_is_four_times_as_long(t: Text) -> Line:
    return t.put(t.dwells[-1], "D", t.plan.dwell_s * 4)


@breaks("dwell-long")
def a_long_dwell_where_none_is_planned(t: Text) -> Line:
    return t.before(t.retract, f"G04 {t.written('D', t.plan.dwell_s * 4)}")


@breaks("dwell-too-long", *ALL)
def a_dwell_in_milliseconds_is_taken_for_seconds(t: Text) -> Line:
    return t.put(t.dwells[0], "D", t.plan.dwell_s * 1000)


@breaks("dwell-too-long")
def a_dwell_of_half_a_minute_before_the_retract(t: Text) -> Line:
    return t.before(t.retract, f"G04 {t.written('D', 30.0)}")


@breaks("dwell-too-long", "diamond", "plunge", "zone", "chuck")
def a_long_dwell_in_three_parts_on_the_way_out(t: Text) -> Line:
    deepest = t.value(t.infeeds[-1], "X")
    for out in (0.2, 0.3):
        t.before(t.retract, f"G01 {t.written('X', deepest + out)} {t.written('F', 0.5)}")
        t.before(t.retract, f"G04 {t.written('D', 5.0)}")
    t.before(t.retract, f"G01 {t.written('X', deepest + 0.4)}")
    return t.before(t.retract, f"G04 {t.written('D', 5.0)}")


@breaks("dwell-too-long", posts=["rs274"])
def a_little_move_in_the_work_that_takes_half_a_minute(t: Text) -> Line:
    x = t.value(t.infeeds[-1], "X")
    return t.before(t.retract, f"G01 {t.written('X', x + 0.008)} {t.written('F', 0.0001)}")


@breaks("long-dwell-in-air", *ALL)
def a_dwell_of_more_than_a_minute_in_air(t: Text) -> Line:
    return t.before(t.find("G00 X", 1), f"G04 {t.written('D', 61.0)}")


@breaks("long-dwell-in-air", *ALL)
def a_dwell_in_air_of_more_than_a_minute_in_two_blocks(t: Text) -> Line:
    t.before(t.find("G00 X", 1), f"G04 {t.written('D', 31.0)}")
    return t.before(t.find("G00 X", 1), f"G04 {t.written('D', 31.0)}")


@breaks("trial-missing", "trial")
def the_trial_strip_is_gone(t: Text) -> Line:
    first, last = t.at(t.find("G00 X")), t.at(t.find("M00"))
    t.delete(*t.lines[first:last])
    return t.infeeds[0]


@breaks("trial-missing", "plunge trial")
def the_trial_print_is_gone(t: Text) -> Line:
    first, last = t.at(t.find("G00 X")), t.at(t.find("M00"))
    t.delete(*t.lines[first:last])
    return t.infeeds[0]


@breaks("trial-not-planned", "trial")
def the_trial_strip_is_too_long(t: Text) -> Line:
    return t.shift(t.traverses[0], "Z", -0.05)


@breaks("trial-not-planned", "trial")
def the_trial_strip_is_too_short(t: Text) -> Line:
    return t.shift(t.traverses[0], "Z", 0.05)


@breaks("trial-stop-missing", "trial", "plunge trial")
def the_stop_after_the_trial_strip_depends_on_a_switch(t: Text) -> Line:
    return t.find("M00").sub("M00", "M01")


@breaks("trial-stop-missing", "trial", "plunge trial")
def no_stop_after_the_trial_strip(t: Text) -> Line:
    line = t.after(t.find("M00"), -5)
    t.delete(t.find("M00"))
    return line
