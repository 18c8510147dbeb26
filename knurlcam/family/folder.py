"""The folder that a family goes into: whole files, an index, and nothing lost.

While a run goes on, the folder holds ``.unfinished``: new programs are written there
first, each is noted in a journal, the disk is waited for, and only then do they move to
their place. Whatever stops the run, a program in its place is whole, and the journal
tells which of them the next run need not make again. As soon as the first program moves,
the index of the run before goes, and a notice says that there is none.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sqlite3
import stat
import sys
import tempfile
import time
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import IO, Self

from filelock import FileLock, Timeout

from knurlcam.errors import InputError
from knurlcam.family import names
from knurlcam.family.entry import Lines
from knurlcam.family.index import (
    INDEX_CSV,
    INDEX_FILES,
    INDEX_HTML,
    INDEX_JSON,
    Counts,
    Head,
    index_head,
    index_lines,
    index_tail,
    write_index,
)
from knurlcam.family.ledger import Ledger
from knurlcam.family.make import Result, write_new
from knurlcam.files import is_protected, what_stands_at

__all__ = ["FamilyFolder", "Summary", "told"]

UNFINISHED = ".unfinished"
"""Subfolder that stands while a run goes on, and after one that was cut off."""

LOCK, MARK, JOURNAL, BEFORE = "in-use", "family.json", "journal.jsonl", "before.json"
ROWS_CSV, ROWS_PAGE = "rows.csv", "rows.page"
OWN_FILES = (JOURNAL, BEFORE, ROWS_CSV, ROWS_PAGE, MARK)  # the mark goes last
STAGED, STAGED_INDEX = OWN_FOLDERS = "new", "index"
OWN = frozenset((LOCK, *OWN_FILES, *OWN_FOLDERS))
"""All that may stand in it: lock, whose it is, journal, the index before, the rows of the new
one, and what is staged."""

BODIES = {"json": "\n", "csv": "\r\n", "page": "\n"}
"""What ends a line in each file of rows."""

NOTICE_FILE = "UNFINISHED.txt"
NOTICE = (
    "A run of `knurlcam family` is at work in this folder, or was cut off.\n"
    "Programs of this run and of the one before stand side by side, and no index tells them "
    "apart.\nUse none of them before the run has been finished: run it again with --resume.\n"
)

HARMLESS = frozenset(("thumbs.db", "desktop.ini"))
"""What file browsers leave behind; hidden files are left alone as well."""

REPLACED = (None, "a file", "a link")
"""What a program or an index may take the place of; of a link the link itself, wherever it
leads to."""

RESUME = "what stands in its place is whole; mend it and run again with --resume"

BATCH = 128
"""Most programs that wait for the disk together."""

BATCH_SECONDS = 1.0
"""... and for how long at most."""


@dataclass(frozen=True, slots=True)
class Summary:
    """What a run left in its folder.

    Attributes:
        counts: Rows by what became of them.
        written: Whether programs and an index were put in the folder; not so with
            ``strict`` and a row without a program, nor where no row has one.
        removed: Files of an earlier run that no row makes any more.
        left: Such files that were changed by hand, and so were left where they are.
    """

    counts: Counts
    written: bool
    removed: int = 0
    left: tuple[str, ...] = ()


class FamilyFolder:
    """A folder that takes a family's results; use it in a ``with`` block.

    Args:
        path: The folder; it is made where there is none.
        force: Whether files that are none of an earlier run's may be written over.
        resume: Whether an earlier run's programs may be kept; see :meth:`kept`.
        strict: Whether one row without a program keeps all others from their place.
        base: The base job's name, for the index.
        table: The table's name, for the index.
        inputs: Files that the run reads: no program goes over them.

    Attributes:
        staging: Where workers may write programs themselves; see ``Base.staging``.

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
        inputs: Iterable[str | Path] = (),
    ) -> None:
        self.path = Path(path)
        self.force, self.resume, self.strict = force, resume, strict
        self.head = Head(_shown(base), _shown(table))
        self.counts = Counts()
        here = os.path.realpath(path)
        places = [os.path.split(os.path.realpath(file)) for file in inputs]
        self._read_here = {names.folded(name) for folder, name in places if folder == here}
        self._ledger = Ledger()
        self._unfinished = self.path / UNFINISHED
        self.staging = ""
        self._created: list[Path] = []
        self._waiting = 0
        self._since = 0.0
        self._lines: list[Lines] = []
        self._files: list[str] = []
        self._staged: list[str] = []
        self._bodies: dict[str, IO[bytes]] = {}
        self._left = False
        self._began = 0
        self._mark_before: bytes | None = None
        self._published = False
        self._finished = True  # until it is opened

    # -- opening ---------------------------------------------------------------

    def __enter__(self) -> Self:
        with told(self.path, "choose a folder that can be made and written to"):
            self._refuse_what_is_no_folder()
            self._create(self._unfinished)
            self._lock = FileLock(self._unfinished / LOCK)
            try:
                self._take_lock()
                self._look()
                self._prepare()
                self._finished = False
            except BaseException:
                self._leave_as_found()
                self._ledger.close()
                raise
        return self

    def _refuse_what_is_no_folder(self) -> None:
        if os.path.lexists(self.path) and not self.path.is_dir():
            raise InputError(
                "is no folder",
                where=str(self.path),
                expected="a folder for the programs",
                remedy="choose another name",
            )
        if not os.path.lexists(self._unfinished):
            return
        own = self._unfinished.is_dir() and not self._unfinished.is_symlink()
        if own:
            inside = set(os.listdir(self._unfinished))
            as_made = all(_is_as_made(self._unfinished / name) for name in inside)
            own = inside <= OWN and as_made and (MARK in inside or inside <= {LOCK})
        if not own:
            raise InputError(
                f"{UNFINISHED} in it is none of this command's",
                where=str(self.path),
                expected=f"no {UNFINISHED}, or one that an earlier run left",
                remedy="choose another folder, or move it away",
            )

    def _create(self, folder: Path) -> None:
        """Make a folder and those above it, and note which were not there."""
        missing = [f for f in (folder, *folder.parents) if not f.exists()]
        for one in reversed(missing):
            one.mkdir(exist_ok=True)
            self._created.append(one)

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

    def _look(self) -> None:
        """Note what earlier runs made, and refuse a folder with anything else in it."""
        for name in (*INDEX_FILES, NOTICE_FILE):
            self._refuse_what_is_no_file(name)
        sources = [self.path / INDEX_JSON, self._unfinished / BEFORE]
        for source in sources:
            for line in index_lines(source):
                self._ledger.add_made(line)
        with suppress(FileNotFoundError), open(self._unfinished / JOURNAL, "rb") as stream:
            for raw in stream:
                self._ledger.add_made(raw.decode("utf-8", "replace"))
        # An index that was being put in its place is known by what lies beside it.
        tails = [index_tail(s) for s in (*sources, self._unfinished / STAGED_INDEX / INDEX_JSON)]
        for tail in tails:
            self._ledger.add_left(tail.left)
        self._left = any(tail.left for tail in tails)
        if self.force:
            return
        self._refuse_another_family(sources)
        indexes = {
            name: {tail.sha256[name] for tail in tails if name in tail.sha256}
            for name in INDEX_FILES
        }
        with os.scandir(self.path) as entries:
            for entry in entries:
                self._refuse_if_foreign(entry, indexes)

    def _refuse_what_is_no_file(self, name: str) -> None:
        """Refuse what even --force does not write over; a link is replaced, not followed."""
        stands = what_stands_at(self.path / name)
        protected = stands == "a file" and is_protected(self.path / name)
        if stands not in REPLACED or protected:
            raise InputError(
                "is write-protected" if protected else f"is {stands}",
                where=str(self.path / name),
                expected="a file that may be written over",
                remedy="move it away, or choose another folder",
            )

    def _refuse_another_family(self, sources: Iterable[Path]) -> None:
        heads = [head for head in map(index_head, sources) if head is not None]
        with suppress(FileNotFoundError, ValueError, KeyError, TypeError, RecursionError):
            # A run that was cut off came last, whatever it was allowed to replace.
            mark = json.loads((self._unfinished / MARK).read_text(encoding="utf-8"))
            heads = [Head(mark["base"], mark["table"])]
        for head in heads:
            if head != self.head:
                raise InputError(
                    f"holds the programs of job {head.base} and table {head.table}",
                    where=str(self.path),
                    expected=f"those of job {self.head.base} and table {self.head.table}",
                    remedy="choose another folder, or replace them with --force",
                )

    def _refuse_if_foreign(self, entry: os.DirEntry[str], indexes: dict[str, set[str]]) -> None:
        """Refuse a file that no run made, or that was changed since."""
        name = entry.name
        if name.startswith((".", "~$")) or name.lower() in HARMLESS:
            return  # no program has such a name
        plain = entry.is_file(follow_symlinks=False)
        if name == NOTICE_FILE and plain and NOTICE.startswith(_text_of(entry.path)):
            return  # or the first of it, where the run was cut off just then
        if name in indexes:
            known, may_change = indexes[name], False
        else:
            known, may_change = self._ledger.was_made(name), self.resume
            if self._ledger.was_left(name):
                return
        if not known or not plain:
            raise self._foreign(name, "was not made by an earlier run")
        if not may_change and _sha256(entry.path) not in known:
            raise self._foreign(name, "was changed since it was made")

    def _foreign(self, name: str, problem: str) -> InputError:
        return InputError(
            f"{name} {problem}",
            where=str(self.path),
            expected="an empty folder, or one that holds an earlier run and nothing else",
            remedy="choose another folder, move the file away, or write over it with --force",
        )

    def _prepare(self) -> None:
        # Of a run that was cut off while it put its index in place, that index tells which
        # files are its own.
        mark = self._unfinished / MARK
        self._mark_before = mark.read_bytes() if mark.exists() else None
        said = json.dumps({"base": self.head.base, "table": self.head.table})
        mark.write_text(said + "\n", encoding="utf-8")  # before all else: the rest is known by it
        written = self._unfinished / STAGED_INDEX / INDEX_JSON
        if index_tail(written).sha256:
            os.replace(written, self._unfinished / BEFORE)
        for name in OWN_FOLDERS:
            shutil.rmtree(self._unfinished / name, ignore_errors=True)
            (self._unfinished / name).mkdir(exist_ok=True)
        # A worker of a run that was killed may take a moment to notice: it must not find
        # this run's folder where it found its own.
        self.staging = os.path.join(tempfile.mkdtemp(dir=self._unfinished / STAGED), "")
        self._bodies = {
            "json": self._open_journal(),
            "csv": _stream(self._unfinished / ROWS_CSV, "wb"),
            "page": _stream(self._unfinished / ROWS_PAGE, "wb"),
        }

    def _open_journal(self) -> IO[bytes]:
        """Open the journal behind its last whole line."""
        path = self._unfinished / JOURNAL
        with open(path, "ab+") as stream:
            end = stream.tell()
            stream.seek(0)
            whole = 0
            while line := stream.readline():
                if line.endswith(b"\n"):
                    whole = stream.tell()
            if whole != end:
                stream.truncate(whole)
        self._began = whole
        return _stream(path, "ab")

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
                return Result.of_kept({**entry, "row": row})
        return None

    def add(self, result: Result) -> None:
        """Take a result.

        Raises:
            InputError: if the disk does not take it, its name is taken already, or a file
                of that name must not be written over.
        """
        self._refuse_if_closed()
        files = [name for name in (result.file, result.page) if name is not None]
        if result.file is not None:
            self._refuse_taken(result.file, result.row)
        if not result.kept and self.wary:
            for name in files:
                self.refuse_to_overwrite(name, result.row)
        with told(self.path):
            write_new(self.staging, result.file, result.text)
            write_new(self.staging, result.page, result.html)
            self._lines.append(result.lines)
            self._files += files
            if not result.kept:
                self._staged += files
            self.counts.add(result, plain=result.lines.csv.isascii())
            self._waiting += 1
            if self._waiting == 1:
                self._since = time.monotonic()
            if self._waiting >= BATCH or time.monotonic() - self._since > BATCH_SECONDS:
                self._settle(publish=not self.strict)

    def _refuse_if_closed(self) -> None:
        if self._finished:
            raise InputError(
                "is not open",
                where=str(self.path),
                expected="results between the beginning of a with block and finish()",
                remedy="use it in a with block, and finish it once",
            )

    @property
    def wary(self) -> bool:
        """Whether there may be files that must not be written over; then names are checked."""
        return bool(self._read_here or self._left or self.force)

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

    def refuse_to_overwrite(self, name: str, row: int) -> None:
        """Refuse a name that the run reads from, or that a person has changed the file of.

        Args:
            name: A program or page.
            row: Its row, for the message.

        Raises:
            InputError: if there is such a file.
        """
        problem = ""
        if names.folded(name) in self._read_here:
            problem = "has the name of a file that this run reads"
        elif (stands := what_stands_at(self.path / name)) not in REPLACED:
            problem = f"is {stands}"
        elif stands == "a file" and is_protected(self.path / name):
            problem = "is write-protected"
        elif self._ledger.was_left(name) and not (self.resume or self.force):
            problem = "was changed since it was made" if (self.path / name).exists() else ""
        if problem:
            raise InputError(
                problem,
                where=str(self.path / name),
                key=f"row {row}",
                expected="a file that may be written over",
                remedy="move it away, or give the part another name",
            )

    def _settle(self, *, publish: bool) -> None:
        """Note in the journal what was made, wait for the disk, then put it in its place.

        The journal comes first: a file in its place that no journal knows would be taken
        for a stranger's.
        """
        for name, end in BODIES.items():
            lines = [getattr(line, name) + end for line in self._lines]
            self._bodies[name].write("".join(lines).encode())
            self._bodies[name].flush()
        self._ledger.keep(self._files)
        self._files.clear()
        self._lines.clear()
        self._waiting = 0
        if not publish:
            self._staged.clear()
        if not self._staged:
            return
        self._take_index_away()
        # Not all that is staged: workers may be ahead of the journal.
        _wait_for_disk([self.staging + name for name in self._staged], self._bodies.values())
        place = os.path.join(self.path, "")
        for name in self._staged:
            os.replace(self.staging + name, place + name)
        self._staged.clear()

    def _take_index_away(self) -> None:
        """Take the index before out of sight: it does not tell of what comes now."""
        if self._published:
            return
        self._published = True
        Path(self.staging, NOTICE_FILE).write_text(NOTICE, encoding="utf-8", newline="\n")
        os.replace(self.staging + NOTICE_FILE, self.path / NOTICE_FILE)
        if index_head(self.path / INDEX_JSON) is not None:
            os.replace(self.path / INDEX_JSON, self._unfinished / BEFORE)
        for name in INDEX_FILES:
            (self.path / name).unlink(missing_ok=True)

    # -- closing ---------------------------------------------------------------

    def finish(self) -> Summary:
        """Put all in place, write the index, and take away what is outdated.

        With ``strict`` and a row that has no program nothing is put in place; nor is
        anything changed where no row has one.

        Raises:
            InputError: if the disk does not take it.
        """
        self._refuse_if_closed()
        with told(self.path):
            if not self.counts.programs or (self.strict and self.counts.failed):
                self._leave_as_found()
                return Summary(self.counts, False)
            if self.strict:
                self._settle(publish=False)
                self._staged = os.listdir(self.staging)
            self._settle(publish=True)
            self._take_index_away()
            removed, left = self._remove_outdated()
            self._write_index(left)
            (self.path / NOTICE_FILE).unlink(missing_ok=True)
            self._clean_up()
            return Summary(self.counts, True, removed, tuple(left))

    def _write_index(self, left: list[str]) -> None:
        staged = self._unfinished / STAGED_INDEX
        bodies = {
            INDEX_JSON: self._run_lines,
            INDEX_CSV: lambda: _stream(self._unfinished / ROWS_CSV, "rb"),
            INDEX_HTML: lambda: _stream(self._unfinished / ROWS_PAGE, "rb"),
        }
        write_index(staged, bodies, self.counts, self.head, left)
        _wait_for_disk([staged / name for name in INDEX_FILES])
        for name in INDEX_FILES:  # index.json is the last of them: it says what is ours
            os.replace(staged / name, self.path / name)
        _wait_for_disk()

    def _run_lines(self) -> IO[bytes]:
        """Return the journal where this run's lines begin."""
        stream = _stream(self._unfinished / JOURNAL, "rb")
        stream.seek(self._began)
        return stream

    def _remove_outdated(self) -> tuple[int, list[str]]:
        """Remove files of earlier runs that no row makes any more, unless they were changed."""
        removed, left = 0, []
        for file in self._ledger.outdated():
            path = self.path / file
            if not path.is_file() or self._is_kept_as_well(path):
                continue
            if _sha256(path) in self._ledger.was_made(file):
                path.unlink()
                removed += 1
            else:
                left.append(file)
        return removed, sorted(left)

    def _is_kept_as_well(self, path: Path) -> bool:
        """Whether a file of this run is the same one: capitals count on some disks only."""
        return any(
            (self.path / name).exists() and path.samefile(self.path / name)
            for name in self._ledger.kept_like(path.name)
        )

    def _clean_up(self) -> None:
        """Remove ``.unfinished``, the lock last and while it is held."""
        self._close_bodies()
        for name in OWN_FOLDERS:
            shutil.rmtree(self._unfinished / name)
        for name in OWN_FILES:
            (self._unfinished / name).unlink(missing_ok=True)
        self._let_go()

    def _close_bodies(self) -> None:
        for stream in self._bodies.values():
            with suppress(OSError):
                stream.close()

    def _let_go(self) -> None:
        # Whoever has opened this very lock finds it gone and takes a new one. After it is let
        # go nothing may be removed that another run may have made.
        if sys.platform != "win32":
            (self._unfinished / LOCK).unlink(missing_ok=True)
            self._lock.release()
        else:  # a file in use cannot be removed there, nor another's
            self._lock.release()
            with suppress(OSError):
                (self._unfinished / LOCK).unlink(missing_ok=True)
        with suppress(OSError):
            self._unfinished.rmdir()
        self._finished = True

    def _leave_as_found(self) -> None:
        """Undo what this run did to the folder; nothing was put in its place yet."""
        found = self._unfinished not in self._created
        if not self._lock.is_locked:
            return  # another run's
        if self._bodies:
            self._close_bodies()
            os.truncate(self._unfinished / JOURNAL, self._began)
        if self._bodies or not found:
            for name in OWN_FOLDERS:
                shutil.rmtree(self._unfinished / name, ignore_errors=True)
        if found:
            if self._mark_before is not None:
                (self._unfinished / MARK).write_bytes(self._mark_before)
            self._lock.release()
            self._finished = True
            return
        for name in OWN_FILES:
            (self._unfinished / name).unlink(missing_ok=True)
        self._let_go()
        for folder in reversed(self._created):
            with suppress(OSError):
                folder.rmdir()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Leave what was not finished for the next run."""
        # What waits is not put in its place now: the last of it may be half written.
        try:
            if not self._finished and not self._published:
                with suppress(OSError):
                    self._leave_as_found()
            if not self._finished:
                self._close_bodies()
                self._lock.release()
                self._finished = True
        finally:
            self._ledger.close()


class told:  # noqa: N801 - it is used like a function
    """Say what the disk refuses in a user's words; use it in a ``with`` block.

    Args:
        folder: The folder that is written to.
        remedy: What to do.
    """

    def __init__(self, folder: Path, remedy: str = RESUME) -> None:
        self.folder, self.remedy = folder, remedy

    def __enter__(self) -> None:
        """Do nothing."""

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Turn an error of the operating system into ours."""
        if isinstance(error, (OSError, sqlite3.Error)):
            name = getattr(error, "filename", None)
            reason = getattr(error, "strerror", None) or str(error)
            raise InputError(
                f"cannot be written: {f'{name}: ' if name else ''}{reason}",
                where=str(self.folder),
                expected="a folder that can be written to, with room on the disk",
                remedy=self.remedy,
            ) from None


