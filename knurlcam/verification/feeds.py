"""The rules of the feed, which hold per turn of the work whatever the dialect writes."""

from __future__ import annotations

from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.motion import Motion, Move
from knurlcam.gcode.numbers import MOST_FEED_ROUNDING
from knurlcam.plan.model import Plan
from knurlcam.units.kinds import MM_PER_INCH
from knurlcam.verification.limits import FEED_SLACK, SHARE_TOLERANCE, SLOWEST_INFEED, Speed
from knurlcam.verification.report import Report
from knurlcam.verification.work import Way

__all__ = ["Feeds"]


class Feeds:
    """Checks the feeds of moves.

    Attributes:
        fastest: Half the face width: each turn must roll what the one before has rolled [mm/rev]
    """

    __slots__ = (
        "_early", "_feed", "_feed_slack", "_infeed", "_infeed_slack", "_mode", "_report",
        "_slowest", "_speed", "fastest",
    )  # fmt: skip

    def __init__(self, plan: Plan, motion: Motion, speed: Speed, report: Report) -> None:
        dialect = motion.dialect
        self._mode, self._speed, self._report = dialect.feed, speed, report
        early = motion.too_early.get("F")
        self._early = (
            f"; F on line {early.line} counts for nothing, for it stands before units or feed mode"
            if early
            else ""
        )
        self._infeed, self._feed = plan.infeed_mm_per_rev, plan.feed_mm_per_rev
        rounding = _rounding(plan, dialect, speed)
        share = SHARE_TOLERANCE * (1.0 + FEED_SLACK)
        self._infeed_slack = max(share * self._infeed, _least(rounding, self._infeed))
        self._slowest = SLOWEST_INFEED * self._infeed * (1.0 - FEED_SLACK) - rounding
        self._feed_slack = max(share * self._feed, _least(rounding, self._feed))
        self.fastest = plan.job.tool.face_width / 2.0 + rounding

    def of(self, move: Move) -> float:
        """Return the feed per turn [mm/rev]; 0 without one.

        A feed per minute while the spindle has no speed is taken at the planned speed.
        """
        if self._mode == "per minute" and move.feed_mm_per_rev is None and move.state.feed:
            return move.state.feed / self._speed.planned_rpm
        return move.feed_mm_per_rev or 0.0

    def is_infeed(self, feed: float) -> bool:
        """Whether a feed is that of an infeed, the planned one down to half of it [mm/rev]."""
        return self._slowest <= feed <= self._infeed + self._infeed_slack

    def check_stated(self, move: Move) -> None:
        """Check that a move in air has a feed: without one the control stops or goes anyhow."""
        feed = move.state.feed if self._mode == "per minute" else move.feed_mm_per_rev
        if not feed:  # per minute it needs no turning spindle
            self._say_missing_once(move)

    def check_turns(self, move: Move) -> None:
        """Check that the work turns in a move in air whose feed is per revolution."""
        state = move.state
        if state.spindle == "off" and state.feed_mode == "per revolution" and state.feed:
            self._report.say_once(
                "feed-at-standstill",
                None,
                move.block,
                "a feed per revolution while the spindle stands",
            )

    def _say_missing_once(self, move: Move) -> None:
        if self._report.has_said_once("feed-mode-not-stated"):
            return  # no F says anything before its mode is stated
        message = f"a feed move has no feed{self._early}"
        self._report.say_once("feed-missing", move.state.feed, move.block, message)

    def check(self, move: Move, way: Way, *, planned: bool) -> None:
        """Check the feed of a move in the work.

        Args:
            move: The move.
            way: Where it goes: inward it is held against the infeed rate, else against the feed.
                Outward it may be slower, down to the infeed rate.
            planned: Whether a feed is planned for its kind. Where not, the move is a finding
                itself, or shorter than the tolerance.
        """
        feed = self._of_minute(move) if self._mode == "per minute" else move.feed_mm_per_rev
        if feed is None or feed <= 0:
            if not self._report.has_said_once("feed-mode-not-stated"):
                message = f"the rolls move in the work without a feed{self._early}"
                self._report.say("feed-missing", move.block, message)
            return
        # In a wrong feed mode the mode is the finding, and the number wrong with it.
        if not planned or (move.state.feed_mode or self._mode) != self._mode:
            return
        if way == "in":
            if not self.is_infeed(feed):
                self._say("feed-not-planned", move, feed, self._infeed)
        elif feed > self.fastest:
            self._say("feed-out-of-range", move, feed, self._feed)
        elif feed > self._feed + self._feed_slack or feed < self._least(way):
            self._say("feed-not-planned", move, feed, self._feed)

    def _least(self, way: Way) -> float:
        least = self._feed - self._feed_slack
        return min(least, self._infeed - self._infeed_slack) if way == "out" else least

    def _say(self, code: str, move: Move, feed: float, wanted: float) -> None:
        show = self._report.feed
        self._report.say(code, move.block, f"the feed is {show(feed)}, planned {show(wanted)}")

    def _of_minute(self, move: Move) -> float | None:
        """Return the feed per turn, at the planned speed where the spindle has another.

        A wrong S word is one finding then, and not one for each move.
        """
        state = move.state
        if state.feed is None:
            return move.feed_mm_per_rev
        if state.rpm is not None and self._speed.is_near(state.rpm):
            return move.feed_mm_per_rev
        return state.feed / self._speed.planned_rpm


def _least(rounding: float, feed: float) -> float:
    """Return what rounding may add to a feed [mm/rev]: a coarse last place is no licence."""
    return min(rounding, MOST_FEED_ROUNDING * (1.0 + FEED_SLACK) * feed)


def _rounding(plan: Plan, dialect: Dialect, speed: Speed) -> float:
    """Return half of the F word's last place [mm/rev]: a slow feed cannot be written closer."""
    units = plan.job.units
    half = 0.5 * 10.0 ** -dialect.feed_places(units)
    if units == "inch":
        half *= MM_PER_INCH
    if dialect.feed == "per minute":
        half /= speed.planned_rpm
    return half * (1.0 + FEED_SLACK)
