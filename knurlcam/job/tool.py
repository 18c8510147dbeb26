"""The ``[tool]`` of a job: the knurling tool and its rolls."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal, Self

from pydantic import (
    AfterValidator,
    Field,
    field_validator,
    model_validator,
)

from knurlcam.data.rolls import rolls
from knurlcam.errors import InputError, nearest
from knurlcam.job.fields import (
    NO_UNIT,
    UNIT_FORCE,
    UNIT_LENGTH,
    Count,
    Force,
    Length,
    Name,
    Section,
)
from knurlcam.job.limits import LEAST_FACE_MM, MAX_LENGTH_MM
from knurlcam.job.roll import RollDesignation, designates_roll, parse_roll
from knurlcam.mechanics.tool_styles import TOOL_STYLES, Style

__all__ = ["LEAST_ROLL_TEETH", "MOST_ROLL_TEETH", "Tool", "known_rolls"]


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


def _a_face(value: float) -> float:
    """Refuse a face narrower than rolls are made."""
    if 0.0 < value < LEAST_FACE_MM:
        raise InputError(
            "is narrower than any roll",
            value=value,
            expected=f"at least {LEAST_FACE_MM:g} mm",
            remedy="measure the roll's face",
        )
    return value


LEAST_ROLL_TEETH, MOST_ROLL_TEETH = 8, 2000
"""Fewest and most teeth of a roll that are taken [-]: far beyond those that are made."""

SAME_SIZE_MM = 0.01
"""Difference of two sizes that are the same, one rounded from another unit [mm]."""

MOST_CORRECTION_MM = 3.0
"""Largest tracking correction that is taken [mm]: half of the coarsest pitch."""


class Tool(Section):
    """The knurling tool and its rolls."""

    style: Style = Field(description="Tool style", json_schema_extra=NO_UNIT)
    roll_diameter: Length = Field(
        gt=0, le=MAX_LENGTH_MM, description="Roll diameter", json_schema_extra=UNIT_LENGTH
    )
    roll_teeth: Count | None = Field(
        None,
        ge=LEAST_ROLL_TEETH,
        le=MOST_ROLL_TEETH,
        description="Teeth of a roll, counted; with its measured diameter they give the true pitch",
        json_schema_extra=NO_UNIT,
    )
    roll_measured_diameter: Length | None = Field(
        None,
        gt=0,
        le=MAX_LENGTH_MM,
        description="Diameter of a roll over the tips of its teeth, measured",
        json_schema_extra=UNIT_LENGTH,
    )
    roll: Name | None = Field(
        None,
        description="Roll by its designation of DIN 403, such as BL 2006 F 08 DIN 403; or, with a "
        "shop file, by its name there",
        json_schema_extra=NO_UNIT,
    )
    tracking_correction: Length | None = Field(
        None,
        ge=0,
        le=MOST_CORRECTION_MM,
        description="How much larger a blank tracks than its teeth times the pitch, on the "
        "diameter; worked out from the first turn unless given",
        json_schema_extra=UNIT_LENGTH,
    )
    face_width: Annotated[Length, AfterValidator(_a_face)] = Field(
        gt=0, le=MAX_LENGTH_MM, description="Face width of the rolls", json_schema_extra=UNIT_LENGTH
    )
    roll_spacing: Length | None = Field(
        None,
        gt=0,
        le=MAX_LENGTH_MM,
        description="Vertical distance of the roll centres; knuckle joint and revolving head only",
        json_schema_extra=UNIT_LENGTH,
    )
    # A key of this project's own: no drawing gives it, but with it a plan can say that a straddle
    # does not open over a blank.
    largest_gap: Length | None = Field(
        None,
        gt=0,
        le=MAX_LENGTH_MM,
        description="Largest gap between the rolls that a straddle can be set to",
        json_schema_extra=UNIT_LENGTH,
    )
    body_width: Length | None = Field(
        None,
        ge=0,
        le=MAX_LENGTH_MM,
        description="How far the holder stands out beside the face of the rolls, each side",
        json_schema_extra=UNIT_LENGTH,
    )
    force_limit: Force | None = Field(
        None,
        gt=0,
        description="Permissible force per roll of the tool",
        json_schema_extra=UNIT_FORCE,
    )
    rolls: tuple[str, ...] | None = Field(
        None,
        max_length=2,
        description="Rolls of DIN 403 by form, such as BL and BR; left out: what makes the knurl",
        json_schema_extra=NO_UNIT,
    )
    swivelled: bool = Field(
        False,
        description="Rolls turned by the helix angle instead of rolls cut to it",
        json_schema_extra=NO_UNIT,
    )
    bevelled_rolls: bool = Field(
        False,
        description="Rolls with bevelled edges, which may traverse away from the end of the work",
        json_schema_extra=NO_UNIT,
    )
    station: Count = Field(ge=1, le=99, description="Turret station", json_schema_extra=NO_UNIT)
    offset: Count | None = Field(
        None,
        ge=1,
        le=99,
        description="Number of the tool offset; the station's unless given",
        json_schema_extra=NO_UNIT,
    )
    z_datum: Literal["left edge", "right edge", "centre"] = Field(
        "left edge", description="Point of the roll that Z refers to", json_schema_extra=NO_UNIT
    )
    x_datum: Literal["touch-off", "roll centre"] | None = Field(
        None,
        description="What X refers to: the blank diameter at first touch, or twice the distance of "
        "the roll centre from the axis; roll centre for a straddle, else touch-off",
        json_schema_extra=NO_UNIT,
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

    @model_validator(mode="before")
    @classmethod
    def _sized_by_its_roll(cls, data: object) -> object:
        """Take diameter and width from a designation, where the job leaves them out."""
        if not isinstance(data, Mapping) or not isinstance(data.get("roll"), str):
            return data
        if not designates_roll(data["roll"]):
            return data
        roll = parse_roll(data["roll"])
        sizes = {
            "roll_diameter": f"{roll.diameter_mm:g} mm",
            "face_width": f"{roll.width_mm:g} mm",
        }
        return {**sizes, **data}

    @field_validator("roll")
    @classmethod
    def _a_roll(cls, value: str | None) -> str | None:
        if value is not None:
            parse_roll(value)
        return value

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        self._check_roll()
        self._check_spacing()
        self._check_gap()
        self._check_rolls()
        return self

    def _check_roll(self) -> None:
        roll = self.designated
        if roll is None:
            return
        for key, value, wanted in (
            ("roll_diameter", self.roll_diameter, roll.diameter_mm),
            ("face_width", self.face_width, roll.width_mm),
        ):
            if abs(value - wanted) > SAME_SIZE_MM:
                raise InputError(
                    f"is not that of {self.roll}",
                    key=key,
                    value=value,
                    expected=f"{wanted:g} mm",
                    remedy="leave it out, or correct roll",
                )
        if self.rolls is not None and roll.form not in self.rolls:
            raise InputError(
                f"is a roll {roll.form}, which is not among tool.rolls",
                key="roll",
                value=self.roll,
                expected=" or ".join(self.rolls),
                remedy="correct roll or rolls",
            )
        if self.roll_teeth is not None and roll.teeth not in (None, self.roll_teeth):
            raise InputError(
                f"{self.roll} has {roll.teeth} teeth",
                key="roll_teeth",
                value=self.roll_teeth,
                expected=f"{roll.teeth}",
                remedy="count again, or leave roll out for a roll that is another",
            )

    def _check_spacing(self) -> None:
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

    def _check_gap(self) -> None:
        if self.largest_gap is not None and not TOOL_STYLES[self.style].set_to_gap:
            raise InputError(
                f"a {self.style} has no gap to set",
                key="largest_gap",
                value=self.largest_gap,
                expected="largest_gap only on a straddle",
                remedy="leave it out",
            )

    def _check_rolls(self) -> None:
        if self.rolls is not None and len(self.rolls) != self.roll_count:
            raise InputError(
                f"does not fit a {self.style}, which takes {self.roll_count} in all",
                key="rolls",
                value=list(self.rolls),
                expected="one roll form" if self.roll_count == 1 else "two roll forms",
                remedy="correct rolls or style",
            )

    @property
    def designated(self) -> RollDesignation | None:
        """What the designation of the roll says; None without one."""
        return None if self.roll is None else parse_roll(self.roll)

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
