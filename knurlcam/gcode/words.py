"""Words to orders: what the words of a block mean, and what they set in the state.

All of it can be said of a block by itself, whatever was in force before it; so it is worked
out once for each text of a line (:mod:`knurlcam.gcode.line_cache`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.motion import State, Word
from knurlcam.gcode.numbers import (
    NO_FAULTS,
    Faults,
    feed_mm,
    has_too_many_digits,
    length_mm,
    x_factor,
)
from knurlcam.gcode.standard_codes import DATUM, GEAR, SHIFT_OFF

__all__ = [
    "COOLANT",
    "COOLANTS",
    "FEED",
    "FEED_MODE",
    "FIGURE_OF",
    "RPM",
    "SPEED_MODE",
    "STATION",
    "UNITS",
    "Changes",
    "Orders",
    "PlainMove",
    "act_of",
    "changed",
    "differ_in_feed_alone",
    "set_by_code",
]

Changes = tuple[tuple[int, Any], ...]
"""Places in the state and what comes there."""

_PLACES = {name: place for place, name in enumerate(State._fields)}
FEED, FEED_MODE, UNITS = _PLACES["feed"], _PLACES["feed_mode"], _PLACES["units"]
RPM, SPEED_MODE, STATION = _PLACES["rpm"], _PLACES["speed_mode"], _PLACES["station"]
COOLANT, COOLANTS = _PLACES["coolant"], _PLACES["coolants"]
_CALLED = ("station", "offset")

FIGURE_OF = {FEED_MODE: FEED, SPEED_MODE: RPM}
"""A mode's place to that of its figure, which says nothing in the other mode: a feed per
revolution is none per minute, a speed in m/min is none in rev/min. It must be stated again."""

_SETS: dict[str, tuple[str, object]] = {
    "metric": ("units", "mm"),
    "inch": ("units", "inch"),
    "absolute": ("distance", "absolute"),
    "incremental": ("distance", "incremental"),
    "diameter": ("x_mode", "diameter"),
    "radius": ("x_mode", "radius"),
    "feed_per_rev": ("feed_mode", "per revolution"),
    "feed_per_min": ("feed_mode", "per minute"),
    "constant_speed": ("speed_mode", "constant speed"),
    "surface_speed": ("speed_mode", "surface speed"),
    "spindle_forward": ("spindle", "forward"),
    "spindle_reverse": ("spindle", "reverse"),
    "spindle_stop": ("spindle", "off"),
    "coolant_on": ("coolant", True),
    "coolant_off": ("coolant", False),
    "offset_off": ("offset", 0),
}
"""What a code sets in the state, by its meaning."""

_STOPS = frozenset(
    {"program_stop", "optional_stop", "program_end", "program_end_also", "subprogram_return"}
)
"""Meanings of the codes that stop the program or end it."""

_STOPS_MOTION = _STOPS | {
    "spindle_stop",
    "spindle_reverse",
    "spindle_forward",
    "tool_change",
    GEAR,
}
"""Meanings of the codes that one control carries out before a motion in their block and another
after it. M09 is none of them: it is taken to come before, so that a motion in the work is dry, and
in air it does not matter."""

_DATUMS = (DATUM, SHIFT_OFF)
"""Meanings of the codes by which every place moves where something else was in force."""

_STARTED = ("spindle", "coolant")
"""What a block may turn on."""

_VALUE_LETTERS = frozenset("XZUWFSTPH")
_MOVES = frozenset("XZF")
_MOTION_WORDS = frozenset({"linear", "rapid", "motion_off"})
_MOTION_ALONE = (["linear"], ["rapid"])


def set_by_code(dialect: Dialect, code: str) -> tuple[str, object] | None:
    """Return which part of the state a code sets, and to what; None for any other code."""
    meaning, _ = dialect.words.get(code, ("", None))
    return _SETS.get(meaning)


def changed(state: State, changes: Changes) -> State:
    """Return a state with changes, as ``_replace`` does, which takes twice as long."""
    values: list[Any] = [*state]
    for place, value in changes:
        values[place] = value
    return State._make(values)


def differ_in_feed_alone(one: State, other: State) -> bool:
    """Whether two states that differ do so in a feed, which each move that uses it holds."""
    return one.feed != other.feed and one[5:] == other[5:] and one[:4] == other[:4]


_Figures = tuple[float | None, float | None, float | None, Sequence[tuple[str, str]]]
"""X (on the diameter), Z and feed of a plain motion block in millimetres, each None without
its word, and what is wrong with their form."""


class PlainMove:
    """What a block with G00 or G01 alone and no other words than X, Z and F says.

    Attributes:
        code: ``linear`` or ``rapid``.
        in_mm: Its figures, worked out when they are first asked for in these units.
        in_inch: The same for inches.
    """

    __slots__ = ("code", "dialect", "feed", "in_inch", "in_mm", "x", "z")

    def __init__(
        self, dialect: Dialect, code: str, x: Word | None, z: Word | None, feed: Word | None
    ) -> None:
        self.dialect, self.code = dialect, code
        self.x, self.z, self.feed = x, z, feed
        self.in_mm: _Figures | None = None
        self.in_inch: _Figures | None = None

    def figures(self, *, inch: bool) -> _Figures:
        """Work its figures out."""
        dialect = self.dialect
        faults: Faults = []
        feed = None if self.feed is None else feed_mm(dialect, self.feed, inch, faults)
        x = None if self.x is None else length_mm(dialect, self.x, inch, faults) * x_factor(dialect)
        z = None if self.z is None else length_mm(dialect, self.z, inch, faults)
        known = x, z, feed, faults or NO_FAULTS
        if inch:
            self.in_inch = known
        else:
            self.in_mm = known
        return known


class Orders:
    """What any other block says.

    Attributes:
        meanings: Of its codes, in order.
        values: Its other words by letter, and that of a gear range.
        code: The motion word that it leaves in force; None without one, ``motion_off``
            where there is none after it.
        changes: What it sets in the state, but for a feed: place and value.
        dwell_s: How long the slide stands [s]; None where it does not.
        faults: What is wrong with the figures of all that.
        stops: Those of its codes that stop or end the program, each once.
        calls: Which of ``station`` and ``offset`` it calls or cancels, though they be in force.
        starts: Which of ``spindle`` and ``coolant`` it turns on, though they be on.
        sets: Whether any of that changes what is in force.
        dwells: Whether it is a dwell.
        datum: Which words of its datum it states: ``datum`` and ``shift_off``.
        selects: Station that it selects for a tool change; None without one.
        changes_tool: Whether it changes to the station that is selected.
        coolants: Of several words that the coolant takes, those that stand in it.
        stated: Of the words that the dialect wants stated, those that stand in it.
    """

    __slots__ = (
        "calls",
        "changes",
        "changes_tool",
        "code",
        "coolants",
        "datum",
        "dwell_s",
        "dwells",
        "faults",
        "meanings",
        "selects",
        "sets",
        "starts",
        "stated",
        "stops",
        "values",
    )

    def __init__(
        self,
        dialect: Dialect,
        meanings: list[str],
        values: dict[str, Word],
        words: tuple[Word, ...],
    ) -> None:
        self.meanings, self.values = meanings, values
        self.faults: Faults = []
        self.code = next((m for m in reversed(meanings) if m in _MOTION_WORDS), None)
        changes = _changes(dialect, meanings, values, self.faults)
        self.changes: Changes = tuple((_PLACES[name], value) for name, value in changes.items())
        self.dwells = "dwell" in meanings
        self.dwell_s = _dwell_s(dialect, values, self.faults) if self.dwells else None
        self.datum = tuple(m for m in meanings if m in _DATUMS)
        self.changes_tool = "tool_change" in meanings
        self.selects = None
        if "T" in values and dialect.selects_tool:
            # NISTIR 6556, 3.7.3: T alone only selects; the tool stays until M06.
            self.selects = int(_digits(values["T"]) or 0)
        self.stops = [m for m in dict.fromkeys(meanings) if m in _STOPS]
        self.calls = tuple(
            name for name in _CALLED if name in changes or (name == "station" and self.changes_tool)
        )
        self.starts = tuple(
            name for name in _STARTED if changes.get(name, False) not in (False, "off")
        )
        self.sets = bool(
            self.code is not None
            or changes
            or self.faults
            or "F" in values
            or self.selects is not None
        )
        self.coolants = _of(words, dialect.coolant_words) if dialect.coolant_words else ()
        self.stated = _of(words, dialect.stated_words) if dialect.stated_words else ()


def _of(words: tuple[Word, ...], wanted: frozenset[str]) -> tuple[str, ...]:
    """Return those words of a block that are among others, in their shortest form."""
    codes = [
        w.letter + (_without_point(w.text).lstrip("0") or "0") for w in words if w.letter in "GM"
    ]
    return tuple([code for code in codes if code in wanted])


def act_of(dialect: Dialect, words: tuple[Word, ...], faults: Faults) -> PlainMove | Orders:
    """Return what the words of a block say.

    Args:
        dialect: What the words mean.
        words: The words, at least one.
        faults: What cannot be is added to it.
    """
    meanings, values = _sort(dialect, words, faults)
    plain = meanings in _MOTION_ALONE and values.keys() <= _MOVES
    # A motion block as they are nearly all needs no further look.
    if not (plain and ("X" in values or "Z" in values)):
        _check_increments(dialect, values, faults)
        _check_m_words(dialect, words, faults)
        faults += _misplaced(dialect, meanings, values)
    if meanings in _MOTION_ALONE and values.keys() <= _MOVES:
        x, z, feed = (values.get(letter) for letter in "XZF")
        return PlainMove(dialect, meanings[0], x, z, feed)
    return Orders(dialect, meanings, values, words)


# -- codes and values ----------------------------------------------------------


def _sort(
    dialect: Dialect, words: tuple[Word, ...], faults: Faults
) -> tuple[list[str], dict[str, Word]]:
    """Sort a block's codes and values; report what cannot be."""
    table = dialect.words
    meanings: list[str] = []
    values: dict[str, Word] = {}
    groups: dict[str, Word] = {}
    for word in words:
        letter, text = word
        if has_too_many_digits(dialect, text):
            faults.append(_too_many_digits(dialect, word))
        if letter == "G" or letter == "M":
            if dialect.code_point and "." in text:
                text = _without_point(text)
            known = table.get(letter + text) or table.get(letter + (text.lstrip("0") or "0"))
            if known is None:
                faults.append(_unknown(word))
                continue
            meaning, group = known
            if group is not None:
                if (
                    group in groups
                    and groups[group].value != word.value
                    and not _stand_together(dialect, meaning, meanings)
                ):
                    faults.append(_contradiction(groups[group], word))
                groups[group] = word
            meanings.append(meaning)
            if meaning == GEAR:
                values[GEAR] = word
        elif letter in _VALUE_LETTERS:
            if letter in values:
                faults.append(("contradictory-words", f"{letter} is written twice in one block"))
            values[letter] = word
            if letter in "STH" and not _is_figure_of(dialect, letter, text):
                faults.append(("number-format", f"{letter}{text} must be a whole number"))
        elif letter == "N":
            faults.append(
                ("misplaced-word", "a block number is inside the block, not at its start")
            )
        else:
            faults.append(_unknown(word))
    return meanings, values


