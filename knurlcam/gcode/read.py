"""Program text to blocks and motion: a lathe's state machine, one dialect at a time.

The reader judges only the text itself: words it does not know, words that contradict
each other or stand where they cannot. What the motion means for the work is judged by
:mod:`knurlcam.verification.verify`.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache, partial
from pathlib import Path
from typing import Any, Literal, NamedTuple

from knurlcam.gcode.dialect import Dialect, load_dialect
from knurlcam.units.kinds import MM_PER_INCH

__all__ = [
    "Block",
    "Change",
    "Dwell",
    "End",
    "Event",
    "Motion",
    "Move",
    "Problem",
    "State",
    "Stop",
    "Word",
    "read_program",
]

Severity = Literal["error", "warning"]

MOST_LINES = 200_000
"""More than any program that knurls has; a text without end must not take time without end."""

MAX_M_WORDS = 4
"""NISTIR 6556, 3.3.5: at most four M words in a block."""


class Word(NamedTuple):
    """One word of a block: its letter and its number as it stands."""

    letter: str
    text: str

    @property
    def value(self) -> float:
        """The number's value, in whatever unit the dialect writes it."""
        return float(self.text)


class Block(NamedTuple):
    """One line of a program.

    Attributes:
        line: Line number, from 1.
        number: Its N word, or None.
        words: The other words, in order.
        comment: Its comments, joined; None without any.
        skip: Whether a slash stands before it.
        text: The line as it stands.
    """

    line: int
    number: int | None
    words: tuple[Word, ...]
    comment: str | None
    skip: bool
    text: str


@dataclass(frozen=True, slots=True)
class Problem:
    """Something wrong with the text itself."""

    code: str
    severity: Severity
    block: Block
    message: str


class State(NamedTuple):
    """What is in force; None is "not stated by the program".

    ``feed`` is in mm a revolution or a minute; ``rpm`` is S as written, at constant surface
    speed no rev/min.
    """

    units: Literal["mm", "inch"] | None = None
    distance: Literal["absolute", "incremental"] | None = None
    feed_mode: Literal["per revolution", "per minute"] | None = None
    speed_mode: Literal["constant speed", "surface speed"] | None = None
    feed: float | None = None
    rpm: float | None = None
    limit_rpm: float | None = None
    spindle: Literal["off", "forward", "reverse"] = "off"
    coolant: bool = False
    station: int | None = None
    offset: int | None = None


@dataclass(slots=True)
class Move:
    """One motion of the slide.

    Attributes:
        block: The block that commands it.
        state: What is in force while it runs.
        kind: ``rapid``, ``feed`` or ``reference`` (a rapid to the reference point).
        x0: X before, on the diameter; None while unknown [mm]
        z0: Z before [mm]
        x1: X after; None at the reference point or while unknown [mm]
        z1: Z after [mm]
        feed_mm_per_rev: Slide travel per turn of the work; None without a feed [mm/rev]
    """

    block: Block
    state: State
    kind: Literal["rapid", "feed", "reference"]
    x0: float | None
    z0: float | None
    x1: float | None
    z1: float | None
    feed_mm_per_rev: float | None

    def duration_s(self, rapid_m_min: float, reference: tuple[float, float] = (0.0, 0.0)) -> float:
        """Return how long it takes; a feed move without a feed or speed takes no time.

        Args:
            rapid_m_min: Rapid rate [m/min]
            reference: Where the reference point, and an unknown start, is taken to be:
                X on the diameter and Z [mm]

        Returns:
            Time [s]
        """
        x0, x1 = (reference[0] if x is None else x for x in (self.x0, self.x1))
        z0, z1 = (reference[1] if z is None else z for z in (self.z0, self.z1))
        travel = math.hypot((x1 - x0) / 2.0, z1 - z0)
        if self.kind != "feed":
            return travel * 0.06 / rapid_m_min
        if not self.feed_mm_per_rev or not self.state.rpm:
            return 0.0
        return travel / (self.feed_mm_per_rev * self.state.rpm) * 60.0


@dataclass(slots=True)
class Dwell:
    """The slide stands for a time [s]."""

    block: Block
    state: State
    seconds: float


@dataclass(slots=True)
class Stop:
    """A program stop; an optional one only if the operator has switched it on."""

    block: Block
    state: State
    optional: bool


@dataclass(slots=True)
class Change:
    """Spindle, coolant, tool, limit or a mode was set.

    Attributes:
        block: The block that did it.
        state: What is in force after it.
        before: ... and before it.
        calls: Whether a tool or an offset was called or cancelled, though it be the same again.
    """

    block: Block
    state: State
    before: State
    calls: bool = False


@dataclass(slots=True)
class End:
    """Program end, or return from a subprogram."""

    block: Block
    state: State
    returns: bool


Event = Move | Dwell | Stop | Change | End


