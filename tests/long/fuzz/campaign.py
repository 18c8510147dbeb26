"""Children watched: each target for its time, hangs ended, hits confirmed, a table told."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

from tests.long.fuzz.child import FOUND, GROWN, NOW, STATS, Stats
from tests.long.fuzz.hits import MOST_GROWTH_MB, MOST_SECONDS, Hit

PATIENCE_S = 20.0
"""Without progress a child hangs. On a loaded machine it may only be slow: it is run again."""

STARTING_S = 300.0
"""More patience for imports, instruments and seeds."""

LOOK_S = 0.2

ROOT = Path(__file__).resolve().parents[3]


@dataclass(frozen=True)
class Found:
    """A hit that was confirmed.

    Attributes:
        kind: See :class:`tests.long.fuzz.hits.Hit`.
        story: Traceback, message or figures.
        file: The input.
    """

    kind: str
    story: str
    file: Path


@dataclass(frozen=True)
class Told:
    """What became of one target.

    Attributes:
        name: The target's.
        stats: What its children counted together.
        hits: What was found and confirmed.
    """

    name: str
    stats: Stats
    hits: tuple[Found, ...]


class Again(NamedTuple):
    """One input, run once more in a fresh process without instruments.

    Attributes:
        seconds: Processor time [s]
        grown_mb: Growth of the process [MB]
        hits: What counts against it.
    """

    seconds: float
    grown_mb: float
    hits: tuple[Hit, ...]


def campaign(
    names: Sequence[str],
    seconds: float,
    out: Path,
    *,
    side_by_side: int = 1,
    seed: int = 1,
    guided: bool = True,
    patience_s: float = PATIENCE_S,
) -> list[Told]:
    """Run targets for some time each.

    Args:
        names: The targets.
        seconds: For each of them [s]
        out: Folder for inputs that hit; made where there is none.
        side_by_side: How many at once.
        seed: Where chance begins.
        guided: Whether coverage guides the mutations, where atheris is installed.
        patience_s: Without progress for so long a child hangs [s]
    """

    def one(name: str) -> Told:
        return _run_target(name, seconds, out, seed, guided, patience_s)

    with ThreadPoolExecutor(side_by_side) as pool:
        return list(pool.map(one, names))


def _run_target(
    name: str, seconds: float, out: Path, seed: int, guided: bool, patience_s: float
) -> Told:
    total = Stats()
    candidates: dict[str, tuple[Hit, bytes]] = {}
    until = time.monotonic() + seconds
    while (left := until - time.monotonic()) > 0:
        with TemporaryDirectory(prefix="fuzz-child-") as folder:
            place = Path(folder)
            hung = _watch(name, place, left, seed, guided, patience_s)
            found = _found(place)
            stats = _stats(place)
        if hung is not None:
            found.append((Hit("hangs", "hangs", f"no progress for {patience_s:g} s"), hung))
        for hit, data in found:
            candidates.setdefault(f"{hit.kind} {hit.key}", (hit, data))
        total = _added(total, stats)
        seed += 1
    confirmed = [_confirmed(name, hit, data, out, patience_s) for hit, data in candidates.values()]
    return Told(name, total, tuple(c for c in confirmed if c is not None))


def _watch(
    name: str, place: Path, seconds: float, seed: int, guided: bool, patience_s: float
) -> bytes | None:
    """Run a child to its end; return the input that it hung on, or None."""
    mode = "guided" if guided else "plain"
    args = [
        sys.executable,
        "-m",
        "tests.long.fuzz.child",
        name,
        str(place),
        str(seconds),
        str(seed),
    ]
    now, log = place / NOW, place / "log"
    with open(log, "wb") as stream:
        child = subprocess.Popen([*args, mode], cwd=ROOT, stdout=stream, stderr=stream)
    began = time.time()
    try:
        while child.poll() is None:
            time.sleep(LOOK_S)
            started = (place / STATS).exists()
            last = now.stat().st_mtime if now.exists() else began
            if time.time() - last > (patience_s if started else max(patience_s, STARTING_S)):
                return now.read_bytes() if now.exists() else b""
    finally:
        if child.poll() is None:
            child.kill()
            child.wait()
    if child.returncode not in (0, GROWN):
        data = now.read_bytes() if now.exists() else b""
        _note(place, Hit("ended", f"status {child.returncode}", _tail(log)), data)
    return None


def _tail(log: Path) -> str:
    return log.read_text(encoding="utf-8", errors="replace")[-3000:]


def _note(place: Path, hit: Hit, data: bytes) -> None:
    (place / "ended").write_bytes(data)
    with open(place / FOUND, "a", encoding="utf-8") as stream:
        stream.write(json.dumps({**hit._asdict(), "file": "ended"}) + "\n")


def _found(place: Path) -> list[tuple[Hit, bytes]]:
    file = place / FOUND
    if not file.exists():
        return []
    rows = [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]
    return [
        (Hit(row["kind"], row["key"], row["story"]), (place / row["file"]).read_bytes())
        for row in rows
    ]


def _stats(place: Path) -> Stats:
    file = place / STATS
    return Stats(**json.loads(file.read_text(encoding="utf-8"))) if file.exists() else Stats()


def _added(one: Stats, two: Stats) -> Stats:
    return Stats(
        one.inputs + two.inputs,
        one.seconds + two.seconds,
        max(one.slowest_s, two.slowest_s),
        max(one.grown_mb, two.grown_mb),
        one.guided or two.guided,
    )


def _confirmed(name: str, hit: Hit, data: bytes, out: Path, patience_s: float) -> Found | None:
    """Run an input again and keep it if it hits again, or if it ended or bloated a child."""
    again = replay(name, data, patience_s)
    same = [h for h in again.hits if h.kind == hit.kind] or list(again.hits)
    if not same and hit.kind not in ("ended", "memory"):
        return None
    story = same[0].story if same else f"{hit.story} (not when it is run alone)"
    out.mkdir(parents=True, exist_ok=True)
    kind = same[0].kind if same else hit.kind
    file = out / f"{name.rpartition(':')[2]}-{kind}-{sha256(data).hexdigest()[:12]}"
    file.write_bytes(data)
    return Found(kind, story, file)


REPLAY = """
import json, os, signal, sys
from pathlib import Path
os.sync = lambda: None
from tests.long.fuzz.child import target_of
from tests.long.fuzz.hits import limit_memory, peak_mb, run_one
name, file, patience_s = sys.argv[1:]
target = target_of(name)
for seed in list(target.seeds())[:8]:
    run_one(target, seed)
