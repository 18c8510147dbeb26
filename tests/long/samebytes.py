"""The same job in many surroundings: languages, time zones, hash seeds, encodings, spellings.

``python -m tests.long.samebytes`` makes every output in each of them and compares the bytes; it
takes some three minutes. The fast suite does the same in few surroundings that hold much at once.
"""

from __future__ import annotations

import contextlib
import hashlib
import locale
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Literal, NamedTuple, cast

from knurlcam.gcode.marks import FORMS
from tests.support.breaking import POSTS
from tests.support.respelled import ORDERS, respelled

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "samples"
FOCUS, PIN = SAMPLES / "focus-knob.toml", SAMPLES / "dowel-pin.toml"
KNOB = SAMPLES / "family" / "setting-knob.toml"

ROWS = (
    "part.name,part.number,part.knurled_diameter,part.length\nKnob Ø16,1,16,44\nB,2,x,\nC,3,25,60\n"
)
"""Of a family: one name with a letter that is no ASCII, and a row that cannot be made."""

COMMA = "de_DE.UTF-8"
"""A language that writes 0,5 for 0.5."""


Size = Literal["small", "usual", "pages"]
"""How much is made: without the slower files of a knurl, with them, and with a page for each
part of the family as well."""


class Around(NamedTuple):
    """What a command is surrounded by.

    Attributes:
        env: Environment variables.
        spelled: In which other way the jobs are written; None for as they are.
        elsewhere: Whether it runs in another folder, the jobs named from there.
        umask: Permissions that new files do not get.
        workers: Processes that make a family.
    """

    env: Mapping[str, str] = {}
    spelled: int | None = None
    elsewhere: bool = False
    umask: int = 0o022
    workers: int = 1


PLAIN = Around({"PYTHONHASHSEED": "0", "LC_ALL": "C.UTF-8", "TZ": "UTC"})

