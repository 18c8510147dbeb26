"""What figures of a part mean, and what is to be changed: held against the plan's own laws."""

from __future__ import annotations

import re
from typing import Any

import pytest

from knurlcam.errors import InputError
from knurlcam.gcode.read import read_program
from knurlcam.imprint.make import make_imprint
from knurlcam.job.model import Job
from knurlcam.measured.answer import Answer, answer_to
from knurlcam.measured.part import Figures, measurement_of
from knurlcam.path import lay_out
from knurlcam.plan.model import Plan
from knurlcam.plan.planner import make_plan
from knurlcam.program import write_program
from tests.support.jobs import REMOVE, base_job


@pytest.fixture(scope="module")
def plan() -> Plan:
    return make_plan(Job.model_validate(base_job({"knurl.callout": "DIN 82 RAA 1.0"})))


def answer(plan: Plan, less_mm: float = 0.0, **figures: Any) -> Answer:
    """Return the answer to a part of the planned blank whose crests are less high."""
    crests = (plan.knurled_diameter_mm - less_mm,)
    return answer_to(plan, Figures(plan.blank_diameter_mm, **{"crests_mm": crests, **figures}))


def pressed_crests_mm(plan: Plan, error_mm: float) -> float:
    """Return the crests that a plan's program presses with every X off by an error [mm]."""
    text = write_program(lay_out(plan), post="iso6983")
    off = re.sub(r"X(-?[\d.]+)", lambda x: f"X{float(x[1]) + error_mm:.4f}", text)
    motion = read_program(off, post="iso6983")
    return make_imprint(plan, motion).measures.knurled_diameter_mm


def test_crests_as_wanted_leave_the_offset(plan: Plan) -> None:
    found = answer(plan, 0.009, offset_mm=-0.02)
    assert (found.code, found.offset_x_mm, found.offset_change_mm) == ("as-wanted", -0.02, 0.0)


@pytest.mark.parametrize("less", [0.03, 0.06, 0.1, -0.03, -0.06])
def test_the_offset_brings_the_crests_to_the_wanted_diameter(plan: Plan, less: float) -> None:
    found = answer(plan, less)
    assert found.code == ("short" if less > 0.0 else "too-deep")
    knurl, contact = plan.knurl, plan.contact
    grown = plan.knurled_diameter_mm - less - plan.blank_diameter_mm
    low, high = 0.0, plan.knurl.full_height_mm
    for _ in range(60):  # the depth that was pressed, by halving
        middle = (low + high) / 2.0
        low, high = (middle, high) if 2.0 * knurl.rise_mm(middle) < grown else (low, middle)
    assert found.offset_change_mm is not None
    pressed = contact.depth_mm(contact.x_diameter_mm(low) + found.offset_change_mm)
    made = plan.blank_diameter_mm + 2.0 * knurl.rise_mm(pressed)
    assert made == pytest.approx(plan.knurled_diameter_mm, abs=0.007)  # a step of X


def test_the_offset_is_said_in_total_and_as_a_change(plan: Plan) -> None:
    found = answer(plan, 0.05, offset_mm=-0.03)
    assert found.offset_x_mm == pytest.approx(-0.03 + (found.offset_change_mm or 0.0))
    assert found.offset_change_mm is not None
    assert found.offset_change_mm < 0.0


@pytest.mark.parametrize(
    ("figures", "code"),
    [
        ({"doubled": True}, "not-tracking"),
        ({"teeth": 2}, "not-tracking"),
        ({"teeth": 0.6}, "other-rolls"),
    ],
)
def test_what_no_offset_corrects_gets_none(plan: Plan, figures: dict[str, Any], code: str) -> None:
    if "teeth" in figures:
        figures = {"teeth": round(plan.teeth * figures["teeth"])}
    found = answer(plan, 0.05, **figures)
    assert (found.code, found.offset_x_mm, found.offset_change_mm) == (code, None, None)
    assert any("does not correct" in sentence for sentence in found.next)


def test_full_teeth_get_no_offset(plan: Plan) -> None:
    full = plan.blank_diameter_mm + plan.knurl.full_growth_mm
    found = answer(plan, crests_mm=(full,))
    assert (found.code, found.offset_x_mm) == ("full", None)


def test_a_straddle_gets_a_gap_and_no_offset() -> None:
    changes = {"tool.style": "straddle", "tool.roll_spacing": REMOVE}
    straddle = make_plan(Job.model_validate(base_job(changes)))
    found = answer(straddle, 0.05)
    assert found.offset_x_mm is None
    assert found.gap_mm is not None
    assert straddle.gap_mm is not None
    assert found.gap_mm < straddle.gap_mm


@pytest.mark.parametrize("less", [0.0, 0.1])
def test_a_middle_below_the_ends_is_deflection_and_gets_no_offset(plan: Plan, less: float) -> None:
    end = plan.knurled_diameter_mm - less
    found = answer(plan, crests_mm=(end, end - 0.05, end))
    assert (found.code, found.offset_x_mm) == ("low-middle", None)
    assert "deflects" in found.message


def test_a_taper_is_not_a_low_middle(plan: Plan) -> None:
    d = plan.knurled_diameter_mm
    found = answer(plan, crests_mm=(d - 0.15, d - 0.09, d))
    assert found.code == "short"
    assert any("one end is 0.150 mm above" in said for said in found.next)


