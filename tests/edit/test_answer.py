"""What the page shows for what stands in its fields."""

from __future__ import annotations

import random
import time
from pathlib import Path

import pytest

from knurlcam.edit.answer import answer
from knurlcam.edit.form import form_sections, switched, texts_of
from knurlcam.job.model import Job
from knurlcam.toml import read_toml

SAMPLE = Path(__file__).parents[2] / "samples" / "focus-knob.toml"
TEXTS = texts_of(read_toml(SAMPLE, limit=10_000))[0]


def test_a_good_job_is_verified_with_its_program_and_picture() -> None:
    got = answer(TEXTS)
    assert got.verdict == "verified"
    assert got.text.startswith("%1201")
    assert got.view is not None
    assert dict(got.facts)["Teeth"] == "67"


def test_the_planned_blank_stands_on_the_strip() -> None:
    strip = answer(TEXTS).strip
    assert [teeth for teeth, _, _ in strip] == [65, 66, 67, 68, 69]
    assert [(teeth, blank) for teeth, blank, planned in strip if planned] == [(67, "24.688 mm")]


def test_what_is_left_empty_says_what_is_taken_and_why() -> None:
    recommended = answer(TEXTS).recommended
    assert recommended is not None
    figure, why = recommended["process.feed"]
    assert figure == "0.500 mm/rev"
    assert why


@pytest.mark.parametrize("post", ["iso6983", "rs274"])
def test_the_program_is_in_the_chosen_dialect(post: str) -> None:
    assert answer(TEXTS, post).says == f"Verified in {post}"


def test_an_unknown_dialect_withholds_the_program_alone() -> None:
    got = answer(TEXTS, "nonsense")
    assert (got.verdict, got.text) == ("withheld", "")
    assert got.facts


def test_an_empty_form_names_each_field_that_is_missing() -> None:
    got = answer({"units": "mm"})
    assert got.verdict == "unfinished"
    assert {"part.name", "knurl.length", "holding.method"} <= {p.key for p in got.problems}


def test_a_wrong_text_is_said_at_its_field() -> None:
    got = answer({**TEXTS, "knurl.length": "20,5"})
    assert [p.key for p in got.problems] == ["knurl.length"]


def test_a_remedy_was_tried_and_makes_the_job_one_that_can_be_done() -> None:
    refused = {**TEXTS, "part.blank_diameter": "24.5"}
    got = answer(refused)
    assert got.verdict == "refused"
    remedies = [r for p in got.problems for r in p.remedies]
    assert remedies
    for remedy in remedies:
        assert answer({**refused, **remedy.sets}).verdict == "verified", remedy.says


WILD = [
    "",
    "0",
    "-1",
    "25,0",
    "1e9",
    "nan",
    "true",
    "25 mm",
    "1 in",
    "plunge",
    "[[1, 2]]",
    "9" * 50,
]


def _edits(rows: int) -> list[tuple[str, str]]:
    drawn = random.Random(22)
    keys = [field.key for section in form_sections() for field in section.fields]
    return [(drawn.choice(keys), drawn.choice(WILD)) for _ in range(rows)]


def test_no_edit_of_a_field_ends_in_an_exception() -> None:
    texts = dict(TEXTS)
    for number, (key, text) in enumerate(_edits(300)):
        if number % 6 == 0:
            texts = dict(TEXTS)
        texts[key] = text
        assert answer(texts).verdict


def test_a_change_is_answered_in_time() -> None:
    answer(TEXTS)
    took = []
    for diameter in ("25.1", "25.2", "25.3", "25.4", "25.5"):
        start = time.perf_counter()
        answer({**TEXTS, "part.knurled_diameter": diameter})
        took.append(time.perf_counter() - start)
    assert min(took) < 0.15


def test_units_are_switched_without_changing_the_part() -> None:
    inch = switched(TEXTS, "inch")
    assert inch["part.knurled_diameter"] == "25.0 mm"
    assert switched(inch, "mm") == TEXTS
    assert answer(inch).facts[1] == ("Teeth", "67")


def test_a_whole_inch_becomes_a_bare_number() -> None:
    texts = switched({"units": "mm", "part.length": "25.4"}, "inch")
    assert texts == {"units": "inch", "part.length": "1"}


def test_each_field_has_a_label_and_says_what_it_is() -> None:
    fields = [field for section in form_sections() for field in section.fields]
    assert all(field.title and field.help for field in fields)
    assert {"Knurled diameter", "Callout"} <= {field.title for field in fields}
    assert {section.name for section in form_sections()} <= set(Job.model_fields)
