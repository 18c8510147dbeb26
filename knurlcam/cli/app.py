"""The command line: the commands registered, and the one door that all errors leave by.

Each command is a module of its own and thin: it reads, calls the stages and shows what came
out. It imports the stages when it runs, for importing all of them takes longer than writing
a program. A new command is one module, and one name in ``COMMANDS``
or ``GROUPS``.

Exit status: 0 well; 1 a valid job that cannot be done, or findings of severity error;
2 what is not a valid job or program, or wrong usage.
"""

from __future__ import annotations

import gc
import os
import signal
from typing import Annotated, NoReturn

import typer

# Plugins that other programs installed for pydantic have no business in this one, and
# looking for them takes as long as planning a job.
os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")

from knurlcam.cli.blank import blank
from knurlcam.cli.codes import codes
from knurlcam.cli.dialect import dialect
from knurlcam.cli.dialects import dialects
from knurlcam.cli.edit import edit
from knurlcam.cli.examples import epilog_of
from knurlcam.cli.family import family
from knurlcam.cli.imprint import imprint
from knurlcam.cli.keys import keys
from knurlcam.cli.materials import materials
from knurlcam.cli.measured import measured
from knurlcam.cli.new import new
from knurlcam.cli.output import complain, drop_standard_output, replace_what_a_terminal_lacks
from knurlcam.cli.plan import plan
from knurlcam.cli.program import program
from knurlcam.cli.review import review
from knurlcam.cli.rolls import rolls
from knurlcam.cli.rules import rules
from knurlcam.cli.schema import schema
from knurlcam.cli.verify import verify
from knurlcam.text import shortened

__all__ = ["COMMANDS", "GROUPS", "app", "main"]

COMMANDS = (
    new,
    edit,
    blank,
    plan,
    program,
    review,
    imprint,
    measured,
    family,
    verify,
    materials,
    rolls,
    keys,
    codes,
    rules,
    dialects,
    schema,
)
"""The commands, in the order of the help."""

GROUPS = (dialect,)
"""Commands that have commands of their own; they come last in the help."""

app = typer.Typer(
    name="knurlcam",
    help="From a knurl callout to a verified CNC lathe program.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)
for command in COMMANDS:
    app.command(epilog=epilog_of(command.__name__))(command)
for group in GROUPS:
    app.add_typer(group)


def main() -> NoReturn:
    """Run the command line; never show a traceback."""
    # A command is over before there is garbage worth a search through all of its modules.
    gc.set_threshold(100_000, 50, 50)
    replace_what_a_terminal_lacks()
    try:
        if signal.getsignal(signal.SIGINT) is signal.SIG_DFL:  # as the start of the process left it
            signal.signal(signal.SIGINT, signal.default_int_handler)
        _run()
    finally:
        # ... nor is there at its end, where the search would cost a tenth of its time.
        gc.freeze()


def _run() -> NoReturn:
    try:
        app()
    except SystemExit:
        raise
    except KeyboardInterrupt:
        complain("interrupted; nothing was written")
        raise SystemExit(130) from None
    except BrokenPipeError:
        # The program that reads our output has ended: nobody can read a message.
        drop_standard_output()
        raise SystemExit(1) from None
    except RecursionError:
        complain("the input is nested too deeply; nothing was written")
        raise SystemExit(2) from None
    except Exception as error:  # the last door: a fault of ours must not look like one of theirs
        fault = f"{type(error).__name__}: {shortened(str(error), 200)}"
        complain(
            f"internal error ({fault}); nothing was written. Please report it with the job file"
        )
        raise SystemExit(2) from None
    raise SystemExit(0)


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
    """From a knurl callout to a verified CNC lathe program."""
