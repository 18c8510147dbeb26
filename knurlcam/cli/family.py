"""``knurlcam family``: a program for each row of a table."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from knurlcam.cli.options import (
    FormName,
    LogFile,
    NoMeasured,
    Post,
    Posts,
    ShopFile,
    WrittenAs,
    measured_from,
)
from knurlcam.cli.output import complain, errors_reported
from knurlcam.errors import InputError, KnurlcamError
from knurlcam.text import shortened

__all__ = ["family"]


def family(
    job: Annotated[
        Path,
        typer.Argument(metavar="JOB", help="Job that all parts share (TOML).", show_default=False),
    ],
    variants: Annotated[
        Path,
        typer.Argument(
            metavar="VARIANTS",
            help="Table of what differs, one row a part: .csv, .tsv, .xlsx or .jsonl.",
            show_default=False,
        ),
    ],
    output: Annotated[
        Path, typer.Option("-o", "--output", metavar="FOLDER", help="Folder for the programs.")
    ],
    pages: Annotated[
        bool, typer.Option("--review", help="Write a setter's page for each part as well.")
    ] = False,
    resume: Annotated[
        bool,
        typer.Option("--resume", help="Keep programs of an earlier run where nothing has changed."),
    ] = False,
    strict: Annotated[
        bool, typer.Option("--strict", help="Write nothing unless every row can be made.")
    ] = False,
    force: Annotated[
        bool,
        typer.Option(
            "--force", help="Overwrite files that were edited, or that no earlier run made."
        ),
    ] = False,
    workers: Annotated[
        int | None,
        typer.Option(
            "--workers",
            min=1,
            max=256,
            metavar="N",
            help="Number of processes; unless given, one a core, or fewer for a small table.",
        ),
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print problems only.")] = False,
    sheet: Annotated[
        str | None,
        typer.Option(
            "--sheet", metavar="NAME", help="Sheet of a workbook; the first unless given."
        ),
    ] = None,
    post: Post = None,
    posts: Posts = None,
    form: WrittenAs = FormName.PROGRAM,
    shop: ShopFile = None,
    log: LogFile = None,
    no_measured: NoMeasured = False,
) -> None:
    """A verified program for each row of a table.

    Many parts are made from one job, in a folder with an index. The table's columns are keys
    of the job, such as part.name and part.knurled_diameter. An empty cell leaves the key as
    the job has it. The column `file` names the program's file; without it the part's name
    does. A row that cannot be made is reported, and the exit status is then 1.
    """
    with errors_reported(job=job):
        from knurlcam.cli.family_progress import FamilyProgress
        from knurlcam.family import Base, count_rows, run_family

        base = Base.of(
            job,
            shop=shop,
            measured=measured_from(log, no_measured=no_measured),
            post=post,
            form=form.value,
            posts=posts or (),
            review=pages,
        )
        with _resume_offered(output):
            total = count_rows(base, variants, sheet)
            with FamilyProgress(str(variants), total, quiet=quiet) as progress:
                summary = run_family(
                    base,
                    variants,
                    output,
                    sheet=sheet,
                    rows=total,
                    workers=workers,
                    force=force,
                    resume=resume,
                    strict=strict,
                    watch=progress.watch,
                )
        progress.report(str(output), summary, strict=strict)
    if summary.counts.failed:
        raise typer.Exit(1)


@contextmanager
def _resume_offered(folder: Path) -> Iterator[None]:
    """Say, where a run breaks off, that what it wrote is whole and how to go on."""
    try:
        yield
    except KeyboardInterrupt:
        complain(f"interrupted; {_what_is_written(folder)}")
        raise SystemExit(130) from None
    except KnurlcamError:
        raise
    except Exception as error:  # a fault of ours, as in `app`, but after much was written
        fault = f"{type(error).__name__}: {shortened(str(error), 200)}"
        raise InputError(
            f"internal error ({fault})", remedy=f"please report it; {_what_is_written(folder)}"
        ) from None


def _what_is_written(folder: Path) -> str:
    if not folder.exists():
        return "nothing was written"
    return f"the files in {folder} are complete: run it again with --resume"
