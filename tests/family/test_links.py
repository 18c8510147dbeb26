"""Nothing outside of a family's folder is touched: links, pipes, names from a table."""

from __future__ import annotations

import json
import os
import unicodedata
from collections.abc import Callable
from contextlib import suppress
from itertools import product
from pathlib import Path, PurePosixPath, PureWindowsPath

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knurlcam import InputError
from knurlcam.family import run_family
from knurlcam.family.found import NOTICE_FILE
from knurlcam.family.index import INDEX_FILES
from knurlcam.family.names import as_given, folded, is_inside, page_name
from knurlcam.family.unfinished import OWN_FILES, OWN_FOLDERS
from tests.support.families import family, index_of, knobs, roomy
from tests.support.marks import some_long
from tests.support.places import IN_THE_WAY, outside, tree

pytestmark = pytest.mark.usefixtures("rough_imprint", "no_endless_wait")


OWN_PLACES = [f".unfinished/{name}" for name in ("in-use", *OWN_FILES, *OWN_FOLDERS)]


FOREIGN = {k: v for k, v in IN_THE_WAY.items() if k not in ("a folder", "a protected file")}


def names_and_kinds(folder: Path) -> dict[str, tuple[int, object]]:
    """Return what stands in a folder without its times: that of the folder changes."""
    return {name: (mode, content) for name, (mode, _, content) in tree(folder).items()}


@pytest.mark.parametrize("case", [c for c in IN_THE_WAY if c != "a link to a folder"])
def test_a_folder_for_a_family_is_a_folder(case: str, tmp_path: Path) -> None:
    outside(tmp_path)
    (tmp_path / "beside").mkdir()
    if case == "a folder":
        (tmp_path / "beside" / "out").mkdir()
        assert family(tmp_path, knobs(1), out="beside/out").written
        return
    IN_THE_WAY[case][0](tmp_path / "beside" / "out")
    before = tree(tmp_path / "outside"), tree(tmp_path / "beside")
    with pytest.raises(InputError, match="is not a folder"):
        family(tmp_path, knobs(1), out="beside/out", force=True)
    assert (tree(tmp_path / "outside"), tree(tmp_path / "beside")) == before


def test_a_familys_folder_may_be_reached_by_a_link(out: Path) -> None:
    (out.parent / "link").symlink_to("out")
    assert family(out.parent, knobs(2), out="link").written
    assert family(out.parent, knobs(2), out="link/below").written
    assert index_of(out)["programs"] == index_of(out / "below")["programs"] == 2


@pytest.mark.few(8)
@pytest.mark.parametrize(
    ("place", "case"),
    some_long(
        product([".unfinished", *OWN_PLACES], FOREIGN),
        lambda place, case: place == ".unfinished" or case in ("a link to a file", "a pipe"),
    ),
)
def test_what_is_not_the_commands_own_stops_a_family(place: str, case: str, out: Path) -> None:
    at = out / place
    at.parent.mkdir(exist_ok=True)
    if place.startswith(".unfinished/") and at.name != "family.json":
        (at.parent / "family.json").write_text("{}", encoding="utf-8")
    FOREIGN[case][0](at)
    before = tree(out.parent / "outside"), names_and_kinds(out)
    for force in (False, True):
        with pytest.raises(InputError, match=r"\.unfinished in it does not come from this command"):
            family(out.parent, knobs(1), force=force, resume=True)
    assert (tree(out.parent / "outside"), names_and_kinds(out)) == before


@pytest.mark.parametrize("place", ["in-use", *OWN_FILES])
def test_a_file_that_has_another_name_elsewhere_is_not_written_into(place: str, out: Path) -> None:
    (out / ".unfinished").mkdir()
    (out / ".unfinished" / "family.json").write_text("{}", encoding="utf-8")
    (out / ".unfinished" / place).unlink(missing_ok=True)
    os.link(out.parent / "outside" / "mine", out / ".unfinished" / place)
    before = tree(out.parent / "outside")
    with pytest.raises(InputError, match="does not come from this command"):
        family(out.parent, knobs(1), force=True, resume=True)
    assert tree(out.parent / "outside") == before


def test_a_pipe_among_what_was_staged_is_not_waited_for(out: Path) -> None:
    staged = out / ".unfinished" / "index"
    staged.mkdir(parents=True)
    (out / ".unfinished" / "family.json").write_text("{}", encoding="utf-8")
    os.mkfifo(staged / "index.json")
    assert family(out.parent, knobs(1), resume=True).written
    assert sorted(os.listdir(out)) == sorted([*INDEX_FILES, "knob-0.nc"])


PLACES = ["knob-1.nc", "knob-1.html", *INDEX_FILES, NOTICE_FILE]


NO_FILES = ("a folder", "a pipe", "a socket", "a protected file")


@pytest.mark.few(6)
@pytest.mark.parametrize(
    ("place", "case"),
    some_long(
        product(PLACES, FOREIGN),
        lambda place, case: place == "knob-1.nc" or case in ("a link to a file", "a pipe"),
    ),
)
def test_without_force_a_family_goes_over_nothing_foreign(place: str, case: str, out: Path) -> None:
    FOREIGN[case][0](out / place)
    before = tree(out.parent / "outside"), names_and_kinds(out)
    with pytest.raises(InputError, match=f"{place}|hop"):
        family(out.parent, knobs(2))
    assert (tree(out.parent / "outside"), names_and_kinds(out)) == before


