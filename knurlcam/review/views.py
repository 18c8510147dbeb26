"""The pictures: where each thing stands, worked out here and only here.

Each view is a drawing 800 or 460 units wide; the page shows it at the width of the
screen or the paper. What moves stands in a group of its own, drawn about its own origin;
the page's script does no more than place these groups.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from knurlcam.data.knurls import forms
from knurlcam.plan.loads import pieces_of
from knurlcam.plan.model import Plan
from knurlcam.review.estimates import Curve, GivingWay
from knurlcam.timeline import Span, Timeline, pass_names, touches
from knurlcam.units.kinds import MM_PER_INCH, Kind
from knurlcam.units.show import show, show_bare

__all__ = [
    "Chart",
    "Frame",
    "Shape",
    "View",
    "end_view",
    "infeed_view",
    "side_view",
    "yield_chart",
]

WIDE = 800.0
SQUARE = 460.0
"""Drawing units."""

TEXT = 17.0
"""Height of a line of text; twice as high on a small screen [drawing units]"""

LABEL_STEP = 34.0
"""Least distance of two texts written below each other [drawing units]"""

LABEL_WIDTH = 215.0
"""Of a short label on a small screen [drawing units]"""

FOOT = 40.0 + 2.0 * LABEL_STEP
"""Height below the work in the side view: two rows of names and the scale [units]"""

FARTHEST = 2.2
"""The safe position is drawn as long as the picture grows no larger than so many times
what is near the work; else the roll comes in from outside."""

FINEST_HATCH = 4.0
"""Lines of the knurl closer than this cannot be seen [drawing units]"""

STILL_MM = 1e-6
"""A length shorter than this is none."""

DEEPEST = 2.5
"""A program that presses deeper than so many times the plan leaves the picture."""


class Shape(NamedTuple):
    """One element of a drawing.

    Attributes:
        tag: Its SVG element.
        attributes: Its attributes.
        text: What is written in it; empty for a shape.
    """

    tag: str
    attributes: Mapping[str, str | float]
    text: str = ""


@dataclass(frozen=True, slots=True)
class Frame:
    """Millimetres to drawing units, along and across.

    Attributes:
        width: Of the drawing [units]
        height: Of the drawing [units]
        x0: Where 0 mm along stands [units]
        kx: Units for a millimetre along; negative where it runs to the left.
        y0: Where 0 mm across stands [units]
        ky: Units for a millimetre across; negative where it runs upwards.
    """

    width: float
    height: float
    x0: float
    kx: float
    y0: float
    ky: float

    def along(self, mm: float) -> float:
        """Return where a length along stands [units]."""
        return round(self.x0 + self.kx * mm, 2)

    def across(self, mm: float) -> float:
        """Return where a length across stands [units]."""
        return round(self.y0 + self.ky * mm, 2)


@dataclass(frozen=True, slots=True)
class View:
    """One picture.

    Attributes:
        name: Names it in the page.
        title: What it shows, in a few words.
        told: The same for those who cannot see it, with its main figures.
        frame: Its scale.
        still: What stays.
        moving: The group that the script places, drawn about (0, 0).
        within: Least and greatest value across at which the moving group is drawn; beyond
            it stays at the edge [mm]
        outside: Whether the motion leaves the picture.
    """

    name: str
    title: str
    told: str
    frame: Frame
    still: tuple[Shape, ...]
    moving: tuple[Shape, ...]
    within: tuple[float, float]
    outside: bool


@dataclass(frozen=True, slots=True)
class Chart:
    """A picture in which nothing moves.

    Attributes:
        title: What it shows, in a few words.
        told: The same for those who cannot see it, with its main figures.
        width: Of the drawing [units]
        height: Of the drawing [units]
        still: What is drawn.
    """

    title: str
    told: str
    width: float
    height: float
    still: tuple[Shape, ...]


# -- shapes --------------------------------------------------------------------


def _line(kind: str, x1: float, y1: float, x2: float, y2: float) -> Shape:
    return Shape("path", {"class": kind, "d": f"M{x1:g} {y1:g}L{x2:g} {y2:g}"})


def _box(kind: str, x1: float, y1: float, x2: float, y2: float) -> Shape:
    left, top = min(x1, x2), min(y1, y2)
    return Shape(
        "rect",
        {
            "class": kind,
            "x": round(left, 2),
            "y": round(top, 2),
            "width": round(abs(x2 - x1), 2),
            "height": round(abs(y2 - y1), 2),
        },
    )


def _circle(kind: str, x: float, y: float, radius: float) -> Shape:
    return Shape(
        "circle", {"class": kind, "cx": round(x, 2), "cy": round(y, 2), "r": round(radius, 2)}
    )


def _polygon(kind: str, points: Iterable[tuple[float, float]]) -> Shape:
    return Shape(
        "polygon", {"class": kind, "points": " ".join(f"{x:.6g},{y:.6g}" for x, y in points)}
    )


def _text(kind: str, x: float, y: float, text: str) -> Shape:
    """``kind`` ends a text at x with "end", centres it with "mid", else begins it there."""
    return Shape("text", {"class": kind, "x": round(x, 2), "y": round(y, 2)}, text)


def _ways(stretches: Iterable[tuple[str, float, float, float, float]]) -> Iterator[Shape]:
    """Return one path for each phase; what is travelled more than once is drawn once.

    Args:
        stretches: Phase and both ends of each [units]
    """
    rows: dict[tuple[str, str, float], list[tuple[float, float]]] = {}
    slanted: dict[tuple[str, float, float, float, float], None] = {}
    for phase, x1, y1, x2, y2 in stretches:
        if y1 == y2 and x1 != x2:
            rows.setdefault((phase, "along", y1), []).append((min(x1, x2), max(x1, x2)))
        elif x1 == x2 and y1 != y2:
            rows.setdefault((phase, "across", x1), []).append((min(y1, y2), max(y1, y2)))
        elif x1 != x2:
            slanted[phase, x1, y1, x2, y2] = None
    ways: dict[str, list[str]] = {}
    for (phase, direction, at), pieces in rows.items():
        for a, b in _joined(pieces):
            piece = f"M{a:g} {at:g}H{b:g}" if direction == "along" else f"M{at:g} {a:g}V{b:g}"
            ways.setdefault(phase, []).append(piece)
    end: tuple[str, float, float] | None = None
    for phase, x1, y1, x2, y2 in slanted:
        # Blocks that run on are one line, or its dashes would begin anew with each.
        start = "" if end == (phase, x1, y1) else f"M{x1:g} {y1:g}"
        ways.setdefault(phase, []).append(f"{start}L{x2:g} {y2:g}")
        end = (phase, x2, y2)
    # Unbroken lines first: where two phases run along one line both can be seen.
    for phase in sorted(ways, key=lambda p: p not in ("infeed", "headstock")):
        yield Shape("path", {"class": f"way {phase}", "d": "".join(ways[phase])})


def _joined(pieces: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return stretches of one line with those joined that touch or overlap."""
    found: list[tuple[float, float]] = []
    for a, b in sorted(pieces):
        if found and a <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], b))
        else:
            found.append((a, b))
    return found


