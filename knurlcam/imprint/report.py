"""The imprint in words: rows that the command prints, the page shows and the picture carries."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from knurlcam.imprint.make import Imprint
from knurlcam.imprint.rolling import WORST_RETURN
from knurlcam.imprint.verdict import verdict_of, verdict_on, warning_on
from knurlcam.imprint.window import CLEAN, Window
from knurlcam.plan.model import Plan
from knurlcam.units.kinds import MM_PER_INCH, Kind
from knurlcam.units.show import Shown, show_bare, show_down

__all__ = [
    "ESTIMATE",
    "Figure",
    "imprint_dict",
    "imprint_rows",
    "picture_facts",
    "picture_title",
    "remarks_of",
    "window_rows",
]

ESTIMATE = (
    "An estimate: plain teeth, pressed straight into metal that flows evenly and keeps its volume."
)

AS_PLANNED = 0.01
"""Share by which a figure may differ and still be as planned [-]"""

WRITTEN_MM = {"mm": 0.001, "inch": 0.0001 * MM_PER_INCH}
"""Worth of a length's last digit, by the job's units [mm]: limits are rounded inward to it."""


class Figure(NamedTuple):
    """A row of a table: what was measured, its figure in the job's units, and a note on it."""

    name: str
    value: str
    note: str


def _tracking_of(imprint: Imprint) -> str:
    """Return whether the rolls track, and why."""
    course, rolling, plan = imprint.course, imprint.rolling, imprint.rolling.plan
    mm = Shown(plan.job.units).length
    natural = course.natural_teeth
    misfit = natural - round(natural)
    first = course.stays[0].first_turn_mm
    reach = rolling.reach_per_mm * first / plan.knurl.pitch_mm
    off = f", {abs(misfit):.2f} of a tooth {'over' if misfit > 0 else 'short'}"
    return (
        f"{natural:.2f} teeth fit round this blank{off if abs(misfit) >= 0.005 else ''}; the first "
        f"turn presses {mm(first)} deep, and the rolls find such a track again if they are up to "
        f"{reach:.2f} of a tooth off: they {_where_they_run(imprint)}."
    )


def _where_they_run(imprint: Imprint) -> str:
    """Return in which tracks the rolls end up."""
    course = imprint.course
    teeth, tracks = imprint.measures.teeth, course.beside_each_other
    if course.dragged_mm:
        return "are also dragged along the work, and stay in no track"
    if course.settled is None and len(course.turns) > 1:
        return f"never track, and cut {tracks} tracks beside each other, {teeth} teeth in all"
    if tracks > 1:
        return f"run in {tracks} tracks beside each other, {teeth} teeth in all"
    stray = _stray_tracks(imprint)
    left = f", and what they printed before in {stray} more shows beside it" if stray else ""
    return f"run in one track of {teeth} teeth{left}"


def _stray_tracks(imprint: Imprint) -> int:
    """Return how many tracks the rolls left that still show between the teeth."""
    seen = imprint.measures.double_impression >= CLEAN
    return imprint.course.stray_tracks if seen else 0


def imprint_rows(imprint: Imprint) -> list[Figure]:
    """Return what is measured on a height map.

    Args:
        imprint: What the rolls leave.
    """
    plan, found = imprint.rolling.plan, imprint.measures
    mm = Shown(plan.job.units).length
    wide = found.crest_width_mm / found.pitch_mm
    rows = [
        Figure(
            "double impression",
            f"{found.double_impression:.2f}",
            f"{verdict_on(imprint)}; 0 clean, 1 fully doubled",
        ),
        Figure(
            "teeth",
            str(found.teeth),
            _teeth_note(imprint),
        ),
        Figure("pitch", mm(found.pitch_mm), f"helix {found.helix_deg:.1f}°"),
        Figure("knurled diameter", mm(found.knurled_diameter_mm), _diameter_note(imprint)),
        Figure(
            "tooth height",
            mm(found.tooth_height_mm),
            _against(plan, found.tooth_height_mm, plan.tooth_height_mm),
        ),
        Figure("crest width", mm(found.crest_width_mm), f"{wide:.2f} of the pitch"),
        Figure("length", mm(found.length_mm), _ends_of(imprint)),
        Figure(
            "depth uniformity",
            f"{found.evenness:.2f}",
            "least over greatest depth of the roots along the knurl",
        ),
    ]
    # Said only where it happens: it is the exception, and a row of zero would raise questions.
    if imprint.held_off_mm > 0.0:
        note = "metal fills the teeth of the rolls and lifts them off"
        rows.append(Figure("roll lift-off", mm(imprint.held_off_mm), note))
    return rows


