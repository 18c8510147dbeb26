"""What speaks against a press fit: refusals, warnings and notes, each with a way out."""

from __future__ import annotations

from collections.abc import Iterator

from knurlcam.mechanics.press_fit import (
    hubs_for_equivalent_stress,
    least_hub_diameter,
    mean_bite,
)
from knurlcam.plan.press_fit import (
    MODEL,
    Joint,
    PressFit,
    Sized,
    Toothed,
    fitted,
    is_overfilled,
    is_too_tight,
    stress_texts,
)
from knurlcam.plan.press_fit_advice import Question, another_diameter_or_bore, more_hold, some_hold
from knurlcam.plan.press_fit_choice import Trial, trials
from knurlcam.plan.remarks import CONTRACT, Advice, Remarks
from knurlcam.units.kinds import Kind
from knurlcam.units.show import show, show_about

__all__ = ["CHOSEN", "check_press_fit"]

CHOSEN = "fit.bore"
"""The key to change where neither diameter is given: the knurl's is chosen."""

SMALL_LOAD = 10.0
"""Load below which a figure of the job is shown by its digits: places would leave nothing of
it [N or N*m]."""


def check_press_fit(
    remarks: Remarks, joint: Joint, knurled_mm: float, toothed: Toothed, sized: Sized, key: str
) -> PressFit:
    """Return what the fit comes to, and say what speaks against it.

    Args:
        remarks: Where it is said.
        joint: The fit but for the knurl.
        knurled_mm: D_k [mm]
        toothed: The knurl that is made.
        sized: Which knurl is made for another diameter.
        key: The job's key to change where the diameter does not do.
    """
    fit = fitted(joint, knurled_mm, toothed.height_mm)
    question = Question(remarks, joint, Trial(fit, toothed), sized, chosen=key == CHOSEN)
    if fit.interference_smallest_mm <= 0.0:
        _refuse_loose(question, key)
        return fit
    if is_too_tight(fit, toothed.height_mm):
        _refuse_too_tight(question, key)
        return fit
    _check_load(question)
    if not fit.hub_within_limit:
        _warn_of_hub(question)
    if is_overfilled(fit, toothed):
        _warn_of_grooves(question)
    remarks.note(
        "note",
        "fit-estimate",
        "joining force and holding load are estimates within wide limits, because no published "
        "model covers the bite of the crests: press in and load a first part",
        CONTRACT,
    )
    return fit


# -- sizes that cannot be joined -----------------------------------------------------


def _refuse_loose(question: Question, key: str) -> None:
    remarks, fit = question.remarks, question.now.fit
    knurled = fit.knurled_diameter_mm + fit.knurled_limits_mm[1]
    remarks.refuse(
        "fit-loose",
        key,
        f"the knurl may come out as small as {remarks.mm(knurled)} and the bore as large as "
        f"{remarks.mm(fit.bore_limits_mm[1])}: there would be no interference"
        + another_diameter_or_bore(question, "fit-loose", bores=False),
    )


def _refuse_too_tight(question: Question, key: str) -> None:
    remarks, (fit, toothed) = question.remarks, question.now
    root = fit.knurled_diameter_mm - 2.0 * toothed.height_mm
    remarks.refuse(
        "fit-too-tight",
        key,
        f"the smallest bore, {remarks.mm(fit.bore_limits_mm[0])}, is smaller than the knurl at "
        f"the bottom of its grooves, {remarks.mm(root)}: it cannot be pressed in"
        + another_diameter_or_bore(question, "fit-too-tight", bores=False),
    )


# -- the wanted load -----------------------------------------------------------------


def _check_load(question: Question) -> None:
    """Compare the wanted load with what friction and the crests hold."""
    remarks, fit = question.remarks, question.now.fit
    wanted = _load_text(remarks, fit.wanted_torque_nm, fit.wanted_force_n, about=False)
    torque, force = fit.wanted_torque_nm is not None, fit.wanted_force_n is not None
    most = _load_text(
        remarks,
        fit.holding_torque_high_nm if torque else None,
        fit.holding_force_high_n if force else None,
    )
    if not fit.can_hold:
        friction = question.joint.along and not torque
        remarks.refuse(
            "fit-cannot-hold",
            "fit.torque" if torque else "fit.axial_force",
            f"{wanted} is wanted, and at the best fit within the limits not even "
            + ("high friction" if friction else "full shear of the crests")
            + f" holds more than about {most}; {some_hold(question, 'fit-cannot-hold')}",
            source=MODEL,
        )
    elif not fit.holds:
        counted = _load_text(
            remarks,
            fit.holding_torque_nm if torque else None,
            fit.holding_force_n if force else None,
        )
        remarks.note(
            "warning",
            "fit-short",
            f"{wanted} is wanted, and friction alone holds about {counted} at the loosest fit; "
            f"what the bite of the crests adds is unknown, at the very best {most} in all"
            f"{more_hold(question, 'fit-short')}",
            MODEL,
        )


