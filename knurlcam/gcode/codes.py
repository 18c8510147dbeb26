"""The words of a dialect: the G or M word for each meaning, and those that a shop vouches for."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, PlainSerializer
from pydantic import StringConstraints as Text

from knurlcam.gcode.standard_codes import GEAR, SHIFT_OFF

__all__ = ["GROUPS", "Code", "Codes", "OwnWord", "Traits"]

Code = Annotated[str, Text(pattern=r"^[GM][0-9]{1,3}(\.[1-9])?$")]


def _as_list(value: Any) -> Any:
    return (value,) if isinstance(value, str) else value


def _as_said(words: tuple[str, ...]) -> str | list[str]:
    return words[0] if len(words) == 1 else list(words)


OneOrMore = Annotated[
    tuple[Code, ...],
    Field(min_length=1, max_length=4),
    BeforeValidator(_as_list, json_schema_input_type=Code | list[Code]),
    PlainSerializer(_as_said),
]
"""One word, or a list of words that are written one after the other."""

GROUPS: Mapping[str, str] = {
    "rapid": "motion",
    "linear": "motion",
    "motion_off": "motion",
    "dwell": "one-shot",
    "reference_return": "one-shot",
    "speed_limit": "one-shot",
    "metric": "units",
    "inch": "units",
    "absolute": "distance",
    "incremental": "distance",
    "diameter": "diameter or radius",
    "radius": "diameter or radius",
    "feed_per_rev": "feed mode",
    "feed_per_min": "feed mode",
    "constant_speed": "speed mode",
    "surface_speed": "speed mode",
    "offset_on": "offset",
    "offset_off": "offset",
    "spindle_forward": "spindle",
    "spindle_reverse": "spindle",
    "spindle_stop": "spindle",
    "coolant_on": "coolant",
    "coolant_off": "coolant",
    SHIFT_OFF: "one-shot",
    "program_stop": "stop",
    "optional_stop": "stop",
    "program_end": "stop",
    "program_end_also": "stop",
    "subprogram_return": "stop",
    "tool_change": "tool change",
    GEAR: "gear",
}
"""Meaning of a code to the group of which one block may hold one word only."""


class Traits(BaseModel):
    """Traits as they stand in ``dialect.toml``: no key that is not known, and never changed."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Codes(Traits):
    """The word for each meaning; None where the dialect has no word for it."""

    rapid: Code = Field(description="rapid positioning")
    linear: Code = Field(description="straight line at feed")
    dwell: Code = Field(description="dwell")
    metric: Code = Field(description="millimetres")
    inch: Code = Field(description="inches")
    absolute: Code | None = Field(None, description="absolute distances")
    incremental: Code | None = Field(None, description="incremental distances")
    diameter: Code | None = Field(None, description="X words hold diameters from here on")
    radius: Code | None = Field(None, description="X words hold radii from here on")
    feed_per_rev: Code | None = Field(None, description="feed per revolution")
    feed_per_min: Code | None = Field(None, description="feed per minute")
    constant_speed: Code | None = Field(None, description="spindle speed in rev/min")
    surface_speed: Code | None = Field(None, description="constant surface speed")
    speed_limit: Code | None = Field(None, description="limit of the spindle speed, with S")
    offset_on: Code | None = Field(None, description="tool offset on, with H")
    offset_off: Code | None = Field(None, description="tool offset off")
    reference_return: Code | None = Field(None, description="return to the reference point")
    spindle_forward: Code = Field(description="spindle on, forward")
    spindle_reverse: Code = Field(description="spindle on, reverse")
    spindle_stop: Code = Field(description="spindle stop")
    coolant_on: OneOrMore = Field(description="coolant on; a list where it takes several words")
    coolant_off: Code = Field(description="coolant off")
    program_stop: Code = Field(description="program stop")
    optional_stop: Code | None = Field(None, description="optional stop")
    program_end: Code = Field(description="program end")
    program_end_also: Code | None = Field(None, description="another word for the program end")
    subprogram_call: Code | None = Field(None, description="subprogram call, with P")
    subprogram_return: Code | None = Field(None, description="return from a subprogram")
    tool_change: Code | None = Field(None, description="tool change, with T")
    harmless: tuple[Code, ...] = Field(
        (), description="words that a control takes and that change nothing here"
    )


class OwnWord(Traits):
    """What a shop vouches for: what a word means at its control, and where that is written."""

    means: str = Field(
        pattern=r"^[a-z_]{1,30}$",
        description='key of codes, "gear", or "harmless" for nothing here',
    )
    source: str = Field(
        min_length=3,
        max_length=80,
        description="where the control's own manual says so, in characters of a comment",
    )
