"""Where the tables and other folders of data are.

A shop's own table, in the folder that ``KNURLCAM_TABLES`` names, stands in for the file of the
same name that knurlcam brings.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from importlib.util import find_spec
from pathlib import Path

from knurlcam.errors import InputError

__all__ = [
    "TABLES",
    "TABLES_VARIABLE",
    "data_folder",
    "table_file",
    "table_files",
]

TABLES_VARIABLE = "KNURLCAM_TABLES"
"""Environment variable that names a shop's own folder of tables."""

TABLES: Mapping[str, tuple[str, ...]] = {
    "materials.toml": ("sources", "material"),
    "material_kinds.toml": ("fillers", "kind"),
    "knurls.toml": (
        "sources",
        "standard_pitches",
        "profile_angles",
        "tooth_family",
        "trade_tpi",
        "form",
        "diametral_pitch",
    ),
    "rolls.toml": ("sources", "roll", "roll_set", "din403_teeth"),
    "speeds.toml": ("sources", "rules", "turning_speed"),
    "fits.toml": ("sources", "friction", "standard_tolerance"),
    "cautions.toml": ("caution", "proving"),
}
"""Files of tables, each with the tables in it."""


def table_files() -> list[Path]:
    """Return the files of all tables in effect, the shop's own where it has one."""
    return [table_file(name) for name in sorted(TABLES)]


def data_folder(name: str) -> Path:
    """Return a folder of data that knurlcam brings.

    Installed, it is the package ``knurlcam.<name>``; in a plain checkout it
    stands beside the package. The package's search path is walked by hand
    because an editable install puts a placeholder in it that is no folder,
    which ``importlib.resources`` of Python 3.11 does not bear.

    Args:
        name: ``shared`` or ``postprocessors``.

    Raises:
        InputError: if the installation lacks the folder.
    """
    checkout = Path(__file__).resolve().parents[2] / name
    for folder in (*_package_folders(name), checkout):
        if folder.is_dir() and any(folder.iterdir()):
            return folder
    raise InputError(
        "the folder of data is missing",
        where=str(checkout),
        key=name,
        expected="a folder with files",
        remedy="reinstall knurlcam",
    )


def _package_folders(name: str) -> list[Path]:
    try:
        spec = find_spec(f"knurlcam.{name}")
    except ModuleNotFoundError:
        return []
    return [Path(place) for place in (spec and spec.submodule_search_locations) or ()]


def table_file(name: str) -> Path:
    """Return the file of a table that is in effect: the shop's own, else knurlcam's.

    Raises:
        InputError: if the shop's folder is not one.
    """
    own = os.environ.get(TABLES_VARIABLE)
    if not own:
        return data_folder("shared") / name
    folder = Path(own)
    if not folder.is_dir():
        raise InputError(
            "is not a folder",
            key=TABLES_VARIABLE,
            value=own,
            expected="a folder with tables of the shop's own",
            remedy=f"correct or unset {TABLES_VARIABLE}",
        )
    return folder / name if (folder / name).exists() else data_folder("shared") / name
