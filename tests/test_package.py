"""What the package promises as a whole: names, imports, documents."""

from __future__ import annotations

import ast
import re
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

import knurlcam

ROOT = Path(__file__).resolve().parents[1]
MODULES = sorted((ROOT / "knurlcam").rglob("*.py"))

ROOMS = [
    "errors",
    "text",
    "files",
    "toml",
    "units",
    "data",
    "mechanics",
    "job",
    "plan",
    "shop",
    "path",
    "gcode",
    "verification",
    "program",
    "timeline",
    "drawing",
    "imprint",
    "review",
    "family",
    "cli",
    "__main__",
]
"""Packages and modules in the order of the pipeline: each imports from those above it only."""

LAZY = {("job.model", "shop.fill")}
"""The one edge back: ``Job.load`` asks for the shop file when it is called."""


def name_of(path: Path) -> str:
    """Return a module's name below the package, such as ``review.page``."""
    parts = path.relative_to(ROOT / "knurlcam").with_suffix("").parts
    return ".".join(p for p in parts if p != "__init__") or "__init__"


MODULES_BY_NAME = {name_of(path): path for path in MODULES}


def imports_of(path: Path) -> set[str]:
    """Return the package's modules that a module imports anywhere: at its top, inside
    functions, and for type checkers."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {a.name.removeprefix("knurlcam.") for a in node.names if "knurlcam." in a.name}
        elif isinstance(node, ast.ImportFrom) and (node.module or "").startswith("knurlcam."):
            module = str(node.module).removeprefix("knurlcam.")
            below = {f"{module}.{a.name}" for a in node.names} & MODULES_BY_NAME.keys()
            found |= below or {module}
    return found


def edges() -> dict[str, set[str]]:
    """Return each module's imports, without the one lazy edge."""
    return {
        name: {other for other in imports_of(path) if (name, other) not in LAZY}
        for name, path in MODULES_BY_NAME.items()
        if name != "__init__"
    }


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_a_room_imports_only_from_those_above_it(path: Path) -> None:
    if name_of(path) == "__init__":
        return  # the public names, imported when they are first used
    own = ROOMS.index(name_of(path).split(".")[0])
    wrong = {n for n in edges()[name_of(path)] if ROOMS.index(n.split(".")[0]) > own}
    assert not wrong, f"{name_of(path)} imports {wrong} from below it"


def test_no_module_imports_itself_by_way_of_others() -> None:
    graph = TopologicalSorter(edges())
    try:
        graph.prepare()
    except CycleError as error:
        pytest.fail(f"import circle: {' -> '.join(error.args[1])}")


@pytest.mark.parametrize("name", knurlcam.__all__)
def test_every_promised_name_is_there(name: str) -> None:
    assert getattr(knurlcam, name) is not None


@pytest.mark.parametrize("name", sorted(set(knurlcam.__all__) - {"__version__"}))
def test_no_room_hides_a_promised_name(name: str) -> None:
    """An import of a package below sets its name on the one above, over whatever stood there."""
    assert name not in ROOMS


def test_a_name_that_was_not_promised_is_refused_by_name() -> None:
    with pytest.raises(AttributeError, match="no attribute 'nonsense'"):
        _ = knurlcam.nonsense


def test_pygcode_is_never_imported_by_the_package() -> None:
    for path in MODULES:
        assert not re.search(r"^\s*(import|from) pygcode", path.read_text(encoding="utf-8"), re.M)


def test_pint_is_named_by_one_module_only() -> None:
    users = [p.stem for p in MODULES if re.search(r"^\s*import pint", p.read_text("utf-8"), re.M)]
    assert users == ["quantities"]


def test_the_readme_shows_the_program_that_the_sample_gives() -> None:
    from knurlcam import Job, lay_out, make_plan, write_program

    job = Job.load(ROOT / "samples" / "focus-knob.toml")
    text = write_program(lay_out(make_plan(job)), job.machine.post)
    assert text in (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_readme_shows_every_caution() -> None:
    from knurlcam.data.tables import cautions, proving

    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for text in [c.text for c in cautions()] + list(proving()):
        assert text in readme


def test_the_readme_has_both_commands_that_the_checks_run() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    for mark in ("command: write a program", "command: run the tests"):
        assert f"<!-- {mark} -->" in readme
        assert mark in script


def test_the_readme_shows_what_verify_says_of_its_edited_program(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from typer.testing import CliRunner

    from knurlcam.cli.app import app

    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "100")
    job = str(ROOT / "samples" / "focus-knob.toml")
    program = tmp_path / "focus-knob.nc"
    CliRunner().invoke(app, ["program", job, "-o", program.name])
    text = program.read_text(encoding="utf-8")
    program.write_text(text.replace("N100 G01 Z-20.000", "N100 G01 Z-21.000"), encoding="utf-8")
    done = CliRunner().invoke(app, ["verify", program.name, "--job", job])
    assert done.exit_code == 1
    lines = [line.rstrip() for line in done.output.strip().splitlines()]
    assert "\n".join(lines) in (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("blank", [None, "24.73"])
def test_the_readme_shows_what_the_imprint_command_prints(
    blank: str | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from typer.testing import CliRunner

    from knurlcam.cli.app import app

    monkeypatch.setenv("COLUMNS", "100")
    args = [] if blank is None else ["--blank", blank]
    done = CliRunner().invoke(app, ["imprint", str(ROOT / "samples" / "focus-knob.toml"), *args])
    lines = [line.rstrip() for line in done.output.splitlines()]
    assert "\n".join(lines) in (ROOT / "README.md").read_text(encoding="utf-8")


def python_in_the_readme() -> list[str]:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    return re.findall(r"^```python\n(.*?)^```$", readme, re.M | re.S)


@pytest.mark.parametrize("code", python_in_the_readme(), ids=lambda c: c.split("\n")[0])
def test_the_readmes_python_runs_as_it_stands(
    code: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "samples").symlink_to(ROOT / "samples")
    monkeypatch.chdir(tmp_path)
    exec(compile(code, "README.md", "exec"), {})


def test_the_readme_shows_the_samples_table() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    lines = (ROOT / "samples" / "family" / "setting-knobs.csv").read_text("utf-8").splitlines()
    for line in (*lines[:3], next(line for line in lines if ",inch," in line)):
        assert f"\n{line}\n" in readme


def test_every_rule_is_told_apart_by_title_and_reason() -> None:
    from knurlcam.verification.rules import RULES

    assert len({r.title for r in RULES.values()}) == len(RULES)
    assert all(r.reason and r.severity in ("error", "warning") for r in RULES.values())
