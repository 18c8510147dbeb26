"""The folder of dialects that a shop file names, in each stage that asks for a dialect."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest

from knurlcam import (
    Job,
    JobFileError,
    lay_out,
    make_family,
    make_plan,
    review_page,
    verify,
    write_program,
)
from knurlcam.family import Base
from knurlcam.gcode.dialect_files import POSTS_VARIABLE
from tests.support.commands import PIN
from tests.support.dialects import Shop


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A job beside a shop file with a folder of dialects, of which it names one."""
    monkeypatch.delenv(POSTS_VARIABLE, raising=False)
    own(tmp_path / "posts", "M07")
    (tmp_path / "shop.toml").write_text('dialects = "posts"\n', encoding="utf-8")
    file = tmp_path / "pin.toml"
    text = PIN.read_text("utf-8").replace('"iso6983-integer"', '"lathe-2"')
    file.write_text(text, encoding="utf-8")
    return file


def own(posts: Path, coolant: str) -> Path:
    """Make a folder with a dialect that is told by its coolant word."""
    shop = Shop(posts)
    shop.copy("lathe-2")
    shop.edit("lathe-2", 'coolant_on = "M08"', f'coolant_on = "{coolant}"')
    return posts


def test_a_job_from_a_file_knows_where_its_dialects_are(job: Path) -> None:
    loaded = Job.load(job)
    assert loaded.posts == (job.parent / "posts",)
    again = pickle.loads(pickle.dumps(loaded))
    assert (again.posts, again.identity) == (loaded.posts, Job.load(job).identity)


def test_each_stage_finds_the_dialect(job: Path, rough_imprint: None) -> None:
    loaded = Job.load(job)
    text = write_program(lay_out(make_plan(loaded)), "lathe-2")
    assert " M07\n" in text
    assert verify(text, loaded).ok
    assert review_page(loaded, text).verification.ok


def test_each_row_of_a_family_finds_the_dialect_in_another_process_too(
    job: Path, rough_imprint: None
) -> None:
    base = pickle.loads(pickle.dumps(Base.of(job)))
    for result in make_family(base, [{"part.name": "Pin"}]):
        assert " M07\n" in str(result.text)
    (of_a_job,) = make_family(Job.load(job), [{"part.name": "Pin"}])
    assert " M07\n" in str(of_a_job.text)


def test_a_named_folder_wins_over_the_shop_file_and_that_over_the_variable(
    job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = lay_out(make_plan(Job.load(job)))
    monkeypatch.setenv(POSTS_VARIABLE, str(own(tmp_path / "of the variable", "M51")))
    assert " M07\n" in write_program(path, "lathe-2")
    named = own(tmp_path / "named", "M50")
    assert " M50\n" in write_program(path, "lathe-2", posts=[named])


@pytest.mark.parametrize(
    ("text", "key"), [('dialects = "gone"', "dialects"), ("dialects = 7", "dialects")]
)
def test_a_folder_that_is_none_is_named_by_file_and_key(job: Path, text: str, key: str) -> None:
    shop = job.parent / "shop.toml"
    shop.write_text(text, encoding="utf-8")
    with pytest.raises(JobFileError) as caught:
        Job.load(job)
    assert (caught.value.where, caught.value.key) == (str(shop), key)
    assert caught.value.remedy
