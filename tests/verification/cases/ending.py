"""Leaving, and what is left behind."""

from __future__ import annotations

from tests.support.breaking import POSTS, RS274, WORDS, Line, Text
from tests.verification.cases.table import ALL, NEEDS_NUMBERS, PER_TURN, breaks


@breaks("z-before-x", "trial")
def the_tool_passes_the_tailstock_after_the_trial_strip(t: Text) -> Line:
    out = t.after(next(i for i in t.all("G01 X") if t.value(i, "X") > 28))
    return t.before(out, f"G00 {t.written('Z', 20)}")


@breaks("z-before-x", *ALL, posts=["uw-lathe"])
@breaks(
    "z-before-x",
    *ALL,
    posts=["iso6983", *RS274, "iso6983-integer"],
    also=["tool-change-near-work", "not-at-safe-position"],
)
def the_rapid_out_in_x_is_gone(t: Text) -> Line:
    # The offset is then cancelled at the clearance, too, and the program ends there, unless it
    # goes to the reference point.
    line = t.after(t.retract, 2)
    t.delete(t.after(t.retract))
    return line


@breaks("z-before-x")
def the_rapid_out_in_x_comes_after_z(t: Text) -> Line:
    first, second = t.after(t.retract), t.after(t.retract, 2)
    t.swap(first, second)
    return first


@breaks("z-before-x", posts=["uw-lathe"])
def the_reference_point_is_reached_along_z_first(t: Text) -> Line:
    t.delete(t.after(t.retract), t.after(t.retract, 2))
    first, second = t.find("G28"), t.find("G28", 1)
    t.swap(first, second)
    return first


@breaks("spindle-on-at-end", *ALL)
def the_last_spindle_stop_is_gone(t: Text) -> Line:
    t.delete(t.find("M05", -1))
    return t.end


@breaks("coolant-on-at-end", *(j for j in ALL if j != "dry"))
def the_last_coolant_off_is_gone(t: Text) -> Line:
    t.delete(t.find("M09", -1))
    return t.end


@breaks("coolant-on-at-end", "dry")
def the_coolant_is_turned_on_though_none_is_asked_for(t: Text) -> Line:
    t.before(t.infeeds[0], "M08")
    return t.end


@breaks("offset-on-at-end", *ALL)
def the_offset_is_not_cancelled(t: Text) -> Line:
    t.delete(t.find("G49") if t.post in RS274 else t.find("T", -1))
    return t.end


@breaks("offset-on-at-end", form="subprogram", posts=NEEDS_NUMBERS)
def a_subprogram_does_not_cancel_the_offset(t: Text) -> Line:
    t.delete(t.find("T", -1))
    return t.find("M99")


@breaks("not-at-safe-position", posts=["iso6983", *RS274, "iso6983-integer"])
def the_last_rapid_in_z_ends_elsewhere(t: Text) -> Line:
    t.put(t.find("G00 Z", -1), "Z", 30)
    return t.end


@breaks("not-at-safe-position", posts=["uw-lathe"])
def the_reference_point_is_not_reached(t: Text) -> Line:
    t.delete(t.find("G28", 1))
    return t.end


@breaks("not-at-safe-position", form="blocks")
def the_blocks_end_at_clearance(t: Text) -> Line:
    t.delete(t.after(t.retract))
    return t.lines[-1]


def _cancel(t: Text) -> Line:
    return t.find("G49") if t.post in RS274 else t.find("T", -1)


@breaks("moves-without-offset", *ALL)
def the_safe_position_is_stated_once_more_behind_the_cancelled_offset(t: Text) -> Line:
    # The same X is another place then: with a tool that reaches far, beyond the spindle axis.
    x = t.behind(_cancel(t), t.after(t.retract).block)
    t.behind(x, t.after(t.retract, 2).block)
    return x


@breaks("moves-without-offset", "chuck", posts=["iso6983", *RS274])
def the_tool_goes_in_behind_the_cancelled_offset(t: Text) -> Line:
    # Where it stands then at the end follows from it.
    return t.behind(_cancel(t), f"G00 {t.written('X', 60)}")


@breaks("misplaced-word", posts=["iso6983", "iso6983-integer"])
def x_moves_in_the_block_that_cancels_the_offset(t: Text) -> Line:
    x = t.find("G00 X").block.split()[1]
    cancel = _cancel(t)
    cancel.text += f" {x}"
    return cancel


@breaks("moves-without-offset", posts=["uw-lathe"])
def the_offset_is_cancelled_before_the_reference_point(t: Text) -> Line:
    home = t.find("G28")
    cancel = _cancel(t)
    t.delete(cancel)
    t.before(home, cancel.block)
    return home


