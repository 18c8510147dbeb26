"""Files that hold a job, or do not."""

from __future__ import annotations

from pathlib import Path

import pytest

from knurlcam.job.model import Job
from knurlcam.job.problems import JobFileError
from tests.support.job_files import load, toml
from tests.support.jobs import base_job

FILES: dict[str, tuple[bytes, str]] = {
    "not-utf-8": (b'units = "mm"\nname = "\xff"\n', "line 2: byte 0xff is not UTF-8 text"),
    "utf-16": ('units = "mm"'.encode("utf-16"), "is not UTF-8 text"),
    "empty": (b"", "is empty"),
    "blank": (b" \r\n\t\n", "is empty"),
    "two-megabytes": (b"# a comment\n" * 200_000, "is larger than 200,000 bytes"),
    "not-toml": (b"[part\nname = 1\n", "is not TOML: .*line 1"),
    "program-text": (b"%1201\nN10 G71 G90\n", "is not TOML"),
    "key-given-twice": (b'units = "mm"\nunits = "inch"\n', "is not TOML"),
    "deeply-nested": (b"x = " + b"[" * 100_000, "is not TOML"),
}


@pytest.mark.parametrize("case", FILES)
def test_a_file_that_is_no_job_file_is_refused_by_name(case: str, tmp_path: Path) -> None:
    content, says = FILES[case]
    file = tmp_path / "job.toml"
    file.write_bytes(content)
    with pytest.raises(JobFileError, match=says) as caught:
        Job.load(file)
    (problem,) = caught.value.problems
    assert problem.where == str(file)
    assert problem.expected in ("a TOML file as UTF-8 text", "lines such as length = 25.0")
    assert problem.remedy


@pytest.mark.parametrize(
    ("name", "says"),
    [(".", "is a folder"), ("none.toml", "does not exist"), ("a\0b", "cannot be read")],
)
def test_a_path_without_a_file_behind_it_is_refused_by_name(
    name: str, says: str, tmp_path: Path
) -> None:
    with pytest.raises(JobFileError, match=says) as caught:
        Job.load(tmp_path / name)
    assert caught.value.problems[0].where == str(tmp_path / name)
    assert caught.value.problems[0].remedy


def test_a_tool_by_name_wants_a_shop_file(tmp_path: Path) -> None:
    with pytest.raises(JobFileError, match="there is no shop file") as caught:
        load(tmp_path, base_job({"tool": "twin 20"}))
    assert caught.value.problems[0].key == "tool"


def test_a_byte_order_mark_and_windows_line_ends_are_taken(tmp_path: Path) -> None:
    file = tmp_path / "job.toml"
    text = toml(base_job()).replace("\n", "\r\n")
    file.write_bytes(b"\xef\xbb\xbf" + text.encode())
    assert Job.load(file) == Job.model_validate(base_job())
