"""``knurlcam dialects``: the dialects that programs are written in."""

from __future__ import annotations

import typer

from knurlcam.cli.options import AsJson, Posts, ShopFile
from knurlcam.cli.output import complain, errors_reported, print_json
from knurlcam.cli.own_dialects import posts_here
from knurlcam.errors import InputError

__all__ = ["dialects"]


def dialects(posts: Posts = None, shop: ShopFile = None, as_json: AsJson = False) -> None:
    """The dialects, and what sets them apart."""
    with errors_reported(as_json=as_json):
        from knurlcam.gcode.dialect_files import dialect_names, load_dialect

        found, broken = [], []
        folders = posts_here(posts, shop)
        for name in dialect_names(folders):
            try:
                found.append(load_dialect(name, folders))
            except InputError as error:
                broken.append(error)
        if as_json:
            data = [{**d.model_dump(mode="json"), "folder": str(d.folder)} for d in found]
            print_json({"dialects": data})
        else:
            from knurlcam.cli.tables import print_dialects

            print_dialects(found)
        for fault in broken:
            complain(str(fault))
    if broken:
        raise typer.Exit(2)
