"""What the rules have found so far, and the figures in it as the job writes them."""

from __future__ import annotations

from typing import Literal

from knurlcam.gcode.motion import Block, Problem
from knurlcam.units.kinds import Kind
from knurlcam.units.show import show
from knurlcam.verification.findings import Finding
from knurlcam.verification.rules import RULES

__all__ = ["Report"]


class Report:
    """Takes findings in the order in which the rules come to them.

    Attributes:
        findings: The findings so far.
    """

    __slots__ = ("_once", "_units", "findings")

    def __init__(self, units: Literal["mm", "inch"]) -> None:
        self._units = units
        self._once: set[tuple[str, object]] = set()
        self.findings: list[Finding] = []

    def say(self, code: str, block: Block, message: str) -> None:
        """Add a finding of a rule; the rule's reason ends its sentence."""
        # Severity comes from the table, so that no rule is an error here and a warning there.
        rule = RULES[code]
        self.findings.append(
            Finding(rule.severity, code, block.number, block.line, f"{message}: {rule.reason}")
        )

    def say_once(self, code: str, value: object, block: Block, message: str) -> None:
        """Add a finding about what is in force, once for each value, in however many blocks."""
        if (code, value) not in self._once:
            self._once.add((code, value))
            self.say(code, block, message)

    def has_said_once(self, code: str, value: object = None) -> bool:
        """Whether :meth:`say_once` has added a finding."""
        return (code, value) in self._once

    def add_problem(self, problem: Problem) -> None:
        """Add what reading the text itself has found."""
        block = problem.block
        self.findings.append(
            Finding(problem.severity, problem.code, block.number, block.line, problem.message)
        )

    def mm(self, value: float) -> str:
        """Show a length [mm] in the job's units."""
        return show(value, Kind.LENGTH, self._units)

    def feed(self, value: float) -> str:
        """Show a feed [mm/rev] in the job's units."""
        return show(value, Kind.FEED, self._units)