def test_roots_that_are_deeper_than_the_crests_show_are_worn_rolls(plan: Plan) -> None:
    depth = 2.0 * plan.penetration_mm
    as_deep = answer(plan, 0.0, root_mm=plan.blank_diameter_mm - depth)
    assert as_deep.code == "as-wanted"
    deeper = answer(plan, 0.1, root_mm=plan.blank_diameter_mm - depth - 0.06)
    assert (deeper.code, deeper.offset_x_mm) == ("worn-rolls", None)


@pytest.mark.parametrize(("off", "word"), [(-0.1, "small"), (0.1, "large")])
def test_crests_that_the_blank_moved_are_not_said_to_be_the_depth_s(
    plan: Plan, off: float, word: str
) -> None:
    blank = plan.blank_diameter_mm + off
    wanted = plan.knurled_diameter_mm - plan.blank_diameter_mm
    found = answer_to(plan, Figures(blank, (blank + wanted,)))
    assert found.code == "other-blank"
    assert f"too {word}" in found.message
    assert found.offset_change_mm is not None
    assert found.offset_change_mm * off < 0.0


@pytest.mark.parametrize(("beside", "word"), [(1, "large"), (-1, "small")])
def test_a_tooth_more_or_less_says_on_which_side_the_blank_is(
    plan: Plan, beside: int, word: str
) -> None:
    found = answer(plan, teeth=plan.teeth + beside, doubled=False)
    assert found.code == "not-tracking"
    assert f"too {word}" in found.message


def test_a_blank_alone_says_nothing(plan: Plan) -> None:
    with pytest.raises(InputError, match="--blank: says nothing of how the part came out"):
        answer_to(plan, Figures(plan.blank_diameter_mm))


def test_an_offset_is_said_as_the_control_reads_x(plan: Plan) -> None:
    crests = (plan.knurled_diameter_mm - 0.1,)
    found = answer_to(plan, Figures(plan.blank_diameter_mm, crests), radius=True)
    change = found.offset_change_mm
    assert change is not None
    assert found.next[0].startswith(f"enter an X offset of {change / 2.0:+.3f} mm")
    assert f"({change:+.3f} mm on the diameter)" in found.next[0]


def test_an_inch_job_is_told_its_offset_in_inches() -> None:
    inch = make_plan(Job.load("samples/finder-knob.toml", measured=False))
    found = answer(inch, 0.1)
    assert found.offset_change_mm is not None
    assert f"{found.offset_change_mm / 25.4:+.4f} in in total" in found.next[0]
    assert not any("mm" in said for said in found.next)


@pytest.mark.parametrize("callout", ["DIN 82 RAA 1.0", "DIN 82 RBL 1.0"])
@pytest.mark.parametrize("error", [0.04, 0.02])
def test_the_imprint_of_the_corrected_program_has_the_wanted_crests(
    callout: str, error: float
) -> None:
    single = {"knurl.callout": callout, "tool.style": "single roll", "tool.roll_spacing": REMOVE}
    made = make_plan(Job.model_validate(base_job(single, **{"knurl.length": 12.0})))
    found = answer_to(made, Figures(made.blank_diameter_mm, (pressed_crests_mm(made, error),)))
    assert found.offset_change_mm == pytest.approx(-error, abs=0.01)
    corrected = pressed_crests_mm(made, error + (found.offset_change_mm or 0.0))
    assert corrected == pytest.approx(made.knurled_diameter_mm, abs=0.01)


def test_a_raised_diamond_is_warned_that_its_crests_run_away() -> None:
    diamond = make_plan(Job.model_validate(base_job()))
    assert any("run away" in said for said in answer(diamond, 0.03).next)


@pytest.mark.parametrize(
    ("figures", "option"),
    [
        ({"crests_mm": (29.0,)}, "--crests"),
        ({"crests_mm": (20.0,)}, "--crests"),
        ({"teeth": 1000}, "--teeth"),
        ({"offset_mm": 5.0}, "--offset"),
        ({"root_mm": 5.0}, "--root"),
    ],
)
def test_impossible_figures_are_refused(plan: Plan, figures: dict[str, Any], option: str) -> None:
    for ask in (answer_to, measurement_of):
        with pytest.raises(InputError, match=f"{option}: is not possible"):
            ask(plan, Figures(plan.blank_diameter_mm, **figures))


# -- what the log keeps ----------------------------------------------------------------


def test_a_part_as_expected_has_grown_by_all_of_the_estimate(plan: Plan) -> None:
    expected = plan.expected.knurled_diameter_mm.likely
    entry = measurement_of(plan, Figures(plan.blank_diameter_mm, (expected,)))
    assert entry.share == pytest.approx(1.0, abs=1e-6)
    assert entry.expected_crests_mm == pytest.approx(expected)
    assert entry.tracks_from_mm < plan.blank_diameter_mm < entry.tracks_to_mm


def test_an_offset_is_taken_out_of_the_growth(plan: Plan) -> None:
    crests = (plan.expected.knurled_diameter_mm.likely,)
    entry = measurement_of(plan, Figures(plan.blank_diameter_mm, crests, offset_mm=-0.02))
    assert entry.growth_mm is not None
    assert entry.growth_mm < entry.expected_growth_mm


def test_a_share_is_that_of_the_estimate_whatever_the_plan_was_made_with(plan: Plan) -> None:
    from tests.plan.test_measured import SMALLER

    job = plan.job.with_calibration(SMALLER)
    calibrated = make_plan(job)
    expected = calibrated.expected.knurled_diameter_mm.likely
    entry = measurement_of(calibrated, Figures(calibrated.blank_diameter_mm, (expected,)))
    assert entry.share == pytest.approx(SMALLER.growth_share, rel=1e-3)
