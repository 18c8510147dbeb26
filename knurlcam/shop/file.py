"""A shop file: what may stand in it, and what is wrong with one."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Annotated, Any, NamedTuple

from pydantic import (
    Field,
    StringConstraints,
    ValidationError,
    create_model,
    field_validator,
    model_validator,
)
from pydantic.fields import FieldInfo

from knurlcam.data.rolls import helical_rolls
from knurlcam.errors import InputError, nearest
from knurlcam.job.fields import Angle, Count, Figure, InUnits, Length, Name, Section
from knurlcam.job.limits import LIMITS, MAX_LENGTH_MM, bounds
from knurlcam.job.load import read_table_file
from knurlcam.job.problems import JobFileError, problems_of
from knurlcam.job.sections import Machine, Process
from knurlcam.job.tool import LEAST_ROLL_TEETH, MOST_ROLL_TEETH, Tool, known_rolls
from knurlcam.mechanics.knurl import DEFAULT_PROFILE_DEG
from knurlcam.mechanics.tracking import pitch_from_diametral_pitch, pitch_from_tpi

__all__ = ["Rolls", "ShopFile", "read_shop_file"]


def _partial(name: str, base: Any, model: type[Section]) -> Any:
    """Return a model with each key optional; they are held together in the whole job."""
    fields: dict[str, Any] = {}
    for key, info in model.model_fields.items():
        kind: Any = info.annotation
        for mark in info.metadata:
            kind = Annotated[kind, mark]
        fields[key] = (kind | None, FieldInfo(default=None, description=info.description))
    apart: Any = model_validator(mode="after")(lambda self: self)
    return create_model(name, __base__=base, __validators__={"_agrees": apart}, **fields)


class Rolls(Section):
    """A set of rolls in the drawer."""

    forms: tuple[str, ...] = Field(
        min_length=1, max_length=2, description="Forms of DIN 403, one a roll"
    )
    pitch: Length | None = Field(None, **bounds("pitch"), description="Pitch across the teeth")
    tpi: Figure | None = Field(None, **bounds("tpi"), description="Teeth per inch")
    diametral_pitch: Figure | None = Field(None, **bounds("dp"), description="Diametral pitch")
    profile_angle: Angle = Field(
        DEFAULT_PROFILE_DEG, **bounds("profile"), description="Profile angle of the teeth"
    )
    helix: Angle | None = Field(
        None,
        gt=LIMITS["helix"][0],
        lt=LIMITS["helix"][1],
        description="Helix angle of helical rolls",
    )
    roll_diameter: Length = Field(gt=0, le=MAX_LENGTH_MM, description="Roll diameter")
    face_width: Length = Field(gt=0, le=MAX_LENGTH_MM, description="Face width")
    roll_teeth: Count | None = Field(
        None, ge=LEAST_ROLL_TEETH, le=MOST_ROLL_TEETH, description="Teeth of a roll, counted"
    )
    roll_measured_diameter: Length | None = Field(
        None, gt=0, le=MAX_LENGTH_MM, description="Diameter over the tips of its teeth, measured"
    )
    bevelled: bool = Field(False, description="Whether the edges are bevelled")

    @field_validator("forms", mode="before")
    @classmethod
    def _one_or_two(cls, value: object) -> object:
        return (value,) if isinstance(value, str) else value

    @field_validator("forms")
    @classmethod
    def _known(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        return known_rolls(value)

    @model_validator(mode="after")
    def _one_pitch(self) -> Rolls:
        given = [p for p in (self.pitch, self.tpi, self.diametral_pitch) if p is not None]
        if len(given) != 1:
            raise InputError(
                f"{len(given)} pitches are given",
                key="pitch",
                expected="one of pitch, tpi and diametral_pitch",
                remedy="leave the others out" if given else "add the one that is on the rolls",
            )
        return self

    @model_validator(mode="after")
    def _helix_on_helical(self) -> Rolls:
        if self.helix is not None and not self.helical:
            raise InputError(
                "none of these rolls is helical",
                key="helix",
                value=self.helix,
                expected="one of " + ", ".join(helical_rolls()) + " among the forms",
                remedy="correct forms or leave helix out",
            )
        return self

    @property
    def helical(self) -> bool:
        """Whether a roll among them has helical teeth."""
        return any(form in helical_rolls() for form in self.forms)

    def helix_deg(self, swivel_deg: float) -> float:
        """Return the helix that the rolls make when straight ones are swivelled so much."""
        if self.helix is not None:
            return self.helix
        usual = [helical_rolls()[form] for form in self.forms if form in helical_rolls()]
        return max(usual, default=swivel_deg)

    def pitch_mm(self, helix_deg: float, *, swivelled: bool) -> float:
        """Return the pitch across the teeth [mm]."""
        if self.pitch is not None:
            return self.pitch
        if self.tpi is not None:
            return pitch_from_tpi(self.tpi)
        assert self.diametral_pitch is not None  # one of the three, says the validator
        return pitch_from_diametral_pitch(self.diametral_pitch, helix_deg, swivelled=swivelled)


class _ShopTool(Tool):
    mounted: tuple[str, ...] | None = Field(
        None, description="Names of the rolls that this tool takes; all that fit unless given"
    )

    @field_validator("mounted", mode="before")
    @classmethod
    def _one_name(cls, value: object) -> object:
        return (value,) if isinstance(value, str) else value

    @model_validator(mode="before")
    @classmethod
    def _no_forms(cls, data: Any) -> Any:
        if isinstance(data, Mapping) and "rolls" in data:
            raise InputError(
                "is for a job: a tool of the shop file names sets of rolls, not forms",
                key="rolls",
                value=data["rolls"],
                expected="mounted, with names under [rolls]",
                remedy="write mounted, or leave it out for all rolls that fit",
            )
        return data


@cache
def _shop_model() -> type[Any]:
    """Return the model of a shop file; most jobs have none, and need not build it."""
    tool: Any = _partial("ShopTool", _ShopTool, Tool)
    machine: Any = _partial("ShopMachine", Machine, Machine)
    process: Any = _partial("ShopProcess", Process, Process)
    return create_model(
        "ShopFile",
        __base__=InUnits,
        tools=(dict[Name, tool], Field(default_factory=dict, description="Tools by name")),
        rolls=(dict[Name, Rolls], Field(default_factory=dict, description="Rolls by name")),
        machines=(dict[Name, machine], Field(default_factory=dict, description="Machines")),
        process=(process | None, Field(None, description="Default process values")),
        dialects=(
            Annotated[str, StringConstraints(min_length=1, max_length=400)] | None,
            Field(None, description="Folder of the shop's own dialects, from this file on"),
        ),
    )


class ShopFile(NamedTuple):
    """What a shop file holds, quantities as text with their unit.

    Attributes:
        tools: Tools by name.
        rolls: Rolls by name.
        machines: Machines by name.
        process: Default process values.
        dialects: Folder of the shop's own dialects, from the shop file on; None without one.
    """

    tools: Mapping[str, Mapping[str, Any]]
    rolls: Mapping[str, Rolls]
    machines: Mapping[str, Mapping[str, Any]]
    process: Mapping[str, Any]
    dialects: str | None


def read_shop_file(path: str | Path) -> ShopFile:
    """Read a shop file.

    Raises:
        JobFileError: naming file, key, value, what was expected and what to do.
    """
    where = str(path)
    data = read_table_file(path)
    try:
        read: Any = _shop_model().model_validate(data)
    except ValidationError as error:
        raise JobFileError(problems_of(error, _shop_model(), where)) from None
    _refuse_unknown_rolls(read, where)

    def texts(section: Section | None) -> dict[str, Any]:
        return {} if section is None else section.model_dump(mode="json", exclude_unset=True)

    return ShopFile(
        tools={name: texts(tool) for name, tool in read.tools.items()},
        rolls=read.rolls,
        machines={name: texts(machine) for name, machine in read.machines.items()},
        process=texts(read.process),
        dialects=read.dialects,
    )


def _refuse_unknown_rolls(read: Any, where: str) -> None:
    for name, tool in read.tools.items():
        for roll in tool.mounted or ():
            if roll not in read.rolls:
                raise JobFileError(
                    (
                        InputError(
                            "no rolls of that name",
                            where=where,
                            key=f"tools.{name}.mounted",
                            value=roll,
                            expected="a name under [rolls]",
                            remedy=nearest(roll, read.rolls) if read.rolls else "add the rolls",
                        ),
                    )
                )
