"""What a plan expects of the part is what the imprint of its own program shows."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import assume, given

from knurlcam import Job, Plan, lay_out, make_imprint, make_plan, read_program, write_program
from knurlcam.imprint.rolling import Rolling
from knurlcam.imprint.window import CLEAN, double_impression, tracking_limits_mm
from knurlcam.plan.blank_limits import handbook_limits_mm, inward_mm
from knurlcam.timeline import time_line
from knurlcam.units.kinds import MM_PER_INCH
from tests.support.examples import examples
from tests.test_properties import jobs, planned

SAMPLES = sorted((Path(__file__).resolve().parents[2] / "samples").glob("*.toml"))
FEW = ("dowel-pin", "eyepiece-ring", "focus-knob", "trimmer-rod")
"""Of which the suite tries these: a press fit, a straddle, a diamond, work that deflects."""

GROWTH_SHARE = 0.02
"""Growth over the crests within which both agree [-]."""

GROWTH_MM = 0.002
"""... or within which no map and no control tells two diameters apart [mm]."""

INDEX = 0.05
"""Double impression within which they agree [-]."""

LIMIT_MM = 0.002
"""Limits of the blank within which they agree [mm]; of inches, one last place."""

NEARLY_FULL = 0.97
"""Fullness above which a hundredth of a micrometre of depth moves the crests of a diamond."""

BENT = 0.75
"""Depth uniformity below which there is no one diameter that stands for the knurl [-]."""


def agree_on_the_part(plan: Plan) -> None:
    """Fail where the plan and the imprint of its program say different sizes of the part."""
    motion = read_program(write_program(lay_out(plan)))
    expected, blank = plan.expected, plan.blank_diameter_mm
    imprint = make_imprint(plan, motion, return_teeth=0.0, resolution_mm=plan.knurl.pitch_mm / 16.0)
    found = imprint.measures
    height, _, _ = expected.tooth_height_mm
    single = len(imprint.course.tracks) == 1
    sure = height < NEARLY_FULL * plan.knurl.full_height_mm and found.evenness > BENT
    if single and sure:
        assert expected.knurled_diameter_mm[0] - blank == pytest.approx(
            found.knurled_diameter_mm - blank, rel=GROWTH_SHARE, abs=GROWTH_MM
        )
        assert expected.evenness == pytest.approx(found.evenness, abs=0.05)


def agree_on_tracking(plan: Plan) -> None:
    """Fail where plan and imprint say different things of double impression and of blanks."""
    line = time_line(read_program(write_program(lay_out(plan))), plan)
    found = double_impression(Rolling(plan, plan.blank_diameter_mm, return_teeth=0.0), line)
    assert plan.expected.double_impression == pytest.approx(found, abs=INDEX)
    # Limits lie about the blank that tracks, also where the job gives another.
    middle = plan.tracking.blank_diameter(plan.teeth)
    window = tracking_limits_mm(Rolling(plan, middle), line)
    assert window is not None
    least, most = handbook_limits_mm(plan.knurl, plan.job.purpose, middle)
    limits = inward_mm(max(window[0], least), min(window[1], most), plan.job.units)
    allowed = LIMIT_MM if plan.job.units == "mm" else 0.00011 * MM_PER_INCH
    assert plan.blank_limits_mm == pytest.approx(limits, abs=allowed)


def clean_at_its_limits(plan: Plan) -> None:
    """Fail where a blank that is turned to a limit of the plan doubles."""
    line = time_line(read_program(write_program(lay_out(plan))), plan)
    for limit in plan.blank_limits_mm:
        assert double_impression(Rolling(plan, limit, return_teeth=0.0), line) < CLEAN


@pytest.mark.parametrize(
    "job",
    [pytest.param(j, id=j.stem, marks=() if j.stem in FEW else pytest.mark.long) for j in SAMPLES],
)
def test_a_samples_plan_and_the_imprint_of_its_program_agree(job: Path) -> None:
    plan = make_plan(Job.load(job))
    agree_on_the_part(plan)
    agree_on_tracking(plan)
    clean_at_its_limits(plan)


@pytest.mark.long
@examples(300)
@given(jobs())
def test_plan_and_imprint_agree_on_tracking_for_any_job(data: dict[str, Any]) -> None:
    # Sizes are held for the samples alone: of points a map of few cells misses the crests.
    plan = planned(data)
    # What is given off its track may double: the plan says so, and its limits lie elsewhere.
    assume(abs(plan.misfit_teeth) < 0.01)
    # Rolls that at the safe position still hang over the chuck: no program leaves the package.
    assume(plan.job.machine.safe_z - plan.datum_shift_mm > 0.0)
    agree_on_tracking(plan)
    clean_at_its_limits(plan)
