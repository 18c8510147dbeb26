"""Stray grooves count by how far they divide the teeth."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knurlcam.imprint.doubling import doubling
from knurlcam.imprint.measures import measure
from tests.support.grooved import grooved


@pytest.mark.parametrize("share", [0.2, 0.5, 0.9])
def test_a_stray_groove_counts_by_its_depth(share: float) -> None:
    """Of a tooth 0.45 mm high, a second groove as deep as the first would count 1.

    Its flanks meet those of the first, and leave teeth that are lower.
    """
    bottom = 0.45 * (1.0 - share)
    crest = min(0.45, (0.5 + bottom) / 2.0)
    found = measure(*grooved(40, second=share)).double_impression
    assert found == pytest.approx((crest - bottom) / crest, abs=0.03)


def profile(second: float, at: float = 0.5, cells: int = 200) -> np.ndarray:
    """Return a tooth of height 1 with a second groove as deep as a share of it."""
    xs = np.arange(cells) / cells
    root = np.minimum(xs, 1.0 - xs) * 8.0
    stray = np.abs(xs - at) * 8.0 + (1.0 - second)
    return np.minimum(np.minimum(root, stray), 1.0)


@given(st.floats(0.0, 1.0), st.floats(0.35, 0.65), st.integers(0, 199))
@settings(max_examples=100, deadline=None)
def test_doubling_is_the_share_of_the_second_groove(second: float, at: float, turned: int) -> None:
    made = np.roll(profile(second, at), turned)
    assert doubling(made) == pytest.approx(second, abs=0.05)


def test_a_profile_without_teeth_is_fully_doubled() -> None:
    assert doubling(np.full(50, 0.003) + 0.0001 * np.arange(2).repeat(25)) == 1.0


def test_a_flank_is_no_second_groove() -> None:
    assert doubling(np.abs(np.linspace(-1.0, 1.0, 101))) == 0.0
