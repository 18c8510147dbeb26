"""The infeed view: penetration against Z, the depth stretched so that each step can be seen."""

from __future__ import annotations

import math
from collections.abc import Iterator

from knurlcam.plan.model import Plan
from knurlcam.review.views.frame import LABEL_STEP, TEXT, WIDE, Frame, View, between
from knurlcam.review.views.scale import FOOT, unit_of, z_scale
from knurlcam.review.views.scene import Scene
from knurlcam.review.views.shapes import Shape, circle, line, polygon, rectangle, text
from knurlcam.review.views.ways import ways
from knurlcam.timeline import Print, Timeline, pass_names
from knurlcam.units.show import Shown

__all__ = ["DEEPEST", "infeed_view"]

DEEPEST = 2.5
"""Largest depth that is drawn, over the planned penetration: a program that presses deeper leaves
the picture instead of flattening all the rest [-]"""

BAND = 132.0
"""Height above the blank's surface, where the rolls' faces are drawn [drawing units]"""

DEPTH_HEIGHT = 250.0
"""Height of the depth scale [drawing units]"""

LEFT_MARGIN, RIGHT_MARGIN = 34.0, 150.0
"""Free room beside the passes; on the right stand their depths [drawing units]"""

ROLL_HEIGHT = 9
"""Height of the rolls' face where it moves [drawing units]"""

LETTER_WIDTH = 14.5
"""Width of a letter of a label on a small screen, rather more than less [drawing units]"""

MOST_NUMBERS = 8
"""Passes that are numbered at most: more cannot be distinguished on a small screen."""

STILL_MM = 1e-6
"""A length shorter than this is none [mm]"""


def infeed_view(plan: Plan, line: Timeline) -> View:
    """Return penetration against Z."""
    scene = Scene(plan, line)
    deepest = _deepest(scene)
    frame = _frame(scene, deepest)
    floor, ceiling = -ROLL_HEIGHT / frame.ky, deepest * 1.1

    def depth(x: float, z: float) -> float:
        return between(line.depth(x, z), floor, ceiling)

    still = (
        *_metal(scene, frame),
        *_faces(scene, frame),
        *ways(scene.stretches(frame, scene.touching, depth)),
        *_dwells(scene, frame, floor, ceiling),
        *_arrows(scene, frame),
        *_depths(scene, frame),
        *z_scale(frame, _shown_z(frame), frame.height - FOOT, plan.job.units),
    )
    most = max((p.depth for p in line.prints), default=0.0)
    return View(
        name="infeed",
        title="Each pass, the depth stretched",
        description=(
            f"Penetration against Z of the rolls' left edge: {len(line.prints)} passes down to "
            f"{Shown(plan.job.units).length(most)}."
        ),
        frame=frame,
        still=still,
        moving=(
            rectangle("roll flat", (0, -ROLL_HEIGHT), (scene.face * frame.kx, 0)),
            circle("spot", (0, 0), 5),
        ),
        within=(floor, ceiling),
        outside=_leaves(scene, frame, ceiling),
    )


def _deepest(scene: Scene) -> float:
    """Return the depth that the scale reaches to [mm]."""
    planned = scene.plan.penetration_mm
    made = max((p.depth for p in scene.line.prints), default=0.0)
    return max(planned, min(made, DEEPEST * planned))


def _frame(scene: Scene, deepest: float) -> Frame:
    left, right = scene.reach()
    lo, hi = min(left, scene.plan.line_mm), right + scene.face
    if hi > -2.0 * (hi - lo):
        hi = max(hi, 0.0)  # the end of the work is near enough to be shown
    kx = (WIDE - LEFT_MARGIN - RIGHT_MARGIN) / (hi - lo)
    return Frame(
        width=WIDE,
        height=round(BAND + DEPTH_HEIGHT * 1.12 + 46.0, 1),
        x0=round(LEFT_MARGIN - lo * kx, 3),
        kx=round(kx, 5),
        y0=BAND,
        ky=round(DEPTH_HEIGHT / deepest, 4),
    )


def _shown_z(frame: Frame) -> tuple[float, float]:
    """Return Z at both sides of the picture [mm]."""
    return -frame.x0 / frame.kx, (WIDE - frame.x0) / frame.kx


def _leaves(scene: Scene, frame: Frame, ceiling: float) -> bool:
    """Return whether the rolls come to a place that is not in the picture."""
    depth = scene.line.depth
    places = ((x, z) for s in scene.touching for x, z in ((s.x0, s.z0), (s.x1, s.z1)))
    return any(
        not 0.0 <= frame.along(scene.left(z)) <= WIDE or depth(x, z) > ceiling for x, z in places
    )


# -- the work --------------------------------------------------------------------


