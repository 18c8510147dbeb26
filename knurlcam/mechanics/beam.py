"""How far held work deflects under a force: a straight beam of round sections.

Places u are measured along the axis from the chuck or the driven centre: 0 there, L at the
end face. Small deflections of an elastic beam; shear, and what chuck, centres and slide
deflect themselves, are left out.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import accumulate, pairwise
from typing import Literal, NamedTuple

from knurlcam.errors import require

__all__ = [
    "HEAVIEST_MOMENT",
    "HEAVIEST_SHARES",
    "SOFTEST_SHARE",
    "Beam",
    "Piece",
    "Support",
    "plain_compliance_mm_per_n",
    "plain_deflection_mm_per_n",
    "plain_moment_mm",
    "plain_tailstock_share",
    "second_moment_mm4",
]

Support = Literal["simply supported", "fixed and supported", "fixed and free"]
"""Between centres; in a chuck with a centre; in a chuck alone."""

MOST_KEPT = 20_000
"""Deflections of stepped work that are kept, some megabytes [-]: the same places along it are
asked for again for each blank, each check of a program, and each picture of it."""


class Piece(NamedTuple):
    """A piece of the work with one diameter.

    Attributes:
        length_mm: Its length along the axis [mm]
        diameter_mm: Its diameter [mm]
    """

    length_mm: float
    diameter_mm: float


def second_moment_mm4(diameter_mm: float) -> float:
    """Return the second moment of area of a round section.

    I = pi d^4 / 64

    Args:
        diameter_mm: Diameter d, > 0 [mm]

    Returns:
        Second moment I [mm4]

    Raises:
        OutOfRangeError: if the diameter is not positive.

    Example:
        >>> round(second_moment_mm4(20.0), 1)
        7854.0

    Sources:
        [1] Geometry.
    """
    require("diameter_mm", diameter_mm, 1e-6, 1e5, "mm")
    return math.pi * diameter_mm**4 / 64.0


def plain_compliance_mm_per_n(
    support: Support, length_mm: float, flexure_n_mm2: float, u_mm: float
) -> float:
    """Return the compliance of plain work: its deflection under a force, at that force.

    u^2 v^2 / (3 E I L) with v = L - u between centres; u^3 / (3 E I) in a chuck; in a chuck
    with a centre u^3 (4 - (u / L) (3 - u / L)^2) / (12 E I)

    Args:
        support: How it is held [-]
        length_mm: Length L from the chuck or the driven centre to the end face, > 0 [mm]
        flexure_n_mm2: E I, > 0 [N*mm2]
        u_mm: Place of the force u, 0 to L [mm]

    Returns:
        Deflection at u for each newton at u [mm/N]

    Raises:
        OutOfRangeError: if a length is not positive, or the place is not on the work.

    Example:
        Steel, 20 mm, 120 mm between centres, loaded in the middle: L^3 / (48 E I)

        >>> flexure = 200_000.0 * second_moment_mm4(20.0)
        >>> round(plain_compliance_mm_per_n("simply supported", 120.0, flexure, 60.0) * 1e6, 3)
        22.918

    Sources:
        [1] Hicks, Civil Engineering Formulas (2002), Fig. 2.2, cases 2 and 9; a cantilever:
            Machinery's Handbook, 31st ed., Beams, Table 1, cases 11 and 12.
    """
    require("length_mm", length_mm, 1e-6, 1e5, "mm")
    require("u_mm", u_mm, 0.0, length_mm * (1.0 + 1e-9), "mm")
    if support == "simply supported":
        ahead = length_mm - u_mm
        return u_mm * u_mm * ahead * ahead / (3.0 * flexure_n_mm2 * length_mm)
    cube = u_mm * u_mm * u_mm
    if support == "fixed and free":
        return cube / (3.0 * flexure_n_mm2)
    share = u_mm / length_mm
    return cube * (4.0 - share * (3.0 - share) ** 2) / (12.0 * flexure_n_mm2)


def plain_deflection_mm_per_n(
    support: Support, length_mm: float, flexure_n_mm2: float, force_mm: float, at_mm: float
) -> float:
    """Return how far plain work deflects at one place under a force at another.

    With a the nearer place to the chuck and b the further, v = L - b: between centres
    a v (L^2 - v^2 - a^2) / (6 E I L); in a chuck a^2 (3 b - a) / (6 E I); with a centre that,
    less what its reaction holds back

    Args:
        support: How it is held [-]
        length_mm: Length L, > 0 [mm]
        flexure_n_mm2: E I, > 0 [N*mm2]
        force_mm: Place of the force, 0 to L [mm]
        at_mm: Place of the deflection, 0 to L [mm]

    Returns:
        Deflection there for each newton of the force [mm/N]

    Raises:
        OutOfRangeError: if a length is not positive, or the force is not on the work.

    Example:
        >>> round(plain_deflection_mm_per_n("fixed and free", 1.0, 1.0, 0.6, 1.0), 9)
        0.144

    Sources:
        [1] Hicks, Civil Engineering Formulas (2002), Fig. 2.2, cases 2 and 9; the example:
            Machinery's Handbook, 31st ed., Beams, Table 1, case 12.
    """
    held = plain_tailstock_share(support, length_mm, force_mm)
    near, far = min(force_mm, at_mm), max(force_mm, at_mm)
    if support == "simply supported":
        ahead = length_mm - far
        line = ahead * near * (length_mm * length_mm - ahead * ahead - near * near) / length_mm
    else:
        line = near * near * (3.0 * far - near)
        line -= held * at_mm * at_mm * (3.0 * length_mm - at_mm)
    return line / (6.0 * flexure_n_mm2)


def plain_tailstock_share(support: Support, length_mm: float, u_mm: float) -> float:
    """Return which share of a force on plain work the centre at the tailstock takes.

    u / L between centres; u^2 (3 L - u) / (2 L^3) with a chuck; none without a centre

    Args:
        support: How it is held [-]
        length_mm: Length L, > 0 [mm]
        u_mm: Place of the force u, 0 to L [mm]

    Returns:
        Reaction at the tailstock over the force [-]

    Raises:
        OutOfRangeError: if a length is not positive, or the place is not on the work.

    Example:
        In the middle between chuck and centre 5 / 16:

        >>> plain_tailstock_share("fixed and supported", 10.0, 5.0)
        0.3125

    Sources:
        [1] Hicks, Civil Engineering Formulas (2002), Fig. 2.2, case 9 (5 / 16 at the middle).
    """
    require("length_mm", length_mm, 1e-6, 1e5, "mm")
    require("u_mm", u_mm, 0.0, length_mm * (1.0 + 1e-9), "mm")
    if support == "simply supported":
        return u_mm / length_mm
    if support == "fixed and free":
        return 0.0
    return u_mm * u_mm * (3.0 * length_mm - u_mm) / (2.0 * length_mm**3)


def plain_moment_mm(support: Support, length_mm: float, u_mm: float) -> float:
    """Return the largest bending moment in plain work for each newton of a force.

    u v / L between centres, at the force; u in a chuck; with both the larger of the moment at
    the force, R v, and at the chuck, u - R L

    Args:
        support: How it is held [-]
        length_mm: Length L, > 0 [mm]
        u_mm: Place of the force u, 0 to L [mm]

    Returns:
        Moment over the force [mm]

    Raises:
        OutOfRangeError: if a length is not positive, or the place is not on the work.

    Example:
        Between chuck and centre, loaded in the middle: 3 / 16 L at the chuck

        >>> plain_moment_mm("fixed and supported", 16.0, 8.0)
        3.0

    Sources:
        [1] Statics, with the reaction R of :func:`plain_tailstock_share`; 3 / 16 from memory.
    """
    share = plain_tailstock_share(support, length_mm, u_mm)
    return max(share * (length_mm - u_mm), u_mm - share * length_mm)


SOFTEST_SHARE: dict[Support, float] = {
    "simply supported": 0.5,
    "fixed and supported": 2.0 - math.sqrt(2.0),
    "fixed and free": 1.0,
}
"""Where plain work deflects most, over its length from the chuck or the driven centre [-];
with a chuck and a centre 0.414 L from the centre (Hicks, Civil Engineering Formulas (2002),
Fig. 2.2, case 9)."""

HEAVIEST_SHARES: dict[Support, tuple[float, ...]] = {
    "simply supported": (0.5,),
    "fixed and supported": (1.0 - 1.0 / math.sqrt(3.0), (3.0 - math.sqrt(3.0)) / 2.0),
    "fixed and free": (1.0,),
}
"""Where a force bends plain work most, at the chuck and at the force, over its length [-]."""

HEAVIEST_MOMENT: dict[Support, float] = {
    "simply supported": 0.25,
    "fixed and supported": 1.0 / (3.0 * math.sqrt(3.0)),
    "fixed and free": 1.0,
}
"""Moment of a force there, over force and length [-]."""


@dataclass(frozen=True, slots=True)
class Beam:
    """The work as it is held.

    Attributes:
        support: How.
        youngs_modulus_mpa: Young's modulus E [MPa]
        pieces: From the chuck or the driven centre to the end face.
        length_mm: Length L from the chuck or the driven centre to the end face [mm]
        ends_mm: Where each piece ends [mm]
        flexures_n_mm2: E I of each piece [N*mm2]
    """

    support: Support
    youngs_modulus_mpa: float
    pieces: tuple[Piece, ...]
    length_mm: float = field(init=False, compare=False)
    ends_mm: tuple[float, ...] = field(init=False, compare=False)
    flexures_n_mm2: tuple[float, ...] = field(init=False, compare=False)

    def __post_init__(self) -> None:
        modulus = self.youngs_modulus_mpa
        ends = tuple(accumulate([length for length, _ in self.pieces]))
        flexures = tuple([modulus * second_moment_mm4(d) for _, d in self.pieces])
        for name, value in (
            ("length_mm", ends[-1]),
            ("ends_mm", ends),
            ("flexures_n_mm2", flexures),
        ):
            object.__setattr__(self, name, value)  # the class is frozen from outside

    def compliance_mm_per_n(self, u_mm: float) -> float:
        """Return the compliance of the work: its deflection under a force, at that force.

        Args:
            u_mm: Place of the force u, 0 to L [mm]

        Returns:
            Deflection at u for each newton at u [mm/N]

        Example:
            A step as thick as the rest changes nothing:

            >>> plain = Beam("fixed and free", 200_000.0, (Piece(50.0, 20.0),))
            >>> stepped = Beam("fixed and free", 200_000.0, (Piece(20.0, 20.0), Piece(30.0, 20.0)))
            >>> round(plain.compliance_mm_per_n(40.0) / stepped.compliance_mm_per_n(40.0), 9)
            1.0

        Sources:
            [1] :func:`plain_compliance_mm_per_n`; stepped work by integrals of moment times
                moment over E I, :meth:`deflection_mm_per_n`.
        """
        if len(self.pieces) > 1:
            return self.deflection_mm_per_n(u_mm, u_mm)
        return plain_compliance_mm_per_n(self.support, self.length_mm, self.flexures_n_mm2[0], u_mm)

    def deflection_mm_per_n(self, force_mm: float, at_mm: float) -> float:
        """Return how far the work deflects at one place under a force at another.

        Args:
            force_mm: Place of the force, 0 to L [mm]
            at_mm: Place of the deflection, 0 to L [mm]

        Returns:
            Deflection there for each newton of the force [mm/N]

        Example:
            A bar of 1 mm that sticks out 10 mm, loaded at 6 mm: the end goes 2 times as far
            as the place of the force (l = 6, b = 4: l^2 (2 l + 3 b) / 6 against l^3 / 3)

            >>> bar = Beam("fixed and free", 1.0, (Piece(10.0, 1.0),))
            >>> round(bar.deflection_mm_per_n(6.0, 10.0) / bar.deflection_mm_per_n(6.0, 6.0), 6)
            2.0

        Sources:
            [1] The unit load method (Castigliano); Machinery's Handbook, 31st ed., Beams,
                Table 1, case 12, for the example.
        """
        if len(self.pieces) == 1:
            flexure = self.flexures_n_mm2[0]
            return plain_deflection_mm_per_n(self.support, self.length_mm, flexure, force_mm, at_mm)
        return _stepped_deflection_mm_per_n(self, force_mm, at_mm)

    def _stepped_mm_per_n(self, force_mm: float, at_mm: float) -> float:
        """Return what :meth:`deflection_mm_per_n` does, of stepped work."""
        if self.support == "simply supported":
            return self._integral(self._across(force_mm), self._across(at_mm))
        free = self._integral(_lever(force_mm), _lever(at_mm))
        if self.support == "fixed and free":
            return free
        end = self.length_mm
        held = self._held(force_mm)
        return free - held * self._integral(_lever(end), _lever(at_mm))

    def tailstock_share(self, force_mm: float) -> float:
        """Return which share of a force the centre at the tailstock takes.

        Args:
            force_mm: Place of the force u, 0 to L [mm]

        Returns:
            Reaction at the tailstock over the force [-]

        Example:
            >>> Beam("simply supported", 1.0, (Piece(10.0, 1.0),)).tailstock_share(5.0)
            0.5

        Sources:
            [1] :func:`plain_tailstock_share`; stepped work by integrals of moment times
                moment over E I.
        """
        if self.support != "fixed and supported" or len(self.pieces) == 1:
            return plain_tailstock_share(self.support, self.length_mm, force_mm)
        return self._held(force_mm)

    def stress_mpa_per_n(self, force_mm: float) -> float:
        """Return the largest bending stress in the work for each newton of a force.

        M d / (2 I) = 32 M / (pi d^3), at the force, at the fixed end and at each step.

        Args:
            force_mm: Place of the force u, 0 to L [mm]

        Returns:
            Bending stress [MPa/N]

        Example:
            >>> bar = Beam("fixed and free", 200_000.0, (Piece(50.0, 10.0),))
            >>> round(bar.stress_mpa_per_n(50.0), 4)
            0.5093

        Sources:
            [1] Bending of a straight beam; no notch factor for the grooves.
        """
        largest, begin = 0.0, 0.0
        share = self.tailstock_share(force_mm)
        for piece, end in zip(self.pieces, self.ends_mm, strict=True):
            section = math.pi * piece.diameter_mm**3 / 32.0
            for at in (begin, end, force_mm):
                if begin <= at <= end:
                    moment = share * (self.length_mm - at) - max(0.0, force_mm - at)
                    largest = max(largest, abs(moment) / section)
            begin = end
        return largest

    @property
    def most_stress_mpa_per_n(self) -> float:
        """What :meth:`stress_mpa_per_n` exceeds at no place of the force [MPa/N].

        The largest moment anywhere on the thinnest piece: close for plain work, far too much
        for stepped work. Meant for the many set-ups that are bent by next to nothing.
        """
        # With steps the centre's share of the force is another: then it is left out.
        plain = len(self.pieces) == 1 or self.support == "simply supported"
        moment = (HEAVIEST_MOMENT[self.support] if plain else 1.0) * self.length_mm
        thinnest = min([diameter for _, diameter in self.pieces])
        return 32.0 * moment / (math.pi * thinnest**3)

    # -- integrals of moment times moment over E I ---------------------------------

    def _across(self, force: float) -> _Moment:
        """Moment of a unit force between centres."""
        return _Moment(0.0, (self.length_mm - force) / self.length_mm, -1.0, force)

    def _held(self, force: float) -> float:
        """Reaction at the centre that keeps the end of work in a chuck where it is."""
        end = _lever(self.length_mm)
        return self._integral(_lever(force), end) / self._integral(end, end)

    def _integral(self, one: _Moment, other: _Moment) -> float:
        """Integrate the product of two moments over E I along the work.

        Simpson's rule is exact for the product of two straight lines.
        """
        ends, flexures = self.ends_mm, self.flexures_n_mm2
        breaks = sorted({0.0, *ends, one.force, other.force})
        total = 0.0
        for begin, end in pairwise(breaks):
            middle = (begin + end) / 2.0
            products = one.at(begin) * other.at(begin) + one.at(end) * other.at(end)
            products += 4.0 * one.at(middle) * other.at(middle)
            piece = min(bisect_right(ends, middle), len(ends) - 1)
            total += products * (end - begin) / 6.0 / flexures[piece]
        return total


@lru_cache(maxsize=MOST_KEPT)
def _stepped_deflection_mm_per_n(beam: Beam, force_mm: float, at_mm: float) -> float:
    return beam._stepped_mm_per_n(force_mm, at_mm)


class _Moment(NamedTuple):
    """Bending moment of a unit force: start + slope u, and a kink at the force."""

    start: float
    slope: float
    kink: float
    force: float

    def at(self, u: float) -> float:
        return self.start + self.slope * u + self.kink * max(0.0, u - self.force)


def _lever(force: float) -> _Moment:
    """Moment of a unit force on work that is fixed at 0 and free."""
    return _Moment(force, -1.0, 1.0, force)
