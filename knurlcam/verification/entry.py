"""The rules of what a part program leaves in force where a section or subprogram of it begins.

Units, distance, feed and speed mode, speed and tool are judged where they are used, as the state
that is read there: what stands before the piece has set them, or it has not. Here is what no state
holds: what moves every place of the knurl, and blocks after which nothing is known.
"""

from __future__ import annotations

from knurlcam.gcode.motion import Motion, Move
from knurlcam.gcode.outside import Entry, code_text
from knurlcam.gcode.pieces import Piece
from knurlcam.verification.report import Report
from knurlcam.verification.text import first_block

__all__ = ["check_entry", "check_jumps", "say_not_closed"]


def check_entry(motion: Motion, entry: Entry, report: Report) -> None:
    """Check what is in force before a piece, at its first line.

    Args:
        motion: The piece.
        entry: What the program leaves in force before it.
        report: Takes the findings.
    """
    stated = _stated_first(motion)
    for left in entry.lasting.values():
        if not stated & left.ends:
            word = " or ".join(sorted(left.ends))
            remedy = f", and {word} is not stated before the first motion" if word else ""
            report.say(
                "entered-shifted",
                first_block(motion),
                f"{left.does} ({left.word} in line {left.line}) is in force here{remedy}",
            )
    if entry.unseen is not None:
        line, what = entry.unseen
        report.say(
            "entered-unknown", first_block(motion), f"what line {line} leaves is unknown ({what})"
        )


def check_jumps(motion: Motion, jump: tuple[int, str] | None, report: Report) -> None:
    """Check that no block around a piece leads into the middle of it.

    Args:
        motion: The piece.
        jump: The line of such a block and its words; None without one.
        report: Takes the findings.
    """
    if jump is not None:
        line, words = jump
        report.say(
            "entered-midway",
            first_block(motion),
            f"line {line} leads to a block number between here and the end ({words[:40]})",
        )


def _stated_first(motion: Motion) -> frozenset[str]:
    """Return the G words that stand before the first motion."""
    first = next((e.block.line for e in motion.events if type(e) is Move), None)
    return frozenset(
        code_text(word)
        for block in motion.blocks
        if first is None or block.line < first
        for word in block.words
        if word.letter == "G" and not block.skip
    )


def say_not_closed(motion: Motion, piece: Piece, report: Report) -> None:
    """Say of a piece that one of the comments by which it is found, or its return, is missing.

    Where it ends is then unknown, and what follows it may be another tool's: it is not judged.
    """
    what = "return" if piece.form == "subprogram" else "comment at its other end"
    report.say(
        "section-not-closed", first_block(motion), f"the {piece.form} has no {what} in this text"
    )
