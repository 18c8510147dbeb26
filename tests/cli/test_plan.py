"""``knurlcam plan``: its tables, its JSON, its errors."""

from __future__ import annotations

from pathlib import Path

import pytest

from knurlcam import Job, make_plan
from tests.support.commands import FOCUS, ROOT, changed_job, file_of, run, run_json


def test_plan_as_json_is_the_whole_plan_unrounded() -> None:
    """The keys themselves are held to the contract where the plan is tested."""
    told = run_json("plan", FOCUS)
    assert 0.0 <= told.pop("double_impression") < 0.1
    assert told == make_plan(Job.load(FOCUS)).to_dict()


def test_the_tables_for_people_name_units_and_mark_what_was_recommended() -> None:
    out = run("plan", FOCUS).stdout
    assert "24.688 mm" in out
    assert "recommended" in out
    assert "as the job says" in out
    out = run("plan", ROOT / "samples" / "finder-knob.toml").stdout
    assert "0.9896 in" in out


def test_every_reason_is_named_at_once(tmp_path: Path) -> None:
    job = changed_job(
        tmp_path, 'spindle_speed = "110 rpm"', 'spindle_speed = "2500 rpm"\nfeed = 9.0'
    )
    data = run_json("plan", job, status=1)
    codes = {r["code"] for r in data["error"]["refusals"]}
    assert codes == {"above-machine-limit", "feed-above-half-face"}


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "is empty"),
        (b"\xff\xfe\x00", "is not UTF-8"),
        (b"#" * 2_000_000, "is larger than"),
    ],
    ids=["empty", "not-utf8", "huge"],
)
def test_a_file_that_is_no_job_is_refused(data: bytes, says: str, tmp_path: Path) -> None:
    done = run("plan", file_of(tmp_path, data))
    assert done.returncode == 2
    assert says in done.stderr


def test_a_folder_and_a_missing_file_are_refused(tmp_path: Path) -> None:
    assert "is a folder" in run("plan", tmp_path).stderr
    done = run("plan", tmp_path / "none.toml")
    assert done.returncode == 2
    assert "does not exist" in done.stderr


def test_an_error_as_json_is_one_object(tmp_path: Path) -> None:
    job = changed_job(tmp_path, "length = 20.0", 'length = "20 kg"')
    data = run_json("plan", job, status=2)
    (problem,) = data["error"]["problems"]
    assert problem["key"] == "knurl.length"
    assert problem["where"] == str(job)


def test_plan_and_program_mention_the_setters_page(tmp_path: Path) -> None:
    hint = f"knurlcam review {FOCUS} -o focus-knob.html"
    assert hint in run("plan", FOCUS).stdout
    assert hint in run("program", FOCUS, "-o", tmp_path / "out.nc").stderr
    spaced = tmp_path / "my job.toml"
    spaced.write_text(FOCUS.read_text(encoding="utf-8"), encoding="utf-8")
    assert f"review '{spaced}' -o 'my job.html'" in run("plan", spaced).stdout
