"""``knurlcam codes``: what planning refuses, warns of and notes."""

from __future__ import annotations

from typing import Annotated

import typer

from knurlcam.cli.choosing import chosen
from knurlcam.cli.options import AsJson
from knurlcam.cli.output import errors_reported, print_json

__all__ = ["codes"]


def codes(
    asked: Annotated[
        list[str] | None,
        typer.Argument(metavar="CODE", help="Codes to list; all unless given.", show_default=False),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """What planning refuses, warns of and notes; what may be accepted."""
    with errors_reported(as_json=as_json):
        from knurlcam.data.codes import CODES

        found = chosen(
            asked, CODES, "CODE", "a code of planning", "a code as shown after a refusal or a note"
        )
        if as_json:
            print_json({"codes": [{"code": code, **row._asdict()} for code, row in found.items()]})
            return
        from knurlcam.cli.list_tables import print_codes

        print_codes(found)
