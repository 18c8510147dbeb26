"""``knurlcam schema``: the reference of a job's keys, or of a dialect's traits."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from knurlcam.cli.output import errors_reported, print_json

__all__ = ["schema"]


def schema(
    dialect: Annotated[
        bool, typer.Option("--dialect", help="That of a dialect's traits instead.")
    ] = False,
) -> None:
    """The JSON Schema of a job file: every key and its unit; or of a dialect.toml."""
    with errors_reported():
        if dialect:
            print_json(_schema_of_traits())
        else:
            from knurlcam.job.model import Job

            print_json(Job.model_json_schema())


def _schema_of_traits() -> dict[str, Any]:
    from knurlcam.gcode.dialect import Dialect

    made = Dialect.model_json_schema()
    del made["properties"]["folder"]  # where it was read from is not written in it
    return {"title": "Traits of a dialect", **{k: v for k, v in made.items() if k != "title"}}
