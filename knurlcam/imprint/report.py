"""The imprint in words: rows that the command prints, the page shows and the picture bears."""

from __future__ import annotations

import math
from typing import Any

from knurlcam.imprint.make import Imprint
from knurlcam.imprint.window import CLEAN, PredictedImprint, Window
from knurlcam.plan.model import Plan
from knurlcam.units.kinds import MM_PER_INCH, Kind
from knurlcam.units.show import show, show_bare, show_down

__all__ = [
    "ESTIMATE",
    "imprint_dict",
    "imprint_rows",
    "picture_facts",
    "picture_title",
    "predicted_text",
    "remarks_of",
    "tracking_of",
    "verdict_of",
    "verdict_on",
    "warning_on",
    "window_rows",
]

ESTIMATE = (
    "An estimate: plain teeth, pressed straight into metal that flows evenly and keeps its volume."
)

AS_PLANNED = 0.01
"""Share by which a figure may differ and still be as planned."""

WRITTEN_MM = {"mm": 0.001, "inch": 0.0001 * MM_PER_INCH}
"""What the last digit of a length comes to: limits are rounded towards what is good [mm]"""

OVERFULL = 0.1
"""Share of the full tooth height by which rolls may be held off; pressed deeper they stall,
break, or bend the work."""

DRAGGED = 0.1
"""Pitches by which rolls with two families of teeth may be moved along the work."""

SHALLOW = 0.75
"""Share of the planned tooth height below which a knurl is called shallow."""

FULLY = 0.5
"""Double impression from which a knurl is scrap, and not only marked."""


def verdict_of(double_impression: float) -> str:
    """Return in a few words what a double impression comes to.

    Args:
        double_impression: 0 clean to 1 fully doubled [-]
    """
    if double_impression < CLEAN:
        return "clean"
    return "marked twice" if double_impression < FULLY else "double impression"


def verdict_on(imprint: Imprint) -> str:
    """Return in a few words what an imprint comes to; only one of them is ``clean``.

    Args:
        imprint: What the rolls leave.
    """
    plan, found = imprint.rolling.plan, imprint.measures
    if imprint.course.dragged_mm > DRAGGED * plan.knurl.pitch_mm:
        return "dragged along the work"
    if found.double_impression >= CLEAN:
        return verdict_of(found.double_impression)
    if imprint.held_off_mm > OVERFULL * plan.knurl.full_height_mm:
        return "pressed too deep"
    if found.tooth_height_mm < SHALLOW * plan.tooth_height_mm:
        return "single prints, but shallow"
    return verdict_of(found.double_impression)


def warning_on(imprint: Imprint) -> str:
    """Return what is wrong with an imprint, in a sentence; empty where it is clean.

    Args:
        imprint: What the rolls leave.
    """
    plan, found = imprint.rolling.plan, imprint.measures
    verdict = verdict_on(imprint)
    if verdict == "dragged along the work":
        return (
            f"Rolls that cannot traverse are dragged {_mm(plan, imprint.course.dragged_mm)} along "
            "the work: they wipe their print out."
        )
    if found.double_impression >= CLEAN:
        return (
            f"The rolls print between their own teeth: {found.double_impression:.2f}, where 0 is "
            "clean and 1 fully doubled."
        )
    if verdict == "pressed too deep":
        return (
            f"The rolls are pressed {_mm(plan, imprint.held_off_mm)} deeper than their teeth have "
            "room for metal: they would stall, break, or bend the work."
        )
    if verdict != "clean":
        return (
            f"The teeth come out {_mm(plan, found.tooth_height_mm)} high, of planned "
            f"{_mm(plan, plan.tooth_height_mm)}."
        )
    return ""


def predicted_text(predicted: PredictedImprint) -> str:
    """Return what the program of a plan will leave, in a few words.

    Args:
        predicted: What it will leave.
    """
    worst, found = predicted
    said = f"{_tracking(worst)}, double impression {worst:.2f}"
    if _tracking(worst) == _tracking(found):
        return f"{said} (0 none, 1 fully doubled)"
    return (
        f"{_tracking(found)} if they find their track again after the trial strip, at worst {said}"
    )


