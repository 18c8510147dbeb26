"""How the work deflects under the loads of a set-up, and what that leaves of the knurl.

Estimates: likely, with a lower and an upper end. What is lost is measured where the knurl is
made: on the way of a traverse under the force of a fresh strip, in a plunge under that of feeding
in. What bends the work is looked for at the ends of a traverse as well, where the whole face is
fed in. Without compensation the slide stands at one X for the whole pass; with it, it follows
the likely deflection so that the rolls come equally deep.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

from knurlcam.mechanics.beam import HEAVIEST_SHARES
from knurlcam.mechanics.held_work import HeldWork, Softest, most_chord_mm
from knurlcam.mechanics.pressing import Pressing
from knurlcam.mechanics.setup_loads import HARDEST_AFRESH, SetUp

__all__ = ["Place", "SetUpDeflection"]

PLACES_CHECKED = 24
"""Parts into which the rolls' travel along stepped work is cut to find its worst place [-]."""

PLACES_BENT = 12
"""Parts into which the rolls' travel is cut to find where soft work is bent most [-]."""


class Place(NamedTuple):
    """The work under the rolls at one place.

    Attributes:
        z_mm: Middle of the face on the work, from Z0 [mm]
        deflection_mm: Deflection there at the planned penetration [mm]
        penetration_mm: Penetration there without deflection compensation [mm]
    """

    z_mm: float
    deflection_mm: float
    penetration_mm: float


