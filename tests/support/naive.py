"""A deliberately naive interpreter of program texts, which shares nothing with the package.

It goes through a text word by word, keeps what is in force and tells what happens by calling
methods that a subclass overrides: :meth:`Naive.moved`, :meth:`Naive.dwelt` and so on. It knows
no job and no plan, only the words of the dialects, stated anew. What no control is sure to
understand is no motion but :class:`NotUnderstoodError`; where controls differ and nothing grave
hangs on it, :meth:`Naive.doubted` is called. Of several orders in which a control may act it takes
the least favourable: a feed before the units and the feed mode says nothing, nor does a speed
before the speed mode, and a stop ends spindle and coolant.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple

HOME = math.inf
"""An axis at the reference point: further out than any number in a program."""

ISO = {
    "G00": "rapid", "G01": "feed", "G04": "dwell", "G71": "mm", "G70": "inch",
    "G90": "absolute", "G91": "increments", "G95": "a turn", "G94": "a minute",
    "G97": "speed", "G96": "surface",
}  # fmt: skip
LATHE = {
    "G00": "rapid", "G01": "feed", "G04": "dwell", "G21": "mm", "G20": "inch",
    "G99": "a turn", "G98": "a minute", "G97": "speed", "G96": "surface",
    "G50": "limit", "G28": "reference",
}  # fmt: skip
RS274 = {
    "G00": "rapid", "G01": "feed", "G04": "dwell", "G21": "mm", "G20": "inch",
    "G90": "absolute", "G91": "increments", "G94": "a minute", "G43": "offset on",
    "G49": "offset off", "G28": "reference",
}  # fmt: skip
TURNING = RS274 | {
    "G95": "a turn", "G97": "speed", "G96": "surface",
    "G07": "diameters", "G08": "radii",
}  # fmt: skip
G_WORDS = {
    "iso6983": ISO, "iso6983-integer": ISO, "uw-lathe": LATHE,
    "rs274": RS274, "rs274-turning": TURNING,
}  # fmt: skip
NIST = ("rs274", "rs274-turning")
"""Dialects of NISTIR 6556."""
M_WORDS = {
    "M00": "stop", "M01": "stop", "M02": "end", "M30": "end", "M03": "forward",
    "M04": "reverse", "M05": "off", "M08": "wet", "M09": "dry",
}  # fmt: skip
NOTHING = ("G18", "G40", "G61")
"""Words that change nothing on a lathe without cutter radius compensation; G61 is NISTIR 6556's."""
EARLY = ("G54", "G80")
"""... and that change nothing before any motion: later they may move an origin or end a cycle."""

SHIFT_OFF = ("G92.1", "G92.2")
"""NISTIR 6556, 3.5.18: a shift by G92 is taken back; early, too."""

GROUPS = {
    "motion": ("rapid", "feed"), "units": ("mm", "inch"),
    "distance": ("absolute", "increments"), "feeds": ("a turn", "a minute"),
    "speeds": ("speed", "surface"), "spindle": ("forward", "reverse", "off"),
    "coolant": ("wet", "dry"), "xs": ("diameters", "radii"),
}  # fmt: skip
"""What is in force until a word of the same group comes."""

ONE_OF = [
    *map(set, GROUPS.values()), {"stop", "end"}, {"dwell", "limit", "reference", *SHIFT_OFF},
    {"offset on", "offset off"},
    {"dwell", "rapid"}, {"dwell", "feed"},
    {"reference", "rapid"}, {"reference", "feed"}, {"limit", "speed"}, {"limit", "surface"},
]  # fmt: skip
LETTERS = {post: "XZFSTPH" + ("UW" if post == "uw-lathe" else "") for post in G_WORDS}
"""Of words that have a value."""
M_IN_A_BLOCK = dict.fromkeys(NIST, 4)
"""NISTIR 6556, 3.3.5; elsewhere a block has one M word: of several some controls take the last."""

DIGITS = dict.fromkeys(NIST, 99)
"""NISTIR 6556, 3.3.2.1, says of no number that it is too long; elsewhere eight digits are usual."""

NOT_WHILE_MOVING = {"stop", "end", "forward", "reverse", "off", "change", "limit"}

WHOLE_MILLISECONDS = ("uw-lathe", "iso6983-integer")
LONGEST_LINE = dict.fromkeys(NIST, 256)
USUAL_LINE = 80
HIGHEST_N = dict.fromkeys(NIST, 99999)
WORD = re.compile(r"[ \v]*([A-Z]) *([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+))")


