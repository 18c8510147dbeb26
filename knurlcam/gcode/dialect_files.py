"""Folders of dialects: which there are, and their files, read once and from nowhere else.

A dialect's folder may come from a stranger. It is looked for by a plain name, and a file of
it that is not a regular file, or leads out of the folder, is not read: what another file holds
must not come to stand in a program or in a message.
"""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Iterable, Iterator
from functools import cache, lru_cache
from pathlib import Path
from typing import NamedTuple

from knurlcam.data.folders import data_folder
from knurlcam.errors import InputError, nearest
from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.trait_problems import dialect_of
from knurlcam.toml import keys_of_toml

__all__ = [
    "POSTS_VARIABLE",
    "TEMPLATE",
    "TRAITS",
    "DialectFile",
    "dialect_names",
    "files_of",
    "load_dialect",
    "load_folder",
    "read_own",
    "stamp_of",
    "template_folder",
]

POSTS_VARIABLE = "KNURLCAM_POSTS"
"""Environment variable: folders of a shop's own dialects, looked through first."""

Stamp = tuple[int, int, int]
"""What changes when a file does: its time, size and number."""


class DialectFile(NamedTuple):
    """One of the files of a dialect.

    Attributes:
        name: Its name in the folder.
        what: What messages call it; empty for the traits, which need no name.
        kind: What it is.
        most_bytes: Most that is read [byte]
        remedy: What to do about one that is broken.
    """

    name: str
    what: str
    kind: str
    most_bytes: int
    remedy: str


TRAITS = DialectFile(
    "dialect.toml", "", "a table of traits", 100_000, "see the dialects of the package"
)
TEMPLATE = DialectFile(
    "program.nc.j2",
    "the template ",
    "a template that writes the blocks",
    50_000,
    "remove it to use the template of all dialects, or restore it",
)

_MOST_LINE = 300
"""Characters on a line of the traits, at most: each dot of a key is a table in the one before,
and costs as much as all before it."""

_NAME = re.compile(r"(?!\.)[\w.-]{1,60}")
"""A name by which a folder can be asked for: never a path, and nothing that a terminal obeys."""


class _UnreadableDialectError(InputError):
    """A dialect's file cannot be read, or must not be."""


def dialect_names(posts: Iterable[str | Path] = ()) -> dict[str, Path]:
    """Return every dialect that can be named, and its folder.

    Args:
        posts: Folders of a shop's own dialects; they win over ``KNURLCAM_POSTS`` and
            that over the dialects that come with the package.

    Raises:
        InputError: if a named folder does not exist or cannot be listed.
    """
    found: dict[str, Path] = {}
    for root in _roots(posts):
        for name in _entries(root):
            if _NAME.fullmatch(name) and os.path.isfile(root / name / TRAITS.name):
                found.setdefault(name, root / name)
    return dict(sorted(found.items()))


def _find_folder(name: str, posts: Iterable[str | Path] = ()) -> Path | None:
    """Return the folder of a dialect; None if there is none of that name.

    A folder whose traits cannot be looked at is found, so that no other dialect of the same
    name is taken in its place.

    Raises:
        InputError: as for :func:`dialect_names`.
    """
    if not _NAME.fullmatch(name):
        return None
    for root in _roots(posts):
        try:
            os.lstat(root / name / TRAITS.name)
        except (FileNotFoundError, NotADirectoryError):
            continue
        except OSError:
            pass
        return root / name
    return None


def _roots(posts: Iterable[str | Path]) -> Iterator[Path]:
    # Absolute, for what is read from them is kept: a process may go to another folder.
    said = [p for p in os.environ.get(POSTS_VARIABLE, "").split(os.pathsep) if p]
    named = [Path(os.path.abspath(p)) for p in (*posts, *said)]
    for root in named:
        if not os.path.isdir(root):
            raise InputError(
                "is not a folder of dialects",
                where=str(root),
                expected="a folder with one folder a dialect in it",
                remedy="correct --posts or KNURLCAM_POSTS",
            )
    return iter([*named, _shipped()])


def _entries(root: Path) -> list[str]:
    try:
        return sorted(os.listdir(root))
    except OSError as error:
        raise InputError(
            f"cannot be listed: {error.strerror}",
            where=str(root),
            expected="a folder of dialects that may be read",
            remedy="correct its permissions, or --posts or KNURLCAM_POSTS",
        ) from None


