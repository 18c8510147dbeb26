"""The reference tables of ``shared/*.toml`` as typed rows.

Each function reads the one file that it needs, checks every row, and keeps the
result. A shop's own table, in the folder that ``KNURLCAM_TABLES`` names, stands
in for the file of the same name that knurlcam brings.

Nothing but the standard library is imported here: a command that asks for one
table must not pay for models or units.
"""

from __future__ import annotations

import math
import os
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, lru_cache
from importlib.util import find_spec
from pathlib import Path
from types import MappingProxyType
from typing import Literal, NamedTuple, ParamSpec, TypeVar, cast

from knurlcam.errors import InputError, nearest
from knurlcam.toml import read_toml

__all__ = [
    "TABLES_VARIABLE",
    "Caution",
    "DiametralPitch",
    "FitFriction",
    "Form",
    "Material",
    "Roll",
    "RollSet",
    "SpeedRules",
    "StandardTolerance",
    "TurningSpeed",
    "cautions",
    "clear_caches",
    "data_folder",
    "diametral_pitches",
    "find_material",
    "fit_friction",
    "forms",
    "header_lines",
    "kept_until_cleared",
    "materials",
    "profile_angles_deg",
    "proving",
    "roll_sets",
    "rolls",
    "speed_rules",
    "standard_pitches_mm",
    "standard_tolerances",
    "trade_tpi",
    "turning_speeds",
    "when_cleared",
]

TABLES_VARIABLE = "KNURLCAM_TABLES"
"""Environment variable that names a shop's own folder of tables."""

MAX_TABLE_BYTES = 500_000
"""Ten times the longest table that comes with knurlcam."""

_FILES = {
    "materials.toml": ("sources", "material"),
    "knurls.toml": (
        "sources",
        "standard_pitches",
        "profile_angles",
        "trade_tpi",
        "form",
        "diametral_pitch",
    ),
    "rolls.toml": ("sources", "roll", "roll_set"),
    "speeds.toml": ("sources", "rules", "turning_speed"),
    "fits.toml": ("sources", "friction", "standard_tolerance"),
    "cautions.toml": ("caution", "proving"),
}
_FAMILIES = ("straight", "raised", "indented")
_HANDS = ("left", "right", "both", "none")
_CLASSES = ("I", "II", "III")
_GRADES = ("IT6", "IT7", "IT8")
_SHORT = re.compile(r"[A-Z0-9 ,.]{1,56}")
_METRES_PER_MINUTE = {"m/min": 1.0, "ft/min": 0.3048}


@dataclass(frozen=True, slots=True)
class Material:
    """A material of the work or of a hub.

    Attributes:
        name: Canonical name.
        aliases: Other names, in both systems of standards.
        yield_strength_mpa: Yield or 0.2 % proof strength [MPa]; None where no source gives one.
        tensile_strength_mpa: Tensile strength [MPa].
        elongation_percent: Elongation at fracture [%].
        youngs_modulus_gpa: Young's modulus [GPa].
        poisson_ratio: Poisson's ratio [-].
        density_kg_m3: Density [kg/m³].
        brinell: Brinell hardness [HB].
        turning_speed_m_min: Turning speed of a high speed steel tool [m/min].
        sources: Source of each figure, by the name of its attribute.
    """

    name: str
    aliases: tuple[str, ...]
    yield_strength_mpa: float | None
    tensile_strength_mpa: float | None
    elongation_percent: float | None
    youngs_modulus_gpa: float | None
    poisson_ratio: float | None
    density_kg_m3: float | None
    brinell: float | None
    turning_speed_m_min: float
    sources: Mapping[str, str] = field(hash=False)


