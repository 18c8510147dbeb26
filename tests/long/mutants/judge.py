"""Whether what an edit does is found, and what it does not do is not."""

from __future__ import annotations

import random
import zlib
from collections.abc import Iterator
from typing import NamedTuple

from knurlcam.gcode.dialect_files import load_dialect
from knurlcam.gcode.read import read_program
from knurlcam.verification import verify
from knurlcam.verification.findings import Verification
from knurlcam.verification.verify import verify_motion
from tests.long.mutants.compare import (
    EITHER,
    WARNED,
    asks_for_an_error,
    is_border,
    text_differences,
)
from tests.long.mutants.edits import Mutant, mutants
from tests.long.mutants.programs import Program, placed, plan_of

OUTCOMES = (
    "found", "missed", "passed", "false alarm", "tolerated", "at a border", "broken"
)  # fmt: skip
WRONG = ("missed", "false alarm", "broken")


class Verdict(NamedTuple):
    """What came of one mutant.

    Attributes:
        outcome: One of OUTCOMES.
        differences: What it does otherwise than the good program.
        errors: Codes of the findings that are errors.
        warnings: ... and of the others.
    """

    outcome: str
    differences: frozenset[str]
    errors: frozenset[str]
    warnings: frozenset[str]


OF_THE_PART = frozenset({"doubles-on-part", "overfills-on-part"})
"""Rules about what the metal makes of a text, which the judge cannot see: it knows the machine."""


def judge(program: Program, text: str, without: str | None = None) -> Verdict:
    """Verify a spoilt text and judge the verification; *without* one rule, to try the judge."""
    try:
        result = verified(program, text)
    except Exception as error:
        return Verdict("broken", frozenset([repr(error)]), frozenset(), frozenset())
    findings = [f for f in result.findings if f.code not in (without, *OF_THE_PART)]
    errors = frozenset(f.code for f in findings if f.severity == "error")
    warnings = frozenset(f.code for f in findings if f.severity == "warning")
    found = frozenset(text_differences(program, text))
    return Verdict(_outcome(found, errors, warnings), found, errors, warnings)


def verified(program: Program, text: str) -> Verification:
    """Verify a text; a section is looked for, as it is in a part program."""
    plan = plan_of(program.name)
    if program.form == "section":
        dialect = load_dialect(program.post)
        return verify.judge(placed(program, text), plan, dialect).verification
    return verify_motion(read_program(text, program.post), text, plan, program.form)


def _outcome(found: frozenset[str], errors: frozenset[str], warnings: frozenset[str]) -> str:
    if asks_for_an_error(found):
        return "found" if errors else "missed"
    if any(is_border(d) for d in found):
        return "at a border"
    if found & EITHER.keys():
        return "found" if errors or warnings else "missed"
    if errors or (warnings and not found):
        return "false alarm"
    if found & WARNED.keys():
        return "found" if warnings else "missed"
    return "tolerated" if found else "passed"


def trial(program: Program, most: int, seed: int = 0) -> Iterator[tuple[Mutant, Verdict]]:
    """Judge the edits in one program, at most so many, drawn from all kinds."""
    rng = random.Random(zlib.crc32(f"{program} {seed}".encode()))
    for mutant in mutants(program, rng, most):
        yield mutant, judge(program, mutant.text)