def _nice_step(length: float, most: int) -> float:
    """Return a step of 1, 2 or 5 times a power of ten that cuts a length in few parts."""
    rough = length / most
    power = 10.0 ** math.floor(math.log10(rough))
    return next(step * power for step in (1.0, 2.0, 5.0, 10.0) if step * power >= rough * 0.999999)


SCALE_MARGIN = 50.0
"""A number nearer to the left edge would be cut on a small screen [drawing units]"""


def _scale(frame: Frame, lo_mm: float, hi_mm: float, y: float, units: str) -> Iterator[Shape]:
    """Return a Z scale in the job's units along the foot of a picture."""
    unit = MM_PER_INCH if units == "inch" else 1.0
    step = _nice_step((hi_mm - lo_mm) / unit, 7)
    places = max(0, -math.floor(math.log10(step) + 1e-9))
    yield _line("thin", frame.along(lo_mm), y, frame.along(hi_mm), y)
    for count in range(math.ceil(lo_mm / unit / step), math.floor(hi_mm / unit / step) + 1):
        x = frame.along(count * step * unit)
        yield _line("thin", x, y, x, y + 6)
        if SCALE_MARGIN < x < frame.width - 115:
            yield _text("mid small", x, y + 6 + TEXT * 1.1, f"{count * step:.{places}f}")
    yield _text(
        "end small", frame.width - 4, y + 6 + TEXT * 1.1, f"Z {'in' if units == 'inch' else 'mm'}"
    )


