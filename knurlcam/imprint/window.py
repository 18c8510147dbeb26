"""The window of good blanks: on which diameters a program's rolls track, and on which not."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from typing import Any, NamedTuple

from knurlcam.errors import CannotBeDoneError
from knurlcam.gcode.read import read_program
from knurlcam.imprint.displaced_metal import double_impression_of
from knurlcam.imprint.rolling import Rolling
from knurlcam.imprint.stays import stays_on_work
from knurlcam.imprint.tracks import roll_on
from knurlcam.mechanics.capture import CAPTURE
from knurlcam.mechanics.solve import turning_point
from knurlcam.path import lay_out
from knurlcam.plan.model import Plan
from knurlcam.program import UnprovenProgramError, write_program
from knurlcam.timeline import Timeline, time_line

__all__ = [
    "CLEAN",
    "Blank",
    "PredictedImprint",
    "Window",
    "double_impression",
    "predict_imprint",
    "tracking_limits_mm",
    "window_of",
]

CLEAN = 0.1
"""Double impression below which a knurl counts as clean [-]: a stray line a tenth as deep as the
teeth is seen only with a magnifier."""

TEETH_EITHER_WAY = 0.75
"""How far to each side a window reaches [teeth]: past the middle between two diameters on which
a whole number of teeth fits."""

LOOKS = 25
"""Diameters that are calculated for the plot of a window [-]"""

STEP_TEETH = 0.02
"""Steps from the planned diameter outwards in which the ends of the window are looked for
[teeth]: a narrower place between them that doubles is not seen."""

MOST_TURNS = 10_000
"""Turns of the work under the rolls for which a plan's imprint is predicted, at most [-]: half a
second, for a plan must not keep anyone waiting."""

MOST_TURNS_OF_FACES = 1_000_000
"""Such turns times the length of the knurl in face widths, at most [-]: so much is printed."""

FIRST_TURNS = 3.0
"""Turns of the planned blank that are followed for what the first turn of another does [-]"""

EDGE_MM = 0.0001
"""How near to its true place an edge of the window is found, on the diameter [mm]"""


class Blank(NamedTuple):
    """What becomes of one blank.

    Attributes:
        diameter_mm: Its diameter [mm]
        double_impression: 0 clean, 1 fully doubled; None where the rolls do not touch it [-]
    """

    diameter_mm: float
    double_impression: float | None


@dataclass(frozen=True, slots=True)
class Window:
    """On which blanks a program's knurl is clean.

    Attributes:
        blanks: Diameters over a range, rising, and what becomes of each.
        planned_mm: Diameter planned [mm]
        from_mm: Smallest clean diameter about the planned one; None where that is not [mm]
        to_mm: Largest [mm]
        handbook_mm: Half width of the tolerance that the handbook allows [mm]
        comes_back: Whether the rolls leave the work and come back, and are taken to find their
            track again.
        tracks_mm: Smallest and largest diameter on which the second turn of the rolls falls into
            the track of the first; None where not even the planned one is such [mm]
    """

    blanks: tuple[Blank, ...]
    planned_mm: float
    from_mm: float | None
    to_mm: float | None
    handbook_mm: float
    comes_back: bool = False
    tracks_mm: tuple[float, float] | None = None

    @property
    def tolerance_mm(self) -> float | None:
        """How far the blank may be off either way; None where even the planned one doubles."""
        if self.from_mm is None or self.to_mm is None:
            return None
        return min(self.planned_mm - self.from_mm, self.to_mm - self.planned_mm)

    def to_dict(self) -> dict[str, Any]:
        """Return the window as plain data, unrounded."""
        return {
            "from_mm": self.from_mm,
            "to_mm": self.to_mm,
            "tolerance_mm": self.tolerance_mm,
            "handbook_tolerance_mm": self.handbook_mm,
            "if_track_is_found": self.comes_back,
            "tracks_at_once_mm": self.tracks_mm,
            "blanks": [blank._asdict() for blank in self.blanks],
        }


def double_impression(rolling: Rolling, line: Timeline) -> float:
    """Return the double impression that a program leaves on a blank, where it is worst.

    Args:
        rolling: The rolls and the blank.
        line: The program's motion against time.

    Returns:
        0 clean to 1 fully doubled [-]

    Raises:
        CannotBeDoneError: if the rolls never touch the work, or it is unknown where.
    """
    return double_impression_of(rolling, roll_on(rolling, stays_on_work(rolling, line)))


class PredictedImprint(NamedTuple):
    """What the program of a plan is expected to leave, where it is worst.

    Attributes:
        double_impression: 0 clean to 1 fully doubled [-]
        found_track: The same where rolls that leave the work and come back find their track
            again [-]
    """

    double_impression: float
    found_track: float


def predict_imprint(plan: Plan) -> PredictedImprint | None:
    """Return the double impression that the program of a plan is expected to leave.

    Args:
        plan: The plan.

    Returns:
        What it is expected to leave; None where that is not available.
    """
    try:
        line = time_line(read_program(write_program(lay_out(plan))), plan)
        rolling = Rolling(plan, plan.blank_diameter_mm)
        # A bound before any track is followed: what takes long is left out, and the plan says so.
        turns = sum(float(stay.turns[-1]) for stay in stays_on_work(rolling, line))
        faces = plan.job.knurl.length / plan.job.tool.face_width
        if turns > MOST_TURNS or turns * faces > MOST_TURNS_OF_FACES:
            return None
        worst = found = double_impression(rolling, line)
        if plan.trial is not None:
            found = double_impression(replace(rolling, return_teeth=0.0), line)
    except (CannotBeDoneError, UnprovenProgramError):
        return None
    return PredictedImprint(worst, found)


def window_of(
    plan: Plan,
    line: Timeline,
    *,
    stiff: bool = False,
    capture: float = CAPTURE,
    return_teeth: float = 0.0,
    looks: int = LOOKS,
) -> Window:
    """Return on which blanks a program's knurl is clean.

    The slide goes where the program takes it: a blank that is larger is met sooner, and
    pressed deeper.

    Args:
        plan: The plan of the job.
        line: The program's motion against time.
        stiff: Whether to take the work as rigid, without deflection.
        capture: See :data:`knurlcam.mechanics.capture.CAPTURE` [half widths of a mouth]
        return_teeth: Teeth beside their track at which rolls come down that left the work. A
            window is about the blank, so they are taken to find it [teeth]
        looks: Diameters that are looked at, 3 or more [-]

    Raises:
        CannotBeDoneError: if it is unknown where the rolls press.
    """
    planned = Rolling(plan, plan.blank_diameter_mm, stiff, capture, return_teeth)

    @cache
    def double(diameter: float) -> float | None:
        try:
            return double_impression(replace(planned, blank_diameter_mm=diameter), line)
        except CannotBeDoneError as error:
            # A blank too small for the rolls to touch is a result of a window, not a failure of it.
            if error.refusals[0].code != "never-touches":
                raise
            return None

    middle = plan.blank_diameter_mm
    stays = stays_on_work(planned, line)
    reach = TEETH_EITHER_WAY * middle / (plan.teeth + plan.misfit_teeth)
    steps = [middle + reach * (2.0 * i / (looks - 1) - 1.0) for i in range(looks)]
    blanks = tuple(Blank(d, double(d)) for d in steps)
    step = STEP_TEETH / TEETH_EITHER_WAY * reach
    from_mm, to_mm = _clean_about(middle, step, reach, double)
    return Window(
        blanks=blanks,
        planned_mm=middle,
        from_mm=from_mm,
        to_mm=to_mm,
        handbook_mm=plan.blank_tolerance_mm,
        comes_back=len(stays) > 1,
        tracks_mm=tracking_limits_mm(planned, line),
    )


def tracking_limits_mm(rolling: Rolling, line: Timeline) -> tuple[float, float] | None:
    """Return the smallest and the largest blank on which the rolls track at once.

    Their second turn falls into the track of the first: no stray groove is cut at all.

    Args:
        rolling: The rolls and the blank about which the limits lie.
        line: The program's motion against time.

    Returns:
        Both diameters [mm]; None where the rolls do not track on that blank.
    """
    middle = rolling.blank_diameter_mm
    start = _first_turns(rolling, line)

    def off_teeth(diameter: float) -> tuple[float, float]:
        """Return how many teeth the rolls print on a blank, and how far off they may be."""
        there = replace(rolling, blank_diameter_mm=diameter)
        stays = stays_on_work(there, start)
        if not stays:
            return 0.0, 0.0
        reach = there.reach_per_mm * stays[0].first_turn_mm / there.plan.tracking.pitch_mm
        return there.teeth_around(stays[0]), reach

    whole = round(off_teeth(middle)[0])

    def tracks(diameter: float) -> bool:
        teeth, reach = off_teeth(diameter)
        return abs(teeth - whole) <= reach

    if not tracks(middle):
        return None
    far = rolling.plan.tracking.transverse_pitch_mm / math.pi
    return _edge(middle, middle - far, tracks), _edge(middle, middle + far, tracks)


def _first_turns(rolling: Rolling, line: Timeline) -> Timeline:
    """Return a program's motion up to its first few turns with the rolls on the work."""
    for count in range(1, len(line.spans) + 1):
        # Stretches of a program are few until the rolls have turned: no need to halve.
        start = replace(line, spans=line.spans[:count])
        if sum(float(stay.turns[-1]) for stay in stays_on_work(rolling, start)) >= FIRST_TURNS:
            return start
    return line


def _clean_about(
    planned: float, step: float, reach: float, double: Callable[[float], float | None]
) -> tuple[float | None, float | None]:
    """Return the ends of the clean diameters about the planned one, found step by step."""

    def clean(diameter: float) -> bool:
        found = double(diameter)
        return found is not None and found < CLEAN

    # Without a clean blank in the middle there is no window about it.
    if not clean(planned):
        return None, None
    ends = []
    for side in (-step, step):
        # From the planned blank outwards: a clean blank a tooth away is another tooth count.
        good = planned
        while abs(good + side - planned) <= reach:
            if not clean(good + side):
                good = _edge(good, good + side, clean)
                break
            good += side
        ends.append(good)
    return ends[0], ends[1]


def _edge(good: float, bad: float, clean: Callable[[float], bool]) -> float:
    """Return the last diameter that is clean between one that is and one that is not."""
    # The search goes upwards: below the planned blank it goes over negative diameters.
    way = 1.0 if bad > good else -1.0
    last, _ = turning_point(lambda d: clean(way * d), way * good, way * bad, within=EDGE_MM)
    return way * last
