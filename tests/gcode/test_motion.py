"""The time that motion takes."""

from __future__ import annotations

import pytest

from tests.support.reading import read


def test_the_time_is_travel_by_rapid_and_feed_and_dwells() -> None:
    text = "S60 M03\nG00 X20.0 Z0.0\nX10.0\nG04 X1.5\nG01 Z-5.0 F0.5\nM01"
    # rapid: 5 mm on the radius at 6 m/min 0.05 s; dwell 1.5 s; feed: 10 turns at 1 rev/s
    motion = read(text)
    assert motion.duration_s(6.0, reference=(20.0, 0.0)) == pytest.approx(0.05 + 1.5 + 10.0)


def test_a_slanted_move_takes_its_length_on_the_radius() -> None:
    motion = read("G00 X0.0 Z0.0\nX6.0 Z4.0")
    assert motion.duration_s(0.06) == pytest.approx(5.0)


def test_a_feed_without_speed_takes_no_time_rather_than_all_of_it() -> None:
    assert read("G01 X1.0 F0.5").duration_s(6.0) == 0.0


def test_a_length_beyond_reason_is_only_a_long_way() -> None:
    motion = read("G00 X" + "9" * 200 + "\nX0", "rs274")
    assert motion.duration_s(10.0) > 1e100