# -- what the pictures share ---------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Scene:
    """Plan and motion with what more than one picture needs."""

    plan: Plan
    line: Timeline

    @property
    def blank(self) -> float:
        return self.plan.contact.blank_radius_mm

    @property
    def face(self) -> float:
        return self.plan.job.tool.face_width

    @property
    def outline(self) -> list[tuple[float, float, float]]:
        """Begin, end and radius of each piece of the work, from where it is held on [mm]."""
        found = []
        at = -self.plan.job.part.length
        for length, diameter in pieces_of(self.plan.job, 2.0 * self.blank):
            found.append((at, at + length, diameter / 2.0))
            at += length
        return found

    @property
    def touching(self) -> tuple[Span, ...]:
        """What happens with the rolls on the work."""
        return tuple(s for s in self.line.spans if touches(self.plan, s))

    def left(self, z: float) -> float:
        """Z of the rolls' left edge, from Z0 [mm]."""
        return z - self.plan.datum_shift_mm

    def edge(self, x: float) -> float:
        """Distance of the rolls' nearest edge from the spindle axis [mm]."""
        return self.blank - self.plan.contact.depth_mm(x)

    def reach(self) -> tuple[float, float]:
        """Leftmost and rightmost left edge on the work, as planned and as programmed [mm]."""
        planned = [z for p in self.plan.passes for z in (p.z_start_mm, p.z_end_mm)]
        # A slip of a digit must not shrink the picture to a dot.
        slack = 2.0 * self.face + self.plan.job.knurl.length
        near = (min(planned) - slack, max(planned) + slack)
        made = [min(max(z, near[0]), near[1]) for s in self.touching for z in (s.z0, s.z1)]
        return self.left(min(planned + made)), self.left(max(planned + made))


def _show(plan: Plan, mm: float) -> str:
    return show(mm, Kind.LENGTH, plan.job.units)


def _bare(plan: Plan, mm: float) -> str:
    return show_bare(mm, Kind.LENGTH, plan.job.units)


# -- side view -----------------------------------------------------------------


def side_view(plan: Plan, line: Timeline) -> View:
    """Return the work with the roll, seen from above with the chuck on the left, to scale.

    The roll is drawn along the line through the spindle axis and its centre, so that its
    edge shows how near it is to the work whatever the tool style.
    """
    scene = _Scene(plan, line)
    frame, z_lo, z_hi, broken = _side_frame(scene)
    shapes = [
        *_work(scene, frame, z_lo, broken),
        *_tailstock(scene, frame, z_hi),
        *_zone(scene, frame),
        *_clear_line(scene, frame, z_lo),
        *_side_labels(scene, frame, broken),
    ]
    shapes += _ways(
        (
            s.phase,
            frame.along(scene.left(s.z0)),
            frame.across(scene.edge(s.x0)),
            frame.along(scene.left(s.z1)),
            frame.across(scene.edge(s.x1)),
        )
        for s in line.spans
    )
    machine = plan.job.machine
    safe = (scene.left(machine.safe_z), scene.edge(machine.safe_x))
    x, y = frame.along(safe[0]), frame.across(safe[1])
    if x <= frame.width and y >= 0:
        shapes += [_line("mark", x - 7, y, x + 7, y), _line("mark", x, y - 7, x, y + 7)]
        if y + TEXT * 2 < frame.across(scene.blank):
            right = _between(x + 60, LABEL_WIDTH, frame.width - 4)
            shapes.append(_text("end small", right, y + TEXT * 1.4, "safe position"))
    shapes += _scale(frame, z_lo, z_hi, frame.height - 34, plan.job.units)
    roll = plan.contact.roll_radius_mm
    width, height = scene.face * frame.kx, -2.0 * roll * frame.ky
    return View(
        "side",
        "The work and the roll, to scale",
        f"The work is {_show(plan, 2 * scene.blank)} in diameter; the knurl runs from Z "
        f"{_show(plan, -plan.job.knurl.start)} to the line at Z {_show(plan, plan.line_mm)}.",
        frame,
        tuple(shapes),
        (
            _box("roll", 0, -height, width, 0),
            _line("axis", -4, -height / 2, width + 4, -height / 2),
            _circle("spot", 0, 0, 4),
        ),
        (scene.blank - 10.0 * roll, 1e6),
        any(
            not (0.0 <= frame.along(scene.left(k.z)) <= frame.width and frame.across(r) >= 0.0)
            for k in line.keys
            for r in (scene.edge(k.x),)
        ),
    )