class Form(NamedTuple):
    """A form of knurl.

    Attributes:
        form: Its letters in DIN 82, such as ``RGE``.
        description: What it looks like.
        family: ``straight``, ``raised`` or ``indented``: which volume formula holds.
        helical: Whether its grooves stand at an angle to the axis.
        helix_deg: That angle unless the job says else [degrees].
        growth_factor: Growth of the diameter over the pitch, full form, 90 degrees [-].
        source: Where the row comes from.
        hand: ``left``, ``right``, ``both`` or ``none``.
    """

    form: str
    description: str
    family: Literal["straight", "raised", "indented"]
    helical: bool
    helix_deg: float
    growth_factor: float
    source: str
    hand: str


class Roll(NamedTuple):
    """A knurling roll.

    Attributes:
        form: Its letters in DIN 403, such as ``BL``.
        description: What its teeth look like.
        traverses: Whether it may be fed along the work; if not, it only plunges.
        source: Where the row comes from.
    """

    form: str
    description: str
    traverses: bool
    source: str


class RollSet(NamedTuple):
    """One way of making a knurl.

    Attributes:
        form: The knurl that it makes.
        rolls: One roll for a one-roll holder, two for a two-roll tool.
        swivelled: Whether the rolls are turned by the helix angle.
        source: Where the row comes from.
    """

    form: str
    rolls: tuple[str, ...]
    swivelled: bool
    source: str


@dataclass(frozen=True, slots=True)
class DiametralPitch:
    """A standard diametral pitch; all lengths in inch, on the diameter.

    Attributes:
        diametral_pitch: Teeth per inch of diameter [1/in].
        blank_in: Limits (upper, lower) of the blank by class I, II, III [in].
        knurled_in: Limits (upper, lower) of the knurled diameter by class [in].
        tooth_depth_in: Tooth depth of the roll, ``straight`` and ``diagonal`` [in].
        source: Where the figures come from, class by class.
    """

    diametral_pitch: int
    blank_in: Mapping[str, tuple[float, float]] = field(hash=False)
    knurled_in: Mapping[str, tuple[float, float]] = field(hash=False)
    tooth_depth_in: Mapping[str, float] = field(hash=False)
    source: str


class Caution(NamedTuple):
    """A caution.

    Attributes:
        text: The whole sentence, for a page.
        short: The line for a program's header; None where another line covers it.
    """

    text: str
    short: str | None


@dataclass(frozen=True, slots=True)
class SpeedRules:
    """The rules for speed and feed of form knurling.

    Attributes:
        turning_speed_factor: Knurling speed over turning speed [-].
        reversal_limit_rpm: Highest speed where the feed reverses under load [rev/min].
        feed_min_mm_per_rev: Lower end of the usual feed [mm/rev].
        feed_max_mm_per_rev: Upper end of the usual feed [mm/rev].
        feed_default_mm_per_rev: Feed unless the job says else [mm/rev].
        infeed_mm_per_rev: Infeed of the slide unless the job says else [mm/rev].
        sources: Source of each figure, by the name of its attribute.
    """

    turning_speed_factor: float
    reversal_limit_rpm: float
    feed_min_mm_per_rev: float
    feed_max_mm_per_rev: float
    feed_default_mm_per_rev: float
    infeed_mm_per_rev: float
    sources: Mapping[str, str] = field(hash=False)


class TurningSpeed(NamedTuple):
    """A published range of turning speeds for high speed steel tools.

    Attributes:
        material: The group of materials as the source names it.
        roughing_m_min: Range (low, high) for roughing [m/min].
        finishing_m_min: Range (low, high) for finishing [m/min].
        source: Where the row comes from.
    """

    material: str
    roughing_m_min: tuple[float, float]
    finishing_m_min: tuple[float, float]
    source: str


@dataclass(frozen=True, slots=True)
class FitFriction:
    """Friction between a pressed-in knurl and its hub.

    Attributes:
        counted_on: What can be counted on for holding [-].
        to_press: What the press may have to get over [-].
        sources: Source of each figure, by the name of its attribute.
    """

    counted_on: float
    to_press: float
    sources: Mapping[str, str] = field(hash=False)


