"""Text to words: lines, comments taken out, letters and numbers told apart.

What cannot be a word is reported here; what a word means is said in
:mod:`knurlcam.gcode.words`.
"""

from __future__ import annotations

import re
import unicodedata
from typing import NamedTuple

from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.motion import Word
from knurlcam.gcode.numbers import Faults

__all__ = [
    "MOST_LINES",
    "Tokens",
    "alone",
    "check_comment",
    "hidden_character",
    "line_with_a_lone_return",
    "numbered_lines",
    "split_line",
    "without_comments",
    "without_spaces",
]

MOST_LINES = 200_000
"""Lines of a text that are read: more than any knurling program has, for a text without end
must not take time without end."""

_WORD = re.compile(r"([A-Z])[ \t]*([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+))")
_SPACES = re.compile(r"[ \t]+")
_LINE_END = re.compile(r"\r\r?\n|\r|\n")
"""What ends a line on a control; Python knows of more, which a control takes for text. A transfer
that puts a carriage return before each line feed doubles those that are there: a control that
ends a block at the first of the two finds nothing before the next."""

_LONE_RETURN = re.compile(r"\r(?!\r?\n)")

_OBEYED = re.compile(
    r"[ \t]*(?:(M\s*S\s*G|PRINT|DEBUG|LOG|PROBE)[ \t]*,|((?:LOG|PROBE)(?:OPEN|APPEND|CLOSE))\b)",
    re.I,
)
"""The beginning of a comment that is more than one for some controls: NISTIR 6556, 3.3.4, has
``MSG,``, with white space in it too; the others, which print, log and write files, are common
practice."""


class Tokens(NamedTuple):
    """A line taken apart.

    Attributes:
        number: Its N word, or None.
        words: The other words, in order.
        comment: Its comments, joined; None without any.
        skip: Whether a slash stands before it.
    """

    number: int | None
    words: tuple[Word, ...]
    comment: str | None
    skip: bool


def numbered_lines(text: str, longest: int) -> tuple[list[tuple[int, str]], bool]:
    """Return the lines that are not blank with their numbers, and whether more follow unread.

    Spaces at the ends of a line count for a control: those of a line longer than it takes stay.
    """
    pieces = _LINE_END.split(text, MOST_LINES) if "\r" in text else text.split("\n", MOST_LINES)
    unread = pieces.pop() if len(pieces) > MOST_LINES else ""
    lines = [
        (i, p if len(p) > longest else t)
        for i, p in enumerate(pieces, start=1)
        if (t := p.strip(" \t"))
    ]
    return lines, bool(unread.strip())


def alone(text: str, first: int, last: int) -> str:
    """Return some lines of a text, blank lines for those before them: their numbers stay."""
    starts = [0, *(end.end() for end in _LINE_END.finditer(text)), len(text)]
    return "\n" * (first - 1) + text[starts[first - 1] : starts[last]]


def line_with_a_lone_return(text: str) -> int | None:
    """Return the number of the first line that a carriage return alone ends; None without one."""
    lone = _LONE_RETURN.search(text)
    return None if lone is None else 1 + len(_LINE_END.findall(text, 0, lone.start()))


def without_spaces(text: str) -> str:
    """Return a text without its spaces and tabs."""
    return _SPACES.sub("", text)


def without_comments(text: str, dialect: Dialect, faults: Faults) -> tuple[str, list[str]]:
    """Take comments out of a line, and return them; nested and unclosed ones are faults."""
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
            faults.append(("comment-nested", "a comment is inside another comment"))
        comments.append(inside)
        rest = after
    if close and close in rest:
        faults.append(("comment-nested", "a comment is closed but was not opened"))
        rest = rest.replace(close, " ")
    # A line's end, which no line holds: a comment must not join the digits on its two sides.
    return "\n".join([*pieces, rest]), comments