def _side_frame(scene: _Scene) -> tuple[Frame, float, float, bool]:
    """Return the scale, the ends of what is shown along Z and whether the work is cut."""
    plan, blank = scene.plan, scene.blank
    left, right = scene.reach()
    diameter = 2.0 * blank
    held = -plan.job.part.length
    largest = max(radius for _, _, radius in scene.outline)
    stub = 0.9 * scene.outline[0][2] + 4.0
    z_lo = held - stub
    nearest = left - max(3.0 * diameter, 3.0 * scene.face)
    broken = held < nearest
    if broken:
        z_lo = nearest
    z_near = max(right + scene.face, 0.0) + 1.3 * blank
    r_lo = -max(1.42 * blank, 1.42 * scene.outline[0][2], 1.08 * largest)
    r_near = max(
        scene.edge(plan.clearance_x_mm) + 2.2 * plan.contact.roll_radius_mm, 1.08 * largest
    )
    machine = plan.job.machine
    z_safe = scene.left(machine.safe_z) + 1.1 * scene.face
    r_safe = scene.edge(machine.safe_x) + 2.1 * plan.contact.roll_radius_mm
    z_hi = min(max(z_near, z_safe), z_lo + FARTHEST * (z_near - z_lo))
    r_hi = min(max(r_near, r_safe), r_lo + FARTHEST * (r_near - r_lo))
    scale = min(WIDE / (z_hi - z_lo), 390.0 / (r_hi - r_lo))
    # What is left over of the width is shared out on both sides.
    spare = (WIDE / scale - (z_hi - z_lo)) / 2.0
    z_hi += spare
    if broken:
        z_lo = max(z_lo - spare, held - stub)
        broken = held < z_lo
        z_hi = z_lo + WIDE / scale
    else:
        z_lo -= spare
    frame = Frame(
        WIDE,
        round((r_hi - r_lo) * scale + FOOT, 1),
        round(-z_lo * scale, 3),
        round(scale, 5),
        round(r_hi * scale, 3),
        -round(scale, 5),
    )
    return frame, z_lo, z_hi, broken


def _work(scene: _Scene, frame: Frame, z_lo: float, broken: bool) -> Iterator[Shape]:
    plan = scene.plan
    held = -plan.job.part.length
    outline = scene.outline
    method = plan.job.holding.method
    chuck = method != "between centres"
    # What is held has the size of the piece that is held; a cut goes through what is there.
    blank = next(r for _, end, r in outline if end > z_lo) if broken else outline[0][2]
    top, foot, axis = frame.across(blank), frame.across(-blank), frame.across(0.0)
    start = z_lo if broken else held - (0.6 * blank if chuck else 0.0)
    if len(outline) == 1:
        yield _box("work", frame.along(start), top, frame.along(0.0), foot)
    else:
        side = [
            (max(z, start), radius)
            for i, (begin, end, radius) in enumerate(outline)
            if end > start
            for z in (begin if i else start, end)
        ]
        corners = [(frame.along(z), frame.across(radius)) for z, radius in side]
        corners += [(frame.along(z), frame.across(-radius)) for z, radius in reversed(side)]
        yield _polygon("work", corners)
    if broken:
        x = frame.along(z_lo) + 10
        step = (foot - top) / 6
        points = [(x + (6 if i % 2 else -6), top + i * step) for i in range(7)]
        yield _polygon("gap", [(x - 12, top - 1), *points, (x - 12, foot + 1)])
        yield Shape("polyline", {"class": "edge", "points": _points(points)})
    elif chuck:
        body = frame.along(held - 0.6 * blank)
        yield _box("holder", 0, frame.across(1.35 * blank), body, frame.across(-1.35 * blank))
        yield _box("holder", body, frame.across(1.25 * blank), frame.along(held), top)
        yield _box("holder", body, foot, frame.along(held), frame.across(-1.25 * blank))
    else:
        tip = frame.along(held) + 0.2 * blank * frame.kx
        reach = 0.55 * blank
        base = frame.along(held - reach)
        spread = 0.75 * blank * math.tan(math.radians(30.0)) * frame.kx
        yield _polygon("holder", [(tip, axis), (base, axis - spread), (base, axis + spread)])
        yield _box("holder", 0, axis - 1.4 * spread, base, axis + 1.4 * spread)
    yield _line("axis", 0, axis, frame.width, axis)


def _points(points: Sequence[tuple[float, float]]) -> str:
    return " ".join(f"{x:.6g},{y:.6g}" for x, y in points)


def _tailstock(scene: _Scene, frame: Frame, z_hi: float) -> Iterator[Shape]:
    """Return what stands beyond the end face; of a size that is not given, the largest."""
    plan, holding = scene.plan, scene.plan.job.holding
    if holding.held_by == "none":
        return
    given = holding.centre_diameter
    radius = (given or plan.largest_centre_mm or 1.2 * scene.blank) / 2.0
    small = min(0.3 * scene.outline[-1][2], radius)
    slope = (radius - small) / math.tan(math.radians(30.0))
    end = z_hi if given else min(z_hi, slope + 1.2 * scene.blank)
    outline = [(0.0, small), (slope, radius), (max(end, slope), radius)]
    points = [(frame.along(z), frame.across(r)) for z, r in outline]
    points += [(frame.along(z), frame.across(-r)) for z, r in reversed(outline)]
    yield _polygon("holder" if given else "holder guess", points)


