"""Nothing but the file that was named is written, and that whole."""

from __future__ import annotations

import fcntl
import os
import resource
import signal
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from knurlcam import InputError
from knurlcam.files import MOST_PARTS, place_to_write, write_whole
from tests.support.places import IN_THE_WAY, tree

pytestmark = pytest.mark.usefixtures("no_endless_wait")


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
def test_a_name_that_the_system_does_not_take_is_reported(name: str, says: str, out: Path) -> None:
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


def test_a_folder_that_may_not_be_written_to_is_reported() -> None:
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


@pytest.mark.few(4)
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


def test_a_temporary_file_that_is_cleared_before_it_is_locked_is_made_again(
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
