"""``knurlcam family`` interrupted, killed, or without its workers: nothing is lost.

A run is disturbed when something is seen of it, not after some time: machines differ. On one
that is through before it could be disturbed, a longer table is taken.
"""

from __future__ import annotations

import os
import random
import re
import signal
import subprocess
import time
from collections.abc import Callable
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from knurlcam.family.workers import executor_of
from tests.support.commands import ROOT, Done, run
from tests.support.families import (
    die_with_half_a_result,
    digests,
    family_command,
    index_of,
    job_file,
    knobs,
    write_csv,
)

KILLS_VARIABLE = "KNURLCAM_KILLS"
"""Environment variable: another number of kills, at other moments each time."""

ROWS = (400, 800, 1600, 3200, 6400)
"""Rows of a table that is not made before it is disturbed: the first that serves is taken."""

Event = Callable[[Path, int], bool]
"""Whether something is seen of a run, by its folder and its process."""


def children(pid: int) -> list[int]:
    """Return the processes that a process has started, as Linux lists them."""
    listed = Path(f"/proc/{pid}/task/{pid}/children")
    try:
        return [int(child) for child in listed.read_text(encoding="utf-8").split()]
    except OSError:
        return []


def workers(pid: int) -> list[int]:
    """Return those of a process's children that make programs."""
    return [c for c in children(pid) if b"spawn_main" in Path(f"/proc/{c}/cmdline").read_bytes()]


def is_alive(pid: int) -> bool:
    try:
        stat = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8")
    except OSError:
        return False
    return stat.rpartition(")")[2].split()[0] != "Z"


EVENTS: dict[str, Event] = {
    "the folder is made": lambda out, _: out.exists(),
    "a worker begins": lambda _, pid: bool(children(pid)),
    "both workers work": lambda _, pid: len(workers(pid)) == 2,
    "a row is noted": lambda out, _: has_a_row(out),
    "a program stands in its place": lambda out, _: any(out.glob("*.nc")),
}


def has_a_row(out: Path) -> bool:
    journal = out / ".unfinished" / "journal.jsonl"
    return journal.exists() and journal.stat().st_size > 0


def started(base: Path, table: Path, out: Path, count: int = 2) -> subprocess.Popen[str]:
    """Return a run that has just begun, in a process group of its own; on a slow machine it
    would print how it gets on."""

    def hear_interrupts() -> None:
        # What runs in the background of a shell is deaf to them, and so are its children.
        signal.signal(signal.SIGINT, signal.default_int_handler)

    return subprocess.Popen(
        family_command(base, table, "-o", out, "--resume", "--quiet", "--workers", str(count)),
        cwd=ROOT,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        preexec_fn=hear_interrupts,
    )


def wait_for(event: Event, out: Path, process: subprocess.Popen[Any]) -> None:
    end = time.monotonic() + 60
    while process.poll() is None and not event(out, process.pid):
        assert time.monotonic() < end
        time.sleep(0.005)


class Disturbed(NamedTuple):
    """A run that did not come to its end: its inputs, its folder, its status, what it said."""

    base: Path
    table: Path
    out: Path
    status: int
    said: str


def disturbed(
    tmp_path: Path, event: Event, disturb: Callable[[subprocess.Popen[str]], object]
) -> Disturbed:
    """Disturb a run with two workers at an event."""
    base = job_file(tmp_path / "base.toml")
    for count in ROWS:
        table, out = write_csv(tmp_path / f"{count}.csv", knobs(count)), tmp_path / str(count)
        process = started(base, table, out)
        wait_for(event, out, process)
        if process.poll() is None:
            disturb(process)
        _, said = process.communicate(timeout=120)
        if process.returncode != 0:
            return Disturbed(base, table, out, process.returncode, said)
    pytest.fail(f"a run of {ROWS[-1]} rows is through before it could be disturbed")


def finished(base: Path, table: Path, out: Path) -> Done:
    """Run a family to its end, in this process: its workers would take longer to start."""
    return run("family", base, table, "-o", out, "--resume", "--workers", "1")


def interrupt(process: subprocess.Popen[str]) -> None:
    """Interrupt a run as the terminal does: its workers too."""
    os.killpg(process.pid, signal.SIGINT)


def kill_workers(process: subprocess.Popen[str]) -> None:
    for worker in workers(process.pid):
        os.kill(worker, signal.SIGKILL)


@pytest.mark.long
def test_an_interrupt_keeps_what_was_made(tmp_path: Path) -> None:
    left = disturbed(tmp_path, EVENTS["a program stands in its place"], interrupt)
    assert left.status == 130
    assert "run it again with --resume" in left.said
    assert "Traceback" not in left.said
    done = finished(left.base, left.table, left.out)
    assert done.returncode == 0
    kept = re.search(r"\((\d+) kept from before\)", done.stderr)
    assert kept
    assert int(kept[1]) > 0