@dataclass(slots=True)
class Motion:
    """What a program text does.

    Attributes:
        dialect: The dialect it was read in.
        blocks: Every line that is not blank.
        events: What happens, in order.
        problems: What is wrong with the text itself.
        number: Program number, if a start line gives one.
        starts: How many start lines were found in their place.
        closed: Whether the lines after the last block are all there.
        blind: Blocks that move by U or W from a place that the program does not know.
        slashes: Whether a block with a slash stands in it, which the operator may skip.
        state: What is in force at the end.
    """

    dialect: Dialect
    blocks: list[Block] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    number: int | None = None
    starts: int = 0
    closed: bool = False
    blind: list[Block] = field(default_factory=list)
    slashes: bool = False
    state: State = field(default_factory=State)

    @property
    def moves(self) -> list[Move]:
        """The motions alone."""
        return [e for e in self.events if type(e) is Move]

    @property
    def comments(self) -> Iterator[str]:
        """Every comment, in order."""
        return (b.comment for b in self.blocks if b.comment is not None)

    def duration_s(self, rapid_m_min: float, reference: tuple[float, float] = (0.0, 0.0)) -> float:
        """Return the machine time of motions and dwells.

        Args:
            rapid_m_min: Rapid rate [m/min]
            reference: Where the reference point is taken to be, X on the diameter and Z;
                where the start is not known, it is taken to be there as well [mm]

        Returns:
            Time [s]; stops take none.
        """
        total = 0.0
        for event in self.events:
            if type(event) is Dwell:
                total += event.seconds
            elif type(event) is Move:
                total += event.duration_s(rapid_m_min, reference)
        return total


def read_program(
    text: str,
    post: str | Dialect = "iso6983",
    *,
    posts: Iterable[str | Path] = (),
    skip: bool | tuple[bool, ...] = False,
) -> Motion:
    """Read a program text.

    Args:
        text: The program, any line ends.
        post: Its dialect, by name or loaded.
        posts: Folders of a shop's own dialects.
        skip: Whether blocks with a slash are skipped, as the operator may set: for the whole
            program, or for each stretch of it from one stop to the next.

    Returns:
        Blocks, motion and problems; never an exception for what the text holds.

    Raises:
        InputError: if the dialect is unknown or broken.
    """
    stretches = (skip,) if isinstance(skip, bool) else skip
    return _Reader(load_dialect(post, posts), stretches).read(text)


# -- lines to blocks -----------------------------------------------------------

_WORD = re.compile(r"([A-Z])[ \t]*([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+))")
_SPACES = re.compile(r"[ \t]+")
_LINE_END = re.compile(r"\r\n|\r|\n")
"""What ends a line on a control; Python knows of more, which it takes for text."""

_NUMBER = r"([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+))"
_PLAIN_MOVE = re.compile(
    rf"(?:N([0-9]+) )?(G[0-9]+)(?= )(?: X{_NUMBER})?(?: Z{_NUMBER})?(?: F{_NUMBER})?"
)
"""A motion block as writers write it."""

_new_word = partial(tuple.__new__, Word)
_new_block = partial(tuple.__new__, Block)
"""From a tuple of all fields, in half the time: nothing is checked or filled in anyway."""


_Faults = list[tuple[str, str]]
"""Code and message of what is wrong with a line."""

_NO_FAULTS: Sequence[tuple[str, str]] = ()


def _without_comments(
    text: str, dialect: Dialect, faults: list[tuple[str, str]]
) -> tuple[str, str | None]:
    """Take comments out of a line; nested and unclosed ones are faults."""
    mark, close = dialect.comment_open, dialect.comment_close
    pieces: list[str] = []
    comments: list[str] = []
    rest = text
    while mark in rest:
        before, _, rest = rest.partition(mark)
        pieces.append(before)
        inside, closed, after = rest.partition(close) if close else (rest, "yes", "")
        if not closed:
            faults.append(("comment-open", "a comment is not closed on its line"))
            after = ""
        if mark in inside:
            faults.append(("comment-nested", "a comment stands inside a comment"))
        comments.append(inside)
        rest = after
    if close and close in rest:
        faults.append(("comment-nested", "a comment is closed that was not opened"))
        rest = rest.replace(close, " ")
    # A line's end, which no line holds: a comment must not join the digits on its two sides.
    return "\n".join([*pieces, rest]), " ".join(comments)


_Figures = tuple[float | None, float | None, float | None, Sequence[tuple[str, str]]]
"""X (on the diameter), Z and feed of a plain motion block in millimetres, each None without
its word, and what is wrong with their form."""


class _PlainMove:
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
        faults: _Faults = []
        feed = None if self.feed is None else _feed(dialect, self.feed, inch, faults)
        x = None if self.x is None else _length(dialect, self.x, inch, faults) * _x_factor(dialect)
        z = None if self.z is None else _length(dialect, self.z, inch, faults)
        known = x, z, feed, faults or _NO_FAULTS
        if inch:
            self.in_inch = known
        else:
            self.in_mm = known
        return known


class _Orders:
    """What any other block says.

    Attributes:
        meanings: Of its codes, in order.
        values: Its other words by letter.
        code: The motion word that it leaves in force; None without one.
        changes: What it sets in the state, but for a feed: place and value.
        dwell_s: How long the slide stands [s]; None where it does not.
        stops: Those of its codes that stop or end the program, each once.
        faults: What is wrong with the figures of all that.
        calls: Whether it calls or cancels a tool or its offset, though it be the one in force.
        sets: Whether any of that changes what is in force.
        dwells: Whether it is a dwell.
    """

    __slots__ = (
        "calls",
        "changes",
        "code",
        "dwell_s",
        "dwells",
        "faults",
        "meanings",
        "sets",
        "stops",
        "values",
    )

    def __init__(
        self,
        meanings: list[str],
        values: dict[str, Word],
        code: str | None,
        changes: _Changes,
        dwell_s: float | None,
        stops: list[str],
        faults: _Faults,
    ) -> None:
        self.meanings, self.values, self.code = meanings, values, code
        self.changes, self.dwell_s, self.stops, self.faults = changes, dwell_s, stops, faults
        self.calls = any(
            _PLACES["offset"] == place or _PLACES["station"] == place for place, _ in changes
        )
        self.sets = bool(code is not None or changes or faults or "F" in values)
        self.dwells = "dwell" in meanings


