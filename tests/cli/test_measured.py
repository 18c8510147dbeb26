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
