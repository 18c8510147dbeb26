"""A knurl pressed into a bore: bite, pressure, what it holds and what presses it in.

Two published models of knurled press fits exist and were not readable here. So the figures
are estimates between bounds. The crests that stand inside the wall of the hub are spread evenly
round the bore; the ring of metal that this makes is taken for the interference of a smooth
press fit (thick rings, elastic). Friction alone is the lower bound of what then holds, full
shear of the crests or of the hub's ribs between them the upper one.

Symbols: d bore, D hub outside, H tooth height, H_f that of the full profile, e bite of a
crest, e_m mean bite, p pressure, L engaged length, E Young's modulus, nu Poisson's ratio,
S strength; o the hub (outer), i the solid shaft (inner).
"""

from __future__ import annotations

import math

from knurlcam.data.fits import standard_tolerances
from knurlcam.errors import InputError, require
from knurlcam.mechanics.loads import PLANE_STRAIN
from knurlcam.mechanics.tooth import MAX_LENGTH_MM, Family, penetration

__all__ = [
    "bearing_share",
    "collapse_pressure",
    "equivalent_stress",
    "fit_pressure",
    "friction_force",
    "hole_limits",
    "hoop_stress",
    "hubs_for_equivalent_stress",
    "joint_compliance",
    "least_hub_diameter",
    "mean_bite",
    "ploughing_force",
    "pressure_for_equivalent_stress",
    "pressure_for_hoop_stress",
    "ring_factor",
    "shear_force",
]

MAX_STRESS_MPA = 1e5
"""Stress beyond any metal; catches a wrong unit and infinity [MPa]."""

MAX_MODULUS_MPA = 1e7
"""Modulus or pressure beyond any; catches a wrong unit and infinity [MPa]."""

SHEAR_OF_YIELD = 1.0 / math.sqrt(3.0)
"""Yield strength in shear over that in tension (von Mises)."""


def hole_limits(bore_mm: float, tolerance: str) -> tuple[float, float]:
    """Return the limits of a bore of tolerance H.

    .. math:: d .. d + IT

    Args:
        bore_mm: Nominal bore d, > 0 and within the table [mm]
        tolerance: ``H6``, ``H7`` or ``H8`` [-]

    Returns:
        Smallest and largest bore [mm]

    Raises:
        OutOfRangeError: if the bore is outside the table.
        InputError: if the tolerance is another.

    Example:
        >>> hole_limits(12.0, "H7")
        (12.0, 12.018)

    Sources:
        [1] ISO 286-2, holes H: shared/fits.toml says which values were read.
    """
    table = standard_tolerances()
    require("bore_mm", bore_mm, 1e-6, table[-1].up_to_mm, "mm")
    row = next(row for row in table if bore_mm <= row.up_to_mm)
    known = {name.replace("IT", "H"): width for name, width in row.um.items()}
    if tolerance not in known:
        raise InputError(
            "unknown tolerance of a bore",
            key="tolerance",
            value=tolerance,
            expected=", ".join(known),
            remedy="take one of these, or give the limits of the bore",
        )
    return bore_mm, bore_mm + known[tolerance] / 1000.0


def bearing_share(bite_mm: float, height_mm: float, full_height_mm: float, family: Family) -> float:
    """Return the share of the bore that the crests take at its surface.

    Of the full profile, a level z above the root cuts these shares; z = H - e:

    - straight: 1 - z / H_f
    - raised: (1 - z / H_f)^2
    - indented: 1 - (z / H_f)^2

    Args:
        bite_mm: Bite of a crest e, radial, >= 0 [mm]
        height_mm: Tooth height made H, 0 to H_f [mm]
        full_height_mm: Tooth height of the full profile H_f, > 0 [mm]
        family: Which of the three families the form belongs to [-]

    Returns:
        Share of the surface at the level of the bore, 0 to 1 [-]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        A full straight profile, half its height inside the hub:

        >>> bearing_share(0.25, 0.5, 0.5, "straight")
        0.5

    Sources:
        [1] Geometry: the derivative of the penetration in tooth.py by the height.
    """
    require("bite_mm", bite_mm, 0.0, MAX_LENGTH_MM, "mm")
    penetration(height_mm, full_height_mm, family)  # refuses what is out of range
    level = max(0.0, height_mm - bite_mm) / full_height_mm
    if family == "straight":
        return max(0.0, 1.0 - level)
    if family == "raised":
        return max(0.0, 1.0 - level) ** 2
    return max(0.0, 1.0 - level**2)


