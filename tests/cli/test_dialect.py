"""``knurlcam dialect new`` and ``knurlcam dialect check``."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest

from knurlcam.gcode.codes import Codes
from knurlcam.gcode.dialect import Dialect
from knurlcam.gcode.dialect_copy import commented_traits, copy_dialect
from knurlcam.gcode.dialect_files import TEMPLATE, TRAITS, dialect_names, load_dialect
from tests.support.commands import FOCUS, PIN, run, run_json
from tests.support.controls import CONTROLS, write_folder
from tests.support.dialects import Shop

SHIPPED = sorted(dialect_names())


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    return Shop(tmp_path)


def new(shop: Shop, name: str = "lathe-2", of: str = "iso6983", *more: str | Path) -> Any:
    return run("dialect", "new", name, "--from", of, "-o", shop.root, *more)


# -- new -----------------------------------------------------------------------


@pytest.mark.parametrize("of", SHIPPED)
def test_a_copy_says_what_its_source_says(shop: Shop, of: str) -> None:
    assert new(shop, "mine", of).returncode == 0
    told, source = load_dialect("mine", [shop.root]), load_dialect(of)
    assert told.model_dump(exclude={"name", "title"}) == source.model_dump(
        exclude={"name", "title"}
    )
    assert not (shop.root / "mine" / TEMPLATE.name).exists()


@pytest.mark.few(3)
@pytest.mark.parametrize("of", CONTROLS)
def test_a_copy_of_a_shops_own_dialect_says_the_same(shop: Shop, of: str) -> None:
    source = write_folder(shop.root, of, CONTROLS[of])
    copy_dialect(source, "copied", shop.root)
    told = load_dialect("copied", [shop.root])
    own = {"name", "title"}
    assert told.model_dump(exclude=own) == source.model_dump(exclude=own)


@pytest.mark.parametrize("of", SHIPPED)
def test_each_trait_of_a_copy_stands_below_what_it_is_for(of: str) -> None:
    text = commented_traits(load_dialect(of), "mine")
    said = " ".join(line.removeprefix("# ") for line in text.splitlines() if line[:2] == "# ")
    for key, field in {**Dialect.model_fields, **Codes.model_fields}.items():
        if not field.exclude:
            assert f"{key} = " in text or f"[{key}]" in text
            assert str(field.description) in said


@pytest.mark.parametrize("of", SHIPPED)
def test_a_line_of_a_copy_that_is_put_to_use_is_toml_of_a_known_key(of: str) -> None:
    text = commented_traits(load_dialect(of), "mine")
    idle = [line for line in text.splitlines() if line.startswith("# ") and " = " in line[:30]]
    for line in idle:
        assert tomllib.loads(line.removeprefix("# "))
    assert len(idle) > 3


def test_a_template_of_ones_own_is_copied(shop: Shop) -> None:
    shop.copy("first", template=True)
    assert new(shop, "second", "first", "--posts", shop.root).returncode == 0
    texts = [(shop.root / n / TEMPLATE.name).read_text("utf-8") for n in ("first", "second")]
    assert texts[0] == texts[1]


def test_nothing_is_written_over(shop: Shop) -> None:
    assert new(shop).returncode == 0
    before = (shop.root / "lathe-2" / TRAITS.name).read_text("utf-8")
    done = new(shop, "lathe-2", "rs274")
    assert (done.returncode, done.stdout) == (2, "")
    assert "exists already" in done.stderr
    assert (shop.root / "lathe-2" / TRAITS.name).read_text("utf-8") == before


@pytest.mark.parametrize("name", ["Lathe 2", "../lathe", "", "-", "a" * 41])
def test_a_name_that_no_dialect_can_have_is_refused(shop: Shop, name: str) -> None:
    done = run("dialect", "new", "--from", "rs274", "-o", shop.root / "posts", "--", name)
    assert done.returncode == 2
    assert "small letters, digits" in done.stderr
    assert not (shop.root / "posts").exists()


def test_without_a_folder_it_asks_for_one(shop: Shop) -> None:
    done = run("dialect", "new", "mine", "--from", "rs274", cwd=shop.root)
    assert done.returncode == 2
    assert "--output: is missing" in done.stderr
    assert 'dialects = "posts"' in done.stderr


def test_a_source_that_is_none_is_named_by_its_option(shop: Shop) -> None:
    done = new(shop, "mine", "rs247")
    assert done.returncode == 2
    assert "--from: unknown dialect" in done.stderr
    assert "did you mean 'rs274'?" in done.stderr


# -- check ---------------------------------------------------------------------


def test_a_copy_is_sound_and_one_program_is_shown(shop: Shop) -> None:
    new(shop, "lathe-2", "rs274")
    done = run("dialect", "check", shop.root / "lathe-2", "--job", PIN)
    assert done.returncode == 0
    assert "lathe-2: sound" in done.stdout
    assert "cannot be written: a subprogram" in done.stdout
    assert "\nM30\n%\n" in done.stdout


def test_what_the_dialect_has_no_word_for_is_listed_and_it_is_sound(shop: Shop) -> None:
    new(shop)
    shop.edit("lathe-2", 'optional_stop = "M01"', "")
    data = run_json("dialect", "check", shop.root / "lathe-2", "--job", FOCUS)
    (lacks,) = (a for a in data["abilities"] if a["verdict"] != "verified")
    assert lacks["what"] == "a trial strip with an optional stop"
    assert lacks["verdict"] == "cannot be written"


@pytest.mark.long
def test_every_sample_is_written_in_it(shop: Shop) -> None:
    new(shop)
    data = run_json("dialect", "check", shop.root / "lathe-2")
    assert data["sound"]
    assert "focus-knob" in {p["job"] for p in data["programs"] if p["verdict"] == "verified"}
    assert len(data["programs"]) == 12
    assert data["shown"]["what"] == "focus-knob"


def test_all_that_is_wrong_is_said_at_once_and_no_program_is_written(shop: Shop) -> None:
    new(shop)
    shop.edit("lathe-2", 'feed = "per revolution"', 'feed = "per rev"')
    shop.edit("lathe-2", 'spindle_stop = "M05"', 'spindle_stop = "M03"')
    shop.edit("lathe-2", "{{ modes }}", "{{ modes }", TEMPLATE.name)
    done = run("dialect", "check", shop.root / "lathe-2")
    assert (done.returncode, done.stdout) == (2, "")
    lines = done.stderr.splitlines()
    assert ["feed" in lines[0], "spindle_stop" in " ".join(lines), TEMPLATE.name in lines[-1]] == [
        True
    ] * 3
    data = run_json("dialect", "check", shop.root / "lathe-2", status=2)
    assert {"feed", "codes.spindle_stop"} <= {p["key"] for p in data["error"]["problems"]}


def test_a_dialect_whose_programs_do_not_verify_ends_with_status_one(shop: Shop) -> None:
    new(shop)
    shop.edit("lathe-2", "{{ offset_cancel }}", "", TEMPLATE.name)
    done = run("dialect", "check", shop.root / "lathe-2", "--job", PIN)
    assert done.returncode == 1
    assert "NOT SOUND" in done.stdout
    assert "(offset-on-at-end)" in done.stdout
    data = run_json("dialect", "check", shop.root / "lathe-2", "--job", PIN, status=1)
    assert data["programs"][0]["findings"][0]["code"] == "offset-on-at-end"


def test_a_template_that_fails_while_it_lays_out_is_broken(shop: Shop) -> None:
    new(shop)
    shop.edit("lathe-2", "{{ modes }}", "{{ moods }}", TEMPLATE.name)
    done = run("dialect", "check", shop.root / "lathe-2", "--job", PIN)
    assert done.returncode == 2
    assert "'moods' is undefined" in done.stderr


def test_a_dialect_is_found_by_its_name_too(shop: Shop) -> None:
    assert run("dialect", "check", "rs274", "--job", PIN).returncode == 0
    done = run("dialect", "check", shop.root / "lathe-3")
    assert done.returncode == 2
    assert "is not the folder of a dialect" in done.stderr


# -- the shop file's folder ----------------------------------------------------


def shop_with_dialects(place: Path) -> tuple[Shop, Path]:
    """Return a folder of dialects that a shop file names, and a job beside the shop file."""
    (place / "shop.toml").write_text('dialects = "own posts"\n', encoding="utf-8")
    job = place / "knob.toml"
    job.write_text(
        PIN.read_text("utf-8").replace('"iso6983-integer"', '"lathe-2"'), encoding="utf-8"
    )
    return Shop(place / "own posts"), job


def test_a_shop_file_names_the_folder_so_that_no_command_needs_it(tmp_path: Path) -> None:
    _, job = shop_with_dialects(tmp_path)
    assert run("dialect", "new", "lathe-2", "--from", "rs274", cwd=tmp_path).returncode == 0
    program = run("program", job, "-o", tmp_path / "pin.nc")
    assert program.returncode == 0, program.stderr
    text = (tmp_path / "pin.nc").read_text("utf-8")
    assert "G43 H" in text
    assert run("verify", tmp_path / "pin.nc", "--job", job).returncode == 0
    assert "lathe-2" in run("dialects", cwd=tmp_path).stdout
    assert run("dialect", "check", "lathe-2", "--job", job, cwd=tmp_path).returncode == 0


def test_a_folder_that_the_shop_file_names_in_vain_is_named_by_key(tmp_path: Path) -> None:
    _, job = shop_with_dialects(tmp_path)
    done = run("program", job)
    assert done.returncode == 2
    assert "shop.toml: dialects: is not a folder of dialects" in done.stderr


# -- schema --------------------------------------------------------------------


def test_the_schema_of_a_dialect_describes_every_trait() -> None:
    schema = json.loads(run("schema", "--dialect").stdout)
    assert set(schema["properties"]) == set(Dialect.model_fields) - {"folder"}
    for section in (schema, *schema["$defs"].values()):
        assert all(prop.get("description") for prop in section["properties"].values())
