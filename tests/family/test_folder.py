"""What a family's folder is trusted with: strangers' files, edits, runs that were cut off."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from knurlcam import InputError
from knurlcam.family import Base, FamilyFolder, Result, make_family, run_family
from knurlcam.family import save_family as save
from tests.support.families import digests, family, index_of, job_file, knobs, roomy


def cut_off(tmp_path: Path, rows: list[dict[str, Any]], after: int, **more: Any) -> None:
    """Run a family that breaks off after so many rows."""

    def stop(result: Result) -> None:
        if result.row > after:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        family(tmp_path, rows, watch=stop, **more)


def larger(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the same parts with other diameters."""
    return [{**row, "part.knurled_diameter": row["part.knurled_diameter"] + 5} for row in rows]


# -- strangers -----------------------------------------------------------------------------


@pytest.mark.parametrize("force", [False, True])
def test_an_unfinished_folder_of_someone_elses_is_never_touched(
    force: bool, tmp_path: Path
) -> None:
    thesis = tmp_path / "out" / ".unfinished" / "thesis" / "x.txt"
    thesis.parent.mkdir(parents=True)
    thesis.write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match=r"the \.unfinished in it does not come from this command"):
        family(tmp_path, knobs(2), force=force)
    assert thesis.read_text(encoding="utf-8") == "mine"
    assert not list((tmp_path / "out").glob("*.nc"))


@pytest.mark.parametrize("name", [".unfinished", ".unfinished/new", ".unfinished/journal.jsonl"])
def test_a_link_in_its_place_is_not_followed(name: str, tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere"
    (elsewhere / "new").mkdir(parents=True)
    (elsewhere / "new" / "x.txt").write_text("mine", encoding="utf-8")
    link = tmp_path / "out" / name
    link.parent.mkdir(parents=True)
    link.symlink_to(elsewhere)
    with pytest.raises(InputError, match="does not come from this command"):
        family(tmp_path, knobs(2), force=True)
    assert (elsewhere / "new" / "x.txt").exists()


@pytest.mark.parametrize("where", ["index.json", ".unfinished/journal.jsonl"])
@pytest.mark.parametrize("name", ["../outside.txt", "{tmp}/outside.txt"])
def test_an_index_cannot_name_a_file_outside_its_folder(
    where: str, name: str, tmp_path: Path
) -> None:
    outside = tmp_path / "outside.txt"
    outside.write_text("mine", encoding="utf-8")
    cut_off(tmp_path, knobs(300), 200)
    family(tmp_path, knobs(2), resume=True)
    if where.startswith("."):
        cut_off(tmp_path, knobs(300), 200)
    path = tmp_path / "out" / where
    lines = path.read_text(encoding="utf-8").splitlines()
    entry = json.loads(lines[1].rstrip(","))
    sha256 = hashlib.sha256(b"mine").hexdigest()
    entry |= {"file": name.replace("{tmp}", str(tmp_path)), "sha256": sha256}
    lines.insert(1, json.dumps(entry) + ("" if where.startswith(".") else ","))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    family(tmp_path, knobs(2), resume=True, force=True)
    assert outside.read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("name", [".DS_Store", ".~lock.index.csv#", "Thumbs.db", "~$index.xlsx"])
def test_what_file_browsers_leave_behind_is_left_alone(name: str, tmp_path: Path) -> None:
    family(tmp_path, knobs(2))
    (tmp_path / "out" / name).write_text("x", encoding="utf-8")
    assert family(tmp_path, knobs(2)).counts.made == 2
    assert (tmp_path / "out" / name).exists()


def test_a_refused_folder_is_left_as_it_was_found(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "mine.txt").write_text("x", encoding="utf-8")
    with pytest.raises(InputError):
        family(tmp_path, knobs(2))
    assert os.listdir(tmp_path / "out") == ["mine.txt"]


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


# -- another family, a broken base -----------------------------------------------------------


def test_the_folder_of_another_family_is_not_emptied(tmp_path: Path) -> None:
    family(tmp_path, knobs(3))
    before = digests(tmp_path / "out")
    with pytest.raises(InputError, match=r"holds the programs of job base\.toml and table table"):
        family(tmp_path, knobs(1), table="other.csv", resume=True)
    assert digests(tmp_path / "out") == before
    assert family(tmp_path, knobs(1), table="other.csv", force=True).removed == 2


def test_a_family_of_which_no_row_can_be_made_changes_nothing(tmp_path: Path) -> None:
    family(tmp_path, knobs(3))
    before = digests(tmp_path / "out")
    summary = family(tmp_path, knobs(300), changes={"tool.roll_diameter": 9000.0})
    assert (summary.written, summary.counts.failed) == (False, 300)
    assert digests(tmp_path / "out") == before


@pytest.mark.parametrize(
    ("base", "key", "words"),
    [
        ({"party": {"x": 1}}, "party", "did you mean 'part'?"),
        ({"part": {"nmae": "A"}}, "part.nmae", "did you mean 'name'?"),
        ({"part": 5}, "part", "is not a table of keys"),
        ({"tool": 5}, "tool", "is not a table of keys"),
        ({"fit": {"hub_material": {"nmae": "A"}}}, "fit.hub_material.nmae", "unknown key"),
    ],
)
def test_a_base_that_no_row_can_mend_is_refused_at_once(
    base: dict[str, Any], key: str, words: str
) -> None:
    with pytest.raises(InputError) as caught:
        Base.of(base)
    assert caught.value.key == key
    assert words in str(caught.value)


# -- an index that does not tell of what is there --------------------------------------------


def test_a_run_that_is_cut_off_leaves_no_index_of_the_run_before(tmp_path: Path) -> None:
    family(tmp_path, knobs(400))
    cut_off(tmp_path, larger(knobs(400)), 300)
    out = tmp_path / "out"
    assert not list(out.glob("index.*"))
    assert "was cut off" in (out / "UNFINISHED.txt").read_text(encoding="utf-8")
    family(tmp_path, larger(knobs(400)), resume=True)
    family(tmp_path, larger(knobs(400)), out="anew")
    assert digests(out) == digests(tmp_path / "anew")


def test_a_notice_that_was_cut_off_itself_is_ours(tmp_path: Path) -> None:
    cut_off(tmp_path, knobs(300), 200)
    notice = tmp_path / "out" / "UNFINISHED.txt"
    for part in (notice.read_text(encoding="utf-8")[:40], ""):
        notice.write_text(part, encoding="utf-8")
        cut_off(tmp_path, knobs(300), 200, resume=True)
    notice.write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match=r"UNFINISHED\.txt was not made by an earlier run"):
        family(tmp_path, knobs(300), resume=True)


