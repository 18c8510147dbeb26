"""A text judged as what it is: a program as a whole, or the pieces that stand in a part program.

Sections, subprograms and blocks to paste are found by their own comments, and judged in the state
in which the program enters them. The other blocks are not judged, and counted.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.frame import start_number
from knurlcam.gcode.jumps import jump_into
from knurlcam.gcode.marks import IDENTITY_MARK, Form
from knurlcam.gcode.motion import Motion
from knurlcam.gcode.outside import Entry, entries
from knurlcam.gcode.pieces import Piece, Source, comment_of, find_pieces, words_of
from knurlcam.gcode.read import read_program
from knurlcam.gcode.tokens import alone, numbered_lines
from knurlcam.job.identity import with_check_digits
from knurlcam.plan.model import Plan
from knurlcam.verification.entry import check_entry, check_jumps, say_not_closed
from knurlcam.verification.findings import Finding, Verification, ordered
from knurlcam.verification.report import Report

__all__ = ["Judged", "judge_text"]


MOST_PIECES = 40
"""Pieces of one part program, which has a few: a text of more is judged as one program, and is not
a clean one, for none of them starts or ends it."""


class Judged(NamedTuple):
    """What was judged of a text.

    Attributes:
        motion: What was read of the program, or of its first piece that is this job's.
        text: The text of that, its lines where they stand in the whole.
        verification: What was found in all of it.
    """

    motion: Motion
    text: str
    verification: Verification


Verify = Callable[[Motion, str, Plan, Form | None], Verification]
"""Verifies what was read of one program, or of one piece."""


def judge_text(
    text: str, plan: Plan, dialect: Dialect, form: Form | None, verify: Verify
) -> Judged:
    """Judge a text against a plan.

    Args:
        text: A program, or a part program with pieces of this and other jobs in it.
        plan: The plan of the job that it should carry out.
        dialect: Its dialect.
        form: What it is, or what is looked for in it; None to take from its own comments.
        verify: Verifies each piece.
    """
    lines, unread = numbered_lines(text, dialect.line_length)
    # Of a text that is too long to be read nothing is said but that.
    pieces = [] if form == "program" or unread else _pieces(lines, dialect, form)
    if not pieces:
        motion = read_program(text, dialect)
        return Judged(motion, text, verify(motion, text, plan, form))
    ours = _of_job(pieces, plan.job.identity)
    ways = entries(lines, dialect, {piece.first: _called_as(piece) for piece in pieces})
    judge = _Judge(plan, dialect, verify, lines)
    judged = [
        judge.judge(alone(text, *_line_numbers(lines, piece)), piece, way)
        for piece, way in zip(pieces, ways, strict=True)
        if piece in ours
    ]
    found = dict.fromkeys(f for one in judged for f in one.verification.findings)
    if form is None and all(piece.closed for piece in pieces):  # else that is the finding
        found.update(dict.fromkeys(_without_marks(lines, pieces, plan.job.identity, dialect)))
    whole = replace(
        judged[0].verification,
        findings=ordered(found),
        judged_lines=tuple(_line_numbers(lines, piece) for piece in ours),
        not_judged_blocks=_blocks_outside(lines, ours, dialect),
    )
    return judged[0]._replace(verification=whole)


def _without_marks(
    lines: Source, pieces: Iterable[Piece], identity: str, dialect: Dialect
) -> Iterator[Finding]:
    """Find the job's own comment outside of all pieces: a knurl of which the marks are gone.

    Its blocks would be counted as another tool's.
    """
    inside = {place for piece in pieces for place in range(piece.first, piece.last + 1)}
    for place, (line, text) in enumerate(lines):
        if place in inside or identity not in text:
            continue
        if comment_of(text, dialect) == IDENTITY_MARK + identity:
            message = "the comment of this job stands outside of what is found by its comments"
            yield Finding("error", "section-not-closed", None, line, message)


def _pieces(lines: Source, dialect: Dialect, form: Form | None) -> list[Piece]:
    """Return the pieces of a part program; none where the text is one of them and nothing else.

    A text of blocks or a subprogram alone is judged with what stands around it: a start or an end
    is then an error in it.
    """
    found = [piece for piece in find_pieces(lines, dialect) if form in (None, piece.form)]
    if len(found) > MOST_PIECES:
        return []
    if len(found) == 1 and _is_alone(lines, found[0], dialect):
        return []
    return found


def _is_alone(lines: Source, piece: Piece, dialect: Dialect) -> bool:
    if piece.form == "section":
        return False
    before, after = lines[: piece.first], lines[piece.last + 1 :]
    if piece.form == "blocks":
        around = [*before, *(after if piece.closed else [])]
        return not any(_runs(text, dialect) for _, text in around)
    others = [text for _, text in after if start_number(text, dialect) is not None]
    return not others and not any(_runs(text, dialect) for _, text in before)


def _runs(text: str, dialect: Dialect) -> bool:
    """Whether a line is a block, and not only the end of a program."""
    words = words_of(text, dialect)
    return _is_block(words, dialect) and any(letter in words.upper() for letter in "GTXZUWS")


def _is_block(words: str, dialect: Dialect) -> bool:
    return bool(words) and words != "%" and start_number(words, dialect) is None


def _of_job(pieces: list[Piece], identity: str) -> list[Piece]:
    """Return the pieces of a job; all where none is: then each is a finding, as it must be.

    One that names no job, or that with a typing error in it, may be this one's.
    """
    ours = [p for p in pieces if p.identity in (None, identity) or _is_mistyped(p.identity)]
    return ours or pieces


def _is_mistyped(identity: str | None) -> bool:
    return identity is not None and identity != with_check_digits(identity[:10])


def _called_as(piece: Piece) -> int | None:
    return piece.number if piece.form == "subprogram" else None


class _Judge(NamedTuple):
    """Judges pieces against a plan."""

    plan: Plan
    dialect: Dialect
    verify: Verify
    lines: Source

    def judge(self, text: str, piece: Piece, ways: Sequence[Entry | None]) -> Judged:
        """Judge a piece in each state in which the program enters it."""
        report = Report(self.plan.job.units)
        if not piece.closed:
            motion = read_program(text, self.dialect)
            say_not_closed(motion, piece, report)
            found = Verification(self.dialect.name, piece.form, tuple(report.findings))
            return Judged(motion, text, found)
        # What the text nowhere leads to, such as a subprogram that it does not call, is judged
        # as it is alone.
        judged = [self.judge_way(text, piece, entry) for entry in ways or [None]]
        findings = dict.fromkeys(f for one in judged for f in one.verification.findings)
        first = judged[0]
        check_jumps(first.motion, jump_into(self.lines, piece, self.dialect), report)
        findings.update(dict.fromkeys(report.findings))
        return first._replace(verification=replace(first.verification, findings=ordered(findings)))

    def judge_way(self, text: str, piece: Piece, entry: Entry | None) -> Judged:
        """Judge a piece in one state."""
        state = None if entry is None else entry.state
        if state is not None and piece.form != "blocks":
            # It calls its own tool before it goes in: which one stood there before is no matter.
            state = state._replace(station=None, offset=None)
        motion = read_program(text, self.dialect, entry=state)
        result = self.verify(motion, text, self.plan, piece.form)
        if entry is None:
            return Judged(motion, text, result)
        report = Report(self.plan.job.units)
        check_entry(motion, entry, report)
        findings = ordered((*report.findings, *result.findings))
        return Judged(motion, text, replace(result, findings=findings))


def _line_numbers(lines: Source, piece: Piece) -> tuple[int, int]:
    return lines[piece.first][0], lines[piece.last][0]


def _blocks_outside(lines: Source, pieces: Iterable[Piece], dialect: Dialect) -> int:
    inside = {place for piece in pieces for place in range(piece.first, piece.last + 1)}
    return sum(
        place not in inside and _is_block(words_of(text, dialect), dialect)
        for place, (_, text) in enumerate(lines)
    )
