"""The rolls on the work: what they meet, each time they touch it, and the tracks that they print.

A roll that rolls without slip prints its teeth at their own pitch. Unless a whole number of
them fits round the blank, it comes round beside its first print: its second turn starts off
by the misfit. :mod:`knurlcam.imprint.tracks` decides whether it falls into its track again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from knurlcam.data.rolls import rolls
from knurlcam.errors import CannotBeDoneError, Refusal
from knurlcam.imprint.surface import Floats
from knurlcam.mechanics.capture import CAPTURE, reach_per_mm
from knurlcam.mechanics.contact import Contact
from knurlcam.mechanics.held_work import HeldWork
from knurlcam.plan.model import Plan

__all__ = [
    "WORST_RETURN",
    "Course",
    "Rolling",
    "Stay",
    "Track",
    "Turn",
    "refused",
]

WORST_RETURN = 0.5
"""Distance from their track at which rolls come down that left the work [teeth]: nothing turns
them back to it, so the worst case is taken."""

STANDING_TURNS = 0.01
"""End of the first turn in which a slide that has reached the first pass stands [-]"""

PHASE_DIGITS = 6
"""Digits to which phases of tracks are compared [teeth]: far below what any map shows."""


class Stay(NamedTuple):
    """What the rolls do from one touch until they leave the work, against its turns.

    Attributes:
        turns: Turns of the work since the touch, not falling [-]
        left_mm: Z of the rolls' left edge, from Z0 [mm]
        at_left_mm: Penetration at the left edge of the face [mm]
        at_right_mm: ... and at the right edge of what is on the work [mm]
        rigid_mm: Penetration if the work were rigid [mm]
    """

    turns: Floats
    left_mm: Floats
    at_left_mm: Floats
    at_right_mm: Floats
    rigid_mm: Floats

    def deepest_mm(self, turns: Floats) -> Floats:
        """Return how deep the rolls stand after so many turns [mm]."""
        left = np.interp(turns, self.turns, self.at_left_mm)
        return np.maximum(left, np.interp(turns, self.turns, self.at_right_mm))

    @property
    def depth_mm(self) -> float:
        """Depth that the rolls reach [mm]."""
        return float(max(self.at_left_mm.max(), self.at_right_mm.max()))

    @property
    def first_turn_mm(self) -> float:
        """Depth to which the first turn presses [mm]."""
        return float(self.deepest_mm(np.minimum(self.turns[-1:], 1.0))[0])

    @property
    def rigid_first_turn_mm(self) -> float:
        """... and to which it would press rigid work [mm]."""
        return float(np.interp(1.0, self.turns, self.rigid_mm))


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
        # Since they were last in the final track, the rolls went round once through all of them.
        before = [i for i, track in enumerate(last[:-1]) if track == last[-1]]
        return tuple(last[before[-1] + 1 :]) if before else tuple(dict.fromkeys(last))

    @property
    def dragged_mm(self) -> float:
        """How far rolls that cannot screw along were dragged along the work, printing [mm]."""
        return max(map(self._dragged_in, range(len(self.stays))))

    def _dragged_in(self, stay: int) -> float:
        """Return how far they were dragged while they were on the work once [mm]."""
        # Rolls that left the work and came down elsewhere were not dragged there.
        places = [self.tracks[turn.track].z_mm for turn in self.turns if turn.stay == stay]
        return max(places) - min(places)

    @property
    def settled(self) -> int | None:
        """Turns until the rolls fell into a track and stayed in what was there; None if never."""
        first = len(self.turns)
        while first and self.turns[first - 1].fell_in:
            first -= 1
        return first if first < len(self.turns) else None

    @property
    def beside_each_other(self) -> int:
        """How many tracks the rolls run in at the end, round the work."""
        return len(self._last_by_phase)

    @property
    def stray_tracks(self) -> int:
        """How many tracks the rolls left for those of the end, round the work."""
        return len({_same_phase(track) for track in self.tracks}) - self.beside_each_other

    @property
    def closing_teeth(self) -> int:
        """Whole teeth that the last tracks make round the work together."""
        return round(sum(self._last_by_phase.values()))

    @property
    def _last_by_phase(self) -> dict[float, float]:
        """Teeth of each of the last tracks; tracks along the work are one round it."""
        last = [self.tracks[place] for place in self.last_tracks]
        return {_same_phase(track): track.teeth for track in last}


def _same_phase(track: Track) -> float:
    """Return the phase of a track, alike for tracks that differ by rounding [teeth]."""
    return round(track.phase, PHASE_DIGITS)


@dataclass(frozen=True, slots=True)
class Rolling:
    """What the rolls of a plan meet: a blank, and work that deflects or is rigid.

    Attributes:
        plan: The plan.
        blank_diameter_mm: Diameter that the blank was turned to [mm]
        stiff: Whether the work is taken as rigid, without deflection.
        capture: See :data:`knurlcam.mechanics.capture.CAPTURE` [half widths of a mouth]
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
        # The table of rolls says which may traverse: those of one family.
        return all(rolls()[form].traverses for form in self.plan.rolls)

    @property
    def reach_per_mm(self) -> float:
        """How far from a track the rolls fall into it, over the depth of its print [-]."""
        return reach_per_mm(self.plan.knurl.profile_deg, self.capture)

    @property
    def work(self) -> HeldWork | None:
        """This blank as it is held, as soft as the planned one; None where it is taken as rigid."""
        estimate = None if self.stiff else self.plan.estimate
        bending = None if estimate is None else estimate.deflection
        return None if bending is None else replace(bending.work, contact=self.contact)

    def teeth_around(self, first: Stay) -> float:
        """Return the teeth that the rolls would print round the blank, seldom whole [-].

        They roll on a circle that lies below its surface by half of what their first turn
        presses in; as far as the job says, or the rolls carry it in themselves, where it does.

        Args:
            first: What they do the first time that they are on the work.
        """
        tracking = self.plan.tracking
        # Without a range it is given, or the rolls' own.
        if tracking.correction_low_mm == tracking.correction_high_mm:
            return tracking.teeth_around(self.blank_diameter_mm)
        own = tracking._replace(correction_mm=self._pressed_first_mm(first))
        return own.teeth_around(self.blank_diameter_mm)

    def _pressed_first_mm(self, first: Stay) -> float:
        """Return what the first turn presses in, at most what the first pass does [mm]."""
        rigid = first.rigid_first_turn_mm
        stands = rigid - float(np.interp(1.0 - STANDING_TURNS, first.turns, first.rigid_mm)) <= 0.0
        # A slide that follows the deflection stands deeper by it than the pass presses.
        return first.first_turn_mm if stands and self.plan.follows else rigid

    @property
    def edges_mm(self) -> Callable[[float, float], tuple[float, float]]:
        """From X and Z of the slide to the penetration at both edges of the face [mm]."""
        work, depth = self.work, self.contact.depth_mm
        shift, centre = self.plan.datum_shift_mm, self.plan.contact.datum_shift_mm

        def edges(x: float, z: float) -> tuple[float, float]:
            across, left = x / 2.0 + centre, z - shift
            stiff = depth(2.0 * across)
            # Off the work, and beyond its end, there is nothing that bends.
            if work is None or stiff <= 0.0 or left >= 0.0:
                return stiff, stiff
            # A program that is wrong may take the rolls past the chuck: there the work is as at
            # its end.
            return work.edges_mm(across, max(left, -work.beam.length_mm))

        return edges


def refused(code: str, message: str) -> CannotBeDoneError:
    """Return the refusal of a program whose imprint cannot be shown.

    Args:
        code: The refusal's code.
        message: What is wrong, and what to do.
    """
    return CannotBeDoneError([Refusal(code, message, "program")])
