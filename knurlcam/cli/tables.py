"""Tables for a terminal: blanks, an imprint, findings, dialects, rules."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from rich.markup import escape

from knurlcam.cli.console import console, length, style_of, table
from knurlcam.units.kinds import Kind, Units
from knurlcam.units.show import show, show_down

if TYPE_CHECKING:
    from rich.table import Table

    from knurlcam.gcode.dialect import Dialect
    from knurlcam.imprint.make import Imprint
    from knurlcam.imprint.window import Window
    from knurlcam.mechanics.knurl import Candidate, KnurlGeometry
    from knurlcam.shop.drawer import RollingFirst
    from knurlcam.verification.findings import Finding, Verification
    from knurlcam.verification.rules import Rule

__all__ = ["print_blanks", "print_dialects", "print_findings", "print_imprint", "print_rules"]

MOST_FINDINGS = 200
"""Findings that are printed: more than anyone reads before fixing the first."""


def print_blanks(
    knurl: KnurlGeometry,
    found: Sequence[Candidate],
    tolerance_mm: float,
    near_mm: float,
    units: Units,
    first: RollingFirst,
) -> None:
    """Print candidate blanks near a diameter."""
    out = console()
    out.print(
        f"[bold]{escape(knurl.callout)}[/]  form {knurl.form}, pitch "
        f"{show(knurl.pitch_mm, Kind.LENGTH, units)}, helix {knurl.helix_deg:g}°, "
        f"profile {knurl.profile_deg:g}°"
    )
    made = table(
        ("teeth", "right"),
        (rf"turn blank to \[{units}]", "right"),
        ("±", "right"),
        ("full-form diameter", "right"),
        ("from yours", "right"),
    )
    for c in found:
        made.add_row(
            str(c.teeth),
            length(c.blank_diameter_mm, units),
            show_down(tolerance_mm, units).split()[0],
            length(c.knurled_diameter_mm, units),
            _signed(c.blank_diameter_mm - near_mm, units),
        )
    out.print(made)
    out.print(
        f"A full profile grows the diameter by {show(knurl.full_growth_mm, Kind.LENGTH, units)}. "
        "Turn a blank smaller rather than larger.",
    )
    out.print(_assumed(first, units))


def _assumed(first: RollingFirst, units: Units) -> str:
    """Return on which circle the rolls are taken to roll."""
    if not first.correction_mm:
        return "Rolls of a diametral pitch carry their tracking correction in themselves."
    return (
        f"Blanks are {show(first.correction_mm, Kind.LENGTH, units)} larger than the teeth alone "
        "would have them (estimate: half of what the first turn presses in, 0 to "
        f"{show(first.most_mm, Kind.LENGTH, units)}), with a first infeed of "
        f"{show(first.infeed_mm_per_rev, Kind.FEED, units)} straight in; "
        "a plan works it out for its tool."
    )


def _signed(value_mm: float, units: Units) -> str:
    return f"{'+' if value_mm >= 0 else ''}{length(value_mm, units)}"


def print_imprint(imprint: Imprint, window: Window) -> None:
    """Print what is measured on a height map, and the window of good blanks."""
    from knurlcam.imprint.report import (
        ESTIMATE,
        imprint_rows,
        picture_title,
        remarks_of,
        window_rows,
    )

    out = console()
    out.print(f"[bold]{escape(picture_title(imprint))}[/]")
    made = table(("", "left"), ("about", "right"), ("", "left"), title="Imprint (estimates)")
    for row in [*imprint_rows(imprint), *window_rows(imprint.rolling.plan, window)]:
        made.add_row(*map(escape, row))
    out.print(made)
    for sentence in [*remarks_of(imprint), ESTIMATE]:
        out.print(escape(sentence))


def print_findings(name: str, result: Verification) -> None:
    """Print the findings for a program, worst first.

    Args:
        name: The program's file.
        result: What verification returned.
    """
    out = console()
    if result.evenness is not None:
        without, made = result.evenness
        out.print(
            "depth uniformity of the knurl (least over greatest), estimated: "
            f"{made:.2f} with deflection compensation, {without:.2f} without it"
        )
    read_as = f"{escape(name)}, read as {result.post} {result.form}{_where(result)}"
    for code in result.accepted:
        out.print(f"accepted by the programmer: {code}")
    if result.not_judged_blocks:
        out.print(f"{result.not_judged_blocks} blocks not judged: those of other tools and jobs")
    if not result.findings:
        clean = "the knurl is clean" if result.not_judged_blocks else "clean"
        out.print(f"[bold]{clean}[/]  {read_as}: no findings")
        return
    errors = sum(f.severity == "error" for f in result.findings)
    verdict = "[bold red]NOT SAFE[/]" if errors else "[bold]passes[/]"
    warnings = len(result.findings) - errors
    out.print(f"{verdict}  {read_as}: {errors} error(s), {warnings} warning(s)")
    out.print(_findings(result.findings))
    if len(result.findings) > MOST_FINDINGS:
        out.print(f"and {len(result.findings) - MOST_FINDINGS} more; --json lists them all")


def _where(result: Verification) -> str:
    """Return in which lines of a part program the judged pieces stand."""
    if not result.judged_lines:
        return ""
    return ", lines " + " and ".join(f"{first} to {last}" for first, last in result.judged_lines)


def _findings(found: Iterable[Finding]) -> Table:
    made = table(("", "left"), ("block", "right"), ("line", "right"), ("finding", "left"))
    for f in sorted(found, key=lambda f: (f.severity, f.line))[:MOST_FINDINGS]:
        made.add_row(
            f"[{style_of(f.severity)}]{f.severity}[/]",
            "" if f.block is None else f"N{f.block}",
            str(f.line),
            f"{escape(f.message)} [dim]({f.code})[/]",
        )
    return made


def print_dialects(found: Iterable[Dialect]) -> None:
    """Print the dialects and what sets them apart."""
    out = console()
    for d in found:
        out.print(f"[bold]{escape(d.name)}[/]  {escape(d.title)}")
        made = table(("", "left"), ("", "left"))
        made.show_header = False
        for name, value in _traits(d):
            made.add_row(name, escape(value))
        out.print(made)


def _traits(d: Dialect) -> Iterator[tuple[str, str]]:
    yield "feed", d.feed
    yield "X", d.x
    yield "dwell", f"{d.codes.dwell} {d.dwell_address} in {d.dwell_unit}"
    yield "numbers", d.numbers
    yield "tool call", d.tool_call
    yield "N words", d.numbering
    yield "M words", f"{d.m_words_per_block} in a block, at most"
    yield "ends at", d.safe_return
    yield "subprograms", "yes" if d.subprogram_start else "no"
    yield "folder", str(d.folder)


def print_rules(rules: Mapping[str, Rule]) -> None:
    """Print rules by their code: what is wrong, and why it matters."""
    made = table(
        ("", "left"), ("code", "left"), ("what is wrong", "left"), ("why it matters", "left")
    )
    made.columns[1].no_wrap = True  # a code is looked for as it stands
    for code, rule in rules.items():
        severity = f"[{style_of(rule.severity)}]{rule.severity}[/]"
        made.add_row(severity, code, escape(rule.title), escape(rule.reason))
    console().print(made)
