"""The terminal, and tables on it in one style."""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Sequence
from typing import Any

from rich import box
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from knurlcam.units.kinds import Kind, Units
from knurlcam.units.show import show_bare

__all__ = ["console", "figures", "length", "style_of", "table"]

WIDE = 100
"""Columns of a table that goes to a file or a pipe."""

STYLES = {"error": "bold red", "warning": "bold yellow"}


def console() -> Console:
    """Return the terminal: as wide as it is, but no narrower than a table can be read."""
    width = shutil.get_terminal_size((WIDE, 24)).columns
    return Console(width=max(60, width), highlight=False)


def table(*columns: tuple[str, Any], title: str | None = None) -> Table:
    """Return an empty table; a column is its header and ``left`` or ``right``."""
    made = Table(
        title=title, title_justify="left", title_style="bold", box=box.SIMPLE_HEAD, pad_edge=False
    )
    for name, justify in columns:
        # A figure that went on in the next line would be read as two.
        made.add_column(name, justify=justify, no_wrap=justify == "right")
    return made


def figures(rows: Iterable[Sequence[str]], title: str | None = None) -> Table:
    """Return a table of name, figure and comment, without a header."""
    made = table(("", "left"), ("", "right"), ("", "left"), title=title)
    made.show_header = False
    for row in rows:
        made.add_row(*map(escape, row))  # else a name in brackets would be taken for a style
    return made


def length(value_mm: float, units: Units) -> str:
    """Return a length without its unit, for a column that names it."""
    return show_bare(value_mm, Kind.LENGTH, units)


def style_of(severity: str) -> str:
    """Return how a severity is shown."""
    return STYLES.get(severity, "bold")
