"""Cautions for the page and the header of a program: ``shared/cautions.toml``."""

from __future__ import annotations

import re
from typing import NamedTuple

from knurlcam.data.caches import kept_until_cleared
from knurlcam.data.rows import Row, read_table

__all__ = [
    "Caution",
    "cautions",
    "header_lines",
    "proving",
]

_SHORT = re.compile(r"[A-Z0-9 ,:.]{1,58}")
"""A line that every dialect can hold in a comment."""


class Caution(NamedTuple):
    """A caution.

    Attributes:
        text: The whole sentence, for a page.
        short: The line for a program's header; None where another line covers it.
    """

    text: str
    short: str | None


@kept_until_cleared()
def cautions() -> tuple[Caution, ...]:
    """Return the cautions, in the order in which they are shown."""
    return tuple(_caution(row) for row in read_table("cautions.toml").rows("caution"))


@kept_until_cleared()
def proving() -> tuple[str, ...]:
    """Return the sentences about proving a program, which follow the cautions."""
    return tuple(caution.text for caution in _proving())


@kept_until_cleared()
def header_lines() -> tuple[str, ...]:
    """Return the short lines of cautions and proving for a program's header.

    Upper case letters, digits, spaces, commas, colons and periods only, at most 58
    characters, so that every dialect can hold them in a comment.
    """
    return tuple(c.short for c in (*cautions(), *_proving()) if c.short is not None)


def _caution(row: Row) -> Caution:
    row.allow(*Caution._fields)
    short = row.text("short") if "short" in row.values else None
    if short is not None and not _SHORT.fullmatch(short):
        raise row.fault(
            "short",
            f"does not fit a program's header ({len(short)} characters)",
            short,
            "at most 58 upper case letters, digits, spaces, commas, colons and periods",
        )
    return Caution(row.text("text"), short)


@kept_until_cleared()
def _proving() -> tuple[Caution, ...]:
    return tuple(_caution(row) for row in read_table("cautions.toml").rows("proving"))
