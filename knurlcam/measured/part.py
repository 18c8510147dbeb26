"""A part's measured figures against its plan: how deep it was pressed, and its log entry."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from statistics import median

from knurlcam.errors import InputError
from knurlcam.mechanics.capture import first_turn_mm
from knurlcam.mechanics.knurl import KnurlGeometry
from knurlcam.mechanics.tooth import penetration
from knurlcam.plan.blank_limits import first_pressed, window_mm
from knurlcam.plan.expected import full_penetration_mm
from knurlcam.plan.model import Plan
from knurlcam.records.measurement import Measurement, set_up_of

__all__ = ["Figures", "depth_on_blank_mm", "depth_that_grows_mm", "measurement_of"]

LIKELY_BLANKS = 0.1
"""Share of the planned blank by which one that was turned may differ [-]: more is mistyped."""

MOST_GROWTH = 2.0
"""Growth over that of the full profile beyond which crests are mistyped [-]: volume is kept."""

TEETH_RANGE = (0.5, 2.5)
"""Counted teeth over planned ones that can be [-]: a double impression has twice as many."""

GAUGE_MM = 0.05
"""Crests so far below the blank are possible, by two gauges [mm]."""


@dataclass(frozen=True, slots=True)
class Figures:
    """What was measured on a part.

    Attributes:
        blank_mm: Blank as it was turned [mm]
        crests_mm: Diameters over the crests, from the end face on; empty for none [mm]
        teeth: Teeth counted; None where not counted.
        doubled: Whether the impression is double; None where not said.
        root_mm: Diameter over the roots; None where not measured [mm]
        offset_mm: X offset in force, on the diameter, negative deeper [mm]
    """

    blank_mm: float
    crests_mm: tuple[float, ...] = ()
    teeth: int | None = None
    doubled: bool | None = None
    root_mm: float | None = None
    offset_mm: float = 0.0

    def refuse_impossible(self, plan: Plan) -> None:
        """Refuse figures that no part of a plan can have.

        Raises:
            InputError: naming the option, the figure and what can be.
        """
        planned = plan.blank_diameter_mm
        low, high = planned * (1.0 - LIKELY_BLANKS), planned * (1.0 + LIKELY_BLANKS)
        _require("--blank", self.blank_mm, low, high)
        most = self.blank_mm + MOST_GROWTH * plan.knurl.full_growth_mm
        for crest in self.crests_mm:
            _require("--crests", crest, self.blank_mm - GAUGE_MM, most)
        if self.root_mm is not None:
            least = self.blank_mm - 4.0 * plan.knurl.full_height_mm
            _require("--root", self.root_mm, least, self.blank_mm + GAUGE_MM)
        _require("--offset", self.offset_mm, -plan.knurl.pitch_mm, plan.knurl.pitch_mm)
        if self.teeth is not None:
            least, most = (share * plan.teeth for share in TEETH_RANGE)
            _require("--teeth", self.teeth, round(least), round(most), "teeth")


def _require(option: str, value: float, low: float, high: float, unit: str = "mm") -> None:
    if not low <= value <= high:
        raise InputError(
            "is not possible on this part, and was not kept",
            key=option,
            value=value if unit == "teeth" else round(value, 4),
            expected=f"{low:.6g} to {high:.6g} {unit}",
            remedy="measure again, or name the job that the part was made from",
        )


def depth_that_grows_mm(knurl: KnurlGeometry, growth_mm: float) -> float:
    """Return the penetration that makes a diameter grow, none to full [mm].

    Args:
        knurl: The knurl's geometry, with its measured share of the growth.
        growth_mm: Growth of the diameter; beyond what can be it is the nearest that can [mm]
    """
    growth = min(max(growth_mm, 0.0), knurl.full_growth_mm)
    height = knurl.height_for_growth_mm(growth)
    return penetration(height, knurl.full_height_mm, knurl.family)


def depth_on_blank_mm(plan: Plan, blank_mm: float) -> float:
    """Return the likely penetration of a plan's program into a blank, none to full [mm]."""
    knurl = plan.knurl
    height = min(plan.expected.tooth_height_mm.likely, knurl.full_height_mm)
    likely = penetration(height, knurl.full_height_mm, knurl.family)
    deeper = (blank_mm - plan.blank_diameter_mm) / 2.0
    return min(max(likely + deeper, 0.0), full_penetration_mm(knurl))


