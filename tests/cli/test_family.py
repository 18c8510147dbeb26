"""``knurlcam family``: what it says, what it leaves, and its exit status."""

from __future__ import annotations

import os
import pty
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.support import commands
from tests.support.commands import ROOT, Done
from tests.support.families import (
    SETTING_KNOB,
    SETTING_KNOBS,
    digests,
    family_command,
    index_of,
    job_file,
    knobs,
    write_csv,
)

pytestmark = pytest.mark.usefixtures("rough_imprint")

SCRIPT = SETTING_KNOB.parent / "knobs_by_formula.py"


def run(*args: str | Path) -> Done:
    return commands.run("family", *args)


@pytest.fixture
def family(tmp_path: Path) -> tuple[Path, Path, Path]:
    """Return a base, a table of six rows of which two cannot be made, and a folder."""
    rows = knobs(6)
    rows[1]["part.knurled_diameter"] = rows[4]["part.knurled_diameter"] = "abc"
    table = write_csv(tmp_path / "table.csv", rows)
    return job_file(tmp_path / "base.toml"), table, tmp_path / "out"


def test_the_samples_family_is_made_as_it_stands(tmp_path: Path) -> None:
    done = run(SETTING_KNOB, SETTING_KNOBS, "-o", tmp_path / "out")
    assert (done.returncode, done.stdout) == (0, "")
    assert f"{tmp_path}/out: 28 programs, verified" in done.stderr
    assert len(list((tmp_path / "out").glob("*.nc"))) == 28


@pytest.mark.parametrize("workers", ["1", pytest.param("2", marks=pytest.mark.long)])
def test_each_part_gets_a_page_where_it_is_asked_for(workers: str, tmp_path: Path) -> None:
    table = write_csv(tmp_path / "table.csv", knobs(2))
    base = job_file(tmp_path / "base.toml")
    done = run(base, table, "-o", tmp_path / "out", "--review", "--workers", workers)
    assert (done.returncode, done.stdout) == (0, "")
    assert len(list((tmp_path / "out").glob("*.html"))) == 2 + 1, "and the index"


def test_rows_that_cannot_be_made_are_listed_together_and_the_status_is_1(
    family: tuple[Path, Path, Path],
) -> None:
    base, table, out = family
    done = run(base, table, "-o", out)
    assert done.returncode == 1
    assert f"{table}: rows 3, 6: part.knurled_diameter: not one number" in done.stderr
    assert "(given: 'abc')" in done.stderr
    assert "4 programs, verified; 2 rows without a program" in done.stderr
    assert len(list(out.glob("*.nc"))) == 4


def test_strict_writes_nothing_and_says_so(family: tuple[Path, Path, Path]) -> None:
    base, table, out = family
    done = run(base, table, "-o", out, "--strict")
    assert done.returncode == 1
    assert "2 of 6 rows cannot be made; --strict: nothing written" in done.stderr
    assert not out.exists()


def test_quiet_says_only_what_is_wrong(family: tuple[Path, Path, Path]) -> None:
    base, table, out = family
    done = run(base, table, "-o", out, "--quiet")
    assert done.returncode == 1
    assert done.stderr.count("\n") == 1
    done = run(SETTING_KNOB, SETTING_KNOBS, "-o", out.parent / "other", "--quiet")
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_many_kinds_of_problem_do_not_flood_the_terminal(tmp_path: Path) -> None:
    rows = [{"part.name": f"Knob {k}", "part.knurled_diameter": f"x{k}"} for k in range(100)]
    table = write_csv(tmp_path / "table.csv", rows)
    done = run(SETTING_KNOB, table, "-o", tmp_path / "out")
    assert done.returncode == 1
    assert done.stderr.count("\n") <= 25
    assert "and 80 other problems" in done.stderr


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["none.toml", SETTING_KNOBS], "none.toml: does not exist"),
        ([SETTING_KNOB, "none.csv"], "none.csv: cannot be read: No such file"),
        ([SETTING_KNOB, SETTING_KNOB], "ends in .csv, .tsv, .xlsx or .jsonl"),
        ([SETTING_KNOB, SETTING_KNOBS, "--post", "iso6984"], "did you mean 'iso6983'?"),
        ([SETTING_KNOB, SETTING_KNOBS, "--sheet", "A"], "has no sheets"),
        ([SETTING_KNOB, SETTING_KNOBS, "--shop", "none.toml"], "none.toml: does not exist"),
        ([SETTING_KNOB, SETTING_KNOBS, "--workers", "0"], "--workers"),
    ],
)
def test_wrong_usage_ends_with_2_and_nothing_written(
    args: list[str | Path], words: str, tmp_path: Path
) -> None:
    done = run(*args, "-o", tmp_path / "out")
    assert done.returncode == 2
    assert words in done.stderr
    assert not (tmp_path / "out").exists()


