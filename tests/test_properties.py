"""Claims about every job: drawn at random, and none of them may break a rule."""

from __future__ import annotations

import copy
import re
from typing import Any

import pytest
from hypothesis import assume
from hypothesis import strategies as st

from knurlcam import (
    CannotBeDoneError,
    InputError,
    Job,
    Plan,
    lay_out,
    make_plan,
    read_program,
    verify,
    write_program,
)
from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.dialect_files import dialect_names, load_dialect
from knurlcam.gcode.motion import Dwell as ReadDwell
from knurlcam.gcode.motion import Motion
from knurlcam.mechanics.knurl import knurl_geometry
from knurlcam.path import Coolant, Dwell, Feed, Path, Rapid, Spindle
from tests.support.breaking import RS274
from tests.support.examples import tried
from tests.support.jobs import base_job

POSTS = tuple(dialect_names())
FORMS = ("RAA", "RBL", "RBR", "RGE", "RGV", "RKE", "RKV")
MATERIALS = ("aluminium 6082-T6", "1.4305", "AISI 1045", "CuZn39Pb3")
STYLES = ("single roll", "knuckle joint", "revolving head", "straddle")


def places(low: float, high: float, digits: int = 3) -> st.SearchStrategy[float]:
    """Draw lengths as people write them, to so many places."""
    scale = 10**digits
    return st.integers(round(low * scale), round(high * scale)).map(lambda n: n / scale)


@st.composite
def jobs(draw: st.DrawFn) -> dict[str, Any]:
    """Draw a valid job; most can be done, some cannot."""
    form, style = draw(st.sampled_from(FORMS)), draw(st.sampled_from(STYLES))
    face = draw(places(2.0, 25.0))
    roll = draw(places(8.0, 40.0))
    length = draw(places(1.0, 60.0))
    diameter = draw(places(6.0, 150.0))
    start = draw(st.just(0.0) | places(0.1, 20.0))
    plunges = form in ("RGV", "RKE", "RKV") or (style == "single roll" and form == "RGE")
    if plunges and draw(st.integers(0, 9)):
        style, length = "single roll", min(length, face)
        face = length if start else face
    if start and face > length and draw(st.integers(0, 9)):
        face = length
    tool: dict[str, Any] = {
        "style": style,
        "roll_diameter": roll,
        "face_width": face,
        "station": draw(st.integers(1, 99)),
        "z_datum": draw(st.sampled_from(["left edge", "right edge", "centre"])),
        "bevelled_rolls": draw(st.booleans()) or start > 0,
    }
    if style in ("knuckle joint", "revolving head"):
        tool["roll_spacing"] = round(roll + draw(places(0.1, 4.0)), 3)
    if draw(st.booleans()):
        tool["x_datum"] = draw(st.sampled_from(["touch-off", "roll centre"]))
    process: dict[str, Any] = {}
    options: dict[str, st.SearchStrategy[Any]] = {
        "spindle_speed": places(20.0, 150.0, 1),
        "feed": places(0.1, 0.9),
        "infeed_rate": places(0.005, 0.2),
        "passes": st.integers(1, 9),
        "fullness": places(0.3, 1.0, 2),
        "dwell_revolutions": st.integers(1, 9),
        "clean_up": st.booleans(),
        "trial_strip": st.booleans(),
        "coolant": st.booleans(),
    }
    for key in draw(st.sets(st.sampled_from(sorted(options)))):
        process[key] = draw(options[key])
    if process.get("trial_strip"):
        process["trial_stop"] = draw(st.sampled_from(["program", "optional"]))
    if "feed" in process:
        process["feed"] = min(process["feed"], face / 2)
    part: dict[str, Any] = {
        "name": "Any part",
        "material": draw(
            st.sampled_from(["aluminium 6082-T6", "1.4305", "AISI 1045", "CuZn39Pb3"])
        ),
        "length": round(start + length + draw(places(0.5, 100.0)), 3),
        "number": draw(st.integers(1, 9999)),
    }
    pitch = draw(st.sampled_from([0.5, 0.6, 0.8, 1.0, 1.2, 1.6]) | places(0.2, 2.0))
    knurl = knurl_geometry(form, "pitch", pitch)
    if draw(st.booleans()):
        part["knurled_diameter"] = diameter
    else:
        # On or near a whole tooth: a blank drawn blindly is refused every other time.
        teeth = max(12, round(3.14159 * diameter / knurl.transverse_pitch_mm))
        off = draw(st.just(0.0) | st.floats(-0.2, 0.2))
        part["blank_diameter"] = (teeth + off) * knurl.transverse_pitch_mm / 3.141592653589793
    method = draw(st.sampled_from(["between centres", "chuck and centre", "chuck"]))
    return {
        "part": part,
        "knurl": {"form": form, "pitch": pitch, "start": start, "length": length},
        "holding": {"method": method},
        "tool": tool,
        "process": process,
        "machine": {
            "safe_x": round(diameter * 1.5 + 2 * roll + 120.0, 3),
            "safe_z": draw(places(20.0, 300.0)),
            "clearance": draw(places(0.5, 5.0)),
            "spindle_direction": draw(st.sampled_from(["forward", "reverse"])),
        },
    }


