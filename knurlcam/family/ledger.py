"""Which names are taken and which files were made, on disk: a family may be any size."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator
from typing import Any

__all__ = ["Ledger"]

_TABLES = """
CREATE TABLE taken (folded TEXT PRIMARY KEY, row INTEGER) WITHOUT ROWID;
CREATE TABLE made (file TEXT, sha256 TEXT, line TEXT);
CREATE INDEX made_file ON made (file);
CREATE TABLE kept (file TEXT PRIMARY KEY) WITHOUT ROWID;
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

    def add_made(self, line: str) -> bool:
        """Add what an earlier run says of one of its rows; False for what is no such line."""
        try:
            entry = json.loads(line)
            files = [(entry["file"], entry["sha256"]), (entry["page"], entry["page_sha256"])]
        except (ValueError, TypeError, KeyError):
            return False
        for file, sha256 in files:
            if isinstance(file, str) and isinstance(sha256, str):
                self._db.execute("INSERT INTO made VALUES (?, ?, ?)", (file, sha256, line))
        return True

    def made(self, file: str) -> list[tuple[str, dict[str, Any]]]:
        """Return what earlier runs made of a file: its SHA-256 and its row, the last first."""
        found = self._db.execute(
            "SELECT sha256, line FROM made WHERE file = ? ORDER BY rowid DESC", (file,)
        )
        return [(sha256, json.loads(line)) for sha256, line in found]

    def was_made(self, file: str) -> set[str]:
        """Return each SHA-256 that earlier runs gave a file; empty for a file of no run."""
        found = self._db.execute("SELECT sha256 FROM made WHERE file = ?", (file,))
        return {sha256 for (sha256,) in found}

    def keep(self, files: Iterable[str]) -> None:
        """Note files that belong to this run."""
        self._db.executemany("INSERT OR IGNORE INTO kept VALUES (?)", ((f,) for f in files))

    def outdated(self) -> Iterator[str]:
        """Return the files of earlier runs that do not belong to this one."""
        found = self._db.execute(
            "SELECT DISTINCT file FROM made WHERE file NOT IN (SELECT file FROM kept)"
        )
        for (file,) in found.fetchall():
            yield file
