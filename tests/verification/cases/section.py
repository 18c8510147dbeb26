"""Sections: what each must state itself, and what a part program leaves in force before one."""

from __future__ import annotations

from tests.support.breaking import RS274, Line, Text
from tests.verification.cases.table import NEEDS_NUMBERS, breaks, near_miss

SAFE = ("iso6983", *RS274, "iso6983-integer")
"""Dialects whose safe position is the job's."""


def first_of(t: Text) -> Line:
    return t.lines[0]


# -- the comments by which it is found -----------------------------------------------------


@breaks("section-not-closed", form="section")
def the_comment_that_ends_a_section_is_missing(t: Text) -> Line:
    t.delete(t.lines[-1])
    t.behind(t.lines[-1], "T0707")
    return first_of(t)


@breaks("section-not-closed", form="section")
def the_comment_that_begins_a_section_is_missing(t: Text) -> Line:
    t.delete(first_of(t))
    return t.lines[-1]


@near_miss("diamond", "trial", "inch", form="section")
def a_section_stands_alone(t: Text) -> None:
    pass


@near_miss("diamond", "trial", form="section")
def an_editor_numbers_every_line(t: Text) -> None:
    for number, line in enumerate(t.lines, start=1):
        line.text = f"N{number} {line.text}"


@near_miss(form="section")
def other_tools_with_words_of_their_own_stand_around(t: Text) -> None:
    first = first_of(t)
    for text in ("G02 X30. Z-5. R3.", "G76 P020060 Q50 R0.02", "#101=20.5", "M51", "T0303 M06"):
        t.before(first, text)
        t.behind(t.lines[-1], text)


# -- what it states itself -----------------------------------------------------------------


@breaks("units-not-stated", form="section", also=("distance-not-stated",), posts=SAFE)
def a_section_without_units_behind_a_program_that_states_none(t: Text) -> Line:
    t.modes.text = t.modes.text.replace("G71 G90 ", "").replace("G21 G90 ", "")
    return t.find("G00 X")


@near_miss(form="section", posts=SAFE)
def units_are_stated_by_the_program_alone(t: Text) -> None:
    words = " ".join(t.modes.text.split()[:2])
    t.modes.sub(words + " ", "")
    t.before(first_of(t), words)


@breaks("units-wrong", form="section", posts=["iso6983"])
def the_program_is_in_inches_and_the_section_does_not_say(t: Text) -> Line:
    t.modes.sub("G71 ", "")
    t.before(first_of(t), "G70 G90")
    return t.find("G00 X")


@breaks("tool-change-near-work", form="section", posts=SAFE)
def the_turret_turns_where_the_last_tool_stands(t: Text) -> Line:
    t.delete(t.find("G00 X"), t.find("G00 Z"))
    return t.find("T")


@breaks("position-unknown", form="section", posts=SAFE)
def the_last_tool_goes_along_before_it_is_out(t: Text) -> Line:
    x, z = t.find("G00 X"), t.find("G00 Z")
    t.swap(x, z)
    return x


@breaks("position-unknown", form="section", posts=["uw-lathe"])
def the_last_tool_goes_home_along_z_first(t: Text) -> Line:
    x, z = t.find("G28 U"), t.find("G28 W")
    t.swap(x, z)
    return x


@breaks("position-unknown", form="section", posts=SAFE)
def the_last_tool_goes_out_on_a_slant(t: Text) -> Line:
    x, z = t.find("G00 X"), t.find("G00 Z")
    x.text = f"{x.text} {z.text.removeprefix('G00 ')}"
    t.delete(z)
    return x


@breaks("position-unknown", form="section", posts=SAFE)
def a_stop_while_the_last_tool_is_half_out(t: Text) -> Line:
    # Hands may jog X in before Z goes along.
    t.before(t.find("G00 Z"), "M00")
    return t.find("G00 Z")


@near_miss(form="section", posts=SAFE)
def a_stop_before_the_last_tool_is_taken_out(t: Text) -> None:
    t.before(t.find("G00 X"), "M00")