@cache
def _shipped() -> Path:
    """Return the folder of the dialects that come with the package."""
    return data_folder("postprocessors")


# -- one dialect ---------------------------------------------------------------


def load_dialect(post: str | Dialect, posts: Iterable[str | Path] = ()) -> Dialect:
    """Return a dialect by name.

    Args:
        post: Its name, which is its folder's, or a dialect already loaded.
        posts: Folders of a shop's own dialects, looked through first.

    Raises:
        InputError: if the name is unknown, or its traits are broken.
    """
    if isinstance(post, Dialect):
        return post
    folder = _find_folder(post, posts)
    if folder is not None:
        return _load(folder, stamp_of(folder, TRAITS))
    known = dialect_names(posts)
    raise InputError(
        "unknown dialect",
        key="machine.post",
        value=post,
        expected="one of " + ", ".join(known),
        remedy=nearest(post, known) + "; a folder of your own dialects is named by --posts, or by "
        "dialects in the shop file",
    )


def load_folder(folder: str | Path) -> Dialect:
    """Return the dialect in a folder, whatever the folder is called.

    Raises:
        InputError: if its traits cannot be read or are broken.
    """
    place = Path(os.path.abspath(folder))
    return _load(place, stamp_of(place, TRAITS))


@lru_cache(maxsize=64)
def _load(folder: Path, _stamp: object) -> Dialect:
    where = str(folder / TRAITS.name)
    data = keys_of_toml(read_own(folder, TRAITS), where=where, longest_line=_MOST_LINE)
    return dialect_of(data, folder, where)


# -- files ---------------------------------------------------------------------


def template_folder(folder: Path) -> Path:
    """Return the folder with a dialect's template: its own, or the one of all dialects.

    A template that cannot be looked at counts as there, so that it is refused and not passed
    over in silence.
    """
    return folder if os.path.lexists(folder / TEMPLATE.name) else _shipped()


def files_of(folder: Path) -> tuple[Path, Path]:
    """Return the files of which a dialect is made."""
    return folder / TRAITS.name, template_folder(folder) / TEMPLATE.name


def stamp_of(folder: Path, file: DialectFile) -> Stamp:
    """Return what changes when a dialect's file does.

    Raises:
        InputError: if the file cannot be found.
    """
    try:
        now = os.stat(f"{folder}{os.sep}{file.name}")  # joining paths takes longer than this
    except OSError as error:
        raise _refused(folder, file, f"cannot be read: {error.strerror}") from None
    return now.st_mtime_ns, now.st_size, now.st_ino


def read_own(folder: Path, file: DialectFile) -> str:
    """Read a dialect's file, whatever it is.

    Args:
        folder: The dialect's folder; it may be a link itself.
        file: Which of its files.

    Raises:
        InputError: unless it is a regular file of the folder, not too large, and UTF-8 text.
    """
    try:
        real = os.path.realpath(folder / file.name, strict=True)
        # An installer may link every file of the package to a store of its own.
        own = Path(real).is_relative_to(os.path.realpath(folder))
        if not own and _shipped() not in (folder, folder.parent):
            raise _refused(folder, file, "cannot be read: it leads out of the dialect's folder")
        raw = _start_of(real, file.most_bytes + 1)
    except OSError as error:
        raise _refused(folder, file, f"cannot be read: {error.strerror}") from None
    if raw is None:
        raise _refused(folder, file, "cannot be read: it is not a regular file")
    if len(raw) > file.most_bytes:
        raise _refused(
            folder, file, f"cannot be read: it is too large for {file.kind}", "make it shorter"
        )
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise _refused(
            folder, file, "cannot be read: it is not UTF-8 text", "save it as UTF-8"
        ) from None


def _start_of(real: str, most: int) -> bytes | None:
    """Return the first bytes of a regular file; None of anything else."""
    # A pipe without a writer must not be waited for.
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    descriptor = os.open(real, flags | getattr(os, "O_NOFOLLOW", 0))
    try:
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            return None
        with open(descriptor, "rb", closefd=False) as stream:
            return stream.read(most)
    finally:
        os.close(descriptor)


def _refused(
    folder: Path, file: DialectFile, problem: str, remedy: str | None = None
) -> _UnreadableDialectError:
    return _UnreadableDialectError(
        f"{file.what}{problem}",
        where=str(folder / file.name),
        expected=f"{file.kind}, a UTF-8 file of at most {file.most_bytes:,} bytes",
        remedy=remedy or file.remedy,
    )
