"""Loads, deflection and press fit in words: rows that the commands print and the page shows."""

from __future__ import annotations

from knurlcam.mechanics.loads import strength_mpa
from knurlcam.plan.planner import Plan
from knurlcam.plan.stiffness import Z_PLACES
from knurlcam.units.kinds import Kind
from knurlcam.units.show import show, show_about

__all__ = ["PUSHES", "fit_rows", "load_rows"]

PUSHES = {
    "single roll": "the whole of it",
    "knuckle joint": "two rolls by their cosines",
    "revolving head": "two rolls by their cosines",
    "straddle": "two rolls cancel at full depth",
}
"""How the forces of a tool's rolls come together."""


def load_rows(plan: Plan) -> list[tuple[str, str, str]]:
    """Return name, figure and remark of loads and deflection at full penetration."""
    stiffness, units = plan.stiffness, plan.job.units
    if stiffness is None:
        return [("force of a roll", "not known", "the metal's strength is not known")]

    def about(value: float, kind: Kind) -> str:
        return show_about(value, kind, units)

    loads = stiffness.loads
    low, high = loads.radial_force_low_n, loads.radial_force_high_n
    flow = stiffness.flow
    rows = [
        (
            "force of a roll",
            about(loads.radial_force_n, Kind.FORCE),
            f"{about(low, Kind.FORCE)} to {about(high, Kind.FORCE)}; flow stress "
            f"{show(flow.likely_mpa, Kind.STRESS, units)}, {flow.basis}",
        ),
        (
            "push on the work",
            about(loads.net_push_n, Kind.FORCE),
            f"across the spindle, {PUSHES[plan.job.tool.style]}",
        ),
        (
            "force along",
            about(loads.axial_force_n, Kind.FORCE),
            "while traversing" if stiffness.traverses else "of the helical teeth; it plunges",
        ),
        (
            "torque, power",
            about(loads.torque_nm, Kind.TORQUE),
            f"{loads.power_w:.0f} W at {show(stiffness.rpm, Kind.SPEED, units)}",
        ),
    ]
    if not loads.axial_force_n:
        del rows[2]
    made = stiffness.deflection
    if made is None:
        return [*rows, ("deflection", "not known", "Young's modulus is not known")]
    worst, best = stiffness.evenness_range
    place = show(made.z_mm, Kind.LENGTH, units, Z_PLACES[units])
    follows = plan.follows
    if stiffness.cancels:
        most = stiffness.loads_at(stiffness.hardest_mm, stiffness.hardest_mm).net_push_n
        rows[1] = (
            "push on the work",
            about(loads.net_push_n, Kind.FORCE),
            f"at full depth two rolls cancel; on their way in up to {about(most, Kind.FORCE)}",
        )
    else:
        rows.append(
            (
                "work gives way",
                about(made.max_mm, Kind.LENGTH),
                f"at Z {place}, " + ("at most" if follows else "if pressed to full depth"),
            )
        )
    if follows:
        after = stiffness.evenness_compensated
        high, low, _ = stiffness.followed_range
        text = f"the slide follows; {min(high, low):.2f} if the force is another; straight "
        text += f"{made.evenness:.2f}"
        rows.append(("evenness", f"{after:.2f}", text))
    else:
        text = f"least over largest penetration; {worst:.2f} to {best:.2f}"
        rows.append(("evenness", f"{made.evenness:.2f}", text))
    material = plan.job.part.material_row
    strength = strength_mpa(material)
    bears = "" if follows or stiffness.cancels else "if pressed to full depth"
    if strength is not None:
        verb = "yields" if material.yield_strength_mpa is not None else "breaks"
        bears += f"{'; ' if bears else ''}it {verb} at {show(strength, Kind.STRESS, units)}"
    rows.append(("bending stress", about(stiffness.stress_mpa, Kind.STRESS), bears))
    return rows


def fit_rows(plan: Plan) -> list[tuple[str, str, str]]:
    """Return name, figure and remark of a press fit; none where the job has no fit.

    Lengths as they are, estimates with two digits.
    """
    fit, units = plan.press_fit, plan.job.units
    if fit is None:
        return []

    def mm(value: float) -> str:
        return show(value, Kind.LENGTH, units)

    def about(value: float, kind: Kind) -> str:
        return show_about(value, kind, units)

    smallest, largest = fit.bore_limits_mm
    return [
        ("bore", f"{mm(smallest)} to {mm(largest)}", f"{mm(fit.length_mm)} of it engaged"),
        (
            "interference",
            mm(fit.interference_mm),
            f"{mm(fit.interference_smallest_mm)} to {mm(fit.interference_largest_mm)} over the "
            "crests",
        ),
        (
            "press in with",
            about(fit.joining_force_n, Kind.FORCE),
            f"dry, at the tightest; down to {about(fit.joining_force_low_n, Kind.FORCE)} oiled, "
            "at the loosest",
        ),
        (
            "holds, torque",
            about(fit.holding_torque_nm, Kind.TORQUE),
            "by friction alone, at the loosest; at the very best "
            + about(fit.holding_torque_high_nm, Kind.TORQUE),
        ),
        (
            "holds, axial force",
            about(fit.holding_force_n, Kind.FORCE),
            f"likewise; at the very best {about(fit.holding_force_high_n, Kind.FORCE)}",
        ),
        ("hoop stress of the hub", *fit.hub_texts(units)),
    ]