@near_miss("diamond", "trial", form="section")
def a_stop_before_a_section_calls_its_tool(t: Text) -> None:
    t.before(t.find("T"), "M00")


@breaks("offset-on-at-end", form="section")
def the_offset_of_the_rolls_stays_for_the_next_tool(t: Text) -> Line:
    t.delete(t.find("T0500") if t.post not in RS274 else t.find("G49"))
    return t.lines[-1]


# What follows the end is not run, here the comment that ends the section.
@breaks("misplaced-word", form="section", also=("after-the-end",))
def a_section_ends_the_program(t: Text) -> Line:
    return t.before(t.lines[-1], "M30")


# -- what stands before it -----------------------------------------------------------------


@breaks("entered-shifted", form="section", posts=NEEDS_NUMBERS)
def another_datum_is_in_force(t: Text) -> Line:
    t.before(first_of(t), "G55")
    return t.lines[1]


@breaks("entered-shifted", form="section", posts=["iso6983", "iso6983-integer"])
def a_preset_shifts_every_place(t: Text) -> Line:
    t.before(first_of(t), "G92 X0. Z100.")
    return t.lines[1]


@breaks("entered-shifted", form="section", posts=["uw-lathe"])
def a_preset_by_its_own_word_shifts_every_place(t: Text) -> Line:
    t.before(first_of(t), "G50 X200. Z100.")
    return t.lines[1]


@breaks("entered-shifted", form="section")
def a_datum_is_set_by_the_program(t: Text) -> Line:
    t.before(first_of(t), "G10 L2 P1 Z-50.")
    return t.lines[1]


@breaks("entered-shifted", form="section", posts=["rs274"])
def surface_speed_is_left_on_in_a_dialect_that_cannot_say_otherwise(t: Text) -> Line:
    t.before(first_of(t), "G96 S200 M03")
    return t.lines[1]


@breaks("entered-unknown", form="section")
def a_subprogram_that_is_not_in_the_text_runs_before(t: Text) -> Line:
    t.before(first_of(t), "M98 P2000")
    return t.lines[1]


@breaks("entered-shifted", form="section", posts=["iso6983", "uw-lathe"])
def a_datum_is_set_by_a_variable_of_the_control(t: Text) -> Line:
    t.before(first_of(t), "#5221=#5221+10.")
    return t.lines[1]


@breaks("entered-shifted", form="section", posts=["iso6983", "rs274"])
def a_local_shift_is_worked_out_by_the_program(t: Text) -> Line:
    t.before(first_of(t), "G52 X0 Z[#1-5.]")
    return t.lines[1]


@breaks("entered-shifted", form="section", posts=["iso6983", "iso6983-integer"])
def a_preset_is_worked_out_by_the_program(t: Text) -> Line:
    t.before(first_of(t), "G92 Z-#5")
    return t.lines[1]


@breaks("entered-shifted", form="section", posts=["iso6983", "uw-lathe"])
def one_of_the_further_datums_is_in_force(t: Text) -> Line:
    t.before(first_of(t), "G54 P2")
    return t.lines[1]


@breaks("entered-shifted", form="section", posts=["iso6983", "rs274-turning"])
def a_mirror_image_is_in_force(t: Text) -> Line:
    t.before(first_of(t), "G51.1 Z0.")
    return t.lines[1]


@breaks("entered-shifted", form="section", posts=["iso6983", "uw-lathe"])
def a_scaling_is_in_force(t: Text) -> Line:
    t.before(first_of(t), "G51 X0. Z0. P0.5")
    return t.lines[1]


@breaks("entered-shifted", form="section", posts=["uw-lathe"])
def polar_interpolation_is_in_force(t: Text) -> Line:
    t.before(first_of(t), "G112")
    return t.lines[1]


@breaks("entered-shifted", form="section", posts=["iso6983", "rs274"])
def the_overrides_are_locked(t: Text) -> Line:
    t.before(first_of(t), "M49")
    return t.lines[1]


