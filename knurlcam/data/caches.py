"""What is kept of the tables until they are forgotten.

A command reads each table once. A test, or a program that runs for long and lets its tables be
edited, calls :func:`clear_caches`; so whatever follows from the tables registers here.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import ParamSpec, TypeVar, cast

__all__ = [
    "clear_caches",
    "kept_until_cleared",
    "when_cleared",
]

_P = ParamSpec("_P")
_R = TypeVar("_R")


def kept_until_cleared(
    most: int | None = None,
) -> Callable[[Callable[_P, _R]], Callable[_P, _R]]:
    """Return a decorator: keep results that follow from the arguments and the tables.

    Args:
        most: How many are kept; None for all.
    """

    def keep(function: Callable[_P, _R]) -> Callable[_P, _R]:
        kept = lru_cache(maxsize=most)(function)
        when_cleared(kept.cache_clear)
        return cast("Callable[_P, _R]", kept)

    return keep


def when_cleared(forget: Callable[[], None]) -> None:
    """Call a function whenever the tables are forgotten."""
    _FORGET.append(forget)


_FORGET: list[Callable[[], None]] = []


def clear_caches() -> None:
    """Forget every table that was read, so that changed files are read again."""
    for forget in _FORGET:
        forget()
