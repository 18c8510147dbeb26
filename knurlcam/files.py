"""Files are read whole within a limit and written whole or not at all."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

from knurlcam.errors import InputError

try:
    import fcntl
except ImportError:  # where there is none, a file that is open cannot be removed
    fcntl = None  # type: ignore[assignment]

__all__ = ["is_protected", "place_to_write", "read_text", "what_stands_at", "write_whole"]

MAX_PROGRAM_BYTES = 4_000_000
"""Some 150,000 blocks, far above any program that knurls; a larger file is a mistake."""

MOST_PARTS = 100
"""Most temporary names that are tried beside a file; each is free unless someone writes now."""

NAME_IN_PART = 40
"""Characters of a file's name in that of its temporary file: no letter takes more than four of
the 255 bytes that there are."""


def read_text(path: str | Path, *, what: str, limit: int = MAX_PROGRAM_BYTES) -> str:
    """Read a UTF-8 text file.

    Args:
        path: The file.
        what: What it should be, for messages, such as "a program".
        limit: Most bytes that are read [byte]

    Raises:
        InputError: naming the file and what is wrong with it.
    """
    where, expected = str(path), f"{what} as UTF-8 text"
    raw = _bytes_of(Path(path), where, expected, limit)
    text = _decoded(raw, where, expected)
    if not text.strip():
        raise InputError(
            "is empty", where=where, expected=expected, remedy="check that it is the right file"
        )
    return text


def _bytes_of(file: Path, where: str, expected: str, limit: int) -> bytes:
    # Asked first: what opening a folder says depends on the system.
    if file.is_dir():
        raise InputError("is a folder", where=where, expected=expected, remedy="name a file in it")
    try:
        with file.open("rb") as stream:
            raw = stream.read(limit + 1)  # never more: it may be a pipe that does not end
    except FileNotFoundError:
        raise InputError(
            "does not exist",
            where=where,
            expected=expected,
            remedy="check the name and the folder",
        ) from None
    except (OSError, ValueError) as error:  # ValueError: a name with a NUL
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(
            f"cannot be read: {reason}",
            where=where,
            expected=expected,
            remedy="check the name and its permissions",
        ) from None
    if len(raw) > limit:
        raise InputError(
            f"is larger than {limit:,} bytes",
            where=where,
            expected=expected,
            remedy="check that it is the right file",
        )
    return raw


def _decoded(raw: bytes, where: str, expected: str) -> str:
    try:
        return raw.decode("utf-8-sig")  # editors on some systems put a byte-order mark in front
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise InputError(
            f"line {line}: byte 0x{raw[error.start]:02x} is not UTF-8 text",
            where=where,
            expected=expected,
            remedy="save the file as UTF-8",
        ) from None


def what_stands_at(path: str | Path, *, follow: bool = False) -> str | None:
    """Return in words what stands at a path: "a file", "a folder", "a pipe"; None for nothing.

    Args:
        path: The path.
        follow: Whether what a link leads to counts; else it is "a link".

    Raises:
        OSError: if the system does not say.
    """
    try:
        mode = os.stat(path, follow_symlinks=follow).st_mode
    except FileNotFoundError:
        return None
    return next((words for test, words in _KINDS if test(mode)), "not a plain file")


_KINDS = (
    (stat.S_ISREG, "a file"),
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISLNK, "a link"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
)


def place_to_write(path: str | Path) -> Path:
    """Return where a file that is to be written will stand.

    Nothing but what was named may change: a link is followed within its own folder and below
    it, and not out of it. The folder itself may be reached by a link.

    Args:
        path: The file as it was named.

    Raises:
        InputError: if a folder, a device, a pipe, a socket, a file that is write-protected, or
            a link that leads out of its folder stands there.
    """
    try:
        place = Path(os.path.realpath(path))
        _refuse_no_file(path)
        _refuse_link_out(Path(path), place)
        _refuse_protected(path)
    except (OSError, ValueError) as error:
        raise _not_written(path, error) from None
    return place


def _refuse_no_file(path: str | Path) -> None:
    stands = what_stands_at(path, follow=True)
    if stands in (None, "a file"):
        return
    remedy = "choose another name"
    if stands != "a folder":
        remedy += ", or leave it out for standard output where the command allows it"
    raise InputError(f"is {stands}", where=str(path), expected=_EXPECTED, remedy=remedy)


def _refuse_link_out(path: Path, place: Path) -> None:
    if path.is_symlink() and not place.is_relative_to(os.path.realpath(path.parent)):
        raise InputError(
            f"is a link that leads out of its folder, to {place}",
            where=str(path),
            expected=_EXPECTED,
            remedy="name that file itself, or another one",
        )


def is_protected(path: str | Path) -> bool:
    """Whether a file is there and it is protected against being written over."""
    try:
        # Its mode as well: an administrator may write to any file, and a folder that can be
        # written to would let a protected one be replaced. A protected program is meant to stay.
        return not os.stat(path).st_mode & 0o222 or not os.access(path, os.W_OK)
    except FileNotFoundError:
        return False


def _refuse_protected(path: str | Path) -> None:
    if is_protected(path):
        raise InputError(
            "is write-protected",
            where=str(path),
            expected=_EXPECTED,
            remedy="choose another name, or take the protection away",
        )


_EXPECTED = "a new file, or one that may be replaced"


def write_whole(path: str | Path, content: str | bytes) -> None:
    """Write a file whole or not at all; an existing file stays until then, and keeps its mode.

    It is written beside its place, to a name that begins with a dot and ends with ``.part``,
    and moved there. A process that is killed leaves that name behind, and the next that writes
    the same file takes it away. Other names of an existing file (hard links) keep what was in it.

    Args:
        path: The file; see :func:`place_to_write` for links.
        content: Text, whose line ends are kept, or bytes as they are.

    Raises:
        InputError: if it cannot be written; nothing is left behind.
    """
    target = place_to_write(path)
    try:
        with _part_beside(target) as stream:
            if target.exists():  # first, lest more people can read the new one
                os.chmod(stream.name, stat.S_IMODE(target.stat().st_mode))
            stream.write(content.encode() if isinstance(content, str) else content)
            stream.flush()
            os.fsync(stream.fileno())
            if fcntl is None:
                stream.close()
            os.replace(stream.name, target)
    except (OSError, ValueError) as error:
        raise _not_written(path, error) from None


def _not_written(path: str | Path, error: OSError | ValueError) -> InputError:
    if isinstance(error, InputError):
        return error
    return InputError(
        f"cannot be written: {getattr(error, 'strerror', None) or error}",
        where=str(path),
        expected="a file in a folder that exists and can be written to",
        remedy="nothing was written; choose another name or folder",
    )


@contextmanager
def _part_beside(target: Path) -> Iterator[IO[bytes]]:
    """Open a temporary file beside a file, locked as long as it is open; then remove it."""
    # Plain files, not tempfile's: they get the mode of any new file, and the module
    # costs a command 3 ms.
    stream = _open_part(target)
    part = stream.name
    try:
        yield stream
    except BaseException:
        with suppress(OSError):
            if fcntl is None:
                stream.close()
            os.unlink(part)  # before it is let go: afterwards the name may be another's
        raise
    finally:
        with suppress(OSError):
            stream.close()  # what it could not write it would try to write again


def _open_part(target: Path) -> IO[bytes]:
    for n in range(MOST_PARTS):
        part = str(target.with_name(f".{target.name[:NAME_IN_PART]}.{n}.part"))
        _remove_if_left(part)
        try:
            stream = open(part, "xb")  # noqa: SIM115 - the caller closes it
        except FileExistsError:
            continue
        if _locked(stream, wait=True):
            return stream
        stream.close()  # someone took it for one that was left, in between
    raise FileExistsError(None, f"its temporary names, up to {part}, are all taken")


def _remove_if_left(part: str) -> None:
    """Remove a temporary file that no process writes to any more."""
    with suppress(OSError):
        if what_stands_at(part) != "a file":
            return  # none of ours
        if fcntl is None:
            os.unlink(part)
            return
        with open(part, "rb") as stream:
            if _locked(stream, wait=False):
                os.unlink(part)


def _locked(stream: IO[bytes], *, wait: bool) -> bool:
    """Lock a file as long as it is open; tell whether it still has its name then."""
    if fcntl is None:
        return True
    try:
        fcntl.flock(stream, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except OSError:
        return wait  # taken by the process that writes it; or a file system without locks
    try:
        return os.path.samestat(os.fstat(stream.fileno()), os.stat(stream.name))
    except FileNotFoundError:
        return False
