"""``knurlcam dialect``: a dialect of one's own, started and checked."""

from __future__ import annotations

import typer

from knurlcam.cli.dialect_check import check
from knurlcam.cli.dialect_new import new
from knurlcam.cli.examples import epilog_of

__all__ = ["dialect"]

dialect = typer.Typer(
    name="dialect",
    help="A dialect of your own: start one, and check it.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
for command in (new, check):
    dialect.command(epilog=epilog_of(f"dialect {command.__name__}"))(command)