@dataclass(frozen=True)
class SetUpDeflection:
    """How held work deflects in the passes at full penetration.

    Attributes:
        set_up: What presses on it.
        work: The work as it is held, likely pressed so hard where the knurl is made.
    """

    set_up: SetUp
    work: HeldWork

    @cached_property
    def fed_work(self) -> HeldWork:
        """The work while the rolls are fed in, at the ends of a traverse."""
        return self._under(self.set_up.pressing)

    @cached_property
    def high_work(self) -> HeldWork:
        """The work under the greatest force."""
        return self._under(self.set_up.high_pressing)

    @cached_property
    def least_work(self) -> HeldWork:
        """The work under the least force where the knurl is made."""
        return self._under(self.set_up.least_pressing)

    def _under(self, pressing: Pressing) -> HeldWork:
        return replace(self.work, pressing=pressing)

    # -- how far it deflects -----------------------------------------------------

    @cached_property
    def softest(self) -> Softest:
        """Where the work deflects most and least."""
        return self.work.softest(*self.set_up.travel)

    @cached_property
    def max_mm(self) -> float:
        """Largest deflection while the knurl is made to the planned penetration [mm]."""
        return self.work.deflection_mm(self.set_up.penetration_mm, self.softest.most_left_mm)

    @property
    def max_range_mm(self) -> tuple[float, float]:
        """Lower and upper end of :attr:`max_mm` [mm]."""
        c, left = self.set_up.penetration_mm, self.softest.most_left_mm
        low, high = (work.deflection_mm(c, left) for work in (self.least_work, self.high_work))
        return low, high

    @property
    def resultant_n(self) -> float:
        """Resultant radial force under which :attr:`max_mm` is reached [N]."""
        face = self.work.face_on_work_mm(self.softest.most_left_mm)
        return self.work.resultant_n(self.set_up.penetration_mm, face)

    @cached_property
    def fed(self) -> Place:
        """Where the work deflects most while the rolls are fed in: an end of their travel."""
        set_up, work = self.set_up, self.fed_work
        c, across = set_up.penetration_mm, set_up.contact.centre_mm(set_up.penetration_mm)
        left = max(set_up.travel, key=lambda end: work.deflection_mm(c, end))
        return Place(
            work.middle_mm(left), work.deflection_mm(c, left), work.penetration_mm(across, left)
        )

    @property
    def z_mm(self) -> float:
        """Where it is largest: Z of the middle of the face on the work, from Z0 [mm]."""
        return self.work.middle_mm(self.softest.most_left_mm)

    # -- what that leaves of the knurl -------------------------------------------

    @cached_property
    def depths_mm(self) -> tuple[float, float]:
        """Least and largest penetration without compensation [mm]."""
        return self.depths_of(self.work)

    @cached_property
    def most_lost_mm(self) -> float:
        """What a traverse can lose at most without compensation, unsolved [mm].

        Where the work deflects it is pressed less deep, and with less force; and at first
        touch a roll's force acts most along the slide. Meant for the many set-ups of which
        there is nothing to say. A plunge also leaves the tilt of the work, and may lose more.
        """
        work, left = self.work, self.softest.most_left_mm
        c, face = self.set_up.penetration_mm, work.face_on_work_mm(left)
        force = work.rolls * work.pressing.roll_force_n(c, face)
        turn = work.contact.touch_mm / work.apart_mm
        return force * turn * turn * work.compliance_mm_per_n(left)

    @property
    def lost_mm(self) -> float:
        """Penetration lost without compensation, where most is lost [mm]."""
        return max(0.0, self.set_up.penetration_mm - self.depths_mm[0])

    @property
    def evenness(self) -> float:
        """Depth uniformity without compensation: least over greatest penetration [-]."""
        lowest, highest = self.depths_mm
        return max(0.0, lowest) / highest

    def depths_of(self, work: HeldWork) -> tuple[float, float]:
        """Return the least and the largest penetration that is left without compensation.

        When plunging the work bends under the face, and its two edges differ; a traverse
        evens that out, for every place meets the whole face.

        Args:
            work: The work as it is held, or as it might be [-]

        Returns:
            Least and largest penetration [mm]
        """
        across = work.contact.centre_mm(self.set_up.penetration_mm)
        if self.set_up.traverses:
            return work.extremes_mm(across, *self.set_up.travel)
        edges = work.edges_mm(across, self.set_up.travel.chuck_end_mm)
        return min(edges), max(edges)

    def evenness_of(self, work: HeldWork) -> float:
        """Return the depth uniformity of other work, without compensation.

        Args:
            work: The work as it might be held [-]

        Returns:
            Least over greatest penetration [-]
        """
        lowest, highest = self.depths_of(work)
        return max(0.0, lowest) / highest

    def lost_share_of(self, work: HeldWork) -> float:
        """Return the share of the penetration that other work loses where it loses most.

        Args:
            work: The work as it might be held [-]

        Returns:
            Loss over the planned penetration [-]
        """
        c = self.set_up.penetration_mm
        return (c - self.depths_of(work)[0]) / c

    @cached_property
    def lost_share(self) -> float:
        """Share of the penetration that is lost without compensation where most is [-]."""
        c = self.set_up.penetration_mm
        return (c - self.depths_mm[0]) / c

    @cached_property
    def evenness_range(self) -> tuple[float, float]:
        """Depth uniformity without compensation, at the greatest and the least force [-]."""
        return self.evenness_of(self.high_work), self.evenness_of(self.least_work)

    # -- with deflection compensation ----------------------------------------------

    @cached_property
    def evenness_compensated(self) -> float:
        """Depth uniformity with deflection compensation: least over greatest penetration [-].

        The least that it can be: no place comes deeper than planned, and none shallower
        than chords and setting off allow. When plunging the tilt of the work stays.
        """
        work, c = self.work, self.set_up.penetration_mm
        if self.set_up.traverses:
            return 1.0 - most_chord_mm(c) / c
        left = self.set_up.travel.chuck_end_mm
        edges = work.edges_mm(work.across_mm(c, left), left)
        return max(0.0, min(edges)) / max(edges)

    @cached_property
    def followed_range(self) -> tuple[float, float, float]:
        """What compensation leaves if the force is not the likely one.

        Depth uniformity at the greatest and at the least force [-], and how much too deep
        the knurl comes at the least [mm].
        """
        found, deepest = [], 0.0
        for other in (self.high_work, self.least_work):
            depths = self._followed_depths(other)
            found.append(max(0.0, min(depths)) / max(depths))
            deepest = max(depths)
        return found[0], found[1], max(0.0, deepest - self.set_up.penetration_mm)

    def _followed_depths(self, other: HeldWork) -> list[float]:
        """Return the penetration under another force than the one that is compensated [mm]."""
        work, c = self.work, self.set_up.penetration_mm
        if not self.set_up.traverses:
            left = self.set_up.travel.chuck_end_mm
            return list(other.edges_mm(work.across_mm(c, left), left))
        return [other.penetration_mm(work.across_mm(c, left), left) for left in self._places]

    # -- stress and the centre -----------------------------------------------------

    @property
    def most_stress_mpa(self) -> float:
        """What no bending stress exceeds, found without a look at any place [MPa]."""
        set_up, work = self.set_up, self.high_work
        c = set_up.penetration_mm * (HARDEST_AFRESH if set_up.cancels else 1.0)
        return work.resultant_n(c, work.face_mm) * work.beam.most_stress_mpa_per_n

    def bending_mpa(self, *, compensated: bool) -> tuple[float, float]:
        """Return the largest bending stress of a program, likely and at most.

        The one figure that is shown and that is compared with the metal's strength. The work
        deflects before it sees the full force, but where the slide compensates that.

        Args:
            compensated: Whether the slide compensates the deflection [-]

        Returns:
            Likely stress, and that under the greatest force [MPa]
        """
        ends = set(self.set_up.travel)
        line, far = self.set_up.travel
        # Where work deflects much, what relieves it moves the worst place to between the others.
        many = {line + (far - line) * i / PLACES_BENT for i in range(PLACES_BENT)}
        places = {*self._places, *many}
        making = self._bending_mpa(self.work, self._places, compensated=compensated)
        fed = self._bending_mpa(self.fed_work, ends, compensated=compensated)
        high = self._bending_mpa(self.high_work, places, compensated=compensated)
        return max(making, fed), high

    def _bending_mpa(self, work: HeldWork, places: Iterable[float], *, compensated: bool) -> float:
        return max(
            _stress_mpa(work, max(0.0, work.settled_mm(across, left)), left)
            for left in places
            for across in self._slides_mm(left, compensated=compensated)
        )

    def _slides_mm(self, left_mm: float, *, compensated: bool) -> set[float]:
        """Return where the slide stands when it presses hardest at a place [mm]."""
        set_up = self.set_up
        if compensated:
            return {self.work.across_mm(set_up.penetration_mm, left_mm)}
        return {set_up.contact.centre_mm(c) for c in (set_up.hardest_mm, set_up.penetration_mm)}

    @cached_property
    def tailstock_n(self) -> float:
        """Largest radial load on the centre at the tailstock [N].

        Fed in at an end of the travel, or with the whole face on the work and nearest to the
        centre: further out the force falls faster than the centre's share of it grows.
        """
        set_up = self.set_up
        loads = [self._tailstock_n(self.fed_work, left) for left in set_up.travel]
        return max(*loads, self._tailstock_n(self.work, set_up.travel.fullest_mm(set_up.face_mm)))

    def _tailstock_n(self, work: HeldWork, left_mm: float) -> float:
        force = work.resultant_n(self.set_up.hardest_mm, work.face_on_work_mm(left_mm))
        return force * work.beam.tailstock_share(work.beam.length_mm + work.middle_mm(left_mm))

    @cached_property
    def _places(self) -> tuple[float, ...]:
        """Left edges of the rolls at which the worst is looked for [mm]."""
        beam, half = self.work.beam, self.set_up.face_mm / 2.0
        line, far = self.set_up.travel
        heaviest = [(s - 1.0) * beam.length_mm - half for s in HEAVIEST_SHARES[beam.support]]
        parts = PLACES_CHECKED if len(beam.pieces) > 1 else 2
        # Evenly spaced places for steps, whose worst may be anywhere; of plain work the heaviest,
        # the fullest and the softest are known, and one in the middle stays as a check.
        places = {
            *(line + (far - line) * i / parts for i in range(parts + 1)),
            *(min(max(place, line), far) for place in heaviest),
            self.set_up.travel.fullest_mm(self.set_up.face_mm),
            *self.softest,
        }
        return tuple(places)

    def curve(self, places: int = 40) -> tuple[Place, ...]:
        """Return penetration and deflection along the rolls' travel, from the chuck's end on.

        Args:
            places: Into how many parts the travel is cut [-]

        Returns:
            The places; one when plunging [mm]
        """
        work, c = self.work, self.set_up.penetration_mm
        line, far = self.set_up.travel
        across = self.set_up.contact.centre_mm(c)
        lefts = [line + (far - line) * i / places for i in range(places + 1)]
        return tuple(
            Place(
                work.middle_mm(left),
                work.deflection_mm(c, left),
                work.penetration_mm(across, left),
            )
            for left in (lefts if self.set_up.traverses else lefts[:1])
        )


def _stress_mpa(work: HeldWork, penetration_mm: float, left_mm: float) -> float:
    force = work.resultant_n(penetration_mm, work.face_on_work_mm(left_mm))
    return force * work.beam.stress_mpa_per_n(work.beam.length_mm + work.middle_mm(left_mm))
