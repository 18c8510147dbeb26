"""Materials that a job gives itself, because the table does not list them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Annotated, Self

from pydantic import (
    ConfigDict,
    Discriminator,
    Field,
    Tag,
    model_validator,
)

from knurlcam.data.materials import Material
from knurlcam.errors import InputError
from knurlcam.job.fields import (
    NO_UNIT,
    UNIT_DENSITY,
    UNIT_STRESS,
    UNIT_VELOCITY,
    Density,
    Figure,
    Section,
    Stress,
    Title,
    Velocity,
)

__all__ = [
    "MATERIAL_TAGS",
    "HubMaterialChoice",
    "MaterialChoice",
    "OwnFigures",
    "OwnHubMaterial",
    "OwnMaterial",
]


class OwnFigures(Section):
    """What is known of a material that the table does not list."""

    name: Title = Field(
        min_length=1, max_length=80, description="Its name", json_schema_extra=NO_UNIT
    )
    yield_strength: Stress | None = Field(
        None, gt=0, le=5000, description="Yield strength", json_schema_extra=UNIT_STRESS
    )
    turning_speed: Velocity | None = Field(
        None,
        gt=0,
        le=2000,
        description="Turning speed with HSS tools; knurling takes half of it",
        json_schema_extra=UNIT_VELOCITY,
    )
    tensile_strength: Stress | None = Field(
        None, gt=0, le=5000, description="Tensile strength", json_schema_extra=UNIT_STRESS
    )
    elongation: Figure | None = Field(
        None, ge=0, le=100, description="Elongation after fracture", json_schema_extra={"unit": "%"}
    )
    youngs_modulus: Stress | None = Field(
        None, gt=0, le=1e6, description="Young's modulus", json_schema_extra=UNIT_STRESS
    )
    poisson_ratio: Figure | None = Field(
        None, ge=0, lt=0.5, description="Poisson's ratio", json_schema_extra=NO_UNIT
    )
    density: Density | None = Field(
        None, gt=0, le=30000, description="Density", json_schema_extra=UNIT_DENSITY
    )
    brinell: Figure | None = Field(
        None, gt=0, le=1000, description="Brinell hardness", json_schema_extra={"unit": "HB"}
    )

    def row(self) -> Material:
        """Return it as a row of the material table; NaN for a turning speed not given."""
        return Material(
            name=self.name,
            aliases=(),
            yield_strength_mpa=self.yield_strength,
            tensile_strength_mpa=self.tensile_strength,
            elongation_percent=self.elongation,
            youngs_modulus_gpa=None if self.youngs_modulus is None else self.youngs_modulus / 1e3,
            poisson_ratio=self.poisson_ratio,
            density_kg_m3=self.density,
            brinell=self.brinell,
            turning_speed_m_min=math.nan if self.turning_speed is None else self.turning_speed,
            sources={},
        )


class OwnMaterial(OwnFigures):
    """A material that the table does not list, given in the job itself."""

    yield_strength: Stress = Field(
        gt=0, le=5000, description="Yield strength", json_schema_extra=UNIT_STRESS
    )
    turning_speed: Velocity = Field(
        gt=0,
        le=2000,
        description="Turning speed with HSS tools; knurling takes half of it",
        json_schema_extra=UNIT_VELOCITY,
    )


class OwnHubMaterial(OwnFigures):
    """A hub's material that the table does not list: it is not turned, and may be brittle."""

    model_config = ConfigDict(
        json_schema_extra={
            "anyOf": [{"required": ["yield_strength"]}, {"required": ["tensile_strength"]}]
        }
    )

    youngs_modulus: Stress = Field(
        gt=0, le=1e6, description="Young's modulus", json_schema_extra=UNIT_STRESS
    )

    @model_validator(mode="after")
    def _has_a_strength(self) -> Self:
        if self.yield_strength is None and self.tensile_strength is None:
            raise InputError(
                "neither yield nor tensile strength is given",
                key="yield_strength",
                expected="yield_strength, or tensile_strength of a brittle hub",
                remedy="add one of them",
            )
        return self


def _name_or_table(value: object) -> str:
    if isinstance(value, str):  # asked first: a model's own check of a class takes longer
        return "name"
    return "table" if isinstance(value, (Mapping, OwnFigures)) else "name"


MATERIAL_TAGS = ("table", "name")
MaterialChoice = Annotated[
    Annotated[str, Tag("name")] | Annotated[OwnMaterial, Tag("table")],
    Discriminator(_name_or_table),
]
HubMaterialChoice = Annotated[
    Annotated[str, Tag("name")] | Annotated[OwnHubMaterial, Tag("table")],
    Discriminator(_name_or_table),
]
