"""Loads of a set-up: the rolls' forces, torque and power of each pass. Estimates.

A set-up is the teeth, the metal, the tool and where its rolls travel. How far the work
deflects under these loads is worked out in ``setup_deflection``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

from knurlcam.mechanics.contact import Contact
from knurlcam.mechanics.loads import (
    FLANK_FRICTION,
    FlowStress,
    Prints,
    axial_force_n,
    indentation_pressure_mpa,
    power_w,
    reduced_radius_mm,
    resultant_force_n,
    torque_nm,
    wedge_width,
)
from knurlcam.mechanics.pressing import AFRESH, Bite, Fresh, Pressing

__all__ = ["HARDEST_AFRESH", "Loads", "RollTravel", "SetUp", "Teeth", "pressing_of"]

CANCELLED = 1e-6
"""Cosine of a roll's direction below which its share of a resultant is rounding: the forces
cancel [-]."""

HARDEST_AFRESH, HARDEST_FED = 3.0 / 4.0, 2.0 / 3.0
"""Shares of the full penetration at which two rolls that cancel there press hardest on their
way in: pressed afresh, c^1.5 times the cosine of their directions, sqrt(c_full - c) or nearly
so; and fed in by even increments, c times that cosine [-]."""


class Teeth(NamedTuple):
    """The teeth that press.

    Attributes:
        prints: What a roll has.
        pitch_mm: Pitch t normal to the teeth [mm]
        profile_deg: Profile angle alpha [deg]
        one_hand_deg: Helix angle where all rolls have teeth of one hand; else 0 [deg]
        pressure_share: Pressure of indentation over flow stress [-]
        strip_per_mm: Share of a pitch that a strip covers, for each mm of penetration [1/mm]
    """

    prints: Prints
    pitch_mm: float
    profile_deg: float
    one_hand_deg: float
    pressure_share: float
    strip_per_mm: float

    @classmethod
    def of(cls, prints: Prints, pitch_mm: float, profile_deg: float, one_hand_deg: float) -> Teeth:
        """Return teeth with what follows from their profile.

        Args:
            prints: What a roll has [-]
            pitch_mm: Pitch t normal to the teeth, > 0 [mm]
            profile_deg: Profile angle alpha, 60 to 120 [deg]
            one_hand_deg: Helix angle where all rolls have teeth of one hand; else 0 [deg]

        Returns:
            The teeth [-]

        Raises:
            OutOfRangeError: if the profile angle is outside its range.

        Example:
            >>> round(Teeth.of("ridges", 1.0, 90.0, 0.0).strip_per_mm, 4)
            2.8393

        Sources:
            [1] :func:`indentation_pressure_mpa` and :func:`wedge_width` of ``loads``.
        """
        share = indentation_pressure_mpa(1.0, profile_deg)
        strip = wedge_width(profile_deg) / pitch_mm
        return cls(prints, pitch_mm, profile_deg, one_hand_deg, share, strip)


class RollTravel(NamedTuple):
    """Where the rolls' left edge goes in the passes at full penetration, from Z0.

    Attributes:
        chuck_end_mm: At the end of its travel toward the chuck or the driven centre [mm]
        tail_end_mm: At the end toward the tailstock; the same when plunging [mm]
    """

    chuck_end_mm: float
    tail_end_mm: float

    def fullest_mm(self, face_mm: float) -> float:
        """Return the place nearest to the tailstock with the most of the face on the work.

        Args:
            face_mm: Face width of the rolls, > 0 [mm]

        Returns:
            Left edge of the rolls, from Z0 [mm]

        Example:
            >>> RollTravel(-20.0, -10.0 / 3.0).fullest_mm(10.0)
            -10.0

        Sources:
            [1] Geometry.
        """
        return min(max(self.chuck_end_mm, -face_mm), self.tail_end_mm)


class Loads(NamedTuple):
    """Loads of one pass: estimates, each likely with a lower and an upper end.

    Likely is what a turn of the work presses in; the lower end takes the yield strength and
    no more than the pass is deeper than the one before; the upper end teeth that are pressed
    afresh, tensile strength and friction on the flanks.

    Attributes:
        radial_force_n: One roll's force on the work along the line of centres [N]
        radial_force_low_n: ... at least [N]
        radial_force_high_n: ... at most [N]
        net_push_n: Resultant radial force of all rolls on the work: what bends it (the key
            is published) [N]
        net_push_low_n: ... at least [N]
        net_push_high_n: ... at most [N]
        axial_force_n: Force along the axis [N]
        axial_force_low_n: ... at least [N]
        axial_force_high_n: ... at most [N]
        torque_nm: Torque on the spindle [N*m]
        torque_low_nm: ... at least [N*m]
        torque_high_nm: ... at most [N*m]
        power_w: Power at the spindle [W]
        arc_mm: Arc of contact, in which the roll presses in [mm]
        face_mm: Face in contact [mm]
        teeth: Teeth in contact, as a length [-]
    """

    radial_force_n: float
    radial_force_low_n: float
    radial_force_high_n: float
    net_push_n: float
    net_push_low_n: float
    net_push_high_n: float
    axial_force_n: float
    axial_force_low_n: float
    axial_force_high_n: float
    torque_nm: float
    torque_low_nm: float
    torque_high_nm: float
    power_w: float
    arc_mm: float
    face_mm: float
    teeth: float


def pressing_of(
    flow: FlowStress, teeth: Teeth, contact: Contact, fresh: Fresh = AFRESH
) -> Pressing:
    """Return how hard one roll is likely to be pressed.

    Args:
        flow: Flow stress of the metal [MPa]
        teeth: The teeth that press [-]
        contact: Roll against blank [-]
        fresh: What a turn presses in [mm]

    Returns:
        One roll against the blank [-]

    Example:
        >>> flow, teeth = FlowStress(260.0, 285.0, 310.0, ""), Teeth.of("ridges", 1.0, 90.0, 0.0)
        >>> pressing = pressing_of(flow, teeth, Contact(12.3, 10.0, 0.0, "touch-off"))
        >>> round(pressing.pressure_mpa, 1), round(pressing.reduced_radius_mm, 3)
        (518.3, 5.516)

    Sources:
        [1] :func:`indentation_pressure_mpa` and :func:`reduced_radius_mm` of ``loads``.
    """
    return Pressing(
        flow.likely_mpa * teeth.pressure_share,
        teeth.strip_per_mm,
        teeth.prints,
        reduced_radius_mm(contact.blank_radius_mm, contact.roll_radius_mm),
        fresh,
    )


@dataclass(frozen=True)
class SetUp:
    """Teeth, metal, tool and where it presses.

    Attributes:
        teeth: The teeth that press.
        flow: Flow stress of the metal.
        pressing: How hard one roll is likely to be pressed where it is pressed hardest.
        contact: Where the slide stands for a penetration.
        rolls: How many rolls touch the work.
        face_mm: Face width [mm]
        travel: Where the rolls go at full penetration.
        penetration_mm: Full penetration c [mm]
        step_mm: How much of it the last pass presses [mm]
        rpm: Spindle speed [rev/min]
    """

    teeth: Teeth
    flow: FlowStress
    pressing: Pressing
    contact: Contact
    rolls: int
    face_mm: float
    travel: RollTravel
    penetration_mm: float
    step_mm: float
    rpm: float

    @property
    def traverses(self) -> bool:
        """Whether the rolls move along the work."""
        return self.travel.chuck_end_mm != self.travel.tail_end_mm

    @cached_property
    def cancels(self) -> bool:
        """Whether the rolls' forces cancel at full depth, as those of a straddle do."""
        contact, c = self.contact, self.penetration_mm
        apart = contact.blank_radius_mm + contact.roll_radius_mm - c
        return contact.centre_mm(c) < CANCELLED * apart

    @property
    def hardest_mm(self) -> float:
        """Penetration at which the resultant force on the work is likely to be largest [mm]."""
        c = self.penetration_mm
        if not self.cancels:
            return c
        # As if pressed afresh up to the increment of a turn; from there on it stays the same.
        increment = self._governing(c).deeper_mm
        return min(HARDEST_AFRESH * c, max(HARDEST_FED * c, increment))

    @cached_property
    def high_pressing(self) -> Pressing:
        """How hard one roll may have to be pressed at most: afresh, with friction."""
        likely, flow = self.pressing, self.flow
        friction = FLANK_FRICTION / math.tan(math.radians(self.teeth.profile_deg / 2.0))
        share = flow.high_mpa / flow.likely_mpa * (1.0 + friction)
        return replace(likely, pressure_mpa=likely.pressure_mpa * share, fresh=AFRESH)

    def low_pressing(self, step_mm: float) -> Pressing:
        """Return how hard one roll must be pressed at least in a pass.

        Args:
            step_mm: How much deeper the pass is than the one before, > 0 [mm]

        Returns:
            One roll against metal that has just begun to yield, in which a turn presses no more
            in than the pass does [-]

        Example:
            A pass of 0.02 mm, which less than a turn of infeed has pressed in:

            >>> flow = FlowStress(260.0, 285.0, 310.0, "mean")
            >>> teeth = Teeth.of("ridges", 1.0, 90.0, 0.0)
            >>> contact, travel = Contact(12.3, 10.0, 0.0, "touch-off"), RollTravel(-20.0, -10.0)
            >>> pressing = pressing_of(flow, teeth, contact, Fresh(0.05, 0.5, 0.065))
            >>> set_up = SetUp(teeth, flow, pressing, contact, 1, 10.0, travel, 0.162, 0.02, 110.0)
            >>> low = set_up.low_pressing(0.02)
            >>> round(low.pressure_mpa, 1), low.fresh
            (472.8, Fresh(infeed_mm=0.02, feed_mm=0.5, step_mm=0.02))

        Sources:
            [1] Yield strength as the least flow stress: rule of this program.
        """
        likely, flow = self.pressing, self.flow
        infeed, feed, step = likely.fresh
        fresh = Fresh(min(infeed, step_mm), feed, min(step, step_mm))
        pressure = likely.pressure_mpa * flow.low_mpa / flow.likely_mpa
        return replace(likely, pressure_mpa=pressure, fresh=fresh)

    @cached_property
    def making_pressing(self) -> Pressing:
        """How hard one roll is likely to be pressed where it makes the knurl.

        On the way of a traverse nothing is fed in, and it presses the fresh strip of one feed.
        """
        return self._on_the_way(self.pressing)

    @cached_property
    def least_pressing(self) -> Pressing:
        """... at least."""
        return self._on_the_way(self.low_pressing(self.step_mm))

    def _on_the_way(self, pressing: Pressing) -> Pressing:
        if not self.traverses:
            return pressing
        return replace(pressing, fresh=pressing.fresh._replace(infeed_mm=0.0))

    @cached_property
    def loads(self) -> Loads:
        """Loads of the pass at full penetration."""
        return self.loads_at(self.penetration_mm, self.step_mm)

    def loads_at(self, penetration_mm: float, step_mm: float) -> Loads:
        """Return the loads of a pass.

        Args:
            penetration_mm: Its penetration, > 0 [mm]
            step_mm: How much of it this pass presses, > 0 [mm]

        Returns:
            Its loads [N]

        Example:
            One roll of 20 mm on a blank of 24.6 mm: its whole force bends the work.

            >>> flow = FlowStress(260.0, 285.0, 310.0, "mean")
            >>> teeth = Teeth.of("ridges", 1.0, 90.0, 0.0)
            >>> contact, travel = Contact(12.3, 10.0, 0.0, "touch-off"), RollTravel(-20.0, -10.0)
            >>> pressing = pressing_of(flow, teeth, contact, Fresh(0.05, 0.5, 0.065))
            >>> set_up = SetUp(teeth, flow, pressing, contact, 1, 10.0, travel, 0.162, 0.02, 110.0)
            >>> loads = set_up.loads
            >>> round(loads.radial_force_n), round(loads.net_push_n)
            (1770, 1770)
            >>> round(loads.radial_force_low_n), round(loads.radial_force_high_n)
            (1021, 3813)

        Sources:
            [1] The formulas of ``loads`` and ``pressing``, each with its own source.
        """
        # At the end toward the chuck, where most of the face is on the work.
        face = min(self.face_mm, -self.travel.chuck_end_mm)
        likely, low, high = (
            self._of(pressing, penetration_mm, face)
            for pressing in (self.pressing, self.low_pressing(step_mm), self.high_pressing)
        )
        arc = self.pressing.arc_mm(self._governing(penetration_mm).deeper_mm)
        return Loads(
            radial_force_n=likely.radial_n,
            radial_force_low_n=low.radial_n,
            radial_force_high_n=high.radial_n,
            net_push_n=likely.resultant_n,
            net_push_low_n=low.resultant_n,
            net_push_high_n=high.resultant_n,
            axial_force_n=likely.axial_n,
            axial_force_low_n=low.axial_n,
            axial_force_high_n=high.axial_n,
            torque_nm=likely.torque_nm,
            torque_low_nm=low.torque_nm,
            torque_high_nm=high.torque_nm,
            power_w=power_w(likely.torque_nm, self.rpm),
            arc_mm=arc,
            face_mm=face,
            teeth=arc / self.teeth.pitch_mm,
        )

    def _governing(self, penetration_mm: float) -> Bite:
        """Return which of what a turn presses in takes the larger force."""
        face = min(self.face_mm, -self.travel.chuck_end_mm)
        bites = self.pressing.bites(penetration_mm, face)
        return max(bites, key=lambda bite: bite.wide_mm * math.sqrt(bite.deeper_mm))

    def _of(self, pressing: Pressing, penetration_mm: float, face_mm: float) -> _Pressed:
        """Return the loads of rolls that are pressed so hard."""
        contact = self.contact
        force = pressing.roll_force_n(penetration_mm, face_mm)
        torque = self._torque_nm(pressing, penetration_mm, face_mm)
        apart = contact.blank_radius_mm + contact.roll_radius_mm - penetration_mm
        across = contact.centre_mm(penetration_mm)
        resultant = resultant_force_n(force, self.rolls, across, apart)
        axial = self._axial_n(pressing, penetration_mm, force, torque)
        return _Pressed(force, resultant, axial, torque)

    def _torque_nm(self, pressing: Pressing, penetration_mm: float, face_mm: float) -> float:
        """Return the torque of the harder work: feeding in, or traversing [N*m]."""
        contact = self.contact
        share = pressing.share(penetration_mm)
        largest = 0.0
        for wide, deeper in pressing.bites(penetration_mm, face_mm):
            arc = pressing.arc_mm(deeper)
            torque = torque_nm(
                pressing.pressure_mpa * share * wide * arc,
                self.rolls,
                arc,
                pressing.work_share(penetration_mm, deeper),
                contact.blank_radius_mm,
                contact.roll_radius_mm,
            )
            largest = max(largest, torque)
        return largest

    def _axial_n(
        self, pressing: Pressing, penetration_mm: float, force_n: float, torque: float
    ) -> float:
        """Return the force along the axis: of teeth of one hand, and of the traverse [N]."""
        teeth = self.teeth
        # Teeth of one hand press along the axis like those of a helical gear.
        axial = torque * 1000.0 / self.contact.blank_radius_mm
        axial *= math.tan(math.radians(teeth.one_hand_deg))
        if not self.traverses:
            return axial
        # What a traverse ploughs aside: what the teeth ahead come deeper than the pass before.
        afresh = pressing.fresh == AFRESH
        step = penetration_mm if afresh else min(pressing.fresh.step_mm, penetration_mm)
        section = penetration_mm**2 - (penetration_mm - step) ** 2
        half = math.radians(teeth.profile_deg / 2.0)
        front = section * math.tan(half) * pressing.arc_mm(step) / teeth.pitch_mm
        return axial + axial_force_n(
            force_n, self.rolls, front, pressing.pressure_mpa, teeth.profile_deg
        )


class _Pressed(NamedTuple):
    """What the rolls press with at one end of the estimate."""

    radial_n: float
    resultant_n: float
    axial_n: float
    torque_nm: float
