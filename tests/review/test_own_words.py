"""The setter's page shows the words for which the shop answers."""

from __future__ import annotations

from pathlib import Path

from knurlcam import Job, make_plan
from knurlcam.review.tables.tool import setting_sheet
from tests.support.commands import FOCUS
from tests.support.controls import CONTROLS, write_folder


def test_an_own_word_stands_on_the_setters_page_with_its_source(tmp_path: Path) -> None:
    dialect = write_folder(tmp_path, "amber", CONTROLS["amber"])
    rows = setting_sheet(make_plan(Job.load(FOCUS)), dialect, "program").rows
    row = next(row for row in rows if row[0] == "Word M14")
    assert row[1] == "coolant on"
    assert "machine manual, p. 44" in row[2]
