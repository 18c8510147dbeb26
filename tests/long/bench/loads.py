"""What loads and deflection add to a plan, as ratios: ``python -m tests.long.bench.loads``.

Both sides are measured in the same run, in turn, on jobs that each have a name and a
diameter of their own: ``make_plan`` as it is, and the same with the two stages of loads
(``estimate_loads`` and ``check_loads``) taken out of it. Then from the job's keys to the
plan and all figures of its loads, which a plan works out when they are asked for, against the
same without any; and what a slide that follows the work costs.
"""

from __future__ import annotations

import gc
import statistics
import time
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any
from unittest.mock import patch

from knurlcam import Job, Plan, make_plan
from knurlcam.plan import planner as plan_module

SAMPLES = Path(__file__).resolve().parents[3] / "samples"
NAMES = ("focus-knob", "clamp-screw", "eyepiece-ring", "finder-knob", "slow-motion-handle")
JOBS = 60
ROUNDS = 25


def keys(name: str, **changes: Any) -> list[dict[str, Any]]:
    """Return the keys of jobs that differ in name and diameter, made from a sample."""
    data: dict[str, Any] = tomllib.loads((SAMPLES / f"{name}.toml").read_text(encoding="utf-8"))
    data["machine"]["safe_x"] = 400.0
    data["process"] = {**data.get("process", {}), **changes}
    part = data["part"]
    made = []
    for k in range(JOBS):
        size = part["knurled_diameter"] * (1.0 + 0.001 * k)
        made.append({**data, "part": {**part, "name": f"{k}", "knurled_diameter": size}})
    return made


def built(some: list[dict[str, Any]]) -> list[Job]:
    """Return the jobs of keys."""
    return [Job.build(data) for data in some]


def seconds(work: Callable[[], object]) -> float:
    """Return how long one call takes [s]."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def plans(some: list[Job]) -> list[Plan]:
    """Return the plans of jobs."""
    return [make_plan(job) for job in some]


def ratio(ours: Callable[[], object], theirs: Callable[[], object]) -> float:
    """Return the median ratio of two works, done in turn."""
    ours(), theirs()
    gc.collect()
    gc.freeze()
    return statistics.median(seconds(ours) / seconds(theirs) for _ in range(ROUNDS))


def without_loads(some: list[Job]) -> list[Plan]:
    """Return the plans of jobs, planned without a look at their loads."""
    with (
        patch.object(plan_module, "estimate_loads", lambda *_: None),
        patch.object(plan_module, "check_loads", lambda *_: 0.0),
    ):
        return plans(some)


def figures(made: list[Plan]) -> None:
    """Work out all figures of loads and deflection."""
    for plan in made:
        estimate = plan.estimate
        assert estimate is not None
        assert estimate.loads.net_push_n >= 0.0
        assert estimate.deflection is None or estimate.deflection.evenness > 0.0


def main() -> None:
    """Print the ratios."""
    for name in NAMES:
        some = keys(name)
        ready = built(some)
        added = ratio(lambda ready=ready: plans(ready), lambda ready=ready: without_loads(ready))
        all_in = ratio(
            lambda some=some: figures(plans(built(some))),
            lambda some=some: without_loads(built(some)),
        )
        print(
            f"{name}: a plan with loads / without {added:.2f}; from the job's keys to all figures "
            f"/ the same without {all_in:.2f}"
        )
    followed = built(keys("slow-motion-handle", compensate=True))
    straight = built(keys("slow-motion-handle"))
    many = ratio(lambda: plans(followed), lambda: plans(straight))
    print(f"a slide that follows / straight, slow-motion-handle: {many:.1f}")


if __name__ == "__main__":
    main()
