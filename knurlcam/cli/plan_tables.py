"""A plan as tables for a terminal."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

from rich.markup import escape
from rich.table import Table

from knurlcam.cli.console import console, figures, length, style_of, table
from knurlcam.plan.expected_text import expected_text
from knurlcam.plan.model import Plan
from knurlcam.plan.remarks import Choice
from knurlcam.plan.report import fit_rows, fullness_text, load_rows
from knurlcam.units.kinds import Kind, Units
from knurlcam.units.show import show, show_about, show_down

if TYPE_CHECKING:
    from knurlcam.imprint.window import PredictedImprint
    from knurlcam.plan.remarks import Note
    from knurlcam.shop.match import RollMatch

__all__ = ["print_plan", "print_predicted_imprint"]


def print_plan(plan: Plan, rolls: Iterable[RollMatch] = ()) -> None:
    """Print a plan as tables.

    Args:
        plan: The plan.
        rolls: The shop's rolls, held against it.
    """
    out = console()
    out.print(
        f"[bold]{escape(plan.job.part.name)}[/]  {escape(plan.knurl.callout)}, "
        f"{escape(plan.job.part.material_row.name)}"
    )
    for each in _tables(plan, list(rolls)):
        out.print(each)
    for note in plan.notes:
        out.print(_note(note))


def _tables(plan: Plan, rolls: Sequence[RollMatch]) -> Iterator[Table | str]:
    yield figures(_main_rows(plan))
    if plan.press_fit is not None:
        yield figures(fit_rows(plan), title="Press fit (estimates)")
    yield _passes(plan)
    if any(p.follow for p in plan.passes):
        yield "* where the pass begins; deflection compensation changes X along it"
    yield _loads(plan)
    yield _choices(plan)
    if len(plan.candidates) > 1:
        yield _candidates(plan)
    if rolls:
        yield _rolls(rolls)


def _main_rows(plan: Plan) -> Iterator[tuple[str, str, str]]:
    def shown(value_mm: float) -> str:
        return show(value_mm, Kind.LENGTH, plan.job.units)

    misfit = f"misfit {plan.misfit_teeth:+.3f} of a tooth" if plan.misfit_teeth else ""
    full = f"{fullness_text(plan)} of the full {shown(plan.knurl.full_height_mm)}"
    yield "turn blank to", shown(plan.blank_diameter_mm), plan.blank_limits_text
    yield "teeth", str(plan.teeth), misfit
    yield "knurled diameter", shown(plan.knurled_diameter_mm), _knurled_limits(plan)
    yield "expected", shown(plan.expected.knurled_diameter_mm.likely), _expected(plan)
    yield "tooth height", shown(plan.tooth_height_mm), full
    yield "penetration", shown(plan.penetration_mm), f"the crests rise {shown(plan.rise_mm)}"
    if plan.gap_mm is not None:
        yield "gap between the rolls", shown(plan.gap_mm), "set it on the holder"
    if plan.largest_centre_mm is not None:
        largest = show_down(plan.largest_centre_mm, plan.job.units)
        yield "largest centre or quill", largest, "diameter beyond the end face"
    yield "clearance X", shown(plan.clearance_x_mm), "diameter at which rapids end"
    yield "time", f"{plan.time_s:.0f} s", "without stops"


def _knurled_limits(plan: Plan) -> str:
    limits, of = plan.knurled_limits_mm, "ASME B94.6"
    if limits is None and plan.press_fit is not None:
        limits, of = plan.press_fit.knurled_limits_mm, "for the fit"
    if limits is None:
        return ""
    upper, lower = (show(limit, Kind.LENGTH, plan.job.units) for limit in limits)
    return f"+{upper} / {lower} ({of})"


def _expected(plan: Plan) -> str:
    return f"over the crests; {expected_text(plan.expected, plan.job.units)}, an estimate"


def _passes(plan: Plan) -> Table:
    units = plan.job.units
    made = table(
        ("pass", "right"),
        ("toward", "left"),
        (rf"penetration \[{units}]", "right"),
        (rf"X \[{units}, dia]", "right"),
        ("Z from", "right"),
        ("Z to", "right"),
        ("force per roll", "right"),
        title="Passes",
    )
    for p, load in zip(plan.passes, plan.pass_loads, strict=True):
        made.add_row(
            str(p.number),
            p.direction + ("" if p.presses else " (clean-up)"),
            length(p.penetration_mm, units),
            length(p.x_diameter_mm, units) + (" *" if p.follow else ""),
            length(p.z_start_mm, units),
            length(p.z_end_mm, units),
            "" if load is None else show_about(load.radial_force_n, Kind.FORCE, units),
        )
    return made


def _loads(plan: Plan) -> Table:
    """Return loads and deflection at full penetration."""
    made = table(("", "left"), ("about", "right"), ("", "left"), title="Loads (estimates)")
    for row in load_rows(plan):
        made.add_row(*map(escape, row))
    return made


def _choices(plan: Plan) -> Table:
    made = table(
        ("key", "left"),
        ("value", "left"),
        ("", "left"),
        ("why", "left"),
        title="Where each value comes from",
    )
    for choice in plan.choices:
        recommended = choice.origin == "recommended"
        made.add_row(
            escape(choice.key),
            escape(_value(choice, plan.job.units)),
            "[bold]recommended[/]" if recommended else choice.origin,
            escape(choice.why),
        )
    return made


def _value(choice: Choice, units: Units) -> str:
    if choice.kind is not None and isinstance(choice.value, (int, float)):
        return show(float(choice.value), choice.kind, units)
    if isinstance(choice.value, bool):
        return "yes" if choice.value else "no"
    if isinstance(choice.value, float):
        return f"{choice.value:.3f}"
    return str(choice.value)


def _candidates(plan: Plan) -> Table:
    units = plan.job.units
    made = table(
        ("teeth", "right"),
        (rf"blank \[{units}]", "right"),
        ("fullness", "right"),
        (rf"knurled \[{units}]", "right"),
        title="Blanks on which a whole number of teeth fits",
    )
    for c in plan.candidates:
        made.add_row(
            str(c.teeth),
            length(c.blank_diameter_mm, units),
            f"{c.fullness:.3f}",
            length(c.knurled_diameter_mm, units),
        )
    return made


def _rolls(matches: Iterable[RollMatch]) -> Table:
    made = table(
        ("tool", "left"),
        ("rolls", "left"),
        ("", "left"),
        ("why", "left"),
        title="Rolls in the shop",
    )
    for match in matches:
        made.add_row(
            escape(match.tool),
            escape(match.rolls),
            "[bold]suits[/]" if match.suits else "no",
            escape(match.why),
        )
    return made


def _note(note: Note) -> str:
    # A refusal that the job accepts stays an error in the plan; here it is not one any more.
    word = "accepted" if note.severity == "error" else note.severity
    return (
        f"[{style_of(note.severity)}]{word}[/] {escape(note.message)} "
        f"[dim]({escape(note.code)}; {escape(note.source)})[/]"
    )


def print_predicted_imprint(predicted: PredictedImprint | None) -> None:
    """Print how clean a knurl the program of a plan will leave."""
    from knurlcam.imprint.verdict import predicted_text
    from knurlcam.imprint.window import CLEAN

    out = console()
    if predicted is None:
        out.print("Imprint (estimate): not available")
        return
    style = "bold" if predicted.double_impression < CLEAN else style_of("warning")
    out.print(f"Imprint (estimate): [{style}]{escape(predicted_text(predicted))}[/]")