@dataclass(frozen=True, slots=True)
class StandardTolerance:
    """The standard tolerances of ISO 286 for a range of nominal sizes.

    Attributes:
        over_mm: The range begins above this size [mm].
        up_to_mm: It ends with this size, which belongs to it [mm].
        um: Width of IT6, IT7 and IT8, by name [µm].
        sources: Source of each width, by name.
    """

    over_mm: float
    up_to_mm: float
    um: Mapping[str, float] = field(hash=False)
    sources: Mapping[str, str] = field(hash=False)


_Lettered = TypeVar("_Lettered", Form, Roll)
_P = ParamSpec("_P")
_R = TypeVar("_R")


# What the tables say


@cache
def materials() -> tuple[Material, ...]:
    """Return every material, in the order of the table."""
    rows = _read("materials.toml").rows("material")
    found = tuple(_material(row) for row in rows)
    _refuse_shared_names(found, rows)
    return found


@lru_cache(maxsize=1024)
def find_material(name: str) -> Material:
    """Return the material of that name or alias.

    Case, spaces and hyphens do not count, both spellings of aluminium and grey
    are known, and dots may be left out where one material only can be meant.

    Args:
        name: A name or alias, such as ``EN AW-6082``.

    Raises:
        InputError: if no material has that name; the nearest name is offered.
    """
    table = materials()
    for fold in (_fold, _fold_dots):
        wanted = fold(name)
        matches = [m for m in table if wanted in {fold(n) for n in (m.name, *m.aliases)}]
        if len(matches) == 1:
            return matches[0]
    raise InputError(
        "unknown material",
        key="material",
        value=name,
        expected="a name or alias of the material table, or a table of its own",
        remedy=_nearest_material(name, table),
    )


@cache
def forms() -> Mapping[str, Form]:
    """Return the forms of knurl by their letters."""
    return _by_letters(_form(row) for row in _read("knurls.toml").rows("form"))


@cache
def rolls() -> Mapping[str, Roll]:
    """Return the rolls by their letters."""
    return _by_letters(_roll(row) for row in _read("rolls.toml").rows("roll"))


@cache
def roll_sets(form: str) -> tuple[RollSet, ...]:
    """Return the sets of rolls that make a knurl.

    The first with one roll, and the first with two, is the default of its kind.

    Args:
        form: Letters of the knurl, such as ``RGE``.

    Raises:
        InputError: if no set makes that form.
    """
    table = _read("rolls.toml")
    known_rolls = tuple(rolls())
    every = [_roll_set(row, known_rolls) for row in table.rows("roll_set")]
    found = tuple(row for row in every if row.form == form)
    if not found:
        known = dict.fromkeys(row.form for row in every)
        raise table.fault(
            "roll_set", "no rolls make this form", form, "a form of knurl", nearest(form, known)
        )
    return found


@cache
def standard_pitches_mm() -> tuple[float, ...]:
    """Return the standard pitches of DIN 82 [mm]."""
    return _sourced_list("knurls.toml", "standard_pitches", "values_mm")


@cache
def profile_angles_deg() -> tuple[float, ...]:
    """Return the profile angles of DIN 82, the usual one first [degrees]."""
    return _sourced_list("knurls.toml", "profile_angles", "values_deg", below=180.0)


@cache
def trade_tpi() -> Mapping[str, int]:
    """Return the teeth per inch behind the words coarse, medium and fine [1/in]."""
    row = _read("knurls.toml").row("trade_tpi")
    row.source("source")
    words = {key: row.whole(key) for key in row.values if key != "source"}
    return MappingProxyType(words)


@cache
def diametral_pitches() -> Mapping[int, DiametralPitch]:
    """Return the standard diametral pitches, by teeth per inch of diameter."""
    found: dict[int, DiametralPitch] = {}
    for row in _read("knurls.toml").rows("diametral_pitch"):
        pitch = _diametral_pitch(row)
        if pitch.diametral_pitch in found:
            raise row.fault("diametral_pitch", "stands twice", pitch.diametral_pitch)
        found[pitch.diametral_pitch] = pitch
    return MappingProxyType(found)