@pytest.mark.parametrize(
    "event",
    [
        "a worker begins",
        *(pytest.param(name, marks=pytest.mark.long) for name in EVENTS if "begins" not in name),
    ],
)
def test_an_interrupt_at_any_moment_shows_no_traceback(event: str, tmp_path: Path) -> None:
    left = disturbed(tmp_path, EVENTS[event], interrupt)
    assert "Traceback" not in left.said
    assert left.status == 130
    assert left.said.startswith("knurlcam: interrupted")
    assert left.said.count("\n") == 1


@pytest.mark.long
@pytest.mark.parametrize("after", [0.1, 0.2, 0.35, 0.45, 0.6, 0.8])
def test_an_interrupt_after_any_time_shows_no_traceback(after: float, tmp_path: Path) -> None:
    end = time.monotonic() + after
    left = disturbed(tmp_path, lambda _, __: time.monotonic() > end, interrupt)
    if "knurlcam: " not in left.said:
        # The interpreter was interrupted while it started, before it came to the command.
        assert "knurlcam/cli" not in left.said
        assert left.status in (1, 130, -signal.SIGINT)
        return
    assert "Traceback" not in left.said
    assert left.status == 130
    assert left.said.startswith("knurlcam: interrupted")
    assert left.said.count("\n") == 1


def killed_again_and_again(
    tmp_path: Path, rows: int, turns: list[Callable[[Path, subprocess.Popen[str]], None]]
) -> None:
    """Kill a run each time that its turn has been waited for, then finish it to the same bytes."""
    parts = knobs(rows)
    parts[rows // 3]["part.knurled_diameter"] = "abc"
    base, table = job_file(tmp_path / "base.toml"), write_csv(tmp_path / "t.csv", parts)
    assert finished(base, table, tmp_path / "whole").returncode == 1
    whole, out = digests(tmp_path / "whole"), tmp_path / "out"
    left: list[int] = []
    for turn, wait in enumerate(turns):
        process = started(base, table, out, 1 + turn % 2)
        wait(out, process)
        left += children(process.pid)
        process.kill()
        process.communicate()
        programs = digested(out)
        assert programs == {name: whole[name] for name in programs}
    done = finished(base, table, out)
    assert done.returncode == 1
    assert digests(out) == whole
    assert index_of(out)["rows"] == rows
    end = time.monotonic() + 10
    while time.monotonic() < end and any(map(is_alive, left)):
        time.sleep(0.05)
    assert not [pid for pid in left if is_alive(pid)], "workers outlive the process they work for"


def digested(out: Path) -> dict[str, str]:
    """Return the SHA-256 of what stands in its place in a folder."""
    found = digests(out) if out.exists() else {}
    return {n: d for n, d in found.items() if not n.startswith((".unfinished", "UNFINISHED.txt"))}


@pytest.mark.parametrize(
    ("rows", "events"),
    [
        (120, ["a row is noted"]),
        pytest.param(300, ["a row is noted", "both workers work"], marks=pytest.mark.long),
    ],
    ids=["one worker", "one worker and then two"],
)
def test_a_run_that_was_killed_is_finished_by_the_next(
    rows: int, events: list[str], tmp_path: Path
) -> None:

    def until(event: str) -> Callable[[Path, subprocess.Popen[str]], None]:
        return lambda out, process: wait_for(EVENTS[event], out, process)

    killed_again_and_again(tmp_path, rows, [until(event) for event in events])


@pytest.mark.long
def test_whenever_the_process_is_killed_the_next_run_finishes_what_it_left(
    tmp_path: Path,
) -> None:
    """Ten times at random moments in a family of 2,000, with one worker or two."""
    kills = int(os.environ.get(KILLS_VARIABLE, "10"))
    moments = random.Random(1983 if kills == 10 else None)

    def wait(_: Path, __: subprocess.Popen[str]) -> None:
        time.sleep(moments.uniform(0.2, 0.9))

    killed_again_and_again(tmp_path, 2000, [wait] * kills)


def test_a_worker_that_dies_is_reported_and_nothing_is_lost(tmp_path: Path) -> None:
    left = disturbed(tmp_path, EVENTS["both workers work"], kill_workers)
    assert left.status == 2
    assert "a worker process was ended from outside" in left.said
    assert "Traceback" not in left.said
    assert finished(left.base, left.table, left.out).returncode == 0


@pytest.mark.long
def test_a_worker_that_dies_while_it_sends_a_result_is_reported_too() -> None:
    # The pool alone would wait for the rest of the result for ever.
    with executor_of(None, 2) as pool:
        assert pool is not None
        with pytest.raises(BrokenProcessPool):
            pool.submit(die_with_half_a_result).result(timeout=60)