def _teeth_note(imprint: Imprint) -> str:
    """Return how the teeth compare with the planned ones, and in how many tracks they lie."""
    plan, tracks = imprint.rolling.plan, imprint.course.beside_each_other
    planned = "as planned" if imprint.measures.teeth == plan.teeth else f"planned {plan.teeth}"
    if tracks > 1:
        return f"{planned}; {tracks} tracks beside each other"
    return f"{planned}; stray grooves between them" if _stray_tracks(imprint) else planned


def _against(plan: Plan, made: float, wanted: float) -> str:
    """Return how a length compares with the planned one."""
    mm = Shown(plan.job.units).length
    same = abs(made - wanted) <= AS_PLANNED * wanted
    return "as planned" if same else f"planned {mm(wanted)}"


def _diameter_note(imprint: Imprint) -> str:
    """Return the range of the knurled diameter, and how it compares with the planned one."""
    plan, found = imprint.rolling.plan, imprint.measures
    mm = Shown(plan.job.units).length
    low, high = (mm(value) for value in found.knurled_range_mm)
    bare_low = show_bare(found.knurled_range_mm[0], Kind.LENGTH, plan.job.units)
    along = "" if low == high else f"{bare_low} to {high} along it; "
    # Held against the growth: within 1 % of the whole diameter everything would be as planned.
    blank = imprint.rolling.blank_diameter_mm
    grown, wanted = found.knurled_diameter_mm - blank, plan.knurled_diameter_mm - blank
    same = abs(grown - wanted) <= AS_PLANNED * wanted
    return f"{along}{'as planned' if same else f'planned {mm(plan.knurled_diameter_mm)}'}"


def _ends_of(imprint: Imprint) -> str:
    """Return how a knurl's length compares with the plan, and how it ends toward the chuck."""
    plan, found = imprint.rolling.plan, imprint.measures
    mm = Shown(plan.job.units).length
    runout = found.runout_mm
    ends = "ends evenly" if runout < 2.0 * imprint.surface.dz_mm else "ends unevenly"
    if ends == "ends unevenly":
        ends += f", by {mm(runout)} round the work"
    wanted = plan.job.knurl.length
    # A pattern ends somewhere within its period: half a pitch is no error of length.
    same = abs(found.length_mm - wanted) <= max(AS_PLANNED * wanted, plan.knurl.pitch_mm / 2.0)
    return f"{'as planned' if same else f'planned {mm(wanted)}'}; {ends}"


def window_rows(plan: Plan, window: Window) -> list[Figure]:
    """Return the window of good blanks.

    Args:
        plan: The plan.
        window: On which blanks the program's knurl is clean.
    """
    mm = Shown(plan.job.units).length
    units = plan.job.units
    handbook = f"the handbook allows {plan.handbook_tolerance_text}"
    if window.comes_back:
        handbook = f"if the rolls find their track again; {handbook}"
    if window.from_mm is None or window.to_mm is None:
        note = f"not even the planned one is clean; {handbook}"
        return [Figure("blanks that track", "none", note)]
    below, above = window.planned_mm - window.from_mm, window.to_mm - window.planned_mm
    step = WRITTEN_MM[units]
    # Inward: a limit that is written must itself be clean.
    low, high = math.ceil(window.from_mm / step) * step, math.floor(window.to_mm / step) * step
    span = f"{show_bare(low, Kind.LENGTH, units)} to {mm(high)}"
    off = f"+{show_down(above, units)} / -{show_down(below, units)} with this program"
    return [Figure("blanks that track", span, f"{off}; {handbook}")]