@cache
def cautions() -> tuple[Caution, ...]:
    """Return the cautions, in the order in which they are shown."""
    return tuple(_caution(row) for row in _read("cautions.toml").rows("caution"))


@cache
def proving() -> tuple[str, ...]:
    """Return the sentences about proving a program, which follow the cautions."""
    return tuple(caution.text for caution in _proving())


@cache
def header_lines() -> tuple[str, ...]:
    """Return the short lines of cautions and proving for a program's header.

    Upper case letters, digits, spaces, commas and periods only, at most 56
    characters, so that every dialect can hold them in a comment.
    """
    return tuple(c.short for c in (*cautions(), *_proving()) if c.short is not None)


@cache
def speed_rules() -> SpeedRules:
    """Return the rules for speed and feed."""
    row = _read("speeds.toml").row("rules")
    row.allow(*SpeedRules.__slots__)
    rules = SpeedRules(
        turning_speed_factor=row.figure("turning_speed_factor"),
        reversal_limit_rpm=row.figure("reversal_limit_rpm"),
        feed_min_mm_per_rev=row.figure("feed_min_mm_per_rev"),
        feed_max_mm_per_rev=row.figure("feed_max_mm_per_rev"),
        feed_default_mm_per_rev=row.figure("feed_default_mm_per_rev"),
        infeed_mm_per_rev=row.figure("infeed_mm_per_rev"),
        sources=row.figure_sources(),
    )
    low, high = rules.feed_min_mm_per_rev, rules.feed_max_mm_per_rev
    if not low <= rules.feed_default_mm_per_rev <= high:
        raise row.fault(
            "feed_default_mm_per_rev",
            "lies outside the usual feed",
            rules.feed_default_mm_per_rev,
            f"{low:g} to {high:g} mm/rev",
        )
    return rules


@cache
def turning_speeds() -> tuple[TurningSpeed, ...]:
    """Return the published turning speeds on which those of the materials rest."""
    return tuple(_turning_speed(row) for row in _read("speeds.toml").rows("turning_speed"))


@cache
def fit_friction() -> FitFriction:
    """Return the friction of press fits."""
    row = _read("fits.toml").row("friction")
    row.allow("counted_on", "to_press")
    found = FitFriction(
        counted_on=row.figure("counted_on", below=2.0),
        to_press=row.figure("to_press", below=2.0),
        sources=row.figure_sources(),
    )
    if found.counted_on > found.to_press:
        raise row.fault(
            "counted_on",
            "is above what the press must get over",
            found.counted_on,
            f"at most {found.to_press:g}",
        )
    return found


@cache
def standard_tolerances() -> tuple[StandardTolerance, ...]:
    """Return the standard tolerances, smallest sizes first and without a gap."""
    found: list[StandardTolerance] = []
    for row in _read("fits.toml").rows("standard_tolerance"):
        tolerance = _standard_tolerance(row)
        ends = found[-1].up_to_mm if found else 0.0
        if tolerance.over_mm != ends:
            raise row.fault(
                "over_mm", "leaves a gap or overlaps", tolerance.over_mm, f"{ends:g} mm"
            )
        found.append(tolerance)
    return tuple(found)


def kept_until_cleared(most: int) -> Callable[[Callable[_P, _R]], Callable[_P, _R]]:
    """Return a decorator: keep results that follow from the arguments and the tables.

    Args:
        most: How many are kept.
    """

    def keep(function: Callable[_P, _R]) -> Callable[_P, _R]:
        kept = lru_cache(maxsize=most)(function)
        when_cleared(kept.cache_clear)
        return cast("Callable[_P, _R]", kept)

    return keep


def when_cleared(forget: Callable[[], None]) -> None:
    """Call a function whenever the tables are forgotten."""
    _FORGET.append(forget)


_FORGET: list[Callable[[], None]] = []


