"""``knurlcam blank --fixed``: which rolls track on a blank that is there already."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from rich.markup import escape

from knurlcam.cli.console import console, length, table
from knurlcam.cli.output import print_json

if TYPE_CHECKING:
    from collections.abc import Sequence

    from knurlcam.shop.drawer import Fitting, RollsInTool
    from knurlcam.units.kinds import Units

__all__ = ["Stock", "show_rolls_for"]

_HERE = Path("a blank in the present folder")


class Stock(NamedTuple):
    """A blank that is there already.

    Attributes:
        diameter_mm: Its diameter [mm]
        infeed_mm: The first infeed; None for the gentlest that serves [mm/rev]
        units: Units of what is shown.
    """

    diameter_mm: float
    infeed_mm: float | None
    units: Units


def show_rolls_for(
    stock: Stock, callout: str | None, shop: Path | None, *, swivelled: bool, as_json: bool
) -> bool:
    """Show which rolls track on a blank as it is, and how they are set.

    Args:
        stock: The blank.
        callout: The knurl wanted; None for any.
        shop: What ``--shop`` says; see :func:`knurlcam.shop.fill.find_shop`.
        swivelled: Whether rolls of no drawer are straight ones, turned by the helix angle.
        as_json: Whether it is printed as one JSON object.

    Returns:
        Whether any tracks.

    Raises:
        InputError: where there is neither callout nor drawer.
        CannotBeDoneError: where no rolls of the drawer make the callout.
    """
    from knurlcam.shop.drawer import fittings

    drawer = _drawer(callout, shop, stock.units, swivelled=swivelled)
    found = fittings(drawer, stock.diameter_mm, stock.infeed_mm)
    tracks = any(f.tracks for f in found)
    if as_json:
        print_json(_data(stock, found))
    else:
        _print(stock, found)
    return tracks


def _drawer(
    callout: str | None, shop: Path | None, units: Units, *, swivelled: bool
) -> tuple[RollsInTool, ...]:
    from knurlcam.errors import CannotBeDoneError, InputError, Refusal
    from knurlcam.job.callout import parse_callout
    from knurlcam.shop.drawer import called_rolls, rolls_of
    from knurlcam.shop.fill import find_shop

    asked = None if callout is None else parse_callout(callout)
    kept = find_shop(_HERE, shop)
    if kept is not None and kept.rolls:
        found = rolls_of(kept, asked, units)
        if found:
            return found
        message = f"none of the rolls in {kept.path} make {callout}; add them, or name another"
        raise CannotBeDoneError(
            [Refusal("no-rolls-in-shop", message, "CALLOUT", source="the shop file")]
        )
    if asked is not None:
        return (called_rolls(asked, swivelled=swivelled),)
    raise InputError(
        "there are no rolls to try",
        where=None if kept is None else kept.path,
        key="--shop",
        expected="a shop file with rolls, or a callout",
        remedy="name a shop file with [rolls] by --shop, or give the callout of the rolls",
    )


def _data(stock: Stock, found: Sequence[Fitting]) -> dict[str, Any]:
    from knurlcam.mechanics.swivel import SWIVEL_RANGE_DEG

    return {
        "blank_diameter_mm": stock.diameter_mm,
        "swivel_within_deg": SWIVEL_RANGE_DEG,
        "tracks": any(f.tracks for f in found),
        "rolls": [f.to_dict() for f in found],
    }


# -- the tables ------------------------------------------------------------------------


def _print(stock: Stock, found: Sequence[Fitting]) -> None:
    out, units = console(), stock.units
    good = [f for f in found if f.tracks]
    blank = f"{length(stock.diameter_mm, units)} {units}"
    if good:
        out.print(f"[bold]Rolls that track on a blank of {blank} as it is[/]")
        out.print(_tracking(good, units))
    bad = [f for f in found if not f.tracks]
    if bad:
        out.print(f"[bold]Rolls that do not track on {blank}, nor swivelled by up to {_most()}[/]")
        out.print(_not_tracking(bad, units))
    if any(f.swivel_deg for f in good):
        out.print(
            "Swivel: each roll turned in its own fork beyond where it stands, + to a larger helix; "
            "left-hand and right-hand rolls in opposite senses."
        )
    out.print(
        "An estimate, the work taken as rigid: look for a double impression on the first turn."
    )


def _most() -> str:
    from knurlcam.mechanics.swivel import SWIVEL_RANGE_DEG

    return f"{SWIVEL_RANGE_DEG:g}°"


def _tracking(found: Sequence[Fitting], units: Units) -> Any:
    made = table(
        ("rolls", "left"),
        ("form", "left"),
        ("helix", "right"),
        ("teeth", "right"),
        ("swivel", "right"),
        (rf"infeed \[{units}/rev]", "right"),
        (rf"tracks on \[{units}]", "right"),
    )
    for f in found:
        row = (str(f.teeth), _swivel(f), _feed(f, units), _window(f, units))
        made.add_row(*_names(f), *row)
    return made


def _not_tracking(found: Sequence[Fitting], units: Units) -> Any:
    made = table(
        ("rolls", "left"),
        ("form", "left"),
        ("helix", "right"),
        ("teeth that fit", "right"),
        (rf"track nearest on \[{units}]", "right"),
    )
    for f in found:
        made.add_row(*_names(f), f"{f.teeth + f.misfit_teeth:.2f}", _window(f, units))
    return made


def _names(found: Fitting) -> tuple[str, str, str]:
    """Return rolls, form and helix."""
    made = found.rolls
    name = escape(f"{made.name} in {made.tool}" if made.tool else made.name)
    return name, made.knurl.form, f"{found.helix_deg:.2f}°"


def _swivel(found: Fitting) -> str:
    if not found.swivel_range_deg:
        return "none"
    low, high = found.swivel_range_deg
    # Inward, so that each of the two angles still tracks.
    return f"{found.swivel_deg:+.2f}° ({_up(low):+.2f} to {-_up(-high):+.2f})"


def _up(degrees: float) -> float:
    import math

    return math.ceil(degrees * 100.0 - 1e-9) / 100.0


def _feed(found: Fitting, units: Units) -> str:
    from knurlcam.units.kinds import Kind
    from knurlcam.units.show import show_bare

    return show_bare(found.infeed_mm_per_rev, Kind.FEED, units)


def _window(found: Fitting, units: Units) -> str:
    from knurlcam.units.show import show_down

    low, high = found.window_mm
    inward = -float(show_down(-low, units).split()[0])
    places = 4 if units == "inch" else 3
    return f"{inward:.{places}f} to {show_down(high, units).split()[0]}"
