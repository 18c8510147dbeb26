"""The job file behind the page."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knurlcam.edit.document import ChangedOnDiskError, Document, inside
from knurlcam.errors import InputError
from knurlcam.toml import read_toml

SAMPLE = Path(__file__).parents[2] / "samples" / "focus-knob.toml"
COMMENTED = '# our knob\nunits = "mm"\n\n[part] # drawing 7\nlength = 70.0 # free\nname = "Knob"\n'


@pytest.fixture
def document(tmp_path: Path) -> Document:
    path = tmp_path / "knob.toml"
    path.write_text(COMMENTED, encoding="utf-8")
    return Document(path)


def test_saving_what_was_read_changes_no_byte(tmp_path: Path) -> None:
    path = tmp_path / "knob.toml"
    path.write_bytes(SAMPLE.read_bytes())
    document = Document(path)
    document.save(*document.load())
    assert path.read_bytes() == SAMPLE.read_bytes()


def test_comments_and_order_stay_where_one_figure_changes(document: Document) -> None:
    texts, digest = document.load()
    document.save({**texts, "part.length": "71.5"}, digest)
    assert document.path.read_text(encoding="utf-8") == COMMENTED.replace("70.0", "71.5")


def test_a_new_job_that_is_half_filled_in_is_kept(tmp_path: Path) -> None:
    document = Document(tmp_path / "new.toml")
    texts, digest = document.load()
    typed = {**texts, "part.length": "25,", "knurl.callout": "DIN 82 RGE 1.0"}
    document.save(typed, digest)
    assert document.load()[0] == typed


def test_what_changed_on_disk_is_never_written_over(document: Document) -> None:
    texts, digest = document.load()
    document.path.write_text("# another\n" + COMMENTED, encoding="utf-8")
    with pytest.raises(ChangedOnDiskError, match="has changed on disk"):
        document.save(texts, digest)
    assert document.path.read_text(encoding="utf-8").startswith("# another")


def test_a_material_of_ones_own_stays_though_no_field_shows_it(document: Document) -> None:
    own = COMMENTED + 'material = {name = "own", hardness = 90}\n'
    document.path.write_text(own, encoding="utf-8")
    texts, digest = document.load()
    assert "part.material" not in texts
    document.save(texts, digest)
    assert document.path.read_text(encoding="utf-8") == own


def test_a_draft_is_there_until_the_job_is_saved(document: Document) -> None:
    texts, digest = document.load()
    document.keep_draft({**texts, "part.name": "Other"}, digest)
    assert Document(document.path).draft() == {**texts, "part.name": "Other"}
    document.save(texts, digest)
    assert document.draft() is None


def test_a_broken_draft_is_no_draft(document: Document) -> None:
    document.draft_path.write_bytes(b"\xff{")
    assert document.draft() is None


@settings(max_examples=40, deadline=None)
@given(text=st.text(max_size=30), length=st.floats(0.001, 900))
def test_what_is_typed_is_what_is_read_again(
    tmp_path_factory: pytest.TempPathFactory, text: str, length: float
) -> None:
    document = Document(tmp_path_factory.mktemp("typed") / "knob.toml")
    document.path.write_text(COMMENTED, encoding="utf-8")
    texts, digest = document.load()
    document.save({**texts, "part.name": text, "part.length": f"{length:.3f}"}, digest)
    part = read_toml(document.path, limit=9_000)["part"]
    assert part.get("name", "") == text.strip()
    assert part["length"] == float(f"{length:.3f}")


@pytest.mark.parametrize(
    "name",
    ["", "../a.toml", "/etc/a.toml", "a\0.toml", ".a.toml", "b\\a.toml", "a.txt", "out.toml"],
)
def test_no_name_leads_out_of_the_folder(tmp_path: Path, name: str) -> None:
    folder = tmp_path / "jobs"
    folder.mkdir()
    (folder / "out.toml").symlink_to(tmp_path / "elsewhere.toml")
    with pytest.raises(InputError, match="is not a file of this folder"):
        inside(folder, name, ".toml")
