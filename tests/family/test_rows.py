"""Tables as they are read: CSV, TSV and JSON lines."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from knurlcam import InputError
from knurlcam.family import (
    Base,
    Row,
    count_rows,
    make_family,
    read_rows,
)
from tests.support.families import (
    SETTING_KNOB,
)
from tests.support.jobs import base_job
from tests.support.workbooks import CSV, table

ROWS = [
    Row(2, {"part.name": "Knob ä", "part.knurled_diameter": "25.0"}),
    Row(4, {"part.name": "B", "knurl.length": "18"}),
]


@pytest.mark.few(6)
@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("plain.csv", CSV.encode()),
        ("bom.csv", b"\xef\xbb\xbf" + CSV.encode()),
        ("windows.csv", CSV.replace("\n", "\r\n").encode()),
        ("old-mac.csv", CSV.replace("\n", "\r").encode()),
        ("no-last-end.csv", CSV.rstrip("\n").encode()),
        ("semicolons.csv", CSV.replace(",", ";").encode()),
        ("tabs.tsv", CSV.replace(",", "\t").encode()),
        ("tabs-in.csv", CSV.replace(",", "\t").encode()),
        ("utf-16.csv", CSV.replace(",", "\t").encode("utf-16")),
        ("quoted.csv", CSV.replace("Knob ä", '"Knob ä"').encode()),
        ("spaces.csv", CSV.replace(",", " , ").encode()),
        ("empty-columns.csv", CSV.replace("\n", ",,\n").encode()),
    ],
)
def test_a_table_is_read_however_a_spreadsheet_saves_it(
    name: str, content: bytes, tmp_path: Path
) -> None:
    assert list(read_rows(table(tmp_path / name, content))) == ROWS


def test_json_lines_hold_keys_flat_or_nested(tmp_path: Path) -> None:
    lines = (
        '{"part.name": "A", "knurl": {"length": 18.5}, "tool.rolls": ["BL", "BR"], '
        '"units": null}\r\n\r\n{"part": {"name": "B"}, "process.clean_up": false}'
    )
    assert list(read_rows(table(tmp_path / "t.jsonl", lines.encode()))) == [
        Row(1, {"part.name": "A", "knurl.length": 18.5, "tool.rolls": ["BL", "BR"]}),
        Row(3, {"part.name": "B", "process.clean_up": False}),
    ]


def test_a_table_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"none\.csv: cannot be read: No such file"):
        list(read_rows(tmp_path / "none.csv"))


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        (b'{"part.name": "A"', "is not JSON"),
        (b"[1]", "is not a JSON object"),
        (b'{"part.name": "A", "part.name": "B"}', "a key is given twice"),
        (b'{"part.number": NaN}', "is not a number"),
        (b"[" * 100_000, "is not JSON"),
        (b'{"part.length": 1e999}', "not a finite number"),
        (b'{"part.number": ' + b"9" * 5000 + b"}", "is not JSON"),
        (b'{"part.name": "a\\ud800"}', "an incomplete character"),
        (b'{"part": {"name": "A"}, "part.name": "B"}', "given twice"),
    ],
)
def test_a_broken_json_line_spoils_its_row_only(lines: bytes, words: str, tmp_path: Path) -> None:
    file = table(tmp_path / "t.jsonl", b'{"part.name": "Good"}\n' + lines + b"\n")
    good, bad = make_family(base_job(), read_rows(file))
    assert good.ok
    assert bad.row == 2
    assert words in bad.problems[0].sentence()


def test_a_cell_in_a_column_without_a_name_spoils_its_row_only(tmp_path: Path) -> None:
    file = table(tmp_path / "t.csv", b"part.name,part.number\nKnob, round,5\nB,6\n")
    bad, good = make_family(base_job(), read_rows(file))
    assert "column 3, which has no name" in bad.problems[0].sentence()
    assert good.ok


def test_a_cell_that_is_too_long_spoils_its_row_only(tmp_path: Path) -> None:
    file = table(tmp_path / "t.csv", b"part.name\n" + b"x" * 5000 + b"\nB\n")
    bad, good = make_family(base_job(), read_rows(file))
    assert "has 5,000 characters" in bad.problems[0].sentence()
    assert good.ok


def test_columns_of_ones_own_notes_are_not_read(tmp_path: Path) -> None:
    file = table(tmp_path / "t.csv", b"part.name,#customer,part.number\nA,anything,5\n")
    assert count_rows(Base.of(SETTING_KNOB), file) == 1
    assert [r.cells for r in read_rows(file)] == [{"part.name": "A", "part.number": "5"}]


def test_a_table_cannot_come_through_a_pipe(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "t.csv")
    with pytest.raises(InputError, match="cannot come through a pipe"):
        list(read_rows(tmp_path / "t.csv"))
