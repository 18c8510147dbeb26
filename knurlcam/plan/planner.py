"""Job to plan: the list of the steps, each of which decides one thing.

Everything the job leaves out is recommended, and each figure says whether it was given or
recommended, and why. What cannot be done is refused with what would have to change. Each step
takes the job and what the steps before it came to, says what there is to say in the remarks,
and returns a frozen result. Lengths are millimetres, speeds rev/min, feeds mm/rev; nothing is
rounded.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING
from weakref import WeakValueDictionary

from knurlcam.errors import CannotBeDoneError
from knurlcam.job.model import Job
from knurlcam.mechanics.capture import first_turn_mm
from knurlcam.mechanics.knurl import KnurlGeometry
from knurlcam.mechanics.pressing import Fresh
from knurlcam.mechanics.setup_loads import RollTravel
from knurlcam.plan.advice import advise
from knurlcam.plan.blank_limits import choose_blank_limits, first_pressed
from knurlcam.plan.diameters import choose_diameters, choose_knurl, toothed
from knurlcam.plan.expected_limits import check_expected, check_reach
from knurlcam.plan.first_turn import FirstTurn
from knurlcam.plan.following import compensate, deepest_over_the_end_mm
from knurlcam.plan.infeed import settle_infeed
from knurlcam.plan.load_limits import check_loads
from knurlcam.plan.loads import Depth, Estimate, estimate_loads
from knurlcam.plan.measured import as_measured, note_measured, refused_as_measured
from knurlcam.plan.model import Plan
from knurlcam.plan.passes import (
    choose_depths,
    choose_trial,
    last_step_mm,
    lay_out_passes,
    warn_of_fast_infeed,
)
from knurlcam.plan.process import choose_rates
from knurlcam.plan.remarks import CONTRACT, Remarks, Trying, rank
from knurlcam.plan.results import Diameters, Expected, Pass, Rates, Tooling, Zone
from knurlcam.plan.rolls import choose_roll, say_what_is_not_counted
from knurlcam.plan.surroundings import check_surroundings
from knurlcam.plan.tooling import choose_tooling, rolls_of
from knurlcam.plan.trials import Trials
from knurlcam.plan.unused import note_unused
from knurlcam.plan.zone import choose_zone

if TYPE_CHECKING:
    from knurlcam.plan.press_fit import Joint, PressFit

__all__ = ["is_untouched", "make_plan"]


def make_plan(job: Job) -> Plan:
    """Plan a job.

    Args:
        job: A valid job.

    Returns:
        The plan, with every figure's origin and all notes and warnings.

    Raises:
        CannotBeDoneError: naming every reason and what would have to change.
    """
    trials = Trials(job, lambda changed: _planned(changed, None))
    try:
        return _planned(job, trials)
    except CannotBeDoneError as error:
        if job.calibration is None or not job.calibration.parts:
            raise
        raise refused_as_measured(error, job, lambda: _without_measured(job)) from None


def _planned(job: Job, trying: Trying | None) -> Plan:
    """Return the plan of a job; without trials it advises nothing."""
    remarks = Remarks(job.units, job.from_shop, job.process.accept, trying)
    knurl = as_measured(job, choose_knurl(job, remarks))
    knurl, roll = choose_roll(job, knurl, rolls_of(job, knurl), remarks)
    joint = _joint(job, knurl, remarks)
    infeed = settle_infeed(job, knurl, roll, joint)
    first = infeed.first
    diameters = choose_diameters(job, first, joint, remarks)
    tooling = choose_tooling(job, knurl, roll, diameters, remarks)
    zone = choose_zone(job, tooling, remarks)
    note_unused(job, zone.strategy, remarks)
    rates = choose_rates(job, diameters, zone, infeed, remarks)
    depths = choose_depths(job, knurl, diameters, tooling, zone, remarks)
    # Here first: of rolls, diameters and depths that do not go together no passes can be made.
    remarks.stop_if_refused()
    passes = lay_out_passes(job, tooling, zone, depths)
    estimate, centre_load_n = _loads(job, tooling, zone, rates, passes, remarks)
    compensated = _follows(job, estimate)
    pressed = first_pressed(
        tooling.contact,
        estimate,
        zone.entry_mm,
        infeed_mm=rates.infeed_mm_per_rev,
        first_pass_mm=depths[0],
        compensated=compensated,
    )
    blank_limits_mm = choose_blank_limits(job, knurl, diameters, pressed)
    passes, deepest_mm = _compensated(job, diameters, tooling, passes, estimate, remarks)
    trial = choose_trial(job, passes, zone, remarks)
    surroundings = check_surroundings(job, diameters, tooling, zone, deepest_mm, remarks)
    warn_of_fast_infeed(passes, tooling.contact, rates, remarks)
    draft = Plan(
        job=job,
        knurl=knurl,
        diameters=diameters,
        blank_limits_mm=blank_limits_mm,
        tooling=tooling,
        zone=zone,
        rates=rates,
        passes=passes,
        trial=trial,
        estimate=estimate,
        surroundings=surroundings,
        press_fit=None,
        choices=(),
        notes=(),
        _expected=None,
    )
    # Of what is refused already there is no part to expect.
    expected = None if remarks.refusals else check_expected(draft, remarks)
    press_fit = _press_fit(draft, first, joint, expected, remarks)
    advise(job, knurl, diameters, centre_load_n, remarks)
    say_what_is_not_counted(job, knurl, diameters, roll, remarks)
    if trying is not None:
        note_measured(job, diameters, passes, lambda: _without_measured(job), remarks)
    remarks.stop_if_refused()
    plan = replace(
        draft,
        press_fit=press_fit,
        choices=tuple(remarks.choices),
        notes=tuple(sorted(remarks.notes, key=rank)),
        _expected=expected,
    )
    _made[id(plan)] = plan
    return plan


def _without_measured(job: Job) -> Plan:
    """Return the plan of a job by the estimate alone, without advice."""
    return _planned(job.with_calibration(None), None)


def _loads(
    job: Job,
    tooling: Tooling,
    zone: Zone,
    rates: Rates,
    passes: tuple[Pass, ...],
    remarks: Remarks,
) -> tuple[Estimate | None, float]:
    """Return loads and deflection, and the load on the centre [N]; say what they mean."""
    if job.part.length + zone.end_mm <= 0.0:  # refused later: past the chuck
        return None, 0.0
    # The first pass starts nearer to the end than a return turns.
    once = sum(step.presses for step in passes) == 1
    far = max(zone.entry_mm, zone.turn_mm) if once else zone.turn_mm
    depth = Depth(
        passes[-1].penetration_mm,
        last_step_mm(passes),
        RollTravel(zone.end_mm, far),
        _fresh(tooling, zone, rates, passes),
    )
    estimate = estimate_loads(job, tooling.teeth, tooling.contact, depth, rates.spindle_rpm)
    return estimate, check_loads(job, estimate, remarks)


def _fresh(tooling: Tooling, zone: Zone, rates: Rates, passes: tuple[Pass, ...]) -> Fresh:
    """Return what a turn of the work presses in."""
    # The first pass presses the most, and a turn of infeed is steepest at first touch.
    first = passes[0].penetration_mm
    return Fresh(
        first_turn_mm(tooling.contact, rates.infeed_mm_per_rev, first),
        rates.feed_mm_per_rev if zone.strategy == "traverse" else 0.0,
        first,
    )


def _compensated(
    job: Job,
    diameters: Diameters,
    tooling: Tooling,
    passes: tuple[Pass, ...],
    estimate: Estimate | None,
    remarks: Remarks,
) -> tuple[tuple[Pass, ...], float]:
    """Return the passes, and how deep the slide stands over the end face at most [mm]."""
    if estimate is None or estimate.deflection is None or not _follows(job, estimate):
        return passes, diameters.penetration_mm
    passes = compensate(passes, estimate.deflection.work, tooling, remarks)
    return passes, deepest_over_the_end_mm(job, passes, tooling, diameters)


def _follows(job: Job, estimate: Estimate | None) -> bool:
    """Return whether the slide follows the deflection: asked for, known, and not cancelled."""
    return job.process.compensate and estimate is not None and estimate.can_follow


def _joint(job: Job, knurl: KnurlGeometry, remarks: Remarks) -> Joint | None:
    """Return what a press fit has before the diameters; None where the job has no fit."""
    if job.fit is None:
        return None
    # Imported here: only a press fit pays for it.
    from knurlcam.plan.press_fit import joint_of

    return joint_of(remarks, job, knurl)


def _press_fit(
    plan: Plan,
    first: FirstTurn,
    joint: Joint | None,
    expected: Expected | None,
    remarks: Remarks,
) -> PressFit | None:
    """Return what the press fit comes to with the expected part; None where there is no fit."""
    job, knurl, diameters = plan.job, plan.knurl, plan.diameters
    if joint is None:
        if job.purpose == "press fit":
            remarks.note(
                "note",
                "fit-not-given",
                "interference and what the press fit holds are not known without its bore: "
                "give a [fit] table",
                CONTRACT,
            )
        return None
    from knurlcam.plan.press_fit import Toothed
    from knurlcam.plan.press_fit_limits import check_press_fit

    if expected is not None and not check_reach(plan, joint, expected, remarks):
        return None
    good = knurl.is_good(diameters.fullness)
    made = Toothed(diameters.blank_mm, diameters.tooth_height_mm, good)
    key = "fit.bore"
    if job.part.knurled_diameter is not None:
        key = "part.knurled_diameter"
    elif job.part.blank_diameter is not None:
        key = "part.blank_diameter"
    return check_press_fit(
        remarks, joint, diameters.knurled_mm, made, lambda d: toothed(job, first, d), key
    )


# By id, for a plan's equality compares every figure; weakly, so that no plan is held here.
_made: WeakValueDictionary[int, Plan] = WeakValueDictionary()


def is_untouched(plan: Plan) -> bool:
    """Return whether a plan is as :func:`make_plan` made it, not a changed copy.

    Plans are frozen, so one that was made here still says what its job comes to; a copy
    with other figures is another object, and what it says is planned again from its job.
    """
    return _made.get(id(plan)) is plan
