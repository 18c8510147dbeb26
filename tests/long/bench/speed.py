"""Speed as ratios, both sides measured in the same run: ``python -m tests.long.bench.speed``.

1. One job through every stage (validate, plan, lay out, write, read back, check) against
   pygcode merely parsing the text that comes out. Every job has a name and a diameter of
   its own, so that no figure of the job before is at hand. Then the same stage by stage,
   each for as many jobs as a family is made of.
2. ``knurlcam program`` as a whole process against a bare ``python -c "import pydantic,
   jinja2, pint"``, in turn.
"""

from __future__ import annotations

import gc
import statistics
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from pygcode import Line

from knurlcam import Job, lay_out, make_plan, write_program
from knurlcam.program import write_programs

SAMPLE = Path(__file__).resolve().parents[3] / "samples" / "focus-knob.toml"
ROUNDS = 300
BATCH = 10
"""Jobs in a row on each side, so that neither finds the other's data in the way."""
FAMILY = 50
PROCESSES = 21


def jobs() -> list[dict[str, Any]]:
    """Return the keys of jobs that differ in name and diameter."""
    data: dict[str, Any] = tomllib.loads(SAMPLE.read_text(encoding="utf-8"))
    data["machine"]["safe_x"] = 400.0
    return [
        {**data, "part": {**data["part"], "name": f"Knob {k}", "knurled_diameter": 25 + 0.37 * k}}
        for k in range(ROUNDS)
    ]


def one_by_one(family: list[dict[str, Any]], post: str) -> list[str]:
    """Return the programs of jobs from their keys, proved: each before the next is begun."""
    return [write_program(lay_out(make_plan(Job.build(data))), post) for data in family]


def stage_by_stage(family: list[dict[str, Any]], post: str) -> list[str]:
    """Return the programs of jobs from their keys, proved: all through a stage at once."""
    plans = [make_plan(job) for job in [Job.build(data) for data in family]]
    return write_programs([lay_out(plan) for plan in plans], post)


def seconds(work: Callable[[], object]) -> float:
    """Return how long one call takes [s]."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


Make = Callable[[list[dict[str, Any]], str], list[str]]


def stages(post: str, make: Make, batch: int) -> float:
    """Return the median ratio of all stages to pygcode's parsing."""
    family = jobs()
    make(family[:20], post)
    # The garbage collector would search this process's modules, pygcode's too, in passing.
    gc.collect()
    gc.freeze()
    batches = [family[i : i + batch] for i in range(0, ROUNDS, batch)]
    return statistics.median(one_round(batch, post, make) for batch in batches)


def one_round(batch: list[dict[str, Any]], post: str, make: Make) -> float:
    """Return the ratio for some jobs."""
    texts: list[str] = []
    ours = seconds(lambda: texts.extend(make(batch, post)))
    theirs = seconds(lambda: [[Line(line) for line in text.splitlines()] for text in texts])
    return ours / theirs


def process() -> tuple[float, float]:
    """Return the median ratio of the whole process to the bare imports, and its seconds."""
    with tempfile.TemporaryDirectory() as folder:
        ours = [sys.executable, "-m", "knurlcam", "program", str(SAMPLE), "-o", f"{folder}/a.nc"]
        bare = [sys.executable, "-c", "import pydantic, jinja2, pint"]
        pairs = [(run(ours), run(bare)) for _ in range(PROCESSES)][1:]
    return statistics.median(a / b for a, b in pairs), statistics.median(a for a, _ in pairs)


def run(command: list[str]) -> float:
    """Return how long a whole process takes [s]."""
    return seconds(lambda: subprocess.run(command, check=True, capture_output=True))


def main() -> None:
    """Print the ratios."""
    for post in ("iso6983", "rs274", "rs274-turning", "uw-lathe", "iso6983-integer"):
        alone, family = stages(post, one_by_one, BATCH), stages(post, stage_by_stage, FAMILY)
        print(f"all stages / pygcode parsing, {post}: {alone:.2f}, stage by stage {family:.2f}")
    ratio, took = process()
    print(f"knurlcam program / bare imports, whole process: {ratio:.2f} ({took:.3f} s)")


if __name__ == "__main__":
    main()
