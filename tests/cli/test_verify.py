"""``knurlcam verify``: findings, exit status, files that are no program."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.support.commands import FOCUS, file_of, run, run_json
from tests.support.whole import blocks_around, whole


def test_verify_shows_the_first_of_very_many_findings_and_says_how_many_more(
    tmp_path: Path,
) -> None:
    junk = tmp_path / "junk.nc"
    junk.write_text("%1201\n" + "Q1\n" * 5000, encoding="utf-8")
    done = run("verify", junk, "--job", FOCUS)
    assert done.returncode == 1
    assert len(done.stdout) < 50_000
    assert "--json lists them all" in done.stdout
    found = run("verify", junk, "--job", FOCUS, "--json")
    assert len(json.loads(found.stdout)["findings"]) > 5000


def test_verify_reports_a_broken_program_with_status_one(tmp_path: Path) -> None:
    text = run("program", FOCUS).stdout
    broken = tmp_path / "broken.nc"
    broken.write_text(text.replace("N100 G01 Z-20.000", "N100 G01 Z-21.000"), encoding="utf-8")
    data = run_json("verify", broken, "--job", FOCUS, status=1)
    (finding,) = data["findings"]
    assert (finding["code"], finding["block"]) == ("past-the-line", 100)
    assert broken.read_text(encoding="utf-8").splitlines()[finding["line"] - 1].startswith("N100")
    done = run("verify", broken, "--job", FOCUS)
    assert done.returncode == 1
    assert "NOT SAFE" in done.stdout
    assert "N100" in done.stdout


@pytest.mark.parametrize(
    ("data", "says"),
    [(b"", "is empty"), (b"%1201\n(\xe4)\nM30\n", "line 2: byte 0xe4 is not UTF-8")],
    ids=["empty", "not-utf8"],
)
def test_a_file_that_is_no_program_is_refused(data: bytes, says: str, tmp_path: Path) -> None:
    done = run("verify", file_of(tmp_path, data), "--job", FOCUS)
    assert done.returncode == 2
    assert says in done.stderr


def test_verify_says_how_many_blocks_of_a_part_program_it_did_not_judge(tmp_path: Path) -> None:
    section = run("program", FOCUS, "--as", "section").stdout
    part = tmp_path / "part.nc"
    part.write_text(whole("iso6983", section), encoding="utf-8")
    data = run_json("verify", part, "--job", FOCUS)
    assert (data["form"], data["ok"]) == ("section", True)
    assert data["not_judged_blocks"] == blocks_around("iso6983")
    shown = run("verify", part, "--job", FOCUS).stdout
    assert f"{blocks_around('iso6983')} blocks not judged" in shown
    first, last = data["judged_lines"][0]
    assert f"lines {first} to {last}" in shown
