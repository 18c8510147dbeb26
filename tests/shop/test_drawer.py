"""Which rolls of a drawer track on a blank that is there already."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knurlcam import Job, make_plan
from knurlcam.imprint.window import predict_imprint
from knurlcam.job.callout import parse_callout
from knurlcam.shop.drawer import FIRST_INFEEDS_MM, Fitting, called_rolls, fittings, rolls_of
from knurlcam.shop.fill import load_shop
from tests.support.drawers import job_of
from tests.support.shops import SAMPLE, changed

SHOP = load_shop(SAMPLE / "shop.toml")
DRAWER = rolls_of(SHOP, None, "mm")


def of(callout: str, blank: float, *, swivelled: bool = False) -> Fitting:
    (found,) = fittings([called_rolls(parse_callout(callout), swivelled=swivelled)], blank)
    return found


@given(blank=st.floats(8.0, 60.0))
def test_rolls_track_where_the_blank_is_within_their_window(blank: float) -> None:
    for found in fittings(DRAWER, blank):
        low, high = found.window_mm
        assert found.tracks == (low <= blank <= high)


@given(blank=st.floats(8.0, 60.0), step=st.integers(0, len(FIRST_INFEEDS_MM) - 1))
def test_no_gentler_first_infeed_tracks_with_rolls_that_are_not_swivelled(
    blank: float, step: int
) -> None:
    infeed = FIRST_INFEEDS_MM[step]
    firm = {f.rolls: f for f in fittings(DRAWER, blank)}
    for found in fittings(DRAWER, blank, infeed):
        if found.tracks and not found.swivel_deg:
            best = firm[found.rolls]
            assert not best.swivel_deg
            assert best.infeed_mm_per_rev <= infeed


@given(blank=st.floats(15.0, 60.0))
def test_helical_rolls_are_turned_a_little_where_they_do_not_track_as_they_stand(
    blank: float,
) -> None:
    found = of("DIN 82 RGE 1.0", blank)
    assert found.tracks
    if found.swivel_range_deg:
        low, high = found.swivel_range_deg
        assert low <= found.swivel_deg <= high
        assert abs(found.swivel_deg) <= 5.0


def test_straight_rolls_only_get_fewer_teeth_by_being_turned() -> None:
    turned = [of("DIN 82 RAA 1.0", blank / 100.0) for blank in range(2500, 2532)]
    assert all(f.swivel_deg >= 0.0 for f in turned)
    assert any(f.swivel_deg > 1.0 for f in turned)
    assert any(not f.tracks for f in turned)


def test_rolls_with_two_crossing_families_of_teeth_are_not_turned() -> None:
    assert not of("DIN 82 RGV 0.8", 24.8).swivel_deg
    assert not of("DIN 82 RKE 1.0", 24.8).tracks


def test_the_handbooks_swivelled_rolls_fit_one_inch_when_turned_a_third_of_a_degree() -> None:
    """Machinery's Handbook, 31st ed., p. 1059: 138.56 teeth of 160 DP at 30 degrees."""
    found = of("160 DP diamond", 25.4, swivelled=True)
    assert (found.teeth, round(found.swivel_deg, 2)) == (139, -0.31)
    assert found.correction_mm == 0.0


def test_each_rolls_are_tried_in_each_tool_that_takes_them() -> None:
    assert {(r.name, r.tool) for r in DRAWER} == {
        ("diamond 1.0", "twin 20"),
        ("diamond 0.8", "twin 20"),
        ("straight 0.8", "side 20"),
    }


@pytest.mark.parametrize(
    ("callout", "names"),
    [("RGE 1.0", {"diamond 1.0"}), ("RAA 0.8", {"straight 0.8"}), ("RGE 1.2", set())],
)
def test_a_callout_leaves_the_rolls_that_make_it(callout: str, names: set[str]) -> None:
    assert {r.name for r in rolls_of(SHOP, parse_callout(callout), "mm")} == names


def test_rolls_that_were_counted_and_measured_have_their_true_pitch(shop: Path) -> None:
    counted = "pitch = 1.0\nroll_teeth = 54\nroll_measured_diameter = 20.0"
    kept = load_shop(changed(shop, "pitch = 1.0", counted))
    (made,) = rolls_of(kept, parse_callout("RGE 1.0"), "mm")
    assert made.knurl.pitch_mm == pytest.approx(math.pi * 20.0 / 54 * math.cos(math.pi / 6))
    assert made.knurl.transverse_pitch_mm == pytest.approx(math.pi * 20.0 / 54)


@pytest.mark.parametrize("blank", [24.80, 20.0, 30.1])
def test_rolls_that_are_set_as_said_leave_no_double_impression(blank: float) -> None:
    for found in fittings(DRAWER, blank):
        if found.swivel_deg:
            job = job_of(found, blank)
            assert make_plan(job).expected.double_impression < 0.1


@pytest.mark.few(1)
@pytest.mark.parametrize("blank", [24.80, 20.0, 30.1])
def test_by_the_imprint_they_track_as_set_and_double_as_they_stood(blank: float) -> None:
    found = next(f for f in fittings(DRAWER, blank) if f.rolls.name == "diamond 0.8")
    assert found.tracks
    assert doubled(job_of(found, blank)) < 0.1
    stood = found._replace(swivel_deg=0.0)
    if not stood.window_mm[0] <= blank <= stood.window_mm[1] or found.swivel_deg:
        assert doubled(job_of(stood, blank)) > 0.1


def doubled(job: Job) -> float:
    predicted = predict_imprint(make_plan(job))
    assert predicted is not None
    return predicted.double_impression
