"""Spindle, coolant and tool."""

from __future__ import annotations

from tests.support.breaking import RS274, Line, Text
from tests.verification.cases.table import ALL, PER_TURN, TRAVERSING, breaks, near_miss


@breaks("surface-speed-in-contact", posts=PER_TURN)
def constant_surface_speed_in_the_work(t: Text) -> Line:
    return t.before(t.traverses[1], "G96")


@breaks("moves-without-offset", posts=RS274, form="blocks")
def an_offset_is_cancelled_among_blocks_to_paste(t: Text) -> Line:
    t.before(t.start, "G49")
    return t.find("G00 X")


@breaks("spindle-stopped", posts=RS274)
def the_tool_is_changed_with_the_spindle_turning(t: Text) -> Line:
    # NISTIR 6556, 3.6.3: a tool change stops the spindle.
    t.delete(t.find("T5"))
    t.behind(t.start, "T5 M06")
    return t.infeeds[0]


@breaks("moves-without-offset", posts=["iso6983", "uw-lathe"])
def z_goes_in_with_the_offset_cancelled(t: Text) -> Line:
    cancel = t.behind(t.find("G00 X"), "T0500")
    z = t.behind(cancel, f"G00 {t.written('Z', t.plan.job.machine.safe_z)}")
    home = t.behind(z, f"G00 {t.written('Z', -30)}")
    call = t.behind(home, "T0505")
    t.behind(call, t.find("G00 X").block)
    return z


@breaks("spindle-stopped")
def the_spindle_starts_where_a_larger_blank_is_met(t: Text) -> Line:
    start, infeed = t.start, t.infeeds[0]
    x = t.plan.blank_diameter_mm + 0.005
    near = t.before(infeed, f"G01 {t.written('X', x)} {t.written('F', 0.05)}")
    t.delete(start)
    t.behind(near, start.block)
    return near


@breaks("wrong-offset", posts=RS274, form="blocks")
def blocks_to_paste_cancel_the_offset_behind_all(t: Text) -> Line:
    return t.behind(t.after(t.retract), "G49")


@breaks("spindle-stopped", *ALL)
def the_spindle_is_never_started(t: Text) -> Line:
    for line in t.all("G97 S110") + t.all("S110"):
        for word in (" M03", " M04"):
            line.text = line.text.replace(word, "")
    return t.infeeds[0]


@breaks("spindle-stopped", "trial", "plunge trial")
def the_spindle_is_not_started_again_after_the_trial_strip(t: Text) -> Line:
    again = [one for one in t.lines if "S110" in one.block][1]
    t.delete(again)
    return (
        t.infeeds[2 if "DIN 82 RAA" not in str(t) else 1] if False else t.after(t.find("G00 X", 4))
    )


@breaks("spindle-stopped")
def the_spindle_stops_in_the_work(t: Text) -> Line:
    line = t.before(t.traverses[1], "M05")
    t.behind(t.traverses[1], "M03")
    return line


@breaks("spindle-reversed", *(j for j in ALL if j not in ("reverse", "trial", "plunge trial")))
def the_spindle_turns_backward(t: Text) -> Line:
    return t.start.sub("M03", "M04")


@breaks("spindle-reversed", "reverse")
def the_reverse_spindle_turns_forward(t: Text) -> Line:
    return t.start.sub("M04", "M03")


@breaks("speed-not-planned", *(j for j in ALL if "trial" not in j))
def the_speed_is_six_percent_low(t: Text) -> Line:
    return t.start.sub("S110", "S103")


@breaks("speed-not-planned")
def the_speed_changes_in_the_work(t: Text) -> Line:
    line = t.before(t.traverses[1], "S90")
    t.behind(t.traverses[1], "S110")
    return line


@breaks("speed-not-stated")
def the_speed_is_not_stated(t: Text) -> Line:
    return t.start.sub(" S110" if t.post != "rs274" else "S110 ", "")


@breaks("speed-not-stated", "diamond", "reverse")
def the_spindle_starts_before_its_speed_is_stated(t: Text) -> Line:
    word = "M04" if "M04" in t.start.block else "M03"
    # Stated in good time before the rolls meet the work, but the spindle turns already.
    return t.before(t.start, word)