def plan_of(data: dict[str, Any]) -> Plan | None:
    """Plan a job; None where it cannot be done, and then the refusals are looked at."""
    job = Job.model_validate(data)
    try:
        return make_plan(job)
    except CannotBeDoneError as error:
        check_refusals(error, job)
        return None


def check_refusals(error: CannotBeDoneError, job: Job) -> None:
    """Check that refusals have numbers, a way out and a key of the job."""
    assert error.refusals
    for refusal in error.refusals:
        assert re.search(r"\d", refusal.message) or refusal.code == "no-rolls-for-form"
        assert re.search(r"; |: |, or |take ", refusal.message), "a way out is named"
        section, _, key = refusal.key.partition(".")
        assert hasattr(getattr(job, section), key), "the key to change is one of the job's"


def planned(data: dict[str, Any]) -> Plan:
    plan = plan_of(data)
    assume(plan is not None)
    assert plan is not None
    return plan


LENGTHS = (
    "part.knurled_diameter",
    "part.blank_diameter",
    "part.length",
    "knurl.pitch",
    "knurl.start",
    "knurl.length",
    "tool.roll_diameter",
    "tool.face_width",
    "tool.roll_spacing",
    "process.feed",
    "process.infeed_rate",
    "process.trial_length",
    "machine.safe_x",
    "machine.safe_z",
    "machine.clearance",
)
"""Keys whose values are in the job's units."""

LENGTHS_OF_BASE = {
    key: base_job()[section][name]
    for key in (*LENGTHS, "holding.centre_diameter")
    for section, name in [key.split(".")]
    if name in base_job()[section] and section != "process"
}


def scaled(data: dict[str, Any], factor: float) -> dict[str, Any]:
    """Return a job with every length multiplied."""
    changed = copy.deepcopy(data)
    for path in LENGTHS:
        section, key = path.split(".")
        if key in changed[section]:
            changed[section][key] *= factor
    return changed


# -- planning ------------------------------------------------------------------


@tried(16, 60, data=jobs())
def test_any_valid_job_is_planned_or_refused_with_numbers_and_a_way_out(
    data: dict[str, Any],
) -> None:
    plan_of(data)


@tried(16, 60, data=jobs())
def test_no_pass_goes_deeper_than_the_tooth_needs_nor_less_deep_than_the_one_before(
    data: dict[str, Any],
) -> None:
    plan = planned(data)
    depths = [p.penetration_mm for p in plan.passes]
    assert depths == sorted(depths)
    assert depths[-1] == plan.penetration_mm <= plan.knurl.full_height_mm
    assert plan.tooth_height_mm <= plan.knurl.full_height_mm * (1 + 1e-9)
    for step in plan.passes:
        assert plan.contact.penetration_mm(step.x_diameter_mm) == pytest.approx(
            step.penetration_mm, abs=1e-9
        )


@tried(16, 60, data=jobs())
def test_the_rolls_never_cross_the_line_nor_hang_over_more_than_planned(
    data: dict[str, Any],
) -> None:
    plan = planned(data)
    face = plan.job.tool.face_width
    for step in plan.passes:
        left = step.z_end_mm - plan.datum_shift_mm
        assert left >= plan.line_mm - 1e-9
        if step.direction == "tailstock":
            assert left + face <= plan.right_limit_mm + 1e-9


