"""A job file read, before its keys are looked at."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from knurlcam.errors import InputError
from knurlcam.files import read_text
from knurlcam.job.problems import JobFileError
from knurlcam.toml import line_of_key, read_toml

__all__ = [
    "MAX_FILE_BYTES",
    "read_table_file",
    "refuse_names",
    "with_lines",
]

MAX_FILE_BYTES = 200_000
"""A job is a page of text, a shop file some pages; a larger file is a mistake and is not read."""


def read_table_file(path: str | Path) -> dict[str, Any]:
    """Read a TOML file, refusing what cannot be one before it is parsed.

    Raises:
        JobFileError: naming the file and what is wrong with it.
    """
    try:
        return read_toml(path, limit=MAX_FILE_BYTES)
    except InputError as error:
        raise JobFileError((error,)) from None


def with_lines(error: JobFileError, path: str | Path) -> JobFileError:
    """Return an error with the line of the file on which each of its keys stands.

    Args:
        error: What is wrong; what stands in another file stays as it is.
        path: The job file.
    """
    text = read_text(path, what="a TOML file", limit=MAX_FILE_BYTES)
    return JobFileError(tuple(_with_line(problem, text, str(path)) for problem in error.problems))


def _with_line(problem: InputError, text: str, where: str) -> InputError:
    line = line_of_key(text, problem.key or "") if problem.where == where else None
    return problem if line is None else problem.at(line=line)


def refuse_names(data: Mapping[str, Any], where: str | None) -> None:
    """Refuse a tool or machine given by name where there is no shop file."""
    for key in ("tool", "machine"):
        section = data.get(key)
        name = section if isinstance(section, str) else None
        if isinstance(section, Mapping) and "name" in section:
            name = str(section["name"])
        if name is not None:
            raise JobFileError(
                (
                    InputError(
                        "is a name, but there is no shop file",
                        where=where,
                        key=key,
                        value=name,
                        expected="a shop.toml beside the job or above it, or its keys written out",
                        remedy="name the shop file with --shop or KNURLCAM_SHOP",
                    ),
                )
            )