def mean_bite(bite_mm: float, height_mm: float, full_height_mm: float, family: Family) -> float:
    """Return the mean depth of the crests inside the hub, by volume.

    .. math:: e_m = c(H) - c(H - e)

    c(z) is the mean height of the surface up to a level z above the root, which is the
    penetration of tooth.py. For straight teeth with a land of width w = t - 2 H tan b on
    their crests (t pitch, b half of the profile angle) this is e (w + e tan b) / t, and
    e^2 tan b / t where the profile is full. Deeper than the teeth are high (e > H) the core
    is inside as well: e_m = c(H) + e - H.

    Args:
        bite_mm: Bite of a crest e, radial, >= 0 [mm]
        height_mm: Tooth height made H, 0 to H_f [mm]
        full_height_mm: Tooth height of the full profile H_f, > 0 [mm]
        family: Which of the three families the form belongs to [-]

    Returns:
        Mean bite e_m, radial [mm]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        Full straight teeth of 1 mm pitch and 90 degrees: e^2 / t

        >>> round(mean_bite(0.2, 0.5, 0.5, "straight"), 6)
        0.04

    Sources:
        [1] Conservation of volume, as in tooth.py. That the hub sees the mean is an
            assumption of this program.
    """
    require("bite_mm", bite_mm, 0.0, MAX_LENGTH_MM, "mm")
    whole = penetration(height_mm, full_height_mm, family)
    if bite_mm >= height_mm:
        return whole + bite_mm - height_mm
    # Of next to no bite a rounding error below zero could be left.
    return max(0.0, whole - penetration(height_mm - bite_mm, full_height_mm, family))


def ring_factor(bore_mm: float, hub_mm: float) -> float:
    """Return the hoop stress at the bore of a ring over the pressure in it.

    .. math:: R = (D^2 + d^2) / (D^2 - d^2)

    Args:
        bore_mm: Bore d, > 0 [mm]
        hub_mm: Outside diameter of the ring D, > d [mm]

    Returns:
        Factor R, > 1 [-]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        >>> round(ring_factor(60.0, 100.0), 4)
        2.125

    Sources:
        [1] Thick ring under pressure from inside (Lamé), machine-design textbooks, from memory.
    """
    require("bore_mm", bore_mm, 1e-6, MAX_LENGTH_MM, "mm")
    require("hub_mm", hub_mm, bore_mm * (1.0 + 1e-9), MAX_LENGTH_MM, "mm")
    return (hub_mm**2 + bore_mm**2) / (hub_mm**2 - bore_mm**2)


def joint_compliance(
    bore_mm: float,
    hub_mm: float,
    *,
    hub_modulus_mpa: float,
    hub_poisson: float,
    shaft_modulus_mpa: float,
    shaft_poisson: float,
) -> float:
    """Return how much interference a hub and a solid shaft take up for a pressure.

    .. math:: k = (R + nu_o) / E_o + (1 - nu_i) / E_i

    Args:
        bore_mm: Bore d, > 0 [mm]
        hub_mm: Outside diameter of the hub D, > d [mm]
        hub_modulus_mpa: Young's modulus of the hub E_o, > 0 [MPa]
        hub_poisson: Poisson's ratio of the hub nu_o, 0 to 0.5 [-]
        shaft_modulus_mpa: Young's modulus of the shaft E_i, > 0 [MPa]
        shaft_poisson: Poisson's ratio of the shaft nu_i, 0 to 0.5 [-]

    Returns:
        Interference over diameter for each unit of pressure k [1/MPa]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        >>> steel = dict(hub_modulus_mpa=210e3, hub_poisson=0.3,
        ...              shaft_modulus_mpa=210e3, shaft_poisson=0.3)
        >>> round(1e6 * joint_compliance(60.0, 100.0, **steel), 3)
        14.881

    Sources:
        [1] Press fit of thick rings (Lamé), general form of machine-design textbooks,
            inner bore zero, from memory.
    """
    rest = _compliance_but_ring(hub_modulus_mpa, hub_poisson, shaft_modulus_mpa, shaft_poisson)
    return ring_factor(bore_mm, hub_mm) / hub_modulus_mpa + rest