@breaks("spindle-reversed", "diamond", "trial", "inch")
def the_spindle_turns_the_wrong_way_in_air(t: Text) -> Line:
    line = t.before(t.start, t.start.block.replace("M03", "M04"))
    t.behind(line, "M05")
    return line


@breaks("speed-not-planned", "plunge")
def a_plunge_with_a_digit_of_speed_too_many(t: Text) -> Line:
    # The machine allows it, and nothing reverses.
    return t.start.sub("S110", "S1100")


@breaks("speed-too-fast", *(j for j in TRAVERSING if j != "trial"))
def the_speed_has_a_digit_too_many(t: Text) -> Line:
    return t.start.sub("S110", "S1100")


@breaks("speed-too-fast")
def the_machine_is_overrun_in_air(t: Text) -> Line:
    line = t.before(t.find("G00 X"), "S2500")
    t.before(t.infeeds[0], "S110")
    return line


@breaks("no-coolant", *(j for j in ALL if j not in ("dry", "trial", "plunge trial")))
def the_coolant_is_never_on(t: Text) -> Line:
    t.delete(t.find("M08"))
    return t.infeeds[0]


@breaks("no-coolant", "trial", "plunge trial")
def the_coolant_is_not_on_again_after_the_trial_strip(t: Text) -> Line:
    t.delete(t.find("M08", 1))
    return t.after(t.find("G00 X", 4))


@breaks("no-coolant")
def the_coolant_goes_off_in_the_work(t: Text) -> Line:
    line = t.before(t.traverses[1], "M09")
    t.behind(t.traverses[1], "M08")
    return line


@breaks("stated-too-late", *(j for j in ALL if j not in ("dry", "trial", "plunge trial")))
def the_coolant_comes_on_with_the_infeed(t: Text) -> Line:
    t.delete(t.find("M08"))
    line = t.infeeds[0]
    line.text += " M08"
    return line


@breaks("stated-too-late", "trial")
def the_coolant_comes_on_again_with_the_infeed(t: Text) -> Line:
    t.delete(t.find("M08", 1))
    line = t.after(t.find("G00 X", 4))
    line.text += " M08"
    return line


@breaks("stated-too-late", "diamond", "plunge", "dry")
def the_speed_is_stated_with_the_infeed(t: Text) -> Line:
    t.start.sub("S110", "S50")
    line = t.infeeds[0]
    line.text += " S110"
    return line


@breaks("speed-too-fast", "diamond", "dry", "chuck")
def the_speed_is_left_high_until_the_block_before_the_infeed(t: Text) -> Line:
    t.before(t.infeeds[0], "S110")
    return t.start.sub("S110", "S1500")


@breaks("speed-too-fast", "diamond", "trial")
def a_digit_of_speed_too_many_is_set_right_in_the_next_block(t: Text) -> Line:
    # A dead centre sees it all the same.
    t.behind(t.start, "S110")
    return t.start.sub("S110", "S1100")


@breaks("speed-not-planned", "diamond", "inch")
def the_spindle_is_faster_than_planned_in_air(t: Text) -> Line:
    t.behind(t.start, "S110")
    return t.start.sub("S110", "S120")


@breaks("speed-not-planned", "diamond", "plunge")
def the_spindle_is_faster_than_planned_when_the_knurl_is_done(t: Text) -> Line:
    line = t.behind(t.retract, "S120")
    t.behind(line, "S110")
    return line


@near_miss("diamond", "plunge", "inch")
def the_spindle_starts_gently(t: Text) -> None:
    t.behind(t.start, "S110")
    t.start.sub("S110", "S60")


@near_miss("diamond", "plunge")
def a_high_speed_is_stated_while_the_spindle_stands(t: Text) -> None:
    t.before(t.start, "G97 S1100" if t.post not in ("rs274",) else "S1100")


@breaks("stated-too-late", "diamond", "inch")
def the_speed_is_left_low_until_the_block_before_the_infeed(t: Text) -> Line:
    t.start.sub("S110", "S10")
    return t.before(t.infeeds[0], "S110")


@breaks("stated-too-late", "diamond", "plunge")
def the_speed_is_stated_with_the_last_rapid(t: Text) -> Line:
    # Some controls carry it out after the motion.
    t.start.sub("S110", "S50")
    line = t.find("G00 X", 1)
    line.text += " S110"
    return line


