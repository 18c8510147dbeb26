"""Tables for people: what the commands print on a terminal."""

from __future__ import annotations

import os
import shutil
import sys
import time
from collections.abc import Iterable, Mapping, Sequence
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from rich import box
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from knurlcam.mechanics.knurl import Candidate, KnurlGeometry
from knurlcam.plan.planner import Plan
from knurlcam.plan.remarks import Choice
from knurlcam.plan.report import fit_rows, load_rows
from knurlcam.units.quantities import Kind, Units, show, show_about, show_bare, show_down

if TYPE_CHECKING:
    from knurlcam.family import Result, Summary
    from knurlcam.gcode.dialect import Dialect
    from knurlcam.imprint.make import Imprint
    from knurlcam.imprint.window import Foretold, Window
    from knurlcam.shop.fill import RollMatch
    from knurlcam.verification.findings import Verification
    from knurlcam.verification.rules import Rule

__all__ = [
    "FamilyTeller",
    "tell_blanks",
    "tell_dialects",
    "tell_findings",
    "tell_foretold",
    "tell_imprint",
    "tell_plan",
    "tell_rules",
]

WIDE = 100
"""Columns where the output goes to a file or a pipe."""


def _console() -> Console:
    width = shutil.get_terminal_size((WIDE, 24)).columns
    return Console(width=max(60, width), highlight=False)


def _table(*columns: tuple[str, Any], title: str | None = None) -> Table:
    table = Table(
        title=title, title_justify="left", title_style="bold", box=box.SIMPLE_HEAD, pad_edge=False
    )
    for name, justify in columns:
        table.add_column(name, justify=justify, no_wrap=justify == "right")
    return table


def _length(value: float, units: Units) -> str:
    """Return a length without its unit, for a column that names it."""
    return show_bare(value, Kind.LENGTH, units)


def tell_blanks(
    knurl: KnurlGeometry,
    found: Sequence[Candidate],
    tolerance_mm: float,
    near_mm: float,
    units: str,
) -> None:
    """Print candidate blanks."""
    unit: Units = "inch" if units == "inch" else "mm"
    console = _console()
    console.print(
        f"[bold]{escape(knurl.callout)}[/]  form {knurl.form}, pitch "
        f"{show(knurl.pitch_mm, Kind.LENGTH, unit)}, helix {knurl.helix_deg:g}°, "
        f"profile {knurl.profile_deg:g}°"
    )
    table = _table(
        ("teeth", "right"),
        (rf"turn blank to \[{unit}]", "right"),
        ("±", "right"),
        ("full knurl", "right"),
        ("off yours", "right"),
    )
    for c in found:
        off = c.blank_diameter_mm - near_mm
        table.add_row(
            str(c.teeth),
            _length(c.blank_diameter_mm, unit),
            show_down(tolerance_mm, unit).split()[0],
            _length(c.knurled_diameter_mm, unit),
            f"{'+' if off >= 0 else ''}{_length(off, unit)}",
        )
    console.print(table)
    console.print(
        f"A full profile grows the diameter by {show(knurl.full_growth_mm, Kind.LENGTH, unit)}. "
        "Turn a blank smaller rather than larger.",
    )


def _value(choice: Choice, units: Units) -> str:
    if choice.kind is not None and isinstance(choice.value, (int, float)):
        return show(float(choice.value), choice.kind, units)
    if isinstance(choice.value, bool):
        return "yes" if choice.value else "no"
    if isinstance(choice.value, float):
        return f"{choice.value:.3f}"
    return str(choice.value)


