"""Tooth height, penetration and growth, against printed figures or another way to them.

Beside each figure stand source, page, the value as printed and the tolerance: half of the
last digit printed. "From memory" means that the figure was not seen in its source.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knurlcam.data.knurls import forms
from knurlcam.mechanics.tooth import (
    Family,
    full_tooth_height,
    height_for_penetration,
    height_for_rise,
    penetration,
    rise,
)

FAMILIES: tuple[Family, ...] = ("straight", "raised", "indented")
DIN82 = "DIN 82:1973-01 (English issue), section 2.4, table of initial diameter d2"


@pytest.mark.parametrize(
    ("form", "printed", "source"),
    [
        ("RAA", 0.5, f"{DIN82}, from memory"),
        ("RBL", 0.5, f"{DIN82}, from memory"),
        ("RBR", 0.5, f"{DIN82}, from memory"),
        ("RGE", 0.67, f"{DIN82}, from memory"),
        ("RGV", 0.33, f"{DIN82}, from memory"),
        ("RKE", 0.67, f"{DIN82}, from memory"),
        ("RKV", 0.33, DIN82),
    ],
)
def test_volume_kept_gives_the_growth_factor_that_the_standard_prints(
    form: str, printed: float, source: str
) -> None:
    full = full_tooth_height(1.0, 90.0)
    growth = 2.0 * rise(full, full, forms()[form].family)
    assert growth == pytest.approx(printed, abs=0.005), source
    # d2 = d1 - k t with d1 = 20 mm and t = 1 mm, chosen here
    assert 20.0 - growth == pytest.approx(20.0 - printed, abs=0.005), source


@pytest.mark.parametrize(
    ("family", "computed"),
    [("straight", 0.5), ("raised", 0.666667), ("indented", 0.333333)],
)
def test_growth_agrees_with_the_volume_of_prisms_and_pyramids(
    family: Family, computed: float
) -> None:
    # Ridge: half its height; pyramid: a third of base times height. Computed, not printed.
    assert 2.0 * rise(0.5, 0.5, family) == pytest.approx(computed, abs=1e-6)


@pytest.mark.parametrize(
    ("profile_deg", "height"),
    [(90.0, 0.5), (105.0, 0.383663)],  # geometry of a sharp V, pitch 1 mm; not printed
)
def test_the_full_height_is_that_of_a_sharp_v(profile_deg: float, height: float) -> None:
    assert full_tooth_height(1.0, profile_deg) == pytest.approx(height, abs=1e-6)


def _full(full: float, steps: int) -> list[float]:
    return [full * abs(2.0 * ((i + 0.5) / steps) - 1.0) for i in range(steps)]


@pytest.mark.parametrize("fullness", [0.3, 0.6, 0.95, 1.0])
def test_the_mean_height_of_crossing_grooves_is_the_penetration(fullness: float) -> None:
    # Sampled over one cell of the pattern: the roll's V tooth presses fullness deep, so the
    # surface is min(H, V) where grooves are cut and its mean above the root must be c.
    full = 0.5
    height, steps = fullness * full, 400
    groove = [min(height, v) for v in _full(full, steps)]
    straight = sum(groove) / steps
    raised = sum(min(a, b) for a in groove for b in groove) / steps**2
    assert penetration(height, full, "straight") == pytest.approx(straight, abs=1e-5)
    assert penetration(height, full, "raised") == pytest.approx(raised, abs=1e-5)


@pytest.mark.parametrize("fullness", [0.3, 0.6, 0.95, 1.0])
def test_the_mean_height_around_pits_is_the_penetration(fullness: float) -> None:
    # Indented: a pyramid of height H and base (H / full)^2 of the cell is missing from H.
    full = 0.5
    height = fullness * full
    pit = height * fullness**2 / 3.0
    assert penetration(height, full, "indented") == pytest.approx(height - pit, rel=1e-12)


@given(
    family=st.sampled_from(FAMILIES),
    full=st.floats(0.01, 5.0),
    fullness=st.floats(0.0, 1.0),
)
def test_the_height_for_a_rise_undoes_the_rise(
    family: Family, full: float, fullness: float
) -> None:
    height = fullness * full
    again = height_for_rise(rise(height, full, family), full, family)
    # Near no height at all the rise is flat or tiny, and the root of a rounding error shows.
    assert again == pytest.approx(height, abs=2e-5 * full)
    if fullness >= 0.1:
        assert again == pytest.approx(height, rel=1e-7)


@given(family=st.sampled_from(FAMILIES), full=st.floats(0.01, 5.0), share=st.floats(0.0, 1.0))
def test_the_penetration_of_a_height_for_a_penetration_is_that_penetration(
    family: Family, full: float, share: float
) -> None:
    wanted = share * penetration(full, full, family)
    height = height_for_penetration(wanted, full, family)
    assert 0.0 <= height <= full * (1.0 + 1e-12)
    assert penetration(height, full, family) == pytest.approx(wanted, abs=1e-9 * full)


@pytest.mark.parametrize("family", FAMILIES)
def test_beyond_the_full_profile_a_tooth_stays_full(family: Family) -> None:
    assert height_for_penetration(0.6, 0.5, family) == pytest.approx(0.5)


@given(family=st.sampled_from(FAMILIES), full=st.floats(0.01, 5.0), share=st.floats(0.0, 1.0))
def test_the_rise_of_a_height_for_a_rise_is_that_rise(
    family: Family, full: float, share: float
) -> None:
    wanted = share * rise(full, full, family)
    assert rise(height_for_rise(wanted, full, family), full, family) == pytest.approx(
        wanted, abs=1e-9 * full
    )


@given(
    family=st.sampled_from(FAMILIES),
    full=st.floats(0.01, 5.0),
    shares=st.tuples(st.floats(0.0, 1.0), st.floats(0.0, 1.0)),
)
def test_a_higher_tooth_needs_no_less_penetration_and_rises_no_less(
    family: Family, full: float, shares: tuple[float, float]
) -> None:
    low, high = (s * full for s in sorted(shares))
    slack = 1e-12 * full
    assert penetration(low, full, family) <= penetration(high, full, family) + slack
    assert rise(low, full, family) <= rise(high, full, family) + slack


@given(family=st.sampled_from(FAMILIES), full=st.floats(0.01, 5.0), share=st.floats(0.0, 1.0))
def test_rise_and_penetration_add_up_to_the_height(
    family: Family, full: float, share: float
) -> None:
    height = share * full
    both = rise(height, full, family) + penetration(height, full, family)
    assert both == pytest.approx(height, abs=1e-12 * full)
    assert rise(height, full, family) >= -1e-12 * full


@pytest.mark.parametrize("family", FAMILIES)
def test_no_height_needs_no_penetration_and_does_not_rise(family: Family) -> None:
    assert penetration(0.0, 0.5, family) == 0.0
    assert rise(0.0, 0.5, family) == 0.0
    assert height_for_rise(0.0, 0.5, family) == pytest.approx(0.0, abs=1e-12)
