"""Force, torque and power of the rolls: estimates, from the pressure under a wedge.

Each tooth of a roll is taken for a rigid wedge that is pressed into a perfectly plastic
half-space (slip-line field of Hill, Lee and Tupper). Teeth in contact are counted as a
length, not as whole teeth, so that a force never jumps. What is left out: work hardening,
friction on the flanks, neighbouring teeth, springback. So a figure comes with a range, and
nothing here is better than its two digits. How much of it a turn presses in: ``pressing``.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Literal, NamedTuple

from knurlcam.data.materials import Material
from knurlcam.errors import require
from knurlcam.mechanics.solve import turning_point

__all__ = [
    "FLANK_FRICTION",
    "LOW_ELONGATION_PERCENT",
    "PLANE_STRAIN",
    "FlowStress",
    "Prints",
    "axial_force_n",
    "contact_arc_mm",
    "contact_share",
    "fan_angle_rad",
    "flow_stress",
    "indentation_pressure_mpa",
    "power_w",
    "reduced_radius_mm",
    "resultant_force_n",
    "strength_mpa",
    "torque_nm",
    "wedge_force_n_per_mm",
    "wedge_width",
]

Prints = Literal["ridges", "crossing ridges", "points"]
"""What a roll has: ridges in one direction (AA, BL, BR), ridges that cross (GV, KV), or
points (GE, KE)."""

PLANE_STRAIN = 2.0 / math.sqrt(3.0)
"""Yield stress in plane strain, 2k, over flow stress: 1.155 (von Mises) [-]."""

FLANK_FRICTION = 0.1
"""Coefficient of friction of oiled steel flanks (common practice) [-]."""

LOW_ELONGATION_PERCENT = 5.0
"""Elongation below which a metal breaks before it flows (common practice) [%]."""

TABOR = 3.0
"""Mean pressure under a hardness ball over flow stress (Tabor, The Hardness of Metals,
1951; from memory) [-]."""

MPA_PER_BRINELL = 9.80665
"""Pressure of one Brinell number, which is in kgf/mm² (definition) [MPa]."""

YIELD_ALONE = 1.5
"""Upper end of the flow stress over yield strength where no tensile strength is known:
what hardening adds in most rows of the material table, or more."""

HALVINGS = 60
"""Halvings that end at a float for an angle below a right one [-]."""

HARDNESS_SPREAD = 1.25
"""Upper and lower end over a flow stress that is known from hardness alone [-]."""


# -- the metal -----------------------------------------------------------------


class FlowStress(NamedTuple):
    """Flow stress of a metal, with its range.

    Attributes:
        low_mpa: Lower end: where it begins to yield [MPa]
        likely_mpa: What the estimate takes [MPa]
        high_mpa: Upper end: as hard as drawing makes it [MPa]
        basis: Where it comes from, in words.
    """

    low_mpa: float
    likely_mpa: float
    high_mpa: float
    basis: str


def flow_stress(material: Material) -> FlowStress | None:
    """Return the flow stress of a material, from what its row gives.

    Yield and tensile strength: their mean, and the two for its range. Yield strength
    alone: that, up to 1.5 times it. Neither, but hardness: a third of the Brinell number
    as a pressure, a quarter more or less.

    Args:
        material: The material's row [-]

    Returns:
        The flow stress with its range [MPa]; None where the row gives none of these.

    Example:
        >>> from knurlcam.data.material_names import find_material
        >>> flow_stress(find_material("6061-T6"))[:3]
        (276.0, 293.0, 310.0)

    Sources:
        [1] Flow stress as the mean of yield and tensile strength: common practice.
        [2] Hardness about three times the flow stress: Tabor, The Hardness of Metals
            (1951), from memory.
    """
    low, high, brinell = (
        material.yield_strength_mpa,
        material.tensile_strength_mpa,
        material.brinell,
    )
    if low is not None and high is not None and high > low:
        return FlowStress(low, (low + high) / 2.0, high, "mean of yield and tensile strength")
    if low is not None:
        return FlowStress(low, low, low * YIELD_ALONE, "yield strength alone")
    if brinell is not None:
        likely = brinell * MPA_PER_BRINELL / TABOR
        return FlowStress(likely / HARDNESS_SPREAD, likely, likely * HARDNESS_SPREAD, "hardness")
    return None


def strength_mpa(material: Material) -> float | None:
    """Return the stress from which a metal stays bent, or breaks.

    Yield strength; tensile strength of metals that have none, such as grey iron.

    Args:
        material: The material's row [-]

    Returns:
        Stress [MPa]; None where the row gives neither.

    Example:
        >>> from knurlcam.data.material_names import find_material
        >>> strength_mpa(find_material("6061-T6"))
        276.0

    Sources:
        [1] Definitions of the two strengths.
    """
    return material.yield_strength_mpa or material.tensile_strength_mpa


# -- one wedge -----------------------------------------------------------------


@lru_cache(maxsize=64)
def fan_angle_rad(profile_deg: float) -> float:
    """Return the angle of the fan in the slip-line field under a wedge.

    cos(2 b - theta) = cos(theta) / (1 + sin(theta)), b = alpha / 2

    Args:
        profile_deg: Profile angle alpha of the teeth, 60 to 120 [deg]

    Returns:
        Angle theta of the fan [rad]

    Raises:
        OutOfRangeError: if the angle is outside its range.

    Example:
        >>> round(math.degrees(fan_angle_rad(90.0)), 3)
        32.935

    Sources:
        [1] Hill, Lee and Tupper (1947); Johnson, Contact Mechanics (1985); the relation
            from memory, checked: the area of the lip equals the area displaced.
    """
    require("profile_deg", profile_deg, 60.0, 120.0, "deg")
    whole = math.radians(profile_deg)

    def is_less(theta: float) -> bool:
        return math.cos(whole - theta) < math.cos(theta) / (1.0 + math.sin(theta))

    # The left side less the right rises with theta throughout.
    return sum(turning_point(is_less, 0.0, math.pi / 2.0, halvings=HALVINGS)) / 2.0


def indentation_pressure_mpa(flow_stress_mpa: float, profile_deg: float) -> float:
    """Return the mean pressure on the flanks of a wedge that is pressed in.

    p = 2 k (1 + theta), 2 k = 1.155 times the flow stress

    Args:
        flow_stress_mpa: Flow stress, > 0 [MPa]
        profile_deg: Profile angle alpha of the teeth, 60 to 120 [deg]

    Returns:
        Pressure p [MPa]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        >>> round(indentation_pressure_mpa(300.0, 90.0), 1)
        545.5

    Sources:
        [1] Hill, Lee and Tupper (1947); Johnson, Contact Mechanics (1985); from memory.
    """
    require("flow_stress_mpa", flow_stress_mpa, 1e-6, 1e5, "MPa")
    return PLANE_STRAIN * flow_stress_mpa * (1.0 + fan_angle_rad(profile_deg))


@lru_cache(maxsize=64)
def wedge_width(profile_deg: float) -> float:
    """Return how wide a wedge and its lips touch, over how deep it is pressed in.

    w / c = 2 sin(b) / (cos(b) - sin(b - theta)), b = alpha / 2

    Args:
        profile_deg: Profile angle alpha of the teeth, 60 to 120 [deg]

    Returns:
        Width w across the tooth, as seen from above, over the penetration c [-]

    Raises:
        OutOfRangeError: if the angle is outside its range.

    Example:
        >>> round(wedge_width(90.0), 4)
        2.8393

    Sources:
        [1] Hill, Lee and Tupper (1947); the length of the flank that touches is
            c / (cos(b) - sin(b - theta)); from memory.
    """
    half, theta = math.radians(profile_deg / 2.0), fan_angle_rad(profile_deg)
    return 2.0 * math.sin(half) / (math.cos(half) - math.sin(half - theta))


def wedge_force_n_per_mm(
    penetration_mm: float, flow_stress_mpa: float, profile_deg: float
) -> float:
    """Return the force that presses one wedge in, for each millimetre of its length.

    Both flanks: f = p w

    Args:
        penetration_mm: Penetration c below the surface, >= 0 [mm]
        flow_stress_mpa: Flow stress, > 0 [MPa]
        profile_deg: Profile angle alpha of the teeth, 60 to 120 [deg]

    Returns:
        Force f along the way in [N/mm]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        4.4714 times 2 k for each millimetre of penetration:

        >>> round(wedge_force_n_per_mm(1.0, math.sqrt(3.0) / 2.0, 90.0), 4)
        4.4714

    Sources:
        [1] Hill, Lee and Tupper (1947); Johnson, Contact Mechanics (1985); from memory.
    """
    require("penetration_mm", penetration_mm, 0.0, 1e3, "mm")
    pressure = indentation_pressure_mpa(flow_stress_mpa, profile_deg)
    return pressure * wedge_width(profile_deg) * penetration_mm


# -- a roll on the work --------------------------------------------------------


def reduced_radius_mm(blank_radius_mm: float, roll_radius_mm: float) -> float:
    """Return the radius of a roll that touches a plane as roll and work touch each other.

    R_eq = R_b R_r / (R_b + R_r)

    Args:
        blank_radius_mm: Blank radius R_b, > 0 [mm]
        roll_radius_mm: Roll radius R_r, > 0 [mm]

    Returns:
        Reduced radius R_eq [mm]

    Raises:
        OutOfRangeError: if a radius is not positive.

    Example:
        >>> round(reduced_radius_mm(12.5, 10.0), 4)
        5.5556

    Sources:
        [1] Geometry of two circles that touch; Johnson, Contact Mechanics (1985), from
            memory.
    """
    require("blank_radius_mm", blank_radius_mm, 1e-6, 1e5, "mm")
    require("roll_radius_mm", roll_radius_mm, 1e-6, 1e5, "mm")
    return blank_radius_mm * roll_radius_mm / (blank_radius_mm + roll_radius_mm)


def contact_arc_mm(penetration_mm: float, reduced_radius_mm: float) -> float:
    """Return how long the arc is in which the roll touches the work.

    l = sqrt(2 c R_eq), from where the roll meets the work to the line of centres

    Args:
        penetration_mm: Penetration c, >= 0 [mm]
        reduced_radius_mm: Reduced radius R_eq, > 0 [mm]

    Returns:
        Arc of contact l round the work [mm]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        >>> round(contact_arc_mm(0.162, 5.5), 4)
        1.3349

    Sources:
        [1] Geometry; the arc of contact of a rolling mill.
    """
    require("penetration_mm", penetration_mm, 0.0, 1e3, "mm")
    require("reduced_radius_mm", reduced_radius_mm, 1e-6, 1e5, "mm")
    return math.sqrt(2.0 * penetration_mm * reduced_radius_mm)


def contact_share(
    penetration_mm: float, pitch_mm: float, profile_deg: float, prints: Prints
) -> float:
    """Return which share of the face touches the work where the teeth stand at a depth.

    x = w / t: ridges in one direction x; ridges that cross 1 - (1 - x)^2; points x^2

    Args:
        penetration_mm: Penetration c, >= 0 [mm]
        pitch_mm: Pitch t normal to the teeth, > 0 [mm]
        profile_deg: Profile angle alpha of the teeth, 60 to 120 [deg]
        prints: What the roll has [-]

    Returns:
        Share of the area, 0 to 1 [-]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        >>> round(contact_share(0.2, 1.0, 90.0, "ridges"), 4)
        0.5679

    Sources:
        [1] Geometry of strips and squares; the strips' width w is that of a wedge with
            its lips (:func:`wedge_width`).
    """
    require("penetration_mm", penetration_mm, 0.0, 1e3, "mm")
    require("pitch_mm", pitch_mm, 1e-6, 1e3, "mm")
    strip = min(1.0, wedge_width(profile_deg) * penetration_mm / pitch_mm)
    if prints == "ridges":
        return strip
    return strip * strip if prints == "points" else strip * (2.0 - strip)


def resultant_force_n(roll_force_n: float, rolls: int, across_mm: float, apart_mm: float) -> float:
    """Return the resultant radial force of all rolls on the work, across the spindle.

    P = n F x / (R_b + R_r - c): one roll's whole force, the cosines of a knuckle joint's
    two, nothing of a straddle's that stand above and below the axis

    Args:
        roll_force_n: One roll's force F along the line of centres [N]
        rolls: Rolls n that touch the work, 1 or 2 [-]
        across_mm: Distance x from the spindle axis to the roll centres, across the slide [mm]
        apart_mm: Distance of the centres of roll and work, > 0 [mm]

    Returns:
        Resultant radial force P [N]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        Rolls above and below the axis cancel:

        >>> resultant_force_n(3000.0, 2, 0.0, 22.3)
        0.0

    Sources:
        [1] Statics.
    """
    require("rolls", rolls, 1, 2, "rolls")
    require("apart_mm", apart_mm, 1e-6, 1e5, "mm")
    return rolls * roll_force_n * across_mm / apart_mm


def torque_nm(
    roll_force_n: float,
    rolls: int,
    arc_mm: float,
    work_share: float,
    blank_radius_mm: float,
    roll_radius_mm: float,
) -> float:
    """Return the torque on the spindle that turns the work under free rolls.

    T = n F (k l / 2) (1 + R_b / R_r): the lever arm for which a turn of the work does the
    work of what it presses in, not a guessed one

    Args:
        roll_force_n: One roll's force F [N]
        rolls: Rolls n that touch the work [-]
        arc_mm: Arc l in which the roll comes deeper by what a turn presses in [mm]
        work_share: Work of pressing that in over its depth times the force, k [-]
        blank_radius_mm: Blank radius R_b, > 0 [mm]
        roll_radius_mm: Roll radius R_r, > 0 [mm]

    Returns:
        Torque T [N*m]

    Raises:
        OutOfRangeError: if a radius is not positive.

    Example:
        >>> round(torque_nm(3187.0, 2, 1.337, 0.5, 12.3, 10.0), 2)
        4.75

    Sources:
        [1] Work: to press teeth d deeper takes k d F / l for each mm of the face's way; a turn
            takes them 2 pi R_b along it.
    """
    require("blank_radius_mm", blank_radius_mm, 1e-6, 1e5, "mm")
    require("roll_radius_mm", roll_radius_mm, 1e-6, 1e5, "mm")
    arm = work_share * arc_mm / 2.0 * (1.0 + blank_radius_mm / roll_radius_mm)
    return rolls * roll_force_n * arm / 1000.0


def axial_force_n(
    roll_force_n: float, rolls: int, front_mm2: float, pressure_mpa: float, profile_deg: float
) -> float:
    """Return the force along the axis while the rolls traverse.

    A = n (mu F / sin(b) + p a): the teeth slide along their grooves, and their front
    presses into fresh metal

    Args:
        roll_force_n: One roll's force F [N]
        rolls: Rolls n that touch the work [-]
        front_mm2: Front a of one roll's teeth in metal that no pass has pressed yet,
            (c^2 - (c - s)^2) tan(b) l / t [mm2]
        pressure_mpa: Pressure p of indentation [MPa]
        profile_deg: Profile angle alpha of the teeth, 60 to 120 [deg]

    Returns:
        Axial force A [N]

    Raises:
        OutOfRangeError: if the angle is outside its range.

    Example:
        >>> round(axial_force_n(3187.0, 2, 0.035, 518.0, 90.0))
        938

    Sources:
        [1] Coulomb friction with mu = 0.1 for oiled flanks (common practice); the front by
            the pressure of indentation: rule of this program.
    """
    require("profile_deg", profile_deg, 60.0, 120.0, "deg")
    friction = FLANK_FRICTION * roll_force_n / math.sin(math.radians(profile_deg / 2.0))
    return rolls * (friction + pressure_mpa * front_mm2)


def power_w(torque_nm: float, spindle_rpm: float) -> float:
    """Return the power at the spindle.

    P = 2 pi n T / 60

    Args:
        torque_nm: Torque T [N*m]
        spindle_rpm: Spindle speed n [rev/min]

    Returns:
        Power P [W]

    Example:
        >>> round(power_w(4.75, 110.0), 1)
        54.7

    Sources:
        [1] Definition of power.
    """
    return torque_nm * spindle_rpm * math.pi / 30.0
