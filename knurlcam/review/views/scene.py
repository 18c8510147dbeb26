"""What more than one picture needs: plan and motion, seen from the rolls' left edge."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from knurlcam.plan.loads import pieces_of
from knurlcam.plan.model import Plan
from knurlcam.review.views.frame import Frame
from knurlcam.review.views.ways import Stretch
from knurlcam.timeline import Span, Timeline, touches

__all__ = ["Piece", "Scene"]


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of the work.

    Attributes:
        begin: Z at which it begins [mm]
        end: ... and ends [mm]
        radius: Its radius [mm]
    """

    begin: float
    end: float
    radius: float


@dataclass(frozen=True, slots=True)
class Scene:
    """Plan and motion.

    Attributes:
        plan: The plan.
        line: The motion against time.
    """

    plan: Plan
    line: Timeline

    @property
    def blank(self) -> float:
        """Radius of the blank [mm]."""
        return self.plan.contact.blank_radius_mm

    @property
    def face(self) -> float:
        """Width of the rolls' face [mm]."""
        return self.plan.job.tool.face_width

    @property
    def outline(self) -> list[Piece]:
        """The pieces of the work, from where it is held on."""
        found = []
        at = -self.plan.job.part.length
        for length, diameter in pieces_of(self.plan.job, 2.0 * self.blank):
            found.append(Piece(at, at + length, diameter / 2.0))
            at += length
        return found

    @property
    def touching(self) -> tuple[Span, ...]:
        """What happens with the rolls on the work."""
        return tuple(s for s in self.line.spans if touches(self.plan, s))

    def left(self, z: float) -> float:
        """Return Z of the rolls' left edge, from Z0 [mm]."""
        return z - self.plan.datum_shift_mm

    def edge(self, x: float) -> float:
        """Return the distance of the rolls' nearest edge from the spindle axis [mm]."""
        return self.blank - self.plan.contact.depth_mm(x)

    def reach(self) -> tuple[float, float]:
        """Return the leftmost and rightmost left edge on the work, planned and programmed [mm]."""
        planned = [z for p in self.plan.passes for z in (p.z_start_mm, p.z_end_mm)]
        # One wrong digit in a program must not shrink the picture to a dot.
        slack = 2.0 * self.face + self.plan.job.knurl.length
        near = (min(planned) - slack, max(planned) + slack)
        made = [min(max(z, near[0]), near[1]) for s in self.touching for z in (s.z0, s.z1)]
        return self.left(min(planned + made)), self.left(max(planned + made))

    def stretches(
        self, frame: Frame, spans: tuple[Span, ...], across: Callable[[float, float], float]
    ) -> Iterator[Stretch]:
        """Yield the way of the rolls' left edge.

        Args:
            frame: The picture's scale.
            spans: What of the motion is drawn.
            across: From X and Z of the slide to what is drawn across [mm]
        """
        for s in spans:
            yield Stretch(
                s.phase,
                frame.point(self.left(s.z0), across(s.x0, s.z0)),
                frame.point(self.left(s.z1), across(s.x1, s.z1)),
            )
