"""Where the slide stands and where it may go."""

from __future__ import annotations

from tests.support.breaking import RS274, Line, Text
from tests.verification.cases.table import ALL, NEEDS_NUMBERS, TRAVERSING, breaks, near_miss


@breaks("position-unknown", posts=["uw-lathe"])
def an_increment_from_wherever_the_turret_stands(t: Text) -> Line:
    return t.before(t.start, "G00 U-80.0")


@breaks("position-unknown", *ALL)
def the_first_rapid_in_x_is_gone(t: Text) -> Line:
    t.delete(t.find("G00 X"))
    return t.find("G00 Z")


@breaks("position-unknown", *TRAVERSING)
def the_first_rapid_in_z_is_gone(t: Text) -> Line:
    t.delete(t.find("G00 Z"))
    return t.find("G00 X", 1)


@breaks("outside-known-room", *ALL)
def a_rapid_far_beyond_the_safe_position(t: Text) -> Line:
    z = t.plan.job.machine.safe_z + 26
    return t.before(t.find("G00 Z"), f"G00 {t.written('Z', z)}")


def _with_the_left_edge_at(t: Text, z: float) -> Line:
    tool = t.plan.job.tool
    at = {"left edge": 0.0, "centre": 0.5, "right edge": 1.0}[tool.z_datum]
    written = t.written("Z", z + at * tool.face_width)
    return t.before(t.find("G00 Z"), f"G00 {written}")


@breaks("outside-known-room", *ALL)
def a_rapid_along_the_chuck_at_safe_x(t: Text) -> Line:
    # Safe X is not said to be outside the chuck.
    return _with_the_left_edge_at(t, -t.plan.job.part.length - 1)


@near_miss(*ALL)
def a_rapid_at_safe_x_as_far_as_the_chuck(t: Text) -> Line:
    return _with_the_left_edge_at(t, -t.plan.job.part.length)


@breaks("outside-known-room", "diamond", "straddle", "inch")
def a_rapid_far_out(t: Text) -> Line:
    return t.put(t.find("G00 X"), "X", t.plan.job.machine.safe_x + 52)


@breaks("outside-known-room", "chuck")
def a_feed_far_beyond_the_axis(t: Text) -> Line:
    # Nothing stands beyond the end face; but so far over the axis a tool has no business.
    out = t.after(t.retract, 2)
    back = t.behind(out, f"G00 {t.written('X', t.plan.job.machine.safe_x)}")
    return t.before(back, f"G01 {t.written('X', -60)} {t.written('F', 0.5)}")


@breaks("outside-known-room", "diamond", "trial", "inch", "straddle")
def the_approach_passes_the_tailstock(t: Text) -> Line:
    # The centre's diameter is known; how thick the tailstock is behind it, it is not.
    down = t.find("G00 X", 1)
    start = t.before(t.find("G00 Z"), f"G00 {t.written('Z', t.plan.job.machine.safe_z)}")
    return t.behind(start, down.block)


@breaks("outside-known-room")
def the_tool_goes_in_by_the_tailstock_after_all_is_done(t: Text) -> Line:
    line = t.behind(t.after(t.retract, 2), f"G00 {t.written('X', 28.6)}")
    t.behind(line, f"G00 {t.written('X', t.plan.job.machine.safe_x)}")
    return line


@breaks("tool-change-near-work", posts=NEEDS_NUMBERS)
@breaks("tool-change-near-work", posts=RS274, also=["spindle-stopped"])
def the_turret_turns_in_the_work_and_back(t: Text) -> Line:
    call = ["T6 M06", "T5 M06"] if t.post in RS274 else ["T0606", "T0505"]
    line = t.before(t.traverses[1], call[0])
    t.behind(line, call[1])
    return line


@breaks("tool-change-near-work", posts=["iso6983", "uw-lathe"])
def the_offset_goes_and_comes_at_the_clearance(t: Text) -> Line:
    line = t.before(t.infeeds[0], "T0500")
    t.behind(line, "T0505")
    return line


@breaks("tool-change-near-work", posts=NEEDS_NUMBERS)
def the_same_tool_is_called_again_in_the_work(t: Text) -> Line:
    # Nothing changes on paper; the control takes the offset again, and the turret may turn.
    return t.before(t.traverses[1], "T0505")


@breaks("tool-change-near-work", posts=RS274)
def the_same_offset_is_called_again_in_the_work(t: Text) -> Line:
    return t.before(t.traverses[1], "G43 H5")


def _at_safe_z(t: Text) -> Line:
    """Let the approach begin with a rapid to safe Z."""
    return t.before(t.find("G00 Z"), f"G00 {t.written('Z', t.plan.job.machine.safe_z)}")


@breaks("position-unknown", "chuck", posts=NEEDS_NUMBERS)
def the_offset_is_called_after_z_was_stated(t: Text) -> Line:
    # Z was reached without it: the same word is another place now.
    tool, z = t.find("T0515"), t.find("G00 Z")
    tool.text = f"{tool.text[: -len(tool.block)]}T0500"
    t.put(z, "Z", t.plan.job.machine.safe_z)
    down = t.find("G00 X", 1)
    t.before(down, "T0515")
    t.behind(down, f"G00 {t.written('Z', t.plan.passes[0].z_start_mm)}")
    return down


@breaks("wrong-offset", posts=NEEDS_NUMBERS)
def another_offset_is_called_for_a_moment(t: Text) -> Line:
    # A control may take one up at once or with the next motion, of one axis or of both.
    safe = _at_safe_z(t)
    for block in (t.find("G00 X").block, "T0505"):
        t.behind(safe, block)
    return t.behind(safe, "T0515")


