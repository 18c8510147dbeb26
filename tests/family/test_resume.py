"""What a run keeps of the run before, and what it makes again."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from knurlcam import InputError
from knurlcam.family import (
    Base,
    Summary,
    run_family,
)
from tests.support.families import (
    ROOT,
    digests,
    family,
    index_of,
    job_file,
    knobs,
    write_csv,
)


def test_resuming_makes_only_what_changed(tmp_path: Path) -> None:
    rows = knobs(6)
    family(tmp_path, rows)
    before = {p.name: p.stat().st_mtime_ns for p in (tmp_path / "out").glob("*.nc")}
    rows[2]["part.knurled_diameter"] = 44.0
    rows.append({"part.name": "New", "part.knurled_diameter": 30.0, "part.number": 77})
    summary = family(tmp_path, rows, resume=True)
    assert (summary.counts.kept, summary.counts.made) == (5, 2)
    after = {p.name: p.stat().st_mtime_ns for p in (tmp_path / "out").glob("*.nc")}
    assert {n for n in before if after[n] != before[n]} == {"knob-2.nc"}
    family(tmp_path, rows, out="anew")
    assert digests(tmp_path / "out") == digests(tmp_path / "anew")


@pytest.mark.few(2)
@pytest.mark.parametrize(
    "change",
    [
        {"changes": {"knurl.length": 19.0}},
        {"post": "rs274"},
        {"form": "blocks"},
        {"review": True},
    ],
    ids=str,
)
def test_resuming_makes_again_what_the_whole_family_changed(
    change: dict[str, Any], tmp_path: Path
) -> None:
    family(tmp_path, knobs(2))
    summary = family(tmp_path, knobs(2), resume=True, **change)
    assert (summary.counts.kept, summary.counts.made) == (0, 2)


def test_resuming_makes_again_what_other_tables_or_dialects_would_change(tmp_path: Path) -> None:
    own = tmp_path / "posts" / "own"
    own.mkdir(parents=True)
    posts = ROOT / "postprocessors"
    for file in (posts / "iso6983" / "dialect.toml", posts / "program.nc.j2"):
        text = file.read_text("utf-8").replace('name = "iso6983"', 'name = "own"')
        (own / file.name).write_text(text, encoding="utf-8")

    def run() -> Summary:
        base = Base.of(job_file(tmp_path / "base.toml"), post="own", posts=[tmp_path / "posts"])
        file = write_csv(tmp_path / "table.csv", knobs(3))
        return run_family(base, file, tmp_path / "out", workers=1, resume=True)

    assert run().counts.made == 3
    assert run().counts.kept == 3
    with (own / "program.nc.j2").open("a", encoding="utf-8") as stream:
        stream.write("\n")
    assert run().counts.made == 3


def test_a_run_that_was_cut_off_between_journal_and_folder_is_mended(tmp_path: Path) -> None:
    """A program that the journal knows and that is not there, or only half."""
    family(tmp_path, knobs(4), out="whole")
    out = tmp_path / "out"
    family(tmp_path, knobs(4))
    unfinished = out / ".unfinished"
    unfinished.mkdir()
    lines = [json.dumps(p) for p in index_of(out)["parts"]]
    for name in ("index.csv", "index.html", "index.json"):
        (out / name).unlink()
    (unfinished / "family.json").write_text('{"base": "base.toml", "table": "table.csv"}', "utf-8")
    (unfinished / "journal.jsonl").write_text("\n".join(lines) + '\n{"row": 9, "na', "utf-8")
    (out / "knob-1.nc").unlink()
    half = (out / "knob-2.nc").read_text(encoding="utf-8")[:500]
    (out / "knob-2.nc").write_text(half, encoding="utf-8")
    summary = family(tmp_path, knobs(4), resume=True)
    assert (summary.counts.kept, summary.counts.made) == (2, 2)
    assert digests(out) == digests(tmp_path / "whole")


def test_a_journal_or_index_that_is_rubbish_is_no_reason_to_keep_anything(tmp_path: Path) -> None:
    family(tmp_path, knobs(3), out="whole")
    family(tmp_path, knobs(3))
    index = tmp_path / "out" / "index.json"
    lines = index.read_text(encoding="utf-8").splitlines()
    lines[1] = '{"row": 2, "file": 5}'
    index.write_text("\n".join(lines) + "\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"knob-0\.nc was not made by an earlier run"):
        family(tmp_path, knobs(3), resume=True)
    assert family(tmp_path, knobs(3), resume=True, force=True).counts.kept == 2
    assert digests(tmp_path / "out") == digests(tmp_path / "whole")


@pytest.mark.parametrize("key", ["inputs_sha256", "problems", "number", "job", "units"])
def test_a_damaged_row_of_the_index_is_made_again(key: str, tmp_path: Path) -> None:
    family(tmp_path, knobs(3))
    index = tmp_path / "out" / "index.json"
    lines = index.read_text(encoding="utf-8").splitlines()
    entry = json.loads(lines[1].rstrip(","))
    del entry[key]
    lines[1] = json.dumps(entry) + ","
    index.write_text("\n".join(lines) + "\n", encoding="utf-8")
    summary = family(tmp_path, knobs(3), resume=True, force=True)
    assert (summary.counts.kept, summary.counts.made) == (2, 1)


def test_a_warning_is_as_new_as_the_table(tmp_path: Path) -> None:
    changes = {"knurl.purpose": "grip"}
    first = [{"part.name": "A", "knurl.purpose": ""}, {"part.name": "B", "knurl.purpose": "grip"}]
    second = [{"part.name": "A", "knurl.purpose": "grip"}, {"part.name": "B", "knurl.purpose": ""}]
    family(tmp_path, first, changes=changes)
    family(tmp_path, second, changes=changes, resume=True)
    family(tmp_path, second, changes=changes, out="anew")
    assert digests(tmp_path / "out") == digests(tmp_path / "anew")
