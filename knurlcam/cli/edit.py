"""``knurlcam edit``: a job filled in on a page of this machine."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from knurlcam.cli.options import ShopFile
from knurlcam.cli.output import complain, errors_reported

__all__ = ["edit"]


def edit(
    job: Annotated[
        Path, typer.Argument(metavar="[JOB.toml]", help="Job file; it need not be there yet.")
    ] = Path("job.toml"),
    no_open: Annotated[
        bool, typer.Option("--no-open", help="Only print the address; open no browser.")
    ] = False,
    port: Annotated[
        int, typer.Option("--port", min=0, max=65535, help="Port; any that is free unless given.")
    ] = 0,
    shop: ShopFile = None,
) -> None:
    """Fill in a job on a page in the browser, and see at each change what it comes to.

    The page is served to this machine only, reads and writes in the job's folder only, and
    ends with its terminal or soon after it is closed.
    """
    with errors_reported(job=job):
        from knurlcam.edit.document import inside
        from knurlcam.edit.server import serve

        place = inside(job.absolute().parent, job.name, ".toml")

        def ready(address: str) -> None:
            print(address, flush=True)
            if not no_open and not _opened(address):
                complain("no browser found; open the address by hand")

        serve(place, shop=shop, port=port, ready=ready)


def _opened(address: str) -> bool:
    import webbrowser

    return webbrowser.open(address)
