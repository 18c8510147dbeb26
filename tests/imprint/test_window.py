"""The window of good blanks, beside the handbook's tolerance and the map itself."""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from knurlcam import (
    CannotBeDoneError,
    Job,
    lay_out,
    make_imprint,
    make_plan,
    read_program,
    write_program,
)
from knurlcam.imprint.asked import asked_of
from knurlcam.imprint.measures import measure
from knurlcam.imprint.rolling import Rolling
from knurlcam.imprint.verdict import predicted_text
from knurlcam.imprint.window import CLEAN, Window, double_impression, predict_imprint, window_of
from knurlcam.timeline import time_line
from tests.support.imprints import PLUNGED, STRAIGHT, Made, closing_mm, imprint_of
from tests.support.jobs import REMOVE, base_job

JOBS = sorted((Path(__file__).resolve().parents[2] / "samples").glob("*.toml"))
FEW = ("dowel-pin", "focus-knob", "slow-motion-handle", "trimmer-rod")
"""Of which the suite tries these: the third has a trial strip, the last deflects."""

SOME_JOBS = [
    pytest.param(j, id=j.stem, marks=() if j.stem in FEW else pytest.mark.long) for j in JOBS
]


@cache
def straight(infeed: str = "0.05 mm/rev", callout: str = "DIN 82 RAA 1.0") -> Made:
    changes = {
        **STRAIGHT,
        "knurl.callout": callout,
        "process.infeed_rate": infeed,
    }
    return Made({**changes, "part.blank_diameter": closing_mm(78, changes)})


@cache
def window(infeed: str = "0.05 mm/rev", callout: str = "DIN 82 RAA 1.0") -> Window:
    made = straight(infeed, callout)
    return window_of(made.plan, made.line, stiff=True)


def test_the_planned_blank_lies_in_its_window() -> None:
    found = window()
    assert found.from_mm is not None
    assert found.to_mm is not None
    assert found.from_mm < found.planned_mm < found.to_mm
    assert found.tolerance_mm == pytest.approx(
        min(found.planned_mm - found.from_mm, found.to_mm - found.planned_mm)
    )


@pytest.mark.parametrize("pitch", ["0.5", "0.8", "1.0"])
def test_the_tolerance_is_of_the_size_of_the_handbooks(pitch: str) -> None:
    """Machinery's Handbook, 31st ed., p. 1059, Table 4: about 3 % of the pitch either way.

    Its blanks are those of an ordinary press; ours are those of an infeed of 0.05 mm/rev.
    """
    found = window(callout=f"DIN 82 RAA {pitch}")
    assert found.handbook_mm == pytest.approx(0.03 * float(pitch))
    assert found.tolerance_mm is not None
    assert 0.5 < found.tolerance_mm / found.handbook_mm < 4.0


def test_a_window_ends_well_short_of_half_a_tooth() -> None:
    found = window()
    assert found.from_mm is not None
    assert found.to_mm is not None
    half = 0.5 / math.pi
    assert found.planned_mm - found.from_mm < 0.6 * half
    assert found.to_mm - found.planned_mm < 0.6 * half


def test_every_blank_in_a_window_is_clean_however_few_are_plotted() -> None:
    made = of_form("RGE")
    few, many = (window_of(made.plan, made.line, stiff=True, looks=n) for n in (3, 25))
    assert (few.from_mm, few.to_mm) == (many.from_mm, many.to_mm)
    assert few.from_mm is not None
    assert few.to_mm is not None
    for i in range(24):
        blank = few.from_mm + (few.to_mm - few.from_mm) * i / 23.0
        assert double_impression(Rolling(made.plan, blank, stiff=True), made.line) < CLEAN


def test_between_two_counts_every_blank_doubles() -> None:
    found = window()
    middle = found.planned_mm + 0.5 / math.pi
    near = [b for b in found.blanks if abs(b.diameter_mm - middle) < 0.03]
    assert near
    assert all(b.double_impression is not None and b.double_impression > 0.5 for b in near)


