"""``knurlcam verify``: any program text, checked against its job."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from knurlcam.cli.options import (
    AsJson,
    LogFile,
    NoMeasured,
    Post,
    Posts,
    ReadAs,
    ShopFile,
    form_of,
    measured_from,
)
from knurlcam.cli.output import errors_reported, print_json

__all__ = ["verify"]


def verify(
    program: Annotated[
        Path, typer.Argument(metavar="PROGRAM", help="Program file.", show_default=False)
    ],
    job: Annotated[
        Path, typer.Option("--job", metavar="JOB", help="Job that the program should carry out.")
    ],
    post: Post = None,
    posts: Posts = None,
    form: ReadAs = None,
    shop: ShopFile = None,
    log: LogFile = None,
    no_measured: NoMeasured = False,
    as_json: AsJson = False,
) -> None:
    """Any program text, checked against its job.

    Each finding names the line, the block and the rule; `knurlcam rules` says why the rule
    matters. A program with an error ends with exit status 1.
    """
    with errors_reported(as_json=as_json, job=job):
        from knurlcam.files import read_text
        from knurlcam.job.model import Job
        from knurlcam.verification.verify import verify as verify_text

        loaded = Job.load(job, shop, measured=measured_from(log, no_measured=no_measured))
        text = read_text(program, what="a program")
        result = verify_text(text, loaded, post, form=form_of(form), posts=posts or ())
        if as_json:
            print_json(result.to_dict())
        else:
            from knurlcam.cli.tables import print_findings

            print_findings(str(program), result)
    if not result.ok:
        raise typer.Exit(1)
