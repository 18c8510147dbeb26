"""Materials of the work and of hubs: ``shared/materials.toml``."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from knurlcam.data.caches import kept_until_cleared
from knurlcam.data.material_kinds import folded
from knurlcam.data.rows import Row, read_table

__all__ = [
    "Material",
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
            if owner := taken.get(folded(name)):
                raise row.fault(
                    key,
                    f"already names {owner!r}",
                    name,
                    "a name that no other row has",
                    "case, spaces and hyphens do not count",
                )
            taken[folded(name)] = material.name
