"""What a command must not write over is refused before it works."""

from __future__ import annotations

import os
from itertools import product
from pathlib import Path

import pytest
from typer.testing import CliRunner

from knurlcam.cli.app import app
from tests.support.commands import FOCUS, PIN, ROOT
from tests.support.marks import some_long
from tests.support.places import IN_THE_WAY, tree

pytestmark = pytest.mark.usefixtures("no_endless_wait")

WRITE_ONE: dict[str, tuple[list[str], str]] = {
    "program": (["program", str(FOCUS)], "a.nc"),
    "review": (["review", str(FOCUS)], "a.html"),
    "imprint.png": (["imprint", str(PIN)], "a.png"),
    "imprint.svg": (["imprint", str(PIN)], "a.svg"),
    "imprint.npz": (["imprint", str(PIN)], "a.npz"),
    "imprint.stl": (["imprint", str(PIN)], "a.stl"),
}
"""Commands that write one file, and a name for it."""


@pytest.mark.few(8)
@pytest.mark.parametrize(
    ("command", "case"),
    some_long(
        product(WRITE_ONE, IN_THE_WAY),
        lambda command, case: command == "program" or case in ("a link to a file", "a pipe"),
    ),
)
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
    *warnings, problem = done.stderr.splitlines()
    assert all(line.startswith("warning: ") for line in warnings)
    assert problem.startswith("knurlcam: ")
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