def tell_plan(plan: Plan, rolls: Iterable[RollMatch] = ()) -> None:
    """Print a plan as tables."""
    units, console = plan.job.units, _console()

    def mm(value: float) -> str:
        return show(value, Kind.LENGTH, units)

    console.print(
        f"[bold]{escape(plan.job.part.name)}[/]  {escape(plan.knurl.callout)}, "
        f"{escape(plan.job.part.material_row.name)}"
    )
    main = _table(("", "left"), ("", "right"), ("", "left"))
    main.show_header = False
    rows = [
        ("turn blank to", mm(plan.blank_diameter_mm), plan.blank_tolerance_text),
        (
            "teeth",
            str(plan.teeth),
            "" if not plan.misfit_teeth else f"misfit {plan.misfit_teeth:+.3f} of a tooth",
        ),
        (
            "knurled diameter",
            mm(plan.knurled_diameter_mm),
            _knurled_text(plan),
        ),
        (
            "tooth height",
            mm(plan.tooth_height_mm),
            f"{plan.fullness:.2f} of the full {mm(plan.knurl.full_height_mm)}",
        ),
        ("penetration", mm(plan.penetration_mm), f"the crests rise {mm(plan.rise_mm)}"),
        ("X at the clearance", mm(plan.clearance_x_mm), "rapids end here"),
        ("time", f"{plan.time_s:.0f} s", "without stops"),
    ]
    if plan.gap_mm is not None:
        rows.insert(5, ("set the rolls apart", mm(plan.gap_mm), "gap between the two rolls"))
    if plan.largest_centre_mm is not None:
        rows.insert(
            6, ("beyond the end face", show_down(plan.largest_centre_mm, units), "nothing larger")
        )
    for row in rows:
        main.add_row(*map(escape, row))
    console.print(main)
    if plan.press_fit is not None:
        console.print(_press_fit(plan))
    console.print(_passes(plan))
    if any(p.follow for p in plan.passes):
        console.print("* at the start; from there the slide follows the work in short blocks")
    console.print(_loads(plan))
    console.print(_choices(plan))
    if len(plan.candidates) > 1:
        console.print(_others(plan))
    matches = list(rolls)
    if matches:
        console.print(_rolls(matches))
    for note in plan.notes:
        style = {"error": "bold red", "warning": "bold yellow"}.get(note.severity, "bold")
        word = "accepted" if note.severity == "error" else note.severity
        console.print(
            f"[{style}]{word}[/] {escape(note.message)} "
            f"[dim]({escape(note.code)}; {escape(note.source)})[/]"
        )


def _knurled_text(plan: Plan) -> str:
    limits, of = plan.knurled_limits_mm, "ASME B94.6"
    if limits is None and plan.press_fit is not None:
        limits, of = plan.press_fit.knurled_limits_mm, "for the fit"
    if limits is None:
        return ""
    upper, lower = (show(limit, Kind.LENGTH, plan.job.units) for limit in limits)
    return f"+{upper} / {lower} ({of})"


def _press_fit(plan: Plan) -> Table:
    """Return what the fit comes to."""
    table = _table(("", "left"), ("", "right"), ("", "left"), title="Press fit (estimates)")
    table.show_header = False
    for row in fit_rows(plan):
        table.add_row(*map(escape, row))
    return table


def _passes(plan: Plan) -> Table:
    units = plan.job.units
    table = _table(
        ("pass", "right"),
        ("to", "left"),
        (rf"penetration \[{units}]", "right"),
        (rf"X \[{units}, dia]", "right"),
        ("Z from", "right"),
        ("Z to", "right"),
        ("a roll", "right"),
        title="Passes",
    )
    for p, load in zip(plan.passes, plan.pass_loads, strict=True):
        table.add_row(
            str(p.number),
            p.direction + ("" if p.presses else " (clean-up)"),
            _length(p.penetration_mm, units),
            _length(p.x_diameter_mm, units) + (" *" if p.follow else ""),
            _length(p.z_start_mm, units),
            _length(p.z_end_mm, units),
            "" if load is None else show_about(load.radial_force_n, Kind.FORCE, units),
        )
    return table


def _loads(plan: Plan) -> Table:
    """Return loads and deflection at full penetration."""
    table = _table(("", "left"), ("about", "right"), ("", "left"), title="Loads (estimates)")
    for name, about, more in load_rows(plan):
        table.add_row(escape(name), escape(about), escape(more))
    return table


def _choices(plan: Plan) -> Table:
    table = _table(
        ("key", "left"),
        ("value", "left"),
        ("", "left"),
        ("why", "left"),
        title="Where it comes from",
    )
    for choice in plan.choices:
        mark = {"recommended": "[bold]recommended[/]"}.get(choice.origin, choice.origin)
        table.add_row(
            escape(choice.key), escape(_value(choice, plan.job.units)), mark, escape(choice.why)
        )
    return table


def _others(plan: Plan) -> Table:
    units = plan.job.units
    table = _table(
        ("teeth", "right"),
        (rf"blank \[{units}]", "right"),
        ("fullness", "right"),
        (rf"knurled \[{units}]", "right"),
        title="Blanks that close",
    )
    for c in plan.candidates:
        table.add_row(
            str(c.teeth),
            _length(c.blank_diameter_mm, units),
            f"{c.fullness:.3f}",
            _length(c.knurled_diameter_mm, units),
        )
    return table


def _rolls(matches: Sequence[RollMatch]) -> Table:
    table = _table(
        ("tool", "left"),
        ("rolls", "left"),
        ("", "left"),
        ("why", "left"),
        title="Rolls in the shop",
    )
    for match in matches:
        table.add_row(
            escape(match.tool),
            escape(match.rolls),
            "[bold]suits[/]" if match.suits else "no",
            escape(match.why),
        )
    return table


