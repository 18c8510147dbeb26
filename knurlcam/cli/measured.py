"""``knurlcam measured``: what was measured on a part, what it means, and kept for the next."""

from __future__ import annotations

import getpass
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from knurlcam.cli.lengths import given_length, length_or_none
from knurlcam.cli.options import AsJson, LogFile, Posts, ShopFile
from knurlcam.cli.output import errors_reported, print_json

if TYPE_CHECKING:
    from knurlcam.measured.answer import Answer
    from knurlcam.records.log import MeasuredLog
    from knurlcam.records.measurement import Measurement
    from knurlcam.units.kinds import Units

__all__ = ["measured"]

_HERE = Path("a job in the present folder")


def measured(
    job: Annotated[
        Path | None,
        typer.Argument(metavar="JOB", help="Job file (TOML) of the part.", show_default=False),
    ] = None,
    blank: Annotated[
        str | None, typer.Option("--blank", metavar="D", help="Blank as it was turned.")
    ] = None,
    crests: Annotated[
        list[str] | None,
        typer.Option(
            "--crests",
            metavar="D",
            help='Diameter over the crests, or several along the knurl: "24.80,24.85,24.90"; '
            "may be repeated.",
        ),
    ] = None,
    program: Annotated[
        Path | None,
        typer.Option(
            "--program",
            metavar="FILE",
            help="Program that made the part; unless given, that of the job's last part.",
        ),
    ] = None,
    root: Annotated[
        str | None, typer.Option("--root", metavar="D", help="Diameter over the roots.")
    ] = None,
    teeth: Annotated[
        int | None, typer.Option("--teeth", metavar="N", min=1, help="Teeth counted.")
    ] = None,
    doubled: Annotated[
        bool | None,
        typer.Option("--doubled/--clean", help="Whether the impression is double."),
    ] = None,
    offset: Annotated[
        str | None,
        typer.Option(
            "--offset", metavar="X", help="X offset in force, on the diameter, negative deeper."
        ),
    ] = None,
    who: Annotated[
        str | None, typer.Option("--who", metavar="NAME", help="Who measured; else the user.")
    ] = None,
    listed: Annotated[bool, typer.Option("--list", help="List what is kept.")] = False,
    export: Annotated[
        Path | None, typer.Option("--export", metavar="FILE", help="Write it as CSV.")
    ] = None,
    plot: Annotated[
        Path | None,
        typer.Option(
            "--plot", metavar="FILE", help="Draw measured against expected growth: .png or .svg."
        ),
    ] = None,
    forget: Annotated[
        int | None, typer.Option("--forget", metavar="ID", help="Take a part out of the log.")
    ] = None,
    posts: Posts = None,
    shop: ShopFile = None,
    log: LogFile = None,
    no_measured: Annotated[
        bool,
        typer.Option(
            "--no-measured", help="Plan by the estimate, and keep nothing: only the answer."
        ),
    ] = False,
    as_json: AsJson = False,
) -> None:
    """What was measured on a part, what it means, and what to change.

    It is kept in measured.sqlite beside the shop file, and later plans with the same rolls,
    material and tool take it. Lengths without a unit are in the job's units.
    """
    with errors_reported(as_json=as_json, job=job):
        of_the_log = listed or export is not None or plot is not None or forget is not None
        if of_the_log and blank is not None:
            raise typer.BadParameter(
                "--list, --export, --plot and --forget are of the log: give them without --blank"
            )
        if job is None or of_the_log:
            _of_the_log(
                _log_of(job or _HERE, shop, log), listed, (export, plot), forget, as_json=as_json
            )
            return
        if blank is None:
            raise typer.BadParameter("give --blank, the diameter as it was turned")
        from knurlcam.files import read_text
        from knurlcam.gcode.dialect_files import load_dialect
        from knurlcam.job.model import Job
        from knurlcam.measured.answer import answer_to
        from knurlcam.measured.made_with import job_as_made, mark_of
        from knurlcam.measured.part import Figures, measurement_of
        from knurlcam.plan.planner import make_plan

        loaded = Job.load(job, shop, measured=False if no_measured else log)
        figures = Figures(
            given_length(blank, "--blank", loaded.units),
            _several(crests, loaded.units),
            teeth,
            doubled,
            length_or_none(root, "--root", loaded.units),
            _signed(offset, loaded.units),
        )
        kept = None if no_measured else _log_of(job, shop, log)
        if kept is not None:
            text = None if program is None else read_text(program, what="a program")
            loaded = job_as_made(loaded, kept.entries(), text, str(program or job))
        plan = make_plan(loaded)
        dialect = load_dialect(loaded.machine.post, (*(posts or ()), *loaded.posts))
        answer = answer_to(plan, figures, radius=dialect.x == "radius")
        number = None
        mark = mark_of(loaded.calibration)
        if kept is not None:
            entry = measurement_of(plan, figures, who=who or _user(), program_identity=mark)
            number = kept.add(entry)
        if as_json:
            print_json({**answer.to_dict(), "id": number})
        else:
            _print_answer(answer, number, mark)


