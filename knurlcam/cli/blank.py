"""``knurlcam blank``: blanks that a callout fits, or rolls that fit a blank."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from knurlcam.cli.lengths import given_length
from knurlcam.cli.options import AsJson, ShopFile, UnitName
from knurlcam.cli.output import errors_reported, print_json

if TYPE_CHECKING:
    from collections.abc import Sequence

    from knurlcam.errors import InputError
    from knurlcam.mechanics.knurl import Candidate, KnurlGeometry
    from knurlcam.shop.drawer import RollingFirst, RollsInTool
    from knurlcam.units.kinds import Units

__all__ = ["blank"]

MOST_INFEED_MM = 1.0
"""Greatest first infeed that is tried [mm/rev]: ten times the firmest of a plan, so that a wrong
unit is caught."""

MOST_OFF = 0.05
"""Share by which a roll's pitch may differ from the callout's [-], as a plan has it."""


def blank(
    diameter: Annotated[
        str,
        typer.Option(
            "--diameter", metavar="D", help='Diameter to look near, as "25 mm" or "1.000 in".'
        ),
    ],
    callout: Annotated[
        str | None,
        typer.Argument(
            metavar="CALLOUT",
            help='Such as "DIN 82 RGE 1.0"; may be left out with --fixed.',
            show_default=False,
        ),
    ] = None,
    units: Annotated[
        UnitName | None,
        typer.Option("--units", help="Units of the table and of a bare diameter."),
    ] = None,
    count: Annotated[
        int, typer.Option("--count", min=1, max=99, help="How many blanks to list.")
    ] = 5,
    swivelled: Annotated[
        bool,
        typer.Option("--swivelled", help="Straight-toothed rolls swivelled by the helix angle."),
    ] = False,
    fixed: Annotated[
        bool,
        typer.Option(
            "--fixed",
            help="The blank is there and stays as it is: which rolls track on it, and how set.",
        ),
    ] = False,
    infeed: Annotated[
        str | None,
        typer.Option(
            "--infeed",
            metavar="F",
            help="First infeed a revolution; unless given 0.05 mm, with --fixed the gentlest that "
            "serves.",
        ),
    ] = None,
    roll_teeth: Annotated[
        int | None,
        typer.Option(
            "--roll-teeth", min=8, max=2000, metavar="N", help="Teeth of a roll, counted."
        ),
    ] = None,
    roll_diameter: Annotated[
        str | None,
        typer.Option(
            "--roll-diameter", metavar="D", help="Its diameter over the tips; gives the true pitch."
        ),
    ] = None,
    shop: ShopFile = None,
    as_json: AsJson = False,
) -> None:
    """Blank diameters on which a whole number of teeth fits; or rolls that fit a blank."""
    with errors_reported(as_json=as_json):
        if fixed:
            from knurlcam.cli.blank_fixed import Stock, show_rolls_for

            shown = _units_of(diameter, units)
            near = given_length(diameter, "--diameter", shown)
            stock = Stock(near, _feed_or_none(infeed, shown), shown)
            if not show_rolls_for(stock, callout, shop, swivelled=swivelled, as_json=as_json):
                raise typer.Exit(1)
            return
        from knurlcam.job.callout import parse_callout
        from knurlcam.mechanics.knurl import blanks_near
        from knurlcam.mechanics.tracking import blank_tolerance
        from knurlcam.shop.drawer import called_rolls, rolling_first

        if callout is None:
            raise _callout_missing()
        asked = parse_callout(callout)
        if asked.system != "pitch" and units is None and _is_bare(diameter):
            raise _units_missing(diameter)
        shown = _units_of(diameter, units)
        near = given_length(diameter, "--diameter", shown)
        rolls = called_rolls(asked, swivelled=swivelled)
        if roll_teeth is not None or roll_diameter is not None:
            rolls = _as_measured(rolls, roll_teeth, roll_diameter, shown)
        knurl = rolls.knurl
        first = rolling_first(rolls, near, _feed_or_none(infeed, shown))
        found = blanks_near(knurl, near, count, first.correction_mm)
        tolerance = blank_tolerance(knurl.transverse_pitch_mm, knurl.diametral_pitch)
        if as_json:
            print_json(_blank_data(knurl, found, tolerance, first))
            return
        from knurlcam.cli.tables import print_blanks

        print_blanks(knurl, found, tolerance, near, shown, first)


def _as_measured(
    rolls: RollsInTool, teeth: int | None, diameter: str | None, units: Units
) -> RollsInTool:
    """Return rolls with the pitch that their count and their measure give."""
    from dataclasses import replace

    from knurlcam.errors import InputError
    from knurlcam.mechanics.roll_pitch import roll_pitch

    if teeth is None or diameter is None:
        raise InputError(
            "is missing",
            key="--roll-teeth" if teeth is None else "--roll-diameter",
            expected="both the count of a roll's teeth and its diameter over their tips",
            remedy="give both, or neither",
        )
    size = given_length(diameter, "--roll-diameter", units)
    straight = "AA" in rolls.forms
    pitch = roll_pitch(size, teeth, 0.0 if straight else rolls.knurl.helix_deg)
    off = pitch / rolls.knurl.pitch_mm - 1.0
    if abs(off) > MOST_OFF:
        raise InputError(
            f"such a roll has a pitch of {pitch:.3f} mm, not that of {rolls.knurl.callout}",
            key="--roll-teeth",
            value=teeth,
            expected=f"a pitch within {MOST_OFF * 100:g} % of {rolls.knurl.pitch_mm:.3f} mm",
            remedy="count and measure again, or correct the callout",
        )
    return replace(rolls, knurl=rolls.knurl.with_pitch(pitch))


def _callout_missing() -> InputError:
    from knurlcam.errors import InputError

    return InputError(
        "is missing",
        key="CALLOUT",
        expected='a callout such as "DIN 82 RGE 1.0"',
        remedy="give it, or ask with --fixed which rolls of the shop file track",
    )


def _feed_or_none(text: str | None, units: Units) -> float | None:
    """Return a first infeed that may be left out [mm/rev]."""
    from knurlcam.errors import InputError
    from knurlcam.units.kinds import Kind, QuantityError
    from knurlcam.units.quantities import parse_quantity

    if text is None:
        return None
    try:
        feed = parse_quantity(text, Kind.FEED, units)
    except QuantityError as error:
        raise error.at(key="--infeed", value=text) from None
    if not 0.0 < feed <= MOST_INFEED_MM:
        raise InputError(
            "is out of range",
            key="--infeed",
            value=text,
            expected=f"more than 0 and at most {MOST_INFEED_MM:g} mm/rev",
            remedy="correct it",
        )
    return feed


def _units_of(diameter: str, asked: UnitName | None) -> Units:
    """Return the units asked for; else those that the diameter itself is given in."""
    if asked is not None:
        return asked.value
    return "inch" if diameter.rstrip().lower().endswith(("in", "inch", "inches", '"')) else "mm"


def _is_bare(diameter: str) -> bool:
    return not any(sign.isalpha() or sign in "\"'" for sign in diameter)


def _units_missing(diameter: str) -> InputError:
    """Return the question that a bare diameter raises beside a pitch in teeth per inch."""
    from knurlcam.errors import InputError

    return InputError(
        "has no unit, and the pitch is one of inches",
        key="--diameter",
        value=diameter,
        expected=f'"{diameter} in" or "{diameter} mm"',
        remedy="write the unit, or give --units inch or --units mm",
    )


def _blank_data(
    knurl: KnurlGeometry, found: Sequence[Candidate], tolerance_mm: float, first: RollingFirst
) -> dict[str, Any]:
    return {
        "knurl": {
            "form": knurl.form,
            "pitch_mm": knurl.pitch_mm,
            "helix_deg": knurl.helix_deg,
            "profile_deg": knurl.profile_deg,
            "callout": knurl.callout,
            "transverse_pitch_mm": knurl.transverse_pitch_mm,
            "full_tooth_height_mm": knurl.full_height_mm,
            "full_growth_mm": knurl.full_growth_mm,
        },
        "tracking": {
            "correction_mm": first.correction_mm,
            "correction_high_mm": first.most_mm,
            "infeed_mm_per_rev": first.infeed_mm_per_rev,
        },
        "candidates": [
            {
                "teeth": c.teeth,
                "blank_diameter_mm": c.blank_diameter_mm,
                "tolerance_mm": tolerance_mm,
                "full_form_diameter_mm": c.knurled_diameter_mm,
            }
            for c in found
        ],
    }
