"""A form that only a shop's own tables hold is understood everywhere, without code."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from knurlcam import (
    InputError,
    Job,
    JobFileError,
    format_callout,
    lay_out,
    make_plan,
    parse_callout,
    review_page,
    verify,
    write_program,
)
from knurlcam.data.caches import clear_caches
from knurlcam.data.folders import TABLES_VARIABLE
from knurlcam.data.knurls import forms
from tests.support.commands import run
from tests.support.imprints import Made
from tests.support.jobs import REMOVE, base_job
from tests.support.tables import shipped

pytestmark = pytest.mark.usefixtures("rough_imprint")

FORM = """
[[form]]
form = "RXE"
description = "steep diamond, points raised"
family = "raised"
helical = true
helix_deg = 40.0
hand = "both"
growth_factor = 0.6
source = "din82"
"""

ROLLS = """
[[roll_set]]
form = "RXE"
rolls = ["BL", "BR"]
swivelled = false
source = "practice"
"""


@pytest.fixture(autouse=True)
def _own_tables(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    (tmp_path / "knurls.toml").write_text(shipped("knurls.toml") + FORM, encoding="utf-8")
    (tmp_path / "rolls.toml").write_text(shipped("rolls.toml") + ROLLS, encoding="utf-8")
    monkeypatch.setenv(TABLES_VARIABLE, str(tmp_path))
    clear_caches()
    yield
    monkeypatch.undo()
    clear_caches()


def own_job(changes: dict[str, Any] | None = None) -> Job:
    return Job.build(base_job({"knurl.callout": "DIN 82 RXE 1.0", **(changes or {})}))


@pytest.mark.parametrize(
    "text", ["DIN 82 RXE 1.0", "21 TPI RXE", "DIN 82 RXE 08", "RXE 1.0 mm helix 35"]
)
def test_a_callout_names_it_and_is_written_back(text: str) -> None:
    callout = parse_callout(text)
    assert callout.form == "RXE"
    assert parse_callout(format_callout(callout)) == callout


def test_a_job_names_it_by_key_as_well() -> None:
    keys = {"knurl.callout": REMOVE, "knurl.form": "RXE", "knurl.pitch": 1.0}
    assert own_job(keys).knurl.asked == own_job().knurl.asked


def test_the_schema_lists_it() -> None:
    assert '"RXE"' in json.dumps(Job.model_json_schema())


def test_another_form_is_refused_with_the_nearest() -> None:
    with pytest.raises(JobFileError, match=r"unknown form.*RXF.*RXE; did you mean 'RXE'"):
        own_job({"knurl.callout": REMOVE, "knurl.form": "RXF", "knurl.pitch": 1.0})


def test_a_form_whose_letters_no_callout_could_hold_is_refused(tmp_path: Path) -> None:
    text = (tmp_path / "knurls.toml").read_text(encoding="utf-8").replace('"RXE"', '"R-1"')
    (tmp_path / "knurls.toml").write_text(text, encoding="utf-8")
    clear_caches()
    with pytest.raises(InputError, match="is not 2 to 8 capital letters"):
        forms()


def test_its_program_is_planned_written_and_verified() -> None:
    plan = make_plan(own_job())
    assert (plan.knurl.form, plan.knurl.helix_deg, plan.rolls) == ("RXE", 40.0, ("BL", "BR"))
    assert verify(write_program(lay_out(plan)), plan.job).ok


def test_its_surface_and_its_page_are_made() -> None:
    imprint = Made({"knurl.callout": "DIN 82 RXE 1.0"}).imprint()
    assert imprint.surface.height_mm.max() > imprint.surface.height_mm.min()
    assert "RXE" in review_page(own_job()).html


def test_the_commands_take_it() -> None:
    done = run("blank", "DIN 82 RXE 1.0", "--diameter", "25")
    assert done.returncode == 0, done.stderr
    assert "RXE" in done.stdout
