"""A job file to start from: what has to be asked, and the file that the answers make.

Only what nobody can recommend is asked; all else is left out of the job, and stands in the file
as a comment with its default, so that it can be seen what there is.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from typing import Any, NamedTuple

from knurlcam.errors import InputError, nearest
from knurlcam.job.keys import Key, job_keys
from knurlcam.job.model import Job
from knurlcam.job.problems import JobFileError
from knurlcam.mechanics.tool_styles import TOOL_STYLES

__all__ = [
    "NAMED_BY_A_SHOP",
    "QUESTIONS",
    "Answers",
    "Question",
    "job_of",
    "job_text",
    "known_key",
    "problem_with",
    "shop_question",
]

NAMED_BY_A_SHOP = ("tool", "machine")
"""Sections that a job may give by a name of the shop file."""

Answers = Mapping[str, str]
"""Texts as they were typed, by key, such as ``part.length``: ``70`` or ``2.75 in``."""


def _needs_spacing(answers: Answers) -> bool:
    style = TOOL_STYLES.get(answers.get("tool.style", ""))
    return style is not None and style.needs_spacing


class Question(NamedTuple):
    """One thing that is asked.

    Attributes:
        key: The key that the answer gives.
        ask: The question.
        example: An answer.
        default: What no answer stands for; None where there must be one, empty to leave it out.
        applies: Whether it is asked, given the answers before it.
    """

    key: str
    ask: str
    example: str
    default: str | None = None
    applies: Callable[[Answers], bool] = lambda answers: True


QUESTIONS = (
    Question("units", "Units of the drawing, mm or inch", "mm", "mm"),
    Question("part.name", "Name of the part", "Focus knob"),
    Question("part.material", "Material", "aluminium 6082-T6"),
    Question(
        "part.knurled_diameter",
        "Diameter over the crests of the knurl; nothing if the drawing gives the blank's",
        "25.0",
        "",
    ),
    Question(
        "part.blank_diameter",
        "Diameter of the blank before knurling",
        "24.6",
        applies=lambda answers: not answers.get("part.knurled_diameter"),
    ),
    Question("part.length", "Free length from the end face to chuck or driven centre", "70.0"),
    Question("part.number", "Program number, 1 to 9999", "1201", ""),
    Question("knurl.callout", "Callout of the knurl", "DIN 82 RGE 1.0 or 21 TPI straight"),
    Question("knurl.length", "Width of the knurl along the axis", "20.0"),
    Question("knurl.start", "Distance of the knurl from the end face", "0", "0"),
    Question("knurl.purpose", "Purpose: grip, appearance or press fit", "grip", "grip"),
    Question("holding.method", "Holding: between centres, chuck and centre, or chuck", "chuck"),
    Question("tool.style", f"Tool: {', '.join(TOOL_STYLES)}", "knuckle joint"),
    Question("tool.roll_diameter", "Diameter of the rolls", "20.0"),
    Question("tool.face_width", "Face width of the rolls", "10.0"),
    Question(
        "tool.roll_spacing", "Vertical distance of the roll centres", "21.0", applies=_needs_spacing
    ),
    Question("tool.station", "Turret station of the tool", "5"),
    Question("machine.post", "Dialect of the control (knurlcam dialects)", "iso6983", "iso6983"),
    Question("machine.safe_x", "Safe X, on the diameter", "120.0"),
    Question("machine.safe_z", "Safe Z, in front of the end face", "50.0"),
)
"""In the order in which they are asked."""


def known_key(name: str) -> Key:
    """Return a key of a job file.

    Raises:
        InputError: if there is none of that name.
    """
    rows = {key.key: key for key in job_keys()}
    if name not in rows:
        raise InputError(
            "is not a key of a job",
            key=name,
            expected="a key with its section, such as part.name",
            remedy=nearest(name, rows),
        )
    return rows[name]


def shop_question(section: str, names: Iterable[str]) -> Question:
    """Return the question which of a shop's tools or machines the job takes."""
    listed = list(names)
    return Question(section, f"The shop's {section}: {', '.join(listed)}", listed[0])


def job_of(answers: Answers) -> dict[str, Any]:
    """Return the keys of a job, nested as in the file."""
    data: dict[str, Any] = {}
    for name, text in answers.items():
        if not text:
            continue
        section, _, key = name.rpartition(".")
        table = data.setdefault(section, {}) if section else data
        table[key] = text if name in NAMED_BY_A_SHOP else _value(known_key(name), text)
    return data


def problem_with(key: str, answers: Answers) -> InputError | None:
    """Return what is wrong with one answer; None where nothing is, whatever is still missing."""
    try:
        Job.build(job_of(answers))
    except JobFileError as error:
        return next((p for p in error.problems if p.key == key), None)
    return None


def _value(key: Key, text: str) -> Any:
    """Return an answer as TOML holds it: a number where it is one, else a text."""
    if key.takes == "list":
        return [part.strip().strip("\"'") for part in text.strip("[] ").split(",") if part.strip()]
    if key.takes == "true or false":
        return {"true": True, "yes": True, "false": False, "no": False}.get(text.casefold(), text)
    if key.takes == "number":
        for kind in (int, float):
            try:
                return kind(text)
            except ValueError:
                continue
    return text


# -- the file ----------------------------------------------------------------------------


def job_text(answers: Answers) -> str:
    """Return a job file: the answers, what each key means, and the keys that were left out."""
    data = job_of(answers)
    tables = {name: part for name, part in data.items() if isinstance(part, dict)}
    lines = [
        "# A knurl for knurlcam. What stands behind a # is a comment: take the # away to use it."
    ]
    section = ""
    for key in job_keys():
        table, _, name = key.key.rpartition(".")
        if table != section:
            if not section:
                lines += [
                    f"{shop} = {_toml(data[shop])}  # of the shop file"
                    for shop in NAMED_BY_A_SHOP
                    if isinstance(data.get(shop), str)
                ]
            section = table
            lines += ["", f"[{table}]" if table in tables else f"# [{table}]"]
        lines.append(_line(key, name, (tables.get(table, {}) if table else data).get(name)))
    return "\n".join(lines) + "\n"


def _line(key: Key, name: str, given: Any) -> str:
    values = f" ({' | '.join(key.values)})" if key.values else ""
    means = f"{key.means}{values}"
    if given is not None:
        return f"{name} = {_toml(given)}  # {means}"
    default = "" if key.default is None else f" {_toml(key.default)}"
    return f"# {name} ={default or ' ...'}  # {means}"


def _toml(value: Any) -> str:
    """Return a value as TOML writes it: JSON's texts, lists and words are TOML's as well."""
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    return json.dumps(list(value) if isinstance(value, tuple) else value)