def assert_same_plan(one: Plan, other: Plan, factor: float = 1.0) -> None:
    """Compare two plans of which the second is so many times as large."""

    def length(name: str) -> None:
        assert getattr(other, name) == pytest.approx(factor * getattr(one, name), rel=1e-9)

    assert (one.teeth, one.strategy, one.rolls) == (other.teeth, other.strategy, other.rolls)
    assert one.fullness == pytest.approx(other.fullness, rel=1e-7)
    for name in ("blank_diameter_mm", "knurled_diameter_mm", "blank_tolerance_mm"):
        length(name)
    assert other.penetration_mm == pytest.approx(factor * one.penetration_mm, rel=1e-7)
    assert len(one.passes) == len(other.passes)
    for a, b in zip(one.passes, other.passes, strict=True):
        assert (a.number, a.direction, a.presses) == (b.number, b.direction, b.presses)
        # A straddle's X is the root of a small difference: it keeps half of the digits.
        slack = 1e-5 * factor
        assert b.x_diameter_mm == pytest.approx(factor * a.x_diameter_mm, rel=1e-9, abs=slack)
        for side in ("z_start_mm", "z_end_mm"):
            assert getattr(b, side) == pytest.approx(factor * getattr(a, side), abs=1e-9 * factor)


@tried(16, 60, data=jobs())
def test_the_same_job_in_mm_and_in_inch_gives_the_same_plan(data: dict[str, Any]) -> None:
    plan = planned(data)
    inch = {"units": "inch", **scaled(data, 1 / 25.4)}
    # The recommended count of passes may fall where 0.0001 inch is coarser than 0.001 mm.
    inch["process"]["passes"] = sum(p.presses for p in plan.passes)
    other = plan_of(inch)
    if other is None:
        with pytest.raises(CannotBeDoneError, match="passes-too-many"):
            make_plan(Job.model_validate(inch))
        return
    assert_same_plan(plan, other)
    assert other.spindle_rpm == pytest.approx(plan.spindle_rpm, rel=1e-9)
    assert other.time_s == pytest.approx(plan.time_s, rel=1e-6)


@tried(16, 60, data=jobs())
def test_a_job_twice_as_large_gives_a_plan_twice_as_large(data: dict[str, Any]) -> None:
    # Feeds and passes are given: what is recommended does not grow with the part.
    data["process"] |= {"feed": 0.4, "infeed_rate": 0.02, "spindle_speed": 60, "passes": 2}
    for key in ("trial_strip", "trial_stop"):
        data["process"].pop(key, None)
    data["process"]["feed"] = min(0.4, data["tool"]["face_width"] / 2)
    plan = planned(data)
    other = planned(scaled(data, 2.0))
    assert_same_plan(plan, other, factor=2.0)
    assert other.feed_mm_per_rev == pytest.approx(2 * plan.feed_mm_per_rev)
    assert other.clearance_x_mm == pytest.approx(2 * plan.clearance_x_mm, abs=1e-5)


@tried(16, 60, data=jobs())
def test_a_job_written_out_and_read_again_gives_the_same_plan(data: dict[str, Any]) -> None:
    plan = planned(data)
    again = Job.model_validate_json(plan.job.model_dump_json(exclude_unset=True))
    assert make_plan(again).to_dict() == plan.to_dict()
    assert again.identity == plan.job.identity


# -- writing and reading back ----------------------------------------------------


def half_step(dialect: Dialect, axis: str) -> float:
    """Return half a least increment of an axis in mm, on the diameter for X."""
    step = 10.0 ** -dialect.length_places("mm")
    return step / 2 * (2 if axis == "X" and dialect.x == "radius" else 1) + 1e-9