SECTION_MARKS = tuple(
    rf"(N *[0-9]+ *)?\( *{words} *\)" for words in ("KNURLING SECTION", "END KNURLING SECTION")
)


class NotUnderstoodError(Exception):
    """A text of which nobody knows what a control makes."""


@dataclass
class State:
    """What is in force; None where the text has not said it yet.

    ``feed`` is in mm a turn or a minute, as ``feeds`` says.
    """

    motion: str | None = None
    units: str | None = None
    distance: str | None = None
    feeds: str | None = None
    speeds: str | None = None
    spindle: str = "off"
    coolant: str = "dry"
    station: int | None = None
    offset: int | None = None
    rpm: float | None = None
    feed: float | None = None
    limit: float | None = None
    xs: str | None = None


class Said(NamedTuple):
    """What a line says by itself, whatever is in force."""

    comments: tuple[str, ...]
    slash: bool
    number: int | None
    does: tuple[str, ...]
    values: Mapping[str, str]
    stop: str = ""


@lru_cache(maxsize=20_000)
def say(post: str, form: str, line: str) -> Said:
    """Take a line to its words.

    Raises:
        NotUnderstoodError: if they are none, or contradict each other.
    """
    comments = tuple(re.findall(r"\(([^()]*)\)", line))
    for comment in comments:
        if "%" in comment or not comment.isascii():
            # A percent sign ends the tape anywhere; on a line of seven bits an eighth one is lost.
            raise NotUnderstoodError("a character in a comment")
    # A comment ends a word: what stands behind it belongs to no letter before it.
    block = re.sub(r"\([^()]*\)", "\v", line).replace("\t", " ").strip()
    if "(" in block or ")" in block:
        raise NotUnderstoodError("comment")
    if not block.isascii():
        raise NotUnderstoodError(block)
    slash = block.startswith("/")
    words = _words(post, block[slash:].upper())
    number = None
    if words and words[0][0] == "N":
        text = words.pop(0)[1]
        if not text.isdigit():
            raise NotUnderstoodError(f"N{text}")
        number = int(text)
    if post in NIST:  # a G or M word is a number close to a whole one
        words = [(a, re.sub(r"\.0*$", "", text) if a in "GM" else text) for a, text in words]
    does: list[str] = []
    values: dict[str, str] = {}
    for letter, text in words:
        if sum(map(str.isdigit, text)) > DIGITS.get(post, 8):
            raise NotUnderstoodError(f"too many digits in {letter}{text}")
        if letter in "GM":
            does.append(_code(post, form, letter, text))
        elif letter in values or letter not in LETTERS[post]:
            raise NotUnderstoodError(letter)
        elif letter in "STH" and not text.isdigit() and not _is_speed(post, letter, text):
            raise NotUnderstoodError(letter + text)
        else:
            values[letter] = text
    if sum(letter == "M" for letter, _ in words) > M_IN_A_BLOCK.get(post, 1):
        raise NotUnderstoodError("M words")
    if "increments" in does and "dwell" in does and "X" in values:
        raise NotUnderstoodError("G91 and G04 want the same X")
    _contradictions(post, does, values)
    optional = any(letter == "M" and int(text) == 1 for letter, text in words)
    stop = ("M01" if optional else "M00") if "stop" in does else ""
    return Said(comments, slash, number, tuple(does), values, stop)


def _is_speed(post: str, letter: str, text: str) -> bool:
    """Tell whether it is an S with a point; NISTIR 6556, 3.7.2 (from memory), takes places, too."""
    if letter != "S" or post == "iso6983-integer":
        return False
    return text.removesuffix(".").isdigit() or (post in NIST and text.replace(".", "", 1).isdigit())


def _words(post: str, block: str) -> list[tuple[str, str]]:
    if post in NIST:
        block = block.replace(" ", "")
    if WORD.sub("", block).strip():
        raise NotUnderstoodError(block)
    return WORD.findall(block)


def _code(post: str, form: str, letter: str, text: str) -> str:
    if post in NIST and letter + text in SHIFT_OFF:
        return letter + text
    if not text.isdigit():
        raise NotUnderstoodError(letter + text)
    word = f"{letter}{int(text):02d}"
    if word == "G61" and post not in NIST:
        raise NotUnderstoodError(word)
    if word in NOTHING or word in EARLY:
        return word
    if word == "M06" and post in NIST:
        return "change"
    if word == "M99" and form in ("subprogram", "any") and post not in NIST:
        return "end"
    if word in ("M02", "M30") and form not in ("program", "any"):
        raise NotUnderstoodError(word)
    table = G_WORDS[post] if letter == "G" else M_WORDS
    if word not in table:
        raise NotUnderstoodError(word)
    return table[word]


