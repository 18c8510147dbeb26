"""A job file read, before its keys are looked at."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from knurlcam.errors import InputError
from knurlcam.job.problems import JobFileError
from knurlcam.toml import read_toml

__all__ = [
    "MAX_FILE_BYTES",
    "read_table_file",
    "refuse_names",
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
