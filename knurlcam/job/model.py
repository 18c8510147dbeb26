"""What the user asks for: one knurling operation, every field with its unit.

A job is a TOML file (or the same keys in a dict). Bare lengths and feeds are in the
job's ``units``; everything is held in millimetres, rev/min, mm/rev and degrees.
"""

from __future__ import annotations

import hashlib
import json
import marshal
import math
from collections.abc import Mapping, Sequence
from contextvars import ContextVar
from functools import cached_property
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, Self, get_origin

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    PlainSerializer,
    PrivateAttr,
    Tag,
    ValidationError,
    ValidatorFunctionWrapHandler,
    WithJsonSchema,
    field_validator,
    model_validator,
)

from knurlcam.data.caches import when_cleared
from knurlcam.data.fits import standard_tolerances
from knurlcam.data.knurls import forms
from knurlcam.data.materials import Material, find_material
from knurlcam.data.rolls import roll_sets, rolls
from knurlcam.errors import InputError, nearest
from knurlcam.job.callout import Callout, parse_callout
from knurlcam.mechanics.tool_styles import TOOL_STYLES, Style
from knurlcam.text import joined
from knurlcam.toml import read_toml
from knurlcam.units.kinds import Kind, Units
from knurlcam.units.quantities import parse_quantity, to_text

if TYPE_CHECKING:
    from knurlcam.shop.fill import Shop

__all__ = [
    "ACCEPTABLE",
    "Fit",
    "Holding",
    "InUnits",
    "Job",
    "JobFileError",
    "Knurl",
    "Machine",
    "Name",
    "OwnHubMaterial",
    "OwnMaterial",
    "Part",
    "Process",
    "Section",
    "Tool",
    "known_rolls",
    "problems_of",
    "read_steps",
    "read_table_file",
    "steps_text",
]

ACCEPTABLE: Mapping[str, str] = {
    "does-not-track": "the given blank is more than a quarter of a tooth off",
    "above-reversal-limit": "the spindle turns faster than the limit for reversing under load",
    "traverse-too-short": "the knurl is not wider than two thirds of the rolls",
    "marks-outside": "the rolls print outside the knurl zone",
    "needs-bevelled-rolls": "plain rolls traverse a zone that does not start at the end",
    "bends-the-work": "by the estimate the push bends the work for good",
}
"""Refusals that ``process.accept`` may take, and what the programmer then answers for."""

MAX_FILE_BYTES = 200_000
"""A job is a page of text, a shop file some pages; a larger file is a mistake and is not read."""

STEPS_AGREE_MM = 1e-3
"""Lengths of steps are sums of what a drawing gives: a control's least increment off is none."""

LEAST_FACE_MM = 0.5
"""A fifth of the narrowest roll there is; a feed of half of less would take hours."""

LEAST_FEED_MM = 0.0001
"""Per revolution; what no control can be told. Far less would take longer than a number tells."""

MAX_LENGTH_MM = 20_000.0
"""Longer than any lathe; catches a wrong unit."""

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


def _a_face(value: float) -> float:
    """Refuse a face of rolls that nobody makes."""
    if 0.0 < value < LEAST_FACE_MM:
        raise InputError(
            "is narrower than any roll",
            value=value,
            expected=f"at least {LEAST_FACE_MM:g} mm",
            remedy="measure the roll's face",
        )
    return value


Count = Annotated[int, BeforeValidator(_no_bool)]
Figure = Annotated[float, BeforeValidator(_no_bool)]


_SPACES_KEPT = "\u00a0\u202f\u3000"
"""Spaces of other keyboards, which a name may have."""


def _visible(value: str) -> str:
    """Take what a terminal obeys, or nobody sees, for a space."""
    if value.isprintable():
        return value
    return "".join([c if c.isprintable() or c in _SPACES_KEPT else " " for c in value])


def _seen(value: str) -> str:
    """Refuse a name with what a terminal obeys, or nobody sees."""
    if _visible(value) != value:
        raise InputError(
            "holds a character that cannot be seen",
            value=value,
            expected="a name in letters, digits, signs and spaces",
            remedy="write it anew; a copied text may bring such characters along",
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

MOST_STEPS = 50
"""Of stepped work: a longer list is a mistake."""


def read_steps(value: object, units: Units) -> tuple[tuple[float, float], ...]:
    """Return the steps of stepped work, each as diameter and length [mm].

    Args:
        value: A list of tables with ``diameter`` and ``length``, or text such as
            ``25 x 30, 18 x 40`` (diameter x length), as a table's cell holds it.
        units: What bare lengths are in.

    Raises:
        InputError: if it is anything else.
    """
    if isinstance(value, str):
        value = value.replace(";", ",").replace("X", "x").replace("×", "x")
        value = [dict(zip(_STEP_KEYS, _split_step(step), strict=True)) for step in value.split(",")]
    if not isinstance(value, (list, tuple)) or not value:
        raise _not_steps(value)
    if len(value) > MOST_STEPS:
        raise InputError(
            f"has {len(value)} steps",
            expected=f"at most {MOST_STEPS}",
            remedy="put pieces of one diameter together",
        )
    return tuple(_read_step(step, number, units) for number, step in enumerate(value, start=1))


_STEP_KEYS = ("diameter", "length")


def _read_step(step: object, number: int, units: Units) -> tuple[float, float]:
    if isinstance(step, tuple) and len(step) == 2:
        step = dict(zip(_STEP_KEYS, step, strict=True))  # one that was read already
    if not isinstance(step, Mapping) or set(step) != set(_STEP_KEYS):
        raise _not_steps(step)
    diameter, length = (parse_quantity(step[key], Kind.LENGTH, units) for key in _STEP_KEYS)
    for key, size in zip(_STEP_KEYS, (diameter, length), strict=True):
        if not 0 < size <= MAX_LENGTH_MM:
            raise InputError(
                f"step {number} has a {key} that cannot be",
                value=step[key],
                expected=f"more than 0 and at most {MAX_LENGTH_MM:g} mm",
                remedy="correct it",
            )
    return diameter, length


def _split_step(text: str) -> list[str]:
    parts = [part.strip() for part in text.split("x")]
    if len(parts) != 2 or not all(parts):
        raise _not_steps(text)
    return parts


def _not_steps(value: object) -> InputError:
    return InputError(
        "is no list of steps",
        value=value,
        expected="tables with diameter and length, such as { diameter = 25.0, length = 30.0 }, or "
        'text such as "25 x 30, 18 x 40"',
        remedy="list the pieces of the work from the end face to the chuck, with decimal points",
    )


def steps_text(steps: Sequence[tuple[float, float]]) -> str:
    """Return steps as text that :func:`read_steps` takes, units written out."""
    return ", ".join(
        f"{to_text(diameter, Kind.LENGTH)} x {to_text(length, Kind.LENGTH)}"
        for diameter, length in steps
    )


def _read_own_steps(value: object) -> object:
    return None if value is None else read_steps(value, _units.get())


def _write_steps(value: tuple[tuple[float, float], ...] | None) -> str | None:
    return None if value is None else steps_text(value)


Steps = Annotated[
    tuple[tuple[float, float], ...] | None,
    BeforeValidator(_read_own_steps),
    PlainSerializer(_write_steps, return_type=str | None),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "string"},
                {
                    "type": "array",
                    "items": {
                        "type": "object",
                        "properties": {
                            "diameter": {"anyOf": [{"type": "number"}, {"type": "string"}]},
                            "length": {"anyOf": [{"type": "number"}, {"type": "string"}]},
                        },
                        "required": ["diameter", "length"],
                        "additionalProperties": False,
                    },
                },
                {"type": "null"},
            ]
        }
    ),
]

