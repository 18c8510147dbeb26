"""What a dialect's traits must not say, though each of them alone has the right form.

The traits decide how a program is read back. A dialect may come from a stranger, so they may
neither contradict each other nor make the reader pass over what a control would run: such a
program would verify, and crash.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.faults import Fault
from knurlcam.gcode.word_rules import faults_of_words

__all__ = ["Fault", "faults_of"]


def faults_of(dialect: Dialect) -> Iterator[Fault]:
    """Yield what is wrong with the traits of a dialect, contradictions first."""
    yield from _contradictions(dialect)
    yield from faults_of_words(dialect)
    yield from _frame(dialect)
    yield from _comments(dialect)
    yield from _title(dialect)


# -- traits that contradict each other -----------------------------------------


def _contradictions(dialect: Dialect) -> Iterator[Fault]:
    """Yield what the writer could not write or the reader not tell apart."""
    if dialect.name != dialect.folder.name:
        yield Fault(
            "name",
            None,
            f"{dialect.name!r} is not the folder's name",
            repr(dialect.folder.name),
        )
    codes = dialect.codes
    mode = "feed_per_rev" if dialect.feed == "per revolution" else "feed_per_min"
    if getattr(codes, mode) is None:
        yield Fault(
            f"codes.{mode}", None, f"there is no word for a feed {dialect.feed}", "its code"
        )
    if dialect.increments == "codes" and codes.absolute is None:
        yield Fault("codes.absolute", None, "there is no word for absolute distances", "its code")
    if dialect.tool_call == "station and change" and None in (
        codes.tool_change,
        codes.offset_on,
        codes.offset_off,
    ):
        yield Fault(
            "codes.tool_change",
            None,
            "the tool call needs three words",
            "tool_change, offset_on and offset_off",
        )
    yield from _reference(dialect)
    if not dialect.start and not dialect.end:
        yield Fault(
            "start",
            None,
            "a program would have neither a start nor an end mark",
            "at least one line",
        )
    longest = dialect.comment_length + len(dialect.comment_open + dialect.comment_close)
    if longest > dialect.line_length:
        yield Fault(
            "comment_length",
            None,
            f"a comment of {longest} characters with its marks does not fit on a line",
            f"at most {dialect.line_length} with the marks (line_length)",
        )
    if dialect.numbers == "least increments" and dialect.dwell_unit == "s":
        yield Fault("dwell_unit", None, "whole numbers cannot hold a dwell in seconds", "ms")
    yield from _digits(dialect)
    yield from _numbering(dialect)


def _reference(dialect: Dialect) -> Iterator[Fault]:
    """Yield a reference return that cannot be said, or that goes two ways at once."""
    before, after = dialect.reference_before_tool, dialect.safe_return == "reference point"
    if dialect.codes.reference_return is None and (before or after):
        what = "the safe return" if after else "the return before the tool call"
        yield Fault("codes.reference_return", None, f"{what} has no word", "its code")
    if before and dialect.reference_axes == "all":
        yield Fault(
            "reference_before_tool",
            True,
            "a return of all axes at once goes askew from a place that is not known",
            'false, or reference_axes = "named": X is retracted first',
        )
    if dialect.increments == "codes" and dialect.codes.incremental is None and (before or after):
        yield Fault(
            "codes.incremental",
            None,
            "there is no word for increments, in which a reference return is written",
            "its code",
        )


def _numbering(dialect: Dialect) -> Iterator[Fault]:
    if dialect.numbering != "none" and dialect.first_number > dialect.highest_number:
        yield Fault(
            "first_number",
            dialect.first_number,
            "is above the highest number",
            f"{dialect.highest_number} or less (highest_number)",
        )
    if dialect.highest_program < 10 ** (dialect.number_digits - 1):
        yield Fault(
            "number_digits",
            dialect.number_digits,
            f"no program number up to {dialect.highest_program} has so many digits",
            "fewer digits, or a higher highest_program",
        )


LEAST_WHOLE_DIGITS = 3
"""Digits before the point that every control has room for: a lathe is longer than 99 mm."""


def _digits(dialect: Dialect) -> Iterator[Fault]:
    """Yield too few digits for the decimal places."""
    most, places = (
        dialect.most_digits,
        max(
            dialect.length_places_mm,
            dialect.length_places_inch,
            dialect.feed_places_mm,
            dialect.feed_places_inch,
        ),
    )
    if most and most < places + LEAST_WHOLE_DIGITS:
        yield Fault(
            "most_digits",
            most,
            f"leaves fewer than {LEAST_WHOLE_DIGITS} digits before {places} decimal places",
            f"{places + LEAST_WHOLE_DIGITS} or more, or 0 for any number of digits",
        )


# -- lines before and after the blocks -----------------------------------------

MOST_FRAME_LINES = 8

_FRAME_LINES = {
    # at the start: a tape mark, a program number, or a name with the number in it
    "start": r"%|[%O:]\{number\}|%_N_[A-Z_]{0,20}\{number\}_(?:MPF|SPF)",
    # at the end, where no number is put in
    "end": r"%",
}
"""Lines that are no blocks. They are not read, so they must hold nothing that a control could
run; and the reader compares them without spaces and in capitals."""


def _frame(dialect: Dialect) -> Iterator[Fault]:
    """Yield lines of the frame that hold more than a frame."""
    for key, lines in (
        ("start", dialect.start),
        ("subprogram_start", dialect.subprogram_start or ()),
        ("end", dialect.end),
    ):
        kind = "end" if key == "end" else "start"
        expected = "% or a comment without spaces in capitals"
        if kind == "start":
            expected = "%, %{number}, O{number}, :{number}, %_N_{number}_MPF" + expected[1:]
        if len(lines) > MOST_FRAME_LINES:
            yield Fault(key, len(lines), "has too many lines", f"at most {MOST_FRAME_LINES} lines")
        yield from _names(dialect, key, lines)
        for whole in lines:
            line = whole if key == "end" else _without_name(dialect, whole)
            if (line or not whole) and not (
                re.fullmatch(_FRAME_LINES[kind], line) or _is_comment(dialect, line)
            ):
                yield Fault(
                    key,
                    whole,
                    "is written unchanged and not read as a block: a control may run it",
                    expected,
                )


def _without_name(dialect: Dialect, line: str) -> str:
    """Return a start line without the comment that holds the part's name, if it ends with it."""
    bare = line.removesuffix(f"{dialect.comment_open}{{name}}{dialect.comment_close}")
    return bare if bare == line else bare.removesuffix(" ")


