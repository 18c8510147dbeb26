"""Tables read afresh by each test, and a folder for a shop's own."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from knurlcam.data.caches import clear_caches
from knurlcam.data.folders import TABLES_VARIABLE


@pytest.fixture(autouse=True)
def fresh_tables(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.delenv(TABLES_VARIABLE, raising=False)
    clear_caches()
    yield
    clear_caches()


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return an empty folder that knurlcam takes for the shop's own tables."""
    monkeypatch.setenv(TABLES_VARIABLE, str(tmp_path))
    return tmp_path