def _shown(name: str) -> str:
    """Return a file's name as text, whatever bytes the system has for it."""
    return os.fsencode(name).decode("utf-8", "replace")


def _stream(path: Path, mode: str) -> IO[bytes]:
    """Open a file that whoever asks for it closes."""
    stream: IO[bytes] = open(path, mode)  # noqa: SIM115
    return stream


def _text_of(path: str) -> str:
    return Path(path).read_text(encoding="utf-8", errors="replace")


def _is_as_made(path: Path) -> bool:
    """Whether what stands in ``.unfinished`` is ours alone: no link, nor another name's file."""
    try:
        about = path.lstat()
    except FileNotFoundError:
        return True  # another run has just removed it
    if path.name in OWN_FOLDERS:
        return stat.S_ISDIR(about.st_mode)
    return stat.S_ISREG(about.st_mode) and about.st_nlink == 1


def _sha256(path: str | Path) -> str | None:
    """Return a file's SHA-256; None where there is none, or a link or pipe."""
    try:
        if what_stands_at(path) != "a file":
            return None
        with open(path, "rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError:
        return None


def _wait_for_disk(files: Iterable[str | Path] = (), streams: Iterable[IO[bytes]] = ()) -> None:
    """Return when what was written is on the disk: power may go afterwards."""
    if sys.platform != "win32" and hasattr(os, "sync"):
        os.sync()  # once for all of them: a wait for each would take longer than making it
        return
    for stream in streams:
        os.fsync(stream.fileno())
    for name in files:
        with open(name, "r+b") as file:
            os.fsync(file.fileno())