def test_a_folder_of_someone_elses_ends_with_2(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("x", encoding="utf-8")
    done = run(SETTING_KNOB, SETTING_KNOBS, "-o", tmp_path)
    assert done.returncode == 2
    assert "mine.txt was not made by an earlier run" in done.stderr
    assert os.listdir(tmp_path) == ["mine.txt"]


@pytest.mark.parametrize("workers", ["1", pytest.param("2", marks=pytest.mark.long)])
def test_a_shops_tools_and_machines_can_stand_in_cells(workers: str, tmp_path: Path) -> None:
    table = tmp_path / "t.csv"
    table.write_text(
        "part.name,part.number,machine,tool,tool.station\n"
        "A,1,lathe 2,,\nB,2,lathe 2,twin 20,9\nC,3,lathe 9,,\n",
        encoding="utf-8",
    )
    job = ROOT / "samples" / "shop" / "tripod-bolt.toml"
    done = run(job, table, "-o", tmp_path / "out", "--workers", workers)
    assert done.returncode == 1
    assert "row 4: machine: no machine of that name" in done.stderr
    parts = index_of(tmp_path / "out")["parts"]
    assert [p["job"]["tool"]["station"] for p in parts[:2]] == [5, 9]
    resumed = run(job, table, "-o", tmp_path / "out", "--resume")
    assert "(2 kept from before)" in resumed.stderr


@pytest.mark.parametrize(
    ("rows", "workers"), [(20, "2"), pytest.param(150, "3", marks=pytest.mark.long)]
)
def test_workers_make_the_same_files(rows: int, workers: str, tmp_path: Path) -> None:
    base, table = job_file(tmp_path / "base.toml"), write_csv(tmp_path / "t.csv", knobs(rows))
    for count in ("1", workers):
        assert run(base, table, "-o", tmp_path / count, "--workers", count).returncode == 0
    assert digests(tmp_path / "1") == digests(tmp_path / workers)


def test_a_terminal_shows_a_bar_with_rate_and_time_left(tmp_path: Path) -> None:
    base, table = job_file(tmp_path / "base.toml"), write_csv(tmp_path / "t.csv", knobs(150))
    master, slave = pty.openpty()
    process = subprocess.Popen(
        family_command(base, table, "-o", tmp_path / "out", "--workers", "1"),
        cwd=ROOT,
        stderr=slave,
        stdout=slave,
        env={**os.environ, "TERM": "xterm", "COLUMNS": "100"},
    )
    os.close(slave)
    shown = b""
    try:
        while piece := os.read(master, 65536):
            shown += piece
    except OSError:
        pass  # the other end is closed
    os.close(master)
    assert process.wait(60) == 0
    text = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", shown.decode())
    assert re.search(r"\d+/150", text)
    assert re.search(r"\d+ rows/s", text)
    assert re.search(r"\d:\d\d:\d\d", text)
    assert "150 programs, verified" in text


@pytest.mark.parametrize("to", ["2>&-", pytest.param("2>/dev/full", marks=pytest.mark.long)])
def test_a_closed_or_full_output_is_no_reason_to_stop(to: str, tmp_path: Path) -> None:
    args = family_command(SETTING_KNOB, SETTING_KNOBS, "-o", tmp_path / "out")
    shell = " ".join(f"'{a}'" for a in args)
    done = subprocess.run(["bash", "-c", f"{shell} {to}"], cwd=ROOT, check=False)
    assert done.returncode == 0
    assert index_of(tmp_path / "out")["programs"] == 28


@pytest.mark.parametrize("workers", ["1", pytest.param("2", marks=pytest.mark.long)])
def test_a_file_that_the_system_does_not_take_whole_is_never_in_its_place(
    workers: str, tmp_path: Path
) -> None:
    """The system's limit on the size of a file is as real as a full disk."""
    base, table = job_file(tmp_path / "base.toml"), write_csv(tmp_path / "t.csv", knobs(20))
    args = family_command(base, table, "-o", tmp_path / "out", "--workers", workers)
    shell = "ulimit -f 1; " + " ".join(f"'{a}'" for a in args)
    done = subprocess.run(
        ["bash", "-c", shell], cwd=ROOT, capture_output=True, text=True, check=False, timeout=60
    )
    assert done.returncode == 2
    assert "File too large" in done.stderr
    assert "run again with --resume" in done.stderr
    assert "Traceback" not in done.stderr
    assert not list((tmp_path / "out").glob("*.nc"))
    assert run(base, table, "-o", tmp_path / "out", "--resume").returncode == 0
    assert len(list((tmp_path / "out").glob("*.nc"))) == 20


def test_an_error_in_the_base_job_ends_with_2_and_leaves_the_folder(tmp_path: Path) -> None:
    base, table = job_file(tmp_path / "base.toml"), write_csv(tmp_path / "t.csv", knobs(3))
    assert run(base, table, "-o", tmp_path / "out").returncode == 0
    before = digests(tmp_path / "out")
    base.write_text(base.read_text(encoding="utf-8") + "[party]\nx = 1\n", encoding="utf-8")
    done = run(base, table, "-o", tmp_path / "out")
    assert done.returncode == 2
    assert "base.toml: party: unknown key" in done.stderr
    assert digests(tmp_path / "out") == before


def test_rows_that_are_no_parts_are_warned_of(tmp_path: Path) -> None:
    table = tmp_path / "t.csv"
    table.write_text("part.name,part.number,part.length\nA,1,70\nTotal,,\n", encoding="utf-8")
    done = run(SETTING_KNOB, table, "-o", tmp_path / "out")
    assert done.returncode == 0
    assert "row 3: has only a name, so its program is that of the base job" in done.stderr


def test_the_samples_script_makes_a_family_from_a_formula(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, str(SCRIPT), str(tmp_path / "out")],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    data = index_of(tmp_path / "out")
    assert data["programs"] == data["rows"] >= 10