def test_what_was_cut_off_can_go_back_to_what_was_before(tmp_path: Path) -> None:
    family(tmp_path, knobs(300))
    before = digests(tmp_path / "out")
    cut_off(tmp_path, larger(knobs(300)), 200)
    assert family(tmp_path, knobs(300), resume=True).counts.kept > 0
    assert digests(tmp_path / "out") == before


def test_a_run_without_resume_starts_over_where_one_was_cut_off(tmp_path: Path) -> None:
    cut_off(tmp_path, knobs(300), 200)
    assert family(tmp_path, knobs(300)).counts.made == 300
    assert not (tmp_path / "out" / ".unfinished").exists()


@pytest.mark.parametrize("name", ["index.csv", "index.html", "index.json"])
@pytest.mark.parametrize("resume", [False, True])
def test_notes_in_an_index_are_not_lost_without_asking(
    name: str, resume: bool, tmp_path: Path
) -> None:
    family(tmp_path, knobs(3))
    index = tmp_path / "out" / name
    noted = index.read_text(encoding="utf-8").replace("Knob 1", "Knob 1 (mine)", 1)
    index.write_text(noted, encoding="utf-8")
    with pytest.raises(InputError, match=rf"{name} was (changed|not made)"):
        family(tmp_path, knobs(3), resume=resume)
    assert index.read_text(encoding="utf-8") == noted
    family(tmp_path, knobs(3), resume=resume, force=True)
    assert index.read_text(encoding="utf-8") != noted


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


@pytest.mark.parametrize("key", ["inputs_sha256", "problems", "number", "job", "units"])
def test_a_damaged_row_of_the_index_is_made_anew(key: str, tmp_path: Path) -> None:
    family(tmp_path, knobs(3))
    index = tmp_path / "out" / "index.json"
    lines = index.read_text(encoding="utf-8").splitlines()
    entry = json.loads(lines[1].rstrip(","))
    del entry[key]
    lines[1] = json.dumps(entry) + ","
    index.write_text("\n".join(lines) + "\n", encoding="utf-8")
    summary = family(tmp_path, knobs(3), resume=True, force=True)
    assert (summary.counts.kept, summary.counts.made) == (2, 1)


