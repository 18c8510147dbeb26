"""The end view: roll(s) against work, seen from the tailstock, at contact and at full depth."""

from __future__ import annotations

from collections.abc import Iterator

from knurlcam.plan.model import Plan
from knurlcam.review.views.frame import SQUARE, Frame, View
from knurlcam.review.views.shapes import Shape, circle, line, text
from knurlcam.units.show import Shown

__all__ = ["end_view"]

TALLEST = 400.0
"""Height of the end view at most [drawing units]"""


def end_view(plan: Plan) -> View:
    """Return the rolls as they really stand, at contact and at full depth."""
    frame = _frame(plan)
    scale = frame.kx
    roll = plan.contact.roll_radius_mm
    heights = _heights(plan)
    moving = [circle("roll", (0, -v * scale), roll * scale) for v in heights]
    moving += [circle("spot", (0, -v * scale), 4) for v in heights]
    return View(
        name="end",
        title="Seen from the tailstock",
        description=_description(plan),
        frame=frame,
        still=(*_work(plan, frame), *_rolls(plan, frame)),
        moving=tuple(moving),
        within=(-1e6, 1e6),  # it moves along only, and may leave to the right
        outside=False,
    )


def _heights(plan: Plan) -> list[float]:
    """Return how far above the spindle axis each roll's centre stands [mm]."""
    half = plan.contact.half_spacing_mm
    return [half, -half] if half else [0.0]


def _frame(plan: Plan) -> Frame:
    contact = plan.contact
    blank, roll = contact.blank_radius_mm, contact.roll_radius_mm
    clear = plan.clearance_x_mm / 2.0 + contact.datum_shift_mm
    lo, hi = -1.12 * blank, clear + 1.35 * roll
    tall = max(blank, contact.half_spacing_mm + roll) * 1.1
    scale = min(SQUARE / (hi - lo), TALLEST / (2.0 * tall))
    spare = (SQUARE / scale - (hi - lo)) / 2.0
    return Frame(
        width=SQUARE,
        height=round(2.0 * tall * scale + 4.0, 1),
        x0=round((spare - lo) * scale, 3),
        kx=round(scale, 5),
        y0=round(tall * scale, 3),
        ky=-round(scale, 5),
    )


def _work(plan: Plan, frame: Frame) -> Iterator[Shape]:
    """Yield the blank, the ground of the teeth, and the axes."""
    blank = plan.contact.blank_radius_mm
    centre = frame.point(0.0, 0.0)
    x, axis = centre
    yield line("axis", (0, axis), (SQUARE, axis))
    yield line("axis", (x, 0), (x, frame.height))
    yield circle("work", centre, blank * frame.kx)
    yield circle("hint", centre, (blank - plan.penetration_mm) * frame.kx)
    yield text("small end", (SQUARE - 4, axis - 6), "centre height")


def _rolls(plan: Plan, frame: Frame) -> Iterator[Shape]:
    """Yield each roll at contact, dashed, and at full depth."""
    contact = plan.contact
    roll = contact.roll_radius_mm * frame.kx
    for v in _heights(plan):
        full = frame.point(contact.centre_mm(plan.penetration_mm), v)
        yield circle("ghost contact", frame.point(contact.touch_mm, v), roll)
        yield circle("ghost full", full, roll)
        yield circle("spot", full, 3)


def _description(plan: Plan) -> str:
    shown = Shown(plan.job.units)
    contact = plan.contact
    whose = "axis of the deflected work" if plan.follows else "axis"
    full = shown.length(contact.centre_mm(plan.penetration_mm))
    where = f"{shown.bare(contact.touch_mm)} from the {whose} at contact, {full} at full depth"
    if not contact.half_spacing_mm:
        return f"Roll at centre height, its centre {where}."
    apart = shown.length(contact.half_spacing_mm)
    return f"Roll centres {apart} above and below centre height; {where}."
