"""Rows of a list that are asked for by their names; all of them unless any is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TypeVar

from knurlcam.errors import InputError, nearest

__all__ = ["chosen"]

Row = TypeVar("Row")


def chosen(
    names: Sequence[str] | None, rows: Mapping[str, Row], argument: str, what: str, expected: str
) -> dict[str, Row]:
    """Return the rows of these names, in their order.

    Args:
        names: What was asked for; None or nothing for all.
        rows: The rows there are, by name.
        argument: The argument's name, for a message.
        what: What each name should be, such as ``the code of a rule``.
        expected: Where such names are found.

    Raises:
        InputError: for a name that no row has.
    """
    for name in names or ():
        if name not in rows:
            raise InputError(
                f"is not {what}",
                key=argument,
                value=name,
                expected=expected,
                remedy=nearest(name, rows),
            )
    return {name: rows[name] for name in names or rows}
