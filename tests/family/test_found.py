"""What a family's folder is trusted with: files of others, links, edits."""

from __future__ import annotations

import hashlib
import json
import os
from pathlib import Path

import pytest

from knurlcam import InputError
from tests.support.families import (
    cut_off,
    digests,
    family,
    index_of,
    knobs,
)

pytestmark = pytest.mark.usefixtures("batches_of_four")


def test_a_folder_with_a_file_of_someone_elses_is_not_touched(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "notes.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match=r"notes\.txt was not made by an earlier run.*--force"):
        family(tmp_path, knobs(2))
    assert os.listdir(tmp_path / "out") == ["notes.txt"]
    family(tmp_path, knobs(2), force=True)
    assert (tmp_path / "out" / "notes.txt").read_text(encoding="utf-8") == "mine"
    assert (tmp_path / "out" / "knob-1.nc").exists()


def test_an_index_of_someone_elses_is_not_written_over(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "index.html").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match=r"index\.html was not made by an earlier run"):
        family(tmp_path, knobs(2))


@pytest.mark.parametrize("resume", [False, True])
def test_a_program_that_was_edited_is_not_lost_without_asking(tmp_path: Path, resume: bool) -> None:
    family(tmp_path, knobs(3))
    edited = tmp_path / "out" / "knob-1.nc"
    edited.write_text("edited at the control", encoding="utf-8")
    if not resume:
        with pytest.raises(InputError, match=r"knob-1\.nc was changed since it was made"):
            family(tmp_path, knobs(3))
        assert edited.read_text(encoding="utf-8") == "edited at the control"
        family(tmp_path, knobs(3), force=True)
    else:
        assert family(tmp_path, knobs(3), resume=True).counts.made == 1
    assert (
        digests(tmp_path / "out")["knob-1.nc"] == index_of(tmp_path / "out")["parts"][1]["sha256"]
    )


def test_a_folder_that_is_a_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("x", encoding="utf-8")
    with pytest.raises(InputError, match="is not a folder"):
        family(tmp_path, knobs(2))


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
    cut_off(tmp_path, knobs(9), 6)
    family(tmp_path, knobs(2), resume=True)
    if where.startswith("."):
        cut_off(tmp_path, knobs(9), 6)
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


def test_the_folder_of_another_family_is_not_emptied(tmp_path: Path) -> None:
    family(tmp_path, knobs(3))
    before = digests(tmp_path / "out")
    with pytest.raises(InputError, match=r"holds the programs of job base\.toml and table table"):
        family(tmp_path, knobs(1), table="other.csv", resume=True)
    assert digests(tmp_path / "out") == before
    assert family(tmp_path, knobs(1), table="other.csv", force=True).removed == 2


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


def test_the_notice_is_not_written_through_a_link(tmp_path: Path) -> None:
    mine = tmp_path / "mine.txt"
    mine.write_text("mine", encoding="utf-8")
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "UNFINISHED.txt").symlink_to(mine)
    family(tmp_path, knobs(2), force=True)
    assert mine.read_text(encoding="utf-8") == "mine"
