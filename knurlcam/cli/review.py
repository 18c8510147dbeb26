"""``knurlcam review``: the setter's page."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from knurlcam.cli.options import (
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
from knurlcam.cli.output import complain, errors_reported
from knurlcam.cli.overwrite import refuse_to_overwrite, refuse_what_is_not_a_page
from knurlcam.text import plain

__all__ = ["review"]


def review(
    job: JobFile,
    output: Annotated[
        Path, typer.Option("-o", "--output", metavar="FILE.html", help="Page to write.")
    ],
    program: ShownProgram = None,
    opened: Annotated[
        bool, typer.Option("--open", help="Open the page in the default browser.")
    ] = False,
    post: Post = None,
    posts: Posts = None,
    form: ReadAs = None,
    shop: ShopFile = None,
    log: LogFile = None,
    no_measured: NoMeasured = False,
) -> None:
    """The setter's page: the program in pictures and tables.

    The page is one file, to look at and to print, and needs no network. It shows the motion
    read back from the program. It is written even if the program has errors; the exit status
    is then 1.
    """
    with errors_reported(job=job):
        from knurlcam.files import read_text, write_whole
        from knurlcam.job.model import Job
        from knurlcam.review import review_page

        loaded = Job.load(job, shop, measured=measured_from(log, no_measured=no_measured))
        refuse_to_overwrite(output, job=job, program=program)
        refuse_what_is_not_a_page(output)
        made = review_page(
            loaded,
            None if program is None else read_text(program, what="a program"),
            post,
            form=form_of(form),
            posts=posts or (),
            name=None if program is None else program.name,
        )
        write_whole(output, made.html)
        errors = sum(f.severity == "error" for f in made.verification.findings)
        verdict = f"NOT SAFE, {errors} error(s)" if errors else "no error"
        page = plain(f"{output}: the setter's page of {program or job}")
        print(f"{page}, {verdict}", file=sys.stderr)
        if opened and not _open_in_browser(output):
            complain(f"no browser found to open {output}; open it by hand")
    if not made.verification.ok:
        raise typer.Exit(1)


def _open_in_browser(page: Path) -> bool:
    import webbrowser

    return webbrowser.open(page.resolve().as_uri())