def _compliance_but_ring(
    hub_modulus_mpa: float, hub_poisson: float, shaft_modulus_mpa: float, shaft_poisson: float
) -> float:
    """Return B = nu_o / E_o + (1 - nu_i) / E_i: a joint's but for its ring factor [1/MPa]."""
    require("hub_modulus_mpa", hub_modulus_mpa, 1.0, MAX_MODULUS_MPA, "MPa")
    require("shaft_modulus_mpa", shaft_modulus_mpa, 1.0, MAX_MODULUS_MPA, "MPa")
    require("hub_poisson", hub_poisson, 0.0, 0.5, "of strain")
    require("shaft_poisson", shaft_poisson, 0.0, 0.5, "of strain")
    return hub_poisson / hub_modulus_mpa + (1.0 - shaft_poisson) / shaft_modulus_mpa


def fit_pressure(interference_mm: float, bore_mm: float, compliance: float) -> float:
    """Return the pressure between hub and shaft, both elastic.

    .. math:: p = delta / (d k)

    Args:
        interference_mm: Interference delta of a smooth shaft, on the diameter, >= 0 [mm]
        bore_mm: Bore d, > 0 [mm]
        compliance: k of :func:`joint_compliance`, > 0 [1/MPa]

    Returns:
        Pressure p [MPa]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        Steel on steel, E = 210 GPa, d = 60 mm, D = 100 mm, delta = 0.03 mm:

        >>> round(fit_pressure(0.03, 60.0, 14.881e-6), 1)
        33.6

    Sources:
        [1] As :func:`joint_compliance`; for a solid shaft of the hub's material it is
            p = E delta / d (1 - (d / D)^2) / 2.
    """
    require("interference_mm", interference_mm, 0.0, MAX_LENGTH_MM, "mm")
    require("bore_mm", bore_mm, 1e-6, MAX_LENGTH_MM, "mm")
    require("compliance", compliance, 1e-12, 1e12, "1/MPa")
    return interference_mm / (bore_mm * compliance)


def hoop_stress(pressure_mpa: float, bore_mm: float, hub_mm: float) -> float:
    """Return the hoop stress at the bore of the hub, where it is greatest.

    .. math:: sigma = p R

    Args:
        pressure_mpa: Pressure p, >= 0 [MPa]
        bore_mm: Bore d, > 0 [mm]
        hub_mm: Outside diameter of the hub D, > d [mm]

    Returns:
        Hoop stress sigma [MPa]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        >>> round(hoop_stress(33.6, 60.0, 100.0), 1)
        71.4

    Sources:
        [1] Thick ring under pressure from inside (Lamé), machine-design textbooks, from memory.
    """
    require("pressure_mpa", pressure_mpa, 0.0, MAX_MODULUS_MPA, "MPa")
    return pressure_mpa * ring_factor(bore_mm, hub_mm)


def pressure_for_hoop_stress(stress_mpa: float, bore_mm: float, hub_mm: float) -> float:
    """Return the pressure that stresses the bore of the hub so much.

    .. math:: p = sigma / R

    Args:
        stress_mpa: Hoop stress sigma, >= 0 [MPa]
        bore_mm: Bore d, > 0 [mm]
        hub_mm: Outside diameter of the hub D, > d [mm]

    Returns:
        Pressure p [MPa]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        >>> round(pressure_for_hoop_stress(71.4, 60.0, 100.0), 1)
        33.6

    Sources:
        [1] Inverse of :func:`hoop_stress`.
    """
    require("stress_mpa", stress_mpa, 0.0, MAX_MODULUS_MPA, "MPa")
    return stress_mpa / ring_factor(bore_mm, hub_mm)


def equivalent_stress(pressure_mpa: float, bore_mm: float, hub_mm: float) -> float:
    """Return the equivalent stress at the bore of the hub, where it is greatest.

    There the hoop stress is p R, the radial one -p, and the axial one none:

    .. math:: sigma_v = p sqrt(R^2 + R + 1)

    Args:
        pressure_mpa: Pressure p, >= 0 [MPa]
        bore_mm: Bore d, > 0 [mm]
        hub_mm: Outside diameter of the hub D, > d [mm]

    Returns:
        Equivalent stress sigma_v [MPa]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        >>> round(equivalent_stress(33.6, 60.0, 100.0), 1)
        92.9

    Sources:
        [1] Von Mises in plane stress, of the thick ring of :func:`hoop_stress`:
            machine-design textbooks, from memory.
    """
    require("pressure_mpa", pressure_mpa, 0.0, MAX_MODULUS_MPA, "MPa")
    return pressure_mpa * _equivalent_factor(bore_mm, hub_mm)