def _stand_together(dialect: Dialect, meaning: str, before: list[str]) -> bool:
    """Whether another word of the same group belongs to one before: several turn coolant on."""
    several = meaning == "coolant_on" and bool(dialect.coolant_words)
    return several and "coolant_off" not in before


def _without_point(code: str) -> str:
    """Return the number of a G or M word without a point that only zeros follow."""
    whole, _, places = code.partition(".")
    return code if places.strip("0") else whole


def _is_figure_of(dialect: Dialect, letter: str, text: str) -> bool:
    """Whether a number may stand behind S, T or H."""
    if letter == "S" and dialect.speed_point:
        text = text.replace(".", "", 1)
    elif letter == "S" and dialect.numbers == "decimal point":
        # A point behind a whole speed is a habit from lengths, and its figure is the same.
        text = text.removesuffix(".")
    return text.isdigit()


def _too_many_digits(dialect: Dialect, word: Word) -> tuple[str, str]:
    most = dialect.most_digits
    return (
        "number-format",
        f"{word.letter}{word.text} has more than the {most} digits that the control reads: it "
        "stops, or leaves out the first or the last of them",
    )


def _unknown(word: Word) -> tuple[str, str]:
    return "unknown-word", f"{word.letter}{word.text} is not a word of this dialect"