def test_its_ends_are_where_the_knurl_begins_to_double() -> None:
    found, made = window(), straight()
    assert found.from_mm is not None
    assert found.to_mm is not None
    for inside, outside in (
        (found.from_mm + 0.001, found.from_mm - 0.001),
        (found.to_mm - 0.001, found.to_mm + 0.001),
    ):
        good = double_impression(Rolling(made.plan, inside, stiff=True), made.line)
        bad = double_impression(Rolling(made.plan, outside, stiff=True), made.line)
        assert good < CLEAN <= bad


@cache
def of_form(form: str) -> Made:
    """Return the job of a form on a blank that closes; forms of points are plunged."""
    changes = {
        **(PLUNGED if form in ("RGV", "RKE", "RKV") else STRAIGHT),
        "knurl.callout": f"DIN 82 {form} 1.0",
        "part.knurled_diameter": REMOVE,
        "process.fullness": 0.7,
    }
    return Made({**changes, "part.blank_diameter": closing_mm(67, changes)})


SOME_MISFITS = {"RAA": (-0.33, 0.0), "RBR": (0.0, 0.5), "RKV": (-0.33, 0.45)}
"""Teeth by which a blank is off that the suite tries of a form: 0 and a half of any other."""


def forms_and_misfits() -> list[Any]:
    """Return every form on blanks that are off by so many teeth, most of them marked long."""
    return [
        pytest.param(
            form, off, marks=() if off in SOME_MISFITS.get(form, (0.0, 0.5)) else pytest.mark.long
        )
        for form in ("RAA", "RBR", "RGE", "RGV", "RKE", "RKV")
        for off in (-0.5, -0.33, 0.0, 0.45, 0.5)
    ]


@pytest.mark.few(4)
@pytest.mark.parametrize(("form", "misfit"), forms_and_misfits())
def test_it_says_what_the_map_says(form: str, misfit: float) -> None:
    """Of prints in each other's gaps both see that there are more than the rolls have teeth."""
    made = of_form(form)
    blank = made.plan.blank_diameter_mm * (1.0 + misfit / made.plan.teeth)
    predicted = double_impression(Rolling(made.plan, blank, stiff=True), made.line)
    imprint = made.imprint(blank_diameter_mm=blank)
    assert imprint.measures.double_impression == predicted
    seen = measure(imprint.surface, asked_of(made.plan.knurl, imprint.course)).double_impression
    if misfit == 0.0:
        assert max(predicted, seen) < 0.02
        assert imprint.measures.teeth == 67
    else:
        assert min(predicted, seen) > 0.2
        assert predicted == pytest.approx(seen, abs=0.35)
    if abs(misfit) > 0.4:
        assert min(predicted, seen) > 0.5


@pytest.mark.parametrize("form", ["RGV", "RKV"])
def test_a_pattern_that_is_dragged_along_the_work_is_not_clean(form: str) -> None:
    """Points cannot screw along: each turn prints beside the one before, along the axis."""
    made = of_form(form)
    retract = made.text.index(f"X{made.plan.clearance_x_mm:.3f}", made.text.index("G04"))
    block = made.text.rindex("\n", 0, retract) + 1
    dragged = made.text[:block] + "N999 G01 Z-14. F0.7\n" + made.text[block:]
    motion = read_program(dragged)
    line = time_line(motion, made.plan)
    blank = made.plan.blank_diameter_mm
    predicted = double_impression(Rolling(made.plan, blank, stiff=True), line)
    imprint = make_imprint(made.plan, motion, stiff=True, resolution_mm=0.05)
    seen = measure(imprint.surface, asked_of(made.plan.knurl, imprint.course)).double_impression
    assert min(predicted, seen) > CLEAN


