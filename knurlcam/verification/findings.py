"""What verification reports: findings, and the verdict that they make up."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Any, Literal

from knurlcam.gcode.marks import Form

__all__ = ["Finding", "Verification", "ordered"]

Severity = Literal["error", "warning"]


@dataclass(frozen=True, slots=True)
class Finding:
    """What a rule found.

    Attributes:
        severity: ``error`` or ``warning``.
        code: The rule's code.
        block: N number of the block, or None.
        line: Line of the text, from 1.
        message: What would happen at the machine, and what is planned, in a sentence.
    """

    severity: Severity
    code: str
    block: int | None
    line: int
    message: str


@dataclass(frozen=True, slots=True)
class Verification:
    """The result of verifying a program text.

    Attributes:
        post: The dialect's name.
        form: ``program``, ``section``, ``subprogram`` or ``blocks``.
        findings: By line, errors before warnings on the same line.
        evenness: Depth uniformity, least over greatest penetration along the knurl, with the
            deflection of the work computed: first of a slide without deflection compensation,
            then of this program. None where the job does not compensate.
        judged_lines: First and last line of each piece of a part program that was judged; none
            where the text was judged as a whole.
        accepted: Codes of the refusals of planning that the job accepts.
        not_judged_blocks: How many blocks of other tools, and of other jobs, stand around them.
    """

    post: str
    form: Form
    findings: tuple[Finding, ...]
    evenness: tuple[float, float] | None = None
    judged_lines: tuple[tuple[int, int], ...] = ()
    not_judged_blocks: int = 0
    accepted: tuple[str, ...] = ()

    @property
    def ok(self) -> bool:
        """Whether there is no error; warnings do not count."""
        return not any(f.severity == "error" for f in self.findings)

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain data (``knurlcam verify --json``)."""
        return {
            "ok": self.ok,
            "post": self.post,
            "form": self.form,
            "accepted": list(self.accepted),
            "findings": [asdict(f) for f in self.findings],
            "judged_lines": [list(lines) for lines in self.judged_lines],
            "not_judged_blocks": self.not_judged_blocks,
            **self._evenness_dict(),
        }

    def _evenness_dict(self) -> dict[str, Any]:
        if self.evenness is None:
            return {}
        straight, made = self.evenness
        return {"evenness": {"straight": straight, "program": made}}


def ordered(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return findings by line, errors before warnings on the same line."""
    return tuple(sorted(findings, key=lambda f: (f.line, f.severity)))