def _zone(scene: _Scene, frame: Frame) -> Iterator[Shape]:
    """Return the knurl, hatched as its teeth run, its line and the end of the work."""
    plan, blank = scene.plan, scene.blank
    left, right = frame.along(plan.line_mm), frame.along(-plan.job.knurl.start)
    top, foot = frame.across(blank), frame.across(-blank)
    yield _box("knurl", left, top, right, foot)
    yield Shape("path", {"class": "teeth", "d": _hatch(scene, frame, left, right, top, foot)})
    reach = 16.0
    yield _line("limit", left, top - reach, left, foot + reach)


def _hatch(scene: _Scene, frame: Frame, left: float, right: float, top: float, foot: float) -> str:
    """Return lines as the teeth run; of a fine pitch, as many as can be told apart."""
    knurl = scene.plan.knurl
    form = forms()[knurl.form]
    pitch = max(knurl.pitch_mm * frame.kx, FINEST_HATCH)
    # On the side that is seen a right-hand groove sinks as Z grows; units run downwards.
    slopes = {"none": [0.0], "left": [-knurl.helix_deg], "right": [knurl.helix_deg]}.get(
        form.hand, [knurl.helix_deg, -knurl.helix_deg]
    )
    pieces = []
    if form.form in ("RKE", "RKV"):
        slopes = [0.0]
        count = int((right - left) / pitch)
        pieces += [f"M{left + i * pitch:.1f} {top:g}V{foot:g}" for i in range(1, count + 1)]
    for angle in slopes:
        rise = math.tan(math.radians(angle)) * (right - left)
        step = pitch / math.cos(math.radians(angle))
        first = math.ceil((top - max(rise, 0.0)) / step)
        last = math.floor((foot - min(rise, 0.0)) / step)
        for i in range(first, last + 1):
            clipped = _within(left, i * step, right, i * step + rise, top, foot)
            if clipped:
                pieces.append("M{:.1f} {:.1f}L{:.1f} {:.1f}".format(*clipped))
    return "".join(pieces)


def _within(
    x1: float, y1: float, x2: float, y2: float, top: float, foot: float
) -> tuple[float, float, float, float] | None:
    """Return what of a line lies between top and foot."""
    lo, hi = 0.0, 1.0
    if y1 == y2:
        return (x1, y1, x2, y2) if top < y1 < foot else None
    a, b = sorted(((top - y1) / (y2 - y1), (foot - y1) / (y2 - y1)))
    lo, hi = max(lo, a), min(hi, b)
    if lo >= hi:
        return None
    return (
        x1 + lo * (x2 - x1),
        y1 + lo * (y2 - y1),
        x1 + hi * (x2 - x1),
        y1 + hi * (y2 - y1),
    )


def _clear_line(scene: _Scene, frame: Frame, z_lo: float) -> Iterator[Shape]:
    y = frame.across(scene.edge(scene.plan.clearance_x_mm))
    yield _line("hint", frame.along(z_lo), y, frame.along(scene.face), y)
    x = max(frame.along(scene.plan.line_mm) - 10, LABEL_WIDTH)
    yield _text("end small label", x, y - 6, "rapids end here")


def _side_labels(scene: _Scene, frame: Frame, broken: bool) -> Iterator[Shape]:
    """Return the names of what stands along the axis, in two rows below the work."""
    plan = scene.plan
    first = frame.height - FOOT + TEXT * 1.2
    second = first + LABEL_STEP
    left, end = frame.along(plan.line_mm), frame.along(0.0)
    yield _text("end small", max(left + 2, 60.0), first, "line")
    yield _text("small", end + 4, first, "Z0")
    holder = "driven centre" if plan.job.holding.method == "between centres" else "chuck"
    where = f" at Z {_show(plan, -plan.job.part.length)}" if broken else ""
    yield _text("small", 6, second, holder + where)
    if plan.job.holding.held_by != "none":
        yield _text("end small", frame.width - 6, second, plan.job.holding.held_by)


def _between(value: float, least: float, most: float) -> float:
    return min(max(value, least), most)


# -- infeed view ---------------------------------------------------------------

MOST_NUMBERS = 8
"""Of passes: more cannot be told apart on a small screen."""

