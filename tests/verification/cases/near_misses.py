"""Changes that break no rule."""

from __future__ import annotations

from knurlcam.gcode.tokens import MOST_LINES
from tests.support.breaking import POSTS, RS274, WORDS, Line, Text
from tests.verification.cases.table import ALL, NEEDS_NUMBERS, POINTED, TRAVERSING, near_miss


@near_miss(*ALL)
def nothing_is_changed(t: Text) -> None:
    pass


@near_miss(*ALL)
def the_speed_is_four_percent_low(t: Text) -> None:
    for line in t.lines:
        line.text = line.text.replace("S110", "S106")


@near_miss(*ALL)
def the_speed_is_four_percent_high(t: Text) -> None:
    for line in t.lines:
        line.text = line.text.replace("S110", "S114")


@near_miss(*ALL)
def every_feed_is_four_percent_high(t: Text) -> None:
    # An infeed of two ten-thousandths of an inch cannot be written four percent higher.
    for line in t.traverses if t.inch else t.all("G01"):
        t.put(line, "F", t.value(line, "F") * 1.04)


@near_miss(*ALL)
def every_feed_is_four_percent_low(t: Text) -> None:
    for line in t.all("G01"):
        t.put(line, "F", t.value(line, "F") * 0.96)


@near_miss(*ALL)
def every_infeed_is_half_the_tolerance_deep(t: Text) -> None:
    for line in t.infeeds[:-1]:
        t.deepen(line, 0.5 * t.depth_tolerance)


@near_miss(*ALL)
def every_infeed_is_half_the_tolerance_shallow(t: Text) -> None:
    for line in t.infeeds:
        t.deepen(line, -0.5 * t.depth_tolerance)


@near_miss("diamond", "plunge", "zone", "inch", "chuck")
def the_last_infeed_is_half_the_tolerance_deep(t: Text) -> None:
    t.deepen(t.infeeds[-1], 0.5 * t.depth_tolerance)


@near_miss(*ALL)
def every_z_is_fifteen_thousandths_to_the_headstock(t: Text) -> None:
    for line in [*t.traverses, *t.all("G00 Z")]:
        t.shift(line, "Z", -0.015)


@near_miss(*ALL)
def every_z_is_fifteen_thousandths_to_the_tailstock(t: Text) -> None:
    for line in [*t.traverses, *t.all("G00 Z")]:
        t.shift(line, "Z", 0.015)


@near_miss(*ALL)
def every_dwell_is_twice_and_a_half_as_long(t: Text) -> None:
    for line in t.dwells:
        t.put(line, "D", t.plan.dwell_s * 2.5)


@near_miss(*ALL)
def a_dwell_in_two_blocks(t: Text) -> None:
    for line in t.dwells:
        half = t.written("D", t.plan.dwell_s / 2 + 0.0005)
        t.before(line, f"G04 {half}")
        t.put(line, "D", t.plan.dwell_s / 2 + 0.0005)


@near_miss(*ALL)
def two_dwells_in_air_with_a_move_between_them(t: Text) -> None:
    for number in (1, 2):
        t.before(t.find("G00 X", number), f"G04 {t.written('D', 40.0)}")


@near_miss(*ALL)
def a_dwell_before_the_retract(t: Text) -> None:
    t.before(t.retract, f"G04 {t.written('D', 1.0)}")


@near_miss("diamond", "plunge", "zone", "chuck")
def a_short_dwell_in_three_parts_on_the_way_out(t: Text) -> None:
    deepest = t.value(t.infeeds[-1], "X")
    for out in (0.2, 0.3, 0.4):
        t.before(t.retract, f"G01 {t.written('X', deepest + out)} {t.written('F', 0.5)}")
        t.before(t.retract, f"G04 {t.written('D', 0.9)}")


@near_miss(*ALL)
def a_dwell_in_air(t: Text) -> None:
    t.before(t.infeeds[0], f"G04 {t.written('D', 20.0)}")


@near_miss("diamond", "inch")
def a_dwell_of_a_minute_in_air(t: Text) -> None:
    t.before(t.find("G00 X", 1), f"G04 {t.written('D', 60.0)}")