def _axes(values: Mapping[str, str]) -> list[str]:
    return [a for a in "XZUW" if a in values]


def _contradictions(post: str, does: list[str], values: Mapping[str, str]) -> None:
    if any(len(group & set(does)) > 1 for group in ONE_OF):
        raise NotUnderstoodError("contradiction")
    axes = _axes(values)
    if "dwell" in does:
        _dwell_words(post, values, axes)
    elif "P" in values:
        raise NotUnderstoodError("P")
    elif axes and (NOT_WHILE_MOVING & set(does) or "T" in values):
        raise NotUnderstoodError("in a block that moves")
    if ("H" in values) != ("offset on" in does):
        raise NotUnderstoodError("H")
    if "limit" in does and "S" not in values:
        raise NotUnderstoodError("limit")
    if post in NIST and {"rapid", "feed"} & set(does) and not axes:
        raise NotUnderstoodError("no axis")
    if {"X", "U"} <= values.keys() or {"Z", "W"} <= values.keys():
        raise NotUnderstoodError("twice")


def _dwell_words(post: str, values: Mapping[str, str], axes: list[str]) -> None:
    address = "X" if post == "iso6983" else "P"
    others = set(axes) | ({"F", "P"} & values.keys())
    if address not in values or others - {address}:
        raise NotUnderstoodError("dwell")
    pointed = "." in values[address]
    if pointed if post in WHOLE_MILLISECONDS else post == "iso6983" and not pointed:
        raise NotUnderstoodError("dwell")


