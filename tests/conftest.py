"""Profiles of the property tests (the same examples every time, or new ones on request), which
cases of a long table are tried each time, and what tests of several rooms use."""

from __future__ import annotations

import os
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

from tests.support.marks import spread
from tests.support.places import alarm, out_beside_outside

if TYPE_CHECKING:
    from playwright.sync_api import Browser

settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("explore", deadline=None, max_examples=1000)
settings.load_profile(os.environ.get("KNURLCAM_HYPOTHESIS", "steady"))


@pytest.hookimpl(tryfirst=True)  # before pytest leaves out what is marked long
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark as long all but a few cases of each test that is marked ``few(n)``."""
    tables: defaultdict[tuple[str, int], list[pytest.Item]] = defaultdict(list)
    for item in items:
        few = item.get_closest_marker("few")
        if few and not item.get_closest_marker("long"):
            tables[item.nodeid.partition("[")[0], few.args[0]].append(item)
    for (_, count), cases in tables.items():
        kept = spread(len(cases), count)
        for place, case in enumerate(cases):
            if place not in kept:
                case.add_marker("long")


@pytest.fixture
def no_endless_wait() -> Iterator[None]:
    """End a test that waits for the other end of a pipe."""
    with alarm(60):
        yield


@pytest.fixture
def out(tmp_path: Path) -> Path:
    """Return an empty folder beside one that must not change."""
    return out_beside_outside(tmp_path)


@pytest.fixture(scope="module")
def rough_imprint() -> Iterator[None]:
    """Let pages show few blanks and coarse pictures of the knurl: most of the time that a page
    takes goes into them, and most tests look at something else."""
    from knurlcam.review import imprint  # here: few modules make a page

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(imprint, "MOST_WINDOW_TURNS", 0)
        patched.setattr(imprint, "MOST_CELLS", 1e5)
        yield


@pytest.fixture(scope="session")
def browser(request: pytest.FixtureRequest) -> Iterator[Browser]:
    """Chromium, fetched once where the machine has none; without one the run ends."""
    # Imported here: few workers, and no run of one file, come to need the driver.
    from playwright.sync_api import sync_playwright

    from tests.support.browser import FLAGS, NoBrowserError, aloud, chromium_path

    with sync_playwright() as driver:
        try:
            path = chromium_path(driver.chromium.executable_path, aloud(request.config))
        except NoBrowserError as error:
            request.session.shouldfail = str(error)
            raise pytest.fail.Exception(str(error), pytrace=False) from None
        yield driver.chromium.launch(executable_path=path, args=FLAGS)