@near_miss("diamond", "inch")
def the_first_way_is_a_feed_with_the_spindle_turning(t: Text) -> None:
    first = t.find("G00 X")
    first.sub("G00", "G01")
    first.text += f" {t.written('F', 0.3)}"


@near_miss(*ALL)
def wider_rapids(t: Text) -> None:
    wide = 150 if not t.inch else 150.0
    t.put(t.find("G00 X"), "X", wide)
    t.put(t.find("G00 X", 1), "X", 40)
    t.put(t.after(t.retract), "X", wide)
    # The next program counts on the safe position, to which it comes in the end.
    if t.post != "uw-lathe":
        t.behind(t.find("G00 Z", -1), f"G00 {t.written('X', t.plan.job.machine.safe_x)}")


@near_miss(*TRAVERSING)
def a_feed_move_back_to_where_the_tool_stands(t: Text) -> None:
    for line in t.infeeds:
        t.behind(line, line.block.replace("G01 ", "G01  "))


@near_miss(*ALL)
def a_retract_that_feeds_out_further(t: Text) -> None:
    t.shift(t.retract, "X", 20)


@near_miss(*ALL)
def other_comments(t: Text) -> None:
    for line in t.lines:
        if line.text.startswith("(") and not line.text.startswith("(JOB"):
            line.text = "(OTHER WORDS, JOB 12 FOR THE NIGHT SHIFT)"


@near_miss(*ALL)
def no_comments(t: Text) -> None:
    t.lines = [one for one in t.lines if not one.text.startswith("(")]


@near_miss(*ALL)
def a_comment_behind_every_block(t: Text) -> None:
    for line in t.lines:
        if line.block[:1] in "GMT" and line.block:
            line.text += " (AS PROVED)"


@near_miss(*ALL)
def no_block_numbers(t: Text) -> None:
    for line in t.lines:
        line.text = line.block


@near_miss(*ALL)
def other_block_numbers(t: Text) -> None:
    number = 1
    for line in t.lines:
        if line.block[:1] in ("G", "M", "T"):
            line.text = f"N{number} {line.block}"
            number += 3


@near_miss(*ALL)
def redundant_modal_words(t: Text) -> None:
    for line in t.all("G01"):
        t.before(line, t.modes.block)
    for line in t.all("G04"):
        t.before(line, "M03" if any("M03" in one.text for one in t.lines) else "M04")


@near_miss(*ALL)
def no_redundant_motion_words(t: Text) -> None:
    last = ""
    for line in t.lines:
        code = line.block[:3]
        if code in ("G00", "G01"):
            if code == last:
                line.text = line.text.replace(f"{code} ", "")
            last = code


@near_miss(*ALL)
def short_motion_words(t: Text) -> None:
    for line in t.lines:
        if not line.text.startswith("("):
            for digit in "01345689":
                line.text = line.text.replace(f"G0{digit}", f"G{digit}")
                line.text = line.text.replace(f"M0{digit}", f"M{digit}")


@near_miss("plunge")
def a_plunge_backs_out_after_its_dwell(t: Text) -> None:
    x = t.value(t.infeeds[0], "X")
    t.before(t.retract, f"G01 {t.written('X', x + 0.05)} {t.written('F', 0.05)}")


@near_miss(*ALL)
def a_retract_in_two_blocks(t: Text) -> None:
    x = t.value(t.infeeds[-1], "X")
    t.before(t.retract, f"G01 {t.written('X', x + 0.04)} {t.written('F', 0.5)}")


@near_miss(*TRAVERSING)
def an_infeed_that_is_pressed_on_a_little_after_its_dwell(t: Text) -> None:
    line = t.infeeds[1]
    again = t.behind(t.after(line), line.block)
    t.deepen(line, -0.4 * t.depth_tolerance)
    t.deepen(again, 0.0)


@near_miss(*ALL)
def a_feed_word_stated_once(t: Text) -> None:
    last = ""
    for line in t.all("G01"):
        feed = line.block.split()[-1]
        if feed == last:
            t.drop(line, "F")
        last = feed


