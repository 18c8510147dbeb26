"""The one reader of TOML: jobs, shop files, tables and traits of dialects.

A file may come from anywhere, and the standard reader may be made to take minutes or to fail
in ways of its own: each dot of a key is a table within the one before, and costs as much as
all before it; brackets in brackets end in a RecursionError; a number of 5,000 digits in a bare
ValueError. So lines are looked at first, and whatever fails is one kind of error.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from knurlcam.errors import InputError
from knurlcam.files import read_text
from knurlcam.text import plain

__all__ = ["TomlError", "keys_of_toml", "read_toml"]

MOST_DOTS = 250
"""Dots on a line of a TOML file: fifty steps of a job on one line have some two hundred."""


class TomlError(InputError):
    """A text is not TOML, or more of it than anything here needs."""


def read_toml(path: str | Path, *, limit: int) -> dict[str, Any]:
    """Return the keys of a TOML file.

    Args:
        path: The file.
        limit: Most bytes that are read [byte]

    Raises:
        InputError: naming the file and what is wrong with it.
    """
    return keys_of_toml(read_text(path, what="a TOML file", limit=limit), where=str(path))


def keys_of_toml(text: str, *, where: str, longest_line: int | None = None) -> dict[str, Any]:
    """Return the keys of a TOML text.

    Args:
        text: The text.
        where: Name for messages, such as the file's.
        longest_line: Most characters on a line; None for any number.

    Raises:
        TomlError: saying what is wrong with it.

    Example:
        >>> keys_of_toml("pitch = 0.8", where="an example")
        {'pitch': 0.8}
    """
    _refuse_long_lines(text, where, longest_line)
    try:
        return tomllib.loads(text.replace("\r\n", "\n"))
    except RecursionError:
        problem = "tables or lists are nested too deeply"
    except ValueError as error:
        problem = plain(str(error))
        at = _AT_LINE.search(problem)
        if at is not None:
            line = text.split("\n")[int(at[1]) - 1].strip()
            raise _not_toml(problem, where, line=line) from error
    raise _not_toml(problem, where)


_AT_LINE = re.compile(r"\(at line ([0-9]{1,9}), ")

_USUAL = (
    (r"[+-]?\.[0-9]", "write a zero before the decimal point, as in 0.75"),
    (r"[+-]?[0-9]+,[0-9]", "use a decimal point, as in 25.0"),
    (r"[+-]?[0-9]+\.(?![0-9])", "write a digit after the decimal point, as in 25.0"),
    (r"[+-]?[0-9.]+ ?[a-zA-Z/]", 'put a value with its unit in quotes, as in "25 mm"'),
    (r"(?!true|false|inf|nan)[a-zA-Z]", "put text in quotes"),
    (r"\"[^\"]*$|'[^']*$", "close the quote"),
)
"""Beginnings of values that TOML does not know and people often write, with what to do."""


def _remedy_for(line: str) -> str:
    """Return what to do about a line that is not TOML."""
    value = line.partition("=")[2].lstrip()[:200]
    usual = (remedy for pattern, remedy in _USUAL if re.match(pattern, value))
    return next(usual, "correct that line")


def _refuse_long_lines(text: str, where: str, longest: int | None) -> None:
    # Cut at line feeds alone: other line ends may stand within a key.
    for number, line in enumerate(text.split("\n"), start=1):
        if longest is not None and len(line) > longest:
            raise _not_toml(
                f"line {number} has {len(line):,} characters",
                where,
                f"at most {longest} characters on a line",
            )
        if line.count(".") > MOST_DOTS:
            raise _not_toml(f"line {number} has {line.count('.'):,} dots", where)


def _not_toml(
    problem: str,
    where: str,
    expected: str = "a TOML file as UTF-8 text",
    line: str | None = None,
) -> TomlError:
    return TomlError(
        f"is not TOML: {problem}",
        where=where,
        value=line or None,
        expected=expected,
        remedy=_remedy_for(line or ""),
    )
