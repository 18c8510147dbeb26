"""``knurlcam dialects``."""

from __future__ import annotations

from pathlib import Path

from knurlcam.gcode.dialect_files import dialect_names
from tests.support.commands import run, run_json


def test_dialects_lists_the_good_ones_and_reports_the_broken(tmp_path: Path) -> None:
    (tmp_path / "broken").mkdir()
    (tmp_path / "broken" / "dialect.toml").write_text("name = 1\n", encoding="utf-8")
    done = run("dialects", "--posts", tmp_path)
    assert done.returncode == 2
    assert all(name in done.stdout for name in dialect_names())
    assert str(tmp_path / "broken") in done.stderr


def test_dialects_lists_the_five() -> None:
    data = run_json("dialects")
    names = [d["name"] for d in data["dialects"]]
    assert names == ["iso6983", "iso6983-integer", "rs274", "rs274-turning", "uw-lathe"]
    assert all(name in run("dialects").stdout for name in names)
