"""What is wrong with a dialect's traits: all of it at once, in plain words."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from knurlcam.gcode.codes import Codes, OwnWord
from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.dialect_files import load_dialect
from knurlcam.gcode.trait_problems import BrokenDialectError
from knurlcam.gcode.trait_words import choices_of, holds, model_in
from tests.support.dialects import Shop


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    made = Shop(tmp_path)
    made.copy("lathe")
    return made


def problems(shop: Shop, *edits: tuple[str, str]) -> dict[str | None, BrokenDialectError]:
    for old, new in edits:
        shop.edit("lathe", old, new)
    with pytest.raises(BrokenDialectError) as error:
        load_dialect("lathe", [shop.root])
    return {problem.key: problem for problem in error.value.problems}  # type: ignore[misc]


EIGHT = (
    ('feed = "per revolution"', 'feed = "per revolutions"'),
    ("length_places_mm = 3", 'length_places_mm = "three"'),
    ('coolant_on = "M08"', 'coolant_om = "M08"'),
    ('spindle_stop = "M05"', 'spindle_stop = "M5.0"'),
    ('rapid = "G00"', 'rapid = "G02"'),
    ('comment_open = "("', 'comment_open = "<"'),
    ('\nend = []', '\nend = ["M30"]'),
    ('x = "diameter"\n', ""),
)  # fmt: skip


def test_everything_that_is_wrong_is_said_at_once(shop: Shop) -> None:
    found = problems(shop, *EIGHT)
    wrong = "feed length_places_mm codes.coolant_om codes.spindle_stop codes.rapid comment_open end"
    assert {*wrong.split(), "x"} == set(found)
    assert all(problem.where == str(shop.root / "lathe/dialect.toml") for problem in found.values())


def test_no_word_of_the_libraries_reaches_a_user(shop: Shop) -> None:
    said = " ".join(map(str, problems(shop, *EIGHT).values()))
    assert not re.search(
        r"pydantic|validat|pattern|Input should|Literal|tuple|\bstr\b|\bint\b", said
    )


@pytest.mark.parametrize(
    ("old", "new", "key", "said"),
    [
        ('feed = "per revolution"', 'feed = "per rev"', "feed", "did you mean 'per revolution'?"),
        ("numbering", "numbring", "numbring", "did you mean 'numbering'?"),
        ("[codes]", "[codes]\nleadr = true", "codes.leadr", "did you mean 'leader'? write it"),
        ("[codes]", "[codes]\nblock_skip = true", "codes.block_skip", "write it above [codes]"),
        ("leader = true", 'speed_limit = "G50"', "speed_limit", "write it below [codes]"),
        ("leader = true", "leader = 7", "leader", "true or false; this key holds: whether"),
        ("leader = true", "block_skip = [1]", "block_skip", "(given: 'a list')"),
        ("leader = true", 'gears = "M41"', "gears", "a list in square brackets"),
        ("leader = true", 'gears = ["Q1"]', "gears", "a G or M word"),
    ],
)  # fmt: skip
def test_one_error_is_one_problem_with_the_nearest_right_thing(
    shop: Shop, old: str, new: str, key: str, said: str
) -> None:
    found = problems(shop, (old, new))
    assert list(found) == [key]
    assert said in str(found[key])


@pytest.mark.parametrize(
    ("word", "key", "said"),
    [
        ('Q14 = { means = "coolant_on", source = "manual" }', "own_words.Q14", "an M word"),
        ('M14 = { means = "coolant_on" }', "own_words.M14.source", "is missing"),
        ('M14 = { mean = "coolant_on", source = "manual" }', "own_words.M14.mean", "'means'?"),
        ("first_number = 5", "own_words.first_number", "write it above [codes]"),
        ('speed_limit = "G50"', "own_words.speed_limit", "above [own_words], below [codes]"),
        ('M14 = "coolant_on"', "own_words.M14", "a table with means and source"),
        ('M14 = { means = 8, source = "manual" }', "own_words.M14.means", "a key of codes"),
    ],
)
def test_a_word_of_ones_own_is_named_by_its_word_and_key(
    shop: Shop, word: str, key: str, said: str
) -> None:
    found = problems(shop, ("[codes]", f"[own_words]\n{word}\n[codes]"))
    assert list(found) == [key]
    assert said in str(found[key])


@pytest.mark.parametrize(
    ("new", "said"),
    [
        ('coolant_on = "M14"', 'M14 = { means = "coolant_on", source = '),
        ('coolant_on = "M03"', "correct the traits"),
        ('coolant_on = "G08"', "correct the traits"),
    ],
)
def test_a_word_that_the_shop_may_vouch_for_says_how(shop: Shop, new: str, said: str) -> None:
    found = problems(shop, ('coolant_on = "M08"', new))
    assert said in str(found["codes.coolant_on"].remedy)


def test_a_table_of_codes_that_is_none_is_one_problem(shop: Shop) -> None:
    file = shop.root / "lathe/dialect.toml"
    text = file.read_text(encoding="utf-8").partition("[codes]")[0]
    file.write_text(text + 'codes = "all"\n', encoding="utf-8")
    assert list(problems(shop)) == ["codes"]


def test_every_trait_says_in_words_what_it_holds() -> None:
    fields = {**Dialect.model_fields, **Codes.model_fields, **OwnWord.model_fields}
    assert not [name for name, field in fields.items() if "of another form" in holds(field)]
    assert choices_of(fields["x"]) == ["diameter", "radius"]
    assert model_in(fields["codes"]) is Codes
