"""The part, how it is held, the process and the machine of a job."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import Annotated, Literal, Self

from pydantic import (
    Field,
    GetJsonSchemaHandler,
    StringConstraints,
    field_validator,
    model_validator,
)
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema

from knurlcam.data.codes import ACCEPTABLE
from knurlcam.data.material_names import find_material
from knurlcam.data.materials import Material
from knurlcam.data.speeds import speed_rules
from knurlcam.errors import InputError, nearest
from knurlcam.job.fields import (
    NO_UNIT,
    UNIT_FEED,
    UNIT_FORCE,
    UNIT_LENGTH,
    UNIT_REV,
    UNIT_SPEED,
    UNIT_TORQUE,
    UNIT_VELOCITY,
    Count,
    Feed,
    Figure,
    Force,
    Length,
    Section,
    Speed,
    Title,
    Torque,
    Velocity,
)
from knurlcam.job.limits import HIGHEST_NUMBER, LEAST_FEED_MM, MAX_LENGTH_MM
from knurlcam.job.materials import (
    MaterialChoice,
    OwnMaterial,
)
from knurlcam.job.steps import STEPS_AGREE_MM, Steps, steps_text
from knurlcam.mechanics.knurl import LEAST_FULLNESS

Gear = Annotated[str, StringConstraints(pattern=r"^M[0-9]{1,3}$")]
"""A word for a gear range, as the dialect has it."""

__all__ = [
    "TAILSTOCKS",
    "Holding",
    "Machine",
    "Part",
    "Process",
]

TAILSTOCKS: Mapping[str, tuple[str, ...]] = {
    "between centres": ("dead centre", "live centre"),
    "chuck and centre": ("live centre", "dead centre"),
    "chuck": ("none",),
}
"""What may stand at the tailstock for each way of holding; the first is the default."""


class Part(Section):
    """The workpiece."""

    name: Title = Field(
        min_length=1, max_length=80, description="Name of the part", json_schema_extra=NO_UNIT
    )
    material: MaterialChoice = Field(
        description="A row or alias of the material table, or a table of its own",
        json_schema_extra=NO_UNIT,
    )
    knurled_diameter: Length | None = Field(
        None,
        gt=0,
        le=MAX_LENGTH_MM,
        description="Diameter wanted over the crests; with a [fit] the plan can choose it",
        json_schema_extra=UNIT_LENGTH,
    )
    blank_diameter: Length | None = Field(
        None,
        gt=0,
        le=MAX_LENGTH_MM,
        description="Diameter turned before knurling",
        json_schema_extra=UNIT_LENGTH,
    )
    length: Length = Field(
        gt=0,
        le=MAX_LENGTH_MM,
        description="Free length from the face at the tailstock end (Z0) to the chuck or the "
        "driven centre",
        json_schema_extra=UNIT_LENGTH,
    )
    number: Count = Field(
        1, ge=1, le=HIGHEST_NUMBER, description="Program number", json_schema_extra=NO_UNIT
    )
    steps: Steps = Field(
        None,
        description="Stepped work: diameter and length of each piece, from the end face to the "
        "chuck or the driven centre; left out: the blank's diameter all along",
        json_schema_extra={"unit": "mm or inch (bare numbers: the job's units)", "cell": "steps"},
    )

    @field_validator("material")
    @classmethod
    def _known_material(cls, value: str | OwnMaterial) -> str | OwnMaterial:
        if isinstance(value, str):
            find_material(value)
        return value

    @model_validator(mode="after")
    def _whole_length(self) -> Self:
        if self.steps is not None:
            total = sum(length for _, length in self.steps)
            if abs(total - self.length) > STEPS_AGREE_MM:
                raise InputError(
                    f"the steps add up to {total:g} mm, the part is {self.length:g} mm long",
                    key="steps",
                    value=steps_text(self.steps),
                    expected="steps from the end face to the chuck or the driven centre",
                    remedy="correct a step's length or part.length",
                )
        return self

    @cached_property
    def material_row(self) -> Material:
        """The material's row, from the table or from the job itself."""
        if isinstance(self.material, str):
            return find_material(self.material)
        return self.material.row()