def _contradiction(one: Word, other: Word) -> tuple[str, str]:
    return (
        "contradictory-words",
        f"{one.letter}{one.text} and {other.letter}{other.text} contradict each other in one block",
    )


# -- what is set ---------------------------------------------------------------


def _changes(
    dialect: Dialect, meanings: list[str], values: dict[str, Word], faults: Faults
) -> dict[str, Any]:
    """Return what a block sets, but for what depends on the state before it."""
    changes = dict(_SETS[meaning] for meaning in meanings if meaning in _SETS)
    change = "tool_change" in meanings
    if "S" in values:
        speed = values["S"].value
        if speed < 0:
            faults.append(("number-format", f"S{values['S'].text} is negative"))
        # One S in a block: beside a word for a speed limit it is the limit, and no speed.
        changes["limit_rpm" if "speed_limit" in meanings else "rpm"] = speed
    if change:
        # NISTIR 6556, 3.6.3: the spindle is stopped; a word that starts it counts after that.
        changes.setdefault("spindle", "off")
    if GEAR in values:
        changes[GEAR] = values[GEAR].letter + values[GEAR].text
    if "T" in values and dialect.tool_call == "station and offset":
        changes |= _tool(dialect, values["T"], faults)
    elif "T" in values and not dialect.selects_tool:
        changes["station"] = int(_digits(values["T"]) or 0)
    if "H" in values and "offset_on" in meanings:
        changes["offset"] = int(values["H"].text.partition(".")[0] or 0)
    return changes


