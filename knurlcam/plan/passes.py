"""How many passes, how deep each, the trial strip before them, and how long it all takes."""

from __future__ import annotations

import math

from knurlcam.job.model import Job
from knurlcam.mechanics.contact import Contact
from knurlcam.mechanics.knurl import KnurlGeometry
from knurlcam.mechanics.passes import pass_penetrations, recommended_passes
from knurlcam.plan.hardening import work_hardens
from knurlcam.plan.remarks import COMMON, ROUND_SLACK, Remarks
from knurlcam.plan.results import (
    Diameters,
    Direction,
    Pass,
    Rates,
    Strategy,
    Tooling,
    TrialStrip,
    Zone,
)
from knurlcam.units.kinds import Kind

__all__ = [
    "choose_depths",
    "choose_trial",
    "depths_of",
    "last_step_mm",
    "lay_out_passes",
    "passes_of",
    "warn_of_fast_infeed",
]

TRIAL_LENGTH_MM = 12.0
"""Length of a trial strip unless given: about half an inch (common practice) [mm]"""


# -- depths --------------------------------------------------------------------


def choose_depths(
    job: Job,
    knurl: KnurlGeometry,
    diameters: Diameters,
    tooling: Tooling,
    zone: Zone,
    remarks: Remarks,
) -> tuple[float, ...]:
    """Return the penetration of each pass that presses deeper [mm]."""
    asked, least = job.process.passes, remarks.least_shown()
    wanted, why = passes_of(job, knurl, zone.strategy)
    depths = depths_of(tooling.contact, diameters.penetration_mm, wanted, least)
    if asked is None:
        if len(depths) < wanted:
            why = "more would be smaller steps than X can express"
        remarks.choose("process.passes", len(depths), None, given=False, why=why)
    else:
        remarks.choose("process.passes", asked, None, given=True, why="")
        _check_count(job, zone, asked, len(depths), remarks)
    _say_finish(job, zone, remarks)
    return depths


def passes_of(job: Job, knurl: KnurlGeometry, strategy: Strategy) -> tuple[int, str]:
    """Return how many passes press, as the job says or as recommended, and why so many."""
    if job.process.passes is not None:
        return job.process.passes, ""
    crossed, plunge = knurl.family != "straight", strategy == "plunge"
    if plunge and job.process.trial_strip:
        # In one infeed to full depth there would be nothing left to decide after the trial.
        return 2, "the first for the trial, the second to full depth"
    hardens = work_hardens(job)
    count = recommended_passes(crossed=crossed, plunge=plunge, hardens=hardens)
    if plunge:
        return count, "one infeed, because the surface work-hardens"
    why = f"for {'crossing' if crossed else 'one direction of'} grooves"
    if hardens:
        why += ", fewer and deeper because this metal hardens readily"
    return count, f"{why} ({COMMON})"


def _check_count(job: Job, zone: Zone, count: int, possible: int, remarks: Remarks) -> None:
    if zone.strategy == "plunge" and job.process.trial_strip and count < 2:
        remarks.refuse(
            "trial-needs-passes",
            "process.passes",
            "a trial by plunging needs a first pass short of full depth; take 2 passes or more, "
            "or leave the trial strip out",
        )
    if possible < count:
        remarks.refuse(
            "passes-too-many",
            "process.passes",
            f"the last of {count} passes would move the slide by less than "
            f"{remarks.mm(remarks.least_shown())} on the diameter, the smallest step that X can "
            f"express; take {possible} or fewer",
        )


def depths_of(contact: Contact, depth_mm: float, count: int, least_mm: float) -> tuple[float, ...]:
    """Return the depths of the most passes, up to a count, that each move X by a word's worth.

    Args:
        contact: Where the slide stands for a penetration.
        depth_mm: Full penetration, radial [mm]
        count: Passes wanted [-]
        least_mm: Smallest step that X can express, on the diameter [mm]

    Returns:
        Penetration of each pass [mm]
    """
    least = least_mm * (1.0 + ROUND_SLACK)
    while True:
        depths = pass_penetrations(depth_mm, count)
        before, last = (0.0, *depths)[-2:]
        if count == 1 or contact.x_diameter_mm(before) - contact.x_diameter_mm(last) > least:
            return depths
        count -= 1


def _say_finish(job: Job, zone: Zone, remarks: Remarks) -> None:
    """What is done after each infeed, and after the last pass."""
    process = job.process
    remarks.choose(
        "process.dwell_revolutions",
        process.dwell_revolutions,
        None,
        given="dwell_revolutions" in process.model_fields_set,
        why="every tooth meets the rolls after each infeed",
    )
    if zone.strategy != "plunge":
        remarks.choose(
            "process.clean_up",
            process.clean_up,
            None,
            given="clean_up" in process.model_fields_set,
            why=f"evens the knurl ({COMMON})",
        )


