"""Stops: where they are, what they leave running, and what is stated again after them."""

from __future__ import annotations

from tests.support.breaking import RS274, Line, Text
from tests.verification.cases.table import ALL, NEEDS_NUMBERS, breaks, near_miss


def before(t: Text, line: Line, start: str) -> Line:
    """The last line before another whose block starts so."""
    return [one for one in t.all(start) if t.at(one) < t.at(line)][-1]


def trial_stop(t: Text) -> Line:
    """The stop after the trial strip, or the first one."""
    return next(one for one in t.lines if one.block in ("M00", "M01"))


def call(t: Text) -> tuple[str, ...]:
    """The blocks that call tool and offset."""
    offset = t.plan.job.tool.offset_number
    return ("T5 M06", f"G43 H{offset}") if t.post in RS274 else (f"T05{offset:02d}",)


def since_stop(t: Text, *starts: str) -> list[Line]:
    """The lines after it whose blocks start so."""
    return [one for one in t.lines[t.at(trial_stop(t)) :] if one.block.startswith(starts)]


@breaks("stop-in-contact")
def a_stop_where_a_larger_blank_begins(t: Text) -> Line:
    x = t.plan.blank_diameter_mm + 0.005
    near = t.before(t.infeeds[0], f"G01 {t.written('X', x)} {t.written('F', 0.05)}")
    return t.behind(near, "M00")


@breaks("stop-in-contact", *ALL)
def a_stop_before_the_retract(t: Text) -> Line:
    return t.before(t.retract, "M00")


@breaks("stop-in-contact")
def an_optional_stop_between_passes(t: Text) -> Line:
    return t.before(t.infeeds[2], "M01")


@breaks("spindle-turning-at-stop", *ALL)
def a_stop_before_the_first_infeed(t: Text) -> Line:
    return t.before(t.infeeds[0], "M00")


@breaks("spindle-turning-at-stop", "trial", "plunge trial")
def the_spindle_turns_while_the_trial_strip_is_looked_at(t: Text) -> Line:
    t.delete(t.find("M05"))
    return t.find("M00")


@near_miss(*ALL)
def a_stop_before_the_tool_is_called(t: Text) -> None:
    t.before(t.find("T"), "M00")


@near_miss("trial", "plunge trial")
def an_optional_stop_before_the_planned_one(t: Text) -> None:
    t.before(t.find("M00"), "M01")


@near_miss("optional trial")
def nothing_is_changed_where_the_job_wants_an_optional_stop(t: Text) -> None:
    assert t.find("M01")


@near_miss("optional trial")
def a_stop_that_always_stops_where_an_optional_one_is_planned(t: Text) -> None:
    t.find("M01").sub("M01", "M00")


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


@breaks("stop-not-at-safe-position", *ALL)
def a_stop_just_beyond_the_clearance_over_the_crests(t: Text) -> Line:
    above = t.plan.clearance_x_mm - t.plan.contact.x_diameter_mm(0.0)
    x = t.plan.contact.x_diameter_mm(-t.plan.rise_mm) + above
    return t.behind(t.behind(t.put(t.retract, "X", x + 0.05), "M05"), "M01")


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


@breaks("stop-not-at-safe-position", *ALL)
def a_stop_just_beyond_the_clearance_over_the_blank(t: Text) -> Line:
    there = before_the_start(t, t.plan.passes[0].z_start_mm, t.plan.clearance_x_mm + 0.05)
    return t.behind(there, "M00")


@breaks("stop-near-work", "chuck")
def a_stop_close_to_the_end_of_the_work(t: Text) -> Line:
    return t.behind(before_the_start(t, 1.5, t.plan.clearance_x_mm), "M00")


@breaks("stop-not-at-safe-position", "chuck")
def a_stop_clear_of_the_end_of_the_work(t: Text) -> Line:
    return t.behind(before_the_start(t, 2.5, t.plan.clearance_x_mm), "M00")


@breaks("stop-near-work", "shouldered")
def a_stop_at_the_clearance_over_a_shoulder(t: Text) -> Line:
    x = t.plan.contact.x_diameter_mm(t.plan.contact.blank_radius_mm - 20.0)
    return t.behind(before_the_start(t, -30.0, x + 4.0), "M00")


@breaks("stop-not-at-safe-position", "shouldered")
def a_stop_just_beyond_the_clearance_over_a_shoulder(t: Text) -> Line:
    x = t.plan.contact.x_diameter_mm(t.plan.contact.blank_radius_mm - 20.0)
    return t.behind(before_the_start(t, -30.0, x + 4.05), "M00")


# -- stops at the safe position ------------------------------------------------------------