class _Line:
    """What a line says by itself, whatever was in force before it; a comment alone is no such.

    Attributes:
        block: The line as it stood last; its line number is the place's.
        runs: Whether there is a block number or a word on it.
        faults: What is wrong with it wherever it stands.
        word_faults: What is wrong with its words, where they are run.
        act: What it says; None without words.
        move: The same where it is a plain move without a fault, as nearly all are.
    """

    __slots__ = ("act", "block", "faults", "move", "runs", "word_faults")

    def __init__(
        self,
        block: Block,
        runs: bool,
        faults: Sequence[tuple[str, str]],
        word_faults: Sequence[tuple[str, str]],
        act: _PlainMove | _Orders | None,
    ) -> None:
        self.block, self.runs, self.act = block, runs, act
        self.faults, self.word_faults = faults, word_faults
        flawless = not (faults or word_faults or block.skip)
        self.move = act if flawless and type(act) is _PlainMove else None


MOST_LINES_KEPT = 4096


class _Lines:
    """The lines of one dialect that were read.

    Programs repeat their lines, each other's above all: what a line says by itself is
    kept for when it comes again.
    """

    __slots__ = ("close", "dialect", "kept", "mark")

    def __init__(self, dialect: Dialect) -> None:
        self.dialect = dialect
        self.mark, self.close = dialect.comment_open, dialect.comment_close
        self.kept: dict[str, Block | _Line] = {}
        """By text; a comment and nothing else is kept as its block alone."""

    def read(self, number: int, text: str) -> Block | _Line:
        """Read a line that is not among those kept, and keep it."""
        line: Block | _Line | None = None
        if len(text) <= self.dialect.line_length and text.isprintable():
            line = self.whole_comment(number, text) or self.plain_move(number, text)
        if line is None:
            line = _LineReader(self.dialect).read(number, text)
        if len(self.kept) >= MOST_LINES_KEPT:
            self.kept.clear()
        if len(text) <= self.dialect.line_length:
            self.kept[text] = line
        return line

    def whole_comment(self, number: int, text: str) -> Block | None:
        """Return the block of a line that is a comment as a whole; None for any other line."""
        mark, close = self.mark, self.close
        if not (text.startswith(mark) and text.endswith(close) and len(text) >= len(mark + close)):
            return None
        inside = text[len(mark) : len(text) - len(close)]
        if mark in inside or (close and close in inside):
            return None
        return _new_block((number, None, (), inside, False, text))

    def plain_move(self, place: int, text: str) -> _Line | None:
        """Read a motion block as writers write it; None if it is not quite one.

        Nothing can be wrong with it that the pattern does not rule out.
        """
        plain = _PLAIN_MOVE.fullmatch(text)
        if plain is None or self.mark in text or (self.close and self.close in text):
            return None
        number, code, x_text, z_text, feed_text = plain.groups()
        if x_text is None and z_text is None and self.dialect.motion_needs_axis:
            return None
        known = self.dialect.words.get(code)
        if known is None or (known[0] != "linear" and known[0] != "rapid"):
            return None
        words = [_new_word(("G", code[1:]))]
        x = z = feed = None
        if x_text is not None:
            words.append(x := _new_word(("X", x_text)))
        if z_text is not None:
            words.append(z := _new_word(("Z", z_text)))
        if feed_text is not None:
            words.append(feed := _new_word(("F", feed_text)))
        n = None if number is None else int(number)
        block = _new_block((place, n, tuple(words), None, False, text))
        act = _PlainMove(self.dialect, known[0], x, z, feed)
        return _Line(block, True, _NO_FAULTS, _NO_FAULTS, act)


_lines_of = lru_cache(maxsize=16)(_Lines)


def _length(dialect: Dialect, word: Word, inch: bool, faults: _Faults) -> float:
    """Return a length in millimetres."""
    if "." in word.text and dialect.numbers == "decimal point":
        return float(word.text) * MM_PER_INCH if inch else float(word.text)
    places = dialect.length_places("inch" if inch else "mm")
    return _whole_number(dialect, word, places, inch, faults)


def _feed(dialect: Dialect, word: Word, inch: bool, faults: _Faults) -> float:
    """Return a feed in millimetres per revolution or minute."""
    if "." in word.text and dialect.numbers == "decimal point":
        value = float(word.text) * MM_PER_INCH if inch else float(word.text)
    else:
        places = dialect.feed_places("inch" if inch else "mm")
        value = _whole_number(dialect, word, places, inch, faults)
    if value < 0:
        faults.append(("number-format", f"F{word.text} is negative"))
    return value


