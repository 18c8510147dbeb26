"""The tool styles, one row each: what sets a style apart stands here and nowhere else.

A new style is one more row, its name in :data:`Style`, and a function that says how far its
roll centres stand above and below the spindle axis.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Literal, NamedTuple

from knurlcam.errors import require
from knurlcam.mechanics.contact import Contact, XDatum

__all__ = ["STRADDLE", "TOOL_STYLES", "RollsOnBlank", "Style", "ToolStyle", "contact_for"]

Style = Literal["single roll", "knuckle joint", "revolving head", "straddle"]

STRADDLE: Style = "straddle"
"""The style that advice names: its rolls press from both sides, so that nothing bends."""


class RollsOnBlank(NamedTuple):
    """What the height of the roll centres depends on.

    Attributes:
        blank_radius_mm: R_b [mm]
        roll_radius_mm: R_r [mm]
        full_penetration_mm: Penetration c_full of the last pass, radial [mm]
        roll_spacing_mm: Vertical distance of the roll centres, pivoting heads only [mm]
    """

    blank_radius_mm: float
    roll_radius_mm: float
    full_penetration_mm: float
    roll_spacing_mm: float | None


class ToolStyle(NamedTuple):
    """One tool style.

    Attributes:
        name: As the job gives it.
        rolls: How many rolls touch the work at once, 1 or 2 [-]
        pivots: Whether the rolls stand on a head that finds its own place.
        needs_spacing: Whether the job must give the vertical distance of the roll centres.
        set_to_gap: Whether the setter sets the rolls to a gap over the blank.
        x_datum: What X reads, where the job does not say.
        half_spacing_mm: Half the vertical distance of the roll centres v [mm]
        forces: How the forces of its rolls add up, in words.
        height: How it is set to height, and why.
    """

    name: Style
    rolls: int
    pivots: bool
    needs_spacing: bool
    set_to_gap: bool
    x_datum: XDatum
    half_spacing_mm: Callable[[RollsOnBlank], float]
    forces: str
    height: tuple[str, str]


def _on_the_axis(_: RollsOnBlank) -> float:
    """One roll stands at the height of the spindle axis."""
    return 0.0


def _on_a_head(rolls: RollsOnBlank) -> float:
    """The head holds two rolls at their spacing, whatever the blank."""
    return (rolls.roll_spacing_mm or 0.0) / 2.0


def _above_and_below(rolls: RollsOnBlank) -> float:
    """The gap is set so that the rolls are at full depth where they stand over the axis."""
    return rolls.blank_radius_mm + rolls.roll_radius_mm - rolls.full_penetration_mm


def _head(name: Style) -> ToolStyle:
    """Return the row of a head that pivots."""
    # A knuckle joint and a revolving head differ in nothing that planning looks at.
    return ToolStyle(
        name=name,
        rolls=2,
        pivots=True,
        needs_spacing=True,
        set_to_gap=False,
        x_datum="touch-off",
        half_spacing_mm=_on_a_head,
        forces="the radial components of two rolls",
        height=("pivot at centre height", "both rolls touch the blank at once"),
    )


TOOL_STYLES: Mapping[str, ToolStyle] = MappingProxyType(
    {
        row.name: row
        for row in (
            ToolStyle(
                name="single roll",
                rolls=1,
                pivots=False,
                needs_spacing=False,
                set_to_gap=False,
                x_datum="touch-off",
                half_spacing_mm=_on_the_axis,
                forces="the whole force of the roll",
                height=("roll at centre height", "its axis level with the spindle axis"),
            ),
            _head("knuckle joint"),
            _head("revolving head"),
            ToolStyle(
                name="straddle",
                rolls=2,
                pivots=False,
                needs_spacing=False,
                set_to_gap=True,
                x_datum="roll centre",
                half_spacing_mm=_above_and_below,
                forces="the forces of two rolls cancel at full depth",
                height=("gap about centre height", "both rolls equally far from the spindle axis"),
            ),
        )
    }
)
"""Every tool style by its name, in the order in which they are listed to people."""


def contact_for(
    style: Style,
    x_datum: XDatum,
    *,
    blank_diameter_mm: float,
    roll_diameter_mm: float,
    full_penetration_mm: float,
    roll_spacing_mm: float | None,
) -> Contact:
    """Return the contact of a tool style.

    A straddle's rolls are set to the gap that gives full depth at x = 0, so
    v = R_b + R_r - c_full; the other styles have the v of their head.

    Args:
        style: Tool style [-]
        x_datum: What X reads [-]
        blank_diameter_mm: Blank diameter D_b, > 0 [mm]
        roll_diameter_mm: Roll diameter 2 R_r, > 0 [mm]
        full_penetration_mm: Penetration c_full of the last pass, radial [mm]
        roll_spacing_mm: Vertical distance of the roll centres, pivoting heads only [mm]

    Returns:
        The contact, from which X and penetration follow.

    Raises:
        OutOfRangeError: if a diameter is not positive.

    Example:
        >>> c = contact_for("straddle", "roll centre", blank_diameter_mm=25.0,
        ...     roll_diameter_mm=20.0, full_penetration_mm=0.25, roll_spacing_mm=None)
        >>> c.gap_mm, c.x_diameter_mm(0.25)
        (24.5, 0.0)

    Sources:
        [1] Geometry of circles in contact.
    """
    require("blank_diameter_mm", blank_diameter_mm, 1e-6, 1e5, "mm")
    require("roll_diameter_mm", roll_diameter_mm, 1e-6, 1e5, "mm")
    blank, roll = blank_diameter_mm / 2.0, roll_diameter_mm / 2.0
    rolls = RollsOnBlank(blank, roll, full_penetration_mm, roll_spacing_mm)
    return Contact(blank, roll, TOOL_STYLES[style].half_spacing_mm(rolls), x_datum)
