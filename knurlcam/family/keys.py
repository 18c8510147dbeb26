"""A table's columns are a job's keys: which there are, and a row's cells put into a job."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from knurlcam.errors import InputError, nearest
from knurlcam.job.model import Job
from knurlcam.job.problems import JobFileError
from knurlcam.job.steps import read_steps, steps_text
from knurlcam.text import shortened
from knurlcam.toml import TomlError, keys_of_toml
from knurlcam.units.kinds import Kind
from knurlcam.units.quantities import parse_quantity, to_text

__all__ = ["FILE_COLUMNS", "known_columns", "merged", "refuse_broken_base", "refuse_unknown"]

FILE_COLUMNS = ("file", "program")
"""Columns that name the program's file; a table may have one of them only."""

NAMED = ("tool", "machine")
"""Sections of a job that a cell may also fill by a name in the shop file."""

Holds = Literal["value", "text", "list", "length", "feed", "steps"]
"""Kind of a cell; lengths, feeds and steps may be bare numbers in the job's units."""

MOST_HEADERS = 1000
"""Most sets of columns that are remembered as correct."""

_correct: set[frozenset[str]] = set()
"""Sets of columns that were found correct: the rows of JSON lines repeat them."""


@cache
def known_columns() -> Mapping[str, Holds]:
    """Return every column that a table may have, and what its cells hold."""
    found: dict[str, Holds] = {}
    _collect(Job, "", found)
    for section in NAMED:
        found[section] = found[f"{section}.name"] = "text"
    return found


def _collect(model: type[BaseModel], above: str, found: dict[str, Holds]) -> None:
    for name, field in model.model_fields.items():
        key = f"{above}{name}"
        sections = _sections(field.annotation)
        for section in sections:
            _collect(section, f"{key}.", found)
        if not sections or _mentions(field.annotation, str):
            found[key] = _holds(field)


def _holds(field: FieldInfo) -> Holds:
    extra: Any = field.json_schema_extra or {}
    if extra.get("cell") == "steps":
        return "steps"
    unit = str(extra.get("unit"))
    if "the job's units" in unit:
        return "feed" if "rev" in unit else "length"
    if _mentions(field.annotation, tuple):
        return "list"
    return "text" if _mentions(field.annotation, str) else "value"


