"""Words of other tools that stay in force, and that the reader gives no meaning.

A section is entered with them: a shift, a mirror image, another datum move every place of the knurl
though no word of it is wrong. What a dialect says of a word goes before.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import NamedTuple

from knurlcam.gcode.dialect import Dialect

__all__ = ["DATUM_SET", "Kind", "Lasting", "kinds_of", "system_variable"]


class Kind(NamedTuple):
    """Words that last, in their shortest form, a space between them."""

    kind: str
    codes: str
    ends: str
    does: str

    def lasting(self, line: int, word: str) -> Lasting:
        """Return what such a word leaves in force."""
        return Lasting(line, word, self.does, frozenset(self.ends.split()))


class Lasting(NamedTuple):
    """A word of another tool that stays in force and that the reader gives no meaning.

    Attributes:
        line: Where it stands.
        word: The word.
        does: What it does, to end "... is in force".
        ends: Words that end it.
    """

    line: int
    word: str
    does: str
    ends: frozenset[str]


DATUM_SET = Kind("datum set", "G10", "", "a datum or offset that the program sets itself")

_LASTING = (
    Kind("preset", "G92 G92.3", "G92.1 G92.2", "a shift of the coordinates by a preset"),
    DATUM_SET,
    Kind("local", "G52", "", "a local shift of the coordinates"),
    Kind("compensation", "G41 G42", "G40", "cutter compensation"),
    Kind("speed mode", "G96", "G97", "constant surface speed"),
    Kind("feed mode", "G93", "G94 G95", "inverse time feed"),
    Kind("rotation", "G68 G68.1 G68.2", "G69 G69.1", "a rotation or mirror image"),
    Kind("mirror", "G51.1", "G50.1", "a mirror image of the coordinates"),
    Kind("polar interpolation", "G12.1 G112", "G13.1 G113", "polar coordinate interpolation"),
    Kind("cylinder", "G7.1 G107", "", "cylindrical interpolation"),
    Kind("what X holds", "G10.9", "", "a switch between diameters and radii"),
    Kind("overrides", "M49", "M48", "a lock of the overrides"),
    Kind("polar", "G16", "G15", "polar coordinates"),
    Kind("macro", "G66 G66.1", "G67", "a macro call at each position"),
)
"""ISO 6983-1, NISTIR 6556 (3.5.5, 3.5.13, 3.5.18, 3.5.19) and common practice on lathes for G10,
G16, G51.1, G52, G66 and G68, G7.1, G10.9 and G12.1; M49 is ISO 6983-1 and NISTIR 6556, 3.6.5; from
memory."""

_DATUMS = "G54 G54.1 G55 G56 G57 G58 G59 G59.1 G59.2 G59.3 G154"

_DOES_SCALING = "a scaling of the coordinates"

SYSTEM = re.compile(r"#[ \t]*((?:2[0-9]|5[0-9]|7[0-9]|1[0-9]{2})[0-9]{2})[ \t]*=")
"""Variables in which controls keep datums and offsets (common practice, from memory)."""

SYSTEM_NIST = re.compile(r"#[ \t]*(5[0-9]{3})[ \t]*=")
"""... and NISTIR 6556, 3.2.1, whose others are the program's own."""


def kinds_of(dialect: Dialect) -> tuple[Kind, ...]:
    """Return the kinds of such words in a dialect."""
    datum = dialect.work_offset or "G54"
    others = " ".join(code for code in _DATUMS.split() if code != datum)
    # Where G50 limits the speed, or presets, it does not end a scaling.
    ends = "" if dialect.codes.speed_limit == "G50" else "G50"
    return (
        *_LASTING,
        Kind("scaling", "G51", ends, _DOES_SCALING),
        Kind("datum", others, datum, "another datum"),
        *_x_kind(dialect),
    )


def system_variable(written: str, dialect: Dialect) -> str | None:
    """Return the variable of a datum or an offset that a block sets; None where it sets none."""
    pattern = SYSTEM if dialect.codes.offset_on is None else SYSTEM_NIST
    found = pattern.search(written)
    return None if found is None else f"#{found[1]}"


def _x_kind(dialect: Dialect) -> Iterator[Kind]:
    """Yield what makes X words hold something else where a dialect has no words for it.

    G7 and G8 of open lathe controls, whose tools are called by a change and an offset of its own
    (common practice, from memory); with others G8 is something else.
    """
    codes = dialect.codes
    if codes.diameter is None and codes.radius is None and codes.offset_on is not None:
        if dialect.x == "radius":
            yield Kind("x", "G7", "G8", "X on the diameter")
        else:
            yield Kind("x", "G8", "G7", "X on the radius")
