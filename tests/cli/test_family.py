"""``knurlcam family`` as a real process: what it says, what it leaves, and being killed."""

from __future__ import annotations

import os
import pty
import random
import re
import signal
import subprocess
import sys
import time
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import Any

import pytest

from knurlcam.family.workers import executor_of
from tests.support.families import (
    ROOT,
    SETTING_KNOB,
    SETTING_KNOBS,
    die_with_half_a_result,
    digests,
    index_of,
    job_file,
    knobs,
    write_csv,
)

SCRIPT = SETTING_KNOB.parent / "knobs_by_formula.py"


KILLS_VARIABLE = "KNURLCAM_KILLS"
"""Environment variable: another number of kills, at other moments each time."""


def command(*args: str | Path) -> list[str]:
    return [sys.executable, "-m", "knurlcam", "family", *map(str, args)]


def run(*args: str | Path, **more: Any) -> subprocess.CompletedProcess[str]:
    done = subprocess.run(
        command(*args), cwd=ROOT, capture_output=True, text=True, check=False, timeout=120, **more
    )
    assert "Traceback" not in done.stderr + done.stdout
    return done


def started(base: Path, table: Path, out: Path) -> subprocess.Popen[str]:
    """Return a run with two workers that has just begun, in a process group of its own."""
    return subprocess.Popen(
        command(base, table, "-o", out, "--workers", "2"),
        cwd=ROOT,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


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


def test_each_part_gets_a_page_where_it_is_asked_for(tmp_path: Path) -> None:
    table = write_csv(tmp_path / "table.csv", knobs(3))
    base = job_file(tmp_path / "base.toml")
    done = run(base, table, "-o", tmp_path / "out", "--review", "--workers", "2")
    assert (done.returncode, done.stdout) == (0, "")
    assert len(list((tmp_path / "out").glob("*.html"))) == 3 + 1, "and the index"


def test_rows_that_cannot_be_made_are_told_together_and_the_status_is_1(
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


def test_many_kinds_of_trouble_do_not_flood_the_terminal(tmp_path: Path) -> None:
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


def test_a_shops_tools_and_machines_can_stand_in_cells(tmp_path: Path) -> None:
    table = tmp_path / "t.csv"
    table.write_text(
        "part.name,part.number,machine,tool,tool.station\n"
        "A,1,lathe 2,,\nB,2,lathe 2,twin 20,9\nC,3,lathe 9,,\n",
        encoding="utf-8",
    )
    job = ROOT / "samples" / "shop" / "tripod-bolt.toml"
    done = run(job, table, "-o", tmp_path / "out", "--workers", "2")
    assert done.returncode == 1
    assert "row 4: machine: no machine of that name" in done.stderr
    parts = index_of(tmp_path / "out")["parts"]
    assert [p["job"]["tool"]["station"] for p in parts[:2]] == [5, 9]
    resumed = run(job, table, "-o", tmp_path / "out", "--resume")
    assert "(2 kept from before)" in resumed.stderr


def test_workers_make_the_same_files(tmp_path: Path) -> None:
    base, table = job_file(tmp_path / "base.toml"), write_csv(tmp_path / "t.csv", knobs(150))
    for count in ("1", "3"):
        assert run(base, table, "-o", tmp_path / count, "--workers", count).returncode == 0
    assert digests(tmp_path / "1") == digests(tmp_path / "3")


def test_a_terminal_shows_a_bar_with_rate_and_time_left(tmp_path: Path) -> None:
    base, table = job_file(tmp_path / "base.toml"), write_csv(tmp_path / "t.csv", knobs(400))
    master, slave = pty.openpty()
    process = subprocess.Popen(
        command(base, table, "-o", tmp_path / "out", "--workers", "1"),
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
    assert re.search(r"\d+/400", text)
    assert re.search(r"\d+ rows/s", text)
    assert re.search(r"\d:\d\d:\d\d", text)
    assert "400 programs, verified" in text


def test_an_interrupt_keeps_what_was_made(tmp_path: Path) -> None:
    base, table = job_file(tmp_path / "base.toml"), write_csv(tmp_path / "t.csv", knobs(2000))
    process = started(base, table, tmp_path / "out")
    wait_for_programs(tmp_path / "out", process)
    os.killpg(process.pid, signal.SIGINT)  # as the terminal does: to the workers too
    _, said = process.communicate(timeout=60)
    assert process.returncode == 130
    assert "run it again with --resume" in said
    assert "Traceback" not in said
    done = run(base, table, "-o", tmp_path / "out", "--resume")
    assert done.returncode == 0
    kept = re.search(r"\((\d+) kept from before\)", done.stderr)
    assert kept
    assert int(kept[1]) > 0


@pytest.mark.parametrize("after", [0.35, 0.45, 0.6, 0.8])
def test_an_interrupt_at_any_moment_shows_no_traceback(after: float, tmp_path: Path) -> None:
    base, table = job_file(tmp_path / "base.toml"), write_csv(tmp_path / "t.csv", knobs(2000))
    process = started(base, table, tmp_path / "out")
    time.sleep(after)
    os.killpg(process.pid, signal.SIGINT)
    _, said = process.communicate(timeout=60)
    assert "Traceback" not in said
    # Before the command itself has begun there is nothing to say.
    assert process.returncode in (130, -signal.SIGINT)
    assert said == "" or said.startswith("knurlcam: interrupted")
    assert said.count("\n") <= 1


def test_closed_and_full_outputs_are_no_reason_to_stop(tmp_path: Path) -> None:
    args = command(SETTING_KNOB, SETTING_KNOBS, "-o", tmp_path / "out")
    shell = " ".join(f"'{a}'" for a in args)
    assert subprocess.run(["bash", "-c", f"{shell} 2>&-"], cwd=ROOT, check=False).returncode == 0
    full = subprocess.run(["bash", "-c", f"{shell} 2>/dev/full"], cwd=ROOT, check=False)
    assert full.returncode == 0
    assert index_of(tmp_path / "out")["programs"] == 28


@pytest.mark.parametrize("workers", ["1", "2"])
def test_a_file_that_the_system_does_not_take_whole_is_never_in_its_place(
    workers: str, tmp_path: Path
) -> None:
    """The system's limit on the size of a file is as real as a full disk."""
    base, table = job_file(tmp_path / "base.toml"), write_csv(tmp_path / "t.csv", knobs(150))
    args = command(base, table, "-o", tmp_path / "out", "--workers", workers)
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
    assert len(list((tmp_path / "out").glob("*.nc"))) == 150


def test_a_slip_in_the_base_job_ends_with_2_and_leaves_the_folder(tmp_path: Path) -> None:
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


def wait_for_programs(out: Path, process: subprocess.Popen[Any]) -> None:
    """Wait until the first programs stand in their place."""
    end = time.monotonic() + 60
    while time.monotonic() < end and not any(out.glob("*.nc")):
        assert process.poll() is None, process.communicate()
        time.sleep(0.01)


def children(pid: int) -> list[int]:
    """Return the processes that a process has started, as Linux tells them."""
    listed = Path(f"/proc/{pid}/task/{pid}/children")
    try:
        return [int(child) for child in listed.read_text(encoding="utf-8").split()]
    except OSError:
        return []


def alive(pid: int) -> bool:
    try:
        stat = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8")
    except OSError:
        return False
    return stat.rpartition(")")[2].split()[0] != "Z"


def test_whenever_the_process_is_killed_the_next_run_finishes_what_it_left(
    tmp_path: Path,
) -> None:
    """Twenty times at random moments in a family of 2,000, with one worker or two."""
    rows = knobs(2000)
    rows[777]["part.knurled_diameter"] = "abc"
    base, table = job_file(tmp_path / "base.toml"), write_csv(tmp_path / "t.csv", rows)
    assert run(base, table, "-o", tmp_path / "whole").returncode == 1
    whole = digests(tmp_path / "whole")
    out = tmp_path / "out"
    kills = int(os.environ.get(KILLS_VARIABLE, "10"))
    moments = random.Random(1983 if kills == 10 else None)
    left: list[int] = []
    for turn in range(kills):
        process = subprocess.Popen(
            command(base, table, "-o", out, "--resume", "--workers", str(1 + turn % 2)),
            cwd=ROOT,
            stderr=subprocess.DEVNULL,
        )
        time.sleep(moments.uniform(0.2, 0.9))
        left += children(process.pid)
        process.kill()
        process.wait()
        programs = {p.name: d for p, d in digested(out)}
        assert programs == {name: whole[name] for name in programs}
    done = run(base, table, "-o", out, "--resume")
    assert done.returncode == 1
    assert digests(out) == whole
    assert index_of(out)["rows"] == 2000
    end = time.monotonic() + 10
    while time.monotonic() < end and any(map(alive, left)):
        time.sleep(0.05)
    assert not [pid for pid in left if alive(pid)], "workers outlive the process they work for"


def digested(out: Path) -> list[tuple[Path, str]]:
    """Return what stands in its place in a folder, with its SHA-256."""
    found = digests(out) if out.exists() else {}
    own = (".unfinished", "UNFINISHED.txt")
    return [(Path(n), d) for n, d in found.items() if not n.startswith(own)]


def test_a_worker_that_dies_is_told_and_nothing_is_lost(tmp_path: Path) -> None:
    base, table = job_file(tmp_path / "base.toml"), write_csv(tmp_path / "t.csv", knobs(2000))
    process = started(base, table, tmp_path / "out")
    wait_for_programs(tmp_path / "out", process)
    for child in children(process.pid):
        if b"spawn_main" in Path(f"/proc/{child}/cmdline").read_bytes():
            os.kill(child, signal.SIGKILL)
    _, said = process.communicate(timeout=60)
    assert process.returncode == 2
    assert "a worker process was ended from outside" in said
    assert "Traceback" not in said
    assert run(base, table, "-o", tmp_path / "out", "--resume").returncode == 0


def test_a_worker_that_dies_while_it_sends_a_result_is_told_too() -> None:
    # The pool alone would wait for the rest of the result for ever.
    with executor_of(None, 2) as pool:
        assert pool is not None
        with pytest.raises(BrokenProcessPool):
            pool.submit(die_with_half_a_result).result(timeout=60)


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
