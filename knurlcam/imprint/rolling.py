"""How the rolls run on the work: turn by turn, and into which track they fall.

A roll that rolls without slip prints its teeth at their own pitch. Unless a whole number of
them closes on the blank, it comes round beside its first print: its second turn starts off
by the misfit. It falls into a track that is there already where the tips come down within
the mouth of that print; else it cuts a new one beside it. This is what decides between a
clean knurl and a double impression.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from knurlcam.data.rolls import rolls
from knurlcam.errors import CannotBeDoneError, Refusal
from knurlcam.imprint.surface import Floats
from knurlcam.mechanics.contact import Contact
from knurlcam.mechanics.loads import wedge_width
from knurlcam.mechanics.tracking import teeth_around
from knurlcam.plan.planner import Plan
from knurlcam.timeline import Span, Timeline
from knurlcam.units.kinds import Kind
from knurlcam.units.show import show

__all__ = [
    "CAPTURE",
    "WORST_RETURN",
    "Course",
    "Rolling",
    "Stay",
    "Track",
    "Turn",
    "roll_on",
    "stays_on_work",
]


CAPTURE = 1.0
"""How far from the middle of a track the tips of a roll may come down and still fall into
it, in half widths of the track's mouth: the model's one parameter. The mouth is as wide as a
wedge and the lips that it raises touch (:func:`knurlcam.mechanics.loads.wedge_width`, 2.84
times the
depth at 90 degrees). A tip that comes down within it stands on a flank that leans by half of
the profile angle, 45 degrees, and slides to its bottom, for steel on oiled metal grips only
up to some 10 degrees; one that comes down beyond stands on the lip and cuts a track of its
own. So a deep first turn makes rolls track on a blank that is a little off, and a shallow one
does not: as the handbooks have it."""

WORST_RETURN = 0.5
"""Teeth beside their track at which rolls come down that left the work: nothing turns them
back to it, so the worst is taken."""

LONGEST_DWELL = 64.0
"""Turns that are followed of one block that stands still: a longer one prints the same."""

MOST_TURNS = 20_000
"""Of the work with the rolls on it: far above any program's, an hour at 300 rev/min."""

LOOK_TURNS = 0.5
LOOK_MM = 2.0
"""A block is cut at every half turn while it goes in, and at every other millimetre along
the work: what the work gives way by runs straight in between."""

SAME_PHASE = 1e-9
"""Two tracks nearer than this are one [teeth]"""


class Stay(NamedTuple):
    """What the rolls do from one touch until they leave the work, against its turns.

    Attributes:
        turns: Turns of the work since the touch, not falling [-]
        left_mm: Z of the rolls' left edge, from Z0 [mm]
        at_left_mm: Penetration at the left edge of the face [mm]
        at_right_mm: ... and at the right edge of what is on the work [mm]
    """

    turns: Floats
    left_mm: Floats
    at_left_mm: Floats
    at_right_mm: Floats

    def deepest_mm(self, turns: Floats) -> Floats:
        """Return how deep the rolls stand after so many turns [mm]."""
        left = np.interp(turns, self.turns, self.at_left_mm)
        return np.maximum(left, np.interp(turns, self.turns, self.at_right_mm))

    @property
    def first_turn_mm(self) -> float:
        """Depth to which the first turn presses [mm]."""
        return float(self.deepest_mm(np.minimum(self.turns[-1:], 1.0))[0])


class Track(NamedTuple):
    """Where the teeth of one turn of the rolls come down on the work.

    Attributes:
        phase: Of the first tooth, at the seam of the unrolled work [teeth]
        teeth: How many teeth go into a turn, seldom whole unless it closes [-]
        z_mm: Z of the rolls' left edge where their pattern goes with them, as that of a roll
            with two crossing families does; else 0 [mm]
    """

    phase: float
    teeth: float
    z_mm: float = 0.0


class Turn(NamedTuple):
    """One turn of the work with the rolls on it.

    Attributes:
        stay: Place of its stay.
        number: Turns of the work since its stay began [-]
        track: Place of its track.
        fell_in: Whether the rolls fell into a track that was there.
    """

    stay: int
    number: int
    track: int
    fell_in: bool


