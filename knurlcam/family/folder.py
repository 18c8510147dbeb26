"""The folder that a family goes into: whole files, an index, and nothing lost.

While a run goes on, the folder holds ``.unfinished``: new programs are written there
first, each is noted in a journal, the disk is waited for, and only then do they move to
their place. Whatever stops the run, a program in its place is whole, and the journal
says which of them the next run need not make again. As soon as the first program moves,
the index of the run before goes, and a notice says that there is none.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Self

from knurlcam.errors import InputError
from knurlcam.family import names
from knurlcam.family.disk import disk_errors_named, sha256_of, wait_for_disk, write_new
from knurlcam.family.entry import Lines
from knurlcam.family.found import (
    NOTICE,
    NOTICE_FILE,
    REPLACEABLE,
    look_through,
    refuse_other_than_folder,
)
from knurlcam.family.index import (
    INDEX_CSV,
    INDEX_FILES,
    INDEX_HTML,
    INDEX_JSON,
    Counts,
    Head,
    index_head,
    write_index,
)
from knurlcam.family.ledger import Ledger
from knurlcam.family.result import Result
from knurlcam.family.unfinished import Unfinished
from knurlcam.files import is_protected, what_stands_at

__all__ = ["FamilyFolder", "Summary"]

BATCH = 128
"""Most programs that wait for the disk together: one wait takes as long as making some 50."""

BATCH_SECONDS = 1.0
"""Longest time that programs wait for the disk together [s]."""


@dataclass(frozen=True, slots=True)
class Summary:
    """What a run left in its folder.

    Attributes:
        counts: Rows by what became of them.
        written: Whether programs and an index were put in the folder; not so with
            ``strict`` and a row without a program, nor where no row has one.
        removed: Files of an earlier run that no row makes any longer.
        left: Such files that a person has changed, and that were left where they are.
    """

    counts: Counts
    written: bool
    removed: int = 0
    left: tuple[str, ...] = ()


class FamilyFolder:
    """A folder that takes a family's results; use it in a ``with`` block.

    Args:
        path: The folder; it is made where there is none.
        force: Whether files that no earlier run made may be written over.
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
        self.head = Head(_as_text(base), _as_text(table))
        self.counts = Counts()
        self._inputs = _names_in(self.path, inputs)
        self._ledger = Ledger()
        self._unfinished = Unfinished(self.path)
        self._waiting = _Waiting()
        self._edited = False
        self._published = False
        self._finished = True  # until it is opened

    # -- opening -------------------------------------------------------------------------------

    def __enter__(self) -> Self:
        with disk_errors_named(self.path, "choose a folder that can be made and written to"):
            refuse_other_than_folder(self.path)
            self._unfinished.refuse_foreign()
            self._unfinished.create()
            try:
                self._unfinished.lock()
                self._edited = look_through(
                    self.path,
                    self._unfinished,
                    self._ledger,
                    self.head,
                    force=self.force,
                    resume=self.resume,
                )
                self._unfinished.prepare(self.head)
                self._finished = False
            except BaseException:
                self._unfinished.leave_as_found()
                self._ledger.close()
                raise
        return self

    @property
    def staging(self) -> str:
        """Where programs are written first, ended by a separator."""
        return self._unfinished.staging

    # -- taking results ------------------------------------------------------------------------

    def kept(self, file: str, inputs_sha256: str, row: int) -> Result | None:
        """Return an earlier run's result where it still holds; only with *resume*.

        Args:
            file: The program's file.
            inputs_sha256: Digest of what the program would be made from now.
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
            if sha256_of(self.path / file) == sha256 and (
                page is None or sha256_of(self.path / page) == entry["page_sha256"]
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
        with disk_errors_named(self.path):
            write_new(self.staging, result.file, result.text)
            write_new(self.staging, result.page, result.html)
            self.counts.add(result, plain=result.lines.csv.isascii())
            self._waiting.add(result.lines, files, staged=not result.kept)
            if self._waiting.is_long:
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
        return bool(self._inputs or self._edited or self.force)

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
        problem = self._why_not_overwrite(name)
        if problem:
            raise InputError(
                problem,
                where=str(self.path / name),
                key=f"row {row}",
                expected="a file that may be written over",
                remedy="move it away, or give the part another name",
            )

    def _why_not_overwrite(self, name: str) -> str:
        if names.folded(name) in self._inputs:
            return "has the name of a file that this run reads"
        stands = what_stands_at(self.path / name)
        if stands not in REPLACEABLE:
            return f"is {stands}"
        # It could be replaced, for the folder may be written to; but the person who protected
        # a program meant it.
        if stands == "a file" and is_protected(self.path / name):
            return "is write-protected"
        edited = self._ledger.was_left(name) and not (self.resume or self.force)
        return "was changed since it was made" if edited and (self.path / name).exists() else ""

    def _settle(self, *, publish: bool) -> None:
        """Note in the journal what was made, wait for the disk, then put it in its place.

        The journal comes first: a file in its place that no journal knows would be taken
        for someone else's, and the next run would refuse it.
        """
        self._unfinished.note(self._waiting.lines)
        self._ledger.keep(self._waiting.files)
        staged = self._waiting.staged if publish else []
        self._waiting = _Waiting()
        self._publish(staged)

    def _publish(self, staged: list[str]) -> None:
        if not staged:
            return
        self._take_index_away()
        # Not all that is staged: workers may be ahead of the journal.
        wait_for_disk([self.staging + name for name in staged], self._unfinished.streams)
        place = os.path.join(self.path, "")
        for name in staged:
            os.replace(self.staging + name, place + name)

    def _take_index_away(self) -> None:
        """Take the index before out of sight: it does not list what comes now."""
        if self._published:
            return
        self._published = True
        Path(self.staging, NOTICE_FILE).write_text(NOTICE, encoding="utf-8", newline="\n")
        os.replace(self.staging + NOTICE_FILE, self.path / NOTICE_FILE)
        if index_head(self.path / INDEX_JSON) is not None:
            os.replace(self.path / INDEX_JSON, self._unfinished.before)
        for name in INDEX_FILES:
            (self.path / name).unlink(missing_ok=True)

    # -- closing -------------------------------------------------------------------------------

    def finish(self) -> Summary:
        """Put all in place, write the index, and take away what is outdated.

        With ``strict`` and a row that has no program nothing is put in place; nor is
        anything changed where no row has one.

        Raises:
            InputError: if the disk does not take it.
        """
        self._refuse_if_closed()
        with disk_errors_named(self.path):
            if not self.counts.programs or (self.strict and self.counts.failed):
                self._unfinished.leave_as_found()
                self._finished = True
                return Summary(self.counts, False)
            self._settle(publish=not self.strict)
            if self.strict:
                self._publish(os.listdir(self.staging))
            self._take_index_away()
            removed, left = self._remove_outdated()
            self._write_index(left)
            (self.path / NOTICE_FILE).unlink(missing_ok=True)
            self._unfinished.remove()
            self._finished = True
            return Summary(self.counts, True, removed, tuple(left))

    def _write_index(self, left: list[str]) -> None:
        staged = self._unfinished.staged_index
        bodies = {
            INDEX_JSON: self._unfinished.json_rows,
            INDEX_CSV: self._unfinished.csv_rows,
            INDEX_HTML: self._unfinished.page_rows,
        }
        write_index(staged, bodies, self.counts, self.head, left)
        wait_for_disk([staged / name for name in INDEX_FILES])
        for name in INDEX_FILES:  # index.json is the last of them: it says what is ours
            os.replace(staged / name, self.path / name)
        wait_for_disk()

    def _remove_outdated(self) -> tuple[int, list[str]]:
        """Remove files of earlier runs that no row makes any longer, unless they were changed."""
        removed, left = 0, []
        for file in self._ledger.outdated():
            path = self.path / file
            if not path.is_file() or self._is_kept_as_well(path):
                continue
            if sha256_of(path) in self._ledger.was_made(file):
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
                self._leave_as_found()
            if not self._finished:
                self._unfinished.close()
                self._finished = True
        finally:
            self._ledger.close()

    def _leave_as_found(self) -> None:
        with suppress(OSError):  # then the next run clears it
            self._unfinished.leave_as_found()
            self._finished = True


class _Waiting:
    """Results that are taken but not yet noted and put in their place."""

    def __init__(self) -> None:
        self.lines: list[Lines] = []
        self.files: list[str] = []
        self.staged: list[str] = []
        self._since = 0.0

    def add(self, lines: Lines, files: list[str], *, staged: bool) -> None:
        """Add a row and its files, which are staged or kept from an earlier run."""
        if not self.lines:
            self._since = time.monotonic()
        self.lines.append(lines)
        self.files += files
        if staged:
            self.staged += files

    @property
    def is_long(self) -> bool:
        """Whether as much waits as may wait together, or long enough."""
        return len(self.lines) >= BATCH or time.monotonic() - self._since > BATCH_SECONDS


def _names_in(folder: Path, files: Iterable[str | Path]) -> set[str]:
    """Return the names, folded, of those files that stand in a folder."""
    here = os.path.realpath(folder)
    places = [os.path.split(os.path.realpath(file)) for file in files]
    return {names.folded(name) for where, name in places if where == here}


def _as_text(name: str) -> str:
    """Return a file's name as text, whatever bytes the system has for it."""
    return os.fsencode(name).decode("utf-8", "replace")
