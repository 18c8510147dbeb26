"""The text itself: words, numbers, comments, frame and the job that it names."""

from __future__ import annotations

from knurlcam.gcode.tokens import MOST_LINES
from knurlcam.job.identity import with_check_digits
from tests.support.breaking import RS274, Line, Text
from tests.verification.cases.table import NEEDS_NUMBERS, POINTED, breaks

OTHER_IDENTITY = with_check_digits("0123456789")


@breaks("unknown-word")
def a_word_of_no_dialect(t: Text) -> Line:
    return t.before(t.traverses[0], "G187")


@breaks("misplaced-word", posts=NEEDS_NUMBERS)
def the_first_datum_is_chosen_on_the_way(t: Text) -> Line:
    # Where another was in force, X and Z were other places until here.
    return t.before(t.find("G00 X", 1), "G54")


@breaks("misplaced-word", also=["position-unknown"])
def a_move_relies_on_the_motion_word_before_canned_cycles_went_off(t: Text) -> Line:
    # The move to the start Z stays away, so X goes in at a Z that is unknown.
    line = t.find("G00 Z")
    t.before(line, "G80")
    return line.sub("G00 ", "")


@breaks("unknown-word")
def a_gear_range_that_the_dialect_does_not_list(t: Text) -> Line:
    return t.before(t.start, "M41")


@breaks("misplaced-word", also=["wrong-tool"], posts=RS274)
def a_tool_is_changed_that_was_not_selected(t: Text) -> Line:
    return t.find("T5 M06").sub("T5 ", "")


@breaks("unknown-word")
def a_letter_that_no_block_has(t: Text) -> Line:
    return t.find("M08").sub("M08", "M08 Q1")


@breaks("unknown-word", also=["reversal-missing"], posts=NEEDS_NUMBERS)
@breaks("unknown-word", also=["reversal-missing", "misplaced-word"], posts=RS274)
def a_sign_among_the_words(t: Text) -> Line:
    # Nobody knows where such a block goes: the motion stays away.
    return t.traverses[1].sub("Z", "Z#")


@breaks("unknown-word", posts=RS274, also=["speed-not-planned"])
def a_limit_word_that_the_dialect_lacks(t: Text) -> Line:
    # The S that stands beside it is taken for the spindle's speed, as a control may.
    return t.behind(t.start, "G50 S150")


@breaks("unknown-word", posts=["iso6983", "iso6983-integer", *RS274])
def an_increment_by_a_letter_that_the_dialect_lacks(t: Text) -> Line:
    return t.behind(t.find("G00 X"), "W1.0")


@breaks("unknown-word", also=["speed-not-stated"])
def a_letter_that_becomes_a_word_in_capitals(t: Text) -> Line:
    # The capital of a long s is S, of which a control knows nothing: it has no speed.
    return t.start.sub("S", "\u017f")


@breaks("misplaced-word")
def a_dwell_stands_beside_the_motion_word_in_force(t: Text) -> Line:
    # One control stands, another goes to what the dwell has for its time.
    return t.dwells[0].sub("G04", "G01 G04")


@breaks("misplaced-word", posts=["iso6983"])
def an_increment_stands_beside_a_dwell_in_x(t: Text) -> Line:
    line = t.dwells[0].sub("G04", "G91 G04")
    t.behind(line, "G90")
    return line


@breaks("contradictory-words", posts=NEEDS_NUMBERS)
def spindle_and_coolant_come_on_in_one_block(t: Text) -> Line:
    t.delete(t.find("M08"))
    line = t.start
    line.text += " M08"
    return line


@breaks("misplaced-word", posts=["uw-lathe"])
def the_speed_mode_stands_beside_the_speed_limit(t: Text) -> Line:
    return t.find("G50").sub("G50", "G97 G50")


@breaks("comment-character", "diamond", "inch")
def a_letter_of_another_language_in_a_comment(t: Text) -> Line:
    return t.before(t.start, "(R\u00c4NDELN, \u6eda\u82b1)")


@breaks("comment-character")
def a_space_of_another_language_in_a_comment_behind_a_block(t: Text) -> Line:
    line = t.start
    line.text += " (AS\u00a0PROVED)"
    return line


@breaks("comment-character")
def an_end_of_tape_in_a_comment(t: Text) -> Line:
    return t.before(t.traverses[1], "(FEED AT 100%)")


@breaks("comment-character", posts=NEEDS_NUMBERS)
def an_end_of_tape_in_the_comment_behind_the_number(t: Text) -> Line:
    line = next(one for one in t.lines if "1201" in one.text)
    line.text += " (100%)"
    return line


@breaks("comment-obeyed", "diamond", "inch")
def a_comment_that_is_a_message(t: Text) -> Line:
    return t.before(t.start, "(msg, TURN THE BLANK FIRST)")


