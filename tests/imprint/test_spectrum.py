"""Teeth and helix, found in a map by its spectrum."""

from __future__ import annotations

import pytest

from knurlcam.imprint.measures import measure
from knurlcam.mechanics.tooth import Family
from tests.support.grooved import grooved


@pytest.mark.few(4)
@pytest.mark.parametrize("helix", [10.0, 20.0, 30.0, 45.0])
@pytest.mark.parametrize("family", ["straight", "raised", "indented"])
def test_the_helix_is_found_in_the_map(helix: float, family: Family) -> None:
    found = measure(*grooved(40, helix_deg=helix, family=family, height=0.2))
    assert found.teeth == 40
    assert found.helix_deg == pytest.approx(helix, abs=0.5)
    assert found.pitch_mm == pytest.approx(1.0, rel=0.005)
    assert found.double_impression < 0.05
