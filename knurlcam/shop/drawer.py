"""Which rolls of a drawer track on a blank that is there already, and how they are set for it.

Rolls track where the print of their first turn reaches as far as they come round beside it.
A firmer first infeed reaches further, and presses the circle deeper on which they roll; rolls
that are swivelled a little have another pitch round the work. Both are tried. The work is taken
as rigid, for nothing is known of it but its diameter.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from knurlcam.data.knurls import forms
from knurlcam.data.rolls import roll_sets, rolls
from knurlcam.job.callout import Callout
from knurlcam.job.geometry import called_geometry
from knurlcam.mechanics.capture import (
    first_turn_mm,
    first_turn_to_capture_mm,
    reach_per_mm,
    tracking_window_mm,
)
from knurlcam.mechanics.contact import Contact
from knurlcam.mechanics.knurl import KnurlGeometry, knurl_geometry
from knurlcam.mechanics.passes import pass_penetrations, recommended_passes
from knurlcam.mechanics.swivel import SWIVEL_RANGE_DEG, Swivel, swivels_that_fit
from knurlcam.mechanics.tool_styles import TOOL_STYLES, Style, contact_for
from knurlcam.mechanics.tooth import penetration
from knurlcam.mechanics.tracking import blank_diameter, blank_tolerance, nearest_teeth
from knurlcam.shop.file import Rolls
from knurlcam.shop.fill import Shop
from knurlcam.shop.match import ANGLE_MATCH_DEG, does_not_go_in
from knurlcam.units.kinds import Kind, Units
from knurlcam.units.quantities import parse_quantity

__all__ = [
    "FIRST_INFEEDS_MM",
    "Fitting",
    "RollingFirst",
    "RollsInTool",
    "called_rolls",
    "fittings",
    "rolling_first",
    "rolls_of",
]

FIRST_INFEEDS_MM = (0.05, 0.055, 0.06, 0.065, 0.07, 0.075, 0.08, 0.085, 0.09, 0.095, 0.1)
"""First infeeds that are tried, the gentlest first [mm/rev]: the range of a plan."""


class Pressed(NamedTuple):
    """What the rolls press in first.

    Attributes:
        turn_mm: What one turn of infeed would press in, radial [mm]
        first_pass_mm: What the first pass presses in, radial [mm]
    """

    turn_mm: float
    first_pass_mm: float

    @property
    def first_turn_mm(self) -> float:
        """What the first turn presses in, radial [mm]."""
        return min(self)


MADE_PITCH = 0.05
"""Share of the pitch by which rolls as counted and measured may be off it and still be those of a
callout [-]: a plan refuses more."""


@dataclass(frozen=True, slots=True)
class RollsInTool:
    """Rolls in a tool, and the knurl that they make as they stand.

    Attributes:
        name: The rolls' name; a callout for rolls of no drawer.
        tool: The tool's name; empty without one.
        forms: Roll forms of DIN 403.
        knurl: The knurl that they make as they stand.
        roll_diameter_mm: Diameter of the rolls [mm]
        style: The tool's style; None without a tool, whose slide is taken to press straight in.
        roll_spacing_mm: Vertical distance of the roll centres, heads only [mm]
    """

    name: str
    tool: str
    forms: tuple[str, ...]
    knurl: KnurlGeometry
    roll_diameter_mm: float
    style: Style | None = None
    roll_spacing_mm: float | None = None

    @property
    def traverses(self) -> bool:
        """Whether they may traverse: rolls with one family of teeth each."""
        return all(rolls()[form].traverses for form in self.forms)

    def presses(self, blank_mm: float, infeed_mm: float) -> Pressed:
        """Return what the first turn of infeed presses into a blank."""
        depth = self._depth_mm
        crossed = self.knurl.family != "straight"
        count = recommended_passes(crossed=crossed, plunge=not self.traverses)
        contact = self._contact(blank_mm, depth)
        if contact.half_spacing_mm >= contact.blank_radius_mm + contact.roll_radius_mm:
            return Pressed(0.0, 0.0)  # the rolls pass above and below such a blank
        turn = first_turn_mm(contact, infeed_mm, blank_mm)
        return Pressed(turn, pass_penetrations(depth, count)[0])

    @property
    def _depth_mm(self) -> float:
        """Penetration of teeth of the usual height, radial [mm]."""
        full = self.knurl.full_height_mm
        return penetration(self.knurl.usual_fullness * full, full, self.knurl.family)

    def _contact(self, blank_mm: float, depth_mm: float) -> Contact:
        if self.style is None:
            return Contact(blank_mm / 2.0, self.roll_diameter_mm / 2.0, 0.0, "touch-off")
        return contact_for(
            self.style,
            TOOL_STYLES[self.style].x_datum,
            blank_diameter_mm=blank_mm,
            roll_diameter_mm=self.roll_diameter_mm,
            full_penetration_mm=depth_mm,
            roll_spacing_mm=self.roll_spacing_mm,
        )


class Fitting(NamedTuple):
    """How rolls are set so that they track on a blank, or how far they are from it.

    Attributes:
        rolls: The rolls in their tool.
        tracks: Whether they track.
        teeth: Whole teeth round the blank [-]
        misfit_teeth: Exact teeth less these, as the rolls are set, signed [teeth]
        swivel_deg: How far each roll is turned beyond where it stands; to a larger helix [deg]
        swivel_range_deg: Between which angles they still track; None where they do not [deg]
        infeed_mm_per_rev: First infeed [mm/rev]
        first_turn_mm: What its first turn presses in, radial [mm]
        correction_mm: Tracking correction that was taken, on the diameter [mm]
        window_mm: Smallest and largest blank that track as the rolls are set [mm]
    """

    rolls: RollsInTool
    tracks: bool
    teeth: int
    misfit_teeth: float
    swivel_deg: float
    swivel_range_deg: tuple[float, float] | None
    infeed_mm_per_rev: float
    first_turn_mm: float
    correction_mm: float
    window_mm: tuple[float, float]

    @property
    def helix_deg(self) -> float:
        """Helix angle of the knurl as the rolls are set [deg]."""
        return self.rolls.knurl.helix_deg + self.swivel_deg

    def to_dict(self) -> dict[str, Any]:
        """Return the fitting as plain data, unrounded."""
        made = self.rolls
        return {
            "rolls": {"name": made.name, "forms": list(made.forms), "shop_tool": made.tool or None},
            "knurl": {
                "form": made.knurl.form,
                "pitch_mm": made.knurl.pitch_mm,
                "helix_deg": self.helix_deg,
                "profile_deg": made.knurl.profile_deg,
            },
            "tracks": self.tracks,
            "teeth": self.teeth,
            "misfit_teeth": self.misfit_teeth,
            "swivel_deg": self.swivel_deg,
            "swivel_range_deg": self.swivel_range_deg and list(self.swivel_range_deg),
            "infeed_mm_per_rev": self.infeed_mm_per_rev,
            "first_turn_mm": self.first_turn_mm,
            "correction_mm": self.correction_mm,
            "window_mm": list(self.window_mm),
        }


# -- what is in the drawer -------------------------------------------------------------


def rolls_of(shop: Shop, callout: Callout | None, units: Units) -> tuple[RollsInTool, ...]:
    """Return the rolls of a shop, each in every tool that takes it.

    Args:
        shop: The shop.
        callout: The knurl that they are to make; None for any.
        units: The units that sizes are shown in.
    """
    found: list[RollsInTool] = []
    for name, kept in shop.rolls.items():
        made = [
            RollsInTool(
                name,
                tool_name,
                kept.forms,
                knurl,
                _diameter_mm(kept),
                tool.get("style"),
                _spacing_mm(tool),
            )
            for tool_name, tool in _tools_for(name, kept, shop.tools, units)
            for knurl in _knurls_of(kept, swivelled=bool(tool.get("swivelled")))
        ]
        found += made or [
            RollsInTool(name, "", kept.forms, knurl, _diameter_mm(kept))
            for knurl in _knurls_of(kept, swivelled=False)
        ]
    if callout is None:
        return tuple(found)
    wanted = called_geometry(callout)
    return tuple(r for r in found if _makes(r.knurl, wanted))


def _makes(knurl: KnurlGeometry, wanted: KnurlGeometry) -> bool:
    """Whether rolls make a knurl that is called up, as near as rolls are picked for one."""
    return (
        knurl.form == wanted.form
        and abs(knurl.pitch_mm - wanted.pitch_mm) <= MADE_PITCH * wanted.pitch_mm
        and abs(knurl.profile_deg - wanted.profile_deg) <= ANGLE_MATCH_DEG
        and abs(knurl.helix_deg - wanted.helix_deg) <= ANGLE_MATCH_DEG
    )


def called_rolls(callout: Callout, *, swivelled: bool = False) -> RollsInTool:
    """Return rolls that make a callout, of no drawer and in no tool.

    Args:
        callout: The knurl.
        swivelled: Whether straight rolls are turned by the helix angle.
    """
    knurl = called_geometry(callout, swivelled=swivelled)
    sets = roll_sets(knurl.form)
    made = next((s for s in sets if s.swivelled == swivelled), sets[0])
    # Without a tool the slide is taken to press straight in, whatever the rolls' diameter.
    return RollsInTool(knurl.callout, "", made.rolls, knurl, 20.0)


class RollingFirst(NamedTuple):
    """Where rolls of no tool roll on a blank.

    Attributes:
        infeed_mm_per_rev: First infeed that is assumed [mm/rev]
        correction_mm: Tracking correction, on the diameter [mm]
        most_mm: Most that it may be [mm]
    """

    infeed_mm_per_rev: float
    correction_mm: float
    most_mm: float


def rolling_first(rolls: RollsInTool, blank_mm: float, infeed_mm: float | None) -> RollingFirst:
    """Return where rolls roll on a blank, their slide taken to press straight in.

    Args:
        rolls: Rolls of a callout.
        blank_mm: Diameter of the blank [mm]
        infeed_mm: First infeed; None for the gentlest of a plan [mm/rev]
    """
    infeed = FIRST_INFEEDS_MM[0] if infeed_mm is None else infeed_mm
    correction = _correction_mm(rolls, rolls.presses(blank_mm, infeed).first_turn_mm)
    return RollingFirst(infeed, correction, 2.0 * correction)


def _tools_for(
    name: str, kept: Rolls, tools: Mapping[str, Mapping[str, Any]], units: Units
) -> Iterator[tuple[str, Mapping[str, Any]]]:
    for tool_name, tool in tools.items():
        mounted = tool.get("mounted")
        listed = mounted is None or name in mounted
        if listed and tool.get("style") and not does_not_go_in(kept, tool, {}, units):
            yield tool_name, tool


def _spacing_mm(tool: Mapping[str, Any]) -> float | None:
    given = tool.get("roll_spacing")
    return None if given is None else parse_quantity(given, Kind.LENGTH)


def _knurls_of(kept: Rolls, *, swivelled: bool) -> Iterator[KnurlGeometry]:
    """Return the knurls that rolls make, the first form of each pitch round the work."""
    seen: set[tuple[float, str]] = set()
    for form, row in forms().items():
        if not any(
            sorted(s.rolls) == sorted(kept.forms) and s.swivelled == swivelled
            for s in roll_sets(form)
        ):
            continue
        helix = row.helix_deg if swivelled else kept.helix_deg(0.0)
        if (helix, row.family) in seen:
            continue
        seen.add((helix, row.family))
        pitch = _pitch_mm(kept, helix, swivelled=swivelled)
        knurl = knurl_geometry(
            form, "pitch", pitch, helix_deg=helix, profile_deg=kept.profile_angle
        )
        yield replace(knurl, diametral_pitch=kept.diametral_pitch)


def _pitch_mm(kept: Rolls, helix_deg: float, *, swivelled: bool) -> float:
    """Return the pitch across the teeth, as counted and measured where the drawer says so [mm]."""
    teeth, measured = kept.roll_teeth, kept.roll_measured_diameter
    if teeth is None or measured is None:
        return kept.pitch_mm(helix_deg, swivelled=swivelled)
    # Round the roll its teeth stand at the roll's own helix, however it is turned.
    return math.pi * measured / teeth * math.cos(math.radians(kept.helix_deg(0.0)))


def _diameter_mm(kept: Rolls) -> float:
    return kept.roll_measured_diameter or kept.roll_diameter


# -- what tracks -----------------------------------------------------------------------


def fittings(
    drawer: Iterable[RollsInTool], blank_mm: float, infeed_mm: float | None = None
) -> tuple[Fitting, ...]:
    """Return how each set of rolls is set for a blank, those that track first.

    Args:
        drawer: The rolls.
        blank_mm: Diameter of the blank, which stays as it is [mm]
        infeed_mm: The first infeed; None for the gentlest that serves [mm/rev]
    """
    infeeds = FIRST_INFEEDS_MM if infeed_mm is None else (infeed_mm,)
    found = [_fitting(r, blank_mm, infeeds) for r in drawer]
    return tuple(sorted(found, key=_worth))


def _worth(found: Fitting) -> tuple[bool, float, float]:
    """Order: what tracks first, least turned first, gentlest infeed first."""
    return not found.tracks, abs(found.swivel_deg), found.infeed_mm_per_rev


def _fitting(made: RollsInTool, blank_mm: float, infeeds: tuple[float, ...]) -> Fitting:
    """Return how rolls are set: as they stand if they track so, else swivelled, else neither."""
    straight = [_set(made, blank_mm, infeed, None) for infeed in infeeds]
    for one in straight:
        if one.tracks:
            return one
    infeed = _sure_infeed(made, blank_mm, infeeds)
    for swivel in _swivels(made, blank_mm, infeed):
        turned = _set(made, blank_mm, infeed, swivel)
        if turned.tracks:
            return turned
    return straight[-1]


def _sure_infeed(made: RollsInTool, blank_mm: float, infeeds: tuple[float, ...]) -> float:
    """Return the first infeed for rolls that are swivelled, as a plan chooses it [mm/rev].

    The least whose window is as wide as the handbook's tolerance; the firmest for the diametral
    system, whose rolls presuppose it.
    """
    knurl = made.knurl
    if knurl.diametral_pitch is not None:
        return infeeds[-1]
    wanted = first_turn_to_capture_mm(
        blank_tolerance(knurl.transverse_pitch_mm),
        helix_deg=knurl.helix_deg,
        profile_deg=knurl.profile_deg,
    )
    return next(
        (f for f in infeeds if made.presses(blank_mm, f).first_turn_mm >= wanted), infeeds[-1]
    )


def _swivels(made: RollsInTool, blank_mm: float, infeed: float) -> tuple[Swivel, ...]:
    """Return how far rolls may be turned so that teeth fit; none where turning spoils the knurl."""
    # A roll with two crossing families of teeth would have two pitches round the work.
    if not made.traverses:
        return ()
    knurl, turn = made.knurl, made.presses(blank_mm, infeed).first_turn_mm
    rolling = blank_mm - _correction_mm(made, turn)
    reach = reach_per_mm(knurl.profile_deg) * turn
    found = swivels_that_fit(rolling, knurl.pitch_mm, knurl.helix_deg, reach)
    return tuple(s for s in found if abs(s.exact_deg) <= SWIVEL_RANGE_DEG)


def _correction_mm(made: RollsInTool, first_turn: float) -> float:
    # The rolls of a diametral pitch carry it in themselves.
    return 0.0 if made.knurl.diametral_pitch is not None else first_turn


def _set(made: RollsInTool, blank_mm: float, infeed: float, swivel: Swivel | None) -> Fitting:
    """Return what becomes of a blank with rolls that are set so."""
    knurl, pressed = made.knurl, made.presses(blank_mm, infeed)
    turn = pressed.first_turn_mm
    correction = _correction_mm(made, turn)
    helix = knurl.helix_deg + (0.0 if swivel is None else swivel.exact_deg)
    transverse = knurl.pitch_mm / math.cos(math.radians(helix))
    teeth, misfit = nearest_teeth(blank_mm - correction, transverse)
    window = tracking_window_mm(
        blank_diameter(teeth, transverse) + correction,
        *pressed,
        helix_deg=helix,
        profile_deg=knurl.profile_deg,
    )
    tracks = window[0] <= blank_mm <= window[1]
    return Fitting(
        rolls=made,
        tracks=tracks,
        teeth=teeth,
        misfit_teeth=misfit,
        swivel_deg=helix - knurl.helix_deg,
        swivel_range_deg=(swivel.from_deg, swivel.to_deg) if tracks and swivel else None,
        infeed_mm_per_rev=infeed,
        first_turn_mm=turn,
        correction_mm=correction,
        window_mm=window,
    )
