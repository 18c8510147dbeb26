"""The twelve digits of a job: the same however it is written, others for another job."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from functools import cache
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
from hypothesis import strategies as st
from pydantic import BaseModel

from knurlcam import lay_out, make_plan, verify, write_program
from knurlcam.gcode.dialect_files import dialect_names
from knurlcam.job.identity import with_check_digits
from knurlcam.job.materials import OwnHubMaterial, OwnMaterial
from knurlcam.job.model import Job
from tests.support.breaking import RS274
from tests.support.commands import JOBS
from tests.support.examples import tried
from tests.support.jobs import REMOVE, base_job, with_changes
from tests.support.respelled import ORDERS, respelled, toml
from tests.test_properties import LENGTHS, jobs

PRESS_FIT = {
    "knurl.purpose": "press fit",
    "part.knurled_diameter": REMOVE,
    "fit": {"bore": 24.6, "hub_diameter": 40.0, "hub_material": "aluminium 6082-T6"},
}
LIMITS_GIVEN = {**PRESS_FIT, "fit.bore_smallest": 24.59, "fit.bore_largest": 24.64}
OWN: dict[str, Any] = {
    "name": "bell metal",
    "yield_strength": "210 MPa",
    "turning_speed": "40 m/min",
}
ELASTIC: dict[str, Any] = {"youngs_modulus": "95 GPa", "poisson_ratio": 0.33}
STRAIGHT = {"knurl.callout": "DIN 82 RAA 1.0"}
BARE = {"knurl.callout": REMOVE, "knurl.form": "RGE", "knurl.pitch": 1.0}
IN_CHUCK = {"holding.method": "chuck and centre", "holding.tailstock": REMOVE}
SINGLE = {"tool.style": "single roll", "tool.roll_spacing": REMOVE, **STRAIGHT}

OTHER: dict[str, tuple[Any, dict[str, Any]]] = {
    "units": ("inch", {"part.length": "70 mm"}),
    "part.name": ("Focus knob 2", {}),
    "part.material": ("brass CuZn39Pb3", {}),
    "part.knurled_diameter": (25.001, {}),
    "part.blank_diameter": (24.626, {}),
    "part.length": (70.001, {}),
    "part.number": (1202, {}),
    "part.steps": ("25 x 30, 18 x 40", {}),
    "knurl.callout": ("DIN 82 RGE 1.2", {}),
    "knurl.form": ("RAA", BARE),
    "knurl.pitch": (1.001, BARE),
    "knurl.tpi": (21, {"knurl.callout": REMOVE, "knurl.form": "RGE", "knurl.tpi": 20}),
    "knurl.diametral_pitch": (
        128,
        {"knurl.callout": REMOVE, "knurl.form": "RGE", "knurl.diametral_pitch": 96},
    ),
    "knurl.helix": (29.9, {}),
    "knurl.profile_angle": (89.9, {}),
    "knurl.start": (0.001, {"tool.bevelled_rolls": True}),
    "knurl.length": (20.001, {}),
    "knurl.purpose": ("appearance", {}),
    "holding.method": ("chuck and centre", {"holding.tailstock": "live centre"}),
    "holding.tailstock": ("live centre", {}),
    "holding.centre_diameter": (11.999, {}),
    "holding.grip": ("9 kN", IN_CHUCK),
    "tool.style": ("revolving head", {}),
    "tool.roll_diameter": (20.001, {}),
    "tool.face_width": (10.001, {}),
    "tool.roll_teeth": (54, {}),
    "tool.roll_measured_diameter": (19.85, {}),
    "tool.roll": ("BL 2010 F 10 DIN 403", {}),
    "tool.tracking_correction": (0.05, {}),
    "tool.roll_spacing": (21.001, {}),
    "tool.largest_gap": (40.0, {"tool.style": "straddle", "tool.roll_spacing": REMOVE}),
    "tool.force_limit": ("20 kN", {}),
    "tool.body_width": (4.0, {}),
    "tool.rolls": (["BL", "BR"], {}),
    "tool.swivelled": (True, {}),
    "tool.bevelled_rolls": (True, {}),
    "tool.station": (6, {}),
    "tool.offset": (15, {}),
    "tool.z_datum": ("right edge", {}),
    "tool.x_datum": ("roll centre", {}),
    "process.spindle_speed": ("110.5 rpm", {}),
    "process.feed": (0.501, {}),
    "process.infeed_rate": (0.051, {}),
    "process.passes": (5, {}),
    "process.strategy": ("traverse", {}),
    "process.fullness": (0.9, {"part.knurled_diameter": REMOVE, "part.blank_diameter": 24.626}),
    "process.dwell_revolutions": (3, {}),
    "process.clean_up": (False, {}),
    "process.trial_strip": (True, {}),
    "process.trial_length": (11.0, {"process.trial_strip": True}),
    "process.trial_stop": ("optional", {"process.trial_strip": True}),
    "process.coolant": (False, {}),
    "process.compensate": (True, {}),
    "process.accept": (["marks-outside"], {}),
    "fit.bore": (24.601, PRESS_FIT),
    "fit.bore_tolerance": ("H8", PRESS_FIT),
    "fit.bore_smallest": (
        24.6,
        LIMITS_GIVEN,
    ),
    "fit.bore_largest": (
        24.63,
        LIMITS_GIVEN,
    ),
    "fit.hub_diameter": (40.001, PRESS_FIT),
    "fit.hub_material": ("1.4305", PRESS_FIT),
    "fit.torque": ("15 N*m", PRESS_FIT),
    "fit.axial_force": ("800 N", PRESS_FIT),
    "fit.hub_length": (8.0, PRESS_FIT),
    "machine.max_spindle_speed": ("1999 rpm", {}),
    "machine.reversal_speed_limit": ("149 rpm", {}),
    "machine.torque_limit": ("90 N*m", {}),
    "machine.clearance": (2.001, {}),
    "machine.safe_x": (120.001, {}),
    "machine.safe_z": (50.001, {}),
    "machine.spindle_direction": ("reverse", {}),
}
"""Another value for each key, and what else a job must say that has it."""

SAME = {"machine.post": "rs274", "machine.rapid_rate": "5 m/min", "machine.gear": "M42"}
"""Keys that do not change what is made, so that the job stays the same."""


def identity(*changes: Mapping[str, Any]) -> str:
    data = base_job()
    for more in changes:
        data = with_changes(data, more)
    return Job.model_validate(data).identity


def keys_of(model: type[BaseModel], section: str = "") -> Iterator[str]:
    """Return the keys of a job, such as ``tool.station``."""
    for name, field in model.model_fields.items():
        kinds = (field.annotation, *getattr(field.annotation, "__args__", ()))
        below = [k for k in kinds if isinstance(k, type) and issubclass(k, BaseModel)]
        if section or not below:
            yield f"{section}{name}"
        else:
            yield from keys_of(below[0], f"{name}.")


def test_every_key_of_a_job_is_looked_at() -> None:
    assert set(keys_of(Job)) == {*OTHER, *SAME}


@pytest.mark.few(16)
@pytest.mark.parametrize("key", OTHER)
def test_another_value_of_a_key_makes_another_job(key: str) -> None:
    value, more = OTHER[key]
    assert identity(more, {key: value}) != identity(more)


@pytest.mark.parametrize("key", SAME)
def test_what_does_not_change_the_part_leaves_the_job_the_same(key: str) -> None:
    assert identity({key: SAME[key]}) == identity()


@pytest.mark.parametrize(
    ("place", "model"), [("part.material", OwnMaterial), ("fit.hub_material", OwnHubMaterial)]
)
def test_another_figure_of_an_own_material_makes_another_job(
    place: str, model: type[BaseModel]
) -> None:
    more = PRESS_FIT if place.startswith("fit") else {}
    own = dict(OWN) if model is OwnMaterial else {**OWN, **ELASTIC}
    seen = {identity(more, {place: own})}
    others = {
        "name": "bell metal 2",
        "yield_strength": "211 MPa",
        "tensile_strength": "300 MPa",
        "elongation": 0.12,
        "youngs_modulus": "90 GPa",
        "poisson_ratio": 0.34,
        "turning_speed": "41 m/min",
        "brinell": 90,
        "density": "8 g/cm^3",
    }
    for key in model.model_fields:
        seen.add(identity(more, {place: {**own, key: others[key]}}))
    assert len(seen) == 1 + len(model.model_fields)


WRITTEN_OUT: list[tuple[dict[str, Any], dict[str, Any]]] = [
    ({"knurl.start": REMOVE}, {"knurl.start": 0.0}),
    ({"part.number": REMOVE}, {"part.number": 1}),
    ({"machine.post": REMOVE}, {"machine.post": "iso6983"}),
    ({"units": REMOVE}, {"units": "mm"}),
    ({}, {"process.clean_up": True, "process.coolant": True, "process.trial_strip": False}),
    ({}, {"process.trial_stop": "program"}),
    ({}, {"process.dwell_revolutions": 2, "process.compensate": False, "process.accept": []}),
    ({}, {"machine.clearance": 2.0, "machine.max_spindle_speed": 2000}),
    ({}, {"machine.reversal_speed_limit": "150 rpm", "machine.spindle_direction": "forward"}),
    ({}, {"tool.swivelled": False, "tool.bevelled_rolls": False, "tool.z_datum": "left edge"}),
    ({}, {"tool.offset": 5}),
    ({}, {"tool.x_datum": "touch-off"}),
    (
        {"tool.style": "straddle", "tool.roll_spacing": REMOVE},
        {"tool.style": "straddle", "tool.roll_spacing": REMOVE, "tool.x_datum": "roll centre"},
    ),
    ({"holding.tailstock": REMOVE}, {"holding.tailstock": "dead centre"}),
    (IN_CHUCK, {**IN_CHUCK, "holding.tailstock": "live centre"}),
    (PRESS_FIT, {**PRESS_FIT, "fit": {**PRESS_FIT["fit"], "bore_tolerance": "H7"}}),  # type: ignore[dict-item]
]
"""Changes that leave a default out, and that write it out."""


@pytest.mark.few(5)
@pytest.mark.parametrize(("left_out", "written_out"), WRITTEN_OUT)
def test_a_default_that_is_written_out_leaves_the_job_the_same(
    left_out: dict[str, Any], written_out: dict[str, Any]
) -> None:
    assert identity(left_out) == identity(written_out)


# -- spelling ----------------------------------------------------------------------------------


@pytest.mark.few(4)
@pytest.mark.parametrize("job", JOBS, ids=lambda p: p.stem)
def test_a_job_that_is_written_otherwise_is_the_same_job(job: Path, tmp_path: Path) -> None:
    shop = job.with_name("shop.toml")
    first = Job.load(job)
    text = write_program(lay_out(make_plan(first)), first.machine.post)
    for number in range(ORDERS):
        copy = tmp_path / f"{number}.toml"
        copy.write_bytes(respelled(job.read_text(encoding="utf-8"), number))
        again = Job.load(copy, shop if shop.exists() else None)
        assert again.identity == first.identity, number
        assert make_plan(again).to_dict() == make_plan(first).to_dict(), number
        assert write_program(lay_out(make_plan(again)), again.machine.post) == text, number


@tried(10, 40, data=jobs(), number=st.integers(0, ORDERS - 1))
def test_the_spelling_of_any_job_does_not_count(data: dict[str, Any], number: int) -> None:
    again = tomllib.loads(respelled(toml(data), number).decode("utf-8-sig"))
    assert Job.model_validate(again).identity == Job.model_validate(data).identity


@tried(15, 60, data=jobs(), key=st.sampled_from(LENGTHS), by=st.sampled_from([1e-9, 1e-6, 1e-3]))
def test_the_smallest_change_that_makes_another_job_shows(
    data: dict[str, Any], key: str, by: float
) -> None:
    section, name = key.split(".")
    value = data[section].get(name)
    if value is None:
        return
    first, other = Job.model_validate(data), with_changes(data, {key: value * (1 + by)})
    assert (Job.model_validate(other).identity == first.identity) is (value == 0)


# -- programs ----------------------------------------------------------------------------------


@cache
def sample(path: Path) -> tuple[Job, str]:
    job = Job.load(path)
    return job, write_program(lay_out(make_plan(job)), job.machine.post)


def test_a_program_of_one_sample_is_never_taken_for_anothers() -> None:
    assert len({sample(path)[0].identity for path in JOBS}) == len(JOBS)
    # Each beside one other: that all of them differ is seen above.
    for path, another in zip(JOBS, [*JOBS[1:], JOBS[0]], strict=True):
        own, text = sample(path)
        for other in (path, another):
            codes = {f.code for f in verify(text, sample(other)[0], own.machine.post).findings}
            assert ("other-job" in codes) is (other != path), (path.stem, other.stem)


@pytest.mark.parametrize("post", dialect_names())
def test_a_program_carries_its_jobs_identity_in_every_form(post: str) -> None:
    job = Job.model_validate(base_job())
    for form in ("program", "subprogram", "blocks"):
        if post in RS274 and form == "subprogram":
            continue  # it has no words for one
        text = write_program(lay_out(make_plan(job)), post, form=form)
        assert f"(JOB {job.identity})" in text
        near = Job.model_validate(base_job({"part.number": 1202}))
        found = [f.code for f in verify(text, near, post, form=form).findings]
        assert "other-job" in found


def test_keys_that_came_later_leave_the_identity_of_jobs_without_them() -> None:
    # Regression values, from before the keys: programs that name them stay their jobs' own.
    fit = {"bore": 24.8, "hub_diameter": 40.0, "hub_material": "aluminium 6082-T6"}
    more = {"bore_tolerance": "H8", "torque": "15 N*m", "axial_force": "800 N"}
    press = {"knurl.purpose": "press fit", "holding.tailstock": REMOVE}
    job = Job.model_validate(base_job({**press, "fit": fit}))
    assert job.identity == "7402440CD01D"
    job = Job.model_validate(base_job({**press, "fit": {**fit, **more}}))
    assert job.identity == "175C3C139A7E"
    longer = Job.model_validate(base_job({**press, "fit": {**fit, "hub_length": 8.0}}))
    assert longer.identity != "7402440CD01D"


def test_the_identity_is_the_same_in_every_dialect_and_differs_between_jobs() -> None:
    job = Job.model_validate(base_job())
    assert Job.model_validate(base_job({"machine.post": "rs274"})).identity == job.identity
    assert Job.model_validate(base_job({"machine.rapid_rate": "5 m/min"})).identity == job.identity
    for changes in ({"part.knurled_diameter": 25.01}, {"tool.station": 6}, {"units": "inch"}):
        assert Job.model_validate(base_job(changes)).identity != job.identity


@pytest.mark.few(4)
@pytest.mark.parametrize("place", range(12))
def test_the_identitys_check_digits_find_a_wrong_digit_in_any_place(place: int) -> None:
    identity = Job.model_validate(base_job()).identity
    assert re.fullmatch("[0-9A-F]{12}", identity)
    assert identity == with_check_digits(identity[:10])
    for other in set("0123456789ABCDEF") - {identity[place]}:
        wrong = identity[:place] + other + identity[place + 1 :]
        assert wrong != with_check_digits(wrong[:10])


@pytest.mark.few(8)
@pytest.mark.parametrize("places", [*combinations(range(10), 2)])
def test_the_identitys_check_digits_find_two_digits_that_changed_places(
    places: tuple[int, int],
) -> None:
    digits = [*"0F1E2D3C4B"]
    one, other = places
    identity = with_check_digits("".join(digits))
    digits[one], digits[other] = digits[other], digits[one]
    assert with_check_digits("".join(digits))[10:] != identity[10:]


def test_keys_that_came_later_change_the_identity_only_where_they_are_given() -> None:
    plain = Job.build(base_job({"holding.method": "chuck and centre"}))
    # Regression value: of this sample before the keys were there.
    sample = Path(__file__).resolve().parents[2] / "samples" / "focus-knob.toml"
    assert Job.load(sample).identity == "3BFDBEE144C0"
    for key, value in (
        ("part.steps", "25 x 70"),
        ("holding.grip", "3 kN"),
        ("tool.force_limit", "5 kN"),
        ("machine.torque_limit", "9 N*m"),
    ):
        changes = {"holding.method": "chuck and centre", key: value}
        assert Job.build(base_job(changes)).identity != plain.identity, key
