"""What is in force where a piece of a part program begins: what the blocks before it have set.

Blocks of other tools hold words that a dialect does not have: arcs, threads, cycles, macros. They
are no findings here. Words that are known are read as the reader reads them; where the program
goes cannot always be told, and then what it has set is not known.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import NamedTuple

from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.frame import start_number
from knurlcam.gcode.motion import State, Word
from knurlcam.gcode.pieces import Source, words_of
from knurlcam.gcode.words import STATION, Orders, act_of, changed

__all__ = ["Entry", "Lasting", "code_text", "entries"]


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


class Entry(NamedTuple):
    """What is in force where a piece begins.

    Attributes:
        state: As the reader has it; None is "not known".
        lasting: What else is in force, by kind.
        unseen: The line of the first block that runs what is not in the text, or in an order that
            the text does not say, and what it is; None without one.
    """

    state: State
    lasting: Mapping[str, Lasting]
    unseen: tuple[int, str] | None


class _Kind(NamedTuple):
    """Words that last, in their shortest form, a space between them."""

    kind: str
    codes: str
    ends: str
    does: str


_LASTING = (
    _Kind("preset", "G92", "G92.1 G92.2", "a shift of the coordinates by a preset"),
    _Kind("datum set", "G10", "", "a datum or offset that the program sets itself"),
    _Kind("local", "G52", "", "a local shift of the coordinates"),
    _Kind("compensation", "G41 G42", "G40", "cutter compensation"),
    _Kind("speed mode", "G96", "G97", "constant surface speed"),
    _Kind("feed mode", "G93", "G94 G95", "inverse time feed"),
    _Kind("rotation", "G68", "G69", "a rotation of the coordinates"),
    _Kind("polar", "G16", "G15", "polar coordinates"),
    _Kind("macro", "G66", "G67", "a macro call at each position"),
)
"""ISO 6983-1, NISTIR 6556 (3.5.5, 3.5.13, 3.5.18, 3.5.19) and common practice on lathes for G10,
G16, G52, G66 and G68; from memory. What a dialect says of a word goes before."""

_DATUMS = "G54 G54.1 G55 G56 G57 G58 G59 G59.1 G59.2 G59.3"

_AXES = frozenset("XZUW")
_WORD = re.compile(
    r"(?<![A-Z#])([A-Z])[ \t]*([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+))(?![0-9.]*[ \t]*\])"
)
_PLAIN = re.compile(r"(?:N[0-9]+ ?)?(?:G0?[0-3] ?)?(?:[XZUWIKRF][+-]?[0-9.]+ ?)+")
"""A motion block: but for F, which a piece states for itself, nothing lasts in it."""

_FLOW = re.compile(r"\b(?:GOTO|IF|WHILE|DO|END|CALL|REPEAT)|^O[<0-9].*[A-Z]{2}|^[A-Z_]{3,}")
_CALLS = ("G65", "M97", "M98")
"""Calls of macros and subprograms: common practice, from memory."""

MOST_LINES_RUN = 200_000
"""Lines that are followed through calls: a subprogram that calls itself ends somewhere."""

MOST_CALLS = 1_000
"""Calls that are followed: subprograms that call each other come to very many."""

MOST_DEPTH = 8
"""Calls within calls that are followed."""

MOST_ENTRIES = 8
"""Ways into one piece that are looked at."""


def code_text(word: Word) -> str:
    """Return a G or M word in its shortest form."""
    whole, _, places = word.text.lstrip("+-").partition(".")
    places = places.rstrip("0")
    return f"{word.letter}{int(whole or 0)}{'.' * bool(places)}{places}"


def entries(lines: Source, dialect: Dialect, places: Mapping[int, int | None]) -> list[list[Entry]]:
    """Return for each place in a text what is in force when the program comes there.

    Args:
        lines: Its lines that are not blank.
        dialect: Its dialect.
        places: First line of each piece to the program number of a subprogram, which is entered
            where it is called; None for any other piece.

    Returns:
        The ways into each piece; none where nothing in the text leads there.
    """
    return _Outside(lines, dialect, places).entries()


class _Runs(NamedTuple):
    """The lines of one program of the text, and its number."""

    first: int
    end: int
    number: int | None


class _Outside:
    def __init__(self, lines: Source, dialect: Dialect, places: Mapping[int, int | None]) -> None:
        self.lines, self.dialect, self.places = lines, dialect, places
        self.programs = list(self._programs())
        self.by_number = {p.number: p for p in self.programs if p.number is not None}
        self.found: dict[int, list[Entry]] = {place: [] for place in places}
        self.left, self.calls = MOST_LINES_RUN, 0

    def _programs(self) -> Iterator[_Runs]:
        """Yield the programs in the text: a file may hold subprograms before or behind it."""
        starts: list[tuple[int, int | None]] = [
            (place, number)
            for place, (_, text) in enumerate(self.lines)
            if text.lstrip()[0] in "%:Oo"
            and (number := start_number(text, self.dialect)) is not None
        ]
        if not starts or starts[0][0]:
            starts.insert(0, (0, None))
        ends = [place for place, _ in starts[1:]] + [len(self.lines)]
        for (first, number), end in zip(starts, ends, strict=True):
            yield _Runs(first, end, number)

    def entries(self) -> list[list[Entry]]:
        called = self._called()
        for program in self.programs:
            if program.number not in called:
                self.run(program, _Modes(self.dialect), 0)
        if self.left <= 0:
            self.lose_the_rest()
        return [self.found[place][:MOST_ENTRIES] for place in self.places]

    def lose_the_rest(self) -> None:
        """Note that nothing is known where the program was not followed to."""
        for place, ways in self.found.items():
            if not ways:
                unseen = self.lines[place][0], "more blocks are called before it than are followed"
                ways.append(Entry(State(), {}, unseen))

    def _called(self) -> set[int]:
        numbers = {number for number in self.places.values() if number is not None}
        for _, text in self.lines:
            if "P" in text and (number := self.call_in(text)) is not None:
                numbers.add(number)
        return numbers

    def call_in(self, text: str) -> int | None:
        """Return the number of the program that a block calls; None where it calls none."""
        words = _WORD.findall(words_of(text, self.dialect).upper())
        calls = {*_CALLS, self.dialect.codes.subprogram_call}
        if not any(code_text(Word(*w)) in calls for w in words if w[0] in "GM"):
            return None
        return next((int(float(number)) for letter, number in words if letter == "P"), None)

    def run(self, program: _Runs, modes: _Modes, depth: int) -> None:
        """Go through a program, and through what it calls."""
        for place in range(program.first, program.end):
            if place in self.found and self.places[place] is None:
                self.note(place, modes)
            if self.left <= 0:
                modes.lose(self.lines[place][0], "more blocks than are followed")
                return
            self.left -= 1
            number, text = self.lines[place]
            if not _PLAIN.fullmatch(text) and modes.take(number, text) == "calls":
                self.call(number, text, modes, depth)
            elif modes.returned and depth:
                modes.returned = False
                return

    def call(self, line: int, text: str, modes: _Modes, depth: int) -> None:
        number = self.call_in(text)
        program = self.by_number.get(number) if number is not None else None
        for place, wanted in self.places.items():
            if wanted is not None and wanted == number:
                self.note(place, modes)
        self.calls += 1
        if program is None or depth >= MOST_DEPTH or self.calls > MOST_CALLS:
            modes.lose(line, f"{text[:40]} runs what is not in this text")
        else:
            self.run(program, modes, depth + 1)

    def note(self, place: int, modes: _Modes) -> None:
        entry = modes.entry()
        if entry not in self.found[place]:
            self.found[place].append(entry)


def _x_kind(dialect: Dialect) -> Iterator[_Kind]:
    """Yield what makes X words hold something else where a dialect has no words for it.

    G7 and G8 of open lathe controls, whose tools are called by a change and an offset of its own
    (common practice, from memory); with others G8 is something else.
    """
    codes = dialect.codes
    if codes.diameter is None and codes.radius is None and codes.offset_on is not None:
        if dialect.x == "radius":
            yield _Kind("x", "G7", "G8", "X on the diameter")
        else:
            yield _Kind("x", "G8", "G7", "X on the radius")


class _Modes:
    """Takes the blocks of other tools one by one."""

    def __init__(self, dialect: Dialect) -> None:
        self.dialect = dialect
        self.state = State()
        self.lasting: dict[str, Lasting] = {}
        self.unseen: tuple[int, str] | None = None
        self.selected: int | None = None
        self.returned = False
        datum = dialect.work_offset or "G54"
        others = " ".join(code for code in _DATUMS.split() if code != datum)
        kinds = (*_LASTING, _Kind("datum", others, datum, "another datum"), *_x_kind(dialect))
        self.meaning_of = {code: kind for kind in kinds for code in kind.codes.split()}
        self.ended_by = [(kind.kind, frozenset(kind.ends.split())) for kind in kinds]

    def entry(self) -> Entry:
        # Spindle and coolant are started by each piece with a speed of its own.
        state = self.state._replace(spindle="off", coolant=False, coolants=())
        return Entry(state, dict(self.lasting), self.unseen)

    def lose(self, line: int, what: str) -> None:
        """Take a block after which nothing is known."""
        self.state, self.selected = State(), None
        self.unseen = self.unseen or (line, what)

    def take(self, line: int, text: str) -> str:
        """Take a block; return ``calls`` if it calls another program."""
        written = words_of(text, self.dialect).upper()
        if not written:
            return ""
        if _FLOW.search(written):
            self.lose(line, f"{written[:40]} may go elsewhere in the program")
            return ""
        words = tuple(Word(*pair) for pair in _WORD.findall(written) if pair[0] != "N")
        codes = [code_text(word) for word in words if word.letter in "GM"]
        if any(code in (*_CALLS, self.dialect.codes.subprogram_call) for code in codes):
            return "calls"
        before = self.state
        self._last(line, words, codes)
        if words:
            self._set(words, codes)
        if written[0] == "/":  # the operator may skip it: only what both ways leave is known
            pairs = zip(before, self.state, strict=True)
            self.state = State._make([one if one == other else None for one, other in pairs])
        return ""

    def _last(self, line: int, words: tuple[Word, ...], codes: list[str]) -> None:
        """Take words that last though the reader gives them no meaning."""
        letters = {word.letter for word in words}
        for code in codes:
            for kind, ends in self.ended_by:
                if code in ends:
                    self.lasting.pop(kind, None)
            if code == "G52" and not any(w.value for w in words if w.letter in _AXES):
                self.lasting.pop("local", None)
                continue
            known = self.meaning_of.get(code)
            if code in ("G50", "G92"):
                known = self.preset(code, letters)
            if known is not None and (known.kind == "datum" or not self._is_own(code, letters)):
                self.lasting[known.kind] = Lasting(
                    line, code, known.does, frozenset(known.ends.split())
                )

    def preset(self, code: str, letters: set[str]) -> _Kind | None:
        """Return what G50 or G92 is: with axis words a preset, with S a limit of the speed.

        On lathes that preset by G50 a G92 is a thread cycle; on others with increments by U and
        W it is one where a pitch stands beside it (common practice, from memory).
        """
        if not letters & _AXES:
            return None
        limit, by_uw = self.dialect.codes.speed_limit, self.dialect.increments == "U and W"
        if code == "G50":
            return self.meaning_of["G92"] if by_uw or limit == "G50" else None
        is_thread = limit == "G50" or (by_uw and bool(letters & set("FEIR")))
        return None if is_thread else self.meaning_of["G92"]

    def _is_own(self, code: str, letters: set[str]) -> bool:
        """Whether the dialect gives a word a meaning, which the state then holds."""
        meaning, _ = self.dialect.words.get(code, ("", None))
        return bool(meaning) and not (meaning == "speed_limit" and letters & _AXES)

    def _set(self, words: tuple[Word, ...], codes: list[str]) -> None:
        """Take what the reader takes."""
        if not any(word.letter in "GMSTH" for word in words):
            return
        limits = {"G50", "G92"} & set(codes)
        if limits and not any(self._is_own(code, set()) for code in limits):
            words = tuple(word for word in words if word.letter != "S")
        act = act_of(self.dialect, words, []) if words else None
        if not isinstance(act, Orders):
            return
        state = changed(self.state, act.changes)
        if state.feed_mode != self.state.feed_mode:
            state = state._replace(feed=None)
        if state.speed_mode != self.state.speed_mode and "rpm" not in _set_by(act):
            state = state._replace(rpm=None)
        if act.selects is not None:
            self.selected = act.selects
        if act.changes_tool:
            state = changed(state, ((STATION, self.selected),))
        self.returned = "subprogram_return" in act.stops
        self.state = state


def _set_by(act: Orders) -> set[str]:
    return {State._fields[place] for place, _ in act.changes}
