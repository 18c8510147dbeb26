"""``knurlcam materials``, ``rolls``, ``keys`` and ``codes``; the examples in every help."""

from __future__ import annotations

import shlex
from pathlib import Path

import pytest

from knurlcam.cli.app import COMMANDS
from knurlcam.cli.dialect import check, new
from knurlcam.cli.examples import EXAMPLES
from knurlcam.data.codes import CODES
from knurlcam.data.materials import materials
from knurlcam.data.rolls import din403_teeth, rolls
from knurlcam.job.model import Job
from tests.support.commands import ROOT, run, run_json

SHOP = "samples/shop/shop.toml"


def test_materials_lists_every_row_of_the_table() -> None:
    listed = run_json("materials")["materials"]
    assert [row["name"] for row in listed] == [row.name for row in materials()]
    shown = run("materials").stdout
    assert all(row.name.split()[0] in shown for row in materials())


def test_a_material_is_found_by_an_alias_with_the_source_of_each_figure() -> None:
    (row,) = run_json("materials", "1.4305")["materials"]
    assert row["name"] == "stainless 303"
    assert set(row["sources"]) >= {"yield_strength_mpa", "turning_speed_m_min"}
    shown = run("materials", "1.4305").stdout
    assert "yield strength" in shown
    assert "US Air Force T.O. 1-1A-9" in shown


def test_rolls_lists_what_they_make_and_how_many_teeth_they_have() -> None:
    listed = run_json("rolls", "--shop", SHOP)
    assert [row["form"] for row in listed["rolls"]] == list(rolls())
    assert ("RGE", ["BL", "BR"]) in [(row["form"], row["rolls"]) for row in listed["sets"]]
    for row in listed["din403"]:
        assert din403_teeth(row["form"], row["diameter_mm"], row["pitch_mm"]) == row["teeth"]
    assert "diamond 1.0" in [row["name"] for row in listed["shop"]]


def test_rolls_that_are_asked_for_are_listed_with_their_sets_alone() -> None:
    listed = run_json("rolls", "GV", "--shop", SHOP)
    assert [row["form"] for row in listed["rolls"]] == ["GV"]
    assert all("GV" in row["rolls"] for row in listed["sets"])
    assert listed["shop"] == []
    assert "pitch [mm]: teeth" in run("rolls", "BL").stdout


def test_keys_lists_every_key_of_the_schema() -> None:
    schema = Job.model_json_schema()
    listed = {row["key"]: row for row in run_json("keys")["keys"]}
    for name, section in (("part", "Part"), ("tool", "Tool"), ("process", "Process")):
        for key, node in schema["$defs"][section]["properties"].items():
            assert listed[f"{name}.{key}"]["means"] == node["description"]
    assert listed["units"]["values"] == ["mm", "inch"]


@pytest.mark.parametrize(
    ("key", "required", "default", "values"),
    [
        ("part.name", True, None, []),
        ("knurl.start", False, 0.0, []),
        ("tool.style", True, None, ["single roll", "knuckle joint", "revolving head", "straddle"]),
        ("process.accept", False, [], []),
    ],
)
def test_a_key_says_whether_it_must_be_given(
    key: str, required: bool, default: object, values: list[str]
) -> None:
    (row,) = run_json("keys", key)["keys"]
    assert (row["required"], row["default"], row["values"]) == (required, default, values)


def test_a_section_is_shown_with_its_units() -> None:
    shown = " ".join(run("keys", "knurl").stdout.split())
    assert "Pitch" in shown
    assert "mm or inch" in shown
    assert "[knurl]" in shown


def test_codes_lists_every_code_and_what_may_be_accepted() -> None:
    listed = {row["code"]: row for row in run_json("codes")["codes"]}
    assert list(listed) == list(CODES)
    assert [code for code, row in listed.items() if row["acceptable"]] == [
        code for code, row in CODES.items() if row.acceptable
    ]
    shown = run("codes", "doubles").stdout
    assert "may be accepted" in shown


@pytest.mark.parametrize(
    ("command", "wrong", "right"),
    [
        ("materials", "1.4350", "1.4435"),
        ("rolls", "LB", "BL"),
        ("keys", "knurl.lenght", "knurl.length"),
        ("codes", "doubels", "doubles"),
    ],
)
def test_a_name_that_is_not_there_is_refused_with_the_nearest(
    command: str, wrong: str, right: str
) -> None:
    done = run(command, wrong)
    assert done.returncode == 2
    assert wrong in done.stderr
    assert right in done.stderr
    assert done.stdout == ""


def test_every_command_has_two_examples_in_its_help() -> None:
    names = [c.__name__ for c in COMMANDS] + [f"dialect {c.__name__}" for c in (new, check)]
    for name in names:
        assert len(EXAMPLES[name]) == 2
        shown = run(*name.split(), "--help").stdout
        assert all(" ".join(line.split()) in " ".join(shown.split()) for line in EXAMPLES[name])


@pytest.mark.few(1)
@pytest.mark.parametrize("command", sorted(EXAMPLES.keys() - {"new", "edit"}))  # which ask
def test_the_examples_run_as_they_stand(command: str, tmp_path: Path) -> None:
    for folder in ("samples", "postprocessors"):
        (tmp_path / folder).symlink_to(ROOT / folder)
    needed = {"review": "program", "verify": "program", "dialect check": "dialect new"}.get(command)
    if needed is not None:
        _runs(EXAMPLES[needed][0], tmp_path)
    for line in EXAMPLES[command]:
        _runs(line, tmp_path)


def _runs(line: str, folder: Path) -> None:
    done = run(*shlex.split(line)[1:], cwd=folder)
    assert done.returncode == 0, (line, done.stderr)