class Holding(Section):
    """How the work is held."""

    method: Literal["between centres", "chuck and centre", "chuck"] = Field(
        description="How the work is held", json_schema_extra=NO_UNIT
    )
    tailstock: Literal["dead centre", "live centre", "none"] | None = Field(
        None,
        description="Centre at the tailstock; unless given, a dead centre for work between "
        "centres, a live centre beside a chuck, none for a chuck alone",
        json_schema_extra=NO_UNIT,
    )
    centre_diameter: Length | None = Field(
        None,
        gt=0,
        le=MAX_LENGTH_MM,
        description="Largest diameter of the centre and its quill beyond the end face",
        json_schema_extra=UNIT_LENGTH,
    )
    grip: Force | None = Field(
        None,
        gt=0,
        description="Axial force that the chuck holds before the work slips in its jaws",
        json_schema_extra=UNIT_FORCE,
    )

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        allowed = TAILSTOCKS[self.method]
        if self.tailstock is not None and self.tailstock not in allowed:
            raise InputError(
                f'contradicts method = "{self.method}"',
                key="tailstock",
                value=self.tailstock,
                expected=" or ".join(allowed),
                remedy="change the method or leave tailstock out",
            )
        if self.centre_diameter is not None and self.held_by == "none":
            raise InputError(
                "there is no centre at the tailstock",
                key="centre_diameter",
                value=self.centre_diameter,
                expected="a tailstock with a centre",
                remedy="leave centre_diameter out or change the method",
            )
        if self.grip is not None and self.method == "between centres":
            raise InputError(
                "there is no chuck",
                key="grip",
                value=self.grip,
                expected="grip only with a chuck",
                remedy="leave grip out or change the method",
            )
        return self

    @property
    def held_by(self) -> str:
        """What stands at the tailstock, the default filled in."""
        return self.tailstock or TAILSTOCKS[self.method][0]


