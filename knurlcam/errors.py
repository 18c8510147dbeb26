"""The one family of exceptions, each also one of Python's own kinds.

Fields come first and the sentence is made from them, so that a caller can act
on the fields and a person can read the message.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

__all__ = [
    "CannotBeDoneError",
    "InputError",
    "KnurlcamError",
    "OutOfRangeError",
    "Refusal",
    "nearest",
    "plain",
    "require",
    "shortened",
]


class KnurlcamError(Exception):
    """Base of everything that knurlcam raises on purpose."""

    exit_status = 2


class InputError(KnurlcamError, ValueError):
    """Something given to knurlcam is not what it must be (exit status 2).

    Args:
        problem: What is wrong, as a phrase without a full stop.
        where: File, dialect or table in which it stands.
        key: Key, word or block in which it stands.
        value: The value that was given; shown shortened.
        expected: What would have been right.
        remedy: What the user can do.
    """

    def __init__(
        self,
        problem: str,
        *,
        where: str | None = None,
        key: str | None = None,
        value: object = None,
        expected: str | None = None,
        remedy: str | None = None,
    ) -> None:
        self.problem = problem
        self.where = where
        self.key = key
        self.value = value
        self.expected = expected
        self.remedy = remedy
        super().__init__(self.sentence())

    def sentence(self) -> str:
        """Return the message made from the fields."""
        place = ": ".join(part for part in (self.where, self.key) if part)
        given = "" if self.value is None else f" (given: {shortened(self.value)})"
        text = f"{place}: {self.problem}{given}" if place else f"{self.problem}{given}"
        if self.expected:
            text += f"; expected {self.expected}"
        if self.remedy:
            text += f"; {self.remedy}"
        return text


@dataclass(frozen=True, slots=True)
class Refusal:
    """One reason why a valid job cannot be done.

    Attributes:
        code: Stable name of the reason, such as ``does-not-track``.
        message: What is wrong and what would have to change, with numbers.
        key: The job's key to change first.
        acceptable: Whether ``process.accept`` may take it.
        source: Standard, handbook page or "common practice".
    """

    code: str
    message: str
    key: str
    acceptable: bool = False
    source: str = "geometry"


class CannotBeDoneError(KnurlcamError, ValueError):
    """A valid job that cannot be done as it stands (exit status 1)."""

    exit_status = 1

    def __init__(self, refusals: Sequence[Refusal], where: str | None = None) -> None:
        self.refusals = tuple(refusals)
        self.where = where
        super().__init__(self.sentence())

    def sentence(self) -> str:
        """Return one line for each refusal."""
        lead = f"{self.where}: " if self.where else ""
        return "\n".join(f"{lead}{r.key}: {r.message} [{r.code}]" for r in self.refusals)


def shortened(value: object, limit: int = 60) -> str:
    """Return ``repr(value)``, cut so that a huge value cannot flood a message."""
    text = repr(value)
    return text if len(text) <= limit else f"{text[: limit - 3]}..."


def plain(text: str, limit: int = 200) -> str:
    """Return a text that a file brought along, cut, and with nothing in it that a terminal obeys.

    Args:
        text: The text.
        limit: Most characters that are kept.
    """
    shown = text if len(text) <= limit else f"{text[: limit - 3]}..."
    return "".join(c if c.isprintable() else repr(c)[1:-1] for c in shown)


def nearest(name: str, known: Iterable[str]) -> str:
    """Return the sentence part that offers the nearest known name, or lists all.

    Args:
        name: What was given.
        known: The names that would be right.
    """
    names = list(known)
    folded = {n.casefold(): n for n in names}
    close = difflib.get_close_matches(name.casefold(), folded, n=1, cutoff=0.6)
    if close:
        return f"did you mean {folded[close[0]]!r}?"
    return "known: " + ", ".join(names)


class OutOfRangeError(InputError):
    """A formula was asked for a value outside the range that it holds for."""


def require(name: str, value: float, low: float, high: float, unit: str) -> None:
    """Refuse a value outside ``low <= value <= high``, NaN included.

    Args:
        name: Name of the quantity, as the formula calls it.
        value: The value given [unit].
        low: Least value allowed [unit].
        high: Greatest value allowed [unit].
        unit: Unit text for the message.

    Raises:
        OutOfRangeError: if *value* is outside, or not a number.
    """
    if not low <= value <= high:
        raise OutOfRangeError(
            f"{name} is out of range",
            key=name,
            value=value,
            expected=f"{low:g} to {high:g} {unit}",
            remedy="check the value and its unit",
        )
