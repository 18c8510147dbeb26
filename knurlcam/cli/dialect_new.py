"""``knurlcam dialect new``: a commented copy of a dialect, to be made one's own."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path
from typing import Annotated

import typer

from knurlcam.cli.options import Posts, ShopFile
from knurlcam.cli.output import errors_reported
from knurlcam.errors import InputError

__all__ = ["new"]


def new(
    name: Annotated[
        str, typer.Argument(metavar="NAME", help="Name of the new dialect.", show_default=False)
    ],
    source: Annotated[
        str, typer.Option("--from", metavar="POST", help="Dialect to copy: the nearest one.")
    ],
    output: Annotated[
        Path | None,
        typer.Option(
            "-o",
            "--output",
            metavar="DIR",
            help="Folder of dialects in which NAME is made; the shop file's unless given.",
        ),
    ] = None,
    posts: Posts = None,
    shop: ShopFile = None,
) -> None:
    """A dialect of your own, copied from the nearest.

    DIR/NAME/dialect.toml has all traits, each with a comment that says what it is for and
    what may stand there. A dialect with a template of its own gives a copy of that as well.
    """
    with errors_reported():
        from knurlcam.cli.own_dialects import folder_of_the_shop
        from knurlcam.gcode.dialect_copy import copy_dialect
        from knurlcam.gcode.dialect_files import load_dialect

        own = folder_of_the_shop(shop)
        found = own if own is not None and own.is_dir() else None
        place = output or own
        if place is None:
            raise InputError(
                "is missing, and no shop file names a folder of dialects",
                key="--output",
                expected="a folder of dialects, such as -o posts",
                remedy='give it, or write dialects = "posts" in the shop file',
            )
        try:
            copied = load_dialect(source, (*(posts or ()), *((found,) if found else ())))
        except InputError as error:
            raise error.at(key="--from") if error.key == "machine.post" else error from None
        files = copy_dialect(copied, name, place)
        for file in files:
            print(file)
        check = f"knurlcam dialect check {shlex.quote(str(place / name))}"
        print(f"Change what your control wants otherwise, then: {check}", file=sys.stderr)