def tell_foretold(foretold: Foretold | None) -> None:
    """Print what the program of a plan will leave."""
    from knurlcam.imprint.report import foretold_text
    from knurlcam.imprint.window import CLEAN

    console = _console()
    if foretold is None:
        console.print("Imprint (estimate): not known")
        return
    style = "bold" if foretold.double_impression < CLEAN else "bold yellow"
    console.print(f"Imprint (estimate): [{style}]{escape(foretold_text(foretold))}[/]")


def tell_imprint(imprint: Imprint, window: Window) -> None:
    """Print what is measured on a height map, and the window of good blanks."""
    from knurlcam.imprint.report import (
        ESTIMATE,
        imprint_rows,
        picture_title,
        remarks_of,
        window_rows,
    )

    console = _console()
    console.print(f"[bold]{escape(picture_title(imprint))}[/]")
    table = _table(("", "left"), ("about", "right"), ("", "left"), title="Imprint (estimates)")
    for row in [*imprint_rows(imprint), *window_rows(imprint.rolling.plan, window)]:
        table.add_row(*map(escape, row))
    console.print(table)
    for said in [*remarks_of(imprint), ESTIMATE]:
        console.print(escape(said))


MOST_FINDINGS = 200
"""More than anybody reads before the first are mended."""


def tell_findings(name: str, result: Verification) -> None:
    """Print the findings for a program, worst first."""
    console = _console()
    if result.evenness is not None:
        straight, made = result.evenness
        console.print(
            f"evenness of the knurl, with the deflection as computed: {made:.2f}; a straight slide "
            f"would make {straight:.2f}"
        )
    errors = sum(f.severity == "error" for f in result.findings)
    warnings = len(result.findings) - errors
    if not result.findings:
        console.print(
            f"[bold]clean[/]  {escape(name)}, read as {result.post} {result.form}: no findings"
        )
        return
    verdict = "[bold red]NOT SAFE[/]" if errors else "[bold]passes[/]"
    console.print(
        f"{verdict}  {escape(name)}, read as {result.post} {result.form}: "
        f"{errors} error(s), {warnings} warning(s)"
    )
    table = _table(("", "left"), ("block", "right"), ("line", "right"), ("finding", "left"))
    for f in sorted(result.findings, key=lambda f: (f.severity, f.line))[:MOST_FINDINGS]:
        style = "bold red" if f.severity == "error" else "bold yellow"
        table.add_row(
            f"[{style}]{f.severity}[/]",
            "" if f.block is None else f"N{f.block}",
            str(f.line),
            f"{escape(f.message)} [dim]({f.code})[/]",
        )
    console.print(table)
    if len(result.findings) > MOST_FINDINGS:
        console.print(f"and {len(result.findings) - MOST_FINDINGS} more; --json lists them all")


def tell_dialects(found: Iterable[Dialect]) -> None:
    """Print the dialects and what sets them apart."""
    console = _console()
    for d in found:
        console.print(f"[bold]{escape(d.name)}[/]  {escape(d.title)}")
        table = _table(("", "left"), ("", "left"))
        table.show_header = False
        for name, value in (
            ("feed", d.feed),
            ("X", d.x),
            ("dwell", f"{d.codes.dwell} {d.dwell_address} in {d.dwell_unit}"),
            ("numbers", d.numbers),
            ("tool call", d.tool_call),
            ("N words", d.numbering),
            ("ends at", d.safe_return),
            ("subprograms", "yes" if d.subprogram_start else "no"),
            ("folder", str(d.folder)),
        ):
            table.add_row(name, escape(value))
        console.print(table)


def tell_rules(rules: Mapping[str, Rule]) -> None:
    """Print rules by their code: what is wrong, and why it matters."""
    table = _table(
        ("", "left"), ("code", "left"), ("what is wrong", "left"), ("why it matters", "left")
    )
    table.columns[1].no_wrap = True  # a code is looked for as it stands
    for code, rule in rules.items():
        style = "bold red" if rule.severity == "error" else "bold yellow"
        table.add_row(f"[{style}]{rule.severity}[/]", code, escape(rule.title), escape(rule.reason))
    _console().print(table)


# -- families ------------------------------------------------------------------

SECONDS_A_LINE = 5.0
"""How often progress is told where there is no terminal to show a bar on."""

MOST_KINDS = 20
"""More kinds of trouble than anybody mends before running again; the index has them all."""

ROWS_SHOWN = 6


