"""Chromium for the page's tests: found, never silently done without."""

from __future__ import annotations

import os
import shutil

CHROMIUM_VARIABLE = "KNURLCAM_CHROMIUM"
"""Environment variable: the browser to take."""

FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def chromium_path(own: str) -> str:
    """Return the browser's file.

    Args:
        own: Where the test driver keeps one of its own, if one was installed.

    Raises:
        FileNotFoundError: saying how to get one.
    """
    named = os.environ.get(CHROMIUM_VARIABLE)
    found = named or shutil.which("chromium") or shutil.which("chromium-browser") or own
    if not os.path.exists(found):
        raise FileNotFoundError(
            f"no Chromium at {found}: the page's tests run in a real one. Install it "
            "(apt-get install chromium, or python -m playwright install chromium), or name its "
            f"file in {CHROMIUM_VARIABLE}"
        )
    return found
