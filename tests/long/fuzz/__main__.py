"""Run the targets and tell what was found: ``python -m tests.long.fuzz [TARGET ...]``."""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from tests.long.fuzz.campaign import PATIENCE_S, campaign, replay, table_of
from tests.long.fuzz.targets import TARGETS


def main() -> int:
    """Return 1 if anything was hit or a target did not run, else 0."""
    asked = argparse.ArgumentParser(prog="python -m tests.long.fuzz", description=__doc__)
    asked.add_argument("targets", nargs="*", metavar="TARGET", help=", ".join(TARGETS))
    asked.add_argument("--seconds", type=float, default=600.0, help="for each target")
    asked.add_argument("--jobs", type=int, default=1, help="targets side by side")
    asked.add_argument("--seed", type=int, default=1, help="where chance begins")
    asked.add_argument("--plain", action="store_true", help="without coverage")
    asked.add_argument("--out", type=Path, help="folder for inputs that hit")
    asked.add_argument("--input", type=Path, help="run this one input of one target")
    given = asked.parse_args()
    unknown = [name for name in given.targets if name not in TARGETS]
    if unknown:
        asked.error(f"no target {unknown[0]}; there are {', '.join(TARGETS)}")
    if given.input is not None:
        if len(given.targets) != 1:
            asked.error("--input needs one target")
        again = replay(given.targets[0], given.input.read_bytes())
        print(f"{again.seconds:.2f} s, grew by {again.grown_mb:.0f} MB")
        for hit in again.hits:
            print(f"{hit.kind}: {hit.story}")
        return 1 if again.hits else 0
    out = given.out or Path(tempfile.mkdtemp(prefix="fuzz-hits-"))
    told = campaign(
        given.targets or list(TARGETS),
        given.seconds,
        out,
        side_by_side=given.jobs,
        seed=given.seed,
        guided=not given.plain,
        patience_s=PATIENCE_S,
    )
    print(table_of(told))
    hits = [hit for one in told for hit in one.hits]
    for hit in hits:
        print(f"\n{hit.kind} {hit.file}\n{hit.story}")
    if hits:
        print(f"\n{len(hits)} hit(s); their inputs are in {out}", file=sys.stderr)
    idle = [one.name for one in told if not one.stats.inputs]
    if idle:
        print(f"\nno input was run of {', '.join(idle)}: give it more time", file=sys.stderr)
    return 1 if hits or idle else 0


if __name__ == "__main__":
    raise SystemExit(main())
