"""Profiles of the property tests (the same examples every time, or new ones on request), and
the browser."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest
from hypothesis import settings
from playwright.sync_api import Browser, sync_playwright

from tests.support.browser import FLAGS, NoBrowserError, aloud, chromium_path

settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("explore", deadline=None, max_examples=1000)
settings.load_profile(os.environ.get("KNURLCAM_HYPOTHESIS", "steady"))


@pytest.fixture(scope="session")
def browser(request: pytest.FixtureRequest) -> Iterator[Browser]:
    """Chromium, fetched once where the machine has none; without one the run ends."""
    with sync_playwright() as driver:
        try:
            path = chromium_path(driver.chromium.executable_path, aloud(request.config))
        except NoBrowserError as error:
            request.session.shouldfail = str(error)
            raise pytest.fail.Exception(str(error), pytrace=False) from None
        yield driver.chromium.launch(executable_path=path, args=FLAGS)