_LENGTH: dict[str, Any] = {"unit": "mm or inch (bare number: the job's units)"}
_FEED: dict[str, Any] = {"unit": "mm/rev or inch/rev (bare number: the job's units)"}
_SPEED: dict[str, Any] = {"unit": "rev/min"}
_VELOCITY: dict[str, Any] = {"unit": "m/min or ft/min (unit required)"}
_ANGLE: dict[str, Any] = {"unit": "deg"}
_STRESS: dict[str, Any] = {"unit": "MPa or psi (unit required)"}
_FORCE: dict[str, Any] = {"unit": "N or lbf (unit required)"}
_TORQUE: dict[str, Any] = {"unit": "N*m or lbf*ft (unit required)"}
_DENSITY: dict[str, Any] = {"unit": "kg/m3 (unit required)"}
_PLAIN: dict[str, Any] = {"unit": "none"}
_REV: dict[str, Any] = {"unit": "rev"}


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


class _OwnFigures(Section):
    """What is known of a material that the table does not list."""

    name: Title = Field(
        min_length=1, max_length=80, description="Its name", json_schema_extra=_PLAIN
    )
    yield_strength: Stress | None = Field(
        None, gt=0, le=5000, description="Yield strength", json_schema_extra=_STRESS
    )
    turning_speed: Velocity | None = Field(
        None,
        gt=0,
        le=2000,
        description="Turning speed with HSS tools; knurling takes half of it",
        json_schema_extra=_VELOCITY,
    )
    tensile_strength: Stress | None = Field(
        None, gt=0, le=5000, description="Tensile strength", json_schema_extra=_STRESS
    )
    elongation: Figure | None = Field(
        None, ge=0, le=100, description="Elongation after fracture", json_schema_extra={"unit": "%"}
    )
    youngs_modulus: Stress | None = Field(
        None, gt=0, le=1e6, description="Young's modulus", json_schema_extra=_STRESS
    )
    poisson_ratio: Figure | None = Field(
        None, ge=0, lt=0.5, description="Poisson's ratio", json_schema_extra=_PLAIN
    )
    density: Density | None = Field(
        None, gt=0, le=30000, description="Density", json_schema_extra=_DENSITY
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


class OwnMaterial(_OwnFigures):
    """A material that the table does not list, given in the job itself."""

    yield_strength: Stress = Field(
        gt=0, le=5000, description="Yield strength", json_schema_extra=_STRESS
    )
    turning_speed: Velocity = Field(
        gt=0,
        le=2000,
        description="Turning speed with HSS tools; knurling takes half of it",
        json_schema_extra=_VELOCITY,
    )


class OwnHubMaterial(_OwnFigures):
    """A hub's material that the table does not list: it is not turned, and may be brittle."""

    model_config = ConfigDict(
        json_schema_extra={
            "anyOf": [{"required": ["yield_strength"]}, {"required": ["tensile_strength"]}]
        }
    )

    youngs_modulus: Stress = Field(
        gt=0, le=1e6, description="Young's modulus", json_schema_extra=_STRESS
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
    return "table" if isinstance(value, (Mapping, _OwnFigures)) else "name"


_MATERIAL_TAGS = ("table", "name")
MaterialChoice = Annotated[
    Annotated[str, Tag("name")] | Annotated[OwnMaterial, Tag("table")],
    Discriminator(_name_or_table),
]
HubMaterialChoice = Annotated[
    Annotated[str, Tag("name")] | Annotated[OwnHubMaterial, Tag("table")],
    Discriminator(_name_or_table),
]


class Part(Section):
    """The workpiece."""

    name: Title = Field(
        min_length=1, max_length=80, description="Name of the part", json_schema_extra=_PLAIN
    )
    material: MaterialChoice = Field(
        description="A row or alias of the material table, or a table of its own",
        json_schema_extra=_PLAIN,
    )
    knurled_diameter: Length | None = Field(
        None,
        gt=0,
        le=MAX_LENGTH_MM,
        description="Wanted diameter over the crests; with a [fit] the plan can choose it",
        json_schema_extra=_LENGTH,
    )
    blank_diameter: Length | None = Field(
        None,
        gt=0,
        le=MAX_LENGTH_MM,
        description="Diameter turned before knurling",
        json_schema_extra=_LENGTH,
    )
    length: Length = Field(
        gt=0,
        le=MAX_LENGTH_MM,
        description="Free length from the face at the tailstock end (Z0) to the chuck or the "
        "driven centre",
        json_schema_extra=_LENGTH,
    )
    number: Count = Field(1, ge=1, le=9999, description="Program number", json_schema_extra=_PLAIN)
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
                    f"the steps are {total:g} mm long together, the part {self.length:g} mm",
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


class Knurl(Section):
    """The knurl that the drawing calls up, and where it stands."""

    callout: str | None = Field(
        None,
        max_length=200,
        description='The drawing\'s callout, such as "DIN 82 RGE 1.0" or "21 TPI straight"',
        json_schema_extra=_PLAIN,
    )
    form: Literal["RAA", "RBL", "RBR", "RGE", "RGV", "RKE", "RKV"] | None = Field(
        None, description="Form of DIN 82", json_schema_extra=_PLAIN
    )
    pitch: Length | None = Field(
        None,
        ge=0.1,
        le=6.0,
        description="Pitch measured across the teeth",
        json_schema_extra=_LENGTH,
    )
    tpi: Figure | None = Field(
        None,
        ge=4,
        le=250,
        description="Teeth per inch measured across the teeth",
        json_schema_extra={"unit": "1/inch"},
    )
    diametral_pitch: Figure | None = Field(
        None,
        ge=12,
        le=800,
        description="Diametral pitch (ASME B94.6)",
        json_schema_extra={"unit": "1/inch"},
    )
    helix: Angle | None = Field(
        None,
        ge=0,
        lt=60,
        description="Helix angle; 30 degrees for RBL, RBR, RGE, RGV unless given",
        json_schema_extra=_ANGLE,
    )
    profile_angle: Angle | None = Field(
        None,
        ge=60,
        le=120,
        description="Profile angle of the teeth; 90 degrees unless given",
        json_schema_extra=_ANGLE,
    )
    start: Length = Field(
        0.0,
        ge=0,
        le=MAX_LENGTH_MM,
        description="Distance of the knurl from Z0",
        json_schema_extra=_LENGTH,
    )
    length: Length = Field(
        gt=0,
        le=MAX_LENGTH_MM,
        description="Width of the knurl along the axis",
        json_schema_extra=_LENGTH,
    )
    purpose: Literal["grip", "appearance", "press fit"] | None = Field(
        None,
        description="What the knurl is for; grip unless the callout says else",
        json_schema_extra=_PLAIN,
    )

    @field_validator("callout")
    @classmethod
    def _understood(cls, value: str | None) -> str | None:
        if value is not None:
            parse_callout(value)
        return value

    @model_validator(mode="after")
    def _resolved(self) -> Self:
        self.asked  # noqa: B018 - computed now so that a contradiction is found now
        return self

    @cached_property
    def asked(self) -> Callout:
        """The callout that all keys together ask for.

        Raises:
            InputError: if keys are missing or contradict each other.
        """
        given = parse_callout(self.callout) if self.callout is not None else None
        pitches = {
            "pitch": self.pitch,
            "tpi": self.tpi,
            "dp": self.diametral_pitch,
        }
        systems = [name for name, value in pitches.items() if value is not None]
        if len(systems) > 1:
            raise InputError(
                "more than one pitch is given",
                key=" and ".join(_PITCH_KEYS[name] for name in systems),
                expected="one of pitch, tpi and diametral_pitch",
                remedy="leave the others out",
            )
        form = self._agreed("form", self.form, given and given.form)
        if systems:
            system, value = systems[0], pitches[systems[0]]
        elif given is not None:
            system, value = given.system, given.value
        else:
            system, value = "", None
        if form is None or value is None:
            raise InputError(
                "the knurl is not named",
                key="callout",
                expected='a callout such as "DIN 82 RGE 1.0", or form with pitch, tpi or '
                "diametral_pitch",
                remedy="add what is missing: " + ("form" if form is None else "a pitch"),
            )
        if given is not None and systems:
            # In words: the callout may give its pitch in another system than the key.
            key, called = _PITCH_KEYS[system], _PITCH_KEYS[given.system]
            self._agreed(key, f"{key} {value:g}", f"{called} {given.value:g}")
        helix = self._agreed("helix", self.helix, given and given.helix_deg)
        if helix and not forms()[form].helical:
            raise InputError(
                f"form {form} has no helix",
                key="helix",
                value=helix,
                expected="0, or a form with helical teeth (RBL, RBR, RGE, RGV)",
                remedy="leave helix out",
            )
        if helix == 0 and forms()[form].helical:
            raise InputError(
                f"form {form} has helical teeth",
                key="helix",
                value=helix,
                expected="more than 0 degrees (30 is usual)",
                remedy="leave helix out, or name a straight form",
            )
        return Callout(
            form=form,
            system=system,  # type: ignore[arg-type]
            value=value,
            helix_deg=helix,
            profile_deg=self._agreed(
                "profile_angle", self.profile_angle, given and given.profile_deg
            ),
            purpose=self._agreed("purpose", self.purpose, given and given.purpose),
        )

    def _agreed(self, key: str, own: Any, from_callout: Any) -> Any:
        if own is not None and from_callout is not None and own != from_callout:
            raise InputError(
                f"contradicts the callout {self.callout!r}, which says {from_callout}",
                key=key,
                value=own,
                expected="the same in both, or one of them left out",
                remedy=f"leave {key} out or correct the callout",
            )
        return own if own is not None else from_callout


_PITCH_KEYS = {"pitch": "pitch", "tpi": "tpi", "dp": "diametral_pitch"}

_TAILSTOCKS: Mapping[str, tuple[str, ...]] = {
    "between centres": ("dead centre", "live centre"),
    "chuck and centre": ("live centre", "dead centre"),
    "chuck": ("none",),
}
"""What may stand at the tailstock for each way of holding; the first is the default."""


class Holding(Section):
    """How the work is held."""

    method: Literal["between centres", "chuck and centre", "chuck"] = Field(
        description="How the work is held", json_schema_extra=_PLAIN
    )
    tailstock: Literal["dead centre", "live centre", "none"] | None = Field(
        None,
        description="What stands at the tailstock: by method a dead centre, a live centre, none",
        json_schema_extra=_PLAIN,
    )
    centre_diameter: Length | None = Field(
        None,
        gt=0,
        le=MAX_LENGTH_MM,
        description="Largest diameter of what stands beyond the end face",
        json_schema_extra=_LENGTH,
    )
    grip: Force | None = Field(
        None,
        gt=0,
        description="Axial force that the chuck holds before the work slips in its jaws",
        json_schema_extra=_FORCE,
    )

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        allowed = _TAILSTOCKS[self.method]
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
        return self.tailstock or _TAILSTOCKS[self.method][0]


def known_rolls(names: tuple[str, ...]) -> tuple[str, ...]:
    """Return roll forms as they are, each one of DIN 403.

    Raises:
        InputError: naming one that is not.
    """
    for name in names:
        if name not in rolls():
            raise InputError(
                "unknown roll form",
                value=name,
                expected="a roll form of DIN 403",
                remedy=nearest(name, rolls()),
            )
    return names


class Tool(Section):
    """The knurling tool and its rolls."""

    style: Style = Field(description="Tool style", json_schema_extra=_PLAIN)
    roll_diameter: Length = Field(
        gt=0, le=MAX_LENGTH_MM, description="Roll diameter", json_schema_extra=_LENGTH
    )
    face_width: Annotated[Length, AfterValidator(_a_face)] = Field(
        gt=0, le=MAX_LENGTH_MM, description="Face width of the rolls", json_schema_extra=_LENGTH
    )
    roll_spacing: Length | None = Field(
        None,
        gt=0,
        le=MAX_LENGTH_MM,
        description="Vertical distance of the roll centres; knuckle joint and revolving head only",
        json_schema_extra=_LENGTH,
    )
    largest_gap: Length | None = Field(
        None,
        gt=0,
        le=MAX_LENGTH_MM,
        description="Largest gap between the rolls that a straddle can be set to",
        json_schema_extra=_LENGTH,
    )
    force_limit: Force | None = Field(
        None,
        gt=0,
        description="Largest force on one roll that the tool bears",
        json_schema_extra=_FORCE,
    )
    rolls: tuple[str, ...] | None = Field(
        None,
        max_length=2,
        description="Rolls of DIN 403 by form, such as BL and BR; left out: what makes the knurl",
        json_schema_extra=_PLAIN,
    )
    swivelled: bool = Field(
        False,
        description="Rolls turned by the helix angle instead of rolls cut to it",
        json_schema_extra=_PLAIN,
    )
    bevelled_rolls: bool = Field(
        False,
        description="Rolls with bevelled edges, which may traverse away from the end of the work",
        json_schema_extra=_PLAIN,
    )
    station: Count = Field(ge=1, le=99, description="Turret station", json_schema_extra=_PLAIN)
    offset: Count | None = Field(
        None,
        ge=1,
        le=99,
        description="Number of the tool offset; the station's unless given",
        json_schema_extra=_PLAIN,
    )
    z_datum: Literal["left edge", "right edge", "centre"] = Field(
        "left edge", description="What Z reads on the roll", json_schema_extra=_PLAIN
    )
    x_datum: Literal["touch-off", "roll centre"] | None = Field(
        None,
        description="What X reads: the blank diameter at first touch, or twice the distance of the "
        "roll centre from the axis; roll centre for a straddle, else touch-off",
        json_schema_extra=_PLAIN,
    )

    @field_validator("rolls", mode="before")
    @classmethod
    def _split(cls, value: object) -> object:
        """Take "BL BR" and "BL, BR" for a list: a table's cell holds text."""
        if isinstance(value, str):
            return tuple(value.replace(",", " ").replace("+", " ").split())
        return value

    @field_validator("rolls")
    @classmethod
    def _known_rolls(cls, value: tuple[str, ...] | None) -> tuple[str, ...] | None:
        return known_rolls(value or ()) or None

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        style = TOOL_STYLES[self.style]
        if style.needs_spacing and self.roll_spacing is None:
            raise InputError(
                f"missing, and a {self.style} needs it",
                key="roll_spacing",
                expected="the vertical distance of the roll centres",
                remedy="measure it on the head",
            )
        if not style.needs_spacing and self.roll_spacing is not None:
            raise InputError(
                f"a {self.style} has none: its rolls "
                + ("are set to a gap" if style.set_to_gap else "stand alone"),
                key="roll_spacing",
                value=self.roll_spacing,
                expected="roll_spacing only on a knuckle joint or a revolving head",
                remedy="leave it out",
            )
        if self.roll_spacing is not None and self.roll_spacing <= self.roll_diameter:
            raise InputError(
                f"rolls of {self.roll_diameter:g} mm would overlap",
                key="roll_spacing",
                value=self.roll_spacing,
                expected=f"more than the roll diameter, {self.roll_diameter:g} mm",
                remedy="measure between the roll centres",
            )
        if self.largest_gap is not None and not style.set_to_gap:
            raise InputError(
                f"a {self.style} has no gap to set",
                key="largest_gap",
                value=self.largest_gap,
                expected="largest_gap only on a straddle",
                remedy="leave it out",
            )
        if self.rolls is not None and len(self.rolls) != self.roll_count:
            raise InputError(
                f"a {self.style} holds {self.roll_count} roll(s)",
                key="rolls",
                value=list(self.rolls),
                expected=f"{self.roll_count} roll form(s)",
                remedy="correct rolls or style",
            )
        return self

    @property
    def roll_count(self) -> int:
        """How many rolls touch the work at once."""
        return TOOL_STYLES[self.style].rolls

    @property
    def offset_number(self) -> int:
        """The tool offset, the default filled in."""
        return self.station if self.offset is None else self.offset

    @property
    def datum(self) -> Literal["touch-off", "roll centre"]:
        """The X datum, the default filled in."""
        return self.x_datum or TOOL_STYLES[self.style].x_datum


class Process(Section):
    """Speed, feed and passes; what is left out is recommended, and said to be."""

    spindle_speed: Speed | None = Field(
        None, ge=1, le=20000, description="Spindle speed", json_schema_extra=_SPEED
    )
    feed: Feed | None = Field(
        None,
        ge=LEAST_FEED_MM,
        le=50,
        description="Feed per revolution while traversing; 0.5 mm/rev unless given",
        json_schema_extra=_FEED,
    )
    infeed_rate: Feed | None = Field(
        None,
        ge=LEAST_FEED_MM,
        le=50,
        description="Infeed of the slide per revolution; 0.05 mm/rev unless given",
        json_schema_extra=_FEED,
    )
    passes: Count | None = Field(
        None, ge=1, le=50, description="Passes that press deeper", json_schema_extra=_PLAIN
    )
    strategy: Literal["traverse", "plunge"] | None = Field(
        None, description="Plunge when it can be unless given", json_schema_extra=_PLAIN
    )
    fullness: Figure | None = Field(
        None,
        ge=0.3,
        le=1.0,
        description="Wanted tooth height over the height of the full profile; 0.95 unless given",
        json_schema_extra=_PLAIN,
    )
    dwell_revolutions: Count = Field(
        2, ge=1, le=50, description="Turns of the work after each infeed", json_schema_extra=_REV
    )
    clean_up: bool = Field(
        True, description="One last traverse without infeed", json_schema_extra=_PLAIN
    )
    trial_strip: bool = Field(
        False,
        description="Knurl a short strip first and stop to look for a double impression",
        json_schema_extra=_PLAIN,
    )
    trial_length: Length | None = Field(
        None,
        gt=0,
        le=MAX_LENGTH_MM,
        description="Slide travel of the trial strip; 12 mm unless given",
        json_schema_extra=_LENGTH,
    )
    coolant: bool = Field(True, description="Oil or coolant on", json_schema_extra=_PLAIN)
    compensate: bool = Field(
        False,
        description="The traverse follows the computed deflection",
        json_schema_extra=_PLAIN,
    )
    accept: tuple[str, ...] = Field(
        (),
        description="Codes of refusals that the programmer answers for",
        json_schema_extra=_PLAIN,
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
        if self.trial_length is not None and not self.trial_strip:
            raise InputError(
                "there is no trial strip",
                key="trial_length",
                value=self.trial_length,
                expected="trial_strip = true",
                remedy="add it or leave trial_length out",
            )
        return self


BORE_NEAR_MM = 0.2
BORE_NEAR_SHARE = 0.05
"""A limit of the bore this far from the nominal one is a slip or another unit."""


class Fit(Section):
    """The bore that a press-fit knurl goes into."""

    bore: Length = Field(
        gt=0, le=MAX_LENGTH_MM, description="Nominal bore of the hub", json_schema_extra=_LENGTH
    )
    bore_tolerance: Literal["H6", "H7", "H8"] | None = Field(
        "H7",
        description="Tolerance of the bore, ISO 286; none where its limits are given",
        json_schema_extra=_PLAIN,
    )
    bore_smallest: Length | None = Field(
        None,
        gt=0,
        le=MAX_LENGTH_MM,
        description="Smallest bore, with bore_largest instead of a tolerance",
        json_schema_extra=_LENGTH,
    )
    bore_largest: Length | None = Field(
        None,
        gt=0,
        le=MAX_LENGTH_MM,
        description="Largest bore, with bore_smallest instead of a tolerance",
        json_schema_extra=_LENGTH,
    )
    hub_diameter: Length = Field(
        gt=0, le=MAX_LENGTH_MM, description="Outer diameter of the hub", json_schema_extra=_LENGTH
    )
    hub_material: HubMaterialChoice = Field(
        description="A row or alias of the material table, or a table of its own",
        json_schema_extra=_PLAIN,
    )
    torque: Torque | None = Field(
        None, gt=0, description="Torque that the fit must hold", json_schema_extra=_TORQUE
    )
    axial_force: Force | None = Field(
        None, gt=0, description="Axial force that the fit must hold", json_schema_extra=_FORCE
    )
    hub_length: Length | None = Field(
        None,
        gt=0,
        le=MAX_LENGTH_MM,
        description="Length of the bore; the shorter of it and the knurl counts",
        json_schema_extra=_LENGTH,
    )

    @model_validator(mode="before")
    @classmethod
    def _limits_or_tolerance(cls, data: Any) -> Any:
        """Leave no tolerance beside limits: the usual H7 stands for what is not given."""
        if isinstance(data, Mapping) and data.get("bore_tolerance") is None:
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
        largest = max(self.bore, self.bore_largest or 0.0)
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
                "the bore has limits as well",
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
        near = max(BORE_NEAR_MM, BORE_NEAR_SHARE * self.bore)
        for key, limit in (("bore_smallest", smallest), ("bore_largest", largest)):
            if abs(limit - self.bore) > near:
                raise InputError(
                    f"far from the nominal bore, {self.bore:g} mm",
                    key=key,
                    value=limit,
                    expected=f"{self.bore - near:g} to {self.bore + near:g} mm",
                    remedy="correct the limit, its unit, or bore",
                )

    @cached_property
    def hub_row(self) -> Material:
        """The hub material's row, from the table or from the job itself."""
        if isinstance(self.hub_material, str):
            return find_material(self.hub_material)
        return self.hub_material.row()


class Machine(Section):
    """The lathe and its control."""

    post: str = Field(
        "iso6983",
        min_length=1,
        max_length=60,
        description="Dialect of the program",
        json_schema_extra=_PLAIN,
    )
    max_spindle_speed: Speed = Field(
        2000.0, ge=1, le=20000, description="Highest spindle speed", json_schema_extra=_SPEED
    )
    reversal_speed_limit: Speed = Field(
        150.0,
        ge=1,
        le=20000,
        description="Highest spindle speed at which the feed reverses under load",
        json_schema_extra=_SPEED,
    )
    torque_limit: Torque | None = Field(
        None,
        gt=0,
        description="Largest torque of the spindle at the slow speed of knurling",
        json_schema_extra=_TORQUE,
    )
    clearance: Length = Field(
        2.0,
        ge=0.1,
        le=500,
        description="Slide travel, on the radius, from first touch to where rapids end",
        json_schema_extra=_LENGTH,
    )
    safe_x: Length = Field(
        gt=0,
        le=MAX_LENGTH_MM,
        description="X of the safe position, on the diameter",
        json_schema_extra=_LENGTH,
    )
    safe_z: Length = Field(
        ge=-MAX_LENGTH_MM,
        le=MAX_LENGTH_MM,
        description="Z of the safe position",
        json_schema_extra=_LENGTH,
    )
    spindle_direction: Literal["forward", "reverse"] = Field(
        "forward", description="M03 or M04", json_schema_extra=_PLAIN
    )
    rapid_rate: Velocity = Field(
        10.0,
        ge=0.001,
        le=500,
        description="Rapid rate, for times and pictures only",
        json_schema_extra=_VELOCITY,
    )


class InUnits(Section):
    """A file whose bare lengths and feeds are in the units that it names."""

    units: Units = Field(
        "mm",
        description="Unit of bare lengths in the file, and of a job's program",
        json_schema_extra=_PLAIN,
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


class Job(InUnits):
    """One knurling operation."""

    part: Part = Field(description="The workpiece", json_schema_extra=_PLAIN)
    knurl: Knurl = Field(description="The knurl", json_schema_extra=_PLAIN)
    holding: Holding = Field(description="How the work is held", json_schema_extra=_PLAIN)
    tool: Tool = Field(description="Tool and rolls", json_schema_extra=_PLAIN)
    process: Process = Field(
        default_factory=dict,
        validate_default=True,
        description="Speed, feed and passes",
        json_schema_extra=_PLAIN,
    )
    fit: Fit | None = Field(
        None, description="Press fit, only with that purpose", json_schema_extra=_PLAIN
    )
    machine: Machine = Field(description="Lathe and control", json_schema_extra=_PLAIN)

    _from_shop: frozenset[str] = PrivateAttr(default=frozenset())

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        part = self.part
        if part.knurled_diameter is None and part.blank_diameter is None and self.fit is None:
            raise InputError(
                "no diameter is given",
                key="part.knurled_diameter",
                expected="knurled_diameter (over the crests) or blank_diameter (before knurling)",
                remedy="give the one that the drawing shows",
            )
        if self.fit is not None and self.purpose != "press fit":
            raise InputError(
                "a fit is given, but the knurl is not for one",
                key="fit",
                value=self.purpose,
                expected='knurl.purpose = "press fit"',
                remedy="set the purpose or leave [fit] out",
            )
        form = self.knurl.asked.form
        if self.tool.rolls is not None and not self._makes(form):
            sets = [
                " ".join(s.rolls) + (" swivelled" if s.swivelled else "")
                for s in roll_sets(form)
                if len(s.rolls) == self.tool.roll_count
            ]
            raise InputError(
                f"these rolls do not make form {form}"
                + (" when swivelled" if self.tool.swivelled else ""),
                key="tool.rolls",
                value=list(self.tool.rolls),
                expected="; or ".join(sets) or f"another style: {self.tool.style} cannot make it",
                remedy="correct tool.rolls, tool.swivelled or the callout",
            )
        return self

    def _makes(self, form: str) -> bool:
        wanted = sorted(self.tool.rolls or ())
        return any(
            sorted(s.rolls) == wanted and s.swivelled == self.tool.swivelled
            for s in roll_sets(form)
        )

    @property
    def from_shop(self) -> frozenset[str]:
        """Keys, such as ``tool.station``, whose values the shop file gave."""
        return self._from_shop

    @property
    def purpose(self) -> str:
        """What the knurl is for, the default filled in."""
        return self.knurl.asked.purpose or "grip"

    @cached_property
    def identity(self) -> str:
        """Twelve hex digits that tell this job from another, whatever the dialect.

        The last two are a check on the first ten, so that a slip of the pen in a
        program's header is not taken for another job. The dialect and the rapid rate
        do not change what is made and are left out.
        """
        texts = self._section_texts()
        pairs = ",".join([f'"{key}":{texts[key]}' for key in _SECTIONS])
        text = f'{{{pairs},"units":"{self.units}"}}'
        return with_check_digits(hashlib.sha256(text.encode()).hexdigest()[:10])

    def _section_texts(self) -> dict[str, str]:
        """Return the sections as JSON, as far as they tell one job from another.

        Jobs of a family share sections, so each section keeps its own text.
        """
        fields = self.__dict__
        texts = {}
        new: set[str] = set()
        for key in _SECTIONS:
            section = fields[key]
            if section is None:
                texts[key] = "null"
            elif _IDENTITY_TEXT in section.__dict__:
                texts[key] = section.__dict__[_IDENTITY_TEXT]
            else:
                new.add(key)
        if new:
            # By the whole job's serializer: those of single sections are never built.
            data = self.model_dump(mode="json", include=new, exclude=_NOT_IN_IDENTITY)
            for key in new:
                for name in _LATER_KEYS.get(key, ()):
                    if data[key][name] is None:
                        del data[key][name]
                _leave_defaults_out(key, data[key])
                texts[key] = fields[key].__dict__[_IDENTITY_TEXT] = _JSON.encode(data[key])
        return texts

    @classmethod
    def load(cls, path: str | Path, shop: Shop | str | Path | None = None) -> Job:
        """Read a job file, with what the shop file gives.

        Args:
            path: The job file, TOML.
            shop: A shop, or a shop file; else ``KNURLCAM_SHOP``, else a ``shop.toml``
                beside the job or in a folder above it.

        Raises:
            JobFileError: if the file or the shop file is not what it must be.
        """
        from knurlcam.shop.fill import find_shop

        data = read_table_file(path)
        found = find_shop(path, shop)
        return cls.build(data, where=str(path), shop=found)

    @classmethod
    def build(
        cls, data: Mapping[str, Any], *, where: str | None = None, shop: Shop | None = None
    ) -> Job:
        """Validate a job's keys, filled up from a shop, into a job.

        A section of a job that is valid already may stand for a table, whatever units
        either job is in: it is taken as it is, and a shop fills nothing into it. Jobs of
        a family are built much faster that way.

        Args:
            data: The job's keys, nested as in the file; or sections such as ``job.tool``.
            where: Name for messages, such as the file's.
            shop: The shop whose tools, machines and defaults the job may name.

        Raises:
            JobFileError: naming every key that is wrong.
        """
        from_shop: frozenset[str] = frozenset()
        if shop is not None:
            data, from_shop = shop.fill(data, where=where)
        else:
            refuse_names(data, where)
        keys = _keys_of_sections(data)
        known = {name: s for name, key in keys.items() if (s := _sections.get(key)) is not None}
        try:
            job = cls.model_validate({**data, **known})
        except ValidationError as error:
            raise JobFileError(problems_of(error, cls, where)) from None
        if from_shop:
            job._from_shop = from_shop
        if len(known) < len(keys):
            _keep_sections(job, keys)
        return job


_JSON = json.JSONEncoder(sort_keys=True, separators=(",", ":"))
_IDENTITY_TEXT = "_identity_text"
_SECTIONS = ("fit", "holding", "knurl", "machine", "part", "process", "tool")
_SHARED = ("holding", "knurl", "machine", "process", "tool")
_NOT_IN_IDENTITY = {"machine": {"post", "rapid_rate"}}
_LATER_KEYS: Mapping[str, tuple[str, ...]] = {
    "part": ("steps",),
    "holding": ("grip",),
    "tool": ("force_limit",),
    "machine": ("torque_limit",),
    "fit": ("bore_smallest", "bore_largest", "hub_length"),
}
"""Keys that came after the first programs were written: a job without them stays the same
job, and its programs its own."""


def _leave_defaults_out(section: str, data: dict[str, Any]) -> None:
    """Take away what another key would give anyway: a job that writes it out is the same job."""
    if section == "holding" and data["tailstock"] == _TAILSTOCKS[data["method"]][0]:
        data["tailstock"] = None
    if section == "tool":
        if data["offset"] == data["station"]:
            data["offset"] = None
        if data["x_datum"] == TOOL_STYLES[data["style"]].x_datum:
            data["x_datum"] = None


class JobFileError(InputError):
    """A job that is not valid: one line for each key that is wrong.

    Attributes:
        problems: The single errors, each with file, key, value, expectation and remedy.
    """

    def __init__(self, problems: tuple[InputError, ...]) -> None:
        self.problems = problems
        first = problems[0]
        super().__init__(
            first.problem,
            where=first.where,
            key=first.key,
            value=first.value,
            expected=first.expected,
            remedy=first.remedy,
        )

    def at(self, **fields: Any) -> Self:
        """Return the error with fields of its problems set, such as their file."""
        return type(self)(tuple(problem.at(**fields) for problem in self.problems))

    def sentence(self) -> str:
        """Return one line for each problem."""
        return joined(problem.sentence() for problem in self.problems)


_sections: dict[bytes, Section] = {}
when_cleared(_sections.clear)

MOST_SECTIONS_KEPT = 256
MOST_BYTES_IN_A_KEY = 2000


_PLAIN_TYPES = frozenset({str, int, float, bool})


def _keys_of_sections(data: Mapping[str, Any]) -> dict[str, bytes]:
    """Return for each table that jobs are likely to share what tells it from any other.

    A valid section is frozen and follows from its name, the units and the table alone.
    ``marshal`` tells 1 from 1.0 and true, to the last bit; of other objects it may see no
    more than their bytes, so a table that holds any is not kept.
    """
    keys: dict[str, bytes] = {}
    units = data.get("units", "mm")
    if type(units) is not str:
        return keys
    for name in _SHARED:
        table = data.get(name)
        if type(table) is dict and _is_plain(table):
            key = marshal.dumps((name, units, table), 2)
            if len(key) <= MOST_BYTES_IN_A_KEY:
                keys[name] = key
    return keys


def _is_plain(table: dict[Any, Any]) -> bool:
    """Whether a table holds texts, numbers, flags and lists of them alone."""
    if not _PLAIN_TYPES.issuperset(map(type, table)):
        return False
    if _PLAIN_TYPES.issuperset(map(type, table.values())):
        return True
    return all(
        type(value) in _PLAIN_TYPES
        or (type(value) is list and _PLAIN_TYPES.issuperset(map(type, value)))
        for value in table.values()
    )


def _keep_sections(job: Job, keys: Mapping[str, bytes]) -> None:
    """Keep a valid job's sections for the next job that has the same tables."""
    if len(_sections) > MOST_SECTIONS_KEPT:
        _sections.clear()
    for name, key in keys.items():
        _sections[key] = getattr(job, name)


CHECK_PRIME = 251
"""The largest prime that two hex digits hold."""


def with_check_digits(digits: str) -> str:
    """Return ten hex digits followed by two check digits made from them.

    A sum of the digits, each times its place, modulo a prime that no product of a place and a
    difference of two digits reaches: one digit wrong and two exchanged always show.
    """
    total = sum(place * int(digit, 16) for place, digit in enumerate(digits, start=1))
    return f"{digits.upper()}{total % CHECK_PRIME:02X}"


def refuse_names(data: Mapping[str, Any], where: str | None) -> None:
    """Refuse a tool or machine given by name where there is no shop file."""
    for key in ("tool", "machine"):
        section = data.get(key)
        name = section if isinstance(section, str) else None
        if isinstance(section, Mapping) and "name" in section:
            name = str(section["name"])
        if name is not None:
            raise JobFileError(
                (
                    InputError(
                        "a name stands here, and there is no shop file",
                        where=where,
                        key=key,
                        value=name,
                        expected="a shop.toml beside the job or above it, or its keys written out",
                        remedy="name the shop file with --shop or KNURLCAM_SHOP",
                    ),
                )
            )


def read_table_file(path: str | Path) -> dict[str, Any]:
    """Read a TOML file, refusing what cannot be one before it is parsed.

    Raises:
        JobFileError: naming the file and what is wrong with it.
    """
    try:
        return read_toml(path, limit=MAX_FILE_BYTES)
    except InputError as error:
        raise JobFileError((error,)) from None


_MISSING_HINTS: Mapping[str, str] = {
    "machine.safe_x": "give it here or in the shop file",
    "machine.safe_z": "give it here or in the shop file",
    "machine": "write a [machine] table, or name one of the shop file's machines",
    "tool": "write a [tool] table, or name one of the shop file's tools",
}


def problems_of(
    error: ValidationError, model: type[BaseModel], where: str | None
) -> tuple[InputError, ...]:
    """Turn pydantic's error list into ours: file, key, value, expected, remedy."""
    return tuple(_problem(dict(item), model, where) for item in error.errors(include_url=False))


_EXPECTED: Mapping[str, str] = {
    "int_parsing": "a whole number",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "float_parsing": "a number",
    "float_type": "a number",
    "bool_parsing": "true or false",
    "bool_type": "true or false",
    "string_type": "a text in quotes",
    "tuple_type": "a list of texts",
    "model_type": "a table of keys",
    "dict_type": "a table of keys",
    "string_too_short": "a text that is not empty",
}
"""What pydantic's kinds of error want, in a job file's words."""


def _problem(item: dict[str, Any], model: type[BaseModel], where: str | None) -> InputError:
    path = _path(item["loc"])
    kind, given = item["type"], item["input"]
    key = ".".join(path)
    if kind == "missing":
        about = _description(model, path)
        return InputError(
            "is missing",
            where=where,
            key=key,
            expected=about,
            remedy=_MISSING_HINTS.get(key, "add it"),
        )
    if kind == "extra_forbidden":
        return InputError(
            "unknown key",
            where=where,
            key=key,
            value=given,
            expected="a key that is known here",
            remedy=nearest(path[-1], _keys(model, path[:-1])),
        )
    cause = item.get("ctx", {}).get("error")
    if isinstance(cause, InputError):
        if cause.key is not None and _is_below(cause.key, model, path):
            key = ".".join([*path, cause.key])
        return InputError(
            cause.problem,
            where=where,
            key=key,
            value=cause.value if cause.value is not None or cause.key is not None else given,
            expected=cause.expected,
            remedy=cause.remedy,
        )
    expected = _EXPECTED.get(kind) or item["msg"].removeprefix("Input should be ")
    if kind in ("too_long", "too_short"):
        limits = item["ctx"]
        most = limits.get("max_length")
        least = limits.get("min_length")
        expected = f"at least {least} entries" if most is None else f"at most {most} entries"
    about = _description(model, path)
    return InputError(
        "is not what it must be",
        where=where,
        key=key or "the file",
        value=given,
        expected=expected[:1].lower() + expected[1:],
        remedy=f"this key holds: {about}" if about else "correct it",
    )


_OF_A_NAME = "[key]"
"""How pydantic says that not an entry is wrong but its name."""


def _path(loc: Sequence[str | int]) -> list[str]:
    """Return a place in the file: pydantic's, without what it adds of its own."""
    return [
        str(step)
        for before, step in pairwise((None, *loc))
        if step not in _MATERIAL_TAGS or before not in ("material", "hub_material")
        if step != _OF_A_NAME
    ]


def _is_below(key: str, model: type[BaseModel], path: list[str]) -> bool:
    """Whether a cause's key is one of the section at *path*, not what a formula calls it."""
    section = _section(model, path)
    first = key.split(".")[0].split(" ")[0]
    return section is not None and first in section.model_fields and path[-1:] != [first]


def _section(model: type[BaseModel], path: list[str]) -> type[BaseModel] | None:
    """Return the model of the table at *path*; None where there is no table."""
    current: type[BaseModel] | None = model
    steps = iter(path)
    for name in steps:
        field = current.model_fields.get(name) if current else None
        current = _model_in(field.annotation) if field else None
        if field is not None and get_origin(field.annotation) is dict:
            next(steps, None)  # the user's own name of one of its entries
    return current


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for part in getattr(annotation, "__args__", ()):
        found = _model_in(part)
        if found is not None:
            return found
    return None


def _keys(model: type[BaseModel], path: list[str]) -> list[str]:
    section = _section(model, path)
    return list(section.model_fields) if section else []


def _description(model: type[BaseModel], path: list[str]) -> str | None:
    section = _section(model, path[:-1]) if path else None
    field = section.model_fields.get(path[-1]) if section else None
    return field.description if field else None
