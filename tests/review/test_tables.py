"""The tables as text, against the plan and figures worked out by hand."""

from __future__ import annotations

import math

import pytest

from knurlcam import Job, lay_out, make_plan, read_program
from knurlcam import write_program as write
from knurlcam.gcode.dialect_files import load_dialect
from knurlcam.review import review_page
from knurlcam.review.tables.blank import blank_sheet
from knurlcam.review.tables.findings import findings_and_notes
from knurlcam.review.tables.first_part import first_part
from knurlcam.review.tables.offsets import offsets
from knurlcam.review.tables.passes import passes_table
from knurlcam.review.tables.speeds import speed_sheet
from knurlcam.review.tables.tool import rolls_sheet, setting_sheet
from knurlcam.review.tables.trial_strip import double_impression, trial_strip
from knurlcam.timeline import time_line
from tests.support.breaking import Text, good_job, good_plan, good_program
from tests.support.jobs import base_job
from tests.support.pages import (
    CASES,
    FOLLOWED,
    ISO,
    edited,
    planned,
    row,
    timed,
    timeline_of,
)


@pytest.mark.parametrize("radius", [False, True])
def test_short_crests_take_a_deeper_offset_and_high_ones_a_shallower(radius: bool) -> None:
    plan = planned(**{"knurl.callout": "DIN 82 RAA 1.0", "part.knurled_diameter": 25.0})
    rows = offsets(plan, radius=radius)
    wanted = next(i for i, one in enumerate(rows) if one.enter == "leave it")
    assert rows[wanted].measured == "25.000 mm"
    assert all(one.enter.startswith("-") for one in rows[:wanted])
    assert rows[wanted + 1].enter.startswith("+")
    assert rows[0].enter.endswith("radius" if radius else "diameter")


def test_crests_of_full_teeth_are_a_reason_to_stop() -> None:
    plan = planned(**{"knurl.callout": "DIN 82 RAA 1.0", "part.knurled_diameter": 25.0})
    assert "stop and ask" in offsets(plan, radius=False)[-1].enter


@pytest.mark.few(8)
@pytest.mark.parametrize(("name", "post"), CASES)
def test_the_passes_that_are_read_are_those_that_were_planned(name: str, post: str) -> None:
    plan, _, line = timed(name, post)
    rows = passes_table(plan, line, radius=post == "rs274")
    assert [r.planned for r in rows] == [""] * len(rows)
    names = [r.name for r in rows if r.name != "trial"]
    assert names == [str(p.number) for p in plan.passes]
    assert (rows[0].name == "trial") == (plan.trial is not None)
    assert [r.way for r in rows if r.name != "trial"] == [p.direction for p in plan.passes]


def test_the_blank_is_turned_to_what_the_plan_says_its_limits_rounded_inward() -> None:
    """67·1.1547/pi + 0.0618 = 24.688, the first turn pressing in 0.070·cos 28.0° = 0.0618.

    Below by 0.03·1.1547 = 0.0346 as the handbook has it; above by what the first turn captures,
    0.0618·2.839/2/(pi·cos 30°) = 0.0322. A centre must stay below 24.6878 - 2·0.1581 = 24.3716.
    """
    sheet = blank_sheet(planned())
    assert row(sheet, "Turn to")[0] == "24.688 mm, 24.654 to 24.720 mm"
    assert row(sheet, "Teeth")[0] == "67"
    assert row(sheet, "Largest centre") == (
        "⌀ 24.371 mm",
        "or quill, from Z 0 to Z +6.667 mm, under the rolls",
    )
    assert "driven centre" in row(sheet, "Held")[1]


def test_a_given_blank_that_is_off_says_by_how_much_of_a_tooth() -> None:
    plan = planned(**{"part.blank_diameter": 24.66, "part.knurled_diameter": None})
    assert row(blank_sheet(plan), "Teeth")[1].startswith("misfit ")


@pytest.mark.parametrize(("radius", "reads"), [(False, "24.688 mm"), (True, "12.344 mm")])
def test_touching_off_reads_what_the_control_shows(radius: bool, reads: str) -> None:
    dialect = load_dialect("rs274" if radius else "iso6983")
    value, how = row(setting_sheet(planned(), dialect, "program"), "X datum")
    assert value == f"touch-off, X {reads}"
    assert f"there X reads {reads}" in how
    assert ("a radius" in how) == radius


