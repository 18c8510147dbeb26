"""The kinds of quantity that a job holds, each with the unit in which the plan computes."""

from __future__ import annotations

import enum
from dataclasses import dataclass
from typing import Literal

from knurlcam.errors import InputError

__all__ = ["MM_PER_INCH", "Kind", "QuantityError", "Units"]

Units = Literal["mm", "inch"]

MM_PER_INCH = 25.4
"""Millimetres in an inch: exact, by definition of the inch [mm/in]."""


class QuantityError(InputError):
    """A value is not one number with one fitting unit."""


@dataclass(frozen=True, slots=True)
class Look:
    """How people see a kind: unit, decimal places, and whether ``.000`` is kept.

    Lengths and feeds keep their zeros, as on a drawing.
    """

    unit: str
    places: int
    fixed: bool = False


@dataclass(frozen=True, slots=True)
class _Traits:
    """What sets one kind of quantity apart; see the properties of ``Kind``."""

    label: str
    unit: str
    usual: tuple[str, ...]  # other spellings, offered when a unit is not known
    example: str
    mm: Look
    inch: Look
    bare_mm: str | None = None
    bare_inch: str | None = None


class Kind(enum.Enum):
    """A kind of quantity with its canonical unit, in which the plan computes."""

    LENGTH = _Traits(
        "a length",
        "mm",
        ("µm", "cm", "m", "in", "inch", "thou", "ft"),
        "25.4 mm or 1 in",
        Look("mm", 3, fixed=True),
        Look("in", 4, fixed=True),
        bare_mm="mm",
        bare_inch="in",
    )
    SPEED = _Traits(
        "a spindle speed",
        "rev/min",
        ("rpm", "1/min", "r/min"),
        "110 rpm",
        Look("rev/min", 1),
        Look("rev/min", 1),
        bare_mm="rev/min",
        bare_inch="rev/min",
    )
    FEED = _Traits(
        "a feed per revolution",
        "mm/rev",
        ("in/rev", "inch/rev", "ipr", "thou/rev"),
        "0.5 mm/rev or 0.02 in/rev",
        Look("mm/rev", 3, fixed=True),
        Look("in/rev", 4, fixed=True),
        bare_mm="mm/rev",
        bare_inch="in/rev",
    )
    VELOCITY = _Traits(
        "a velocity",
        "m/min",
        ("mm/min", "m/s", "ft/min", "sfm", "in/min"),
        "30 m/min",
        Look("m/min", 1),
        Look("ft/min", 1),
    )
    ANGLE = _Traits(
        "an angle",
        "deg",
        ("°", "degrees", "rad"),
        "30 deg",
        Look("deg", 2),
        Look("deg", 2),
        bare_mm="deg",
        bare_inch="deg",
    )
    FORCE = _Traits("a force", "N", ("kN", "lbf"), "800 N", Look("N", 0), Look("lbf", 0))
    TORQUE = _Traits(
        "a torque",
        "N*m",
        ("Nm", "N*mm", "lbf*in", "lbf*ft"),
        "15 N*m",
        Look("N*m", 1),
        Look("lbf*in", 0),
    )
    STRESS = _Traits(
        "a stress",
        "MPa",
        ("N/mm2", "GPa", "psi", "ksi"),
        "250 MPa",
        Look("MPa", 0),
        Look("ksi", 1),
    )
    DENSITY = _Traits(
        "a density", "kg/m3", ("g/cm3",), "7850 kg/m3", Look("kg/m3", 0), Look("kg/m3", 0)
    )
    TIME = _Traits("a time", "s", ("sec", "min", "ms"), "2.5 s", Look("s", 1), Look("s", 1))

    # Members are single objects and keys of most caches; Enum would hash their names.
    __hash__ = object.__hash__

    @property
    def label(self) -> str:
        """The kind in words, such as ``a length``."""
        return self.value.label

    @property
    def unit(self) -> str:
        """The canonical unit, such as ``mm``."""
        return self.value.unit

    @property
    def usual(self) -> tuple[str, ...]:
        """Other spellings of units, offered when one is not known."""
        return self.value.usual

    @property
    def example(self) -> str:
        """A right value, for messages."""
        return self.value.example

    @property
    def expected(self) -> str:
        """What a value must be, for messages."""
        return f"{self.label} such as {self.example}"

    def bare_unit(self, units: Units) -> str | None:
        """Return the unit of a bare number in *units* jobs; None where one is refused."""
        return self.value.bare_inch if units == "inch" else self.value.bare_mm

    def look(self, units: Units) -> Look:
        """Return how people see the kind in *units* jobs."""
        return self.value.inch if units == "inch" else self.value.mm
