"""Motion against machine time: which block runs when, and the passes as they are made."""

from __future__ import annotations

import pytest

from knurlcam.timeline import STRAIGHT_MM, pass_names
from tests.support.breaking import Text, good_plan
from tests.support.pages import (
    CASES,
    planned,
    timed,
    timeline_of,
)


@pytest.mark.few(8)
@pytest.mark.parametrize(("name", "post"), CASES)
def test_the_time_line_lasts_as_long_as_the_reader_says(name: str, post: str) -> None:
    plan, motion, line = timed(name, post)
    machine = plan.job.machine
    reference = (machine.safe_x, machine.safe_z)
    assert line.total_s == pytest.approx(motion.duration_s(machine.rapid_rate, reference))


@pytest.mark.few(8)
@pytest.mark.parametrize(("name", "post"), CASES)
def test_every_block_has_its_place_and_time_runs_forward(name: str, post: str) -> None:
    _, motion, line = timed(name, post)
    assert len(line.key_after) == len(line.states) == len(motion.blocks)
    assert list(line.key_after) == sorted(line.key_after)
    seconds = [k.s for k in line.keys]
    assert seconds == sorted(seconds)
    for before, after in zip(line.spans, line.spans[1:], strict=False):
        assert (before.end_s, before.x1, before.z1) == (after.start_s, after.x0, after.z0)


def test_the_depth_runs_straight_between_two_keys() -> None:
    """A straddle's depth does not follow the slide's travel: it is cut where it must be."""
    plan, _, line = timed("straddle", "iso6983")
    worst = 0.0
    for a, b in zip(line.keys, line.keys[1:], strict=False):
        for share in (0.25, 0.5, 0.75):
            true = plan.contact.depth_mm(a.x + (b.x - a.x) * share)
            worst = max(worst, abs(true - (a.depth + (b.depth - a.depth) * share)))
    assert worst <= STRAIGHT_MM
    assert len(line.keys) > len(line.spans) + 10


def test_the_time_of_a_pass_is_what_a_hand_works_out() -> None:
    """Focus knob, pass 2: 13.333 mm at 0.5 mm/rev and 110 rev/min, two turns of dwell and
    the infeed of (24.544 - 24.437) / 2 at 0.07 mm/rev: 26.67 + 2 + 0.76 turns, 16.05 s.
    """
    plan = planned()
    second = timeline_of(plan).prints[1]
    assert second.revolutions == pytest.approx(26.667 + 2.0 + 0.764, abs=0.01)
    assert second.seconds == pytest.approx(29.43 / 110.0 * 60.0, abs=0.01)


def test_a_pass_that_is_cut_into_blocks_is_still_one_pass() -> None:
    text = Text.of("diamond", "iso6983")
    first = text.traverses[0]
    text.before(first, "G01 Z-10.000 F0.500")
    _, _, line = timed("diamond", "iso6983", str(text))
    assert len(line.prints) == len(good_plan("diamond").passes)


def test_a_stop_keeps_its_place_and_takes_no_time() -> None:
    plan, motion, line = timed("trial", "iso6983")
    (halt,) = line.halts
    assert motion.blocks[halt.block].text.endswith("M00")
    assert not halt.optional
    assert line.spans[0].start_s < halt.s < line.total_s
    assert pass_names(plan, line)[0] == "trial"


def test_a_reference_point_and_an_unsaid_start_are_drawn_at_the_safe_position() -> None:
    plan, _, line = timed("diamond", "uw-lathe")
    machine = plan.job.machine
    assert line.assumed
    assert (line.keys[0].x, line.keys[0].z) == (machine.safe_x, machine.safe_z)
    assert (line.keys[-1].x, line.keys[-1].z) == (machine.safe_x, machine.safe_z)
