"""Files are read whole within a limit and written whole or not at all."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

from knurlcam.errors import InputError

__all__ = ["read_text", "write_whole"]

MAX_PROGRAM_BYTES = 64_000_000
"""Far above any lathe program; a larger file is a mistake and is not read."""


def read_text(path: str | Path, *, what: str, limit: int = MAX_PROGRAM_BYTES) -> str:
    """Read a UTF-8 text file.

    Args:
        path: The file.
        what: What it should be, for messages, such as "a program".
        limit: Most bytes that are read [byte]

    Raises:
        InputError: naming the file and what is wrong with it.
    """
    where, file = str(path), Path(path)
    expected = f"{what} as UTF-8 text"
    try:
        if file.is_dir():
            raise InputError(
                "is a folder", where=where, expected=expected, remedy="name a file in it"
            )
        with file.open("rb") as stream:
            raw = stream.read(limit + 1)
    except FileNotFoundError:
        raise InputError(
            "does not exist",
            where=where,
            expected=expected,
            remedy="check the name and the folder",
        ) from None
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
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
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise InputError(
            f"line {line}: byte 0x{raw[error.start]:02x} is not UTF-8 text",
            where=where,
            expected=expected,
            remedy="save the file as UTF-8",
        ) from None
    if not text.strip():
        raise InputError(
            "is empty", where=where, expected=expected, remedy="check that it is the right file"
        )
    return text


def write_whole(path: str | Path, content: str | bytes) -> None:
    """Write a file whole or not at all; an existing file stays until then.

    Args:
        path: The file; links are followed, so that what they point to is replaced.
        content: Text, whose line ends are kept, or bytes as they are.

    Raises:
        InputError: if it cannot be written; nothing is left behind.
    """
    target = Path(os.path.realpath(path))
    temporary = ""
    try:
        if target.is_dir():
            raise IsADirectoryError(None, "is a folder")
        temporary = str(target.with_name(f".{target.name[:100]}.{os.getpid()}.part"))
        # Plain files, not tempfile's: they get the mode of any new file, and the module
        # costs a command 3 ms.
        with open(temporary, "xb") as stream:
            stream.write(content.encode() if isinstance(content, str) else content)
            stream.flush()
            os.fsync(stream.fileno())
        if target.exists():
            os.chmod(temporary, target.stat().st_mode)
        os.replace(temporary, target)
    except (OSError, ValueError) as error:
        with suppress(OSError):
            if temporary:
                os.unlink(temporary)
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(
            f"cannot be written: {reason}",
            where=str(path),
            expected="a file in a folder that exists and can be written to",
            remedy="nothing was written; choose another name or folder",
        ) from None
    except BaseException:
        with suppress(OSError):
            if temporary:
                os.unlink(temporary)
        raise
