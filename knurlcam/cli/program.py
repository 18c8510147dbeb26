"""``knurlcam program``: the program of a job, written, read back and verified."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from knurlcam.cli.options import (
    FormName,
    JobFile,
    LogFile,
    NoMeasured,
    Post,
    Posts,
    ShopFile,
    WrittenAs,
    measured_from,
)
from knurlcam.cli.output import errors_reported, print_text, review_hint
from knurlcam.cli.overwrite import refuse_the_shop_file, refuse_to_overwrite

if TYPE_CHECKING:
    from knurlcam.plan.model import Plan
    from knurlcam.plan.remarks import Note
    from knurlcam.program import VerifiedProgram
    from knurlcam.verification.findings import Finding

__all__ = ["program"]


def program(
    job: JobFile,
    output: Annotated[
        Path | None,
        typer.Option(
            "-o", "--output", metavar="FILE", help="File to write; standard output unless given."
        ),
    ] = None,
    post: Post = None,
    posts: Posts = None,
    form: WrittenAs = FormName.PROGRAM,
    shop: ShopFile = None,
    log: LogFile = None,
    no_measured: NoMeasured = False,
) -> None:
    """The verified program of a job.

    It is read back and checked against the job first, and withheld if it has an error.
    """
    with errors_reported(job=job):
        from knurlcam.job.model import Job
        from knurlcam.path import lay_out
        from knurlcam.plan.planner import make_plan
        from knurlcam.program import write_verified

        loaded = Job.load(job, shop, measured=measured_from(log, no_measured=no_measured))
        if output is not None:
            refuse_to_overwrite(output, job=job)
            refuse_the_shop_file(output, job, shop)
        made = make_plan(loaded)
        (written,) = write_verified(
            [lay_out(made)], post or loaded.machine.post, form=form.value, posts=posts or ()
        )
        text = written.text
        _warn(made, written)
        if output is None:
            print_text(text)
        else:
            _write(output, text, job)


def _warn(plan: Plan, written: VerifiedProgram) -> None:
    """Say what planning warns of, and what verification found in the text, errors apart."""
    said: list[Note | Finding] = [*plan.notes, *written.verification.findings]
    for one in said:
        if one.severity != "note":
            print(f"{one.severity}: {one.message} [{one.code}]", file=sys.stderr)


def _write(output: Path, text: str, job: Path) -> None:
    from knurlcam.files import write_whole

    write_whole(output, text)
    lines = len(text.splitlines())
    print(f"{output}: {lines} lines, verified\n{review_hint(job)}", file=sys.stderr)
