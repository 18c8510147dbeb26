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
from knurlcam.gcode.lasting import DATUM_SET, Kind, Lasting, kinds_of, system_variable
from knurlcam.gcode.motion import State, Word
from knurlcam.gcode.pieces import Source, words_of
from knurlcam.gcode.words import STATION, Orders, act_of, changed
from knurlcam.text import plain

__all__ = ["Entry", "code_text", "entries"]


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


_AXES = frozenset("XZUW")

_SHOWN = 40
"""Characters of a block that a finding quotes: enough to find it by eye."""

_ADDRESS = re.compile(r"([A-Z])[ \t]*[-+]?[ \t]*[0-9.#]")
_BRACKETS = re.compile(r"\[[^\[\]]*\]")
_WORD = re.compile(
    r"(?<![A-Z#])([A-Z])[ \t]*([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+))(?![0-9.]*[ \t]*\])"
)
_PLAIN = re.compile(r"(?:N[0-9]+ ?)?(?:G0?[0-3] ?)?(?:[XZUWIKRF][+-]?[0-9.]+ ?)+")
"""A motion block: but for F, which a piece states for itself, nothing lasts in it."""

_FLOW = re.compile(
    r"\b(?:GOTO|IF|WHILE|DO|END|CALL|REPEAT)|^O[<0-9].*[A-Z]{2}|^[A-Z_]{3,}|\bM99 ?P|^#? ?\["
)
_COMPUTED = re.compile(r"(?<![A-Z])[GM][ \t]*[#\[]|#[ \t]*[#\[].*=")
"""A G or M word, or the number of a variable, that a program works out."""

_CALLS = ("G65", "M97", "M98", "M198")
"""Calls of macros and subprograms: common practice, from memory."""

_MODAL_CALLS = ("G66", "G66.1")
_NAMED = (
    re.compile(r"(?<![A-Z])P ?([0-9]+)"),
    re.compile(r"(?:\bCALL ?O?|(?<![A-Z])L) ?([0-9]+)"),
)
_ONE_CALL = re.compile(r"(?:N[0-9]+ ?)?L[0-9]+(?: ?P[0-9]+)?")
"""A call without a G or M word, as some controls have it."""

_REPEATED = 10_000
"""P of a call on some controls: repetitions times so many, and the program's number."""

_MAY_CALL = re.compile(r"[PLpl]")

MOST_LINES_RUN = 200_000
"""Lines that are followed through calls: a subprogram that calls itself ends somewhere."""

MOST_CALLS = 1_000
"""Calls that are followed: subprograms that call each other come to very many."""

MOST_DEPTH = 8
"""Calls within calls that are followed."""

MOST_ENTRIES = 8
"""Ways into one piece that are looked at."""


_OFF_BY_ZERO = {"G52": _AXES, "G7.1": frozenset("C"), "G107": frozenset("C")}
"""Words that end what they do where each of these letters in their block is zero."""


def code_text(word: Word) -> str:
    """Return a G or M word in its shortest form."""
    whole, _, places = word.text.lstrip("+-").partition(".")
    places = places.rstrip("0")
    return f"{word.letter}{whole.lstrip('0') or '0'}{'.' * bool(places)}{places}"


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
        self.places_of_calls = [p for p, number in places.items() if number is not None]
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
            if _MAY_CALL.search(text) and (number := self.call_in(text)) is not None:
                numbers.add(number)
        return numbers

    def call_in(self, text: str) -> int | None:
        """Return the number of the program that a block calls; None where it calls none."""
        written = words_of(text, self.dialect).upper()
        words = _WORD.findall(written)
        calls = {*_CALLS, *_MODAL_CALLS, self.dialect.codes.subprogram_call}
        by_word = any(code_text(Word(*w)) in calls for w in words if w[0] in "GM")
        if not by_word and "CALL" not in written and not _ONE_CALL.fullmatch(written):
            return None
        named = _NAMED if by_word else reversed(_NAMED)  # L2 P1201, but L1201 P2
        found = next(filter(None, (pattern.search(written) for pattern in named)), None)
        if found is None:
            return None
        number = int(found[1])
        known = number in self.by_number or number < _REPEATED
        return number if known else number % _REPEATED

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
            if self.places_of_calls and _MAY_CALL.search(text):
                self.note_call(text, modes)
            if not _PLAIN.fullmatch(text) and modes.take(number, text) == "calls":
                self.call(number, text, modes, depth)
            elif modes.returned and depth:
                modes.returned = False
                return

    def call(self, line: int, text: str, modes: _Modes, depth: int) -> None:
        number = self.call_in(text)
        program = self.by_number.get(number) if number is not None else None
        if number is None:  # worked out by the program: it may be any
            for place in self.places_of_calls:
                self.note(place, modes)
        self.calls += 1
        if program is None or depth >= MOST_DEPTH or self.calls > MOST_CALLS:
            modes.lose(line, f"{plain(text, _SHOWN)} runs what is not in this text")
        else:
            self.run(program, modes, depth + 1)

    def note_call(self, text: str, modes: _Modes) -> None:
        """Note what is in force where a block calls a piece, whether it runs or not."""
        number = self.call_in(text)
        for place in self.places_of_calls:
            if self.places[place] == number:
                self.note(place, modes)

    def note(self, place: int, modes: _Modes) -> None:
        entry = modes.entry()
        if entry not in self.found[place]:
            self.found[place].append(entry)


