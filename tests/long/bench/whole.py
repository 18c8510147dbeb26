"""A knurl in a part program of many blocks, judged: ``python -m tests.long.bench.whole``.

Blocks of other tools, each of them another, stand around one section. What is measured is
``verify`` with the job at hand: finding the section, reading what stands before it, planning and
judging.
"""

from __future__ import annotations

import time

from knurlcam import verify
from tests.support.breaking import POSTS, good_job, good_program
from tests.support.whole import around

BLOCKS = (2_000, 20_000, 100_000)
LIMIT_S = 1.0
"""For the least of them: an editor that asks for each change must not be in the way."""


def program(post: str, blocks: int) -> str:
    """Return a part program of so many blocks."""
    first, last = around(post)
    half = blocks // 2
    more = [
        "\n".join(
            f"G0{1 + (i + k) % 3} X{20 + i % 700 / 100:.3f} Z{-i / 1000:.3f} R{1 + i % 90}."
            for i in range(half)
        )
        for k in range(2)
    ]
    section = good_program("diamond", post, "section")
    return f"{first}{more[0]}\n{section}{more[1]}\n{last}"


def main() -> None:
    """Print how long it takes."""
    job = good_job("diamond")
    for post in POSTS:
        for blocks in BLOCKS:
            text = program(post, blocks)
            start = time.perf_counter()
            result = verify(text, job, post)
            seconds = time.perf_counter() - start
            print(
                f"{post:16} {result.not_judged_blocks:7,} blocks not judged, "
                f"{len(result.findings)} findings: {seconds:6.3f} s"
                + (f" (limit {LIMIT_S:g} s)" if blocks == BLOCKS[0] else "")
            )


if __name__ == "__main__":
    main()
