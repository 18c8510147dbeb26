"""Loads, deflection and press fit in words: rows that the commands print and the page shows.

A row is a name, a figure and what is to be said of it. Lengths are shown as they are,
estimates with two digits.
"""

from __future__ import annotations

from collections.abc import Iterator

from knurlcam.mechanics.loads import strength_mpa
from knurlcam.mechanics.setup_deflection import SetUpDeflection
from knurlcam.mechanics.setup_loads import SetUp
from knurlcam.mechanics.tool_styles import TOOL_STYLES
from knurlcam.plan.load_limits import Z_PLACES
from knurlcam.plan.model import Plan
from knurlcam.plan.press_fit import PressFit, stress_texts
from knurlcam.units.kinds import Kind
from knurlcam.units.show import Shown, show, show_about

__all__ = ["fit_rows", "fullness_text", "hub_texts", "load_rows"]

Row = tuple[str, str, str]
"""Name, figure and what is to be said of it."""


def load_rows(plan: Plan) -> list[Row]:
    """Return the rows of loads and deflection at full penetration.

    Args:
        plan: The plan.
    """
    if plan.estimate is None:
        return [("force per roll", "unknown", "the metal's strength is not known")]
    rows = list(_force_rows(plan, plan.estimate.set_up))
    if plan.estimate.deflection is None:
        return [*rows, ("deflection", "unknown", "Young's modulus is not known")]
    return [*rows, *_deflection_rows(plan, plan.estimate.deflection)]


# -- loads -----------------------------------------------------------------------------


def _force_rows(plan: Plan, set_up: SetUp) -> Iterator[Row]:
    loads, flow, units = set_up.loads, set_up.flow, plan.job.units

    def ranged(kind: Kind, low: float, likely: float, high: float) -> tuple[str, str]:
        least, about, most = (show_about(v, kind, units) for v in (low, likely, high))
        return about, f"{least} to {most}"

    force, span = ranged(
        Kind.FORCE, loads.radial_force_low_n, loads.radial_force_n, loads.radial_force_high_n
    )
    stress = show(flow.likely_mpa, Kind.STRESS, units)
    yield "force per roll", force, f"{span}; flow stress {stress}, {flow.basis}"
    yield _resultant_row(plan, set_up)
    if loads.axial_force_n:
        how = "while traversing" if set_up.traverses else "of the helical teeth; it plunges"
        force, span = ranged(
            Kind.FORCE, loads.axial_force_low_n, loads.axial_force_n, loads.axial_force_high_n
        )
        yield "axial force", force, f"{span} {how}"
    torque, span = ranged(Kind.TORQUE, loads.torque_low_nm, loads.torque_nm, loads.torque_high_nm)
    speed = show(set_up.rpm, Kind.SPEED, units)
    yield "torque, power", torque, f"{span}; {loads.power_w:.0f} W at {speed}"


def _resultant_row(plan: Plan, set_up: SetUp) -> Row:
    units, estimate, loads = plan.job.units, plan.estimate, set_up.loads
    how = f"on the work: {TOOL_STYLES[plan.job.tool.style].forces}"
    low, likely, high = (
        show_about(v, Kind.FORCE, units)
        for v in (loads.net_push_low_n, loads.net_push_n, loads.net_push_high_n)
    )
    if not set_up.cancels:
        how = f"{low} to {high} {how}"
    # Without Young's modulus there is no deflection that the force on the way in would matter to.
    elif estimate is not None and estimate.deflection is not None:
        hardest = set_up.loads_at(set_up.hardest_mm, set_up.hardest_mm).net_push_n
        how += f"; on their way in up to {show_about(hardest, Kind.FORCE, units)}"
    return "resultant radial force", likely, how


# -- deflection ------------------------------------------------------------------------


