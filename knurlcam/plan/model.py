"""The plan of one operation: what the steps of planning came to, and what follows from it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from knurlcam.job.model import Job
from knurlcam.mechanics.contact import Contact
from knurlcam.mechanics.knurl import Candidate, KnurlGeometry, class_limits_mm
from knurlcam.mechanics.setup_loads import Loads
from knurlcam.mechanics.tool_styles import TOOL_STYLES
from knurlcam.mechanics.tracking import Tracking
from knurlcam.plan.as_dict import (
    choices_data,
    deflection_data,
    diameters_data,
    expected_data,
    knurl_data,
    loads_data,
    passes_data,
    rolls_data,
)
from knurlcam.plan.loads import Estimate
from knurlcam.plan.remarks import Choice, Note
from knurlcam.plan.results import (
    Diameters,
    Expected,
    Pass,
    Rates,
    Strategy,
    Surroundings,
    Tooling,
    TrialStrip,
    Zone,
)
from knurlcam.units.show import Shown, show_down

if TYPE_CHECKING:
    from knurlcam.plan.press_fit import PressFit

__all__ = ["Plan"]

WHOLE_SLACK = 1e-9
"""Rounding of arithmetic in a spindle speed [rev/min]: 110 stays 110."""


@dataclass(frozen=True, slots=True, weakref_slot=True)
class Plan:
    """Everything that is decided about one operation.

    Attributes:
        job: The job it was made from.
        knurl: The knurl's geometry.
        diameters: Blank, teeth and tooth.
        blank_limits_mm: Smallest and largest diameter to turn the blank to: the handbook's and
            the window in which the program's first turn tracks, the narrower, about the blank
            that tracks, as it is shown [mm]
        tooling: The rolls, and where the slide stands with them.
        zone: Traverse or plunge, and where the rolls go.
        rates: Spindle speed and feeds.
        passes: The passes, the clean-up last.
        trial: The trial strip, if the job asks for one.
        estimate: Loads and deflection; None where the metal's strength is not known.
        surroundings: What stands around the rolls.
        press_fit: What the press fit comes to; None without a [fit].
        choices: Each figure with its origin and reason.
        notes: Notes and warnings, worst first.
        _expected: See :attr:`expected`; None only until the steps before have come to a part.
    """

    job: Job
    knurl: KnurlGeometry
    diameters: Diameters
    blank_limits_mm: tuple[float, float]
    tooling: Tooling
    zone: Zone
    rates: Rates
    passes: tuple[Pass, ...]
    trial: TrialStrip | None
    estimate: Estimate | None
    surroundings: Surroundings
    press_fit: PressFit | None
    choices: tuple[Choice, ...]
    notes: tuple[Note, ...]
    _expected: Expected | None

    def __repr__(self) -> str:
        """Return one line: a session of Python shows plans without their every figure."""
        return (
            f"<Plan {self.job.part.name!r}: {self.knurl.callout}, {self.teeth} teeth on a blank of "
            f"{self.blank_diameter_mm:.3f} mm, {self.zone.strategy} in {len(self.passes)} passes>"
        )

    @property
    def expected(self) -> Expected:
        """What the part is expected to measure."""
        assert self._expected is not None  # a plan that is returned has it
        return self._expected

    # -- the steps' figures, by the names that scripts use ---------------------

    @property
    def teeth(self) -> int:
        """Whole teeth N round the work."""
        return self.diameters.teeth

    @property
    def misfit_teeth(self) -> float:
        """Exact teeth less N, signed [teeth]."""
        return self.diameters.misfit_teeth

    @property
    def blank_diameter_mm(self) -> float:
        """D_b to turn to [mm]."""
        return self.diameters.blank_mm

    @property
    def blank_tolerance_mm(self) -> float:
        """Half width of the handbook's tolerance on the blank [mm].

        Also where class III gives one-sided limits. What people turn to is
        :attr:`blank_limits_mm`, which are never wider.
        """
        return self.diameters.blank_tolerance_mm

    @property
    def knurled_diameter_mm(self) -> float:
        """D_k over the crests [mm]."""
        return self.diameters.knurled_mm

    @property
    def tooth_height_mm(self) -> float:
        """Tooth height H [mm]."""
        return self.diameters.tooth_height_mm

    @property
    def fullness(self) -> float:
        """H / H_f as planned [-]."""
        return self.diameters.fullness

    @property
    def fullness_wanted(self) -> float:
        """H / H_f that is wanted, as the job says or as usual; teeth and blank allow no other [-].

        Of two given diameters that leave none open, and no other in the job, the one planned.
        """
        asked = self.job.process.fullness
        if asked is not None:
            return asked
        return next(float(c.value) for c in self.choices if c.key == "process.fullness")

    @property
    def penetration_mm(self) -> float:
        """Penetration c of the last pass, radial [mm]."""
        return self.diameters.penetration_mm

    @property
    def rise_mm(self) -> float:
        """Rise r of the crests, radial [mm]."""
        return self.diameters.rise_mm

    @property
    def tracking(self) -> Tracking:
        """Where the rolls roll on the blank."""
        return self.diameters.tracking

    @property
    def candidates(self) -> tuple[Candidate, ...]:
        """Blanks that take a whole number of teeth."""
        return self.diameters.candidates

    @property
    def rolls(self) -> tuple[str, ...]:
        """Roll forms of DIN 403."""
        return self.tooling.rolls

    @property
    def contact(self) -> Contact:
        """Where the slide stands for a penetration."""
        return self.tooling.contact

    @property
    def datum_shift_mm(self) -> float:
        """Z datum less the rolls' left edge [mm]."""
        return self.tooling.datum_shift_mm

    @property
    def gap_mm(self) -> float | None:
        """Gap to set between a straddle's rolls [mm]; None for the other styles."""
        return self.contact.gap_mm if TOOL_STYLES[self.job.tool.style].set_to_gap else None

    @property
    def strategy(self) -> Strategy:
        """``traverse`` or ``plunge``."""
        return self.zone.strategy

    @property
    def line_mm(self) -> float:
        """Z of the end of the knurl, from Z0 [mm]."""
        return self.zone.end_mm

    @property
    def right_limit_mm(self) -> float:
        """Z that the rolls' right edge may reach on a return, from Z0 [mm]."""
        return self.zone.right_limit_mm

    @property
    def spindle_rpm(self) -> float:
        """Spindle speed, not rounded [rev/min]."""
        return self.rates.spindle_rpm

    @property
    def speed_limit_rpm(self) -> float:
        """The limit that the speed was checked against [rev/min]."""
        return self.rates.speed_limit_rpm

    @property
    def feed_mm_per_rev(self) -> float:
        """Feed while traversing [mm/rev]."""
        return self.rates.feed_mm_per_rev

    @property
    def infeed_mm_per_rev(self) -> float:
        """Infeed of the slide: its travel, not the change of diameter [mm/rev]."""
        return self.rates.infeed_mm_per_rev

    @property
    def clearance_x_mm(self) -> float:
        """X at which rapids end, on the diameter [mm]."""
        return self.surroundings.clearance_x_mm

    @property
    def largest_centre_mm(self) -> float | None:
        """Largest diameter that may stand beyond the end face [mm]; None without overhang."""
        return self.surroundings.largest_centre_mm

    # -- loads -----------------------------------------------------------------

    @property
    def follows(self) -> bool:
        """Whether the slide follows the deflection: asked for, known, and not cancelled."""
        if not self.job.process.compensate or self.estimate is None:
            return False
        return self.estimate.can_follow

    @property
    def pass_loads(self) -> tuple[Loads | None, ...]:
        """Loads of each pass; None for the clean-up, and where strength is not known."""
        estimate, before = self.estimate, 0.0
        loads: list[Loads | None] = []
        for step in self.passes:
            if estimate is None or not step.presses:
                loads.append(None)
            else:
                fresh = step.penetration_mm - before
                loads.append(estimate.set_up.loads_at(step.penetration_mm, fresh))
                before = step.penetration_mm
        return tuple(loads)

    # -- what a program says ---------------------------------------------------

    @property
    def programmed_rpm(self) -> int:
        """The spindle speed as the S word says it: whole rev/min, never above the plan's.

        Dwells and feeds per minute are worked out from this one, so that they agree
        with what the spindle does.
        """
        return max(1, math.floor(self.spindle_rpm + WHOLE_SLACK))

    @property
    def programmed_limit_rpm(self) -> int:
        """The speed limit as a speed limit word says it: whole rev/min."""
        return max(self.programmed_rpm, math.floor(self.speed_limit_rpm + WHOLE_SLACK))

    @property
    def dwell_s(self) -> float:
        """Time of one dwell at the programmed speed [s]."""
        return self.job.process.dwell_revolutions * 60.0 / self.programmed_rpm

    @property
    def time_s(self) -> float:
        """Time of the motion, from the safe position and back [s]."""
        return _time_s(self)

    # -- limits ----------------------------------------------------------------

    @property
    def knurled_limits_mm(self) -> tuple[float, float] | None:
        """Upper and lower limit on the knurled diameter for a standard diametral pitch.

        Class I for grip and appearance, class III for a press fit (ANSI/ASME B94.6 as
        tabulated in Machinery's Handbook, 31st ed., p. 1059, Table 4; class III from
        memory). None for other pitches.
        """
        return class_limits_mm(self.knurl, self.job.purpose, "knurled_in")

    @property
    def blank_limits_text(self) -> str:
        """The limits on the blank, to which it is turned."""
        shown = Shown(self.job.units)
        low, high = self.blank_limits_mm
        return f"{shown.bare(low)} to {shown.length(high)}"

    @property
    def is_one_sided(self) -> bool:
        """Whether the handbook's limits on the blank lie to one side, as of class III."""
        limits = class_limits_mm(self.knurl, self.job.purpose, "blank_in")
        return limits is not None and limits[0] != -limits[1]

    @property
    def handbook_tolerance_text(self) -> str:
        """The handbook's tolerance on the blank: ± a half width, or +0 and −.

        Rounded so that what is printed will do.
        """
        limits, units = class_limits_mm(self.knurl, self.job.purpose, "blank_in"), self.job.units
        if limits is None or limits[0] == -limits[1]:
            return f"± {show_down(self.blank_tolerance_mm, units)}"
        return f"+{show_down(limits[0], units)} / -{show_down(-limits[1], units)}"

    @property
    def accepted(self) -> tuple[str, ...]:
        """Codes of the refusals that the programmer accepted."""
        return tuple(n.code for n in self.notes if n.severity == "error")

    def to_dict(self) -> dict[str, Any]:
        """Return the plan as plain data, figures unrounded (``knurlcam plan --json``)."""
        data: dict[str, Any] = {
            "knurl": knurl_data(self.knurl),
            **diameters_data(
                self.diameters, self.knurl, self.blank_limits_mm, self.knurled_limits_mm
            ),
            "fullness_wanted": self.fullness_wanted,
            "tracking": self.tracking._asdict(),
            **self.rates._asdict(),
            "strategy": self.strategy,
            "rolls": rolls_data(self.tooling, self.tracking, self.job.shop_tool),
            "roll_gap_mm": self.gap_mm,
            "clearance_x_diameter_mm": self.clearance_x_mm,
            "largest_centre_mm": self.largest_centre_mm,
            "expected": expected_data(self.expected),
            "loads": loads_data(self.estimate, self.passes, self.pass_loads),
            "deflection": deflection_data(self.estimate, compensated=self.follows),
            "passes": passes_data(self.passes),
            "trial_strip": None if self.trial is None else self.trial._asdict(),
            "candidates": [c._asdict() for c in self.candidates],
            "choices": choices_data(self.choices),
            "notes": [n._asdict() for n in self.notes],
            "time_s": self.time_s,
        }
        if self.press_fit is not None:
            data["press_fit"] = self.press_fit.to_dict()
        return data


