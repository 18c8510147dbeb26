"""How the work deflects under the loads of a set-up, and what that leaves of the knurl.

Estimates. Whatever is compared with a limit here is measured by the penetration that is
lost where the work deflects most. Without compensation the slide stands at one X for the
whole pass; with it, the slide follows the deflection so that the rolls come equally deep.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

from knurlcam.mechanics.beam import HEAVIEST_SHARES
from knurlcam.mechanics.held_work import HeldWork, Softest, most_chord_mm
from knurlcam.mechanics.setup_loads import SetUp

__all__ = ["Place", "SetUpDeflection"]

PLACES_CHECKED = 24
"""Parts into which the rolls' travel along stepped work is cut to find its worst place [-]."""


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
        work: The work as it is held.
    """

    set_up: SetUp
    work: HeldWork

    # -- how far it deflects -----------------------------------------------------

    @cached_property
    def softest(self) -> Softest:
        """Where the work deflects most and least."""
        return self.work.softest(*self.set_up.travel)

    @cached_property
    def max_mm(self) -> float:
        """Largest deflection while the rolls press to the planned penetration [mm]."""
        return self.work.deflection_mm(self.set_up.penetration_mm, self.softest.most_left_mm)

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
        low, high = (self.evenness_of(self._pressed(share)) for share in self._force_shares)
        return low, high

    @property
    def _force_shares(self) -> tuple[float, float]:
        """Greatest and least force over the likely one [-]."""
        set_up = self.set_up
        return set_up.high_share, set_up.low_share(set_up.step_mm / set_up.penetration_mm)

    def _pressed(self, share: float) -> HeldWork:
        """Return the work under another force than the likely one."""
        pressing = self.work.pressing
        return replace(
            self.work, pressing=replace(pressing, pressure_mpa=pressing.pressure_mpa * share)
        )

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
        work, c = self.work, self.set_up.penetration_mm
        slide = [(work.across_mm(c, left), left) for left in self._places]
        found, deepest = [], 0.0
        for share in self._force_shares:
            other = self._pressed(share)
            depths = [other.penetration_mm(across, left) for across, left in slide]
            found.append(max(0.0, min(depths)) / max(depths))
            deepest = max(depths)
        return found[0], found[1], max(0.0, deepest - c)

    # -- stress and the centre -----------------------------------------------------

    @property
    def most_stress_mpa(self) -> float:
        """What :attr:`stress_mpa` does not exceed, found without a look at any place [MPa]."""
        work = self.work
        force = work.resultant_n(self.set_up.hardest_mm, work.face_mm)
        return force * work.beam.most_stress_mpa_per_n

    @cached_property
    def stress_mpa(self) -> float:
        """Largest bending stress if the rolls were pressed to the planned penetration [MPa]."""
        work, beam, c = self.work, self.work.beam, self.set_up.hardest_mm
        # At most places the whole face is on the work, and the force is the same.
        whole = work.resultant_n(c, work.face_mm)
        largest = 0.0
        for left in self._places:
            face = work.face_on_work_mm(left)
            force = whole if face == work.face_mm else work.resultant_n(c, face)
            at = beam.length_mm + left + face / 2.0
            largest = max(largest, force * beam.stress_mpa_per_n(at))
        return largest

    @cached_property
    def relieved_mpa(self) -> float:
        """Largest bending stress without compensation, where the work deflects [MPa]."""
        set_up, work = self.set_up, self.work
        return max(
            self._stress_mpa(max(0.0, work.settled_mm(across, left)), left)
            for across in map(set_up.contact.centre_mm, {set_up.hardest_mm, set_up.penetration_mm})
            for left in self._places
        )

    def _stress_mpa(self, penetration_mm: float, left_mm: float) -> float:
        work, beam = self.work, self.work.beam
        force = work.resultant_n(penetration_mm, work.face_on_work_mm(left_mm))
        return force * beam.stress_mpa_per_n(beam.length_mm + work.middle_mm(left_mm))

    @cached_property
    def tailstock_n(self) -> float:
        """Largest radial load on the centre at the tailstock [N].

        Where the whole face is on the work and nearest to the centre: further out the force
        falls faster than the centre's share of it grows.
        """
        work, beam = self.work, self.work.beam
        left = self.set_up.travel.fullest_mm(self.set_up.face_mm)
        force = work.resultant_n(self.set_up.hardest_mm, work.face_on_work_mm(left))
        return force * beam.tailstock_share(beam.length_mm + work.middle_mm(left))

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