def _tracking(double_impression: float) -> str:
    """Return what is foreseen without a map: whether the rolls track, not how high teeth come."""
    clean = double_impression < CLEAN
    return "the rolls track" if clean else verdict_of(double_impression)


def _mm(plan: Plan, value: float) -> str:
    return show(value, Kind.LENGTH, plan.job.units)


def tracking_of(imprint: Imprint) -> str:
    """Return whether the rolls track, and why, in one sentence.

    Args:
        imprint: What the rolls leave.
    """
    course, rolling, plan = imprint.course, imprint.rolling, imprint.rolling.plan
    natural = course.natural_teeth
    misfit = natural - round(natural)
    first = course.stays[0].first_turn_mm
    reach = rolling.reach_per_mm * first / plan.knurl.pitch_mm
    grooves, tracks = course.closing_teeth, len(course.last_tracks)
    if course.dragged_mm:
        fate = "are dragged along the work besides, and keep to no track"
    elif course.settled is None and len(course.turns) > 1:
        fate = f"fall into none, and cut {tracks} beside each other"
    elif tracks == 1:
        fate = f"run in one track of {grooves} teeth"
    else:
        fate = f"run in {tracks} tracks beside each other, {grooves} grooves round the work"
    off = f", {abs(misfit):.2f} of a tooth {'over' if misfit > 0 else 'short'}"
    return (
        f"{natural:.2f} teeth go round this blank{off if abs(misfit) >= 0.005 else ''}; the first "
        f"turn goes {_mm(plan, first)} deep, and rolls fall into such a track from {reach:.2f} of "
        f"a tooth: they {fate}."
    )


def imprint_rows(imprint: Imprint) -> list[tuple[str, str, str]]:
    """Return name, figure and remark of what is measured on a height map.

    Args:
        imprint: What the rolls leave.
    """
    plan, found = imprint.rolling.plan, imprint.measures
    low, high = found.knurled_range_mm

    def mm(value: float) -> str:
        return _mm(plan, value)

    def planned(made: float, wanted: float) -> str:
        same = abs(made - wanted) <= AS_PLANNED * wanted
        return "as planned" if same else f"planned {mm(wanted)}"

    bare_low = show_bare(low, Kind.LENGTH, plan.job.units)
    along = "" if mm(low) == mm(high) else f"{bare_low} to {mm(high)} along it; "
    blank = imprint.rolling.blank_diameter_mm
    grown = planned(found.knurled_diameter_mm - blank, plan.knurled_diameter_mm - blank)
    if grown != "as planned":
        grown = f"planned {mm(plan.knurled_diameter_mm)}"
    wide = found.crest_width_mm / found.pitch_mm
    rows = [
        (
            "double impression",
            f"{found.double_impression:.2f}",
            f"{verdict_on(imprint)}; 0 clean, 1 fully doubled",
        ),
        (
            "teeth",
            str(found.teeth),
            "as planned" if found.teeth == plan.teeth else f"planned {plan.teeth}",
        ),
        ("pitch", mm(found.pitch_mm), f"helix {found.helix_deg:.1f}°"),
        (
            "knurled diameter",
            mm(found.knurled_diameter_mm),
            along + grown,
        ),
        (
            "tooth height",
            mm(found.tooth_height_mm),
            planned(found.tooth_height_mm, plan.tooth_height_mm),
        ),
        ("crest width", mm(found.crest_width_mm), f"{wide:.2f} of the pitch"),
        ("length", mm(found.length_mm), _ends_of(imprint)),
        ("evenness", f"{found.evenness:.2f}", "least over largest depth of the roots along it"),
    ]
    if imprint.held_off_mm > 0.0:
        rows.append(
            (
                "held off",
                mm(imprint.held_off_mm),
                "the metal fills the teeth of the rolls, and lets them no deeper",
            )
        )
    return rows


