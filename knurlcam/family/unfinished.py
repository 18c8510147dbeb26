"""``.unfinished``: what a run has made but not put in its place, its journal and its lock.

The subfolder stands while a run goes on, and after one that was cut off. It is used only if
it is a real folder with nothing in it but our own names, each a plain file without another
name: anyone may have made what is found there.
"""

from __future__ import annotations

import json
import os
import shutil
import stat
import sys
import tempfile
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import IO

from filelock import FileLock, Timeout

from knurlcam.errors import InputError
from knurlcam.family.disk import stream
from knurlcam.family.entry import Lines
from knurlcam.family.index import INDEX_JSON, Head, index_tail

__all__ = ["OWN_FILES", "OWN_FOLDERS", "UNFINISHED", "Unfinished"]

UNFINISHED = ".unfinished"
"""Name of the subfolder; no program has a name that begins with a dot."""

LOCK, MARK, JOURNAL, BEFORE = "in-use", "family.json", "journal.jsonl", "before.json"
"""Its files: the lock; whose folder it is; a line of index.json for each program; the index
of the run before."""

ROWS_CSV, ROWS_PAGE = "rows.csv", "rows.page"
"""The rows of index.csv and of index.html, until these are written."""

OWN_FILES = (JOURNAL, BEFORE, ROWS_CSV, ROWS_PAGE, MARK)
"""All files but the lock, in the order in which they are removed: the others are known to be
ours by the mark, so it goes last."""

STAGED, STAGED_INDEX = OWN_FOLDERS = "new", "index"
"""Its folders: programs and pages, and the index, before they move to their place."""

OWN = frozenset((LOCK, *OWN_FILES, *OWN_FOLDERS))
"""All that may stand in it."""

LINE_ENDS = {"json": "\n", "csv": "\r\n", "page": "\n"}
"""End of a line in each file of rows."""


