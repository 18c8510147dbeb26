"""Arguments and options that several commands share."""

from __future__ import annotations

import enum
from pathlib import Path
from typing import Annotated, Literal

import typer

__all__ = [
    "AsJson",
    "FormName",
    "JobFile",
    "LogFile",
    "NoMeasured",
    "Post",
    "Posts",
    "ReadAs",
    "ShopFile",
    "ShownProgram",
    "UnitName",
    "WrittenAs",
    "form_of",
    "measured_from",
]


class FormName(enum.StrEnum):
    """What ``--as`` takes."""

    PROGRAM = "program"
    SECTION = "section"
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
    typer.Option(
        "--post", metavar="NAME", help="Dialect of the program; that of the job unless given."
    ),
]
Posts = Annotated[
    list[Path] | None,
    typer.Option(
        "--posts",
        metavar="DIR",
        help="Folder of your own dialects, searched first; may be given several times.",
    ),
]
WrittenAs = Annotated[
    FormName,
    typer.Option(
        "--as",
        help="A stand-alone program, a section for a part program, a subprogram to be called, or "
        "blocks to paste.",
    ),
]
ReadAs = Annotated[
    FormName | None,
    typer.Option("--as", help="What the text is; unless given, its own comment says so."),
]
ShopFile = Annotated[
    Path | None,
    typer.Option(
        "--shop",
        metavar="FILE",
        help="Shop file; unless given, the one named by KNURLCAM_SHOP, else shop.toml in the "
        "job's folder or one above it.",
    ),
]
LogFile = Annotated[
    Path | None,
    typer.Option(
        "--log",
        metavar="FILE",
        help="Log of measured parts; unless given, measured.sqlite beside the shop file.",
    ),
]
NoMeasured = Annotated[
    bool, typer.Option("--no-measured", help="Plan by the estimate, without measured parts.")
]
ShownProgram = Annotated[
    Path | None,
    typer.Option(
        "--program",
        metavar="FILE",
        help="Program to take instead of the one that is made from the job.",
    ),
]


def measured_from(log: Path | None, *, no_measured: bool) -> Path | Literal[False] | None:
    """Return where measured parts come from, as ``Job.load`` takes it.

    Args:
        log: What ``--log`` says.
        no_measured: What ``--no-measured`` says.
    """
    if no_measured and log is not None:
        raise typer.BadParameter("give --log or --no-measured, not both")
    return False if no_measured else log


def form_of(name: FormName | None) -> Literal["program", "section", "subprogram", "blocks"] | None:
    """Return what ``--as`` says, as the stages take it."""
    return None if name is None else name.value
