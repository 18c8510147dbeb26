"""The same job gives the same bytes, whatever surrounds the command that makes them."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from knurlcam import Job, lay_out, make_plan, write_program
from knurlcam.cli.app import main
from tests.long.samebytes import PLAIN, TOGETHER, comma_locale, different, made
from tests.support.commands import FOCUS, ROOT, run_process

TEXT = write_program(lay_out(make_plan(Job.load(FOCUS))), "iso6983")


@pytest.mark.long
def test_every_output_is_the_same_in_surroundings_that_hold_much_at_once(tmp_path: Path) -> None:
    around = TOGETHER["ascii and much else"]
    plain = made(PLAIN, tmp_path / "plain", None, size="small")
    others = made(around, tmp_path / "other", None, size="small")
    assert len(plain) > 30
    assert different(plain, others, around) == []


@pytest.mark.long
def test_every_output_is_the_same_in_any_surroundings(tmp_path: Path) -> None:
    locales = comma_locale(tmp_path)
    plain = made(PLAIN, tmp_path / "plain", locales)
    assert len(plain) > 38
    for number, (name, around) in enumerate(TOGETHER.items()):
        others = made(around, tmp_path / str(number), locales)
        assert different(plain, others, around) == [], name


@pytest.mark.few(5)
@pytest.mark.parametrize("encoding", ["ascii", "utf-8", "utf-16", "cp1252"])
@pytest.mark.parametrize(
    "args", [["program", str(FOCUS)], ["plan", str(FOCUS), "--json"], ["schema"]]
)
def test_programs_and_json_are_bytes_whatever_standard_output_makes_of_text(
    args: list[str], encoding: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As where lines end with two characters, and a terminal knows no more than its own."""
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(raw, encoding=encoding, newline="\r\n"))
    monkeypatch.setattr(sys, "argv", ["knurlcam", *args])
    with pytest.raises(SystemExit) as end:
        main()
    assert not end.value.code
    assert b"\r" not in raw.getvalue()
    text = raw.getvalue().decode("utf-8")
    assert text == TEXT if args[0] == "program" else json.loads(text)


def test_a_table_is_shown_on_a_terminal_that_lacks_some_of_its_signs() -> None:
    """67·1.1547/pi = 24.626 mm, and 0.050 mm for an infeed straight in, of the blank's table."""
    done = run_process(
        "blank", "DIN 82 RGE 1.0", "--diameter", "25", env={"PYTHONIOENCODING": "ascii"}
    )
    assert done.returncode == 0
    assert "24.676" in done.stdout
    assert "helix 30?" in done.stdout


FULL = "standard output: cannot be written: No space left on device"
CLOSED = "standard output: is closed"


@pytest.mark.parametrize(
    ("args", "to", "says"),
    [
        (["program", str(FOCUS)], ">/dev/full", FULL),
        pytest.param(["plan", str(FOCUS)], ">/dev/full", FULL, marks=pytest.mark.long),
        (["program", str(FOCUS)], ">&-", CLOSED),
    ],
)
def test_a_standard_output_that_takes_nothing_is_reported(
    args: list[str], to: str, says: str
) -> None:
    command = f"{sys.executable} -m knurlcam {' '.join(args)} {to}"
    done = subprocess.run(
        ["bash", "-c", command], cwd=ROOT, capture_output=True, text=True, check=False, timeout=60
    )
    assert done.returncode == 2
    # Warnings of the plan stand before it.
    said = [x for x in done.stderr.splitlines() if not x.startswith("warning: ")]
    assert len(said) == 1
    assert said[0].startswith(f"knurlcam: {says}; expected")


def test_a_file_is_written_with_the_line_ends_it_was_given(tmp_path: Path) -> None:
    from knurlcam.files import write_whole

    for text in ("a\nb\n", "a\r\nb\r\n", "ä\r"):
        write_whole(tmp_path / "a", text)
        assert (tmp_path / "a").read_bytes() == text.encode()
    assert os.listdir(tmp_path) == ["a"]
