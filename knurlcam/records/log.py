"""What was measured, kept in one SQLite file beside the shop file.

The file is whole at any time: a copy of it, a process killed in the middle, a full disk or two
people who write at once lose nothing that was said to be kept. It has a rollback journal and not
a write-ahead log, whose newest entries would stand in a second file that a copy leaves behind.
"""

from __future__ import annotations

import csv
import io
import math
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import fields, replace
from pathlib import Path
from typing import Any, NoReturn

from knurlcam.errors import InputError
from knurlcam.files import is_protected, what_stands_at, write_whole
from knurlcam.records.measurement import Measurement

__all__ = ["LOG_FILE", "MeasuredLog", "Measurement"]

LOG_FILE = "measured.sqlite"
"""Name of the log beside a shop file."""

WAIT_S = 10.0
"""How long a writer waits for another one [s]: each holds the file for some milliseconds."""

APPLICATION = 0x6B6E726C
"""Mark of a log in the header of its file ("knrl"): what has another is something else."""

VERSION = 1
"""Version of the table; a file with a higher one is left to the version that wrote it."""

WAY_ON = "give --no-measured to go on without it, or name another log with --log"
"""What a user can do about a log that cannot be read."""

FORMULA_STARTS = ("=", "+", "-", "@")
"""First characters of what a spreadsheet takes for a formula."""

_TYPES: Mapping[str, str] = {
    "str": "TEXT NOT NULL",
    "int": "INTEGER NOT NULL",
    "float": "REAL NOT NULL",
    "tuple[float, ...]": "TEXT NOT NULL",
    "int | None": "INTEGER",
    "bool | None": "INTEGER",
    "float | None": "REAL",
}
_COLUMNS = {field.name: str(field.type) for field in fields(Measurement) if field.name != "id"}
_NAMES = ", ".join(_COLUMNS)
_TABLE = "CREATE TABLE parts (id INTEGER PRIMARY KEY AUTOINCREMENT, {})".format(
    ", ".join(f"{name} {_TYPES[kind]}" for name, kind in _COLUMNS.items())
)


class MeasuredLog:
    """A shop's log of measured parts.

    Args:
        path: The file; it is made by the first entry and by nothing else.
    """

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)

    def add(self, measurement: Measurement) -> int:
        """Keep a measurement; it is on the disk when this returns.

        Args:
            measurement: What was measured; its ``id`` is not used.

        Returns:
            Its number in the log, never used twice.

        Raises:
            InputError: if the file cannot be written or is something else; it stays as it is.
        """
        row = [_stored(getattr(measurement, name)) for name in _COLUMNS]
        marks = ", ".join("?" * len(row))
        with self._writing(create=True) as file:
            _make_table(file)
            kept = file.execute(f"INSERT INTO parts ({_NAMES}) VALUES ({marks})", row)
            assert kept.lastrowid is not None
            return kept.lastrowid

    def entries(self) -> tuple[Measurement, ...]:
        """Return all that is kept, oldest first; nothing where there is no file.

        Raises:
            InputError: if the file cannot be read, is damaged or something else.
        """
        if self._stands() is None:
            return ()
        with self._opened("ro") as file:
            if not self._is_log(file):
                return ()
            self._refuse_damage(file)
            rows = file.execute(f"SELECT id, {_NAMES} FROM parts ORDER BY id").fetchall()
        return tuple(self._measurement(row) for row in rows)

    def forget(self, number: int) -> Measurement:
        """Take a measurement out of the log.

        Args:
            number: Its number.

        Returns:
            What it was.

        Raises:
            InputError: if there is none of that number, or the file cannot be written.
        """
        known = {entry.id: entry for entry in self.entries()}
        if number in known:
            with self._writing(create=False) as file:
                if file.execute("DELETE FROM parts WHERE id = ?", (number,)).rowcount:
                    return known[number]
        raise InputError(
            "is not the number of a measurement in the log",
            where=str(self.path),
            value=number,
            expected=_numbers(list(known)),
            remedy="see them with knurlcam measured --list",
        )

    def export_csv(self, path: str | Path) -> int:
        """Write all that is kept as a table, one line a part: UTF-8, commas, points, a header.

        Args:
            path: The file to write.

        Returns:
            The number of parts.

        Raises:
            InputError: if the log cannot be read or the file cannot be written.
        """
        entries = self.entries()
        text = io.StringIO()
        table = csv.writer(text, lineterminator="\n")
        table.writerow(["id", *_COLUMNS, "share"])
        for entry in entries:
            values = [_stored(getattr(entry, name)) for name in _COLUMNS]
            table.writerow([entry.id, *map(_harmless_cell, values), entry.share])
        write_whole(path, text.getvalue())
        return len(entries)

    # -- the file ----------------------------------------------------------------

    def _stands(self) -> str | None:
        """Return what stands at the path, None for nothing; refuse what is not a file."""
        try:
            stands = what_stands_at(self.path, follow=True)
        except (OSError, ValueError) as error:
            self._refuse(f"cannot be read: {getattr(error, 'strerror', None) or error}")
        if stands not in (None, "a file"):
            self._refuse(f"is {stands}, not a file")
        return stands

    @contextmanager
    def _writing(self, *, create: bool) -> Iterator[sqlite3.Connection]:
        """Open the file, and hold it against other writers; all of it is written or nothing."""
        self._stands()
        # By their modes, for an administrator may write anywhere; a protected log is meant to stay.
        if any(map(is_protected, (self.path, self.path.absolute().parent))):
            self._refuse(_ERRORS["SQLITE_READONLY"])
        with self._opened("rwc" if create else "rw") as file:
            # Before anything is looked at: what is found then still holds when it is written.
            file.execute("BEGIN IMMEDIATE")
            try:
                if self._is_log(file):
                    self._refuse_damage(file)
                yield file
                file.execute("COMMIT")
            except BaseException:
                # A full disk has rolled back already.
                if file.in_transaction:
                    file.execute("ROLLBACK")
                raise

    @contextmanager
    def _opened(self, mode: str) -> Iterator[sqlite3.Connection]:
        file = None
        try:
            uri = f"{Path(self.path).absolute().as_uri()}?mode={mode}"
            file = sqlite3.connect(uri, timeout=WAIT_S, isolation_level=None, uri=True)
            # The disk has it when a commit returns, also if the power goes then.
            file.execute("PRAGMA synchronous = FULL")
            yield file
        except sqlite3.Error as error:
            self._refuse_error(error)
        finally:
            if file is not None:
                file.close()

    def _is_log(self, file: sqlite3.Connection) -> bool:
        """Return whether a file has the table; refuse what is another program's."""
        (mark,) = file.execute("PRAGMA application_id").fetchone()
        (version,) = file.execute("PRAGMA user_version").fetchone()
        (tables,) = file.execute("SELECT count(*) FROM sqlite_schema").fetchone()
        if not (mark or version or tables):
            return False  # made by a writer that was stopped before its first entry
        if mark != APPLICATION:
            self._refuse("is a database, but not a log of measured parts")
        if version > VERSION:
            self._refuse(f"is a log of version {version}, written by a newer knurlcam")
        return True

    def _refuse_damage(self, file: sqlite3.Connection) -> None:
        (state,) = file.execute("PRAGMA quick_check(1)").fetchone()
        if state != "ok":
            self._refuse(f"is damaged ({state})")

    def _measurement(self, row: tuple[Any, ...]) -> Measurement:
        values = dict(zip(("id", *_COLUMNS), row, strict=True))
        try:
            read: dict[str, Any] = {
                name: _read(values[name], kind) for name, kind in _COLUMNS.items()
            }
            return replace(Measurement(**read), id=int(values["id"]))
        except (TypeError, ValueError) as error:
            self._refuse(f"is damaged (part {values['id']}: {error})")

    def _refuse_error(self, error: sqlite3.Error) -> NoReturn:
        """Say in plain words what SQLite says in its own."""
        name = getattr(error, "sqlite_errorname", "")
        words = next((said for start, said in _ERRORS.items() if name.startswith(start)), None)
        self._refuse(words or f"cannot be used ({error})")

    def _refuse(self, problem: str) -> NoReturn:
        raise InputError(
            problem,
            where=str(self.path),
            expected="a log of measured parts, in a folder that can be written to for new ones",
            remedy=f"it was left as it is; {WAY_ON}",
        ) from None