def _whole_number(dialect: Dialect, word: Word, places: int, inch: bool, faults: _Faults) -> float:
    """Return in millimetres what has no decimal point, or has one and must have none."""
    letter, text = word
    value = float(text)
    if dialect.numbers == "least increments":
        if "." in text:
            faults.append(
                (
                    "number-format",
                    f"{letter}{text} has a decimal point, and this dialect counts least increments",
                )
            )
        else:
            value /= 10.0**places
    elif dialect.point_required and value != 0:
        faults.append(
            (
                "number-format",
                f"{letter}{text} has no decimal point: a control may take it for least increments",
            )
        )
    return value * MM_PER_INCH if inch else value


def _x_factor(dialect: Dialect) -> float:
    return 2.0 if dialect.x == "radius" else 1.0


def _is_space(character: str) -> bool:
    """Whether it is a tab, or one of the spaces that a keyboard or an editor puts in a remark."""
    return character == "\t" or unicodedata.category(character) == "Zs"


class _LineReader:
    """Reads one line: its words, what they mean, and what is wrong with them."""

    __slots__ = ("dialect", "faults")

    def __init__(self, dialect: Dialect) -> None:
        self.dialect = dialect
        self.faults: _Faults = []

    def fault(self, code: str, message: str) -> None:
        self.faults.append((code, message))

    def read(self, place: int, text: str) -> _Line:
        dialect = self.dialect
        if len(text) > dialect.line_length:
            # A line of any length must not take any time: it is not looked at further.
            self.fault(
                "line-too-long",
                f"{len(text)} characters on a line, the control takes {dialect.line_length}",
            )
            block = Block(place, None, (), None, False, text)
            return _Line(block, False, self.faults, _NO_FAULTS, None)
        hidden = next((c for c in text if not (c.isprintable() or _is_space(c))), None)
        if hidden is not None:
            self.fault(
                "unreadable-character",
                f"U+{ord(hidden):04X} {unicodedata.name(hidden, 'control character')} stands "
                "on this line and cannot be seen",
            )
        number, words, comment, skip = self.split(text)
        block = Block(place, number, words, comment, skip, text)
        if not words:
            return _Line(block, number is not None, self.faults, _NO_FAULTS, None)
        faults, self.faults = self.faults, []
        meanings, values = self.sort(words)
        act: _PlainMove | _Orders
        if meanings in _MOTION_ALONE and values.keys() <= _MOVES:
            x, z, feed = (values.get(letter) for letter in "XZF")
            act = _PlainMove(self.dialect, meanings[0], x, z, feed)
        else:
            act = self.orders(meanings, values)
        return _Line(block, True, faults, self.faults, act)

    def split(self, text: str) -> tuple[int | None, tuple[Word, ...], str | None, bool]:
        """Split a line into block number, words, comment and slash."""
        dialect = self.dialect
        mark, close = dialect.comment_open, dialect.comment_close
        rest, comment = text, None
        if mark in text or (close and close in text):
            rest, comment = _without_comments(text, dialect, self.faults)
        if not rest.isascii():
            # Before capitals are made: those of some letters are words, such as S of a long s.
            alien = next(c for c in rest if not c.isascii())
            self.fault("unknown-word", f"{alien!r} is no character of a word")
            rest = "".join([c if c.isascii() else " " for c in rest])
        rest = rest.upper()
        skip = "/" in rest and rest.lstrip().startswith("/")
        if skip:
            rest = rest.replace("/", "", 1)
            if not dialect.block_skip:
                self.fault("unknown-word", "this dialect knows no slash before a block")
        packed = rest.replace(" ", "").replace("\t", "")
        written = packed if dialect.spaces_anywhere else rest
        pairs = _WORD.findall(written)
        found = "".join(map("".join, pairs))
        if found != packed:
            left = _WORD.sub(" ", written).split()
            shown = left[0][:20] if left else packed[:20]
            if left or found != "".join(rest.split()):
                self.fault("unknown-word", f"{shown!r} is no word that this dialect has")
        number = None
        if pairs and pairs[0][0] == "N":
            digits = pairs.pop(0)[1]
            number = int(digits.partition(".")[0].lstrip("+-") or 0)
            if not digits.isdigit():
                self.fault("unknown-word", f"N{digits} is no block number")
        return number, tuple(map(Word._make, pairs)), comment, skip

    def sort(self, words: tuple[Word, ...]) -> tuple[list[str], dict[str, Word]]:
        """Tell a block's codes from its values; report what cannot be."""
        table = self.dialect.words
        meanings: list[str] = []
        values: dict[str, Word] = {}
        groups: dict[str, Word] = {}
        for word in words:
            letter, text = word
            if letter == "G" or letter == "M":
                known = table.get(letter + text) or table.get(letter + (text.lstrip("0") or "0"))
                if known is None:
                    self.unknown_word(word)
                    continue
                meaning, group = known
                if group is not None:
                    if group in groups and groups[group].value != word.value:
                        self.contradiction(groups[group], word)
                    groups[group] = word
                meanings.append(meaning)
            elif letter in _VALUE_LETTERS:
                if letter in values:
                    self.fault("contradictory-words", f"{letter} stands twice in one block")
                values[letter] = word
                if letter in "STH" and not text.isdigit():
                    self.fault("number-format", f"{letter}{text} must be a whole number")
            elif letter == "N":
                self.fault("misplaced-word", "a block number stands inside the block")
            else:
                self.unknown_word(word)
        # A motion block as they are nearly all is done with here.
        moves = "X" in values or "Z" in values
        if not (moves and meanings in _MOTION_ALONE and values.keys() <= _MOVES):
            self.check_increments(values)
            self.check_misplaced(words, meanings, values)
        return meanings, values

    def unknown_word(self, word: Word) -> None:
        self.fault("unknown-word", f"{word.letter}{word.text} is no word that this dialect has")

    def contradiction(self, one: Word, other: Word) -> None:
        self.fault(
            "contradictory-words",
            f"{one.letter}{one.text} and {other.letter}{other.text} contradict each other in one "
            "block",
        )

    def orders(self, meanings: list[str], values: dict[str, Word]) -> _Orders:
        """Work out what a block sets, but for what depends on the state before it."""
        code: str | None = None
        changes: dict[str, Any] = {}
        faults: _Faults = []
        for meaning in meanings:
            if meaning == "linear" or meaning == "rapid":
                code = meaning
            elif meaning in _CHANGES:
                name, value = _CHANGES[meaning]
                changes[name] = value
        if "S" in values:
            speed = values["S"].value
            if speed < 0:
                faults.append(("number-format", f"S{values['S'].text} is negative"))
            changes["limit_rpm" if "speed_limit" in meanings else "rpm"] = speed
        if "tool_change" in meanings:
            # NISTIR 6556, 3.6.3: the spindle is stopped; a word that starts it counts after that.
            changes.setdefault("spindle", "off")
        if "T" in values:
            self.tool(values["T"], changes, faults, change="tool_change" in meanings)
        if "H" in values and "offset_on" in meanings:
            changes["offset"] = int(values["H"].text.partition(".")[0] or 0)
        dwell_s = self.dwell_s(values, faults) if "dwell" in meanings else None
        stops = [m for m in dict.fromkeys(meanings) if m in _STOPS]
        places = tuple((_PLACES[name], value) for name, value in changes.items())
        return _Orders(meanings, values, code, places, dwell_s, stops, faults)

    def dwell_s(self, values: dict[str, Word], faults: _Faults) -> float | None:
        """Return the time of a dwell [s]; None where it has none, or less than none."""
        word = values.get(self.dialect.dwell_address)
        if word is None:
            return None
        seconds = word.value
        if self.dialect.dwell_unit == "ms":
            seconds /= 1000.0
            if "." in word.text:
                faults.append(
                    ("number-format", f"{word.letter}{word.text} must be whole milliseconds")
                )
        elif self.dialect.point_required and "." not in word.text:
            faults.append(
                (
                    "number-format",
                    f"{word.letter}{word.text} has no decimal point: a control may take it for "
                    "milliseconds",
                )
            )
        if seconds < 0:
            faults.append(("number-format", "a dwell cannot be negative"))
            return None
        return seconds

    def tool(self, word: Word, changes: dict[str, Any], faults: _Faults, *, change: bool) -> None:
        digits = word.text.partition(".")[0].lstrip("+-")
        if self.dialect.tool_call == "station and change":
            # NISTIR 6556, 3.7.3: T alone only selects; the tool stays until M06.
            if change:
                changes["station"] = int(digits or 0)
            return
        if len(digits) != 4:
            faults.append(
                (
                    "number-format",
                    f"T{word.text} is not two digits of station and two of offset",
                )
            )
            return
        changes["station"], changes["offset"] = int(digits[:2]), int(digits[2:])

    def check_increments(self, values: dict[str, Word]) -> None:
        if self.dialect.increments != "U and W":
            for letter in "UW":
                if letter in values:
                    word = values.pop(letter)
                    self.fault(
                        "unknown-word",
                        f"{letter}{word.text} is no word that this dialect has",
                    )
        for absolute, increment in (("X", "U"), ("Z", "W")):
            if absolute in values and increment in values:
                self.fault(
                    "contradictory-words",
                    f"{absolute} and {increment} both say where the slide goes",
                )

    def check_misplaced(
        self, words: tuple[Word, ...], meanings: list[str], values: dict[str, Word]
    ) -> None:
        dwells, limits = "dwell" in meanings, "speed_limit" in meanings
        m_words = sum(word.letter == "M" for word in words)
        if m_words > MAX_M_WORDS:
            self.fault("contradictory-words", f"{m_words} M words in one block")
        calls = "subprogram_call" in meanings
        if calls:
            self.fault(
                "misplaced-word",
                f"{self.code_text('subprogram_call')} calls another program, of which nothing is "
                "known here",
            )
        if "P" in values and not calls and not (dwells and self.dialect.dwell_address == "P"):
            self.fault("misplaced-word", f"P{values['P'].text} belongs to a dwell")
        if "H" in values and "offset_on" not in meanings:
            self.fault("misplaced-word", f"H{values['H'].text} belongs to a tool offset")
        if "offset_on" in meanings and "H" not in values:
            self.fault("misplaced-word", "a tool offset is called without its number")
        if "tool_change" in meanings and "T" not in values:
            self.fault("misplaced-word", "a tool change without a tool")
        if limits and "S" not in values:
            self.fault("misplaced-word", "a speed limit without S")
        axes = [a for a in "XZUW" if a in values]
        moves = "rapid" in meanings or "linear" in meanings
        if moves and self.dialect.motion_needs_axis and (dwells or not axes):
            self.fault("misplaced-word", "a motion word without X or Z")
        if dwells:
            address = self.dialect.dwell_address
            if address not in values:
                self.fault("misplaced-word", f"a dwell without its time {address}")
            for letter in [*axes, "F"]:
                if letter in values and letter != address:
                    self.fault(
                        "misplaced-word",
                        f"{letter}{values[letter].text} stands in a dwell block",
                    )
            return
        if limits and axes:
            self.fault("misplaced-word", "an axis word stands beside a speed limit")
        clash = next((m for m in meanings if m in _STOPS_MOTION), None)
        if axes and (clash is not None or "T" in values):
            what = self.code_text(clash) if clash else f"T{values['T'].text}"
            self.fault(
                "misplaced-word",
                f"{what} stands in a block that moves: one control obeys it before the motion, "
                "another after",
            )

    def code_text(self, meaning: str | None) -> str:
        return str(getattr(self.dialect.codes, meaning or "", None) or meaning)


