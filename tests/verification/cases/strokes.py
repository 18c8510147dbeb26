"""The rolls in the work, from touching to leaving."""

from __future__ import annotations

from tests.support.breaking import Line, Text
from tests.verification.cases.table import ALL, TRAVERSING, breaks


@breaks("rapid-in-contact", *TRAVERSING)
def a_traverse_is_a_rapid(t: Text) -> Line:
    return t.drop(t.traverses[0].sub("G01", "G00"), "F")


@breaks("rapid-in-contact", *ALL)
def the_retract_is_a_rapid(t: Text) -> Line:
    return t.drop(t.retract.sub("G01", "G00"), "F")


@breaks("rapid-in-contact")
def a_second_infeed_is_a_rapid(t: Text) -> Line:
    return t.drop(t.infeeds[1].sub("G01", "G00"), "F")


@breaks("rapid-in-contact")
def the_retract_to_clearance_is_gone(t: Text) -> Line:
    line = t.after(t.retract)
    t.delete(t.retract)
    return line


@breaks("rapid-in-contact")
def a_rapid_out_of_the_work_between_two_passes(t: Text) -> Line:
    return t.before(t.infeeds[2], f"G00 {t.written('X', 120)}")


@breaks("contact-entered-sideways")
def the_first_infeed_moves_z_as_well(t: Text) -> Line:
    z = t.value(t.find("G00 Z"), "Z")
    t.shift(t.find("G00 Z"), "Z", 1.0)
    line = t.infeeds[0]
    return line.sub("G01", f"G01 {t.written('Z', z)}")


@breaks("contact-left-sideways")
def the_retract_moves_z_as_well(t: Text) -> Line:
    return t.retract.sub("G01", f"G01 {t.written('Z', -15)}")


@breaks("slanted-in-contact")
def a_traverse_goes_in_as_well(t: Text) -> Line:
    x = t.value(t.infeeds[0], "X")
    return t.traverses[0].sub("G01", f"G01 {t.written('X', x - 0.04)}")


@breaks("slanted-in-contact")
def a_traverse_creeps_out_block_by_block(t: Text) -> Line:
    line, x = t.traverses[0], t.value(t.infeeds[0], "X")
    new = []
    for i in range(1, 5):
        z = t.written("Z", -3.333 - 3 * i)
        out = t.written("X", x + 0.0045 * i)
        new.append(t.before(line, f"G01 {out} {z} {t.written('F', 0.5)}"))
    return new[2]


@breaks("slanted-in-contact")
def the_last_traverse_comes_out_slowly(t: Text) -> Line:
    x = t.value(t.infeeds[-1], "X")
    return t.traverses[-1].sub("G01", f"G01 {t.written('X', x + 0.06)}")


@breaks("not-following", "followed")
def one_block_of_a_slide_that_follows_stands_too_deep(t: Text) -> Line:
    return t.shift(t.followed[-20], "X", -0.2)


@breaks("not-following", "followed")
def one_block_of_a_slide_that_follows_stands_too_far_out(t: Text) -> Line:
    return t.shift(t.followed[len(t.followed) // 2], "X", 0.2)


@breaks("not-following", "followed")
def blocks_in_the_middle_of_the_last_traverse_are_lost(t: Text) -> Line:
    last = t.followed[-(len(t.followed) // 5) :]  # of five passes
    t.delete(*last[1:-1])
    return last[-1]


@breaks("not-following", "followed")
def the_last_traverse_goes_straight(t: Text) -> Line:
    last = t.followed[-1]
    end, z = t.value(last, "Z"), t.value(t.followed[-2], "Z")
    run = t.before(last, f"G01 {t.written('Z', end)} {t.written('F', 0.5)}")
    blocks = [i for i in t.followed if t.at(i) > t.at(t.infeeds[-len(t.followed) // 5 + 3])]
    assert z > end
    t.delete(*blocks)
    return run


@breaks("contact-entered-sideways")
def a_way_along_where_a_larger_blank_begins(t: Text) -> Line:
    x = t.plan.blank_diameter_mm + 0.005
    out = t.behind(t.find("G00 X", 1), f"G01 {t.written('X', x)} {t.written('F', 0.05)}")
    away = t.behind(out, f"G01 {t.written('Z', -10)} {t.written('F', 0.5)}")
    t.behind(away, f"G01 {t.written('X', t.plan.clearance_x_mm)} {t.written('F', 0.5)}")
    back = t.behind(t.after(away), f"G00 {t.written('Z', t.plan.passes[0].z_start_mm)}")
    assert back
    return away


@breaks("off-the-end", "zone")
def the_last_return_runs_off_the_end(t: Text) -> Line:
    return t.put(t.traverses[-1], "Z", 15.0)


@breaks("off-the-end", also=["contact-entered-sideways", "z-before-x", "outside-known-room"])
def a_return_runs_off_the_end(t: Text) -> Line:
    # The next infeed goes in by the tailstock, comes back along it and meets the work again
    # from the side.
    return t.put(t.traverses[1], "Z", 5.0)