@dataclass(frozen=True, slots=True)
class Course:
    """All turns of the rolls on the work.

    Attributes:
        stays: Each time that the rolls are on the work.
        turns: Turn by turn.
        tracks: The tracks that they printed, in order.
        natural_teeth: Teeth round the blank as the rolls would print them [-]
    """

    stays: tuple[Stay, ...]
    turns: tuple[Turn, ...]
    tracks: tuple[Track, ...]
    natural_teeth: float

    @property
    def last_tracks(self) -> tuple[int, ...]:
        """Places of the tracks that the rolls run in at the end, in order.

        One where the teeth close; all of the last stay where they fall into none.
        """
        last = [t.track for t in self.turns if t.stay == self.turns[-1].stay]
        before = [i for i, track in enumerate(last[:-1]) if track == last[-1]]
        return tuple(last[before[-1] + 1 :]) if before else tuple(dict.fromkeys(last))

    @property
    def dragged_mm(self) -> float:
        """How far rolls that cannot screw along were dragged along the work, printing [mm]."""
        places = [track.z_mm for track in self.tracks]
        return max(places) - min(places)

    @property
    def settled(self) -> int | None:
        """Turns until the rolls fell into a track and stayed in what was there; None if never."""
        first = len(self.turns)
        while first and self.turns[first - 1].fell_in:
            first -= 1
        return first if first < len(self.turns) else None

    @property
    def closing_teeth(self) -> int:
        """Whole teeth that the last tracks make round the work together."""
        last = self.last_tracks
        return round(sum(self.tracks[t].teeth for t in last))


@dataclass(frozen=True, slots=True)
class Rolling:
    """What the rolls of a plan meet: a blank, and work that gives way or does not.

    Attributes:
        plan: The plan.
        blank_diameter_mm: Diameter that the blank was turned to [mm]
        stiff: Whether the work is taken not to give way.
        capture: See :data:`CAPTURE` [half widths of a mouth]
        return_teeth: See :data:`WORST_RETURN` [teeth]
    """

    plan: Plan
    blank_diameter_mm: float
    stiff: bool = False
    capture: float = CAPTURE
    return_teeth: float = WORST_RETURN

    @property
    def contact(self) -> Contact:
        """Rolls against this blank, X counted as the roll centres stand."""
        planned = self.plan.contact
        return Contact(
            self.blank_diameter_mm / 2.0,
            planned.roll_radius_mm,
            planned.half_spacing_mm,
            "roll centre",
        )

    @property
    def screws(self) -> bool:
        """Whether rolls that move along the work keep to their grooves, as a screw does.

        Rolls with one family of teeth turn a little more or less; those with two cannot keep
        to both, and their pattern goes with them.
        """
        return all(rolls()[form].traverses for form in self.plan.rolls)

    @property
    def reach_per_mm(self) -> float:
        """How far from a track the rolls fall into it, over the depth of its print [-]."""
        return self.capture * wedge_width(self.plan.knurl.profile_deg) / 2.0

    @property
    def edges_mm(self) -> Callable[[float, float], tuple[float, float]]:
        """From X and Z of the slide to the penetration at both edges of the face [mm]."""
        plan, contact = self.plan, self.contact
        depth, shift, centre = contact.depth_mm, plan.datum_shift_mm, plan.contact.datum_shift_mm
        stiffness = plan.stiffness
        work = None if self.stiff or stiffness is None else stiffness.work
        wider = contact.blank_radius_mm - plan.contact.blank_radius_mm

        def edges(x: float, z: float) -> tuple[float, float]:
            across, left = x / 2.0 + centre, z - shift
            stiff = depth(2.0 * across)
            if work is None or stiff <= 0.0 or left >= 0.0:
                return stiff, stiff
            # A blank that is wider by so much is met as much sooner. A program that is wrong may
            # take the rolls past the chuck: there the work is as at its end.
            inside = max(left, -work.beam.length_mm)
            return work.edges_mm(_sooner(across, wider, contact.half_spacing_mm), inside)

        return edges


def _sooner(across: float, wider: float, half_spacing: float) -> float:
    """Return where the planned blank would be met as deep as one that is wider [mm]."""
    if not wider or across <= 0.0:
        return across - wider
    apart = math.hypot(across, half_spacing) - wider
    return math.sqrt(max(0.0, apart * apart - half_spacing * half_spacing))


