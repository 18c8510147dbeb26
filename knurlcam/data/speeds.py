"""Speeds and feeds of form knurling: ``shared/speeds.toml``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from knurlcam.data.caches import kept_until_cleared
from knurlcam.data.rows import Row, read_table

__all__ = [
    "SpeedRules",
    "TurningSpeed",
    "speed_rules",
    "turning_speeds",
]

_METRES_PER_MINUTE = {"m/min": 1.0, "ft/min": 0.3048}
"""Metres a minute in each unit that the sources print; the foot is 0.3048 m by definition."""


@dataclass(frozen=True, slots=True)
class SpeedRules:
    """The rules for speed and feed of form knurling.

    Attributes:
        turning_speed_factor: Knurling speed over turning speed [-].
        reversal_limit_rpm: Highest speed where the feed reverses under load [rev/min].
        feed_min_mm_per_rev: Lower end of the usual feed [mm/rev].
        feed_max_mm_per_rev: Upper end of the usual feed [mm/rev].
        feed_default_mm_per_rev: Feed unless the job says else [mm/rev].
        infeed_mm_per_rev: Least infeed of the slide that is recommended [mm/rev].
        infeed_max_mm_per_rev: Greatest that is recommended [mm/rev].
        sources: Source of each figure, by the name of its attribute.
    """

    turning_speed_factor: float
    reversal_limit_rpm: float
    feed_min_mm_per_rev: float
    feed_max_mm_per_rev: float
    feed_default_mm_per_rev: float
    infeed_mm_per_rev: float
    infeed_max_mm_per_rev: float
    sources: Mapping[str, str] = field(hash=False)


class TurningSpeed(NamedTuple):
    """A published range of turning speeds for high speed steel tools.

    Attributes:
        material: The group of materials as the source names it.
        roughing_m_min: Range (low, high) for roughing [m/min].
        finishing_m_min: Range (low, high) for finishing [m/min].
        source: Where the row comes from.
    """

    material: str
    roughing_m_min: tuple[float, float]
    finishing_m_min: tuple[float, float]
    source: str


@kept_until_cleared()
def speed_rules() -> SpeedRules:
    """Return the rules for speed and feed."""
    row = read_table("speeds.toml").row("rules")
    row.allow(*SpeedRules.__slots__)
    rules = SpeedRules(
        turning_speed_factor=row.figure("turning_speed_factor"),
        reversal_limit_rpm=row.figure("reversal_limit_rpm"),
        feed_min_mm_per_rev=row.figure("feed_min_mm_per_rev"),
        feed_max_mm_per_rev=row.figure("feed_max_mm_per_rev"),
        feed_default_mm_per_rev=row.figure("feed_default_mm_per_rev"),
        infeed_mm_per_rev=row.figure("infeed_mm_per_rev"),
        infeed_max_mm_per_rev=row.figure("infeed_max_mm_per_rev"),
        sources=row.figure_sources(),
    )
    low, high = rules.feed_min_mm_per_rev, rules.feed_max_mm_per_rev
    if not low <= rules.feed_default_mm_per_rev <= high:
        raise row.fault(
            "feed_default_mm_per_rev",
            "is outside the usual feed",
            rules.feed_default_mm_per_rev,
            f"{low:g} to {high:g} mm/rev",
        )
    return rules


@kept_until_cleared()
def turning_speeds() -> tuple[TurningSpeed, ...]:
    """Return the published turning speeds on which those of the materials rest."""
    return tuple(_turning_speed(row) for row in read_table("speeds.toml").rows("turning_speed"))


def _turning_speed(row: Row) -> TurningSpeed:
    row.allow("material", "unit", "roughing", "finishing", "source")
    factor = _METRES_PER_MINUTE[row.choice("unit", tuple(_METRES_PER_MINUTE))]
    rough, finish = row.range("roughing"), row.range("finishing")
    return TurningSpeed(
        material=row.text("material"),
        roughing_m_min=(rough[0] * factor, rough[1] * factor),
        finishing_m_min=(finish[0] * factor, finish[1] * factor),
        source=row.source(),
    )
