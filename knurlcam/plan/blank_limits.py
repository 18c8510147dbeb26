"""The limits to which a blank is turned: the handbook's and the program's own, the narrower."""

from __future__ import annotations

import math
from typing import NamedTuple

from knurlcam.job.model import Job
from knurlcam.mechanics.capture import tracking_window_mm
from knurlcam.mechanics.contact import Contact
from knurlcam.mechanics.knurl import KnurlGeometry, class_limits_mm
from knurlcam.mechanics.tracking import Tracking, blank_tolerance
from knurlcam.plan.loads import Estimate
from knurlcam.plan.results import Diameters
from knurlcam.units.kinds import MM_PER_INCH, Units

__all__ = [
    "Pressed",
    "choose_blank_limits",
    "first_pressed",
    "handbook_limits_mm",
    "inward_mm",
    "window_mm",
]

GRID_SLACK = 1e-6
"""Rounding of arithmetic in a limit, of the last place shown [-]."""


class Pressed(NamedTuple):
    """What the rolls leave of their first bite where the work deflects.

    Attributes:
        turn_mm: Penetration after one turn of infeed, however deep the first pass goes [mm]
        first_pass_mm: Penetration of the first pass [mm]
    """

    turn_mm: float
    first_pass_mm: float


def first_pressed(
    contact: Contact,
    estimate: Estimate | None,
    left_mm: float,
    *,
    infeed_mm: float,
    first_pass_mm: float,
    compensated: bool,
) -> Pressed:
    """Return what the first bite leaves.

    Args:
        contact: Where the slide stands for a penetration.
        estimate: How the work deflects; None where it is taken as rigid.
        left_mm: Left edge of the rolls where they press in first, from Z0 [mm]
        infeed_mm: Infeed of one turn [mm]
        first_pass_mm: Penetration of the first pass as planned [mm]
        compensated: Whether the slide stands deeper by the deflection.
    """
    after = max(0.0, contact.touch_mm - infeed_mm)
    at_depth = contact.centre_mm(first_pass_mm)
    work = None if estimate is None or estimate.deflection is None else estimate.deflection.work
    if work is None:
        apart = contact.blank_radius_mm + contact.roll_radius_mm
        return Pressed(apart - math.hypot(after, contact.half_spacing_mm), first_pass_mm)
    if compensated:
        at_depth = work.across_mm(first_pass_mm, left_mm)
    return Pressed(
        max(0.0, work.penetration_mm(after, left_mm)),
        max(0.0, work.penetration_mm(at_depth, left_mm)),
    )


def handbook_limits_mm(
    knurl: KnurlGeometry, purpose: str, tracking_blank_mm: float
) -> tuple[float, float]:
    """Return the smallest and the largest blank of the handbook's tolerance [mm].

    Args:
        knurl: The knurl's geometry.
        purpose: ``grip``, ``appearance`` or ``press fit``.
        tracking_blank_mm: Blank on which a whole number of teeth fits [mm]
    """
    limits = class_limits_mm(knurl, purpose, "blank_in")
    if limits is None:
        half = blank_tolerance(knurl.transverse_pitch_mm, knurl.diametral_pitch)
        limits = half, -half
    return tracking_blank_mm + limits[1], tracking_blank_mm + limits[0]


def window_mm(
    knurl: KnurlGeometry, tracking: Tracking, tracking_blank_mm: float, pressed: Pressed
) -> tuple[float, float]:
    """Return the smallest and the largest blank that track under the program's first turn [mm].

    Args:
        knurl: The knurl's geometry.
        tracking: Where the rolls roll.
        tracking_blank_mm: Blank on which a whole number of teeth fits [mm]
        pressed: What the first bite leaves.
    """
    return tracking_window_mm(
        tracking_blank_mm,
        pressed.turn_mm,
        pressed.first_pass_mm,
        helix_deg=knurl.helix_deg,
        profile_deg=knurl.profile_deg,
        # Without a range it is given, or the rolls' own.
        correction_follows=tracking.correction_low_mm < tracking.correction_high_mm,
    )


def choose_blank_limits(
    job: Job, knurl: KnurlGeometry, diameters: Diameters, pressed: Pressed
) -> tuple[float, float]:
    """Return the smallest and the largest diameter to turn the blank to [mm].

    About the blank that tracks, also where the job gives another.

    Args:
        job: The job.
        knurl: The knurl's geometry.
        diameters: Blank, teeth and tooth.
        pressed: What the first bite leaves.
    """
    middle = diameters.tracking.blank_diameter(diameters.teeth)
    least, most = handbook_limits_mm(knurl, job.purpose, middle)
    low, high = window_mm(knurl, diameters.tracking, middle, pressed)
    return inward_mm(max(low, least), min(high, most), job.units)


def inward_mm(low_mm: float, high_mm: float, units: Units) -> tuple[float, float]:
    """Return two limits rounded inward to the last place that is shown [mm].

    Limits between two such places come out at the one that is nearest to both.

    Args:
        low_mm: Lower limit [mm]
        high_mm: Upper limit, not below it [mm]
        units: The job's units.
    """
    unit, places = (MM_PER_INCH, 10_000) if units == "inch" else (1.0, 1000)
    low, high = low_mm / unit * places, high_mm / unit * places
    least, most = math.ceil(low - GRID_SLACK), math.floor(high + GRID_SLACK)
    if least > most:
        least = most = round((low + high) / 2.0)
    return least / places * unit, most / places * unit
