"""File names that every file system takes, and that stay inside the folder."""

from __future__ import annotations

import re
import unicodedata
from pathlib import Path

from knurlcam.errors import InputError
from knurlcam.text import in_ascii

__all__ = ["PROGRAM_ENDING", "as_given", "folded", "from_part_name", "is_inside", "page_name"]

PROGRAM_ENDING = ".nc"
PAGE_ENDING = ".html"

MAX_NAME_BYTES = 120
"""Most bytes of a file name: file systems take 255, but Windows takes 260 characters with
the folders before it."""

FORBIDDEN = frozenset('<>:"/\\|?*')
"""Characters that at least one usual file system does not take in a name."""

RESERVED = frozenset(
    ["con", "prn", "aux", "nul", "conin$", "conout$", "clock$"]
    + [f"{device}{n}" for device in ("com", "lpt") for n in "0123456789¹²³"]
)
"""Names that Windows reserves for devices, with any ending."""

NOT_PROGRAMS = frozenset((
    ".html", ".htm", ".svg", ".toml", ".csv", ".tsv", ".tab", ".json", ".jsonl", ".ndjson",
    ".xls", ".xlsx", ".xlsm", ".ods", ".db", ".exe", ".com", ".bat", ".cmd", ".ps1", ".vbs", ".js",
    ".sh", ".py", ".lnk", ".url", ".ini", ".dll", ".msi", ".jar",
))  # fmt: skip
"""Endings that a program must not have: a computer would open or run it as something else."""

OWN = ("index", "unfinished")
"""Stems of the files that the folder itself has: the index, and the notice of a run."""

_ENDING = re.compile(r"\.[A-Za-z][A-Za-z0-9]{0,4}$")
"""An ending begins with a letter: the dot in a size, as in ``knob-1.000``, begins none."""

_DOTS = re.compile(r"\.{2,}")
_NOT_PLAIN = re.compile(r"[^a-z0-9.]+")


def from_part_name(name: str) -> str:
    """Return the program's file name for a part's name: ``Knob 25`` gives ``knob-25.nc``.

    Args:
        name: The part's name.

    Raises:
        InputError: if nothing of the name can stand in a file name.
    """
    lower = name.lower() if name.isascii() else in_ascii(name.casefold())
    stem = _NOT_PLAIN.sub("-", lower).strip("-.")
    stem = _DOTS.sub(".", stem)[: MAX_NAME_BYTES - len(PROGRAM_ENDING)].strip("-.")
    if not stem:
        raise InputError(
            "no file name can be made from it",
            key="part.name",
            value=name,
            expected="a name with Latin letters or digits",
            remedy="add a column `file` with a name for the program",
        )
    if _is_reserved(stem):
        stem = f"part-{stem}"
    return stem + PROGRAM_ENDING


def as_given(name: str, column: str) -> str:
    """Return a file name that the table gives, with ``.nc`` where it has no ending.

    Args:
        name: The cell.
        column: The column it stands in, for the message.

    Raises:
        InputError: for a name that would leave the folder, or that a usual file system
            does not take.
    """
    problem = _what_is_wrong(name)
    ending = Path(name).suffix.lower()
    if not problem and ending in NOT_PROGRAMS:
        problem = f"{ending} is not the ending of a program"
    if problem:
        raise InputError(
            f"is not a usable file name: {problem}",
            key=column,
            value=name,
            expected="a plain name such as knob-25.nc, without a folder",
            remedy="correct it, or leave it empty to take the part's name",
        )
    return name if _ENDING.search(name) else name + PROGRAM_ENDING


def _what_is_wrong(name: str, most_bytes: int = MAX_NAME_BYTES) -> str | None:
    wrong = sorted(FORBIDDEN.intersection(name))
    if wrong:
        return f"{' '.join(wrong)} cannot stand in it"
    if any(unicodedata.category(c) in ("Cc", "Cf", "Cs", "Co", "Zl", "Zp") for c in name):
        return "it holds an invisible character"
    if not name or name.startswith((".", "-", " ", "~")) or name.endswith((".", " ")):
        return "it begins with a dot, dash, tilde or space, or ends with a dot or space"
    if len(name.encode("utf-8", "surrogatepass")) > most_bytes:
        return f"it is longer than {most_bytes} bytes"
    if _is_reserved(name):
        return "the operating system or the index reserves that name"
    return None


def is_inside(name: str) -> bool:
    """Whether a name is one that a program or its page can have: it stays in the folder."""
    return _what_is_wrong(name, MAX_NAME_BYTES + len(PAGE_ENDING)) is None


def _is_reserved(name: str) -> bool:
    first = name.casefold().partition(".")[0].rstrip(" ")
    return first in RESERVED or (first in OWN and folded(name) in OWN)


def folded(file: str) -> str:
    """Return what two names share that are one for some file system or one's page.

    Args:
        file: A file name; its ending does not count, for the page has one of its own.
    """
    stem = file.rsplit(".", 1)[0] if "." in file else file
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", stem).casefold())


def page_name(file: str) -> str:
    """Return the name of the setter's page beside a program."""
    return file.rsplit(".", 1)[0] + PAGE_ENDING
