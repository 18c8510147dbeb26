"""Gauges on maps of which all is known."""

from __future__ import annotations

import math

import numpy as np
import pytest

from knurlcam.imprint.measures import measure
from knurlcam.imprint.surface import Surface
from knurlcam.mechanics.tooth import Family
from tests.support.grooved import grooved


@pytest.mark.parametrize("teeth", [5, 21, 78])
def test_straight_teeth_are_counted_and_gauged(teeth: int) -> None:
    surface, asked = grooved(teeth)
    found = measure(surface, asked)
    assert found.teeth == teeth
    assert found.pitch_mm == pytest.approx(1.0)
    assert found.helix_deg == 0.0
    assert found.tooth_height_mm == pytest.approx(0.45, abs=1e-6)
    assert found.knurled_diameter_mm == pytest.approx(teeth / math.pi + 0.8, abs=1e-5)
    assert found.crest_width_mm == pytest.approx(0.1, abs=0.02)
    assert found.evenness == pytest.approx(1.0)
    assert found.length_mm == pytest.approx(12.0)
    assert found.double_impression == pytest.approx(0.0, abs=1e-6)
    assert found.runout_mm == 0.0


@pytest.mark.parametrize("family", ["straight", "raised", "indented"])
@pytest.mark.parametrize("crest", [0.05, 0.2, 0.4])
def test_crests_are_as_wide_as_they_were_made(crest: float, family: Family) -> None:
    surface, asked = grooved(40, crest=crest, helix_deg=30.0, family=family, height=0.2)
    assert measure(surface, asked).crest_width_mm == pytest.approx(crest, abs=0.03)


def test_plain_work_beside_the_knurl_is_not_measured() -> None:
    found = measure(*grooved(40, plain_rows=200))
    assert found.length_mm == pytest.approx(12.0)
    assert found.tooth_height_mm == pytest.approx(0.45, abs=1e-6)


def test_a_knurl_that_fades_is_uneven() -> None:
    surface, asked = grooved(40)
    fading = np.linspace(0.6, 1.0, surface.rows, dtype=np.float32)[:, None]
    faded = Surface(surface.height_mm * fading, surface.z_mm, surface.dz_mm, surface.cell_mm)
    found = measure(faded, asked)
    assert found.evenness == pytest.approx(0.62, abs=0.03)
    low, high = found.knurled_range_mm
    assert low < found.knurled_diameter_mm < high


def test_an_end_that_runs_out_askew_is_measured() -> None:
    surface, asked = grooved(40)
    heights = surface.height_mm.copy()
    heights[:50, : surface.cells // 2] = 0.0
    askew = Surface(heights, surface.z_mm, surface.dz_mm, surface.cell_mm)
    assert measure(askew, asked).runout_mm == pytest.approx(1.0)
