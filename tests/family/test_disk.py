"""A disk that is full, protected or slow."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from knurlcam import InputError
from knurlcam.family import (
    Base,
    make_family,
    run_family,
    save_family,
)
from knurlcam.family import disk as disk_module
from knurlcam.family import index as index_module
from tests.support.families import (
    digests,
    family,
    knobs,
    roomy,
)

pytestmark = pytest.mark.usefixtures("batches_of_four")


def full_after(monkeypatch: pytest.MonkeyPatch, files: int) -> None:
    """Make the disk full in the middle of the file after so many."""
    left = files

    def opened(path: str | Path, mode: str = "r", **more: Any) -> Any:
        nonlocal left
        stream = open(path, mode, **more)  # noqa: SIM115 - whoever asked closes it
        place = Path(path).parent
        left -= "r" not in mode and "new" in (place.name, place.parent.name)
        left -= "r" not in mode and place.name == "index"
        if left < 0:
            stream.write(b"%" if "b" in mode else "%")
            stream.close()
            raise OSError(28, "No space left on device", str(path))
        return stream

    for module in (disk_module, index_module):
        monkeypatch.setattr(module, "open", opened, raising=False)


@pytest.mark.few(3)
@pytest.mark.parametrize("writes", [0, 1, 6, 10, 11, 12])
def test_a_full_disk_leaves_nothing_half_written(
    writes: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    family(tmp_path, knobs(10), out="whole")
    whole = digests(tmp_path / "whole")
    with monkeypatch.context() as patched:
        base, file = Base.of(tmp_path / "base.toml"), tmp_path / "table.csv"
        full_after(patched, writes)
        with pytest.raises(InputError, match=r"No space left on device.*--resume"):
            run_family(base, file, tmp_path / "out", workers=1)
    for name, digest in digests(tmp_path / "out").items():
        if not name.startswith(".unfinished") and name != "UNFINISHED.txt":
            assert whole[name] == digest
    summary = family(tmp_path, knobs(10), resume=True)
    assert summary.counts.kept == (10 if writes >= 10 else writes // 4 * 4)
    assert digests(tmp_path / "out") == whole


def test_a_folder_that_cannot_be_written_to_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def denied(self: Path, *args: Any, **kwargs: Any) -> None:
        raise PermissionError(13, "Permission denied", str(self))

    monkeypatch.setattr(Path, "mkdir", denied)
    with pytest.raises(InputError, match=r"cannot be written:.*Permission denied"):
        family(tmp_path, knobs(2))


@pytest.fixture
def read_only() -> Iterator[Path]:
    """Return a folder that nobody may write to, as one whom that binds: root is not."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder, "out")
        out.mkdir()
        os.chmod(folder, 0o755)
        out.chmod(0o555)
        me = os.geteuid()
        if me == 0:
            os.seteuid(65534)
        try:
            yield out
        finally:
            os.seteuid(me)
            out.chmod(0o755)


def test_a_read_only_folder_is_named(read_only: Path) -> None:
    results = make_family(roomy(), knobs(2))
    with pytest.raises(InputError, match=r"cannot be written: .*out.*Permission denied"):
        save_family(results, read_only)
    assert os.listdir(read_only) == []


def test_where_the_system_has_no_sync_each_file_is_waited_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    waited: list[int] = []
    monkeypatch.delattr(os, "sync")
    monkeypatch.setattr(disk_module.os, "fsync", waited.append)
    family(tmp_path, knobs(3))
    # The journal and three programs, the journal and the index, and once they are in place.
    assert len(waited) == 1 + 3 + 1 + 3 + 1


def test_the_disk_is_waited_for_before_a_program_is_put_in_its_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[tuple[int, int]] = []

    def looked() -> None:
        journal = (tmp_path / "out" / ".unfinished" / "journal.jsonl").read_text("utf-8")
        seen.append((journal.count("\n"), len(list((tmp_path / "out").glob("*.nc")))))

    monkeypatch.setattr(os, "sync", looked)
    family(tmp_path, knobs(6))
    assert seen == [(4, 0), (6, 4), (6, 6), (6, 6)]
