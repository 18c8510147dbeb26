"""The imprint command: figures, files, messages, exit status."""

from __future__ import annotations

import io
import json
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from knurlcam.cli.app import app
from tests.support.commands import FOCUS, ROOT, run

PIN = ROOT / "samples" / "dowel-pin.toml"
"""A small knurl: its map is made in no time."""

SCREW = ROOT / "samples" / "finder-knob.toml"
"""A job in inches."""


def told(*args: str | Path, status: int = 0) -> dict[str, Any]:
    """Return what the command says as JSON."""
    done = run("imprint", *args, "--json")
    assert done.returncode == status, done.stderr
    data = json.loads(done.stdout)
    assert isinstance(data, dict)
    return data


def test_json_has_the_measures_and_the_window() -> None:
    data = told(PIN, "--resolution", "0.06")
    promised = {
        "teeth",
        "pitch_mm",
        "helix_deg",
        "tooth_height_mm",
        "knurled_diameter_mm",
        "crest_width_mm",
        "evenness",
        "length_mm",
        "double_impression",
    }
    assert promised <= set(data)
    assert data["teeth"] == 75
    assert data["clean"] is True
    assert data["errors"] == 0
    assert data["window"]["from_mm"] < data["blank_diameter_mm"] < data["window"]["to_mm"]


def test_the_table_says_what_it_is_and_what_comes_out() -> None:
    done = run("imprint", PIN, "--resolution", "0.06")
    assert done.returncode == 0, done.stderr
    for text in (
        "Imprint (estimates)",
        "double impression",
        "clean",
        "as planned",
        "blanks that track",
    ):
        assert text in done.stdout
    assert "An estimate" in done.stdout
    assert "the handbook allows" in " ".join(done.stdout.split())


def test_another_blank_shows_what_a_tenth_of_a_millimetre_does() -> None:
    data = told(FOCUS, "--blank", "24.79 mm", "--resolution", "0.12")
    assert data["clean"] is False
    assert data["double_impression"] > 0.5
    assert data["blank_diameter_mm"] == 24.79
    assert data["planned_blank_diameter_mm"] == pytest.approx(24.688, abs=0.001)


def test_a_bare_blank_is_in_the_units_of_the_job() -> None:
    data = told(SCREW, "--blank", "0.9893", "--resolution", "0.0035 in")
    assert data["blank_diameter_mm"] == pytest.approx(0.9893 * 25.4)


@pytest.mark.parametrize("ending", ["png", "svg", "npz", "stl"])
def test_each_kind_of_file_is_written(ending: str, tmp_path: Path) -> None:
    out = tmp_path / f"pin.{ending}"
    done = run("imprint", PIN, "-o", out, "--resolution", "0.06")
    assert done.returncode == 0, done.stderr
    assert "estimate" in done.stderr
    data = out.read_bytes()
    if ending == "png":
        assert Image.open(io.BytesIO(data)).size[0] >= 1000
    elif ending == "svg":
        text = " ".join(ET.fromstring(data).itertext())
        assert "Dowel pin" in text
        assert "double impression" in text
    elif ending == "npz":
        kept = np.load(io.BytesIO(data), allow_pickle=False)
        assert json.loads(str(kept["measures"]))["teeth"] == 75
        assert kept["height_mm"].dtype == np.float32
    else:
        import trimesh  # here: it takes a second to load, in each worker that collects this file

        solid = trimesh.load(io.BytesIO(data), file_type="stl")
        assert solid.is_watertight


def test_a_file_of_before_is_written_over_with_the_same(tmp_path: Path) -> None:
    out = tmp_path / "pin.npz"
    before = b""
    for _ in range(2):
        assert run("imprint", PIN, "-o", out, "--resolution", "0.06").returncode == 0
        assert before in (b"", out.read_bytes())
        before = out.read_bytes()


def test_a_program_that_was_edited_is_shown_as_it_is_and_ends_with_1(tmp_path: Path) -> None:
    program = tmp_path / "pin.nc"
    assert run("program", PIN, "-o", program).returncode == 0
    text = program.read_text("utf-8")
    program.write_text(text.replace("G04", "(G04)", 1).replace("M08", "M09", 1), "utf-8")
    out = tmp_path / "pin.npz"
    done = run("imprint", PIN, "--program", program, "-o", out, "--resolution", "0.04")
    assert done.returncode == 1
    assert "NOT SAFE" in done.stderr
    assert out.exists()


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (["-o", "pin.jpg"], ".png, .svg, .npz, .stl"),
        (["-o", "pin"], ".png, .svg, .npz, .stl"),
        (["--blank", "twelve"], "--blank"),
        (["--blank", "12 rpm"], "--blank"),
        (["--blank", "-1"], "--blank"),
        (["--resolution", "0"], "--resolution"),
        (["--resolution", "0.00001 mm"], "or coarser"),
        (["--program", "nowhere.nc"], "does not exist"),
        (["--post", "nonsense"], "nonsense"),
    ],
)
def test_wrong_usage_says_what_is_wrong_and_writes_nothing(
    args: list[str], says: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    more = [] if "-o" in args else ["-o", "pin.png"]
    done = CliRunner().invoke(app, ["imprint", str(PIN), *args, *more])
    assert done.exit_code == 2
    assert says in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_rolls_that_never_reach_the_blank_end_with_1_and_write_nothing(tmp_path: Path) -> None:
    out = tmp_path / "pin.png"
    done = run("imprint", PIN, "--blank", "11 mm", "-o", out)
    assert done.returncode == 1
    assert "never touch" in done.stderr
    assert not out.exists()


@pytest.mark.parametrize("name", ["pin.stl", "pin.svg", "pin.npz", "pin.png"])
def test_a_file_of_others_is_not_written_over(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    told = "my notes on a knurlcam imprint, its height map and height_mm.npy"
    Path(name).write_text(told, "utf-8")
    done = CliRunner().invoke(app, ["imprint", str(PIN), "-o", name])
    assert done.exit_code == 2
    assert "was not made by this command" in done.stderr
    assert Path(name).read_text("utf-8") == told


def test_plan_says_what_the_rolls_will_leave_and_how_to_see_it() -> None:
    done = run("plan", PIN)
    assert "Imprint (estimate): the rolls track, double impression 0.00" in done.stdout
    assert "knurlcam imprint" in done.stdout
