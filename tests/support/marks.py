"""Marks for tests that try much of one kind."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

import pytest


def some_long(cases: Iterable[Sequence[Any]], is_fast: Callable[..., bool]) -> list[Any]:
    """Return parameters of a test, those that are not fast marked long."""
    return [pytest.param(*case, marks=() if is_fast(*case) else pytest.mark.long) for case in cases]
