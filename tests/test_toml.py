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
        ("a = ?", r"x: a: is not TOML: line 1: the value is neither"),
        ("a = " + "[" * 50_000, "tables or lists are nested too deeply"),
        ("\n" + "a." * (MOST_DOTS + 1) + "a = 1", f"line 2 has {MOST_DOTS + 1} dots"),
        ("a = " + "9" * 5_000, "is not TOML: there is a number of thousands of digits"),
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
        ("a = 0012", "write the number without zeros before it"),
        ("b = 2", "leave one of them out"),
    ],
)
def test_a_usual_mistake_is_shown_with_its_line_and_what_to_do(line: str, remedy: str) -> None:
    with pytest.raises(TomlError, match=r"is not TOML: line 2: ") as caught:
        keys_of_toml(f"b = 1\n{line}\nc = 2", where="x")
    assert (caught.value.value, caught.value.remedy) == (line, remedy)


@pytest.mark.parametrize(
    ("text", "key", "said"),
    [
        ("[part]\nlength = 25,0", "part.length", "line 2: there is something behind the value"),
        ('[part]\nname = "Knob', "part.name", "line 2: the quote is not closed"),
        ("[part]\na = 1\n[x]\na = 1\na = 2", "x.a", "line 5: the key stands twice, first in"),
        ("[part]\nlength 25", None, "line 2: there is no = behind the key"),
        ("[part\na = 1", None, "line 1: there is no ] at the end of the heading"),
        ("[part]\n[part]", None, "line 2: the heading or key stands twice"),
        ("a = [1,\n2", None, "line 2: there is no ] at the end of the list"),
        ("%1201\nN10 G71", None, "line 1: it is neither key = value, a [heading] nor a # comment"),
    ],
)  # fmt: skip
def test_an_error_names_line_and_key_in_plain_words(text: str, key: str | None, said: str) -> None:
    with pytest.raises(TomlError) as caught:
        keys_of_toml(text, where="x")
    assert caught.value.key == key
    assert said in caught.value.problem


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