class Unfinished:
    """The subfolder of one run.

    Args:
        folder: The family's folder.

    Attributes:
        path: The subfolder.
        staging: Where programs are written first, ended by a separator.
        journal: A line for each program that was made, by this run and those cut off before.
        before: The index of the run before, where its programs are being replaced.
        staged_index: Where the index is written first.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.path = folder / UNFINISHED
        self.journal, self.before = self.path / JOURNAL, self.path / BEFORE
        self.staged_index = self.path / STAGED_INDEX
        self.staging = ""
        self._created: list[Path] = []
        self._streams: dict[str, IO[bytes]] = {}
        self._began = 0
        self._mark_before: bytes | None = None

    # -- opening -------------------------------------------------------------------------------

    def refuse_foreign(self) -> None:
        """Refuse a folder of this name that no run of ours has left.

        Raises:
            InputError: naming it.
        """
        if os.path.lexists(self.path) and not self._is_ours():
            raise InputError(
                f"the {UNFINISHED} in it does not come from this command",
                where=str(self.folder),
                expected=f"no {UNFINISHED}, or one that an earlier run left",
                remedy="choose another folder, or move it away",
            )

    def _is_ours(self) -> bool:
        if not self.path.is_dir() or self.path.is_symlink():
            return False
        inside = set(os.listdir(self.path))
        as_made = all(_is_as_made(self.path / name) for name in inside)
        return inside <= OWN and as_made and (MARK in inside or inside <= {LOCK})

    def create(self) -> None:
        """Make the subfolder and those above it, and note which did not exist."""
        missing = [f for f in (self.path, *self.path.parents) if not f.exists()]
        for one in reversed(missing):
            one.mkdir(exist_ok=True)
            self._created.append(one)
        self._lock = FileLock(self.path / LOCK)

    def lock(self) -> None:
        """Take the lock: the folder is looked at and changed under it only.

        Raises:
            InputError: if another run has it.
        """
        try:
            self._lock.acquire(timeout=0)
        except Timeout:
            raise InputError(
                "another run is at work in it",
                where=str(self.folder),
                expected="one run at a time",
                remedy="wait for it, or choose another folder",
            ) from None

    def head(self) -> Head | None:
        """Return what the run that was cut off is made from; None if none was."""
        with suppress(FileNotFoundError, ValueError, KeyError, TypeError, RecursionError):
            mark = json.loads((self.path / MARK).read_text(encoding="utf-8"))
            return Head(mark["base"], mark["table"])
        return None

    def prepare(self, head: Head) -> None:
        """Make the subfolder ready for a run."""
        mark = self.path / MARK
        self._mark_before = mark.read_bytes() if mark.exists() else None
        text = json.dumps({"base": head.base, "table": head.table})
        mark.write_text(text + "\n", encoding="utf-8")  # before all else: the rest is known by it
        # A run may have been cut off while it put its index in place: that index lists the
        # files that are ours.
        written = self.staged_index / INDEX_JSON
        if index_tail(written).sha256:
            os.replace(written, self.before)
        for name in OWN_FOLDERS:
            shutil.rmtree(self.path / name, ignore_errors=True)
            (self.path / name).mkdir(exist_ok=True)
        # A worker of a run that was killed may take a moment to notice: it must not find
        # this run's folder where it found its own.
        self.staging = os.path.join(tempfile.mkdtemp(dir=self.path / STAGED), "")
        self._streams = {
            "json": self._open_journal(),
            "csv": stream(self.path / ROWS_CSV, "wb"),
            "page": stream(self.path / ROWS_PAGE, "wb"),
        }

    def _open_journal(self) -> IO[bytes]:
        """Open the journal behind its last whole line."""
        with open(self.journal, "ab+") as file:
            end = file.tell()
            file.seek(0)
            whole = 0
            while line := file.readline():
                if line.endswith(b"\n"):
                    whole = file.tell()
            if whole != end:
                file.truncate(whole)
        self._began = whole
        return stream(self.journal, "ab")

    # -- rows ----------------------------------------------------------------------------------

    def note(self, lines: Sequence[Lines]) -> None:
        """Write rows to the journal and to the rows of the index."""
        for name, end in LINE_ENDS.items():
            text = "".join(getattr(line, name) + end for line in lines)
            self._streams[name].write(text.encode())
            self._streams[name].flush()

    @property
    def streams(self) -> Sequence[IO[bytes]]:
        """The journal and the rows, as they are open."""
        return tuple(self._streams.values())

    def json_rows(self) -> IO[bytes]:
        """Open the journal where this run's rows begin; the caller closes it."""
        file = stream(self.journal, "rb")
        file.seek(self._began)
        return file

    def csv_rows(self) -> IO[bytes]:
        """Open the rows of index.csv; the caller closes them."""
        return stream(self.path / ROWS_CSV, "rb")

    def page_rows(self) -> IO[bytes]:
        """Open the rows of index.html; the caller closes them."""
        return stream(self.path / ROWS_PAGE, "rb")

    # -- closing -------------------------------------------------------------------------------

    def close(self) -> None:
        """Leave everything for the next run to finish."""
        self._close_streams()
        self._lock.release()

    def remove(self) -> None:
        """Remove the subfolder, the lock last and while it is held."""
        self._close_streams()
        for name in OWN_FOLDERS:
            shutil.rmtree(self.path / name)
        self._remove_files()

    def _remove_files(self) -> None:
        for name in OWN_FILES:
            (self.path / name).unlink(missing_ok=True)
        self._remove_lock()

    def leave_as_found(self) -> None:
        """Undo what this run did; nothing was put in its place yet."""
        if not self._lock.is_locked:
            return  # another run's
        found = self.path not in self._created
        if self._streams:
            self._close_streams()
            os.truncate(self.journal, self._began)
        if self._streams or not found:
            for name in OWN_FOLDERS:
                shutil.rmtree(self.path / name, ignore_errors=True)
        if found:
            if self._mark_before is not None:
                (self.path / MARK).write_bytes(self._mark_before)
            self._lock.release()
            return
        self._remove_files()
        for folder in reversed(self._created):
            with suppress(OSError):
                folder.rmdir()

    def _close_streams(self) -> None:
        for opened in self._streams.values():
            with suppress(OSError):
                opened.close()

    def _remove_lock(self) -> None:
        # A run that has opened this very lock finds it gone and takes a new one. After it is
        # let go nothing may be removed that another run may have made.
        if sys.platform != "win32":
            (self.path / LOCK).unlink(missing_ok=True)
            self._lock.release()
        else:  # a file in use cannot be removed there, nor another's
            self._lock.release()
            with suppress(OSError):
                (self.path / LOCK).unlink(missing_ok=True)
        with suppress(OSError):
            self.path.rmdir()


def _is_as_made(path: Path) -> bool:
    """Whether what stands in the subfolder is ours alone: no link, nor another name's file."""
    try:
        about = path.lstat()
    except FileNotFoundError:
        return True  # another run has just removed it
    if path.name in OWN_FOLDERS:
        return stat.S_ISDIR(about.st_mode)
    return stat.S_ISREG(about.st_mode) and about.st_nlink == 1
