"""The documents' blocks: what they show is run, and what the commands print is what they show.

``python -m tests.support.documents`` writes the output of each command into its block again;
read the diff before it is committed.

A ``console`` block holds commands behind ``$`` and their output; a line ``...`` in it stands for
any number of lines. Blocks of one document run in order in one folder that has the samples.
A block of ``toml`` with a file's name behind it is that file, written there when its turn comes.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from typer.testing import CliRunner

from knurlcam.cli.app import app

ROOT = Path(__file__).resolve().parents[2]
DOCUMENTS = [
    path.relative_to(ROOT)
    for path in sorted(
        [
            *ROOT.glob("*.md"),
            *ROOT.glob("*/README.md"),
            *ROOT.glob("knurlcam/*/README.md"),
        ]
    )
]
COLUMNS = "100"
"""How wide the terminal is that the documents show [characters]."""

EDITORS = ("cat", "sed")
"""Commands beside knurlcam's own that a document may show."""

ELISION = "..."


@dataclass(frozen=True)
class Command:
    """A command of a document and what the document shows of its output."""

    words: str
    shown: str


def blocks(text: str, language: str) -> list[str]:
    """Return the fenced blocks of a language, without their fences."""
    return re.findall(rf"^```{language}\n(.*?)^```$", text, re.M | re.S)


_STEP = re.compile(r"^```(?:console|toml ([\w.-]+))\n(.*?)^```$", re.M | re.S)


def steps(text: str) -> Iterator[str]:
    """Yield the ``console`` blocks in order; write each file that a block is when it is reached."""
    for match in _STEP.finditer(text):
        if match[1]:
            Path(match[1]).write_text(match[2], encoding="utf-8")
        else:
            yield match[2]


def commands(block: str) -> list[Command]:
    """Return the commands of a console block, each with the output below it."""
    parts = re.split(r"^\$ (.*)\n", block, flags=re.M)
    return [Command(w, s.rstrip("\n")) for w, s in zip(parts[1::2], parts[2::2], strict=True)]


def run(words: str) -> str:
    """Run a command as a terminal of 100 columns would show it, in the present folder."""
    name, *args = shlex.split(words)
    if name == "knurlcam":
        output = CliRunner().invoke(app, args, env={"COLUMNS": COLUMNS}).output
    elif name in EDITORS:
        done = subprocess.run([name, *args], check=True, capture_output=True, text=True)
        output = done.stdout
    else:
        raise ValueError(f"{words!r} is neither a command of knurlcam nor one of {EDITORS}")
    return "\n".join(line.rstrip() for line in output.split("\n")).strip("\n")


def shows(shown: str, output: str) -> bool:
    """Tell whether an output is the one shown, where ``...`` stands for any lines."""
    parts = [re.escape(part) for part in re.split(rf"^{re.escape(ELISION)}$", shown, flags=re.M)]
    return re.fullmatch(r"(?:.*)".join(parts), output, re.S) is not None


@contextmanager
def folder_with_samples() -> Iterator[None]:
    """Stand in an empty folder that has the samples, until the block ends."""
    before = Path.cwd()
    with tempfile.TemporaryDirectory() as place:
        for name in ("samples", "postprocessors"):
            (Path(place) / name).symlink_to(ROOT / name)
        os.chdir(place)
        try:
            yield
        finally:
            os.chdir(before)


def written_again(text: str) -> str:
    """Return a document with each command's output as it is now; elided ones stay."""

    def again(match: re.Match[str]) -> str:
        lines = []
        for block in steps(match[0]):
            lines += again_in(block)
        return "```console\n" + "\n".join(lines) + "\n```" if lines else match[0]

    def again_in(block: str) -> list[str]:
        lines = []
        for command in commands(block):
            output = run(command.words)
            kept = command.shown if ELISION in command.shown.split("\n") else output
            lines += [f"$ {command.words}", *([kept] if kept else [])]
        return lines

    with folder_with_samples():
        return _STEP.sub(again, text)


if __name__ == "__main__":
    for name in DOCUMENTS:
        path = ROOT / name
        path.write_text(written_again(path.read_text(encoding="utf-8")), encoding="utf-8")
