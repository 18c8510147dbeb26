"""``knurlcam rolls``: the rolls of the standard, and those of the shop's drawer."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from knurlcam.cli.choosing import chosen
from knurlcam.cli.options import AsJson, ShopFile
from knurlcam.cli.output import errors_reported, print_json

if TYPE_CHECKING:
    from knurlcam.shop.file import Rolls

__all__ = ["rolls"]

_HERE = Path("a job in the present folder")


def rolls(
    asked: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="ROLL", help="Rolls such as BL to list; all unless given.", show_default=False
        ),
    ] = None,
    shop: ShopFile = None,
    as_json: AsJson = False,
) -> None:
    """The rolls of DIN 403 and what they make, and those of the shop."""
    with errors_reported(as_json=as_json):
        from knurlcam.data.rolls import din403_sizes, every_set
        from knurlcam.data.rolls import rolls as every
        from knurlcam.shop.fill import find_shop

        found = chosen(asked, every(), "ROLL", "a roll", "the letters of a roll, such as BL")
        sets = [each for each in every_set() if set(each.rolls) & set(found)]
        kept = find_shop(_HERE, shop)
        drawer = {
            name: row
            for name, row in (kept.rolls.items() if kept is not None else ())
            if set(row.forms) & set(found)
        }
        sizes = [row for row in din403_sizes() if row.form in found]
        if as_json:
            print_json(
                {
                    "rolls": [row._asdict() for row in found.values()],
                    "sets": [row._asdict() for row in sets],
                    "din403": [row._asdict() for row in sizes],
                    "shop": [_data(name, row) for name, row in drawer.items()],
                }
            )
            return
        from knurlcam.cli.list_tables import print_drawer, print_rolls

        print_rolls(found.values(), sets, sizes)
        if kept is not None:
            print_drawer(drawer, str(kept.path))


def _data(name: str, row: Rolls) -> dict[str, Any]:
    """Return a set of the drawer for scripts: lengths in mm, angles in degrees."""
    return {
        "name": name,
        "forms": list(row.forms),
        "pitch_mm": row.pitch,
        "tpi": row.tpi,
        "diametral_pitch": row.diametral_pitch,
        "profile_deg": row.profile_angle,
        "helix_deg": row.helix,
        "diameter_mm": row.roll_diameter,
        "face_width_mm": row.face_width,
        "teeth": row.roll_teeth,
        "measured_diameter_mm": row.roll_measured_diameter,
        "bevelled": row.bevelled,
    }
