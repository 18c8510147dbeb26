"""``knurlcam dialect check``: all that is wrong with a dialect, and a program in it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from knurlcam.cli.options import AsJson, Posts, ShopFile
from knurlcam.cli.output import errors_reported, print_json, print_text
from knurlcam.errors import InputError, nearest
from knurlcam.text import plain

if TYPE_CHECKING:
    from knurlcam.dialect_check import DialectCheck, Trial
    from knurlcam.job.model import Job

__all__ = ["check"]


def check(
    place: Annotated[
        Path,
        typer.Argument(
            metavar="DIR/NAME", help="The dialect's folder, or its name.", show_default=False
        ),
    ],
    jobs: Annotated[
        list[Path] | None,
        typer.Option(
            "--job",
            metavar="JOB",
            help="Job to write in it instead of the samples; may be given several times.",
        ),
    ] = None,
    posts: Posts = None,
    shop: ShopFile = None,
    as_json: AsJson = False,
) -> None:
    """All that is wrong with a dialect at once; then programs in it.

    Where its files are right, each sample job is written in the dialect, read back and
    verified, and one program is shown. What the dialect has no words for is listed. Exit
    status 1: programs do not verify; 2: the dialect's files are broken.
    """
    with errors_reported(as_json=as_json):
        from knurlcam.dialect_check import check_dialect, sample_jobs, sound_dialect

        dialect = sound_dialect(_folder(place, posts, shop))
        made = check_dialect(dialect, _own_jobs(jobs, shop) if jobs else sample_jobs())
        if as_json:
            print_json(_data(made))
        else:
            print_text(_report(made))
    if not made.is_sound:
        raise typer.Exit(1)


def _own_jobs(jobs: Sequence[Path], shop: Path | None) -> dict[str, Job]:
    from knurlcam.job.model import Job

    return {str(file): Job.load(file, shop) for file in jobs}


def _folder(place: Path, posts: Sequence[Path] | None, shop: Path | None) -> Path:
    """Return the folder of the dialect that was named, by its place or by its name."""
    from knurlcam.cli.own_dialects import posts_here
    from knurlcam.gcode.dialect_files import TRAITS, dialect_names

    if place.is_dir():
        return place
    if place.name == TRAITS.name:
        return place.parent
    known = dialect_names(posts_here(posts, shop))
    if str(place) in known:
        return known[str(place)]
    beside = place.parent
    names = [p.parent.name for p in sorted(beside.glob(f"*/{TRAITS.name}"))]
    raise InputError(
        "is not the folder of a dialect",
        where=str(place),
        expected="a folder with dialect.toml in it, or the name of a dialect",
        remedy=nearest(place.name, names or known),
    )


def _data(made: DialectCheck) -> dict[str, Any]:
    return {
        "name": made.dialect.name,
        "folder": str(made.dialect.folder),
        "sound": made.is_sound,
        "programs": [{"job": t.what, **_trial_data(t)} for t in made.programs],
        "abilities": [{"what": t.what, **_trial_data(t)} for t in made.abilities],
        "shown": {"what": made.shown.what, "text": made.shown.text},
    }


def _trial_data(trial: Trial) -> dict[str, Any]:
    findings = [asdict(finding) for finding in trial.findings]
    return {"verdict": trial.verdict, "problem": trial.problem, "findings": findings}


# -- for people ----------------------------------------------------------------


def _report(made: DialectCheck) -> str:
    verdict = "sound" if made.is_sound else "NOT SOUND"
    return "\n".join([f"{made.dialect.name}: {verdict}", *_lines(made)]) + "\n"


def _lines(made: DialectCheck) -> Iterator[str]:
    verified = sum(t.verdict == "verified" for t in made.programs)
    yield f"{verified} of {len(made.programs)} programs written, read back and verified"
    can = [t.what for t in made.abilities if t.verdict == "verified"]
    if can:
        yield f"verified as well: {', '.join(can)}"
    tried = (*made.programs, *made.abilities)
    for trial in tried:
        if trial.verdict == "cannot be written":
            yield f"cannot be written: {trial.what}: {trial.problem}"
    unproven = [t.what for t in tried if t.verdict == "does not verify"]
    if unproven:
        yield f"does not verify: {', '.join(unproven)}"
    yield from _program(made)
    if made.is_sound:
        yield PROVE_OUT


MOST_FINDINGS = 20
"""Findings of the program that is shown: more than anyone reads before correcting the first."""


def _program(made: DialectCheck) -> Iterator[str]:
    """Yield the program that is shown, and above it what is wrong in it, if anything is."""
    trial = made.shown
    if trial.text is None:
        return
    lines = trial.text.splitlines()
    yield f"\nthe program of {trial.what}:"
    for finding in trial.findings[:MOST_FINDINGS]:
        words = plain(lines[finding.line - 1], 80) if finding.line <= len(lines) else ""
        yield f"  line {finding.line}, {words}: {plain(finding.message, 600)} ({finding.code})"
    yield f"\n{trial.text}"


PROVE_OUT = (
    "Read it word by word beside the control's manual, and prove it out: nothing here can see\n"
    "what the control makes of its words."
)
