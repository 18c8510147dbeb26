"""What a trait may hold, in a machinist's words, and a value as TOML writes it.

Both come from the model of the traits, for messages, for the comments of a copied dialect and
for its JSON Schema alike: what is said of a trait is what is checked.
"""

from __future__ import annotations

import json
import types
from collections.abc import Iterable, Iterator, Mapping
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

__all__ = ["as_toml", "choices_of", "holds", "model_in", "model_of_entries"]

_FORMS = {
    r"^[GM][0-9]{1,3}(\.[1-9])?$": 'a G or M word in quotes, such as "G01"',
    r"^M[0-9]{1,3}$": "an M word, such as M14",
    r"^[a-z_]{1,30}$": 'a key of codes in quotes, such as "coolant_on"',
    r"^[a-z0-9][a-z0-9._-]{0,39}$": "small letters, digits, full stops, underscores and hyphens, "
    "40 at most, a letter or digit first",
}
"""Patterns of the model, and what they say to people."""

MOST_LISTED = 4
"""Keys of a table that are named one by one."""


def as_toml(value: object) -> str:
    """Return a value as TOML writes it on one line.

    Example:
        >>> as_toml(("G18", "G40")), as_toml(True), as_toml({"means": "dwell"})
        ('["G18", "G40"]', 'true', '{ means = "dwell" }')
    """
    if isinstance(value, Mapping):
        inside = ", ".join(f"{key} = {as_toml(one)}" for key, one in value.items())
        return f"{{ {inside} }}" if inside else "{}"
    if isinstance(value, (tuple, list)):
        return f"[{', '.join(map(as_toml, value))}]"
    return json.dumps(value, ensure_ascii=False)


def holds(field: FieldInfo) -> str:
    """Return what a trait may hold, such as ``a whole number from 1 to 6``."""
    return _words(field.annotation, field.metadata)


def choices_of(field: FieldInfo) -> list[str]:
    """Return the texts that a trait may hold where it is one of a few; empty where it is not."""
    return [str(c) for kind in _options(field.annotation) for c in _literals(kind)]


def model_in(field: FieldInfo) -> type[BaseModel] | None:
    """Return the model of a trait that is a table of other traits; None of any other."""
    return next(_models(_options(field.annotation)), None)


def model_of_entries(field: FieldInfo) -> type[BaseModel] | None:
    """Return the model of each entry of a trait that is a table of tables; None of any other."""
    kinds_of = ((get_origin(kind), get_args(kind)) for kind in _options(field.annotation))
    entries = (args[1:] for origin, args in kinds_of if origin is dict)
    return next((model for kinds in entries for model in _models(kinds)), None)


def _models(kinds: Iterable[Any]) -> Iterator[type[BaseModel]]:
    yield from (kind for kind in kinds if isinstance(kind, type) and issubclass(kind, BaseModel))


def _literals(kind: Any) -> tuple[Any, ...]:
    return get_args(kind) if get_origin(kind) is Literal else ()


def _options(kind: Any) -> Iterator[Any]:
    """Yield the kinds of a union, but for None; any other kind alone."""
    if get_origin(kind) in (Union, types.UnionType):
        yield from (one for one in get_args(kind) if one is not type(None))
    else:
        yield kind


def _words(kind: Any, marks: Iterable[Any] = ()) -> str:
    said = dict.fromkeys(_of_one(one, tuple(marks)) for one in _options(kind))
    return ", or ".join(said)


def _of_one(kind: Any, marks: tuple[Any, ...]) -> str:
    origin, inside = get_origin(kind), get_args(kind)
    if origin is Annotated:
        return _of_one(inside[0], (*inside[1:], *marks))
    if origin is Literal:
        return " or ".join(map(as_toml, inside))
    if origin in (tuple, list):
        return f"a list in square brackets, each entry {_words(inside[0])}"
    if origin is dict:
        return f"a table, each key {_words(inside[0])}, each entry {_words(inside[1])}"
    return _of_type(kind, marks)


def _of_type(kind: Any, marks: tuple[Any, ...]) -> str:
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        few = len(kind.model_fields) <= MOST_LISTED
        return f"a table with {' and '.join(kind.model_fields)}" if few else "a table of keys"
    if kind is bool:
        return "true or false"
    if kind is int:
        return f"a whole number{_range(marks)}"
    if kind is float:
        return f"a number{_range(marks)}"
    return _of_text(marks)


def _bound(marks: tuple[Any, ...], *names: str) -> Any:
    found = (getattr(mark, name, None) for mark in marks for name in names)
    return next((bound for bound in found if bound is not None), None)


def _range(marks: tuple[Any, ...]) -> str:
    low, high = _bound(marks, "ge"), _bound(marks, "le")
    if low is not None and high is not None:
        return f" from {low} to {high}"
    if low is not None:
        return f", {low} or more"
    return "" if high is None else f", {high} at most"


def _of_text(marks: tuple[Any, ...]) -> str:
    pattern = _bound(marks, "pattern")
    if pattern is not None:
        return _FORMS.get(pattern, "a text in quotes of another form")
    most, least = _bound(marks, "max_length"), _bound(marks, "min_length")
    limit = "" if most is None else f" of at most {most} characters"
    return f"a text in quotes{limit}{', not empty' if least else ''}"
