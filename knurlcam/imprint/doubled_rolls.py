"""The double impression of rolls whose first turn finds no track: asked by the plan.

Where the first turn of the rolls tracks there is none, and the plan says so in closed form.
Where it does not, the rolls must be followed to say how far stray grooves divide the teeth: they
may find a deeper track later, and fill the shallow ones.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from knurlcam.errors import CannotBeDoneError
from knurlcam.imprint.displaced_metal import double_impression_of
from knurlcam.imprint.rolling import Rolling
from knurlcam.imprint.stays import stays_along
from knurlcam.imprint.tracks import roll_on
from knurlcam.imprint.window import MOST_TURNS, MOST_TURNS_OF_FACES
from knurlcam.plan.model import Plan
from knurlcam.timeline import Span

if TYPE_CHECKING:
    from knurlcam.plan.expected import Stretch

__all__ = ["double_impression_along"]

FULLY = 1.0
"""What is taken for the double impression of rolls that would take long to follow [-]"""


def double_impression_along(plan: Plan, stretches: Iterable[Stretch]) -> float:
    """Return the double impression that rolls leave along a way, where it is worst.

    Rolls that leave the work and come back are taken to find their track again.

    Args:
        plan: The plan.
        stretches: What the slide does, in order.

    Returns:
        0 clean to 1 fully doubled [-]
    """
    rolling = Rolling(plan, plan.blank_diameter_mm, return_teeth=0.0)
    try:
        stays = stays_along(rolling, map(_span, stretches))
        turns = sum(float(stay.turns[-1]) for stay in stays)
        faces = plan.job.knurl.length / plan.job.tool.face_width
        if turns > MOST_TURNS or turns * faces > MOST_TURNS_OF_FACES:
            return FULLY
        return double_impression_of(rolling, roll_on(rolling, stays))
    except CannotBeDoneError:  # too many turns, or tracks: what never settles is doubled
        return FULLY


def _span(stretch: Stretch) -> Span:
    """Return a stretch of a plan or a text as a stretch of time, without its times."""
    return Span(
        block=0,
        phase="dwell" if stretch.dwells else "infeed",
        start_s=0.0,
        end_s=0.0,
        x0=stretch.x0_mm,
        z0=stretch.z0_mm,
        x1=stretch.x1_mm,
        z1=stretch.z1_mm,
        revolutions=stretch.turns,
        feed_mm_per_rev=None,
        timed=True,
        rpm=0.0,
    )