_ERRORS: Mapping[str, str] = {
    "SQLITE_NOTADB": "is not a log of measured parts: it is another kind of file, or damaged",
    "SQLITE_CORRUPT": "is damaged",
    "SQLITE_FULL": "cannot be written: the disk is full",
    "SQLITE_IOERR": "cannot be read or written: the disk reports an error or is full",
    "SQLITE_READONLY": "cannot be written: the file or its folder is write-protected",
    "SQLITE_CANTOPEN": "cannot be opened: the folder is missing or the file is protected",
    "SQLITE_PERM": "cannot be opened: the file is protected",
    "SQLITE_BUSY": f"is in use by another program for more than {WAIT_S:g} s",
    "SQLITE_LOCKED": f"is in use by another program for more than {WAIT_S:g} s",
}
"""Errors of SQLite, by the beginning of their names, in words."""


def _make_table(file: sqlite3.Connection) -> None:
    """Make the table where there is none, within the writer's transaction."""
    if file.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]:
        return
    file.execute(_TABLE)
    file.execute(f"PRAGMA application_id = {APPLICATION}")
    file.execute(f"PRAGMA user_version = {VERSION}")


def _stored(value: object) -> object:
    """Return a value as its column holds it."""
    if isinstance(value, tuple):
        return " ".join(repr(float(one)) for one in value)
    return int(value) if isinstance(value, bool) else value


def _read(value: object, kind: str) -> Any:
    """Return a column's value as the field's type.

    Raises:
        ValueError: if it is of another type, or not a finite number.
    """
    kind, _, optional = kind.partition(" | ")
    if value is None and optional:
        return None
    if kind == "str" and isinstance(value, str):
        return value
    if kind.startswith("tuple") and isinstance(value, str):
        return tuple(_finite(float(one)) for one in value.split())
    if kind == "bool" and value in (0, 1):
        return bool(value)
    if kind == "int" and isinstance(value, int):
        return value
    if kind == "float" and isinstance(value, int | float):
        return _finite(float(value))
    raise ValueError(f"{value!r} stands where {kind} should")


def _finite(value: float) -> float:
    if not math.isfinite(value):
        raise ValueError(f"{value} is not a measured figure")
    return value


def _harmless_cell(value: object) -> object:
    """Return a cell that no spreadsheet takes for a formula."""
    if isinstance(value, str) and value.lstrip().startswith(FORMULA_STARTS):
        return f"'{value}"
    return value


def _numbers(known: list[int]) -> str:
    if not known:
        return "nothing: the log is empty"
    return f"one of the {len(known)} in it, {known[0]} to {known[-1]}"
