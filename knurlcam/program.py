"""A program that is proved before anyone sees it: written, read back and checked."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path as FilePath

from knurlcam.checks import Verification, check_motion
from knurlcam.dialect import Dialect, load_dialect
from knurlcam.errors import KnurlcamError
from knurlcam.path import Path
from knurlcam.plan import is_untouched, make_plan
from knurlcam.reader import read_program
from knurlcam.writer import Form, write_text

__all__ = ["UnprovenProgramError", "proven_program", "write_program"]


class UnprovenProgramError(KnurlcamError, ValueError):
    """A program that was written does not verify, and is withheld (exit status 2).

    With the dialects of the package this does not happen; with a shop's own template or
    traits it says what they got wrong.

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
            f"  line {f.line} ({lines[f.line - 1] if f.line <= len(lines) else ''}): "
            f"{f.message} [{f.code}]"
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
    """Write a path as a program, read it back and check it against its job.

    Args:
        path: The steps.
        post: The dialect, by name or loaded.
        form: ``program``, ``subprogram`` or ``blocks``.
        posts: Folders of a shop's own dialects.

    Returns:
        The program text, which verifies.

    Raises:
        UnprovenProgramError: rather than return a text that does not verify.
        InputError: if the dialect is unknown or broken or lacks a word.
    """
    return proven_program(path, post, form=form, posts=posts)[0]


def proven_program(
    path: Path,
    post: str | Dialect = "iso6983",
    *,
    form: Form = "program",
    posts: Iterable[str | FilePath] = (),
) -> tuple[str, Verification]:
    """Return what :func:`write_program` does, and what checking it said."""
    dialect = load_dialect(post, posts)
    text = write_text(path, dialect, form)
    # A plan that somebody changed on the way cannot vouch for itself: the job decides.
    plan = path.plan if is_untouched(path.plan) else make_plan(path.plan.job)
    result = check_motion(read_program(text, dialect), plan, form)
    if not result.ok:
        raise UnprovenProgramError(result, text, str(dialect.folder))
    return text, result
