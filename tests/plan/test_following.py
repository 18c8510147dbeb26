"""Programs with deflection compensation: even knurls, in the motion that is read back."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

from knurlcam import Job, lay_out, make_plan, read_program, verify, write_program
from knurlcam.errors import CannotBeDoneError
from knurlcam.gcode.dialect_files import dialect_names
from knurlcam.gcode.motion import Move
from knurlcam.plan.model import Plan
from knurlcam.verification.limits import PENETRATION_TOLERANCE_MM, depth_tolerance_mm
from tests.support.breaking import Text, good_plan
from tests.support.jobs import REMOVE
from tests.support.loads import (
    FOLLOWED,
    LONG,
    PLUNGED,
    SINGLE,
    deflection_in,
    plan_of,
)


@pytest.mark.few(2)
@pytest.mark.parametrize("post", dialect_names())
def test_a_compensated_program_verifies_and_has_the_depth_uniformity_before_and_after(
    post: str,
) -> None:
    plan = plan_of(FOLLOWED)
    text = write_program(lay_out(plan), post)
    result = verify(text, plan.job, post)
    assert result.findings == ()
    assert result.evenness is not None
    straight, made = result.evenness
    assert straight == pytest.approx(0.89, abs=0.01)
    assert made > 0.99
    assert result.to_dict()["evenness"] == {"straight": straight, "program": made}


def test_what_an_earlier_pass_presses_too_deep_is_no_even_knurl() -> None:
    text = Text.of("followed", "iso6983")
    text.shift(text.followed[15], "X", -1.5)  # a slip in the first pass
    result = verify(str(text), good_plan("followed").job, "iso6983")
    assert not result.ok
    assert result.evenness is not None
    assert result.evenness[1] < 0.9


def test_a_program_without_compensation_says_nothing_of_depth_uniformity() -> None:
    plan = plan_of(LONG)
    result = verify(write_program(lay_out(plan), "iso6983"), plan.job)
    assert result.evenness is None
    assert "evenness" not in result.to_dict()


@pytest.mark.parametrize("datum", ["left edge", "centre", "right edge"])
@pytest.mark.parametrize("x_datum", ["touch-off", "roll centre"])
def test_the_middle_comes_as_deep_as_the_ends_whatever_the_datums(datum: str, x_datum: str) -> None:
    plan = plan_of({**FOLLOWED, "tool.z_datum": datum, "tool.x_datum": x_datum})
    work = deflection_in(plan).work
    last = plan.passes[-1]
    depths = []
    for z, x in ((last.z_start_mm, last.x_diameter_mm), *last.follow):
        across = x / 2.0 + plan.contact.datum_shift_mm
        depths.append(work.penetration_mm(across, z - plan.datum_shift_mm))
    assert max(depths) <= plan.penetration_mm + 1e-6
    assert min(depths) > 0.99 * plan.penetration_mm
    assert last.x_end_diameter_mm == last.follow[-1][1]


@given(
    diameter=st.floats(14.0, 40.0),
    length=st.floats(80.0, 220.0),
    method=st.sampled_from(["between centres", "chuck and centre"]),
    style=st.sampled_from(["knuckle joint", "single roll", "straddle"]),
    material=st.sampled_from(["aluminium 6082-T6", "C45", "CuZn39Pb3"]),
)
@settings(max_examples=12, deadline=None)
def test_any_part_that_is_followed_comes_out_even_in_the_motion_that_is_read_back(
    diameter: float, length: float, method: str, style: str, material: str
) -> None:
    changes = {
        "part.knurled_diameter": REMOVE,
        "part.blank_diameter": diameter,
        "part.length": length,
        "part.material": material,
        "knurl.length": 0.5 * length,
        "knurl.callout": "RAA 1.0",
        "holding.method": method,
        "holding.centre_diameter": REMOVE,
        "tool.style": style,
        "tool.roll_spacing": 21.0 if style == "knuckle joint" else REMOVE,
        "process.compensate": True,
        "process.accept": ["does-not-track", "bends-the-work"],
        "machine.safe_x": 160.0,
    }
    try:
        plan = plan_of(changes)
    except CannotBeDoneError as error:
        event(", ".join(sorted(r.code for r in error.refusals)))
        return
    text = write_program(lay_out(plan), "iso6983")
    result = verify(text, plan.job)
    assert result.ok
    assert plan.follows == (style != "straddle"), "two rolls that cancel leave nothing to follow"
    if not plan.follows:
        assert result.evenness is None
        return
    assert result.evenness is not None
    assert result.evenness[1] > 0.98, "within what the last place of X rounds"
    bending = deflection_in(plan)
    assert bending.evenness_compensated > 0.99
    for move in read_program(text, "iso6983").events:
        if (
            isinstance(move, Move)
            and move.kind == "feed"
            and move.x1 != move.x0
            and (move.z1 != move.z0)
        ):
            depth = bending.work.penetration_mm(
                move.x1 / 2.0 + plan.contact.datum_shift_mm, move.z1 - plan.datum_shift_mm
            )
            assert depth < plan.penetration_mm + PENETRATION_TOLERANCE_MM / 10.0


def test_a_compensated_plunge_stands_deeper_by_the_deflection() -> None:
    changes = {**PLUNGED, **SINGLE, "part.length": 120.0, "knurl.start": 50.0}
    straight, followed = plan_of(changes), plan_of({**changes, "process.compensate": True})
    away = straight.passes[0].x_diameter_mm - followed.passes[0].x_diameter_mm
    made = deflection_in(straight)
    # A little less, for the deepest edge and not the middle comes to the planned depth.
    assert 0.9 * 2.0 * made.max_mm < away < 2.0 * made.max_mm
    assert verify(write_program(lay_out(followed), "rs274"), followed.job, "rs274").ok


def test_a_followed_trial_strip_prints_what_the_first_pass_goes_on_with() -> None:
    plan = plan_of({**FOLLOWED, "process.trial_strip": True})
    assert plan.trial is not None
    assert plan.trial.x_diameter_mm == plan.passes[0].x_diameter_mm
    assert plan.trial.follow[-1][0] == plan.trial.z_end_mm
    first = dict(plan.passes[0].follow)
    shared = [z for z, _ in plan.trial.follow[:-1]]
    assert shared
    assert all(first[z] == dict(plan.trial.follow)[z] for z in shared)
    for post in dialect_names():
        assert verify(write_program(lay_out(plan), post), plan.job, post).findings == ()


def test_what_stands_beyond_the_end_must_clear_the_slide_that_follows() -> None:
    straight, followed = plan_of(LONG), plan_of(FOLLOWED)
    assert straight.largest_centre_mm is not None
    assert followed.largest_centre_mm is not None
    # At the end that is held nothing gives way, and the deepest edge is never too deep.
    assert followed.largest_centre_mm <= straight.largest_centre_mm


@pytest.mark.parametrize(("where", "by"), [(3, 0.004), (40, -0.3), (120, 0.08), (229, -0.02)])
def test_a_wrong_x_in_a_compensated_program_is_found_where_the_knurl_would_show_it(
    where: int, by: float
) -> None:
    check_that_a_wrong_x_is_found(where, by)


@pytest.mark.long
@given(where=st.integers(0, 230), by=st.floats(-1.0, 1.0))
@settings(max_examples=50, deadline=None)
def test_any_wrong_x_in_a_compensated_program_is_found(where: int, by: float) -> None:
    check_that_a_wrong_x_is_found(where, by)


def check_that_a_wrong_x_is_found(where: int, by: float) -> None:
    text = Text.of("followed", "iso6983")
    line = text.followed[where % len(text.followed)]
    text.shift(line, "X", by)
    plan = good_plan("followed")
    work = deflection_in(plan).work
    x, z = text.value(line, "X"), text.value(line, "Z")
    depth = work.penetration_mm(x / 2.0 + plan.contact.datum_shift_mm, z - plan.datum_shift_mm)
    planned = min((p.penetration_mm for p in plan.passes), key=lambda p: abs(p - depth))
    step = [p for p in plan.passes if any(abs(z - to) < 0.001 for to, _ in p.follow)]
    off = min((abs(depth - p.penetration_mm) for p in step), default=abs(depth - planned))
    result = verify(str(text), plan.job, "iso6983")
    if off > 1.1 * depth_tolerance_mm(plan):
        assert not result.ok
    elif abs(by) < depth_tolerance_mm(plan):
        assert result.ok, result.findings


SAMPLES = Path(__file__).resolve().parents[2] / "samples"


def sample(name: str) -> Plan:
    return make_plan(Job.load(SAMPLES / f"{name}.toml"))


def codes(plan: Plan) -> set[str]:
    return {note.code for note in plan.notes}


def test_the_slender_rod_fails_from_one_side_and_works_under_a_straddle() -> None:
    one_sided, straddle = sample("trimmer-rod"), sample("trimmer-rod-straddle")
    assert "gives-way" in codes(one_sided)
    assert one_sided.to_dict()["deflection"]["evenness"] < 0.75
    assert "gives-way" not in codes(straddle)
    assert straddle.to_dict()["deflection"]["evenness"] == 1.0
    shared = ("part.material", "knurl.callout", "knurl.length")
    for key in shared:
        section, name = key.split(".")
        ours, theirs = (getattr(getattr(p.job, section), name) for p in (one_sided, straddle))
        assert ours == theirs


def test_following_the_work_rescues_the_long_handle() -> None:
    plan = sample("slewing-handle")
    text = write_program(lay_out(plan), plan.job.machine.post)
    result = verify(text, plan.job)
    assert result.ok
    assert result.evenness is not None
    straight, made = result.evenness
    assert straight < 0.9
    assert made > 0.99
