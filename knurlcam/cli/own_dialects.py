"""Where a shop's own dialects are, for commands that have no job to say so."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

__all__ = ["folder_of_the_shop", "posts_here"]


def posts_here(posts: Sequence[Path] | None, shop: Path | None) -> tuple[Path, ...]:
    """Return the folders of dialects that are named, then that of the shop file.

    Args:
        posts: What ``--posts`` says.
        shop: What ``--shop`` says; else ``KNURLCAM_SHOP``, else a shop file in the present
            folder or above it.

    Raises:
        JobFileError: if the shop file is broken, or its folder of dialects is not there.
    """
    from knurlcam.shop.fill import find_shop

    found = find_shop(_HERE, shop)
    return (*(posts or ()), *(found.posts if found else ()))


def folder_of_the_shop(shop: Path | None) -> Path | None:
    """Return the folder that the shop file names for its dialects, whether it is there or not.

    Raises:
        JobFileError: if the shop file is broken.
    """
    from knurlcam.shop.fill import find_shop

    found = find_shop(_HERE, shop)
    return found.dialect_folder if found else None


_HERE = Path("a job in the present folder")
