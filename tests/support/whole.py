"""Part programs of several tools, made by hand, and a knurl put into them."""

from __future__ import annotations

from pathlib import Path

from tests.support.breaking import good_program

__all__ = ["HERE", "around", "blocks_around", "whole"]

_FOLDER = Path(__file__).resolve().parents[1] / "verification" / "whole"

HERE = "(KNURL HERE)\n"
"""Where a knurl goes into one."""


def around(post: str) -> tuple[str, str]:
    """Return what stands before the knurl, and behind it."""
    before, _, behind = (_FOLDER / f"{post}.nc").read_text(encoding="ascii").partition(HERE)
    return before, behind


def blocks_around(post: str) -> int:
    """Return how many blocks those are: neither comments nor what begins and ends a program."""
    lines = "".join(around(post)).splitlines()
    return sum(line[0] not in "%(O" for line in lines)


def whole(post: str, *pieces: str, job: str = "diamond", before: str = "") -> str:
    """Return a part program with pieces in it; with a section of a job unless given."""
    first, last = around(post)
    knurl = "".join(pieces or (good_program(job, post, "section"),))
    return f"{first}{before}{knurl}{last}"