@breaks("stop-not-at-safe-position", "trial", "plunge trial")
def the_trial_stop_above_the_knurl(t: Text) -> Line:
    stop = t.find("M00")
    t.delete(before(t, stop, "G00 Z"))
    return stop


@breaks("stop-not-at-safe-position", "trial", "optional trial")
def the_trial_stop_just_inside_safe_z(t: Text) -> Line:
    stop = trial_stop(t)
    t.shift(before(t, stop, "G00 Z"), "Z", -0.05)
    return stop


@breaks("stop-not-at-safe-position", "chuck")
def a_stop_just_inside_safe_x(t: Text) -> Line:
    return t.behind(before_the_start(t, 50.8, t.plan.job.machine.safe_x - 0.05), "M00")


@near_miss("trial", "plunge trial", "optional trial")
def the_trial_stop_a_little_beyond_the_safe_position(t: Text) -> None:
    stop = trial_stop(t)
    t.shift(before(t, stop, "G00 Z"), "Z", 5.0)
    t.shift(before(t, stop, "G00 X"), "X", 5.0)


@near_miss("trial", posts=["uw-lathe"])
def the_trial_stop_at_the_reference_point(t: Text) -> None:
    home = t.before(t.find("M00"), "G28 U0.000")
    t.behind(home, "G28 W0.000")


@near_miss(*ALL)
def one_more_stop_at_the_safe_position_with_all_off(t: Text) -> None:
    t.behind(t.find("M05", -1), "M00")


# -- what a stop ends ----------------------------------------------------------------------


@breaks("coolant-on-at-stop", "trial", "plunge trial", "optional trial")
def the_coolant_runs_while_the_trial_strip_is_looked_at(t: Text) -> Line:
    t.delete(t.find("M09"))
    return trial_stop(t)


@breaks("coolant-on-at-stop", *(j for j in ALL if j != "dry"))
def a_stop_before_the_coolant_goes_off(t: Text) -> Line:
    off = t.find("M09", -1)
    t.before(off, "M05")
    return t.before(off, "M00")


@breaks("coolant-on-at-stop", "dry")
def a_stop_with_coolant_that_no_job_wants(t: Text) -> Line:
    t.before(t.start, "M08")
    stop = t.before(t.start, "M01")
    t.before(t.start, "M09")
    return stop


@near_miss("dry")
def a_stop_needs_no_coolant_again_where_the_job_wants_none(t: Text) -> None:
    for block in ("M08", "M09", "M00"):
        t.before(t.find("T"), block)


@near_miss(*ALL)
def the_program_stops_at_the_safe_position_when_all_is_done(t: Text) -> None:
    t.before(t.find("M30"), "M00")


# -- where the slide stands after a stop ---------------------------------------------------


@breaks("position-unknown", "trial", "plunge trial", "optional trial")
def x_is_not_stated_after_the_stop(t: Text) -> Line:
    # The operator may have jogged in to look; Z runs along at that X.
    t.delete(since_stop(t, "G00 X")[0])
    return since_stop(t, "G00 Z")[0]


@breaks("position-unknown", "trial", "plunge trial", "optional trial")
def z_is_not_stated_after_the_stop(t: Text) -> Line:
    t.delete(since_stop(t, "G00 Z")[0])
    return since_stop(t, "G00 X")[1]


@breaks("position-unknown", "trial")
def z_goes_before_x_after_the_stop(t: Text) -> Line:
    x, z = since_stop(t, "G00 X")[0], since_stop(t, "G00 Z")[0]
    t.swap(x, z)
    return x


@breaks("position-unknown", "trial")
def both_axes_go_in_after_the_stop(t: Text) -> Line:
    x = t.put(since_stop(t, "G00 X")[0], "X", t.plan.job.machine.safe_x - 1.0)
    x.text += " " + t.written("Z", t.value(since_stop(t, "G00 Z")[0], "Z"))
    return x


@breaks("position-unknown", "trial", posts=["uw-lathe"])
def an_increment_from_wherever_x_was_jogged_to(t: Text) -> Line:
    return t.before(since_stop(t, "G00 X")[0], "G00 U-10.0")


@breaks("position-unknown", "trial", posts=["uw-lathe"])
def an_increment_of_nothing_states_no_x(t: Text) -> Line:
    since_stop(t, "G00 X")[0].text = "G00 U0.000"
    return since_stop(t, "G00 Z")[0]


@breaks("position-unknown", "trial", posts=["uw-lathe"])
def z_goes_in_from_the_reference_point_after_the_stop(t: Text) -> Line:
    home = t.before(t.find("M00"), "G28 U0.000")
    t.behind(home, "G28 W0.000")
    t.delete(since_stop(t, "G00 X")[0])
    return since_stop(t, "G00 Z")[0]


