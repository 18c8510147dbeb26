"""The lines of a dialect that were read, kept for when they come again.

Programs repeat their lines, and a family's programs each other's above all. Keeping what a line
says by itself is worth 60 % of the time of reading a family (measured: 50 programs of one job
file, each with another diameter), which is why there is state here that a reader could do
without.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from functools import lru_cache, partial

from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.motion import Block, Word
from knurlcam.gcode.numbers import NO_FAULTS, Faults, has_too_many_digits
from knurlcam.gcode.tokens import check_comment, hidden_character, split_line
from knurlcam.gcode.words import Orders, PlainMove, act_of

__all__ = ["Line", "LineCache", "block_at", "line_cache"]

MOST_LINES_KEPT = 4096
"""Lines of a dialect that are kept: those of some dozen programs; then the next ones are."""

_NUMBER = r"([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+))"
_PLAIN_MOVE = re.compile(
    rf"(?:N([0-9]+) )?(G[0-9]+)(?= )(?: X{_NUMBER})?(?: Z{_NUMBER})?(?: F{_NUMBER})?"
)
"""A motion block as writers write it."""

_new_word = partial(tuple.__new__, Word)
_new_block = partial(tuple.__new__, Block)
"""From a tuple of all fields, in half the time: nothing is checked or filled in anyway."""


class Line:
    """What a line says by itself, whatever was in force before it.

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
        faults: Sequence[tuple[str, str]] = NO_FAULTS,
        word_faults: Sequence[tuple[str, str]] = NO_FAULTS,
        act: PlainMove | Orders | None = None,
    ) -> None:
        self.block, self.runs, self.act = block, runs, act
        self.faults, self.word_faults = faults, word_faults
        flawless = not (faults or word_faults or block.skip)
        self.move = act if flawless and type(act) is PlainMove else None


class LineCache:
    """The lines of one dialect that were read.

    Attributes:
        kept: Lines by their text; a comment and nothing else is kept as its block alone.
    """

    __slots__ = ("close", "dialect", "kept", "mark")

    def __init__(self, dialect: Dialect) -> None:
        self.dialect = dialect
        self.mark, self.close = dialect.comment_open, dialect.comment_close
        self.kept: dict[str, Block | Line] = {}

    def read(self, number: int, text: str) -> Block | Line:
        """Read a line that is not among those kept, and keep it."""
        line: Block | Line | None = None
        if len(text) <= self.dialect.line_length and text.isprintable():
            line = self.whole_comment(number, text) or self.plain_move(number, text)
        if line is None:
            line = _read_line(self.dialect, number, text)
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
        faults: Faults = []
        check_comment(inside, faults)
        if faults:
            return None
        return _new_block((number, None, (), inside, False, text))

    def plain_move(self, place: int, text: str) -> Line | None:
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
        if any(has_too_many_digits(self.dialect, word.text) for word in words):
            return None
        n = None if number is None else int(number)
        block = _new_block((place, n, tuple(words), None, False, text))
        return Line(block, True, act=PlainMove(self.dialect, known[0], x, z, feed))


line_cache = lru_cache(maxsize=16)(LineCache)
"""Return the cache of a dialect, the same one each time."""


def block_at(block: Block, number: int) -> Block:
    """Return a block as it stands on another line."""
    return _new_block((number, *block[1:]))


def _read_line(dialect: Dialect, place: int, text: str) -> Line:
    """Read any line: its words, what they mean, and what is wrong with them."""
    faults: Faults = []
    if len(text) > dialect.line_length:
        # A line of any length must not take any time: it is not looked at further.
        most = dialect.line_length
        faults.append(
            ("line-too-long", f"{len(text)} characters on a line, the control takes at most {most}")
        )
        return Line(Block(place, None, (), None, False, text), False, faults)
    hidden = hidden_character(text)
    if hidden is not None:
        name = unicodedata.name(hidden, "control character")
        faults.append(
            (
                "unreadable-character",
                f"U+{ord(hidden):04X} {name} is on this line and is invisible",
            )
        )
    number, words, comment, skip = split_line(text, dialect, faults)
    block = Block(place, number, words, comment, skip, text)
    if not words:
        return Line(block, number is not None, faults)
    word_faults: Faults = []
    act = act_of(dialect, words, word_faults)
    return Line(block, True, faults, word_faults, act)
