"""``knurlcam rules``: what verification looks for."""

from __future__ import annotations

from typing import Annotated

import typer

from knurlcam.cli.choosing import chosen
from knurlcam.cli.options import AsJson
from knurlcam.cli.output import errors_reported, print_json

__all__ = ["rules"]


def rules(
    codes: Annotated[
        list[str] | None,
        typer.Argument(metavar="CODE", help="Rules to list; all unless given.", show_default=False),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """The rules of verification, and the reason for each."""
    with errors_reported(as_json=as_json):
        from knurlcam.verification.rules import RULES

        found = chosen(
            codes, RULES, "CODE", "the code of a rule", "a code as shown after a finding"
        )
        if as_json:
            listed = [{"code": code, **rule._asdict()} for code, rule in found.items()]
            print_json({"rules": listed})
            return
        from knurlcam.cli.tables import print_rules

        print_rules(found)