def check_comment(comment: str, faults: Faults) -> None:
    """Report what a control may not pass over in a comment.

    Args:
        comment: The comment, without its marks.
        faults: What is wrong with it is added to it.
    """
    if "%" in comment:
        faults.append(
            ("comment-character", "% stands in a comment: for many controls it ends the program")
        )
    alien = None if comment.isascii() else next(filter(_is_seen_and_alien, comment), None)
    if alien is not None:
        # Without its eighth bit U+00A9, for one, is a closing parenthesis.
        faults.append(
            (
                "comment-character",
                f"{alien!r} (U+{ord(alien):04X}) stands in a comment: with seven bits a character "
                "it becomes another one, which may close the comment",
            )
        )
    obeyed = _OBEYED.match(comment)
    if obeyed is not None:
        word = "".join((obeyed[1] or obeyed[2]).split()).upper()
        faults.append(
            (
                "comment-obeyed",
                f"a comment that begins with {word} is more than a comment: a control may show, "
                "print, log or carry out what it says",
            )
        )


def _is_seen_and_alien(character: str) -> bool:
    """Whether it is no ASCII character; one that is not seen is a finding of its own."""
    return not character.isascii() and hidden_character(character) is None


def hidden_character(text: str) -> str | None:
    """Return a character that a person does not see and a control might; None without one."""
    return next((c for c in text if not (c.isprintable() or _is_space(c))), None)


def _is_space(character: str) -> bool:
    """Whether it is a tab, or one of the spaces that a keyboard or an editor puts in a comment."""
    return character == "\t" or unicodedata.category(character) == "Zs"


def split_line(text: str, dialect: Dialect, faults: Faults) -> Tokens:
    """Split a line into block number, words, comment and slash.

    Args:
        text: The line, not blank.
        dialect: By whose marks and spaces it is read.
        faults: What is wrong with the line is added to it.
    """
    mark, close = dialect.comment_open, dialect.comment_close
    rest, comment = text, None
    if mark in text or (close and close in text):
        rest, comments = without_comments(text, dialect, faults)
        for one in comments:
            check_comment(one, faults)
        comment = " ".join(comments)
    rest, skip = _without_slash(_in_capitals(rest, faults), dialect, faults)
    pairs = _pairs(rest, dialect, faults)
    number = None
    if pairs and pairs[0][0] == "N":
        digits = pairs.pop(0)[1]
        number = int(digits.partition(".")[0].lstrip("+-") or 0)
        if not digits.isdigit():
            faults.append(("unknown-word", f"N{digits} is not a block number"))
    return Tokens(number, tuple(map(Word._make, pairs)), comment, skip)


def _in_capitals(rest: str, faults: Faults) -> str:
    if not rest.isascii():
        # Before capitals are made: those of some letters are words, such as S of a long s.
        alien = next(c for c in rest if not c.isascii())
        faults.append(("unknown-word", f"{alien!r} is not allowed in a word"))
        rest = "".join([c if c.isascii() else " " for c in rest])
    return rest.upper()


def _without_slash(rest: str, dialect: Dialect, faults: Faults) -> tuple[str, bool]:
    if not ("/" in rest and rest.lstrip().startswith("/")):
        return rest, False
    if not dialect.block_skip:
        faults.append(("unknown-word", "this dialect has no block delete (a slash before a block)"))
    return rest.replace("/", "", 1), True


def _pairs(rest: str, dialect: Dialect, faults: Faults) -> list[tuple[str, str]]:
    """Return the letters and numbers of a line without comments; report what is neither."""
    packed = rest.replace(" ", "").replace("\t", "")
    written = packed if dialect.spaces_anywhere else rest
    pairs: list[tuple[str, str]] = _WORD.findall(written)
    found = "".join(map("".join, pairs))
    if found != packed:
        left = _WORD.sub(" ", written).split()
        shown = left[0][:20] if left else packed[:20]
        if left or found != "".join(rest.split()):
            faults.append(("unknown-word", f"{shown!r} is not a word of this dialect"))
    return pairs
