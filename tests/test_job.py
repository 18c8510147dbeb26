"""The job model: what is taken, what is refused and how it is said."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from knurlcam.job import ACCEPTABLE, Job, JobFileError, with_check_digits
from tests.jobs import REMOVE, base_job

LENGTHS = ["part.length", "knurl.length", "tool.face_width", "machine.safe_x"]

BAD_VALUES: dict[str, tuple[str, Any, str]] = {
    "wrong-dimension": ("knurl.length", "20 kg", "not of a length"),
    "force-for-length": ("knurl.length", "20 N", "is a unit of"),
    "unknown-unit": ("knurl.length", "20 parsec", "unknown unit"),
    "malformed": ("knurl.length", "20 mm mm", "one number and one unit"),
    "nan": ("knurl.length", float("nan"), "not a finite number"),
    "nan-text": ("knurl.length", "nan mm", "nan"),
    "inf": ("knurl.length", float("inf"), "not a finite number"),
    "too-large": ("knurl.length", "1e400 mm", "1e400"),
    "expression": ("knurl.length", "10**10**10 mm", "one number and one unit"),
    "fraction": ("knurl.length", "3/4 in", "0.75 in"),
    "decimal-comma": ("knurl.length", "20,5 mm", "decimal point"),
    "negative": ("knurl.length", -20.0, "greater than 0"),
    "zero": ("tool.face_width", 0.0, "greater than 0"),
    "list": ("knurl.length", [20.0], "list"),
    "bool-for-length": ("knurl.length", True, "not a quantity"),
    "bool-for-fullness": ("process.fullness", True, "not a number"),
    "feed-per-minute": ("process.feed", "60 mm/min", "feed per revolution"),
    "surface-speed-for-spindle": ("process.spindle_speed", "20 m/min", "spindle speed"),
    "text-for-count": ("tool.station", "five", "whole number|integer"),
    "half-a-pass": ("process.passes", 2.5, "whole number|integer"),
    "fullness-above-one": ("process.fullness", 1.2, "less than or equal to 1"),
    "unknown-style": ("tool.style", "hammer", "knuckle joint"),
    "unknown-material": ("part.material", "unobtainium", "material"),
    "unknown-callout": ("knurl.callout", "DIN 82 RXX 1.0", "rxx"),
    "unknown-roll": ("tool.rolls", ["BL", "BX"], "unknown roll form"),
    "unknown-refusal": ("process.accept", ["anything"], "not a refusal"),
    "program-number": ("part.number", 10000, "9999"),
}


@pytest.mark.parametrize("case", BAD_VALUES)
def test_a_bad_value_is_refused_at_its_key(case: str) -> None:
    key, value, says = BAD_VALUES[case]
    with pytest.raises(ValidationError, match=says) as caught:
        Job.model_validate(base_job({key: value}))
    found = {".".join(str(p) for p in e["loc"]) for e in caught.value.errors()}
    assert any(place.startswith(key) for place in found), found


CONTRADICTIONS: dict[str, tuple[dict[str, Any], str, str]] = {
    "no-diameter": (
        {"part.knurled_diameter": REMOVE},
        "part.knurled_diameter",
        "no diameter is given",
    ),
    "spacing-on-a-straddle": ({"tool.style": "straddle"}, "tool.roll_spacing", "has none"),
    "spacing-on-a-single-roll": ({"tool.style": "single roll"}, "tool.roll_spacing", "stand alone"),
    "spacing-missing": ({"tool.roll_spacing": REMOVE}, "tool.roll_spacing", "missing"),
    "rolls-overlap": ({"tool.roll_spacing": 19.0}, "tool.roll_spacing", "overlap"),
    "gap-on-a-joint": ({"tool.largest_gap": 30.0}, "tool.largest_gap", "no gap to set"),
    "one-roll-in-a-pair": ({"tool.rolls": ["BL"]}, "tool.rolls", r"holds 2 roll"),
    "rolls-of-another-form": ({"tool.rolls": ["BL", "BL"]}, "tool.rolls", "do not make form RGE"),
    "swivelled-helical": (
        {"tool.rolls": ["BL", "BR"], "tool.swivelled": True},
        "tool.rolls",
        "when swivelled",
    ),
    "tailstock-in-a-chuck": (
        {"holding.method": "chuck", "holding.centre_diameter": REMOVE},
        "holding.tailstock",
        "contradicts method",
    ),
    "centre-without-tailstock": (
        {"holding.method": "chuck", "holding.tailstock": REMOVE},
        "holding.centre_diameter",
        "no centre",
    ),
    "callout-and-another-form": ({"knurl.form": "RAA"}, "knurl.form", "contradicts the callout"),
    "callout-and-another-pitch": ({"knurl.pitch": 0.8}, "knurl.pitch", "contradicts the callout"),
    "callout-and-another-system": ({"knurl.tpi": 21}, "knurl.tpi", "contradicts the callout"),
    "two-pitches": (
        {"knurl.callout": REMOVE, "knurl.form": "RAA", "knurl.pitch": 1.0, "knurl.tpi": 21},
        "knurl.pitch and tpi",
        "more than one pitch",
    ),
    "form-without-pitch": (
        {"knurl.callout": REMOVE, "knurl.form": "RAA"},
        "knurl.callout",
        "add what is missing: a pitch",
    ),
    "helix-on-a-straight-form": (
        {"knurl.callout": "DIN 82 RAA 1.0", "knurl.helix": 30},
        "knurl.helix",
        "has no helix",
    ),
    "no-helix-on-a-diamond": ({"knurl.helix": 0}, "knurl.helix", "helical teeth"),
    "fit-without-press-fit": (
        {"fit": {"bore": 12, "hub_diameter": 24, "hub_material": "6082-T6"}},
        "fit",
        "not for one",
    ),
    "hub-inside-its-bore": (
        {
            "knurl.purpose": "press fit",
            "fit": {"bore": 12, "hub_diameter": 10, "hub_material": "6082-T6"},
        },
        "fit.hub_diameter",
        "not larger than the bore",
    ),
    "trial-length-without-trial": (
        {"process.trial_length": 8.0},
        "process.trial_length",
        "no trial strip",
    ),
}


def load(tmp_path: Path, data: dict[str, Any]) -> Job:
    """Write a job as TOML and load it from the file."""
    file = tmp_path / "job.toml"
    file.write_text(toml(data), encoding="utf-8")
    return Job.load(file)


def toml(data: dict[str, Any]) -> str:
    plain = [f"{k} = {json.dumps(v)}" for k, v in data.items() if not isinstance(v, dict)]
    for name, section in data.items():
        if isinstance(section, dict):
            plain.append(f"[{name}]")
            plain += [f"{k} = {json.dumps(v)}" for k, v in section.items()]
    return "\n".join(plain) + "\n"


@pytest.mark.parametrize("case", CONTRADICTIONS)
def test_keys_that_contradict_each_other_are_refused_by_name(case: str, tmp_path: Path) -> None:
    changes, key, says = CONTRADICTIONS[case]
    with pytest.raises(ValidationError, match=says):
        Job.model_validate(base_job(changes))
    with pytest.raises(JobFileError, match=says) as caught:
        load(tmp_path, base_job(changes))
    assert caught.value.problems[0].key == key
    assert caught.value.problems[0].where == str(tmp_path / "job.toml")
    assert caught.value.problems[0].remedy
    assert caught.value.problems[0].expected


def test_every_wrong_key_is_named_in_one_go(tmp_path: Path) -> None:
    data = base_job({"knurl.length": -1.0, "tool.station": "x", "tool.widht": 3.0})
    with pytest.raises(JobFileError) as caught:
        load(tmp_path, data)
    keys = [p.key for p in caught.value.problems]
    assert keys == ["knurl.length", "tool.station", "tool.widht"]


def test_an_unknown_key_offers_the_nearest(tmp_path: Path) -> None:
    with pytest.raises(JobFileError, match="did you mean 'face_width'") as caught:
        load(tmp_path, base_job({"tool.face_widht": 3.0}))
    assert caught.value.problems[0].key == "tool.face_widht"


def test_a_missing_key_says_what_it_holds(tmp_path: Path) -> None:
    with pytest.raises(JobFileError, match=r"machine\.safe_x: is missing; expected X of the safe"):
        load(tmp_path, base_job({"machine.safe_x": REMOVE}))


def test_a_tool_by_name_wants_a_shop_file(tmp_path: Path) -> None:
    with pytest.raises(JobFileError, match="there is no shop file") as caught:
        load(tmp_path, base_job({"tool": "twin 20"}))
    assert caught.value.problems[0].key == "tool"


def test_a_byte_order_mark_and_windows_line_ends_are_taken(tmp_path: Path) -> None:
    file = tmp_path / "job.toml"
    text = toml(base_job()).replace("\n", "\r\n")
    file.write_bytes(b"\xef\xbb\xbf" + text.encode())
    assert Job.load(file) == Job.model_validate(base_job())


def test_the_same_job_in_inch_is_the_same_but_for_its_units() -> None:
    inch = base_job(
        {
            "units": "inch",
            "part.knurled_diameter": 25.0 / 25.4,
            "part.length": "70 mm",
            "knurl.length": "2.0 cm",
            "holding.centre_diameter": "12 mm",
            "tool.roll_diameter": 20 / 25.4,
            "tool.face_width": "10 mm",
            "tool.roll_spacing": "21 mm",
            "machine.safe_x": 120 / 25.4,
            "machine.safe_z": 50 / 25.4,
        }
    )
    one, other = Job.model_validate(base_job()), Job.model_validate(inch)
    assert other.part.knurled_diameter == pytest.approx(one.part.knurled_diameter, rel=1e-12)
    assert other.machine.safe_x == pytest.approx(one.machine.safe_x, rel=1e-12)
    assert other.knurl.length == one.knurl.length


def test_bare_numbers_are_in_the_jobs_units() -> None:
    job = Job.model_validate(base_job({"units": "inch", "process.feed": 0.02, "knurl.length": 0.5}))
    assert job.process.feed == pytest.approx(0.508)
    assert job.knurl.length == 12.7
    assert job.process.spindle_speed == 110.0
    assert job.machine.clearance == 2.0, "a default is not in the job's units"


@given(
    units=st.sampled_from(["mm", "inch"]),
    diameter=st.floats(5, 200),
    length=st.floats(1, 60),
    callout=st.sampled_from(["DIN 82 RGE 1.0", "96 DP diamond", "21 TPI straight, press fit"]),
    speed=st.one_of(st.none(), st.floats(10, 300)),
)
def test_a_job_comes_back_equal_from_its_json(
    units: str, diameter: float, length: float, callout: str, speed: float | None
) -> None:
    changes = {
        "units": units,
        "part.knurled_diameter": diameter,
        "knurl.length": length,
        "knurl.callout": callout,
        "knurl.purpose": REMOVE,
        "process.spindle_speed": REMOVE if speed is None else speed,
    }
    job = Job.model_validate(base_job(changes))
    assert Job.model_validate_json(job.model_dump_json()) == job


def test_the_identity_is_the_same_in_every_dialect_and_tells_jobs_apart() -> None:
    job = Job.model_validate(base_job())
    assert Job.model_validate(base_job({"machine.post": "rs274"})).identity == job.identity
    assert Job.model_validate(base_job({"machine.rapid_rate": "5 m/min"})).identity == job.identity
    for changes in ({"part.knurled_diameter": 25.01}, {"tool.station": 6}, {"units": "inch"}):
        assert Job.model_validate(base_job(changes)).identity != job.identity


def test_the_identity_ends_in_its_own_check_digits() -> None:
    identity = Job.model_validate(base_job()).identity
    assert identity == with_check_digits(identity[:10])
    slip = ("0" if identity[0] != "0" else "1") + identity[1:]
    assert slip != with_check_digits(slip[:10])


def test_rolls_are_also_taken_as_a_text() -> None:
    for text in ("BL BR", "BL, BR", "BL+BR"):
        assert Job.model_validate(base_job({"tool.rolls": text})).tool.rolls == ("BL", "BR")


def test_the_callouts_purpose_counts_when_the_job_gives_none() -> None:
    changes = {"knurl.callout": "21 TPI straight, press fit", "knurl.purpose": REMOVE}
    assert Job.model_validate(base_job(changes)).purpose == "press fit"
    assert Job.model_validate(base_job({"knurl.purpose": REMOVE})).purpose == "grip"


def test_a_material_of_the_jobs_own_needs_no_table() -> None:
    own = {"name": "bell metal", "yield_strength": "150 MPa", "turning_speed": "20 m/min"}
    job = Job.model_validate(base_job({"part.material": own}))
    assert job.part.material_row.name == "bell metal"
    assert job.part.material_row.turning_speed_m_min == 20.0
    with pytest.raises(ValidationError, match="a unit is needed"):
        Job.model_validate(base_job({"part.material": {**own, "yield_strength": 150}}))


@pytest.mark.parametrize("length", LENGTHS)
def test_a_length_takes_its_unit_in_any_spelling(length: str) -> None:
    for text in ("50 mm", "5 cm", "0.05 m", "50MM", "1.968503937007874 in"):
        job = Job.model_validate(base_job({length: text}))
        section, key = length.split(".")
        assert getattr(getattr(job, section), key) == pytest.approx(50.0)


def test_every_refusal_that_can_be_accepted_has_its_reason() -> None:
    assert all(reason for reason in ACCEPTABLE.values())
    for code in ACCEPTABLE:
        Job.model_validate(base_job({"process.accept": [code]}))