def _log_of(job: Path, shop: Path | None, log: Path | None) -> MeasuredLog:
    """Return the log that is named, or the one beside the shop file."""
    from knurlcam.errors import InputError
    from knurlcam.records.log import MeasuredLog
    from knurlcam.shop.fill import find_shop
    from knurlcam.shop.measured import log_beside

    found = log or log_beside(find_shop(job, shop))
    if found is None:
        raise InputError(
            "no shop file was found, and the log of measured parts stands beside one",
            expected="a shop.toml beside the job or above it, or a log",
            remedy="name one with --log FILE, or give --no-measured to keep nothing",
        )
    return MeasuredLog(found)


def _of_the_log(
    log: MeasuredLog,
    listed: bool,
    files: tuple[Path | None, Path | None],
    forget: int | None,
    *,
    as_json: bool,
) -> None:
    """List, export, draw or forget."""
    export, plot = files
    if not listed and export is None and plot is None and forget is None:
        raise typer.BadParameter("give a JOB with --blank, or --list, --export, --plot or --forget")
    if forget is not None:
        gone = log.forget(forget)
        if not as_json:
            print(f"part {gone.id} ({gone.job_name}, {gone.when_utc[:10]}) is forgotten")
    if export is not None:
        count = log.export_csv(export)
        if not as_json:
            print(f"{export}: {count} parts")
    if plot is not None:
        from knurlcam.measured.plot import write_plot

        write_plot(plot, log.entries())
        if not as_json:
            print(plot)
    if as_json:
        print_json({"parts": [_as_data(entry) for entry in log.entries()]})
    elif listed:
        _print_list(log.entries())


def _as_data(entry: Measurement) -> dict[str, Any]:
    return {**asdict(entry), "share": entry.share}


def _print_list(entries: tuple[Measurement, ...]) -> None:
    from knurlcam.text import harmless

    for one in entries:
        crests = " ".join(f"{crest:.3f}" for crest in one.crests_mm) or "-"
        share = "" if one.share is None else f", growth {one.share:.2f} of the estimate"
        tracked = {True: ", tracks", False: ", does not track", None: ""}[one.tracked]
        line = (
            f"{one.id}: {one.when_utc[:10]} {one.job_name}, {one.material}, {one.roll}: blank "
            f"{one.blank_mm:.3f} mm, crests {crests} mm{share}{tracked}, by {one.who}"
        )
        print(harmless(line))
    print(f"{len(entries)} parts")


def _print_answer(answer: Answer, number: int | None, mark: str) -> None:
    behind = f"with measured parts ({mark})" if mark else "without measured parts"
    print(f"For the program that was made {behind}; name another with --program.")
    print(f"{answer.message[:1].upper()}{answer.message[1:]}. [{answer.code}]")
    for sentence in answer.next:
        print(f"- {sentence}")
    if number is not None:
        print(f"Kept as part {number}; knurlcam measured --forget {number} takes it back.")


def _several(texts: list[str] | None, units: Units) -> tuple[float, ...]:
    """Return lengths that commas or options of their own part [mm]."""
    each = [one.strip() for text in texts or () for one in text.split(",")]
    return tuple(given_length(one, "--crests", units) for one in each)


def _signed(text: str | None, units: Units) -> float:
    """Return a length that may be negative or nothing [mm]."""
    from knurlcam.units.kinds import Kind, QuantityError
    from knurlcam.units.quantities import parse_quantity

    if text is None:
        return 0.0
    try:
        return parse_quantity(text, Kind.LENGTH, units)
    except QuantityError as error:
        raise error.at(key="--offset", value=text) from None


def _user() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):  # a user without a name, as in a container
        return ""