BAND = 132.0
"""Height above the blank's surface: where the rolls' faces are drawn [units]"""

DEPTH_HEIGHT = 250.0
"""Height of the depth scale [units]"""


def infeed_view(plan: Plan, line: Timeline) -> View:
    """Return penetration against Z, the depth stretched so that each step can be seen."""
    scene = _Scene(plan, line)
    frame, deepest = _infeed_frame(scene)
    floor, ceiling = -9.0 / frame.ky, deepest * 1.1

    depth = line.depth

    def at(x: float, z: float) -> float:
        return frame.across(min(max(depth(x, z), floor), ceiling))

    surface, full = frame.across(0.0), frame.across(plan.penetration_mm)
    end = _end_of_metal(frame)
    shapes = [
        _box("metal", 0, surface, end, frame.height - 40),
        _line("edge", 0, surface, end, surface),
        _line("edge", end, surface, end, frame.height - 40),
        _line("hint", 0, full, end, full),
        _text("end small label", min(end, WIDE - 140.0) - 8, surface - 6, "blank surface"),
        _text("small", frame.along(plan.line_mm) + 8, frame.height - 50, "line"),
        _line("limit", frame.along(plan.line_mm), 6, frame.along(plan.line_mm), full + 20),
    ]
    if plan.job.knurl.start > 0.0:
        x = frame.along(-plan.job.knurl.start)
        shapes.append(_line("limit", x, 6, x, full + 20))
    shapes += _faces(scene, frame)
    shapes += _ways(
        (
            s.phase,
            frame.along(scene.left(s.z0)),
            at(s.x0, s.z0),
            frame.along(scene.left(s.z1)),
            at(s.x1, s.z1),
        )
        for s in scene.touching
    )
    dwells = {
        (frame.along(scene.left(s.z1)), at(s.x1, s.z1))
        for s in scene.touching
        if s.phase == "dwell"
    }
    shapes += [_circle("way dwell", x, y, 5) for x, y in sorted(dwells)]
    shapes += _arrows(scene, frame)
    shapes += _depths(scene, frame)
    right = (WIDE - frame.x0) / frame.kx
    shapes += _scale(frame, -frame.x0 / frame.kx, right, frame.height - 34, plan.job.units)
    face = scene.face * frame.kx
    return View(
        "infeed",
        "Each pass, the depth stretched",
        f"Penetration against Z of the rolls' left edge: {len(line.prints)} passes down to "
        f"{_show(plan, max((p.depth for p in line.prints), default=0.0))}.",
        frame,
        tuple(shapes),
        (_box("roll flat", 0, -9, face, 0), _circle("spot", 0, 0, 5)),
        (floor, ceiling),
        any(
            not 0.0 <= frame.along(scene.left(z)) <= WIDE or depth(x, z) > ceiling
            for s in scene.touching
            for x, z in ((s.x0, s.z0), (s.x1, s.z1))
        ),
    )


def _end_of_metal(frame: Frame) -> float:
    """Return where the work ends, or the picture if that is nearer."""
    return min(frame.along(0.0), frame.width)


def _infeed_frame(scene: _Scene) -> tuple[Frame, float]:
    plan = scene.plan
    left, right = scene.reach()
    lo = min(left, plan.line_mm)
    hi = right + scene.face
    if hi > -2.0 * (hi - lo):
        hi = max(hi, 0.0)  # the end of the work is near enough to be shown
    margin = (34.0, 150.0)
    kx = (WIDE - sum(margin)) / (hi - lo)
    made = max((p.depth for p in scene.line.prints), default=0.0)
    deepest = max(plan.penetration_mm, min(made, DEEPEST * plan.penetration_mm))
    ky = DEPTH_HEIGHT / deepest
    height = BAND + DEPTH_HEIGHT * 1.12 + 46.0
    return Frame(
        WIDE, round(height, 1), round(margin[0] - lo * kx, 3), round(kx, 5), BAND, round(ky, 4)
    ), deepest


def _faces(scene: _Scene, frame: Frame) -> Iterator[Shape]:
    """Return how the rolls' face hangs over: at the start, at the line, on the return."""
    touching = scene.touching
    if not touching:
        return
    lefts = [scene.left(z) for s in touching for z in (s.z0, s.z1)]
    rows = [("start", scene.left(touching[0].z0))]
    if max(lefts) - min(lefts) > STILL_MM:
        rows.append(("farthest in", min(lefts)))
    returns = [scene.left(s.z1) for s in touching if s.phase == "tailstock"]
    if returns:
        rows.append(("return", max(returns)))
    for i, (name, left) in enumerate(rows):
        y = 10.0 + i * 34.0
        x1, x2 = frame.along(left), frame.along(left + scene.face)
        yield _box("face", x1, y, x2, y + 24)
        over = left + scene.face
        if over > STILL_MM:
            name += f", {_bare(scene.plan, over)} over"
        middle = _between((x1 + x2) / 2, LABEL_WIDTH / 2, WIDE - LABEL_WIDTH / 2)
        yield _text("mid small label", middle, y + 18, name)