# -- passes --------------------------------------------------------------------


def lay_out_passes(
    job: Job, tooling: Tooling, zone: Zone, depths: tuple[float, ...]
) -> tuple[Pass, ...]:
    """Return the passes: to and fro, the clean-up as one more at the last depth."""
    contact, shift, traverse = tooling.contact, tooling.datum_shift_mm, zone.strategy == "traverse"
    clean_up = traverse and job.process.clean_up
    steps = [(c, True) for c in depths] + [(depths[-1], False)] * clean_up
    made = []
    left = zone.entry_mm
    x, x_of = 0.0, math.nan
    for number, (c, presses) in enumerate(steps, start=1):
        if c != x_of:  # the clean-up stands where the last pass stood
            x, x_of = contact.x_diameter_mm(c), c
        # Odd passes go toward the headstock: the first one starts at its other end.
        direction: Direction = "plunge"
        end = left
        if traverse:
            direction = "headstock" if number % 2 else "tailstock"
            end = zone.end_mm if number % 2 else zone.turn_mm
        made.append(Pass(number, direction, c, x, left + shift, end + shift, presses))
        left = end
    return tuple(made)


def last_step_mm(passes: tuple[Pass, ...]) -> float:
    """Return how much the last pass that presses is deeper than the one before [mm]."""
    pressing = [step.penetration_mm for step in passes if step.presses]
    return pressing[-1] - (pressing[-2] if len(pressing) > 1 else 0.0)


def warn_of_fast_infeed(
    passes: tuple[Pass, ...], contact: Contact, rates: Rates, remarks: Remarks
) -> None:
    """Warn of an infeed that presses the first print in within one turn."""
    slide = contact.touch_mm - contact.centre_mm(passes[0].penetration_mm)
    infeed = rates.infeed_mm_per_rev
    if infeed > slide:
        remarks.note(
            "warning",
            "infeed-fast",
            f"an infeed of {remarks.shown.feed(infeed)} presses the first impression in within one "
            "turn of the work: the teeth of that turn will not be alike; take a slower infeed",
        )


# -- trial strip ---------------------------------------------------------------


def choose_trial(
    job: Job, passes: tuple[Pass, ...], zone: Zone, remarks: Remarks
) -> TrialStrip | None:
    """Return the trial strip, if the job asks for one: the start of the first pass."""
    process, first = job.process, passes[0]
    if not process.trial_strip:
        return None
    remarks.choose(
        "process.trial_stop",
        process.trial_stop,
        None,
        given="trial_stop" in process.model_fields_set,
        why="the look for a double impression is not passed over",
    )
    travel = 0.0
    if zone.strategy == "traverse":
        travel = _trial_travel(job, first.z_start_mm - first.z_end_mm, remarks)
    end = first.z_start_mm - travel
    return TrialStrip(
        first.penetration_mm,
        first.x_diameter_mm,
        first.z_start_mm,
        end,
        _follow_as_far(first, end) if travel else (),
    )


def _trial_travel(job: Job, room: float, remarks: Remarks) -> float:
    asked = job.process.trial_length
    if asked is not None:
        if asked >= room:
            remarks.refuse(
                "trial-too-long",
                "process.trial_length",
                f"a trial strip of {remarks.mm(asked)} reaches the end of the knurl, "
                f"{remarks.mm(room)} away; make it shorter or leave it out",
            )
        return asked
    travel = TRIAL_LENGTH_MM if room > TRIAL_LENGTH_MM else room / 2
    why = f"about half an inch ({COMMON})"
    if travel < TRIAL_LENGTH_MM:
        why = "half of the first pass, which is short"
    remarks.choose("process.trial_length", travel, Kind.LENGTH, given=False, why=why)
    return travel


def _follow_as_far(step: Pass, end_mm: float) -> tuple[tuple[float, float], ...]:
    """Return the blocks of a pass toward the headstock as far as a Z."""
    made: list[tuple[float, float]] = []
    z, x = step.z_start_mm, step.x_diameter_mm
    for to_z, to_x in step.follow:
        if to_z <= end_mm:
            share = (end_mm - z) / (to_z - z)
            made.append((end_mm, x + share * (to_x - x)))
            break
        made.append((to_z, to_x))
        z, x = to_z, to_x
    return tuple(made)
