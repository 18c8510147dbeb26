"""What the rolls leave, for the setter's page: pictures, figures, and whether it is clean.

Pages are made by the thousand: the map is coarser than that of the command, and what would
take too long is left out and said. All of it are estimates.
"""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from knurlcam.drawing.axes import scale_bar
from knurlcam.drawing.shapes import Drawing
from knurlcam.drawing.svg import data_uri, svg_text
from knurlcam.errors import CannotBeDoneError, InputError
from knurlcam.gcode.motion import Motion
from knurlcam.imprint.grid import Grid, grid_of
from knurlcam.imprint.make import Imprint, make_imprint
from knurlcam.imprint.pictures.close_up import patch_png
from knurlcam.imprint.pictures.cut import crest_z_mm
from knurlcam.imprint.pictures.part import part_image, part_scale
from knurlcam.imprint.pictures.picture import close_up_span_mm
from knurlcam.imprint.pictures.section import section_svg
from knurlcam.imprint.pictures.window_plot import window_svg
from knurlcam.imprint.prints import pattern_of
from knurlcam.imprint.report import ESTIMATE, imprint_rows, remarks_of, window_rows
from knurlcam.imprint.rolling import Course, Rolling, Stay
from knurlcam.imprint.stays import stays_on_work
from knurlcam.imprint.tracks import roll_on
from knurlcam.imprint.verdict import verdict_on, warning_on
from knurlcam.imprint.window import CLEAN, Window, window_of
from knurlcam.plan.model import Plan
from knurlcam.review.tables.sheet import Sheet, sheet_of
from knurlcam.timeline import Timeline
from knurlcam.units.kinds import Kind, Units
from knurlcam.units.show import show

__all__ = ["PageImprint", "Picture", "page_imprint"]

CELLS_A_PITCH = 25.0
MOST_CELLS = 1.5e6
"""A page's map has so many cells to a pitch, or fewer where it would have more than these..."""

FEWEST_CELLS_A_PITCH = 10.0
"""... but not so few that teeth are no longer measured."""

MOST_PRINTED = 2e7
"""Cells, each counted once for every track that is printed: about a second. Rolls that never
fall into a track cut a new one each turn."""

MOST_SPANS = 3_000
"""Stretches of motion with the rolls on the work; planned programs have some hundred."""

MOST_TURNS = 3_000
"""Turns of the work that are followed: three times those of the longest sample."""

LOOKS = 15
FEW_LOOKS = 11
"""Blanks that the window looks at, and where the program turns the work often: odd, so that
the planned one is among them."""

QUICK_TURNS = 130
MOST_WINDOW_TURNS = 600
"""Turns up to which the window looks often, and at all: each blank is rolled from the start,
some tens of microseconds a turn [-]"""

CLOSE_UP_PX = 440
PART_WIDE_PX, PART_HIGH_PX = 440, 300
"""Size of the two pictures; the part keeps its proportions within [pixels]"""

BAR_PX = 26
"""Height of the scale below the two pictures [pixels]"""

