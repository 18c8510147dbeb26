"""Any combination of traits is refused, or takes a program there and back."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from knurlcam import InputError, Job, lay_out, make_plan, read_program, verify, write_program
from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.dialect_files import load_dialect
from knurlcam.gcode.dialect_rules import faults_of
from tests.gcode.test_controls import way, with_keys
from tests.support.commands import FOCUS
from tests.support.controls import Control, traits_of

SHIPPED = ("iso6983", "iso6983-integer", "rs274", "uw-lathe")
JOB = with_keys(Job.load(FOCUS), {"process.trial_strip": True})
PLAIN = way(read_program(write_program(lay_out(make_plan(JOB)), "iso6983"), "iso6983"))

STATED = ["G17", "G18", "G40", "G49", "G54", "G55", "G61", "G80", "M86"]
TRAITS: dict[str, st.SearchStrategy[Any]] = {
    "first_number": st.sampled_from([0, 1, 5, 9000]),
    "number_step": st.sampled_from([1, 5, 500]),
    "numbering": st.sampled_from(["every block", "tool call", "none"]),
    "start": st.sampled_from(
        [["%{number}"], ["%", "O{number} ({name})"], ["%", ":{number}", "({name})"], ["%"]]
    ),
    "end": st.sampled_from([[], ["%"]]),
    "number_digits": st.sampled_from([1, 5, 8]),
    "highest_program": st.sampled_from([1000, 9999, 99999999]),
    "state": st.lists(st.sampled_from(STATED), max_size=4),
    "work_offset": st.sampled_from(["G54", "G55", "G59"]),
    "reference_before_tool": st.booleans(),
    "reference_axes": st.sampled_from(["named", "all"]),
    "safe_return": st.sampled_from(["safe position", "reference point"]),
    "tool_call": st.sampled_from(["station and offset", "station and change", "station"]),
    "tool_digits": st.sampled_from([1, 2, 3]),
    "short_tool": st.booleans(),
    "gears": st.sampled_from([[], ["M41", "M42"], ["M42", "M38"]]),
    "m_words_per_block": st.sampled_from([1, 2]),
    "header": st.sampled_from(["full", "short"]),
    "x": st.sampled_from(["diameter", "radius"]),
    "feed": st.sampled_from(["per revolution", "per minute"]),
    "increments": st.sampled_from(["codes", "U and W"]),
    "own_words": st.sampled_from(
        [
            {},
            {"M14": {"means": "coolant_on", "source": "page 4"}},
            {"M86": {"means": "harmless", "source": "page 5"}},
            {"M38": {"means": "gear", "source": "page 6"}},
            {"M14": {"means": "coolant_on", "source": "page 4"},
             "M86": {"means": "harmless", "source": "page 5"}},
        ]
    ),
}  # fmt: skip
CODES: dict[str, st.SearchStrategy[Any]] = {
    "diameter": st.just("G7"),
    "radius": st.just("G8"),
    "reference_return": st.just("G28"),
    "tool_change": st.just("M06"),
    "coolant_on": st.sampled_from(["M07", "M14", ["M08", "M07"], ["M08", "M14"]]),
    "optional_stop": st.sampled_from(["M00", "M01"]),
    "harmless": st.sampled_from([[], ["G40"], ["G18", "G54"]]),
    "feed_per_rev": st.just("G95"),
    "feed_per_min": st.just("G94"),
}
KEYS = {"machine.gear": st.sampled_from([None, "M42", "M38"])}


def some(table: dict[str, st.SearchStrategy[Any]]) -> st.SearchStrategy[dict[str, Any]]:
    return st.fixed_dictionaries({}, optional=table)


def dialect_of(control: Control) -> Dialect | None:
    """Return the dialect of some traits; None where they are refused."""
    traits = traits_of("any", control)
    folder = load_dialect(control.of).folder.parent / "any"
    dialect = Dialect.model_validate({**traits, "folder": folder})
    faults = list(faults_of(dialect))
    assert all(fault.key and fault.problem and fault.expected for fault in faults)
    return None if faults else dialect


def without_a_block(text: str, dialect: Dialect) -> Iterator[str]:
    """Yield a program without one of the blocks before its first motion, each in turn."""
    lines = text.splitlines(keepends=True)
    first = next(i for i, line in enumerate(lines) if "G00" in line)
    for i, line in enumerate(lines[:first]):
        # That Z alone does not go to the reference point first leaves it where it waits.
        home = "G28" in line and ("Z" in line or "W" in line)
        if not line.startswith((dialect.comment_open, "%", "O", ":")) and not home:
            yield "".join([*lines[:i], *lines[i + 1 :]])


def refused_key(dialect: Dialect, job: Job) -> str | None:
    """Return the key of the job that a dialect has no word or no room for."""
    numbered = any("{number}" in line for line in dialect.start)
    if numbered and job.part.number > dialect.highest_program:
        return "part.number"
    gear = job.machine.gear
    return "machine.gear" if gear is not None and gear not in dialect.gears else None


@settings(max_examples=25)
@given(st.sampled_from(SHIPPED), some(TRAITS), some(CODES), KEYS["machine.gear"])
@example(
    "iso6983",
    {"reference_axes": "all", "safe_return": "reference point"},
    {"reference_return": "G28"},
    None,
)
@example("uw-lathe", {"tool_call": "station", "header": "short"}, {}, None)
def test_any_traits_are_refused_or_take_a_program_there_and_back(
    of: str, traits: dict[str, Any], codes: dict[str, Any], gear: str | None
) -> None:
    dialect = dialect_of(Control(of, traits, codes))
    if dialect is None:
        return
    job = with_keys(JOB, {"machine.gear": gear})
    path = lay_out(make_plan(job))
    key = refused_key(dialect, job)
    if key is not None:
        with pytest.raises(InputError, match=r"no program number|no such gear") as error:
            write_program(path, dialect)
        assert error.value.key == key
        return
    text = write_program(path, dialect)
    assert verify(text, job, dialect).findings == ()
    assert way(read_program(text, dialect)) == pytest.approx(PLAIN, abs=0.005)
    for less in without_a_block(text, dialect):
        assert verify(less, job, dialect).findings, less
    assert write_program(path, dialect, form="section")
    assert write_program(path, dialect, form="blocks")
