"""What parts teach: the more they are the more, within bounds, and nothing where they disagree."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knurlcam.job.calibration import Calibration
from knurlcam.records.calibration import calibration_of, calibrations_in
from knurlcam.records.log import MeasuredLog
from tests.support.measured import a_part


def learned(*shares: float, **changes: Any) -> Calibration:
    """Return what parts come to that grew by these shares of their estimate."""
    parts = [
        a_part(id=i, growth_mm=0.31 * share, **changes) for i, share in enumerate(shares, start=1)
    ]
    found = calibration_of(parts)
    assert found is not None
    return found


def test_no_parts_teach_nothing(tmp_path: Path) -> None:
    assert calibration_of([]) is None
    assert calibrations_in(tmp_path / "none.sqlite").by_set_up == {}


def test_the_share_comes_nearer_to_what_was_measured_with_each_part() -> None:
    shares = [learned(*[0.9] * n).growth_share for n in (1, 2, 5, 20)]
    assert shares == sorted(shares, reverse=True)
    assert 0.9 < shares[-1] < 0.902
    assert shares[0] == pytest.approx(0.91, abs=1e-3)


def test_parts_that_differ_count_less() -> None:
    assert learned(0.8, 1.0).growth_share > learned(0.9, 0.9).growth_share


def test_one_part_far_from_the_others_is_left_out_and_named() -> None:
    found = learned(0.9, 0.91, 0.9, 0.89, 0.6)
    assert found.growth_parts == 4
    assert found.left_out == ("part 5, which grew by 0.60 of the estimate",)


@pytest.mark.parametrize("share", [0.1, 0.49, 1.51, -2.0])
def test_a_share_out_of_bounds_is_left_out(share: float) -> None:
    found = learned(0.95, 0.95, share)
    assert found.growth_parts == 2
    assert "part 3" in found.left_out[0]


def test_a_part_far_from_the_estimate_waits_for_another() -> None:
    assert learned(0.65).growth_share == 1.0
    assert "until another agrees" in learned(0.65).left_out[0]
    assert learned(0.65, 0.66).growth_share < 0.7


def test_parts_that_contradict_each_other_teach_nothing() -> None:
    found = learned(0.6, 1.4, 0.8, 1.2, 1.0)
    assert found.growth_share == 1.0
    assert "differ from each other" in found.left_out[-1]


def test_the_crests_of_a_doubled_part_say_nothing_of_the_growth() -> None:
    assert learned(0.8, doubled=True).growth_parts == 0


@given(st.lists(st.floats(-10.0, 10.0), max_size=8))
def test_no_measurements_whatever_leave_the_bounds(shares: list[float]) -> None:
    parts = [a_part(id=i, growth_mm=0.31 * s) for i, s in enumerate(shares)]
    found = calibration_of(parts)
    if found is not None:
        assert 0.5 <= found.growth_share <= 1.5
        assert 0.0 <= found.correction_share <= 2.0
        assert found.parts <= len(parts)


# -- tracking --------------------------------------------------------------------------


def test_parts_that_track_as_planned_leave_the_estimate() -> None:
    found = learned(1.0, 1.0, 1.0)
    assert (found.correction_share, found.correction_parts) == (1.0, 3)


def test_parts_that_track_on_smaller_blanks_only_make_the_correction_smaller() -> None:
    bad = [a_part(id=i, blank_mm=24.69, doubled=True) for i in (1, 2)]
    good = [a_part(id=i, blank_mm=24.645, doubled=False) for i in (3, 4)]
    found = calibration_of([*bad, *good])
    assert found is not None
    assert found.correction_share * 0.062 == pytest.approx(0.062 - 0.04, abs=0.02)


def test_one_part_that_doubled_moves_the_next_blank_away_from_it() -> None:
    found = calibration_of([a_part(doubled=True)])
    assert found is not None
    assert abs(found.correction_share - 1.0) > 0.3


def test_answers_on_one_blank_that_contradict_each_other_leave_the_estimate() -> None:
    found = calibration_of([a_part(id=i, doubled=i % 2 == 0) for i in range(8)])
    assert found is not None
    assert (found.correction_share, found.correction_parts) == (1.0, 0)
    assert any("agree on one rolling circle" in said for said in found.left_out)


def test_rolls_of_a_diametral_pitch_keep_their_own_correction() -> None:
    found = learned(0.9, doubled=None, teeth=67, estimated_correction_mm=0.0, correction_mm=0.0)
    assert found.correction_parts == 0


def test_a_log_teaches_each_set_up_by_itself(tmp_path: Path) -> None:
    log = MeasuredLog(tmp_path / "measured.sqlite")
    log.add(a_part())
    log.add(a_part(material="steel 1018"))
    assert {key.material for key in calibrations_in(log.path).by_set_up} == {
        "aluminium 6082-T6",
        "steel 1018",
    }


def test_its_origin_says_how_many_parts() -> None:
    assert learned(0.9).origin == "measured, 1 part"
    assert learned(0.9, 0.9).origin == "measured, 2 parts"