@pytest.mark.few(8)
@pytest.mark.parametrize("case", NO_FILES)
@pytest.mark.parametrize("place", PLACES)
def test_with_force_a_family_still_refuses_what_is_no_file(
    place: str, case: str, out: Path
) -> None:
    IN_THE_WAY[case][0](out / place)
    before = names_and_kinds(out)
    found = "is write-protected" if case == "a protected file" else f"is {case}"
    with pytest.raises(InputError, match=rf"{place}: .*{found}"):
        family(out.parent, knobs(2), force=True, review=place == "knob-1.html")
    assert names_and_kinds(out) == before


@pytest.mark.few(3)
@pytest.mark.parametrize("case", [c for c in FOREIGN if c not in NO_FILES])
def test_with_force_a_family_replaces_links_and_not_what_they_lead_to(case: str, out: Path) -> None:
    pages = case == "a link to a file"  # one case has them: they take time
    places = PLACES if pages else [p for p in PLACES if p != "knob-1.html"]
    for place in places:
        (out / "hop").unlink(missing_ok=True)
        IN_THE_WAY[case][0](out / place)
    before = tree(out.parent / "outside")
    family(out.parent, knobs(2), force=True, review=pages)
    assert tree(out.parent / "outside") == before
    (out / "hop").unlink(missing_ok=True)
    assert not any(path.is_symlink() for path in out.iterdir())
    made = {"knob-0.nc", *places} - {NOTICE_FILE} | ({"knob-0.html"} if pages else set())
    assert set(os.listdir(out)) == made


def test_a_program_behind_a_link_is_not_kept_but_made_again(out: Path) -> None:
    family(out.parent, knobs(2))
    elsewhere = out.parent / "outside" / "knob-1.nc"
    (out / "knob-1.nc").rename(elsewhere)
    (out / "knob-1.nc").symlink_to(elsewhere)
    before = tree(out.parent / "outside")
    with pytest.raises(InputError, match=r"knob-1\.nc was not made"):
        family(out.parent, knobs(2), resume=True)
    assert family(out.parent, knobs(2), resume=True, force=True).counts.kept == 1
    assert not (out / "knob-1.nc").is_symlink()
    assert tree(out.parent / "outside") == before


def test_a_link_in_the_place_of_a_program_that_no_row_makes_is_left(out: Path) -> None:
    family(out.parent, knobs(2))
    elsewhere = out.parent / "outside" / "knob-1.nc"
    (out / "knob-1.nc").rename(elsewhere)
    (out / "knob-1.nc").symlink_to(elsewhere)
    assert family(out.parent, knobs(1), force=True).left == ("knob-1.nc",)
    assert (out / "knob-1.nc").is_symlink()
    assert elsewhere.exists()


BAD_NAMES = [
    "../x.nc", "..", "below/x.nc", "/tmp/x.nc", "a\\x.nc", "C:x.nc", "\\\\host\\share\\x.nc", "CON",
    "nul.nc", "COM1.tap", "LPT\u00b9", "x.", "-x", "~x", "a\u202ecn.nc", "a\u200bb", "a\u2066b",
    "a\x07b", "index", "INDEX.nc", "unfinished", ".unfinished", "é" * 61, "x" * 121, "thumbs.db",
    "desktop.ini", "x.sh", "\ufeffx.nc", "x\u2028y",
]  # fmt: skip


@pytest.mark.few(8)
@pytest.mark.parametrize("name", BAD_NAMES)
def test_a_name_in_a_table_that_leaves_the_folder_or_a_file_system_stops_it(
    name: str, out: Path
) -> None:
    before = tree(out.parent)
    table = out.parent / "table.jsonl"
    table.write_text(json.dumps({"file": name}) + "\n", encoding="utf-8")
    with pytest.raises(InputError, match="is not a usable file name") as caught:
        run_family(roomy(), table, out, workers=1)
    assert "row 1" in str(caught.value) or "row 2" in str(caught.value)
    table.unlink()
    after = tree(out.parent)
    del before["."], after["."]
    assert after == before


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("knob.nc", "KNOB.nc"),
        ("knob.nc", "knob.tap"),
        ("\u00e9.nc", "e\u0301.nc"),
        ("\u00c9.nc", "e\u0301.tap"),
        ("stra\u00dfe", "STRASSE"),
        ("\ufb01x", "fix"),
        ("\u212b", "\u00e5"),
    ],
)
def test_two_names_that_are_one_for_some_file_system_stop_a_family(
    one: str, other: str, out: Path
) -> None:
    table = out.parent / "table.jsonl"
    rows = [json.dumps({"file": name}) for name in (one, other)]
    table.write_text("\n".join(rows) + "\n", encoding="utf-8")
    with pytest.raises(InputError, match="gives the same file as row"):
        run_family(roomy(), table, out, workers=1)
    assert os.listdir(out) == []


@settings(max_examples=50)
@given(st.text(min_size=1, max_size=40), st.sampled_from([str.upper, str.lower, str.swapcase]))
def test_whatever_stands_in_a_cell_its_file_stays_in_the_folder(
    name: str, spelled: Callable[[str], str]
) -> None:
    with suppress(InputError):
        file = as_given(name, "file")
        assert PurePosixPath(file).parts == PureWindowsPath(file).parts == (file,)
        assert is_inside(file)
        assert is_inside(page_name(file))
        for form in ("NFC", "NFD"):
            assert folded(unicodedata.normalize(form, file)) == folded(file)
        if file.isascii():
            assert folded(spelled(file)) == folded(file)