@near_miss(*ALL)
def extra_spaces(t: Text) -> None:
    for line in t.lines:
        if not line.text.startswith("("):
            line.text = "  " + line.text.replace(" ", "   ") + "  "


@near_miss("diamond")
def lines_filled_up_with_spaces(t: Text) -> None:
    for line in t.lines:
        line.text = line.text.ljust(80)


@near_miss(*ALL)
def no_spaces(t: Text) -> None:
    for line in t.lines:
        if not line.text.startswith("("):
            line.text = line.text.replace(" ", "")


@near_miss(*ALL)
def lower_case(t: Text) -> None:
    for line in t.lines:
        if not line.text.startswith("("):
            line.text = line.text.lower()


@near_miss(*TRAVERSING)
def a_traverse_in_two_blocks(t: Text) -> None:
    i = 1 if "TRIAL" in str(t) else 0
    line = t.traverses[i]
    half = t.value(line, "Z") + 2.5
    t.before(line, f"G01 {t.written('Z', half)} {t.written('F', t.plan.feed_mm_per_rev)}")


@near_miss(*ALL)
def an_infeed_in_two_blocks(t: Text) -> None:
    line = t.infeeds[0]
    x = t.value(line, "X") + 0.05
    t.before(line, f"G01 {t.written('X', x)} {t.written('F', t.plan.infeed_mm_per_rev)}")


@near_miss("diamond", "plunge trial", "inch", "chuck")
def an_infeed_that_rests_where_a_larger_blank_is_met(t: Text) -> None:
    # It backs out and comes again, but never out of the largest blank.
    touch, step = t.plan.contact.x_diameter_mm(0.0), t.plan.blank_tolerance_mm / 8.0
    infeed = t.infeeds[0]
    for above in (step, 2.0 * step, step):
        t.before(infeed, f"G01 {t.written('X', touch + above)} {t.written('F', 0.05)}")


@near_miss("diamond", "plunge trial", "inch", "chuck")
def a_feed_to_just_above_the_largest_blank_and_back(t: Text) -> None:
    infeed, out = t.infeeds[0], t.written("X", t.value(t.retract, "X"))
    x = t.plan.contact.x_diameter_mm(0.0) + 2.0 * t.plan.blank_tolerance_mm + 0.03
    t.before(infeed, f"G01 {t.written('X', x)} {t.written('F', 0.05)}")
    t.before(infeed, f"G01 {out} {t.written('F', 0.5)}")


@near_miss(*ALL)
def a_block_that_moves_nothing(t: Text) -> None:
    for line in [*t.traverses, *t.infeeds]:
        t.behind(line, line.block)


@near_miss(*ALL)
def x_restated_on_a_traverse(t: Text) -> None:
    x = ""
    for line in t.all("G01"):
        if " X" in line.text:
            x = t.written("X", t.value(line, "X"))
        else:
            line.sub("G01", f"G01 {x}")


@near_miss(*(j for j in ALL if j != "dry"))
def coolant_on_with_a_rapid(t: Text) -> None:
    for line in t.all("M08"):
        t.delete(line)
    for line in t.all("G00 X"):
        if t.at(line) < t.at(t.infeeds[-1]):
            line.text += " M08"


@near_miss("diamond", "plunge", "trial")
def the_speed_is_stated_before_the_last_rapid(t: Text) -> None:
    t.start.sub("S110", "S50")
    t.before(t.find("G00 X", 1), "S110")


@near_miss("diamond", "plunge")
def the_speed_is_stated_with_the_last_rapid_but_one(t: Text) -> None:
    t.start.sub("S110", "S50")
    t.find("G00 Z").text += " S110"


@near_miss("diamond", "trial", "dry")
def the_spindle_stops_and_starts_before_the_last_rapid(t: Text) -> None:
    for block in ("M05", "M03"):
        t.before(t.find("G00 X", 1), block)


@near_miss("diamond", "plunge")
def the_spindle_that_turns_is_started_again_before_the_infeed(t: Text) -> None:
    t.before(t.infeeds[0], "M03")


