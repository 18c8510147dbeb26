"""What is wrong with a job: named by file, key, value and remedy."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from knurlcam.job.model import Job
from knurlcam.job.problems import JobFileError
from tests.support.job_files import load
from tests.support.jobs import REMOVE, base_job

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
    "bool-for-teeth-per-inch": ("knurl.tpi", True, "not a number"),
    "bool-for-diametral-pitch": ("knurl.diametral_pitch", True, "not a number"),
    "bool-for-station": ("tool.station", True, "not a number"),
    "bool-for-offset": ("tool.offset", True, "not a number"),
    "bool-for-passes": ("process.passes", True, "not a number"),
    "bool-for-dwell": ("process.dwell_revolutions", True, "not a number"),
    "bool-for-program-number": ("part.number", True, "not a number"),
    "number-for-flag": ("process.coolant", 7, "boolean|true or false"),
    "empty-name": ("part.name", " ", "at least 1 character|not empty"),
    "number-for-name": ("part.name", 5, "string|text in quotes"),
    "text-for-section": ("holding", "vice", "dictionary|table of keys"),
    "unit-needed": ("machine.rapid_rate", 10, "a unit is needed"),
    "three-rolls": ("tool.rolls", ["BL", "BR", "BL"], "at most 2"),
    "units-of-another-kind": ("units", "cm", "'mm' or 'inch'"),
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
    "program-number": ("part.number", 100_000_000, "99999999"),
}


@pytest.mark.few(15)
@pytest.mark.parametrize("case", BAD_VALUES)
def test_a_bad_value_is_refused_at_its_key(case: str) -> None:
    key, value, says = BAD_VALUES[case]
    with pytest.raises(JobFileError, match=says) as caught:
        Job.model_validate(base_job({key: value}))
    found = [problem.key for problem in caught.value.problems]
    assert any((place or "").startswith(key) for place in found), found


@pytest.mark.few(15)
@pytest.mark.parametrize("case", BAD_VALUES)
def test_a_bad_value_in_a_file_is_reported_with_file_key_value_and_remedy(
    case: str, tmp_path: Path
) -> None:
    key, value, says = BAD_VALUES[case]
    with pytest.raises(JobFileError, match=says) as caught:
        load(tmp_path, base_job({key: value}))
    (problem,) = caught.value.problems
    assert problem.where == str(tmp_path / "job.toml")
    assert (problem.key or "").startswith(key)
    assert problem.value is not None
    assert problem.expected
    assert problem.remedy
    assert str(problem) in str(caught.value)


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


MISSING = [
    "part.name",
    "part.material",
    "part.length",
    "knurl.length",
    "holding.method",
    "tool.style",
    "tool.roll_diameter",
    "tool.face_width",
    "tool.station",
    "machine.safe_x",
    "machine.safe_z",
    "part",
    "knurl",
    "holding",
    "tool",
    "machine",
]


@pytest.mark.few(6)
@pytest.mark.parametrize("key", MISSING)
def test_a_missing_key_is_named_with_what_it_holds_and_what_to_do(key: str, tmp_path: Path) -> None:
    with pytest.raises(JobFileError, match="is missing"):
        Job.model_validate(base_job({key: REMOVE}))
    with pytest.raises(JobFileError, match="is missing") as caught:
        load(tmp_path, base_job({key: REMOVE}))
    (problem,) = caught.value.problems
    assert problem.key == key
    assert problem.expected
    assert problem.remedy


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({"part.material": "unobtainium"}, "part.material"),
        ({"part.name": ""}, "part.name"),
        ({"part.material": {"name": ""}}, "part.material.name"),
        ({"part.material": {"naem": "x"}}, "part.material.naem"),
        (
            {
                "knurl.purpose": "press fit",
                "fit": {"bore": 12, "hub_diameter": 24, "hub_material": "unobtainium"},
            },
            "fit.hub_material",
        ),
        ({"tool.rolls": ["BL", 5]}, "tool.rolls.1"),
    ],
)
def test_a_problem_names_its_whole_key_once(changes: dict[str, Any], key: str) -> None:
    with pytest.raises(JobFileError) as caught:
        Job.build(base_job(changes))
    assert key in [p.key for p in caught.value.problems]
