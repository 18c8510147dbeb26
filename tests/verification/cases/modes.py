"""What must be stated before the first motion."""

from __future__ import annotations

from tests.support.breaking import RS274, WORDS, Line, Text
from tests.verification.cases.table import PER_TURN, breaks, near_miss


@breaks("units-not-stated", "diamond", "inch")
def no_units_stated(t: Text) -> Line:
    for code in (WORDS[t.post]["mm"], WORDS[t.post]["inch"]):
        t.modes.text = t.modes.text.replace(f"{code} ", "")
        if not any(one.block.startswith(("G71", "G70", "G21", "G20")) for one in t.lines):
            break
    return t.find("G00 X")


@breaks("units-not-stated")
def units_stated_after_the_first_motion(t: Text) -> Line:
    code = WORDS[t.post]["mm"]
    t.modes.sub(f"{code} ", "")
    t.behind(t.find("G00 X"), code)
    return t.find("G00 X")


@breaks("units-wrong")
def inches_in_a_metric_program(t: Text) -> Line:
    return t.modes.sub(WORDS[t.post]["mm"], WORDS[t.post]["inch"])


@breaks("units-wrong", "inch")
def millimetres_in_an_inch_program(t: Text) -> Line:
    return t.modes.sub(WORDS[t.post]["inch"], WORDS[t.post]["mm"])


@breaks("units-wrong")
def inches_from_the_second_pass_on(t: Text) -> Line:
    return t.before(t.infeeds[1], WORDS[t.post]["inch"])


@breaks("distance-not-stated", posts=["iso6983", "iso6983-integer", *RS274])
def no_distance_mode_stated(t: Text) -> Line:
    t.modes.sub("G90 ", "")
    return t.find("G00 X")


@breaks("distance-wrong", posts=["iso6983", "iso6983-integer", *RS274])
def increments_from_the_start(t: Text) -> Line:
    return t.modes.sub("G90", "G91")


@breaks("distance-wrong", posts=["iso6983", "iso6983-integer", *RS274])
def increments_from_the_second_pass_on(t: Text) -> Line:
    return t.before(t.infeeds[1], "G91")


@breaks("feed-mode-not-stated")
def no_feed_mode_stated(t: Text) -> Line:
    words = WORDS[t.post]
    t.modes.sub(f" {words['per min' if t.post == 'rs274' else 'per rev']}", "")
    return t.find("G00 X")


@breaks("feed-mode-wrong", posts=PER_TURN)
def feed_a_minute_instead_of_a_turn(t: Text) -> Line:
    return t.modes.sub(WORDS[t.post]["per rev"], WORDS[t.post]["per min"])


@breaks("feed-mode-wrong", posts=PER_TURN)
def feed_a_minute_from_the_second_pass_on(t: Text) -> Line:
    return t.before(t.infeeds[1], WORDS[t.post]["per min"])


@breaks("speed-mode-not-stated", posts=PER_TURN)
def no_speed_mode_stated(t: Text) -> Line:
    t.modes.sub(" G97", "")
    t.start.sub("G97 ", "")
    return t.find("G00 X")


@breaks("speed-mode-wrong", posts=PER_TURN)
def constant_surface_speed_from_the_start(t: Text) -> Line:
    return t.start.sub("G97", "G96")


@breaks("speed-mode-wrong", posts=PER_TURN)
def constant_surface_speed_before_the_infeed(t: Text) -> Line:
    return t.before(t.infeeds[0], "G96")


@breaks("x-mode-not-stated", posts=["rs274-turning"])
def what_x_holds_is_not_stated(t: Text) -> Line:
    t.modes.sub(" G7", "")
    return t.find("G00 X")


@breaks("x-mode-wrong", posts=["rs274-turning"])
def radii_where_diameters_are_planned(t: Text) -> Line:
    return t.modes.sub("G7", "G8")


@breaks("x-mode-wrong", posts=["rs274-turning"])
def radii_from_the_second_pass_on(t: Text) -> Line:
    return t.before(t.infeeds[1], "G8")


@breaks("mode-not-stated", "diamond", "inch", posts=RS274)
def no_datum_stated(t: Text) -> Line:
    t.find("G18").sub(" G54", "")
    return t.find("G00 X")


@breaks("mode-not-stated", posts=RS274)
def nothing_stated_that_a_control_may_be_left_in(t: Text) -> Line:
    t.delete(t.find("G18"))
    return t.find("G00 X")


@breaks("mode-not-stated", posts=RS274, also=["misplaced-word"])
def the_datum_stated_after_the_first_motion(t: Text) -> Line:
    # Where another was in force, the first X was another place.
    first = t.find("G00 X")
    t.find("G18").sub(" G54", "")
    t.behind(first, "G54")
    return first


@breaks("mode-not-stated", posts=RS274, also=["misplaced-word"])
def the_shift_taken_back_after_the_first_motion(t: Text) -> Line:
    first = t.find("G00 X")
    t.find("G18").sub(" G92.2", "")
    t.behind(first, "G92.2")
    return first


@near_miss("diamond", "inch", posts=RS274)
def the_state_in_another_order_and_in_blocks_of_its_own(t: Text) -> None:
    line = t.find("G18")
    for word in line.block.split():
        t.before(t.modes, word)
    t.delete(line)


@near_miss("diamond", posts=RS274)
def the_state_is_stated_again_on_the_way(t: Text) -> None:
    t.before(t.find("G00 Z"), t.find("G18").block)


@near_miss("diamond", posts=["rs274-turning"])
def radii_for_a_moment_without_a_motion(t: Text) -> None:
    t.before(t.find("G00 Z"), "G8")
    t.before(t.find("G00 Z"), "G7")