def test_a_straddle_is_set_by_its_gap_and_its_centre() -> None:
    plan = good_plan("straddle")
    sheet = setting_sheet(plan, ISO, "program")
    gap = 2.0 * (plan.blank_diameter_mm / 2.0 - plan.penetration_mm)
    assert row(sheet, "Gap between the rolls")[0] == f"{gap:.3f} mm"
    assert row(sheet, "X datum")[0] == "roll centre"
    assert row(sheet, "Axis to roll centre")[0].endswith("to 0.000 mm")


def test_the_lead_in_of_a_head_is_shown_where_there_is_a_trial_strip() -> None:
    names = {r.name for r in setting_sheet(good_plan("trial"), ISO, "program").rows}
    assert "Lead-in" in names
    assert "Lead-in" not in {
        r.name for r in setting_sheet(good_plan("diamond"), ISO, "program").rows
    }


@pytest.mark.parametrize(
    ("datum", "told"),
    [("left edge", "chuck's side"), ("right edge", "tailstock's side"), ("centre", "middle")],
)
def test_the_z_datum_says_which_part_of_the_roll(datum: str, told: str) -> None:
    value, how = row(setting_sheet(planned(**{"tool.z_datum": datum}), ISO, "program"), "Z datum")
    assert value == datum
    assert told in how


def test_rolls_are_shown_with_what_they_are() -> None:
    assert "left-hand" in row(rolls_sheet(planned()), "Rolls")[1]
    swivelled = planned(**{"tool.swivelled": True, "tool.rolls": ["AA", "AA"]})
    assert row(rolls_sheet(swivelled), "Swivel")[0] == "30°"


def test_speeds_come_from_the_program_and_the_plan_stands_beside_them() -> None:
    text = good_program("diamond", "iso6983").replace("S110", "S300")
    plan, motion, line = timed("diamond", "iso6983", text)
    value, how = row(speed_sheet(plan, motion, line), "Spindle")
    assert value == "300 rev/min"
    assert how.startswith("planned 110 rev/min; ")


@pytest.mark.parametrize(("form", "hand"), [("RBR", "right-hand"), ("RBL", "left-hand")])
def test_the_hand_of_a_diagonal_knurl_is_inspected(form: str, hand: str) -> None:
    helix = next(
        c for c in first_part(planned(**{"knurl.callout": f"{form} 2.0"})) if c.what == "Helix"
    )
    assert helix.wanted == f"30°, {hand}"


def test_a_press_fits_blank_has_the_limits_of_its_class() -> None:
    """Class III: +0 / -0.001 inch for 96 DP (ASME B94.6, from memory): 93/96 inch is 24.606 mm."""
    plan = planned(**{"knurl.callout": "96 DP straight", "knurl.purpose": "press fit"})
    value, how = row(blank_sheet(plan), "Turn to")
    assert value == "24.606 mm, 24.581 to 24.606 mm"
    assert "class III" in how
    _, how = row(blank_sheet(planned()), "Turn to")
    assert "class III" not in how


def test_blocks_and_subprograms_say_what_must_be_true_before() -> None:
    blocks = setting_sheet(planned(), ISO, "blocks")
    assert "offset 5 in force" in row(blocks, "Before the blocks")[1]
    assert "Safe position" not in {r.name for r in blocks.rows}
    assert row(setting_sheet(planned(), ISO, "subprogram"), "Called by")[0] == "M98 P1201"
    for form in ("blocks", "subprogram"):
        assert row(setting_sheet(planned(), ISO, form), "Left in force")[0] == "G71 G90 G95 G97"
    assert "Left in force" not in {r.name for r in setting_sheet(planned(), ISO, "program").rows}


def test_a_pass_that_is_not_as_planned_says_what_was() -> None:
    text = Text.of("diamond", "iso6983")
    text.put(text.traverses[0], "Z", -21.0)
    text.deepen(text.infeeds[1], 0.05)
    plan, _, line = timed("diamond", "iso6983", str(text))
    rows = passes_table(plan, line, radius=False)
    assert rows[0].planned == "no: planned to Z -20.000"
    assert rows[1].planned.startswith("no: planned depth ")


