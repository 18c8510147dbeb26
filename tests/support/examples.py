"""How many examples a property test draws: few in the suite, more in the long tests, and as many
as there is time for when exploring (``KNURLCAM_HYPOTHESIS=explore``)."""

from __future__ import annotations

import os
from collections.abc import Callable
from inspect import Parameter, Signature, signature
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

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


Property = Callable[..., None]


def tried(few: int, many: int, **drawn: st.SearchStrategy[Any]) -> Callable[[Property], Property]:
    """Return a decorator: try a whole test on few drawn examples, and on many in the long tests.

    Args:
        few: Examples in the suite.
        many: Examples where the long tests run.
        drawn: What to draw, by the name of the test's argument; other arguments stay pytest's.
    """

    def decorate(check: Property) -> Property:
        def test(count: int, **others: Any) -> None:
            def run(**values: Any) -> None:
                check(**others, **values)

            run.__name__ = check.__name__  # of which hypothesis makes the examples
            most = max(count, settings.default.max_examples if EXPLORING else 0)
            calm = settings(
                max_examples=most,
                deadline=None,
                suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow],
            )
            calm(given(**drawn)(run))()

        others = [p for name, p in signature(check).parameters.items() if name not in drawn]
        count = Parameter("count", Parameter.POSITIONAL_OR_KEYWORD)
        test.__signature__ = Signature([count, *others])  # type: ignore[attr-defined]
        test.__name__, test.__doc__ = check.__name__, check.__doc__
        test.__module__, test.__qualname__ = check.__module__, check.__qualname__
        found: Property = counts(few, many)(test)
        return found

    return decorate
