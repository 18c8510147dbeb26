"""``knurlcam materials``: the materials that a job may name."""

from __future__ import annotations

from typing import Annotated

import typer

from knurlcam.cli.options import AsJson
from knurlcam.cli.output import errors_reported, print_json

__all__ = ["materials"]


def materials(
    names: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="NAME",
            help="Materials to show with the source of each figure; a list of all unless given.",
            show_default=False,
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """The materials, their other names and their figures."""
    with errors_reported(as_json=as_json):
        from dataclasses import asdict

        from knurlcam.data.material_names import find_material
        from knurlcam.data.materials import materials as every

        found = [find_material(name) for name in names] if names else list(every())
        if as_json:
            print_json({"materials": [asdict(material) for material in found]})
            return
        from knurlcam.cli.list_tables import print_material, print_materials

        if not names:
            print_materials(found)
        for material in found if names else ():
            print_material(material)