class Naive:
    """Carries a text out, word by word.

    X is on the diameter and everything in mm, whatever the text says. An axis is None as long
    as nobody knows where it stands, and HOME at the reference point.

    Args:
        post: One of the dialects that are shipped.
        number: The program's number.
        form: ``program``, ``section``, ``subprogram`` or ``blocks``; ``any`` takes the end of
            each.
        skip: Whether blocks with a slash are skipped.
    """

    def __init__(
        self, post: str, number: int, form: str = "program", *, skip: bool = False
    ) -> None:
        self.post, self.number, self.form, self.skip = post, number, form, skip
        self.state = State()
        self.x: float | None = None
        self.z: float | None = None
        self.last_n = -1
        self.numbers_rise = True
        self.after_end = False
        self.slashes = False
        self.has_moved = False
        self.stated: set[str] = set()
        """What stands before the first motion"""
        self.selected: str | None = None
        """T of a dialect that changes the tool by another word"""
        self.just_selected = False

    # -- what a subclass may want to know ---------------------------------------------

    def commented(self, text: str) -> None:
        """Take a comment, without its marks."""

    def doubted(self, what: str) -> None:
        """Take what some controls do and others do not."""

    def state_set(self, before: State) -> None:
        """See what a block may have set; it comes before its motion, dwell or stop."""

    def limited(self, rpm: float) -> None:
        """See a speed limit word."""

    def called(self) -> None:
        """See a tool or an offset called or cancelled, though it be the one in force."""

    def moved(
        self, kind: str, x0: float | None, z0: float | None, x1: float | None, z1: float | None
    ) -> None:
        """See a move: ``rapid``, ``feed`` or ``reference``; also one of no length."""

    def dwelt(self, seconds: float) -> None:
        """See a dwell."""

    def stopped(self, word: str) -> None:
        """See a stop, M00 or M01."""

    def ended(self) -> None:
        """See the end, of the program or of the blocks."""

    # -- text -------------------------------------------------------------------------

    def run(self, text: str) -> None:
        """Carry a text out.

        Raises:
            NotUnderstoodError: if nobody knows what a control makes of it.
        """
        ended = False
        for line in self.framed(self.lines(text)):
            if ended:
                self.after_end = True
                continue
            ended = self.line(line)
        if not ended and self.form not in ("blocks", "section"):
            raise NotUnderstoodError("no end")
        self.ended()

    def lines(self, text: str) -> list[str]:
        """Return the lines that are not blank; only a new line ends a line."""
        found = []
        for line in re.sub(r"\r?\r\n", "\n", text).split("\n"):
            if not line.isascii() or not line.isprintable():
                self.readable(line)
            stripped = line.strip(" \t")
            if len(stripped) > LONGEST_LINE.get(self.post, USUAL_LINE):
                raise NotUnderstoodError("line too long")
            if stripped:
                found.append(stripped)
        return found

    def readable(self, line: str) -> None:
        for letter in line:
            if letter != "\t" and unicodedata.category(letter) in ("Cc", "Cf", "Zl", "Zp"):
                raise NotUnderstoodError(f"character U+{ord(letter):04X}")

    def framed(self, lines: list[str]) -> list[str]:
        """Take off what begins and ends the text."""
        if self.form == "blocks":
            return lines
        if self.form == "section":
            return self.section(lines)
        start = {"uw-lathe": ["%", f"O{self.number:04d}"], **{post: ["%"] for post in NIST}}
        first = start.get(self.post, [f"%{self.number}"])
        lines = self.behind_leader(lines)
        if self.post in start and "%" not in lines:
            first = first[1:]  # keyed in: the marks are those of a tape
        if [line.upper() for line in lines[: len(first)]] != first:
            raise NotUnderstoodError("start")
        lines = lines[len(first) :]
        if "%" in first:
            if "%" not in lines:
                raise NotUnderstoodError("end")
            at = lines.index("%")
            self.after_end = at + 1 < len(lines)
            lines = lines[:at]
        return lines

    def section(self, lines: list[str]) -> list[str]:
        """Take what stands between the two comments of a section; before it other tools run."""
        first, last = (
            [i for i, line in enumerate(lines) if re.fullmatch(mark, line.upper())]
            for mark in SECTION_MARKS
        )
        if len(first) != 1 or len(last) != 1 or last < first:
            raise NotUnderstoodError("the comments of the section")
        before = Naive(self.post, self.number, "any")
        for line in lines[: first[0]]:
            before.line(line)
        if first[0]:
            self.enter(before.state)
        return lines[first[0] : last[0] + 1]

    def enter(self, before: State) -> None:
        """Take what other tools leave in force; a section calls tool, spindle and coolant."""
        self.state = replace(
            before, station=None, offset=None, spindle="off", coolant="dry", feed=None
        )

    def behind_leader(self, lines: list[str]) -> list[str]:
        """Take off the comments before the first mark, which controls of ISO 6983 pass over."""
        is_comment = [re.fullmatch(r"\([ -$&'*-~]*\)", line) is not None for line in lines]
        leader = is_comment.index(False) if False in is_comment else 0
        if self.post in NIST or not lines or not lines[leader].startswith("%"):
            return lines
        for line in lines[:leader]:
            self.commented(line[1:-1])
        return lines[leader:]

    def line(self, line: str) -> bool:
        """Carry a line out; True at the end."""
        said = say(self.post, self.form, line)
        for comment in said.comments:
            self.commented(comment)
        self.slashes |= said.slash
        if said.slash and self.skip:
            return False
        if said.number is not None:
            self.count(said.number)
        does, values = said.does, said.values
        if {*EARLY, *SHIFT_OFF} & set(does) and (self.has_moved or _axes(values)):
            self.doubted("G54 or G80 after motion")
        if not self.has_moved:
            self.stated.update(does)
        if does or not values.keys() <= set("XZUW"):
            self.set(does, values)
        if "dwell" in does:
            self.dwell(values)
        elif "reference" in does:
            self.reference(values)
        elif _axes(values):
            self.move(values)
        if said.stop:
            self.stopped(said.stop)
            self.ended_by_stop(said.stop)
        return "end" in does

    def ended_by_stop(self, word: str) -> None:
        """End spindle and coolant, as controls may at M00 and M01."""
        self.state.spindle, self.state.coolant = "off", "dry"

    def count(self, number: int) -> None:
        if not self.last_n < number <= HIGHEST_N.get(self.post, 9999):
            self.numbers_rise = False
        self.last_n = number

    # -- what is in force --------------------------------------------------------------

    def number_mm(self, letter: str, text: str) -> float:
        """Return what a length or a feed means in mm."""
        value = float(text)
        if self.post == "iso6983-integer":
            if "." in text:
                raise NotUnderstoodError(f"point in {letter}{text}")
            value /= 1e4 if self.state.units == "inch" else 1e3
        elif self.post not in NIST and "." not in text and value != 0:
            raise NotUnderstoodError(f"no point in {letter}{text}")
        return value * 25.4 if self.state.units == "inch" else value

    def set(self, does: tuple[str, ...], values: Mapping[str, str]) -> None:
        before, state = replace(self.state), self.state
        for name, words in GROUPS.items():
            for word in words:
                if word in does:
                    setattr(state, name, word)
        feed = self.number_mm("F", values["F"]) if "F" in values else None
        if "change" in does and "T" not in values:
            if self.selected is None:
                raise NotUnderstoodError("T")
            if not self.just_selected:
                self.doubted("M06 with a tool that was chosen long before")
        self.just_selected = "T" in values
        if "change" in does and not {"forward", "reverse", "off"} & set(does):
            state.spindle = "off"  # NISTIR 6556, 3.6.3
        if feed is not None and before.units not in (None, state.units):
            # By NISTIR 6556, Table 8, F comes before the units of its block; not on all controls.
            raise NotUnderstoodError("F beside other units")
        if feed is not None and before.units is None and state.units:
            self.doubted("F in the block of the first units")
        elif feed is not None and feed >= 0 and None in (state.units, state.feeds):
            feed = self.unheard("feed", feed)
        if before.feeds not in (None, state.feeds):
            state.feed = None
        if before.speeds not in (None, state.speeds):
            state.rpm = None
        if "offset off" in does:
            state.offset = 0
        if feed is not None:
            state.feed = feed
            if feed < 0:
                raise NotUnderstoodError("F below nothing")
        if "S" in values:
            if "limit" in does:
                state.limit = float(values["S"])
                self.limited(state.limit)
            else:
                state.rpm = self.speed(float(values["S"]))
        if "H" in values:
            state.offset = int(values["H"])
        calls = "change" in does or ("T" in values and self.post not in NIST)
        self.selected = values.get("T", self.selected)
        if calls:
            assert self.selected is not None
            self.tool(self.selected)
        if calls or {"offset on", "offset off"} & set(does):
            self.called()
        self.state_set(before)

    def unheard(self, what: str, value: float) -> float | None:
        """Return what remains of a word that comes before those that give it a meaning."""
        return None

    def speed(self, rpm: float) -> float | None:
        known = self.post == "rs274" or self.state.speeds
        return rpm if known else self.unheard("speed", rpm)

    def tool(self, text: str) -> None:
        if self.post in NIST:
            self.state.station = int(text)
            return
        text = text.zfill(4) if self.post == "uw-lathe" and len(text) == 3 else text
        if len(text) != 4:
            raise NotUnderstoodError("T" + text)
        self.state.station, self.state.offset = int(text[:2]), int(text[2:])

    # -- what happens ------------------------------------------------------------------

    def dwell(self, values: Mapping[str, str]) -> None:
        seconds = float(values["X" if self.post == "iso6983" else "P"])
        if seconds < 0:
            raise NotUnderstoodError("dwell")
        self.dwelt(seconds / 1000 if self.post in WHOLE_MILLISECONDS else seconds)

    def target(self, values: Mapping[str, str]) -> tuple[float | None, float | None]:
        """Return where the words of a block lead; increments lead nowhere from nowhere."""
        radii = self.post == "rs274" or self.state.xs == "radii"
        factor = 2.0 if radii else 1.0
        places = []
        for place, absolute, increment in ((self.x, "X", "U"), (self.z, "Z", "W")):
            by_word = increment
            if self.state.distance == "increments" and absolute in values:
                by_word = absolute
            if by_word in values:
                if place is not None:
                    scale = factor if absolute == "X" else 1.0
                    place += self.number_mm(by_word, values[by_word]) * scale
            elif absolute in values:
                place = self.number_mm(absolute, values[absolute])
                place *= factor if absolute == "X" else 1.0
            places.append(place)
        return places[0], places[1]

    def move(self, values: Mapping[str, str]) -> None:
        if self.state.motion is None:
            raise NotUnderstoodError("no G00 or G01")
        self.go(self.state.motion, *self.target(values))

    def go(self, kind: str, x: float | None, z: float | None) -> None:
        x0, z0 = self.x, self.z
        self.x, self.z = x, z
        self.has_moved = True
        self.moved(kind, x0, z0, x, z)

    def reference(self, values: Mapping[str, str]) -> None:
        """Go to the reference point by way of the point that the words name."""
        axes = set("XZ" if self.post in NIST else _axes(values))  # NISTIR 6556, 3.5.8
        if not axes:
            raise NotUnderstoodError("reference")
        x, z = self.target(values)
        if (x, z) != (self.x, self.z):
            self.go("rapid", x, z)
        self.go("reference", HOME if axes & {"X", "U"} else x, HOME if axes & {"Z", "W"} else z)
