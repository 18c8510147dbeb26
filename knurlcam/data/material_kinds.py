"""Kinds of metal, such as stainless steel: ``shared/material_kinds.toml``."""

from __future__ import annotations

import re
from typing import NamedTuple

from knurlcam.data.caches import kept_until_cleared
from knurlcam.data.rows import Row, read_table

__all__ = ["Kind", "fillers", "folded", "kinds"]


class Kind(NamedTuple):
    """A kind of metal.

    Attributes:
        name: What it is called.
        words: What it is called on drawings as well; a material whose name begins with one
            is of this kind.
        also: Words of a wider kind that hold for it too, such as ``steel`` for stainless steel.
        designations: Designations of the kind, as folded text must match them whole.
    """

    name: str
    words: tuple[str, ...]
    also: tuple[str, ...]
    designations: tuple[re.Pattern[str], ...]

    def is_called(self, word: str) -> bool:
        """Return whether a folded word may stand for this kind."""
        return word in map(folded, (*self.words, *self.also))

    def designates(self, text: str) -> bool:
        """Return whether a folded text is one of this kind's designations."""
        return any(pattern.fullmatch(text) for pattern in self.designations)


@kept_until_cleared()
def kinds() -> tuple[Kind, ...]:
    """Return every kind of metal, in the order of the table."""
    return tuple(_kind(row) for row in read_table("material_kinds.toml").rows("kind"))


@kept_until_cleared()
def fillers() -> tuple[str, ...]:
    """Return words beside a designation that say nothing, such as ``grade``."""
    row = read_table("material_kinds.toml").row("fillers")
    row.allow("words")
    return row.texts("words")


def folded(text: str) -> str:
    """Return a name as it is compared: without case, spaces, hyphens or a spelling of its own."""
    plain = re.sub(r"[\s_\-\u2010-\u2014\u2212]+", "", text.casefold())
    return plain.replace("aluminum", "aluminium").replace("gray", "grey")


def _kind(row: Row) -> Kind:
    row.allow(*Kind._fields)
    return Kind(row.text("name"), row.texts("words"), row.texts("also"), _patterns(row))


def _patterns(row: Row) -> tuple[re.Pattern[str], ...]:
    found = []
    for text in row.texts("designations"):
        try:
            found.append(re.compile(text))
        except re.error as error:
            raise row.fault(
                "designations", f"is not a regular expression: {error}", text
            ) from error
    return tuple(found)