def clear_caches() -> None:
    """Forget every table that was read, so that changed files are read again."""
    for reader in _CACHED:
        reader.cache_clear()
    for forget in _FORGET:
        forget()


# Where the tables are


def table_files() -> list[Path]:
    """Return the files of all tables in effect, the shop's own where it has one."""
    return [_table_file(name) for name in sorted(_FILES)]


def data_folder(name: str) -> Path:
    """Return a folder of data that knurlcam brings.

    Installed, it is the package ``knurlcam.<name>``; in a plain checkout it
    stands beside the package. The package's search path is walked by hand
    because an editable install puts a placeholder in it that is no folder,
    which ``importlib.resources`` of Python 3.11 does not bear.

    Args:
        name: ``shared`` or ``postprocessors``.

    Raises:
        InputError: if the installation lacks the folder.
    """
    checkout = Path(__file__).resolve().parents[2] / name
    for folder in (*_package_folders(name), checkout):
        if folder.is_dir() and any(folder.iterdir()):
            return folder
    raise InputError(
        "the folder of data is missing",
        where=str(checkout),
        key=name,
        expected="a folder with files",
        remedy="install knurlcam again",
    )


def _package_folders(name: str) -> list[Path]:
    try:
        spec = find_spec(f"knurlcam.{name}")
    except ModuleNotFoundError:
        return []
    return [Path(place) for place in (spec and spec.submodule_search_locations) or ()]


def _table_file(name: str) -> Path:
    own = os.environ.get(TABLES_VARIABLE)
    if not own:
        return data_folder("shared") / name
    folder = Path(own)
    if not folder.is_dir():
        raise InputError(
            "is not a folder",
            key=TABLES_VARIABLE,
            value=own,
            expected="a folder with tables of the shop's own",
            remedy=f"correct or unset {TABLES_VARIABLE}",
        )
    return folder / name if (folder / name).exists() else data_folder("shared") / name


@cache
def _read(name: str) -> _Row:
    """Return the whole of a table file as one row."""
    file = _table_file(name)
    if file.is_fifo():  # it would be waited for without end
        raise InputError(
            "is a pipe", where=str(file), expected="a TOML file", remedy="put a file there"
        )
    values = read_toml(file, limit=MAX_TABLE_BYTES)
    bare = _Row(str(file), "", values, {})
    bare.allow(*_FILES[name])
    return _Row(str(file), "", values, _source_texts(bare))


def _source_texts(file: _Row) -> dict[str, str]:
    if "sources" not in file.values:
        return {}
    texts = file.row("sources")
    return {key: texts.text(key) for key in texts.values}


# Reading a row


