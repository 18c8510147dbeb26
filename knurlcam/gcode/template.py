"""A dialect's template carried out: a short list of what it may hold, the sandbox, and limits.

A template puts blocks in order and calculates nothing. It may come from a stranger, and must not
read a file, hang, grow a text without end, or bring characters that steer a terminal. Three walls
stand in its way, each for what the others let pass:

* its nodes are those of a short list (no call, no arithmetic, no attribute but those of ``loop``);
* Jinja's sandbox, with no globals and with filters of our own;
* counts of steps and characters and a clock, for loops within loops can still go on and on.

The first is :mod:`knurlcam.gcode.template_rules`; filters and counts are
:mod:`knurlcam.gcode.template_values`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache
from itertools import islice
from pathlib import Path
from typing import Any, NamedTuple

from jinja2 import StrictUndefined, Template, TemplateError
from jinja2.sandbox import ImmutableSandboxedEnvironment

from knurlcam.errors import InputError
from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.dialect_files import TEMPLATE, read_own, stamp_of, template_folder
from knurlcam.gcode.template_rules import check_and_guard
from knurlcam.gcode.template_values import CHARACTERS, FILTERS, GUARDS, TESTS, WORK, Work
from knurlcam.text import plain

__all__ = ["check_template", "render_blocks"]

_BATCH = 1024
"""Pieces of text between two looks at their length and the time; the longest is a template."""


class _TemplateRefusedError(InputError):
    """A dialect's template is not what it must be."""


def render_blocks(dialect: Dialect, contexts: Iterable[Mapping[str, Any]]) -> list[list[str]]:
    """Render programs by a dialect's template; return the lines of each that are not blank.

    Args:
        dialect: The dialect.
        contexts: The values of :data:`VARIABLES` for each program.

    Raises:
        InputError: if the template cannot be read, holds what it must not, or fails.
    """
    folder = template_folder(dialect.folder)
    template = _sound_template(folder)
    texts = [_rendered(template, context, folder) for context in contexts]
    return [list(filter(None, map(str.rstrip, text.splitlines()))) for text in texts]


def check_template(folder: Path) -> None:
    """Refuse a dialect whose template is not one, before a program is laid out by it.

    Args:
        folder: The dialect's folder; without a template of its own, that of all dialects is used.

    Raises:
        InputError: if the template cannot be read, or holds what it must not.
    """
    _sound_template(template_folder(folder))


def _sound_template(folder: Path) -> Template:
    template = _template(folder, stamp_of(folder, TEMPLATE))
    if isinstance(template, _Failure):
        raise template.refusal(folder)
    return template


class _Failure(NamedTuple):
    """What is wrong with a template, and on which of its lines."""

    line: int | None
    what: str

    def refusal(self, folder: Path) -> _TemplateRefusedError:
        at = f" at line {self.line}" if self.line else ""
        return _TemplateRefusedError(
            f"the template fails{at}: {plain(self.what)}",
            where=str(folder / TEMPLATE.name),
            expected="the variables, loops, conditions and filters that postprocessors/README.md "
            "lists",
            remedy="correct the template",
        )


@lru_cache(maxsize=64)
def _template(folder: Path, _stamp: object) -> Template | _Failure:
    """Return a template, checked and compiled: what was read once is what runs.

    What is wrong with it is kept as well: a family asks for each of its programs.
    """
    source = read_own(folder, TEMPLATE)
    try:
        tree = _ENVIRONMENT.parse(source)
        check_and_guard(tree)
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


def _environment() -> ImmutableSandboxedEnvironment:
    environment = ImmutableSandboxedEnvironment(
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        autoescape=False,
    )
    environment.globals.clear()
    environment.filters = {**FILTERS, **GUARDS}
    environment.tests = dict(TESTS)
    return environment


_ENVIRONMENT = _environment()


# -- rendering -----------------------------------------------------------------


def _rendered(template: Template, context: Mapping[str, Any], folder: Path) -> str:
    work = Work(context)
    laid_out: list[str] = []
    try:
        pieces = template.root_render_func(template.new_context({**context, WORK: work}))
        # In batches, for a look at each piece takes longer than making it.
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