class Process(Section):
    """Speed, feed and passes; what is left out is recommended, and said to be."""

    spindle_speed: Speed | None = Field(
        None, ge=1, le=20000, description="Spindle speed", json_schema_extra=UNIT_SPEED
    )
    feed: Feed | None = Field(
        None,
        ge=LEAST_FEED_MM,
        le=50,
        description="Feed per revolution while traversing; 0.5 mm/rev unless given",
        json_schema_extra=UNIT_FEED,
    )
    infeed_rate: Feed | None = Field(
        None,
        ge=LEAST_FEED_MM,
        le=50,
        description="Infeed of the slide per revolution; 0.05 to 0.10 mm/rev unless given",
        json_schema_extra=UNIT_FEED,
    )
    passes: Count | None = Field(
        None, ge=1, le=50, description="Passes that press deeper", json_schema_extra=NO_UNIT
    )
    strategy: Literal["traverse", "plunge"] | None = Field(
        None, description="Plunge when it can be unless given", json_schema_extra=NO_UNIT
    )
    fullness: Figure | None = Field(
        None,
        ge=LEAST_FULLNESS,
        le=1.0,
        description="Wanted tooth height over the height of the full profile; the usual one of "
        "the form unless given",
        json_schema_extra=NO_UNIT,
    )
    dwell_revolutions: Count = Field(
        2,
        ge=1,
        le=50,
        description="Turns of the work after each infeed",
        json_schema_extra=UNIT_REV,
    )
    clean_up: bool = Field(
        True, description="One last traverse without infeed", json_schema_extra=NO_UNIT
    )
    trial_strip: bool = Field(
        False,
        description="Knurl a short strip first and stop to look for a double impression",
        json_schema_extra=NO_UNIT,
    )
    trial_length: Length | None = Field(
        None,
        gt=0,
        le=MAX_LENGTH_MM,
        description="Slide travel of the trial strip; 12 mm unless given",
        json_schema_extra=UNIT_LENGTH,
    )
    trial_stop: Literal["program", "optional"] = Field(
        "program",
        description="Stop after the trial strip: always (program, M00), or only with the control's "
        "switch on (optional, M01)",
        json_schema_extra=NO_UNIT,
    )
    coolant: bool = Field(True, description="Oil or coolant on", json_schema_extra=NO_UNIT)
    compensate: bool = Field(
        False,
        description="Deflection compensation: the traverse follows the computed deflection",
        json_schema_extra=NO_UNIT,
    )
    accept: tuple[str, ...] = Field(
        (),
        description="Codes of refusals that the programmer accepts",
        json_schema_extra=NO_UNIT,
    )

    @field_validator("accept")
    @classmethod
    def _known_codes(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        for code in value:
            if code not in ACCEPTABLE:
                raise InputError(
                    "not a refusal that can be accepted",
                    value=code,
                    expected="the code of a refusal that can be accepted",
                    remedy=nearest(code, ACCEPTABLE),
                )
        return value

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        for key, default in (("trial_length", None), ("trial_stop", "program")):
            value = getattr(self, key)
            if value != default and not self.trial_strip:
                raise InputError(
                    "there is no trial strip",
                    key=key,
                    value=value,
                    expected="trial_strip = true",
                    remedy=f"add it or leave {key} out",
                )
        return self


def _usual_reversal_limit() -> float:
    """Return the limit of the table of speeds, which a shop may have its own of [rev/min]."""
    return speed_rules().reversal_limit_rpm


class _UsualLimit:
    """Says in the schema what holds where the key is left out; the table is read only then."""

    def __get_pydantic_json_schema__(
        self, core: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        return {**handler(core), "default": _usual_reversal_limit()}


class Machine(Section):
    """The lathe and its control."""

    post: str = Field(
        "iso6983",
        min_length=1,
        max_length=60,
        description="Dialect of the program",
        json_schema_extra=NO_UNIT,
    )
    max_spindle_speed: Speed = Field(
        2000.0, ge=1, le=20000, description="Highest spindle speed", json_schema_extra=UNIT_SPEED
    )
    reversal_speed_limit: Annotated[Speed, _UsualLimit()] = Field(
        default_factory=_usual_reversal_limit,
        validate_default=True,
        ge=1,
        le=20000,
        description="Highest spindle speed at which the feed reverses under load",
        json_schema_extra=UNIT_SPEED,
    )
    torque_limit: Torque | None = Field(
        None,
        gt=0,
        description="Largest torque of the spindle at the slow speed of knurling",
        json_schema_extra=UNIT_TORQUE,
    )
    clearance: Length = Field(
        2.0,
        ge=0.1,
        le=500,
        description="Clearance on the radius, from first touch to where rapid moves end",
        json_schema_extra=UNIT_LENGTH,
    )
    safe_x: Length = Field(
        gt=0,
        le=MAX_LENGTH_MM,
        description="X of the safe position, on the diameter",
        json_schema_extra=UNIT_LENGTH,
    )
    safe_z: Length = Field(
        ge=-MAX_LENGTH_MM,
        le=MAX_LENGTH_MM,
        description="Z of the safe position",
        json_schema_extra=UNIT_LENGTH,
    )
    spindle_direction: Literal["forward", "reverse"] = Field(
        "forward", description="M03 or M04", json_schema_extra=NO_UNIT
    )
    gear: Gear | None = Field(
        None,
        description="Gear range of the spindle: one of the dialect's gears, such as M42",
        json_schema_extra=NO_UNIT,
    )
    rapid_rate: Velocity = Field(
        10.0,
        ge=0.001,
        le=500,
        description="Rapid rate, for times and pictures only",
        json_schema_extra=UNIT_VELOCITY,
    )