# -- the state machine ---------------------------------------------------------

_CHANGES: dict[str, tuple[str, object]] = {
    "metric": ("units", "mm"),
    "inch": ("units", "inch"),
    "absolute": ("distance", "absolute"),
    "incremental": ("distance", "incremental"),
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
"""What a word sets in the state."""

_STOPS = frozenset(
    {"program_stop", "optional_stop", "program_end", "program_end_also", "subprogram_return"}
)
"""Words that stop the program or end it."""

_STOPS_MOTION = frozenset(
    {
        "spindle_stop",
        "spindle_reverse",
        "spindle_forward",
        "coolant_off",
        "program_stop",
        "optional_stop",
        "program_end",
        "program_end_also",
        "subprogram_return",
        "tool_change",
    }
)
"""Words that one control carries out before a motion in their block and another after."""


_Changes = tuple[tuple[int, Any], ...]
"""Places in the state and what comes there."""

_PLACES = {name: place for place, name in enumerate(State._fields)}
_FEED, _UNITS = _PLACES["feed"], _PLACES["units"]
_FIGURE_OF = {_PLACES["feed_mode"]: _FEED, _PLACES["speed_mode"]: _PLACES["rpm"]}
"""A mode's place to that of its figure, which says nothing in the other mode: a feed per
revolution is none per minute, a speed in m/min is none in rev/min. It must be stated again."""


def _changed(state: State, changes: _Changes) -> State:
    """Return a state with changes, as ``_replace`` does, which takes twice as long."""
    values: list[Any] = [*state]
    for place, value in changes:
        values[place] = value
    return State._make(values)


def _differ_in_feed_alone(one: State, other: State) -> bool:
    """Whether two states that differ do so in a feed, which the moves that use it tell."""
    return one.feed != other.feed and one[5:] == other[5:] and one[:4] == other[:4]


def _sum(place: float | None, way: float | None) -> float | None:
    """Return where an increment leads; a place that is not known stays so."""
    return place if place is None or way is None else place + way


_VALUE_LETTERS = frozenset("XZUWFSTPH")
_MOVES = frozenset("XZF")
_MOTION_ALONE = (["linear"], ["rapid"])


class _Reader:
    """Carries out one program."""

    def __init__(self, dialect: Dialect, skips: tuple[bool, ...]) -> None:
        self.dialect = dialect
        self.skip, *self.next_skips = skips
        self.motion = Motion(dialect)
        self.events = self.motion.events
        self.highest_number = dialect.highest_number
        self.state = State()
        self.rate: float | None = None
        """Slide travel per turn of the work that the state comes to [mm/rev]"""
        self.with_feed: dict[float, tuple[State, float | None]] = {}
        """State and rate with other feeds, as far as the program used them."""
        self.motion_code: str | None = None
        self.x: float | None = None
        self.z: float | None = None
        self.ended = False
        self.beyond = False
        self.last_number = -1

    def read(self, text: str) -> Motion:
        motion = self.motion
        pieces = _LINE_END.split(text, MOST_LINES) if "\r" in text else text.split("\n", MOST_LINES)
        unread = pieces.pop() if len(pieces) > MOST_LINES else ""
        lines = [(i, t) for i, t in enumerate([p.strip(" \t") for p in pieces], start=1) if t]
        first, last = self.find_frame(lines)
        after = last + len(self.dialect.end)
        self.frame(lines[:first])
        self.body(lines[first:last])
        if last < len(lines):
            self.frame(lines[last:after])
            self.ended = True
            self.body(lines[after:])
        if unread.strip():
            self.problem(
                "program-too-long",
                motion.blocks[-1] if motion.blocks else Block(1, None, (), None, False, ""),
                f"the text has more than {MOST_LINES:,} lines, of which the rest is not read",
            )
        motion.state = self.state
        return motion

    def frame(self, lines: list[tuple[int, str]]) -> None:
        """Take lines before the first block or after the last."""
        mark = self.dialect.comment_open
        for number, text in lines:
            comment = _without_comments(text, self.dialect, [])[1] if mark in text else None
            self.motion.blocks.append(Block(number, None, (), comment, False, text))

    def body(self, lines: list[tuple[int, str]]) -> None:
        """Read lines and carry them out."""
        known = _lines_of(self.dialect)
        kept, blocks = known.kept, self.motion.blocks
        for number, text in lines:
            line = kept.get(text) or known.read(number, text)
            if isinstance(line, Block):
                if line.line != number:
                    line = kept[text] = _new_block((number, *line[1:]))
                blocks.append(line)
                if self.ended:
                    self.after_end(line)
                continue
            block = line.block
            if block.line != number:
                line.block = block = _new_block((number, *block[1:]))
            blocks.append(block)
            if self.ended:
                self.after_end(block)
            elif line.move is not None:
                self.plain_move(block, line.move)
            else:
                self.carry_out(block, line)

    def find_frame(self, lines: list[tuple[int, str]]) -> tuple[int, int]:
        """Find where the start lines end and where the end lines begin, by place."""
        motion, dialect = self.motion, self.dialect
        first = self.matching_start(lines, dialect.start)
        if not first and dialect.subprogram_start:
            first = self.matching_start(lines, dialect.subprogram_start)
        motion.starts = first
        end = list(dialect.end)
        motion.closed = not end
        candidates = lines[first : len(lines) - len(end) + 1] if end else []
        for place, (_, candidate) in enumerate(candidates, start=first):
            if candidate[0] == end[0][0]:
                have = [_SPACES.sub("", text) for _, text in lines[place : place + len(end)]]
                if have == end:
                    motion.closed = True
                    return first, place
        return first, len(lines)

    def matching_start(self, lines: list[tuple[int, str]], start: tuple[str, ...]) -> int:
        """Return how many lines begin the program as the dialect does."""
        first = 0
        for want in start:
            if first == len(lines):
                break
            have = _SPACES.sub("", lines[first][1]).upper()
            if "{number}" in want:
                have = self.uncommented(lines[first][1])
                match = self.dialect.start_pattern.fullmatch(have) if have.isascii() else None
                if match is None:
                    continue
                self.motion.number = int(next(g for g in match.groups() if g is not None))
            elif have != want:
                continue
            first += 1
        return first

    def uncommented(self, text: str) -> str:
        """Return a program's number without the comment behind it, which is often its name.

        A line with which anything is wrong is returned whole, and is then no such line.
        """
        dialect, bare = self.dialect, text
        readable = text.replace("\t", " ").isprintable() and len(text) <= dialect.line_length
        if readable and dialect.comment_open in text:
            faults: _Faults = []
            pieces, _ = _without_comments(text, dialect, faults)
            bare = text if faults else pieces.rstrip()
        return _SPACES.sub("", bare).upper()

    def problem(self, code: str, block: Block, message: str, severity: Severity = "error") -> None:
        self.motion.problems.append(Problem(code, severity, block, message))

    def after_end(self, block: Block) -> None:
        """Remark on what stands after the end, once: it is not run."""
        if not self.beyond:
            self.beyond = True
            self.problem(
                "after-the-end",
                block,
                "this and what follows stands after the program end and is not run",
                "warning",
            )

    def tell(self, faults: Sequence[tuple[str, str]], block: Block) -> None:
        for code, message in faults:
            self.problem(code, block, message)

    def carry_out(self, block: Block, line: _Line) -> None:
        """Carry out a block, in the order of NISTIR 6556, 3.8, Table 8."""
        if line.faults:
            self.tell(line.faults, block)
        if block.skip:
            self.motion.slashes = True
            if self.skip:
                return
        if not line.runs:
            return
        if line.word_faults:
            self.tell(line.word_faults, block)
        act = line.act
        if type(act) is _PlainMove:
            self.plain_move(block, act)
            return
        self.count(block)
        if type(act) is _Orders:
            self.orders(block, act)

    def count(self, block: Block) -> None:
        """See that block numbers rise."""
        number = block.number
        if number is not None:
            if self.last_number < number <= self.highest_number:
                self.last_number = number
            else:
                self.misnumbered(block, number)

    def plain_move(self, block: Block, act: _PlainMove) -> None:
        """Carry out a motion block as they nearly all are."""
        self.count(block)
        state = self.state
        if state.units == "inch":
            x, z, feed, faults = act.in_inch or act.figures(inch=True)
        else:
            x, z, feed, faults = act.in_mm or act.figures(inch=False)
        if faults:
            self.tell(faults, block)
        self.motion_code = act.code
        if feed is not None and feed != state.feed:
            self.set_feed(feed)
        if x is None and z is None:
            return
        if state.distance == "incremental":
            x, z = _sum(self.x, x), _sum(self.z, z)
        elif x is None:
            x = self.x
        elif z is None:
            z = self.z
        self.go(block, x, z)

    def set_feed(self, feed: float) -> None:
        """Change the feed alone; a program goes to and fro between a few."""
        known = self.with_feed.get(feed)
        if known is None:
            state = _changed(self.state, ((_FEED, feed),))
            known = self.with_feed[feed] = state, self.feed_per_rev(state)
        self.state, self.rate = known

    def orders(self, block: Block, act: _Orders) -> None:
        """Carry out any other block."""
        if act.sets:
            before = self.state
            self.set_state(block, act)
            if act.calls or (
                self.state is not before and not _differ_in_feed_alone(self.state, before)
            ):
                self.events.append(Change(block, self.state, before, act.calls))
        if act.dwells:
            if act.dwell_s is not None:
                self.events.append(Dwell(block, self.state, act.dwell_s))
        elif "reference_return" in act.meanings:
            self.reference(block, act.values)
        elif act.values:
            self.move(block, act.values)
        if act.stops:
            self.stop(block, act.stops)

    def misnumbered(self, block: Block, number: int) -> None:
        """Remark on a block number that is too high or does not rise."""
        if number > self.highest_number:
            self.problem(
                "numbering",
                block,
                f"N{number} is above the highest number, {self.highest_number}",
                "warning",
            )
        else:
            self.problem(
                "numbering", block, f"N{number} comes after N{self.last_number}", "warning"
            )
        self.last_number = number

    # -- state -----------------------------------------------------------------

    def set_state(self, block: Block, act: _Orders) -> None:
        if act.code is not None:
            self.motion_code = act.code
        state, changes = self.state, act.changes
        for place, mode in act.changes:
            if place in _FIGURE_OF and state[place] is not None and mode != state[place]:
                # First, so that a figure in the same block counts in the new mode.
                changes = ((_FIGURE_OF[place], None), *changes)
        if "F" in act.values:
            faults: _Faults = []
            units = next((to for place, to in changes if place == _UNITS), state.units)
            if state.units is not None and units != state.units:
                what = "units change beside F: one control takes it in the old units, another in "
                faults.append(("misplaced-word", what + "the new"))
            feed = _feed(self.dialect, act.values["F"], units == "inch", faults)
            self.tell(faults, block)
            changes = (*changes, (_FEED, feed))
        if act.faults:
            self.tell(act.faults, block)
        if not changes:
            return
        after = _changed(state, changes)
        if after != state:
            self.state, self.rate = after, self.feed_per_rev(after)
            self.with_feed.clear()

    def length(self, block: Block, word: Word) -> float:
        """Return a length in millimetres."""
        faults: _Faults = []
        value = _length(self.dialect, word, self.state.units == "inch", faults)
        self.tell(faults, block)
        return value

    # -- motion ----------------------------------------------------------------

    def target(self, block: Block, values: dict[str, Word]) -> tuple[float | None, float | None]:
        x, z = self.x, self.z
        factor = _x_factor(self.dialect)
        incremental = self.state.distance == "incremental"
        if "X" in values:
            value = self.length(block, values["X"]) * factor
            x = _sum(x, value) if incremental else value
        if "Z" in values:
            value = self.length(block, values["Z"])
            z = _sum(z, value) if incremental else value
        if "U" in values:
            x = self.increment(block, x, self.length(block, values["U"]) * factor)
        if "W" in values:
            z = self.increment(block, z, self.length(block, values["W"]))
        return x, z

    def increment(self, block: Block, place: float | None, way: float) -> float | None:
        """Return where an increment leads; from a place that is not known nobody can tell."""
        if place is None and way:
            self.motion.blind.append(block)
        return _sum(place, way)

    def move(self, block: Block, values: dict[str, Word]) -> None:
        if not ("X" in values or "Z" in values or "U" in values or "W" in values):
            return
        if self.motion_code is None:
            self.problem("misplaced-word", block, "an axis word before any G00 or G01")
            return
        self.go(block, *self.target(block, values))

    def go(self, block: Block, x: float | None, z: float | None) -> None:
        """Go to a place by the motion word in force."""
        move = (
            Move(block, self.state, "feed", self.x, self.z, x, z, self.rate)
            if self.motion_code == "linear"
            else Move(block, self.state, "rapid", self.x, self.z, x, z, None)
        )
        self.events.append(move)
        self.x, self.z = x, z

    def feed_per_rev(self, state: State) -> float | None:
        """Return the slide travel per turn of the work that a state comes to [mm/rev]."""
        if state.feed is None:
            return None
        if (state.feed_mode or self.dialect.feed) == "per revolution":
            return state.feed
        if state.speed_mode == "surface speed":
            return None  # the turns of the work change with its diameter
        return state.feed / state.rpm if state.rpm else None

    def reference(self, block: Block, values: dict[str, Word]) -> None:
        """Go to the reference point, by way of the point that the words name."""
        along_x, along_z = "X" in values or "U" in values, "Z" in values or "W" in values
        x, z = self.target(block, values)
        moved = (along_x and x != self.x) or (along_z and z != self.z)
        if moved:
            self.events.append(Move(block, self.state, "rapid", self.x, self.z, x, z, None))
            self.x, self.z = x, z
        if not along_x and not along_z:
            self.problem("misplaced-word", block, "a reference return without an axis")
            return
        to_x = None if along_x else self.x
        to_z = None if along_z else self.z
        self.events.append(Move(block, self.state, "reference", self.x, self.z, to_x, to_z, None))
        self.x, self.z = to_x, to_z

    def stop(self, block: Block, stops: list[str]) -> None:
        for meaning in stops:
            if meaning in ("program_stop", "optional_stop"):
                optional = meaning == "optional_stop"
                self.events.append(Stop(block, self.state, optional))
                if self.next_skips:
                    self.skip = self.next_skips.pop(0)
            else:
                returns = meaning == "subprogram_return"
                self.events.append(End(block, self.state, returns))
                self.ended = True
