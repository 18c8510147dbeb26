"""Standard output, and errors as a message and an exit status."""

from __future__ import annotations

import io
import json
import os
import shlex
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import typer

from knurlcam.errors import CannotBeDoneError, InputError, KnurlcamError
from knurlcam.text import shortened

__all__ = [
    "complain",
    "drop_standard_output",
    "errors_reported",
    "imprint_hint",
    "print_json",
    "print_text",
    "replace_what_a_terminal_lacks",
    "review_hint",
    "standard_output_checked",
]


def replace_what_a_terminal_lacks() -> None:
    """Let a terminal whose encoding has no ± show a question mark; programs and JSON have none."""
    out = sys.stdout
    if not isinstance(out, io.TextIOWrapper):
        return
    # The plain language C lets through the bytes of a file's name, but no other letters.
    only_names = out.errors == "surrogateescape" and not out.encoding.lower().startswith("utf")
    if out.errors == "strict" or only_names:
        out.reconfigure(errors="replace")


def complain(text: str) -> None:
    """Print a message on standard error, behind the name of the command."""
    print(f"knurlcam: {text}", file=sys.stderr)


def print_text(text: str) -> None:
    """Print what a program or a machine reads: UTF-8 and plain line feeds everywhere.

    Raises:
        InputError: if standard output does not take all of it.
    """
    if sys.stdout is None:
        raise _not_written("is closed")
    with standard_output_checked():
        sys.stdout.flush()
        # Past the text layer, which on some systems would write CR LF and another code page.
        if hasattr(sys.stdout, "buffer"):
            sys.stdout.buffer.write(text.encode())
        else:
            sys.stdout.write(text)


def print_json(data: Any) -> None:
    """Print one JSON object; see :func:`print_text`."""
    print_text(json.dumps(data, indent=2) + "\n")


@contextmanager
def standard_output_checked() -> Iterator[None]:
    """Raise an InputError where standard output does not take what is printed."""
    try:
        yield
        if sys.stdout is not None:
            sys.stdout.flush()
    except BrokenPipeError:  # the reader has enough, as `head` does: not an error to report
        raise
    except OSError as error:
        if error.filename is not None:
            raise  # that is a file
        drop_standard_output()
        raise _not_written(f"cannot be written: {error.strerror}") from None


def drop_standard_output() -> None:
    """Drop what standard output did not take: at the end it would be tried again."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)


def _not_written(problem: str) -> InputError:
    return InputError(
        problem,
        where="standard output",
        expected="a terminal, a pipe or a file with room",
        remedy="send it elsewhere",
    )


@contextmanager
def errors_reported(*, as_json: bool = False, job: Path | None = None) -> Iterator[None]:
    """Turn our errors into a message on standard error and an exit status.

    Args:
        as_json: Whether the error goes to standard output too, as a JSON object.
        job: The job's file, named where a job cannot be done.
    """
    try:
        with standard_output_checked():
            yield
    except KnurlcamError as error:
        if isinstance(error, CannotBeDoneError) and error.where is None and job is not None:
            error = CannotBeDoneError(error.refusals, str(job))
        if as_json:
            with suppress(InputError):  # standard output is broken: standard error may be seen yet
                print_json({"error": _error_data(error)})
        complain(str(error))
        raise typer.Exit(error.exit_status) from None


def _error_data(error: KnurlcamError) -> dict[str, Any]:
    data: dict[str, Any] = {"message": str(error), "status": error.exit_status}
    if isinstance(error, CannotBeDoneError):
        data["refusals"] = [
            {"code": r.code, "key": r.key, "message": r.message, "acceptable": r.acceptable}
            for r in error.refusals
        ]
    problems = getattr(error, "problems", None) or (
        [error] if isinstance(error, InputError) else []
    )
    data["problems"] = [_problem_data(p) for p in problems]
    return data


def _problem_data(problem: InputError) -> dict[str, Any]:
    return {
        "where": problem.where,
        "line": problem.line,
        "key": problem.key,
        "problem": problem.problem,
        "value": None if problem.value is None else shortened(problem.value),
        "expected": problem.expected,
        "remedy": problem.remedy,
    }


def review_hint(job: Path) -> str:
    """Return the sentence that names the command for the setter's page."""
    page = f"{job.stem}.html"
    return f"See what it does: knurlcam review {shlex.quote(str(job))} -o {shlex.quote(page)}"


def imprint_hint(job: Path) -> str:
    """Return the sentence that names the command for the picture of the knurl."""
    picture = f"{job.stem}.png"
    return f"See the knurl: knurlcam imprint {shlex.quote(str(job))} -o {shlex.quote(picture)}"
