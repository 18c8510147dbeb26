"""Ten invented controls: a folder of traits, without code, takes every sample there and back."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import product
from pathlib import Path
from typing import Any

import pytest

from knurlcam import InputError, Job, lay_out, make_plan, read_program, verify, write_program
from knurlcam.gcode.motion import Motion
from tests.support.commands import FOCUS, JOBS
from tests.support.controls import CONTROLS, Control, write_folder


def with_keys(job: Job, keys: Mapping[str, Any]) -> Job:
    for key, value in keys.items():
        name, _, last = key.partition(".")
        section = getattr(job, name).model_copy(update={last: value})
        job = job.model_copy(update={name: section})
    return job


def way(motion: Motion) -> list[float]:
    """Where each motion goes and how fast; the reference point is no place of the work."""
    places = [(m.x1, m.z1, m.feed_mm_per_rev) for m in motion.moves if m.kind != "reference"]
    return [value or 0.0 for place in places for value in place]


@pytest.mark.few(3)
@pytest.mark.parametrize(
    ("name", "file"),
    [pytest.param(n, f, id=f"{n}-{f.stem}") for n, f in product(CONTROLS, JOBS)],
)
def test_a_folder_of_traits_takes_a_sample_there_and_back(
    tmp_path: Path, name: str, file: Path
) -> None:
    control = CONTROLS[name]
    dialect = write_folder(tmp_path, name, control)
    job = with_keys(Job.load(file), control.job)
    path = lay_out(make_plan(job))
    forms = ("program", "section", "blocks", *(("subprogram",) if dialect.subprogram_start else ()))
    for form in forms:
        assert verify(write_program(path, dialect, form=form), job, dialect).findings == ()
    shipped = lay_out(make_plan(Job.load(file)))
    plain = read_program(write_program(shipped, control.of), control.of)
    own = read_program(write_program(path, dialect), dialect)
    assert way(own) == pytest.approx(way(plain), abs=0.003)


def text_of(tmp_path: Path, traits: dict[str, Any], job: dict[str, Any], **codes: Any) -> str:
    control = Control(traits.pop("of", "iso6983"), traits, codes, job)
    dialect = write_folder(tmp_path, "own", control)
    return write_program(lay_out(make_plan(with_keys(Job.load(FOCUS), job))), dialect)


def numbers_of(text: str) -> list[int]:
    return [int(line.split()[0][1:]) for line in text.splitlines() if line.startswith("N")]


def test_blocks_are_numbered_from_the_first_number_by_the_step(tmp_path: Path) -> None:
    numbers = numbers_of(text_of(tmp_path, {"first_number": 100, "number_step": 5}, {}))
    assert numbers[:3] == [100, 105, 110]


def test_where_numbers_would_run_out_they_go_up_by_one(tmp_path: Path) -> None:
    traits = {"first_number": 100, "number_step": 900, "highest_number": 999}
    assert numbers_of(text_of(tmp_path, traits, {}))[:3] == [1, 2, 3]


@pytest.mark.parametrize(
    ("name", "line"),
    [
        ("focus knob", "O1201 (FOCUS KNOB)"),
        ("BLOCKS TO PASTE", "O1201 (PART BLOCKS TO PASTE)"),
        ("SUBPROGRAM 3", "O1201 (PART SUBPROGRAM 3)"),
        ("MSG, hello", "O1201 (PART MSG, HELLO)"),
        ("Ø25) M03 (", "O1201 (OE25 M03)"),
        ("→" * 3, "O1201 (TO TO TO)"),
        ("日本", "O1201 (KNURL)"),
        ("x" * 100, "O1201 (" + "X" * 60 + ")"),
    ],
)
def test_the_parts_name_stands_beside_the_number_as_a_comment(
    tmp_path: Path, name: str, line: str
) -> None:
    traits = {"start": ["O{number} ({name})"]}
    first = text_of(tmp_path, traits, {"part.name": name}).splitlines()[0]
    assert first == line


REFUSED: list[tuple[dict[str, Any], dict[str, Any], str, str]] = [
    ({}, {"part.number": 10000}, "part.number", "no program number above 9999"),
    ({"highest_program": 500}, {}, "part.number", "above 500"),
    ({"tool_digits": 1}, {"tool.station": 12}, "tool.station", "1 digit"),
    ({"tool_digits": 1}, {"tool.offset": 12}, "tool.offset", "1 digit"),
    ({}, {"machine.gear": "M41"}, "machine.gear", "no such gear"),
    ({"gears": ["M41", "M42"]}, {"machine.gear": "M43"}, "machine.gear", "no such gear"),
]


@pytest.mark.parametrize(("traits", "job", "key", "match"), REFUSED)
def test_what_the_control_does_not_take_is_refused_by_the_jobs_key(
    tmp_path: Path, traits: dict[str, Any], job: dict[str, Any], key: str, match: str
) -> None:
    with pytest.raises(InputError, match=match) as error:
        text_of(tmp_path, dict(traits), job)
    assert error.value.key == key
    assert error.value.expected


def test_a_dialect_without_program_numbers_takes_any(tmp_path: Path) -> None:
    assert text_of(tmp_path, {"of": "rs274"}, {"part.number": 99_999_999})


def test_own_words_stand_in_the_header_with_their_source(tmp_path: Path) -> None:
    own = {"M14": {"means": "coolant_on", "source": "machine manual, p. 44"}}
    text = text_of(tmp_path, {"own_words": own}, {}, coolant_on="M14")
    assert "(M14 IS COOLANT ON BY MACHINE MANUAL, P. 44)" in text
    assert "M08" not in text


def test_a_short_header_has_the_job_the_blank_and_the_cautions(tmp_path: Path) -> None:
    text = text_of(tmp_path, {"header": "short"}, {})
    comments = [line for line in text.splitlines() if line.startswith("(")]
    for says in ("JOB ", "TURN BLANK TO", "KNURLED DIAMETER", "TOOL STATION", "PROVE OUT FIRST"):
        assert any(line.startswith(f"({says}") for line in comments), says
    assert not any("ESTIMATE" in line for line in comments)
