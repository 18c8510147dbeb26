"""Findings of the program and notes of the plan, worst first."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import NamedTuple

from knurlcam.gcode.motion import Motion
from knurlcam.plan.model import Plan
from knurlcam.plan.remarks import Note
from knurlcam.verification.findings import Verification

__all__ = ["Entry", "findings_and_notes", "severity_of"]

SEVERITIES = ("error", "accepted", "warning", "note")
"""From the worst to the least; a refusal that the job accepts stands behind the errors."""

MOST_OF_A_KIND = 3
"""Findings of one code that are shown one by one; the others are counted."""


class Entry(NamedTuple):
    """A finding or a note.

    Attributes:
        severity: ``error``, ``accepted``, ``warning`` or ``note``.
        where: Its block, in words; empty for a note on the plan.
        message: What it is.
        code: Of its rule or note.
        block: Place of the block, or None.
    """

    severity: str
    where: str
    message: str
    code: str
    block: int | None


def findings_and_notes(plan: Plan, result: Verification, motion: Motion) -> tuple[Entry, ...]:
    """Return findings and notes, worst first.

    Of one severity, what happens at the work comes before what is wrong with the text, and
    the first few of a code stand for all of it.
    """
    found = [*_findings(result, motion), *map(_note, plan.notes)]
    return tuple(sorted(found, key=lambda r: SEVERITIES.index(r.severity)))


def severity_of(note: Note) -> str:
    """Return a note's severity on the page: what would be refused was accepted."""
    return "accepted" if note.severity == "error" else note.severity


def _findings(result: Verification, motion: Motion) -> Iterator[Entry]:
    place = {block.line: i for i, block in enumerate(motion.blocks)}
    text_codes = {p.code for p in motion.problems}
    kinds = Counter((f.severity, f.code) for f in result.findings)
    shown: Counter[tuple[str, str]] = Counter()
    # A crash must not stand behind ninety unknown words.
    for f in sorted(result.findings, key=lambda f: f.code in text_codes):
        kind = (f.severity, f.code)
        shown[kind] += 1
        if shown[kind] > MOST_OF_A_KIND:
            continue
        where = f"N{f.block}, line {f.line}" if f.block is not None else f"line {f.line}"
        left = kinds[kind] - MOST_OF_A_KIND
        message = f.message
        if shown[kind] == MOST_OF_A_KIND and left > 0:
            message += f" (and {left} more of this kind)"
        yield Entry(f.severity, where, message, f.code, place.get(f.line))


def _note(note: Note) -> Entry:
    return Entry(severity_of(note), "", f"{note.message} ({note.source})", note.code, None)
