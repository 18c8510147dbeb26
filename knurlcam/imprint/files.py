"""Files of an imprint: the picture, the map and the solid, by the ending of their name."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import NamedTuple

from knurlcam.errors import InputError
from knurlcam.imprint.archive import npz_bytes
from knurlcam.imprint.make import Imprint
from knurlcam.imprint.pictures.picture import MADE_BY, Shown, picture_png, picture_svg
from knurlcam.imprint.report import imprint_dict, picture_facts, picture_title
from knurlcam.imprint.solid import stl_bytes
from knurlcam.imprint.window import Window

__all__ = ["KINDS", "imprint_file", "kind_of"]


class Kind(NamedTuple):
    """A kind of file.

    Attributes:
        made: From an imprint and its window to the file.
        begins: What such a file begins with.
        mark: What stands near the beginning of one of ours; one without it is not written over.
    """

    made: Callable[[Imprint, Window], bytes]
    begins: bytes
    mark: bytes

    def is_ours(self, start: bytes) -> bool:
        """Return whether a file that begins so is of this kind, and was made by us."""
        return start.startswith(self.begins) and self.mark in start


def _drawn(imprint: Imprint, window: Window) -> Shown:
    """Return what a picture of an imprint is made from."""
    plan, blank = imprint.rolling.plan, imprint.rolling.blank_diameter_mm
    return {
        "title": picture_title(imprint),
        "facts": picture_facts(imprint, window),
        "pitch_mm": plan.knurl.transverse_pitch_mm,
        "units": plan.job.units,
        "window": window,
        "at_mm": blank if imprint.blank_off_mm else None,
    }


# A file without the mark is somebody's own, and is never written over.
KINDS: Mapping[str, Kind] = {
    ".png": Kind(lambda i, w: picture_png(i.surface, **_drawn(i, w)), b"\x89PNG", MADE_BY.encode()),
    ".svg": Kind(
        lambda i, w: picture_svg(i.surface, **_drawn(i, w)).encode(), b"<svg", MADE_BY.encode()
    ),
    ".npz": Kind(
        lambda i, w: npz_bytes(i.surface, imprint_dict(i, w)), b"PK\x03\x04", b"height_mm.npy"
    ),
    ".stl": Kind(lambda i, w: stl_bytes(i.surface), b"knurlcam ", b"height map"),
}
"""Kinds of files by the ending of their name."""


def kind_of(file: Path) -> Kind:
    """Return what kind of file a name asks for.

    Args:
        file: The file to write.

    Raises:
        InputError: if its ending is not one of these.
    """
    ending = file.suffix.lower()
    if ending not in KINDS:
        raise InputError(
            "is not a file type for an imprint",
            where=str(file),
            key="--output",
            value=ending or file.name,
            expected=f"a name that ends in {', '.join(KINDS)}",
            remedy="give it one of these endings",
        )
    return KINDS[ending]


def imprint_file(file: Path, imprint: Imprint, window: Window) -> bytes:
    """Return what a file of an imprint holds.

    Args:
        file: The file to write; its ending says what it is to hold.
        imprint: What the rolls leave.
        window: On which blanks the program's knurl is clean.

    Raises:
        InputError: if its ending is not one of these.
    """
    return kind_of(file).made(imprint, window)
