"""What the rolls leave on the work: the height map of the knurl, from a program's motion.

Each turn of the rolls presses their teeth in along a track, as deep as the slide stands and
the deflection of the work leaves it (:mod:`knurlcam.imprint.tracks`). Prints of one track lie
in each other, so that the deepest counts; what is pressed out raises the metal between, so that
volume is kept. Where the metal fills the teeth of the rolls it lifts them off.

All of it is an estimate: plain teeth, pressed in straight, metal that flows evenly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from knurlcam.gcode.motion import Motion
from knurlcam.imprint.asked import asked_of
from knurlcam.imprint.displaced_metal import double_impression_of, levels_of
from knurlcam.imprint.grid import grid_of
from knurlcam.imprint.height_map import settle, settled_surface
from knurlcam.imprint.measures import Measures, measure
from knurlcam.imprint.prints import pattern_of, prints_of
from knurlcam.imprint.rolling import WORST_RETURN, Course, Rolling, refused
from knurlcam.imprint.stays import stays_on_work
from knurlcam.imprint.surface import Surface
from knurlcam.imprint.tracks import roll_on
from knurlcam.mechanics.capture import CAPTURE
from knurlcam.plan.model import Plan
from knurlcam.timeline import TOUCH_MM, Timeline, time_line
from knurlcam.units.kinds import Kind
from knurlcam.units.show import show

__all__ = ["Imprint", "make_imprint"]


@dataclass(frozen=True, slots=True)
class Imprint:
    """What the rolls leave on the work.

    Attributes:
        rolling: Plan, blank, and what is assumed of the work and the rolls.
        course: The turns of the rolls.
        surface: The height map.
        measures: What is measured on it.
        held_off_mm: Roll lift-off: how far metal that fills the teeth of the rolls lifts them
            off, at most [mm]
        shifted_mm: How far the map was shifted to make up for what volume was off [mm]
    """

    rolling: Rolling
    course: Course
    surface: Surface
    measures: Measures
    held_off_mm: float
    shifted_mm: float

    @property
    def blank_off_mm(self) -> float:
        """How much larger the blank is than planned, on the diameter [mm]."""
        return self.rolling.blank_diameter_mm - self.rolling.plan.blank_diameter_mm


def make_imprint(
    plan: Plan,
    motion: Motion,
    *,
    blank_diameter_mm: float | None = None,
    resolution_mm: float | None = None,
    stiff: bool = False,
    capture: float = CAPTURE,
    return_teeth: float = WORST_RETURN,
) -> Imprint:
    """Return the surface that a program's rolls leave.

    Args:
        plan: The plan of the job.
        motion: The motion read back from the program's text.
        blank_diameter_mm: What the blank was turned to; as planned unless given [mm]
        resolution_mm: Largest distance of two cells of the map; None for a good one [mm]
        stiff: Whether to take the work as rigid, without deflection.
        capture: See :data:`knurlcam.mechanics.capture.CAPTURE` [half widths of a mouth]
        return_teeth: See :data:`knurlcam.imprint.rolling.WORST_RETURN` [teeth]

    Raises:
        CannotBeDoneError: if the rolls never touch the work, or it is unknown where, or they
            would hit it in a rapid.
        InputError: if a map of that resolution would not fit in memory.
    """
    blank = plan.blank_diameter_mm if blank_diameter_mm is None else blank_diameter_mm
    rolling, line = Rolling(plan, blank, stiff, capture, return_teeth), time_line(motion, plan)
    stays = stays_on_work(rolling, line)
    # Of the planned blank that is a finding of verification, which reads the same text.
    if blank != plan.blank_diameter_mm:
        _refuse_what_rapids_meet(rolling, line)
    course = roll_on(rolling, stays)
    pattern = pattern_of(plan.knurl)
    grid = grid_of(course, pattern, rolling, resolution_mm)
    prints = prints_of(course, grid.zs_mm, plan.job.tool.face_width)
    levels = levels_of(pattern, prints)
    surface = settled_surface(grid, pattern, prints, levels)
    shifted = settle(surface, prints)
    # One figure of double impression in plan, command and page: that from the prints themselves.
    # On a coarse map a fine stray line is lost between cells.
    double = double_impression_of(rolling, course)
    found = measure(surface, asked_of(plan.knurl, course), double)
    return Imprint(
        rolling=rolling,
        course=course,
        surface=surface,
        measures=_teeth_by_the_prints(found, rolling, course),
        held_off_mm=max(float(level.held_mm.max()) for level in levels),
        shifted_mm=shifted,
    )


def _teeth_by_the_prints(found: Measures, rolling: Rolling, course: Course) -> Measures:
    """Return the figures of a map with the teeth of the tracks that the rolls run in at the end.

    Tracks that they left are stray grooves, and no teeth; and prints that lie anyhow have no one
    wave that a map could be counted by.
    """
    teeth = max(1, course.closing_teeth)
    across = math.pi * rolling.blank_diameter_mm * math.cos(math.radians(found.helix_deg))
    return replace(found, teeth=teeth, pitch_mm=across / teeth)


def _refuse_what_rapids_meet(rolling: Rolling, line: Timeline) -> None:
    """Refuse a blank of another diameter that the rolls would meet in a rapid.

    For the planned one that is a finding of verification.
    """
    plan, contact, units = rolling.plan, rolling.contact, rolling.plan.job.units
    centre = 2.0 * plan.contact.datum_shift_mm
    for span in line.spans:
        beside = min(span.z0, span.z1) - plan.datum_shift_mm >= 0.0
        deepest = max(contact.depth_mm(span.x0 + centre), contact.depth_mm(span.x1 + centre))
        if span.phase == "rapid" and not beside and deepest > TOUCH_MM:
            x, blank = min(span.x0, span.x1), rolling.blank_diameter_mm
            raise refused(
                "met-in-rapid",
                f"the rolls would hit a blank of {show(blank, Kind.LENGTH, units)} in "
                f"the rapid to X {show(x, Kind.LENGTH, units)}; turn it "
                f"smaller, to {show(plan.blank_diameter_mm, Kind.LENGTH, units)}",
            )
