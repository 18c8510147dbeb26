"""What the steps of planning come to, each frozen."""

from __future__ import annotations

from typing import Literal, NamedTuple

from knurlcam.mechanics.contact import Contact
from knurlcam.mechanics.knurl import Candidate
from knurlcam.mechanics.setup_loads import Teeth
from knurlcam.mechanics.tracking import Tracking

__all__ = [
    "Diameters",
    "Direction",
    "Expected",
    "Pass",
    "Range",
    "Rates",
    "RollAsItIs",
    "Strategy",
    "Surroundings",
    "Tooling",
    "TrialStrip",
    "Zone",
]

Direction = Literal["headstock", "tailstock", "plunge"]
Strategy = Literal["traverse", "plunge"]


class Diameters(NamedTuple):
    """Blank, teeth and tooth: what the diameters come to.

    Attributes:
        teeth: Whole teeth N round the work.
        misfit_teeth: Exact teeth less N, signed [teeth]
        blank_mm: D_b to turn to [mm]
        blank_tolerance_mm: Half width of its tolerance [mm]
        knurled_mm: D_k over the crests [mm]
        fullness: H / H_f [-]
        tooth_height_mm: H [mm]
        penetration_mm: c of the last pass, radial [mm]
        rise_mm: Rise r of the crests, radial [mm]
        candidates: Blanks that take a whole number of teeth.
        tracking: Where the rolls roll on the blank.
    """

    teeth: int
    misfit_teeth: float
    blank_mm: float
    blank_tolerance_mm: float
    knurled_mm: float
    fullness: float
    tooth_height_mm: float
    penetration_mm: float
    rise_mm: float
    candidates: tuple[Candidate, ...]
    tracking: Tracking


class RollAsItIs(NamedTuple):
    """A roll, as far as it is known.

    Attributes:
        name: Designation or name; None where it has none.
        teeth: Its teeth; None where they are not known.
        diameter_mm: Its diameter, with which the contact is worked out [mm]
        helix_deg: Helix of its own teeth [deg]
    """

    name: str | None
    teeth: int | None
    diameter_mm: float
    helix_deg: float


class Tooling(NamedTuple):
    """The rolls, and where the slide stands with them.

    Attributes:
        rolls: Roll forms of DIN 403.
        roll: One of them as it is.
        traverse: Whether rolls of these forms may traverse.
        teeth: The teeth that press.
        contact: Where the slide stands for a penetration.
        datum_shift_mm: Z datum less the rolls' left edge [mm]
    """

    rolls: tuple[str, ...]
    roll: RollAsItIs
    traverse: bool
    teeth: Teeth
    contact: Contact
    datum_shift_mm: float


class Zone(NamedTuple):
    """How the zone is covered: the rolls' left edge where it matters, from Z0.

    Attributes:
        strategy: ``traverse`` or ``plunge``.
        entry_mm: Where the first pass presses in [mm]
        end_mm: At the end of the knurl, toward the headstock [mm]
        turn_mm: At the tailstock end of a return [mm]
        right_limit_mm: The rolls' right edge at its furthest toward the tailstock [mm]
    """

    strategy: Strategy
    entry_mm: float
    end_mm: float
    turn_mm: float
    right_limit_mm: float


class Rates(NamedTuple):
    """Spindle speed and feeds.

    Attributes:
        spindle_rpm: Spindle speed [rev/min]
        speed_limit_rpm: The limit it was checked against [rev/min]
        feed_mm_per_rev: Feed while traversing [mm/rev]
        infeed_mm_per_rev: Infeed of the slide [mm/rev]
    """

    spindle_rpm: float
    speed_limit_rpm: float
    feed_mm_per_rev: float
    infeed_mm_per_rev: float


class Pass(NamedTuple):
    """One pass of the rolls.

    Attributes:
        number: From 1; the clean-up pass is the last.
        direction: ``headstock``, ``tailstock`` or ``plunge``.
        penetration_mm: Penetration c, radial [mm]
        x_diameter_mm: X of the slide in the job's X datum, on the diameter [mm]
        z_start_mm: Z of the slide in the job's Z datum where it starts [mm]
        z_end_mm: ... and where it ends [mm]
        presses: Whether it presses deeper; the clean-up pass does not.
        follow: Z and X of the slide, on the diameter, where each straight block of a pass
            with deflection compensation ends; empty without it, at one X [mm]
    """

    number: int
    direction: Direction
    penetration_mm: float
    x_diameter_mm: float
    z_start_mm: float
    z_end_mm: float
    presses: bool = True
    follow: tuple[tuple[float, float], ...] = ()

    @property
    def x_end_diameter_mm(self) -> float:
        """X of the slide where it ends, on the diameter [mm]."""
        return self.follow[-1][1] if self.follow else self.x_diameter_mm


class TrialStrip(NamedTuple):
    """The strip that is knurled first, to look for a double impression.

    Attributes:
        penetration_mm: That of the first pass, radial [mm]
        x_diameter_mm: Its X [mm]
        z_start_mm: Start Z in the job's Z datum [mm]
        z_end_mm: Where the rolls leave the work [mm]
        follow: As of a pass.
    """

    penetration_mm: float
    x_diameter_mm: float
    z_start_mm: float
    z_end_mm: float
    follow: tuple[tuple[float, float], ...] = ()


class Range(NamedTuple):
    """A figure with its range.

    Attributes:
        likely: On the planned blank, with the likely force.
        low: On the smallest blank within its limits, with the greatest force.
        high: On the largest, in rigid work.
    """

    likely: float
    low: float
    high: float


class Expected(NamedTuple):
    """What the part is expected to measure: estimates.

    Attributes:
        knurled_diameter_mm: Over the crests, half of the way along the knurl [mm]
        tooth_height_mm: From root to crest, likewise [mm]
        evenness: Depth uniformity: least over greatest depth of the roots, ends included [-]
        double_impression: 0 clean, 1 fully doubled [-]
        held_off_mm: Roll lift-off: what is pressed beyond full teeth where most is [mm]
        blank_limits_mm: Smallest and largest blank to turn [mm]
    """

    knurled_diameter_mm: Range
    tooth_height_mm: Range
    evenness: float
    double_impression: float
    held_off_mm: float
    blank_limits_mm: tuple[float, float]


class Surroundings(NamedTuple):
    """What stands around the rolls.

    Attributes:
        clearance_x_mm: X at which rapids end, on the diameter [mm]
        largest_centre_mm: Largest diameter that may stand beyond the end face; None where
            the rolls do not overhang it [mm]
    """

    clearance_x_mm: float
    largest_centre_mm: float | None
