"""The ``[fit]`` of a job: the bore that a press-fit knurl goes into."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import Any, Literal, Self

from pydantic import (
    ConfigDict,
    Field,
    field_validator,
    model_validator,
)

from knurlcam.data.fits import standard_tolerances
from knurlcam.data.material_names import find_material
from knurlcam.data.materials import Material
from knurlcam.errors import InputError
from knurlcam.job.fields import (
    NO_UNIT,
    UNIT_FORCE,
    UNIT_LENGTH,
    UNIT_TORQUE,
    Force,
    Length,
    Section,
    Torque,
)
from knurlcam.job.limits import MAX_LENGTH_MM
from knurlcam.job.materials import (
    HubMaterialChoice,
    OwnHubMaterial,
)

__all__ = [
    "BORE_NEAR_MM",
    "Fit",
]

BORE_NEAR_MM = 0.2
"""Distance of a limit of the bore from the nominal one up to which it is believed [mm]."""

BORE_NEAR_SHARE = 0.05
"""The same as a share of the bore; a limit beyond both is a typing error or another unit [-]."""


class Fit(Section):
    """The bore that a press-fit knurl goes into."""

    model_config = ConfigDict(
        json_schema_extra={
            "anyOf": [{"required": ["bore"]}, {"required": ["bore_smallest", "bore_largest"]}]
        }
    )

    bore: Length | None = Field(
        None,
        gt=0,
        le=MAX_LENGTH_MM,
        description="Nominal bore of the hub; may be left out where both limits are given",
        json_schema_extra=UNIT_LENGTH,
    )
    bore_tolerance: Literal["H6", "H7", "H8"] | None = Field(
        "H7",
        description="Tolerance of the bore, ISO 286; none where its limits are given",
        json_schema_extra=NO_UNIT,
    )
    bore_smallest: Length | None = Field(
        None,
        gt=0,
        le=MAX_LENGTH_MM,
        description="Smallest bore, with bore_largest instead of a tolerance",
        json_schema_extra=UNIT_LENGTH,
    )
    bore_largest: Length | None = Field(
        None,
        gt=0,
        le=MAX_LENGTH_MM,
        description="Largest bore, with bore_smallest instead of a tolerance",
        json_schema_extra=UNIT_LENGTH,
    )
    hub_diameter: Length = Field(
        gt=0,
        le=MAX_LENGTH_MM,
        description="Outer diameter of the hub",
        json_schema_extra=UNIT_LENGTH,
    )
    hub_material: HubMaterialChoice = Field(
        description="A row or alias of the material table, or a table of its own",
        json_schema_extra=NO_UNIT,
    )
    torque: Torque | None = Field(
        None, gt=0, description="Torque that the fit must hold", json_schema_extra=UNIT_TORQUE
    )
    axial_force: Force | None = Field(
        None, gt=0, description="Axial force that the fit must hold", json_schema_extra=UNIT_FORCE
    )
    hub_length: Length | None = Field(
        None,
        gt=0,
        le=MAX_LENGTH_MM,
        description="Length of the bore; the shorter of it and the knurl counts",
        json_schema_extra=UNIT_LENGTH,
    )

    @model_validator(mode="before")
    @classmethod
    def _limits_or_tolerance(cls, data: Any) -> Any:
        """Leave no tolerance beside limits: the usual H7 stands for what is not given."""
        if isinstance(data, Mapping) and data.get("bore_tolerance") is None:
            # Before validation: after it a default looks like a tolerance that was given.
            rest = {key: value for key, value in data.items() if key != "bore_tolerance"}
            limits = data.get("bore_smallest"), data.get("bore_largest")
            return rest if limits == (None, None) else {**rest, "bore_tolerance": None}
        return data

    @field_validator("hub_material")
    @classmethod
    def _known_material(cls, value: str | OwnHubMaterial) -> str | OwnHubMaterial:
        if isinstance(value, str):
            find_material(value)
        return value

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        if self.bore_smallest is None and self.bore_largest is None:
            self._in_the_table()
        else:
            self._limits_agree()
        largest = max(self.nominal_bore, self.bore_largest or 0.0)
        if self.hub_diameter <= largest:
            raise InputError(
                f"not larger than the bore, {largest:g} mm",
                key="hub_diameter",
                value=self.hub_diameter,
                expected="an outer diameter",
                remedy="correct bore or hub_diameter",
            )
        return self

    def _in_the_table(self) -> None:
        if self.bore is None:
            raise InputError(
                "is missing",
                key="bore",
                expected="the nominal bore, or both limits of the bore",
                remedy="add it, or give bore_smallest and bore_largest",
            )
        most = standard_tolerances()[-1].up_to_mm
        if self.bore > most:
            raise InputError(
                f"the tolerance {self.bore_tolerance} is not known for so large a bore",
                key="bore",
                value=self.bore,
                expected=f"at most {most:g} mm, or the limits of the bore",
                remedy="give bore_smallest and bore_largest instead of bore_tolerance",
            )

    def _limits_agree(self) -> None:
        smallest, largest = self.bore_smallest, self.bore_largest
        if smallest is None or largest is None:
            raise InputError(
                "one limit of the bore is missing",
                key="bore_smallest" if smallest is None else "bore_largest",
                expected="both limits, or bore_tolerance",
                remedy="add it, or leave the other out",
            )
        if self.bore_tolerance is not None:
            raise InputError(
                "the bore also has limits",
                key="bore_tolerance",
                value=self.bore_tolerance,
                expected="a tolerance, or bore_smallest and bore_largest",
                remedy="leave one or the other out",
            )
        if smallest > largest:
            raise InputError(
                f"larger than bore_largest, {largest:g} mm",
                key="bore_smallest",
                value=smallest,
                expected=f"at most {largest:g} mm",
                remedy="correct the limits",
            )
        self._limits_are_near(smallest, largest)

    def _limits_are_near(self, smallest: float, largest: float) -> None:
        """Refuse a limit far from the nominal bore, else limits far from each other."""
        nominal = self.nominal_bore
        near = max(BORE_NEAR_MM, BORE_NEAR_SHARE * nominal)
        what = "the nominal bore" if self.bore is not None else "the middle of the two limits"
        for key, limit in (("bore_smallest", smallest), ("bore_largest", largest)):
            if abs(limit - nominal) > near:
                raise InputError(
                    f"far from {what}, {nominal:g} mm",
                    key=key,
                    value=limit,
                    expected=f"{nominal - near:g} to {nominal + near:g} mm",
                    remedy="correct the limit, its unit, or bore",
                )

    @cached_property
    def nominal_bore(self) -> float:
        """The nominal bore, or the middle of its limits where the job leaves it out [mm]."""
        if self.bore is not None:
            return self.bore
        return ((self.bore_smallest or 0.0) + (self.bore_largest or 0.0)) / 2.0

    @cached_property
    def hub_row(self) -> Material:
        """The hub material's row, from the table or from the job itself."""
        if isinstance(self.hub_material, str):
            return find_material(self.hub_material)
        return self.hub_material.row()
