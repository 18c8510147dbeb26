"""A shop beside a job."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.shops import SHOP


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    file = tmp_path / "shop.toml"
    file.write_text(SHOP, encoding="utf-8")
    return file