def _equivalent_factor(bore_mm: float, hub_mm: float) -> float:
    ring = ring_factor(bore_mm, hub_mm)
    return math.sqrt(ring * ring + ring + 1.0)


def pressure_for_equivalent_stress(stress_mpa: float, bore_mm: float, hub_mm: float) -> float:
    """Return the pressure at which the equivalent stress at the bore of the hub is so much.

    .. math:: p = sigma_v / sqrt(R^2 + R + 1)

    Args:
        stress_mpa: Equivalent stress sigma_v, >= 0 [MPa]
        bore_mm: Bore d, > 0 [mm]
        hub_mm: Outside diameter of the hub D, > d [mm]

    Returns:
        Pressure p [MPa]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        >>> round(pressure_for_equivalent_stress(92.9, 60.0, 100.0), 1)
        33.6

    Sources:
        [1] Inverse of :func:`equivalent_stress`.
    """
    require("stress_mpa", stress_mpa, 0.0, MAX_MODULUS_MPA, "MPa")
    return stress_mpa / _equivalent_factor(bore_mm, hub_mm)


def collapse_pressure(strength_mpa: float, bore_mm: float, hub_mm: float) -> float:
    """Return the pressure at which the whole wall of the hub flows: no fit presses harder.

    .. math:: p = 2 / sqrt(3) S ln(D / d)

    Args:
        strength_mpa: Strength S of the hub, > 0 [MPa]
        bore_mm: Bore d, > 0 [mm]
        hub_mm: Outside diameter of the hub D, > d [mm]

    Returns:
        Pressure p [MPa]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        >>> round(collapse_pressure(250.0, 12.0, 24.0), 1)
        200.1

    Sources:
        [1] Thick ring, rigid-plastic (von Mises), plasticity textbooks, from memory.
    """
    require("strength_mpa", strength_mpa, 1e-3, MAX_STRESS_MPA, "MPa")
    ring_factor(bore_mm, hub_mm)  # refuses what is out of range
    return PLANE_STRAIN * strength_mpa * math.log(hub_mm / bore_mm)


def least_hub_diameter(
    interference_mm: float,
    bore_mm: float,
    stress_mpa: float,
    *,
    hub_modulus_mpa: float,
    hub_poisson: float,
    shaft_modulus_mpa: float,
    shaft_poisson: float,
) -> float:
    """Return the least outside diameter of a hub whose hoop stress stays at a limit.

    With B = nu_o / E_o + (1 - nu_i) / E_i the stress sigma is reached where

    .. math:: R = sigma d B / (delta - sigma d / E_o)

    Args:
        interference_mm: Interference delta of a smooth shaft, on the diameter, > 0 [mm]
        bore_mm: Bore d, > 0 [mm]
        stress_mpa: Permissible hoop stress sigma, > 0 [MPa]
        hub_modulus_mpa: Young's modulus of the hub E_o, > 0 [MPa]
        hub_poisson: Poisson's ratio of the hub nu_o, 0 to 0.5 [-]
        shaft_modulus_mpa: Young's modulus of the shaft E_i, > 0 [MPa]
        shaft_poisson: Poisson's ratio of the shaft nu_i, 0 to 0.5 [-]

    Returns:
        Outside diameter D; infinite where no hub is thick enough, d where any is [mm]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        The ring of 60 and 100 mm that is stressed to 71.4 MPa:

        >>> steel = dict(hub_modulus_mpa=210e3, hub_poisson=0.3,
        ...              shaft_modulus_mpa=210e3, shaft_poisson=0.3)
        >>> round(least_hub_diameter(0.03, 60.0, 71.4, **steel), 2)
        100.0

    Sources:
        [1] Inverse of :func:`hoop_stress` at the pressure of :func:`fit_pressure`.
    """
    require("interference_mm", interference_mm, 1e-12, MAX_LENGTH_MM, "mm")
    require("bore_mm", bore_mm, 1e-6, MAX_LENGTH_MM, "mm")
    require("stress_mpa", stress_mpa, 1e-6, MAX_STRESS_MPA, "MPa")
    rest = _compliance_but_ring(hub_modulus_mpa, hub_poisson, shaft_modulus_mpa, shaft_poisson)
    left = interference_mm - stress_mpa * bore_mm / hub_modulus_mpa
    if left <= 0.0:
        return bore_mm
    return _hub_of_ring(stress_mpa * bore_mm * rest / left, bore_mm)


