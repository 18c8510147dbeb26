"""A job as a form: its fields in sections, and the texts typed into them.

The fields come from the keys of the job's own schema. What stands in the fields is one text
for each dotted key; a field that is left empty leaves its key out.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from functools import cache
from typing import Any, NamedTuple

from knurlcam.errors import InputError
from knurlcam.job.keys import Key, job_keys
from knurlcam.units.kinds import MM_PER_INCH, Kind, Units
from knurlcam.units.quantities import parse_quantity

__all__ = [
    "Field",
    "Section",
    "Texts",
    "data_of",
    "empty_texts",
    "form_sections",
    "known_key",
    "switched",
    "texts_of",
]

Texts = Mapping[str, str]
"""What stands in the fields, by dotted key."""


class Field(NamedTuple):
    """One field of the form.

    Attributes:
        key: The job's key, such as ``knurl.length``.
        title: Its label.
        kind: ``length``, ``feed``, ``choice``, ``switch``, ``list``, ``number``, ``text`` or
            ``quantity``, whose unit is typed with the figure.
        unit: Unit of a bare number, or the units that may be typed; empty for none. Of lengths
            and feeds it is that of mm.
        choices: The words that it takes.
        required: Whether each job gives it.
        default: What is taken where it is empty; empty where that depends on the job.
        help: What it is.
    """

    key: str
    title: str
    kind: str
    unit: str
    choices: tuple[str, ...]
    required: bool
    default: str
    help: str


class Section(NamedTuple):
    """Fields that belong together.

    Attributes:
        name: The table of the job file.
        title: What it is called on the page.
        fields: Its fields.
    """

    name: str
    title: str
    fields: tuple[Field, ...]


@cache
def form_sections() -> tuple[Section, ...]:
    """Return the form, in the order of the job file."""
    fields: dict[str, list[Field]] = {}
    for key in job_keys():
        if "." in key.key:
            fields.setdefault(key.key.partition(".")[0], []).append(_field(key))
    fields["tool"].insert(0, _name_of("tool"))
    fields["machine"].insert(0, _name_of("machine"))
    return tuple(Section(name, _TITLES[name], tuple(each)) for name, each in fields.items())


_TITLES = {
    "part": "Part",
    "knurl": "Knurl",
    "holding": "Holding",
    "tool": "Tool",
    "process": "Process",
    "fit": "Press fit",
    "machine": "Machine",
}


def _name_of(section: str) -> Field:
    means = f"A {section} of the shop file, which then gives what is left empty here"
    return Field(f"{section}.name", "Of the shop file", "text", "", (), False, "", means)


def _field(key: Key) -> Field:
    kind, unit = _kind_of(key)
    title = key.title.lower()
    title = {"tpi": "TPI", "diametral pitch": "Diametral pitch (DP)"}.get(title, title)
    return Field(
        key=key.key,
        title=title[:1].upper() + title[1:],
        kind=kind,
        unit=unit,
        choices=key.values,
        required=key.required,
        default=("" if key.default is None else _text(key.default)) or "",
        help=key.means,
    )


def _kind_of(key: Key) -> tuple[str, str]:
    """Return what a field is, and its unit."""
    unit = key.unit or ""
    if key.takes == "list":
        return "list", unit.partition(" (")[0]
    if unit.startswith("mm or inch"):
        return "length", "mm"
    if unit.startswith("mm/rev"):
        return "feed", "mm/rev"
    if "unit required" in unit:
        return "quantity", unit.partition(" (")[0]
    if key.takes == "true or false":
        return "switch", ""
    if key.values:
        return "choice", ""
    return key.takes, unit


@cache
def _fields() -> Mapping[str, Field]:
    found = {field.key: field for section in form_sections() for field in section.fields}
    return {
        "units": Field("units", "Units", "choice", "", ("mm", "inch"), False, "mm", ""),
        **found,
    }


# -- from the file to the fields and back ----------------------------------------


def texts_of(data: Mapping[str, Any]) -> tuple[dict[str, str], dict[str, Any]]:
    """Return what stands in the fields for a job's keys, and the keys that no field can show.

    Args:
        data: The job's keys, nested as in the file; they need not be a valid job.

    Returns:
        The texts, and the values that only the file can change, such as a material of one's
        own, by dotted key.
    """
    texts: dict[str, str] = {}
    kept: dict[str, Any] = {}
    for dotted, value in _flat(data):
        text = _text(value) if dotted in _fields() else None
        if text is None:
            kept[dotted] = value
        else:
            texts[dotted] = text
    return texts, kept


def _flat(data: Mapping[str, Any]) -> list[tuple[str, Any]]:
    flat: list[tuple[str, Any]] = []
    for name, value in data.items():
        if isinstance(value, Mapping):
            flat += [(f"{name}.{key}", each) for key, each in value.items()]
        elif name in ("tool", "machine") and isinstance(value, str):
            flat.append((f"{name}.name", value))
        else:
            flat.append((name, value))
    return flat


def _text(value: Any) -> str | None:
    """Return a value as it stands in a field; None for what no field can show."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return str(value)
    if isinstance(value, int | float):
        return repr(value) if math.isfinite(value) else str(value)
    if isinstance(value, list | tuple):
        parts = [str(each) for each in value if isinstance(each, str)]
        plain = len(parts) == len(value) and not any("," in part for part in parts)
        return ", ".join(parts) if plain else json.dumps(value, default=str)
    return None