def _time_s(plan: Plan) -> float:
    machine, first, last = plan.job.machine, plan.passes[0], plan.passes[-1]
    rapid_mm_s = machine.rapid_rate * 1000.0 / 60.0
    rev_s, dwell_s = 60.0 / plan.programmed_rpm, plan.dwell_s
    slow, feed = plan.infeed_mm_per_rev / rev_s, plan.feed_mm_per_rev / rev_s
    clear = plan.clearance_x_mm
    # Rapids along Z at safe X, and in X from safe to clearance and back out.
    along = abs(machine.safe_z - first.z_start_mm) + abs(last.z_end_mm - machine.safe_z)
    total = (along + (machine.safe_x - clear)) / rapid_mm_s
    x = clear
    for step in plan.passes:
        if step.presses:
            total += (x - step.x_diameter_mm) / 2.0 / slow + dwell_s
        total += abs(step.z_end_mm - step.z_start_mm) / feed
        x = step.x_end_diameter_mm
    total += (clear - x) / 2.0 / feed
    if plan.trial is not None:
        depth = (clear - plan.trial.x_diameter_mm) / 2.0
        strip = abs(plan.trial.z_end_mm - plan.trial.z_start_mm)
        # To the safe position for a look, and back to the start.
        ways = [abs(machine.safe_z - z) for z in (plan.trial.z_end_mm, first.z_start_mm)]
        back = (sum(ways) + (machine.safe_x - clear)) / rapid_mm_s
        total += depth / slow + dwell_s + strip / feed + depth / feed + back
    return total
