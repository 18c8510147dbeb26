"""One dialect's traits: a table that serves the writer and the reader alike.

A dialect is a folder with ``dialect.toml`` (the traits) and ``program.nc.j2`` (the
template). A shop's own folders are looked through first.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cached_property
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from knurlcam.errors import InputError
from knurlcam.gcode.standard_codes import GEAR, HARMLESS_IN_PLACE

__all__ = ["GROUPS", "Codes", "Dialect"]

Code = Annotated[str, StringConstraints(pattern=r"^[GM][0-9]{1,3}$")]

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
    "program_stop": "stop",
    "optional_stop": "stop",
    "program_end": "stop",
    "program_end_also": "stop",
    "subprogram_return": "stop",
    "tool_change": "tool change",
    GEAR: "gear",
}
"""Meaning of a code to the group of which one block may hold one word only."""


class _Traits(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Codes(_Traits):
    """The word for each meaning; None where the dialect has no word for it."""

    rapid: Code = Field(description="rapid positioning")
    linear: Code = Field(description="straight line at feed")
    dwell: Code = Field(description="dwell")
    metric: Code = Field(description="millimetres")
    inch: Code = Field(description="inches")
    absolute: Code | None = Field(None, description="absolute distances")
    incremental: Code | None = Field(None, description="incremental distances")
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
    coolant_on: Code = Field(description="coolant on")
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


class Dialect(_Traits):
    """One control family's way of writing ISO 6983 words: traits only."""

    name: str = Field(
        pattern=r"^[a-z0-9][a-z0-9._-]{0,39}$", description="name, the same as the folder's"
    )
    title: str = Field(max_length=120, description="what sets the dialect apart, in one line")
    codes: Codes = Field(description="the word for each meaning")
    feed: Literal["per revolution", "per minute"] = Field(description="how feeds are written")
    x: Literal["diameter", "radius"] = Field(description="what an X word holds")
    increments: Literal["codes", "U and W"] = Field(
        "codes", description="how increments and absolute distances are told apart"
    )
    dwell_address: Literal["X", "P"] = Field(description="address of the dwell time")
    dwell_unit: Literal["s", "ms"] = Field(description="unit of the dwell time")
    tool_call: Literal["station and offset", "station and change"] = Field(
        description="T0505, or T5 M06 with the offset on by H"
    )
    short_tool: bool = Field(
        False, description="whether T505 is T0505, the first zero left out, or a mistake"
    )
    reference_axes: Literal["named", "all"] = Field(
        "named", description="which axes a reference return moves: those that it names, or all"
    )
    gears: tuple[Code, ...] = Field(
        (), description="words for the gear ranges of the spindle, which a program may choose"
    )
    numbers: Literal["decimal point", "least increments"] = Field(
        description="how lengths and feeds are written"
    )
    point_required: bool = Field(
        True, description="whether a length without a decimal point is a mistake"
    )
    speed_point: bool = Field(
        False, description="whether S may have a decimal point and places behind it"
    )
    code_point: bool = Field(False, description="whether G1.0 is G1, and M3. is M3, or a mistake")
    length_places_mm: int = Field(ge=1, le=6, description="decimal places of a length in mm")
    length_places_inch: int = Field(ge=1, le=6, description="decimal places of a length in inch")
    feed_places_mm: int = Field(ge=1, le=6, description="decimal places of a feed in mm")
    feed_places_inch: int = Field(ge=1, le=6, description="decimal places of a feed in inch")
    most_digits: int = Field(
        8,
        ge=0,
        le=20,
        description="most digits of a number that the control reads, before and behind the point "
        "together; 0 where it reads any",
    )
    numbering: Literal["every block", "tool call", "none"] = Field(
        description="which blocks have an N word"
    )
    highest_number: int = Field(
        9999, ge=100, le=99999999, description="highest N word that the control takes"
    )
    line_length: int = Field(80, ge=40, le=1000, description="most characters on a line")
    spaces_anywhere: bool = Field(
        False, description="whether spaces may stand inside a number as well"
    )
    motion_needs_axis: bool = Field(
        False, description="whether a motion word without X or Z is a mistake"
    )
    start: tuple[str, ...] = Field(
        description="lines before the first block; {number} is the program number"
    )
    leader: bool = Field(
        False, description="whether the control passes over comments before the first start line"
    )
    end: tuple[str, ...] = Field((), description="lines after the last block")
    subprogram_start: tuple[str, ...] | None = Field(
        None, description="lines before the first block of a subprogram"
    )
    number_digits: int = Field(1, ge=1, le=8, description="digits of the program number")
    comment_open: str = Field(min_length=1, max_length=2, description="mark before a comment")
    comment_close: str = Field(
        max_length=2, description="mark after a comment; empty where the line's end closes it"
    )
    comment_characters: str = Field(
        min_length=2, max_length=200, description="characters that a comment may hold"
    )
    comment_length: int = Field(60, ge=20, le=200, description="most characters of one comment")
    safe_return: Literal["safe position", "reference point"] = Field(
        description="where the program ends: at the job's safe X and Z, or at the reference point"
    )
    m_words_per_block: int = Field(
        1, ge=1, le=10, description="most M words that the control takes in one block"
    )
    block_skip: bool = Field(True, description="whether a slash before a block is known")

    folder: Path = Field(Path(), exclude=True, description="where it was read from")

    def __hash__(self) -> int:
        """Dialects are keys of caches; name and folder tell them apart quickly."""
        return hash((self.name, str(self.folder)))

    @cached_property
    def meanings(self) -> Mapping[tuple[str, int], str]:
        """Letter and number of each code to its meaning: the reader's table."""
        table: dict[tuple[str, int], str] = {}
        for meaning, code in (*self.codes, (GEAR, self.gears)):
            for one in code if isinstance(code, tuple) else (code,):
                if one is not None:
                    table[one[0], int(one[1:])] = meaning
        return table

    @cached_property
    def words(self) -> Mapping[str, tuple[str, str | None]]:
        """Each code as it may be written (G01 and G1) to its meaning and group."""
        table: dict[str, tuple[str, str | None]] = {}
        for (letter, number), meaning in self.meanings.items():
            one = HARMLESS_IN_PLACE.get(f"{letter}{number}", meaning)
            for text in (f"{number}", f"{number:02d}"):
                table[letter + text] = one, GROUPS.get(one)
        return table

    @cached_property
    def comment_set(self) -> frozenset[str]:
        """Characters that a comment may hold, its own marks never among them."""
        return frozenset(self.comment_characters) - set(self.comment_open + self.comment_close)

    def modes(self, units: str) -> tuple[str, ...]:
        """Return the words that state units, distance, feed and speed mode before any motion."""
        codes = self.codes
        stated = (
            codes.inch if units == "inch" else codes.metric,
            codes.absolute if self.increments == "codes" else None,
            codes.feed_per_rev if self.feed == "per revolution" else codes.feed_per_min,
            codes.constant_speed,
        )
        return tuple([code for code in stated if code])

    def length_places(self, units: str) -> int:
        """Return the decimal places of a length in the program's units."""
        return self.length_places_inch if units == "inch" else self.length_places_mm

    def feed_places(self, units: str) -> int:
        """Return the decimal places of a feed in the program's units."""
        return self.feed_places_inch if units == "inch" else self.feed_places_mm

    def start_lines(self, number: int, *, subprogram: bool = False) -> tuple[str, ...]:
        """Return the lines before the first block, with the program number in them.

        Raises:
            InputError: if the dialect has no subprograms.
        """
        lines = self.start
        if subprogram:
            if self.subprogram_start is None or self.codes.subprogram_return is None:
                raise InputError(
                    "has no word for a subprogram's start and return",
                    where=f"dialect {self.name}",
                    key="subprogram_start",
                    expected="a dialect with subprograms",
                    remedy="write the operation with --as blocks and paste it, or as a program",
                )
            lines = self.subprogram_start
        text = str(number).zfill(self.number_digits)
        return tuple(line.replace("{number}", text) for line in lines)

    @cached_property
    def start_pattern(self) -> re.Pattern[str]:
        """What a numbered start line looks like; group 1 is the number."""
        numbered = [
            re.escape(line).replace(re.escape("{number}"), r"(\d{1,8})")
            for line in {*self.start, *(self.subprogram_start or ())}
            if "{number}" in line
        ]
        return re.compile("|".join(numbered) if numbered else r"(?!)")
