"""What the package promises as a whole: names, imports, documents."""

from __future__ import annotations

import ast
import re
import tomllib
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

import knurlcam

ROOT = Path(__file__).resolve().parents[1]
MODULES = sorted((ROOT / "knurlcam").rglob("*.py"))

ROOMS = [
    "text",
    "errors",
    "files",
    "toml",
    "units",
    "data",
    "mechanics",
    "job",
    "records",
    "plan",
    "shop",
    "path",
    "gcode",
    "verification",
    "program",
    "dialect_check",
    "timeline",
    "drawing",
    "imprint",
    "measured",
    "review",
    "family",
    "edit",
    "cli",
    "__main__",
]
"""Packages and modules in the order of the pipeline: each imports from those above it only."""

LAZY = {
    ("job.model", "shop.fill"),
    ("job.model", "shop.measured"),
    ("plan.expected", "imprint.doubled_rolls"),
}
"""The edges back: ``Job.load`` asks for the shop file when it is called; and a plan whose rolls
do not track in their first turn has them followed by the imprint, so that both say the same."""


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


@cache
def edges() -> dict[str, set[str]]:
    """Return each module's imports, without the one lazy edge."""
    return {
        name: {other for other in imports_of(path) if (name, other) not in LAZY}
        for name, path in MODULES_BY_NAME.items()
        if name != "__init__"
    }


def test_a_room_imports_only_from_those_above_it() -> None:
    # edges() leaves out __init__: it has the public names, imported when they are first used.
    wrong = [
        f"{name} imports {other} from below it"
        for name, others in edges().items()
        for other in others
        if ROOMS.index(other.split(".")[0]) > ROOMS.index(name.split(".")[0])
    ]
    assert not wrong, "\n".join(wrong)


def test_no_module_imports_itself_by_way_of_others() -> None:
    graph = TopologicalSorter(edges())
    try:
        graph.prepare()
    except CycleError as error:
        pytest.fail(f"import circle: {' -> '.join(error.args[1])}")


def test_every_promised_name_is_there() -> None:
    assert [name for name in knurlcam.__all__ if getattr(knurlcam, name, None) is None] == []


def test_no_room_hides_a_promised_name() -> None:
    """An import of a package below sets its name on the one above, over whatever stood there."""
    assert not set(knurlcam.__all__) & set(ROOMS)


def test_a_name_that_was_not_promised_is_refused_by_name() -> None:
    with pytest.raises(AttributeError, match="no attribute 'nonsense'"):
        _ = knurlcam.nonsense


def test_pygcode_is_never_imported_by_the_package() -> None:
    for path in MODULES:
        assert not re.search(r"^\s*(import|from) pygcode", path.read_text(encoding="utf-8"), re.M)


def test_pint_is_named_by_one_module_only() -> None:
    users = [p.stem for p in MODULES if re.search(r"^\s*import pint", p.read_text("utf-8"), re.M)]
    assert users == ["factors"]


def test_no_two_rules_share_a_title_or_a_reason() -> None:
    from knurlcam.verification.rules import RULES

    assert len({r.title for r in RULES.values()}) == len(RULES)
    assert all(r.reason and r.severity in ("error", "warning") for r in RULES.values())


def test_every_folder_with_modules_is_a_package_that_is_installed() -> None:
    declared = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"]
    folders = {"knurlcam." + name_of(p).rpartition(".")[0] for p in MODULES if "." in name_of(p)}
    folders |= {"knurlcam." + name_of(p) for p in MODULES if p.name == "__init__.py"}
    folders = {f.removesuffix(".__init__").removesuffix(".") for f in folders}
    elsewhere = set(declared["package-dir"])
    assert folders - elsewhere <= set(declared["packages"])
    assert all((ROOT / folder).is_dir() for folder in declared["package-dir"].values())