ASCII = {"PYTHONUTF8": "0", "PYTHONIOENCODING": "ascii"}
ALONE: dict[str, Around] = {
    "hash seed 1": Around({"PYTHONHASHSEED": "1"}),
    "hash seed random": Around({"PYTHONHASHSEED": "random"}),
    "language C": Around({"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}),
    "comma": Around({"LC_ALL": COMMA}),
    "time zone": Around({"TZ": "Asia/Kathmandu"}),
    "ascii": Around(ASCII),
    "latin-1": Around({"PYTHONUTF8": "0", "PYTHONIOENCODING": "latin-1"}),
    "cp1252": Around({"PYTHONUTF8": "0", "PYTHONIOENCODING": "cp1252"}),
    "utf-16": Around({"PYTHONIOENCODING": "utf-16"}),
    "narrow": Around({"COLUMNS": "20", "LINES": "5"}),
    "coloured": Around({"FORCE_COLOR": "1", "TERM": "xterm-256color"}),
    "no asserts": Around({"PYTHONOPTIMIZE": "1"}),
    "another home": Around({"HOME": "/nowhere", "XDG_CONFIG_HOME": "/nowhere", "USER": "nobody"}),
    "another folder": Around(elsewhere=True),
    "umask": Around(umask=0o077),
    "workers": Around(workers=2),
    **{f"spelling {n}": Around(spelled=n) for n in range(ORDERS)},
}
"""Surroundings that differ from the plain ones in one thing each."""

TOGETHER: dict[str, Around] = {
    "ascii and much else": Around(
        {"PYTHONHASHSEED": "1", "LC_ALL": "C", "TZ": "Asia/Kathmandu", "COLUMNS": "20", **ASCII},
        spelled=3,
        elsewhere=True,
        umask=0o077,
    ),
    "comma and much else": Around(
        {
            "PYTHONHASHSEED": "random",
            "LC_ALL": COMMA,
            "TZ": "America/Caracas",
            "PYTHONIOENCODING": "cp1252",
            "PYTHONOPTIMIZE": "1",
            "FORCE_COLOR": "1",
            "HOME": "/nowhere",
        },
        spelled=1,
    ),
}
"""Few surroundings that hold nearly all of them."""


def commands(
    focus: str, pin: str, knob: str, rows: str, *, out: str, workers: int, size: Size
) -> Iterator[tuple[str, int, list[str]]]:
    """Return each command: where its standard output goes, its status, its arguments."""
    for post in POSTS:
        for form in FORMS:
            if not post.startswith("rs274") or form != "subprogram":  # it has no words for one
                yield f"{post}.{form}", 0, ["program", focus, "--post", post, "--as", form]
    program, edited = f"{out}/focus.nc", f"{out}/edited.nc"
    yield "program", 0, ["program", focus, "-o", program]
    yield "plan.json", 0, ["plan", focus, "--json"]
    yield "blank.json", 0, ["blank", "DIN 82 RGE 1.0", "--diameter", "25", "--json"]
    yield "verify.json", 0, ["verify", program, "--job", focus, "--json"]
    yield "edited.json", 1, ["verify", edited, "--job", focus, "--json"]
    yield "other.json", 1, ["verify", program, "--job", pin, "--json"]
    yield "dialects.json", 0, ["dialects", "--json"]
    yield "rules.json", 0, ["rules", "--json"]
    yield "schema.json", 0, ["schema"]
    yield "imprint.json", 0, ["imprint", pin, "--resolution", "0.05", "--json"]
    if size != "small":
        yield "review", 0, ["review", pin, "-o", f"{out}/page.html"]
    for kind in ("png",) if size == "small" else ("png", "svg", "npz", "stl"):
        file = f"{out}/pin.{kind}"
        yield kind, 0, ["imprint", pin, "-o", file, "--resolution", "0.05", "--stiff", "--json"]
    family = ["family", knob, rows, "-o", f"{out}/family", "--workers", str(workers)]
    yield "family", 1, [*family, "--review"] if size == "pages" else family
    for name, what in {"plan": focus, "blank": "21 TPI straight", "imprint": pin}.items():
        more = ["--diameter", "1 in"] if name == "blank" else []
        yield f"{FOR_PEOPLE}{name}", 0, [name, what, *more]
    yield f"{FOR_PEOPLE}verify", 1, ["verify", edited, "--job", focus]
    yield f"{FOR_PEOPLE}dialects", 0, ["dialects"]


FOR_PEOPLE = "table-"
"""What begins the names of outputs that may follow the terminal; but none may fail."""


def make_all(inputs: Path, out: Path, *, workers: int, size: Size) -> None:
    """Run all commands in this process, each as if by itself, with its real standard output."""
    from knurlcam.cli.app import main

    with contextlib.suppress(locale.Error):
        locale.setlocale(locale.LC_ALL, "")  # as a script around it may do
    names = [os.path.relpath(inputs / n) for n in ("focus.toml", "pin.toml", "knob.toml", "v.csv")]
    how: dict[str, Any] = {"out": str(out), "workers": workers, "size": size}
    kept = os.dup(1)
    for name, status, args in commands(*names, **how):
        if name == "edited.json":
            text = (out / "focus.nc").read_bytes().replace(b"Z-20.000", b"Z-21.000", 1)
            (out / "edited.nc").write_bytes(text)
        to = os.open(out / f"{name}.txt", os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o666)
        os.dup2(to, 1)
        os.close(to)
        sys.argv = ["knurlcam", *args]
        try:
            main()
        except SystemExit as end:
            if (end.code or 0) != status:
                raise RuntimeError(f"{args}: ended with {end.code}, not {status}") from None
        finally:
            sys.stdout.flush()
            os.dup2(kept, 1)


def made(
    around: Around, folder: Path, locales: Path | None, *, size: Size = "usual"
) -> dict[str, str]:
    """Make all outputs in their own process; return the SHA-256 of each by its name.

    Args:
        around: What surrounds the process.
        folder: An empty folder to work in.
        locales: Where the language with a comma was put; None where there is none.
        size: How much is made.
    """
    inputs, out, home = folder / "in", folder / "out", folder / "a folder"
    for made_first in (inputs, out, home):
        made_first.mkdir(parents=True)
    for name, source in {"focus": FOCUS, "pin": PIN, "knob": KNOB}.items():
        text = source.read_text(encoding="utf-8")
        content = text.encode() if around.spelled is None else respelled(text, around.spelled)
        (inputs / f"{name}.toml").write_bytes(content)
    rows = ROWS if around.spelled is None else "\ufeff" + ROWS.replace("\n", "\r\n")
    (inputs / "v.csv").write_bytes(rows.encode())
    env = {**os.environ, **PLAIN.env, **around.env, "PYTHONPATH": str(ROOT)}
    if locales is not None:
        env["LOCPATH"] = str(locales)
    args = [str(inputs), str(out), str(around.workers), size]
    done = subprocess.run(
        [sys.executable, "-m", "tests.long.samebytes", *args],
        cwd=home if around.elsewhere else ROOT,
        env=env,
        umask=around.umask,
        capture_output=True,
        check=False,
        timeout=300,
    )
    if done.returncode or b"internal error" in done.stderr or b"Traceback" in done.stderr:
        raise RuntimeError(done.stderr.decode("utf-8", "replace"))
    return {
        str(path.relative_to(out)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(out.rglob("*"))
        if path.is_file() and not path.name.startswith(FOR_PEOPLE)
    }


def comma_locale(folder: Path) -> Path | None:
    """Make a language with a decimal comma; None where the system has no tool for that."""
    tool = shutil.which("localedef")
    if tool is None:
        return None
    args = [tool, "-i", COMMA.partition(".")[0], "-f", "UTF-8", str(folder / COMMA)]
    done = subprocess.run(args, capture_output=True, check=False, timeout=120)
    return folder if done.returncode == 0 else None


AS_WRITTEN = frozenset(("family/index.json",))
"""Outputs that tell the job's keys as they are written, and a digest of them."""


def different(one: Mapping[str, str], other: Mapping[str, str], around: Around) -> list[str]:
    """Return the names of outputs that are not the same in plain and other surroundings."""
    names = one.keys() | other.keys()
    if around.spelled:
        names -= AS_WRITTEN
    return sorted(n for n in names if one.get(n) != other.get(n))


def _compare_all() -> int:
    with tempfile.TemporaryDirectory() as named:
        folder = Path(named)
        locales = comma_locale(folder)
        print(f"decimal comma: {'made' if locales else 'not to be had here'}")
        plain = made(PLAIN, folder / "plain", locales, size="pages")
        wrong = 0
        for number, (name, around) in enumerate({**ALONE, **TOGETHER}.items()):
            others = made(around, folder / str(number), locales, size="pages")
            differs = different(plain, others, around)
            wrong += bool(differs)
            print(f"{name}: {len(plain)} outputs, {', '.join(differs) or 'all the same'}")
        return 1 if wrong else 0


if __name__ == "__main__":
    if len(sys.argv) == 1:
        sys.exit(_compare_all())
    inputs, out, workers, size = sys.argv[1:]
    make_all(Path(inputs), Path(out), workers=int(workers), size=cast("Size", size))
