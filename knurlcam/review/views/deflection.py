"""The chart of deflection: penetration and deflection along the work, tailstock on the right."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from knurlcam.drawing.axes import length_ticks
from knurlcam.plan.model import Plan
from knurlcam.review.deflection import Curve, DeflectionCurves
from knurlcam.review.views.frame import WIDE, Chart, Frame, between
from knurlcam.review.views.infeed import DEEPEST
from knurlcam.review.views.scale import unit_of, z_scale
from knurlcam.review.views.shapes import Shape, line, polyline, rectangle, text

__all__ = ["deflection_chart"]

LEFT, RIGHT = 110.0, WIDE - 24.0
"""Sides of the two panels: left of them stand the numbers, on a small screen too [units]"""

HEADROOM = 1.12
"""How far an axis reaches, over the largest value that is drawn [-]"""

FLAT_MM = 0.01
"""End of an axis on which there is nothing but zero [mm]"""

BELOW = 60.0
"""Height below the panels, for the Z scale [drawing units]"""


@dataclass(frozen=True, slots=True)
class _Panel:
    """One scale across, from 0 at its top: deeper is lower, as in the other pictures.

    Attributes:
        name: What is drawn in it.
        top: Its upper side [drawing units]
        height: Its height [drawing units]
        end_mm: The value at its lower side [mm]
        most: Steps into which its axis is cut at most [-]
    """

    name: str
    top: float
    height: float
    end_mm: float
    most: int

    @property
    def foot(self) -> float:
        return self.top + self.height

    def across(self, mm: float) -> float:
        share = between(mm / self.end_mm, 0.0, 1.0)
        return round(self.top + self.height * share, 2)


def deflection_chart(plan: Plan, curves: DeflectionCurves, description: str) -> Chart:
    """Return penetration and deflection along the work.

    Args:
        plan: The plan.
        curves: How the work deflects.
        description: The main figures, in words.
    """
    upper, lower = _panels(curves)
    frame, span = _frame(plan, curves, lower.foot)
    planned = upper.across(curves.planned_mm)
    still = [
        _name(plan, upper),
        _name(plan, lower),
        *_axis(plan, upper),
        *_axis(plan, lower),
        line("curve planned", (LEFT, planned), (RIGHT, planned)),
    ]
    if curves.made is not None:
        still.append(_curve("curve made", frame, upper, curves.made))
    # Thinner and dashed, so that where two run along one line both can be seen.
    still.append(_curve("curve other", frame, upper, curves.other))
    still.append(_curve("curve gives", frame, lower, curves.deflection))
    still += z_scale(frame, span, lower.foot + 12.0, plan.job.units)
    return Chart("Deflection of the work (estimate)", description, WIDE, frame.height, tuple(still))


def _panels(curves: DeflectionCurves) -> tuple[_Panel, _Panel]:
    """Return the panel of penetration and, below it, that of deflection."""
    drawn = [curve for curve in (curves.other, curves.made) if curve is not None]
    deepest = max(curves.planned_mm, *(max(c.value_mm) for c in drawn))
    # A program that presses far too deep must not flatten all the rest.
    deepest = min(deepest, DEEPEST * curves.planned_mm)
    most = max(*curves.deflection.value_mm, 0.0)
    return (
        _Panel("penetration", 44.0, 220.0, deepest * HEADROOM, most=4),
        _Panel("deflection of the work", 318.0, 120.0, most * HEADROOM or FLAT_MM, most=3),
    )


def _frame(plan: Plan, curves: DeflectionCurves, foot: float) -> tuple[Frame, tuple[float, float]]:
    """Return the scale along the work, and least and greatest Z [mm]."""
    lo, hi = plan.line_mm, max(-plan.job.knurl.start, *curves.deflection.z_mm)
    kx = (RIGHT - LEFT) / (hi - lo)
    frame = Frame(width=WIDE, height=foot + BELOW, x0=LEFT - lo * kx, kx=kx, y0=0.0, ky=1.0)
    return frame, (lo, hi)


def _curve(kind: str, frame: Frame, panel: _Panel, curve: Curve) -> Shape:
    return polyline(
        kind,
        (
            (frame.along(z), panel.across(value))
            for z, value in zip(curve.z_mm, curve.value_mm, strict=True)
        ),
    )


def _name(plan: Plan, panel: _Panel) -> Shape:
    return text("small", (LEFT, panel.top - 14), f"{panel.name}, {unit_of(plan.job.units)}")


def _axis(plan: Plan, panel: _Panel) -> Iterator[Shape]:
    """Yield a panel's frame and a few numbers on its left, in the job's units."""
    yield rectangle("plot", (LEFT, panel.top), (RIGHT, panel.foot))
    for tick in length_ticks(0.0, panel.end_mm, panel.most, plan.job.units):
        y = panel.across(tick.value)
        yield line("thin", (LEFT - 6, y), (LEFT, y))
        yield text("end small", (LEFT - 10, y + 6), tick.text)
