"""The rules of stops: the operator opens the guard and reaches in, jogs, or turns the turret."""

from __future__ import annotations

from knurlcam.gcode.motion import Block, Change, Stop
from knurlcam.plan.model import Plan
from knurlcam.verification.machine import Tool
from knurlcam.verification.report import Report

__all__ = ["Stops"]

_CALLS = frozenset({"station", "offset"})
_UNCALLED = {
    _CALLS: "tool and offset are",
    frozenset({"station"}): "the tool is",
    frozenset({"offset"}): "the offset is",
}
"""What was not called, as a message says it."""


class Stops:
    """Takes each stop and each call of a tool, and is asked when the rolls meet the work."""

    __slots__ = ("_plan", "_report", "_stop", "_tool", "_uncalled")

    def __init__(self, plan: Plan, tool: Tool, report: Report) -> None:
        self._plan, self._tool, self._report = plan, tool, report
        self._stop: Stop | None = None
        self._uncalled: frozenset[str] = frozenset()

    def check(
        self,
        stop: Stop,
        *,
        touching: bool,
        may_touch: bool,
        near_x: float | None,
        is_outside: bool,
    ) -> bool:
        """Check a stop; True where it is without a finding.

        One stop, one finding, the most dangerous: what is put in the wrong place breaks more
        than one rule as a rule.

        Args:
            stop: The stop.
            touching: Whether the rolls are in the work.
            may_touch: Whether they would be in the largest blank.
            near_x: X at or below which the rolls are within the clearance of the work there;
                None where they stand clear of it [mm]
            is_outside: Whether the slide stands at the safe position, or further out.
        """
        said, mm = len(self._report.findings), self._report.mm
        if touching or may_touch:
            what = "in the work" if touching else "where they touch a blank of the largest diameter"
            self._say("stop-in-contact", stop, f"the program stops with the rolls {what}")
        elif stop.state.spindle != "off":
            self._say("spindle-turning-at-stop", stop, "the program stops while the spindle turns")
        elif near_x is not None:
            self._say(
                "stop-near-work",
                stop,
                "the program stops with the rolls by the work: the clearance over blank and crests "
                f"reaches out to X {mm(near_x)}",
            )
        elif not is_outside:
            machine = self._plan.job.machine
            self._say(
                "stop-not-at-safe-position",
                stop,
                f"the program stops inside safe X {mm(machine.safe_x)} or "
                f"safe Z {mm(machine.safe_z)}",
            )
        elif stop.state.coolant_runs:
            self._say("coolant-on-at-stop", stop, "the program stops while the coolant runs")
        return len(self._report.findings) == said

    def _say(self, code: str, stop: Stop, message: str) -> None:
        self._report.say(code, stop.block, message)

    def take(self, stop: Stop) -> None:
        """Take a stop without a finding.

        Hands that measure the blank or look at the trial strip may turn the turret out of the
        way, as they may jog both axes: tool and offset are called again before the rolls meet the
        work. That a stop comes before the call of its tool is common practice, for this reason.
        """
        self._stop = stop
        self._uncalled = _CALLS if self._tool.offset is not None else frozenset({"station"})

    def call(self, change: Change) -> None:
        """Take a call of a tool, an offset or both."""
        self._uncalled -= set(change.calls)

    def check_called_again(self, block: Block) -> None:
        """Check, as the rolls meet the work, that tool and offset were called since the stop."""
        if self._stop is None or not self._uncalled:
            return
        self._report.say_once(
            "tool-not-called-again",
            None,
            block,
            f"{_UNCALLED[self._uncalled]} not called again after the stop in line "
            f"{self._stop.block.line}",
        )
