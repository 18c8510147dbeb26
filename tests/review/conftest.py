"""What several tests of the setter's page share."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from knurlcam.review import imprint


@pytest.fixture(scope="module")
def rough_imprint() -> Iterator[None]:
    """Let pages show few blanks and coarse pictures of the knurl: most of the time that a page
    takes goes into them, and most tests look at something else."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(imprint, "MOST_WINDOW_TURNS", 0)
        patched.setattr(imprint, "MOST_CELLS", 1e5)
        yield
