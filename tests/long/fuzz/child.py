"""One target in a process of its own: it may hang, or eat memory, and be ended.

Before each input the child writes it down, so that whoever ends the child has it.
"""

from __future__ import annotations

import contextlib
import importlib
import json
import os
import pkgutil
import random
import sys
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from hashlib import sha256
from pathlib import Path

from tests.long.fuzz.hits import MOST_GROWTH_MB, Hit, Target, limit_memory, peak_mb, run_one
from tests.long.fuzz.mutate import mutated

NOW, STATS, FOUND = "now", "stats.json", "found.jsonl"
"""In the child's folder: the input at hand, what was counted, and the hits, one a line."""

SLOW_S = 1.0
"""Of processor time; a candidate only, for instrumented code is slower: it is run again."""

GROWN = 3
"""Exit status of a child that has grown too large, and is to be started anew."""

LATELY_S = 0.5
"""How often counts are written down."""


@dataclass
class Stats:
    """What a child counts.

    Attributes:
        inputs: Inputs that were run.
        seconds: Since the first of them [s]
        slowest_s: Most processor time of one [s]
        grown_mb: Growth of the process over what the seeds took [MB]
        guided: Whether coverage guides the mutations.
    """

    inputs: int = 0
    seconds: float = 0.0
    slowest_s: float = 0.0
    grown_mb: float = 0.0
    guided: bool = False


class Child:
    """Runs inputs of one target and keeps what is found."""

    def __init__(self, target: Target, seeds: Sequence[bytes], place: Path) -> None:
        self.target, self.place = target, place
        self.stats = Stats()
        self._keys: set[str] = set()
        self._now = open(place / NOW, "wb", buffering=0)  # noqa: SIM115 - until the process ends
        for seed in seeds:
            self._write_down(seed)
            hit = run_one(target, seed).hit
            if hit is not None:
                self._keep(hit, seed)
        self._base_mb = peak_mb()
        limit_memory()
        self._began = self._told = time.monotonic()
        self.tell()

    def run(self, data: bytes) -> None:
        """Run an input; a process that has grown too large ends here."""
        self._write_down(data)
        ran = run_one(self.target, data, most_seconds=SLOW_S)
        stats = self.stats
        stats.inputs += 1
        stats.slowest_s = max(stats.slowest_s, ran.seconds)
        stats.grown_mb = peak_mb() - self._base_mb
        hit = ran.hit
        if stats.grown_mb > MOST_GROWTH_MB:
            hit = Hit("memory", "memory", f"the process grew by {stats.grown_mb:.0f} MB")
        if hit is not None:
            self._keep(hit, data)
        now = time.monotonic()
        if now - self._told > LATELY_S or stats.grown_mb > MOST_GROWTH_MB:
            self._told = now
            self.tell()
        if stats.grown_mb > MOST_GROWTH_MB:
            os._exit(GROWN)

    def tell(self) -> None:
        """Write the counts down."""
        self.stats.seconds = time.monotonic() - self._began
        (self.place / STATS).write_text(json.dumps(asdict(self.stats)), encoding="utf-8")

    def _write_down(self, data: bytes) -> None:
        self._now.seek(0)
        self._now.truncate()
        self._now.write(data)

    def _keep(self, hit: Hit, data: bytes) -> None:
        key = f"{hit.kind} {hit.key}"
        if key in self._keys:
            return
        self._keys.add(key)
        name = f"{hit.kind}-{sha256(data).hexdigest()[:12]}"
        (self.place / name).write_bytes(data)
        with open(self.place / FOUND, "a", encoding="utf-8") as stream:
            stream.write(json.dumps({**hit._asdict(), "file": name}) + "\n")


def fuzz(name: str, place: Path, seconds: float, seed: int, *, guided: bool) -> None:
    """Run one target for a while; what is found goes to *place*."""
    # Waiting for all disks of the machine takes long and shows nothing here.
    os.sync = lambda: None
    if guided and _with_coverage(name, place, seconds, seed):
        return
    target = target_of(name)
    seeds = list(target.seeds())
    child = Child(target, seeds, place)
    rng = random.Random(seed)
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        child.run(mutated(rng.choice(seeds), rng, target, seeds))
    child.tell()


def target_of(name: str) -> Target:
    """Return a target by its name; a name with a colon is that of a module and a target."""
    module, _, one = name.rpartition(":")
    found: Target = importlib.import_module(module or "tests.long.fuzz.targets").TARGETS[one]
    return found


def _with_coverage(name: str, place: Path, seconds: float, seed: int) -> bool:
    """Let new branches of the package guide the mutations; False without atheris."""
    try:
        import atheris
    except ImportError:
        return False
    loaded = time.monotonic()  # from here atheris counts its time
    with atheris.instrument_imports(include=["knurlcam"]):
        import knurlcam

        for module in pkgutil.walk_packages(knurlcam.__path__, "knurlcam."):
            if not module.name.endswith("__main__"):
                importlib.import_module(module.name)
    target = target_of(name)
    seeds = list(target.seeds())
    corpus = place / "corpus"
    corpus.mkdir(exist_ok=True)
    for k, data in enumerate(seeds):
        (corpus / f"{k}").write_bytes(data)

    def change(data: bytes, most: int, number: int) -> bytes:
        rng = random.Random(number)
        if rng.random() < 0.15:
            return bytes(atheris.Mutate(data, most))
        return mutated(data, rng, target, seeds)[:most]

    child = Child(target, seeds, place)
    child.stats.guided = True
    flags = [
        f"-max_total_time={max(1, round(seconds + time.monotonic() - loaded))}",
        f"-max_len={target.largest}",
        f"-seed={seed}",
        "-rss_limit_mb=0",
        "-malloc_limit_mb=0",
        "-timeout=100000",
        "-print_final_stats=0",
        str(corpus),
    ]
    atheris.Setup([name, *flags], child.run, custom_mutator=change)
    try:
        atheris.Fuzz()  # ends the process
    finally:
        child.tell()
    return True


if __name__ == "__main__":
    what, where, how_long, number, with_coverage = sys.argv[1:]
    with contextlib.suppress(KeyboardInterrupt):
        fuzz(what, Path(where), float(how_long), int(number), guided=with_coverage == "guided")
