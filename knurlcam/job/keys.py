"""The keys of a job file as a list: each with its unit, its values and what it means.

They come from the model's own schema, so that what is listed is what is read.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any, NamedTuple

from knurlcam.job.fields import NO_UNIT
from knurlcam.job.model import Job

__all__ = ["Key", "job_keys"]


class Key(NamedTuple):
    """One key of a job file.

    Attributes:
        key: With its section, such as ``knurl.length``.
        title: What it is called on pages.
        required: Whether each job gives it.
        default: What is taken where it is left out; None where it is recommended or not needed.
        unit: Units that it may be given in; None for what has none.
        values: The words that it takes; empty where it is not one of a few.
        takes: What its value is: ``number``, ``text``, ``true or false`` or ``list``; a number may
            be a text with a unit where there is a unit.
        means: What it is.
    """

    key: str
    title: str
    required: bool
    default: Any
    unit: str | None
    values: tuple[str, ...]
    takes: str
    means: str


@cache
def job_keys() -> tuple[Key, ...]:
    """Return every key of a job file, in the order of the schema.

    Kept: a schema takes 0.1 s, and each question of ``knurlcam new`` asks for it.
    """
    schema = Job.model_json_schema()
    found: list[Key] = []
    for name, node in schema["properties"].items():
        section = _section(node, schema["$defs"])
        if section is None:
            found.append(_key(name, node, required=name in schema["required"]))
            continue
        needed = section.get("required", ())
        found += [
            _key(f"{name}.{key}", each, required=key in needed)
            for key, each in section["properties"].items()
        ]
    return tuple(found)


def _section(node: Mapping[str, Any], sections: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """Return the section that a key of the file stands for; None for a plain value."""
    for each in (node, *node.get("anyOf", ())):
        if "$ref" in each:
            found: Mapping[str, Any] = sections[each["$ref"].rpartition("/")[2]]
            return found
    return None


def _key(name: str, node: Mapping[str, Any], *, required: bool) -> Key:
    unit = node["unit"]
    return Key(
        key=name,
        title=node.get("title", name),
        required=required,
        default=node.get("default"),
        unit=None if unit == NO_UNIT["unit"] else unit,
        values=tuple(_values(node)),
        takes=next(word for kind, word in _TAKES.items() if kind in _types(node)),
        means=node["description"],
    )


_TAKES = {
    "array": "list",
    "boolean": "true or false",
    "number": "number",
    "integer": "number",
    "string": "text",
}
"""Words for the types of a schema; the first that a key has is what it takes."""


def _types(node: Mapping[str, Any]) -> set[str]:
    inner = [each for name in ("anyOf", "oneOf") for each in node.get(name, ())]
    return {node["type"]} if "type" in node else set().union(*map(_types, inner))


def _values(node: Mapping[str, Any]) -> list[str]:
    """Return the words that a key takes, also where it may be left out or is a list of them."""
    found = [str(value) for value in node.get("enum", ())]
    inner = [*node.get("anyOf", ()), node.get("items", {})]
    return found + [value for each in inner if each for value in _values(each)]