def _names(dialect: Dialect, key: str, lines: tuple[str, ...]) -> Iterator[Fault]:
    """Yield a name twice, or on a line of its own before another: a reader looks for it last."""
    named = [i for i, line in enumerate(lines) if "{name}" in line]
    alone = [i for i in named if not _without_name(dialect, lines[i])]
    if len(named) > 1 or (alone and alone[0] != len(lines) - 1):
        yield Fault(
            key,
            lines[named[0]],
            "stands twice, or before a line that is looked for",
            "{name} once, on the number's line or on the last one",
        )


def _is_comment(dialect: Dialect, line: str) -> bool:
    mark, close = dialect.comment_open, dialect.comment_close
    inside = line[len(mark) : len(line) - len(close)]
    return (
        len(line) <= dialect.line_length
        and line == f"{mark}{inside}{close}"
        and dialect.comment_set.issuperset(inside)
        and " " not in inside
        and inside == inside.upper()
    )


# -- comments and title --------------------------------------------------------

COMMENT_MARKS = (("(", ")"), (";", ""))
"""Marks before and after a comment: parentheses are those of ISO 6983-1, the semicolon up to
the line's end is common practice. What stands in marks that a control does not know is run."""


def _comments(dialect: Dialect) -> Iterator[Fault]:
    """Yield marks that could hide words, and characters that could end a comment."""
    marks = dialect.comment_open, dialect.comment_close
    if marks not in COMMENT_MARKS:
        yield Fault(
            "comment_open",
            " ".join(marks).strip(),
            "are not known comment marks: a control could run the words between them, "
            "which are not checked",
            " or ".join(f"{a!r} with {b!r}" for a, b in COMMENT_MARKS)
            + " (comment_open and comment_close)",
        )
    no = "%" + "".join(marks)
    wrong = [c for c in dialect.comment_characters if not " " <= c <= "~" or c in no]
    if wrong:
        yield Fault(
            "comment_characters",
            wrong[0],
            "could end a comment or the program, or is not known to controls",
            "printable ASCII characters without the comment's marks and %",
        )


def _title(dialect: Dialect) -> Iterator[Fault]:
    if not dialect.title.isprintable():
        yield Fault("title", dialect.title, "holds control characters", "printable characters")