def remarks_of(imprint: Imprint) -> list[str]:
    """Return what a reader must know of how the map was made, in sentences.

    Args:
        imprint: What the rolls leave.
    """
    said = [_tracking_of(imprint)]
    if len(imprint.course.stays) > 1:
        off = imprint.rolling.return_teeth
        worst = ", the worst case" if off == WORST_RETURN else ""
        said.append(
            "The rolls leave the work and come back. Where their teeth come down then is unknown: "
            f"{off:.2f} of a tooth beside their track is assumed{worst}."
        )
    # Of a double impression the verdict says all; other faults need their sentence.
    warning = warning_on(imprint)
    if warning and verdict_on(imprint) != verdict_of(imprint.measures.double_impression):
        said.append(warning)
    said += _on_deflection(imprint)
    if imprint.rolling.plan.job.tool.bevelled_rolls:
        said.append("The bevels of the rolls are not drawn.")
    return said


def _on_deflection(imprint: Imprint) -> list[str]:
    """Return what was assumed of the work's deflection, where that is not its own."""
    rolling, estimate = imprint.rolling, imprint.rolling.plan.estimate
    if rolling.stiff:
        return []
    if estimate is None or estimate.deflection is None:
        return ["The deflection of the work is not available: the work is taken as rigid."]
    if imprint.blank_off_mm:
        return ["The deflection is taken as that of the planned blank."]
    return []


def imprint_dict(imprint: Imprint, window: Window) -> dict[str, Any]:
    """Return all figures as plain data, unrounded.

    Args:
        imprint: What the rolls leave.
        window: On which blanks the program's knurl is clean.
    """
    course, surface = imprint.course, imprint.surface
    return {
        **imprint.measures.to_dict(),
        "clean": verdict_on(imprint) == "clean",
        "verdict": verdict_on(imprint),
        "blank_diameter_mm": imprint.rolling.blank_diameter_mm,
        "planned_blank_diameter_mm": imprint.rolling.plan.blank_diameter_mm,
        "natural_teeth": course.natural_teeth,
        "tracks": course.beside_each_other,
        "settled_after_turns": course.settled,
        "held_off_mm": imprint.held_off_mm,
        "stiff": imprint.rolling.stiff,
        "resolution_mm": [surface.dz_mm, surface.cell_mm],
        "window": window.to_dict(),
        "remarks": remarks_of(imprint),
    }


def picture_title(imprint: Imprint) -> str:
    """Return the title of an imprint's picture.

    Args:
        imprint: What the rolls leave.
    """
    plan = imprint.rolling.plan
    mm = Shown(plan.job.units).length
    title = f"{plan.job.part.name}: {plan.knurl.callout}"
    if not imprint.blank_off_mm:
        return title
    return f"{title}, on a blank of {mm(imprint.rolling.blank_diameter_mm)}"


def picture_facts(imprint: Imprint, window: Window) -> dict[str, str]:
    """Return name and figure of what stands below an imprint's picture.

    Args:
        imprint: What the rolls leave.
        window: On which blanks the program's knurl is clean.
    """
    plan, found = imprint.rolling.plan, imprint.measures
    mm = Shown(plan.job.units).length
    facts = {
        "Double impression": f"{found.double_impression:.2f}, {verdict_on(imprint)}",
        "Blank": f"{mm(imprint.rolling.blank_diameter_mm)}"
        + (f" (planned {mm(plan.blank_diameter_mm)})" if imprint.blank_off_mm else ""),
        "Blanks that track": window_rows(plan, window)[0][1],
        "Teeth": f"{found.teeth} (planned {plan.teeth})",
        "Pitch, helix": f"{mm(found.pitch_mm)}, {found.helix_deg:.1f}°",
        "Depth uniformity": f"{found.evenness:.2f}",
    }
    for name, made, wanted in (
        ("Knurled diameter", found.knurled_diameter_mm, plan.knurled_diameter_mm),
        ("Tooth height", found.tooth_height_mm, plan.tooth_height_mm),
    ):
        facts[name] = f"{mm(made)} (planned {mm(wanted)})"
    facts["Crest width"] = mm(found.crest_width_mm)
    return facts