before = peak_mb()
limit_memory()
signal.setitimer(signal.ITIMER_REAL, float(patience_s))  # ends the process, whatever it does
ran = run_one(target, Path(file).read_bytes())
print(json.dumps([ran.seconds, peak_mb() - before, ran.hit]))
"""
"""A process of its own: its memory is the input's, and its time is not that of instruments."""


def replay(name: str, data: bytes, patience_s: float = PATIENCE_S) -> Again:
    """Run one input in a fresh process."""
    with TemporaryDirectory(prefix="fuzz-again-") as folder:
        file = Path(folder) / "input"
        file.write_bytes(data)
        args = [sys.executable, "-c", REPLAY, name, str(file), str(2 * patience_s)]
        done = subprocess.run(args, cwd=ROOT, capture_output=True, check=False)
    if done.returncode == -signal.SIGALRM:
        story = f"not done after {2 * patience_s:g} s"
        return Again(2 * patience_s, 0.0, (Hit("hangs", "hangs", story),))
    if done.returncode:
        story = done.stderr.decode("utf-8", "replace")[-3000:]
        return Again(0.0, 0.0, (Hit("ended", "ended", f"status {done.returncode}\n{story}"),))
    seconds, grown_mb, hit = json.loads(done.stdout.splitlines()[-1])
    hits = [Hit(*hit)] if hit else []
    if seconds > MOST_SECONDS:
        hits.append(Hit("slow", "slow", f"{seconds:.2f} s of processor time"))
    if grown_mb > MOST_GROWTH_MB:
        hits.append(Hit("memory", "memory", f"the process grew by {grown_mb:.0f} MB"))
    return Again(seconds, grown_mb, tuple(hits))


def table_of(told: Sequence[Told]) -> str:
    """Return the campaign's table as text."""
    rows = [("target", "inputs", "a second", "slowest [s]", "growth [MB]", "guided", "hits")]
    for one in told:
        stats = one.stats
        rows.append(
            (
                one.name,
                f"{stats.inputs:,}",
                f"{stats.inputs / max(stats.seconds, 1e-9):,.0f}",
                f"{stats.slowest_s:.2f}",
                f"{stats.grown_mb:.0f}",
                "yes" if stats.guided else "no",
                f"{len(one.hits)}",
            )
        )
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    return "\n".join(
        "  ".join(
            cell.ljust(width) if k == 0 else cell.rjust(width)
            for k, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    )
