"""Programs: written, read back, and verified or withheld.

No program leaves the package on the writer's word. What was written is read back as a control
would read it, and held against the plan; what does not verify is not returned. To be verified
is not to be proved out: that is done at the machine.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path as FilePath
from typing import NamedTuple

from knurlcam.errors import KnurlcamError
from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.dialect_files import load_dialect
from knurlcam.gcode.marks import Form
from knurlcam.gcode.motion import End, Motion
from knurlcam.gcode.read import read_program
from knurlcam.gcode.write import write_texts
from knurlcam.path import Path, lay_out
from knurlcam.plan.model import Plan
from knurlcam.plan.planner import is_untouched, make_plan
from knurlcam.text import plain
from knurlcam.verification.findings import Finding, Verification
from knurlcam.verification.verify import check_motions, judge, verify_motion

__all__ = [
    "ReadProgram",
    "UnprovenProgramError",
    "VerifiedProgram",
    "read_and_verify",
    "write_program",
    "write_programs",
    "write_verified",
]


class UnprovenProgramError(KnurlcamError, ValueError):
    """A program that was written does not verify, and is withheld (exit status 2).

    With the dialects of the package this does not happen; with a shop's own template or
    traits it says what is wrong with them.

    Attributes:
        verification: What was found.
        text: The text that is withheld.
        where: The dialect's folder.
    """

    def __init__(self, verification: Verification, text: str, where: str) -> None:
        self.verification = verification
        self.text = text
        self.where = where
        lines = text.splitlines()
        found = [
            f"  line {f.line} ({plain(lines[f.line - 1], 80) if f.line <= len(lines) else ''}): "
            f"{plain(f.message, 600)} [{f.code}]"
            for f in verification.findings
            if f.severity == "error"
        ]
        super().__init__(
            f"{where}: the program does not verify and is not written; correct the dialect's "
            "template or traits:\n" + "\n".join(found[:10])
        )


def write_program(
    path: Path,
    post: str | Dialect = "iso6983",
    *,
    form: Form = "program",
    posts: Iterable[str | FilePath] = (),
) -> str:
    """Write a path as a program, read it back and verify it against its job.

    Args:
        path: The steps.
        post: The dialect, by name or loaded.
        form: ``program``, ``section``, ``subprogram`` or ``blocks``.
        posts: Folders of a shop's own dialects; those of the jobs' shop files come after them.

    Returns:
        The program text, which verifies.

    Raises:
        UnprovenProgramError: rather than return a text that does not verify.
        InputError: if the dialect is unknown or broken or lacks a word.
    """
    return write_programs([path], post, form=form, posts=posts)[0]


def write_programs(
    paths: Iterable[Path],
    post: str | Dialect = "iso6983",
    *,
    form: Form = "program",
    posts: Iterable[str | FilePath] = (),
) -> list[str]:
    """Write paths as programs, read each back and verify it against its own job.

    As :func:`write_program` for each, but stage by stage: a processor is through sooner
    that way, for a stage's code and tables stay at hand. Some 50 at a time are enough.

    Args:
        paths: The steps of each program.
        post: The dialect, by name or loaded.
        form: ``program``, ``section``, ``subprogram`` or ``blocks``.
        posts: Folders of a shop's own dialects; those of the jobs' shop files come after them.

    Returns:
        The program texts in the order of the paths, each of which verifies.

    Raises:
        UnprovenProgramError: for the first text that does not verify; none is returned.
        InputError: if the dialect is unknown or broken or lacks a word.
    """
    return [one.text for one in write_verified(paths, post, form=form, posts=posts)]


class ReadProgram(NamedTuple):
    """A program that was read and verified, clean or not.

    Attributes:
        text: The program; of a part program the first piece that is the job's, its lines where
            they stand in the whole.
        motion: What was read from it.
        verification: What was found.
    """

    text: str
    motion: Motion
    verification: Verification


def read_and_verify(
    plan: Plan, text: str | None, dialect: Dialect, form: Form | None = None
) -> ReadProgram:
    """Read and verify a program, whatever is wrong with it; write the plan's own without one.

    Args:
        plan: The plan of its job.
        text: The program, wherever it comes from; None to write one.
        dialect: Its dialect.
        form: What the text is; None to take from its own comment, else a program.

    Raises:
        UnprovenProgramError: if the plan's own program does not verify.
        InputError: if the dialect lacks a word.
    """
    if text is None:
        text = write_program(lay_out(plan), dialect, form=form or "program")
    judged = judge(text, plan, dialect, form)
    return ReadProgram(judged.text, judged.motion, judged.verification)


class VerifiedProgram(NamedTuple):
    """A program that was read back and verified.

    Attributes:
        text: The program.
        verification: Its findings: warnings at most.
    """

    text: str
    verification: Verification


def write_verified(
    paths: Iterable[Path],
    post: str | Dialect = "iso6983",
    *,
    form: Form = "program",
    posts: Iterable[str | FilePath] = (),
) -> list[VerifiedProgram]:
    """Return what :func:`write_programs` does, each text with its verification."""
    paths = list(paths)
    own = dict.fromkeys(folder for path in paths for folder in path.plan.job.posts)
    dialect = load_dialect(post, (*posts, *own))
    # Stage by stage over all paths, not program by program: a stage's code and tables stay at hand.
    texts = write_texts(paths, dialect, form)
    motions = [read_program(text, dialect) for text in texts]
    # A plan that was changed on the way is made again: a wrong figure in it would verify itself.
    plans = [p.plan if is_untouched(p.plan) else make_plan(p.plan.job) for p in paths]
    results = check_motions(zip(motions, plans, strict=True), form)
    for i, motion in enumerate(motions):
        if motion.slashes:  # of a shop's own template: both ways to run it must be right
            results[i] = verify_motion(motion, texts[i], plans[i], form)
        if results[i].findings and (beyond := _blocks_after_the_end(motion)):
            results[i] = replace(results[i], findings=(*results[i].findings, beyond))
    verified = [VerifiedProgram(text, result) for text, result in zip(texts, results, strict=True)]
    # All or none: a caller who gets texts need not ask which of them verified.
    for text, result in verified:
        if not result.ok:
            raise UnprovenProgramError(result, text, str(dialect.folder))
    return verified


def _blocks_after_the_end(motion: Motion) -> Finding | None:
    """Return an error where blocks, not comments alone, follow the end.

    In a program that somebody edited that is a warning. A program of a shop's own template is
    trusted as a whole, and a control may run what stands there, so it is an error here.
    """
    end = next((e.block.line for e in motion.events if type(e) is End), None)
    if end is None:
        return None
    for block in motion.blocks:
        comment = block.comment is not None and not block.words
        if block.line > end and not comment and block.text not in motion.dialect.end:
            message = "a block stands after the program end, where it is not checked"
            return Finding("error", "after-the-end", block.number, block.line, message)
    return None
