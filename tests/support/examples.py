"""How many examples a property test draws: few in the suite, more in the long tests, and as many
as there is time for when exploring (``KNURLCAM_HYPOTHESIS=explore``)."""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

EXPLORING = os.environ.get("KNURLCAM_HYPOTHESIS") == "explore"


def counts(few: int, many: int) -> pytest.MarkDecorator:
    """Run a test with ``count`` few, and again with many where the long tests run."""
    return pytest.mark.parametrize("count", [few, pytest.param(many, marks=pytest.mark.long)])


def examples(count: int, exploring: int | None = None) -> Callable[[Any], Any]:
    """Return the settings of a property: so many examples, or those of an exploration."""
    return settings(
        max_examples=exploring if EXPLORING and exploring else count,
        deadline=None,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    )
