"""Spindle speed and feeds."""

from __future__ import annotations

from knurlcam.data.speeds import speed_rules
from knurlcam.job.model import Job
from knurlcam.mechanics.passes import spindle_speed
from knurlcam.plan.infeed import Infeed, usual_feed_mm
from knurlcam.plan.remarks import COMMON, Remarks
from knurlcam.plan.results import Diameters, Rates, Strategy, Zone
from knurlcam.units.kinds import Kind
from knurlcam.units.show import show

__all__ = ["choose_rates"]

FEED_SLACK = 1e-9
"""Rounding of arithmetic in a feed, of the feed itself [-]."""


def choose_rates(
    job: Job, diameters: Diameters, zone: Zone, infeed: Infeed, remarks: Remarks
) -> Rates:
    """Return spindle speed, feed and infeed."""
    rpm, limit = _speed(job, diameters.blank_mm, zone.strategy, remarks)
    feed = _feed(job, zone.strategy, remarks)
    return Rates(rpm, limit, feed, _infeed(job, infeed, remarks))


def _speed(job: Job, blank: float, strategy: Strategy, remarks: Remarks) -> tuple[float, float]:
    """Return the speed, and the limit that it was checked against [rev/min]."""
    machine, asked, rpm = job.machine, job.process.spindle_speed, remarks.shown.speed
    reversal, top = machine.reversal_speed_limit, machine.max_spindle_speed
    limit = min(reversal, top) if strategy == "traverse" else top
    if asked is None:
        return _recommended_speed(job, blank, strategy, remarks), limit
    remarks.choose("process.spindle_speed", asked, Kind.SPEED, given=True, why="")
    if asked > top:
        remarks.refuse(
            "above-machine-limit",
            "process.spindle_speed",
            f"{rpm(asked)} is above the machine's limit of {rpm(top)}; lower it "
            f"to {rpm(top)} or less",
            source="machine.max_spindle_speed",
        )
    elif strategy == "traverse" and asked > reversal:
        remarks.refuse(
            "above-reversal-limit",
            "process.spindle_speed",
            f"{rpm(asked)} is above the {rpm(reversal)} at which the feed may "
            f"reverse under load; lower it to {rpm(reversal)} or less, or raise "
            "machine.reversal_speed_limit if the machine's manual allows",
            source=COMMON,
        )
        limit = top  # accepted: the machine's own is left to check it against
    return asked, limit


def _recommended_speed(job: Job, blank: float, strategy: Strategy, remarks: Remarks) -> float:
    """Half the turning speed, in a traverse below the reversal limit: a plunge never reverses."""
    machine, material, rules = job.machine, job.part.material_row, speed_rules()
    rpm, top = remarks.shown.speed, machine.max_spindle_speed
    reverses = strategy == "traverse"
    reversal = machine.reversal_speed_limit if reverses else top
    half = spindle_speed(material.turning_speed_m_min * rules.turning_speed_factor, blank)
    value = min(half, reversal, top)
    turning = show(material.turning_speed_m_min, Kind.VELOCITY, remarks.units)
    why = f"half the turning speed of {material.name} ({turning}) is {rpm(half)}"
    if value < half:
        which = "the reversal limit" if reverses and reversal <= top else "the machine's limit"
        why += f"; reduced to {which}"
    why += f" ({COMMON})"
    remarks.choose("process.spindle_speed", value, Kind.SPEED, given=False, why=why)
    return value


def _feed(job: Job, strategy: Strategy, remarks: Remarks) -> float:
    rules, most, asked = speed_rules(), job.tool.face_width / 2.0, job.process.feed
    feed_text = remarks.shown.feed
    if asked is None:
        feed = usual_feed_mm(job)
        why = f"usual feed ({COMMON})"
        if feed < rules.feed_default_mm_per_rev:
            why = "half the face width of these narrow rolls"
        remarks.choose("process.feed", feed, Kind.FEED, given=False, why=why)
    else:
        feed = asked
        remarks.choose("process.feed", feed, Kind.FEED, given=True, why="")
        if feed > most * (1.0 + FEED_SLACK):
            remarks.refuse(
                "feed-above-half-face",
                "process.feed",
                f"{feed_text(feed)} is above half the face width of the rolls: each turn "
                f"would leave a strip unrolled; take {feed_text(most)} or less",
            )
    # A plunge does not feed along the work, and only retracts by it.
    low, high = rules.feed_min_mm_per_rev, rules.feed_max_mm_per_rev
    if strategy == "traverse" and not low <= feed <= high:
        remarks.note(
            "warning",
            "feed-range",
            f"a feed of {feed_text(feed)} is outside the usual "
            f"{feed_text(low)} to {feed_text(high)}",
        )
    return feed


def _infeed(job: Job, infeed: Infeed, remarks: Remarks) -> float:
    value = infeed.first.infeed_mm_per_rev
    remarks.choose(
        "process.infeed_rate",
        value,
        Kind.FEED,
        given=job.process.infeed_rate is not None,
        why=infeed.why,
    )
    return value
