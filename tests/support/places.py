"""What may stand where a file is to be written, and what a tree of files holds."""

from __future__ import annotations

import os
import signal
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

Tree = dict[str, tuple[int, int, bytes | str | None]]
"""By each path below a folder: mode, time of the last change [ns], content or where it leads."""


def tree(folder: Path) -> Tree:
    """Return all that stands in a folder, the folder itself included; no link is followed."""
    found: Tree = {}
    for path in (folder, *sorted(folder.rglob("*"))):
        about = path.lstat()
        content: bytes | str | None = None
        if stat.S_ISREG(about.st_mode):
            content = path.read_bytes()
        elif stat.S_ISLNK(about.st_mode):
            content = os.readlink(path)
        found[str(path.relative_to(folder))] = about.st_mode, about.st_mtime_ns, content
    return found


def outside(tmp_path: Path) -> Path:
    """Make a folder that no output may change, beside the one that it is written to."""
    folder = tmp_path / "outside"
    (folder / "below").mkdir(parents=True)
    (folder / "mine").write_text("mine", encoding="utf-8")
    (folder / "below" / "mine").write_text("mine as well", encoding="utf-8")
    return folder


def out_beside_outside(tmp_path: Path) -> Path:
    """Make an empty folder for outputs, beside one that must not change."""
    outside(tmp_path)
    folder = tmp_path / "out"
    folder.mkdir()
    return folder


@contextmanager
def alarm(seconds: int) -> Iterator[None]:
    """End what waits for the other end of a pipe."""
    signal.alarm(seconds)
    yield
    signal.alarm(0)


def a_chain(at: Path) -> None:
    """Put a link to a link that leads out."""
    at.with_name("hop").symlink_to("../outside/mine")
    at.symlink_to("hop")


def a_protected_file(at: Path) -> None:
    at.write_text("mine", encoding="utf-8")
    at.chmod(0o444)


IN_THE_WAY: dict[str, tuple[Callable[[Path], object], str]] = {
    "a link to a file": (lambda at: at.symlink_to("../outside/mine"), "leads out of its folder"),
    "a link to nothing": (lambda at: at.symlink_to("../outside/none"), "leads out of its folder"),
    "a link to a folder": (lambda at: at.symlink_to("../outside"), "is a folder"),
    "a link to a device": (lambda at: at.symlink_to("/dev/null"), "is a device"),
    "a chain": (a_chain, "leads out of its folder"),
    "a link to itself": (lambda at: at.symlink_to(at.name), "cannot be written: Too many levels"),
    "a folder": (lambda at: at.mkdir(), "is a folder"),
    "a pipe": (lambda at: os.mkfifo(at), "is a pipe"),
    "a socket": (lambda at: os.mknod(at, stat.S_IFSOCK | 0o600), "is a socket"),
    "a protected file": (a_protected_file, "is write-protected"),
}
"""What no output may replace, write through or wait for, and what is said of it."""
