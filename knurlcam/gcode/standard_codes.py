"""What open standards and known practice mean by G and M words: a table and nothing more.

A dialect says by which words a program is read back, so it must not be free to say them: with
``spindle_stop = "M03"`` a program that never stops the spindle would verify. A word that no
row gives a meaning is not taken for it: the maker of a control may use it for anything,
such as opening the chuck.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import NamedTuple

__all__ = [
    "DATUM",
    "FIXED",
    "GEAR",
    "HARMLESS",
    "HARMLESS_IN_PLACE",
    "LEFT_TO_MANUALS",
    "SHIFT_OFF",
    "Fixed",
    "codes_for",
    "number_of",
    "shortest",
    "spellings",
]

HARMLESS = "harmless"
"""Meaning of the words that a control takes and that change nothing in a knurling program."""

DATUM = "datum"
"""Meaning of the word for the datum in which the work stands."""

SHIFT_OFF = "shift_off"
"""Meaning of the words that take back a shift by G92."""

HARMLESS_IN_PLACE = {
    "G54": DATUM,
    "G80": "motion_off",
    "G92.1": SHIFT_OFF,
    "G92.2": SHIFT_OFF,
}
"""Harmless words, in their shortest form, to the meaning that the reader gives them.

G54 changes nothing before the first motion: later the slide would jump where another datum was
in force, and after G92.1 and G92.2 where a shift was. After G80 no motion word is in force
(NISTIR 6556), or a rapid (common practice): the next motion must say which it is.
"""

GEAR = "gear"
"""Meaning of the words that choose a gear range."""


class Fixed(NamedTuple):
    """What is known of some words.

    Attributes:
        codes: The words, in their shortest form, a space between them.
        says: What they do, for people.
        meanings: Keys of a dialect's codes that they may stand for; none for what a knurling
            program never says and what would move, cut or let go where it is not looked for.
        source: Who says so.
    """

    codes: str
    says: str
    meanings: tuple[str, ...]
    source: str


_ISO = "ISO 6983-1:1982, preparatory functions; from memory"
_ISO_M = "ISO 6983-1:1982, miscellaneous functions; from memory"
_NIST = "NISTIR 6556 (2000), section 3.5, Table 5"
_NIST_M = "NISTIR 6556 (2000), section 3.6; from memory"
_LATHES = "common practice on lathes"
_OPEN = "common practice on open lathe controls that extend NISTIR 6556"

_TABLE = (
    Fixed("G0", "rapid positioning", ("rapid",), _ISO),
    Fixed("G1", "a straight line at feed", ("linear",), _ISO),
    Fixed("G2 G3", "an arc", (), _ISO),
    Fixed("G4", "a dwell", ("dwell",), _ISO),
    Fixed("G6", "a parabola", (), _ISO),
    Fixed("G7", "X words that hold diameters", ("diameter",), _OPEN),
    Fixed("G8", "X words that hold radii", ("radius",), _OPEN),
    Fixed("G10", "setting a datum", (), _NIST),
    Fixed("G17 G18 G19", "the choice of a plane", (HARMLESS,), _ISO),
    Fixed("G20", "inches", ("inch",), _NIST),
    Fixed("G21", "millimetres", ("metric",), _NIST),
    Fixed("G28 G30", "the return to a reference point", ("reference_return",), _NIST),
    Fixed("G33 G34 G35", "a thread", (), _ISO),
    Fixed("G40", "cutter compensation off", (HARMLESS,), _ISO),
    Fixed("G41 G42", "cutter compensation", (), _ISO),
    Fixed("G43", "a tool offset", ("offset_on",), _ISO),
    Fixed("G44", "a tool offset the other way", (), _ISO),
    Fixed("G49", "tool offset off", ("offset_off", HARMLESS), _NIST),
    Fixed("G50", "a limit of the spindle speed", ("speed_limit",), _LATHES),
    # Of the datums only the one in force when a control is switched on, or the one in which the
    # work stands: with a second one a program could go from one to the other, and all its lengths
    # with it.
    Fixed("G54", "the first datum", (HARMLESS, DATUM), _NIST),
    Fixed("G53", "the machine's own datum", (), _NIST),
    Fixed("G55 G56 G57 G58 G59", "another datum", (DATUM,), _NIST),
    Fixed("G61", "exact stop", (HARMLESS,), _NIST),
    Fixed("G70", "inches", ("inch",), _ISO),
    Fixed("G71", "millimetres", ("metric",), _ISO),
    Fixed("G80", "canned cycle and motion word off", (HARMLESS,), _NIST),
    Fixed("G81 G82 G83 G84 G85 G86 G87 G88 G89", "a canned cycle", (), _ISO),
    Fixed("G90", "absolute distances", ("absolute",), _ISO),
    Fixed("G91", "incremental distances", ("incremental",), _ISO),
    # With axis words it presets registers (ISO); a limit has S, and the reader refuses both.
    Fixed("G92", "a preset, or with S a limit of the spindle speed", ("speed_limit",), _LATHES),
    # G92.1 forgets the shift, G92.2 keeps its figures for G92.3 (NISTIR 6556, 3.5.18).
    Fixed("G92.1 G92.2", "a shift by G92 off", (HARMLESS,), _NIST),
    Fixed("G92.3", "a shift by G92 on again", (), _NIST),
    Fixed("G93", "a feed in inverse time", (), _ISO),
    Fixed("G94", "a feed per minute", ("feed_per_min",), _ISO),
    Fixed("G95", "a feed per revolution", ("feed_per_rev",), _ISO),
    Fixed("G96", "a constant surface speed", ("surface_speed",), _ISO),
    Fixed("G97", "a spindle speed in rev/min", ("constant_speed",), _ISO),
    Fixed("G98", "a feed per minute", ("feed_per_min",), _LATHES),
    Fixed("G99", "a feed per revolution", ("feed_per_rev",), _LATHES),
    Fixed("G700", "inches", ("inch",), _LATHES),
    Fixed("G710", "millimetres", ("metric",), _LATHES),
    # Where a control has no optional stop, its program stop stands in for one: it stops always.
    Fixed("M0", "the program stop", ("program_stop", "optional_stop"), _ISO_M),
    Fixed("M1", "the optional stop", ("optional_stop",), _ISO_M),
    Fixed("M2 M30", "the program end", ("program_end", "program_end_also"), _ISO_M),
    Fixed("M3", "spindle on, forward", ("spindle_forward",), _ISO_M),
    Fixed("M4", "spindle on, reverse", ("spindle_reverse",), _ISO_M),
    Fixed("M5", "spindle stop", ("spindle_stop",), _ISO_M),
    Fixed("M6", "the tool change", ("tool_change",), _ISO_M),
    Fixed("M7 M8 M50 M51", "coolant on", ("coolant_on",), _ISO_M),
    Fixed("M9", "coolant off", ("coolant_off",), _ISO_M),
    Fixed("M10 M11", "clamping or letting go", (), _ISO_M),
    Fixed("M13 M14", "spindle and coolant on", (), _ISO_M),
    Fixed("M17", "the return from a subprogram", ("subprogram_return",), _LATHES),
    Fixed("M19", "the spindle stopped at an angle", (), _ISO_M),
    Fixed("M31", "an interlock bypassed", (), _ISO_M),
    Fixed("M40 M41 M42 M43 M44 M45", "a gear range of the spindle", (GEAR,), _ISO_M),
    Fixed("M48 M49", "whether the overrides count", (), _NIST_M),
    Fixed("M60", "a change of the workpiece", (), _ISO_M),
    Fixed("M68 M69", "the chuck closing or opening", (), _LATHES),
    Fixed("M98", "a subprogram call", ("subprogram_call",), _LATHES),
    Fixed("M99", "the return from a subprogram", ("subprogram_return",), _LATHES),
)

FIXED: Mapping[str, Fixed] = {code: row for row in _TABLE for code in row.codes.split()}
"""Each word in its shortest form to what is known of it."""


LEFT_TO_MANUALS = frozenset({"M13", "M14", "M50", "M51"})
"""Words of the table above that a shop may vouch for as something else: ISO 6983-1 names them,
and the controls of lathes use them for what their makers like. Any other word that a standard
gives a meaning keeps it."""


def shortest(code: str) -> str:
    """Return a word without leading zeros, as the tables have it."""
    return f"{code[0]}{number_of(code)}"


def number_of(code: str) -> int | float:
    """Return the number of a word: whole, but for a few such as G92.1."""
    return float(code[1:]) if "." in code else int(code[1:])


def spellings(code: str) -> tuple[str, ...]:
    """Return how programs write a word: G1 and G01, M30, G92.1; the longest is the last."""
    number = number_of(code)
    short = f"{code[0]}{number}"
    return (short,) if isinstance(number, float) else (short, f"{code[0]}{number:02d}")


def codes_for(meaning: str) -> Iterator[str]:
    """Return the words that may stand for a meaning, as programs write them.

    Args:
        meaning: Key of a dialect's codes, such as ``spindle_stop``.
    """
    return (spellings(code)[-1] for code, row in FIXED.items() if meaning in row.meanings)
