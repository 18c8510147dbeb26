"""The ``[knurl]`` of a job: what the drawing calls up, and where it stands."""

from __future__ import annotations

from functools import cached_property
from typing import Annotated, Any, Literal, Self

from pydantic import (
    Field,
    GetJsonSchemaHandler,
    field_validator,
    model_validator,
)
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema

from knurlcam.data.knurls import forms, helical_forms
from knurlcam.errors import InputError, nearest
from knurlcam.job.callout import Callout, parse_callout
from knurlcam.job.fields import (
    NO_UNIT,
    UNIT_ANGLE,
    UNIT_LENGTH,
    Angle,
    Figure,
    Length,
    Section,
)
from knurlcam.job.limits import LIMITS, MAX_LENGTH_MM, bounds

__all__ = [
    "Knurl",
]

_PITCH_KEYS = {"pitch": "pitch", "tpi": "tpi", "dp": "diametral_pitch"}


class _FormOfTheTable:
    """Lists the forms of the table in the schema, which is read only when one is asked for."""

    def __get_pydantic_json_schema__(
        self, core: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        return {**handler(core), "enum": list(forms())}


class Knurl(Section):
    """The knurl that the drawing calls up, and where it stands."""

    callout: str | None = Field(
        None,
        max_length=200,
        description='The drawing\'s callout, such as "DIN 82 RGE 1.0" or "21 TPI straight"',
        json_schema_extra=NO_UNIT,
    )
    form: Annotated[str, _FormOfTheTable()] | None = Field(
        None, description="Form of DIN 82", json_schema_extra=NO_UNIT
    )
    pitch: Length | None = Field(
        None,
        **bounds("pitch"),
        description="Pitch measured across the teeth",
        json_schema_extra=UNIT_LENGTH,
    )
    tpi: Figure | None = Field(
        None,
        **bounds("tpi"),
        description="Teeth per inch measured across the teeth",
        json_schema_extra={"unit": "1/inch"},
    )
    diametral_pitch: Figure | None = Field(
        None,
        **bounds("dp"),
        description="Diametral pitch (ASME B94.6)",
        json_schema_extra={"unit": "1/inch"},
    )
    helix: Angle | None = Field(
        None,
        ge=0,
        lt=LIMITS["helix"][1],
        description="Helix angle; 30 degrees for RBL, RBR, RGE, RGV unless given",
        json_schema_extra=UNIT_ANGLE,
    )
    profile_angle: Angle | None = Field(
        None,
        **bounds("profile"),
        description="Profile angle of the teeth; 90 degrees unless given",
        json_schema_extra=UNIT_ANGLE,
    )
    start: Length = Field(
        0.0,
        ge=0,
        le=MAX_LENGTH_MM,
        description="Distance of the knurl from Z0",
        json_schema_extra=UNIT_LENGTH,
    )
    length: Length = Field(
        gt=0,
        le=MAX_LENGTH_MM,
        description="Width of the knurl along the axis",
        json_schema_extra=UNIT_LENGTH,
    )
    purpose: Literal["grip", "appearance", "press fit"] | None = Field(
        None,
        description="What the knurl is for; grip unless the callout says else",
        json_schema_extra=NO_UNIT,
    )

    @field_validator("form")
    @classmethod
    def _known_form(cls, value: str | None) -> str | None:
        if value is not None and value not in forms():
            raise InputError(
                "unknown form of knurl",
                value=value,
                expected=f"one of {', '.join(forms())}",
                remedy=nearest(value, forms()),
            )
        return value

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
        form = self._agreed("form", self.form, given and given.form)
        system, value = self._pitch_asked(given)
        if form is None or value is None:
            raise InputError(
                "form or pitch of the knurl is missing",
                key="callout",
                expected='a callout such as "DIN 82 RGE 1.0", or form with pitch, tpi or '
                "diametral_pitch",
                remedy="add what is missing: "
                + (
                    "form"
                    if form is None
                    else "a pitch, or a shop file with tools and rolls to choose it from"
                ),
            )
        return Callout(
            form=form,
            system=system,  # type: ignore[arg-type]
            value=value,
            helix_deg=self._helix_asked(form, given),
            profile_deg=self._agreed(
                "profile_angle", self.profile_angle, given and given.profile_deg
            ),
            purpose=self._agreed("purpose", self.purpose, given and given.purpose),
        )

    def _pitch_asked(self, given: Callout | None) -> tuple[str, float | None]:
        """Return in which system the pitch is given, and the figure; no figure without one."""
        pitches = {"pitch": self.pitch, "tpi": self.tpi, "dp": self.diametral_pitch}
        own = [(name, value) for name, value in pitches.items() if value is not None]
        if len(own) > 1:
            raise InputError(
                "more than one pitch is given",
                key=" and ".join(_PITCH_KEYS[name] for name, _ in own),
                expected="one of pitch, tpi and diametral_pitch",
                remedy="leave the others out",
            )
        if not own:
            return ("", None) if given is None else (given.system, given.value)
        system, value = own[0]
        if given is not None:
            # In words: the callout may give its pitch in another system than the key.
            key, called = _PITCH_KEYS[system], _PITCH_KEYS[given.system]
            self._agreed(key, f"{key} {value:g}", f"{called} {given.value:g}")
        return system, value

    def _helix_asked(self, form: str, given: Callout | None) -> float | None:
        """Return the helix angle; None where the form's own is meant."""
        helix: float | None = self._agreed("helix", self.helix, given and given.helix_deg)
        helical = forms()[form].helical
        if helix and not helical:
            raise InputError(
                f"form {form} has no helix",
                key="helix",
                value=helix,
                expected=f"0, or a form with helical teeth ({', '.join(helical_forms())})",
                remedy="leave helix out",
            )
        if helix == 0 and helical:
            raise InputError(
                f"form {form} has helical teeth",
                key="helix",
                value=helix,
                expected="more than 0 degrees (30 is usual)",
                remedy="leave helix out, or name a straight form",
            )
        return helix

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
