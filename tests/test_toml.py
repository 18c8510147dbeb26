"""The one reader of TOML, and errors that are given their place later."""

from __future__ import annotations

import pytest

from knurlcam import InputError, JobFileError
from knurlcam.toml import MOST_DOTS, TomlError, keys_of_toml
from knurlcam.units.kinds import QuantityError


def test_line_ends_of_every_system_are_read() -> None:
    assert keys_of_toml("a = 1\r\nb = 2\n", where="x") == {"a": 1, "b": 2}


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("a = ?", r"x: is not TOML: Invalid value.*line 1"),
        ("a = " + "[" * 50_000, "tables or lists are nested too deeply"),
        ("\n" + "a." * (MOST_DOTS + 1) + "a = 1", f"line 2 has {MOST_DOTS + 1} dots"),
        ("a = " + "9" * 5_000, "is not TOML: Exceeds the limit"),
    ],
)
def test_what_is_not_toml_or_too_much_is_one_kind_of_error(text: str, match: str) -> None:
    with pytest.raises(TomlError, match=match) as caught:
        keys_of_toml(text, where="x")
    assert caught.value.remedy == "correct that line"


@pytest.mark.parametrize(
    ("line", "remedy"),
    [
        ("a = .75", "write a zero before the decimal point, as in 0.75"),
        ("a = 25,0", "use a decimal point, as in 25.0"),
        ("a = 25.", "write a digit after the decimal point, as in 25.0"),
        ("a = 25 mm", 'put a value with its unit in quotes, as in "25 mm"'),
        ("a = Knob", "put text in quotes"),
        ('a = "Knob', "close the quote"),
        ("a 25", "correct that line"),
    ],
)
def test_a_usual_mistake_is_shown_with_its_line_and_what_to_do(line: str, remedy: str) -> None:
    with pytest.raises(TomlError, match=r"at line 2, ") as caught:
        keys_of_toml(f"b = 1\n{line}\nc = 2", where="x")
    assert (caught.value.value, caught.value.remedy) == (line, remedy)


def test_a_line_may_be_held_to_a_length() -> None:
    assert keys_of_toml("a = 12", where="x", longest_line=6) == {"a": 12}
    with pytest.raises(TomlError, match=r"line 1 has 7 characters.*at most 6"):
        keys_of_toml("a = 123", where="x", longest_line=6)


def test_an_error_is_given_its_place_and_keeps_its_class_and_fields() -> None:
    error = QuantityError("no unit", value=3, expected="a length", remedy="add one")
    placed = error.at(where="job.toml", key="part.length")
    assert type(placed) is QuantityError
    assert str(placed) == "job.toml: part.length: no unit (given: 3); expected a length; add one"
    assert error.where is None


def test_each_problem_of_a_job_is_given_the_place() -> None:
    error = JobFileError((InputError("a", key="k"), InputError("b", key="l"))).at(where="x")
    assert str(error) == "x: k: a\nx: l: b"
