"""Which names are taken and which files were made, on disk: a family may be any size."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import suppress
from typing import Any

from pydantic import ValidationError

from knurlcam.family import names
from knurlcam.family.entry import Entry

__all__ = ["Ledger"]

_TABLES = """
CREATE TABLE taken (folded TEXT PRIMARY KEY, row INTEGER) WITHOUT ROWID;
CREATE TABLE made (file TEXT, sha256 TEXT, line TEXT);
CREATE INDEX made_file ON made (file);
CREATE TABLE kept (file TEXT PRIMARY KEY, folded TEXT) WITHOUT ROWID;
CREATE TABLE edited (file TEXT PRIMARY KEY) WITHOUT ROWID;
-- Private and short-lived: nothing is to be got back after a crash.
PRAGMA journal_mode = OFF;
PRAGMA synchronous = OFF;
PRAGMA cache_size = -512;
"""


class Ledger:
    """A private database that is gone when it is closed.

    It holds what would not fit in memory for a large family: the names that rows of this
    run take, and the files that earlier runs made.
    """

    def __init__(self) -> None:
        # An empty name: sqlite keeps a file of its own, and removes it.
        self._db = sqlite3.connect("", isolation_level=None, check_same_thread=False)
        self._db.executescript(_TABLES)
        self._db.execute("BEGIN")

    def close(self) -> None:
        """Forget everything."""
        self._db.close()

    def take(self, folded: str, row: int) -> int | None:
        """Take a name for a row; return the row that has it already, or None."""
        try:
            self._db.execute("INSERT INTO taken VALUES (?, ?)", (folded, row))
        except sqlite3.IntegrityError:
            found = self._db.execute("SELECT row FROM taken WHERE folded = ?", (folded,))
            return int(found.fetchone()[0])
        return None

    def add_made(self, line: str) -> None:
        """Add what an earlier run says of a program; what is no such line is passed over."""
        with suppress(ValidationError):
            entry = Entry.model_validate_json(line)
            # A page is made and replaced like its program, so it is entered like one.
            files = [(entry.file, entry.sha256), (entry.page, entry.page_sha256)]
            self._db.executemany(
                "INSERT INTO made VALUES (?, ?, ?)",
                ((file, sha256, line) for file, sha256 in files if file and sha256),
            )

    def made(self, file: str) -> Iterator[tuple[str, dict[str, Any]]]:
        """Return what earlier runs made of a file: its SHA-256 and its row, the last first."""
        found = self._db.execute(
            "SELECT sha256, line FROM made WHERE file = ? ORDER BY rowid DESC", (file,)
        )
        for sha256, line in found.fetchall():
            yield sha256, Entry.model_validate_json(line).model_dump(exclude_unset=True)

    def was_made(self, file: str) -> set[str]:
        """Return each SHA-256 that earlier runs gave a file; empty for a file of no run."""
        found = self._db.execute("SELECT sha256 FROM made WHERE file = ?", (file,))
        return {sha256 for (sha256,) in found}

    def add_left(self, files: Iterable[str]) -> None:
        """Note files of earlier runs that a person has changed."""
        inside = ((f,) for f in files if names.is_inside(f))
        self._db.executemany("INSERT OR IGNORE INTO edited VALUES (?)", inside)

    def was_left(self, file: str) -> bool:
        """Whether a file is one that a person has changed."""
        found = self._db.execute("SELECT 1 FROM edited WHERE file = ?", (file,))
        return found.fetchone() is not None

    def keep(self, files: Iterable[str]) -> None:
        """Note files that belong to this run."""
        rows = ((f, names.folded(f)) for f in files)
        self._db.executemany("INSERT OR IGNORE INTO kept VALUES (?, ?)", rows)

    def kept_like(self, file: str) -> list[str]:
        """Return this run's files whose names some disk takes for the same."""
        found = self._db.execute("SELECT file FROM kept WHERE folded = ?", (names.folded(file),))
        return [name for (name,) in found if name.casefold() == file.casefold()]

    def outdated(self) -> Iterator[str]:
        """Return the files of earlier runs that do not belong to this one."""
        found = self._db.execute(
            "SELECT file FROM made WHERE file NOT IN (SELECT file FROM kept) "
            "UNION SELECT file FROM edited WHERE file NOT IN (SELECT file FROM kept)"
        )
        for (file,) in found.fetchall():
            yield str(file)
