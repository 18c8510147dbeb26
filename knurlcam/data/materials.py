"""Materials of the work and of hubs: ``shared/materials.toml``."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from knurlcam.data.caches import kept_until_cleared
from knurlcam.data.rows import Row, read_table
from knurlcam.errors import InputError, nearest

__all__ = [
    "Material",
    "find_material",
    "materials",
]


@dataclass(frozen=True, slots=True)
class Material:
    """A material of the work or of a hub.

    Attributes:
        name: Canonical name.
        aliases: Other names, in both systems of standards.
        yield_strength_mpa: Yield or 0.2 % proof strength [MPa]; None where no source gives one.
        tensile_strength_mpa: Tensile strength [MPa].
        elongation_percent: Elongation at fracture [%].
        youngs_modulus_gpa: Young's modulus [GPa].
        poisson_ratio: Poisson's ratio [-].
        density_kg_m3: Density [kg/m³].
        brinell: Brinell hardness [HB].
        turning_speed_m_min: Turning speed of a high speed steel tool [m/min].
        sources: Source of each figure, by the name of its attribute.
    """

    name: str
    aliases: tuple[str, ...]
    yield_strength_mpa: float | None
    tensile_strength_mpa: float | None
    elongation_percent: float | None
    youngs_modulus_gpa: float | None
    poisson_ratio: float | None
    density_kg_m3: float | None
    brinell: float | None
    turning_speed_m_min: float
    sources: Mapping[str, str] = field(hash=False)


@kept_until_cleared()
def materials() -> tuple[Material, ...]:
    """Return every material, in the order of the table."""
    rows = read_table("materials.toml").rows("material")
    found = tuple(_material(row) for row in rows)
    _refuse_shared_names(found, rows)
    return found


@kept_until_cleared(1024)
def find_material(name: str) -> Material:
    """Return the material of that name or alias.

    Case, spaces and hyphens do not count, both spellings of aluminium and grey
    are known, and dots may be left out where one material only can be meant.

    Args:
        name: A name or alias, such as ``EN AW-6082``.

    Raises:
        InputError: if no material has that name; the nearest name is offered.
    """
    table = materials()
    for fold in (_fold, _fold_dots):
        wanted = fold(name)
        matches = [m for m in table if wanted in {fold(n) for n in (m.name, *m.aliases)}]
        if len(matches) == 1:
            return matches[0]
    raise InputError(
        "unknown material",
        key="material",
        value=name,
        expected="a name or alias of the material table, or a table of its own",
        remedy=_nearest_material(name, table),
    )


def _material(row: Row) -> Material:
    row.allow(*(key for key in Material.__slots__ if key != "sources"))
    material = Material(
        name=row.text("name"),
        aliases=row.texts("aliases"),
        yield_strength_mpa=row.figure_or_none("yield_strength_mpa"),
        tensile_strength_mpa=row.figure_or_none("tensile_strength_mpa"),
        elongation_percent=row.figure_or_none("elongation_percent"),
        youngs_modulus_gpa=row.figure_or_none("youngs_modulus_gpa"),
        poisson_ratio=row.figure_or_none("poisson_ratio", below=0.5),
        density_kg_m3=row.figure_or_none("density_kg_m3"),
        brinell=row.figure_or_none("brinell"),
        turning_speed_m_min=row.figure("turning_speed_m_min"),
        sources=row.figure_sources(),
    )
    ultimate = material.tensile_strength_mpa or math.inf
    if material.yield_strength_mpa is not None and material.yield_strength_mpa > ultimate:
        raise row.fault(
            "yield_strength_mpa",
            "is above the tensile strength",
            material.yield_strength_mpa,
            f"at most {ultimate:g} MPa",
        )
    return material


def _refuse_shared_names(table: Sequence[Material], rows: Sequence[Row]) -> None:
    taken: dict[str, str] = {}
    for material, row in zip(table, rows, strict=True):
        for name in (material.name, *material.aliases):
            key = "name" if name is material.name else "aliases"
            if owner := taken.get(_fold(name)):
                raise row.fault(
                    key,
                    f"already names {owner!r}",
                    name,
                    "a name that no other row has",
                    "case, spaces and hyphens do not count",
                )
            taken[_fold(name)] = material.name


def _fold(name: str) -> str:
    """Return a name as it is compared: without case, spaces, hyphens or a spelling of its own."""
    plain = re.sub(r"[\s_\-\u2010-\u2014\u2212]+", "", name.casefold())
    return plain.replace("aluminum", "aluminium").replace("gray", "grey")


def _fold_dots(name: str) -> str:
    return re.sub(r"[.,]", "", _fold(name))


def _nearest_material(name: str, table: Sequence[Material]) -> str:
    names = [material.name for material in table]
    aliases = [alias for material in table for alias in material.aliases]
    offer = nearest(name, [*names, *aliases])
    # Nothing near: list the names, not the hundreds of aliases.
    return nearest(name, names) if offer.startswith("known:") else offer
