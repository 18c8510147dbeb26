"""Families as ratios, both sides measured in the same run: ``python -m tests.long.bench.family``.

1. A program of a family, made, verified and put in its folder by one worker, against
   pygcode merely parsing the same text.
2. The same family with one worker against two.
3. A row, and the peak of memory, in a family of 1,000 rows against one of 100,000.

Each family is a process of its own, timed from its first row to its index. Where temporary
files go (``TMPDIR``) counts: a disk may take longer to make a file than it takes to prove
what is in it, above all after many files have been removed.
"""

from __future__ import annotations

import gc
import json
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROWS = 2_000
ROUNDS = 5
MANY_ROWS = 50_000
FEW, ALL = 1_000, 100_000

JOB = """\
[part]
name = "Knob"
material = "aluminium 6082-T6"
length = 70.0
[knurl]
callout = "DIN 82 RGE 1.0"
length = 20.0
[holding]
method = "between centres"
[tool]
style = "knuckle joint"
roll_diameter = 20.0
face_width = 10.0
roll_spacing = 21.0
station = 5
[machine]
post = "{post}"
safe_x = 900.0
safe_z = 50.0
"""


def table(path: Path, rows: int) -> Path:
    """Write a table of knobs that all differ."""
    with path.open("w", encoding="utf-8") as stream:
        stream.write("part.name,part.knurled_diameter,part.number\n")
        for k in range(rows):
            stream.write(f"Knob {k},{20 + 780.0 * k / rows:.4f},{k % 9999 + 1}\n")
    return path


def make(job: str, rows: str, out: str, workers: str) -> None:
    """Make a family, and print the seconds and the peak of memory [kB]."""
    from knurlcam.family import Base, count_rows, run_family

    gc.set_threshold(100_000, 50, 50)  # as the command does
    start = time.perf_counter()
    base = Base.of(job)
    total = count_rows(base, rows)
    summary = run_family(base, rows, out, rows=total, workers=int(workers))
    seconds = time.perf_counter() - start
    assert summary.counts.made == total, summary.counts
    print(json.dumps([seconds, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss]))


def run(job: Path, rows: Path, out: Path, workers: int = 1) -> tuple[float, int]:
    """Make a family in a process of its own; return seconds and peak memory [kB]."""
    command = [
        sys.executable,
        "-m",
        "tests.long.bench.family",
        str(job),
        str(rows),
        str(out),
        str(workers),
    ]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    seconds, peak = json.loads(done.stdout)
    return float(seconds), int(peak)


def parse(folder: Path) -> float:
    """Return how long pygcode takes to parse all programs of a folder [s]."""
    from pygcode import Line

    texts = [path.read_text(encoding="utf-8") for path in sorted(folder.glob("*.nc"))]
    start = time.perf_counter()
    for text in texts:
        for line in text.splitlines():
            Line(line)
    return time.perf_counter() - start


def against_parsing(here: Path, post: str) -> float:
    """Return the median ratio of making a family to parsing it."""
    job = here / f"{post}.toml"
    job.write_text(JOB.format(post=post), encoding="utf-8")
    rows = table(here / "few.csv", ROWS)
    ratios = []
    for turn in range(ROUNDS):
        out = here / f"{post}-{turn}"
        seconds, _ = run(job, rows, out)
        ratios.append(seconds / parse(out))
    return statistics.median(ratios)


def main() -> None:
    """Print the ratios."""
    with tempfile.TemporaryDirectory() as folder:
        here = Path(folder)
        for post in ("iso6983", "rs274", "rs274-turning", "uw-lathe", "iso6983-integer"):
            print(f"made and verified / pygcode parsing, {post}: {against_parsing(here, post):.2f}")
        job = here / "iso6983.toml"
        rows = table(here / "many.csv", MANY_ROWS)
        pairs = [
            (run(job, rows, here / f"one-{k}")[0], run(job, rows, here / f"two-{k}", 2)[0])
            for k in range(3)
        ]
        print(f"one worker / two workers: {statistics.median(a / b for a, b in pairs):.2f}")
        few_s, few_kb = run(job, table(here / "few.csv", FEW), here / "few")
        all_s, all_kb = run(job, table(here / "all.csv", ALL), here / "all")
        print(f"a row of {ALL:,} / a row of {FEW:,}: {all_s / ALL / (few_s / FEW):.2f}")
        print(f"peak memory of {ALL:,} rows / of {FEW:,}: {all_kb / few_kb:.2f}")


if __name__ == "__main__":
    if len(sys.argv) == 5:
        make(*sys.argv[1:])
    else:
        main()