def test_a_pass_too_many_is_shown() -> None:
    text = Text.of("diamond", "iso6983")
    text.behind(text.traverses[-1], "G01 Z-6.667 F0.500")
    plan, _, line = timed("diamond", "iso6983", str(text))
    assert passes_table(plan, line, radius=False)[-1].planned == "no: extra pass"


@pytest.mark.parametrize(
    ("changes", "low", "high", "grade"),
    [
        # ASME B94.6 as tabulated in Machinery's Handbook, 31st ed., p. 1059, Table 4:
        # 96 DP class I +0.004/-0.010 inch; class III 0/-0.005 (from memory).
        ({"knurl.callout": "96 DP diamond"}, 0.990, 1.004, "class I,"),
        ({"knurl.callout": "96 DP straight, press fit"}, 0.995, 1.000, "class III"),
    ],
)
def test_the_first_parts_limits_are_those_of_the_class(
    changes: dict[str, str], low: float, high: float, grade: str
) -> None:
    plan = make_plan(
        Job.model_validate(
            base_job(
                changes,
                **{
                    "units": "inch",
                    "knurl.purpose": "press fit" if "fit" in changes["knurl.callout"] else "grip",
                    "part.knurled_diameter": 1.0,
                    "part.length": 3.0,
                    "knurl.length": 0.75,
                    "holding.centre_diameter": 0.4,
                    "tool.roll_diameter": 0.75,
                    "tool.face_width": 0.375,
                    "tool.roll_spacing": 0.8,
                    "machine.safe_x": 5.0,
                    "machine.safe_z": 2.0,
                },
            )
        )
    )
    diameter = next(c for c in first_part(plan) if c.what.startswith("Diameter"))
    assert diameter.limits == f"{low:.4f} to {high:.4f} in"
    assert grade in diameter.how


def test_the_pitch_over_ten_teeth_is_an_arc_of_the_crests_and_its_chord() -> None:
    """25 mm over the crests, 67 teeth: 10/67 of 25·pi = 11.722; chord 25·sin(10·pi/67)."""
    ten = next(c for c in first_part(planned()) if "ten teeth" in c.what)
    assert ten.wanted == "11.722 mm"
    assert f"straight across {25.0 * math.sin(10.0 * math.pi / 67.0):.3f} mm" in ten.how


def test_advice_for_a_double_impression_names_the_next_smaller_blank() -> None:
    """66 teeth fit on 66·1.1547/pi + 0.062 = 24.320 mm; the first pass goes 0.4·0.158 mm deep."""
    plan = planned()
    advice = double_impression(plan, timeline_of(plan))
    assert any("24.320 mm with 66 teeth" in step for step in advice)
    assert any("deeper than 0.063 mm" in step for step in advice)


def test_advice_that_cannot_be_followed_is_not_given() -> None:
    for name in ("plunge", "plunge trial"):
        plan, _, line = timed(name, "iso6983")
        assert not any("fewer passes" in step for step in double_impression(plan, line))


def test_findings_come_worst_first_and_lead_to_their_block() -> None:
    text = Text.of("diamond", "iso6983")
    text.put(text.traverses[0], "Z", -21.0)
    text.behind(text.end, "(AFTER)")
    page = review_page(good_job("diamond"), str(text), "iso6983")
    motion = read_program(str(text), "iso6983")
    found = findings_and_notes(good_plan("diamond"), page.verification, motion)
    order = ["error", "accepted", "warning", "note"]
    assert [order.index(r.severity) for r in found] == sorted(
        order.index(r.severity) for r in found
    )
    worst = found[0]
    assert worst.severity == "error"
    assert worst.block is not None
    assert motion.blocks[worst.block].text == text.traverses[0].text


def test_compensated_passes_are_as_planned_and_show_a_range_of_x() -> None:
    plan = planned(**FOLLOWED)
    rows = passes_table(plan, timeline_of(plan), radius=False)
    assert [r.planned for r in rows] == [""] * len(plan.passes)
    for one, row_ in zip(plan.passes, rows, strict=True):
        # What follows is rounded outward, so that no block comes deeper than planned.
        outward = [math.ceil(x * 1000.0 - 1e-6) / 1000.0 for _, x in one.follow]
        xs = [round(one.x_diameter_mm, 3), *outward]
        assert row_.x == f"{min(xs):.3f} to {max(xs):.3f}"
        # Less by the chords and what they are set off by, and by the last place of X.
        assert one.penetration_mm - 0.002 < float(row_.depth) <= one.penetration_mm + 0.0005