def _arrows(scene: _Scene, frame: Frame) -> Iterator[Shape]:
    """Return an arrow and a number on each pass, side by side so that none hides another."""
    prints = scene.line.prints
    if not prints:
        return
    every = math.ceil(len(prints) / MOST_NUMBERS)
    names = pass_names(scene.plan, scene.line)
    beside: dict[float, int] = {}
    for i, one in enumerate(prints):
        left = len(prints) - 1 - i
        if left and (i % every or left < every):
            continue
        y = frame.across(min(one.depth, DEEPEST * scene.plan.penetration_mm * 1.1))
        if one.direction == "plunge":
            x = frame.along(scene.left(one.z_to))
            yield _polygon("tip infeed", [(x - 7, y - 14), (x + 7, y - 14), (x, y - 1)])
            row = round(y / TEXT)
            yield _text("number", x + 12 + 95 * beside.get(row, 0), y - 4, names[i])
            beside[row] = beside.get(row, 0) + 1
            continue
        share = (i + 0.7) / (len(prints) + 0.4)
        a, b = sorted((scene.left(one.z_from), scene.left(one.z_to)))
        x = _between(frame.along(a + (b - a) * share), 20.0, WIDE - 20.0)
        way = -1.0 if one.direction == "headstock" else 1.0
        tip = [(x + way * 10, y), (x - way * 6, y - 7), (x - way * 6, y + 7)]
        yield _polygon(f"tip {one.direction}", tip)
        yield _text("number mid", x, y - 10, names[i])


def _depths(scene: _Scene, frame: Frame) -> Iterator[Shape]:
    """Return the depth of each pass at the right, as many as can be read."""
    plan = scene.plan
    depths = {_bare(plan, p.depth): p.depth for p in scene.line.prints}
    unit = _show(plan, 0.0).split()[1]
    x = WIDE - 4
    yield _text("end small", x, BAND - 8, f"depth {unit}")
    limit = math.inf
    for text, depth in sorted(depths.items(), key=lambda item: -item[1]):
        if depth > DEEPEST * plan.penetration_mm:
            continue
        y = frame.across(depth)
        if limit - y >= LABEL_STEP and y > BAND + 8:
            yield _line("thin", min(_end_of_metal(frame), WIDE - 160.0), y, WIDE - 125, y)
            yield _text("end small", x, y + 6, text)
            limit = y


# -- end view ------------------------------------------------------------------


def end_view(plan: Plan, line: Timeline) -> View:
    """Return roll(s) against work, seen from the tailstock, at contact and at full depth."""
    contact = plan.contact
    blank, roll, half = contact.blank_radius_mm, contact.roll_radius_mm, contact.half_spacing_mm
    touch, full = contact.touch_mm, contact.centre_mm(plan.penetration_mm)
    clear = plan.clearance_x_mm / 2.0 + contact.datum_shift_mm
    lo, hi = -1.12 * blank, clear + 1.35 * roll
    tall = max(blank, half + roll) * 1.1
    scale = min(SQUARE / (hi - lo), 400.0 / (2.0 * tall))
    spare = (SQUARE / scale - (hi - lo)) / 2.0
    frame = Frame(
        SQUARE,
        round(2.0 * tall * scale + 4.0, 1),
        round((spare - lo) * scale, 3),
        round(scale, 5),
        round(tall * scale, 3),
        -round(scale, 5),
    )
    axis, centre = frame.across(0.0), frame.along(0.0)
    heights = [0.0] if not half else [half, -half]
    shapes = [
        _line("axis", 0, axis, SQUARE, axis),
        _line("axis", centre, 0, centre, frame.height),
        _circle("work", centre, axis, blank * scale),
        _circle("hint", centre, axis, (blank - plan.penetration_mm) * scale),
        _text("small end", SQUARE - 4, axis - 6, "centre height"),
    ]
    for v in heights:
        y = frame.across(v)
        shapes += [
            _circle("ghost contact", frame.along(touch), y, roll * scale),
            _circle("ghost full", frame.along(full), y, roll * scale),
            _circle("spot", frame.along(full), y, 3),
        ]
    moving = [_circle("roll", 0, -v * scale, roll * scale) for v in heights]
    moving += [_circle("spot", 0, -v * scale, 4) for v in heights]
    whose = "axis of the work as it gives way" if plan.follows else "axis"
    where = f"{_bare(plan, touch)} from the {whose} at contact, {_show(plan, full)} at full depth"
    told = f"Roll at centre height, its centre {where}."
    if half:
        told = f"Roll centres {_show(plan, half)} above and below centre height; {where}."
    return View(
        "end",
        "Seen from the tailstock",
        told,
        frame,
        tuple(shapes),
        tuple(moving),
        (-1e6, 1e6),
        False,
    )