@breaks("comment-obeyed")
def a_comment_that_opens_a_file(t: Text) -> Line:
    line = t.start
    line.text += " ( LOGOPEN,KNURL.TXT)"
    return line


@breaks("unreadable-character")
def a_carriage_return_alone_ends_a_block(t: Text) -> Line:
    line = t.traverses[0]
    rest = t.after(line)
    t.delete(rest)
    line.text += "\r" + rest.text
    return line


@breaks("unreadable-character", "diamond", "inch")
def a_mark_that_turns_a_comment_round(t: Text) -> Line:
    line = t.find("(KNURL")
    line.text = line.text.replace("KNURL", "KNURL\u202e")
    return line


@breaks("unreadable-character")
def a_space_of_no_width_in_a_block(t: Text) -> Line:
    line = t.modes
    line.text += " (MODES\u200b)"
    return line


@breaks("unreadable-character")
def a_line_that_only_some_readers_end(t: Text) -> Line:
    # What ends a line for an editor may be comment for a control, and the other way round.
    return t.before(t.traverses[0], "(LOOK\u2028M00)")


@breaks("unreadable-character")
def a_bell_in_a_comment(t: Text) -> Line:
    return t.before(t.start, "(\x07)")


@breaks("misplaced-word")
def units_change_beside_a_feed(t: Text) -> Line:
    # Back at once, so that the moves are in the job's units; the F in between may not be.
    unit, other = ("G20", "G21") if t.post in (*RS274, "uw-lathe") else ("G70", "G71")
    if not t.inch:
        unit, other = other, unit
    line = t.before(t.infeeds[0], f"{other} {t.written('F', 0.3)}")
    t.behind(line, unit)
    return line


@breaks("program-too-long", posts=["iso6983"], also=["after-the-end"])
def a_text_without_end(t: Text) -> Line:
    t.lines += [Line("(MORE)") for _ in range(MOST_LINES - len(t.lines) + 1)]
    return t.lines[-2]


@breaks("misplaced-word", posts=["uw-lathe"])
def another_program_is_called(t: Text) -> Line:
    return t.before(t.traverses[1], "M98 P1202")


@breaks("contradictory-words")
def rapid_and_feed_in_one_block(t: Text) -> Line:
    return t.traverses[0].sub("G01", "G00 G01")


@breaks("contradictory-words")
def spindle_forward_and_stop_in_one_block(t: Text) -> Line:
    return t.start.sub("M03", "M05 M03")


@breaks("contradictory-words")
def two_z_words_in_one_block(t: Text) -> Line:
    z = t.written("Z", t.value(t.traverses[0], "Z"))
    return t.traverses[0].sub(z, f"{z} {z}")


@breaks("contradictory-words", posts=["uw-lathe"])
def z_and_its_increment_in_one_block(t: Text) -> Line:
    return t.find("G00 Z", 0).sub("G00", "G00 W0.0")


@breaks("misplaced-word")
def spindle_word_in_a_block_that_moves(t: Text) -> Line:
    return t.find("G00 X").sub("G00", "M03 G00")


@breaks("misplaced-word", posts=RS274)
def a_motion_word_without_an_axis(t: Text) -> Line:
    return t.before(t.find("G00 X"), "G00")


@breaks("misplaced-word", posts=["iso6983"])
def a_dwell_without_its_time(t: Text) -> Line:
    return t.drop(t.dwells[0], "X")


@breaks("misplaced-word", posts=RS274, also=["wrong-offset"])
def an_offset_called_without_its_number(t: Text) -> Line:
    # And so none is in force.
    return t.drop(t.tool, "H")


@breaks("number-format", posts=POINTED)
def a_length_without_its_point(t: Text) -> Line:
    line = t.find("G00 X")
    line.text = line.text.replace(".000", "")
    return line


@breaks("number-format", posts=["iso6983-integer"], also=["outside-known-room"])
def a_length_with_a_point_among_least_increments(t: Text) -> Line:
    # As millimetres it would be 120 m away.
    return t.find("G00 X").sub("X120000", "X120000.")


@breaks("number-format", posts=NEEDS_NUMBERS)
def more_digits_than_the_control_reads(t: Text) -> Line:
    if t.post == "iso6983-integer":
        return t.find("G00 X").sub("X120000", "X000120000")
    line = t.infeeds[0]
    word = t.written("X", t.value(line, "X"))
    return line.sub(word, f"{word}0000")


@breaks("number-format", posts=["uw-lathe", "iso6983-integer"])
def a_dwell_with_a_point_among_milliseconds(t: Text) -> Line:
    line = t.dwells[0]
    line.text += ".0"
    return line


@breaks("number-format", posts=["iso6983"], also=["dwell-too-long"])
def a_dwell_without_its_point(t: Text) -> Line:
    # The number, taken as it stands, is seconds.
    return t.dwells[0].sub("X1.091", "X1091")