def stays_on_work(rolling: Rolling, line: Timeline) -> tuple[Stay, ...]:
    """Return what the rolls do while they are on the work.

    Args:
        rolling: The rolls and the blank.
        line: A program's motion against time.

    Returns:
        Each time that they are on the work, in order; none where they never touch it.

    Raises:
        CannotBeDoneError: if nobody can tell where they are, or for how long.
    """
    if line.lost:
        raise _refused(
            "place-not-known",
            "the program moves by increments from a place that it does not say: it is not known "
            "where its rolls press; make it say X and Z first",
        )
    stays: list[list[tuple[float, float, float, float]]] = []
    touching = False
    for span in line.spans:
        found = list(_looks(rolling, span))
        if not found:
            touching = False
            continue
        if not touching:
            stays.append([])
            touching = True
        held = stays[-1]
        before = held[-1][0] if held else 0.0
        held += [(before + look[0], *look[1:]) for look in found]
        if held[-1][0] > MOST_TURNS:
            raise _refused(
                "too-many-turns",
                f"the rolls stay on the work for more than {MOST_TURNS:,} turns; "
                "check feeds and dwells",
            )
    made = (Stay(*np.array(held, dtype=np.float64).T) for held in stays)
    return tuple(stay for stay in made if stay.turns[-1] > 0.0)


def _refused(code: str, message: str) -> CannotBeDoneError:
    return CannotBeDoneError([Refusal(code, message, "program")])


def _looks(rolling: Rolling, span: Span) -> Iterator[tuple[float, float, float, float]]:
    """Yield turns, left edge and both penetrations along a stretch that is on the work."""
    shift, depth = rolling.plan.datum_shift_mm, rolling.contact.depth_mm
    centre = 2.0 * rolling.plan.contact.datum_shift_mm
    begin, end = depth(span.x0 + centre), depth(span.x1 + centre)
    if max(begin, end) <= 0.0 or min(span.z0, span.z1) - shift >= 0.0:
        return
    turns = span.revolutions
    if span.phase == "dwell":
        turns = min(turns, LONGEST_DWELL)
    first, last = _touching(rolling, span, begin, end)
    edges = rolling.edges_mm
    for share in _shares(span, turns * (last - first), first, last):
        x = span.x0 + (span.x1 - span.x0) * share
        z = span.z0 + (span.z1 - span.z0) * share
        # Beyond the end of the work there is nothing to press on.
        at_left, at_right = edges(x, z) if z < shift else (0.0, 0.0)
        yield turns * (share - first), z - shift, max(0.0, at_left), max(0.0, at_right)


def _touching(rolling: Rolling, span: Span, begin: float, end: float) -> tuple[float, float]:
    """Return from which to which share of its way a stretch is on the work."""
    if (begin > 0.0 and end > 0.0) or span.x0 == span.x1:
        return 0.0, 1.0
    centre = rolling.plan.contact.datum_shift_mm
    touch = 2.0 * (rolling.contact.touch_mm - centre)
    share = min(max((touch - span.x0) / (span.x1 - span.x0), 0.0), 1.0)
    return (share, 1.0) if end > 0.0 else (0.0, share)


def _shares(span: Span, turns: float, first: float, last: float) -> Sequence[float]:
    """Return the shares of a stretch at which it is looked at, its ends with them."""
    parts = 1.0
    if span.x0 != span.x1:
        parts = max(parts, turns / LOOK_TURNS)
    parts = max(parts, abs(span.z1 - span.z0) * (last - first) / LOOK_MM)
    count = min(math.ceil(parts), MOST_TURNS)
    return [first + (last - first) * i / count for i in range(count + 1)]


def roll_on(rolling: Rolling, stays: Sequence[Stay]) -> Course:
    """Follow the rolls turn by turn into the tracks that they print.

    Args:
        rolling: The rolls and the blank.
        stays: What the rolls do while they are on the work.

    Returns:
        Turns and tracks.

    Raises:
        CannotBeDoneError: if the rolls never touch the work.
    """
    blank, units = rolling.blank_diameter_mm, rolling.plan.job.units
    if not stays:
        raise _refused(
            "never-touches",
            "the rolls never touch the work, or only while it stands still: there is no knurl "
            f"on a blank of {show(blank, Kind.LENGTH, units)}; check program and blank",
        )
    knurl = rolling.plan.knurl
    natural = teeth_around(blank, knurl.transverse_pitch_mm)
    walk = _Walk(rolling, natural)
    for place, stay in enumerate(stays):
        walk.stay(place, stay)
    return Course(tuple(stays), tuple(walk.turns), tuple(walk.tracks), natural)