PART_QUALITY = 70
"""Quality of the part's picture as JPEG, of 100: the part is full of fine teeth, and a PNG that
looks as round is half as large again. The close-up stays a PNG, which is sharp [-]"""


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture that stands in the page itself.

    Attributes:
        uri: Its bytes as a ``data:`` address.
        description: What it shows, in words.
        width: [pixels]
        height: [pixels]
        bar: A bar of a round length, drawn as wide as the picture, an SVG.
    """

    uri: str
    description: str
    width: int
    height: int
    bar: Markup


@dataclass(frozen=True, slots=True)
class PageImprint:
    """What the rolls leave, as the page shows it.

    Attributes:
        verdict: ``clean``, or what the double impression comes to.
        double: The double impression, 0 to 1, as text.
        doubled: Whether it is a double impression that is wrong.
        warning: What is wrong, in a sentence; empty where it is clean.
        close_up: The surface close up.
        part: The knurled part.
        section: The section through the teeth, an SVG.
        section_title: What it is.
        window: Plot of the window of good blanks, an SVG; None where there is none.
        measures: What is measured on the map.
        blanks: The window of good blanks.
        said: What a reader must know of it, in sentences.
    """

    verdict: str
    double: str
    doubled: bool
    warning: str
    close_up: Picture
    part: Picture
    section: Markup
    section_title: str
    window: Markup | None
    measures: Sheet
    blanks: Sheet
    said: tuple[str, ...]


class _TooMuchError(Exception):
    """What a page has no time for, as a sentence part."""


def page_imprint(
    plan: Plan, motion: Motion, line: Timeline, *, sound: bool = True
) -> tuple[PageImprint | None, str]:
    """Return what the rolls leave, or why it cannot be shown.

    Args:
        plan: The plan.
        motion: The motion that was read.
        line: ... and against time.
        sound: Whether no error was found in the program: one that must not be run has no
            good blanks.

    Returns:
        What the page shows and an empty text, or None and a sentence.
    """
    try:
        turns, resolution = _affordable(plan, line)
        imprint = make_imprint(plan, motion, resolution_mm=resolution)
        # A program that must not be run has no good blanks, whatever its rolls would leave.
        window = _window(plan, line, turns) if sound else None
        return _shown(plan, imprint, window, sound), ""
    except CannotBeDoneError as error:
        return None, _cannot(error.refusals[0].message)
    except InputError as error:
        return None, _cannot(error.sentence())
    except _TooMuchError as error:
        return None, _cannot(str(error))


def _cannot(why: str) -> str:
    return f"What the rolls leave cannot be shown: {why}."


# -- what a page has time for --------------------------------------------------


def _affordable(plan: Plan, line: Timeline) -> tuple[float, float]:
    """Return turns of the work under the rolls, and a resolution that a page can afford [mm].

    Raises:
        CannotBeDoneError: if the rolls never touch the work, or it is not known where.
        _TooMuchError: if no resolution is affordable.
    """
    if len(line.spans) > MOST_SPANS:
        raise _TooMuchError("the program has too many blocks to follow for a page")
    rolling = Rolling(plan, plan.blank_diameter_mm)
    stays = stays_on_work(rolling, line)
    turns = sum(float(stay.turns[-1]) for stay in stays)
    if turns > MOST_TURNS:
        raise _TooMuchError(
            f"the work turns {turns:.0f} times under the rolls, too often to follow for a page"
        )
    course = roll_on(rolling, stays)
    pitch = plan.knurl.pitch_mm
    resolution = max(pitch / CELLS_A_PITCH, math.sqrt(_area_mm2(plan, stays) / MOST_CELLS))
    resolution = min(resolution, pitch / FEWEST_CELLS_A_PITCH)
    _refuse_too_large(grid_of(course, pattern_of(plan.knurl), rolling, resolution), course)
    return turns, resolution


def _area_mm2(plan: Plan, stays: Sequence[Stay]) -> float:
    """Return about how much of the work's surface a map shows, in mm2."""
    low = min(float(stay.left_mm.min()) for stay in stays)
    high = max(float(stay.left_mm.max()) for stay in stays) + plan.job.tool.face_width
    length = min(high, 0.0) - low + 2.0 * plan.knurl.pitch_mm
    return math.pi * plan.blank_diameter_mm * length


def _refuse_too_large(grid: Grid, course: Course) -> None:
    """Refuse a map that takes too long."""
    if grid.rows * grid.cells * len(course.tracks) > MOST_PRINTED:
        many = len(course.tracks) > 1
        raise _TooMuchError(
            f"the rolls cut {len(course.tracks)} tracks, too many to draw for a page"
            if many
            else "the knurl is too large to draw for a page; the imprint command draws it"
        )


def _window(plan: Plan, line: Timeline, turns: float) -> Window | None:
    """Return the window of good blanks; None where that takes too long."""
    if turns > MOST_WINDOW_TURNS:
        return None
    return window_of(plan, line, looks=LOOKS if turns <= QUICK_TURNS else FEW_LOOKS)