@breaks("number-format", posts=["iso6983", "iso6983-integer"], also=["wrong-tool"])
def a_tool_without_its_first_zero(t: Text) -> Line:
    # ISO 6983-1 leaves it to the control how many digits are the station's.
    return t.tool.sub("T0505", "T505")


@breaks("no-coolant")
def the_coolant_goes_off_as_the_rolls_leave_the_work(t: Text) -> Line:
    t.delete(t.find("M09", -1))
    t.retract.text += " M09"
    return t.retract


@breaks("program-start-missing", posts=["iso6983", "iso6983-integer"], also=["unknown-word"])
def words_before_the_first_mark(t: Text) -> Line:
    # The mark is then none that the control looks for, and no word of a block.
    return t.before(t.lines[0], "(KNOB) G18")


@breaks("number-format", posts=NEEDS_NUMBERS)
def a_speed_with_a_point(t: Text) -> Line:
    return t.start.sub("S110", "S110.5")


@breaks("comment-open")
def a_comment_that_is_not_closed(t: Text) -> Line:
    return t.find("(PASS 2").sub(")", "")


@breaks("comment-nested")
def a_comment_inside_a_comment(t: Text) -> Line:
    return t.find("(PASS 2").sub("PASS", "(PASS")


@breaks("comment-nested")
def a_comment_closed_twice(t: Text) -> Line:
    return t.find("(RETRACT").sub(")", "))")


@breaks("line-too-long")
def a_line_of_three_hundred_characters(t: Text) -> Line:
    return t.before(t.find("(RETRACT"), "(" + "X" * 300 + ")")


@breaks("line-too-long")
def three_hundred_spaces_behind_a_block_in_the_work(t: Text) -> Line:
    infeed = t.infeeds[0]
    return t.behind(infeed, infeed.block + " " * 300)


@breaks("program-start-missing")
def the_first_line_is_gone(t: Text) -> Line:
    t.delete(t.lines[0])
    return t.lines[0]


@breaks("program-start-missing", posts=["uw-lathe"])
def the_number_line_is_gone(t: Text) -> Line:
    t.delete(t.lines[1])
    return t.lines[0]


@breaks("program-end-missing")
def the_end_word_is_gone(t: Text) -> Line:
    t.delete(t.end)
    return t.lines[-1]


@breaks("program-end-missing", posts=[*RS274, "uw-lathe"])
def the_percent_sign_at_the_end_is_gone(t: Text) -> Line:
    t.delete(t.lines[-1])
    return t.lines[-1]


@breaks("program-end-missing", posts=[*RS274, "uw-lathe"])
def the_end_is_cut_off(t: Text) -> Line:
    t.delete(*t.lines[-2:])
    return t.lines[-1]


@breaks("program-end-missing", form="subprogram", posts=NEEDS_NUMBERS)
def a_subprogram_does_not_return(t: Text) -> Line:
    t.delete(t.find("M99"))
    return t.lines[-1]


@breaks("misplaced-word", form="blocks")
def blocks_to_paste_end_the_program(t: Text) -> Line:
    return t.behind(t.lines[-1], "M30")


@breaks("after-the-end")
def a_block_after_the_end(t: Text) -> Line:
    return t.behind(t.end, "M09")


@breaks("after-the-end")
def a_comment_after_the_end(t: Text) -> Line:
    return t.behind(t.end, "(SECOND SIDE)")


@breaks("numbering", posts=["iso6983", "iso6983-integer"])
def two_block_numbers_change_places(t: Text) -> Line:
    first, second = t.find("G04", 1), t.find("G01 Z", 1)
    a, b = f"N{first.number} ", f"N{second.number} "
    first.sub(a, b)
    return second.sub(b, a)


@breaks("numbering")
def a_block_number_above_the_highest(t: Text) -> Line:
    line = t.end
    line.text = "N100000 M30"
    return line


@breaks("other-job")
def the_identity_of_another_job(t: Text) -> Line:
    line = t.find("(JOB ")
    line.text = f"(JOB {OTHER_IDENTITY})"
    return line


@breaks("other-measurements")
def measured_parts_that_the_plan_does_not_count(t: Text) -> Line:
    return t.behind(t.find("(JOB "), "(MEASURED 4 PARTS, GROWTH 0.920, CORRECTION 1.00)")


@breaks("other-job", posts=NEEDS_NUMBERS)
def the_number_of_another_job(t: Text) -> Line:
    line = next(one for one in t.lines if "1201" in one.text)
    return line.sub("1201", "1202")


@breaks("misplaced-word", posts=["iso6983", "iso6983-integer"], form="blocks")
def blocks_to_paste_begin_a_program(t: Text) -> Line:
    return t.before(t.lines[0], "%1201")


@breaks("misplaced-word", posts=[*RS274, "uw-lathe"], form="blocks")
def blocks_to_paste_end_with_a_programs_mark(t: Text) -> Line:
    return t.behind(t.lines[-1], "%")