def test_a_pass_that_does_not_follow_is_not_as_planned() -> None:
    """25.000 over the crests of a blank of 24.688 mm takes 0.158 mm of penetration."""
    plan = planned(**FOLLOWED)
    text = edited(plan, 0.2)
    post = plan.job.machine.post
    line = time_line(read_program(text, post), plan)
    last = passes_table(plan, line, radius=False)[3]
    assert last.planned == "no: planned depth 0.158"
    assert " to " in last.depth


def test_a_trial_strip_before_a_slide_that_follows_is_as_planned() -> None:
    plan = planned(**FOLLOWED, **{"process.trial_strip": True})
    rows = passes_table(plan, timeline_of(plan), radius=False)
    assert rows[0].name == "trial"
    assert [r.planned for r in rows] == [""] * len(rows)


def test_two_feeds_in_one_pass_are_both_shown() -> None:
    text = Text.of("diamond", "iso6983")
    text.before(text.traverses[0], "G01 Z-10.000 F0.200")
    _, _, line = timed("diamond", "iso6983", str(text))
    assert passes_table(good_plan("diamond"), line, radius=False)[0].feed == "0.200 to 0.500"


def test_the_slide_at_working_x_beside_the_work_is_no_pass() -> None:
    text = Text.of("diamond", "iso6983")
    text.before(text.infeeds[0], "G00 Z40.000")
    text.before(text.infeeds[0], "G00 X24.400")
    text.before(text.infeeds[0], "G00 X28.626")
    text.before(text.infeeds[0], "G00 Z-3.333")
    _, _, line = timed("diamond", "iso6983", str(text))
    assert len(line.prints) == len(good_plan("diamond").passes)


def test_coolant_is_shown_as_it_is_while_the_rolls_touch() -> None:
    text = Text.of("diamond", "iso6983")
    plan, motion, line = timed("diamond", "iso6983", str(text))
    assert row(speed_sheet(plan, motion, line), "Coolant or oil")[0].startswith("on while")
    text.before(text.traverses[2], "M09")
    plan, motion, line = timed("diamond", "iso6983", str(text))
    assert row(speed_sheet(plan, motion, line), "Coolant or oil")[0].startswith("partly off")
    text.delete(text.find("M08"))
    plan, motion, line = timed("diamond", "iso6983", str(text))
    assert row(speed_sheet(plan, motion, line), "Coolant or oil")[0].startswith("off while")


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("M00", "M01", "stops if the optional stop is on: switch it on"),
        ("M00", "M00", "leaves the work and stops."),
        ("M00", "M05", "goes on without a stop"),
        ("M00", "M00", "it calls tool and offset again"),
    ],
)
def test_the_trial_strip_is_shown_as_the_program_makes_it(old: str, new: str, told: str) -> None:
    plan, motion, line = timed(
        "trial", "iso6983", good_program("trial", "iso6983").replace(old, new)
    )
    said = trial_strip(plan, line, motion)
    assert told in said
    assert ("calls tool" in said) == (new != "M05")
    assert f"to Z {plan.trial.z_end_mm:.3f} mm" in said if plan.trial else False


def test_a_tool_that_is_not_called_again_after_the_stop_is_not_said_to_be() -> None:
    text = Text.of("trial", "iso6983")
    text.delete(text.find("T0505", 1))
    plan, motion, line = timed("trial", "iso6983", str(text))
    assert "calls tool" not in trial_strip(plan, line, motion)


def test_a_trial_strip_that_is_left_out_condemns_no_other_pass() -> None:
    plan, motion, line = timed("trial", "iso6983", good_program("diamond", "iso6983"))
    assert "makes none" in trial_strip(plan, line, motion)
    assert [r.planned for r in passes_table(plan, line, radius=False)] == [""] * len(plan.passes)


def test_a_trial_strips_end_is_shown_for_the_left_edge_whatever_z_reads() -> None:
    plan = planned(**{"process.trial_strip": True, "tool.z_datum": "centre"})
    assert plan.trial is not None
    post = plan.job.machine.post
    motion = read_program(write(lay_out(plan), post), post)
    said = trial_strip(plan, time_line(motion, plan), motion)
    assert f"to Z {plan.trial.z_end_mm - 5.0:.3f} mm" in said
