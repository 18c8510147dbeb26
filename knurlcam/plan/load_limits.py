"""What the estimated loads and the deflection mean for a set-up: refusals, warnings, notes.

Figures are estimates and their texts say so. What has a limit is compared with it twice: the
likely figure above it is refused, the upper end above it is warned of.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from knurlcam.job.model import Job
from knurlcam.mechanics.loads import strength_mpa
from knurlcam.mechanics.setup_deflection import SetUpDeflection
from knurlcam.mechanics.setup_loads import SetUp
from knurlcam.plan.load_advice import (
    ALLOWED_LOSS,
    FARTHEST,
    is_too_far,
    less_deflection,
    lighter_pressing,
)
from knurlcam.plan.loads import Estimate
from knurlcam.plan.remarks import Remarks
from knurlcam.units.kinds import Kind, Units
from knurlcam.units.show import show, show_about

__all__ = ["HIGH_CENTRE_LOAD_N", "SOURCE", "Z_PLACES", "check_loads"]

HIGH_CENTRE_LOAD_N = 1000.0
"""Radial load on a live ball-bearing centre from which it is warned of (rule of this
program) [N]."""

SOURCE = "slip-line wedge and beam theory, an estimate"

Z_PLACES: dict[Units, int] = {"mm": 1, "inch": 2}
"""Decimal places of a place along the work where an estimate is largest."""


def check_loads(job: Job, estimate: Estimate | None, remarks: Remarks) -> float:
    """Say what loads and deflection mean for the set-up, with numbers, and what would help.

    Args:
        job: The job.
        estimate: The estimate; None where the strength is not known.
        remarks: Where it is said.

    Returns:
        Radial load on the centre at the tailstock; 0 where it is not known [N]
    """
    # Loads need the strength alone; how far the work deflects needs Young's modulus as well.
    if estimate is not None:
        for limit in _limits(job, estimate.set_up):
            _check_limit(job, limit, estimate.deflection, remarks)
        _check_grip(job, estimate.set_up, remarks)
    if estimate is None or estimate.deflection is None:
        _say_what_is_missing(job, estimate, remarks)
        return 0.0
    if _deflects_too_far(job, estimate.deflection, remarks):
        return 0.0  # outside the model's range no other figure of it means anything
    _check_deflection(job, estimate.deflection, remarks)
    _check_bending(job, estimate.deflection, remarks)
    return estimate.deflection.tailstock_n


def _say_what_is_missing(job: Job, estimate: Estimate | None, remarks: Remarks) -> None:
    name = job.part.material_row.name
    if estimate is None:
        problem = f"neither strength nor hardness of {name} is known"
        what, remedy = "forces and deflection are", "a table with its yield_strength"
    else:
        problem = f"Young's modulus of {name} is not known"
        what, remedy = "deflection is", "a table with its youngs_modulus"
    if job.process.compensate:
        remarks.refuse(
            "nothing-to-follow",
            "process.compensate",
            f"{problem}: the deflection to compensate is unknown; give part.material "
            f"as {remedy}, or leave compensate out",
            source=SOURCE,
        )
    else:
        message = f"{problem}: {what} unknown; give part.material as {remedy}"
        remarks.note("note", "loads-not-told", message, SOURCE)


# -- loads against what tool, spindle and chuck permit -------------------------------


class _Limit(NamedTuple):
    """A load, likely and at most, and what the job says is permissible."""

    code: str
    key: str
    what: str
    likely: float
    high: float
    kind: Kind
    permissible: float


def _limits(job: Job, set_up: SetUp) -> Iterator[_Limit]:
    force, torque = job.tool.force_limit, job.machine.torque_limit
    if force is not None:
        likely, high = set_up.loads.radial_force_n, set_up.loads.radial_force_high_n
        what = "the force per roll"
        yield _Limit("above-tool-limit", "tool.force_limit", what, likely, high, Kind.FORCE, force)
    if torque is not None:
        likely, high = set_up.loads.torque_nm, set_up.loads.torque_high_nm
        code, key, what = "above-torque-limit", "machine.torque_limit", "the torque on the spindle"
        yield _Limit(code, key, what, likely, high, Kind.TORQUE, torque)


def _check_limit(
    job: Job, limit: _Limit, deflection: SetUpDeflection | None, remarks: Remarks
) -> None:
    """Compare a load with its limit: refused by the likely figure, warned of by the upper end."""
    if limit.high <= limit.permissible:
        return
    likely, most, permissible = (
        show_about(v, limit.kind, job.units) for v in (limit.likely, limit.high, limit.permissible)
    )
    text = f"{limit.what} is likely about {likely}, at most {most}; {permissible} is permissible"
    advice = _lighter(job, deflection, limit.code, remarks)
    if limit.likely > limit.permissible:
        remarks.refuse(limit.code, limit.key, f"{text}{advice}", source=SOURCE)
    else:
        remarks.note("warning", limit.code, f"{text}{advice}", SOURCE)


def _lighter(job: Job, deflection: SetUpDeflection | None, code: str, remarks: Remarks) -> str:
    """Return what presses less so that nothing is left to say, as the end of a sentence."""
    lighter = lighter_pressing(job, deflection, remarks, settles=True)
    return "".join(f"; it helps to knurl {text}" for text in remarks.tried(code, lighter))


def _check_grip(job: Job, set_up: SetUp, remarks: Remarks) -> None:
    """Compare the axial force, at most, with what the chuck holds."""
    holding = job.holding
    if holding.method == "between centres" or not set_up.loads.axial_force_n:
        return
    axial, high = set_up.loads.axial_force_n, set_up.loads.axial_force_high_n
    likely, most = (show_about(v, Kind.FORCE, job.units) for v in (axial, high))
    text = f"the axial force on the work is likely about {likely}, at most {most}"
    if set_up.traverses:
        text += ": into the chuck toward the headstock, out of it on the way back"
    remedy = "back the work with a stop or a shoulder"
    if holding.method == "chuck":
        remedy += ", and bring up a centre"
    if holding.grip is None:
        if holding.method == "chuck":
            remarks.note(
                "note",
                "grip-not-given",
                f"{text}; holding.grip is not given, so it is unknown whether the chuck "
                f"holds: {remedy}",
            )
    elif high > holding.grip:
        grip = show_about(holding.grip, Kind.FORCE, job.units)
        message = f"{text}; the chuck holds only {grip}: {remedy}"
        remarks.note("warning", "slips-in-the-chuck", message, SOURCE)


# -- deflection ------------------------------------------------------------------------


def _is_compensated(job: Job, deflection: SetUpDeflection) -> bool:
    return job.process.compensate and not deflection.set_up.cancels


NO_STIFFER = (
    "no other holding, rolls or tool that were tried make it stiff enough; take a thicker or "
    "shorter part, or a finer pitch"
)
"""What is left to change where none of the usual remedies is enough."""


def _deflects_too_far(job: Job, deflection: SetUpDeflection, remarks: Remarks) -> bool:
    """Refuse work that deflects further than the estimate holds, and return whether it does."""
    if not is_too_far(deflection):
        return False
    most = max(deflection.max_mm, deflection.fed.deflection_mm)
    likely = show_about(most, Kind.LENGTH, job.units)
    text = (
        "to be pressed to the planned penetration the work would likely deflect by about "
        f"{likely}, and beyond {FARTHEST:g} of its diameter the estimate does not hold"
    )
    if _is_compensated(job, deflection):
        code, key = "follows-too-far", "process.compensate"
    else:
        code, key = "deflects-too-far", "part.length"
    advice = "; ".join(less_deflection(job, deflection, remarks, code))
    remarks.refuse(code, key, f"{text}: {advice or NO_STIFFER}", source=SOURCE)
    return True


def _check_deflection(job: Job, deflection: SetUpDeflection, remarks: Remarks) -> None:
    """Say where the work deflects by more than a good knurl allows."""
    compensated = _is_compensated(job, deflection)
    if job.process.compensate and not compensated:
        remarks.note(
            "note",
            "goes-straight",
            "the forces of the two rolls cancel at full depth: there is no deflection to "
            "compensate, and the program is written without compensation",
            SOURCE,
        )
    if not _deflects_too_much(deflection):
        return
    text = _deflection_text(job, deflection, remarks)
    low, high = deflection.evenness_range
    plain = f"{deflection.evenness:.2f} ({low:.2f} to {high:.2f}, as the force is uncertain)"
    if compensated:
        _say_what_is_compensated(job, deflection, f"{text}; the slide follows it", plain, remarks)
        return
    advice = "; ".join(less_deflection(job, deflection, remarks))
    lost = show_about(deflection.lost_mm, Kind.LENGTH, job.units)
    remarks.note(
        "warning",
        "gives-way",
        f"{text}: without deflection compensation likely {lost} of the penetration is lost there, "
        "and "
        f"the depth uniformity (least over greatest) is {plain}"
        + (f". {advice[0].upper()}{advice[1:]}" if advice else ""),
        SOURCE,
    )


def _deflects_too_much(deflection: SetUpDeflection) -> bool:
    """Whether more than a tenth of the penetration is lost."""
    set_up = deflection.set_up
    if set_up.cancels:
        # Nothing bends the work at full depth; what it may do is buckle out from between the rolls.
        left = deflection.softest.most_left_mm
        return deflection.work.is_pushed_aside(set_up.penetration_mm, left)
    # What is left is solved only where it may matter: solving takes a fifth of a plan's time.
    if set_up.traverses and deflection.most_lost_mm <= ALLOWED_LOSS * set_up.penetration_mm:
        return False
    return deflection.lost_share > ALLOWED_LOSS


def _deflection_text(job: Job, deflection: SetUpDeflection, remarks: Remarks) -> str:
    set_up = deflection.set_up
    place = show(deflection.z_mm, Kind.LENGTH, job.units, Z_PLACES[job.units])
    if set_up.cancels:
        return (
            f"the forces of the two rolls should cancel, but at Z {place} the work is too "
            "flexible for that: they push it aside"
        )
    likely = show_about(deflection.max_mm, Kind.LENGTH, job.units)
    high = show_about(deflection.max_range_mm[1], Kind.LENGTH, job.units)
    force = show_about(deflection.resultant_n, Kind.FORCE, job.units)
    return (
        f"at the planned penetration of {remarks.mm(set_up.penetration_mm)} the work likely "
        f"deflects by about {likely}, at most {high}, at Z {place}, under a resultant radial force "
        f"of {force}"
    )


def _say_what_is_compensated(
    job: Job, deflection: SetUpDeflection, text: str, plain: str, remarks: Remarks
) -> None:
    high, low, over = deflection.followed_range
    # Compensation overdone presses the middle too deep, as the work deflects less than assumed.
    worse = low < deflection.evenness_range[1]
    remarks.note(
        "warning" if over > ALLOWED_LOSS * deflection.set_up.penetration_mm else "note",
        "slide-follows",
        f"{text}. This is an estimate: at the greatest force the depth uniformity is "
        f"{high:.2f}, at the least {low:.2f}, and the knurl comes out "
        f"{show_about(over, Kind.LENGTH, job.units)} too deep; without compensation it would be "
        f"{plain}. "
        + ("At the least force the knurl is better without compensation: m" if worse else "M")
        + "easure the first part along the knurl",
        SOURCE,
    )


# -- bending for good ------------------------------------------------------------------


def _check_bending(job: Job, deflection: SetUpDeflection, remarks: Remarks) -> None:
    """Say where the work is bent beyond its strength: likely, or at the greatest force only."""
    material = job.part.material_row
    strength = strength_mpa(material)
    # Where the work is bent most is looked for only where it may matter: it takes a tenth of a
    # plan's time, and of most set-ups there is nothing to say.
    if strength is None or deflection.most_stress_mpa <= strength:
        return
    compensated = _is_compensated(job, deflection)
    likely, high = deflection.bending_mpa(compensated=compensated)
    if high <= strength:
        return
    # Metal without a yield point, such as cast iron, does not stay bent: it breaks.
    breaks = material.yield_strength_mpa is None
    stresses = (show_about(value, Kind.STRESS, job.units) for value in (likely, high, strength))
    about, most, limit = stresses
    text = (
        f"the bending stress in the work is likely about {about}, at most {most}, and its "
        + ("tensile" if breaks else "yield")
        + f" strength {limit}: it {'breaks' if breaks else 'stays bent'}"
    )
    code = "bends-the-work"
    remedy = _lighter(job, deflection, code, remarks)
    if likely > strength:
        key = "process.compensate" if compensated else "tool.face_width"
        remarks.refuse("bends-the-work", key, f"{text}{remedy}", source=SOURCE)
    else:
        message = f"{text} at the greatest force{remedy}"
        remarks.note("warning", "bends-the-work", message, SOURCE)
