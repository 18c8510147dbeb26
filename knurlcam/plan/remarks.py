"""What planning says: figures with their origin, warnings, notes and refusals."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from typing import Literal, NamedTuple, Protocol

from knurlcam.data.codes import CODES
from knurlcam.errors import CannotBeDoneError, Refusal
from knurlcam.plan.results import Expected
from knurlcam.units.kinds import Kind, Units
from knurlcam.units.show import Shown, least_shown_mm

__all__ = [
    "COMMON",
    "CONTRACT",
    "HANDBOOK",
    "HANDBOOK_TRACKING",
    "LENGTH_SLACK_MM",
    "ROUND_SLACK",
    "Advice",
    "Choice",
    "Note",
    "Origin",
    "Remarks",
    "Severity",
    "Tried",
    "Trying",
    "rank",
]

Severity = Literal["error", "warning", "note"]
Origin = Literal["given", "shop file", "recommended", "computed"]

HANDBOOK = "Machinery's Handbook, 31st ed. (2020), p. 1060"
HANDBOOK_TRACKING = "Machinery's Handbook, 31st ed. (2020), p. 1059"
COMMON = "common practice"
CONTRACT = "rule of this program"

ROUND_SLACK = 1e-7
"""Rounding of arithmetic, of the last place shown [-]: what is whole but for it stays as it is."""

LENGTH_SLACK_MM = 1e-6
"""Rounding of arithmetic in a length, far below any control's least increment [mm]."""


class Choice(NamedTuple):
    """One figure of the plan, and where it comes from.

    Attributes:
        key: The job's key, or a name of the plan's own.
        value: The figure, in canonical units, or a word.
        kind: What it measures; None for words and counts.
        origin: ``given``, ``shop file``, ``recommended`` or ``computed``.
        why: The reason, in one phrase.
    """

    key: str
    value: float | int | str | bool
    kind: Kind | None
    origin: Origin
    why: str


class Note(NamedTuple):
    """A warning or a note of planning.

    Attributes:
        severity: ``warning`` or ``note``; ``error`` for a refusal that was accepted.
        code: Stable name, one of ``data.codes``.
        message: What it is and what to do.
        source: Standard, handbook page or "common practice".
    """

    severity: Severity
    code: str
    message: str
    source: str


class Advice(NamedTuple):
    """What might help, and what of the job it changes.

    Attributes:
        text: What to do, as a clause.
        changes: Values by dotted key, lengths as text with their unit, as the clause has them;
            None leaves a key out.
        settles: Whether it is advice only if nothing is left to refuse or to warn of; else it is
            enough that the part comes out better, and the clause ends with how even it is.
    """

    text: str
    changes: Mapping[str, object]
    settles: bool = True


class Tried(NamedTuple):
    """What planning a job with changes comes to.

    Attributes:
        settles: Whether what was refused or warned of is gone, and nothing is worse.
        betters: Whether at least the part is better, and nothing is worse.
        expected: The part that is to be expected; None where there is no plan yet.
    """

    settles: bool
    betters: bool
    expected: Expected | None


class Trying(Protocol):
    """Plans the job with changes before they are advised; see :mod:`knurlcam.plan.trials`."""

    def tried(self, changes: Mapping[str, object], code: str) -> Tried:
        """Return what the job with changes comes to."""


_RANKS = {"error": 0, "warning": 1, "note": 2}


def rank(note: Note) -> int:
    """Return the place of a note: worst first."""
    return _RANKS[note.severity]


class Remarks:
    """Gathers choices, notes and refusals while the steps are taken.

    The one thing that steps write to; what it holds goes into the plan, or into the error
    that names all refusals at once.
    """

    def __init__(
        self,
        units: Units,
        from_shop: frozenset[str],
        accept: tuple[str, ...],
        trying: Trying | None = None,
    ) -> None:
        self.units = units
        self.shown = Shown(units)
        self.from_shop = from_shop
        self.accept = accept
        self.trying = trying
        self.choices: list[Choice] = []
        self.notes: list[Note] = []
        self.refusals: list[Refusal] = []

    def tried(self, code: str, advice: Iterable[Advice]) -> Iterator[str]:
        """Yield the advice that helps: each piece is planned first.

        A plan that is itself a trial advises nothing.

        Args:
            code: Code of the refusal or warning that it is to help against.
            advice: What might help, the best first; looked at only as far as asked for.
        """
        if self.trying is not None:
            for text, changes, settles in advice:
                found = self.trying.tried(changes, code)
                if settles and found.settles:
                    yield text
                elif not settles and found.betters and found.expected is not None:
                    yield f"{text}, depth uniformity {found.expected.evenness:.2f}"

    def mm(self, value: float) -> str:
        """Show a length."""
        return self.shown.length(value)

    def mm_up(self, value: float) -> str:
        """Show a least length: rounded up, so that what is printed will do."""
        step = self.least_shown()
        return self.mm(math.ceil(value / step - ROUND_SLACK) * step)

    def mm_down(self, value: float) -> str:
        """Show a greatest length: rounded down, so that what is printed will do."""
        return self.shown.at_most(value)

    def least_shown(self) -> float:
        """Return the last place in which lengths are shown [mm]."""
        return least_shown_mm(self.units)

    def note(self, severity: Severity, code: str, message: str, source: str = COMMON) -> None:
        """Warn of something, or note it.

        Args:
            severity: One of those that ``data.codes`` has for the code; ``error`` for what
                the programmer accepted.
            code: Its code.
            message: What it is and what to do.
            source: Standard, handbook page or "common practice".
        """
        self.notes.append(Note(severity, code, message, source))

    def refuse(
        self,
        code: str,
        key: str,
        message: str,
        *,
        source: str = "geometry",
        possible: bool = True,
    ) -> None:
        """Refuse what cannot be done; what is acceptable and accepted becomes a note.

        Args:
            code: Its code, one of ``data.codes``, where it stands whether it is acceptable.
            key: The job's key to change first.
            message: What is wrong and what would have to change, with numbers.
            source: Standard, handbook page or "common practice".
            possible: Whether this job could be made if it were accepted.
        """
        # The code's row says what may be accepted, so that no step decides it for itself.
        acceptable = possible and CODES[code].acceptable
        if acceptable and code in self.accept:
            self.note("error", code, f"accepted by the programmer: {message}", source)
            return
        if acceptable:
            message += f'; or accept it: process.accept = ["{code}"]'
        self.refusals.append(Refusal(code, message, key, acceptable, source))

    def choose(
        self,
        key: str,
        value: float | int | str | bool,
        kind: Kind | None,
        *,
        given: bool,
        why: str,
        computed: bool = False,
        taken_as: str = "",
    ) -> None:
        """Say which figure was chosen, where it comes from and why.

        Args:
            key: The job's key, or a name of the plan's own.
            value: The figure, in canonical units, or a word.
            kind: What it measures; None for words and counts.
            given: Whether job or shop file gives it.
            why: The reason, where it is not given.
            computed: Whether it follows from others, where it is not given.
            taken_as: What the plan takes a given one for, where that says more.
        """
        origin: Origin
        if given:
            origin = "shop file" if key in self.from_shop else "given"
            why = "as the shop file says" if origin == "shop file" else "as the job says"
            if taken_as:
                why += f"; taken as {taken_as}"
        else:
            origin = "computed" if computed else "recommended"
        self.choices.append(Choice(key, value, kind, origin, why))

    def stop_if_refused(self) -> None:
        """End planning where anything was refused.

        Raises:
            CannotBeDoneError: naming all of it.
        """
        if self.refusals:
            raise CannotBeDoneError(self.refusals)
