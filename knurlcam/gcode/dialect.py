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

from pydantic import Field, StringConstraints

from knurlcam.errors import InputError
from knurlcam.gcode.codes import GROUPS, Code, Codes, OwnWord, Traits
from knurlcam.gcode.standard_codes import (
    DATUM,
    GEAR,
    HARMLESS,
    HARMLESS_IN_PLACE,
    number_of,
    shortest,
    spellings,
)

__all__ = ["GROUPS", "Codes", "Dialect"]


class Dialect(Traits):
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
    tool_call: Literal["station and offset", "station and change", "station"] = Field(
        description="T0505; T5 M06 with the offset on by H; or T5 alone, whose offset the control "
        "holds by itself (T5 M06 with a word for the tool change)"
    )
    reference_before_tool: bool = Field(
        False, description="whether the slide goes to the reference point before the tool call"
    )
    tool_digits: int = Field(
        2, ge=1, le=3, description="digits of the station and of the offset: T0505 has two of each"
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
    state: tuple[Code, ...] = Field(
        (), max_length=12, description="words stated before the first motion and the tool call"
    )
    work_offset: Literal["G54", "G55", "G56", "G57", "G58", "G59"] | None = Field(
        None, description="datum of the work, stated with them; any other is an error"
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
    first_number: int = Field(10, ge=0, le=99999, description="first N word")
    number_step: int = Field(
        10, ge=1, le=1000, description="from one N word to the next; 1 where they would run out"
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
        description="lines before the first block; {number} is the program number, {name} in a "
        "comment the part's name"
    )
    leader: bool = Field(
        False, description="whether the control passes over comments before the first start line"
    )
    end: tuple[str, ...] = Field((), description="lines after the last block")
    subprogram_start: tuple[str, ...] | None = Field(
        None, description="lines before the first block of a subprogram"
    )
    number_digits: int = Field(1, ge=1, le=8, description="digits of the program number")
    highest_program: int = Field(
        9999, ge=99, le=99999999, description="highest program number that the control takes"
    )
    header: Literal["full", "short"] = Field(
        "full", description="whether the comments before the first block are all or the least"
    )
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

    own_words: dict[Annotated[str, StringConstraints(pattern=r"^M[0-9]{1,3}$")], OwnWord] = Field(
        {},
        max_length=20,
        description="M words whose meaning the shop vouches for, each with its source",
        examples=[{"M14": {"means": "coolant_on", "source": "machine manual, p. 44"}}],
    )

    folder: Path = Field(Path(), exclude=True, description="where it was read from")

    def __hash__(self) -> int:
        """Dialects are keys of caches; name and folder tell them apart quickly."""
        return hash((self.name, str(self.folder)))

    @cached_property
    def coolant_words(self) -> frozenset[str]:
        """Words for coolant on in their shortest form, where it takes several; else none."""
        words = self.codes.coolant_on
        return frozenset(map(shortest, words)) if len(words) > 1 else frozenset()

    @cached_property
    def own_meanings(self) -> Mapping[str, str]:
        """Each word that the shop vouches for, in its shortest form, to what it means."""
        return {shortest(code): word.means for code, word in self.own_words.items()}

    @cached_property
    def stated(self) -> tuple[str, ...]:
        """Words stated before the first motion that only set up: ``state`` and the datum."""
        datum = self.work_offset
        return self.state if datum is None or datum in self.state else (*self.state, datum)

    @property
    def holds_offsets(self) -> bool:
        """Whether the control holds the offset of a station by itself: no word calls it."""
        return self.tool_call == "station"

    @cached_property
    def selects_tool(self) -> bool:
        """Whether a T word only selects: the tool stays until the word for the tool change."""
        return self.tool_call != "station and offset" and self.codes.tool_change is not None

    @cached_property
    def stated_words(self) -> frozenset[str]:
        """The same in their shortest form."""
        return frozenset(map(shortest, self.stated))

    @cached_property
    def meanings(self) -> Mapping[tuple[str, int | float], str]:
        """Letter and number of each code to its meaning: the reader's table."""
        table: dict[tuple[str, int | float], str] = {}
        for meaning, code in (
            (HARMLESS, (*self.state, *(c for c, m in self.own_meanings.items() if m == HARMLESS))),
            *reversed([*self.codes]),
            (GEAR, self.gears),
            (DATUM, self.work_offset),
        ):
            for one in code if isinstance(code, tuple) else (code,):
                if one is not None:
                    table[one[0], number_of(one)] = meaning
        return table

    @cached_property
    def words(self) -> Mapping[str, tuple[str, str | None]]:
        """Each code as it may be written (G01 and G1) to its meaning and group."""
        table: dict[str, tuple[str, str | None]] = {}
        for (letter, number), meaning in self.meanings.items():
            one = HARMLESS_IN_PLACE.get(f"{letter}{number}", meaning)
            for text in spellings(f"{letter}{number}"):
                table[text] = one, GROUPS.get(one)
        return table

    @cached_property
    def comment_set(self) -> frozenset[str]:
        """Characters that a comment may hold, its own marks never among them."""
        return frozenset(self.comment_characters) - set(self.comment_open + self.comment_close)

    def modes(self, units: str) -> tuple[str, ...]:
        """Return the words that state units, distance, what X holds, feed and speed mode."""
        codes = self.codes
        stated = (
            codes.inch if units == "inch" else codes.metric,
            codes.absolute if self.increments == "codes" else None,
            codes.diameter if self.x == "diameter" else codes.radius,
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

    def start_lines(
        self, number: int, *, subprogram: bool = False, name: str = ""
    ) -> tuple[str, ...]:
        """Return the lines before the first block, with the program number in them.

        Args:
            number: The program number.
            subprogram: Whether they start a subprogram.
            name: What stands beside the number, in characters of a comment; empty to leave the
                comments with it out.

        Raises:
            InputError: if the dialect has no subprograms, or no program number so high.
        """
        if subprogram and (self.subprogram_start is None or self.codes.subprogram_return is None):
            raise InputError(
                "has no word for a subprogram's start and return",
                where=f"dialect {self.name}",
                key="subprogram_start",
                expected="a dialect with subprograms",
                remedy="write the operation with --as blocks and paste it, or as a program",
            )
        lines = self.start_marks(subprogram=subprogram)
        if number > self.highest_program and any("{number}" in line for line in lines):
            raise InputError(
                f"the dialect {self.name} takes no program number above {self.highest_program}",
                key="part.number",
                value=number,
                expected=f"1 to {self.highest_program} (highest_program of the dialect)",
                remedy="give a lower number",
            )
        if name:
            lines = (self.subprogram_start if subprogram else self.start) or ()
        text = str(number).zfill(self.number_digits)
        return tuple(line.replace("{number}", text).replace("{name}", name) for line in lines)

    @cached_property
    def names_programs(self) -> bool:
        """Whether a start line holds the part's name."""
        return any("{name}" in line for line in (*self.start, *(self.subprogram_start or ())))

    def start_marks(self, *, subprogram: bool = False) -> tuple[str, ...]:
        """Return the start lines without the comments that hold the part's name."""
        return self._marks[subprogram]

    @cached_property
    def _marks(self) -> tuple[tuple[str, ...], tuple[str, ...]]:
        one, other = (
            tuple([mark for line in lines if (mark := self._unnamed(line))])
            for lines in (self.start, self.subprogram_start or ())
        )
        return one, other

    def _unnamed(self, line: str) -> str:
        return line.partition(self.comment_open)[0].rstrip() if "{name}" in line else line

    @cached_property
    def start_pattern(self) -> re.Pattern[str]:
        """What a numbered start line looks like; group 1 is the number."""
        numbered = [
            re.escape(line).replace(re.escape("{number}"), r"(\d{1,8})")
            for line in {*self._marks[0], *self._marks[1]}
            if "{number}" in line
        ]
        return re.compile("|".join(numbered) if numbered else r"(?!)")
