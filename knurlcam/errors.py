"""The one family of exceptions, each also one of Python's own kinds.

Fields come first and the sentence is made from them, so that a caller can act
on the fields and a person can read the message.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any, Self

from knurlcam.text import MOST_CHARACTERS, cut, harmless, joined, shortened

__all__ = [
    "CannotBeDoneError",
    "InputError",
    "KnurlcamError",
    "OutOfRangeError",
    "Refusal",
    "SeveralInputsError",
    "nearest",
    "require",
]


MOST_OF_A_FIELD = 600
"""Characters of a problem, an expectation or a remedy in a message."""

MOST_OF_A_REFUSAL = 2_000
"""Characters of the message of a refusal; it may list what each tool lacks."""

MOST_OF_A_KEY = 100
"""Characters of a key in a message."""

MOST_OF_A_PLACE = 300
"""Characters of a file's name in a message."""


class KnurlcamError(Exception):
    """Base of everything that knurlcam raises on purpose.

    Its text may go to a terminal as it is: whatever a file's words hold, it has no
    character that steers one or cannot be seen, but for line ends.
    """

    exit_status = 2

    def __str__(self) -> str:
        """Return the message, harmless and not too long."""
        return "\n".join(map(harmless, cut(super().__str__(), MOST_CHARACTERS).split("\n")))


class InputError(KnurlcamError, ValueError):
    """Something given to knurlcam is not what it must be (exit status 2).

    Args:
        problem: What is wrong, as a phrase without a full stop.
        where: File, dialect or table in which it stands.
        line: Its line there, from 1.
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
        line: int | None = None,
        key: str | None = None,
        value: object = None,
        expected: str | None = None,
        remedy: str | None = None,
    ) -> None:
        self.problem = problem
        self.where = where
        self.line = line
        self.key = key
        self.value = value
        self.expected = expected
        self.remedy = remedy
        super().__init__(self.sentence())

    def sentence(self) -> str:
        """Return the message made from the fields."""
        line = f"line {self.line}" if self.line is not None else None
        limits = ((self.where, MOST_OF_A_PLACE), (line, MOST_OF_A_KEY), (self.key, MOST_OF_A_KEY))
        place = "".join(f"{cut(part, limit)}: " for part, limit in limits if part)
        given = "" if self.value is None else f" (given: {shortened(self.value)})"
        text = f"{place}{cut(self.problem, MOST_OF_A_FIELD)}{given}"
        if self.expected:
            text += f"; expected {cut(self.expected, MOST_OF_A_FIELD)}"
        if self.remedy:
            text += f"; {cut(self.remedy, MOST_OF_A_FIELD)}"
        return harmless(text)

    def at(self, **fields: Any) -> Self:
        """Return the error, of its own class, with some of its fields set.

        What is found out deep inside knows neither file nor key; who asked does.

        Args:
            fields: Fields by name, such as ``where="job.toml"``; the others stay.
        """
        placed = type(self).__new__(type(self))
        placed.__dict__.update(self.__dict__, **fields)
        placed.args = (placed.sentence(),)
        return placed


class SeveralInputsError(InputError):
    """All that is wrong with one file or table, one line for each key; the fields are the first's.

    Attributes:
        problems: The single errors, each with file, key, value, expectation and remedy.
    """

    def __init__(self, problems: tuple[InputError, ...]) -> None:
        self.problems = problems
        first = problems[0]
        super().__init__(
            first.problem,
            where=first.where,
            line=first.line,
            key=first.key,
            value=first.value,
            expected=first.expected,
            remedy=first.remedy,
        )

    def at(self, **fields: Any) -> Self:
        """Return the error with fields of its problems set, such as their file."""
        return type(self)(tuple(problem.at(**fields) for problem in self.problems))

    def sentence(self) -> str:
        """Return one line for each problem."""
        return joined(problem.sentence() for problem in self.problems)


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
        return joined(
            harmless(f"{lead}{r.key}: {cut(r.message, MOST_OF_A_REFUSAL)} [{r.code}]")
            for r in self.refusals
        )


MOST_NAMES = 1_000
"""Names among which a misspelt one is looked for."""


def nearest(name: str, known: Iterable[str]) -> str:
    """Return the sentence part that offers the nearest known name, or lists all.

    Args:
        name: What was given.
        known: The names that would be right.
    """
    names = list(islice(known, MOST_NAMES))
    folded = {n.casefold(): n for n in names}
    wanted = name[:MOST_OF_A_KEY].casefold()
    close = difflib.get_close_matches(wanted, folded, n=1, cutoff=0.6)
    if close:
        return f"did you mean {shortened(folded[close[0]], MOST_OF_A_KEY)}?"
    return cut("known: " + ", ".join(names), MOST_OF_A_FIELD)


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
