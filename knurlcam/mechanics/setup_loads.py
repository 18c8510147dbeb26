"""Loads of a set-up: the rolls' forces, torque and power of each pass. Estimates.

A set-up is the teeth, the metal, the tool and where its rolls travel. How far the work
deflects under these loads is worked out in ``setup_deflection``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from knurlcam.mechanics.contact import Contact
from knurlcam.mechanics.loads import (
    FLANK_FRICTION,
    FlowStress,
    Pressing,
    Prints,
    axial_force_n,
    indentation_pressure_mpa,
    power_w,
    reduced_radius_mm,
    resultant_force_n,
    torque_nm,
    wedge_width,
)

__all__ = ["Loads", "RollTravel", "SetUp", "Teeth", "pressing_of"]

CANCELLED = 1e-6
"""Share of one roll's force below which a resultant is rounding: the forces cancel [-]."""

HARDEST_SHARE = 0.75
"""Share of the full penetration at which two rolls that cancel there press hardest on their
way in: c^1.5 times the cosine of their directions, sqrt(c_full - c) or nearly so [-]."""


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
    """Loads of one pass: estimates.

    Attributes:
        radial_force_n: One roll's force on the work along the line of centres [N]
        radial_force_low_n: Lower end: metal that has just begun to yield, teeth less deep
            along the arc, only what is deeper than the pass before [N]
        radial_force_high_n: Upper end: tensile strength, friction on the flanks [N]
        net_push_n: Resultant radial force of all rolls on the work: what bends it (the key
            is published) [N]
        axial_force_n: Force along the axis [N]
        torque_nm: Torque on the spindle [N*m]
        power_w: Power at the spindle [W]
        arc_mm: Arc of contact [mm]
        face_mm: Face in contact [mm]
        teeth: Teeth in contact, as a length [-]
    """

    radial_force_n: float
    radial_force_low_n: float
    radial_force_high_n: float
    net_push_n: float
    axial_force_n: float
    torque_nm: float
    power_w: float
    arc_mm: float
    face_mm: float
    teeth: float


def pressing_of(flow: FlowStress, teeth: Teeth, contact: Contact) -> Pressing:
    """Return how hard one roll must be pressed.

    Args:
        flow: Flow stress of the metal [MPa]
        teeth: The teeth that press [-]
        contact: Roll against blank [-]

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
    )


@dataclass(frozen=True)
class SetUp:
    """Teeth, metal, tool and where it presses.

    Attributes:
        teeth: The teeth that press.
        flow: Flow stress of the metal.
        pressing: How hard one roll must be pressed.
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

    @property
    def cancels(self) -> bool:
        """Whether the rolls' forces cancel at full depth, as those of a straddle do."""
        return self.loads.net_push_n < CANCELLED * self.loads.radial_force_n

    @property
    def hardest_mm(self) -> float:
        """Penetration at which the resultant force on the work is largest [mm]."""
        return (HARDEST_SHARE if self.cancels else 1.0) * self.penetration_mm

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
            >>> pressing = pressing_of(flow, teeth, contact)
            >>> set_up = SetUp(teeth, flow, pressing, contact, 1, 10.0, travel, 0.162, 0.02, 110.0)
            >>> round(set_up.loads.radial_force_n), round(set_up.loads.net_push_n)
            (3187, 3187)

        Sources:
            [1] The formulas of ``loads``, each with its own source.
        """
        contact, teeth, pressing = self.contact, self.teeth, self.pressing
        # At the end toward the chuck, where most of the face is on the work.
        face = min(self.face_mm, -self.travel.chuck_end_mm)
        force, arc = pressing.roll_force_n(penetration_mm, face), pressing.arc_mm(penetration_mm)
        torque = torque_nm(
            force,
            self.rolls,
            arc,
            pressing.work_share(penetration_mm),
            contact.blank_radius_mm,
            contact.roll_radius_mm,
        )
        apart = contact.blank_radius_mm + contact.roll_radius_mm - penetration_mm
        across = contact.centre_mm(penetration_mm)
        return Loads(
            radial_force_n=force,
            radial_force_low_n=force * self.low_share(step_mm / penetration_mm),
            radial_force_high_n=force * self.high_share,
            net_push_n=resultant_force_n(force, self.rolls, across, apart),
            axial_force_n=self._axial_n(penetration_mm, force, torque),
            torque_nm=torque,
            power_w=power_w(torque, self.rpm),
            arc_mm=arc,
            face_mm=face,
            teeth=arc / teeth.pitch_mm,
        )

    def _axial_n(self, penetration_mm: float, force_n: float, torque: float) -> float:
        """Return the force along the axis: of teeth of one hand, and of the traverse [N]."""
        teeth, pressing = self.teeth, self.pressing
        # Teeth of one hand press along the axis like those of a helical gear.
        axial = torque * 1000.0 / self.contact.blank_radius_mm
        axial *= math.tan(math.radians(teeth.one_hand_deg))
        if not self.traverses:
            return axial
        half = math.radians(teeth.profile_deg / 2.0)
        arc = pressing.arc_mm(penetration_mm)
        # What a traverse ploughs aside: the section of the teeth ahead, in the arc of contact.
        front = penetration_mm**2 * math.tan(half) * arc / teeth.pitch_mm
        return axial + axial_force_n(
            force_n, self.rolls, front, pressing.pressure_mpa, teeth.profile_deg
        )

    def low_share(self, fresh: float) -> float:
        """Return the lower end of a force over the likely one.

        Args:
            fresh: Share of the penetration that the pass presses, 0 to 1; the rest are
                grooves that the pass before has left [-]

        Returns:
            Lower end of the force over the likely one [-]

        Example:
            A pass that presses the whole depth: two thirds as deep on the mean of the arc.

            >>> flow = FlowStress(285.0, 285.0, 310.0, "yield strength alone")
            >>> teeth = Teeth.of("ridges", 1.0, 90.0, 0.0)
            >>> contact, travel = Contact(12.3, 10.0, 0.0, "touch-off"), RollTravel(-20.0, -10.0)
            >>> pressing = pressing_of(flow, teeth, contact)
            >>> set_up = SetUp(teeth, flow, pressing, contact, 1, 10.0, travel, 0.162, 0.02, 110.0)
            >>> round(set_up.low_share(1.0), 4)
            0.6667

        Sources:
            [1] Rule of this program: mean depth along the arc of a step s of the
                penetration c is c - s / 3, and the arc of the step sqrt(s / c) of the whole.
        """
        return self.flow.low_mpa / self.flow.likely_mpa * (1.0 - fresh / 3.0) * math.sqrt(fresh)

    @property
    def high_share(self) -> float:
        """Upper end of a force over the likely one: tensile strength, friction on the flanks."""
        friction = FLANK_FRICTION / math.tan(math.radians(self.teeth.profile_deg / 2.0))
        return self.flow.high_mpa / self.flow.likely_mpa * (1.0 + friction)
