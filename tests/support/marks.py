"""Marks for tests that try much of one kind."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

import pytest

GOLDEN = (5.0**0.5 - 1.0) / 2.0


def some_long(cases: Iterable[Sequence[Any]], is_fast: Callable[..., bool]) -> list[Any]:
    """Return parameters of a test, those that are not fast marked long."""
    return [pytest.param(*case, marks=() if is_fast(*case) else pytest.mark.long) for case in cases]


def spread(count: int, wanted: int) -> set[int]:
    """Return the places of cases that are tried each time, spread over a table of *count*.

    Steps of the golden section: in a table of, say, each job in each of five dialects, even
    steps would come upon the same dialect always.

    >>> sorted(spread(40, 5))
    [0, 9, 18, 24, 34]
    >>> sorted(spread(3, 5))
    [0, 1, 2]
    """
    places = (int(count * (step * GOLDEN % 1.0)) for step in range(5 * count))
    return set(list(dict.fromkeys(places))[:wanted])