def test_a_run_that_dies_between_the_files_of_the_index_can_be_finished(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    family(tmp_path, knobs(3), out="whole")
    really = os.replace

    def dies(source: Any, target: Any) -> None:
        if str(target).endswith("index.json"):
            raise KeyboardInterrupt
        really(source, target)

    with monkeypatch.context() as patched:
        patched.setattr(os, "replace", dies)
        with pytest.raises(KeyboardInterrupt):
            family(tmp_path, knobs(3))
    assert (tmp_path / "out" / "index.csv").exists()
    cut_off(tmp_path, knobs(3), 0, resume=True)
    assert family(tmp_path, knobs(3), resume=True).counts.kept == 3
    assert digests(tmp_path / "out") == digests(tmp_path / "whole")


# -- two runs, and scripts -------------------------------------------------------------------


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


# -- cut off at each step --------------------------------------------------------------------

STEPS = frozenset(("open", "os.remove", "os.rename", "os.mkdir", "os.rmdir", "os.truncate"))
"""Audit events of the interpreter: all that a run can do to its folder."""


def killed_at(step: int, work: Callable[[], object], folder: Path) -> bool:
    """Do some work in a process that dies at its n-th step in a folder; tell whether it did."""
    child = os.fork()
    if child == 0:
        left = step

        def die(event: str, args: tuple[Any, ...]) -> None:
            nonlocal left
            if event in STEPS and str(folder) in str(args[0]):
                left -= 1
                if left < 0:
                    os._exit(9)

        sys.addaudithook(die)
        status = 1
        try:
            work()
            status = 0
        finally:
            os._exit(status)
    _, how = os.waitpid(child, 0)
    assert os.waitstatus_to_exitcode(how) in (0, 9)
    return os.waitstatus_to_exitcode(how) == 9


@pytest.mark.parametrize("more", [{}, {"strict": True}], ids=["as it comes", "strict"])
def test_a_run_that_dies_at_any_step_is_finished_by_the_next(
    more: dict[str, Any], tmp_path: Path
) -> None:
    rows = [*larger(knobs(3)), {"part.name": "New", "part.knurled_diameter": 40.0}]
    family(tmp_path, knobs(4), out="before")
    family(tmp_path, rows, out="whole")
    whole = digests(tmp_path / "whole")
    out = tmp_path / "out"
    step = 0
    while True:
        shutil.copytree(tmp_path / "before", out)
        dies = killed_at(step, lambda: family(tmp_path, rows, resume=True, **more), out)
        # ... and the next dies as well, early, before the one that is left to finish.
        killed_at(step % 12, lambda: family(tmp_path, rows, resume=True, **more), out)
        assert family(tmp_path, rows, resume=True).written, step
        assert digests(out) == whole, step
        shutil.rmtree(out)
        if not dies:
            break
        step += 1
    assert step > 40


def test_a_run_that_changes_nothing_leaves_what_was_cut_off_before_as_it_was(
    tmp_path: Path,
) -> None:
    cut_off(tmp_path, knobs(300), 200)
    bad = [*knobs(1), {"part.name": "Bad", "part.knurled_diameter": "x"}]
    assert not family(tmp_path, bad, table="other.csv", strict=True, force=True).written
    with pytest.raises(InputError, match=r"holds the programs of .* table\.csv"):
        family(tmp_path, bad, table="other.csv", resume=True)
    assert family(tmp_path, knobs(300), resume=True).counts.kept > 0


def test_a_forced_run_that_was_cut_off_is_finished_without_force(tmp_path: Path) -> None:
    family(tmp_path, knobs(300))
    cut_off(tmp_path, larger(knobs(300)), 200, table="other.csv", force=True)
    assert family(tmp_path, larger(knobs(300)), table="other.csv", resume=True).written


def test_an_edited_program_that_was_moved_away_is_in_nobodys_way(tmp_path: Path) -> None:
    family(tmp_path, knobs(3))
    edited = tmp_path / "out" / "knob-2.nc"
    edited.write_text("edited", encoding="utf-8")
    family(tmp_path, knobs(2), resume=True)
    edited.unlink()
    assert family(tmp_path, knobs(3)).left == ()


def test_what_must_stay_is_told_before_anything_is_put_in_its_place(tmp_path: Path) -> None:
    (tmp_path / "out" / "knob-299.nc").mkdir(parents=True)
    with pytest.raises(InputError, match=r"knob-299\.nc: row 301: is a folder"):
        family(tmp_path, knobs(300), force=True)
    assert os.listdir(tmp_path / "out") == ["knob-299.nc"]


def test_the_notice_is_not_written_through_a_link(tmp_path: Path) -> None:
    mine = tmp_path / "mine.txt"
    mine.write_text("mine", encoding="utf-8")
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "UNFINISHED.txt").symlink_to(mine)
    family(tmp_path, knobs(2), force=True)
    assert mine.read_text(encoding="utf-8") == "mine"


def test_a_warning_is_as_new_as_the_table(tmp_path: Path) -> None:
    changes = {"knurl.purpose": "grip"}
    first = [{"part.name": "A", "knurl.purpose": ""}, {"part.name": "B", "knurl.purpose": "grip"}]
    second = [{"part.name": "A", "knurl.purpose": "grip"}, {"part.name": "B", "knurl.purpose": ""}]
    family(tmp_path, first, changes=changes)
    family(tmp_path, second, changes=changes, resume=True)
    family(tmp_path, second, changes=changes, out="anew")
    assert digests(tmp_path / "out") == digests(tmp_path / "anew")


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