# -- how the work gives way ----------------------------------------------------

NUMBERS = 110.0
"""Width beside a panel for the numbers on its axis, on a small screen too [units]"""

HEADROOM = 1.12
"""An axis reaches so many times as far as what is drawn."""

FLAT_MM = 0.01
"""End of an axis on which there is nothing but zero."""


@dataclass(frozen=True, slots=True)
class _Panel:
    """One scale across, from 0 at its top: deeper is lower, as in the other pictures."""

    top: float
    height: float
    end_mm: float

    def across(self, mm: float) -> float:
        share = _between(mm / self.end_mm, 0.0, 1.0)
        return round(self.top + self.height * share, 2)


def yield_chart(plan: Plan, given: GivingWay, told: str) -> Chart:
    """Return penetration and deflection along the work, the tailstock on the right.

    Args:
        plan: The plan.
        given: How the work gives way.
        told: Its main figures, in words.
    """
    curves = [given.other] if given.made is None else [given.other, given.made]
    deepest = max(given.planned_mm, *(max(c.value_mm) for c in curves))
    # A program that presses far too deep must not flatten all the rest.
    deepest = min(deepest, DEEPEST * given.planned_mm)
    upper = _Panel(44.0, 220.0, deepest * HEADROOM)
    lower = _Panel(318.0, 120.0, max(*given.deflection.value_mm, 0.0) * HEADROOM or FLAT_MM)
    lo, hi = plan.line_mm, max(-plan.job.knurl.start, *given.deflection.z_mm)
    kx = (WIDE - NUMBERS - 24.0) / (hi - lo)
    foot = lower.top + lower.height
    frame = Frame(WIDE, foot + 60.0, NUMBERS - lo * kx, kx, 0.0, 1.0)
    unit = "in" if plan.job.units == "inch" else "mm"
    left, right = NUMBERS, WIDE - 24.0
    planned = upper.across(given.planned_mm)
    shapes = [
        _text("small", left, upper.top - 14, f"penetration, {unit}"),
        _text("small", left, lower.top - 14, f"the work gives way by, {unit}"),
        *_axis(plan, upper, left, right, 4),
        *_axis(plan, lower, left, right, 3),
        _line("curve planned", left, planned, right, planned),
    ]
    if given.made is not None:
        shapes.append(_curve("curve made", frame, upper, given.made))
    # Thinner and dashed, so that where two run along one line both can be seen.
    shapes.append(_curve("curve other", frame, upper, given.other))
    shapes.append(_curve("curve gives", frame, lower, given.deflection))
    shapes += _scale(frame, lo, hi, foot + 12.0, plan.job.units)
    return Chart("How the work gives way (estimate)", told, WIDE, frame.height, tuple(shapes))


def _curve(kind: str, frame: Frame, panel: _Panel, curve: Curve) -> Shape:
    points = [
        (frame.along(z), panel.across(value))
        for z, value in zip(curve.z_mm, curve.value_mm, strict=True)
    ]
    return Shape("polyline", {"class": kind, "points": _points(points)})


def _axis(plan: Plan, panel: _Panel, left: float, right: float, most: int) -> Iterator[Shape]:
    """Return a panel's frame and a few numbers on its left, in the job's units."""
    unit = MM_PER_INCH if plan.job.units == "inch" else 1.0
    step = _nice_step(panel.end_mm / unit, most)
    places = max(0, -math.floor(math.log10(step) + 1e-9))
    yield _box("plot", left, panel.top, right, panel.top + panel.height)
    for count in range(math.floor(panel.end_mm / unit / step + 1e-9) + 1):
        y = panel.across(count * step * unit)
        yield _line("thin", left - 6, y, left, y)
        text = f"{count * step:.{places}f}" if count else "0"
        yield _text("end small", left - 10, y + 6, text)
