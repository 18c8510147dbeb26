"""How the tests find a browser, tried with commands that only look like the real ones."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest

from tests.support import browser
from tests.support.browser import CHROMIUM_VARIABLE, NoBrowserError, chromium_path


class Machine:
    """A machine with nothing on it but what a test puts there."""

    def __init__(self, folder: Path) -> None:
        self.bin = folder / "bin"
        self.bin.mkdir()
        self.own = folder / "downloaded"
        self.said: list[str] = []

    def put(self, name: str, does: str = "exit 0") -> Path:
        """Put a command there."""
        file = self.bin / name
        file.write_text(f"#!/bin/sh\n{does}\n", encoding="utf-8")
        file.chmod(0o755)
        return file

    def brings(self, file: Path, does: str = "exit 0") -> str:
        """Return what a command does that brings a browser."""
        return f"printf '#!/bin/sh\\n{does}\\n' > {file}\n/bin/chmod 755 {file}"

    def path(self) -> str:
        """Look for a browser."""
        return chromium_path(str(self.own), self.said.append)


@pytest.fixture
def machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Machine:
    made = Machine(tmp_path)
    monkeypatch.setenv("PATH", str(made.bin))
    monkeypatch.delenv(CHROMIUM_VARIABLE, raising=False)
    monkeypatch.delenv("PYTEST_XDIST_TESTRUNUID", raising=False)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    monkeypatch.setattr(sys, "executable", str(made.put("python", "exit 1")))
    return made


def test_one_that_is_named_is_taken(machine: Machine, monkeypatch: pytest.MonkeyPatch) -> None:
    machine.put("chromium")
    named = machine.put("another")
    monkeypatch.setenv(CHROMIUM_VARIABLE, str(named))
    assert machine.path() == str(named)


def test_a_name_that_leads_nowhere_is_refused(
    machine: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    machine.put("chromium")
    monkeypatch.setenv(CHROMIUM_VARIABLE, "/nowhere/browser")
    with pytest.raises(NoBrowserError, match="names /nowhere/browser, which does not exist"):
        machine.path()


@pytest.mark.parametrize("name", browser.NAMES)
def test_one_that_is_there_is_taken_without_a_word(name: str, machine: Machine) -> None:
    there = machine.put(name)
    assert machine.path() == str(there)
    assert machine.said == []


def test_one_downloaded_before_is_taken(machine: Machine) -> None:
    machine.own.write_text("#!/bin/sh\nexit 0\n", encoding="utf-8")
    machine.own.chmod(0o755)
    assert machine.path() == str(machine.own)
    assert machine.said == []


def test_the_test_driver_downloads_one(machine: Machine) -> None:
    machine.put("python", machine.brings(machine.own))
    machine.put("apt-get", "exit 1")
    assert machine.path() == str(machine.own)
    assert "the test driver's own download" in machine.said[1]
    assert machine.said[-1] == f"Chromium is at {machine.own}"


def test_a_download_that_does_not_start_is_followed_by_debians_package(
    machine: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A bare Debian lacks the libraries that the download wants; the package brings them."""
    machine.put("python", machine.brings(machine.own, "exit 127"))
    machine.put("apt-get", machine.brings(machine.bin / "chromium"))
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    assert machine.path() == str(machine.bin / "chromium")
    assert any("Debian's package" in text for text in machine.said)


def test_debians_package_is_installed_by_sudo_where_it_asks_for_no_password(
    machine: Machine,
) -> None:
    machine.put("sudo", 'test "$1" = -n && shift && exec "$@"')
    machine.put("true")
    machine.put("apt-get", machine.brings(machine.bin / "chromium"))
    assert machine.path() == str(machine.bin / "chromium")


def test_without_a_way_the_run_ends_with_a_sentence_that_says_how_to_get_one(
    machine: Machine,
) -> None:
    machine.put("sudo", "exit 1")
    tried = machine.bin / "tried"
    machine.put("apt-get", f": > {tried}")
    with pytest.raises(NoBrowserError, match="apt-get install chromium, or python -m playwright"):
        machine.path()
    assert not tried.exists(), "not without a right to"


def test_what_failed_for_one_worker_is_not_tried_by_the_next(
    machine: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PYTEST_XDIST_TESTRUNUID", "run")
    for _ in range(2):
        with pytest.raises(NoBrowserError, match="none could be had"):
            machine.path()
    assert machine.said.count("no Chromium found for the page's tests") == 1


def test_a_download_that_hangs_is_ended_with_its_children(
    machine: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    late = machine.bin / "late"
    machine.put("python", f"(/bin/sleep 2; : > {late}) &\nwait")
    monkeypatch.setattr(browser, "DOWNLOAD_S", 0.2)
    with pytest.raises(NoBrowserError, match="none could be had"):
        machine.path()
    time.sleep(2.3)
    assert not late.exists()


def test_the_command_prints_the_browsers_file() -> None:
    environment = {**os.environ, CHROMIUM_VARIABLE: sys.executable}
    done = subprocess.run(
        [sys.executable, "-m", "tests.support.browser"],
        env=environment,
        cwd=Path(__file__).resolve().parents[2],
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout == f"{sys.executable}\n"
