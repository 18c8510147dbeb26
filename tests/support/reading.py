"""Texts read in a dialect, after a head that states its modes."""

from __future__ import annotations

from typing import Any

import pytest

from knurlcam import Motion, read_program
from knurlcam.gcode.dialect_files import dialect_names

POSTS = tuple(dialect_names())
each_post = pytest.mark.parametrize("post", POSTS)

HEADS = {
    "iso6983": "%1\nG71 G90 G95 G97\n",
    "iso6983-integer": "%1\nG71 G90 G95 G97\n",
    "rs274": "%\nG21 G90 G94\n",
    "rs274-turning": "%\nG21 G90 G7 G95 G97\n",
    "uw-lathe": "%\nO0001\nG21 G99 G97\n",
}


def read(text: str, post: str = "iso6983", **options: Any) -> Motion:
    """Read a text after the dialect's start and modes."""
    return read_program(HEADS[post] + text, post, **options)


def problems(text: str, post: str = "iso6983") -> list[tuple[str, str]]:
    return [(p.code, p.message) for p in read(text, post).problems]


def codes(text: str, post: str = "iso6983") -> list[str]:
    return [p.code for p in read(text, post).problems]


def ends(text: str, post: str = "iso6983") -> list[tuple[float | None, float | None]]:
    return [(m.x1, m.z1) for m in read(text, post).moves]


def close(*pairs: tuple[float | None, float | None]) -> list[Any]:
    return [tuple(None if v is None else pytest.approx(v) for v in pair) for pair in pairs]
