"""Tables and bases for the tests of families, and what a folder holds."""

from __future__ import annotations

import hashlib
import json
import os
import struct
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from knurlcam.family import Base, Result, Summary, make_family, run_family
from tests.support.jobs import REMOVE, base_job

ROOT = Path(__file__).resolve().parents[2]
SETTING_KNOB = ROOT / "samples" / "family" / "setting-knob.toml"
SETTING_KNOBS = ROOT / "samples" / "family" / "setting-knobs.csv"

ROOMY = {"machine.safe_x": 700.0, "holding.centre_diameter": REMOVE}
"""Changes to the base job that let it be of any diameter up to half a metre."""


def roomy(changes: Mapping[str, Any] | None = None) -> Base:
    """Return a base of which parts of 20 to 500 mm can be made."""
    return Base.of(base_job({**ROOMY, **(changes or {})}))


def family_command(*args: str | Path) -> list[str]:
    """Return ``knurlcam family`` as a process of its own is started."""
    return [sys.executable, "-m", "knurlcam", "family", *map(str, args)]


def knobs(count: int) -> list[dict[str, Any]]:
    """Return rows that can all be made."""
    return [
        {
            "part.name": f"Knob {k}",
            "part.knurled_diameter": 20.0 + 0.25 * (k % 1800),
            "part.number": 1 + k % 9999,
        }
        for k in range(count)
    ]


def write_csv(path: Path, rows: Sequence[Mapping[str, Any]]) -> Path:
    """Write rows as a plain CSV."""
    names = list(rows[0])
    lines = [",".join(names)] + [",".join(str(r.get(n, "")) for n in names) for r in rows]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def job_file(path: Path, changes: Mapping[str, Any] | None = None) -> Path:
    """Write the roomy base as a job file."""
    lines = []
    data = base_job({**ROOMY, **(changes or {})})
    lines.append(f'units = "{data.pop("units")}"')
    for name, section in data.items():
        lines.append(f"[{name}]")
        lines += [f"{key} = {json.dumps(value)}" for key, value in section.items()]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def family(tmp_path: Path, rows: list[dict[str, Any]], out: str = "out", **more: Any) -> Summary:
    """Make a family of rows into a folder beside its base and table."""
    base = job_file(tmp_path / "base.toml", more.pop("changes", None))
    file = write_csv(tmp_path / more.pop("table", "table.csv"), rows)
    shared = {k: more.pop(k) for k in ("review", "post", "form") if k in more}
    return run_family(Base.of(base, **shared), file, tmp_path / out, workers=1, **more)


def one(base: Base | Mapping[str, Any], **cells: Any) -> Result:
    """Return the result of one row; ``part__name`` stands for ``part.name``."""
    (result,) = make_family(base, [{k.replace("__", "."): v for k, v in cells.items()}])
    return result


def digests(folder: Path) -> dict[str, str]:
    """Return the SHA-256 of everything in a folder, by its path below it."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def index_of(folder: Path) -> dict[str, Any]:
    """Return a folder's index.json."""
    data: dict[str, Any] = json.loads((folder / "index.json").read_text(encoding="utf-8"))
    return data


def die_with_half_a_result() -> None:
    """In a worker of a pool: begin to send a result, and die as if killed in the middle."""
    frame = sys._getframe()
    while frame is not None and "result_queue" not in frame.f_locals:
        frame = frame.f_back  # type: ignore[assignment]
    pipe = frame.f_locals["result_queue"]._writer.fileno()
    os.write(pipe, struct.pack("!i", 1000) + b"half")
    os._exit(9)


def cut_off(tmp_path: Path, rows: list[dict[str, Any]], after: int, **more: Any) -> None:
    """Run a family that breaks off after so many rows."""

    def stop(result: Result) -> None:
        if result.row > after:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        family(tmp_path, rows, watch=stop, **more)


def larger(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the same parts with other diameters."""
    return [{**row, "part.knurled_diameter": row["part.knurled_diameter"] + 5} for row in rows]