@dataclass(frozen=True, slots=True)
class _Row:
    """A table of a TOML file that knows where it stands, so that its faults can say."""

    where: str
    label: str
    values: Mapping[str, object]
    sources: Mapping[str, str]

    def fault(
        self,
        key: str,
        problem: str,
        value: object = None,
        expected: str | None = None,
        remedy: str | None = None,
    ) -> InputError:
        place = f"{self.label}, {key}" if self.label else key
        return InputError(
            problem, where=self.where, key=place, value=value, expected=expected, remedy=remedy
        )

    def allow(self, *keys: str) -> None:
        """Refuse a key that has no meaning here, such as a misspelt one."""
        for key in self.values:
            if key not in keys:
                raise self.fault(key, "unknown key", remedy=nearest(key, keys))

    def get(self, key: str, expected: str) -> object:
        if key not in self.values:
            raise self.fault(key, "is missing", expected=expected)
        return self.values[key]

    def text(self, key: str) -> str:
        value = self.get(key, "text")
        if not isinstance(value, str) or not value.strip():
            raise self.fault(key, "is not a text", value, "text")
        return value

    def choice(self, key: str, choices: Sequence[str]) -> str:
        value = self.text(key)
        if value not in choices:
            raise self.fault(key, "is none of the known words", value, ", ".join(choices))
        return value

    def texts(self, key: str) -> tuple[str, ...]:
        value = self.get(key, "a list of texts")
        if not isinstance(value, list) or not all(isinstance(v, str) and v.strip() for v in value):
            raise self.fault(key, "is not a list of texts", value, "a list of texts")
        return tuple(value)

    def flag(self, key: str) -> bool:
        value = self.get(key, "true or false")
        if not isinstance(value, bool):
            raise self.fault(key, "is neither true nor false", value, "true or false")
        return value

    def number(self, key: str, *, below: float = math.inf, zero: bool = False) -> float:
        wanted = "a number of at least 0" if zero else "a number above 0"
        if math.isfinite(below):
            wanted += f" and below {below:g}"
        value = _finite(self.get(key, wanted))
        if value is None or value < 0 or value >= below or (value == 0 and not zero):
            raise self.fault(key, "is not a fitting number", self.values[key], wanted)
        return value

    def whole(self, key: str) -> int:
        value = self.get(key, "a whole number above 0")
        if isinstance(value, bool) or not isinstance(value, int) or value < 1:
            raise self.fault(key, "is not a whole number above 0", value, "a whole number above 0")
        return value

    def numbers(self, key: str) -> tuple[float, ...]:
        value = self.get(key, "a list of numbers")
        found = [_finite(v) for v in value] if isinstance(value, list) else [None]
        numbers = tuple(v for v in found if v is not None)
        if len(numbers) != len(found) or not numbers:
            raise self.fault(key, "is not a list of numbers", value, "a list of numbers")
        return numbers

    def limits(self, key: str) -> tuple[float, float]:
        """Return (upper, lower)."""
        pair = self.numbers(key)
        if len(pair) != 2 or pair[0] < pair[1]:
            raise self.fault(key, "is not a pair of limits", self.values[key], "[upper, lower]")
        return pair[0], pair[1]

    def range(self, key: str) -> tuple[float, float]:
        """Return (low, high), both above zero."""
        pair = self.numbers(key)
        if len(pair) != 2 or not 0 < pair[0] <= pair[1]:
            raise self.fault(key, "is not a range", self.values[key], "[low, high] above 0")
        return pair[0], pair[1]

    def source(self, key: str = "source") -> str:
        """Return the full text of the source that the row names."""
        name = self.text(key)
        if name not in self.sources:
            raise self.fault(
                key,
                "is no key of [sources]",
                name,
                "a key of [sources] in the same file",
                nearest(name, self.sources) if self.sources else None,
            )
        return self.sources[name]

    def figure(self, key: str, *, below: float = math.inf) -> float:
        """Return the value of ``key = { value = ..., source = ... }``."""
        pair = self.row(key, "{ value = ..., source = ... }")
        pair.allow("value", "source")
        pair.source()
        return pair.number("value", below=below)

    def figure_or_none(self, key: str, *, below: float = math.inf) -> float | None:
        return self.figure(key, below=below) if key in self.values else None

    def figure_sources(self) -> dict[str, str]:
        figures = (key for key, value in self.values.items() if isinstance(value, dict))
        return {key: self.row(key).source() for key in figures}

    def row(self, key: str, expected: str = "a table") -> _Row:
        value = self.get(key, expected)
        if not isinstance(value, dict):
            raise self.fault(key, "is not a table", value, expected)
        label = f"{self.label}, {key}" if self.label else key
        return _Row(self.where, label, value, self.sources)

    def rows(self, key: str) -> list[_Row]:
        expected = f"one or more [[{key}]]"
        value = self.get(key, expected)
        if not isinstance(value, list) or not value or not all(isinstance(v, dict) for v in value):
            raise self.fault(key, "is not a list of tables", value, expected)
        return [
            _Row(self.where, _row_label(key, number, values), values, self.sources)
            for number, values in enumerate(value, start=1)
        ]


def _row_label(kind: str, number: int, values: Mapping[str, object]) -> str:
    name = values.get("name", values.get("form", values.get("diametral_pitch")))
    return f"{kind} {number}" if name is None else f"{kind} {number} ({str(name)[:40]})"


