"""How deep the first turn presses, and what that makes of the blanks on which teeth fit.

Rolls of a circular pitch roll on a circle that lies below the blank's surface by half of what
their first turn presses in: that much larger the blank is turned. How deep it presses follows
from the blank again, through the tool and the first pass, so each blank is solved for.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from knurlcam.job.model import Job
from knurlcam.mechanics.capture import first_turn_mm
from knurlcam.mechanics.contact import Contact
from knurlcam.mechanics.knurl import KnurlGeometry
from knurlcam.mechanics.passes import pass_penetrations
from knurlcam.mechanics.solve import falling_root
from knurlcam.mechanics.tool_styles import contact_for
from knurlcam.mechanics.tooth import penetration
from knurlcam.mechanics.tracking import Tracking, blank_diameter
from knurlcam.plan.passes import depths_of, passes_of
from knurlcam.plan.results import Strategy
from knurlcam.units.show import least_shown_mm

__all__ = ["FirstTurn"]

SOLVED_MM = 1e-11
"""How near to its true figure a correction is found [mm]: far below any rounding."""

MOST_ROUNDS = 20
"""Rounds in which a correction that hardly depends on the blank settles [-]; three do."""

SECANTS = 6
"""Steps in which a correction settles that has no kink near it [-]; two or three do."""

UNTOUCHED_MM = 1e-9
"""Rounding of arithmetic in the distance of the roll centres [mm]."""


@dataclass(frozen=True)
class FirstTurn:
    """What the first turn of a set-up presses into any blank, the work taken as rigid.

    Attributes:
        job: The job.
        knurl: The knurl's geometry, its pitch that of the rolls.
        strategy: ``traverse`` or ``plunge``.
        roll_diameter_mm: Diameter of the rolls [mm]
        infeed_mm_per_rev: Infeed of the slide [mm/rev]
    """

    job: Job
    knurl: KnurlGeometry
    strategy: Strategy
    roll_diameter_mm: float
    infeed_mm_per_rev: float

    @cached_property
    def fixed(self) -> tuple[float, str] | None:
        """The tracking correction and its source, where no first turn decides it [mm]."""
        given = self.job.tool.tracking_correction
        if given is not None:
            return given, "given"
        if self.knurl.diametral_pitch is not None:
            return 0.0, "the rolls of a diametral pitch carry it in themselves (ASME B94.6)"
        return None

    def contact(self, blank_mm: float, penetration_mm: float) -> Contact:
        """Return where the slide stands over a blank."""
        tool = self.job.tool
        return contact_for(
            tool.style,
            tool.datum,
            blank_diameter_mm=blank_mm,
            roll_diameter_mm=self.roll_diameter_mm,
            full_penetration_mm=penetration_mm,
            roll_spacing_mm=tool.roll_spacing,
        )

    def penetration_mm(self, blank_mm: float, penetration_mm: float) -> float:
        """Return what the first turn presses into a blank, radial [mm].

        Args:
            blank_mm: Blank diameter [mm]
            penetration_mm: Full penetration c, radial [mm]
        """
        if penetration_mm <= 0.0 or blank_mm <= 0.0:
            return 0.0
        contact = self.contact(blank_mm, penetration_mm)
        deepest = contact.blank_radius_mm + contact.roll_radius_mm - contact.half_spacing_mm
        # Rolls that pass above and below the work are refused later, in words of their own.
        if deepest < penetration_mm - UNTOUCHED_MM:
            return 0.0
        least = pass_penetrations(penetration_mm, self.passes)[0]
        turn = first_turn_mm(contact, self.infeed_mm_per_rev, least)
        if turn < least:
            # Fewer passes, if X cannot express so many, only leave more to the first.
            return turn
        first_pass = self._depths_of(contact, penetration_mm)[0]
        return first_turn_mm(contact, self.infeed_mm_per_rev, first_pass)

    @cached_property
    def passes(self) -> int:
        """How many passes press, if X can express as many [-]."""
        return passes_of(self.job, self.knurl, self.strategy)[0]

    def depths_mm(self, blank_mm: float, penetration_mm: float) -> tuple[float, ...]:
        """Return the penetration of each pass that presses [mm]."""
        return self._depths_of(self.contact(blank_mm, penetration_mm), penetration_mm)

    def _depths_of(self, contact: Contact, penetration_mm: float) -> tuple[float, ...]:
        return depths_of(contact, penetration_mm, self.passes, least_shown_mm(self.job.units))

    def correction_mm(self, blank_mm: float, penetration_mm: float) -> float:
        """Return the tracking correction of a blank, on the diameter [mm]."""
        if self.fixed is not None:
            return self.fixed[0]
        return self.penetration_mm(blank_mm, penetration_mm) * self.measured_share

    @cached_property
    def measured_share(self) -> float:
        """Tracking correction over what the first turn presses in, where it was measured [-]."""
        found = self.job.calibration
        return 1.0 if found is None else found.correction_share

    @property
    def most_correction_mm(self) -> float:
        """The tracking correction that no blank has more of: that of one turn of infeed [mm]."""
        return self.infeed_mm_per_rev * self.measured_share

    def tracking(self, blank_mm: float, penetration_mm: float) -> Tracking:
        """Return where the rolls roll on a blank, and how far that is from sure."""
        pitch, transverse = self.knurl.pitch_mm, self.knurl.transverse_pitch_mm
        if self.fixed is not None:
            correction, source = self.fixed
            return Tracking(pitch, transverse, correction, correction, correction, source)
        correction = self.correction_mm(blank_mm, penetration_mm)
        measured = self.job.calibration
        if measured is not None and measured.correction_parts:
            # Without a range, as one that is given: on other blanks it is the same.
            return Tracking(pitch, transverse, correction, correction, correction, measured.origin)
        source = "estimate: half of what the first turn presses in, none to all of it"
        return Tracking(pitch, transverse, correction, 0.0, 2.0 * correction, source)

    # -- blanks on which a whole number of teeth fits ----------------------------

    def blank_for_fullness(self, teeth: int, fullness: float) -> float:
        """Return the blank on which teeth fit that are pressed to a fullness [mm]."""
        knurl = self.knurl
        depth = penetration(fullness * knurl.full_height_mm, knurl.full_height_mm, knurl.family)
        blank = blank_diameter(teeth, knurl.transverse_pitch_mm)
        for _ in range(MOST_ROUNDS):
            before = blank
            correction = self.correction_mm(blank, depth)
            blank = blank_diameter(teeth, knurl.transverse_pitch_mm, correction)
            if abs(blank - before) < SOLVED_MM:
                break
        return blank

    def bare_blank_mm(self, teeth: int) -> float:
        """Return the smallest blank on which teeth may fit, with the least correction [mm]."""
        fixed = 0.0 if self.fixed is None else self.fixed[0]
        return blank_diameter(teeth, self.knurl.transverse_pitch_mm, fixed)

    def blank_for_diameter(self, teeth: int, knurled_mm: float) -> float:
        """Return the blank on which teeth fit that grow to a diameter over the crests [mm].

        Where the teeth cannot grow so much or so little, as near as they come.
        """
        pitch = self.knurl.transverse_pitch_mm
        if self.fixed is not None:
            return blank_diameter(teeth, pitch, self.fixed[0])

        def larger(correction: float) -> float:
            blank = blank_diameter(teeth, pitch, correction)
            return self.correction_mm(blank, self._depth_mm(knurled_mm - blank)) - correction

        low = self.correction_mm(blank_diameter(teeth, pitch), self._depth_mm(knurled_mm))
        change = larger(low)
        # By secants, the first of them level: nearly no correction depends much on its blank.
        guess, before = low + change, (low, change)
        for _ in range(SECANTS):
            if abs(change) < SOLVED_MM:
                return blank_diameter(teeth, pitch, guess)
            change = larger(guess)
            slope = (change - before[1]) / (guess - before[0])
            before = guess, change
            guess -= change / slope if slope < 0.0 else -change
        # What is left of the first pass falls with the blank: the one root is searched for.
        low = falling_root(larger, 0.0, self.most_correction_mm, SOLVED_MM)
        return blank_diameter(teeth, pitch, low)

    def _depth_mm(self, growth_mm: float) -> float:
        """Return the penetration whose crests make a diameter grow by so much [mm]."""
        knurl = self.knurl
        growth = min(max(growth_mm, 0.0), knurl.full_growth_mm)
        height = knurl.height_for_growth_mm(growth)
        return penetration(height, knurl.full_height_mm, knurl.family)