def _hub_of_ring(ring: float, bore_mm: float) -> float:
    """Return the outside diameter of a hub with a ring factor; infinite where none has it [mm]."""
    if ring <= 1.0:
        return math.inf
    if ring == math.inf:
        return bore_mm
    return bore_mm * math.sqrt((ring + 1.0) / (ring - 1.0))


def hubs_for_equivalent_stress(
    interference_mm: float,
    bore_mm: float,
    stress_mpa: float,
    *,
    hub_modulus_mpa: float,
    hub_poisson: float,
    shaft_modulus_mpa: float,
    shaft_poisson: float,
) -> tuple[float, float]:
    """Return between which outside diameters the equivalent stress of a hub stays at a limit.

    A thicker hub is not always stressed less: one that is much softer than the shaft takes
    up the same strain, and its pressure rises. With a = sigma_v d / (E_o delta) and
    b = sigma_v d B / delta, B as in :func:`least_hub_diameter`, the stress is within the limit
    where

    .. math:: (1 - a^2) R^2 + (1 - 2 a b) R + (1 - b^2) <= 0

    Args:
        interference_mm: Interference delta of a smooth shaft, on the diameter, > 0 [mm]
        bore_mm: Bore d, > 0 [mm]
        stress_mpa: Permissible equivalent stress sigma_v, > 0 [MPa]
        hub_modulus_mpa: Young's modulus of the hub E_o, > 0 [MPa]
        hub_poisson: Poisson's ratio of the hub nu_o, 0 to 0.5 [-]
        shaft_modulus_mpa: Young's modulus of the shaft E_i, > 0 [MPa]
        shaft_poisson: Poisson's ratio of the shaft nu_i, 0 to 0.5 [-]

    Returns:
        Least and largest outside diameter D; both infinite where no hub stays within it, d
        where any is thick enough, infinite where none is too thick [mm]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        The ring of 60 and 100 mm that is stressed to 92.9 MPa:

        >>> steel = dict(hub_modulus_mpa=210e3, hub_poisson=0.3,
        ...              shaft_modulus_mpa=210e3, shaft_poisson=0.3)
        >>> least, most = hubs_for_equivalent_stress(0.03, 60.0, 92.9, **steel)
        >>> round(least), most
        (100, inf)

    Sources:
        [1] Inverse of :func:`equivalent_stress` at the pressure of :func:`fit_pressure`.
    """
    require("interference_mm", interference_mm, 1e-12, MAX_LENGTH_MM, "mm")
    require("bore_mm", bore_mm, 1e-6, MAX_LENGTH_MM, "mm")
    require("stress_mpa", stress_mpa, 1e-6, MAX_STRESS_MPA, "MPa")
    rest = _compliance_but_ring(hub_modulus_mpa, hub_poisson, shaft_modulus_mpa, shaft_poisson)
    strain = stress_mpa * bore_mm / interference_mm
    a, b = strain / hub_modulus_mpa, strain * rest
    low, high = _not_above_zero(1.0 - a * a, 1.0 - 2.0 * a * b, 1.0 - b * b)
    return _hub_of_ring(high, bore_mm), _hub_of_ring(low, bore_mm)


def _not_above_zero(square: float, linear: float, constant: float) -> tuple[float, float]:
    """Return where the polynomial is not above zero, as one range; 1 to 1 where nowhere.

    Beyond 1 the stress of a ring has no more than one turning point, its least.
    """
    if square == 0.0:
        root = -constant / linear if linear else math.inf
        return (root, math.inf) if linear < 0.0 else (1.0, root)
    under = linear * linear - 4.0 * square * constant
    if under < 0.0:
        return (1.0, 1.0) if square > 0.0 else (1.0, math.inf)
    half = -(linear + math.copysign(math.sqrt(under), linear)) / 2.0
    roots = sorted((half / square, constant / half if half else 0.0))
    return (roots[0], roots[1]) if square > 0.0 else (max(1.0, roots[1]), math.inf)