def _sections(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [s for part in get_args(annotation) for s in _sections(part)]


def _mentions(annotation: Any, kind: type) -> bool:
    """Whether a value of a kind may stand there; choices among texts are texts."""
    if annotation is kind or get_origin(annotation) is kind:
        return True
    if get_origin(annotation) is Literal:
        return isinstance(get_args(annotation)[0], kind)
    return any(_mentions(part, kind) for part in get_args(annotation))


def refuse_unknown(columns: Iterable[str]) -> None:
    """Refuse columns that are no keys of a job.

    Raises:
        InputError: naming the column and the nearest that is known.
    """
    names = frozenset(columns)
    if names in _correct:
        return
    known = known_columns()
    for column in sorted(names):
        if column not in known and column not in FILE_COLUMNS:
            raise InputError(
                "unknown column",
                key=_shown(column),
                expected="a key of the job file, such as part.knurled_diameter, file, or your own "
                "comments in a column whose name begins with #",
                remedy=_remedy(column, names),
            )
    both = [c for c in FILE_COLUMNS if c in names]
    if len(both) > 1:
        raise InputError(
            "two columns name the file",
            key=" and ".join(both),
            expected="one of them",
            remedy="leave the other out",
        )
    if len(_correct) < MOST_HEADERS:
        _correct.add(names)


def _remedy(column: str, names: frozenset[str]) -> str:
    known = [*known_columns(), *FILE_COLUMNS]
    near = nearest(column[:100], known)
    if near.startswith("did you mean"):
        return near
    if names.isdisjoint(known):
        return "the first row of a table must hold the keys: delete anything above them"
    return "`knurlcam schema` lists the keys"


def _shown(name: str) -> str:
    """Return a name as it can stand in a message: no control characters, no flood."""
    return name if name.isprintable() and len(name) <= 60 else shortened(name)


def refuse_broken_base(keys: Mapping[str, Any], where: str) -> None:
    """Refuse a base job with keys that no job has: no row could be made.

    What is missing in it may stand in the rows.

    Raises:
        JobFileError: naming each key.
    """
    problems = list(_broken(keys, "", where))
    if problems:
        raise JobFileError(tuple(problems))


def _broken(table: Mapping[str, Any], above: str, where: str) -> Iterator[InputError]:
    known = known_columns()
    beside = [k.removeprefix(above) for k in known if k.startswith(above)]
    for name, value in table.items():
        key = f"{above}{name}"
        is_table = any(k.startswith(f"{name}.") for k in beside)
        if is_table and isinstance(value, Mapping):
            yield from _broken(value, f"{key}.", where)
        elif is_table and key not in known:
            yield InputError(
                "is not a table of keys",
                where=where,
                key=key,
                value=value,
                expected=f"[{key}] and its keys below it",
                remedy="correct the job file",
            )
        elif key in NAMED and not isinstance(value, str):
            yield InputError(
                "is not a table of keys",
                where=where,
                key=key,
                value=value,
                expected=f"[{key}] and its keys below it, or a name in the shop file",
                remedy="correct the job file",
            )
        elif key not in known:
            yield InputError(
                "unknown key",
                where=where,
                key=_shown(key),
                expected="a known key",
                remedy=nearest(str(name), sorted({k.partition(".")[0] for k in beside})),
            )


def merged(base: Mapping[str, Any], cells: Mapping[str, Any]) -> dict[str, Any]:
    """Return a base job's keys with a row's cells in their place.

    Args:
        base: The job's keys, nested as in the file; not changed.
        cells: Value by column; columns that name the file are passed over.

    Raises:
        InputError: if a cell's column cannot stand beside another's.
    """
    known = known_columns()
    data = dict(base)
    own: set[str] = set()
    if cells.get("units", data.get("units", "mm")) != data.get("units", "mm"):
        data = _with_units(data)
    # A section's name comes before its keys, in whatever order the columns stand.
    for column in sorted(cells, key=_depth):
        if column in FILE_COLUMNS:
            continue
        value = cells[column]
        *path, last = column.split(".")
        table = data
        for depth, name in enumerate(path, start=1):
            where = ".".join(path[:depth])
            if where in cells and where not in NAMED:
                raise InputError(
                    f"cannot stand beside a column {where}",
                    key=column,
                    expected=f"{where} by name, or its keys",
                    remedy="leave one of them out",
                )
            table = _table(table, name, where, own)
        table[last] = _as_held(value, known.get(column, "value"))
    return data


def _depth(column: str) -> int:
    return column.count(".")


def _table(above: dict[str, Any], name: str, path: str, own: set[str]) -> dict[str, Any]:
    """Return the table in which a cell belongs, a copy that may be written into."""
    inside = above.get(name)
    if path not in own:
        own.add(path)
        if isinstance(inside, Mapping):
            above[name] = dict(inside)
        elif path in NAMED and isinstance(inside, str):
            above[name] = {"name": inside}  # a tool of the shop file, of which a cell changes a key
        else:
            above[name] = {}
    table: dict[str, Any] = above[name]
    return table


def _as_held(value: Any, holds: Holds) -> Any:
    """Return a cell's value as the job file would hold it."""
    if holds == "text" and isinstance(value, (int, float)) and not isinstance(value, bool):
        return str(value)  # a workbook holds a part's name such as 1201 as a number
    if holds == "list" and isinstance(value, str):
        return _listed(value)
    return value


def _listed(value: str) -> Any:
    """Return a list from a cell: ``["BL", "BR"]`` as in the job file, or ``BL BR``."""
    if value.startswith("["):
        try:
            return keys_of_toml(f"cell = {value}", where="cell")["cell"]
        except TomlError:
            return value
    return value.replace(",", " ").replace("+", " ").split()


def _with_units(base: Mapping[str, Any], above: str = "", units: str = "") -> dict[str, Any]:
    """Return a base job's keys with its bare lengths and feeds written out with their unit.

    A row's `units` hold for the row's own cells: 20 mm of the base must not become 20 inches
    because a column says so.
    """
    known = known_columns()
    units = units or base.get("units", "mm")
    data: dict[str, Any] = {}
    for name, value in base.items():
        holds = known.get(f"{above}{name}")
        if isinstance(value, Mapping):
            data[name] = _with_units(value, f"{above}{name}.", units)
        elif holds == "steps":
            data[name] = _steps_with_unit(value, units)
        elif holds in ("length", "feed"):
            data[name] = _with_unit(value, Kind.LENGTH if holds == "length" else Kind.FEED, units)
        else:
            data[name] = value
    return data


def _with_unit(value: Any, kind: Kind, units: str) -> Any:
    try:
        return to_text(parse_quantity(value, kind, "inch" if units == "inch" else "mm"), kind)
    except InputError:
        return value  # the job's own check says what is wrong with it


def _steps_with_unit(value: Any, units: str) -> Any:
    try:
        return steps_text(read_steps(value, "inch" if units == "inch" else "mm"))
    except InputError:
        return value