# -- what is shown -------------------------------------------------------------


def _shown(plan: Plan, imprint: Imprint, window: Window | None, sound: bool) -> PageImprint:
    surface, units = imprint.surface, plan.job.units
    double = imprint.measures.double_impression
    # In the middle of the knurl, not through the tallest teeth: where the work deflects those
    # stand at an end, and speak for nothing else.
    z = crest_z_mm(surface)
    section = section_svg(surface, z_mm=z, pitch_mm=plan.knurl.transverse_pitch_mm, units=units)
    return PageImprint(
        verdict=verdict_on(imprint),
        double=f"{double:.2f}",
        doubled=double >= CLEAN,
        warning=warning_on(imprint),
        close_up=_close_up(plan, imprint, z),
        part=_part(plan, imprint),
        section=Markup(section),
        section_title=f"Section through the teeth at Z {show(z, Kind.LENGTH, units)}, unrolled",
        # Markup of our own, its words escaped.
        window=None if window is None else Markup(window_svg(window, units=units)),
        measures=sheet_of("As it would be measured (estimate)", imprint_rows(imprint)),
        blanks=sheet_of("Blanks (estimate)", _blank_rows(plan, window, sound)),
        said=(*remarks_of(imprint), ESTIMATE),
    )


def _blank_rows(plan: Plan, window: Window | None, sound: bool) -> Sequence[tuple[str, str, str]]:
    """Return the rows of the window; what stands for it where there is none."""
    if window is not None:
        return window_rows(plan, window)
    why = (
        "the work turns too often for a page to try other blanks"
        if sound
        else "a program with errors has none"
    )
    return [("blanks that track", "not available", why)]


def _close_up(plan: Plan, imprint: Imprint, z_mm: float) -> Picture:
    """Return the surface close up."""
    surface, units = imprint.surface, plan.job.units
    span = close_up_span_mm(surface, plan.knurl.transverse_pitch_mm)
    data = patch_png(surface, centre_z_mm=z_mm, span_mm=span, width=CLOSE_UP_PX, height=CLOSE_UP_PX)
    single = len(imprint.course.tracks) == 1
    seen = "each tooth printed once" if single else "stray prints between the teeth"
    description = (
        f"The surface of the knurl close up, unrolled: {show(span, Kind.LENGTH, units)} each way, "
        f"the chuck on the left, lit from the upper left; {seen}."
    )
    bar = _bar(CLOSE_UP_PX / span, CLOSE_UP_PX, units)
    return Picture(data_uri(data, "png"), description, CLOSE_UP_PX, CLOSE_UP_PX, bar)


def _part(plan: Plan, imprint: Imprint) -> Picture:
    """Return the knurled part from the side, without the empty ground beside it."""
    surface = imprint.surface
    long = surface.length_mm / surface.across_mm
    width = min(PART_WIDE_PX, max(1, round(PART_HIGH_PX * long)))
    height = min(PART_HIGH_PX, max(1, round(width / long)))
    image = part_image(surface, width=width, height=height)
    out = io.BytesIO()
    image.save(out, format="JPEG", quality=PART_QUALITY, optimize=True)
    description = (
        f"The knurled part from the side, the chuck on the left, lit from the upper left: "
        f"{show(surface.across_mm, Kind.LENGTH, plan.job.units)} over the crests."
    )
    bar = _bar(part_scale(surface, width, height), width, plan.job.units)
    return Picture(data_uri(out.getvalue(), "jpeg"), description, width, height, bar)


def _bar(px_a_mm: float, width: int, units: Units) -> Markup:
    """Return a bar of a round length for a picture so wide, with its length beside it."""
    shapes = list(scale_bar((2.0, BAR_PX / 2.0), scale=px_a_mm, width=width, units=units))
    drawing = Drawing(shapes, width, BAR_PX, "Scale", "A bar of the length written beside it.")
    # Markup of our own, its words escaped.
    size = {"class": "section", "width": str(width), "height": str(BAR_PX)}
    return Markup(svg_text(drawing, size))