@pytest.mark.long  # it follows the work through many turns
def test_a_fast_infeed_takes_a_blank_that_a_slow_one_marks_twice() -> None:
    """A deep first turn makes rolls track (handbook practice): a fifth of a tooth short."""
    slow, fast = (
        Made({**once, "part.blank_diameter": closing_mm(78, once)})
        for once in (
            {**STRAIGHT, "process.passes": 1, "process.infeed_rate": f"{r} mm/rev"}
            for r in (0.05, 0.3)
        )
    )
    blank = slow.plan.blank_diameter_mm - 0.2 / math.pi
    assert double_impression(Rolling(slow.plan, blank, stiff=True), slow.line) > CLEAN
    blank = fast.plan.blank_diameter_mm - 0.2 / math.pi
    assert double_impression(Rolling(fast.plan, blank, stiff=True), fast.line) < 0.02


def test_where_even_the_planned_blank_doubles_there_is_no_window() -> None:
    made = Made({**STRAIGHT, "part.blank_diameter": closing_mm(78.5, STRAIGHT)})
    found = window_of(made.plan, made.line, stiff=True, looks=3)
    assert found.from_mm is None
    assert found.to_mm is None
    assert found.tolerance_mm is None


def test_a_blank_that_the_rolls_do_not_reach_says_so() -> None:
    """Of teeth of 1.6 mm a blank that is one tooth smaller is 0.5 mm smaller."""
    made = Made({**PLUNGED, "knurl.callout": "DIN 82 RGE 1.6", "process.fullness": 0.31})
    found = window_of(made.plan, made.line, stiff=True, looks=9)
    assert found.blanks[0].double_impression is None
    assert found.blanks[-1].double_impression is not None


@pytest.mark.parametrize("job", SOME_JOBS)
def test_a_samples_planned_blank_is_in_its_window_if_and_only_if_it_is_clean(job: Path) -> None:
    plan = make_plan(Job.load(job))
    line = time_line(read_program(write_program(lay_out(plan))), plan)
    found = window_of(plan, line, looks=3)
    rolling = Rolling(plan, plan.blank_diameter_mm, return_teeth=0.0)
    assert (found.from_mm is not None) is (double_impression(rolling, line) < CLEAN)
    assert found.comes_back is (plan.trial is not None)


def test_it_is_plain_data() -> None:
    data: dict[str, Any] = window().to_dict()
    assert set(data) == {
        "from_mm",
        "to_mm",
        "tolerance_mm",
        "handbook_tolerance_mm",
        "if_track_is_found",
        "tracks_at_once_mm",
        "blanks",
    }
    assert set(data["blanks"][0]) == {"diameter_mm", "double_impression"}


def test_a_program_whose_place_is_unknown_has_no_window() -> None:
    made = Made({}, ("G90", "G91"))
    with pytest.raises(CannotBeDoneError, match="place-not-known"):
        window_of(made.plan, made.line)


def test_a_plan_predicts_what_its_program_leaves() -> None:
    imprint = imprint_of(None, stiff=False)
    predicted = predict_imprint(imprint.rolling.plan)
    assert predicted is not None
    seen = imprint.measures.double_impression
    assert predicted.double_impression == pytest.approx(seen, abs=0.05)
    assert predicted.found_track == predicted.double_impression


def test_a_plan_predicts_the_worst_and_the_best_of_a_trial_strip() -> None:
    strip = {"process.trial_strip": True, "knurl.length": 30.0, "part.length": 80.0}
    predicted = predict_imprint(make_plan(Job.model_validate(base_job(strip))))
    assert predicted is not None
    assert predicted.found_track < 0.02 < predicted.double_impression
    predicted = predicted._replace(double_impression=0.3)
    assert predicted_text(predicted) == (
        "the rolls track if they find their track again after the trial strip, at worst marked "
        "twice, double impression 0.30"
    )


def test_a_plan_predicts_a_double_impression() -> None:
    accepted = {**STRAIGHT, "part.blank_diameter": closing_mm(78.5, STRAIGHT)}
    predicted = predict_imprint(make_plan(Job.model_validate(base_job(accepted))))
    assert predicted is not None
    assert predicted.double_impression > 0.5
