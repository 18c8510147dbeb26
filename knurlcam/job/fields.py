"""Types of a job's keys: texts with units in, floats in canonical units out.

Bare lengths and feeds are in the units that the file names. They are held in a context
variable while a file is read, because a validator of one key sees nothing of the others.
"""

from __future__ import annotations

from collections.abc import Mapping
from contextvars import ContextVar
from typing import Annotated, Any, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
    ValidatorFunctionWrapHandler,
    WithJsonSchema,
    model_validator,
)

from knurlcam.errors import InputError
from knurlcam.units.kinds import Kind, Units
from knurlcam.units.quantities import parse_quantity, to_text

__all__ = [
    "NO_UNIT",
    "UNIT_ANGLE",
    "UNIT_DENSITY",
    "UNIT_FEED",
    "UNIT_FORCE",
    "UNIT_LENGTH",
    "UNIT_REV",
    "UNIT_SPEED",
    "UNIT_STRESS",
    "UNIT_TORQUE",
    "UNIT_VELOCITY",
    "Angle",
    "Count",
    "Density",
    "Feed",
    "Figure",
    "Force",
    "InUnits",
    "Length",
    "Name",
    "Section",
    "Speed",
    "Stress",
    "Title",
    "Torque",
    "Velocity",
    "units_in_force",
]

_units: ContextVar[Units] = ContextVar("units", default="mm")


def _reader(kind: Kind) -> BeforeValidator:
    def read(value: object) -> float:
        return parse_quantity(value, kind, _units.get())

    return BeforeValidator(read)


def _writer(kind: Kind) -> PlainSerializer:
    def write(value: float) -> str:
        return to_text(value, kind)

    return PlainSerializer(write, return_type=str)


def _no_bool(value: object) -> object:
    """Refuse true and false, which Python takes for 1 and 0."""
    if isinstance(value, bool):
        raise InputError(
            "not a number",
            value=value,
            expected="a number",
            remedy="give a number or leave the key out",
        )
    return value


Count = Annotated[int, BeforeValidator(_no_bool)]
Figure = Annotated[float, BeforeValidator(_no_bool)]

_SPACES_KEPT = "\u00a0\u202f\u3000"
"""Spaces of other keyboards, which a name may have."""


def _visible(value: str) -> str:
    """Take what steers a terminal or cannot be seen, for a space."""
    if value.isprintable():
        return value
    return "".join([c if c.isprintable() or c in _SPACES_KEPT else " " for c in value])


def _seen(value: str) -> str:
    """Refuse a name with what steers a terminal or cannot be seen."""
    if _visible(value) != value:
        raise InputError(
            "holds an invisible character",
            value=value,
            expected="a name in letters, digits, signs and spaces",
            remedy="type it again: copied text may hold such characters",
        )
    return value


Name = Annotated[str, AfterValidator(_seen)]
Title = Annotated[str, AfterValidator(_visible)]
"""What is shown and written in comments only: a copied text may bring such characters along."""

_NUMBER_OR_TEXT = WithJsonSchema({"anyOf": [{"type": "number"}, {"type": "string"}]})

Length = Annotated[float, _reader(Kind.LENGTH), _writer(Kind.LENGTH), _NUMBER_OR_TEXT]
Speed = Annotated[float, _reader(Kind.SPEED), _writer(Kind.SPEED), _NUMBER_OR_TEXT]
Feed = Annotated[float, _reader(Kind.FEED), _writer(Kind.FEED), _NUMBER_OR_TEXT]
Velocity = Annotated[float, _reader(Kind.VELOCITY), _writer(Kind.VELOCITY), _NUMBER_OR_TEXT]
Angle = Annotated[float, _reader(Kind.ANGLE), _writer(Kind.ANGLE), _NUMBER_OR_TEXT]
Force = Annotated[float, _reader(Kind.FORCE), _writer(Kind.FORCE), _NUMBER_OR_TEXT]
Torque = Annotated[float, _reader(Kind.TORQUE), _writer(Kind.TORQUE), _NUMBER_OR_TEXT]
Stress = Annotated[float, _reader(Kind.STRESS), _writer(Kind.STRESS), _NUMBER_OR_TEXT]
Density = Annotated[float, _reader(Kind.DENSITY), _writer(Kind.DENSITY), _NUMBER_OR_TEXT]

UNIT_LENGTH: dict[str, Any] = {"unit": "mm or inch (bare number: the job's units)"}
UNIT_FEED: dict[str, Any] = {"unit": "mm/rev or inch/rev (bare number: the job's units)"}
UNIT_SPEED: dict[str, Any] = {"unit": "rev/min"}
UNIT_VELOCITY: dict[str, Any] = {"unit": "m/min or ft/min (unit required)"}
UNIT_ANGLE: dict[str, Any] = {"unit": "deg"}
UNIT_STRESS: dict[str, Any] = {"unit": "MPa or psi (unit required)"}
UNIT_FORCE: dict[str, Any] = {"unit": "N or lbf (unit required)"}
UNIT_TORQUE: dict[str, Any] = {"unit": "N*m or lbf*ft (unit required)"}
UNIT_DENSITY: dict[str, Any] = {"unit": "kg/m3 (unit required)"}
NO_UNIT: dict[str, Any] = {"unit": "none"}
UNIT_REV: dict[str, Any] = {"unit": "rev"}


class Section(BaseModel):
    """A part of a file: unknown keys are refused."""

    # Only the whole job's validator is built, when it is first needed: building one for
    # each section as well would cost each run of the command 10 ms.
    model_config = ConfigDict(
        extra="forbid", frozen=True, str_strip_whitespace=True, defer_build=True
    )

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Self:
        """Copy the fields alone: what was worked out of the original may not hold for it."""
        copied = super().model_copy(update=update, deep=deep)
        for name in copied.__dict__.keys() - type(self).model_fields.keys():
            del copied.__dict__[name]
        return copied


class InUnits(Section):
    """A file whose bare lengths and feeds are in the units that it names."""

    units: Units = Field(
        "mm",
        description="Unit of bare lengths in the file, and of a job's program",
        json_schema_extra=NO_UNIT,
    )

    @model_validator(mode="wrap")
    @classmethod
    def _in_its_units(cls, data: Any, handler: ValidatorFunctionWrapHandler) -> Self:
        """Hold the file's units while its fields are read."""
        inch = isinstance(data, Mapping) and data.get("units") == "inch"
        token = _units.set("inch" if inch else "mm")
        try:
            read: Self = handler(data)
        finally:
            _units.reset(token)
        return read


def units_in_force() -> Units:
    """Return the units of the file that is being read."""
    return _units.get()
