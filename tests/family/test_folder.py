"""What a run leaves in its folder."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from knurlcam import InputError, Job, make_plan, verify
from knurlcam.family import (
    Base,
    FamilyFolder,
    Result,
    make_family,
    run_family,
    save_family,
)
from knurlcam.family import save_family as save
from tests.support.families import (
    SETTING_KNOB,
    SETTING_KNOBS,
    digests,
    family,
    index_of,
    job_file,
    knobs,
    roomy,
)

pytestmark = pytest.mark.usefixtures("batches_of_four", "rough_imprint")


def test_a_folder_holds_the_programs_and_an_index_and_nothing_else(tmp_path: Path) -> None:
    summary = family(tmp_path, knobs(5))
    out = tmp_path / "out"
    assert sorted(os.listdir(out)) == sorted(
        ["index.csv", "index.html", "index.json", *(f"knob-{k}.nc" for k in range(5))]
    )
    assert (summary.counts.made, summary.counts.failed) == (5, 0)
    for part in index_of(out)["parts"]:
        assert digests(out)[part["file"]] == part["sha256"]


def test_every_program_of_the_samples_family_verifies_against_its_own_job(tmp_path: Path) -> None:
    base = Base.of(SETTING_KNOB)
    assert run_family(base, SETTING_KNOBS, tmp_path / "out", workers=1).counts.made >= 24
    parts = index_of(tmp_path / "out")["parts"]
    assert {p["units"] for p in parts} == {"mm", "inch"}
    assert min(sum(p["units"] == u for p in parts) for u in ("mm", "inch")) >= 12
    assert len({p["number"] for p in parts}) == len(parts)
    for part in parts:
        job = Job.model_validate(part["job"])
        text = (tmp_path / "out" / part["file"]).read_text(encoding="utf-8")
        assert verify(text, job, part["post"]).findings == ()
        plan = make_plan(job)
        assert (part["teeth"], part["blank_diameter_mm"]) == (plan.teeth, plan.blank_diameter_mm)
        warned = {n["code"] for n in part["notes"] if n["severity"] != "note"}
        # Those of inch sizes are called up in teeth per inch, and their rolls are not counted.
        assert ("tpi-count" in warned) == (part["units"] == "inch")
        # Raised diamonds are pressed nearly full: the largest blank fills the rolls' teeth.
        assert plan.expected is not None
        filled = plan.expected.tooth_height_mm.high >= plan.knurl.full_height_mm * (1 - 1e-9)
        assert ("overfills" in warned) == filled
        assert warned <= {"tpi-count", "overfills"}


def test_setters_pages_stand_beside_the_programs(tmp_path: Path) -> None:
    family(tmp_path, knobs(2), review=True)
    parts = index_of(tmp_path / "out")["parts"]
    assert [p["page"] for p in parts] == ["knob-0.html", "knob-1.html"]
    for part in parts:
        page = (tmp_path / "out" / part["page"]).read_text(encoding="utf-8")
        assert part["job_identity"] in page


def test_a_dialect_and_a_form_hold_for_the_whole_family(tmp_path: Path) -> None:
    family(tmp_path, knobs(2), post="uw-lathe", form="subprogram")
    text = (tmp_path / "out" / "knob-1.nc").read_text(encoding="utf-8")
    assert "M99" in text
    assert index_of(tmp_path / "out")["parts"][1]["post"] == "uw-lathe"


def test_strict_makes_none_unless_all_can_be_made(tmp_path: Path) -> None:
    rows = knobs(9)
    rows[6]["part.knurled_diameter"] = "x"
    summary = family(tmp_path, rows, strict=True)
    assert summary.counts.failed == 1
    assert not (tmp_path / "out").exists()
    family(tmp_path, knobs(3))
    before = digests(tmp_path / "out")
    family(tmp_path, rows, strict=True)
    assert digests(tmp_path / "out") == before
    assert family(tmp_path, knobs(9), strict=True).counts.made == 9


def test_a_program_that_no_row_makes_any_more_goes_unless_it_was_edited(tmp_path: Path) -> None:
    family(tmp_path, knobs(3), review=True)
    edited = tmp_path / "out" / "knob-2.nc"
    edited.write_text("edited", encoding="utf-8")
    summary = family(tmp_path, knobs(1), resume=True, review=True)
    assert summary.removed == 3  # a program and two pages
    assert summary.left == ("knob-2.nc",)
    assert edited.exists()
    assert not (tmp_path / "out" / "knob-1.nc").exists()


def test_a_row_that_cannot_be_made_any_more_leaves_no_old_program(tmp_path: Path) -> None:
    family(tmp_path, knobs(3))
    rows = knobs(3)
    rows[1]["part.knurled_diameter"] = "x"
    family(tmp_path, rows, resume=True)
    assert not (tmp_path / "out" / "knob-1.nc").exists()


def test_two_runs_do_not_work_in_one_folder(tmp_path: Path) -> None:
    with (
        FamilyFolder(tmp_path / "out"),
        pytest.raises(InputError, match="another run is at work"),
    ):
        family(tmp_path, knobs(2), force=True)


def test_a_result_is_saved_by_a_script_as_by_the_command(tmp_path: Path) -> None:
    seen: list[Result] = []
    summary = save_family(make_family(roomy(), knobs(3)), tmp_path / "out", watch=seen.append)
    assert summary.counts.made == len(seen) == 3
    with pytest.raises(InputError, match="is the file of row 1 already"):
        save_family(make_family(roomy(), [knobs(1)[0], knobs(1)[0]]), tmp_path / "twice")


def test_strict_leaves_no_folder_behind_that_was_not_there(tmp_path: Path) -> None:
    rows = [*knobs(2), {"part.name": "Bad", "part.knurled_diameter": "x"}]
    assert not family(tmp_path, rows, out="a/b/c", strict=True).written
    assert not (tmp_path / "a").exists()


def test_the_table_is_never_written_over(tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    table = out / "v.txt"
    table.write_text("part.name\tfile\nA\tV.TXT\n", encoding="utf-8")
    before = table.read_bytes()
    base = Base.of(job_file(tmp_path / "base.toml"))
    with pytest.raises(InputError, match="has the name of a file that this run reads"):
        run_family(base, table, out, workers=1, force=True)
    assert table.read_bytes() == before


def test_a_family_of_which_no_row_can_be_made_changes_nothing(tmp_path: Path) -> None:
    family(tmp_path, knobs(3))
    before = digests(tmp_path / "out")
    summary = family(tmp_path, knobs(9), changes={"tool.roll_diameter": 9000.0})
    assert (summary.written, summary.counts.failed) == (False, 9)
    assert digests(tmp_path / "out") == before


def test_an_edited_program_that_no_row_makes_is_looked_after_for_ever(tmp_path: Path) -> None:
    family(tmp_path, knobs(3))
    edited = tmp_path / "out" / "knob-2.nc"
    edited.write_text("edited", encoding="utf-8")
    for _ in range(3):
        assert family(tmp_path, knobs(2), resume=True).left == ("knob-2.nc",)
        assert index_of(tmp_path / "out")["left"] == ["knob-2.nc"]
        html = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
        assert "no longer made by any row, so not kept up to date: knob-2.nc" in html
    with pytest.raises(InputError, match=r"knob-2\.nc: row 4: was changed since it was made"):
        family(tmp_path, knobs(3))
    assert edited.read_text(encoding="utf-8") == "edited"
    assert family(tmp_path, knobs(3), resume=True).left == ()
    assert edited.read_text(encoding="utf-8") != "edited"


def test_a_second_run_does_not_disturb_the_first(tmp_path: Path) -> None:
    results = list(make_family(roomy(), knobs(3)))
    with FamilyFolder(tmp_path / "out") as first:
        first.add(results[0])
        with pytest.raises(InputError, match="another run is at work"):
            save(iter(results), tmp_path / "out", force=True)
        first.add(results[1])
        assert first.finish().counts.made == 2
    assert sorted(os.listdir(tmp_path / "out")) == sorted(
        ["index.csv", "index.html", "index.json", "knob-0.nc", "knob-1.nc"]
    )


def test_an_edited_program_that_was_moved_away_is_in_nobodys_way(tmp_path: Path) -> None:
    family(tmp_path, knobs(3))
    edited = tmp_path / "out" / "knob-2.nc"
    edited.write_text("edited", encoding="utf-8")
    family(tmp_path, knobs(2), resume=True)
    edited.unlink()
    assert family(tmp_path, knobs(3)).left == ()


def test_what_must_stay_is_reported_before_anything_is_put_in_its_place(tmp_path: Path) -> None:
    (tmp_path / "out" / "knob-8.nc").mkdir(parents=True)
    with pytest.raises(InputError, match=r"knob-8\.nc: row 10: is a folder"):
        family(tmp_path, knobs(9), force=True)
    assert os.listdir(tmp_path / "out") == ["knob-8.nc"]


def test_a_folder_that_is_not_open_takes_nothing(tmp_path: Path) -> None:
    (result,) = make_family(roomy(), knobs(1))
    folder = FamilyFolder(tmp_path / "out")
    with pytest.raises(InputError, match="is not open"):
        folder.add(result)
    with folder:
        folder.add(result)
        folder.finish()
        with pytest.raises(InputError, match="is not open"):
            folder.finish()
