"""What a job's rolls, material and tool have been measured to do, for its plan to use."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Calibration"]


@dataclass(frozen=True, slots=True)
class Calibration:
    """What the measured parts of one set-up say; ``records/calibration.py`` works it out.

    Attributes:
        roll: The rolls.
        material: The material.
        tool: The tool.
        parts: How many parts it rests on.
        growth_share: Share of the estimated growth that comes, weighted and within bounds [-]
        growth_parts: Parts whose growth counts.
        growth_spread: Standard deviation of their shares; None of fewer than two [-]
        correction_share: Tracking correction over that of the estimate, likewise [-]
        correction_parts: Parts that say whether they tracked.
        oldest_utc: Date and time of the oldest part that counts.
        newest_utc: ... and of the newest.
        left_out: A sentence for each part, or kind of figure, that is left out.
    """

    roll: str
    material: str
    tool: str
    parts: int
    growth_share: float
    growth_parts: int
    growth_spread: float | None
    correction_share: float
    correction_parts: int
    oldest_utc: str
    newest_utc: str
    left_out: tuple[str, ...]

    @property
    def origin(self) -> str:
        """Where figures come from that rest on it, such as ``measured, 4 parts``."""
        return f"measured, {self.parts} part{'s' * (self.parts != 1)}"

    @property
    def mark(self) -> str:
        """What a program's header says of it; another mark is another calibration."""
        return (
            f"{self.parts} part{'s' * (self.parts != 1)}, growth {self.growth_share:.3f}, "
            f"correction {self.correction_share:.2f}"
        )