class FamilyTeller:
    """Tells how a family comes on, and what became of it.

    Args:
        table: The table's name, for what is wrong with a row.
        total: Its rows.
        quiet: Whether only what is wrong is told.
    """

    def __init__(self, table: str, total: int, *, quiet: bool = False) -> None:
        self.table, self.total, self.quiet = table, total, quiet
        self.done = self.failed = 0
        self.troubles: dict[str, list[int]] = {}
        self.counts: dict[str, int] = {}
        self.more = 0
        self.bare: list[int] = []
        self.bare_count = 0
        self.began = self.told = time.monotonic()
        self.bar = self.task = None if quiet else _bar()

    def __enter__(self) -> Self:
        if self.bar is not None:
            self.bar.start()
            self.task = self.bar.add_task("", total=self.total, rate="")
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self.bar is not None:
            self.bar.stop()

    def watch(self, result: Result) -> None:
        """Take note of a result."""
        self.done += 1
        for problem in result.problems:
            self.note(problem.sentence(), result.row)
        self.failed += not result.ok
        if result.bare:
            self.bare_count += 1
            if len(self.bare) < ROWS_SHOWN:
                self.bare.append(result.row)
        now = time.monotonic()
        if self.bar is not None:
            rate = self.done / max(now - self.began, 1e-9)
            self.bar.update(self.task, completed=self.done, rate=f"{rate:.0f} a second")
        elif not self.quiet and now - self.told > SECONDS_A_LINE:
            self.told = now
            rate = self.done / (now - self.began)
            left = (self.total - self.done) / rate
            failed = f", {self.failed} without a program" if self.failed else ""
            _say(
                f"{self.done} of {self.total} rows{failed}, {rate:.0f} a second, {left:.0f} s left"
            )

    def note(self, sentence: str, row: int) -> None:
        """Note what is wrong with a row, with the rows of which the same is true."""
        if sentence not in self.counts and len(self.counts) == MOST_KINDS:
            self.more += 1
            return
        self.counts[sentence] = self.counts.get(sentence, 0) + 1
        rows = self.troubles.setdefault(sentence, [])
        if len(rows) < ROWS_SHOWN:
            rows.append(row)

    def tell(self, folder: str, summary: Summary, *, strict: bool) -> None:
        """Say what became of the family."""
        for sentence, rows in self.troubles.items():
            _say(f"{self.table}: {_rows(rows, self.counts[sentence])}: {sentence}")
        counts = summary.counts
        if self.more:
            where = f"; {folder}/index.csv has them all" if summary.written else ""
            _say(f"... and {self.more} more problems of other kinds{where}")
        for file in summary.left:
            _say(f"{folder}/{file}: no row makes it any more; left, because it was changed by hand")
        if not summary.written:
            why = "--strict: " if strict else ""
            _say(f"{counts.failed} of {counts.rows} rows cannot be made; {why}nothing written")
            return
        if self.bare:
            named = _rows(self.bare, self.bare_count)
            _say(
                f"warning: {self.table}: {named}: nothing but a name, so made as the base job is; "
                "delete what is no part"
            )
        if self.quiet:
            return
        shared = counts.shared_numbers()
        if shared:
            _say(f"warning: {shared}")
        said = f"{folder}: {_many(counts.programs, 'program')}, verified"
        if counts.kept:
            said += f" ({counts.kept} kept from before)"
        if counts.failed:
            said += f"; {_many(counts.failed, 'row')} without one"
        if summary.removed:
            said += f"; {_many(summary.removed, 'file')} removed that no row makes any more"
        _say(f"{said}. Look at {folder}/index.html")


def _rows(rows: list[int], count: int) -> str:
    """Return in words which rows are meant; *rows* are the first of them."""
    more = f" and {count - len(rows)} more" if count > len(rows) else ""
    return f"row{'s' if count > 1 else ''} {', '.join(map(str, rows))}{more}"


def _many(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _say(text: str) -> None:
    """Print on standard error; that nobody can read it is no reason to stop."""
    if sys.stderr is None:
        return
    try:
        print(text, file=sys.stderr, flush=True)
    except ValueError:
        pass  # it is closed
    except OSError:
        # It is full, or its reader has gone: what waits in it would fail again at the end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), 2)


def _bar() -> Any:
    """Return a progress bar on a terminal; None where the output goes elsewhere."""
    if sys.stderr is None or not sys.stderr.isatty():
        return None
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
    from rich.progress import TimeRemainingColumn as Left

    return Progress(
        MofNCompleteColumn(),
        BarColumn(),
        TextColumn("{task.fields[rate]}"),
        Left(),
        console=Console(stderr=True),
        transient=True,
    )