@breaks("moves-without-offset", posts=["uw-lathe"], form="subprogram")
def a_subprogram_reaches_the_reference_point_without_the_offset(t: Text) -> Line:
    home = t.find("G28", 1)
    cancel = _cancel(t)
    t.delete(cancel)
    t.before(home, cancel.block)
    return home


@breaks("moves-without-offset", posts=NEEDS_NUMBERS)
def station_and_offset_are_cancelled_before_the_last_rapid(t: Text) -> Line:
    out = t.after(t.retract, 2)
    cancel = _cancel(t)
    t.delete(cancel)
    t.before(out, "T0000")
    return out


@breaks("leaves-other-modes", posts=["iso6983", "iso6983-integer"], form="subprogram")
def a_subprogram_returns_with_increments_in_force(t: Text) -> Line:
    return t.before(t.find("M99"), "G91")


@breaks("leaves-other-modes", "diamond", "inch", posts=NEEDS_NUMBERS, form="subprogram")
def a_subprogram_returns_with_constant_surface_speed_in_force(t: Text) -> Line:
    return t.before(t.find("M99"), WORDS[t.post]["surface"])


@breaks("leaves-other-modes", "diamond", posts=NEEDS_NUMBERS, form="subprogram")
def a_subprogram_returns_with_feed_per_minute_in_force(t: Text) -> Line:
    return t.before(t.find("M99"), WORDS[t.post]["per min"])


@breaks("leaves-other-modes", "diamond", "trial", posts=POSTS, form="blocks")
def blocks_to_paste_leave_inches_in_force(t: Text) -> Line:
    return t.behind(t.lines[-1], WORDS[t.post]["inch"])


@breaks("leaves-other-modes", "diamond", posts=POSTS, form="blocks")
def the_comment_promises_other_units_than_are_left(t: Text) -> Line:
    t.find("(LEAVES").sub(WORDS[t.post]["mm"], WORDS[t.post]["inch"])
    return t.modes


@breaks("leaves-other-modes", posts=["iso6983"], form="subprogram")
def no_comment_promises_the_increments_that_are_left(t: Text) -> Line:
    t.delete(t.find("(LEAVES"))
    return t.before(t.find("M99"), "G91")


@breaks("leaves-other-modes", "diamond", "trial", posts=POSTS)
def a_program_ends_in_inches(t: Text) -> Line:
    return t.before(t.end, WORDS[t.post]["inch"])


@breaks("leaves-other-modes", "inch", posts=POSTS)
def a_program_in_inches_ends_in_millimetres(t: Text) -> Line:
    return t.end.sub("M30", f"{WORDS[t.post]['mm']} M30")


@breaks("leaves-other-modes", posts=["iso6983", *RS274, "iso6983-integer"])
def a_program_ends_in_increments(t: Text) -> Line:
    return t.before(t.end, "G91")


@breaks("leaves-other-modes", posts=PER_TURN)
def a_program_ends_in_feed_per_minute(t: Text) -> Line:
    return t.before(t.end, WORDS[t.post]["per min"])


@breaks("leaves-other-modes", "diamond", "plunge", posts=PER_TURN)
def a_program_ends_in_constant_surface_speed(t: Text) -> Line:
    return t.before(t.end, WORDS[t.post]["surface"])


@breaks("leaves-other-modes", posts=PER_TURN)
def a_program_ends_without_a_speed_in_force(t: Text) -> Line:
    # S stood for the other mode meanwhile: what the next M03 turns at, no text says.
    line = t.before(t.end, WORDS[t.post]["surface"])
    t.behind(line, "G97")
    return line


@breaks("leaves-other-modes", "diamond", "trial", "inch", posts=POSTS)
def a_program_leaves_another_speed(t: Text) -> Line:
    return t.before(t.end, "S9000")


@breaks("leaves-other-modes", posts=POSTS)
def the_speed_stands_in_the_block_of_the_end(t: Text) -> Line:
    return t.end.sub("M30", "S9000 M30")


@breaks("leaves-other-modes", posts=NEEDS_NUMBERS, form="subprogram")
def a_subprogram_leaves_another_speed(t: Text) -> Line:
    return t.before(t.find("M99"), "S300")


@breaks("leaves-other-modes", posts=POSTS, form="blocks")
def the_comment_promises_another_speed_than_is_left(t: Text) -> Line:
    t.find("(LEAVES").sub("S110", "S300")
    return t.start
