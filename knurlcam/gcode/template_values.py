"""What a template works with: its variables, filters and tests, and how much it may do.

What the nodes of a template do with values is looked at while they run: the guards stand between
a loop or a comparison and its operand, see what comes there, and count it.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from functools import cached_property
from typing import Any, Literal, NamedTuple, NoReturn

from jinja2 import StrictUndefined, TemplateError

__all__ = [
    "CHARACTERS",
    "FILTERS",
    "GUARDS",
    "LOOP_FIELDS",
    "SECONDS",
    "STEPS",
    "TESTS",
    "VARIABLES",
    "WORK",
    "Work",
]

VARIABLES: Mapping[str, Literal["text", "lines"]] = {
    "form": "text",
    "start": "lines",
    "header": "lines",
    "modes": "text",
    "state": "lines",
    "speed_limit": "text",
    "tool_call": "lines",
    "body": "lines",
    "offset_cancel": "text",
    "safe_return": "lines",
    "program_end": "text",
    "end": "lines",
}
"""What a template is given."""

LOOP_FIELDS = frozenset({"first", "last", "index", "index0", "revindex", "revindex0", "length"})
"""What a template may ask of ``loop``."""


WORK = "_work"
"""Variable that counts the work; a template cannot name what begins with an underscore."""


# -- limits ------------------------------------------------------------------


class _Limit(NamedTuple):
    """So much for a rendering, and so much more for each line that it is given."""

    at_all: float
    a_line: float

    def of(self, lines: int) -> float:
        return self.at_all + self.a_line * lines


STEPS = _Limit(1_000_000, 100)
"""Nodes of loops' bodies that are carried out, and characters of lines that are joined; some 10
to 50 million take a second. The template of the package takes four a line."""

CHARACTERS = _Limit(100_000, 300)
"""Characters that are laid out, where a line has some 20: what comes out is read back, which takes
much longer than laying it out."""

SECONDS = _Limit(1.0, 1e-5)
"""Time of the processor [s], for what the steps do not count; a line takes 2e-7."""


class Work:
    """What a rendering may still do; limits are worked out when it comes near them."""

    def __init__(self, context: Mapping[str, Any]) -> None:
        self.context = context
        self.steps = 0
        self.characters = 0

    @cached_property
    def lines(self) -> int:
        """How many lines it was given."""
        return sum(len(self.context[name]) for name, kind in VARIABLES.items() if kind == "lines")

    @cached_property
    def until_s(self) -> float:
        """When this thread's time for it is up, which is counted from the first look [s]."""
        return time.thread_time() + SECONDS.of(self.lines)

    def spend(self, steps: int) -> None:
        """Count steps before they are taken."""
        self.steps += steps
        if self.steps > STEPS.at_all and self.steps > STEPS.of(self.lines):
            raise TemplateError("it takes too many steps: its loops are too many for its lines")

    def look(self, characters: int) -> None:
        """Count characters that were laid out, and look at the time."""
        self.characters += characters
        most = CHARACTERS.of(self.lines)
        if self.characters > most:
            raise TemplateError(f"it writes more than {most:,.0f} characters")
        if self.until_s < time.thread_time():
            raise TemplateError("it takes too long")


# -- guards ------------------------------------------------------------------


class _Joined(str):
    """Lines that were joined: laid out or looked through at once, and kept under no name."""

    __slots__ = ()


def _fail(value: object, what: str) -> NoReturn:
    if isinstance(value, StrictUndefined):
        str(value)  # raises an error with the name that nothing stands for
    raise TemplateError(what)


def _gone_through(lines: object, work: Work, steps: int) -> Sequence[str]:
    if not isinstance(lines, (list, tuple)):
        _fail(lines, "a loop needs a list of lines")
    work.spend(len(lines) * steps)
    return lines


def _looked_through(value: object, work: Work) -> object:
    if isinstance(value, (list, tuple)):
        work.spend(len(value))
    elif not isinstance(value, str):
        _fail(value, "only lines and texts can be indexed")
    return value


_KINDS: Mapping[str, tuple[type, ...]] = {
    "text": (str,),
    "lines": (list, tuple),
    "any": (str, int, bool, list, tuple),
}


def _kept(value: object, _work: Work, kind: str) -> object:
    if type(value) not in _KINDS["any"]:
        _fail(value, "a variable cannot hold this value")
    if type(value) not in _KINDS[kind]:
        _fail(value, f"this variable holds {kind}, and the value is of another kind")
    return value


def _single(value: object, _work: Work) -> object:
    if type(value) not in (str, int, bool):
        _fail(value, "only single texts and numbers can be compared")
    return value


def _shown(value: object, _work: Work) -> object:
    """Return what is laid out: a line, a number or joined lines."""
    if type(value) in (str, int, _Joined):
        return value
    if isinstance(value, (list, tuple)):
        _fail(value, "this is a list of lines, not a line: loop over it or join it")
    return _fail(value, "this value is not text")


# -- filters and tests ---------------------------------------------------------


def _joined(lines: object, work: Work, separator: str = "") -> str:
    if not isinstance(lines, (list, tuple)):
        _fail(lines, "the filter join takes lines")
    work.spend(sum(map(len, lines)) + len(separator) * len(lines))
    return _Joined(separator.join(lines))


def _of_text(change: Callable[[str], str]) -> Callable[[object], str]:
    def changed(text: object) -> str:
        if type(text) is not str:
            _fail(text, f"the filter {change.__name__.replace('strip', 'trim')} takes a text")
        return change(text)

    return changed


def _even(value: object) -> bool:
    if type(value) is not int:  # of a text, Python's % is no remainder
        _fail(value, "only numbers are even or odd")
    return value % 2 == 0


FILTERS: Mapping[str, Callable[..., Any]] = {
    "count": len,
    "first": lambda lines: lines[0] if lines else "",
    "join": _joined,
    "last": lambda lines: lines[-1] if lines else "",
    "length": len,
    "lower": _of_text(str.lower),
    "trim": _of_text(str.strip),
    "upper": _of_text(str.upper),
}
"""Filters of a template: none makes a text longer than the texts that it is made of."""

TESTS: Mapping[str, Callable[[Any], bool]] = {
    "defined": lambda value: not isinstance(value, StrictUndefined),
    "undefined": lambda value: isinstance(value, StrictUndefined),
    "even": _even,
    "odd": lambda value: not _even(value),
}
"""Tests of a template, which stand after ``is``."""

GUARDS: Mapping[str, Callable[..., Any]] = {
    "gone_through": _gone_through,
    "looked_through": _looked_through,
    "kept": _kept,
    "single": _single,
    "shown": _shown,
}