@near_miss("diamond", "plunge")
def the_spindle_is_set_before_an_approach_by_a_slow_feed(t: Text) -> None:
    start, down = t.start, t.find("G00 X", 1)
    t.delete(start)
    t.before(down, start.block)
    down.sub("G00", "G01")
    down.text += f" {t.written('F', 0.3)}"


@near_miss("diamond", "inch")
def the_speed_in_force_is_stated_again_with_the_infeed(t: Text) -> None:
    t.infeeds[0].text += " S112"


@near_miss("diamond", "inch")
def a_feed_that_counts_for_nothing_stands_before_the_modes(t: Text) -> None:
    t.before(t.modes, t.written("F", 0.3))


@near_miss("diamond", "inch")
def the_infeed_is_stated_in_a_block_of_its_own(t: Text) -> None:
    t.behind(t.modes, t.written("F", t.plan.infeed_mm_per_rev))
    t.drop(t.infeeds[0], "F")


@near_miss(*ALL)
def an_approach_by_a_slow_feed(t: Text) -> None:
    line = t.find("G00 X", 1)
    line.sub("G00", "G01")
    line.text += f" {t.written('F', 0.3)}"


@near_miss("diamond", "trial", posts=RS274)
def spindle_and_coolant_on_in_one_block(t: Text) -> None:
    for line in t.all("M08"):
        t.delete(line)
    for line in t.all("S110") + t.all("G97 S110"):
        line.text += " M08"


@near_miss(*ALL, posts=RS274)
def coolant_and_spindle_off_in_one_block(t: Text) -> None:
    if t.all("M09"):
        t.find("M05", -1).sub("M05", "M05 M09")
        t.delete(t.find("M09", -1))


@near_miss(*ALL)
def the_plane_and_no_cutter_radius_are_stated(t: Text) -> None:
    t.behind(t.modes, "G18 G40")


@near_miss(*ALL)
def another_word_for_the_end(t: Text) -> None:
    t.end.sub("M30", "M02")


@near_miss("diamond", posts=["uw-lathe"])
def a_speed_limit_between_speed_and_machine(t: Text) -> None:
    t.find("G50").sub("S150", "S2000")


@near_miss("diamond", posts=["uw-lathe"])
def an_increment_that_ends_where_planned(t: Text) -> None:
    t.traverses[0].sub("Z-20.000", "W-16.667")


@near_miss("diamond", posts=["iso6983", "iso6983-integer", *RS274])
def increments_stated_and_taken_back_without_a_motion(t: Text) -> None:
    t.before(t.find("G00 Z"), "G91")
    t.before(t.find("G00 Z"), "G90")


@near_miss("followed")
def a_block_of_a_slide_that_follows_is_less_than_the_tolerance_off(t: Text) -> None:
    t.shift(t.followed[-20], "X", -t.depth_tolerance)


@near_miss("followed")
def one_of_many_blocks_of_a_slide_that_follows_is_lost(t: Text) -> None:
    t.delete(t.followed[-30])


@near_miss("shouldered")
def the_tool_goes_out_over_the_shoulder(t: Text) -> None:
    t.behind(t.after(t.retract), f"G00 {t.written('Z', -30)}")


@near_miss("shouldered")
def a_rapid_over_the_shoulder_at_its_clearance(t: Text) -> None:
    # A head's rolls touch a step of 40 mm at another X than they touch the blank.
    x = t.plan.job.machine.safe_x
    room = t.plan.contact.x_diameter_mm(t.plan.contact.blank_radius_mm - 20.0)
    there = t.behind(t.after(t.retract), f"G00 {t.written('Z', -30)}")
    in_ = t.behind(there, f"G00 {t.written('X', room + 2 * t.plan.job.machine.clearance)}")
    t.behind(in_, f"G00 {t.written('X', x)}")


def _goes_down_at(t: Text, z: float, x: float) -> None:
    there = t.behind(t.after(t.retract), f"G00 {t.written('Z', z)}")
    down = t.behind(there, f"G00 {t.written('X', x)}")
    t.behind(down, f"G00 {t.written('X', t.plan.job.machine.safe_x)}")


@near_miss("shouldered")
def a_rapid_goes_down_beside_the_shoulder(t: Text) -> None:
    _goes_down_at(t, -24.0 + 0.12, t.plan.clearance_x_mm + 0.5)


