"""The three files of the index."""

from __future__ import annotations

import csv
import json
import os
from pathlib import Path

import pytest

from knurlcam.family import (
    Base,
    make_family,
    run_family,
    save_family,
)
from knurlcam.family import save_family as save
from knurlcam.family.entry import COLUMNS
from tests.support.families import (
    SETTING_KNOB,
    SETTING_KNOBS,
    family,
    index_of,
    knobs,
    roomy,
)
from tests.support.jobs import base_job


def test_the_three_indexes_say_the_same(tmp_path: Path) -> None:
    rows = knobs(4)
    rows[2]["part.knurled_diameter"] = "x"
    summary = family(tmp_path, rows)
    assert summary.counts.failed == 1
    data = index_of(tmp_path / "out")
    assert (data["rows"], data["programs"], data["failed"]) == (4, 3, 1)
    with (tmp_path / "out" / "index.csv").open(encoding="utf-8", newline="") as stream:
        table_rows = list(csv.DictReader(stream))
    for part, told in zip(data["parts"], table_rows, strict=True):
        assert str(part["row"]) == told["row"]
        assert (part["file"] or "") == told["file"]
        assert (part["sha256"] or "") == told["sha256"]
        assert str(part["teeth"] or "") == told["teeth"]
        assert bool(part["problems"]) == bool(told["problem"])
    assert table_rows[0]["blank_diameter"] == f"{data['parts'][0]['blank_diameter_mm']:.3f}"
    assert "part.knurled_diameter" in table_rows[2]["problem"]
    html = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    inside = html.partition('id="parts">')[2].partition("</script>")[0]
    assert [r[0] for r in json.loads(inside)] == [2, 3, 4, 5]


def test_the_inch_rows_of_the_index_are_in_inches(tmp_path: Path) -> None:
    run_family(Base.of(SETTING_KNOB), SETTING_KNOBS, tmp_path / "out", workers=1)
    with (tmp_path / "out" / "index.csv").open(encoding="utf-8", newline="") as stream:
        (row,) = [r for r in csv.DictReader(stream) if r["name"] == "Setting knob 1.000 in"]
    assert (row["units"], row["knurled_diameter"]) == ("inch", "1.0000")


@pytest.mark.parametrize("name", ["=1+1", "+1", "-1", "@x", "＝1", " =1", "\ufeff=1"])
def test_no_cell_of_the_index_is_a_formula(name: str, tmp_path: Path) -> None:
    rows = [{"part.name": name, "file": "a.nc"}, {"part.name": "Knob", "file": "b.nc"}]
    save_family(make_family(roomy(), rows), tmp_path / "out")
    with (tmp_path / "out" / "index.csv").open(encoding="utf-8", newline="") as stream:
        row, _ = csv.DictReader(stream)
    assert row["name"].startswith("'")
    assert name.strip(" \ufeff") in row["name"]  # what nobody sees is taken for a space


def test_a_formula_behind_a_delimiter_of_another_country_is_none_either(tmp_path: Path) -> None:
    rows = [{"part.name": "Knob;=1+2", "file": "a.nc"}]
    save_family(make_family(roomy(), rows), tmp_path / "out")
    assert ";=" not in (tmp_path / "out" / "index.csv").read_text(encoding="utf-8")


def test_the_index_page_cannot_be_ended_by_a_name(tmp_path: Path) -> None:
    rows = [{"part.name": "</script><script>alert(1)</script><!--", "file": "a.nc"}]
    save_family(make_family(roomy(), rows), tmp_path / "out")
    html = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    assert html.count("</script>") == 2
    assert "<!--" not in html


def test_a_shared_program_number_is_warned_of(tmp_path: Path) -> None:
    rows = [{k: v for k, v in r.items() if k != "part.number"} for r in knobs(3)]
    said = family(tmp_path, rows).counts.shared_numbers()
    assert said is not None
    assert "3 programs have number 1201" in said
    html = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    assert "3 programs have number 1201" in html
    assert family(tmp_path, knobs(3), out="other").counts.shared_numbers() is None


def test_the_index_has_depth_uniformity_and_limits_of_a_blank_that_are_not_alike() -> None:
    base = base_job({"knurl.purpose": "press fit", "knurl.callout": "96 DP straight"})
    long = {"part.length": 200.0, "knurl.length": 120.0}
    made = list(make_family(base, [{"part.name": "short"}, {"part.name": "long", **long}]))
    short, slender = (result.entry for result in made)
    assert 0.9 < short["evenness"] < 1.0
    assert slender["evenness"] < 0.85
    # Class III of 96 DP, from memory: +0 / -0.001 inch
    low, high = short["blank_limits_mm"]
    assert 0.0 <= short["blank_diameter_mm"] - high < 0.001
    assert 0.023 < high - low <= 0.0254
    cells = dict(zip(COLUMNS, next(csv.reader([made[0].lines.csv])), strict=True))
    assert cells["blank_tolerance"] == f"{low:.3f} to {high:.3f}"
    assert cells["evenness"] == f"{short['evenness']:.2f}"


def test_a_byte_order_mark_comes_only_with_letters_that_need_one(tmp_path: Path) -> None:
    save(make_family(roomy(), knobs(1)), tmp_path / "plain")
    assert (tmp_path / "plain" / "index.csv").read_bytes().startswith(b"row,")
    save(make_family(roomy(), [{"part.name": "Ø 16"}]), tmp_path / "other")
    assert (tmp_path / "other" / "index.csv").read_bytes().startswith(b"\xef\xbb\xbfrow,")


def test_an_index_names_files_whose_names_are_no_text(tmp_path: Path) -> None:
    base = os.fsdecode(b"k\xff[rows].toml")
    save(make_family(roomy(), knobs(1)), tmp_path / "out", base=base, table="a[rows].csv")
    assert index_of(tmp_path / "out")["base"] == "k\ufffd[rows].toml"
    html = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    assert json.loads(html.partition('id="parts">')[2].partition("</script>")[0])[0][1] == "Knob 0"
