"""Targets that are broken on purpose: what the fuzzers must tell."""

from __future__ import annotations

import time
from pathlib import Path

from tests.long.fuzz.hits import MOST_GROWTH_MB, Target


def _as_it_is(data: bytes, _folder: Path) -> bytes:
    return data


def _seeds() -> list[bytes]:
    return [b"a"]


def _raises(data: bytes) -> None:
    if data != b"a":
        raise KeyError("nobody caught this")


def _hangs(data: bytes) -> None:
    while data != b"a":
        time.sleep(60.0)


def _eats(data: bytes) -> None:
    if data != b"a":
        assert b"x" * 1_200_000 * MOST_GROWTH_MB


TARGETS = {
    "raises": Target(_raises, _as_it_is, _seeds, in_files=False),
    "hangs": Target(_hangs, _as_it_is, _seeds, in_files=False),
    "eats": Target(_eats, _as_it_is, _seeds, in_files=False),
}
