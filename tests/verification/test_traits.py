"""What a dialect wants stated and called is found where it is missing or another."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from knurlcam import Job, lay_out, make_plan, verify, write_program
from tests.gcode.test_controls import with_keys
from tests.support.commands import FOCUS
from tests.support.controls import Control, write_folder


class Broken(NamedTuple):
    """One trait, one change of a program in it, and the rules that find it."""

    codes: tuple[str, ...]
    traits: Mapping[str, Any]
    own: Mapping[str, Any]
    old: str
    new: str
    job: Mapping[str, Any] = {}


STATE = {"state": ["G18", "G40", "G54"]}
DATUM = {"work_offset": "G55"}
NO_G54 = {"harmless": ["G18"]}
X_WORDS = {"diameter": "G7", "radius": "G8"}
TWO = {"coolant_on": ["M08", "M07"]}
GEAR = {"gears": ["M41", "M42"]}
IN_GEAR = {"machine.gear": "M42"}
STATION = {"tool_call": "station"}
CHANGE = {"tool_change": "M06"}
HOME = {"reference_before_tool": True}
HOME_WORD = {"reference_return": "G28"}

CASES: Mapping[str, Broken] = {
    "nothing stated": Broken(("mode-not-stated",), STATE, {}, "G18 G40 G54", "G90"),
    "one not stated": Broken(("mode-not-stated",), STATE, {}, "G18 G40 G54", "G18 G54"),
    "stated too late": Broken(
        ("mode-not-stated",), STATE, {},
        "G18 G40 G54\nT0505\nG97 S110 M03\nM08\nG00 X120.000\n",
        "T0505\nG97 S110 M03\nM08\nG00 X120.000\nG18 G40\n",
    ),
    "no datum": Broken(("mode-not-stated",), DATUM, NO_G54, "G55", "G90"),
    "another datum": Broken(
        ("mode-not-stated", "unknown-word"), DATUM, NO_G54, "G55", "G54"
    ),
    "back to the first datum": Broken(
        ("unknown-word",), DATUM, NO_G54, "M08", "M08 G54"
    ),
    "diameter not stated": Broken(("x-mode-not-stated",), {}, X_WORDS, " G7", ""),
    "radius in force": Broken(("x-mode-wrong",), {}, X_WORDS, " G7", " G8"),
    "radius on the way": Broken(("x-mode-wrong",), {}, X_WORDS, "M08", "M08 G8"),
    "both": Broken(("contradictory-words",), {}, X_WORDS, " G7", " G8 G7"),
    "radius of radius words": Broken(
        ("x-mode-wrong",), {"x": "radius"}, X_WORDS, " G8", " G7"
    ),
    "one coolant": Broken(("no-coolant",), {}, TWO, "M07\n", "G90\n"),
    "the other coolant": Broken(("no-coolant",), {}, TWO, "M08\n", "G90\n"),
    "coolant left on": Broken(("coolant-on-at-end",), {}, TWO, "M09", "M08"),
    "one coolant left on": Broken(("coolant-on-at-end",), {}, TWO, "M05", "M05\nM07"),
    "gear not stated": Broken(("gear-not-planned",), GEAR, {}, "M42", "G90", IN_GEAR),
    "another gear": Broken(("gear-not-planned",), GEAR, {}, "M42", "M41", IN_GEAR),
    "a gear of no list": Broken(
        ("gear-not-planned", "unknown-word"), GEAR, {}, "M42", "M43", IN_GEAR
    ),
    "another station": Broken(("wrong-tool",), STATION, {}, "T5", "T6"),
    "no station": Broken(("wrong-tool",), STATION, {}, "T5", "G90"),
    "an offset in a station": Broken(("wrong-tool",), STATION, {}, "T5", "T0505"),
    "another station to change": Broken(("wrong-tool",), STATION, CHANGE, "T5 M06", "T6 M06"),
    "a station selected only": Broken(("wrong-tool",), STATION, CHANGE, "T5 M06", "T5"),
    "two digits for four": Broken(
        ("number-format", "wrong-tool"), {}, {}, "T0505", "T55"
    ),
    "four digits for two": Broken(
        ("number-format", "wrong-tool"), {"tool_digits": 1}, {}, "T55", "T0505"
    ),
    "an own word without its comment": Broken(
        ("own-word-not-shown",),
        {"own_words": {"M14": {"means": "coolant_on", "source": "page 4"}}},
        {"coolant_on": "M14"}, "(M14 IS COOLANT ON BY PAGE 4)\n", "",
    ),
    "Z home first": Broken(
        ("position-unknown",), HOME, HOME_WORD, "G28 X0.000\n", "G28 Z0.000\n"
    ),
    "home by way of the axis": Broken(
        ("position-unknown", "wrong-tool", "z-before-x"),
        HOME, HOME_WORD, "G91\n", "G90\n",
    ),
}  # fmt: skip


def broken(tmp_path: Path, case: Broken) -> tuple[str, str, Job, Any]:
    traits = {"numbering": "none", **case.traits}
    dialect = write_folder(tmp_path, "own", Control("iso6983", traits, case.own))
    job = with_keys(Job.load(FOCUS), case.job)
    text = write_program(lay_out(make_plan(job)), dialect)
    assert text.count(case.old) >= 1, text
    return text, text.replace(case.old, case.new, 1), job, dialect


@pytest.mark.parametrize("name", CASES)
def test_what_a_trait_wants_is_found_where_it_is_not_so(tmp_path: Path, name: str) -> None:
    case = CASES[name]
    text, wrong, job, dialect = broken(tmp_path, case)
    assert verify(text, job, dialect).findings == ()
    result = verify(wrong, job, dialect)
    assert {f.code for f in result.findings} == set(case.codes), result.findings
    assert result.ok == all(f.severity == "warning" for f in result.findings)
