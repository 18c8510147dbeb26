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

__all__ = ["TomlError", "keys_of_toml", "line_of_key", "read_toml"]

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
        raise _unread(str(error), text, where) from error
    raise _not_toml(problem, where)


# -- what the reader stumbled over, in words of people who write jobs -------------------

_AT_LINE = re.compile(r"\(at line ([0-9]{1,9}), ")
_AT_END = "(at end of document)"

_WORDS = (
    ("Cannot overwrite a value", "the key stands twice"),
    ("Duplicate inline table key", "a key stands twice in { }"),
    ("Cannot (?:declare|mutate|redefine)", "the heading or key stands twice"),
    ("Expected '=' after a key", "there is no = behind the key"),
    ("Expected ']", "there is no ] at the end of the heading"),
    ("Unclosed array", "there is no ] at the end of the list"),
    ("Unclosed inline table", "there is no } at the end of the table"),
    (r"Illegal character '\\n'|Unterminated string", "the quote is not closed"),
    ("Illegal character|Found invalid character", "there is a character that cannot be seen"),
    (r"Unescaped '\\\\'", "there is a backslash in quotes: write two, or use single quotes"),
    ("Expected newline or end", "there is something behind the value"),
    ("Invalid value", "the value is neither a number, a text in quotes, true, false nor a list"),
    ("Invalid (?:statement|initial)", "it is neither key = value, a [heading] nor a # comment"),
    ("Exceeds the limit", "there is a number of thousands of digits"),
)
"""Beginnings of the standard reader's messages, and what they say to people."""

_USUAL = (
    (r"[+-]?\.[0-9]", "write a zero before the decimal point, as in 0.75"),
    (r"[+-]?[0-9]+,[0-9]", "use a decimal point, as in 25.0"),
    (r"[+-]?[0-9]+\.(?![0-9])", "write a digit after the decimal point, as in 25.0"),
    (r"[+-]?0[0-9]", "write the number without zeros before it"),
    (r"[+-]?[0-9.]+ ?[a-zA-Z/]", 'put a value with its unit in quotes, as in "25 mm"'),
    (r"(?!true|false|inf|nan)[a-zA-Z]", "put text in quotes"),
    (r"\"[^\"]*$|'[^']*$", "close the quote"),
)
"""Beginnings of values that TOML does not know and people often write, with what to do."""

_KEY = re.compile(r"""\s{0,99}([\w."'-]{1,100})\s{0,99}=""")
_HEADING = re.compile(r"\s{0,99}\[{1,2}\s{0,99}([^\]\n]{1,100})\]")


def _unread(message: str, text: str, where: str) -> TomlError:
    """Return what the standard reader says as ours: line, key, what is wrong, what to do."""
    known = (words for begin, words in _WORDS if re.match(begin, message))
    problem = next(known, plain(message))
    lines = text.split("\n")
    at = _AT_LINE.search(message)
    number = int(at[1]) if at else len(lines) if _AT_END in message else None
    if number is None:
        return _not_toml(problem, where)
    line = lines[number - 1].strip()
    key = _key_of(lines, number)
    first = _first_line_of(key, lines, number) if "twice" in problem else None
    also = "" if first is None else f", first in line {first}"
    return _not_toml(
        f"line {number}: {problem}{also}",
        where,
        expected="lines such as length = 25.0",
        line=line,
        key=key,
        remedy="leave one of them out" if "twice" in problem else _remedy_for(line),
    )


def _key_of(lines: list[str], number: int) -> str | None:
    """Return the key on a line, below its heading; None on a line without one."""
    found = _KEY.match(lines[number - 1])
    if found is None:
        return None
    headings = (_HEADING.match(line) for line in reversed(lines[: number - 1]))
    heading = next((h[1].strip() for h in headings if h), None)
    return found[1] if heading is None else f"{heading}.{found[1]}"


def line_of_key(text: str, key: str) -> int | None:
    r"""Return the line on which a key of a TOML text stands, from 1.

    Args:
        text: The text.
        key: With its table, such as ``part.length``. What stands deeper in a list or a table of
            one line is found by the key that holds it, and a key that is missing by its heading.

    Returns:
        The line; None where neither the key nor what holds it is found.

    Example:
        >>> line_of_key("[part]\nlength = 70", "part.length")
        2
    """
    lines = text.split("\n")
    places: dict[str, int] = {}
    heading = ""
    for number, line in enumerate(lines, start=1):
        if (found := _HEADING.match(line)) is not None:
            heading = found[1].strip()
            places.setdefault(heading, number)
        elif (name := _KEY.match(line)) is not None:
            places.setdefault(f"{heading}.{name[1]}" if heading else name[1], number)
    parts = key.split(".")
    held_by = (".".join(parts[:count]) for count in range(len(parts), 0, -1))
    return next((places[name] for name in held_by if name in places), None)


def _first_line_of(key: str | None, lines: list[str], number: int) -> int | None:
    """Return the line above on which a key stands first; None where none does."""
    if key is None:
        return None
    name = key.rpartition(".")[2]
    above = (
        n
        for n, line in enumerate(lines[: number - 1], 1)
        if (m := _KEY.match(line)) and m[1] == name
    )
    return next((n for n in above if _key_of(lines, n) == key), None)


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
    *,
    line: str | None = None,
    key: str | None = None,
    remedy: str = "correct that line",
) -> TomlError:
    return TomlError(
        f"is not TOML: {problem}",
        where=where,
        key=key,
        value=line or None,
        expected=expected,
        remedy=remedy,
    )