_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)")


def data_of(texts: Texts, kept: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """Return a job's keys, nested as in the file, for what stands in the fields.

    What cannot be what the field takes stays a text: reading the job then says what is wrong
    with it, and a half filled-in job can be kept.

    Args:
        texts: The texts; empty ones leave their key out.
        kept: Values that no field shows, by dotted key.
    """
    data: dict[str, Any] = {}
    for dotted, text in texts.items():
        if text.strip() and dotted in _fields():
            _put(data, dotted, _value(_fields()[dotted], text.strip()))
    for dotted, value in (kept or {}).items():
        if not texts.get(dotted, "").strip():
            _put(data, dotted, value)
    return data


def _put(data: dict[str, Any], dotted: str, value: Any) -> None:
    section, _, key = dotted.partition(".")
    if key:
        data.setdefault(section, {})[key] = value
    else:
        data[section] = value


def _value(field: Field, text: str) -> Any:
    """Return what a text in a field is in the file."""
    if field.kind == "switch":
        return {"true": True, "false": False}.get(text, text)
    if field.kind == "list":
        return _list(text)
    if field.kind in ("length", "feed", "number") and _NUMBER.fullmatch(text):
        return _number(text)
    return text


def _number(text: str) -> int | float | str:
    if len(text) > 40:  # no figure of a job is so long; Python refuses thousands of digits
        return text
    return float(text) if "." in text else int(text)


def _list(text: str) -> Any:
    if text.startswith("["):
        try:
            return json.loads(text)
        except (ValueError, RecursionError):
            return text
    return [part.strip() for part in text.split(",") if part.strip()]


# -- units -------------------------------------------------------------------------


def switched(texts: Texts, units: Units) -> dict[str, str]:
    """Return the texts for a page in other units; the part stays the same to the last digit.

    A bare number becomes one of the new unit where that is a short one, else it keeps its old
    unit in writing (``25`` becomes ``25 mm``), so that no figure of the drawing is rounded.

    Args:
        texts: What stands in the fields.
        units: The units of bare numbers from now on.
    """
    now: Units = "inch" if texts.get("units") == "inch" else "mm"
    if now == units:
        return dict(texts)
    shown = {key: _in_units(_fields().get(key), text, now, units) for key, text in texts.items()}
    return {**shown, "units": units}


_UNIT_TEXT: Mapping[str, tuple[str, str]] = {
    "length": ("mm", "in"),
    "feed": ("mm/rev", "in/rev"),
}
_KINDS = {"length": Kind.LENGTH, "feed": Kind.FEED}
MOST_PLACES = 6
"""Decimal places of a figure that is written in another unit: more are not read at a glance."""


def _in_units(field: Field | None, text: str, now: Units, then: Units) -> str:
    if field is None or field.kind not in _KINDS or not text.strip():
        return text
    kind, (metric, inch) = _KINDS[field.kind], _UNIT_TEXT[field.kind]
    old, new = (metric, inch) if now == "mm" else (inch, metric)
    bare, _, unit = text.strip().partition(" ")
    if unit == new and _NUMBER.fullmatch(bare):
        return bare
    if not _NUMBER.fullmatch(text.strip()):
        return text
    try:
        value = parse_quantity(_number(text.strip()), kind, now)
        figure = value / (MM_PER_INCH if then == "inch" else 1.0)
        short = f"{figure:.{MOST_PLACES}f}".rstrip("0").rstrip(".")
        if parse_quantity(_number(short), kind, then) == value:
            return short
    except InputError:
        return text
    return f"{text.strip()} {old}"


def known_key(key: str | None) -> str:
    """Return the field at which a problem of a key is shown; empty for the whole job."""
    if key is None:
        return ""
    for part in re.findall(r"[a-z_]+(?:\.[a-z_]+)?", key):
        if part in _fields():
            return str(part)
        section = next((s for s in form_sections() if s.name == part), None)
        if section is not None:
            needed = next((f for f in section.fields if f.required), section.fields[0])
            return needed.key
    return ""


def empty_texts() -> dict[str, str]:
    """Return the texts of a new job."""
    return {"units": "mm"}
