"""One server of the page, as the command runs it."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import httpx
import pytest

from knurlcam.edit.guard import TOKEN_HEADER
from knurlcam.edit.server import serving

SAMPLE = Path(__file__).parents[2] / "samples" / "focus-knob.toml"


class Served(NamedTuple):
    """A server that runs: its folder's job file, and its address in two parts."""

    job: Path
    origin: str
    token: str

    def ask(self, what: str, data: object = None, **headers: str) -> httpx.Response:
        own = {TOKEN_HEADER: self.token, **headers}
        return httpx.post(f"{self.origin}/api/{what}", json=data or {}, headers=own, timeout=20)


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    job = tmp_path_factory.mktemp("jobs") / "knob.toml"
    with serving(job) as (address, server, run):
        thread = threading.Thread(target=run)
        thread.start()
        origin, _, token = address.partition("/#")
        yield Served(job, origin, token)
        server.should_exit = True
        thread.join(20)
