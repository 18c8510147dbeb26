"""The side view: the work with the roll, from above, the chuck on the left, to scale.

The roll is drawn along the line through the spindle axis and its centre, for every tool
style: its edge then shows how near it is to the work. How the rolls really stand is in the
end view.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from knurlcam.plan.model import Plan
from knurlcam.review.views.frame import LABEL_STEP, LABEL_WIDTH, TEXT, WIDE, Frame, View, between
from knurlcam.review.views.scale import FOOT, z_scale
from knurlcam.review.views.scene import Scene
from knurlcam.review.views.shapes import Shape, circle, line, rectangle, text
from knurlcam.review.views.ways import ways
from knurlcam.review.views.work import Extent, knurl_shapes, tailstock_shapes, work_shapes
from knurlcam.timeline import Timeline
from knurlcam.units.show import Shown

__all__ = ["side_view"]

TALLEST = 390.0
"""Height of the side view above its names and scale at most [drawing units]"""

BELOW = 40.0 + 2.0 * LABEL_STEP
"""Height below the work: two rows of names and the scale [drawing units]"""

FARTHEST = 2.2
"""The safe position is drawn as long as the picture grows no larger than so many times what is
near the work; else the roll comes in from outside [-]"""

CROSS = 7.0
"""Half the size of the mark at the safe position [drawing units]"""


def side_view(plan: Plan, line: Timeline) -> View:
    """Return the work with the roll."""
    shown = Shown(plan.job.units)
    scene = Scene(plan, line)
    extent = _extent(scene)
    frame = extent.frame
    roll = plan.contact.roll_radius_mm
    still = (
        *work_shapes(scene, extent),
        *tailstock_shapes(scene, extent),
        *knurl_shapes(scene, frame),
        *_clearance(scene, extent),
        *_names(scene, extent),
        *ways(scene.stretches(frame, line.spans, lambda x, _: scene.edge(x))),
        *_safe_position(scene, frame),
        *z_scale(frame, (extent.z_lo, extent.z_hi), frame.height - FOOT, plan.job.units),
    )
    return View(
        name="side",
        title="The work and the roll, to scale",
        description=(
            f"The work is {shown.length(2 * scene.blank)} in diameter; the knurl runs from Z "
            f"{shown.length(-plan.job.knurl.start)} to its end at Z {shown.length(plan.line_mm)}."
        ),
        frame=frame,
        still=still,
        moving=tuple(_roll(scene, frame)),
        # A browser gives up on coordinates that a wrong digit makes millions of millimetres.
        within=(scene.blank - 10.0 * roll, 1e6),
        outside=_leaves(scene, frame),
    )


def _roll(scene: Scene, frame: Frame) -> Iterator[Shape]:
    """Yield the roll, the left end of its lower edge at (0, 0)."""
    width = scene.face * frame.kx
    height = -2.0 * scene.plan.contact.roll_radius_mm * frame.ky
    yield rectangle("roll", (0, -height), (width, 0))
    yield line("axis", (-4, -height / 2), (width + 4, -height / 2))
    yield circle("spot", (0, 0), 4)


def _leaves(scene: Scene, frame: Frame) -> bool:
    """Return whether the slide comes to a place that is not in the picture."""
    places = (frame.point(scene.left(k.z), scene.edge(k.x)) for k in scene.line.keys)
    return any(not 0.0 <= x <= frame.width or y < 0.0 for x, y in places)


# -- what is shown ---------------------------------------------------------------


class _Range(NamedTuple):
    """From where to where a picture reaches [mm]."""

    lo: float
    hi: float


def _extent(scene: Scene) -> Extent:
    """Return the scale, the ends of what is shown along Z and whether the work is cut."""
    across = _across(scene)
    start = _held_end(scene)
    nearest = scene.reach()[0] - max(6.0 * scene.blank, 3.0 * scene.face)
    cut = -scene.plan.job.part.length < nearest
    along = _along(scene, nearest if cut else start)
    scale = min(WIDE / (along.hi - along.lo), TALLEST / (across.hi - across.lo))
    # What is left over of the width is shared out on both sides.
    spare = (WIDE / scale - (along.hi - along.lo)) / 2.0
    z_lo, z_hi = along.lo - spare, along.hi + spare
    if cut:
        z_lo = max(z_lo, start)
        cut = -scene.plan.job.part.length < z_lo
        z_hi = z_lo + WIDE / scale
    frame = Frame(
        width=WIDE,
        height=round((across.hi - across.lo) * scale + BELOW, 1),
        x0=round(-z_lo * scale, 3),
        kx=round(scale, 5),
        y0=round(across.hi * scale, 3),
        ky=-round(scale, 5),
    )
    return Extent(frame, z_lo, z_hi, cut)


def _held_end(scene: Scene) -> float:
    """Return Z of the left end of a picture that shows where the work is held [mm]."""
    return -scene.plan.job.part.length - (0.9 * scene.outline[0].radius + 4.0)


def _along(scene: Scene, lo: float) -> _Range:
    """Return what is shown along Z: the knurl, and the safe position if it is not too far."""
    near = max(scene.reach()[1] + scene.face, 0.0) + 1.3 * scene.blank
    safe = scene.left(scene.plan.job.machine.safe_z) + 1.1 * scene.face
    return _with_safe_position(lo, near, safe)


def _across(scene: Scene) -> _Range:
    """Return what is shown across: the work, the roll at clearance X, the safe position."""
    plan, held = scene.plan, scene.outline[0].radius
    roll = plan.contact.roll_radius_mm
    tallest = 1.08 * max(piece.radius for piece in scene.outline)
    lo = -max(1.42 * scene.blank, 1.42 * held, tallest)
    near = max(scene.edge(plan.clearance_x_mm) + 2.2 * roll, tallest)
    return _with_safe_position(lo, near, scene.edge(plan.job.machine.safe_x) + 2.1 * roll)


def _with_safe_position(lo: float, near: float, safe: float) -> _Range:
    return _Range(lo, min(max(near, safe), lo + FARTHEST * (near - lo)))


# -- lines and names -------------------------------------------------------------


def _clearance(scene: Scene, extent: Extent) -> Iterator[Shape]:
    """Yield where rapids toward the work end."""
    frame = extent.frame
    y = frame.across(scene.edge(scene.plan.clearance_x_mm))
    yield line("hint", (frame.along(extent.z_lo), y), (frame.along(scene.face), y))
    x = max(frame.along(scene.plan.line_mm) - 10, LABEL_WIDTH)
    yield text("end small label", (x, y - 6), "clearance X")


def _names(scene: Scene, extent: Extent) -> Iterator[Shape]:
    """Yield the names of what stands along the axis, in two rows below the work."""
    plan, frame = scene.plan, extent.frame
    first = frame.height - BELOW + TEXT * 1.2
    second = first + LABEL_STEP
    x = max(frame.along(plan.line_mm) + 2, LABEL_WIDTH)
    yield text("end small", (x, first), "end of the knurl")
    yield text("small", (max(frame.along(0.0), x) + 4, first), "Z0")
    holder = "driven centre" if plan.job.holding.method == "between centres" else "chuck"
    where = f" at Z {Shown(plan.job.units).length(-plan.job.part.length)}" if extent.cut else ""
    yield text("small", (6, second), holder + where)
    if plan.job.holding.held_by != "none":
        yield text("end small", (frame.width - 6, second), plan.job.holding.held_by)


def _safe_position(scene: Scene, frame: Frame) -> Iterator[Shape]:
    """Yield a cross at the safe position where it is in the picture."""
    machine = scene.plan.job.machine
    x, y = frame.point(scene.left(machine.safe_z), scene.edge(machine.safe_x))
    if x > frame.width or y < 0:
        return
    yield line("mark", (x - CROSS, y), (x + CROSS, y))
    yield line("mark", (x, y - CROSS), (x, y + CROSS))
    if y + TEXT * 2 < frame.across(scene.blank):
        right = between(x + 60, LABEL_WIDTH, frame.width - 4)
        yield text("end small", (right, y + TEXT * 1.4), "safe position")
