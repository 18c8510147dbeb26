"""A plan takes what was measured, says so, and is the same as ever where nothing was."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from knurlcam.errors import CannotBeDoneError, InputError
from knurlcam.job.calibration import Calibration
from knurlcam.job.model import Job
from knurlcam.path import lay_out
from knurlcam.plan.model import Plan
from knurlcam.plan.planner import make_plan
from knurlcam.program import write_program
from knurlcam.records.log import MeasuredLog
from knurlcam.records.measurement import set_up_of
from knurlcam.verification.verify import verify
from tests.support.jobs import base_job
from tests.support.measured import a_part

ROOT = Path(__file__).resolve().parents[2]
DAY = "2026-03-01T08:15:00+00:00"
SMALLER = Calibration("r", "m", "t", 4, 0.9, 4, 0.02, 0.8, 3, DAY, DAY, ())

TIGHT = {"knurl.callout": "DIN 82 RAA 1.0", "part.knurled_diameter": 24.9}


def plan_of(calibration: Calibration | None, **changes: Any) -> Plan:
    job = Job.model_validate(base_job(changes))
    return make_plan(job.with_calibration(calibration))


def said(plan: Plan) -> dict[str, str]:
    return {note.code: note.message for note in plan.notes}


@pytest.mark.parametrize("callout", ["DIN 82 RGE 1.0", "DIN 82 RAA 1.0"])
def test_crests_that_grow_less_are_pressed_deeper_to_the_same_diameter(callout: str) -> None:
    estimate = plan_of(None, **{"knurl.callout": callout})
    measured = plan_of(replace(SMALLER, correction_share=1.0), **{"knurl.callout": callout})
    assert measured.penetration_mm > estimate.penetration_mm
    assert measured.knurled_diameter_mm == 25.0
    assert measured.expected.knurled_diameter_mm.likely == pytest.approx(25.0, abs=0.005)
    grows = 25.0 - measured.blank_diameter_mm
    assert measured.knurl.growth_mm(measured.fullness) == pytest.approx(grows, abs=1e-9)


def test_the_measured_correction_moves_the_blank_by_its_share() -> None:
    estimate, measured = plan_of(None), plan_of(replace(SMALLER, growth_share=1.0))
    assert measured.teeth == estimate.teeth
    moved = measured.blank_diameter_mm - estimate.blank_diameter_mm
    assert moved == pytest.approx(-0.2 * estimate.tracking.correction_mm, rel=0.02)
    assert measured.tracking.source == "measured, 4 parts"


def test_a_correction_that_the_job_gives_comes_first() -> None:
    plan = plan_of(SMALLER, **{"tool.tracking_correction": 0.05})
    assert plan.tracking.correction_mm == 0.05
    assert "not used: the job gives its own" in said(plan)["measured"]


def test_the_note_says_what_it_would_be_without_and_that_offsets_go() -> None:
    estimate, message = plan_of(None), said(plan_of(SMALLER))["measured"]
    assert f"without them it would be {estimate.blank_diameter_mm:.3f} mm" in message
    assert "measured, 4 parts" in message
    assert "X offset back to nothing" in message


def test_a_job_that_is_refused_for_what_was_measured_says_so_with_the_way_on() -> None:
    with pytest.raises(CannotBeDoneError, match=r"measured, 4 parts\): --no-measured"):
        plan_of(replace(SMALLER, growth_share=0.6, correction_share=1.0), **TIGHT)


def test_parts_that_are_left_out_are_named() -> None:
    plan = plan_of(replace(SMALLER, left_out=("part 7, which grew by 0.31 of the estimate",)))
    assert "part 7" in said(plan)["measured-left-out"]


def test_nothing_measured_is_the_same_plan() -> None:
    nothing = replace(
        SMALLER, parts=0, growth_share=1.0, growth_parts=0, correction_share=1.0, correction_parts=0
    )
    assert plan_of(nothing).to_dict() == plan_of(None).to_dict()


def test_a_program_says_on_how_many_parts_it_rests_and_is_clean_with_them() -> None:
    plan = plan_of(SMALLER)
    text = write_program(lay_out(plan))
    assert "(MEASURED 4 PARTS, GROWTH 0.900, CORRECTION 0.80)" in text
    assert verify(text, plan.job).findings == ()


def test_a_program_held_against_another_state_of_the_log_is_no_riddle() -> None:
    measured, estimate = plan_of(SMALLER), plan_of(None)
    for text, job, way in (
        (write_program(lay_out(measured)), estimate.job, "--log"),
        (write_program(lay_out(estimate)), measured.job, "--no-measured"),
    ):
        messages = {f.code: f.message for f in verify(text, job).findings}
        assert way in messages["other-measurements"]


# -- where it is found -----------------------------------------------------------------


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """Return a folder with a shop's files."""
    for name in ("shop.toml", "focus-knob.toml"):
        source = next((ROOT / "samples").rglob(name))
        shutil.copy(source, tmp_path / name)
    return tmp_path


def logged(folder: Path, name: str = "measured.sqlite") -> Path:
    job = Job.load(folder / "focus-knob.toml", measured=False)
    roll, material, tool = set_up_of(job)
    log = MeasuredLog(folder / name)
    for _ in range(4):
        log.add(a_part(roll=roll, material=material, tool=tool))
    return log.path


def test_the_log_beside_the_shop_file_counts(shop: Path) -> None:
    logged(shop)
    found = Job.load(shop / "focus-knob.toml").calibration
    assert found is not None
    assert found.parts == 4
    assert Job.load(shop / "focus-knob.toml", measured=False).calibration is None


def test_another_log_counts_where_it_is_named(shop: Path) -> None:
    log = logged(shop, "other.sqlite")
    assert Job.load(shop / "focus-knob.toml").calibration is None
    assert Job.load(shop / "focus-knob.toml", measured=log).calibration is not None


def test_a_damaged_log_is_named_with_the_way_on(shop: Path) -> None:
    (shop / "measured.sqlite").write_text("x" * 3000)
    with pytest.raises(InputError, match=r"measured\.sqlite.*--no-measured"):
        Job.load(shop / "focus-knob.toml")