class _Met(NamedTuple):
    """A track as rolls may meet it: where it starts, how deep, and where along the work."""

    phase: float
    depth_mm: float
    low_mm: float
    high_mm: float


class _Walk:
    """Takes the rolls round the work."""

    def __init__(self, rolling: Rolling, natural: float) -> None:
        self.rolling = rolling
        self.natural = natural
        self.screws = rolling.screws
        self.face = rolling.plan.job.tool.face_width
        self.pitch = rolling.plan.knurl.pitch_mm
        self.reach_per_mm = rolling.reach_per_mm
        self.turns: list[Turn] = []
        self.tracks: list[Track] = []
        self.places: dict[tuple[float, float, float], int] = {}
        self.met: dict[float, _Met] = {}
        self.phase = 0.0

    def stay(self, place: int, stay: Stay) -> None:
        fell_in = False
        face = self.face
        if place:
            self.phase, fell_in = self.fall(self.phase + self.rolling.return_teeth, stay.left_mm[0])
        ends = np.minimum(np.arange(math.ceil(stay.turns[-1]) + 1.0), stay.turns[-1])
        lefts = np.interp(ends, stay.turns, stay.left_mm).tolist()
        depths = stay.deepest_mm(ends).tolist()
        for number, (here, there) in enumerate(pairwise(lefts)):
            start = self.phase
            self.print(start, depths[number + 1], min(here, there), max(here, there) + face)
            self.phase, next_fell_in = self.fall(start + self.natural, there)
            # What it falls in by is spread over the turn: the rolls creep.
            creep = _apart(self.phase, start + self.natural)
            z = 0.0 if self.screws else round((here + there) / 2.0, 2)
            track = self.track(Track(start, self.natural + creep, z))
            self.turns.append(Turn(place, number, track, fell_in))
            fell_in = next_fell_in
            if fell_in and self.screws and self.phase == start:
                # The track closes: the rolls stay in it, for they print it on under themselves.
                rest = range(number + 1, len(lefts) - 1)
                low, high = min(lefts[number:]), max(lefts[number:]) + face
                self.print(start, max(depths[number:]), low, high)
                self.turns += [Turn(place, later, track, True) for later in rest]
                return

    def print(self, phase: float, depth: float, low: float, high: float) -> None:
        """Note that a track was printed from a phase on, so deep and so far."""
        before = self.met.get(phase, _Met(phase, 0.0, low, high))
        self.met[phase] = _Met(
            phase, max(before.depth_mm, depth), min(before.low_mm, low), max(before.high_mm, high)
        )

    def fall(self, phase: float, left: float) -> tuple[float, bool]:
        """Return the phase at which the next turn starts, and whether it falls into a track."""
        pitch, face = self.pitch, self.face
        best, where = 1.0, None
        for met in self.met.values():
            if met.low_mm >= left + face or met.high_mm <= left:
                continue
            off = abs(_apart(met.phase, phase)) * pitch
            reach = self.reach_per_mm * met.depth_mm
            share = off / reach if reach > 0.0 else math.inf
            if share <= best:
                best, where = share, met.phase
        if where is None:
            return _wrapped(phase), False
        return where, True

    def track(self, track: Track) -> int:
        """Return the place of a track, a new one where it was not there."""
        key = (round(track.phase, 9), round(track.teeth, 9), track.z_mm)
        if key not in self.places:
            self.places[key] = len(self.tracks)
            self.tracks.append(track)
        return self.places[key]


def _wrapped(phase: float) -> float:
    """Return a phase in [0, 1), a rounding error below 1 as 0 [teeth]."""
    left = phase - math.floor(phase)
    return 0.0 if 1.0 - left < SAME_PHASE else left


def _apart(phase: float, other: float) -> float:
    """Return how far a phase lies beyond another, by the shorter way [teeth]."""
    return (phase - other + 0.5) % 1.0 - 0.5