class _Modes:
    """Takes the blocks of other tools one by one."""

    def __init__(self, dialect: Dialect) -> None:
        self.dialect = dialect
        self.state = State()
        self.lasting: dict[str, Lasting] = {}
        self.unseen: tuple[int, str] | None = None
        self.selected: int | None = None
        self.returned = False
        kinds = kinds_of(dialect)
        self.datum = next(kind for kind in kinds if kind.kind == "datum")
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
            self.lose(line, f"{plain(written, _SHOWN)} may go elsewhere in the program")
            return ""
        if _COMPUTED.search(written) or not written.isascii():
            self.lose(line, f"{plain(written, _SHOWN)} may be any word")
            return ""
        if self.dialect.spaces_anywhere:
            written = re.sub(r"[ \t]", "", written)
        words = tuple(Word(*pair) for pair in _WORD.findall(written) if pair[0] != "N")
        codes = [code_text(word) for word in words if word.letter in "GM"]
        calls = (*_CALLS, self.dialect.codes.subprogram_call)
        if any(code in calls for code in codes) or _ONE_CALL.fullmatch(written):
            return "calls"
        before = self.state
        self._last(line, written, words, codes)
        if words:
            self._set(words, codes)
        if written[0] == "/":  # the operator may skip it: only what both ways leave is known
            pairs = zip(before, self.state, strict=True)
            self.state = State._make([one if one == other else None for one, other in pairs])
        return ""

    def _last(self, line: int, written: str, words: tuple[Word, ...], codes: list[str]) -> None:
        """Take words that last though the reader gives them no meaning."""
        letters = _letters(written)
        variable = system_variable(written, self.dialect)
        if variable is not None:
            self.lasting[DATUM_SET.kind] = DATUM_SET.lasting(line, variable)
        zeros = {word.letter for word in words if not word.value}
        for code in codes:
            for kind, ends in self.ended_by:
                if code in ends:
                    self.lasting.pop(kind, None)
            named = letters & _OFF_BY_ZERO.get(code, set())
            if (named or code == "G52") and named <= zeros:
                self.lasting.pop(self.meaning_of[code].kind, None)
                continue
            known = self.meaning_of.get(code)
            if code in self.datum.ends.split() and "P" in letters:
                known = self.datum  # one of the further datums, as some controls have them
            if code in ("G50", "G92"):
                known = self.preset(code, letters)
            if known is not None and (known.kind == "datum" or not self._is_own(code, letters)):
                self.lasting[known.kind] = known.lasting(line, code)

    def preset(self, code: str, letters: set[str]) -> Kind | None:
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


def _letters(written: str) -> set[str]:
    """Return the letters of a block's words, of those too that the program works out."""
    count = 1
    while count:
        written, count = _BRACKETS.subn("#0", written)
    return set(_ADDRESS.findall(written))


def _set_by(act: Orders) -> set[str]:
    return {State._fields[place] for place, _ in act.changes}
