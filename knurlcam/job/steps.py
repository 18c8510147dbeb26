"""Steps of stepped work: pieces of one diameter each, from the end face to the chuck."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Annotated

from pydantic import (
    BeforeValidator,
    PlainSerializer,
    WithJsonSchema,
)

from knurlcam.errors import InputError
from knurlcam.job.fields import units_in_force
from knurlcam.job.limits import MAX_LENGTH_MM
from knurlcam.units.kinds import Kind, Units
from knurlcam.units.quantities import parse_quantity, to_text

__all__ = [
    "MOST_STEPS",
    "STEPS_AGREE_MM",
    "Steps",
    "read_steps",
    "steps_text",
]

MOST_STEPS = 50
"""Steps of stepped work; a longer list is a mistake."""

STEPS_AGREE_MM = 1e-3
"""Difference of the steps' sum from the part's length that is no contradiction [mm].

Lengths of steps come from a drawing's chain of dimensions; this is the least increment of a
control."""


def read_steps(value: object, units: Units) -> tuple[tuple[float, float], ...]:
    """Return the steps of stepped work, each as diameter and length [mm].

    Args:
        value: A list of tables with ``diameter`` and ``length``, or text such as
            ``25 x 30, 18 x 40`` (diameter x length), as a table's cell holds it.
        units: What bare lengths are in.

    Raises:
        InputError: if it is anything else.
    """
    if isinstance(value, str):
        # A cell of a table whose own separator is the comma may have semicolons between steps.
        value = value.replace(";", ",").replace("X", "x").replace("×", "x")
        value = [dict(zip(_STEP_KEYS, _split_step(step), strict=True)) for step in value.split(",")]
    if not isinstance(value, (list, tuple)) or not value:
        raise _not_steps(value)
    if len(value) > MOST_STEPS:
        raise InputError(
            f"has {len(value)} steps",
            expected=f"at most {MOST_STEPS}",
            remedy="put pieces of one diameter together",
        )
    return tuple(_read_step(step, number, units) for number, step in enumerate(value, start=1))


_STEP_KEYS = ("diameter", "length")


def _read_step(step: object, number: int, units: Units) -> tuple[float, float]:
    if isinstance(step, tuple) and len(step) == 2:
        step = dict(zip(_STEP_KEYS, step, strict=True))  # one that was read already
    if not isinstance(step, Mapping) or set(step) != set(_STEP_KEYS):
        raise _not_steps(step)
    diameter, length = (parse_quantity(step[key], Kind.LENGTH, units) for key in _STEP_KEYS)
    for key, size in zip(_STEP_KEYS, (diameter, length), strict=True):
        if not 0 < size <= MAX_LENGTH_MM:
            raise InputError(
                f"step {number} has a {key} out of range",
                value=step[key],
                expected=f"more than 0 and at most {MAX_LENGTH_MM:g} mm",
                remedy="correct it",
            )
    return diameter, length


def _split_step(text: str) -> list[str]:
    parts = [part.strip() for part in text.split("x")]
    if len(parts) != 2 or not all(parts):
        raise _not_steps(text)
    return parts


def _not_steps(value: object) -> InputError:
    return InputError(
        "is not a list of steps",
        value=value,
        expected="tables with diameter and length, such as { diameter = 25.0, length = 30.0 }, or "
        'text such as "25 x 30, 18 x 40"',
        remedy="list the pieces of the work from the end face to the chuck, with decimal points",
    )


def steps_text(steps: Sequence[tuple[float, float]]) -> str:
    """Return steps as text that :func:`read_steps` takes, units written out."""
    return ", ".join(
        f"{to_text(diameter, Kind.LENGTH)} x {to_text(length, Kind.LENGTH)}"
        for diameter, length in steps
    )


def _read_own_steps(value: object) -> object:
    return None if value is None else read_steps(value, units_in_force())


def _write_steps(value: tuple[tuple[float, float], ...] | None) -> str | None:
    return None if value is None else steps_text(value)


Steps = Annotated[
    tuple[tuple[float, float], ...] | None,
    BeforeValidator(_read_own_steps),
    PlainSerializer(_write_steps, return_type=str | None),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "string"},
                {
                    "type": "array",
                    "items": {
                        "type": "object",
                        "properties": {
                            "diameter": {"anyOf": [{"type": "number"}, {"type": "string"}]},
                            "length": {"anyOf": [{"type": "number"}, {"type": "string"}]},
                        },
                        "required": ["diameter", "length"],
                        "additionalProperties": False,
                    },
                },
                {"type": "null"},
            ]
        }
    ),
]
