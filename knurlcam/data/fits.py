"""Friction and tolerances of press fits: ``shared/fits.toml``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from knurlcam.data.caches import kept_until_cleared
from knurlcam.data.rows import Row, read_table

__all__ = [
    "FitFriction",
    "StandardTolerance",
    "fit_friction",
    "standard_tolerances",
]

_GRADES = ("IT6", "IT7", "IT8")


@dataclass(frozen=True, slots=True)
class FitFriction:
    """Friction between a pressed-in knurl and its hub.

    Attributes:
        counted_on: What can be counted on for holding [-].
        to_press: What the press may have to get over [-].
        sources: Source of each figure, by the name of its attribute.
    """

    counted_on: float
    to_press: float
    sources: Mapping[str, str] = field(hash=False)


@dataclass(frozen=True, slots=True)
class StandardTolerance:
    """The standard tolerances of ISO 286 for a range of nominal sizes.

    Attributes:
        over_mm: The range begins above this size [mm].
        up_to_mm: It ends with this size, which belongs to it [mm].
        um: Width of IT6, IT7 and IT8, by name [µm].
        sources: Source of each width, by name.
    """

    over_mm: float
    up_to_mm: float
    um: Mapping[str, float] = field(hash=False)
    sources: Mapping[str, str] = field(hash=False)


@kept_until_cleared()
def fit_friction() -> FitFriction:
    """Return the friction of press fits."""
    row = read_table("fits.toml").row("friction")
    row.allow("counted_on", "to_press")
    found = FitFriction(
        counted_on=row.figure("counted_on", below=2.0),
        to_press=row.figure("to_press", below=2.0),
        sources=row.figure_sources(),
    )
    if found.counted_on > found.to_press:
        raise row.fault(
            "counted_on",
            "is above what the press must get over",
            found.counted_on,
            f"at most {found.to_press:g}",
        )
    return found


@kept_until_cleared()
def standard_tolerances() -> tuple[StandardTolerance, ...]:
    """Return the standard tolerances, smallest sizes first and without a gap."""
    found: list[StandardTolerance] = []
    for row in read_table("fits.toml").rows("standard_tolerance"):
        tolerance = _standard_tolerance(row)
        ends = found[-1].up_to_mm if found else 0.0
        if tolerance.over_mm != ends:
            raise row.fault(
                "over_mm", "leaves a gap or overlaps", tolerance.over_mm, f"{ends:g} mm"
            )
        found.append(tolerance)
    return tuple(found)


def _standard_tolerance(row: Row) -> StandardTolerance:
    grades = {f"{name}_um": name for name in _GRADES}
    row.allow("over_mm", "up_to_mm", *grades)
    over, up_to = row.number("over_mm", zero=True), row.number("up_to_mm")
    if up_to <= over:
        raise row.fault("up_to_mm", "ends before it begins", up_to, f"more than {over:g} mm")
    widths = {name: row.figure(key) for key, name in grades.items()}
    if sorted(widths.values()) != list(widths.values()):
        raise row.fault(
            "IT6_um", "a finer grade is wider than a coarser one", list(widths.values())
        )
    sources = {grades[key]: text for key, text in row.figure_sources().items()}
    return StandardTolerance(over, up_to, widths, sources)
