"""Each problem of a job file names its line; errors from Python are those of a file."""

from __future__ import annotations

from pathlib import Path

import pytest

from knurlcam import Job, make_plan
from knurlcam.job.problems import JobFileError
from knurlcam.toml import line_of_key
from tests.support.commands import FOCUS, run
from tests.support.jobs import base_job

KNOB = FOCUS.read_text(encoding="utf-8")


def line_with(text: str, part: str) -> int:
    return next(n for n, line in enumerate(text.split("\n"), 1) if part in line)


@pytest.mark.parametrize(
    ("right", "wrong", "key", "at"),
    [
        ("length = 70.0", 'length = "70 kg"', "part.length", "70 kg"),
        ("length = 70.0", "lenght = 70.0", "part.lenght", "lenght"),
        ("length = 70.0", "", "part.length", "[part]"),
        ('method = "between centres"', 'method = "between centers"', "holding.method", "centers"),
        ('units = "mm"', 'units = "inches"', "units", "inches"),
        ("roll_spacing = 21.0", "roll_spacing = -1", "tool.roll_spacing", "-1"),
        ('material = "aluminium 6082-T6"', 'material = {name = "x"}', "part.material", "{name"),
    ],
)
def test_a_problem_names_the_line_of_its_key(
    right: str, wrong: str, key: str, at: str, tmp_path: Path
) -> None:
    text = KNOB.replace(right, wrong)
    assert text != KNOB
    file = tmp_path / "knob.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(JobFileError) as caught:
        Job.load(file)
    named = {(p.where, p.line) for p in caught.value.problems if (p.key or "").startswith(key)}
    assert named == {(str(file), line_with(text, at))}
    assert f"{file}: line {line_with(text, at)}: {key}" in str(caught.value)


@pytest.mark.parametrize(
    ("text", "key", "line"),
    [
        ("units = 'mm'\n[part]\nlength = 70", "part.length", 3),
        ("units = 'mm'\n[part]\nlength = 70", "part.name", 2),
        ("part.length = 70", "part.length", 1),
        ("[part]\n# length = 1\nlength = 70", "part.length", 3),
        ("[part]\nsteps = [\n {length = 1}]", "part.steps.0.length", 2),
        ("[part]\n[tool]\nlength = 70", "part.length", 1),
        ("a = 1", "b.c", None),
    ],
)
def test_the_line_of_a_key_is_that_of_the_key_or_of_what_holds_it(
    text: str, key: str, line: int | None
) -> None:
    assert line_of_key(text, key) == line


def test_a_job_made_in_python_raises_what_a_file_raises() -> None:
    wrong = base_job({"tool.station": "five", "part.lenght": 70})
    for make in (lambda: Job(**wrong), lambda: Job.model_validate(wrong), lambda: Job.build(wrong)):
        with pytest.raises(JobFileError, match="did you mean 'length'") as caught:
            make()
        assert sorted(p.key or "" for p in caught.value.problems) == ["part.lenght", "tool.station"]


def test_a_job_made_in_python_is_the_job_of_the_file() -> None:
    assert Job(**base_job()) == Job.model_validate(base_job())


def test_a_plan_is_shown_in_one_line() -> None:
    shown = repr(make_plan(Job.load(FOCUS)))
    assert shown.startswith("<Plan 'Focus knob': DIN 82 RGE 1.0, 67 teeth on a blank of 24.")
    assert "\n" not in shown
    assert len(shown) < 150


def test_a_pitch_of_inches_beside_a_bare_diameter_raises_the_question_of_units() -> None:
    asked = run("blank", "21 TPI straight", "--diameter", "0.75")
    assert asked.returncode == 2
    assert '"0.75 in" or "0.75 mm"' in asked.stderr
    for answer in (("--diameter", "0.75 in"), ("--diameter", "0.75", "--units", "inch")):
        assert run("blank", "21 TPI straight", *answer).returncode == 0


def test_a_number_of_thousands_of_digits_for_a_word_is_refused_and_not_shown() -> None:
    with pytest.raises(JobFileError, match=r"holding\.method"):
        Job.model_validate(base_job({"holding.method": 1 << 20_000}))