@near_miss("diamond", "chuck", "trial")
def a_rapid_goes_down_by_the_chuck_at_its_clearance(t: Text) -> None:
    z = t.plan.job.machine.clearance + 0.01 - t.plan.job.part.length
    _goes_down_at(t, z, t.plan.clearance_x_mm)


@near_miss("chuck")
def a_rapid_goes_down_beyond_the_end_of_the_work(t: Text) -> None:
    z = t.before(t.find("G00 Z"), f"G00 {t.written('Z', 0.15)}")
    down = t.behind(z, f"G00 {t.written('X', 20.0)}")
    t.behind(down, f"G00 {t.written('X', t.plan.job.machine.safe_x)}")


@near_miss(*ALL)
def a_rapid_a_little_beyond_the_safe_position(t: Text) -> None:
    z = t.plan.job.machine.safe_z + 24
    t.before(t.find("G00 Z"), f"G00 {t.written('Z', z)}")


@near_miss("chuck")
def an_approach_where_no_tailstock_stands(t: Text) -> None:
    down = t.find("G00 X", 1)
    start = t.before(t.find("G00 Z"), f"G00 {t.written('Z', t.plan.job.machine.safe_z)}")
    t.behind(start, down.block)


@near_miss("diamond")
def as_many_lines_as_are_read(t: Text) -> None:
    line, blank = t.start, Line("")
    t.lines[t.at(line) - 1 : t.at(line) - 1] = [blank] * (MOST_LINES - len(t.lines))


@near_miss("diamond", "trial", "plunge", "followed")
def x_said_again_a_little_further_in(t: Text) -> None:
    # As of a figure that was rounded otherwise.
    for line in [t.retract, *t.traverses[-1:]]:
        x = t.value(t.infeeds[-1], "X") - 0.0006
        t.before(line, f"G01 {t.written('X', x)} {t.written('F', 0.5)}")


@near_miss("diamond", posts=RS274, form="blocks")
def the_tool_is_called_among_blocks_to_paste(t: Text) -> None:
    t.before(t.modes, "G43 H5")


@near_miss("diamond", posts=["uw-lathe"])
def an_increment_of_nothing_from_wherever_the_turret_stands(t: Text) -> None:
    t.before(t.start, "G00 U0.0")


@near_miss("diamond", posts=["rs274"])
def a_feed_per_minute_while_the_spindle_stands(t: Text) -> None:
    stop = t.find("M05", -1)
    t.lines.remove(stop)
    t.behind(t.retract, "M05")
    t.after(t.retract, 2).sub("G00", "G01")


@near_miss("diamond", posts=NEEDS_NUMBERS)
def the_offset_goes_for_a_moment_at_the_safe_position(t: Text) -> None:
    line = t.find("G00 X")
    z = f"G00 {t.written('Z', t.plan.job.machine.safe_z)}"
    for block in (line.block, "T0505", "T0500", z):
        t.behind(line, block)


@near_miss("diamond", "inch", "plunge")
def a_fast_feed_outward_in_air(t: Text) -> None:
    x = t.plan.clearance_x_mm
    t.behind(t.retract, f"G01 {t.written('X', x + 10)} {t.written('F', 9.0)}")


@near_miss("diamond", "plunge", posts=["iso6983", "uw-lathe"])
def every_feed_is_five_percent_off(t: Text) -> None:
    for line in t.all("G01"):
        t.put(line, "F", t.value(line, "F") * 0.95)


@near_miss("diamond", "inch")
def comments_that_begin_like_those_that_a_control_acts_on(t: Text) -> None:
    for comment in ("(MSG ABOUT THE NIGHT SHIFT)", "(PRINTED SIDE OUT, LOG, DEBUG, MSG,)"):
        t.before(t.start, comment)
    t.before(t.start, "(PROBE THE BLANK, 100 PERCENT)")


@near_miss("diamond")
def tabs_between_the_words(t: Text) -> None:
    for line in t.lines:
        line.text = line.text.replace(" ", "\t")


