"""Files of an imprint: the picture, the map and the solid, by the ending of their name."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import NamedTuple

from knurlcam.blanks import Window
from knurlcam.errors import InputError, nearest
from knurlcam.imprint import Imprint
from knurlcam.imprinttext import imprint_dict, picture_facts, picture_title
from knurlcam.mapfiles import npz_bytes, stl_bytes
from knurlcam.picture import picture_png, picture_svg

__all__ = ["KINDS", "imprint_file", "kind_of"]


class Kind(NamedTuple):
    """A kind of file.

    Attributes:
        made: From an imprint and its window to the file.
        begins: What such a file begins with; one that begins otherwise is not written over.
    """

    made: Callable[[Imprint, Window], bytes]
    begins: bytes


def _png(imprint: Imprint, window: Window) -> bytes:
    plan = imprint.rolling.plan
    return picture_png(
        imprint.surface,
        title=picture_title(imprint),
        facts=picture_facts(imprint, window),
        pitch_mm=plan.knurl.pitch_mm,
        units=plan.job.units,
        window=window,
    )


def _svg(imprint: Imprint, window: Window) -> bytes:
    plan = imprint.rolling.plan
    return picture_svg(
        imprint.surface,
        title=picture_title(imprint),
        facts=picture_facts(imprint, window),
        pitch_mm=plan.knurl.pitch_mm,
        units=plan.job.units,
        window=window,
    ).encode()


def _npz(imprint: Imprint, window: Window) -> bytes:
    return npz_bytes(imprint.surface, imprint_dict(imprint, window))


def _stl(imprint: Imprint, window: Window) -> bytes:
    return stl_bytes(imprint.surface)


KINDS: Mapping[str, Kind] = {
    ".png": Kind(_png, b"\x89PNG"),
    ".svg": Kind(_svg, b"<svg"),
    ".npz": Kind(_npz, b"PK"),
    ".stl": Kind(_stl, b"knurl"),
}
"""Kinds of files by the ending of their name."""


def kind_of(file: Path) -> Kind:
    """Return what kind of file a name asks for.

    Args:
        file: The file to write.

    Raises:
        InputError: if its ending is none of ours.
    """
    ending = file.suffix.lower()
    if ending not in KINDS:
        raise InputError(
            "is no kind of file that an imprint is written to",
            where=str(file),
            key="--output",
            value=ending or file.name,
            expected=f"a name that ends in {', '.join(KINDS)}",
            remedy=nearest(ending, list(KINDS)),
        )
    return KINDS[ending]


def imprint_file(file: Path, imprint: Imprint, window: Window) -> bytes:
    """Return what a file of an imprint holds.

    Args:
        file: The file to write; its ending says what it is to hold.
        imprint: What the rolls leave.
        window: On which blanks the program's knurl is clean.

    Raises:
        InputError: if its ending is none of ours.
    """
    return kind_of(file).made(imprint, window)
