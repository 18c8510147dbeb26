"""What several tests of families share."""

from __future__ import annotations

import pytest

from knurlcam.family import folder


@pytest.fixture
def batches_of_four(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let four programs wait for the disk together instead of 128: a run of nine shows as much."""
    monkeypatch.setattr(folder, "BATCH", 4)