@near_miss("diamond", "trial")
def the_tool_is_called_once_more_at_the_safe_position(t: Text) -> None:
    at_safe = t.after(t.retract, 2)
    call = ("G43 H5", "T5 M06", "G49") if t.post in RS274 else ("T0505", "T0500")
    for block in (at_safe.block, t.after(t.retract).block, *call):
        t.behind(at_safe, block)


@near_miss("diamond", posts=NEEDS_NUMBERS)
def the_same_tool_and_offset_are_called_again_where_z_was_found(t: Text) -> None:
    t.behind(t.find("G00 X"), "T0505")


@near_miss("diamond", posts=NEEDS_NUMBERS)
def the_same_tool_and_offset_are_called_again_beyond_the_safe_position(t: Text) -> None:
    z = t.before(t.find("G00 Z"), f"G00 {t.written('Z', t.plan.job.machine.safe_z + 5.0)}")
    t.behind(z, "T0505")


@near_miss("diamond", "trial", posts=RS274)
def the_tool_in_force_is_selected_again_at_the_safe_position(t: Text) -> None:
    t.before(t.find("M05", -1), "T5")
    t.before(t.find("T5"), "T0")


@near_miss("diamond")
def the_offset_is_cancelled_before_it_is_called(t: Text) -> None:
    call = t.find("T5" if t.post in RS274 else "T")
    t.before(call, "G49" if t.post in RS274 else "T0500")


@near_miss("diamond", posts=["uw-lathe"])
def both_axes_go_home_in_one_block(t: Text) -> None:
    t.find("G28").text += " W0.000"
    t.delete(t.find("G28", 1))


@near_miss("diamond", posts=NEEDS_NUMBERS)
def the_spindle_starts_before_the_tool_call(t: Text) -> None:
    line = t.start
    line.text = line.block
    t.lines.remove(line)
    t.lines.insert(t.at(t.modes), line)


@near_miss("diamond", posts=NEEDS_NUMBERS, form="subprogram")
def a_subprogram_says_that_it_leaves_feed_per_minute(t: Text) -> None:
    words = WORDS[t.post]
    t.find("(LEAVES").sub(words["per rev"], words["per min"])
    t.before(t.find("M99"), words["per min"])


@near_miss("diamond", "inch", posts=POSTS, form="blocks")
def blocks_to_paste_do_not_say_what_they_leave(t: Text) -> None:
    t.delete(t.find("(LEAVES"))


@near_miss("diamond", "inch")
def a_program_states_modes_and_speed_again_before_its_end(t: Text) -> None:
    t.before(t.end, t.modes.block)
    t.before(t.end, "S112")


@near_miss("diamond", posts=["iso6983", "uw-lathe"])
def a_program_has_other_modes_in_air_and_takes_them_back(t: Text) -> None:
    t.before(t.end, WORDS[t.post]["per min"])
    t.before(t.end, WORDS[t.post]["inch"])
    t.before(t.end, t.modes.block)


@near_miss("diamond", form="blocks")
def a_comment_promises_the_modes_and_says_nothing_of_the_speed(t: Text) -> None:
    t.find("(LEAVES").sub(" S110", "")


@near_miss("diamond", form="blocks")
def a_comment_says_that_another_speed_is_left(t: Text) -> None:
    t.find("(LEAVES").sub("S110", "S90")
    t.behind(t.lines[-1], "S90")


@near_miss("diamond", posts=NEEDS_NUMBERS, form="subprogram")
def a_comment_ends_behind_the_modes_that_it_promises(t: Text) -> None:
    line = t.find("(LEAVES")
    line.text = line.text.replace(")", " IN FORCE)").lower()


@near_miss("diamond", "inch", posts=POINTED)
def as_many_digits_as_the_control_reads(t: Text) -> None:
    line = t.infeeds[0]
    word = t.written("X", t.value(line, "X"))
    line.sub(word, word.ljust(len("X12345.678"), "0"))


@near_miss("diamond", "inch", posts=RS274)
def any_number_of_digits(t: Text) -> None:
    for line in t.infeeds:
        word = t.written("X", t.value(line, "X"))
        line.sub(word, f"{word}0000000000")
