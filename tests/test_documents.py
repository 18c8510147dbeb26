"""What the documents show is what the commands print, the code runs, and the links lead on."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path

import pytest

from tests.support.documents import (
    DOCUMENTS,
    ROOT,
    blocks,
    commands,
    folder_with_samples,
    run,
    shows,
    steps,
)

TEXTS = {name: (ROOT / name).read_text(encoding="utf-8") for name in DOCUMENTS}


@pytest.mark.parametrize("name", [n for n in DOCUMENTS if blocks(TEXTS[n], "console")], ids=str)
def test_each_command_prints_what_the_document_shows(name: Path) -> None:
    with folder_with_samples():
        for block in steps(TEXTS[name]):
            for command in commands(block):
                output = run(command.words)
                assert shows(command.shown, output), f"$ {command.words}\n{output}"


@pytest.mark.parametrize("name", [n for n in DOCUMENTS if blocks(TEXTS[n], "python")], ids=str)
def test_the_python_of_a_document_runs_as_it_stands(name: Path) -> None:
    with folder_with_samples():
        for code in blocks(TEXTS[name], "python"):
            exec(compile(code, str(name), "exec"), {})


@pytest.mark.parametrize("name", DOCUMENTS, ids=str)
def test_each_link_and_picture_leads_to_a_file(name: Path) -> None:
    for target in re.findall(r"\]\(([^)#:]+)\)", TEXTS[name]):
        assert (ROOT / name).parent.joinpath(target).exists(), f"{name} links to {target}"


@pytest.mark.parametrize("name", DOCUMENTS, ids=str)
def test_each_harness_that_a_document_names_is_there(name: Path) -> None:
    for module in re.findall(r"python -m (tests\.[\w.]+)", TEXTS[name]):
        assert importlib.util.find_spec(module), f"{name} names {module}"
    for script in re.findall(r"python (tests/[\w/]+\.py)", TEXTS[name]):
        assert (ROOT / script).is_file(), f"{name} names {script}"


@pytest.mark.parametrize(
    ("shown", "output", "same"),
    [
        ("a\nb", "a\nb", True),
        ("a\nb", "a\nc", False),
        ("a\n...\nd", "a\nb\nc\nd", True),
        ("a\n...\nd", "b\nc\nd", False),
        ("1.0", "1x0", False),
    ],
)
def test_an_output_is_compared_whole_but_for_the_elisions(
    shown: str, output: str, same: bool
) -> None:
    assert shows(shown, output) is same


def test_the_readme_shows_every_caution() -> None:
    from knurlcam.data.cautions import cautions, proving

    for text in [c.text for c in cautions()] + list(proving()):
        assert text in TEXTS[Path("README.md")]


def test_the_checks_run_both_commands_of_the_readme() -> None:
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    for mark in ("command: write a program", "command: run the tests"):
        assert f"<!-- {mark} -->" in TEXTS[Path("README.md")]
        assert mark in script


def test_the_samples_table_of_a_family_is_the_one_that_is_shown() -> None:
    lines = (ROOT / "samples" / "family" / "setting-knobs.csv").read_text("utf-8").splitlines()
    text = TEXTS[Path("samples/README.md")]
    for line in (*lines[:3], next(line for line in lines if ",inch," in line)):
        assert f"\n{line}\n" in text
