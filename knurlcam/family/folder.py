"""The folder that a family goes into: whole files, an index, and nothing lost.

While a run goes on, the folder holds ``.unfinished``: new programs are written there
first, each is noted in a journal, the disk is waited for, and only then do they move to
their place. Whatever stops the run, a program in its place is whole, and the journal
tells which of them the next run need not make again.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import IO, Self

from filelock import FileLock, Timeout

from knurlcam.errors import InputError
from knurlcam.family import names
from knurlcam.family.index import (
    INDEX_FILES,
    INDEX_JSON,
    Counts,
    index_lines,
    is_index,
    write_index,
)
from knurlcam.family.ledger import Ledger
from knurlcam.family.make import Result

__all__ = ["FamilyFolder", "Summary"]

UNFINISHED = ".unfinished"
"""Subfolder that stands while a run goes on, and after one that was cut off."""

JOURNAL = "journal.jsonl"
LOCK = "in-use"
STAGED = "new"
STAGED_INDEX = "index"

BATCH = 128
"""Most programs that wait for the disk together."""

BATCH_SECONDS = 1.0
"""... and for how long at most."""


_JSON = json.JSONEncoder(ensure_ascii=False)


@dataclass(frozen=True, slots=True)
class Summary:
    """What a run left in its folder.

    Attributes:
        counts: Rows by what became of them.
        removed: Files of an earlier run that no row makes any more.
        left: Such files that were changed by hand, and so were left where they are.
    """

    counts: Counts
    removed: int
    left: tuple[str, ...]


class FamilyFolder:
    """A folder that takes a family's results; use it in a ``with`` block.

    Args:
        path: The folder; it is made where there is none.
        force: Whether files that are none of an earlier run's may be written over.
        resume: Whether an earlier run's programs may be kept; see :meth:`kept`.
        strict: Whether one row without a program keeps all others from their place.
        base: The base job's name, for the index.
        table: The table's name, for the index.

    Raises:
        InputError: if the folder cannot be used; then nothing in it was touched.
    """

    def __init__(
        self,
        path: str | Path,
        *,
        force: bool = False,
        resume: bool = False,
        strict: bool = False,
        base: str = "",
        table: str = "",
    ) -> None:
        self.path = Path(path)
        self.force, self.resume, self.strict = force, resume, strict
        self.base, self.table = base, table
        self.counts = Counts()
        self._ledger = Ledger()
        self._staging = os.path.join(self._staged, "")
        self._waiting = 0
        self._since = 0.0
        self._lines: list[str] = []
        self._made_folder = False
        self._began = 0
        self._finished = False

    # -- opening ---------------------------------------------------------------

    def __enter__(self) -> Self:
        with _told(self.path):
            if self.path.exists() and not self.path.is_dir():
                raise InputError(
                    "is no folder",
                    where=str(self.path),
                    expected="a folder for the programs",
                    remedy="choose another name",
                )
            self._made_folder = not self.path.exists()
            self._read_what_was_made()
            if not self.force:
                self._refuse_what_is_not_ours()
            self.path.mkdir(parents=True, exist_ok=True)
            self._unfinished.mkdir(exist_ok=True)
            self._lock = FileLock(self._unfinished / LOCK)
            self._take_lock()
            shutil.rmtree(self._staged, ignore_errors=True)
            self._staged.mkdir()
            self._journal = self._open_journal()
        return self

    @property
    def _unfinished(self) -> Path:
        return self.path / UNFINISHED

    @property
    def _staged(self) -> Path:
        return self._unfinished / STAGED

    def _take_lock(self) -> None:
        try:
            self._lock.acquire(timeout=0)
        except Timeout:
            raise InputError(
                "another run is at work in it",
                where=str(self.path),
                expected="one run at a time",
                remedy="wait for it, or choose another folder",
            ) from None

    def _open_journal(self) -> IO[str]:
        """Open the journal behind its last whole line."""
        path = self._unfinished / JOURNAL
        with path.open("ab+") as stream:
            end = stream.tell()
            stream.seek(0)
            whole = 0
            while line := stream.readline():
                if line.endswith(b"\n"):
                    whole = stream.tell()
            if whole != end:
                stream.truncate(whole)
        self._began = whole
        return path.open("a", encoding="utf-8", newline="\n")

    def _read_what_was_made(self) -> None:
        """Note the rows of earlier runs: of the index, then of a run that was cut off."""
        for line in index_lines(self.path / INDEX_JSON):
            self._ledger.add_made(line)
        journal = self._unfinished / JOURNAL
        if journal.is_file():
            with journal.open(encoding="utf-8", errors="replace") as stream:
                for line in stream:
                    self._ledger.add_made(line)

    def _refuse_what_is_not_ours(self) -> None:
        """Refuse a folder with files that no run made, or that were changed since."""
        if not self.path.is_dir():
            return
        ours = {UNFINISHED}
        if is_index(self.path / INDEX_JSON) or (self._unfinished / JOURNAL).exists():
            ours.update(INDEX_FILES)
        with os.scandir(self.path) as entries:
            for entry in entries:
                if entry.name in ours:
                    continue
                made = self._ledger.was_made(entry.name)
                if not made or not entry.is_file(follow_symlinks=False):
                    raise self._foreign(entry.name, "was not made by an earlier run")
                if not self.resume and _sha256(Path(entry.path)) not in made:
                    raise self._foreign(entry.name, "was changed since it was made")

    def _foreign(self, name: str, problem: str) -> InputError:
        return InputError(
            f"{name} {problem}",
            where=str(self.path),
            expected="an empty folder, or one that holds an earlier run and nothing else",
            remedy="choose another folder, move the file away, or write over it with --force",
        )

    # -- taking results --------------------------------------------------------

    def kept(self, file: str, inputs_sha256: str, row: int) -> Result | None:
        """Return an earlier run's result where it still holds; only with *resume*.

        Args:
            file: The program's file.
            inputs_sha256: What the program would be made from now.
            row: The row's number now.

        Returns:
            The result, without its text, if the program was made from the same and
            neither it nor its page was touched since; else None.
        """
        if not self.resume:
            return None
        for sha256, entry in self._ledger.made(file):
            if entry["inputs_sha256"] != inputs_sha256 or entry["file"] != file:
                continue
            page = entry["page"]
            if _sha256(self.path / file) == sha256 and (
                page is None or _sha256(self.path / page) == entry["page_sha256"]
            ):
                return Result(row, entry["name"], file, None, None, {**entry, "row": row})
        return None

    def add(self, result: Result) -> None:
        """Take a result.

        Raises:
            InputError: if the disk does not take it, or its name is taken already.
        """
        if result.ok and result.file is not None:
            self._refuse_taken(result.file, result.row)
        with _told(self.path):
            files = [(result.file, result.text), (result.entry["page"], result.html)]
            for name, text in files:
                if name is not None and text is not None:
                    with open(f"{self._staging}{name}", "xb") as stream:
                        stream.write(text.encode())
            self._lines.append(_JSON.encode(result.entry) + "\n")
            self._ledger.keep(name for name, _ in files if name is not None)
            self.counts.add(result)
            self._waiting += 1
            if self._waiting == 1:
                self._since = time.monotonic()
            if self._waiting >= BATCH or time.monotonic() - self._since > BATCH_SECONDS:
                self._settle(publish=not self.strict)

    def _refuse_taken(self, file: str, row: int) -> None:
        other = self._ledger.take(names.folded(file), row)
        if other is not None:
            raise InputError(
                f"is the file of row {other} already",
                where=f"row {row}",
                key="file",
                value=file,
                expected="a name for each part that differs in more than its ending",
                remedy="give the parts different names, or add a column `file`",
            )

    def _settle(self, *, publish: bool) -> None:
        """Note in the journal what was made, wait for the disk, then put it in its place.

        The journal comes first: a file in its place that no journal knows would be taken
        for a stranger's.
        """
        self._journal.writelines(self._lines)
        self._journal.flush()
        self._lines.clear()
        self._waiting = 0
        if not publish:
            return
        _wait_for_disk(self._staged, self._journal)
        place = os.path.join(self.path, "")
        with os.scandir(self._staged) as entries:
            for entry in entries:
                os.replace(entry.path, place + entry.name)

    # -- closing ---------------------------------------------------------------

    def finish(self) -> Summary:
        """Put all in place, write the index, and take away what is outdated.

        With ``strict`` and a row that has no program nothing is put in place.

        Raises:
            InputError: if the disk does not take it.
        """
        with _told(self.path):
            if self.strict and self.counts.failed:
                self._settle(publish=False)
                self._give_up()
                return Summary(self.counts, 0, ())
            self._settle(publish=True)
            removed, left = self._remove_outdated()
            self._write_index()
            self._journal.close()
            self._lock.release()
            shutil.rmtree(self._unfinished)
            self._finished = True
            return Summary(self.counts, removed, tuple(left))

    def _write_index(self) -> None:
        staged = self._unfinished / STAGED_INDEX
        staged.mkdir(exist_ok=True)
        write_index(staged, self._run_lines, self.counts, self.base, self.table)
        _wait_for_disk(staged, self._journal)
        for name in INDEX_FILES:  # index.json is the last of them: it says what is ours
            os.replace(staged / name, self.path / name)

    def _run_lines(self) -> Iterator[str]:
        """Return this run's lines of the journal."""
        with (self._unfinished / JOURNAL).open("rb") as stream:
            stream.seek(self._began)
            for line in stream:
                yield line.decode("utf-8")

    def _remove_outdated(self) -> tuple[int, list[str]]:
        """Remove files of earlier runs that no row makes any more, unless they were changed."""
        removed, left = 0, []
        for file in self._ledger.outdated():
            path = self.path / file
            if not path.is_file():
                continue
            if _sha256(path) in self._ledger.was_made(file):
                path.unlink()
                removed += 1
            else:
                left.append(file)
        return removed, left

    def _give_up(self) -> None:
        """Leave the folder as it was found."""
        self._journal.close()
        os.truncate(self._unfinished / JOURNAL, self._began)
        shutil.rmtree(self._staged)
        self._lock.release()
        if self._began == 0:
            shutil.rmtree(self._unfinished)
        if self._made_folder:
            with suppress(OSError):
                self.path.rmdir()
        self._finished = True

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Leave what was not finished for the next run."""
        # What waits is not put in its place now: the last of it may be half written.
        try:
            if not self._finished:
                with suppress(OSError):
                    self._journal.close()
                self._lock.release()
        finally:
            self._ledger.close()


@contextmanager
def _told(folder: Path) -> Iterator[None]:
    """Say what the disk refuses in a user's words."""
    try:
        yield
    except OSError as error:
        name = f"{error.filename}: " if error.filename else ""
        raise InputError(
            f"cannot be written: {name}{error.strerror or error}",
            where=str(folder),
            expected="a folder that can be written to, with room on the disk",
            remedy="what was made so far is whole; mend it and run again with --resume",
        ) from None


def _sha256(path: Path) -> str | None:
    """Return a file's SHA-256; None where there is none."""
    try:
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError:
        return None


def _wait_for_disk(staged: Path, journal: IO[str]) -> None:
    """Return when what was written is on the disk: power may go afterwards."""
    if hasattr(os, "sync"):
        os.sync()  # once for all of them: a wait for each would take longer than making it
        return
    os.fsync(journal.fileno())
    with os.scandir(staged) as entries:
        for entry in entries:
            with open(entry.path, "r+b") as stream:
                os.fsync(stream.fileno())