def _finite(value: object) -> float | None:
    """Return the number, or None for what is no number, infinite or too large for one."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


# Rows to objects


def _material(row: _Row) -> Material:
    row.allow(*(key for key in Material.__slots__ if key != "sources"))
    material = Material(
        name=row.text("name"),
        aliases=row.texts("aliases"),
        yield_strength_mpa=row.figure_or_none("yield_strength_mpa"),
        tensile_strength_mpa=row.figure_or_none("tensile_strength_mpa"),
        elongation_percent=row.figure_or_none("elongation_percent"),
        youngs_modulus_gpa=row.figure_or_none("youngs_modulus_gpa"),
        poisson_ratio=row.figure_or_none("poisson_ratio", below=0.5),
        density_kg_m3=row.figure_or_none("density_kg_m3"),
        brinell=row.figure_or_none("brinell"),
        turning_speed_m_min=row.figure("turning_speed_m_min"),
        sources=row.figure_sources(),
    )
    ultimate = material.tensile_strength_mpa or math.inf
    if material.yield_strength_mpa is not None and material.yield_strength_mpa > ultimate:
        raise row.fault(
            "yield_strength_mpa",
            "is above the tensile strength",
            material.yield_strength_mpa,
            f"at most {ultimate:g} MPa",
        )
    return material


def _refuse_shared_names(table: Sequence[Material], rows: Sequence[_Row]) -> None:
    taken: dict[str, str] = {}
    for material, row in zip(table, rows, strict=True):
        for name in (material.name, *material.aliases):
            key = "name" if name is material.name else "aliases"
            if owner := taken.get(_fold(name)):
                raise row.fault(
                    key,
                    f"already names {owner!r}",
                    name,
                    "a name that no other row has",
                    "case, spaces and hyphens do not count",
                )
            taken[_fold(name)] = material.name


def _fold(name: str) -> str:
    """Return a name as it is compared: without case, spaces, hyphens or a spelling of its own."""
    plain = re.sub(r"[\s_\-\u2010-\u2014\u2212]+", "", name.casefold())
    return plain.replace("aluminum", "aluminium").replace("gray", "grey")


def _fold_dots(name: str) -> str:
    return re.sub(r"[.,]", "", _fold(name))


def _nearest_material(name: str, table: Sequence[Material]) -> str:
    names = [material.name for material in table]
    aliases = [alias for material in table for alias in material.aliases]
    offer = nearest(name, [*names, *aliases])
    # Nothing near: list the names, not the hundreds of aliases.
    return nearest(name, names) if offer.startswith("known:") else offer


def _form(row: _Row) -> tuple[_Row, Form]:
    row.allow(*Form._fields)
    return row, Form(
        form=row.text("form"),
        description=row.text("description"),
        family=cast('Literal["straight", "raised", "indented"]', row.choice("family", _FAMILIES)),
        helical=row.flag("helical"),
        helix_deg=row.number("helix_deg", below=90.0, zero=True),
        growth_factor=row.number("growth_factor", below=2.0),
        source=row.source(),
        hand=row.choice("hand", _HANDS),
    )


def _roll(row: _Row) -> tuple[_Row, Roll]:
    row.allow(*Roll._fields)
    return row, Roll(
        form=row.text("form"),
        description=row.text("description"),
        traverses=row.flag("traverses"),
        source=row.source(),
    )


def _roll_set(row: _Row, known_rolls: Sequence[str]) -> RollSet:
    row.allow(*RollSet._fields)
    names = row.texts("rolls")
    if len(names) not in (1, 2):
        raise row.fault("rolls", "is neither one roll nor two", list(names), "one roll or two")
    for name in names:
        if name not in known_rolls:
            raise row.fault("rolls", "names no roll", name, "a roll", nearest(name, known_rolls))
    return RollSet(row.text("form"), names, row.flag("swivelled"), row.source())


def _diametral_pitch(row: _Row) -> DiametralPitch:
    row.allow("diametral_pitch", *_CLASSES, "tooth_depth_in")
    classes = {name: row.row(name) for name in _CLASSES}
    for limits in classes.values():
        limits.allow("knurled_in", "blank_in", "source")
    depth = row.row("tooth_depth_in")
    depth.allow("straight", "diagonal", "source")
    sources = [f"class {name}: {limits.source()}" for name, limits in classes.items()]
    return DiametralPitch(
        diametral_pitch=row.whole("diametral_pitch"),
        blank_in={name: limits.limits("blank_in") for name, limits in classes.items()},
        knurled_in={name: limits.limits("knurled_in") for name, limits in classes.items()},
        tooth_depth_in={key: depth.number(key) for key in ("straight", "diagonal")},
        source="; ".join([*sources, f"tooth depth: {depth.source()}"]),
    )


def _caution(row: _Row) -> Caution:
    row.allow(*Caution._fields)
    short = row.text("short") if "short" in row.values else None
    if short is not None and not _SHORT.fullmatch(short):
        raise row.fault(
            "short",
            f"does not fit a program's header ({len(short)} characters)",
            short,
            "at most 56 upper case letters, digits, spaces, commas and periods",
        )
    return Caution(row.text("text"), short)


@cache
def _proving() -> tuple[Caution, ...]:
    return tuple(_caution(row) for row in _read("cautions.toml").rows("proving"))


def _turning_speed(row: _Row) -> TurningSpeed:
    row.allow("material", "unit", "roughing", "finishing", "source")
    factor = _METRES_PER_MINUTE[row.choice("unit", tuple(_METRES_PER_MINUTE))]
    rough, finish = row.range("roughing"), row.range("finishing")
    return TurningSpeed(
        material=row.text("material"),
        roughing_m_min=(rough[0] * factor, rough[1] * factor),
        finishing_m_min=(finish[0] * factor, finish[1] * factor),
        source=row.source(),
    )


def _standard_tolerance(row: _Row) -> StandardTolerance:
    grades = {f"{name}_um": name for name in _GRADES}
    row.allow("over_mm", "up_to_mm", *grades)
    over, up_to = row.number("over_mm", zero=True), row.number("up_to_mm")
    if up_to <= over:
        raise row.fault("up_to_mm", "ends before it begins", up_to, f"more than {over:g} mm")
    widths = {name: row.figure(key) for key, name in grades.items()}
    if sorted(widths.values()) != list(widths.values()):
        raise row.fault(
            "IT6_um", "a finer grade is wider than a coarser one", list(widths.values())
        )
    sources = {grades[key]: text for key, text in row.figure_sources().items()}
    return StandardTolerance(over, up_to, widths, sources)


def _by_letters(pairs: Iterable[tuple[_Row, _Lettered]]) -> Mapping[str, _Lettered]:
    found: dict[str, _Lettered] = {}
    for row, item in pairs:
        if item.form in found:
            raise row.fault("form", "stands twice", item.form)
        found[item.form] = item
    return MappingProxyType(found)


def _sourced_list(file: str, table: str, key: str, *, below: float = math.inf) -> tuple[float, ...]:
    row = _read(file).row(table)
    row.allow(key, "source")
    row.source()
    values = row.numbers(key)
    if not all(0 < value < below for value in values):
        wanted = "numbers above 0" + (f" and below {below:g}" if math.isfinite(below) else "")
        raise row.fault(key, "holds a number that does not fit", list(values), wanted)
    return values


_CACHED = (
    _proving,
    _read,
    cautions,
    diametral_pitches,
    find_material,
    fit_friction,
    forms,
    header_lines,
    materials,
    profile_angles_deg,
    proving,
    roll_sets,
    rolls,
    speed_rules,
    standard_pitches_mm,
    standard_tolerances,
    trade_tpi,
    turning_speeds,
)
