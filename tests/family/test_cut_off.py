"""Runs that are cut off, and the next run that finishes them."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from knurlcam import InputError
from tests.support.families import (
    cut_off,
    digests,
    family,
    knobs,
    larger,
)

pytestmark = pytest.mark.usefixtures("batches_of_four")


def test_a_run_that_is_cut_off_leaves_no_index_of_the_run_before(tmp_path: Path) -> None:
    family(tmp_path, knobs(12))
    cut_off(tmp_path, larger(knobs(12)), 9)
    out = tmp_path / "out"
    assert not list(out.glob("index.*"))
    assert "was interrupted" in (out / "UNFINISHED.txt").read_text(encoding="utf-8")
    family(tmp_path, larger(knobs(12)), resume=True)
    family(tmp_path, larger(knobs(12)), out="anew")
    assert digests(out) == digests(tmp_path / "anew")


def test_a_notice_that_was_cut_off_itself_is_ours(tmp_path: Path) -> None:
    cut_off(tmp_path, knobs(9), 6)
    notice = tmp_path / "out" / "UNFINISHED.txt"
    for part in (notice.read_text(encoding="utf-8")[:40], ""):
        notice.write_text(part, encoding="utf-8")
        cut_off(tmp_path, knobs(9), 6, resume=True)
    notice.write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match=r"UNFINISHED\.txt was not made by an earlier run"):
        family(tmp_path, knobs(9), resume=True)


def test_what_was_cut_off_can_go_back_to_what_was_before(tmp_path: Path) -> None:
    family(tmp_path, knobs(9))
    before = digests(tmp_path / "out")
    cut_off(tmp_path, larger(knobs(9)), 6)
    assert family(tmp_path, knobs(9), resume=True).counts.kept > 0
    assert digests(tmp_path / "out") == before


def test_a_run_without_resume_starts_over_where_one_was_cut_off(tmp_path: Path) -> None:
    cut_off(tmp_path, knobs(9), 6)
    assert family(tmp_path, knobs(9)).counts.made == 9
    assert not (tmp_path / "out" / ".unfinished").exists()


def test_a_run_that_dies_between_the_files_of_the_index_can_be_finished(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    family(tmp_path, knobs(3), out="whole")
    really = os.replace

    def dies(source: Any, target: Any) -> None:
        if str(target).endswith("index.json"):
            raise KeyboardInterrupt
        really(source, target)

    with monkeypatch.context() as patched:
        patched.setattr(os, "replace", dies)
        with pytest.raises(KeyboardInterrupt):
            family(tmp_path, knobs(3))
    assert (tmp_path / "out" / "index.csv").exists()
    cut_off(tmp_path, knobs(3), 0, resume=True)
    assert family(tmp_path, knobs(3), resume=True).counts.kept == 3
    assert digests(tmp_path / "out") == digests(tmp_path / "whole")


STEPS = frozenset(("open", "os.remove", "os.rename", "os.mkdir", "os.rmdir", "os.truncate"))
"""Audit events of the interpreter: all that a run can do to its folder."""


def killed_at(step: int, work: Callable[[], object], folder: Path) -> bool:
    """Do some work in a process that dies at its n-th step in a folder; tell whether it did."""
    child = os.fork()
    if child == 0:
        left = step

        def die(event: str, args: tuple[Any, ...]) -> None:
            nonlocal left
            if event in STEPS and str(folder) in str(args[0]):
                left -= 1
                if left < 0:
                    os._exit(9)

        sys.addaudithook(die)
        status = 1
        try:
            work()
            status = 0
        finally:
            os._exit(status)
    _, how = os.waitpid(child, 0)
    assert os.waitstatus_to_exitcode(how) in (0, 9)
    return os.waitstatus_to_exitcode(how) == 9


@pytest.mark.parametrize("more", [{}, {"strict": True}], ids=["as it comes", "strict"])
@pytest.mark.parametrize("stride", [17, pytest.param(1, marks=pytest.mark.long)])
def test_a_run_that_dies_at_any_step_is_finished_by_the_next(
    stride: int, more: dict[str, Any], tmp_path: Path
) -> None:
    rows = [*larger(knobs(3)), {"part.name": "New", "part.knurled_diameter": 40.0}]
    family(tmp_path, knobs(4), out="before")
    family(tmp_path, rows, out="whole")
    whole = digests(tmp_path / "whole")
    out = tmp_path / "out"
    step = 0
    while True:
        shutil.copytree(tmp_path / "before", out)
        dies = killed_at(step, lambda: family(tmp_path, rows, resume=True, **more), out)
        # ... and the next dies as well, early, before the one that is left to finish.
        killed_at(step % 12, lambda: family(tmp_path, rows, resume=True, **more), out)
        assert family(tmp_path, rows, resume=True).written, step
        assert digests(out) == whole, step
        shutil.rmtree(out)
        if not dies:
            break
        step += stride
    assert step > 40


def test_a_run_that_changes_nothing_leaves_what_was_cut_off_before_as_it_was(
    tmp_path: Path,
) -> None:
    cut_off(tmp_path, knobs(9), 6)
    bad = [*knobs(1), {"part.name": "Bad", "part.knurled_diameter": "x"}]
    assert not family(tmp_path, bad, table="other.csv", strict=True, force=True).written
    with pytest.raises(InputError, match=r"holds the programs of .* table\.csv"):
        family(tmp_path, bad, table="other.csv", resume=True)
    assert family(tmp_path, knobs(9), resume=True).counts.kept > 0


def test_a_forced_run_that_was_cut_off_is_finished_without_force(tmp_path: Path) -> None:
    family(tmp_path, knobs(9))
    cut_off(tmp_path, larger(knobs(9)), 6, table="other.csv", force=True)
    assert family(tmp_path, larger(knobs(9)), table="other.csv", resume=True).written
