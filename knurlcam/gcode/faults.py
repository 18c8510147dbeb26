"""What is wrong with a dialect's traits, before it becomes an error."""

from __future__ import annotations

from typing import NamedTuple

__all__ = ["Fault"]


class Fault(NamedTuple):
    """A trait that is refused.

    Attributes:
        key: The trait, by its dotted key.
        value: What it says; None where something is missing.
        problem: What is wrong with it, or what would come of it.
        expected: What would be right.
    """

    key: str
    value: object
    problem: str
    expected: str