_NUMBERS = ("no", "one", "two", "three")


def _digits(word: Word) -> str:
    return word.text.partition(".")[0].lstrip("+-")


def _tool(dialect: Dialect, word: Word, faults: Faults) -> dict[str, Any]:
    digits = _digits(word)
    half = dialect.tool_digits
    if dialect.short_tool and len(digits) == 2 * half - 1:
        digits = f"0{digits}"
    if len(digits) != 2 * half:
        many, digit = _NUMBERS[half], "digit" if half == 1 else "digits"
        faults.append(
            (
                "number-format",
                f"T{word.text} must be {many} {digit} of station and {many} of offset",
            )
        )
        return {}
    return {"station": int(digits[:half]), "offset": int(digits[half:])}


def _dwell_s(dialect: Dialect, values: dict[str, Word], faults: Faults) -> float | None:
    """Return the time of a dwell [s]; None where it has none, or less than none."""
    word = values.get(dialect.dwell_address)
    if word is None:
        return None
    seconds, written = word.value, f"{word.letter}{word.text}"
    if dialect.dwell_unit == "ms":
        seconds /= 1000.0
        if "." in word.text:
            faults.append(("number-format", f"{written} must be whole milliseconds"))
    elif dialect.point_required and "." not in word.text:
        faults.append(
            (
                "number-format",
                f"{written} has no decimal point: a control may take it for milliseconds",
            )
        )
    if seconds < 0:
        faults.append(("number-format", "a dwell cannot be negative"))
        return None
    return seconds


# -- words that cannot stand together ------------------------------------------


def _check_increments(dialect: Dialect, values: dict[str, Word], faults: Faults) -> None:
    """Report U and W that the dialect lacks, which then count for nothing, or beside X and Z."""
    if dialect.increments != "U and W":
        for letter in "UW":
            if letter in values:
                faults.append(_unknown(values.pop(letter)))
    for absolute, increment in (("X", "U"), ("Z", "W")):
        if absolute in values and increment in values:
            faults.append(
                (
                    "contradictory-words",
                    f"{absolute} and {increment} both give the target",
                )
            )


def _check_m_words(dialect: Dialect, words: tuple[Word, ...], faults: Faults) -> None:
    """Report more M words than the control takes, unless they contradict each other anyway."""
    count, most = sum(word.letter == "M" for word in words), dialect.m_words_per_block
    if count > most and not any(code == "contradictory-words" for code, _ in faults):
        takes = "one" if most == 1 else f"at most {most}"
        message = (
            f"{count} M words in one block, the control takes {takes}: it stops, or obeys some "
            "of them and leaves out the others"
        )
        faults.append(("contradictory-words", message))


