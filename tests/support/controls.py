"""Ten invented controls, each with five to eight oddities: traits and nothing else.

Every row changes a copy of a shipped dialect; what it changes is written as in a manual.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.dialect_files import TRAITS, load_dialect

__all__ = ["CONTROLS", "Control", "traits_of", "write_folder"]


class Control(NamedTuple):
    """A shipped dialect, what differs from it, and keys of a job that the control wants."""

    of: str
    traits: Mapping[str, Any]
    codes: Mapping[str, Any] = {}
    job: Mapping[str, Any] = {}


CONTROLS: Mapping[str, Control] = {
    # coolant by M14, numbers by fives, home before the tool, gear, second datum, T1 alone
    "amber": Control(
        "uw-lathe",
        {
            "first_number": 5, "number_step": 5, "numbering": "every block",
            "start": ["%", "O{number} ({name})"], "number_digits": 8,
            "highest_program": 99999999, "reference_before_tool": True,
            "gears": ["M41", "M42"], "work_offset": "G55", "tool_call": "station",
            "own_words": {"M14": {"means": "coolant_on", "source": "machine manual, p. 44"}},
        },
        {"coolant_on": "M14", "harmless": ["G18", "G40", "G80"]},
        {"machine.gear": "M42", "part.number": 12345678},
    ),
    # two coolants, modes stated, short header, no N words, stop for optional stop
    "beryl": Control(
        "iso6983",
        {
            "state": ["G18", "G40", "G54"], "header": "short", "numbering": "none",
            "comment_open": ";", "comment_close": "", "m_words_per_block": 2,
            "start": ["%", "O{number}"], "end": ["%"],
        },
        {"coolant_on": ["M08", "M07"], "optional_stop": "M00"},
    ),
    # radius and diameter words, X on the radius
    "coral": Control(
        "rs274",
        {
            "state": ["G18", "G40", "G61"], "work_offset": "G57", "numbering": "every block",
            "first_number": 0, "number_step": 1, "start": ["%", "({name})"],
            "reference_axes": "named", "reference_before_tool": True, "comment_length": 40,
        },
        {"diameter": "G7", "radius": "G8", "harmless": ["G80"]},
    ),
    # one digit for station and offset, U and W for home at both ends, own gear words
    "delft": Control(
        "uw-lathe",
        {
            "tool_digits": 1, "short_tool": False, "reference_before_tool": True,
            "gears": ["M38", "M39"], "header": "short", "number_digits": 5,
            "highest_program": 99999, "first_number": 1, "number_step": 1,
            "own_words": {
                "M38": {"means": "gear", "source": "leaflet 3"},
                "M39": {"means": "gear", "source": "leaflet 3"},
            },
        },
        {},
        {"machine.gear": "M39", "part.number": 54321, "tool.station": 3, "tool.offset": 4},
    ),
    # least increments, a name on its own line, speed mode alone on its own, radius by a word
    "ember": Control(
        "iso6983-integer",
        {
            "x": "radius", "start": ["%{number}", "({name})"], "number_step": 100,
            "first_number": 100, "highest_number": 99999, "state": ["G17", "G49"],
        },
        {"diameter": "G7", "radius": "G8", "harmless": ["G40"], "coolant_on": "M07"},
    ),
    # tool by T and M06 without an offset, feed per minute, whole coolant off by an own word
    "flint": Control(
        "iso6983",
        {
            "tool_call": "station", "feed": "per minute", "dwell_address": "P",
            "dwell_unit": "ms", "highest_program": 999, "number_digits": 3,
            "own_words": {
                "M29": {"means": "coolant_off", "source": "sheet B-12"},
                "M86": {"means": "harmless", "source": "sheet B-14"},
            },
            "state": ["G40", "M86"],
        },
        {"tool_change": "M06", "coolant_off": "M29"},
        {"part.number": 7},
    ),
    # safe return to the reference point with G91, and before the tool call
    "grape": Control(
        "iso6983",
        {
            "safe_return": "reference point", "reference_before_tool": True,
            "numbering": "tool call", "first_number": 1, "number_step": 1,
            "state": ["G18", "G54", "G80"], "header": "short", "line_length": 64,
            "comment_length": 50,
        },
        {"reference_return": "G28", "speed_limit": "G92"},
    ),
    # three digits in each half, words of two standards mixed, three coolants
    "hazel": Control(
        "iso6983",
        {
            "tool_digits": 3, "short_tool": True, "increments": "codes", "state": ["G40"],
            "work_offset": "G59", "start": [":{number} ({name})"], "number_digits": 6,
            "highest_program": 999999, "subprogram_start": [":{number}"],
        },
        {
            "metric": "G21", "inch": "G20", "coolant_on": ["M08", "M07", "M51"],
            "feed_per_rev": "G99", "feed_per_min": "G98", "harmless": ["G18"],
            "subprogram_return": "M17",
        },
        {"part.number": 123456},
    ),
    # spindle words of its own
    "ivory": Control(
        "rs274",
        {
            "x": "diameter", "feed": "per revolution", "own_words": {
                "M23": {"means": "spindle_forward", "source": "list of M words, 2nd ed."},
                "M24": {"means": "spindle_reverse", "source": "list of M words, 2nd ed."},
                "M13": {"means": "coolant_on", "source": "list of M words, 2nd ed."},
            },
            "first_number": 7, "number_step": 7, "numbering": "every block",
            "m_words_per_block": 1, "header": "short",
        },
        {
            "feed_per_rev": "G95", "constant_speed": "G97", "surface_speed": "G96",
            "spindle_forward": "M23", "spindle_reverse": "M24", "coolant_on": "M13",
            "diameter": "G7", "radius": "G8",
        },
    ),
    # M50 for coolant off, gears chosen, a name with a program's number in a long frame
    "jade": Control(
        "uw-lathe",
        {
            "start": ["%", "(JADE)", "O{number} ({name})"], "gears": ["M43", "M44"],
            "safe_return": "safe position", "state": ["G18", "G40"], "work_offset": "G54",
            "first_number": 1000, "number_step": 2, "numbering": "every block",
            "own_words": {"M50": {"means": "coolant_off", "source": "electrical plan, sheet 9"}},
            "most_digits": 7,
        },
        {"coolant_off": "M50"},
        {"machine.gear": "M44"},
    ),
}  # fmt: skip


def traits_of(name: str, control: Control) -> dict[str, Any]:
    """Return all traits of a control, as they stand in its file."""
    traits = load_dialect(control.of).model_dump(exclude_none=True)
    codes = {**traits["codes"], **control.codes}
    return {**traits, **control.traits, "name": name, "codes": codes}


def write_folder(root: Path, name: str, control: Control) -> Dialect:
    """Write a folder with a control's traits, no code in it, and load it."""
    folder = root / name
    folder.mkdir()
    traits = traits_of(name, control)
    tables = {key: traits.pop(key) for key in ("codes", "own_words")}
    lines = [f"{key} = {json.dumps(value)}" for key, value in traits.items()]
    for key, table in tables.items():
        lines += [f"[{key}]", *(f"{name} = {_in_toml(value)}" for name, value in table.items())]
    (folder / TRAITS.name).write_text("\n".join(lines), encoding="utf-8")
    return load_dialect(name, [root])


def _in_toml(value: Any) -> str:
    if not isinstance(value, Mapping):
        return json.dumps(value)
    return "{" + ", ".join(f"{key} = {json.dumps(text)}" for key, text in value.items()) + "}"
