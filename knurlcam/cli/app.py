"""The commands, thin: each reads, calls the stages and shows what came out.

Exit status: 0 well; 1 a valid job that cannot be done, or findings of severity error;
2 what is not a valid job or program, or wrong usage.
"""

from __future__ import annotations

import enum
import gc
import io
import json
import os
import shlex
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, NamedTuple, NoReturn

import typer

# Plugins that other programs installed for pydantic have no business in this one, and
# looking for them takes as long as planning a job.
os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")

from knurlcam.errors import CannotBeDoneError, InputError, KnurlcamError, nearest
from knurlcam.text import plain, shortened

if TYPE_CHECKING:
    from knurlcam.imprint.make import Imprint
    from knurlcam.imprint.window import Window
    from knurlcam.job.model import Job
    from knurlcam.units.quantities import Units

__all__ = ["app", "main"]

app = typer.Typer(
    name="knurlcam",
    help="From a knurl callout to a proven CNC lathe program.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)


class FormName(enum.StrEnum):
    """What ``--as`` takes."""

    PROGRAM = "program"
    SUBPROGRAM = "subprogram"
    BLOCKS = "blocks"


class UnitName(enum.StrEnum):
    """What ``--units`` takes."""

    MM = "mm"
    INCH = "inch"


JobFile = Annotated[
    Path, typer.Argument(metavar="JOB", help="Job file (TOML).", show_default=False)
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]
Post = Annotated[
    str | None,
    typer.Option("--post", metavar="NAME", help="Dialect of the program; the job's unless given."),
]
Posts = Annotated[
    list[Path] | None,
    typer.Option(
        "--posts",
        metavar="DIR",
        help="Folder of your own dialects, looked through first. May stand several times.",
    ),
]
WrittenAs = Annotated[
    FormName, typer.Option("--as", help="Stand-alone, for the control to call, or to paste.")
]
ReadAs = Annotated[
    FormName | None,
    typer.Option("--as", help="What the program is; told from its own remark unless given."),
]
ShopFile = Annotated[
    Path | None,
    typer.Option(
        "--shop",
        metavar="FILE",
        help="Shop file; else KNURLCAM_SHOP, else shop.toml beside the job or above it.",
    ),
]


def main() -> NoReturn:
    """Run the command line; never show a traceback."""
    # A command is over before there is garbage worth a search through all of its modules.
    gc.set_threshold(100_000, 50, 50)
    _spell_what_can_be()
    try:
        _run()
    finally:
        # ... nor is there at its end, where the search would cost a tenth of its time.
        gc.freeze()


def _spell_what_can_be() -> None:
    """Let a terminal whose encoding has no ± show a question mark; programs and JSON have none."""
    told = sys.stdout
    if not isinstance(told, io.TextIOWrapper):
        return
    # The plain language C lets through the bytes of a file's name, but no other letters.
    only_names = told.errors == "surrogateescape" and not told.encoding.lower().startswith("utf")
    if told.errors == "strict" or only_names:
        told.reconfigure(errors="replace")


def _run() -> NoReturn:
    try:
        app()
    except SystemExit:
        raise
    except KeyboardInterrupt:
        print("knurlcam: interrupted; nothing was written", file=sys.stderr)
        _leave(130)
    except BrokenPipeError:
        # The reader of our output has gone; there is nobody to tell.
        _say_no_more()
        _leave(1)
    except RecursionError:
        print("knurlcam: the input is nested too deeply; nothing was written", file=sys.stderr)
        _leave(2)
    except Exception as error:  # the last door: a fault of ours must not look like one of theirs
        print(
            f"knurlcam: internal error ({type(error).__name__}: {shortened(str(error), 200)}); "
            "nothing was written. Please report it with the job file",
            file=sys.stderr,
        )
        _leave(2)
    _leave(0)


def _say_no_more() -> None:
    """Drop what standard output did not take: at the end it would be tried again."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)


def _leave(status: int) -> NoReturn:
    raise SystemExit(status)


def _put(text: str) -> None:
    """Print what a program or a machine reads: UTF-8 and plain line feeds everywhere.

    Raises:
        InputError: if standard output does not take all of it.
    """
    if sys.stdout is None:
        raise _not_heard("is closed")
    with _heard():
        sys.stdout.flush()
        if hasattr(sys.stdout, "buffer"):
            sys.stdout.buffer.write(text.encode())
        else:
            sys.stdout.write(text)


@contextmanager
def _heard() -> Iterator[None]:
    """Say in a user's words that standard output does not take what is printed."""
    try:
        yield
        if sys.stdout is not None:
            sys.stdout.flush()
    except BrokenPipeError:
        raise
    except OSError as error:
        if error.filename is not None:
            raise  # that is a file
        _say_no_more()
        raise _not_heard(f"cannot be written: {error.strerror}") from None


def _not_heard(problem: str) -> InputError:
    return InputError(
        problem,
        where="standard output",
        expected="a terminal, a pipe or a file with room",
        remedy="send it elsewhere",
    )


def _put_json(data: Any) -> None:
    _put(json.dumps(data, indent=2) + "\n")


@contextmanager
def _told(as_json: bool, where: Path | None = None) -> Iterator[None]:
    """Turn our errors into a message on standard error and an exit status."""
    try:
        with _heard():
            yield
    except KnurlcamError as error:
        if isinstance(error, CannotBeDoneError) and error.where is None and where is not None:
            error = CannotBeDoneError(error.refusals, str(where))
        if as_json:
            with suppress(InputError):  # nobody hears it there; the message is to be seen yet
                _put_json({"error": _error_data(error)})
        print(f"knurlcam: {error}", file=sys.stderr)
        raise typer.Exit(error.exit_status) from None


def _error_data(error: KnurlcamError) -> dict[str, Any]:
    data: dict[str, Any] = {"message": str(error), "status": error.exit_status}
    if isinstance(error, CannotBeDoneError):
        data["refusals"] = [
            {"code": r.code, "key": r.key, "message": r.message, "acceptable": r.acceptable}
            for r in error.refusals
        ]
    problems = getattr(error, "problems", None) or (
        [error] if isinstance(error, InputError) else []
    )
    data["problems"] = [
        {
            "where": p.where,
            "key": p.key,
            "problem": p.problem,
            "value": None if p.value is None else shortened(p.value),
            "expected": p.expected,
            "remedy": p.remedy,
        }
        for p in problems
    ]
    return data


def _load(job: Path, shop: Path | None) -> Job:
    from knurlcam.job.model import Job

    return Job.load(job, shop)


def _review_hint(job: Path) -> str:
    """Return the sentence that tells of the setter's page."""
    page = f"{job.stem}.html"
    return f"See what it does: knurlcam review {shlex.quote(str(job))} -o {shlex.quote(page)}"


def _imprint_hint(job: Path) -> str:
    """Return the sentence that tells of the picture of the knurl."""
    picture = f"{job.stem}.png"
    return f"See the knurl: knurlcam imprint {shlex.quote(str(job))} -o {shlex.quote(picture)}"


@app.command()
def blank(
    callout: Annotated[
        str, typer.Argument(metavar="CALLOUT", help='Such as "DIN 82 RGE 1.0".', show_default=False)
    ],
    diameter: Annotated[
        str,
        typer.Option("--diameter", metavar="D", help='Near this, such as "25 mm" or "1.000 in".'),
    ],
    units: Annotated[
        UnitName | None, typer.Option("--units", help="Of a bare diameter and of the table.")
    ] = None,
    count: Annotated[int, typer.Option("--count", min=1, max=99, help="How many blanks.")] = 5,
    swivelled: Annotated[
        bool, typer.Option("--swivelled", help="Straight rolls turned by the helix angle.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Blanks near a diameter on which the teeth of a callout close."""
    with _told(as_json):
        from knurlcam.job.callout import parse_callout
        from knurlcam.job.geometry import called_geometry
        from knurlcam.mechanics.knurl import blanks_near
        from knurlcam.mechanics.tracking import blank_tolerance

        inch = diameter.rstrip().lower().endswith(("in", "inch", "inches", '"'))
        shown = units.value if units is not None else ("inch" if inch else "mm")
        near = _given_length(diameter, "--diameter", "inch" if shown == "inch" else "mm")
        knurl = called_geometry(parse_callout(callout), swivelled=swivelled)
        found = blanks_near(knurl, near, count)
        tolerance = blank_tolerance(knurl.transverse_pitch_mm, knurl.diametral_pitch)
        if as_json:
            _put_json(_blank_data(knurl, found, tolerance))
            return
        from knurlcam.cli.tables import tell_blanks

        tell_blanks(knurl, found, tolerance, near, shown)


def _blank_data(knurl: Any, found: Any, tolerance: float) -> dict[str, Any]:
    return {
        "knurl": {
            "form": knurl.form,
            "pitch_mm": knurl.pitch_mm,
            "helix_deg": knurl.helix_deg,
            "profile_deg": knurl.profile_deg,
            "callout": knurl.callout,
            "transverse_pitch_mm": knurl.transverse_pitch_mm,
            "full_tooth_height_mm": knurl.full_height_mm,
            "full_growth_mm": knurl.full_growth_mm,
        },
        "candidates": [
            {
                "teeth": c.teeth,
                "blank_diameter_mm": c.blank_diameter_mm,
                "tolerance_mm": tolerance,
                "full_form_diameter_mm": c.knurled_diameter_mm,
            }
            for c in found
        ],
    }


@app.command()
def plan(job: JobFile, shop: ShopFile = None, as_json: AsJson = False) -> None:
    """The plan of a job: what was given, what was recommended and why."""
    with _told(as_json, job):
        from knurlcam.plan.planner import make_plan

        loaded = _load(job, shop)
        made = make_plan(loaded)
        from knurlcam.imprint.window import foretell

        foretold = foretell(made)
        if as_json:
            double = None if foretold is None else foretold.double_impression
            _put_json({**made.to_dict(), "double_impression": double})
            return
        from knurlcam.cli.tables import tell_foretold, tell_plan
        from knurlcam.shop.fill import find_shop

        kept = find_shop(job, shop)
        tell_plan(made, kept.rolls_for(loaded) if kept is not None else ())
        tell_foretold(foretold)
        print(_imprint_hint(job))
        print(_review_hint(job))


@app.command()
def program(
    job: JobFile,
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="FILE", help="File to write; else standard output."),
    ] = None,
    post: Post = None,
    posts: Posts = None,
    form: WrittenAs = FormName.PROGRAM,
    shop: ShopFile = None,
) -> None:
    """The verified program of a job."""
    with _told(False, job):
        from knurlcam.path import lay_out
        from knurlcam.plan.planner import make_plan
        from knurlcam.program import write_program

        loaded = _load(job, shop)
        if output is not None:
            _refuse_to_overwrite(output, job=job)
            _refuse_the_shop_file(output, job, shop)
        made = make_plan(loaded)
        text = write_program(
            lay_out(made), post or loaded.machine.post, form=form.value, posts=posts or ()
        )
        for note in made.notes:
            if note.severity != "note":
                print(f"{note.severity}: {note.message} [{note.code}]", file=sys.stderr)
        if output is None:
            _put(text)
            return
        from knurlcam.files import write_whole

        write_whole(output, text)
        print(
            f"{output}: {len(text.splitlines())} lines, verified\n{_review_hint(job)}",
            file=sys.stderr,
        )


def _refuse_to_overwrite(output: Path, **read: Path | None) -> None:
    """Refuse, before any work is done, what must not be written to, or is read."""
    from knurlcam.files import place_to_write

    place = place_to_write(output)
    for what, path in read.items():
        if path is not None and place.exists() and path.exists() and place.samefile(path):
            raise _in_the_way(output, f"is the {what} file itself")


def _refuse_the_shop_file(output: Path, job: Path, shop: Path | None) -> None:
    from knurlcam.shop.fill import find_shop

    kept = find_shop(job, shop) if output.exists() else None
    if kept is not None and output.samefile(kept.path):
        raise _in_the_way(output, "is the shop file itself")


PAGE_BEGINS = b"<!DOCTYPE html>"


def _refuse_what_is_no_page(output: Path) -> None:
    """Refuse to write a page over a shop file, a program or whatever else is no page."""
    if not output.is_file():
        return
    with output.open("rb") as stream:
        start = stream.read(len(PAGE_BEGINS))
    if start and start != PAGE_BEGINS:
        raise _in_the_way(output, "is there already, and is no page")


MARKED_WITHIN = 512
"""Bytes at the beginning of a file of an imprint among which its mark stands."""


def _refuse_another_kind(output: Path, is_ours: Callable[[bytes], bool]) -> None:
    """Refuse to write over a file that is none of an imprint."""
    if not output.is_file():
        return
    with output.open("rb") as stream:
        start = stream.read(MARKED_WITHIN)
    if start and not is_ours(start):
        raise _in_the_way(output, "is there already, and was not made by this command")


def _in_the_way(output: Path, problem: str) -> InputError:
    return InputError(
        problem,
        where=str(output),
        key="--output",
        expected="another file",
        remedy="choose another name",
    )


@app.command()
def review(
    job: JobFile,
    output: Annotated[
        Path,
        typer.Option("-o", "--output", metavar="FILE.html", help="Page to write."),
    ],
    program: Annotated[
        Path | None,
        typer.Option(
            "--program", metavar="FILE", help="Show this program; else the one of the job."
        ),
    ] = None,
    opened: Annotated[bool, typer.Option("--open", help="Open it in the default browser.")] = False,
    post: Post = None,
    posts: Posts = None,
    form: ReadAs = None,
    shop: ShopFile = None,
) -> None:
    """The setter's page: what the program does, in pictures and tables, to see and to print.

    The page is one file that needs no network. It shows the motion read back from the
    program, and is written even when the program has errors; then the status is 1.
    """
    with _told(False, job):
        from knurlcam.files import read_text, write_whole
        from knurlcam.review import review_page

        loaded = _load(job, shop)
        _refuse_to_overwrite(output, job=job, program=program)
        _refuse_what_is_no_page(output)
        made = review_page(
            loaded,
            None if program is None else read_text(program, what="a program"),
            post,
            form=None if form is None else form.value,
            posts=posts or (),
            name=None if program is None else program.name,
        )
        write_whole(output, made.html)
        errors = sum(f.severity == "error" for f in made.verification.findings)
        verdict = f"NOT SAFE, {errors} error(s)" if errors else "no error"
        told = plain(f"{output}: the setter's page of {program or job}")
        print(f"{told}, {verdict}", file=sys.stderr)
        if opened and not _open_in_browser(output):
            print(f"knurlcam: no browser to open {output} with; open it by hand", file=sys.stderr)
    if not made.verification.ok:
        raise typer.Exit(1)


@app.command()
def imprint(
    job: JobFile,
    output: Annotated[
        Path | None,
        typer.Option(
            "-o",
            "--output",
            metavar="FILE",
            help="File to write: a picture (.png, .svg), the height map (.npz), a solid (.stl).",
        ),
    ] = None,
    program: Annotated[
        Path | None,
        typer.Option(
            "--program", metavar="FILE", help="What this program leaves; else the one of the job."
        ),
    ] = None,
    blank: Annotated[
        str | None,
        typer.Option("--blank", metavar="D", help="On a blank of this diameter; else as planned."),
    ] = None,
    resolution: Annotated[
        str | None,
        typer.Option(
            "--resolution", metavar="R", help="Largest distance of two cells; else a good one."
        ),
    ] = None,
    stiff: Annotated[
        bool, typer.Option("--stiff", help="As if the work did not give way under the rolls.")
    ] = False,
    post: Post = None,
    posts: Posts = None,
    form: ReadAs = None,
    shop: ShopFile = None,
    as_json: AsJson = False,
) -> None:
    """What the rolls leave: the knurl as an estimate, before the first chip.

    Teeth, growth and double impression are measured on a height map that is worked out from
    the motion read back from the program, with the blanks on which it comes out clean. A
    program with errors is shown as well; then the status is 1.
    """
    with _told(as_json, job):
        from knurlcam.files import read_text, write_whole
        from knurlcam.imprint.files import imprint_file, kind_of

        loaded = _load(job, shop)
        if output is not None:
            _refuse_to_overwrite(output, job=job, program=program)
            _refuse_another_kind(output, kind_of(output).is_ours)
        text = None if program is None else read_text(program, what="a program")
        made = _imprint_of(
            loaded,
            text,
            post,
            posts or (),
            None if form is None else form.value,
            program,
            blank_mm=_length_or_none(blank, "--blank", loaded.units),
            resolution_mm=_length_or_none(resolution, "--resolution", loaded.units),
            stiff=stiff,
        )
        content = None if output is None else imprint_file(output, made.imprint, made.window)
        # Told before it is written, so that a full disk or a closed pipe leaves no file behind.
        if as_json:
            from knurlcam.imprint.report import imprint_dict

            data = {**imprint_dict(made.imprint, made.window), "errors": made.errors}
            _put_json(data)
        else:
            from knurlcam.cli.tables import tell_imprint

            with _heard():
                tell_imprint(made.imprint, made.window)
        if output is not None and content is not None:
            write_whole(output, content)
            told = plain(f"{output}: what {program or job}")
            print(f"{told} leaves, an estimate", file=sys.stderr)
        if made.errors:
            print(f"knurlcam: NOT SAFE: {_errors_of(made.errors)}", file=sys.stderr)
    if made.errors:
        raise typer.Exit(1)


def _errors_of(count: int) -> str:
    return f"this program has {count} error{'s' if count > 1 else ''}; knurlcam verify says which"


class _Made(NamedTuple):
    """An imprint, its window, and how many errors verification found in the program."""

    imprint: Imprint
    window: Window
    errors: int


def _imprint_of(
    job: Job,
    text: str | None,
    post: str | None,
    posts: Iterable[Path],
    form: Literal["program", "subprogram", "blocks"] | None,
    program: Path | None,
    *,
    blank_mm: float | None,
    resolution_mm: float | None,
    stiff: bool,
) -> _Made:
    from knurlcam.gcode.dialect import load_dialect
    from knurlcam.imprint.make import make_imprint
    from knurlcam.imprint.window import window_of
    from knurlcam.plan.planner import make_plan
    from knurlcam.program import read_and_verify
    from knurlcam.timeline import time_line

    dialect = load_dialect(post or job.machine.post, posts)
    made = make_plan(job)
    _, motion, verdict = read_and_verify(made, text, dialect, form)
    errors = sum(f.severity == "error" for f in verdict.findings)
    try:
        left = make_imprint(
            made, motion, blank_diameter_mm=blank_mm, resolution_mm=resolution_mm, stiff=stiff
        )
        window = window_of(made, time_line(motion, made), stiff=stiff)
    except CannotBeDoneError as error:
        if not errors:
            raise
        more = [replace(r, message=f"{r.message}; {_errors_of(errors)}") for r in error.refusals]
        raise CannotBeDoneError(more, None if program is None else str(program)) from None
    except InputError as error:
        if error.key != "resolution":
            raise
        raise error.at(key="--resolution") from None
    return _Made(left, window, errors)


def _given_length(text: str, option: str, units: Units) -> float:
    """Return a length that stands on the command line, a bare one in those units."""
    from knurlcam.job.model import MAX_LENGTH_MM
    from knurlcam.units.quantities import Kind, QuantityError, parse_quantity

    try:
        length = parse_quantity(text, Kind.LENGTH, units)
    except QuantityError as error:
        raise error.at(key=option, value=text) from None
    if not 0.0 < length <= MAX_LENGTH_MM:
        raise InputError(
            "is out of range",
            key=option,
            value=text,
            expected=f"more than 0 and at most {MAX_LENGTH_MM:g} mm",
            remedy="correct it",
        )
    return length


def _length_or_none(text: str | None, option: str, units: Units) -> float | None:
    return None if text is None else _given_length(text, option, units)


def _open_in_browser(page: Path) -> bool:
    import webbrowser

    return webbrowser.open(page.resolve().as_uri())


@app.command()
def family(
    job: Annotated[
        Path,
        typer.Argument(metavar="JOB", help="Job that all parts share (TOML).", show_default=False),
    ],
    variants: Annotated[
        Path,
        typer.Argument(
            metavar="VARIANTS",
            help="Table of what differs, a row a part: .csv, .tsv, .xlsx or .jsonl.",
            show_default=False,
        ),
    ],
    output: Annotated[
        Path, typer.Option("-o", "--output", metavar="FOLDER", help="Folder of the programs.")
    ],
    pages: Annotated[
        bool, typer.Option("--review", help="Make a setter's page of each part as well.")
    ] = False,
    resume: Annotated[
        bool, typer.Option("--resume", help="Keep what an earlier run made and nothing changed.")
    ] = False,
    strict: Annotated[
        bool, typer.Option("--strict", help="Make none unless all rows can be made.")
    ] = False,
    force: Annotated[
        bool,
        typer.Option("--force", help="Write also over files that no earlier run made as they are."),
    ] = False,
    workers: Annotated[
        int | None,
        typer.Option(
            "--workers",
            min=1,
            max=256,
            metavar="N",
            help="Processes at work; else the cores there are, fewer for a small table.",
        ),
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="Say nothing but what is wrong.")] = False,
    sheet: Annotated[
        str | None,
        typer.Option("--sheet", metavar="NAME", help="Sheet of a workbook; else the first."),
    ] = None,
    post: Post = None,
    posts: Posts = None,
    form: WrittenAs = FormName.PROGRAM,
    shop: ShopFile = None,
) -> None:
    """Many parts from one job: a verified program for each row of a table, and an index.

    The table's columns are keys of the job, such as part.name and part.knurled_diameter;
    an empty cell is as in the job. A column `file` names the program, else the part's
    name does. A row that cannot be made is reported, and the status is 1.
    """
    with _told(False, job):
        from knurlcam.cli.tables import FamilyTeller
        from knurlcam.family import Base, count_rows, run_family

        base = Base.of(job, shop=shop, post=post, form=form.value, posts=posts or (), review=pages)
        with _whole(output):
            total = count_rows(base, variants, sheet)
            with FamilyTeller(str(variants), total, quiet=quiet) as teller:
                summary = run_family(
                    base,
                    variants,
                    output,
                    sheet=sheet,
                    rows=total,
                    workers=workers,
                    force=force,
                    resume=resume,
                    strict=strict,
                    watch=teller.watch,
                )
        teller.tell(str(output), summary, strict=strict)
    if summary.counts.failed:
        raise typer.Exit(1)


@contextmanager
def _whole(folder: Path) -> Iterator[None]:
    """Say of a family that breaks off that what it made is whole."""
    try:
        yield
    except KeyboardInterrupt:
        print(f"knurlcam: interrupted; {_what_stands(folder)}", file=sys.stderr)
        _leave(130)
    except KnurlcamError:
        raise
    except Exception as error:  # a fault of ours, as in `_run`, but after much was written
        told = f"{type(error).__name__}: {shortened(str(error), 200)}"
        raise InputError(
            f"internal error ({told})", remedy=f"please report it; {_what_stands(folder)}"
        ) from None


def _what_stands(folder: Path) -> str:
    if not folder.exists():
        return "nothing was written"
    return f"what stands in {folder} is whole: run it again with --resume"


@app.command()
def verify(
    program: Annotated[
        Path, typer.Argument(metavar="PROGRAM", help="Program file.", show_default=False)
    ],
    job: Annotated[
        Path, typer.Option("--job", metavar="JOB", help="The job that it should carry out.")
    ],
    post: Post = None,
    posts: Posts = None,
    form: Annotated[
        FormName | None,
        typer.Option("--as", help="What the text is; told from its own remark unless given."),
    ] = None,
    shop: ShopFile = None,
    as_json: AsJson = False,
) -> None:
    """Findings for any program text, held against its job."""
    with _told(as_json, job):
        from knurlcam.files import read_text
        from knurlcam.verification.verify import verify as judge

        loaded = _load(job, shop)
        text = read_text(program, what="a program")
        result = judge(
            text, loaded, post, form=None if form is None else form.value, posts=posts or ()
        )
        if as_json:
            _put_json(result.to_dict())
        else:
            from knurlcam.cli.tables import tell_findings

            tell_findings(str(program), result)
    if not result.ok:
        raise typer.Exit(1)


@app.command()
def dialects(posts: Posts = None, as_json: AsJson = False) -> None:
    """The dialects and their traits."""
    with _told(as_json):
        from knurlcam.gcode.dialect import dialect_names, load_dialect

        found, broken = [], []
        for name in dialect_names(posts or ()):
            try:
                found.append(load_dialect(name, posts or ()))
            except InputError as error:
                broken.append(error)
        if as_json:
            data = [{**d.model_dump(mode="json"), "folder": str(d.folder)} for d in found]
            _put_json({"dialects": data})
        else:
            from knurlcam.cli.tables import tell_dialects

            tell_dialects(found)
        for fault in broken:
            print(f"knurlcam: {fault}", file=sys.stderr)
    if broken:
        raise typer.Exit(2)


@app.command()
def rules(
    codes: Annotated[
        list[str] | None,
        typer.Argument(metavar="CODE", help="Only these; else all.", show_default=False),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """What verification looks for: each rule with its code and the reason for it."""
    with _told(as_json):
        from knurlcam.verification.rules import RULES

        chosen = codes or list(RULES)
        for code in chosen:
            if code not in RULES:
                raise InputError(
                    "is no rule's code",
                    key="CODE",
                    value=code,
                    expected="a code as it stands behind a finding",
                    remedy=nearest(code, RULES),
                )
        found = {code: RULES[code] for code in chosen}
        if as_json:
            listed = [{"code": code, **rule._asdict()} for code, rule in found.items()]
            _put_json({"rules": listed})
            return
        from knurlcam.cli.tables import tell_rules

        tell_rules(found)


@app.command()
def schema() -> None:
    """The JSON Schema of a job."""
    with _told(False):
        from knurlcam.job.model import Job

        _put_json(Job.model_json_schema())


def _version(wanted: bool) -> None:
    if wanted:
        from knurlcam import __version__

        print(f"knurlcam {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_version, is_eager=True, help="Show the version."),
    ] = False,
) -> None:
    """From a knurl callout to a proven CNC lathe program."""