def _metal(scene: Scene, frame: Frame) -> Iterator[Shape]:
    """Yield the work's surface, the planned penetration and both ends of the knurl."""
    plan = scene.plan
    surface, full = frame.across(0.0), frame.across(plan.penetration_mm)
    foot, end = frame.height - 40, _end_of_metal(frame)
    yield rectangle("metal", (0, surface), (end, foot))
    yield line("edge", (0, surface), (end, surface))
    yield line("edge", (end, surface), (end, foot))
    yield line("hint", (0, full), (end, full))
    yield text("end small label", (min(end, WIDE - 140.0) - 8, surface - 6), "blank surface")
    knurl_end = frame.along(plan.line_mm)
    yield text("small", (knurl_end + 8, frame.height - 50), "end of the knurl")
    yield line("limit", (knurl_end, 6), (knurl_end, full + 20))
    if plan.job.knurl.start > 0.0:
        x = frame.along(-plan.job.knurl.start)
        yield line("limit", (x, 6), (x, full + 20))


def _end_of_metal(frame: Frame) -> float:
    """Return where the work ends, or the picture if that is nearer [drawing units]."""
    return min(frame.along(0.0), frame.width)


# -- the rolls -------------------------------------------------------------------


def _faces(scene: Scene, frame: Frame) -> Iterator[Shape]:
    """Yield how the rolls' face hangs over: at the start, at the end of the knurl, returning."""
    touching = scene.touching
    if not touching:
        return
    lefts = [scene.left(z) for s in touching for z in (s.z0, s.z1)]
    rows = [("start", scene.left(touching[0].z0))]
    if max(lefts) - min(lefts) > STILL_MM:
        rows.append(("at the end of the knurl", min(lefts)))
    returns = [scene.left(s.z1) for s in touching if s.phase == "tailstock"]
    if returns:
        rows.append(("return", max(returns)))
    for i, (name, left) in enumerate(rows):
        y = 10.0 + i * 34.0
        over = left + scene.face
        x1, x2 = frame.along(left), frame.along(over)
        yield rectangle("face", (x1, y), (x2, y + 24))
        if over > STILL_MM:
            name += f", {Shown(scene.plan.job.units).bare(over)} over"
        half = len(name) * LETTER_WIDTH / 2
        middle = between((x1 + x2) / 2, half, WIDE - half)
        yield text("mid small label", (middle, y + 18), name)


def _dwells(scene: Scene, frame: Frame, floor: float, ceiling: float) -> Iterator[Shape]:
    """Yield a ring at each place where the slide dwells."""
    depth = scene.line.depth
    places = {
        frame.point(scene.left(s.z1), between(depth(s.x1, s.z1), floor, ceiling))
        for s in scene.touching
        if s.phase == "dwell"
    }
    for place in sorted(places):
        yield circle("way dwell", place, 5)


# -- the passes ------------------------------------------------------------------


def _arrows(scene: Scene, frame: Frame) -> Iterator[Shape]:
    """Yield an arrow and a number on each pass, side by side so that none hides another."""
    prints = scene.line.prints
    names = pass_names(scene.plan, scene.line)
    every = math.ceil(len(prints) / MOST_NUMBERS)
    beside: dict[int, int] = {}
    for i, one in enumerate(prints):
        left = len(prints) - 1 - i
        if left and (i % every or left < every):
            continue  # the last one is always numbered
        y = frame.across(min(one.depth, DEEPEST * scene.plan.penetration_mm * 1.1))
        if one.direction == "plunge":
            x, row = frame.along(scene.left(one.z_to)), round(y / TEXT)
            yield polygon("tip infeed", [(x - 7, y - 14), (x + 7, y - 14), (x, y - 1)])
            yield text("number", (x + 12 + 95 * beside.get(row, 0), y - 4), names[i])
            beside[row] = beside.get(row, 0) + 1
        else:
            x = _arrow_x(scene, frame, one, (i + 0.7) / (len(prints) + 0.4))
            way = -1.0 if one.direction == "headstock" else 1.0
            tip = [(x + way * 10, y), (x - way * 6, y - 7), (x - way * 6, y + 7)]
            yield polygon(f"tip {one.direction}", tip)
            yield text("number mid", (x, y - 10), names[i])


def _arrow_x(scene: Scene, frame: Frame, one: Print, share: float) -> float:
    """Return where the arrow of a pass stands, at a share of its length [drawing units]."""
    a, b = sorted((scene.left(one.z_from), scene.left(one.z_to)))
    return between(frame.along(a + (b - a) * share), 20.0, WIDE - 20.0)


def _depths(scene: Scene, frame: Frame) -> Iterator[Shape]:
    """Yield the depth of each pass at the right, as many as can be read."""
    plan = scene.plan
    shown = Shown(plan.job.units)
    depths = {shown.bare(p.depth): p.depth for p in scene.line.prints}
    x = WIDE - 4
    yield text("end small", (x, BAND - 8), f"depth {unit_of(plan.job.units)}")
    limit = math.inf
    for words, depth in sorted(depths.items(), key=lambda item: -item[1]):
        if depth > DEEPEST * plan.penetration_mm:
            continue
        y = frame.across(depth)
        if limit - y >= LABEL_STEP and y > BAND + 8:
            yield line("thin", (min(_end_of_metal(frame), WIDE - 160.0), y), (WIDE - 125, y))
            yield text("end small", (x, y + 6), words)
            limit = y
