"""``knurlcam measured``: the answer, and what is kept of it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.support.commands import FOCUS, run

PART = ["--blank", "24.69", "--crests", "24.92"]


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return tmp_path / "measured.sqlite"


def test_a_part_is_answered_kept_and_taken_by_the_next_plan(log: Path) -> None:
    answered = json.loads(
        run("measured", FOCUS, *PART, "--teeth", "67", "--log", log, "--json").stdout
    )
    assert answered["meaning"]["code"] == "short"
    assert answered["offset_x_mm"] < 0.0
    assert answered["id"] == 1
    planned = json.loads(run("plan", FOCUS, "--log", log, "--json").stdout)
    assert planned["tracking"]["source"] == "measured, 1 part"
    without = json.loads(run("plan", FOCUS, "--no-measured", "--json").stdout)
    assert without == json.loads(run("plan", FOCUS, "--json").stdout)


def test_nothing_is_kept_without_measured_parts_or_of_an_impossible_figure(log: Path) -> None:
    assert run("measured", FOCUS, *PART, "--no-measured").returncode == 0
    wrong = run("measured", FOCUS, "--blank", "24.69", "--crests", "29", "--log", log)
    assert wrong.returncode == 2
    assert "not possible" in wrong.stderr
    assert not log.exists()


def test_list_export_and_forget_need_no_job(log: Path, tmp_path: Path) -> None:
    run("measured", FOCUS, *PART, "--who", "Ada", "--log", log)
    assert "by Ada" in run("measured", "--list", "--log", log).stdout
    assert run("measured", "--export", tmp_path / "p.csv", "--log", log).returncode == 0
    assert "Ada" in (tmp_path / "p.csv").read_text("utf-8")
    assert run("measured", "--forget", "1", "--log", log).returncode == 0
    assert run("measured", "--forget", "1", "--log", log).returncode == 2
    assert json.loads(run("measured", "--log", log, "--list", "--json").stdout) == {"parts": []}


def test_crests_may_be_repeated_and_none_is_dropped(log: Path) -> None:
    several = ["--crests", "24.91", "--crests", "24.92,24.93"]
    run("measured", FOCUS, "--blank", "24.69", *several, "--log", log)
    (part,) = json.loads(run("measured", "--list", "--log", log, "--json").stdout)["parts"]
    assert part["crests_mm"] == [24.91, 24.92, 24.93]


def test_what_is_of_the_log_is_not_passed_over_beside_a_part(log: Path) -> None:
    run("measured", FOCUS, *PART, "--log", log)
    both = run("measured", FOCUS, *PART, "--forget", "1", "--log", log)
    assert both.returncode == 2
    assert "without --blank" in both.stderr
    assert "1 parts" in run("measured", FOCUS, "--list", "--log", log).stdout


def test_a_control_of_radii_is_told_radii(tmp_path: Path) -> None:
    job = tmp_path / "job.toml"
    job.write_text(FOCUS.read_text("utf-8").replace('post = "iso6983"', 'post = "rs274"'), "utf-8")
    told = run("measured", job, *PART, "--no-measured")
    assert told.returncode == 0, told.stderr
    assert "on the radius as this control reads X" in told.stdout
