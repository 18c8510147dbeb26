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
    from knurlcam.units.kinds import Units

__all__ = ["blank"]

MOST_INFEED_MM = 1.0
"""Greatest first infeed that is tried [mm/rev]: ten times the firmest of a plan, so that a wrong
unit is caught."""


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
            help="First infeed a revolution, with --fixed; unless given, the gentlest that serves.",
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
        from knurlcam.job.geometry import called_geometry
        from knurlcam.mechanics.knurl import blanks_near
        from knurlcam.mechanics.tracking import blank_tolerance

        if callout is None:
            raise _callout_missing()
        shown = _units_of(diameter, units)
        near = given_length(diameter, "--diameter", shown)
        knurl = called_geometry(parse_callout(callout), swivelled=swivelled)
        found = blanks_near(knurl, near, count)
        tolerance = blank_tolerance(knurl.transverse_pitch_mm, knurl.diametral_pitch)
        if as_json:
            print_json(_blank_data(knurl, found, tolerance))
            return
        from knurlcam.cli.tables import print_blanks

        print_blanks(knurl, found, tolerance, near, shown)


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


def _blank_data(
    knurl: KnurlGeometry, found: Sequence[Candidate], tolerance_mm: float
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
