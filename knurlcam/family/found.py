"""What stands in a family's folder: known from earlier runs, or refused.

The folder is trusted with nothing. An index or journal counts line by line, each held against
:class:`~knurlcam.family.entry.Entry`; the files of an index are known by the SHA-256 at the
end of index.json, so that a person's notes in them are not lost.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path

from knurlcam.errors import InputError
from knurlcam.family.disk import sha256_of
from knurlcam.family.index import INDEX_FILES, INDEX_JSON, Head, index_head, index_lines, index_tail
from knurlcam.family.ledger import Ledger
from knurlcam.family.unfinished import Unfinished
from knurlcam.files import is_protected, what_stands_at

__all__ = ["NOTICE", "NOTICE_FILE", "REPLACEABLE", "look_through", "refuse_other_than_folder"]

NOTICE_FILE = "UNFINISHED.txt"
NOTICE = (
    "A run of `knurlcam family` is still going on in this folder, or was interrupted.\n"
    "Programs of this run and of the one before are mixed here, and no index shows which is "
    "which.\nUse none of them before the run has been finished: run it again with --resume.\n"
)

HARMLESS = frozenset(("thumbs.db", "desktop.ini"))
"""Names, in small letters, of what file browsers leave behind; hidden files are left alone as
well."""

REPLACEABLE = (None, "a file", "a link")
"""What a program or an index may take the place of; of a link the link itself, wherever it
leads to."""


def refuse_other_than_folder(path: Path) -> None:
    """Refuse a place for the folder at which something else stands.

    Raises:
        InputError: naming it.
    """
    if os.path.lexists(path) and not path.is_dir():
        raise InputError(
            "is not a folder",
            where=str(path),
            expected="a folder for the programs",
            remedy="choose another name",
        )


def look_through(
    folder: Path, unfinished: Unfinished, ledger: Ledger, head: Head, *, force: bool, resume: bool
) -> bool:
    """Note what earlier runs made, and refuse a folder with anything else in it.

    Args:
        folder: The family's folder, locked.
        unfinished: Its subfolder.
        ledger: Where what earlier runs made is noted.
        head: What this run is made from.
        force: Whether files of others may be written over.
        resume: Whether programs that were edited are made again without asking.

    Returns:
        Whether earlier runs left files that a person has changed.

    Raises:
        InputError: naming what must not be written over.
    """
    for name in (*INDEX_FILES, NOTICE_FILE):
        _refuse_unreplaceable(folder / name)
    sources = [folder / INDEX_JSON, unfinished.before]
    _note_what_was_made(sources, unfinished.journal, ledger)
    # An index that was being put in its place is known by what lies beside it.
    tails = [index_tail(s) for s in (*sources, unfinished.staged_index / INDEX_JSON)]
    for tail in tails:
        ledger.add_left(tail.left)
    if not force:
        _refuse_another_family(folder, sources, unfinished, head)
        known = {n: {t.sha256[n] for t in tails if n in t.sha256} for n in INDEX_FILES}
        _refuse_foreign_files(folder, known, ledger, resume=resume)
    return any(tail.left for tail in tails)


def _note_what_was_made(indexes: Iterable[Path], journal: Path, ledger: Ledger) -> None:
    for index in indexes:
        for line in index_lines(index):
            ledger.add_made(line)
    with suppress(FileNotFoundError), open(journal, "rb") as stream:
        for raw in stream:
            ledger.add_made(raw.decode("utf-8", "replace"))


def _refuse_unreplaceable(path: Path) -> None:
    """Refuse what even --force does not write over; a link is replaced, not followed."""
    stands = what_stands_at(path)
    protected = stands == "a file" and is_protected(path)
    if stands not in REPLACEABLE or protected:
        raise InputError(
            "is write-protected" if protected else f"is {stands}",
            where=str(path),
            expected="a file that may be written over",
            remedy="move it away, or choose another folder",
        )


def _refuse_another_family(
    folder: Path, indexes: Iterable[Path], unfinished: Unfinished, own: Head
) -> None:
    # A run that was cut off came last, whatever it was allowed to replace.
    cut_off = unfinished.head()
    heads = [index_head(index) for index in indexes] if cut_off is None else [cut_off]
    for head in heads:
        if head is not None and head != own:
            raise InputError(
                f"holds the programs of job {head.base} and table {head.table}",
                where=str(folder),
                expected=f"those of job {own.base} and table {own.table}",
                remedy="choose another folder, or replace them with --force",
            )


def _refuse_foreign_files(
    folder: Path, indexes: Mapping[str, set[str]], ledger: Ledger, *, resume: bool
) -> None:
    with os.scandir(folder) as entries:
        for entry in entries:
            if _is_harmless(entry):
                continue
            if entry.name in indexes:
                known, may_change = indexes[entry.name], False
            elif ledger.was_left(entry.name):
                continue
            else:
                known, may_change = ledger.was_made(entry.name), resume
            if not known or not entry.is_file(follow_symlinks=False):
                raise _foreign(folder, f"{entry.name} was not made by an earlier run")
            if not may_change and sha256_of(entry.path) not in known:
                raise _foreign(folder, f"{entry.name} was changed since it was made")


def _is_harmless(entry: os.DirEntry[str]) -> bool:
    """Whether an entry is hidden, a file browser's, or the notice: no program has such a name."""
    if entry.name.startswith((".", "~$")) or entry.name.lower() in HARMLESS:
        return True
    if entry.name != NOTICE_FILE or not entry.is_file(follow_symlinks=False):
        return False
    # ... or the first of it, where the run was cut off just then.
    return NOTICE.startswith(Path(entry.path).read_text(encoding="utf-8", errors="replace"))


def _foreign(folder: Path, problem: str) -> InputError:
    return InputError(
        problem,
        where=str(folder),
        expected="an empty folder, or one that holds an earlier run and nothing else",
        remedy="choose another folder, move the file away, or write over it with --force",
    )
