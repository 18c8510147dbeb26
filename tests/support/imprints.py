"""Imprints of the base job with changes, kept as long as the tests run."""

from __future__ import annotations

import math
import re
from functools import cache
from typing import Any

from knurlcam import Job, lay_out, make_plan, read_program, write_program
from knurlcam.gcode.motion import Motion
from knurlcam.imprint.make import Imprint, make_imprint
from knurlcam.plan.model import Plan
from knurlcam.timeline import Timeline, time_line
from tests.support.jobs import REMOVE, base_job

STRAIGHT: dict[str, Any] = {
    "knurl.callout": "DIN 82 RAA 1.0",
    "part.knurled_diameter": REMOVE,
    "process.accept": ["does-not-track", "doubles"],
}
"""A straight knurl on a blank that the test gives."""

PLUNGED: dict[str, Any] = {
    "tool.style": "single roll",
    "tool.roll_spacing": REMOVE,
    "knurl.length": 8.0,
    "part.length": 40.0,
    "part.knurled_diameter": REMOVE,
    "part.blank_diameter": 24.6,
    "process.accept": ["does-not-track", "doubles"],
}
"""One roll that goes straight in."""


CELLS_A_PITCH = 25.0
"""Cells to a pitch of a test's map [-]: a quarter of the cells of the command's map, for teeth,
depths and diameters do not depend on it."""


def closing_mm(teeth: float, changes: dict[str, Any]) -> float:
    """Return the blank of the base job with changes on which so many teeth fit [mm].

    On the circle on which the rolls roll: how far that lies below the surface depends on the
    infeed, and so on the knurl.
    """
    accept = list({"does-not-track", "doubles", *changes.get("process.accept", [])})
    blank = 25.0
    for _ in range(3):
        given = {"part.blank_diameter": blank, "part.knurled_diameter": REMOVE}
        plan = make_plan(
            Job.model_validate(base_job({**changes, **given, "process.accept": accept}))
        )
        whole = round(teeth)
        pitch = plan.tracking.transverse_pitch_mm
        blank = plan.tracking.blank_diameter(whole) + (teeth - whole) * pitch / math.pi
    return blank


class Made:
    """A job on its way to the work.

    Attributes:
        plan: Its plan.
        text: Its program.
        motion: What was read back from it.
    """

    def __init__(self, changes: dict[str, Any], edit: tuple[str, str] | None = None) -> None:
        self.plan: Plan = make_plan(Job.model_validate(base_job(changes)))
        self.text = write_program(lay_out(self.plan))
        if edit is not None:
            before = self.text
            self.text = re.sub(edit[0], edit[1], self.text)
            assert self.text != before
        self.motion: Motion = read_program(self.text)

    @property
    def line(self) -> Timeline:
        return time_line(self.motion, self.plan)

    def imprint(self, **more: Any) -> Imprint:
        """Return the imprint on rigid work, on a map of half the command's resolution."""
        coarse = {"resolution_mm": self.plan.knurl.pitch_mm / CELLS_A_PITCH}
        return make_imprint(self.plan, self.motion, **{"stiff": True, **coarse, **more})


@cache
def _kept(changes: tuple[tuple[str, Any], ...], more: tuple[tuple[str, Any], ...]) -> Imprint:
    thawed = {key: list(value) if isinstance(value, tuple) else value for key, value in changes}
    return Made(thawed).imprint(**dict(more))


def imprint_of(changes: dict[str, Any] | None = None, **more: Any) -> Imprint:
    """Return the imprint of the base job with changes; the work is rigid unless ``stiff=False``."""
    frozen = {k: tuple(v) if isinstance(v, list) else v for k, v in (changes or {}).items()}
    return _kept(tuple(frozen.items()), tuple(more.items()))
