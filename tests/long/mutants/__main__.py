"""Try every kind of edit in every program and print what came of it."""

from __future__ import annotations

import argparse
import os
import sys
from collections import Counter
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial

from knurlcam.verification.rules import RULES
from tests.long.mutants.judge import OUTCOMES, WRONG, trial
from tests.long.mutants.programs import ALL, Program, plan_of

MOST = 2400
"""Mutants of a program."""

MOST_FOLLOWED = 700
"""... of one whose slide follows the work, which is five times as long."""

SHOWN = 4
"""Mutants that are shown of each kind that went wrong."""


@dataclass
class Tally:
    """What came of the mutants of some programs."""

    kinds: dict[str, Counter[str]] = field(default_factory=dict)
    rules: Counter[str] = field(default_factory=Counter)
    """How many mutants each rule found"""
    alone: Counter[str] = field(default_factory=Counter)
    """... and how many no other rule did"""
    tolerated: Counter[str] = field(default_factory=Counter)
    wrong: list[tuple[str, str, str]] = field(default_factory=list)
    """Outcome, kind, and the place in words"""

    def add(self, other: Tally) -> None:
        for kind, counts in other.kinds.items():
            self.kinds.setdefault(kind, Counter()).update(counts)
        self.rules.update(other.rules)
        self.alone.update(other.alone)
        self.tolerated.update(other.tolerated)
        self.wrong += other.wrong


def tally(program: Program, most: int | None, seed: int) -> Tally:
    """Try the edits in one program."""
    if most is None:
        most = MOST_FOLLOWED if plan_of(program.name).follows else MOST
    result = Tally()
    for mutant, verdict in trial(program, most, seed):
        result.kinds.setdefault(mutant.kind, Counter())[verdict.outcome] += 1
        codes = verdict.errors | verdict.warnings
        result.rules.update(codes)
        if len(codes) == 1:
            result.alone.update(codes)
        if verdict.outcome == "tolerated":
            result.tolerated.update(verdict.differences)
        if verdict.outcome in WRONG:
            lines = mutant.text.split("\n")
            near = lines[max(0, mutant.line - 2) : mutant.line + 2]
            said = f"{sorted(verdict.differences)} {sorted(codes)}"
            where = f"{program}, line {mutant.line}: {near}\n    {said}"
            result.wrong.append((verdict.outcome, mutant.kind, where))
    return result


def main(arguments: list[str] | None = None) -> int:
    """Print the kill rate by kind, and what each rule found; 1 if anything went wrong."""
    parser = argparse.ArgumentParser(prog="python -m tests.long.mutants", description=__doc__)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--most", type=int, help="mutants of a program")
    parser.add_argument("--seed", type=int, default=0, help="another one draws other mutants")
    parser.add_argument("--shown", type=int, default=SHOWN, help="wrong ones shown of each kind")
    parser.add_argument("names", nargs="*", help="jobs; all of them unless given")
    given = parser.parse_args(arguments)
    programs = [p for p in ALL if not given.names or p.name in given.names]
    result = Tally()
    with ProcessPoolExecutor(given.workers) as pool:
        for part in pool.map(partial(tally, most=given.most, seed=given.seed), programs):
            result.add(part)
    _show_wrong(result.wrong, given.shown)
    _show_kinds(result)
    _show_rules(result)
    return 1 if result.wrong else 0


def _show_wrong(wrong: Iterable[tuple[str, str, str]], most: int) -> None:
    shown = Counter[tuple[str, str]]()
    for outcome, kind, where in sorted(wrong):
        shown[outcome, kind] += 1
        if shown[outcome, kind] <= most:
            print(f"{outcome}: {kind}: {where}")


def _show_kinds(result: Tally) -> None:
    print(f"{'kind':33}" + "".join(f"{name:>12}" for name in OUTCOMES) + f"{'all':>9}{'killed':>9}")
    whole = sum(result.kinds.values(), Counter[str]())
    for kind, counts in [*sorted(result.kinds.items()), ("all", whole)]:
        material = counts["found"] + counts["missed"]
        share = f"{counts['found'] / material:9.2%}" if material else ""
        row = "".join(f"{counts[name]:12}" for name in OUTCOMES)
        print(f"{kind:33}{row}{counts.total():9}{share}")
    print(
        "tolerated:", *(f"{n:6} {what}" for what, n in result.tolerated.most_common()), sep="\n  "
    )


def _show_rules(result: Tally) -> None:
    print(f"\n{'rule':26}{'found':>9}{'alone':>9}")
    for code in sorted(RULES):
        print(f"{code:26}{result.rules[code]:9}{result.alone[code]:9}")
    silent = [code for code in RULES if not result.rules[code]]
    print("provoked by no edit:", ", ".join(silent) or "none")


if __name__ == "__main__":
    sys.exit(main())
