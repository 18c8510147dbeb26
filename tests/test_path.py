"""The steps: what the slide, the spindle and the coolant do, before any dialect."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from typing import Any

import pytest

from knurlcam import Job, Path, lay_out, make_plan
from knurlcam.path import Comment, Coolant, Dwell, Feed, Rapid, Spindle, Step, Stop, ToolCall
from tests.support.jobs import REMOVE, base_job

SINGLE = {"tool.style": "single roll", "tool.roll_spacing": REMOVE}
STRADDLE = {"tool.style": "straddle", "tool.roll_spacing": REMOVE}
TRIAL = {"process.trial_strip": True}
CASES: dict[str, dict[str, Any]] = {
    "single roll": {**SINGLE, "knurl.callout": "DIN 82 RAA 1.0"},
    "knuckle joint": {},
    "revolving head": {"tool.style": "revolving head"},
    "straddle": STRADDLE,
    "straddle by touch-off": {**STRADDLE, "tool.x_datum": "touch-off"},
    "right edge": {"tool.z_datum": "right edge"},
    "plunge": {"knurl.length": 8.0},
    "plunge in three": {"knurl.length": 8.0, "process.passes": 3},
    "trial": TRIAL,
    "plunged trial": {**TRIAL, "knurl.length": 8.0},
    "straddle with trial": {**STRADDLE, **TRIAL},
    "bevelled": {"knurl.start": 5.0, "tool.bevelled_rolls": True},
    "one pass": {"process.passes": 1, "process.clean_up": False},
    "odd passes": {"process.passes": 3},
    "dry": {"process.coolant": False},
    "dry trial": {**TRIAL, "process.coolant": False},
}


def path_of(changes: dict[str, Any] | None = None, **more: Any) -> Path:
    return lay_out(make_plan(Job.model_validate(base_job(changes, **more))))


def walk(path: Path) -> Iterator[tuple[Step, tuple[float, float], tuple[float, float]]]:
    """Yield each step with X and Z before and after; the start is the safe position."""
    machine = path.plan.job.machine
    x, z = machine.safe_x, machine.safe_z
    for step in path.steps:
        before = x, z
        if isinstance(step, (Rapid, Feed)):
            x, z = (step.to_mm, z) if step.axis == "X" else (x, step.to_mm)
        yield step, before, (x, z)


def touching(path: Path, x: float) -> bool:
    return path.plan.contact.penetration_mm(x) > 1e-9


def contacts(path: Path) -> list[list[Step]]:
    """Return the steps of each time that the rolls are in the work, the way out included."""
    found: list[list[Step]] = []
    inside = False
    for step, (x0, _), (x1, _) in walk(path):
        if touching(path, x1) and not inside:
            found.append([])
        if touching(path, x0) or touching(path, x1):
            found[-1].append(step)
        inside = touching(path, x1)
    return found


def rolls_of(path: Path, z: float) -> tuple[float, float]:
    """Return the left and right edge of the rolls for a slide Z."""
    left = z - path.plan.datum_shift_mm
    return left, left + path.plan.job.tool.face_width


cases = pytest.mark.parametrize("changes", CASES.values(), ids=CASES)


@pytest.mark.few(6)
@cases
def test_rapids_run_only_at_or_above_clearance(changes: dict[str, Any]) -> None:
    path = path_of(changes)
    for step, (x0, _), (x1, _) in walk(path):
        if isinstance(step, Rapid):
            assert min(x0, x1) >= path.plan.clearance_x_mm


@pytest.mark.few(6)
@cases
def test_rapids_along_z_run_only_at_safe_x(changes: dict[str, Any]) -> None:
    path = path_of(changes)
    for step, (x0, _), _ in walk(path):
        if isinstance(step, Rapid) and step.axis == "Z":
            assert x0 == path.plan.job.machine.safe_x


@pytest.mark.few(6)
@cases
def test_between_first_infeed_and_retract_there_are_only_feeds_and_dwells(
    changes: dict[str, Any],
) -> None:
    path = path_of(changes)
    for steps in contacts(path):
        assert {type(s) for s in steps} <= {Feed, Dwell, Comment}


@pytest.mark.few(6)
@cases
def test_the_rolls_touch_the_work_once_and_once_more_for_a_trial(changes: dict[str, Any]) -> None:
    path = path_of(changes)
    assert len(contacts(path)) == (2 if path.plan.trial else 1)


@pytest.mark.few(6)
@cases
def test_contact_is_entered_and_left_straight_in_x_by_feed(changes: dict[str, Any]) -> None:
    path = path_of(changes)
    for steps in contacts(path):
        first, last = steps[0], [s for s in steps if not isinstance(s, Comment)][-1]
        assert isinstance(first, Feed)
        assert first.axis == "X"
        assert isinstance(last, Feed)
        assert (last.axis, last.to_mm) == ("X", path.plan.clearance_x_mm)


@pytest.mark.few(6)
@cases
def test_in_contact_the_slide_never_moves_out_before_the_end(changes: dict[str, Any]) -> None:
    for steps in contacts(path_of(changes)):
        infeeds = [s.to_mm for s in steps if isinstance(s, Feed) and s.axis == "X"][:-1]
        assert infeeds == sorted(infeeds, reverse=True)


@pytest.mark.few(6)
@cases
def test_every_infeed_is_followed_by_a_dwell_of_the_asked_turns(changes: dict[str, Any]) -> None:
    path = path_of(changes)
    for steps in contacts(path):
        real = [s for s in steps if not isinstance(s, Comment)]
        for step, following in itertools.pairwise(real):
            infeed = isinstance(step, Feed) and step.axis == "X"
            assert isinstance(following, Dwell) == infeed
    dwells = [s for s in path.steps if isinstance(s, Dwell)]
    assert {d.revolutions for d in dwells} == {2}
    assert all(d.seconds == pytest.approx(2 * 60 / 110) for d in dwells)


@pytest.mark.few(6)
@cases
def test_infeeds_go_at_the_infeed_rate_and_all_else_at_the_feed(changes: dict[str, Any]) -> None:
    path = path_of(changes)
    for steps in contacts(path):
        feeds = [s for s in steps if isinstance(s, Feed)]
        infeeds = {s.mm_per_rev for s in feeds[:-1] if s.axis == "X"}
        assert infeeds == {path.plan.infeed_mm_per_rev}
        assert {s.mm_per_rev for s in feeds if s.axis == "Z"} <= {0.5}
        assert feeds[-1].mm_per_rev == 0.5


@pytest.mark.few(6)
@cases
def test_each_pass_of_the_plan_is_carried_out_in_order(changes: dict[str, Any]) -> None:
    path = path_of(changes)
    ends = []
    z = path.plan.passes[0].z_start_mm
    for step in contacts(path)[-1]:
        if isinstance(step, Feed) and step.axis == "X":
            depth = step.to_mm
        elif isinstance(step, Feed):
            ends.append((depth, z, step.to_mm))
            z = step.to_mm
    wanted = [
        (p.x_diameter_mm, p.z_start_mm, p.z_end_mm)
        for p in path.plan.passes
        if p.direction != "plunge"
    ]
    assert ends == wanted


@pytest.mark.few(6)
@cases
def test_it_ends_at_the_safe_position_with_all_off(changes: dict[str, Any]) -> None:
    path = path_of(changes)
    *_, (_, _, last) = walk(path)
    machine = path.plan.job.machine
    assert last == (machine.safe_x, machine.safe_z)
    assert [s.on for s in path.steps if isinstance(s, Spindle)][-1] is False
    assert all(not s.on for s in [s for s in path.steps if isinstance(s, Coolant)][-1:])


@pytest.mark.few(6)
@cases
def test_on_leaving_x_goes_out_before_z(changes: dict[str, Any]) -> None:
    path = path_of(changes)
    moves = [s for s in path.steps if isinstance(s, (Rapid, Feed))]
    assert [(type(m), m.axis) for m in moves[-3:]] == [(Feed, "X"), (Rapid, "X"), (Rapid, "Z")]


@pytest.mark.few(6)
@cases
def test_spindle_and_coolant_run_before_the_first_touch(changes: dict[str, Any]) -> None:
    path = path_of(changes)
    wet = path.plan.job.process.coolant
    spindle = coolant = False
    for step, _, (x1, _) in walk(path):
        spindle = step.on if isinstance(step, Spindle) else spindle
        coolant = step.on if isinstance(step, Coolant) else coolant
        if touching(path, x1):
            assert spindle
            assert coolant == wet


def test_without_coolant_no_step_speaks_of_it() -> None:
    assert not [s for s in path_of(CASES["dry trial"]).steps if isinstance(s, Coolant)]


# -- where the rolls stand -----------------------------------------------------


@pytest.mark.parametrize("datum", ["left edge", "centre", "right edge"])
def test_at_entry_a_third_of_the_face_is_on_the_work(datum: str) -> None:
    path = path_of({"tool.z_datum": datum})
    left, right = rolls_of(path, path.plan.passes[0].z_start_mm)
    assert -left == pytest.approx(10 / 3)
    assert right > 0


@pytest.mark.parametrize("datum", ["left edge", "centre", "right edge"])
def test_a_return_ends_with_a_third_of_the_face_over_the_end(datum: str) -> None:
    path = path_of({"tool.z_datum": datum})
    for step in path.plan.passes:
        left, right = rolls_of(path, step.z_end_mm)
        if step.direction == "tailstock":
            assert right == pytest.approx(10 / 3)
        else:
            assert left == -20.0


def test_bevelled_rolls_never_leave_the_zone() -> None:
    path = path_of(CASES["bevelled"])
    for _, (x0, _), (x1, z1) in walk(path):
        if touching(path, x0) or touching(path, x1):
            left, right = rolls_of(path, z1)
            assert left >= -25.0
            assert right <= -5.0


@pytest.mark.parametrize("name", ["straddle", "straddle with trial"])
def test_a_straddle_ends_with_its_rolls_above_and_below_the_axis(name: str) -> None:
    steps = contacts(path_of(CASES[name]))[-1]
    depths = [s.to_mm for s in steps if isinstance(s, Feed) and s.axis == "X"]
    assert min(depths) == depths[-2] == pytest.approx(0.0, abs=1e-9)


def test_a_plunge_does_not_move_along_the_work() -> None:
    path = path_of(CASES["plunge in three"])
    assert not [s for s in path.steps if isinstance(s, Feed) and s.axis == "Z"]
    assert sum(isinstance(s, Dwell) for s in path.steps) == 3


def test_a_clean_up_pass_runs_without_infeed() -> None:
    (steps,) = contacts(path_of())
    along = [s for s in steps if isinstance(s, Feed) and s.axis == "Z"]
    assert len(along) == 5
    assert sum(isinstance(s, Dwell) for s in steps) == 4


# -- trial strip ---------------------------------------------------------------


@pytest.mark.parametrize("name", ["trial", "plunged trial", "straddle with trial"])
def test_after_a_trial_the_rolls_go_in_again_at_the_same_x_and_z(name: str) -> None:
    path = path_of(CASES[name])
    starts = []
    inside = False
    for _, _, (x1, z1) in walk(path):
        if touching(path, x1) and not inside:
            starts.append((x1, z1))
        inside = touching(path, x1)
    assert len(starts) == 2
    assert starts[0] == starts[1]


def test_a_trial_runs_its_length_at_the_first_depth() -> None:
    path = path_of({**TRIAL, "process.trial_length": 7.0})
    trial = contacts(path)[0]
    along = [s for s in trial if isinstance(s, Feed) and s.axis == "Z"]
    assert [s.to_mm for s in along] == [pytest.approx(-10 / 3 - 7.0)]
    assert trial[0].to_mm == path.plan.passes[0].x_diameter_mm


@pytest.mark.parametrize("name", ["trial", "dry trial"])
def test_at_the_stop_spindle_and_coolant_are_off_and_the_tool_is_at_the_safe_position(
    name: str,
) -> None:
    path = path_of(CASES[name])
    spindle = coolant = False
    for step, place, _ in walk(path):
        spindle = step.on if isinstance(step, Spindle) else spindle
        coolant = step.on if isinstance(step, Coolant) else coolant
        if isinstance(step, Stop):
            machine = path.plan.job.machine
            assert (spindle, coolant, place) == (False, False, (machine.safe_x, machine.safe_z))
            break
    else:
        pytest.fail("there is no stop")


@pytest.mark.parametrize("name", ["trial", "plunged trial", "dry trial"])
def test_after_the_stop_tool_spindle_and_coolant_are_called_again_and_both_axes_stated(
    name: str,
) -> None:
    path = path_of(CASES[name])
    steps = [s for s in path.steps if not isinstance(s, Comment)]
    after = steps[next(i for i, s in enumerate(steps) if isinstance(s, Stop)) + 1 :]
    coolant = [] if name == "dry trial" else [Coolant(True)]
    assert after[: 2 + len(coolant)] == [ToolCall(), Spindle(True), *coolant]
    approach = after[2 + len(coolant) :]
    assert [(type(s), s.axis) for s in approach[:3] if isinstance(s, Rapid)] == [
        (Rapid, "X"),
        (Rapid, "Z"),
        (Rapid, "X"),
    ]


@pytest.mark.parametrize(
    ("asked", "optional"),
    [
        ({}, False),
        ({"process.trial_stop": "program"}, False),
        ({"process.trial_stop": "optional"}, True),
    ],
)
def test_the_stop_is_a_program_stop_unless_the_job_says_optional(
    asked: dict[str, str], optional: bool
) -> None:
    steps = path_of({**TRIAL, **asked}).steps
    assert [s for s in steps if isinstance(s, Stop)] == [Stop(optional)]


def test_only_a_trial_has_a_stop() -> None:
    stops = {n: sum(isinstance(s, Stop) for s in path_of(c).steps) for n, c in CASES.items()}
    assert {n for n, count in stops.items() if count} == {n for n in CASES if "trial" in n}


def test_comments_say_where_each_pass_goes_and_how_deep_in_the_jobs_units() -> None:
    texts = [s.text for s in path_of().steps if isinstance(s, Comment)]
    assert texts[0] == "pass 1 of 4 toward the headstock, 0.063 mm deep"
    assert texts[-2:] == ["clean-up pass toward the headstock", "retract"]
    assert path_of(CASES["plunge"]).steps[5] == Comment("pass 1 of 1 plunge, 0.157 mm deep")
