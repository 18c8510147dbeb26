"""The command line, run in this process or in one of its own."""

from __future__ import annotations

import gc
import io
import json
import os
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import chdir, contextmanager
from pathlib import Path
from typing import Any, NamedTuple
from unittest import mock

from knurlcam.cli.app import main

ROOT = Path(__file__).resolve().parents[2]
JOBS = sorted(p for p in (ROOT / "samples").rglob("*.toml") if p.name != "shop.toml")
FOCUS = ROOT / "samples" / "focus-knob.toml"

PIN = ROOT / "samples" / "dowel-pin.toml"
"""A small knurl: its height map and its page are made in no time."""


class Done(NamedTuple):
    """What a command left behind: its exit status and what it printed."""

    returncode: int
    stdout: str
    stderr: str


def run(*args: str | Path, cwd: Path = ROOT, env: Mapping[str, str] | None = None) -> Done:
    """Run the command line in this process, through its own door: starting one takes longer
    than most commands."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2))
    argv = ["knurlcam", *map(str, args)]
    status = 0
    with (
        chdir(cwd),
        mock.patch.dict(os.environ, {"COLUMNS": "100", **(env or {})}),
        mock.patch.multiple(sys, argv=argv, stdout=out, stderr=err),
        _garbage_collected_as_before(),
    ):
        try:
            main()
        except SystemExit as end:
            status = int(end.code or 0)
        out.flush()
        err.flush()
    told, said = (stream.buffer.getvalue().decode() for stream in (out, err))  # type: ignore[attr-defined]
    assert "Traceback" not in told + said
    return Done(status, told, said)


@contextmanager
def _garbage_collected_as_before() -> Iterator[None]:
    before = gc.get_threshold()
    try:
        yield
    finally:
        gc.unfreeze()
        gc.set_threshold(*before)


def run_json(*args: str | Path, status: int = 0) -> Any:
    """Run a command with ``--json`` and return what it printed."""
    done = run(*args, "--json")
    assert done.returncode == status, done.stderr
    return json.loads(done.stdout)


def run_process(
    *args: str | Path, cwd: Path = ROOT, env: Mapping[str, str] | None = None, timeout: float = 120
) -> Done:
    """Run the command line as a process of its own."""
    done = subprocess.run(
        [sys.executable, "-m", "knurlcam", *map(str, args)],
        cwd=cwd,
        env={**os.environ, **(env or {})},
        capture_output=True,
        text=True,
        check=False,
        timeout=timeout,
    )
    assert "Traceback" not in done.stderr + done.stdout
    return Done(done.returncode, done.stdout, done.stderr)


def changed_job(tmp_path: Path, old: str, new: str, job: Path = FOCUS) -> Path:
    """Return a sample's job with a text replaced."""
    text = job.read_text(encoding="utf-8")
    assert old in text
    changed = tmp_path / "job.toml"
    changed.write_text(text.replace(old, new), encoding="utf-8")
    return changed


def file_of(tmp_path: Path, data: bytes) -> Path:
    """Return a file that holds some bytes."""
    file = tmp_path / "file"
    file.write_bytes(data)
    return file
