"""Nothing but what was named is written, and that whole: links, pipes, kills, full disks."""

from __future__ import annotations

import fcntl
import json
import os
import resource
import signal
import tempfile
import unicodedata
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from knurlcam import InputError
from knurlcam.cli.app import app
from knurlcam.family import run_family
from knurlcam.family.found import NOTICE_FILE
from knurlcam.family.index import INDEX_FILES
from knurlcam.family.names import as_given, folded, is_inside, page_name
from knurlcam.family.unfinished import OWN_FILES, OWN_FOLDERS
from knurlcam.files import MOST_PARTS, place_to_write, write_whole
from tests.cli.test_commands import FOCUS
from tests.support.commands import ROOT
from tests.support.families import family, index_of, knobs, roomy
from tests.support.places import IN_THE_WAY, outside, tree

PIN = ROOT / "samples" / "dowel-pin.toml"


@pytest.fixture(autouse=True)
def _no_test_waits_for_ever() -> Iterator[None]:
    """End a test that waits for the other end of a pipe."""
    signal.alarm(60)
    yield
    signal.alarm(0)


@pytest.fixture
def out(tmp_path: Path) -> Path:
    """Return an empty folder beside one that must not change."""
    outside(tmp_path)
    folder = tmp_path / "out"
    folder.mkdir()
    return folder


def in_a_child(work: Callable[[], object]) -> int:
    """Do some work in a process of its own; return its status, 3 for an InputError."""
    child = os.fork()
    if child == 0:
        status = 1
        try:
            work()
            status = 0
        except InputError:
            status = 3
        finally:
            os._exit(status)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


# -- one file ----------------------------------------------------------------------------------


@pytest.mark.parametrize("case", IN_THE_WAY)
def test_what_is_no_plain_file_of_that_folder_is_refused(case: str, out: Path) -> None:
    put, says = IN_THE_WAY[case]
    put(out / "a.nc")
    before = tree(out.parent)
    with pytest.raises(InputError, match=says) as caught:
        write_whole(out / "a.nc", "new")
    assert caught.value.where == str(out / "a.nc")
    assert caught.value.remedy
    assert tree(out.parent) == before


def test_a_device_is_refused() -> None:
    with pytest.raises(InputError, match=r"/dev/null: is a device; .* standard output"):
        place_to_write("/dev/null")


def test_the_message_says_where_a_link_leads(out: Path) -> None:
    (out / "a.nc").symlink_to("../outside/mine")
    with pytest.raises(InputError, match="name that file itself") as caught:
        write_whole(out / "a.nc", "new")
    assert str(out.parent / "outside" / "mine") in str(caught.value)


@pytest.mark.parametrize("leads_to", ["b.nc", "below/b.nc", "hop", "../out/b.nc"])
@pytest.mark.parametrize("is_there", [False, True])
def test_a_link_is_followed_within_its_folder_and_below(
    leads_to: str, is_there: bool, out: Path
) -> None:
    (out / "below").mkdir()
    (out / "hop").symlink_to("below/b.nc")
    target = out / ("below/b.nc" if leads_to == "hop" else leads_to)
    if is_there:
        target.write_text("old", encoding="utf-8")
    (out / "a.nc").symlink_to(leads_to)
    before = tree(out.parent / "outside")
    write_whole(out / "a.nc", "new")
    assert os.readlink(out / "a.nc") == leads_to
    assert target.read_text(encoding="utf-8") == "new"
    assert not target.is_symlink()
    assert tree(out.parent / "outside") == before


@pytest.mark.parametrize("is_there", [False, True])
def test_the_folder_that_is_named_may_be_a_link(is_there: bool, out: Path) -> None:
    (out.parent / "link").symlink_to("out")
    if is_there:
        (out / "a.nc").write_text("old", encoding="utf-8")
    write_whole(out.parent / "link" / "a.nc", "new")
    assert (out / "a.nc").read_text(encoding="utf-8") == "new"
    assert os.listdir(out) == ["a.nc"]


@pytest.mark.parametrize("mode", [0o600, 0o640, 0o755])
def test_a_file_that_is_replaced_keeps_its_mode(mode: int, out: Path) -> None:
    (out / "a.nc").write_text("old", encoding="utf-8")
    (out / "a.nc").chmod(mode)
    write_whole(out / "a.nc", "new")
    assert (out / "a.nc").stat().st_mode & 0o7777 == mode


def test_another_name_of_the_file_keeps_what_was_in_it(out: Path) -> None:
    other = out.parent / "outside" / "mine"
    os.link(other, out / "a.nc")
    before = tree(out.parent / "outside")
    write_whole(out / "a.nc", "new")
    assert tree(out.parent / "outside") == before
    assert (out / "a.nc").read_text(encoding="utf-8") == "new"


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("none/a.nc", "No such file or directory"),
        ("file/a.nc", "Not a directory"),
        ("a" * 256, "File name too long"),
        ("é" * 128, "File name too long"),
        ("a\0.nc", "null"),
        ("", "is a folder"),
    ],
)
def test_a_name_that_the_system_does_not_take_is_told(name: str, says: str, out: Path) -> None:
    (out / "file").write_text("mine", encoding="utf-8")
    before = tree(out.parent)
    with pytest.raises(InputError, match=says):
        write_whole(out / name, "new")
    assert tree(out.parent) == before


