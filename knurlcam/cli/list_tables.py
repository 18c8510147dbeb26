"""Tables of what may be written in a job: materials, rolls, keys, codes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby
from typing import TYPE_CHECKING

from rich.markup import escape

from knurlcam.cli.console import console, figures, style_of, table

if TYPE_CHECKING:
    from knurlcam.data.codes import Code
    from knurlcam.data.materials import Material
    from knurlcam.data.rolls import Roll, RollSet, RollSize
    from knurlcam.job.keys import Key
    from knurlcam.shop.file import Rolls

__all__ = [
    "print_codes",
    "print_drawer",
    "print_keys",
    "print_material",
    "print_materials",
    "print_rolls",
]

_FIGURES = {
    "yield_strength_mpa": ("yield strength", "MPa"),
    "tensile_strength_mpa": ("tensile strength", "MPa"),
    "elongation_percent": ("elongation at fracture", "%"),
    "youngs_modulus_gpa": ("Young's modulus", "GPa"),
    "poisson_ratio": ("Poisson's ratio", ""),
    "density_kg_m3": ("density", "kg/m³"),
    "brinell": ("Brinell hardness", "HB"),
    "turning_speed_m_min": ("turning speed, high speed steel", "m/min"),
}
"""The figures of a material: what each is called, and its unit."""


def _number(value: float | None) -> str:
    return "-" if value is None else f"{value:g}"


def print_materials(found: Iterable[Material]) -> None:
    """Print materials, a row each."""
    made = table(
        ("material", "left"),
        ("also called", "left"),
        (r"yield \[MPa]", "right"),
        (r"tensile \[MPa]", "right"),
        (r"turning \[m/min]", "right"),
    )
    for each in found:
        made.add_row(
            escape(each.name),
            escape(", ".join(each.aliases)),
            _number(each.yield_strength_mpa),
            _number(each.tensile_strength_mpa),
            _number(each.turning_speed_m_min),
        )
    out = console()
    out.print(made)
    out.print("knurlcam materials NAME shows all figures of a material and where each is from.")


def print_material(material: Material) -> None:
    """Print all figures of a material, and the source of each."""
    out = console()
    called = f"  also {', '.join(material.aliases)}" if material.aliases else ""
    out.print(f"[bold]{escape(material.name)}[/]{escape(called)}")
    out.print(
        figures(
            (
                name,
                f"{_number(getattr(material, key))} {unit}".strip(),
                material.sources.get(key, ""),
            )
            for key, (name, unit) in _FIGURES.items()
            if getattr(material, key) is not None
        )
    )


def print_rolls(found: Iterable[Roll], sets: Iterable[RollSet], sizes: Sequence[RollSize]) -> None:
    """Print rolls, the knurls that they make, and their sizes in the standard."""
    made = table(("roll", "left"), ("teeth", "left"), ("", "left"))
    for roll in found:
        made.add_row(
            roll.form,
            escape(roll.description),
            "traverses or plunges" if roll.traverses else "plunges only",
        )
    out = console()
    out.print(made)
    made = table(("knurl", "left"), ("rolls", "left"), ("", "left"))
    for each in sets:
        made.add_row(
            each.form,
            " and ".join(each.rolls),
            "swivelled by the helix angle" if each.swivelled else "",
        )
    out.print(made)
    _print_sizes(sizes)


def _print_sizes(sizes: Sequence[RollSize]) -> None:
    if not sizes:
        return
    made = table(
        ("roll", "left"), (r"diameter \[mm]", "right"), (r"pitch \[mm]: teeth", "left"),
        title="Teeth by DIN 403",
    )  # fmt: skip
    for (form, diameter), rows in groupby(sizes, lambda row: (row.form, row.diameter_mm)):
        counts = ",  ".join(f"{row.pitch_mm:g}: {row.teeth}" for row in rows)
        made.add_row(form, f"{diameter:g}", counts)
    console().print(made)


def print_drawer(drawer: Mapping[str, Rolls], path: str) -> None:
    """Print the rolls of a shop file."""
    made = table(
        ("rolls", "left"),
        ("forms", "left"),
        ("pitch", "left"),
        (r"diameter \[mm]", "right"),
        (r"face \[mm]", "right"),
        ("teeth", "right"),
        title=f"In the drawer: {escape(path)}",
    )
    for name, rolls in drawer.items():
        made.add_row(
            escape(name),
            " and ".join(rolls.forms),
            _pitch(rolls),
            f"{rolls.roll_diameter:g}",
            f"{rolls.face_width:g}",
            "-" if rolls.roll_teeth is None else str(rolls.roll_teeth),
        )
    console().print(made)


def _pitch(rolls: Rolls) -> str:
    if rolls.pitch is not None:
        return f"{rolls.pitch:g} mm"
    return f"{rolls.tpi:g} TPI" if rolls.tpi is not None else f"{rolls.diametral_pitch:g} DP"


def print_keys(found: Sequence[Key]) -> None:
    """Print keys of a job, a table a section."""
    out = console()
    for section, rows in groupby(found, lambda key: key.key.rpartition(".")[0]):
        made = table(
            ("key", "left"), ("", "left"), ("what it is", "left"),
            title=f"[{escape(section)}]".replace("[", r"\[", 1) if section else "at the top",
        )  # fmt: skip
        made.columns[0].no_wrap = True
        for key in rows:
            made.add_row(key.key.rpartition(".")[2], _need(key), escape(_meaning(key)))
        out.print(made)
    out.print("A bare number is in the job's units: lengths in mm or inch, feeds per revolution.")


def _need(key: Key) -> str:
    if key.required:
        return "[bold]required[/]"
    return "" if key.default is None else escape(f"else {_written(key.default)}")


def _written(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return "[]" if value == () else str(value)


def _meaning(key: Key) -> str:
    values = f" ({' | '.join(key.values)})" if key.values else ""
    unit = f" [{key.unit.partition(' (')[0]}]" if key.unit else ""
    return f"{key.means}{values}{unit}"


def print_codes(found: Mapping[str, Code]) -> None:
    """Print what planning says, by its code."""
    made = table(("", "left"), ("code", "left"), ("what it means", "left"), ("", "left"))
    made.columns[1].no_wrap = True  # a code is looked for as it stands
    for code, row in found.items():
        level = row.levels[0]
        style = style_of("error" if level == "refusal" else level)
        made.add_row(
            f"[{style}]{level}[/]",
            code,
            escape(row.means),
            "may be accepted" if row.acceptable else "",
        )
    console().print(made)
