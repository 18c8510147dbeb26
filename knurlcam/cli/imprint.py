"""``knurlcam imprint``: the knurl that the rolls leave."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal, NamedTuple

import typer

from knurlcam.cli.lengths import length_or_none
from knurlcam.cli.options import (
    AsJson,
    JobFile,
    LogFile,
    NoMeasured,
    Post,
    Posts,
    ReadAs,
    ShopFile,
    ShownProgram,
    form_of,
    measured_from,
)
from knurlcam.cli.output import complain, errors_reported, print_json, standard_output_checked
from knurlcam.cli.overwrite import refuse_other_file_kind, refuse_to_overwrite
from knurlcam.errors import CannotBeDoneError, InputError
from knurlcam.text import plain

if TYPE_CHECKING:
    from knurlcam.imprint.make import Imprint
    from knurlcam.imprint.window import Window
    from knurlcam.job.model import Job

__all__ = ["imprint"]


def imprint(
    job: JobFile,
    output: Annotated[
        Path | None,
        typer.Option(
            "-o",
            "--output",
            metavar="FILE",
            help="File to write: a picture (.png, .svg), the height map (.npz), a solid (.stl).",
        ),
    ] = None,
    program: ShownProgram = None,
    blank: Annotated[
        str | None,
        typer.Option(
            "--blank", metavar="D", help="Diameter of the blank; the planned one unless given."
        ),
    ] = None,
    resolution: Annotated[
        str | None,
        typer.Option(
            "--resolution",
            metavar="R",
            help='Largest cell of the height map, as "0.02 mm"; unless given, one that suits.',
        ),
    ] = None,
    stiff: Annotated[
        bool, typer.Option("--stiff", help="Leave out the deflection of the work.")
    ] = False,
    post: Post = None,
    posts: Posts = None,
    form: ReadAs = None,
    shop: ShopFile = None,
    log: LogFile = None,
    no_measured: NoMeasured = False,
    as_json: AsJson = False,
) -> None:
    """The knurl that the program leaves, as an estimate.

    Teeth, growth and double impression are measured on a height map, which is computed from
    the motion read back from the program. The range of blanks with a clean knurl is given as
    well. A program with errors is shown too; the exit status is then 1.
    """
    with errors_reported(as_json=as_json, job=job):
        from knurlcam.files import read_text, write_whole
        from knurlcam.imprint.files import imprint_file, kind_of
        from knurlcam.job.model import Job

        loaded = Job.load(job, shop, measured=measured_from(log, no_measured=no_measured))
        if output is not None:
            refuse_to_overwrite(output, job=job, program=program)
            refuse_other_file_kind(output, kind_of(output).is_ours)
        asked = _Asked(
            None if program is None else read_text(program, what="a program"),
            program,
            length_or_none(blank, "--blank", loaded.units),
            length_or_none(resolution, "--resolution", loaded.units),
            stiff,
        )
        made = _make(loaded, asked, post, posts or (), form_of(form))
        content = None if output is None else imprint_file(output, made.imprint, made.window)
        # Printed before it is written: a full disk or a closed pipe leaves no file behind.
        _print(made, as_json=as_json)
        if output is not None and content is not None:
            write_whole(output, content)
            what = plain(f"{output}: what {program or job}")
            print(f"{what} leaves, an estimate", file=sys.stderr)
        if made.errors:
            complain(f"NOT SAFE: {_errors_of(made.errors)}")
    if made.errors:
        raise typer.Exit(1)


class _Asked(NamedTuple):
    """What is asked of an imprint: the program's text and file, blank, cells, deflection."""

    text: str | None
    program: Path | None
    blank_mm: float | None
    resolution_mm: float | None
    stiff: bool


class _Made(NamedTuple):
    """An imprint, its window, and how many errors verification found in the program."""

    imprint: Imprint
    window: Window
    errors: int


def _make(
    job: Job,
    asked: _Asked,
    post: str | None,
    posts: Iterable[Path],
    form: Literal["program", "section", "subprogram", "blocks"] | None,
) -> _Made:
    from knurlcam.gcode.dialect_files import load_dialect
    from knurlcam.imprint.make import make_imprint
    from knurlcam.imprint.window import window_of
    from knurlcam.plan.planner import make_plan
    from knurlcam.program import read_and_verify
    from knurlcam.timeline import time_line

    dialect = load_dialect(post or job.machine.post, (*posts, *job.posts))
    plan = make_plan(job)
    _, motion, verdict = read_and_verify(plan, asked.text, dialect, form)
    errors = sum(f.severity == "error" for f in verdict.findings)
    try:
        left = make_imprint(
            plan,
            motion,
            blank_diameter_mm=asked.blank_mm,
            resolution_mm=asked.resolution_mm,
            stiff=asked.stiff,
        )
        window = window_of(plan, time_line(motion, plan), stiff=asked.stiff)
    except CannotBeDoneError as error:
        if not errors:
            raise
        more = [replace(r, message=f"{r.message}; {_errors_of(errors)}") for r in error.refusals]
        where = None if asked.program is None else str(asked.program)
        raise CannotBeDoneError(more, where) from None
    except InputError as error:
        if error.key != "resolution":
            raise
        raise error.at(key="--resolution") from None
    return _Made(left, window, errors)


def _print(made: _Made, *, as_json: bool) -> None:
    if as_json:
        from knurlcam.imprint.report import imprint_dict

        print_json({**imprint_dict(made.imprint, made.window), "errors": made.errors})
        return
    from knurlcam.cli.tables import print_imprint

    with standard_output_checked():
        print_imprint(made.imprint, made.window)


def _errors_of(count: int) -> str:
    return f"this program has {count} error{'s' if count > 1 else ''}; knurlcam verify lists them"