@breaks("stated-too-late", "diamond", "trial", "chuck")
def the_spindle_stops_and_starts_at_the_clearance(t: Text) -> Line:
    stop = t.before(t.infeeds[0], "M05")
    return t.behind(stop, "M03")


@breaks("stated-too-late", "reverse")
def the_spindle_in_reverse_stops_and_starts_at_the_clearance(t: Text) -> Line:
    stop = t.before(t.infeeds[0], "M05")
    return t.behind(stop, "M04")


@breaks("stated-too-late", "diamond", "plunge", "inch")
def the_spindle_starts_before_the_infeed(t: Text) -> Line:
    start = t.start
    t.delete(start)
    return t.before(t.infeeds[0], start.block)


@breaks("stated-too-late")
def the_slide_hardly_moves_between_the_speed_and_the_infeed(t: Text) -> Line:
    t.start.sub("S110", "S50")
    line = t.before(t.infeeds[0], "S110")
    t.behind(line, t.find("G00 X", 1).block)
    return line


@breaks("stated-too-late")
def a_dwell_lies_between_the_start_of_the_spindle_and_the_infeed(t: Text) -> Line:
    # How long a spindle takes is not known.
    start = t.start
    t.delete(start)
    line = t.before(t.infeeds[0], start.block)
    t.behind(line, f"G04 {t.written('D', 1.0)}")
    return line


@breaks("stated-too-late")
def the_coolant_comes_on_where_a_larger_blank_is_met(t: Text) -> Line:
    t.delete(t.find("M08"))
    x = t.plan.blank_diameter_mm + 0.005
    return t.before(t.infeeds[0], f"G01 {t.written('X', x)} {t.written('F', 0.05)} M08")


@breaks("speed-not-stated", "diamond", "inch", posts=PER_TURN)
def the_speed_is_stated_before_its_mode(t: Text) -> Line:
    # A control that was left in constant surface speed takes it in m/min.
    start = t.start.sub("S110 ", "")
    t.before(t.modes, "S110")
    return start


@breaks("wrong-tool", *(j for j in ALL if j != "inch"))
def another_tool_is_called(t: Text) -> Line:
    line = t.find("T")
    line.text = line.text.replace("T05", "T06").replace("T5 ", "T6 ")
    return line


@breaks("wrong-tool")
def no_tool_is_called(t: Text) -> Line:
    t.delete(t.find("T"))
    if t.post in RS274:
        t.find("G43").sub("H5", "H5 (T5)")
    return t.find("G00 X")


@breaks("wrong-offset", "diamond", "plunge", "inch")
def another_offset_is_called(t: Text) -> Line:
    line = t.tool
    line.text = line.text.replace("T0505", "T0506").replace("H5", "H6")
    return line


@breaks("wrong-offset", "chuck")
def the_station_number_is_taken_for_the_offset(t: Text) -> Line:
    line = t.tool
    line.text = line.text.replace("T0515", "T0505").replace("H15", "H5")
    return line


@breaks("moves-without-offset")
def the_offset_is_cancelled_too_early(t: Text) -> Line:
    down = t.find("G00 X", 1)
    t.before(down, "G49" if t.post in RS274 else "T0500")
    return down


@breaks("speed-limit-low", posts=["uw-lathe"])
def the_speed_limit_is_below_the_speed(t: Text) -> Line:
    return t.find("G50").sub("S150", "S100")


@breaks("speed-limit-high", posts=["uw-lathe"])
def the_speed_limit_is_above_the_machines(t: Text) -> Line:
    return t.find("G50").sub("S150", "S2500")


@breaks("speed-limit-missing", *ALL, posts=["uw-lathe"])
def the_speed_limit_is_gone(t: Text) -> Line:
    t.delete(t.find("G50"))
    return t.infeeds[0]


@breaks("speed-limit-missing", "diamond", "trial", posts=["uw-lathe"])
def the_speed_limit_comes_after_the_knurl(t: Text) -> Line:
    limit = t.find("G50")
    t.delete(limit)
    t.behind(t.after(t.retract), limit.text)
    return t.infeeds[0]
