"""Rows that cannot be made, and what is said of them."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from knurlcam import InputError
from knurlcam.family import (
    make_family,
    save_family,
)
from tests.support.families import (
    index_of,
    knobs,
    one,
    roomy,
)
from tests.support.jobs import base_job


@pytest.mark.parametrize(
    ("cells", "column", "value", "code", "words"),
    [
        ({"part.knurled_diameter": "25,5"}, "part.knurled_diameter", "25,5", None, "25.5"),
        ({"knurl.length": 80.0}, "knurl.length", 80.0, "past-the-chuck", "hold the work further"),
        ({"knurl.callout": "DIN 82 RXX 1"}, "knurl.callout", "DIN 82 RXX 1", None, "expected"),
        ({"machine.post": "iso6984"}, None, None, None, "iso6983"),
        ({"tool.roll_spacing": 5}, "tool.roll_spacing", 5.0, None, "overlap"),
        ({"part.name": "Ωψ"}, "part.name", "Ωψ", None, "add a column `file`"),
    ],
)
def test_a_row_that_cannot_be_made_says_where_what_and_why(
    cells: dict[str, Any], column: str | None, value: Any, code: str | None, words: str
) -> None:
    rows = [{"part.name": "First"}, {"part.name": "Knob", **cells}, {"part.name": "Last"}]
    first, bad, last = make_family(base_job(), rows)
    assert first.ok
    assert last.ok
    assert (bad.row, bad.text, bad.ok) == (2, None, False)
    problem = bad.problems[0]
    if column is not None:
        assert (problem.column, problem.value, problem.code) == (column, value, code)
    assert words in problem.sentence()
    with pytest.raises(InputError, match="has no program"):
        _ = bad.job


def test_every_refusal_of_a_row_is_reported() -> None:
    result = one(base_job(), knurl__length=80.0, machine__safe_x=1.0)
    assert {p.code for p in result.problems} >= {"past-the-chuck", "safe-x-inside"}


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({"part.name": "a\ud800"}, "an incomplete character"),
        ({"part.name": "a", "part.length": float("inf")}, "not a finite number"),
        ({"part.name": "a", "part.length": float("nan")}, "not a finite number"),
        ({"part.name": "a", "part.number": 10**4000}, "too large a number"),
        ({"part.name": "a", "part.length": Decimal(3)}, "not a value that a job can hold"),
        ({"part.name": "a", "tool.rolls": {"BL"}}, "not a value that a job can hold"),
        ({"part.name": b"a"}, "not a value that a job can hold"),
        ({"part": {"name": "a"}, "part.name": "b"}, "given twice"),
    ],
    ids=lambda v: str(v)[:40],
)
def test_a_value_that_no_job_holds_spoils_its_row_only(
    row: dict[str, Any], words: str, tmp_path: Path
) -> None:
    summary = save_family(make_family(roomy(), [row, *knobs(2)]), tmp_path / "out")
    assert (summary.counts.made, summary.counts.failed) == (2, 1)
    (problem,) = index_of(tmp_path / "out")["parts"][0]["problems"]
    assert words in problem["message"]


def test_a_base_with_what_no_file_can_hold_spoils_its_rows_only() -> None:
    good, bad = make_family(
        base_job({"part.name": "half \ud800"}), [{"part.name": "A"}, {"file": "b.nc"}]
    )
    assert good.ok
    assert bad.problems[0].column == "part.name"
    assert "\\ud800" in str(bad.entry["name"])


def test_a_row_that_says_nothing_but_a_name_is_warned_of() -> None:
    named, sized = make_family(
        base_job(), [{"part.name": "Total"}, {"part.name": "A", "units": "mm"}]
    )
    assert named.entry["notes"][0] == {"severity": "warning", "code": "as-the-base"}
    assert "as-the-base" not in [n["code"] for n in sized.entry["notes"]]
