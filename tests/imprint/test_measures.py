"""Measures of height maps that are written down here, tooth by tooth, and not computed."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knurlcam.imprint.asked import Asked
from knurlcam.imprint.doubling import doubling
from knurlcam.imprint.measures import measure
from knurlcam.imprint.surface import Surface
from knurlcam.mechanics.tooth import Family

CELLS_A_TOOTH = 50


def grooved(
    teeth: int,
    *,
    height: float = 0.4,
    crest: float = 0.1,
    helix_deg: float = 0.0,
    family: Family = "straight",
    rows: int = 600,
    second: float = 0.0,
    plain_rows: int = 0,
) -> tuple[Surface, Asked]:
    """Return a map of V grooves of 90 degrees, 1 mm apart, with flats of a width on top.

    Args:
        teeth: Teeth round the work.
        height: Above the blank's surface, of the crests.
        crest: Width of the flats.
        helix_deg: Helix angle.
        family: What stands where two hands of grooves cross.
        rows: Rows of the knurl.
        second: How deep a stray groove divides each crest, over the tooth height.
        plain_rows: Rows without a knurl on the headstock's side.
    """
    cells = teeth * CELLS_A_TOOTH
    helix = math.radians(helix_deg)
    transverse = 1.0 / math.cos(helix)
    cell = transverse / CELLS_A_TOOTH
    dz = 0.02
    us, zs = cell * np.arange(cells), dz * np.arange(rows)[:, None]
    tall = (1.0 - crest) / 2.0

    def hand(sign: float) -> np.ndarray:
        across = (us + sign * zs * math.tan(helix)) * math.cos(helix)
        off = np.abs(across - np.round(across))
        groove = np.minimum(off, tall)
        if second:
            stray = np.abs(off - 0.5) + tall * (1.0 - second)
            groove = np.minimum(groove, stray)
        return groove

    made = hand(1.0)
    if family == "raised":
        made = np.minimum(made, hand(-1.0))
    elif family == "indented":
        made = np.maximum(made, hand(-1.0))
    heights = np.zeros((plain_rows + rows, cells), dtype=np.float32)
    heights[plain_rows:] = made + height - tall
    lean = math.tan(helix)
    both = family != "straight"
    period = 1.0 / (lean * (2.0 if both else 1.0)) * transverse if lean else 0.0
    asked = Asked(
        family,
        float(teeth),
        period,
        1.0,
        90.0,
        (lean / transverse, -lean / transverse) if both else (lean / transverse,),
    )
    return Surface(heights, -dz * (plain_rows + rows), dz, cell), asked


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


@pytest.mark.parametrize("helix", [10.0, 20.0, 30.0, 45.0])
@pytest.mark.parametrize("family", ["straight", "raised", "indented"])
def test_the_helix_is_found_in_the_map(helix: float, family: Family) -> None:
    found = measure(*grooved(40, helix_deg=helix, family=family, height=0.2))
    assert found.teeth == 40
    assert found.helix_deg == pytest.approx(helix, abs=0.5)
    assert found.pitch_mm == pytest.approx(1.0, rel=0.005)
    assert found.double_impression < 0.05


@pytest.mark.parametrize("family", ["straight", "raised", "indented"])
@pytest.mark.parametrize("crest", [0.05, 0.2, 0.4])
def test_crests_are_as_wide_as_they_were_made(crest: float, family: Family) -> None:
    surface, asked = grooved(40, crest=crest, helix_deg=30.0, family=family, height=0.2)
    assert measure(surface, asked).crest_width_mm == pytest.approx(crest, abs=0.03)


@pytest.mark.parametrize("share", [0.2, 0.5, 0.9])
def test_a_stray_groove_counts_by_its_depth(share: float) -> None:
    """Of a tooth 0.45 mm high, a second groove as deep as the first would count 1.

    Its flanks meet those of the first, and leave teeth that are lower.
    """
    bottom = 0.45 * (1.0 - share)
    crest = min(0.45, (0.5 + bottom) / 2.0)
    found = measure(*grooved(40, second=share)).double_impression
    assert found == pytest.approx((crest - bottom) / crest, abs=0.03)


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


def test_an_end_that_runs_out_askew_is_told() -> None:
    surface, asked = grooved(40)
    heights = surface.height_mm.copy()
    heights[:50, : surface.cells // 2] = 0.0
    askew = Surface(heights, surface.z_mm, surface.dz_mm, surface.cell_mm)
    assert measure(askew, asked).runout_mm == pytest.approx(1.0)


# -- a profile ---------------------------------------------------------------------------------


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
