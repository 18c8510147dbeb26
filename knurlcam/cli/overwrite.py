"""What a command must not write over: checked before any work is done."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from knurlcam.errors import InputError

__all__ = [
    "refuse_other_file_kind",
    "refuse_the_shop_file",
    "refuse_to_overwrite",
    "refuse_what_is_not_a_page",
]

PAGE_BEGINS = b"<!DOCTYPE html>"

MARKED_WITHIN = 512
"""Bytes at the beginning of a file of an imprint among which its mark stands."""


def refuse_to_overwrite(output: Path, **read: Path | None) -> None:
    """Refuse a place that cannot be written to, or that the command reads from.

    Args:
        output: Where the command is to write.
        read: Files that it reads, by what they are.

    Raises:
        InputError: naming the output.
    """
    from knurlcam.files import place_to_write

    place = place_to_write(output)
    for what, path in read.items():
        # By identity and not by name: links, and systems where A.toml is a.toml.
        if path is not None and place.exists() and path.exists() and place.samefile(path):
            raise _in_the_way(output, f"is the {what} file itself")


def refuse_the_shop_file(output: Path, job: Path, shop: Path | None) -> None:
    """Refuse to write over the shop file that a job is filled up from.

    Raises:
        InputError: naming the output.
    """
    from knurlcam.shop.fill import find_shop

    kept = find_shop(job, shop) if output.exists() else None
    if kept is not None and output.samefile(kept.path):
        raise _in_the_way(output, "is the shop file itself")


def refuse_what_is_not_a_page(output: Path) -> None:
    """Refuse to write a page over a shop file, a program or anything else that is not a page.

    Raises:
        InputError: naming the output.
    """
    # An empty file is taken: a script may have made it to hold the name.
    start = _first_bytes(output, len(PAGE_BEGINS))
    if start and start != PAGE_BEGINS:
        raise _in_the_way(output, "exists already and is not a page")


def refuse_other_file_kind(output: Path, is_ours: Callable[[bytes], bool]) -> None:
    """Refuse to write over a file that did not come from an imprint.

    Raises:
        InputError: naming the output.
    """
    start = _first_bytes(output, MARKED_WITHIN)
    if start and not is_ours(start):
        raise _in_the_way(output, "exists already and was not made by this command")


def _first_bytes(file: Path, count: int) -> bytes:
    if not file.is_file():
        return b""
    with file.open("rb") as stream:
        return stream.read(count)


def _in_the_way(output: Path, problem: str) -> InputError:
    return InputError(
        problem,
        where=str(output),
        key="--output",
        expected="another file",
        remedy="choose another name",
    )