def _load_text(
    remarks: Remarks, torque_nm: float | None, force_n: float | None, *, about: bool = True
) -> str:
    """Return a load in words; a small one, of which places would leave nothing, by digits."""
    texts = []
    for value, kind in ((torque_nm, Kind.TORQUE), (force_n, Kind.FORCE)):
        if value is not None:
            write = show_about if about or value < SMALL_LOAD else show
            texts.append(write(value, kind, remarks.units))
    return " or ".join(texts) if about else " with ".join(texts)


# -- hub and grooves -----------------------------------------------------------------


def _warn_of_hub(question: Question, code: str = "hub-cracks") -> None:
    """Warn of a hub that is stressed beyond its limit, with what would keep it within."""
    remarks = question.remarks
    ways = [] if remarks.trying is None else list(remarks.tried(code, _kinder_to_the_hub(question)))
    remarks.note(
        "warning",
        code,
        _hub_text(question) + (f"; take {' or '.join(ways)}" if ways else ""),
        MODEL,
    )


def _kinder_to_the_hub(question: Question) -> Iterator[Advice]:
    """Yield the diameter and the hub that keep the hub within its limit."""
    remarks = question.remarks
    found = trials(question.joint, question.sized, remarks.least_shown())
    within = [t for t in found if t.sound] or [t for t in found if t.fit.hub_within_limit]
    if within:
        largest = remarks.mm_down(max(t.fit.knurled_diameter_mm for t in within))
        changes: dict[str, object] = {"part.knurled_diameter": largest}
        changes["part.blank_diameter"] = None
        yield Advice(f"a knurled diameter of {largest} at most", changes)
    least, most = _hubs_within_limit(question)
    # A hub softer than the shaft may be stressed more the thicker it is: a larger one is advised
    # only where every larger one stays within the limit.
    if question.joint.fit.hub_diameter < least < most == float("inf"):
        hub = remarks.mm_up(least)
        yield Advice(f"a hub of {hub} at least", {"fit.hub_diameter": hub})


def _hub_text(question: Question) -> str:
    fit, units = question.now.fit, question.remarks.units
    governing, limit = stress_texts(fit.hub_governing_mpa, fit.hub_limit_mpa, units)
    if fit.hub_brittle:
        tensile = show(question.joint.hub_ultimate, Kind.STRESS, units)
        return (
            f"at the tightest fit the hoop stress at the bore of the hub is about {governing}, "
            f"above the {limit} that is permissible in a brittle hub with a tensile strength of "
            f"{tensile}: it may crack"
        )
    hoop = show_about(fit.hub_stress_mpa, Kind.STRESS, units)
    return (
        "at the tightest fit the equivalent stress (von Mises) at the bore of the hub is about "
        f"{governing}, the hoop stress in it {hoop}; above its yield strength of {limit} it "
        "yields or cracks"
    )


def _hubs_within_limit(question: Question) -> tuple[float, float]:
    """Return between which diameters a hub stays within its limit at the tightest fit [mm]."""
    joint, (fit, toothed) = question.joint, question.now
    tight = fit.interference_largest_mm / 2.0
    # The knurl counts as a smooth shaft of its mean bite.
    smooth = 2.0 * mean_bite(tight, toothed.height_mm, joint.full_height, joint.family)
    bore, limit, elastic = joint.fit.nominal_bore, joint.hub_limit, joint.elastic._asdict()
    if joint.brittle:
        return least_hub_diameter(smooth, bore, limit, **elastic), float("inf")
    return hubs_for_equivalent_stress(smooth, bore, limit, **elastic)


def _warn_of_grooves(question: Question) -> None:
    remarks, (fit, toothed) = question.remarks, question.now
    remarks.note(
        "warning",
        "crests-overfill",
        f"the smallest bore, {remarks.mm(fit.bore_limits_mm[0])}, is smaller than the blank of "
        f"{remarks.mm(toothed.blank_mm)}: the grooves have no room for the metal that the "
        "crests displace, and it is pushed along or opens the hub"
        + another_diameter_or_bore(question, "crests-overfill", bores=True),
        "conservation of volume",
    )