@breaks("entered-unknown", form="section", posts=["iso6983", "uw-lathe"])
def a_code_is_worked_out_by_the_program(t: Text) -> Line:
    t.before(first_of(t), "G[53+#1]")
    return t.lines[1]


@near_miss(form="section", posts=["iso6983", "rs274"])
def modes_of_other_tools_have_ended_before(t: Text) -> None:
    first = first_of(t)
    for text in ("G51.1 X0", "G50.1 X0", "G51 P2.", "G50", "G12.1", "G13.1", "M49", "M48"):
        t.before(first, text)
    for text in ("G7.1 C20.", "G7.1 C0", "#101=5.", "#1=#5041", "G68.1 X0", "G69.1"):
        t.before(first, text)


# -- blocks that lead into it --------------------------------------------------------------


def number_blocks(t: Text) -> Line:
    """Number the blocks from 1001, as an editor does; return the first line."""
    for number, line in enumerate(t.lines[1:-1], start=1001):
        line.text = line.text if line.text.startswith("(") else f"N{number} {line.text}"
    return first_of(t)


@breaks("entered-midway", form="section", posts=["iso6983", "uw-lathe"])
def a_jump_behind_it_leads_back_into_it(t: Text) -> Line:
    first = number_blocks(t)
    t.behind(t.lines[-1], f"IF [#1 LT 5] GOTO {t.infeeds[0].number}")
    return first


@breaks("entered-midway", form="section", posts=["uw-lathe"])
def the_main_program_goes_on_in_the_middle_of_it(t: Text) -> Line:
    first = number_blocks(t)
    t.behind(t.lines[-1], f"M99 P{t.infeeds[0].number}")
    return first


@breaks("entered-midway", form="section", posts=["uw-lathe"])
def a_cycle_takes_its_blocks_for_a_contour(t: Text) -> Line:
    first = number_blocks(t)
    numbers = [line.number for line in t.traverses[:2]]
    t.behind(t.lines[-1], f"G70 P{numbers[0]} Q{numbers[1]}")
    return first


@near_miss(form="section", posts=["iso6983", "uw-lathe"])
def a_jump_to_another_block_behind_it(t: Text) -> None:
    number_blocks(t)
    for text in ("IF [#1 LT 5] GOTO 20", "N20 G00 X50.", "G71 P30 Q40 U0.2", "N30 X5.", "N40 Z5."):
        t.behind(t.lines[-1], text)


@near_miss(form="section")
def what_was_in_force_has_ended_before(t: Text) -> None:
    first = first_of(t)
    for text in ("G55", "G54", "G41", "G40", "G52 X5.", "G52 X0 Z0", "G68 X0 Z0 R5.", "G69"):
        t.before(first, text)


@near_miss(form="section", posts=NEEDS_NUMBERS)
def surface_speed_and_compensation_are_ended_by_the_section(t: Text) -> None:
    first = first_of(t)
    for text in ("G41", "G96 S200 M04", "G50 S3000" if t.post == "uw-lathe" else "G92 S3000"):
        t.before(first, text)


@near_miss(form="section", posts=["uw-lathe"])
def a_thread_cycle_is_no_preset(t: Text) -> None:
    t.before(first_of(t), "G92 X19.5 Z-20. F1.5")
    t.before(first_of(t), "G92 X19.5 Z-20.")


@breaks("speed-too-fast", form="section", posts=["iso6983"])
def the_speed_is_that_of_the_tool_before(t: Text) -> Line:
    t.before(first_of(t), "G97 S1800 M03")
    return t.drop(t.find("G97 S110"), "S")


@breaks("speed-limit-high", form="section", posts=["uw-lathe"])
def the_speed_limit_is_that_of_the_tool_before(t: Text) -> Line:
    t.before(first_of(t), "G50 S3500")
    t.delete(t.find("G50 S", 1))
    return t.infeeds[0]


@near_miss(form="section", posts=["uw-lathe"])
def the_speed_limit_before_is_a_good_one(t: Text) -> None:
    t.before(first_of(t), "G50 S1500")
    t.delete(t.find("G50 S", 1))