def _misplaced(
    dialect: Dialect, meanings: list[str], values: dict[str, Word]
) -> Iterator[tuple[str, str]]:
    """Yield words without what belongs to them, or beside what they must not stand with."""
    dwells = "dwell" in meanings
    for message in _alone(dialect, meanings, values):
        yield "misplaced-word", message
    axes = [a for a in "XZUW" if a in values]
    moves = "rapid" in meanings or "linear" in meanings
    if moves and dialect.motion_needs_axis and not (dwells or axes):
        yield "misplaced-word", "a motion word without X or Z"
    for one, other, why in _rivals(dialect, meanings):
        yield "misplaced-word", f"{one} and {other} are in one block; {why}"
    beside = _beside_a_dwell if dwells else _beside_axes
    for message in beside(dialect, meanings, values, axes):
        yield "misplaced-word", message


_DIFFER = "and controls differ in which of the two they obey"

_RIVALS = (
    ("dwell", ("rapid", "linear"), f"a dwell has a block of its own, {_DIFFER}"),
    ("reference_return", ("rapid", "linear"), f"both want its axis words, {_DIFFER}"),
    ("speed_limit", ("constant_speed", "surface_speed"), f"both want its S, {_DIFFER}"),
)
"""Meanings of codes that one block must not hold, and why: NISTIR 6556, 3.4 and Table 4, allows
no two that use axis words, and ISO 6983-1 gives a dwell a block of its own."""


def _rivals(dialect: Dialect, meanings: list[str]) -> Iterator[tuple[str, str, str]]:
    """Yield the codes of two words that one block must not hold, and why."""
    for meaning, others, why in _RIVALS:
        if meaning in meanings:
            for other in others:
                if other in meanings:
                    yield _code_text(dialect, meaning), _code_text(dialect, other), why
    if "dwell" in meanings and "incremental" in meanings and dialect.dwell_address == "X":
        why = "one control takes X for a time, another for a way to go"
        yield _code_text(dialect, "dwell"), _code_text(dialect, "incremental"), why


def _alone(dialect: Dialect, meanings: list[str], values: dict[str, Word]) -> Iterator[str]:
    """Yield codes without their value, and values without their code."""
    calls = "subprogram_call" in meanings
    dwells = "dwell" in meanings
    if calls:
        call = _code_text(dialect, "subprogram_call")
        yield f"{call} calls another program, which is not checked here"
    if "P" in values and not calls and not dwells:
        yield f"P{values['P'].text} is allowed in a dwell block only"
    if "H" in values and "offset_on" not in meanings:
        yield f"H{values['H'].text} is allowed with a tool offset only"
    if "offset_on" in meanings and "H" not in values:
        yield "a tool offset is called without its number"
    if "speed_limit" in meanings and "S" not in values:
        yield "a speed limit without S"


def _beside_a_dwell(
    dialect: Dialect, meanings: list[str], values: dict[str, Word], axes: list[str]
) -> Iterator[str]:
    address = dialect.dwell_address
    if address not in values:
        other = "P" if address == "X" else "X"
        unit = "milliseconds" if dialect.dwell_unit == "ms" else "seconds"
        wanted = f"{_code_text(dialect, 'dwell')} takes its time as {address} in {unit}"
        if other in values:
            yield f"{wanted}, not as {other}{values[other].text}"
            axes = [axis for axis in axes if axis != other]
        else:
            yield f"a dwell without its time: {wanted}"
    if address == "X" and "X" in values and "P" in values:
        yield f"P{values['P'].text} is not allowed in a dwell block"
    for letter in [*axes, "F"]:
        if letter in values and letter != address:
            yield f"{letter}{values[letter].text} is not allowed in a dwell block"


def _beside_axes(
    dialect: Dialect, meanings: list[str], values: dict[str, Word], axes: list[str]
) -> Iterator[str]:
    if not axes:
        return
    if "speed_limit" in meanings:
        yield "an axis word is in the block of a speed limit"
    clash = next((m for m in meanings if m in _STOPS_MOTION), None)
    if clash is not None or "T" in values:
        what = _code_text(dialect, clash) if clash else f"T{values['T'].text}"
        yield (
            f"{what} is in a block that moves: some controls carry it out before the motion, "
            "others after it"
        )


def _code_text(dialect: Dialect, meaning: str) -> str:
    return str(getattr(dialect.codes, meaning, None) or meaning)