def _ends_of(imprint: Imprint) -> str:
    """Return how long a knurl is against the plan, and how it ends at the line."""
    plan, found = imprint.rolling.plan, imprint.measures
    runout = found.runout_mm
    ends = "ends evenly" if runout < 2.0 * imprint.surface.dz_mm else "ends unevenly"
    if ends == "ends unevenly":
        ends += f", by {_mm(plan, runout)} round the work"
    wanted = plan.job.knurl.length
    same = abs(found.length_mm - wanted) <= max(AS_PLANNED * wanted, plan.knurl.pitch_mm / 2.0)
    return f"{'as planned' if same else f'planned {_mm(plan, wanted)}'}; {ends}"


def window_rows(plan: Plan, window: Window) -> list[tuple[str, str, str]]:
    """Return name, figure and remark of the window of good blanks.

    Args:
        plan: The plan.
        window: On which blanks the program's knurl is clean.
    """
    units = plan.job.units
    handbook = f"the handbook allows {plan.blank_tolerance_text}"
    if window.comes_back:
        handbook = f"if the rolls find their track again; {handbook}"
    if window.from_mm is None or window.to_mm is None:
        return [("blanks that track", "none", f"not even the planned one is clean; {handbook}")]
    below, above = window.planned_mm - window.from_mm, window.to_mm - window.planned_mm
    step = WRITTEN_MM[units]
    low, high = math.ceil(window.from_mm / step) * step, math.floor(window.to_mm / step) * step
    span = f"{show_bare(low, Kind.LENGTH, units)} to {_mm(plan, high)}"
    return [
        (
            "blanks that track",
            span,
            f"+{show_down(above, units)} / -{show_down(below, units)} with this program; "
            + handbook,
        )
    ]


def remarks_of(imprint: Imprint) -> list[str]:
    """Return what a reader must know of how the map was made.

    Args:
        imprint: What the rolls leave.
    """
    rolling, plan = imprint.rolling, imprint.rolling.plan
    said = [tracking_of(imprint)]
    if len(imprint.course.stays) > 1:
        off = rolling.return_teeth
        said.append(
            "The rolls leave the work and come back; where their teeth come down then nobody "
            f"knows: {off:.2f} of a tooth beside their track is taken"
            f"{', the worst' if off == 0.5 else ''}."
        )
    warning = warning_on(imprint)
    if warning and verdict_on(imprint) != verdict_of(imprint.measures.double_impression):
        said.append(warning)
    if not rolling.stiff:
        estimate = plan.estimate
        if estimate is None or estimate.deflection is None:
            said.append("How the work gives way is not known: it is taken as stiff.")
        elif imprint.blank_off_mm:
            said.append("The work is taken to give way as the planned blank would.")
    if plan.job.tool.bevelled_rolls:
        said.append("The bevels of the rolls are not drawn.")
    return said


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
        "tracks": len({course.tracks[track].phase for track in course.last_tracks}),
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
    title = f"{plan.job.part.name}: {plan.knurl.callout}"
    if not imprint.blank_off_mm:
        return title
    return f"{title}, on a blank of {_mm(plan, imprint.rolling.blank_diameter_mm)}"


def picture_facts(imprint: Imprint, window: Window) -> dict[str, str]:
    """Return name and figure of what stands below an imprint's picture.

    Args:
        imprint: What the rolls leave.
        window: On which blanks the program's knurl is clean.
    """
    plan, found = imprint.rolling.plan, imprint.measures
    facts = {
        "double impression": f"{found.double_impression:.2f}, {verdict_on(imprint)}",
        "blank": f"{_mm(plan, imprint.rolling.blank_diameter_mm)}"
        + (f" (planned {_mm(plan, plan.blank_diameter_mm)})" if imprint.blank_off_mm else ""),
        "blanks that track": window_rows(plan, window)[0][1],
        "teeth": f"{found.teeth} (planned {plan.teeth})",
        "pitch, helix": f"{_mm(plan, found.pitch_mm)}, {found.helix_deg:.1f}°",
        "evenness": f"{found.evenness:.2f}",
    }
    for name, made, wanted in (
        ("knurled diameter", found.knurled_diameter_mm, plan.knurled_diameter_mm),
        ("tooth height", found.tooth_height_mm, plan.tooth_height_mm),
    ):
        facts[name] = f"{_mm(plan, made)} (planned {_mm(plan, wanted)})"
    facts["crest width"] = _mm(plan, found.crest_width_mm)
    return facts