def measurement_of(
    plan: Plan,
    figures: Figures,
    *,
    who: str = "",
    program_identity: str = "",
    when: datetime | None = None,
) -> Measurement:
    """Return what the log keeps of a part.

    Args:
        plan: The plan that its program was made from.
        figures: What was measured.
        who: Who measured.
        program_identity: What the header of its program says of measured parts; empty of none.
        when: When; now unless given.

    Raises:
        InputError: if a figure is not possible on this part.
    """
    figures.refuse_impossible(plan)
    job, knurl, tracking = plan.job, plan.knurl, plan.tracking
    roll, material, tool = set_up_of(job)
    expected = 2.0 * knurl.rise_mm(depth_on_blank_mm(plan, figures.blank_mm))
    low, high = _tracks_mm(plan)
    return Measurement(
        when_utc=(when or datetime.now(UTC)).astimezone(UTC).isoformat(timespec="seconds"),
        who=who,
        job_name=job.part.name,
        job_identity=job.identity,
        program_identity=program_identity,
        roll=roll,
        material=material,
        tool=tool,
        machine=job.machine.post,
        form=knurl.form,
        pitch_mm=knurl.pitch_mm,
        transverse_pitch_mm=knurl.transverse_pitch_mm,
        planned_teeth=plan.teeth,
        planned_blank_mm=plan.blank_diameter_mm,
        blank_mm=figures.blank_mm,
        crests_mm=figures.crests_mm,
        expected_crests_mm=figures.blank_mm + expected,
        expected_growth_mm=expected / knurl.growth_share,
        growth_mm=_growth_mm(plan, figures),
        correction_mm=tracking.correction_mm,
        estimated_correction_mm=0.0 if knurl.diametral_pitch else _estimate_mm(plan),
        tracks_from_mm=low,
        tracks_to_mm=high,
        teeth=figures.teeth,
        doubled=figures.doubled,
        root_mm=figures.root_mm,
        offset_mm=figures.offset_mm,
    )


def _growth_mm(plan: Plan, figures: Figures) -> float | None:
    """Return the growth that the program makes without the offset; None where it is not known."""
    if not figures.crests_mm or figures.doubled:
        return None
    growth = median(figures.crests_mm) - figures.blank_mm
    if not figures.offset_mm or growth >= plan.knurl.full_growth_mm:
        return growth
    return 2.0 * plan.knurl.rise_mm(pressed_mm(plan, growth, figures.offset_mm))


def pressed_mm(plan: Plan, growth_mm: float, offset_mm: float) -> float:
    """Return the penetration that a growth shows, an X offset taken out [mm].

    Args:
        plan: The plan.
        growth_mm: Growth of the diameter that was measured [mm]
        offset_mm: X offset in force, on the diameter, negative deeper [mm]
    """
    depth = depth_that_grows_mm(plan.knurl, growth_mm)
    if not offset_mm:
        return depth
    return plan.contact.depth_mm(x_of_mm(plan, depth) - offset_mm)


def x_of_mm(plan: Plan, depth_mm: float) -> float:
    """Return the X at which the rolls stand so deep, or as deep as they can, on the diameter [mm].

    Rolls above and below the work reach no deeper than with their centres over its axis.
    """
    contact = plan.contact
    deepest = contact.blank_radius_mm + contact.roll_radius_mm - contact.half_spacing_mm
    return contact.x_diameter_mm(min(depth_mm, deepest))


def _estimate_mm(plan: Plan) -> float:
    """Return the tracking correction by the estimate alone [mm]."""
    return first_turn_mm(plan.contact, plan.infeed_mm_per_rev, plan.passes[0].penetration_mm)


def _tracks_mm(plan: Plan) -> tuple[float, float]:
    """Return the smallest and the largest blank that track under the plan's program [mm]."""
    pressed = first_pressed(
        plan.contact,
        plan.estimate,
        plan.zone.entry_mm,
        infeed_mm=plan.infeed_mm_per_rev,
        first_pass_mm=plan.passes[0].penetration_mm,
        compensated=plan.job.process.compensate,
    )
    middle = plan.tracking.blank_diameter(plan.teeth)
    return window_mm(plan.knurl, plan.tracking, middle, pressed)


def middle_and_lower_end_mm(crests_mm: Sequence[float]) -> tuple[float, float]:
    """Return the crests in the middle and those of the lower end, of three at least [mm]."""
    return crests_mm[len(crests_mm) // 2], min(crests_mm[0], crests_mm[-1])