def friction_force(pressure_mpa: float, friction: float, bore_mm: float, length_mm: float) -> float:
    """Return the force that friction round the bore holds.

    .. math:: F = mu p pi d L

    Args:
        pressure_mpa: Pressure p, >= 0 [MPa]
        friction: Coefficient of friction mu, 0 to 2 [-]
        bore_mm: Bore d, > 0 [mm]
        length_mm: Engaged length L, > 0 [mm]

    Returns:
        Force F, along the axis or round it [N]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        >>> round(friction_force(33.6, 0.1, 60.0, 20.0))
        12667

    Sources:
        [1] Dry friction on a cylinder under even pressure.
    """
    require("pressure_mpa", pressure_mpa, 0.0, MAX_MODULUS_MPA, "MPa")
    require("friction", friction, 0.0, 2.0, "of pressure")
    require("bore_mm", bore_mm, 1e-6, MAX_LENGTH_MM, "mm")
    require("length_mm", length_mm, 1e-6, MAX_LENGTH_MM, "mm")
    return friction * pressure_mpa * math.pi * bore_mm * length_mm


def shear_force(
    share: float,
    shaft_strength_mpa: float,
    hub_strength_mpa: float,
    bore_mm: float,
    length_mm: float,
) -> float:
    """Return the force that shears off the crests, or the ribs of the hub between them.

    .. math:: F = min(s S_i, (1 - s) S_o) / sqrt(3) pi d L

    Args:
        share: Share s of the bore that the crests take, 0 to 1 [-]
        shaft_strength_mpa: Strength of the shaft S_i, > 0 [MPa]
        hub_strength_mpa: Strength of the hub S_o, > 0 [MPa]
        bore_mm: Bore d, > 0 [mm]
        length_mm: Engaged length L, > 0 [mm]

    Returns:
        Force F of full shear, along the axis or round it [N]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        >>> round(shear_force(0.25, 400.0, 250.0, 12.0, 10.0))
        21766

    Sources:
        [1] Shear over the cylinder of the bore; yield in shear by von Mises.
    """
    require("share", share, 0.0, 1.0, "of the bore")
    require("shaft_strength_mpa", shaft_strength_mpa, 1e-3, MAX_STRESS_MPA, "MPa")
    require("hub_strength_mpa", hub_strength_mpa, 1e-3, MAX_STRESS_MPA, "MPa")
    require("bore_mm", bore_mm, 1e-6, MAX_LENGTH_MM, "mm")
    require("length_mm", length_mm, 1e-6, MAX_LENGTH_MM, "mm")
    weaker = min(share * shaft_strength_mpa, (1.0 - share) * hub_strength_mpa)
    return SHEAR_OF_YIELD * weaker * math.pi * bore_mm * length_mm


def ploughing_force(layer_mm: float, bore_mm: float, flow_stress_mpa: float) -> float:
    """Return the force that pushes the hub's metal out of the crests' way along the axis.

    .. math:: F = 2k (1 + pi / 2) pi d e_p, 2k = 2 / sqrt(3) S_f

    Args:
        layer_mm: Mean depth e_p of what the crests plough, round the bore, >= 0 [mm]
        bore_mm: Bore d, > 0 [mm]
        flow_stress_mpa: Flow stress of the hub S_f, > 0 [MPa]

    Returns:
        Force F along the axis [N]

    Raises:
        OutOfRangeError: if an argument is outside its range.

    Example:
        >>> round(ploughing_force(0.01, 12.0, 270.0))
        302

    Sources:
        [1] Ploughing as section times indentation pressure: friction textbooks; that
            pressure of a blunt face, 2k (1 + pi / 2): plasticity textbooks; both from memory.
            The ends of the crests are blunt where the knurl is not chamfered.
    """
    require("layer_mm", layer_mm, 0.0, MAX_LENGTH_MM, "mm")
    require("bore_mm", bore_mm, 1e-6, MAX_LENGTH_MM, "mm")
    require("flow_stress_mpa", flow_stress_mpa, 1e-3, MAX_STRESS_MPA, "MPa")
    indentation = PLANE_STRAIN * flow_stress_mpa * (1.0 + math.pi / 2.0)
    return indentation * math.pi * bore_mm * layer_mm