def assert_same_motion(path: Path, motion: Motion) -> None:
    """Compare the steps of a path with what was read from its program, one by one."""
    dialect = motion.dialect
    moves, dwells = iter(motion.moves), iter(e for e in motion.events if isinstance(e, ReadDwell))
    spindle = coolant = False
    for step in path.steps:
        if isinstance(step, (Rapid, Feed)):
            move = next(moves)
            assert move.kind == ("rapid" if isinstance(step, Rapid) else "feed")
            end = move.x1 if step.axis == "X" else move.z1
            assert end == pytest.approx(step.to_mm, abs=half_step(dialect, step.axis))
            assert (move.state.spindle != "off") == spindle
            assert move.state.coolant == coolant
            assert move.state.rpm == path.plan.programmed_rpm
            if isinstance(step, Feed):
                half = 0.5 * 10.0 ** -dialect.feed_places("mm")
                if dialect.feed == "per minute":
                    half /= path.plan.programmed_rpm
                assert move.feed_mm_per_rev == pytest.approx(step.mm_per_rev, abs=half + 1e-9)
        elif isinstance(step, Dwell):
            assert 0 <= next(dwells).seconds - step.seconds + 1e-9 <= 0.001 + 2e-9
        elif isinstance(step, Spindle):
            spindle = step.on
        elif isinstance(step, Coolant):
            coolant = step.on
    # What is left goes on from the safe position, where the dialect ends elsewhere.
    left = ["reference"] * 2 if dialect.safe_return == "reference point" else []
    assert [m.kind for m in moves] == left
    assert list(dwells) == []


@pytest.mark.parametrize("post", POSTS)
@tried(16, 60, data=jobs())
def test_what_is_written_reads_back_to_the_same_motion_and_verifies(
    post: str, data: dict[str, Any]
) -> None:
    plan = planned(data)
    path = lay_out(plan)
    text = write_program(path, post)
    assert_same_motion(path, read_program(text, load_dialect(post)))
    assert verify(text, plan.job, post).findings == ()


@tried(
    16, 60, data=jobs(), post=st.sampled_from(POSTS), form=st.sampled_from(["subprogram", "blocks"])
)
def test_every_form_verifies_without_a_finding_or_is_refused_by_the_dialect(
    data: dict[str, Any], post: str, form: Any
) -> None:
    plan = planned(data)
    if post in RS274 and form == "subprogram":
        with pytest.raises(InputError, match="no word for a subprogram"):
            write_program(lay_out(plan), post, form=form)
        return
    text = write_program(lay_out(plan), post, form=form)
    result = verify(text, plan.job, post)
    assert (result.form, result.findings) == (form, ())


@tried(16, 60, data=jobs(), post=st.sampled_from(POSTS))
def test_an_inch_program_verifies_without_a_finding(data: dict[str, Any], post: str) -> None:
    inch = {"units": "inch", **scaled(data, 1 / 25.4)}
    plan = planned(inch)
    text = write_program(lay_out(plan), post)
    assert verify(text, plan.job, post).findings == ()


@pytest.mark.parametrize("units", ["mm", "inch"])
@pytest.mark.parametrize("post", POSTS)
def test_a_feed_of_half_the_face_verifies_though_its_last_place_is_rounded_up(
    post: str, units: str
) -> None:
    # 0.9013 / 2 mm/rev is F0.451 or F0.0178 inch: above the half by less than can be written
    narrow = {"tool.face_width": "0.9013 mm", "knurl.length": "3 mm", "units": units}
    lengths = {key: f"{value} mm" for key, value in LENGTHS_OF_BASE.items() if key not in narrow}
    job = Job.model_validate(base_job({**lengths, **narrow}))
    assert verify(write_program(lay_out(make_plan(job)), post), job, post).findings == ()


@tried(16, 60, data=jobs(), post=st.sampled_from(POSTS))
def test_a_program_does_not_verify_for_a_job_of_another_depth(
    data: dict[str, Any], post: str
) -> None:
    data["process"]["passes"] = 1
    blank = data["part"].pop("knurled_diameter", None) or data["part"]["blank_diameter"]
    data["part"]["blank_diameter"] = blank
    deep, shallow = copy.deepcopy(data), copy.deepcopy(data)
    deep["process"]["fullness"], shallow["process"]["fullness"] = 1.0, 0.5
    text = write_program(lay_out(planned(deep)), post)
    other = planned(shallow)
    assert not verify(text, other.job, post).ok
