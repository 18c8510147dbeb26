"""Chromium for the page's tests: found, never silently done without."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, Page

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


class Shown:
    """A page that is open, with all it complained of and asked for."""

    def __init__(self, browser: Browser, file: Path, width: int = 1280, **more: Any) -> None:
        self.page: Page = browser.new_page(viewport={"width": width, "height": 900}, **more)
        self.complaints: list[str] = []
        self.requests: list[str] = []
        self.page.on("console", lambda m: self.complaints.append(m.text))
        self.page.on("pageerror", lambda e: self.complaints.append(str(e)))
        self.page.on("dialog", lambda d: self.complaints.append(d.message))
        self.page.on("request", lambda r: self.requests.append(r.url))
        self.answers: list[str] = []
        self.page.on("response", lambda r: self.answers.append(r.url))
        self.page.goto(file.as_uri())