def _deflection_rows(plan: Plan, deflection: SetUpDeflection) -> Iterator[Row]:
    units = plan.job.units
    if not deflection.set_up.cancels:
        place = show(deflection.z_mm, Kind.LENGTH, units, Z_PLACES[units])
        low, high = (show_about(v, Kind.LENGTH, units) for v in deflection.max_range_mm)
        how = f"{low} to {high} at Z {place}"
        if deflection.set_up.traverses:
            fed = show_about(deflection.fed.deflection_mm, Kind.LENGTH, units)
            at = show(deflection.fed.z_mm, Kind.LENGTH, units, Z_PLACES[units])
            how += f" on the way; {fed} while feeding in at Z {at}"
        yield "deflection", show_about(deflection.max_mm, Kind.LENGTH, units), how
    yield _uniformity_row(plan, deflection)
    yield _stress_row(plan, deflection)


def _uniformity_row(plan: Plan, deflection: SetUpDeflection) -> Row:
    name, plain = "depth uniformity", f"{deflection.evenness:.2f}"
    if plan.follows:
        high, low, _ = deflection.followed_range
        how = (
            f"with deflection compensation; {min(high, low):.2f} if the force differs; "
            f"without it {plain}"
        )
        return name, f"{deflection.evenness_compensated:.2f}", how
    worst, best = deflection.evenness_range
    return name, plain, f"least over greatest penetration; {worst:.2f} to {best:.2f}"


def _stress_row(plan: Plan, deflection: SetUpDeflection) -> Row:
    material, units = plan.job.part.material_row, plan.job.units
    strength = strength_mpa(material)
    likely, high = deflection.bending_mpa(compensated=plan.follows)
    how = [f"at most {show_about(high, Kind.STRESS, units)}"]
    if strength is not None:
        verb = "yields" if material.yield_strength_mpa is not None else "breaks"
        how.append(f"it {verb} at {show(strength, Kind.STRESS, units)}")
    return "bending stress", show_about(likely, Kind.STRESS, units), "; ".join(how)


# -- press fit -------------------------------------------------------------------------


def fullness_text(plan: Plan) -> str:
    """Return the planned fullness, beside the wanted one where that is another.

    Args:
        plan: The plan.
    """
    planned, wanted = f"{plan.fullness:.2f}", f"{plan.fullness_wanted:.2f}"
    return planned if planned == wanted else f"{planned} ({wanted} wanted)"


def fit_rows(plan: Plan) -> list[Row]:
    """Return the rows of a press fit; none where the job has no fit.

    Args:
        plan: The plan.
    """
    fit, shown = plan.press_fit, Shown(plan.job.units)
    if fit is None:
        return []
    smallest, largest = map(shown.length, fit.bore_limits_mm)
    return [
        ("bore", f"{smallest} to {largest}", f"{shown.length(fit.length_mm)} of it engaged"),
        (
            "interference",
            shown.length(fit.interference_mm),
            f"{shown.length(fit.interference_smallest_mm)} to "
            f"{shown.length(fit.interference_largest_mm)} over the crests",
        ),
        (
            "joining force",
            shown.about(fit.joining_force_n, Kind.FORCE),
            "dry at the tightest fit; "
            f"{shown.about(fit.joining_force_low_n, Kind.FORCE)} oiled at the loosest",
        ),
        (
            "holds, torque",
            shown.about(fit.holding_torque_nm, Kind.TORQUE),
            "by friction alone at the loosest fit; at best "
            + shown.about(fit.holding_torque_high_nm, Kind.TORQUE),
        ),
        (
            "holds, axial force",
            shown.about(fit.holding_force_n, Kind.FORCE),
            "by friction alone at the loosest fit; at best "
            f"{shown.about(fit.holding_force_high_n, Kind.FORCE)}",
        ),
        ("hoop stress in the hub", *hub_texts(fit, shown)),
    ]


def hub_texts(fit: PressFit, shown: Shown) -> tuple[str, str]:
    """Return the hoop stress at the bore, and what it is compared with.

    Args:
        fit: What the fit comes to.
        shown: How figures are shown.
    """
    governing, limit = stress_texts(fit.hub_governing_mpa, fit.hub_limit_mpa, shown.units)
    if fit.hub_brittle:
        return governing, f"at the tightest fit; {limit} is permissible, as it may crack"
    hoop = shown.about(fit.hub_stress_mpa, Kind.STRESS)
    return hoop, f"at the tightest fit; equivalent (von Mises) {governing}, it yields at {limit}"