@pytest.mark.parametrize("name", ["a" * 255, "é" * 127, "\U0001d54f" * 63, "-o", " ", "%s", "CON"])
def test_every_name_that_the_system_takes_is_written(name: str, out: Path) -> None:
    for text in ("old", "new"):
        write_whole(out / name, text)
        assert (out / name).read_text(encoding="utf-8") == text
    assert os.listdir(out) == [name]


def test_a_folder_that_may_not_be_written_to_is_told() -> None:
    nobody = 65534
    with tempfile.TemporaryDirectory() as named:
        (Path(named) / "a.nc").write_text("old", encoding="utf-8")
        (Path(named) / "a.nc").chmod(0o666)
        os.chmod(named, 0o555)
        before = tree(Path(named))

        def as_nobody() -> None:
            if os.geteuid() == 0:
                os.setuid(nobody)  # an administrator may write anywhere
            write_whole(Path(named) / "a.nc", "new")

        assert in_a_child(as_nobody) == 3
        assert tree(Path(named)) == before
        os.chmod(named, 0o755)


def test_on_a_full_disk_the_old_file_stays_and_nothing_is_left_beside_it(out: Path) -> None:
    """The system's limit on the size of a file is as real as a full disk."""
    (out / "a.nc").write_text("old", encoding="utf-8")

    def limited() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (10_000, 10_000))
        write_whole(out / "a.nc", "x" * 100_000)

    assert in_a_child(limited) == 3
    assert (out / "a.nc").read_text(encoding="utf-8") == "old"
    assert os.listdir(out) == ["a.nc"]


# -- temporary files ---------------------------------------------------------------------------


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_file_whose_writing_was_killed_is_whole_and_what_was_left_is_cleared(
    step: str, out: Path
) -> None:
    (out / "a.nc").write_text("old", encoding="utf-8")

    def killed() -> None:
        setattr(os, step, lambda *_: os.kill(os.getpid(), signal.SIGKILL))
        write_whole(out / "a.nc", "new")

    for _ in range(2):
        assert in_a_child(killed) == -signal.SIGKILL
        assert (out / "a.nc").read_text(encoding="utf-8") == "old"
        assert sorted(os.listdir(out)) == [".a.nc.0.part", "a.nc"]
    write_whole(out / "a.nc", "new")
    assert os.listdir(out) == ["a.nc"]
    assert (out / "a.nc").read_text(encoding="utf-8") == "new"