@breaks("position-unknown", posts=NEEDS_NUMBERS)
def the_offset_goes_and_comes_after_x_was_stated(t: Text) -> Line:
    safe = _at_safe_z(t)
    for block in ("T0505", "T0500"):
        t.behind(safe, block)
    return t.find("G00 Z", 1)


@breaks("position-unknown", "diamond", "trial", posts=NEEDS_NUMBERS)
def the_offset_goes_and_comes_before_z_leaves(t: Text) -> Line:
    # X was stated before; Z runs along the work at it.
    out = t.find("G00 Z")
    for block in (_at_safe_z(t).block, "T0500", "T0505"):
        t.before(out, block)
    return out


@breaks("position-unknown", posts=["uw-lathe"])
def an_increment_from_where_another_offset_had_it(t: Text) -> Line:
    safe = _at_safe_z(t)
    for block in ("G00 U10.0", "T0505", "T0500"):
        t.behind(safe, block)
    return t.find("G00 U")


@breaks("tool-change-near-work", "diamond", "trial", posts=NEEDS_NUMBERS)
def the_tool_is_called_again_at_safe_x_over_the_work(t: Text) -> Line:
    # The turret turns with a long tool beside the work, and with the spindle on.
    return t.behind(t.find("G00 Z"), "T0505")


@breaks("tool-change-near-work", posts=RS274, also=["spindle-stopped"])
def the_tool_is_changed_at_safe_x_over_the_work(t: Text) -> Line:
    # NISTIR 6556, 3.6.3: the spindle is stopped, and nothing starts it again.
    return t.behind(t.find("G00 Z"), "T5 M06")


@breaks("wrong-tool", posts=NEEDS_NUMBERS)
def another_tool_comes_and_goes_at_safe_x_over_the_work(t: Text) -> Line:
    # That the turret turns close to the work follows from it.
    call = t.behind(t.find("G00 Z"), "T0606")
    t.behind(call, "T0505")
    return call


@breaks("tool-change-near-work", posts=RS274)
def the_offset_is_called_again_at_safe_x_over_the_work(t: Text) -> Line:
    return t.before(t.find("G00 X", 1), "G43 H5")


@breaks("tool-change-near-work", posts=["uw-lathe"])
def the_tool_is_called_with_x_alone_at_the_reference_point(t: Text) -> Line:
    home = t.before(t.find("G00 X", 1), "G28 U0.0")
    return t.behind(home, "T0505")


@breaks("tool-change-near-work", posts=RS274)
def the_tool_in_force_is_selected_in_the_work(t: Text) -> Line:
    # By the standard it waits; a turret may turn at once.
    return t.before(t.traverses[1], "T5")


@breaks("wrong-tool", "diamond", "trial", posts=RS274)
def another_tool_is_selected_in_the_work(t: Text) -> Line:
    return t.before(t.traverses[1], "T6")


@breaks("wrong-tool", posts=RS274)
def another_tool_is_selected_and_a_change_follows(t: Text) -> Line:
    change = t.find("T5 M06").sub("T5 ", "")
    return t.before(change, "T6")


@breaks("wrong-tool", posts=RS274)
def another_tool_is_selected_for_the_next_program(t: Text) -> Line:
    return t.before(t.end, "T6")


@breaks("outside-known-room", "diamond", "trial", posts=RS274)
def the_tool_goes_home_at_the_end(t: Text) -> Line:
    # NISTIR 6556, 3.5.8: where that is stands in the control's parameters.
    return t.behind(t.find("M05", -1), "G28")


@breaks("outside-known-room", "trial", posts=RS274)
def the_tool_goes_home_before_the_trial_stop(t: Text) -> Line:
    return t.before(t.find("M09"), "G28")


@breaks("outside-known-room", posts=RS274, form="blocks")
def blocks_to_paste_go_home(t: Text) -> Line:
    return t.behind(t.find("M05", -1), "G28")


@breaks("position-unknown")
def both_axes_go_in_with_the_first_move(t: Text) -> Line:
    # From wherever the turret stands the way in may cross the tailstock.
    z = t.value(t.find("G00 Z"), "Z")
    line = t.find("G00 X")
    t.put(line, "X", t.plan.job.machine.safe_x - 1.0)
    line.text += " " + t.written("Z", z)
    return line


@breaks("position-unknown", posts=["uw-lathe"])
def z_goes_home_from_wherever_x_stands(t: Text) -> Line:
    line = t.behind(t.tool, "G28 W0.0")
    t.behind(line, "G28 U0.0")
    return line


@breaks("outside-known-room", posts=["uw-lathe"])
def x_goes_in_at_the_reference_point_of_z(t: Text) -> Line:
    home = t.before(t.find("G00 X"), "G28 U0.0")
    z = t.behind(home, "G28 W0.0")
    return t.behind(z, "G00 X0.0")


@breaks("tool-change-near-work", posts=RS274, form="blocks")
def the_offset_goes_and_comes_over_the_work_among_blocks(t: Text) -> Line:
    down = t.find("G00 X", 1)
    t.before(down, "G49")
    return t.before(down, "G43 H5")


@breaks("position-unknown", posts=NEEDS_NUMBERS)
def the_offset_is_called_after_x_was_stated(t: Text) -> Line:
    # The same X is another place now, and Z runs along at it.
    tool = t.find("T0505")
    tool.text = f"{tool.text[: -len(tool.block)]}T0500"
    t.behind(t.find("G00 X"), "T0505")
    return t.find("G00 Z")


@breaks("moves-without-offset", posts=RS274, form="blocks")
def z_is_stated_without_the_offset_among_blocks(t: Text) -> Line:
    # That Z is another place once the offset is called follows from it.
    z = t.find("G00 Z")
    t.before(z, "G49")
    t.before(t.find("G00 X", 1), "G43 H5")
    return z
