"""The disk: files written, waited for and compared, and its errors in words."""

from __future__ import annotations

import hashlib
import os
import sqlite3
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from knurlcam.errors import InputError
from knurlcam.files import what_stands_at

__all__ = ["disk_errors_named", "sha256_of", "stream", "wait_for_disk", "write_new"]

RESUME = "the files already written are complete; correct it and run again with --resume"


@contextmanager
def disk_errors_named(folder: Path, remedy: str = RESUME) -> Iterator[None]:
    """Turn an error of the operating system into one that names the folder.

    Args:
        folder: The folder that is written to.
        remedy: What to do.

    Raises:
        InputError: in place of an OSError, or of the ledger's own on a full disk.
    """
    try:
        yield
    except (OSError, sqlite3.Error) as error:
        name = getattr(error, "filename", None)
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(
            f"cannot be written: {f'{name}: ' if name else ''}{reason}",
            where=str(folder),
            expected="a folder that can be written to, with room on the disk",
            remedy=remedy,
        ) from None


def write_new(folder: str, name: str | None, text: str | None) -> None:
    """Write a file that does not exist yet; nothing for what has no name or no text.

    Args:
        folder: Its folder, ended by a separator.
        name: Its name, or None.
        text: Its text, or None.
    """
    if name is not None and text is not None:
        with open(folder + name, "xb") as file:
            file.write(text.encode())


def stream(path: Path, mode: str) -> IO[bytes]:
    """Open a file that is closed by the caller."""
    opened: IO[bytes] = open(path, mode)  # noqa: SIM115
    return opened


def sha256_of(path: str | Path) -> str | None:
    """Return a file's SHA-256; None where there is none, or a link or pipe."""
    try:
        if what_stands_at(path) != "a file":
            return None
        with open(path, "rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return None


def wait_for_disk(files: Iterable[str | Path] = (), streams: Iterable[IO[bytes]] = ()) -> None:
    """Return when what was written is on the disk: power may fail afterwards.

    Args:
        files: The files that were written.
        streams: Open files that were written to.
    """
    if sys.platform != "win32" and hasattr(os, "sync"):
        # Once for all of them, though it asks all disks and reports no error: to wait for each
        # file (`fsync`) took longer than making it.
        os.sync()
        return
    for opened in streams:
        os.fsync(opened.fileno())
    for name in files:
        with open(name, "r+b") as file:
            os.fsync(file.fileno())
