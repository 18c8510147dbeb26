"""Held work under the rolls: how deep they come where it deflects, and how to compensate.

The slide stands where the program puts it; the work deflects until the force that bends it is
the force of the teeth at the penetration that is left. Along the work the rolls are known by
the Z of their left edge, in millimetres from Z0; the force acts in the middle of the face
that is on the work, and is that of the penetration there. The work bends under the face, and
the rolls do not tilt with it: the penetration that they leave is that of the deepest edge, for
on a traverse every place meets the whole face. Only a plunge leaves the tilt in the knurl.

The force is the likely one, unless the work is given another (``pressing``). The deflection is
that under the full force: so far a slide that compensates must go. What is
lost without compensation is solved with the force that is left where the work deflects.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from knurlcam.mechanics.beam import SOFTEST_SHARE, Beam
from knurlcam.mechanics.contact import Contact
from knurlcam.mechanics.pressing import Pressing

__all__ = ["CHORD_MM", "CHORD_SHARE", "HeldWork", "Knot", "Softest", "most_chord_mm"]

CHORD_MM = 0.001
"""How far a straight block may leave the curve that the slide should follow: a control's
least increment [mm]."""

CHORD_SHARE = 0.002
"""... as a share of the penetration, where that is less [-]."""

MOST_HALVINGS = 12
"""Halvings of a pass, into 4096 blocks [-]: far more than any needs, so that nothing runs for
ever."""

LOOKS = (0.5, 0.3, 0.7, 0.1, 0.9)
"""Shares of a block at which it is compared with the curve that it should follow [-]: the
middle first, where a block that is too long is furthest off, so that most need one look."""

CHORD_MARGIN = 1.25
"""Factor on the chord that is found: between the places looked at it may be a little further
off [-]."""

SOLVED_MM = 1e-7
"""How near a penetration is solved [mm]: nothing against a tolerance of 0.01 mm."""

PLACES = 24
"""Parts into which a traverse is cut to find where stepped work is softest [-]."""


def most_chord_mm(penetration_mm: float) -> float:
    """Return how much too shallow a slide with compensation may stand at most [mm].

    Args:
        penetration_mm: Penetration of the pass, > 0 [mm]
    """
    # By the chord, and by what the whole curve is set off so that no chord comes too deep.
    return (1.0 + CHORD_MARGIN) * _allowed_mm(penetration_mm)


def _allowed_mm(penetration_mm: float) -> float:
    return min(CHORD_MM, CHORD_SHARE * penetration_mm)


class Knot(NamedTuple):
    """A place through which the slide goes while it follows the deflection.

    Attributes:
        left_mm: Z of the rolls' left edge, from Z0 [mm]
        across_mm: Distance from the spindle axis to the roll centres [mm]
    """

    left_mm: float
    across_mm: float


class Softest(NamedTuple):
    """Where the work deflects most, and least.

    Attributes:
        most_left_mm: Left edge of the rolls where it deflects most [mm]
        least_left_mm: ... and least [mm]
    """

    most_left_mm: float
    least_left_mm: float


@dataclass(frozen=True, slots=True)
class HeldWork:
    """A blank as it is held, and the rolls that press on it.

    Attributes:
        contact: Where the slide stands for a penetration.
        pressing: How hard one roll must be pressed.
        rolls: How many rolls touch the work, 1 or 2.
        face_mm: Face width of the rolls [mm]
        beam: The work as it is held.
    """

    contact: Contact
    pressing: Pressing
    rolls: int
    face_mm: float
    beam: Beam

    @property
    def apart_mm(self) -> float:
        """Distance of the centres of roll and work at first touch [mm]."""
        return self.contact.blank_radius_mm + self.contact.roll_radius_mm

    def face_on_work_mm(self, left_mm: float) -> float:
        """Return how much of the face is on the work [mm]; the rest hangs over the end."""
        return self.face_mm if left_mm <= -self.face_mm else max(0.0, -left_mm)

    def middle_mm(self, left_mm: float) -> float:
        """Return the Z of the middle of the face that is on the work [mm]."""
        return left_mm + self.face_on_work_mm(left_mm) / 2.0

    def resultant_n(self, penetration_mm: float, face_mm: float) -> float:
        """Return the resultant radial force of the rolls; see ``loads.resultant_force_n``.

        Args:
            penetration_mm: Penetration c [mm]
            face_mm: Face in contact [mm]

        Returns:
            Resultant radial force [N]
        """
        return self._push(penetration_mm, face_mm)[0] if penetration_mm > 0.0 else 0.0

    def _push(self, penetration_mm: float, face_mm: float) -> tuple[float, float]:
        """Return the resultant [N], and what a mm of slide is toward the roll centres [-]."""
        force = self.pressing.roll_force_n(penetration_mm, face_mm)
        turn = self.contact.centre_mm(penetration_mm) / (self.apart_mm - penetration_mm)
        return self.rolls * force * turn, turn

    def compliance_mm_per_n(self, left_mm: float) -> float:
        """Return the compliance of the work under the rolls [mm/N].

        A program that is wrong may take the rolls beyond either end of the work: there it is
        as at that end.
        """
        return self.beam.compliance_mm_per_n(self._place_mm(left_mm))

    def _place_mm(self, left_mm: float) -> float:
        """Return the middle of the face from the chuck or the driven centre, on the work [mm]."""
        end = self.beam.length_mm
        return min(max(end + self.middle_mm(left_mm), 0.0), end)

    def deflection_mm(self, penetration_mm: float, left_mm: float) -> float:
        """Return how far the work deflects while it is pressed to a penetration.

        Args:
            penetration_mm: Penetration c that is reached [mm]
            left_mm: Left edge of the rolls [mm]

        Returns:
            Deflection under the rolls [mm]
        """
        force = self.resultant_n(penetration_mm, self.face_on_work_mm(left_mm))
        return force * self.compliance_mm_per_n(left_mm)

    def lean_mm_per_n(self, left_mm: float) -> float:
        """Return how much less the work deflects at the stiffer edge of the face [mm/N]."""
        return self._lean_mm_per_n(left_mm, self.compliance_mm_per_n(left_mm))

    def _lean_mm_per_n(self, left_mm: float, compliance_mm_per_n: float) -> float:
        beam, half = self.beam, self.face_on_work_mm(left_mm) / 2.0
        middle = self._place_mm(left_mm)
        left = beam.deflection_mm_per_n(middle, max(middle - half, 0.0))
        right = beam.deflection_mm_per_n(middle, min(middle + half, beam.length_mm))
        return compliance_mm_per_n - min(left, right)

    def across_mm(self, penetration_mm: float, left_mm: float) -> float:
        """Return where the roll centres must stand for a penetration, as the work deflects.

        Args:
            penetration_mm: Penetration c wanted at the deepest edge, > 0 [mm]
            left_mm: Left edge of the rolls [mm]

        Returns:
            Distance from the spindle axis at rest to the roll centres, across [mm]
        """
        face, compliance = self.face_on_work_mm(left_mm), self.compliance_mm_per_n(left_mm)
        lean, depth = self._lean_mm_per_n(left_mm, compliance), penetration_mm
        # Newton's steps come down on it from above, for the force grows faster than the depth.
        for _ in range(100):
            force, turn = self._push(depth, face)
            deeper = lean * force * turn
            off = depth + deeper - penetration_mm
            if abs(off) < SOLVED_MM / 100.0:
                break
            depth -= off / (1.0 + 1.5 * deeper / depth)
        return self.contact.centre_mm(depth) - force * compliance

    def is_pushed_aside(self, penetration_mm: float, left_mm: float) -> bool:
        """Return whether two rolls above and below push the work aside.

        At full depth a straddle's forces cancel: that is in balance, but not always stable.
        Work that stands a little off the axis is pushed further off, with
        2 F / (R_b + R_r - c) for each millimetre: it stays only if it is stiffer than that.

        Args:
            penetration_mm: Penetration c [mm]
            left_mm: Left edge of the rolls [mm]
        """
        force = self.pressing.roll_force_n(penetration_mm, self.face_on_work_mm(left_mm))
        aside = self.rolls * force / (self.apart_mm - penetration_mm)
        return aside * self.compliance_mm_per_n(left_mm) >= 1.0

    def penetration_mm(self, across_mm: float, left_mm: float) -> float:
        """Return how deep the rolls come: the inverse of :meth:`across_mm`.

        Args:
            across_mm: Distance from the spindle axis at rest to the roll centres [mm]
            left_mm: Left edge of the rolls [mm]

        Returns:
            Penetration at the deepest edge; negative while the rolls are clear [mm]
        """
        depth = self.settled_mm(across_mm, left_mm)
        contact = self.contact
        deepest = contact.blank_radius_mm + contact.roll_radius_mm - contact.half_spacing_mm
        # There is no force off the end of the work, and beyond the axis no formula holds.
        if not 0.0 < depth < deepest or self.face_on_work_mm(left_mm) <= 0.0:
            return depth
        force, turn = self._push(depth, self.face_on_work_mm(left_mm))
        return depth + self.lean_mm_per_n(left_mm) * force * turn

    def settled_mm(self, across_mm: float, left_mm: float) -> float:
        """Return how deep the rolls come in the middle of the face, where the force acts.

        Args:
            across_mm: Distance from the spindle axis at rest to the roll centres [mm]
            left_mm: Left edge of the rolls [mm]

        Returns:
            Penetration there; negative while the rolls are clear of the work [mm]
        """
        contact, pressing = self.contact, self.pressing
        half, blank = contact.half_spacing_mm, contact.blank_radius_mm
        apart0 = blank + contact.roll_radius_mm
        stiff = apart0 - math.hypot(max(across_mm, 0.0), half) - min(across_mm, 0.0)
        face = self.face_on_work_mm(left_mm)
        soft = self.compliance_mm_per_n(left_mm) * self.rolls
        if stiff <= 0.0 or soft <= 0.0 or face <= 0.0:
            return stiff
        # The deepest that the rolls can come: to the axis, or as near as their spacing lets them.
        low, high = 0.0, min(stiff, apart0 - half, blank)
        depth = high
        # For ridges that have come deeper than a turn presses in the force grows with c alone, as
        # long as they are narrower than the pitch: written out, for this is where the time goes.
        infeed, feed, step = pressing.fresh
        even = max(infeed, step if feed else 0.0)
        if pressing.prints != "ridges" or pressing.strip_per_mm * high > 1.0:
            even = math.inf
        for_each_mm = 0.0
        if even <= high:
            for_each_mm = pressing.roll_force_n(high, face) / high
        for _ in range(100):
            apart = apart0 - depth
            square = apart * apart - half * half
            centre = math.sqrt(square) if square > 0.0 else 0.0
            straight = depth >= even
            force = for_each_mm * depth if straight else pressing.roll_force_n(depth, face)
            give = soft * force / apart
            off = centre * (1.0 - give) - across_mm
            if not off and give < 1.0:
                return depth  # as a straddle at full depth, which no force deflects
            if off > 0.0:
                low = depth
            else:
                high = depth
            # Before, the force grows with c^1.5 or nearly so: near enough to find the way.
            slope = (apart / centre if centre else math.inf) * (1.0 - give)
            slope += centre * give * ((1.0 if straight else 1.5) / depth if depth else 0.0)
            new = depth + off / slope if slope > 0.0 else low
            # Newton's step, held in the bracket: near the axis the slope grows beyond all bounds.
            if not low < new < high:
                new = (low + high) / 2.0
            if abs(new - depth) < SOLVED_MM:
                return new
            depth = new
        return depth

    def softest(self, one_end_mm: float, other_end_mm: float) -> Softest:
        """Return where between two places of the rolls the work deflects most and least.

        Args:
            one_end_mm: Left edge of the rolls at one end of their way [mm]
            other_end_mm: ... and at the other [mm]

        Returns:
            The two places; by the force as much as by the work, for a roll that hangs over
            the end presses with less of its face.
        """
        line, far = min(one_end_mm, other_end_mm), max(one_end_mm, other_end_mm)
        if far - line < SOLVED_MM:
            return Softest(line, line)
        beam, face = self.beam, self.face_mm
        if len(beam.pieces) > 1 or 2.0 * face > beam.length_mm:
            return self._softest_of_many(line, far)
        # Plain work: the force falls faster than the work grows softer once the face hangs over the
        # end, so the softest place is where the whole face is on it, and the stiffest an end.
        softest = (SOFTEST_SHARE[beam.support] - 1.0) * beam.length_mm - face / 2.0
        most = max(line, min(softest, far, -face))
        return Softest(most, line if self._soft(line) < self._soft(far) else far)

    def _softest_of_many(self, line: float, far: float) -> Softest:
        """Look at many places, for stepped work may have its soft places anywhere."""
        step = (far - line) / PLACES
        values = [self._soft(line + step * i) for i in range(PLACES + 1)]
        highest, lowest = max(values), min(values)
        most = values.index(highest)
        left, least = line + step * most, line + step * values.index(lowest)
        others = []
        if 0 < most < PLACES:
            before, here, after = values[most - 1 : most + 2]
            bend = before - 2.0 * here + after
            if bend < 0.0:  # the top of the parabola through three places
                others.append(left + step * (before - after) / bend / 2.0)
        if line < -self.face_mm < far:
            others.append(-self.face_mm)  # from here on the face hangs over the end
        for other in others:
            soft = self._soft(other)
            if soft > highest:
                highest, left = soft, other
            elif soft < lowest:
                lowest, least = soft, other
        return Softest(left, least)

    def _soft(self, left_mm: float) -> float:
        face = self.face_on_work_mm(left_mm)
        return face * self.beam.compliance_mm_per_n(self.beam.length_mm + left_mm + face / 2.0)

    def edges_mm(self, across_mm: float, left_mm: float) -> tuple[float, float]:
        """Return the penetration at the left and the right edge of the face.

        The work bends under the face, and the rolls do not tilt with it.

        Args:
            across_mm: Distance from the spindle axis at rest to the roll centres [mm]
            left_mm: Left edge of the rolls [mm]

        Returns:
            Penetration at the left and at the right edge of what is on the work [mm]
        """
        depth = self.settled_mm(across_mm, left_mm)
        face = self.face_on_work_mm(left_mm)
        force, turn = self._push(max(depth, 0.0), face)  # of nothing where the rolls are clear
        beam = self.beam
        middle = beam.length_mm + self.middle_mm(left_mm)
        here = beam.deflection_mm_per_n(middle, middle)
        left, right = (
            depth - force * (beam.deflection_mm_per_n(middle, at) - here) * turn
            for at in (middle - face / 2.0, middle + face / 2.0)
        )
        return left, right

    def extremes_mm(
        self, across_mm: float, one_end_mm: float, other_end_mm: float
    ) -> tuple[float, float]:
        """Return the least and the largest penetration that a traverse leaves without compensation.

        Args:
            across_mm: Distance from the spindle axis at rest to the roll centres [mm]
            one_end_mm: Left edge of the rolls at one end of their way [mm]
            other_end_mm: ... and at the other [mm]

        Returns:
            Least and largest penetration [mm]
        """
        line, far = min(one_end_mm, other_end_mm), max(one_end_mm, other_end_mm)
        places = {line, far, self.softest(line, far).most_left_mm}
        if len(self.beam.pieces) > 1:
            places |= {-self.face_mm} if line < -self.face_mm < far else set()
            places.add(self.softest(line, far).least_left_mm)
        depths = [self.penetration_mm(across_mm, left) for left in places]
        return min(depths), max(depths)

    # -- compensation -------------------------------------------------------------

    def follow(
        self, penetration_mm: float, start_mm: float, end_mm: float
    ) -> tuple[tuple[Knot, ...], float]:
        """Return the places through which the slide goes to compensate the deflection.

        Straight blocks between them leave the curve by no more than ``CHORD_MM`` or
        ``CHORD_SHARE`` of the penetration, and never toward the work: the whole curve is
        set off by as much as the chords would else come too deep.

        Args:
            penetration_mm: Penetration of the pass, > 0 [mm]
            start_mm: Left edge of the rolls where the traverse starts [mm]
            end_mm: ... and where it ends [mm]

        Returns:
            The places from start to end, both with them; and how far they were set off [mm]
        """
        allowed = _allowed_mm(penetration_mm)
        corner = -self.face_mm
        breaks = [start_mm, end_mm]
        if min(breaks) < corner < max(breaks):
            breaks.insert(1, corner)  # from here on the face is on the work, or off it
        made = [Knot(start_mm, self.across_mm(penetration_mm, start_mm))]
        deepest = 0.0
        for _, end in pairwise(breaks):
            stack = [(Knot(end, self.across_mm(penetration_mm, end)), 0)]
            while stack:
                knot, halvings = stack[-1]
                most = allowed if halvings < MOST_HALVINGS else math.inf
                deeper = self._chord_mm(penetration_mm, made[-1], knot, most)
                if deeper is not None:
                    made.append(knot)
                    deepest = max(deepest, deeper)
                    stack.pop()
                else:
                    stack[-1] = knot, halvings + 1
                    middle = (made[-1].left_mm + knot.left_mm) / 2.0
                    between = Knot(middle, self.across_mm(penetration_mm, middle))
                    stack.append((between, halvings + 1))
        set_off = CHORD_MARGIN * deepest
        return tuple([Knot(k.left_mm, k.across_mm + set_off) for k in made]), set_off

    def _chord_mm(
        self, penetration_mm: float, begin: Knot, end: Knot, allowed_mm: float
    ) -> float | None:
        """Return how much deeper than wanted a straight block comes; None if it is too long."""
        deepest = 0.0
        for share in LOOKS:
            left = begin.left_mm + share * (end.left_mm - begin.left_mm)
            chord = begin.across_mm + share * (end.across_mm - begin.across_mm)
            off = self.across_mm(penetration_mm, left) - chord
            if abs(off) > allowed_mm:
                return None
            deepest = max(deepest, off)
        return deepest