@pytest.mark.parametrize("step", ["chmod", "fsync", "replace"])
def test_an_interrupt_leaves_nothing_behind(
    step: str, out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (out / "a.nc").write_text("old", encoding="utf-8")

    def interrupt(*_: Any) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(os, step, interrupt)
        with pytest.raises(KeyboardInterrupt):
            write_whole(out / "a.nc", "new")
    assert os.listdir(out) == ["a.nc"]
    assert (out / "a.nc").read_text(encoding="utf-8") == "old"


@pytest.mark.parametrize("case", IN_THE_WAY)
def test_a_temporary_name_that_something_else_has_is_left_alone(case: str, out: Path) -> None:
    left_by_a_killed_run = case == "a protected file"
    put, _ = IN_THE_WAY[case]
    put(out / ".a.nc.0.part")
    before = tree(out)
    write_whole(out / "a.nc", "new")
    after = tree(out)
    del before["."], after["."], after["a.nc"]
    assert (after == before) is not left_by_a_killed_run
    assert (out / "a.nc").read_text(encoding="utf-8") == "new"
    assert tree(out.parent / "outside")["mine"][2] == b"mine"


def test_another_process_that_writes_the_same_file_is_not_disturbed(out: Path) -> None:
    part = out / ".a.nc.0.part"
    with open(part, "xb") as other:
        fcntl.flock(other, fcntl.LOCK_EX)
        write_whole(out / "a.nc", "new")
        assert sorted(os.listdir(out)) == [".a.nc.0.part", "a.nc"]
    write_whole(out / "a.nc", "newer")
    assert os.listdir(out) == ["a.nc"]


def test_a_temporary_file_that_is_cleared_before_it_is_locked_is_made_anew(
    out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    really, cleared = fcntl.flock, []

    def late(stream: Any, how: int) -> None:
        if not cleared:
            cleared.append(os.unlink(out / ".a.nc.0.part"))
        really(stream, how)

    monkeypatch.setattr(fcntl, "flock", late)
    write_whole(out / "a.nc", "new")
    assert cleared
    assert os.listdir(out) == ["a.nc"]


def test_when_all_temporary_names_are_taken_one_is_named(out: Path) -> None:
    for n in range(MOST_PARTS):
        (out / f".a.nc.{n}.part").mkdir()
    with pytest.raises(InputError, match=r"temporary names, up to .*\.part, are all taken"):
        write_whole(out / "a.nc", "new")
    assert not (out / "a.nc").exists()


def test_of_processes_that_write_the_same_file_at_once_each_writes_it_whole(out: Path) -> None:
    size, times = 50_000, 40
    target = out / "a.nc"
    write_whole(target, "0" * size)
    children = []
    for letter in "12":
        child = os.fork()
        if child == 0:
            status = 1
            try:
                for _ in range(times):
                    write_whole(target, letter * size)
                status = 0
            finally:
                os._exit(status)
        children.append(child)
    left = set(children)
    while left:
        seen = target.read_bytes()
        assert len(seen) == size
        assert len(set(seen)) == 1
        ended, status = os.waitpid(-1, os.WNOHANG)
        if ended:
            left.remove(ended)
            assert status == 0
    assert os.listdir(out) == ["a.nc"]


# -- the commands ------------------------------------------------------------------------------

WRITE_ONE: dict[str, tuple[list[str], str]] = {
    "program": (["program", str(FOCUS)], "a.nc"),
    "review": (["review", str(FOCUS)], "a.html"),
    "imprint.png": (["imprint", str(PIN)], "a.png"),
    "imprint.svg": (["imprint", str(PIN)], "a.svg"),
    "imprint.npz": (["imprint", str(PIN)], "a.npz"),
    "imprint.stl": (["imprint", str(PIN)], "a.stl"),
}
"""Commands that write one file, and a name for it."""


@pytest.mark.parametrize("case", IN_THE_WAY)
@pytest.mark.parametrize("command", WRITE_ONE)
def test_a_command_refuses_what_is_no_plain_file_before_it_works(
    command: str, case: str, out: Path
) -> None:
    args, name = WRITE_ONE[command]
    put, says = IN_THE_WAY[case]
    put(out / name)
    before = tree(out.parent)
    done = CliRunner().invoke(app, [*args, "-o", str(out / name)])
    assert done.exit_code == 2, done.exception
    assert f"{out / name}: {says}" in done.stderr.replace("is a link that leads", "leads")
    assert done.stdout == ""
    assert tree(out.parent) == before


@pytest.mark.parametrize("name", ["a" * 300 + ".nc", "none/a.nc", "."])
def test_a_name_that_cannot_be_is_no_internal_error(name: str, out: Path) -> None:
    done = CliRunner().invoke(app, ["program", str(FOCUS), "-o", str(out / name)])
    assert done.exit_code == 2
    assert done.stderr.startswith("knurlcam: ")
    assert os.listdir(out) == []


def test_a_program_is_not_written_over_the_shop_file_it_is_made_with(out: Path) -> None:
    for name in ("shop.toml", "hour-circle-grip.toml"):
        (out / name).write_bytes((ROOT / "samples" / "shop" / name).read_bytes())
    before = tree(out)
    job = str(out / "hour-circle-grip.toml")
    done = CliRunner().invoke(app, ["program", job, "-o", str(out / "shop.toml")])
    assert done.exit_code == 2
    assert "is the shop file itself" in done.stderr
    assert tree(out) == before


def test_a_pipe_called_shop_toml_beside_a_job_is_not_waited_for(out: Path) -> None:
    job = out / "job.toml"
    job.write_bytes(FOCUS.read_bytes())
    os.mkfifo(out / "shop.toml")
    assert CliRunner().invoke(app, ["program", str(job)]).exit_code == 0


# -- a family's folder -------------------------------------------------------------------------

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


@pytest.mark.parametrize("case", FOREIGN)
@pytest.mark.parametrize("place", [".unfinished", *OWN_PLACES])
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


@pytest.mark.parametrize("case", FOREIGN)
@pytest.mark.parametrize("place", PLACES)
def test_without_force_a_family_goes_over_nothing_foreign(place: str, case: str, out: Path) -> None:
    FOREIGN[case][0](out / place)
    before = tree(out.parent / "outside"), names_and_kinds(out)
    with pytest.raises(InputError, match=f"{place}|hop"):
        family(out.parent, knobs(2))
    assert (tree(out.parent / "outside"), names_and_kinds(out)) == before


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


def test_a_program_behind_a_link_is_not_kept_but_made_anew(out: Path) -> None:
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


# -- names from a table ------------------------------------------------------------------------

BAD_NAMES = [
    "../x.nc", "..", "below/x.nc", "/tmp/x.nc", "a\\x.nc", "C:x.nc", "\\\\host\\share\\x.nc", "CON",
    "nul.nc", "COM1.tap", "LPT\u00b9", "x.", "-x", "~x", "a\u202ecn.nc", "a\u200bb", "a\u2066b",
    "a\x07b", "index", "INDEX.nc", "unfinished", ".unfinished", "é" * 61, "x" * 121, "thumbs.db",
    "desktop.ini", "x.sh", "\ufeffx.nc", "x\u2028y",
]  # fmt: skip


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