@breaks("position-unknown", "diamond", "chuck")
def x_is_not_stated_after_a_stop_that_is_not_planned(t: Text) -> Line:
    x, z = t.find("G00 X"), t.find("G00 Z")
    for block in (x.block, "M00", *call(t)):
        t.before(t.start, block)
    t.delete(x)
    return z


@near_miss("trial", "plunge trial", "optional trial")
def both_axes_go_out_in_the_first_move_after_the_stop(t: Text) -> None:
    x, z = since_stop(t, "G00 X")[0], since_stop(t, "G00 Z")[0]
    x.text += " " + t.written("Z", t.value(z, "Z"))
    t.delete(z)


@near_miss("trial", posts=["uw-lathe"])
def an_increment_of_nothing_after_the_stop(t: Text) -> None:
    t.before(since_stop(t, "G00 X")[0], "G00 U0.000 W0.000")


@near_miss("trial", posts=["uw-lathe"])
def both_axes_go_home_after_the_stop(t: Text) -> None:
    home = t.before(since_stop(t, "G00 X")[0], "G28 U0.000")
    t.behind(home, "G28 W0.000")


# -- the tool is called again after a stop -------------------------------------------------


@breaks("tool-not-called-again", *ALL)
def the_program_stops_between_the_tool_call_and_the_spindle(t: Text) -> Line:
    # Hands that measure the blank may turn the turret.
    t.before(t.start, "M00")
    return t.infeeds[0]


@near_miss("diamond", "inch", "plunge")
def the_tool_is_called_again_after_a_stop_that_is_not_planned(t: Text) -> None:
    for block in ("M00", *call(t)):
        t.before(t.start, block)


@breaks("tool-not-called-again", "trial", "plunge trial", "optional trial")
def the_tool_is_not_called_again_after_the_stop(t: Text) -> Line:
    calls = since_stop(t, "T05", "T5", "G43")
    t.delete(*(one for one in calls if not one.block.startswith("T0500")))
    return next(one for one in t.infeeds if t.at(one) > t.at(trial_stop(t)))


@breaks("tool-not-called-again", "trial", posts=RS274)
def the_offset_is_not_called_again_after_the_stop(t: Text) -> Line:
    t.delete(since_stop(t, "G43")[0])
    return next(one for one in t.infeeds if t.at(one) > t.at(trial_stop(t)))


@breaks("tool-not-called-again", "trial", posts=RS274)
def the_station_is_not_called_again_after_the_stop(t: Text) -> Line:
    t.delete(since_stop(t, "T5")[0])
    return next(one for one in t.infeeds if t.at(one) > t.at(trial_stop(t)))


@breaks("tool-not-called-again", "trial", posts=NEEDS_NUMBERS)
def the_tool_is_called_again_before_the_stop_only(t: Text) -> Line:
    call = since_stop(t, "T05")[0]
    t.delete(call)
    t.before(trial_stop(t), "T0505")
    return next(one for one in t.infeeds if t.at(one) > t.at(trial_stop(t)))


@near_miss("trial", "plunge trial")
def the_spindle_starts_before_the_tool_is_called_again(t: Text) -> None:
    start = since_stop(t, "G97", "S110")[0]
    coolant = since_stop(t, "M08")[0]
    if t.post in RS274:  # a tool change stops the spindle
        t.delete(coolant)
        t.behind(trial_stop(t), coolant.block)
        return
    t.delete(start)
    t.behind(trial_stop(t), start.block)


# -- the tool and no other -----------------------------------------------------------------


def another(t: Text) -> str:
    """A call of another station."""
    return "T6 M06" if t.post in RS274 else "T0606"


@breaks("wrong-tool", "diamond", "inch", "plunge", "dry")
def another_tool_is_called_when_the_knurl_is_done(t: Text) -> Line:
    return t.behind(t.find("G00 Z", -1), another(t))


@breaks("wrong-tool", "trial", "plunge trial")
def another_tool_is_called_at_the_trial_stop(t: Text) -> Line:
    return t.behind(trial_stop(t), another(t))


@breaks("wrong-tool", "diamond", "trial")
def another_tool_is_called_before_ours(t: Text) -> Line:
    return t.before(t.find("T"), another(t))


@breaks("wrong-tool", posts=NEEDS_NUMBERS)
def another_station_is_called_as_the_offset_goes(t: Text) -> Line:
    return t.find("T0500").sub("T0500", "T0600")


@near_miss("diamond", "trial", posts=NEEDS_NUMBERS)
def the_same_tool_is_called_again_after_the_last_rapid(t: Text) -> None:
    t.behind(t.find("G00 Z", -1), "T0505")
