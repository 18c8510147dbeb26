"""A dialect's template carried out: the sandbox, and limits on time and on what is laid out.

What a template may hold is looked through first (:mod:`knurlcam.gcode.grammar`); what is left,
loops
within loops, is counted while it runs.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cached_property, lru_cache
from itertools import islice
from pathlib import Path
from typing import Any, NamedTuple

from jinja2 import StrictUndefined, Template, TemplateError
from jinja2.sandbox import ImmutableSandboxedEnvironment

from knurlcam.errors import InputError
from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.dialect_files import TEMPLATE, read_own, stamp_of, template_folder
from knurlcam.gcode.grammar import COUNTED, VARIABLES, WORK, look_through
from knurlcam.text import plain

__all__ = ["FILTERS", "TESTS", "lay_out_blocks"]


class _Limit(NamedTuple):
    """So much for a rendering, and so much more for each line that it is given."""

    at_all: float
    a_line: float

    def of(self, lines: int) -> float:
        return self.at_all + self.a_line * lines


STEPS = _Limit(1_000_000, 100)
"""Nodes of loops' bodies that are carried out, and characters of lines that are joined; some 10
to 50 million take a second. The templates of the package take four a line."""

CHARACTERS = _Limit(100_000, 300)
"""Characters that are laid out, where a line has some 20: what comes out is read back, which takes
much longer than laying it out."""

SECONDS = _Limit(1.0, 1e-5)
"""Time of the processor [s], for what the steps do not count; a line takes 2e-7."""

_BATCH = 1024
"""Pieces of text between two looks at their length and the time; the longest is a template."""


class _TemplateRefusedError(InputError):
    """A dialect's template is not what it must be."""


def lay_out_blocks(dialect: Dialect, contexts: Iterable[Mapping[str, Any]]) -> list[list[str]]:
    """Lay programs out by a dialect's template; return the lines of each that are not blank.

    Args:
        dialect: The dialect.
        contexts: The values of :data:`VARIABLES` for each program.

    Raises:
        InputError: if the template cannot be read, holds what it must not, or fails.
    """
    folder = template_folder(dialect.folder)
    template = _template(folder, stamp_of(folder, TEMPLATE))
    if isinstance(template, _Failure):
        raise template.refusal(folder)
    texts = [_rendered(template, context, folder) for context in contexts]
    return [list(filter(None, map(str.rstrip, text.splitlines()))) for text in texts]


class _Failure(NamedTuple):
    """What is wrong with a template, and on which of its lines."""

    line: int | None
    what: str

    def refusal(self, folder: Path) -> _TemplateRefusedError:
        at = f" at line {self.line}" if self.line else ""
        return _TemplateRefusedError(
            f"the template fails{at}: {plain(self.what)}",
            where=str(folder / TEMPLATE.name),
            expected="the variables, loops, conditions and filters that DEVELOPERS.md lists",
            remedy="correct the template",
        )


@lru_cache(maxsize=64)
def _template(folder: Path, _stamp: object) -> Template | _Failure:
    """Return a template, looked through and compiled: what was read once is what runs.

    What is wrong with it is kept as well: a family asks for each of its programs.
    """
    source = read_own(folder, TEMPLATE)
    try:
        tree = _ENVIRONMENT.parse(source)
        look_through(tree)
        template = _ENVIRONMENT.from_string(tree)
    except TemplateError as error:
        return _Failure(getattr(error, "lineno", None), str(error.message))
    except RecursionError:
        return _Failure(None, "it is nested too deep")
    except Exception as error:  # such as a number of 5,000 digits
        return _Failure(None, f"{type(error).__name__}: {error}")
    # Each rendering copies the globals: a dict is copied faster than a chain of maps.
    template.globals = {}
    return template


# -- within limits -------------------------------------------------------------


class _Work:
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
            raise TemplateError(f"it lays out more than {most:,.0f} characters")
        if self.until_s < time.thread_time():
            raise TemplateError("it takes too long")


def _rendered(template: Template, context: Mapping[str, Any], folder: Path) -> str:
    work = _Work(context)
    laid_out: list[str] = []
    try:
        pieces = template.root_render_func(template.new_context({**context, WORK: work}))
        while len(batch := list(islice(pieces, _BATCH))) == _BATCH:
            laid_out.append("".join(batch))
            work.look(len(laid_out[-1]))
        laid_out.append("".join(batch))
        if len(laid_out) > 1 or len(laid_out[-1]) > CHARACTERS.at_all:
            work.look(len(laid_out[-1]))
    except TemplateError as error:
        failure = _Failure(_line_of(error, template), str(error.message))
    except Exception as error:  # a text held against a number, say
        failure = _Failure(_line_of(error, template), f"{type(error).__name__}: {error}")
    else:
        return "".join(laid_out)
    raise failure.refusal(folder)


def _line_of(error: BaseException, template: Template) -> int | None:
    """Return the template's line at which it was when an error came up."""
    trace, line = error.__traceback__, None
    while trace is not None:
        if trace.tb_frame.f_code.co_filename == "<template>":
            line = template.get_corresponding_lineno(trace.tb_lineno)
        trace = trace.tb_next
    return line


# -- filters and tests ---------------------------------------------------------


def _joined(lines: Sequence[str], work: _Work, separator: str = "") -> str:
    work.spend(sum(map(len, lines)) + len(separator) * len(lines))
    return separator.join(lines)


def _counted(lines: Sequence[str], work: _Work, steps: int) -> Sequence[str]:
    work.spend(len(lines) * steps)
    return lines


FILTERS: Mapping[str, Callable[..., Any]] = {
    "count": len,
    "first": lambda lines: lines[0] if lines else "",
    "join": _joined,
    "last": lambda lines: lines[-1] if lines else "",
    "length": len,
    "lower": str.lower,
    "trim": str.strip,
    "upper": str.upper,
}
"""What the filters of a template do."""

TESTS: Mapping[str, Callable[[Any], bool]] = {
    "defined": lambda value: not isinstance(value, StrictUndefined),
    "undefined": lambda value: isinstance(value, StrictUndefined),
    "even": lambda value: value % 2 == 0,
    "odd": lambda value: value % 2 == 1,
}
"""What its tests do."""


def _environment() -> ImmutableSandboxedEnvironment:
    # The sandbox is a second wall: what is looked through never comes near it.
    environment = ImmutableSandboxedEnvironment(
        undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True, autoescape=False
    )
    environment.globals.clear()
    environment.filters = {**FILTERS, COUNTED: _counted}
    environment.tests = dict(TESTS)
    return environment


_ENVIRONMENT = _environment()
