"""The log keeps what it said it kept, and leaves alone what is not its own."""

from __future__ import annotations

import csv
import os
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from knurlcam.errors import InputError
from knurlcam.records.log import VERSION, MeasuredLog
from tests.support.measured import a_part

WRITER = """
import sys
from knurlcam.records.log import MeasuredLog
from tests.support.measured import a_part
log = MeasuredLog(sys.argv[1])
for n in range(int(sys.argv[3])):
    print(log.add(a_part(who=sys.argv[2], blank_mm=float(n + 1))), flush=True)
"""

FULL_DISK = """
import resource, signal, sys
from knurlcam.errors import InputError
from knurlcam.records.log import MeasuredLog
from tests.support.measured import a_part
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (40_000, 40_000))
log = MeasuredLog(sys.argv[1])
try:
    while True:
        print(log.add(a_part(job_name="x" * 500)), flush=True)
except InputError as error:
    print(error, file=sys.stderr)
"""


@pytest.fixture
def log(tmp_path: Path) -> MeasuredLog:
    return MeasuredLog(tmp_path / "measured.sqlite")


def started(code: str, *arguments: str | Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", code, *map(str, arguments)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def test_what_was_added_is_read_back(log: MeasuredLog) -> None:
    parts = [a_part(), a_part(teeth=None, doubled=None, growth_mm=None, crests_mm=(), root_mm=24.1)]
    numbers = [log.add(part) for part in parts]
    assert log.entries() == tuple(replace(p, id=n) for p, n in zip(parts, numbers, strict=True))


def test_reading_makes_no_file(log: MeasuredLog) -> None:
    assert log.entries() == ()
    assert not log.path.exists()


def test_a_forgotten_number_is_not_used_again(log: MeasuredLog) -> None:
    log.add(a_part())
    second = log.add(a_part(who="B"))
    assert log.forget(second).who == "B"
    assert log.add(a_part()) > second


@pytest.mark.parametrize("full", [True, False])
def test_an_unknown_number_is_refused(log: MeasuredLog, full: bool) -> None:
    if full:
        log.add(a_part())
    with pytest.raises(InputError, match=r"not the number of a measurement .*--list"):
        log.forget(7)


def test_the_table_of_all_parts_reads_back_as_csv(log: MeasuredLog, tmp_path: Path) -> None:
    log.add(a_part(job_name="=cmd()", who=" -b"))
    assert log.export_csv(tmp_path / "parts.csv") == 1
    with open(tmp_path / "parts.csv", encoding="utf-8", newline="") as stream:
        (row,) = csv.DictReader(stream)
    assert (row["job_name"], row["who"]) == ("'=cmd()", "' -b")
    assert float(row["share"]) == a_part().share
    assert row["crests_mm"] == "24.95 24.97 24.96"


# -- other processes -------------------------------------------------------------------


def test_two_writers_at_once_lose_nothing(log: MeasuredLog) -> None:
    writers = [started(WRITER, log.path, name, "12") for name in "AB"]
    said = [int(n) for writer in writers for n in writer.communicate(timeout=60)[0].split()]
    assert sorted(said) == list(range(1, 25))
    assert [e.id for e in log.entries()] == sorted(said)
    assert sorted(e.blank_mm for e in log.entries() if e.who == "A") == list(range(1, 13))


@pytest.mark.few(1)
@pytest.mark.parametrize("after", [1, 2, 5, 9])
def test_a_killed_writer_loses_nothing_that_it_said_was_kept(log: MeasuredLog, after: int) -> None:
    writer = started(WRITER, log.path, "A", "100000")
    assert writer.stdout is not None
    said = [int(writer.stdout.readline()) for _ in range(after)]
    writer.kill()
    said += [int(n) for n in writer.communicate(timeout=60)[0].split()]
    kept = [e.id for e in log.entries()]
    assert kept[: len(said)] == said
    assert len(kept) <= len(said) + 1
    assert log.add(a_part()) == len(kept) + 1


@pytest.mark.skipif(os.name != "posix", reason="the limit of a file's size is POSIX")
def test_a_full_disk_is_said_and_loses_nothing(log: MeasuredLog) -> None:
    said, error = started(FULL_DISK, log.path).communicate(timeout=60)
    assert "full" in error
    assert "--no-measured" in error
    assert len(log.entries()) == len(said.split()) > 3
    log.add(a_part())


# -- what is not a log of this version -------------------------------------------------


def _text(path: Path) -> None:
    path.write_text("not a database at all\n" * 50)


def _damaged(path: Path) -> None:
    for _ in range(40):
        MeasuredLog(path).add(a_part())
    raw = bytearray(path.read_bytes())
    raw[4096:4200] = b"\xff" * 104
    path.write_bytes(raw)


def _cut_off(path: Path) -> None:
    for _ in range(40):
        MeasuredLog(path).add(a_part())
    path.write_bytes(path.read_bytes()[:6000])


def _run(path: Path, *commands: str) -> None:
    file = sqlite3.connect(path)
    for command in commands:
        file.execute(command)
    file.commit()
    file.close()


def _other(path: Path) -> None:
    _run(path, "CREATE TABLE parts (id INTEGER)")


def _newer(path: Path) -> None:
    MeasuredLog(path).add(a_part())
    _run(path, f"PRAGMA user_version = {VERSION + 1}")


def _not_a_number(path: Path) -> None:
    MeasuredLog(path).add(a_part())
    _run(path, "UPDATE parts SET blank_mm = 'thick'")


NOT_LOGS = [
    (_text, "not a log of measured parts"),
    (_damaged, "is damaged"),
    (_cut_off, "is damaged"),
    (_other, "a database, but not a log"),
    (_newer, "newer knurlcam"),
    (_not_a_number, "part 1: 'thick' stands where float"),
    (Path.mkdir, "is a folder"),
]


@pytest.mark.parametrize(("make", "said"), NOT_LOGS)
def test_what_is_not_a_log_is_left_as_it_is(
    log: MeasuredLog, make: Callable[[Path], None], said: str
) -> None:
    make(log.path)
    before = log.path.read_bytes() if log.path.is_file() else b""
    with pytest.raises(InputError, match=rf"measured.sqlite: .*{said}.*--no-measured"):
        log.entries()
    if make is not _not_a_number:
        with pytest.raises(InputError, match=said):
            log.add(a_part())
    assert (log.path.read_bytes() if log.path.is_file() else b"") == before


def test_an_empty_file_is_an_empty_log(log: MeasuredLog) -> None:
    log.path.touch()
    assert log.entries() == ()
    assert log.add(a_part()) == 1


def test_a_missing_folder_is_said(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be opened"):
        MeasuredLog(tmp_path / "none" / "measured.sqlite").add(a_part())


def test_a_read_only_folder_is_read_and_not_written(log: MeasuredLog) -> None:
    log.add(a_part())
    log.path.parent.chmod(0o555)
    try:
        assert len(log.entries()) == 1
        with pytest.raises(InputError, match="write-protected"):
            log.add(a_part())
    finally:
        log.path.parent.chmod(0o755)
