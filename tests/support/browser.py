"""Chromium for the page's tests: found, or fetched, never silently done without.

``python -m tests.support.browser`` does by hand what a run of the tests does: it prints the
browser's file, and fetches one first where the machine has none.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Literal, NamedTuple

import pytest
from filelock import FileLock
from playwright.sync_api import Browser, Dialog, Page, sync_playwright

CHROMIUM_VARIABLE = "KNURLCAM_CHROMIUM"
"""Environment variable: the browser to take."""

NAMES = ("chromium", "chromium-browser")
"""Commands under which systems have it."""

DOWNLOAD_S = 300.0
PACKAGE_S = 600.0
"""Longest wait for each way of fetching: in a closed network a download may hang [s]"""

START_S = 60.0
"""Longest wait for a browser to give its version [s]"""

FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

HOW = (
    "the page's tests run in a real browser and none could be had: install Chromium (apt-get "
    "install chromium, or python -m playwright install --with-deps chromium), or name its file in "
    f"{CHROMIUM_VARIABLE}"
)


class NoBrowserError(Exception):
    """There is no browser, and none could be fetched; says how to get one."""


# -- found or fetched ------------------------------------------------------------------


def chromium_path(own: str, say: Callable[[str], None]) -> str:
    """Return the browser's file; fetch one where the machine has none.

    Args:
        own: Where the test driver keeps the one that it downloads.
        say: Told what is done, where anything is.

    Raises:
        NoBrowserError: saying how to get one.
    """
    found = _there(own)
    if found:
        return found
    # Workers run at the same time: one fetches, and the others find what it did.
    with FileLock(_lock_file()):
        return _there(own) or _fetched_once(own, say)


def _there(own: str) -> str | None:
    """Return a browser that is named or already there."""
    named = os.environ.get(CHROMIUM_VARIABLE)
    if named:
        if not os.path.exists(named):
            raise NoBrowserError(f"{CHROMIUM_VARIABLE} names {named}, which does not exist; {HOW}")
        return named
    installed = next(filter(None, map(shutil.which, NAMES)), None)
    return installed or (own if starts(own) else None)


def starts(file: str) -> bool:
    """Return whether a browser gives its version: a download may lack the system's libraries."""
    return os.path.exists(file) and runs([file, "--headless", "--no-sandbox", "--version"], START_S)


def _lock_file() -> Path:
    """Return the lock's file, one for each user of the machine."""
    user = os.getuid() if hasattr(os, "getuid") else 0
    return Path(tempfile.gettempdir()) / f"knurlcam-browser-{user}.lock"


def _fetched_once(own: str, say: Callable[[str], None]) -> str:
    """Return a browser fetched now; what failed for one worker is not tried by the next."""
    run = os.environ.get("PYTEST_XDIST_TESTRUNUID")
    failed = _lock_file().with_suffix(f".{run}.failed") if run else None
    if failed and failed.exists():
        raise NoBrowserError(HOW)
    found = _fetched(own, say)
    if found is None:
        if failed:
            failed.touch()
        raise NoBrowserError(HOW)
    return found


class _Way(NamedTuple):
    """A way to fetch a browser: what it is called, its commands, how long each may take [s]."""

    name: str
    commands: Sequence[Sequence[str]]
    seconds: float


def _fetched(own: str, say: Callable[[str], None]) -> str | None:
    say("no Chromium found for the page's tests")
    for way in _ways():
        say(f"fetching one by {way.name}, for {way.seconds:.0f} s at most ...")
        if all(runs(command, way.seconds) for command in way.commands):
            found = _there(own)
            if found:
                say(f"Chromium is at {found}")
                return found
        say(f"that failed: {way.name}")
    return None


def _ways() -> list[_Way]:
    """Return the ways that may work here, the one that changes least first."""
    driver = [sys.executable, "-m", "playwright", "install", "chromium"]
    ways = [_Way("the test driver's own download", [driver], DOWNLOAD_S)]
    before = _as_root()
    if shutil.which("apt-get") and before is not None:
        # The pages' letters are measured: a machine with only Python has no typeface.
        packages = ["chromium", "fonts-dejavu-core"]
        install = ["apt-get", "install", "-y", "--no-install-recommends", *packages]
        commands = [[*before, "apt-get", "update"], [*before, *install]]
        ways.append(_Way("Debian's package chromium", commands, PACKAGE_S))
    return ways


def _as_root() -> list[str] | None:
    """Return what goes before a command to run it as root; None where that takes a password."""
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        return []
    if shutil.which("sudo") and runs(["sudo", "-n", "true"], START_S):
        return ["sudo", "-n"]
    return None


def runs(command: Sequence[str], seconds: float) -> bool:
    """Return whether a command ends well in time; one that does not is ended with its children."""
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    quiet = subprocess.DEVNULL
    try:
        child = subprocess.Popen(
            command,
            stdin=quiet,
            stdout=quiet,
            stderr=quiet,
            env=environment,
            start_new_session=True,
        )
    except OSError:
        return False
    try:
        return child.wait(seconds) == 0
    except subprocess.TimeoutExpired:
        os.killpg(child.pid, signal.SIGKILL)
        child.wait()
        return False


def aloud(config: pytest.Config) -> Callable[[str], None]:
    """Return a function that writes to the terminal, past what pytest captures."""
    capture = config.pluginmanager.getplugin("capturemanager")

    def say(text: str) -> None:
        with capture.global_and_fixture_disabled():
            print(f"\n{text}", file=sys.stderr, flush=True)

    return say


# -- a page that is open ---------------------------------------------------------------

_PAGES: dict[tuple[Browser, bool], _Recorded] = {}
"""One page for each browser, and one without scripts: opening another takes longer than going to
another file."""


class _Recorded:
    """A page, and lists of what it complains of and asks for."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.forget()
        page.on("console", lambda m: self.complaints.append(m.text))
        page.on("pageerror", lambda e: self.complaints.append(str(e)))
        page.on("request", lambda r: self.requests.append(r.url))
        page.on("response", lambda r: self.answers.append(r.url))
        page.on("dialog", self._dismiss)

    def forget(self) -> None:
        """Begin new lists; the old ones stay with whom they were given to."""
        self.complaints: list[str] = []
        self.requests: list[str] = []
        self.answers: list[str] = []

    def _dismiss(self, dialog: Dialog) -> None:
        self.complaints.append(dialog.message)
        dialog.dismiss()


class Shown:
    """A page that is open, with all it complained of and asked for.

    There is one at a time: the next takes the page over.
    """

    def __init__(
        self,
        browser: Browser,
        file: Path,
        width: int = 1280,
        color_scheme: Literal["light", "dark"] = "light",
        java_script_enabled: bool = True,
    ) -> None:
        key = browser, java_script_enabled
        if key not in _PAGES:
            new = browser.new_page(java_script_enabled=java_script_enabled)
            _PAGES[key] = _Recorded(new)
        kept = _PAGES[key]
        self.page = kept.page
        self.page.goto("about:blank")
        self.page.set_viewport_size({"width": width, "height": 900})
        self.page.emulate_media(media="null", color_scheme=color_scheme)
        kept.forget()
        self.complaints, self.requests = kept.complaints, kept.requests
        self.answers = kept.answers
        self.page.goto(file.as_uri())


# -- by hand ---------------------------------------------------------------------------


def main() -> int:
    """Print the browser's file, fetched if need be."""
    with sync_playwright() as driver:
        own = driver.chromium.executable_path
    try:
        print(chromium_path(own, lambda text: print(text, file=sys.stderr, flush=True)))
    except NoBrowserError as error:
        print(error, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
