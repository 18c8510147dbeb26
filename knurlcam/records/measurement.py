"""One measured part, as the log keeps it; and by which set-up it counts for other parts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from knurlcam.job.geometry import called_geometry
from knurlcam.job.model import Job

__all__ = ["MeasuredSetUp", "Measurement", "set_up_of"]


class MeasuredSetUp(NamedTuple):
    """What a measurement counts for: other parts with the same three.

    Attributes:
        roll: The rolls: their name in the shop file, else what the job says of them.
        material: The material as the table calls it.
        tool: The tool: its name in the shop file, else its style.
    """

    roll: str
    material: str
    tool: str


@dataclass(frozen=True, slots=True)
class Measurement:
    """What was measured on one part, and what its plan had said of it.

    Expected figures are those of this blank with the program that made it, offset left out.

    Attributes:
        when_utc: Date and time, ISO 8601 in UTC, such as ``2026-03-01T08:15:00+00:00``.
        who: Who measured.
        job_name: Name of the part.
        job_identity: The job's twelve hex digits.
        program_identity: What the header of its program says of measured parts; empty of none.
        roll: The rolls, as :func:`set_up_of` names them.
        material: The material, likewise.
        tool: The tool, likewise.
        machine: The machine or its dialect.
        form: Form of DIN 82.
        pitch_mm: Pitch normal to the teeth, as the rolls have it [mm]
        transverse_pitch_mm: Pitch round the work [mm]
        planned_teeth: Whole teeth of the plan.
        planned_blank_mm: Blank of the plan [mm]
        blank_mm: Blank as it was turned [mm]
        crests_mm: Diameters over the crests, along the knurl; empty where none was measured [mm]
        expected_crests_mm: What the plan expects over the crests, likely [mm]
        expected_growth_mm: Growth of the diameter by the estimate alone, without any measured
            share, so that what is learned is always held against the same [mm]
        growth_mm: Growth that was measured, a worn or entered offset taken out; None where no
            crests were measured or they say nothing of the depth [mm]
        correction_mm: Tracking correction that the plan used, on the diameter [mm]
        estimated_correction_mm: That of the estimate alone, on the diameter [mm]
        tracks_from_mm: Smallest blank that tracks by the plan, with its correction [mm]
        tracks_to_mm: Largest one [mm]
        teeth: Teeth counted; None where not counted.
        doubled: Whether the impression is double; None where not said.
        root_mm: Diameter over the roots; None where not measured [mm]
        offset_mm: X offset that was in force, on the diameter, negative deeper; None for none.
        id: Its number in the log; 0 before it is there.
    """

    when_utc: str
    who: str
    job_name: str
    job_identity: str
    program_identity: str
    roll: str
    material: str
    tool: str
    machine: str
    form: str
    pitch_mm: float
    transverse_pitch_mm: float
    planned_teeth: int
    planned_blank_mm: float
    blank_mm: float
    crests_mm: tuple[float, ...]
    expected_crests_mm: float
    expected_growth_mm: float
    growth_mm: float | None
    correction_mm: float
    estimated_correction_mm: float
    tracks_from_mm: float
    tracks_to_mm: float
    teeth: int | None = None
    doubled: bool | None = None
    root_mm: float | None = None
    offset_mm: float | None = None
    id: int = 0

    @property
    def set_up(self) -> MeasuredSetUp:
        """What it counts for."""
        return MeasuredSetUp(self.roll, self.material, self.tool)

    @property
    def share(self) -> float | None:
        """Measured share of the estimated growth [-]; None where it is not known."""
        if self.growth_mm is None or self.expected_growth_mm <= 0.0:
            return None
        return self.growth_mm / self.expected_growth_mm

    @property
    def tracked(self) -> bool | None:
        """Whether the rolls found their track; None where nothing says so."""
        if self.doubled is not None:
            return not self.doubled
        return None if self.teeth is None else self.teeth == self.planned_teeth


def set_up_of(job: Job) -> MeasuredSetUp:
    """Return by what a measurement of a job's part counts for other parts.

    Args:
        job: The job.
    """
    tool = job.tool
    held: str = tool.style
    if tool.roll_spacing is not None:
        held += f", rolls {tool.roll_spacing:g} mm apart"
    return MeasuredSetUp(
        job.shop_rolls or _rolls_in_words(job), job.part.material_row.name, job.shop_tool or held
    )


def _rolls_in_words(job: Job) -> str:
    """Return what a job says of its rolls, in one line."""
    tool = job.tool
    knurl = called_geometry(job.knurl.asked, swivelled=tool.swivelled)
    words = [tool.roll or " ".join(tool.rolls or (f"for {knurl.form}",))]
    if tool.swivelled:
        words.append("swivelled")
    diameter = tool.roll_measured_diameter or tool.roll_diameter
    words += [f"pitch {knurl.pitch_mm:.6g} mm", f"diameter {diameter:g} mm"]
    if tool.roll_teeth is not None:
        words.append(f"{tool.roll_teeth} teeth")
    words += [f"profile {knurl.profile_deg:g} deg", f"helix {knurl.helix_deg:g} deg"]
    return ", ".join(words)
