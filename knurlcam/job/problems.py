"""What is wrong with a job, one sentence for each key."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any, get_origin

from pydantic import (
    BaseModel,
    ValidationError,
)

from knurlcam.errors import InputError, SeveralInputsError, nearest
from knurlcam.job.materials import (
    MATERIAL_TAGS,
)
from knurlcam.text import shortened

__all__ = [
    "JobFileError",
    "problems_of",
]


class JobFileError(SeveralInputsError):
    """A job that is not valid: one line for each key that is wrong."""


_MISSING_HINTS: Mapping[str, str] = {
    "machine.safe_x": "give it here or in the shop file",
    "machine.safe_z": "give it here or in the shop file",
    "machine": "write a [machine] table, or name one of the shop file's machines",
    "tool": "write a [tool] table, or name one of the shop file's tools",
}


# pydantic's own words speak of Python; a job's author writes TOML. So each kind of error is
# said again with file, key, value, what was expected and what to do.
def problems_of(
    error: ValidationError, model: type[BaseModel], where: str | None
) -> tuple[InputError, ...]:
    """Turn pydantic's error list into ours: file, key, value, expected, remedy."""
    return tuple(_problem(dict(item), model, where) for item in error.errors(include_url=False))


_EXPECTED: Mapping[str, str] = {
    "int_parsing": "a whole number",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "float_parsing": "a number",
    "float_type": "a number",
    "bool_parsing": "true or false",
    "bool_type": "true or false",
    "string_type": "a text in quotes",
    "tuple_type": "a list of texts",
    "model_type": "a table of keys",
    "dict_type": "a table of keys",
    "string_too_short": "text that is not empty",
}
"""What pydantic's kinds of error want, in a job file's words."""


def _problem(item: dict[str, Any], model: type[BaseModel], where: str | None) -> InputError:
    path = _path(item["loc"])
    kind, given = item["type"], item["input"]
    key = ".".join(path)
    if kind == "missing":
        about = _description(model, path)
        return InputError(
            "is missing",
            where=where,
            key=key,
            expected=about,
            remedy=_MISSING_HINTS.get(key, "add it"),
        )
    if kind == "extra_forbidden":
        return InputError(
            "unknown key",
            where=where,
            key=key,
            value=given,
            expected="a known key",
            remedy=nearest(path[-1], _keys(model, path[:-1])),
        )
    # What one of our validators raised; pydantic keeps it beside its own words.
    cause = item.get("ctx", {}).get("error")
    if isinstance(cause, InputError):
        return _own(cause, path, given, model).at(where=where)
    expected = _expected(item)
    about = _description(model, path)
    remedy = f"this key holds: {about}" if about else "correct it"
    if kind == "literal_error":
        # Python writes no number of thousands of digits.
        name = given if isinstance(given, str) else shortened(given)
        remedy = nearest(name, re.findall("'([^']*)'", expected))
    return InputError(
        "is not valid",
        where=where,
        key=key or "the file",
        value=given,
        expected=expected[:1].lower() + expected[1:],
        remedy=remedy,
    )


def _own(cause: InputError, path: list[str], given: object, model: type[BaseModel]) -> InputError:
    """Return an error of ours that a validator raised, with its whole key and its value."""
    key = ".".join(path)
    # A formula names its own argument, which is not a key of the file: then the section's is said.
    if cause.key is not None and _is_below(cause.key, model, path):
        key = ".".join([*path, cause.key])
    value = cause.value if cause.value is not None or cause.key is not None else given
    return cause.at(key=key, value=value)


def _expected(item: dict[str, Any]) -> str:
    """Return what pydantic wanted, in a job file's words."""
    if item["type"] in ("too_long", "too_short"):
        most, least = item["ctx"].get("max_length"), item["ctx"].get("min_length")
        return f"at least {least} entries" if most is None else f"at most {most} entries"
    return _EXPECTED.get(item["type"]) or item["msg"].removeprefix("Input should be ")


_OF_A_NAME = "[key]"
"""How pydantic says that not an entry is wrong but its name."""


def _path(loc: Sequence[str | int]) -> list[str]:
    """Return a place in the file: pydantic's, without what it adds of its own."""
    return [
        str(step)
        for before, step in pairwise((None, *loc))
        if step not in MATERIAL_TAGS or before not in ("material", "hub_material")
        if step != _OF_A_NAME
    ]


def _is_below(key: str, model: type[BaseModel], path: list[str]) -> bool:
    """Whether a cause's key is one of the section at *path*, not what a formula calls it."""
    section = _section(model, path)
    first = key.split(".")[0].split(" ")[0]
    return section is not None and first in section.model_fields and path[-1:] != [first]


def _section(model: type[BaseModel], path: list[str]) -> type[BaseModel] | None:
    """Return the model of the table at *path*; None where there is no table."""
    current: type[BaseModel] | None = model
    steps = iter(path)
    for name in steps:
        field = current.model_fields.get(name) if current else None
        current = _model_in(field.annotation) if field else None
        if field is not None and get_origin(field.annotation) is dict:
            next(steps, None)  # the user's own name of one of its entries
    return current


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for part in getattr(annotation, "__args__", ()):
        found = _model_in(part)
        if found is not None:
            return found
    return None


def _keys(model: type[BaseModel], path: list[str]) -> list[str]:
    section = _section(model, path)
    return list(section.model_fields) if section else []


def _description(model: type[BaseModel], path: list[str]) -> str | None:
    section = _section(model, path[:-1]) if path else None
    field = section.model_fields.get(path[-1]) if section else None
    return field.description if field else None
