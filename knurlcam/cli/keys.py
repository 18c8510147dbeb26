"""``knurlcam keys``: what may stand in a job file."""

from __future__ import annotations

from typing import Annotated

import typer

from knurlcam.cli.choosing import chosen
from knurlcam.cli.options import AsJson
from knurlcam.cli.output import errors_reported, print_json

__all__ = ["keys"]


def keys(
    asked: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="KEY",
            help="Keys such as knurl.length, or sections such as knurl; all unless given.",
            show_default=False,
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """The keys of a job file: unit, values, default and what each means."""
    with errors_reported(as_json=as_json):
        from knurlcam.job.keys import job_keys

        rows = {key.key: key for key in job_keys()}
        sections = dict.fromkeys(name.partition(".")[0] for name in rows)
        groups = {
            **{name: [key for key in rows.values() if key.key.startswith(f"{name}.")]
               for name in sections if name not in rows},
            **{name: [key] for name, key in rows.items()},
        }  # fmt: skip
        named = asked or list(sections)
        wanted = chosen(
            named, groups, "KEY", "a key or a section", "a key with its section, such as part.name"
        )
        found = list({key.key: key for group in wanted.values() for key in group}.values())
        if as_json:
            print_json({"keys": [key._asdict() for key in found]})
            return
        from knurlcam.cli.list_tables import print_keys

        print_keys(found)
